package fit

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
)

// Page lays the result out: how the fit ended, doubts, parameters, how well it
// fits, correlations.
func (r Result) Page() page.Page {
	var p page.Page
	p.Heading("Fit")
	switch r.Status {
	case NotFitted:
		p.NoResult(nil, "nothing has been fitted.")
		return p
	case Converged:
		p.Text("Converged: " + r.Reason + ".")
	default:
		p.Notice("Not a plain success, "+r.Status.String()+":", r.Reason+".")
	}
	p.List("Doubts", r.Warnings)
	p.Table(r.Table())
	p.Table(r.GoodnessTable())
	p.Table(r.CorrelationTable())
	return p
}

// Table returns the parameters with their errors.
func (r Result) Table() table.Table {
	t := table.Table{Caption: "Parameters", RowHeaders: true, Columns: []table.Column{{Name: "parameter"}, {Name: "value", Right: true},
		{Name: "standard error", Right: true}, {Name: "95 % interval", Right: true}, {Name: "remark"}}}
	for _, e := range r.Params {
		low, high, err := r.Interval(e.Name, 0.95)
		interval := number.Missing
		if err == nil && !math.IsNaN(low+high) {
			interval = withError(low, e.StdErr) + " to " + withError(high, e.StdErr)
		}
		t.Add(e.Name, withError(e.Value, e.StdErr), e.stdErr(), interval, e.remark())
	}
	return t
}

// GoodnessTable returns how well the fit describes the data.
func (r Result) GoodnessTable() table.Table {
	g := table.Table{Caption: "How well it fits", RowHeaders: true, Columns: []table.Column{{Name: "quantity"}, {Name: "value", Right: true}}}
	g.Add("residual standard deviation", plain(r.ResidualSD, 6))
	g.Add("residual sum of squares", plain(r.RSS, 6))
	if !math.IsNaN(r.R2) {
		g.Add("R²", number.Fixed(r.R2, 6))
	}
	g.Add("points", strconv.Itoa(r.Points))
	g.Add("degrees of freedom", strconv.Itoa(r.DegreesOfFreedom))
	return g
}

// String says the value with its standard error.
func (e Estimate) String() string {
	s := e.Name + " " + withError(e.Value, e.StdErr)
	if why := e.remark(); why != "" {
		return s + ", " + why
	}
	return s + " ± " + e.stdErr()
}

func (e Estimate) remark() string {
	switch {
	case e.Fixed:
		return "fixed"
	case e.OnBound:
		return "held by its bound"
	case math.IsNaN(e.StdErr):
		return "not fixed by the data"
	}
	return ""
}

// CorrelationTable returns how the parameters that have a standard error go
// together; it is empty for less than two.
func (r Result) CorrelationTable() table.Table {
	t := table.Table{Caption: "Correlation", RowHeaders: true, Columns: []table.Column{{Name: "parameter"}}}
	var which []int
	for i, e := range r.Params {
		if !math.IsNaN(e.StdErr) && r.Covariance[i][i] > 0 {
			which = append(which, i)
			t.Columns = append(t.Columns, table.Column{Name: e.Name, Right: true})
		}
	}
	if len(which) < 2 {
		return table.Table{}
	}
	for _, i := range which {
		row := []string{r.Params[i].Name}
		for _, j := range which {
			row = append(row, number.Fixed(r.Correlation[i][j], 3))
		}
		t.Add(row...)
	}
	return t
}

// withError writes a value to the second digit of its standard error, or to six
// digits without one.
func withError(v, e float64) string {
	size := math.Abs(v)
	if !(e > 0) || math.IsInf(e, 0) || v == 0 {
		return plain(v, 6)
	}
	if size >= least && size < most {
		s, _ := number.WithError(v, e)
		return s
	}
	digits := math.Floor(math.Log10(size)) - math.Floor(math.Log10(number.Round(e, 2))) + 2
	return plain(v, int(min(max(digits, 1), 12)))
}

// stdErr writes a standard error; a fixed parameter has none.
func (e Estimate) stdErr() string {
	if e.Fixed {
		return "none"
	}
	return plain(e.StdErr, 2)
}

// least and most are the sizes between which numbers have no exponent.
const least, most = 1e-4, 1e7

// plain writes a number to so many significant digits, with an exponent where it
// is very large or small.
func plain(v float64, n int) string {
	if a := math.Abs(v); a != 0 && (a < least || a >= most) {
		return strings.Replace(number.Exponent(v, n), "e-0", "e-", 1)
	}
	return number.Significant(v, n)
}

// String returns the page as text.
func (r Result) String() string { return r.Page().String() }

// Page shows the band as a table.
func (b Band) Page() page.Page {
	var p page.Page
	if len(b.X) == 0 {
		p.NoResult(nil, "the band has no points.")
		return p
	}
	p.Table(b.table())
	return p
}

// String returns the page as text.
func (b Band) String() string { return b.Page().String() }

func (b Band) table() table.Table {
	t := table.Table{Caption: fmt.Sprintf("Fitted curve with its %.4g %% limits", 100*b.Confidence), Columns: []table.Column{
		{Name: "x", Right: true}, {Name: "curve", Right: true}, {Name: "standard error", Right: true}, {Name: "low", Right: true}, {Name: "high", Right: true}}}
	for i, x := range b.X {
		t.Add(plain(x, 6), plain(b.Y[i], 6), plain(b.StdErr[i], 2), plain(b.Low[i], 6), plain(b.High[i], 6))
	}
	return t
}
