package bed_test

import (
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// contains checks that all parts stand in a text, in order.
func contains(t *testing.T, text string, parts ...string) {
	t.Helper()
	rest := text
	for _, part := range parts {
		_, after, found := strings.Cut(rest, part)
		if !found {
			t.Fatalf("%q is missing or out of place in\n%s", part, text)
		}
		rest = after
	}
}

func TestCompressibleShows(t *testing.T) {
	b := soft(bed.LinearStrain{Modulus: 4 * Bar})
	b.Label = "Marram <1>"
	contains(t, b.HTML(), "Marram &lt;1&gt;", "Critical velocity 692.3 cm/h", "at most 1.1,", "<table", "<svg", "at most 1.1<", "carries nothing", "rising load only")
	contains(t, b.Markdown(), "Marram", "692.3 cm/h", "| 346.1 | 50 | 19.31 |", "left out")
	contains(t, b.String(), "Critical velocity 692.3 cm/h")
	contains(t, b.SVG(), "<svg", "critical", "at most 1.1")
	s := at(t, b, 300*CentimetrePerHour)
	contains(t, s.HTML(), "Marram &lt;1&gt; at 300 cm/h", "19.42", "1.0300", "0.2486", "0.3602", "<svg")
	contains(t, s.String(), "19.42", "1.0300")
	contains(t, s.SVG(), "<svg", "Depth below the top")

	b.MeanBead = 90
	contains(t, b.HTML(), "No result:", "mean bead 90 m")
	contains(t, bed.Compressible{}.HTML(), "No result:", "law: none was given")
	contains(t, bed.Compressible{}.SVG(), "<svg")
	contains(t, bed.State{}.HTML(), "No result:")
	contains(t, bed.State{}.SVG(), "<svg")
}

func TestSedimentShows(t *testing.T) {
	// 1.271 m/h and n = 4.65: 0.05 of solids fall at 127.1·0.95^4.65 = 100.1 cm/h
	// and pile up at 127.1·0.05·0.95^4.65/(0.6-0.05) = 9.10 cm/h (by hand).
	s, err := bed.Suspension{Terminal: 127.1 * CentimetrePerHour, Exponent: 4.65, Solids: 0.05, BedSolids: 0.6}.Settle(40 * Centimetre)
	if err != nil {
		t.Fatal(err)
	}
	contains(t, s.HTML(), "<table", "100.1", "9.10", "3.33", "22.0", "fines take longer")
	contains(t, s.Markdown(), "| surface of the bed rises | 9.10 | cm/h |")
	contains(t, s.String(), "cm/h")
	contains(t, bed.Sediment{}.HTML(), "No result:")
}
