package host

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/evenbed/evenbed/kernel/display"
)

// maxShown bounds the text that one cell shows, and the plain text of one
// value; what is more goes to a file.
const maxShown = 512 << 10

// A limiter bounds the text of one cell.
type limiter struct {
	over  *overflow // nil keeps nothing
	shown int
	left  bool // there was more
	more  *kept
	err   error
}

// text returns what of b may be shown and keeps the rest.
func (l *limiter) text(b []byte) string {
	n := min(len(b), maxShown-l.shown)
	n = wholeRunes(b[:n])
	l.shown += n
	if rest := b[n:]; len(rest) > 0 {
		l.shown, l.left = maxShown, true
		l.keep(rest)
	}
	return string(b[:n])
}

func (l *limiter) keep(b []byte) {
	if l.over == nil || l.err != nil {
		return
	}
	if l.more == nil {
		if l.more, l.err = l.over.create(); l.err != nil {
			return
		}
	}
	l.err = l.over.write(l.more, b)
}

// close ends the file, if there is one, and says where it is.
func (l *limiter) close() string {
	defer func() { *l = limiter{over: l.over} }()
	if !l.left {
		return ""
	}
	rest := "the rest was left out"
	if l.more != nil {
		if err := l.more.file.Close(); l.err == nil {
			l.err = err
		}
		rest = fmt.Sprintf("the rest is in %s until the kernel ends", l.more.file.Name())
		if l.more.full {
			rest = fmt.Sprintf("the next %d MiB are in %s until the kernel ends, and what came after was left out", l.more.size>>20, l.more.file.Name())
		}
	}
	if l.err != nil {
		rest = "the rest could not be kept: " + l.err.Error()
	}
	return fmt.Sprintf("\n[more than %d KiB of text; %s]\n", maxShown>>10, rest)
}

// What of one value or failure a front end is sent at most: pictures and pages are
// left out beyond it, the words of a failure are cut.
const (
	maxPart    = 64 << 20
	maxFailure = 64 << 10
)

// output bounds what a value shows.
func (l *limiter) output(o Output) Output {
	switch v := o.(type) {
	case Value:
		v.Bundle = l.cut(v.Bundle)
		return v
	case Display:
		v.Bundle = l.cut(v.Bundle)
		return v
	}
	return o
}

func shorten(s string) string {
	if len(s) <= maxFailure {
		return s
	}
	return fmt.Sprintf("%s… [and %d bytes more]", strings.ToValidUTF8(s[:maxFailure], ""), len(s)-maxFailure)
}

func (l *limiter) cut(b display.Bundle) display.Bundle {
	for _, mime := range slices.Sorted(maps.Keys(b.Data)) {
		if n := len(b.Data[mime]); mime != display.MIMETypeText && n > maxPart {
			delete(b.Data, mime)
			b.Data[display.MIMETypeText] = fmt.Appendf(b.Data[display.MIMETypeText], "\n[%s of %d MiB is not shown; at most %d MiB are]", mime, n>>20, maxPart>>20)
		}
	}
	text := b.Data[display.MIMETypeText]
	if len(text) <= maxShown {
		return b
	}
	own := limiter{over: l.over}
	shown := own.text(text)
	b.Data[display.MIMETypeText] = []byte(shown + own.close())
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
