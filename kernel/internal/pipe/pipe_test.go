package pipe

import (
	"bytes"
	"io"
	"os"
	"reflect"
	"strings"
	"testing"
)

func TestConnCarriesMessages(t *testing.T) {
	// the pipes of the operating system, since each side writes its greeting before it reads
	toFront, fromEngine := osPipe(t)
	toEngine, fromFront := osPipe(t)
	type received struct {
		m   *Message
		err error
	}
	got := make(chan received, 1)
	go func() {
		c, err := Open(toFront, fromFront)
		if err != nil {
			got <- received{nil, err}
			return
		}
		m, err := c.Receive()
		got <- received{m, err}
	}()
	c, err := Open(toEngine, fromEngine)
	if err != nil {
		t.Fatal(err)
	}
	want := &Message{Kind: Value, Mark: 7, Data: map[string][]byte{"image/png": {0, 1, 255}}}
	if err := c.Send(want); err != nil {
		t.Fatal(err)
	}
	if r := <-got; r.err != nil || !reflect.DeepEqual(r.m, want) {
		t.Errorf("received %+v and error %v, want %+v", r.m, r.err, want)
	}
}

func osPipe(t *testing.T) (r, w *os.File) {
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close(); w.Close() })
	return r, w
}

func TestOpenRefusesAnotherVersion(t *testing.T) {
	other := strings.Replace(greeting, "pipe ", "pipe 1", 1)
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
