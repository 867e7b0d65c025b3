package bed

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// caution stands beside every result of the model.
const caution = "The model holds for steady flow and rising load only, for this lot, liquid and temperature. Pressure is as uncertain as the law of Kozeny and Carman, some 20 %. Keep well below the critical velocity and below the limits of column, medium and pump."

// title is how headings call the bed.
func (b Compressible) title() string {
	if b.Label == "" {
		return "Compressible bed"
	}
	return "Compressible bed of " + b.Label
}

// InputTable returns what the bed is.
func (b Compressible) InputTable() table.Table {
	t := table.Table{Caption: "Bed", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "value"}}}
	t.Add("law", b.Law.String())
	t.Add("mean bead", b.MeanBead.String())
	t.Add("settled void", fmt.Sprint(b.SettledVoid))
	t.Add("settled height", b.SettledHeight.String())
	t.Add("viscosity", b.Viscosity.String())
	if b.WallFriction > 0 {
		t.Add("wall", fmt.Sprintf("friction %v, inner diameter %v", b.WallFriction, b.InnerDiameter))
	} else {
		t.Add("wall", "carries nothing: no friction given")
	}
	if b.DensityExcess > 0 {
		t.Add("density excess", b.DensityExcess.String())
	} else {
		t.Add("weight", "left out: no density excess given")
	}
	if b.Load > 0 {
		t.Add("load of the adapter", b.Load.String())
	}
	t.Add("Kozeny constant", fmt.Sprint(b.constant()))
	return t
}

// Page lays the bed out: critical velocity and ceiling, states on the way there,
// and the picture.
func (b Compressible) Page() page.Page {
	var p page.Page
	p.Heading(b.title())
	critical, err := b.CriticalVelocity()
	if err != nil {
		p.NoResult(err, "")
		return p
	}
	ceiling, err := b.Ceiling()
	if err != nil {
		p.NoResult(err, "")
		return p
	}
	p.Text(fmt.Sprintf("Critical velocity %v. Flow alone gives a compression factor of at most %.4g, at the critical velocity.", critical, ceiling))
	p.Table(b.Table())
	p.Figure(b.Figure())
	p.Table(b.InputTable())
	p.List("Cautions", []string{caution})
	return p
}

// Table returns steady states on the way to the critical velocity. Of a bed that
// Check refuses it says why.
func (b Compressible) Table() table.Table {
	t := table.Table{Caption: "Steady states", Columns: []table.Column{
		{Name: "velocity", Unit: "cm/h", Right: true}, {Name: "of critical", Unit: "%", Right: true}, {Name: "height", Unit: "cm", Right: true},
		{Name: "compression factor", Right: true}, {Name: "pressure", Unit: "bar", Right: true},
		{Name: "rigid bed", Unit: "bar", Right: true}, {Name: "void at the bottom", Right: true}}}
	critical, err := b.CriticalVelocity()
	for _, part := range []float64{0.1, 0.25, 0.5, 0.7, 0.8, 0.9} {
		var s State
		if err == nil {
			s, err = b.At(critical.Times(part))
		}
		if err != nil {
			return table.Table{Caption: t.Caption, Note: "No result: " + err.Error()}
		}
		t.Add(number.Fixed(s.Velocity.In(units.CentimetrePerHour), 1), number.Fixed(100*part, 0),
			number.Fixed(s.Height.In(units.Centimetre), 2), number.Fixed(s.CompressionFactor, 4),
			number.Fixed(s.Pressure.In(units.Bar), 3), number.Fixed(s.RigidPressure.In(units.Bar), 3), number.Fixed(s.BottomVoid, 3))
	}
	return t
}

// String returns the page as text.
func (b Compressible) String() string { return b.Page().String() }

// Figure draws pressure and compression factor against velocity up to near the
// critical one, which is marked. A bed that Check refuses has an empty figure.
func (b Compressible) Figure() figure.Stack {
	critical, err := b.CriticalVelocity()
	if err != nil {
		return figure.Stack{Title: b.title(), Description: err.Error()}
	}
	ceiling, err := b.Ceiling()
	if err != nil {
		return figure.Stack{Title: b.title(), Description: err.Error()}
	}
	const points = 80
	var pressure, rigid, factor figure.Points
	for i := range points + 1 {
		x := float64(i) / points
		s, err := b.At(critical.Times(0.98 * (1 - (1-x)*(1-x)))) // denser towards the critical velocity
		if err != nil {
			break
		}
		u := float64(s.Velocity)
		pressure.X, pressure.Y = append(pressure.X, u), append(pressure.Y, float64(s.Pressure))
		rigid.X, rigid.Y = append(rigid.X, u), append(rigid.Y, float64(s.RigidPressure))
		factor.X, factor.Y = append(factor.X, u), append(factor.Y, s.CompressionFactor)
	}
	highest, u := pressure.Y[len(pressure.Y)-1], float64(critical)
	x := figure.Axis{Label: "Velocity", Unit: "cm/h", One: float64(units.CentimetrePerHour), Max: 1.05 * critical.In(units.CentimetrePerHour)}
	return figure.Stack{
		Title: b.title(),
		Description: fmt.Sprintf("Pressure and compression factor against velocity. The critical velocity, %v, is marked; the compression factor comes to %.4g there.",
			critical, ceiling),
		Panels: []figure.Figure{
			{X: x, Y: figure.Axis{Label: "Pressure", Unit: "bar", One: float64(units.Bar)},
				Lines: []figure.Line{{Name: "bed", Points: pressure}, {Name: "if it did not give way", Points: rigid}},
				Marks: []figure.Mark{{X1: u, Y1: 0, X2: u, Y2: highest, Dashed: true, Label: "critical", Place: figure.LeftOf, Colour: 1}}},
			{X: x, Y: figure.Axis{Label: "Compression factor"},
				Lines: []figure.Line{{Points: factor}},
				Marks: []figure.Mark{{X1: u, Y1: factor.Y[0], X2: u, Y2: ceiling, Dashed: true, Colour: 1},
					{X1: u, Y1: ceiling, X2: u, Y2: ceiling, Label: fmt.Sprintf("at most %.4g", ceiling), Place: figure.LeftOf, Colour: 1}}},
		},
	}
}

// table lists the state.
func (s State) table() table.Table {
	t := table.Table{Caption: fmt.Sprintf("%s at %v", s.Bed.title(), s.Velocity), RowHeaders: true, Columns: []table.Column{
		{Name: "what"}, {Name: "value", Right: true}, {Name: "unit"}}}
	t.Add("height", number.Fixed(s.Height.In(units.Centimetre), 2), "cm")
	t.Add("compression factor", number.Fixed(s.CompressionFactor, 4), "")
	t.Add("pressure drop", number.Compact(s.Pressure.In(units.Bar), 4), "bar")
	t.Add("pressure drop if the bed did not give way", number.Compact(s.RigidPressure.In(units.Bar), 4), "bar")
	t.Add("stress between the beads, top", number.Compact(s.Bed.Load.In(units.Bar), 4), "bar")
	t.Add("stress between the beads, bottom", number.Compact(s.BottomStress.In(units.Bar), 4), "bar")
	t.Add("void, mean", number.Fixed(s.MeanVoid, 4), "")
	t.Add("void, bottom", number.Fixed(s.BottomVoid, 4), "")
	return t
}

// Page shows the state with its profile.
func (s State) Page() page.Page {
	var p page.Page
	if s.Height == 0 {
		p.NoResult(s.Refusal, "nothing has been worked out.")
		return p
	}
	p.Table(s.table())
	p.Figure(s.Figure())
	p.List("Cautions", []string{caution})
	return p
}

// String returns the page as text.
func (s State) String() string { return s.Page().String() }

// Figure draws stress and lost pressure, and the void, against the depth below
// the top of the bed.
func (s State) Figure() figure.Stack {
	title := fmt.Sprintf("%s at %v", s.Bed.title(), s.Velocity)
	var stress, pressure, void figure.Points
	for _, l := range s.Profile() {
		z := float64(l.Depth)
		stress.X, stress.Y = append(stress.X, z), append(stress.Y, float64(l.Stress))
		pressure.X, pressure.Y = append(pressure.X, z), append(pressure.Y, float64(l.Pressure))
		void.X, void.Y = append(void.X, z), append(void.Y, l.Void)
	}
	if void.Len() == 0 {
		return figure.Stack{Title: title, Description: "Nothing has been worked out."}
	}
	x := figure.Axis{Label: "Depth below the top", Unit: "cm", One: float64(units.Centimetre)}
	one, unit := float64(units.Bar), "bar"
	if math.Max(float64(s.Pressure), float64(s.BottomStress)) < float64(0.1*units.Bar) {
		one, unit = float64(units.Kilopascal), "kPa"
	}
	return figure.Stack{
		Title:       title,
		Description: fmt.Sprintf("From the top to the bottom the void falls to %.3g and the stress between the beads comes to %v.", s.BottomVoid, s.BottomStress),
		Panels: []figure.Figure{
			{X: x, Y: figure.Axis{Label: "Stress, pressure", Unit: unit, One: one},
				Lines: []figure.Line{{Name: "stress between the beads", Points: stress}, {Name: "pressure lost by the liquid", Points: pressure}}},
			{X: x, Y: figure.Axis{Label: "Void"}, Lines: []figure.Line{{Points: void}}},
		},
	}
}
