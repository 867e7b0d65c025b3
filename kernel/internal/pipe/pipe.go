// Package pipe is what the front and its engine say to each other.
//
// Both are processes of one program, so the encoding is Go's own (gob, binary
// and length-prefixed) after a greeting that fails when two versions meet.
// Text that a cell writes to standard output does not come this way; [Marker]
// says where in that text a message belongs.
package pipe

import (
	"bufio"
	"bytes"
	"encoding/gob"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"sync"
)

// greeting opens the stream in each direction. Its last number is the
// version of Message.
const greeting = "evenbed pipe 2\n"

// A Kind says what a message is.
type Kind uint8

// Messages of the front.
const (
	Execute   Kind = iota + 1 // Code, Number
	Interrupt                 // stop what runs
	Complete                  // Code, Cursor
	Inspect                   // Code, Cursor, Detail
	Answer                    // to Ask; Flag means that Text is what was typed, else it says why there is nothing
)

// Messages of the engine.
const (
	Ready     Kind = iota + 64 // the engine can take cells; Text is the marker's token
	Display                    // Data, Metadata, Name is the display's ID, Flag means update
	Clear                      // Flag means wait
	Value                      // Data, Metadata
	Failure                    // Name, Text, Lines
	Done                       // a cell ended; Flag means well
	Completed                  // Matches, Start, End
	Inspected                  // Data; Flag means found
	Ask                        // Text is the prompt, Flag means that what is typed is not to be seen
	Progress                   // like Display, of work that goes on; Number is 1 when it has ended
	Ending                     // the engine ends itself; Text says why
)

// A Match is a proposal of a completion.
type Match struct{ Text, Kind string }

// A Message is one message in either direction. Which fields count depends on
// its kind.
type Message struct {
	Kind Kind
	ID   uint64 // of a request, and of its answer
	Mark uint64 // of an output: the marker written before it

	Code           string
	Number         int
	Cursor, Detail int

	Name, Text string
	Lines      []string
	Flag       bool
	Data       map[string][]byte
	Metadata   map[string]json.RawMessage
	Matches    []Match
	Start, End int
}

// A Conn carries messages. Send may be called by several goroutines.
type Conn struct {
	mu  sync.Mutex
	buf *bufio.Writer
	enc *gob.Encoder
	dec *gob.Decoder
}

// Open greets the other side over r and w and waits for its greeting.
func Open(r io.Reader, w io.Writer) (*Conn, error) {
	if _, err := io.WriteString(w, greeting); err != nil {
		return nil, fmt.Errorf("pipe: %w", err)
	}
	in := bufio.NewReader(r)
	got := make([]byte, len(greeting))
	if _, err := io.ReadFull(in, got); err != nil {
		return nil, fmt.Errorf("pipe: the other process left before it greeted: %w", err)
	}
	if string(got) != greeting {
		return nil, errors.New("pipe: the two processes are of different versions of evenbed; install it again")
	}
	out := bufio.NewWriter(w)
	return &Conn{buf: out, enc: gob.NewEncoder(out), dec: gob.NewDecoder(in)}, nil
}

// Send writes messages.
func (c *Conn) Send(ms ...*Message) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, m := range ms {
		if err := c.enc.Encode(m); err != nil {
			return fmt.Errorf("pipe: %w", err)
		}
	}
	return c.buf.Flush()
}

// Receive reads one message. It must not be called by two goroutines at once.
func (c *Conn) Receive() (*Message, error) {
	m := new(Message)
	if err := c.dec.Decode(m); err != nil {
		return nil, err
	}
	return m, nil
}

// Marker returns the n-th marker. The engine writes it to standard output and
// standard error before it sends a message that bears n, so that the front
// knows which text came before the message. The token is random, new for each
// engine, so that no text can hold a marker by chance.
func Marker(token string, n uint64) []byte {
	b := make([]byte, 0, len(token)+24)
	b = append(b, MarkerStart(token)...)
	b = strconv.AppendUint(b, n, 10)
	return append(b, markerEnd)
}

// MarkerStart returns what every marker of an engine starts with.
func MarkerStart(token string) []byte {
	return []byte("\x00" + token + ":")
}

const markerEnd = '\x00'

// CutMarker looks for the first marker in b. It returns the text before it,
// its number and the rest. If there is none, text is what surely is no part
// of a marker and rest is what may be the start of one.
func CutMarker(b, start []byte) (text []byte, n uint64, rest []byte, found bool) {
	i := bytes.Index(b, start)
	if i < 0 {
		k := partial(b, start)
		return b[:k], 0, b[k:], false
	}
	for j := i + len(start); j < len(b); j++ {
		if b[j] == markerEnd {
			n, err := strconv.ParseUint(string(b[i+len(start):j]), 10, 64)
			if err != nil {
				break
			}
			return b[:i], n, b[j+1:], true
		}
	}
	return b[:i], 0, b[i:], false
}

// partial returns where a suffix of b starts that could grow into start, or
// len(b).
func partial(b, start []byte) int {
	from := max(0, len(b)-len(start)+1)
	for i := from; i < len(b); i++ {
		if bytes.HasPrefix(start, b[i:]) {
			return i
		}
	}
	return len(b)
}
