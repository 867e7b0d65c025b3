package plan

import (
	"fmt"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/liquid"
	"github.com/evenbed/evenbed/packing/units"
)

func (w *work) cautions() {
	c, p := w.c, w.p
	m := c.Medium
	if m.SettledVoid < 0.30 || m.SettledVoid > 0.50 {
		w.caution("A settled void of %v is unusual: 0.30 to 0.50 is what settled beads have.", m.SettledVoid)
	}
	w.classCautions()
	if c.Slurry.Concentration > 75*units.Percent {
		w.caution("A slurry of %v hardly pours (common practice: up to 75 %%).", c.Slurry.Concentration)
	}
	if u := c.FirstVelocity; u > 0 && (u < 20*units.CentimetrePerHour*(1-1e-9) || u > 60*units.CentimetrePerHour) {
		w.caution("The first velocity, %v, is outside 20 to 60 cm/h, the usual range (common practice).", u)
	}
	if p.First.CompressionFactor > 1.05 {
		w.caution("The first step compresses the bed by a factor of %.3f already, part of which recovers when the flow stops for the adapter: a lower first velocity would not.",
			p.First.CompressionFactor)
	}
	if rho, err := liquid.WaterDensity(c.Temperature); err == nil {
		if re := bed.Reynolds(p.Pour.Terminal, m.MeanBead, rho, p.Viscosity); re > 0.1 {
			w.caution("A bead falls at a Reynolds number of %.2g: above 0.1 Stokes' law gives too short times.", re)
		}
	}
	w.flowCautions()
	w.caution("Times hold for beads of one size and the density excess given, %v, the least known input: measure it from a settling reading. Fines take longer. Temperature moves every time through the viscosity.", m.DensityExcess)
	w.caution("At equal velocity the packed bed takes about %.2f times the pressure of the settled one (Kozeny and Carman; laws differ by 20 %%, and 0.01 of void is 11 %%).", p.Bed.PressureRatio)
	if s := c.SlurryStdErr; s > 0 {
		w.caution("The compression factor is no better known than the slurry concentration: %.2g %% absolute in it is %.3f in the factor, errors of volume and height not counted. Sample the stirred tank at top, middle and bottom, three times each.",
			s.In(units.Percent), c.CompressionFactor*float64(s/c.Slurry.Concentration))
	} else {
		w.caution("The compression factor is no better known than the slurry concentration: 3 %% relative in it is %.3f in the factor. Sample the stirred tank at top, middle and bottom, three times each.", 0.03*c.CompressionFactor)
	}
	w.caution("If the settled height found differs from %.2f cm (height under flow times its compression factor), keep either the factor, packing to found height / %v, or the height, and record which.",
		p.Bed.SettledHeight.In(units.Centimetre), c.CompressionFactor)
	p.Safety = w.safety()
}

// classCautions are those that the kind of the medium asks for.
func (w *work) classCautions() {
	c, p := w.c, w.p
	m := c.Medium
	if c.CompressionFactor > 1.25 || p.Bed.PackedVoid < 0.25 {
		w.caution("A compression factor of %v leaves a void of %.2f: more than media are usually compressed (common practice: no more than 1.25, void no less than 0.25).",
			c.CompressionFactor, p.Bed.PackedVoid)
	}
	low, high := m.Class.UsualCompression()
	switch {
	case m.Class == packing.UnknownClass:
		w.notChecked("whether a compression factor of %v is usual for this kind of medium (class not given)", c.CompressionFactor)
		return
	case c.CompressionFactor < low || c.CompressionFactor > high:
		w.caution("A compression factor of %v is outside %.2f to %.2f, usual for a %s (common practice).", c.CompressionFactor, low, high, m.Class)
	}
	light := m.Class == packing.SoftGel
	switch excess := m.DensityExcess.In(units.KilogramPerCubicMetre); {
	case light && (excess < 20 || excess > 100):
		w.caution("A density excess of %v is unusual for a soft gel: 20 to 100 kg/m³ is common. Measure it.", m.DensityExcess)
	case !light && excess < 100:
		w.caution("A density excess of %v is that of a light gel; a %s reaches several hundred kg/m³. Measure it.", m.DensityExcess, m.Class)
	}
	if m.Class == packing.Mineral {
		w.caution("Beads of silica, glass or apatite do not give way: what compresses is how they lie. Laws of stress do not apply, vibration counts, and the bed does not re-expand after a stop.")
	}
}

// flowCautions are those about the second step, its limits and the duties.
func (w *work) flowCautions() {
	c, p := w.c, w.p
	s := p.Second
	if w.byFlow() || c.Method == constantPressure {
		if d := s.BedHeight - c.BedHeight; d > c.TargetTolerance {
			load := "Its load is not computed; watch it."
			if known(p.Adapter.Load) {
				load = fmt.Sprintf("By the law given that takes a load of %.3g bar, %s.", p.Adapter.Load.In(units.Bar), force(p.Adapter.Force))
			}
			w.caution("At %v flow alone gives a compression factor of %.3f: the adapter must give the rest, a factor of %.3f or the last %.1f mm. %s",
				s.Velocity, s.CompressionFactor, c.CompressionFactor/s.CompressionFactor, (s.BedHeight - c.BedHeight).In(units.Millimetre), load)
		} else if d < -c.TargetTolerance {
			w.caution("At %v flow compresses the bed to %.2f cm, below the target position: it has to rise %.1f mm to the adapter.",
				s.Velocity, s.BedHeight.In(units.Centimetre), (c.BedHeight - s.BedHeight).In(units.Millimetre))
		}
	}
	for _, l := range p.Pressures {
		if l.Margin >= 0 && l.Margin < 0.2 {
			w.caution("The pressure takes %.0f %% of the limit of the %s; practice stays at 70 to 80 %%.", 100*(1-l.Margin), l.Name)
		}
	}
	for _, l := range p.Flows {
		if l.Margin >= 0 && l.Margin < 0.2 {
			w.caution("The velocity takes %.0f %% of the limit for the %s; practice stays at 70 to 80 %%.", 100*(1-l.Margin), l.Name)
		}
	}
	for _, d := range p.Duties {
		if d.Margin >= 1 && d.Margin < d.Wanted {
			w.caution("Packing drags only %.2f times as much as the process step %s; %v is wanted.", d.Margin, d.Duty.Name, d.Wanted)
		}
	}
	if w.hasCurve() && w.curve.Predicted != "" {
		w.predicted()
	} else if w.hasCurve() {
		w.caution("The %s holds for its lot, buffer, settled height and diameter, at rising velocity, and with the hardware it was measured with.",
			curveName(c.Curve))
	}
	if c.Law != nil {
		w.caution("What comes from the law (%v) holds for rising load only, for the lot, liquid and temperature it was fitted to.", c.Law)
	}
	if w.hasHardware() {
		w.caution("The pressure of the empty column was taken in proportion to the viscosity, and at its readings for new nets: clogged ones take more.")
	}
	if known(s.RiseBound) && len(p.Rises) > 0 {
		w.caution("The re-expansion on the stop is an upper bound: friction and the beads' own slowness reduce it. Losing 1 mm takes at least %.1f s.", (1 * units.Millimetre).Passed(s.RiseBound).In(units.Second))
	}
}

// predicted tells that the curve was not measured here, and how far it may be off.
func (w *work) predicted() {
	s := w.p.Second
	w.caution("The %s was not measured on a bed of this size: it is predicted %s. Raise the flow slowly, watch pressure and height at every step, and stop if they leave the prediction.",
		curveName(w.curve), w.curve.Predicted)
	if e, err := w.curve.ErrorAt(s.Velocity); err == nil && e.Pressure > 0 {
		w.caution("At %.4g cm/h the prediction is good to ± %.2g in the compression factor and ± %.2g bar, one standard error of the readings and parameters it comes from; from pack to pack beds differ by more.",
			s.Velocity.In(units.CentimetrePerHour), e.CompressionFactor, e.Pressure.In(units.Bar))
	}
}

// safety lists the usual cautions; the equipment's manual comes first.
func (w *work) safety() []string {
	s := []string{
		"The manual of the equipment, local codes and qualified people come before this plan.",
		"Glass and acrylic: keep to the pressure marked on the tube, reduced for temperature, scratches and solvents; wear eye protection. Never put gas pressure on a column full of liquid without a relief path.",
		"Trapped air stores energy: vent before loading, and release pressure slowly.",
		"A relief device or pressure trip set at or below the weakest part; no pump against a closed valve.",
		"Never leave a column full of liquid with all valves shut: warming from 5 to 25 °C expands water by 0.29 %.",
		fmt.Sprintf("Keep one liquid path open while a sealed adapter moves: 1 mm/s displaces %s here.", w.p.flow(w.c.Column.Flow(1*units.MillimetrePerSecond))),
		"Adapters and end plates are heavy and pinch: lifting gear, and hands off while anything moves.",
		"Storage solution with ethanol is flammable: ground containers, ventilate, no ignition; it is more viscous than water, so never pack at full velocity in it.",
		"Acetone for the test is diluted away from the column: neat it flashes below 0 °C and attacks acrylic. Caustic harms eyes and skin; chloride left on stainless steel corrodes it. Spilt slurry is slippery.",
	}
	if w.c.Temperature < units.Celsius(15) {
		s = append(s, fmt.Sprintf("In the cold the liquid is more viscous, %v here: the limits of pressure come at a lower flow.", w.p.Viscosity))
	}
	return s
}

// checklist is what is looked at before the slurry is poured.
func (w *work) checklist() {
	c, p := w.c, w.p
	add := func(format string, a ...any) { p.Checklist = append(p.Checklist, fmt.Sprintf(format, a...)) }
	add("tube without scratches, cracks or crazing; pressure marked on it read, inspection in date")
	add("nets or frits whole, clean and the right way round; seals whole and wetted")
	add("column level and plumb, within 0.2 to 0.5 mm per metre (common practice)")
	if c.Method == packInPlace {
		add("head plate locks at %s; nozzle goes to its positions and shuts under pressure", w.place(c.BedHeight))
	} else {
		add("adapter moves freely, down to %s and up to %s; lock or drive tried", w.place(c.BedHeight), w.place(p.Pour.SlurryHeight))
	}
	add("bottom net wetted with 20 %% ethanol from below, the ethanol displaced: plain buffer does not wet every net")
	if r := c.Limits.ReliefPressure; r > 0 {
		add("relief device or pressure trip set to %.3g bar and tried", r.In(units.Bar))
	} else {
		add("relief device or pressure trip set at or below the weakest part and tried: ____ bar")
	}
	add("gauge at zero with the pump off; flow checked with a measuring cylinder at %s", p.flow(w.checkFlow()))
	add("pump and lines primed, no air; hoses secured and rated for the pressure")
	add("medium %s, lot compared with the label; slurry in packing liquid, fines decanted, stirred without a magnetic bar", c.Medium.Label())
	add("slurry, liquid and column at %v, the column for 24 h (common practice)", c.Temperature)
	add("buffer ready: %s or more", volume(p.TotalBuffer()))
	add("timer, ruler from the bottom net, sheet, gloves, eye protection, spill tray")
}

// checkFlow is a flow at which the pump is tried.
func (w *work) checkFlow() units.VolumeFlow {
	if u := w.p.First.Flow; u > 0 {
		return u
	}
	return w.p.Test.Flow
}

// large adds what a large column asks for.
func (w *work) large() {
	c, p := w.c, w.p
	if c.Column.InnerDiameter < largeDiameter {
		return
	}
	add := func(what, format string, a ...any) {
		p.Large = append(p.Large, LargeRow{what, fmt.Sprintf(format, a...)})
	}
	least, most := p.Test.Flow, p.Test.Flow
	for _, u := range w.uses {
		if u.adapter {
			continue
		}
		q := c.Column.Flow(u.velocity)
		least, most = min(least, q), max(most, q)
	}
	turn := fmt.Sprintf("%s to %s, 1 to %.0f", p.flow(least), p.flow(most), most.In(least))
	if q := c.Limits.LeastPumpFlow; q == 0 {
		turn += "; least flow of the pump not given: not checked"
	} else {
		turn += fmt.Sprintf("; the pump holds %s steady", p.flow(q))
	}
	add("pump turndown", "%s", turn)
	tank := p.Pour.Prepared
	add("slurry tank", "%s or more, stirred from top to bottom", volume(tank.Times(1.2)))
	if q := c.Site.TransferFlow; q > 0 {
		t := p.Pour.SlurryVolume.PumpedAt(q)
		within := "within"
		if t > p.Pour.ClearLayer {
			within = "longer than"
			w.caution("The transfer of the slurry takes %s, and 1 cm of clear liquid forms in %s: what comes first settles first. Transfer faster, or stir in the column before step 1.", span(t), span(p.Pour.ClearLayer))
		}
		add("transfer of the slurry", "%s at %s, %s the %s in which 1 cm of clear liquid forms", span(t), p.flow(q), within, span(p.Pour.ClearLayer))
	} else {
		add("transfer of the slurry", "at %s or more, so that no more than 1 cm of clear liquid forms meanwhile; transfer flow not given: not checked", p.flow(p.Pour.SlurryVolume.Within(p.Pour.ClearLayer)))
	}
	rho := 1000 * units.KilogramPerCubicMetre
	if d, err := liquid.WaterDensity(c.Temperature); err == nil {
		rho = d
	}
	full := rho.Filling(c.Column.Volume(p.Pour.SlurryHeight)) + c.Medium.DensityExcess.Filling(p.Bed.SettledVolume.Times(1-c.Medium.SettledVoid))
	if m := c.Site.ColumnMass; m > 0 {
		add("floor load", "%s filled (contents %s as water with beads); compare with the floor's permitted load over the feet", mass(full+m), mass(full))
	} else {
		add("floor load", "contents %s as water with beads, and the empty column (mass not given: not checked)", mass(full))
	}
	if h := c.Test.HoldUp; h > 0 {
		part := h.In(p.Bed.ColumnVolume)
		add("hold-up", "%s, %.1f %% of the column volume: take it off the first moment of the test", volume(h), 100*part)
		if part > 0.05 {
			w.caution("The hold-up is %.0f %% of the column volume: the pulse test sees the pipes as well as the bed.", 100*part)
		}
	} else {
		add("hold-up", "not given: not checked, measure it without the bed")
	}
	add("bed height", "at four points, a quarter turn apart; tilt is the largest less the smallest, over the diameter (%.1f mm is 1 in 100)", 10*c.Column.InnerDiameter.In(units.Metre))
	millimetre := 1 * units.Millimetre
	add("1 mm of bed height", "%s, %.2f %% of the column volume", volume(c.Column.Volume(millimetre)), 100*millimetre.In(c.BedHeight))
}

func mass(m units.Mass) string { return fmt.Sprintf("%.0f kg", m.In(units.Kilogram)) }

func force(f units.Force) string {
	if f < 1*units.Kilonewton {
		return number.Significant(f.In(units.Newton), 3) + " N"
	}
	return number.Significant(f.In(units.Kilonewton), 3) + " kN"
}
