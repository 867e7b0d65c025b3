package text

import (
	"fmt"
	"math/rand/v2"
	"strconv"
	"testing"
	"unicode/utf16"

	"github.com/evenbed/evenbed/packing/task"
)

// million returns a table of a million rows and four columns, 38 MB of text,
// with the separator and the decimal mark given.
func million(sep, decimal byte) []byte {
	r := rand.New(rand.NewPCG(1, 2))
	b := []byte("Time (min)" + string(sep) + "UV (mAU)" + string(sep) + "Conductivity (mS/cm)" + string(sep) + "Pressure (bar)\n")
	number := func(v float64, digits int) {
		start := len(b)
		b = strconv.AppendFloat(b, v, 'f', digits, 64)
		for i := start; i < len(b); i++ {
			if b[i] == '.' {
				b[i] = decimal
			}
		}
	}
	for i := range 1_000_000 {
		number(float64(i)/600, 5)
		b = append(b, sep)
		number(r.Float64()*2000-20, 6)
		b = append(b, sep)
		number(r.Float64()*90+10, 6)
		b = append(b, sep)
		number(r.Float64()*3, 6)
		b = append(b, '\n')
	}
	return b
}

// wide returns a text in UTF-16 with byte order mark.
func wide(b []byte, big bool) []byte {
	units := utf16.Encode([]rune("\ufeff" + string(b)))
	out := make([]byte, 0, 2*len(units))
	for _, u := range units {
		if big {
			out = append(out, byte(u>>8), byte(u))
		} else {
			out = append(out, byte(u), byte(u>>8))
		}
	}
	return out
}

func benchmark(b *testing.B, data []byte) {
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		f, err := Read(data, Options{}, task.Default())
		if err != nil {
			b.Fatal(err)
		}
		if n := len(f.Tables[0].Columns[3].Values); n != 1_000_000 {
			b.Fatal(n)
		}
	}
}

// BenchmarkRead1M reads a million rows of four columns, as plain as they come.
func BenchmarkRead1M(b *testing.B) { benchmark(b, million(',', '.')) }

// BenchmarkRead1MTwin reads the same numbers in UTF-16 with a decimal comma.
func BenchmarkRead1MTwin(b *testing.B) { benchmark(b, wide(million(';', ','), false)) }

// BenchmarkRead1MDigits reads numbers with all their digits, moments and a few
// remarks.
func BenchmarkRead1MDigits(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	data := []byte("Moment,UV (mAU),Remark,Pressure (bar)\n")
	for i := range 1_000_000 {
		data = fmt.Appendf(data, "2024-01-%02d %02d:%02d:%02d.5,", 1+i/86400, i/3600%24, i/60%60, i%60)
		data = strconv.AppendFloat(data, r.NormFloat64()*100, 'f', -1, 64)
		data = append(data, ',')
		if i%1000 == 0 {
			data = append(data, "valve turned"...)
		}
		data = append(data, ',')
		data = strconv.AppendFloat(data, r.Float64(), 'f', -1, 64)
		data = append(data, '\n')
	}
	benchmark(b, data)
}
