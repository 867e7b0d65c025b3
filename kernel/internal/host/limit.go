package host

import (
	"fmt"
	"os"
	"unicode/utf8"

	"github.com/evenbed/evenbed/kernel/display"
)

// maxShown bounds the text that one cell shows, and the plain text of one
// value; what is more goes to a file.
const maxShown = 512 << 10

// A limiter bounds the text of one cell.
type limiter struct {
	shown int
	more  *os.File
	err   error
}

// text returns what of b may be shown and puts the rest into a file.
func (l *limiter) text(b []byte) string {
	n := min(len(b), maxShown-l.shown)
	n = wholeRunes(b[:n])
	l.shown += n
	if rest := b[n:]; len(rest) > 0 {
		l.shown = maxShown
		l.keep(rest)
	}
	return string(b[:n])
}

func (l *limiter) keep(b []byte) {
	if l.more == nil && l.err == nil {
		l.more, l.err = os.CreateTemp("", "evenbed-output-*.txt")
	}
	if l.err == nil {
		_, l.err = l.more.Write(b)
	}
}

// close ends the file, if there is one, and says where it is.
func (l *limiter) close() string {
	defer func() { *l = limiter{} }()
	switch {
	case l.err != nil:
		return fmt.Sprintf("\n[more than %d KiB of text; the rest could not be kept: %v]\n", maxShown>>10, l.err)
	case l.more == nil:
		return ""
	}
	name := l.more.Name()
	if err := l.more.Close(); err != nil {
		return fmt.Sprintf("\n[more than %d KiB of text; the rest could not be kept: %v]\n", maxShown>>10, err)
	}
	return fmt.Sprintf("\n[more than %d KiB of text; the rest is in %s]\n", maxShown>>10, name)
}

// output bounds the plain text of a value.
func (l *limiter) output(o Output) Output {
	switch v := o.(type) {
	case Value:
		v.Bundle = cut(v.Bundle)
		return v
	case Display:
		v.Bundle = cut(v.Bundle)
		return v
	}
	return o
}

func cut(b display.Bundle) display.Bundle {
	text := b.Data[display.MIMETypeText]
	if len(text) <= maxShown {
		return b
	}
	l := limiter{}
	shown := l.text(text)
	b.Data[display.MIMETypeText] = []byte(shown + l.close())
	return b
}

// wholeRunes returns how much of b ends with a whole character, if what is
// cut could be the start of one.
func wholeRunes(b []byte) int {
	for i := 1; i <= utf8.UTFMax && i <= len(b); i++ {
		if c := b[len(b)-i]; utf8.RuneStart(c) {
			if c >= utf8.RuneSelf && !utf8.FullRune(b[len(b)-i:]) {
				return len(b) - i
			}
			break
		}
	}
	return len(b)
}
