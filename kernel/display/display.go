// Package display says what a value may look like in a notebook.
//
// A type shows itself by having a method such as HTML or SVG, listed here as
// interfaces of one method, or by a method Page that returns a value with such
// methods; it need not import this package. A value without one can be wrapped by a function of the same name: display.HTML("<b>x</b>").
// In a notebook the package is there without an import, and Display(x) shows
// x in the middle of a cell.
//
// [Of] gathers what a value's methods return in a [Bundle], the form in which
// it leaves the engine.
package display

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"os"
	"reflect"
	"strings"
	"unicode/utf8"
)

// A MIMEMap maps a MIME type, or a name of the front end's, to what stands
// under it: a string, bytes, or something with a JSON form.
type MIMEMap = map[string]any

// Data is a value in one or more representations, as a cell can make it.
type Data struct {
	Data      MIMEMap // by MIME type
	Metadata  MIMEMap // by MIME type or by a name of the front end's
	Transient MIMEMap // "display_id" names a display that can be shown anew
}

// What a value may look like. A type with one of these methods shows itself
// in the notebook; a type with several gives the front end the choice. The
// methods must have value receivers to show a value, not only a pointer.
type (
	Renderer       interface{ Render() Data }
	SimpleRenderer interface{ SimpleRender() MIMEMap }
	HTMLer         interface{ HTML() string }
	JavaScripter   interface{ JavaScript() string }
	JPEGer         interface{ JPEG() []byte }
	JSONer         interface{ JSON() map[string]any }
	Latexer        interface{ Latex() string }
	Markdowner     interface{ Markdown() string }
	PDFer          interface{ PDF() []byte }
	PNGer          interface{ PNG() []byte }
	SVGer          interface{ SVG() string }
)

// A Sizer is a PNGer or JPEGer that knows the room its picture takes, in CSS
// pixels. One with twice as many pixels is sharp where the screen can show them.
type Sizer interface{ Size() (width, height int) }

// Of returns what the methods of v show, and whether there are any. Plain
// text is added if no method gives it.
func Of(v any) (Bundle, bool) {
	d := Data{Data: MIMEMap{}, Metadata: MIMEMap{}}
	switch v := v.(type) {
	case Data:
		d = v
	case *Data:
		if v != nil {
			d = *v
		}
	case Renderer:
		d = v.Render()
	case SimpleRenderer:
		d.Data = v.SimpleRender()
	case image.Image:
		d = Image(v)
	default:
		d.Data, d.Metadata = methods(v)
	}
	if len(d.Data) == 0 {
		return Bundle{}, false
	}
	b := d.Bundle()
	if _, ok := b.Data[MIMETypeText]; !ok {
		b.Data[MIMETypeText] = []byte(plain(v))
	}
	return b, true
}

// pageOf returns what the method Page of v returns, if that can show itself, and
// else v. A Page has the name alone in common with others of its kind, so that
// packages need not agree on a type.
func pageOf(v any) any {
	if v == nil {
		return nil
	}
	m := reflect.ValueOf(v).MethodByName("Page") // a constant, or the linker keeps all methods of all types
	if !m.IsValid() || m.Type().NumIn() != 0 || m.Type().NumOut() != 1 {
		return v
	}
	if !m.Type().Out(0).Implements(reflect.TypeFor[HTMLer]()) || !m.Type().Out(0).Implements(reflect.TypeFor[Markdowner]()) {
		return v
	}
	return m.Call(nil)[0].Interface()
}

// methods gathers what the methods of v, or of its page, return, and what is known
// of the pictures among that. A method that returns nothing shows nothing.
func methods(v any) (data, metadata MIMEMap) {
	v = pageOf(v)
	m := MIMEMap{}
	text := func(mime, s string) {
		if s != "" {
			m[mime] = s
		}
	}
	binary := func(mime string, b []byte) {
		if len(b) > 0 {
			m[mime] = b
		}
	}
	if v, ok := v.(HTMLer); ok {
		text(MIMETypeHTML, v.HTML())
	}
	if v, ok := v.(JavaScripter); ok {
		text(MIMETypeJavaScript, v.JavaScript())
	}
	if v, ok := v.(JPEGer); ok {
		binary(MIMETypeJPEG, v.JPEG())
	}
	if v, ok := v.(JSONer); ok {
		m[MIMETypeJSON] = v.JSON()
	}
	if v, ok := v.(Latexer); ok {
		text(MIMETypeLatex, v.Latex())
	}
	if v, ok := v.(Markdowner); ok {
		text(MIMETypeMarkdown, v.Markdown())
	}
	if v, ok := v.(PDFer); ok {
		binary(MIMETypePDF, v.PDF())
	}
	if v, ok := v.(PNGer); ok {
		binary(MIMETypePNG, v.PNG())
	}
	if v, ok := v.(SVGer); ok {
		text(MIMETypeSVG, v.SVG())
	}
	return m, pictureMetadata(v, m)
}

// pictureMetadata holds the size of pictures, where v is a Sizer, and what to say
// to those who do not see them, where v has a text.
func pictureMetadata(v any, data MIMEMap) MIMEMap {
	all := MIMEMap{}
	for _, mime := range []string{MIMETypePNG, MIMETypeJPEG} {
		if data[mime] == nil {
			continue
		}
		m := MIMEMap{}
		if s, ok := v.(Sizer); ok {
			m["width"], m["height"] = s.Size()
		}
		if s, ok := v.(fmt.Stringer); ok {
			m["alt"] = s.String()
		}
		if len(m) > 0 {
			all[mime] = m
		}
	}
	return all
}

// plain is the text that stands for v where nothing richer can be shown.
func plain(v any) string {
	switch v := v.(type) {
	case fmt.Stringer:
		return v.String()
	case Data:
		return "(no text)"
	case image.Image:
		b := v.Bounds()
		return fmt.Sprintf("image of %d × %d pixels", b.Dx(), b.Dy())
	}
	if page, ok := pageOf(v).(fmt.Stringer); ok {
		return page.String()
	}
	return fmt.Sprintf("%T", v)
}

// Bundle returns the data as bytes.
func (d Data) Bundle() Bundle {
	b := Bundle{Data: map[string][]byte{}, Metadata: map[string]json.RawMessage{}}
	for mime, v := range d.Data {
		b.Data[mime] = encode(v)
	}
	for key, v := range d.Metadata {
		if raw, err := json.Marshal(v); err == nil {
			b.Metadata[key] = raw
		}
	}
	return b
}

// ID returns the display's name, "" if it has none, and whether the data are
// to be shown in the place of an earlier display of that name.
func (d Data) ID() (id string, update bool) {
	id, _ = d.Transient["display_id"].(string)
	update, _ = d.Transient["update"].(bool)
	return id, update && id != ""
}

// Named returns d with a name, under which Update can show something else in
// its place: Display(display.Named("gauge", display.HTML("0 bar"))).
func Named(id string, d Data) Data {
	d.Transient = MIMEMap{"display_id": id}
	return d
}

// Update returns d to be shown in the place of the display with the name.
func Update(id string, d Data) Data {
	d.Transient = MIMEMap{"display_id": id, "update": true}
	return d
}

// Clear removes what the cell has shown so far; with wait, once there is
// something new to show. A notebook's engine puts its own function in the
// place of this one, which is there for compiled programs and does nothing.
func Clear(wait bool) {}

// Input asks the user for a line of text and waits for it. A notebook's engine
// puts its own function in the place of this one, which returns an error.
func Input(prompt string) (string, error) { return "", errNobody }

// Password is Input for what is not to be seen while it is typed, nor kept
// anywhere.
func Password(prompt string) (string, error) { return "", errNobody }

var errNobody = errors.New("display: there is no notebook whose user could be asked")

func encode(v any) []byte {
	switch v := v.(type) {
	case string:
		return []byte(v)
	case []byte:
		return v
	}
	raw, err := json.Marshal(v)
	if err != nil {
		return []byte(fmt.Sprint(v))
	}
	return raw
}

// MakeData returns data of one MIME type; unless that is plain text, the
// text names the type.
func MakeData(mimeType string, data any) Data {
	d := Data{Data: MIMEMap{mimeType: data}}
	if mimeType != MIMETypeText {
		d.Data[MIMETypeText] = fmt.Sprint(data)
	}
	return d
}

// MakeData3 returns data of one MIME type, and the plain text that stands for it.
func MakeData3(mimeType string, plaintext string, data any) Data {
	return Data{Data: MIMEMap{MIMETypeText: plaintext, mimeType: data}}
}

// MIME returns data and metadata as they are.
func MIME(data, metadata MIMEMap) Data { return Data{Data: data, Metadata: metadata} }

// HTML shows a piece of HTML.
func HTML(html string) Data { return MakeData(MIMETypeHTML, html) }

// JavaScript runs a script in front ends that allow it.
func JavaScript(javascript string) Data { return MakeData(MIMETypeJavaScript, javascript) }

// JSON shows a tree of values.
func JSON(json map[string]any) Data { return MakeData(MIMETypeJSON, json) }

// Latex shows a formula in the line.
func Latex(latex string) Data {
	return MakeData3(MIMETypeLatex, latex, "$"+strings.Trim(latex, "$")+"$")
}

// Math shows a formula of its own.
func Math(latex string) Data {
	return MakeData3(MIMETypeLatex, latex, "$$"+strings.Trim(latex, "$")+"$$")
}

// Markdown shows formatted text.
func Markdown(markdown string) Data { return MakeData(MIMETypeMarkdown, markdown) }

// SVG shows a drawing.
func SVG(svg string) Data { return MakeData(MIMETypeSVG, svg) }

// PNG shows a picture, given as a PNG file.
func PNG(png []byte) Data { return picture(MIMETypePNG, png) }

// JPEG shows a picture, given as a JPEG file.
func JPEG(jpeg []byte) Data { return picture(MIMETypeJPEG, jpeg) }

// PDF shows a document, given as a PDF file.
func PDF(pdf []byte) Data { return picture(MIMETypePDF, pdf) }

func picture(mimeType string, data []byte) Data {
	return MakeData3(mimeType, fmt.Sprintf("%s of %d bytes", mimeType, len(data)), data)
}

// Image shows a picture in memory.
func Image(img image.Image) Data {
	var buf bytes.Buffer
	if err := png.Encode(&buf, img); err != nil {
		return MakeData(MIMETypeText, "cannot show the image: "+err.Error())
	}
	b := img.Bounds()
	d := MakeData3(MIMETypePNG, plain(img), buf.Bytes())
	d.Metadata = MIMEMap{MIMETypePNG: MIMEMap{"width": b.Dx(), "height": b.Dy()}}
	return d
}

// File shows the contents of a file; it panics if the file cannot be read.
func File(mimeType string, path string) Data {
	b, err := os.ReadFile(path)
	if err != nil {
		panic(err)
	}
	return Any(mimeType, b)
}

// Auto shows a value by its methods, or bytes by what they look like.
func Auto(data any) Data { return Any("", data) }

// Any shows data as the given MIME type. If the type is "", a value is shown
// by its methods, and bytes by what they look like. It panics if there is no
// way to show the value.
func Any(mimeType string, data any) Data {
	var b []byte
	switch v := data.(type) {
	case Data:
		return v
	case string:
		if mimeType == "" {
			mimeType = MIMETypeText
		}
		return MakeData(mimeType, v)
	case []byte:
		b = v
	case io.Reader:
		var err error
		if b, err = io.ReadAll(v); err != nil {
			panic(err)
		}
	case io.WriterTo:
		var buf bytes.Buffer
		if _, err := v.WriteTo(&buf); err != nil {
			panic(err)
		}
		b = buf.Bytes()
	default:
		if img, ok := data.(image.Image); ok {
			return Image(img)
		}
		if m, metadata := methods(data); len(m) > 0 {
			m[MIMETypeText] = plain(data)
			return Data{Data: m, Metadata: metadata}
		}
		panic(fmt.Errorf("display: a %T has no method such as HTML or SVG by which it could be shown", data))
	}
	if mimeType == "" {
		mimeType = sniff(b)
	}
	if IsText(mimeType) || IsJSON(mimeType) {
		return MakeData(mimeType, string(b))
	}
	return picture(mimeType, b)
}

// sniff tells the formats that a notebook shows by how their files start.
func sniff(b []byte) string {
	for _, f := range []struct{ start, mime string }{
		{"\x89PNG\r\n\x1a\n", MIMETypePNG},
		{"\xff\xd8\xff", MIMETypeJPEG},
		{"%PDF-", MIMETypePDF},
		{"<svg", MIMETypeSVG},
	} {
		if bytes.HasPrefix(b, []byte(f.start)) {
			return f.mime
		}
	}
	if utf8.Valid(b) {
		return MIMETypeText
	}
	return "application/octet-stream"
}
