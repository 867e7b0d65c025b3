package fit

import (
	"fmt"
	"math"
	"strconv"
	"strings"

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
		interval := "not available"
		if err == nil && !math.IsNaN(low+high) {
			interval = withError(low, e.StdErr) + " to " + withError(high, e.StdErr)
		}
		t.Add(e.Name, withError(e.Value, e.StdErr), stdErr(e.StdErr), interval, e.remark())
	}
	return t
}

// GoodnessTable returns how well the fit describes the data.
func (r Result) GoodnessTable() table.Table {
	g := table.Table{Caption: "How well it fits", RowHeaders: true, Columns: []table.Column{{Name: "quantity"}, {Name: "value", Right: true}}}
	g.Add("residual standard deviation", number(r.ResidualSD))
	g.Add("residual sum of squares", number(r.RSS))
	if !math.IsNaN(r.R2) {
		rounded := math.Round(1e6*r.R2)/1e6 + 0 // and no -0
		g.Add("R²", strconv.FormatFloat(rounded, 'f', 6, 64))
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
	return s + " ± " + stdErr(e.StdErr)
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
			row = append(row, strconv.FormatFloat(r.Correlation[i][j], 'f', 3, 64))
		}
		t.Add(row...)
	}
	return t
}

// withError writes a value to the second digit of its standard error, or to six
// digits without one.
func withError(v, e float64) string {
	if !(e > 0) || math.IsInf(e, 0) || v == 0 {
		return number(v)
	}
	digits := int(math.Floor(math.Log10(math.Abs(v)))) - int(math.Floor(math.Log10(e))) + 2
	return plain(v, min(max(digits, 1), 12))
}

func stdErr(e float64) string {
	if math.IsNaN(e) {
		return "none"
	}
	return plain(e, 2)
}

// number writes a number to six digits.
func number(v float64) string { return plain(v, 6) }

// plain writes a number to so many significant digits, with an exponent where it
// is very large or small.
func plain(v float64, digits int) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v):
		return "not available"
	case a != 0 && (a < 1e-4 || a >= 1e7):
		return strings.Replace(strconv.FormatFloat(v, 'e', digits-1, 64), "e-0", "e-", 1)
	case a == 0:
		return "0"
	default:
		return strconv.FormatFloat(v, 'f', max(0, digits-1-int(math.Floor(math.Log10(a)))), 64)
	}
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
		t.Add(number(x), number(b.Y[i]), stdErr(b.StdErr[i]), number(b.Low[i]), number(b.High[i]))
	}
	return t
}
