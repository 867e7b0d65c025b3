package made

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"
)

// The awkward exports: each has one kind of trouble, none is any program's.

const exportSeed = 2204

// invented is the first line of each of them.
const invented = "Invented data: made by the seeded program " + program + ", no real column was run"

// noise returns a source of noise for one of the exports.
func noise(number uint64) *rand.Rand { return rand.New(rand.NewPCG(exportSeed, number)) }

// UTF16 returns a salt pulse as text in UTF-16 with a byte order mark, tabs
// between the cells and Windows line ends.
func UTF16() []byte {
	var b strings.Builder
	r := noise(1)
	fmt.Fprintf(&b, "%s\n\nTime (min)\tConductivity (mS/cm)\tTemperature (°C)\n", invented)
	for i := range 301 {
		t := float64(i) * 0.1
		cond := 1.62 + 14*EMG(t, 15.2, 0.62, 0.35) + 0.004*r.NormFloat64()
		fmt.Fprintf(&b, "%.1f\t%.3f\t%.2f\n", t, cond, 21+0.002*t+0.01*r.NormFloat64())
	}
	out := []byte{0xff, 0xfe}
	for _, u := range utf16.Encode([]rune(strings.ReplaceAll(b.String(), "\n", "\r\n"))) {
		out = append(out, byte(u), byte(u>>8))
	}
	return out
}

// DecimalComma returns an absorbance of more than 1000 mAU with semicolons
// between the cells, decimal commas and a point between the thousands.
func DecimalComma() []byte {
	var b bytes.Buffer
	r := noise(2)
	fmt.Fprintf(&b, "%s\nElapsed (min);UV 280 nm (mAU);Pressure (kPa)\n", invented)
	for i := range 241 {
		t := float64(i) * 0.25
		uv := 3.1 + 4100*EMG(t, 33.1, 1.05, 0.78) + 0.4*r.NormFloat64()
		fmt.Fprintf(&b, "%s;%s;%s\n", comma(t, 2), comma(uv, 1), comma(21.4+0.05*r.NormFloat64(), 2))
	}
	return b.Bytes()
}

// comma writes a number with a decimal comma and points between thousands.
func comma(v float64, digits int) string {
	s := strings.Replace(fmt.Sprintf("%.*f", digits, v), ".", ",", 1)
	whole, rest, _ := strings.Cut(s, ",")
	for i := len(whole) - 3; i > 0 && whole[i-1] != '-'; i -= 3 {
		whole = whole[:i] + "." + whole[i:]
	}
	return whole + "," + rest
}

// Paired returns three signals, each with times of its own: the absorbance each
// 6 s, the conductivity each 15 s, the pressure each minute and for longer.
func Paired() []byte {
	var b bytes.Buffer
	r := noise(3)
	fmt.Fprintf(&b, "%s\nTime (min),UV 280 nm (mAU),Time (min),Conductivity (mS/cm),Time (min),Pressure (bar)\n", invented)
	for i := range 401 {
		t := float64(i) * 0.1
		fmt.Fprintf(&b, "%.1f,%.3f,", t, 2.2+55*EMG(t, 21.5, 0.8, 0.5)+0.05*r.NormFloat64())
		if t := float64(i) * 0.25; t <= 40 {
			fmt.Fprintf(&b, "%.2f,%.3f,", t, 10.6+0.9*EMG(t, 21.6, 0.9, 0.5)+0.002*r.NormFloat64())
		} else {
			b.WriteString(",,")
		}
		if t := float64(i); t <= 60 {
			fmt.Fprintf(&b, "%.0f,%.3f\n", t, 0.21+0.001*r.NormFloat64())
		} else {
			b.WriteString(",\n")
		}
	}
	return b.Bytes()
}

// Remarks returns a pack with lines above the header, a row of units, remarks
// of the operator beside the numbers and a line below them.
func Remarks() []byte {
	var b bytes.Buffer
	r := noise(4)
	fmt.Fprintf(&b, "%s\nColumn: column 04\nMedium: Marram\nOperator: the night shift\n\nTime,Flow,Pressure,Bed height,Remark\nmin,L/h,bar,cm,\n", invented)
	notes := map[int]string{0: "slurry in, adapter down", 10: "flow on, step 1", 50: "bed is steady", 55: "step 2", 80: "flow off, adapter to the bed"}
	for i := range 101 {
		t := float64(i) * 0.5
		flow := 0.0
		switch {
		case i >= 80:
		case i >= 55:
			flow = 212
		case i >= 10:
			flow = 64
		}
		part := math.Min(1, math.Max(0, t-5)/15)
		height := 38.5 - 18.1*part
		if i >= 55 {
			height -= 2.3 * math.Min(1, (t-27.5)/4)
		}
		bar := flow*(0.0008+0.0006*part) + 0.002*math.Abs(r.NormFloat64())
		fmt.Fprintf(&b, "%.1f,%.1f,%.3f,%.1f,%s\n", t, flow, bar, height, quotedCell(notes[i]))
	}
	b.WriteString("End of the record\n")
	return b.Bytes()
}

func quotedCell(s string) string {
	if strings.Contains(s, ",") {
		return `"` + s + `"`
	}
	return s
}

// Restarted returns two runs in one file: the clock starts again at zero.
func Restarted() []byte {
	var b bytes.Buffer
	r := noise(5)
	fmt.Fprintf(&b, "%s\nElapsed,Flow (L/h),Pressure (bar)\n", invented)
	for run, rows := range []int{121, 181} {
		for i := range rows {
			s := i * 10
			flow := 21.2 + 10*float64(run)
			fmt.Fprintf(&b, "%02d:%02d:%02d,%.2f,%.3f\n", s/3600, s/60%60, s%60, flow+0.05*r.NormFloat64(), flow*0.01+0.001*r.NormFloat64())
		}
	}
	return b.Bytes()
}

// Workbook returns a workbook with two sheets: readings of a gauge with date and
// time, and remarks.
func Workbook() []byte {
	f := excelize.NewFile()
	must := func(err error) {
		if err != nil {
			panic("made: " + err.Error())
		}
	}
	r := noise(6)
	must(f.SetSheetName("Sheet1", "Gauge"))
	must(f.SetSheetRow("Gauge", "A1", &[]any{invented}))
	must(f.SetSheetRow("Gauge", "A3", &[]any{"Read at", "Pressure (bar)", "Bed height (cm)"}))
	style, err := f.NewStyle(&excelize.Style{NumFmt: 22}) // date and time
	must(err)
	start := time.Date(2026, 3, 9, 7, 30, 0, 0, time.UTC)
	for i := range 49 {
		at := start.Add(time.Duration(i) * 5 * time.Minute)
		must(f.SetSheetRow("Gauge", fmt.Sprintf("A%d", i+4), &[]any{at, math.Round(1000*(0.21+0.0004*float64(i)+0.002*r.NormFloat64())) / 1000, 18 - math.Round(0.2*float64(i))/100}))
	}
	must(f.SetCellStyle("Gauge", "A4", "A52", style))
	_, err = f.NewSheet("Remarks")
	must(err)
	must(f.SetSheetRow("Remarks", "A1", &[]any{"The gauge was read by hand."}))
	var b bytes.Buffer
	must(f.Write(&b))
	return b.Bytes()
}
