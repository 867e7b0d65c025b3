package display

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"strings"
)

// MIME types that front ends know how to show.
const (
	MIMETypeHTML       = "text/html"
	MIMETypeJavaScript = "application/javascript"
	MIMETypeJPEG       = "image/jpeg"
	MIMETypeJSON       = "application/json"
	MIMETypeLatex      = "text/latex"
	MIMETypeMarkdown   = "text/markdown"
	MIMETypePDF        = "application/pdf"
	MIMETypePNG        = "image/png"
	MIMETypeSVG        = "image/svg+xml"
	MIMETypeText       = "text/plain"
)

// ProgressMetadata marks a display that tells how far work is, and is no result.
const ProgressMetadata = "evenbed_progress"

// A Bundle is one value in one or more representations, of which a front end
// shows the richest it can.
type Bundle struct {
	// Data maps a MIME type to its bytes: text as UTF-8, images as they are
	// in a file, JSON as JSON.
	Data map[string][]byte
	// Metadata maps a MIME type, or a name of the front end's, to JSON.
	Metadata map[string]json.RawMessage
}

// Text returns a bundle of plain text alone.
func Text(s string) Bundle {
	return Bundle{Data: map[string][]byte{MIMETypeText: []byte(s)}}
}

// JSON returns the data as messages and notebooks write them: text as a
// string, images and other binary as base64 in a string, JSON as itself.
func (b Bundle) JSON() map[string]json.RawMessage {
	m := make(map[string]json.RawMessage, len(b.Data))
	for mime, data := range b.Data {
		switch {
		case IsJSON(mime) && json.Valid(data):
			m[mime] = json.RawMessage(data)
		case IsText(mime) || IsJSON(mime):
			m[mime] = quote(string(data))
		default:
			m[mime] = quote(base64.StdEncoding.EncodeToString(data))
		}
	}
	return m
}

func quote(s string) json.RawMessage {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)              // markup would grow, and nothing here stands in a page
	if err := e.Encode(s); err != nil { // a string always has a JSON form
		panic("display: " + err.Error())
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n"))
}

// IsJSON reports whether data of the MIME type is JSON.
func IsJSON(mime string) bool {
	return mime == MIMETypeJSON || strings.HasSuffix(mime, "+json")
}

// IsText reports whether data of the MIME type is text.
func IsText(mime string) bool {
	return strings.HasPrefix(mime, "text/") || mime == MIMETypeSVG || mime == MIMETypeJavaScript ||
		strings.HasSuffix(mime, "+xml")
}
