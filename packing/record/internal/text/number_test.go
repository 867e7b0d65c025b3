package text

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

// checkNumber compares both number parsers with strconv, bit for bit.
func checkNumber(t *testing.T, s string) {
	t.Helper()
	want, err := strconv.ParseFloat(s, 64)
	comma := strings.Replace(s, ".", ",", 1)
	for _, p := range []struct {
		name  string
		parse func() (float64, bool)
	}{
		{"decimalNumber", func() (float64, bool) { return decimalNumber([]byte(s), '.') }},
		{"decimalNumber with comma", func() (float64, bool) { return decimalNumber([]byte(comma), ',') }},
	} {
		got, ok := p.parse()
		if ok != (err == nil) || ok && math.Float64bits(got) != math.Float64bits(want) {
			t.Errorf("%s(%q) = %v, %v; want %v, %v", p.name, s, got, ok, want, err)
		}
	}
	// The fast one may give up, but not be wrong.
	if got, end, ok := fastNumber([]byte(s), 0, '.'); ok && end == len(s) && (err != nil || math.Float64bits(got) != math.Float64bits(want)) {
		t.Errorf("fastNumber(%q) = %v, want %v, %v", s, got, want, err)
	}
	if got, ok := plainNumber(s); ok && (err != nil || math.Float64bits(got) != math.Float64bits(want)) {
		t.Errorf("plainRow(%q) = %v, want %v, %v", s, got, want, err)
	}
}

// plainNumber reads a number as plainRow does, between two others.
func plainNumber(s string) (float64, bool) {
	w := &worker{sep: ',', decimal: '.', lanes: make([]lane, 3)}
	for j := range w.lanes {
		w.lanes[j] = lane{values: []float64{math.NaN()}, end: ',', fraction: 6}
	}
	w.lanes[2].end = '\n'
	row := "12.345678," + s + ",-0.25\n"
	b := []byte(row + strings.Repeat("9", plainReach))
	ok := w.plainRow(b, 0, 0) == len(row)
	return w.lanes[1].values[0], ok && w.lanes[0].values[0] == 12.345678 && w.lanes[2].values[0] == -0.25
}

// What an instrument writes is a plain number; what is not one is left to others.
func TestPlainNumbers(t *testing.T) {
	for _, s := range []string{"0", "7", "-3", "+3", "1234567", "0.1", "-0.0", "1.234567", "-1234567.1234567", " 1.5", "  -20.25", "9999999.9999999"} {
		want, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
		if got, ok := plainNumber(s); err != nil || !ok || math.Float64bits(got) != math.Float64bits(want) {
			t.Errorf("plainRow(%q) = %v, %v; want %v", s, got, ok, want)
		}
	}
	for _, s := range []string{"", "-", " ", "12345678", "0.12345678", ".5", "5.", "1e3", "1 ", "1.5x", "x", "\"1\"", "1.5 mAU", "<5", "--1", "+-1", "1-", "1..2", "1.2.3", "1,2", "1\n2", "1\r", "\x001", "1:30"} {
		if got, ok := plainNumber(s); ok {
			t.Errorf("plainRow(%q) = %v, want it left", s, got)
		}
	}
}

// hard are numbers near the middle between two float64, and at the ends of the
// range: classic cases of the literature on correct rounding (Clinger 1990;
// Lemire 2021; the test of strconv itself).
var hard = []string{
	"0", "-0", "+0", "0.0", "1", "-1", ".5", "5.", "1e0", "1E+3", "1e-3", "+1.2E+003",
	"9007199254740991", "9007199254740992", "9007199254740993", "9007199254740994", "9007199254740995",
	"900719925474099.3", "90071992547409.93", "9007199254740993e-1", "9007199254740993e22", "9007199254740993e23",
	"1e22", "1e23", "8.5e22", "1.5e23", "123456789012345678", "1234567890123456789", "12345678901234567890", "18446744073709551616", "18446744073709551617.5",
	"0.1", "0.2", "0.3", "0.30000000000000004", "2.2250738585072011e-308", "2.2250738585072012e-308", "2.2250738585072014e-308", "4.9e-324", "2.4703282292062327e-324", "2.5e-324", "1e-400",
	"1.7976931348623157e308", "1.7976931348623158e308", "1.7976931348623159e308", "1e309",
	"6.02214076e23", "6.62607015e-34", "1.00000000000000011102230246251565404236316680908203125",
	"1.00000000000000011102230246251565404236316680908203124", "1.00000000000000011102230246251565404236316680908203126",
	"0.000000000000000000000000000000000000000000000000000000000000001", "1000000000000000000000000000000000000000000", "0000000000000000000000000000001.5",
	"0.00000000000000000000001234", "1234567890.0000000000000000000000",
	"", "-", "+", ".", "e5", "1e", "1e+", "--1", "1-", "1..2", "1.2.3", "1 2", "0x10p1", "1_000", "inf", "nan",
}

func TestHardNumbers(t *testing.T) {
	for _, s := range hard {
		if s == "0x10p1" || s == "1_000" || s == "inf" || s == "nan" {
			// strconv reads some of these, a table does not.
			if _, ok := decimalNumber([]byte(s), '.'); ok {
				t.Errorf("%q was read", s)
			}
			continue
		}
		checkNumber(t, s)
	}
}

func TestRandomNumbers(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 200_000 {
		var s string
		switch r.IntN(5) {
		case 0: // any float64, shortest
			s = strconv.FormatFloat(math.Float64frombits(r.Uint64()), 'g', -1, 64)
			if strings.ContainsAny(s, "NI") {
				continue
			}
		case 1: // as an instrument writes it
			s = strconv.FormatFloat((r.Float64()-0.5)*math.Pow(10, float64(r.IntN(12))), 'f', r.IntN(9), 64)
		case 2: // many digits
			s = strconv.FormatFloat(r.NormFloat64()*1e3, 'f', 15+r.IntN(8), 64)
		case 3: // an exponent
			s = strconv.FormatFloat(r.NormFloat64(), 'e', r.IntN(18), 64)
			s = s[:strings.IndexByte(s, 'e')] + "E" + strconv.Itoa(r.IntN(660)-330)
		case 4: // halfway between two neighbours, or a digit beside it
			m := 1<<53 + r.Uint64N(1<<52)*2 + 1
			s = strconv.FormatUint(m, 10)
			if k := r.IntN(10); k > 0 {
				s = s[:len(s)-k] + "." + s[len(s)-k:]
			}
			s += []string{"", "000000001", "e3", "e-7"}[r.IntN(4)]
		}
		checkNumber(t, s)
	}
}

func FuzzNumber(f *testing.F) {
	for _, s := range hard {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for i := range len(s) {
			if !strings.Contains("0123456789.+-eE", s[i:i+1]) {
				// strconv reads more than a table does; it must not be less.
				if _, ok := decimalNumber([]byte(s), '.'); ok && s[i] != 'd' && s[i] != 'D' {
					t.Errorf("%q was read", s)
				}
				return
			}
		}
		checkNumber(t, s)
	})
}

func FuzzRead(f *testing.F) {
	for _, tc := range files {
		if tc.options.Decimal == "" {
			data := load(f, tc.file)
			f.Add(data)
			if len(data) < 100 {
				f.Add(wide(data, false))
			}
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		checkRead(t, data)
		checkPlain(t, data)
	})
}
