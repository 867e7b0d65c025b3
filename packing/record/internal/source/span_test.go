package source

import (
	"math"
	"math/rand/v2"
	"testing"
)

// plainSpan is the definition, one number after the other.
func plainSpan(values []float64) Span {
	nan := math.NaN()
	s := Span{Rows: len(values), First: nan, Last: nan, Least: nan, Most: nan, Rising: true}
	for _, v := range values {
		switch {
		case math.IsNaN(v):
			s.Missing++
			continue
		case math.IsNaN(s.First):
			s.First, s.Least, s.Most = v, v, v
		default:
			s.Rising = s.Rising && v > s.Last
		}
		s.Last, s.Least, s.Most = v, min(s.Least, v), max(s.Most, v)
	}
	return s
}

func same(a, b Span) bool {
	bits := func(s Span) [4]uint64 {
		var out [4]uint64
		for i, v := range []float64{s.First, s.Last, s.Least, s.Most} {
			if out[i] = math.Float64bits(v); math.IsNaN(v) {
				out[i] = math.Float64bits(math.NaN())
			}
		}
		return out
	}
	return a.Rows == b.Rows && a.Missing == b.Missing && a.Rising == b.Rising && bits(a) == bits(b)
}

// The span is that of the definition to the last bit, the sign of zero
// included, and so is one put together of parts.
func TestSpan(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	few := []float64{math.NaN(), 0, math.Copysign(0, -1), 1, -1, 2}
	for range 20_000 {
		values := make([]float64, r.IntN(8))
		for i := range values {
			switch r.IntN(4) {
			case 0:
				values[i] = few[r.IntN(len(few))]
			default:
				values[i] = float64(i) - 3 + r.Float64()*1.2
			}
		}
		want := plainSpan(values)
		if got := SpanOf(values); !same(got, want) {
			t.Fatalf("%v: %+v, want %+v", values, got, want)
		}
		cut := r.IntN(len(values) + 1)
		if got := SpanOf(values[:cut]).And(SpanOf(values[cut:])); !same(got, want) {
			t.Fatalf("%v cut at %d: %+v, want %+v", values, cut, got, want)
		}
	}
}

// A column with fewer numbers than before has another span.
func TestSpanOfColumn(t *testing.T) {
	c := Column{Values: []float64{3, 2, 5}}
	if s := c.Span(); s.Rising || s.Most != 5 {
		t.Errorf("%+v", s)
	}
	c.Values = c.Values[:2]
	if s := c.Span(); s.Most != 3 || s.Rows != 2 {
		t.Errorf("fewer numbers: %+v", s)
	}
	c.Values = nil
	if s := c.Span(); !same(s, plainSpan(nil)) {
		t.Errorf("no numbers: %+v", s)
	}
	if s := new(Column).Span(); !same(s, plainSpan(nil)) {
		t.Errorf("never any numbers: %+v", s)
	}
}
