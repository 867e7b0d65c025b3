package cell

import (
	"strings"
	"testing"
)

func TestSource(t *testing.T) {
	known := func(name string) bool { return name == "old" }
	for _, tc := range []struct{ text, want string }{
		{"a := 1\na", "a := 1\na"},
		{"func f[T any](x T) {}", "func f#[T](x T) {}"},
		{"func f[K comparable, V int | float64](m map[K]V) []V { return nil }\nf[string, int](nil)",
			"func f#[K, V](m map[K]V) []V { return nil }\nf#[string, int](nil)"},
		{"func f[A, B any, C interface{ ~int }](x A) {}", "func f#[A, B, C](x A) {}"},
		{"func f[\n\tT any,\n](x T) {}", "func f#[T\n\n](x T) {}"},
		{"type p[T any] struct{ a T }\nvar q p[int]", "type p#[T] struct{ a T }\nvar q p#[int]"},
		{"type (\n\tp[T any] []T\n\tq [4]int\n)", "type (\n\tp#[T] []T\n\tq [4]int\n)"},
		{"type a [n]int\nvar m map[string]a\nm[k]", "type a [n]int\nvar m map[string]a\nm[k]"},
		{"old[int](3) + x.old[3] + other[2]", "old#[int](3) + x.old[3] + other[2]"},
		{"type n interface{ ~int | ~float64 }", "type n interface{}"},
		{"type n interface{ Len() int }", "type n interface{ Len() int }"},
		{"func() int { return 1 }()", "(func() int { return 1 })()"},
		{"a := 1; func(x []int) map[int]struct{} { return nil }(nil)", "a := 1; (func(x []int) map[int]struct{} { return nil })(nil)"},
		{"func(x int) (a, b int) { return }(1)", "(func(x int) (a, b int) { return })(1)"},
		{"func (t T) M() {}", "func (t T) M() {}"},
		{"func named() func() { return func() {} }", "func named() func() { return func() {} }"},
		{"x := func() {}\ngo func() {}()", "x := func() {}\ngo func() {}()"},
		{"f(func() { for x := range func(y func(int) bool) {} { g(x) } })", "f(func() { for x := range (func(y func(int) bool) {}) { g(x) } })"},
		{"a, b", Values + "(a, b)"},
		{"x := 1\nf(1, 2), []int{1, 2} // two\n", "x := 1\n" + Values + "(f(1, 2), []int{1, 2}) // two\n"},
		{"func() int { return 1 }(), 2", Values + "((func() int { return 1 })(), 2)"},
		{"a, b = b, a", "a, b = b, a"},
		{"for i, v := range xs { f(i, v) }", "for i, v := range xs { f(i, v) }"},
		{"var a, b int", "var a, b int"},
		{"f(a, b)", "f(a, b)"},
		{"[]int{1, 2}", "[]int{1, 2}"},
		{"func broken( {", "func broken( {"},
		{"", ""},
	} {
		s, err := NewSource(tc.text, known)
		if err != nil || s.Text != tc.want {
			t.Errorf("%s\nbecomes %s (%v)\nwant    %s", tc.text, s.Text, err, tc.want)
		}
	}
	_, err := NewSource("type b[T any] struct{}\nfunc (x *b[T]) M() {}", nil)
	if e, ok := err.(*SourceError); !ok || e.Line != 2 || e.Column != 10 {
		t.Errorf("a method of a generic type: %+v", err)
	}
}

// Whatever is still there after the rewriting is found where it was.
func TestSourcePlace(t *testing.T) {
	text := "func f[T any, U int | float64](x T) T { return bad1 }\nf[int](bad2)\nfunc() int {\n\treturn bad3\n}(), bad4"
	s, err := NewSource(text, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"func f", "bad1", "bad2", "bad3", "bad4"} {
		line, column := position(s.Text, strings.Index(s.Text, word))
		wantLine, wantColumn := position(text, strings.Index(text, word))
		if l, c := s.Place(line, column); l != wantLine || c != wantColumn {
			t.Errorf("%s is placed at %d:%d, want %d:%d", word, l, c, wantLine, wantColumn)
		}
	}
}

// No text makes it panic, and lines keep their number.
func FuzzNewSource(f *testing.F) {
	for _, seed := range []string{"func f[T any](x T) {}", "type p[T any] struct{}\np[int]{}", "func() {}()", "a, b", "old[int]", "for range func(y func() bool) {} {}", "range func", "func(", "type (", "interface{~", "f[T"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, _ := NewSource(text, func(name string) bool { return len(name) == 3 })
		if n := strings.Count(s.Text, "\n"); n != strings.Count(text, "\n") {
			t.Errorf("%d lines become %d", strings.Count(text, "\n"), n)
		}
		for line := 1; line < 5; line++ {
			s.Place(line, line)
		}
	})
}
