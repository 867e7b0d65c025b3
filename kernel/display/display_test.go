package display_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/kernel/display"
)

type rich struct{}

func (rich) HTML() string         { return "<b>&</b>" }
func (rich) Latex() string        { return "$x$" }
func (rich) PNG() []byte          { return []byte{0x89, 0, 255} }
func (rich) JSON() map[string]any { return map[string]any{"k": 1.5} }
func (rich) String() string       { return "text" }

func TestOfGathersWhatMethodsShow(t *testing.T) {
	b, ok := display.Of(rich{})
	if !ok {
		t.Fatal("nothing is shown")
	}
	for mime, want := range map[string]string{
		display.MIMETypeHTML: "<b>&</b>", display.MIMETypeLatex: "$x$", display.MIMETypePNG: "\x89\x00\xff",
		display.MIMETypeJSON: `{"k":1.5}`, display.MIMETypeText: "text",
	} {
		if got := string(b.Data[mime]); got != want {
			t.Errorf("%s is %q, want %q", mime, got, want)
		}
	}
	if len(b.Data) != 5 {
		t.Errorf("%d representations, want 5", len(b.Data))
	}
	if _, ok := display.Of(42); ok {
		t.Error("a number has no display method")
	}
}

// A result shows itself by its page.
type result struct{ Value int }

func (r result) Page() page { return page{r} }

type page struct{ r result }

func (p page) HTML() string     { return fmt.Sprintf("<p>%d</p>", p.r.Value) }
func (p page) Markdown() string { return fmt.Sprintf("*%d*", p.r.Value) }
func (p page) SVG() string      { return "" }
func (p page) String() string   { return fmt.Sprintf("value %d", p.r.Value) }

// named says in text its name alone.
type named struct{ result }

func (named) String() string { return "name" }

// leaf has a method of the name that has nothing to do with showing.
type leaf struct{}

func (leaf) Page() int { return 7 }

type book struct{ result }

func (book) Page(number int) page { return page{} }

func TestOfShowsThePage(t *testing.T) {
	changed := result{4}
	changed.Value = 5
	for _, tc := range []struct {
		value      any
		html, text string
	}{
		{result{4}, "<p>4</p>", "value 4"},
		{&result{4}, "<p>4</p>", "value 4"},
		{changed, "<p>5</p>", "value 5"},
		{named{result{4}}, "<p>4</p>", "name"},
	} {
		b, ok := display.Of(tc.value)
		if !ok || string(b.Data[display.MIMETypeHTML]) != tc.html || string(b.Data[display.MIMETypeText]) != tc.text || len(b.Data) != 3 {
			t.Errorf("%T shows %s", tc.value, b.Data)
		}
		if got := display.Auto(tc.value).Data[display.MIMETypeHTML]; got != tc.html {
			t.Errorf("%T in Auto shows %v", tc.value, got)
		}
	}
	for _, v := range []any{leaf{}, book{}, nil} {
		if b, ok := display.Of(v); ok {
			t.Errorf("%T shows %s", v, b.Data)
		}
	}
}

// In messages text is a string without escapes that pages need, binary data is
// base64, and JSON is itself.
func TestBundleJSON(t *testing.T) {
	b, _ := display.Of(rich{})
	for mime, want := range map[string]string{
		display.MIMETypeHTML: `"<b>&</b>"`,
		display.MIMETypePNG:  `"iQD/"`, // by hand: 89 00 FF is 100010 010000 000011 111111
		display.MIMETypeJSON: `{"k":1.5}`,
	} {
		if got := string(b.JSON()[mime]); got != want {
			t.Errorf("%s is %s, want %s", mime, got, want)
		}
	}
	broken := display.Bundle{Data: map[string][]byte{display.MIMETypeJSON: []byte("{")}}
	if got := broken.JSON()[display.MIMETypeJSON]; !json.Valid(got) {
		t.Errorf("data that are no JSON become %s", got)
	}
}

func TestAny(t *testing.T) {
	img := image.NewGray(image.Rect(0, 0, 3, 2))
	var file bytes.Buffer
	if err := png.Encode(&file, img); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name string
		data display.Data
		mime string
	}{
		{"PNG bytes", display.Auto(file.Bytes()), display.MIMETypePNG},
		{"image", display.Auto(img), display.MIMETypePNG},
		{"reader", display.Auto(bytes.NewReader([]byte("%PDF-1.4"))), display.MIMETypePDF},
		{"text bytes", display.Auto([]byte("plain")), display.MIMETypeText},
		{"bytes of unknown kind", display.Auto([]byte{0xfe, 0xff}), "application/octet-stream"},
		{"string with a type", display.Any(display.MIMETypeHTML, "<b>"), display.MIMETypeHTML},
		{"methods", display.Auto(rich{}), display.MIMETypeLatex},
		{"data", display.Auto(display.Math("x")), display.MIMETypeLatex},
	} {
		if _, ok := tc.data.Data[tc.mime]; !ok {
			t.Errorf("%s is not shown as %s: %v", tc.name, tc.mime, tc.data.Data)
		}
		if text, _ := tc.data.Bundle().Data[display.MIMETypeText]; tc.mime != display.MIMETypeText && len(text) == 0 {
			t.Errorf("%s has no plain text", tc.name)
		}
	}
	defer func() {
		if rec := recover(); rec == nil || !strings.Contains(rec.(error).Error(), "struct {}") {
			t.Errorf("a value that cannot be shown: %v", rec)
		}
	}()
	display.Auto(struct{}{})
}

func TestNames(t *testing.T) {
	if id, update := display.Named("n", display.HTML("")).ID(); id != "n" || update {
		t.Errorf("Named gives %q, %v", id, update)
	}
	if id, update := display.Update("n", display.HTML("")).ID(); id != "n" || !update {
		t.Errorf("Update gives %q, %v", id, update)
	}
	if id, update := display.HTML("").ID(); id != "" || update {
		t.Errorf("HTML gives %q, %v", id, update)
	}
}

type sharp struct{ rich }

func (sharp) Size() (width, height int) { return 360, 200 }

type nameless struct{}

func (nameless) PNG() []byte { return []byte{1} }

// A picture says its room in CSS pixels and its text; without both, nothing.
func TestPicturesSayTheirSize(t *testing.T) {
	for _, tc := range []struct {
		value any
		want  string
	}{
		{sharp{}, `{"alt":"text","height":200,"width":360}`},
		{rich{}, `{"alt":"text"}`},
		{nameless{}, ``},
	} {
		b, _ := display.Of(tc.value)
		if got := string(b.Metadata[display.MIMETypePNG]); got != tc.want {
			t.Errorf("%T says %s, want %s", tc.value, got, tc.want)
		}
		if got := string(display.Auto(tc.value).Bundle().Metadata[display.MIMETypePNG]); got != tc.want {
			t.Errorf("%T in Auto says %s, want %s", tc.value, got, tc.want)
		}
		if n := len(b.Metadata); n > 1 {
			t.Errorf("%T has metadata of %d types", tc.value, n)
		}
	}
}
