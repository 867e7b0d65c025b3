package record

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"github.com/evenbed/evenbed/packing/internal/made"
)

// awkwardSeed is that of the noise in the files of testdata/awkward.
const awkwardSeed = 1307

// awkwardFiles makes the files of testdata/awkward. All of it is invented: no program
// writes them, and no column was run.
func awkwardFiles(t testing.TB) map[string][]byte {
	files := map[string][]byte{}
	for i, f := range []struct {
		name string
		make func(b *strings.Builder, r *rand.Rand)
	}{
		{"names_with_underscores.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Flow_mL/min,Time_min,UV_mAU,Cond_mS/cm,c_g/L\n")
			for i := range 61 {
				fmt.Fprintf(b, "%.2f,%.1f,%.2f,%.3f,%.3f\n", 30+0.01*r.NormFloat64(), float64(i)/10, uv(i, r), 5+0.01*r.NormFloat64(), float64(i)/1000)
			}
		}},
		{"units_all_underscores.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Flow_mL_per_min;Volume_mL;UV_mAU;_mS/cm\n")
			for i := range 61 {
				fmt.Fprintf(b, "%.2f;%d;%.2f;%.3f\n", 30+0.01*float64(i), 3*i, uv(i, r), 5+0.01*r.NormFloat64())
			}
		}},
		{"drops_per_minute.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("drops/min,t/min,UV/mAU\n")
			for i := range 61 {
				fmt.Fprintf(b, "%d,%.1f,%.2f\n", 40+i, float64(i)/10, uv(i, r))
			}
		}},
		{"units_above.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("min,mAU,bar,mL/min\nTime,UV,Pressure,Flow\n")
			for i := range 61 {
				fmt.Fprintf(b, "%.1f,%.2f,%.3f,30\n", float64(i)/10, uv(i, r), 1.2+0.001*r.NormFloat64())
			}
		}},
		{"units_above_below_remarks.txt", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Invented\tby a program\tfor a test\n[L]\t[mAU]\t[mS/cm]\nVolume\tUV\tCond\n")
			for i := range 61 {
				fmt.Fprintf(b, "%.2f\t%.2f\t%.3f\n", float64(i)/20, uv(i, r), 5+0.01*r.NormFloat64())
			}
		}},
		{"least_and_largest.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Pressure (min),Pressure (max),Time (s),UV (mAU)\n")
			for i := range 61 {
				fmt.Fprintf(b, "%.2f,%.2f,%d,%.2f\n", 1.1+0.01*float64(i), 1.3+0.01*float64(i), i, uv(i, r))
			}
		}},
		{"cell_cut.csv", func(b *strings.Builder, r *rand.Rand) {
			timed(b, r, 61)
			cutBy(b, 3)
		}},
		{"row_cut.csv", func(b *strings.Builder, r *rand.Rand) {
			timed(b, r, 61)
			cutBy(b, 8)
		}},
		{"cut_before_the_remarks.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Time (min),UV (mAU),Remark\n")
			for i := range 61 {
				note := ""
				if i == 3 {
					note = "sample in"
				}
				fmt.Fprintf(b, "%.1f,%.2f,%s\n", float64(i)/10, uv(i, r), note)
			}
			cutBy(b, 4)
		}},
		{"seconds_called_minutes.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Run time: 60 s\n\nTime (min),UV (mAU)\n")
			for i := range 61 {
				fmt.Fprintf(b, "%d,%.2f\n", i, uv(i, r))
			}
		}},
		{"shorter_than_start_to_end.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Start,2026-03-02 10:00:00\nEnd,2026-03-02 10:10:00\n\nTime (min),UV (mAU)\n")
			for i := range 61 {
				fmt.Fprintf(b, "%.1f,%.2f\n", float64(i)/10, uv(i, r))
			}
		}},
		{"fewer_rows_than_stated.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Rows: 120\nInterval: 6 s\n\nTime (min),UV (mAU)\n")
			for i := range 61 {
				fmt.Fprintf(b, "%.1f,%.2f\n", float64(i)/10, uv(i, r))
			}
		}},
		{"summer_time_begins.csv", func(b *strings.Builder, r *rand.Rand) {
			stamped(b, r, time.Date(2026, 3, 29, 1, 50, 0, 0, time.UTC), 1)
		}},
		{"summer_time_ends.csv", func(b *strings.Builder, r *rand.Rand) {
			stamped(b, r, time.Date(2026, 10, 25, 2, 50, 0, 0, time.UTC), -1)
		}},
		{"code_below.csv", func(b *strings.Builder, r *rand.Rand) { coded(b, r, ",", "-9999") }},
		{"code_of_nines.csv", func(b *strings.Builder, r *rand.Rand) { coded(b, r, ";", "9999,0") }},
		{"code_too_large.csv", func(b *strings.Builder, r *rand.Rand) { coded(b, r, ",", "1e30") }},
		{"code_of_the_converter.csv", func(b *strings.Builder, r *rand.Rand) { coded(b, r, ",", "32767") }},
		{"code_in_words.csv", func(b *strings.Builder, r *rand.Rand) { coded(b, r, ",", "Bad") }},
		{"code_of_a_formula.csv", func(b *strings.Builder, r *rand.Rand) { coded(b, r, ",", "#N/A") }},
		{"beyond_the_range.csv", func(b *strings.Builder, r *rand.Rand) { coded(b, r, ",", ">90") }},
		{"shifted_to_the_right.csv", func(b *strings.Builder, r *rand.Rand) {
			shiftedRows(b, r, func(cells []string) []string { return []string{cells[0], "", cells[1], cells[2]} })
		}},
		{"shifted_to_the_left.csv", func(b *strings.Builder, r *rand.Rand) {
			shiftedRows(b, r, func(cells []string) []string { return append(cells[1:], "") })
		}},
		{"shifted_beyond_the_end.csv", func(b *strings.Builder, r *rand.Rand) {
			shiftedRows(b, r, func(cells []string) []string { return append([]string{""}, cells...) })
		}},
		{"status_of_each.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Time (s),UV (mAU),UV status,Pressure (bar),Pressure status\n")
			for i := range 61 {
				fmt.Fprintf(b, "%d,%.2f,%s,%.3f,%s\n", i, held(i, uv(i, r)), word(i, "Bad"), 1.2+0.001*r.NormFloat64(), word(i, "Uncertain"))
			}
		}},
		{"status_in_numbers.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Time (s),UV (mAU),UV quality\n")
			for i := range 61 {
				code := 192
				if isHeld(i) {
					code = 24
				}
				fmt.Fprintf(b, "%d,%.2f,%d\n", i, held(i, uv(i, r)), code)
			}
		}},
		{"status_of_all.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Time (s);UV (mAU);Pressure (bar);Quality\n")
			for i := range 61 {
				fmt.Fprintf(b, "%d;%.2f;%.3f;%s\n", i, held(i, uv(i, r)), 1.2+0.001*r.NormFloat64(), word(i, "BadNoCommunication"))
			}
		}},
		{"dead_band_drawn_again.csv", func(b *strings.Builder, r *rand.Rand) {
			x, y := deadBand(r, true)
			b.WriteString("Time (s),UV (mAU),Flow (mL/min)\n")
			for i := range x {
				fmt.Fprintf(b, "%g,%.4f,30\n", x[i], y[i])
			}
		}},
		{"dead_band_as_kept.csv", func(b *strings.Builder, r *rand.Rand) {
			x, y := deadBand(r, false)
			b.WriteString("Time (s),UV (mAU)\n")
			for i := range x {
				fmt.Fprintf(b, "%g,%.2f\n", x[i], y[i])
			}
		}},
		{"valve_in_each_row.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Time (min),UV (mAU),Inlet\n")
			for i := range 61 {
				inlet := "buffer"
				if i >= 5 && i < 8 {
					inlet = "tracer"
				}
				fmt.Fprintf(b, "%.1f,%.2f,%s\n", float64(i)/10, uv(i, r), inlet)
			}
		}},
		{"zero_at_the_injection.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Volume (mL),UV (mAU),Mark\n")
			for i := range 61 {
				mark := ""
				if i == 10 {
					mark = "Injection"
				}
				fmt.Fprintf(b, "%d,%.2f,%s\n", 3*(i-10), uv(i, r), mark)
			}
		}},
		{"totaliser_set_back.csv", func(b *strings.Builder, r *rand.Rand) {
			b.WriteString("Time (min),UV (mAU),Flow (mL/min),Total (mL),Mark\n")
			for i := range 61 {
				total, mark := 3*i, ""
				if i >= 10 {
					total -= 30
				}
				if i == 10 {
					mark = "total to zero"
				}
				fmt.Fprintf(b, "%.1f,%.2f,30,%d,%s\n", float64(i)/10, uv(i, r), total, mark)
			}
		}},
	} {
		var b strings.Builder
		f.make(&b, rand.New(rand.NewPCG(awkwardSeed, uint64(i))))
		files[f.name] = []byte(b.String())
	}
	files["percent_by_format.xlsx"] = percentages(t, true)
	files["percent_by_format_of_some.xlsx"] = percentages(t, false)
	return files
}

// uv is a peak 100 high at point 30, 5 points wide, on a baseline of 0.5.
func uv(i int, r *rand.Rand) float64 {
	return 0.5 + 100*math.Exp(-float64((i-30)*(i-30))/50) + 0.05*r.NormFloat64()
}

// timed writes rows of time, absorbance and a pressure of three digits.
func timed(b *strings.Builder, r *rand.Rand, rows int) {
	b.WriteString("Time (min),UV (mAU),Pressure (kPa)\n")
	for i := range rows {
		fmt.Fprintf(b, "%.1f,%.2f,%.2f\n", float64(i)/10, uv(i, r), 123.45+0.1*r.NormFloat64())
	}
}

// cutBy takes bytes off the end.
func cutBy(b *strings.Builder, n int) {
	s := b.String()
	b.Reset()
	b.WriteString(s[:len(s)-n])
}

// stamped writes rows of moments, 30 s apart, of which the clock is put by hours after
// twenty.
func stamped(b *strings.Builder, r *rand.Rand, start time.Time, hours int) {
	b.WriteString("Time stamp,UV (mAU)\n")
	for i := range 61 {
		at := start.Add(time.Duration(30*i) * time.Second)
		if i >= 20 {
			at = at.Add(time.Duration(hours) * time.Hour)
		}
		fmt.Fprintf(b, "%s,%.2f\n", at.Format("2006-01-02 15:04:05"), uv(i, r))
	}
}

// isHeld tells which rows have no value of the detector.
func isHeld(i int) bool { return i == 7 || i == 8 || i == 44 }

// held returns a value as a historian does that has none: zero.
func held(i int, v float64) float64 {
	if isHeld(i) {
		return 0
	}
	return v
}

func word(i int, bad string) string {
	if isHeld(i) {
		return bad
	}
	return "Good"
}

// coded writes rows with a code in place of some values; behind semicolons with decimal
// commas.
func coded(b *strings.Builder, r *rand.Rand, sep, code string) {
	b.WriteString(strings.Join([]string{"Time (min)", "UV (mAU)", "Pressure (bar)"}, sep) + "\n")
	for i := range 61 {
		cells := []string{fmt.Sprintf("%.1f", float64(i)/10), fmt.Sprintf("%.2f", uv(i, r)), fmt.Sprintf("%.3f", 1.2+0.001*r.NormFloat64())}
		if sep == ";" {
			for j := range cells {
				cells[j] = strings.Replace(cells[j], ".", ",", 1)
			}
		}
		if isHeld(i) {
			cells[1] = code
		}
		b.WriteString(strings.Join(cells, sep) + "\n")
	}
}

// shiftedRows writes rows of which four are shifted.
func shiftedRows(b *strings.Builder, r *rand.Rand, shift func([]string) []string) {
	b.WriteString("Time (min),UV (mAU),Pressure (kPa),Flow (mL/min)\n")
	for i := range 61 {
		cells := []string{fmt.Sprintf("%.1f", float64(i)/10), fmt.Sprintf("%.2f", uv(i, r)), fmt.Sprintf("%.2f", 223+0.1*r.NormFloat64()), fmt.Sprintf("%.1f", 500+0.2*r.NormFloat64())}
		if i >= 12 && i < 16 {
			cells = shift(cells)
		}
		b.WriteString(strings.Join(cells, ",") + "\n")
	}
}

// deadBand returns a pulse kept by a band of 5 % of its height, as kept or drawn again
// every second on straight lines.
func deadBand(r *rand.Rand, again bool) (x, y []float64) {
	var at []int
	var kept []float64
	for i := range 601 {
		v := 0.5 + 100*made.EMG(float64(i), 250, 25, 15)/0.0135 + 0.3*r.NormFloat64()
		if n := len(kept); n == 0 || math.Abs(v-kept[n-1]) > 5 || i == 600 {
			at, kept = append(at, i), append(kept, v)
		}
	}
	for k, i := range at {
		if again && k > 0 {
			for j := at[k-1] + 1; j < i; j++ {
				x, y = append(x, float64(j)), append(y, kept[k-1]+(kept[k]-kept[k-1])*float64(j-at[k-1])/float64(i-at[k-1]))
			}
		}
		x, y = append(x, float64(i)), append(y, kept[k])
	}
	return x, y
}

// percentages returns a workbook whose shares are shown in per cent: all, or the first
// ten rows.
func percentages(t testing.TB, all bool) []byte {
	f := excelize.NewFile()
	must := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	must(f.SetSheetRow("Sheet1", "A1", &[]any{"Time (min)", "Salt buffer", "UV (mAU)"}))
	style, err := f.NewStyle(&excelize.Style{NumFmt: 10}) // 0.00%
	must(err)
	r := rand.New(rand.NewPCG(awkwardSeed, 99))
	for i := range 61 {
		must(f.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+2), &[]any{float64(i) / 10, float64(i) / 100, math.Round(100*uv(i, r)) / 100}))
	}
	last := "B62"
	if !all {
		last = "B11"
	}
	must(f.SetCellStyle("Sheet1", "B2", last, style))
	var b bytes.Buffer
	must(f.Write(&b))
	return b.Bytes()
}
