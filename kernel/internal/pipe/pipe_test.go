package pipe

import (
	"bytes"
	"io"
	"net"
	"reflect"
	"strings"
	"testing"
)

func TestConnCarriesMessages(t *testing.T) {
	a, b := net.Pipe()
	got := make(chan *Message)
	go func() {
		c, err := Open(b, b)
		if err != nil {
			t.Error(err)
			close(got)
			return
		}
		m, err := c.Receive()
		if err != nil {
			t.Error(err)
		}
		got <- m
	}()
	// both sides write first, so the greeting needs a buffer between them
	c, err := Open(a, eager{a})
	if err != nil {
		t.Fatal(err)
	}
	want := &Message{Kind: Value, Mark: 7, Data: map[string][]byte{"image/png": {0, 1, 255}}}
	if err := c.Send(want); err != nil {
		t.Fatal(err)
	}
	if m := <-got; !reflect.DeepEqual(m, want) {
		t.Errorf("received %+v, want %+v", m, want)
	}
}

// eager writes without waiting for the reader, as an operating system's pipe does.
type eager struct{ w io.Writer }

func (e eager) Write(p []byte) (int, error) {
	p = bytes.Clone(p)
	if string(p) == greeting {
		go e.w.Write(p)
		return len(p), nil
	}
	return e.w.Write(p)
}

func TestOpenRefusesAnotherVersion(t *testing.T) {
	other := strings.Replace(greeting, "1", "9", 1)
	if _, err := Open(strings.NewReader(other), io.Discard); err == nil || !strings.Contains(err.Error(), "different versions") {
		t.Errorf("error is %v", err)
	}
	if _, err := Open(strings.NewReader("even"), io.Discard); err == nil || !strings.Contains(err.Error(), "left before") {
		t.Errorf("error is %v", err)
	}
}

// However the bytes are cut on their way, the same text and markers come out.
func TestCutMarkerWhereverBytesAreCut(t *testing.T) {
	token := "abcab"
	stream := "one" + string(Marker(token, 1)) + "\x00abc two\x00" + string(Marker(token, 2)) + string(Marker(token, 31)) + "end"
	want := "one[1]\x00abc two\x00[2][31]end"
	start := MarkerStart(token)
	for size := 1; size <= len(stream); size++ {
		var out strings.Builder
		var held []byte
		for i := 0; i < len(stream); i += size {
			held = append(held, stream[i:min(i+size, len(stream))]...)
			for {
				text, n, rest, found := CutMarker(held, start)
				out.Write(text)
				held = bytes.Clone(rest)
				if !found {
					break
				}
				out.WriteString("[" + itoa(n) + "]")
			}
		}
		out.Write(held)
		if out.String() != want {
			t.Fatalf("cut every %d bytes: %q, want %q", size, out.String(), want)
		}
	}
}

func itoa(n uint64) string { return strings.TrimSuffix(string(Marker("", n))[2:], "\x00") }
