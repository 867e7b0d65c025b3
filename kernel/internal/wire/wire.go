// Package wire turns Jupyter messages into frames and back.
//
// A message on the wire is a list of frames: routing identities, a delimiter,
// a signature, four dictionaries in JSON (header, parent header, metadata,
// content) and any number of binary buffers. [Decode] counts the frames, then
// checks the signature, then looks at the header; the content is left to the
// one who knows what to expect. Bytes from outside give an error, never a
// panic, and fields that are not known are passed over.
//
// Source: Jupyter messaging protocol, jupyter-client.readthedocs.io.
package wire

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// Version is the version of the protocol that is spoken here. 5.5 has
// kernel_info on the control channel and iopub_welcome.
const Version = "5.5"

// Delimiter is the frame between the routing identities and the message.
const Delimiter = "<IDS|MSG>"

// dateLayout is ISO 8601 with microseconds, as Jupyter clients write it.
const dateLayout = "2006-01-02T15:04:05.000000Z07:00"

var (
	ErrDelimiter = errors.New("no delimiter <IDS|MSG> among the frames")
	ErrFrames    = errors.New("too few frames behind the delimiter")
	ErrSignature = errors.New("the signature is wrong")
	ErrHeader    = errors.New("the header is not that of a message")
)

// A Header tells one message from all others.
type Header struct {
	ID       string `json:"msg_id"`
	Session  string `json:"session"`
	Username string `json:"username"`
	Date     string `json:"date"`
	Type     Type   `json:"msg_type"`
	Version  string `json:"version"`
}

// Time returns the header's date; false if it has none that can be read.
func (h Header) Time() (time.Time, bool) {
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02T15:04:05.999999999Z0700", "2006-01-02T15:04:05.999999999"} {
		if t, err := time.Parse(layout, h.Date); err == nil {
			return t, true
		}
	}
	return time.Time{}, false
}

// A Message is one message as it came in.
type Message struct {
	Identities [][]byte
	Header     Header
	RawHeader  json.RawMessage // the header as it was written: the parent header of every answer
	Parent     json.RawMessage
	Metadata   json.RawMessage
	Content    json.RawMessage
	Buffers    [][]byte
}

// Read puts the content into v, a pointer to one of the content structs.
func (m *Message) Read(v any) error {
	if err := json.Unmarshal(m.Content, v); err != nil {
		return fmt.Errorf("content of %s: %w", m.Header.Type, err)
	}
	return nil
}

// Decode reads a message from its frames. With an empty key signatures are
// not looked at.
func Decode(frames [][]byte, key []byte) (*Message, error) {
	ids := 0
	for ids < len(frames) && string(frames[ids]) != Delimiter {
		ids++
	}
	if ids == len(frames) {
		return nil, fmt.Errorf("message of %d frames: %w", len(frames), ErrDelimiter)
	}
	const parts = 5 // signature, header, parent header, metadata, content
	body := frames[ids+1:]
	if len(body) < parts {
		return nil, fmt.Errorf("message with %d frames behind the delimiter, not %d or more: %w", len(body), parts, ErrFrames)
	}
	if len(key) > 0 && !hmac.Equal(body[0], Signature(key, body[1:parts])) {
		return nil, ErrSignature
	}
	m := &Message{
		Identities: frames[:ids],
		RawHeader:  body[1],
		Parent:     body[2],
		Metadata:   body[3],
		Content:    body[4],
		Buffers:    body[parts:],
	}
	if err := json.Unmarshal(m.RawHeader, &m.Header); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrHeader, err)
	}
	if m.Header.Type == "" {
		return nil, fmt.Errorf("%w: it has no msg_type", ErrHeader)
	}
	m.RawHeader = bytes.TrimSpace(m.RawHeader)
	return m, nil
}

// Encode returns the frames of a message from the delimiter on: what stands
// before, routing identities or a topic, is the channel's. A nil parent or
// metadata is an empty dictionary.
func Encode(key []byte, h Header, parent, metadata json.RawMessage, content any, buffers ...[]byte) ([][]byte, error) {
	header, err := json.Marshal(h)
	if err != nil {
		return nil, fmt.Errorf("header of %s: %w", h.Type, err)
	}
	var body bytes.Buffer
	e := json.NewEncoder(&body)
	e.SetEscapeHTML(false) // outputs are full of markup, which would grow
	if err := e.Encode(content); err != nil {
		return nil, fmt.Errorf("content of %s: %w", h.Type, err)
	}
	frames := make([][]byte, 6, 6+len(buffers))
	frames[0] = []byte(Delimiter)
	frames[2] = header
	frames[3] = orEmpty(parent)
	frames[4] = orEmpty(metadata)
	frames[5] = bytes.TrimSuffix(body.Bytes(), []byte("\n"))
	if len(key) > 0 {
		frames[1] = Signature(key, frames[2:6])
	}
	return append(frames, buffers...), nil
}

// Date writes a time as headers do.
func Date(t time.Time) string { return t.UTC().Format(dateLayout) }

func orEmpty(dictionary json.RawMessage) []byte {
	if len(dictionary) == 0 {
		return []byte("{}")
	}
	return dictionary
}

// Signature returns HMAC-SHA256 over the frames, as hexadecimal digits.
func Signature(key []byte, frames [][]byte) []byte {
	mac := hmac.New(sha256.New, key)
	for _, f := range frames {
		mac.Write(f)
	}
	return hex.AppendEncode(nil, mac.Sum(nil))
}
