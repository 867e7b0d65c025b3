package efficiency

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

func (r PlateHeightResult) name() string {
	s := "Plate height against velocity"
	if r.Tests.Column.Tag != "" {
		s += " of " + r.Tests.Column.Tag
	}
	return s
}

// shown returns A, B and C in the units of the table, mm and cm/h for van
// Deemter, with the units' names.
func (r PlateHeightResult) shown() (values [3]Uncertain, names [3]string) {
	values = [3]Uncertain{r.A, r.B, r.C}
	if r.Tests.Law == Knox {
		return values, names
	}
	mm, cmh := float64(units.Millimetre), float64(units.CentimetrePerHour)
	for i, one := range []float64{mm, mm * cmh, mm / cmh} {
		values[i].Value /= one
		values[i].StdErr /= one
	}
	return values, [3]string{"mm", "mm·cm/h", "mm·h/cm"}
}

// millimetres writes a length with its error in mm.
func millimetres(h, stdErr units.Length) (value, errs string) {
	return number.WithError(h.In(units.Millimetre), stdErr.In(units.Millimetre))
}

// Page shows doubts, terms and figure.
func (r PlateHeightResult) Page() page.Page {
	var p page.Page
	p.Heading(r.name())
	if r.Refusal != nil || r.Fit.Status == fit.NotFitted {
		p.NoResult(r.Refusal, "nothing has been fitted.")
		return p
	}
	p.List("Doubts", sentences(r.Warnings))
	p.Table(r.Table())
	p.Figure(r.Figure())
	p.List("Cautions", []string{
		"The curve is one of its tracer on this packing. A protein diffuses a tenth as fast or less, and its curve rises more steeply.",
		"The pressure over the bed bounds the velocity, too: see the pressure-flow curve, and keep to the limits of column and medium.",
	})
	return p
}

// Table returns the terms of the law and its minimum as a table that shows
// itself.
func (r PlateHeightResult) Table() table.Table {
	if r.Fit.Status == fit.NotFitted {
		return without("Plate height against velocity", r.Refusal)
	}
	law := "H = A + B/u + C u, u superficial velocity"
	if r.Tests.Law == Knox {
		law = "h = A ν^(1/3) + B/ν + C ν, ν by the interstitial velocity"
	}
	t := table.Table{Caption: r.Tests.Law.String() + ": " + law, RowHeaders: true, Columns: []table.Column{{Name: "quantity"}, {Name: "value", Right: true}, {Name: "standard error", Right: true}, {Name: "unit"}}}
	values, names := r.shown()
	for i, u := range values {
		v, e := number.WithError(u.Value, u.StdErr)
		if u.Value == 0 {
			v, e = "0", "held at zero"
		}
		t.Add(string("ABC"[i]), v, e, names[i])
	}
	if r.Optimum > 0 {
		v, e := number.WithError(r.Optimum.In(units.CentimetrePerHour), r.OptimumStdErr.In(units.CentimetrePerHour))
		t.Add("optimal velocity, superficial", v, e, "cm/h")
		v, e = millimetres(r.LeastPlateHeight, r.LeastPlateHeightStdErr)
		t.Add("least plate height", v, e, "mm")
		if !math.IsNaN(r.LeastReduced) {
			t.Add("least reduced plate height", number.Fixed(r.LeastReduced, 1), "", "")
		}
	} else {
		t.Add("optimal velocity, superficial", "none in the curve", "", "")
	}
	slow, fast := r.tested()
	t.Add("tested", fmt.Sprintf("%d tests, %s to %s", len(r.heights), number.Fixed(slow.In(units.CentimetrePerHour), 0), number.Fixed(fast.In(units.CentimetrePerHour), 0)), "", "cm/h")
	if nu := r.ReducedVelocity(slow); !math.IsNaN(nu) {
		t.Add("reduced velocity, interstitial", fmt.Sprintf("%.3g to %.3g", nu, r.ReducedVelocity(fast)), "", "")
	}
	if r.Tests.Tracer.Name != "" {
		t.Add("tracer", r.Tests.Tracer.String(), "", "")
	}
	t.Add("scatter about the curve", number.Significant(r.Fit.ResidualSD*float64(r.length()/units.Millimetre), 2), "", "mm")
	return t
}

// Doubts returns the warnings, each with what to do.
func (r PlateHeightResult) Doubts() table.Table {
	if r.Fit.Status == fit.NotFitted {
		return without("Doubts", r.Refusal)
	}
	return doubts(r.Warnings)
}

// Figure draws tests, curve, band and optimum against the superficial velocity.
// Repeats are shown by their mean with one standard deviation on both sides.
func (r PlateHeightResult) Figure() figure.Figure { return r.figure(nil) }

func (r PlateHeightResult) figure(run *FastestRun) figure.Figure {
	if r.Fit.Status == fit.NotFitted {
		return figure.Figure{Title: "No curve", Description: "Nothing has been fitted"}
	}
	one := float64(r.length())
	slow, fast := r.tested()
	const steps = 200
	var us []units.Velocity
	for i := range steps + 1 {
		us = append(us, slow+(fast-slow)*units.Velocity(i)/steps)
	}
	b, err := r.band(us)
	if err != nil {
		panic("efficiency: a fitted curve has a band: " + err.Error())
	}
	u, h, low, high := make([]float64, len(us)), make([]float64, len(us)), make([]float64, len(us)), make([]float64, len(us))
	for i, v := range us {
		u[i], h[i], low[i], high[i] = float64(v), b.Y[i]*one, b.Low[i]*one, b.High[i]*one
	}
	var dots figure.Points
	f := figure.Figure{
		Title: r.name(),
		X:     figure.Axis{Label: "Superficial velocity", Unit: "cm/h", One: float64(units.CentimetrePerHour), Max: 1.04 * fast.In(units.CentimetrePerHour)},
		Y:     figure.Axis{Label: "Plate height", Unit: "mm", One: float64(units.Millimetre)},
	}
	for _, v := range r.speeds() {
		mean, sd, n := r.repeats(v)
		dots.X, dots.Y = append(dots.X, float64(v)), append(dots.Y, mean*one)
		if n > 1 {
			f.Marks = append(f.Marks, figure.Mark{X1: float64(v), Y1: (mean - sd) * one, X2: float64(v), Y2: (mean + sd) * one, Ends: true, Colour: 1})
		}
	}
	f.Lines = []figure.Line{
		{Name: "fitted curve", Points: figure.Points{X: u, Y: h}},
		{Name: "tests", Points: dots, Dots: true, Bare: true},
	}
	f.Bands = []figure.Band{{Name: fmt.Sprintf("%.4g %% band", 100*r.Tests.Confidence), Low: figure.Points{X: u, Y: low}, High: figure.Points{X: u, Y: high}}}
	f.Description = fmt.Sprintf("%d tests between %v and %v with the %v curve and its band.", len(r.heights), slow, fast, r.Tests.Law)
	if r.Optimum >= slow && r.Optimum <= fast {
		f.Marks = append(f.Marks, figure.Mark{X1: float64(r.Optimum), Y1: float64(r.LeastPlateHeight), X2: float64(r.Optimum), Y2: float64(r.LeastPlateHeight),
			Label: fmt.Sprintf("optimum %v", r.Optimum), Place: figure.Below, Colour: 2})
		f.Description += fmt.Sprintf(" Least plate height %v at %v.", r.LeastPlateHeight, r.Optimum)
	}
	if run != nil {
		f.Levels = []figure.Level{{Y: float64(run.PlateHeight), Label: "allowed, " + run.PlateHeight.String()}}
		f.Marks = append(f.Marks, figure.Mark{X1: float64(run.Velocity), Y1: float64(run.High), X2: float64(run.Velocity), Y2: float64(run.High),
			Label: fmt.Sprintf("run at %v", run.Velocity), Place: figure.LeftOf, Colour: 3})
		f.Description += fmt.Sprintf(" Allowed are %v, met up to %v.", run.PlateHeight, run.Velocity)
	}
	return f
}

// String returns the page as text.
func (r PlateHeightResult) String() string { return r.Page().String() }

// The sources of the laws.
const (
	vanDeemterSource = "J. J. van Deemter, F. J. Zuiderweg, A. Klinkenberg, Chem. Eng. Sci. 5 (1956) 271-289"
	knoxSource       = "J. H. Knox, J. Chromatogr. Sci. 15 (1977) 352-364"
)

// Calculation shows how a number was worked out: Curve, the law with its fitted
// terms, OptimalVelocity or LeastPlateHeight. Another name, or one that the
// result does not have, is an error that lists them.
func (r PlateHeightResult) Calculation(name string) (Calculation, error) {
	return calculationNamed(r.calculations(), name)
}

// Calculations shows all of them in one page.
func (r PlateHeightResult) Calculations() CalculationList { return CalculationList(r.calculations()) }

func (r PlateHeightResult) calculations() []Calculation {
	if r.Fit.Status == fit.NotFitted {
		return nil
	}
	values, _ := r.shown()
	var n [3]string
	for i, u := range values {
		if n[i], _ = number.WithError(u.Value, u.StdErr); u.Value == 0 {
			n[i] = "0"
		} else {
			n[i] = number.Significant(u.Value, 5) // a digit or two beyond the error, so that the numbers add up
		}
	}
	with := "the tracer and the tested range; errors are in the table"
	if r.Tests.Tracer.Name != "" {
		with = "the tracer, " + r.Tests.Tracer.String() + ", and the tested range; errors are in the table"
	}
	mm := func(h units.Length) string { return quantity(h.In(units.Millimetre), 4, "mm") }
	cmh := func(u units.Velocity) string { return quantity(u.In(units.CentimetrePerHour), 4, "cm/h") }
	if r.Tests.Law == Knox {
		all := []Calculation{{"Curve", "Knox curve", `h = A \nu^{1/3} + \frac{B}{\nu} + C \nu`, fmt.Sprintf(`%s \cdot \nu^{1/3} + \frac{%s}{\nu} + %s \cdot \nu`, n[0], n[1], n[2]),
			"h plate height over bead diameter, ν reduced velocity u d/(ε D) by the interstitial velocity u/ε", knoxSource, with}}
		if r.Optimum > 0 {
			nu := r.ReducedVelocity(r.Optimum)
			all = append(all, Calculation{"OptimalVelocity", "Optimal velocity", `u = \frac{\nu \varepsilon D}{d}`,
				fmt.Sprintf(`\frac{%s \cdot %s \cdot %s}{%s} = %s`, number.Significant(nu, 4), number.Significant(r.Void, 3),
					exact(scientific(float64(r.Tests.Diffusion)), "m^2")+`\,\mathrm{s}^{-1}`, quantity(r.Bead.In(units.Micrometre), 4, "µm"), cmh(r.Optimum)),
				"ν reduced velocity where the slope of the curve, A/3 ν^(-2/3) - B/ν² + C, is zero; ε void, D diffusion coefficient, d bead diameter", knoxSource, with},
				Calculation{"LeastPlateHeight", "Least plate height", `H = h d`, fmt.Sprintf(`%s \cdot %s = %s`, number.Significant(r.LeastReduced, 4), quantity(r.Bead.In(units.Micrometre), 4, "µm"), mm(r.LeastPlateHeight)),
					"h least reduced plate height, d bead diameter", knoxSource, with})
		}
		return all
	}
	all := []Calculation{{"Curve", "Van Deemter curve", `H = A + \frac{B}{u} + C u`, fmt.Sprintf(`%s + \frac{%s}{u} + %s \cdot u`, n[0], n[1], n[2]),
		"H plate height in mm, u superficial velocity in cm/h", vanDeemterSource, with}}
	if r.Optimum > 0 {
		all = append(all, Calculation{"OptimalVelocity", "Optimal velocity", `u = \sqrt{\frac{B}{C}}`, fmt.Sprintf(`\sqrt{\frac{%s}{%s}} = %s`, n[1], n[2], cmh(r.Optimum)),
			"B and C of the curve, H in mm and u in cm/h", vanDeemterSource, with},
			Calculation{"LeastPlateHeight", "Least plate height", `H = A + 2 \sqrt{B C}`, fmt.Sprintf(`%s + 2 \sqrt{%s \cdot %s} = %s`, n[0], n[1], n[2], mm(r.LeastPlateHeight)),
				"A, B and C of the curve, H in mm and u in cm/h", vanDeemterSource, with})
	}
	return all
}

// scientific writes a number as LaTeX with a power of ten.
func scientific(v float64) string {
	power := int(math.Floor(math.Log10(v)))
	return fmt.Sprintf(`%s \cdot 10^{%d}`, number.Significant(v/math.Pow10(power), 3), power)
}

// downwards writes a velocity rounded down, so that what is shown meets the need;
// the millionth is for 108 that comes out as 107.9999999.
func downwards(u units.Velocity) string {
	return number.Fixed(math.Floor(u.In(units.CentimetrePerHour)*10+1e-6)/10, 1)
}

// Table returns the largest velocity by each demand.
func (f FastestRun) Table() table.Table {
	if f.Velocity == 0 {
		return without("Largest superficial velocity", nil)
	}
	t := table.Table{Caption: "Largest superficial velocity, rounded down", RowHeaders: true, Columns: []table.Column{{Name: "demand"}, {Name: "velocity", Unit: "cm/h", Right: true}, {Name: "from"}}}
	if math.IsInf(float64(f.ByResidence), 1) {
		t.Add("residence time", "no demand", "")
	} else {
		t.Add("residence time of "+f.Need.ResidenceTime.String(), downwards(f.ByResidence), "bed height over residence time")
	}
	asked := "plate height of " + f.PlateHeight.String()
	if f.Need.Plates > 0 {
		asked += fmt.Sprintf(" (%s plates in %v)", number.Fixed(f.Need.Plates, 0), f.Need.BedHeight)
	}
	t.Add(asked, downwards(f.ByPlates), "upper limit of the band")
	t.Add("the same without room for error", downwards(f.ByCurve), "the curve itself")
	return t
}

// Page shows the answer, both bounds and the figure.
func (f FastestRun) Page() page.Page {
	var p page.Page
	p.Heading("How fast the column may run")
	if f.Velocity == 0 {
		p.NoResult(nil, "nothing has been worked out.")
		return p
	}
	by := "the plate height"
	switch {
	case f.ByResidence < f.ByPlates:
		by = "the residence time"
	case f.AtEdge:
		by = "the fastest test"
	}
	p.Notice("Up to "+downwards(f.Velocity)+" cm/h:", "bounded by "+by+".")
	if f.AtEdge {
		p.Notice("Not tested beyond:", "the fastest test still meets the plate height; what happens above "+f.ByPlates.String()+" is not known.")
	}
	p.Table(f.Table())
	g := table.Table{Caption: "There", RowHeaders: true, Columns: []table.Column{{Name: "quantity"}, {Name: "value", Right: true}}}
	g.Add("residence time", f.Residence.String())
	g.Add("plate height of the curve, upper limit", f.Expected.String()+", "+f.High.String())
	g.Add("plates of the curve, lower limit", number.Fixed(f.Plates, 0)+", "+number.Fixed(f.PlatesLow, 0))
	p.Table(g)
	p.Figure(f.Figure())
	p.List("Cautions", []string{"This knows nothing of pressure: check the pressure over the bed at this velocity, liquid and temperature against the limits of column and medium before running.",
		"The plate height is that of the tracer. What binds has slower mass transfer; its capacity at a residence time comes from breakthrough tests."})
	return p
}

// Figure draws the curve with the allowed plate height and the answer.
func (f FastestRun) Figure() figure.Figure {
	if f.Velocity == 0 {
		return f.curve.figure(nil)
	}
	return f.curve.figure(&f)
}

// Calculation shows how the velocities were worked out.
func (f FastestRun) Calculation() CalculationList {
	var all CalculationList
	if f.Velocity == 0 {
		return all
	}
	length := quantity(f.Need.BedHeight.In(units.Centimetre), 4, "cm")
	if f.Need.ResidenceTime > 0 {
		all = append(all, Calculation{"ByResidence", "Velocity by the residence time", `u = \frac{L}{t}`,
			fmt.Sprintf(`\frac{%s}{%s} = %s`, length, quantity(f.Need.ResidenceTime.In(units.Minute), 4, "min"), quantity(f.ByResidence.In(units.CentimetrePerHour), 4, "cm/h")),
			"L bed height, t residence time on the empty column, u superficial velocity", geometry, ""})
	}
	if f.Need.Plates > 0 {
		all = append(all, Calculation{"PlateHeight", "Plate height that is allowed", `H = \frac{L}{N}`,
			fmt.Sprintf(`\frac{%s}{%s} = %s`, length, number.Fixed(f.Need.Plates, 0), quantity(f.PlateHeight.In(units.Millimetre), 4, "mm")),
			"L bed height, N required plates", iupac, ""})
	}
	return append(all, Calculation{"ByPlates", "Velocity by the plate height", `H(u) + t s(u) = H`,
		fmt.Sprintf(`%s \Rightarrow u = %s`, quantity(f.PlateHeight.In(units.Millimetre), 4, "mm"), quantity(f.ByPlates.In(units.CentimetrePerHour), 4, "cm/h")),
		"H(u) curve, s(u) its standard error, t quantile of Student's distribution; the largest tested u that solves it", "least squares, delta method", "tracer and tested range"})
}

// String returns the page as text.
func (f FastestRun) String() string { return f.Page().String() }
