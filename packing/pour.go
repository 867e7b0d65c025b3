package packing

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// Pour asks how much slurry a bed needs and how high it stands in the tube.
type Pour struct {
	Column            Column
	Slurry            Slurry
	BedHeight         units.Length // packed
	CompressionFactor float64
	DeadVolume        units.Volume // of slurry that stays behind in tank and hoses
	Rinse             units.Volume // of liquid that rinses tank, hoses and wall into the column
}

// PourResult is how much to prepare, and how high it stands.
type PourResult struct {
	Pour          Pour
	SettledHeight units.Length
	SettledVolume units.Volume
	SlurryVolume  units.Volume // into the column
	Prepared      units.Volume // with what stays behind
	Height        units.Length // of slurry and rinse in the tube
	Free          units.Length // above it; NaN without a tube height
	Refusal       error        // why there are no numbers, or nil
}

// Evaluate returns
//
//	L0 = CF·L,  V = A·L0/C,  prepared V + dead volume,  height (V + rinse)/A
//
// What stays behind counts as lost, and the rinse as liquid that only adds to the
// height: the beads that it carries in are a reserve. It refuses inputs that
// cannot be, and with the remedy a slurry that the tube does not take.
func (p Pour) Evaluate() (PourResult, error) {
	r, err := p.evaluate()
	if err != nil {
		return PourResult{Pour: p, Refusal: err}, err
	}
	return r, nil
}

func (p Pour) evaluate() (PourResult, error) {
	for _, err := range []error{p.Column.Check(), p.Slurry.Check(), CheckBedHeight(p.BedHeight)} {
		if err != nil {
			return PourResult{}, err
		}
	}
	if !(p.CompressionFactor >= 1 && p.CompressionFactor < 3) {
		return PourResult{}, &InputError{p.Column.name(), fmt.Sprintf("compression factor %v", p.CompressionFactor),
			"it must be from 1 to below 3", "give settled over packed height, 1.12 and not 12"}
	}
	for _, v := range []struct {
		name string
		v    units.Volume
	}{{"dead volume", p.DeadVolume}, {"rinse", p.Rinse}} {
		if err := optional(p.Column.name(), v.name, v.v, 1e-9, 10, "1 µL", "10 m³", "0.5 * Litre"); err != nil {
			return PourResult{}, err
		}
	}
	r := PourResult{Pour: p, SettledHeight: p.BedHeight.Times(p.CompressionFactor), Free: units.Length(math.NaN())}
	r.SettledVolume = p.Column.Volume(r.SettledHeight)
	r.SlurryVolume = p.Slurry.Volume(r.SettledVolume)
	r.Prepared = r.SlurryVolume + p.DeadVolume
	r.Height = (r.SlurryVolume + p.Rinse).Height(p.Column.Area())
	if p.Column.TubeHeight > 0 {
		r.Free = p.Column.Usable() - r.Height
	}
	if err := p.Column.checkSlurry(p.Slurry, r.SettledHeight, p.Rinse); err != nil {
		return PourResult{}, err
	}
	return r, nil
}

// Page shows volumes and heights.
func (r PourResult) Page() page.Page {
	var p page.Page
	if r.Height == 0 {
		p.NoResult(r.Refusal, "nothing has been worked out.")
		return p
	}
	c := r.Pour.Column
	if c.TubeHeight == 0 {
		p.Notice("Not checked:", "whether the tube takes it (no tube height given).")
	}
	t := table.Table{Caption: "Slurry for " + c.name(), RowHeaders: true,
		Columns: []table.Column{{Name: "what"}, {Name: "value", Right: true}}}
	cm := func(l units.Length) string { return fmt.Sprintf("%.1f cm", l.In(units.Centimetre)) }
	t.Add("packed bed", fmt.Sprintf("%s, %v", cm(r.Pour.BedHeight), c.Volume(r.Pour.BedHeight)))
	t.Add("compression factor", fmt.Sprintf("%v (%.1f %% compression)", r.Pour.CompressionFactor, 100*CompressionOfSettled(r.Pour.CompressionFactor)))
	t.Add("settled bed", fmt.Sprintf("%.2f cm, %v", r.SettledHeight.In(units.Centimetre), r.SettledVolume))
	t.Add(fmt.Sprintf("slurry of %v into the column", r.Pour.Slurry.Concentration), r.SlurryVolume.String())
	if r.Pour.DeadVolume > 0 {
		t.Add("stays behind in tank and hoses", r.Pour.DeadVolume.String())
	}
	t.Add("slurry to prepare", r.Prepared.String())
	if r.Pour.Rinse > 0 {
		t.Add("rinse", r.Pour.Rinse.String())
	}
	t.Add("stands in the tube", cm(r.Height))
	if c.TubeHeight > 0 {
		tube := cm(c.TubeHeight)
		if c.Extension > 0 {
			tube += " + extension " + cm(c.Extension)
		}
		if c.Allowance > 0 {
			tube += " - allowance " + cm(c.Allowance)
		}
		t.Add("tube", tube)
		t.Add("free above", cm(r.Free))
	}
	p.Table(t)
	return p
}

// String returns the page as text.
func (r PourResult) String() string { return r.Page().String() }

// Found is the settled height that was measured at the column when another was
// planned.
type Found struct {
	Column            Column // for volumes; may be zero
	BedHeight         units.Length
	CompressionFactor float64
	Height            units.Length // of the bed that was found
	// FlowFactor is the compression factor at the velocity that was flowing when
	// the height was read, from the measured curve; zero: the bed was at rest.
	FlowFactor float64
}

// Decision shows both ways on from a settled height that is not the planned one.
type Decision struct {
	Found      Found
	Planned    units.Length // settled
	Settled    units.Length // found, at rest
	KeepFactor units.Length // the packed height that keeps the planned compression factor
	KeepHeight float64      // the compression factor that keeps the planned packed height
	CannotKeep string       // why the height cannot be kept; empty: it can
	Doubt      string       // of a settled height too far from the planned one; empty: none
}

// usualSettled is how far a settled height may be from the planned one before the
// slurry or the reading is in doubt (common practice, no source).
const usualSettled = 5 * units.Percent

// Decide returns both ways on,
//
//	L0 = height found · CF(u1),  keep the factor: L = L0/CF,  keep the height: CF = L0/L
//
// A bed that settled lower than the planned packed height cannot be kept there,
// and says so; one that settled more than 5 % from the planned height is doubted. It refuses inputs that cannot be.
func (f Found) Decide() (Decision, error) {
	for _, err := range []error{CheckBedHeight(f.BedHeight), CheckBedHeight(f.Height)} {
		if err != nil {
			return Decision{}, err
		}
	}
	flow := f.FlowFactor
	if flow == 0 {
		flow = 1
	}
	for _, x := range []struct {
		name string
		cf   float64
	}{{"compression factor", f.CompressionFactor}, {"compression factor under flow", flow}} {
		if !(x.cf >= 1 && x.cf < 3) {
			return Decision{}, &InputError{"", fmt.Sprintf("%s %v", x.name, x.cf), "it must be from 1 to below 3", "give settled over packed height, 1.12 and not 12"}
		}
	}
	settled := f.Height.Times(flow)
	d := Decision{Found: f, Planned: f.BedHeight.Times(f.CompressionFactor), Settled: settled,
		KeepFactor: settled.Times(1 / f.CompressionFactor), KeepHeight: settled.In(f.BedHeight)}
	if off := settled.In(d.Planned) - 1; math.Abs(off) > float64(usualSettled)*(1+1e-9) {
		word, look := "above", "read the height again, and the concentration: a bed that had not settled, or more medium than planned"
		if off < 0 {
			word, look = "below", "look for slurry left in tank and hoses, a concentration read too high, or beads lost"
		}
		d.Doubt = fmt.Sprintf("the settled height, %v, is %.1f %% %s the planned %v, more than %v (common practice, no source): %s. Find out why before going on", settled, 100*math.Abs(off), word, d.Planned, usualSettled, look)
	}
	if d.KeepHeight < 1 {
		d.CannotKeep = fmt.Sprintf("the settled bed, %v, is lower than %v: add slurry, or keep the factor", settled, f.BedHeight)
	}
	return d, nil
}

// Page shows both ways on.
func (d Decision) Page() page.Page {
	var p page.Page
	if d.Settled == 0 {
		p.NoResult(nil, "nothing has been worked out.")
		return p
	}
	cm := func(l units.Length) string { return fmt.Sprintf("%.2f cm", l.In(units.Centimetre)) }
	text := fmt.Sprintf("Settled %s, planned %s.", cm(d.Settled), cm(d.Planned))
	if d.Found.FlowFactor > 0 {
		text = fmt.Sprintf("Read %s under flow, settled %s, planned %s.", cm(d.Found.Height), cm(d.Settled), cm(d.Planned))
	}
	p.Text(text)
	if d.Doubt != "" {
		p.Notice("Doubt:", d.Doubt+".")
	}
	if d.CannotKeep != "" {
		p.Notice("The height cannot be kept:", d.CannotKeep)
	}
	volume := func(l units.Length) string {
		if d.Found.Column.InnerDiameter == 0 {
			return "not given"
		}
		return d.Found.Column.Volume(l).String()
	}
	t := table.Table{Caption: "Two ways on", RowHeaders: true, Columns: []table.Column{{Name: "way"}, {Name: "packed height", Right: true},
		{Name: "compression factor", Right: true}, {Name: "compression", Unit: "%", Right: true}, {Name: "column volume", Right: true}}}
	percent := func(cf float64) string { return number.Fixed(100*CompressionOfSettled(cf), 1) }
	t.Add("as planned", cm(d.Found.BedHeight), number.Fixed(d.Found.CompressionFactor, 3), percent(d.Found.CompressionFactor), volume(d.Found.BedHeight))
	t.Add("keep the factor", cm(d.KeepFactor), number.Fixed(d.Found.CompressionFactor, 3), percent(d.Found.CompressionFactor), volume(d.KeepFactor))
	if d.CannotKeep == "" {
		t.Add("keep the height", cm(d.Found.BedHeight), number.Fixed(d.KeepHeight, 3), percent(d.KeepHeight), volume(d.Found.BedHeight))
	}
	p.Table(t)
	p.List("Cautions", []string{
		"A higher factor means more pressure, and may be beyond what flow alone gives: read it from the curve before deciding.",
		"Another height means another column volume, and other flows for the same residence time.",
	})
	return p
}

// String returns the page as text.
func (d Decision) String() string { return d.Page().String() }
