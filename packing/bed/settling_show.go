package bed

import (
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// Page shows how the suspension settles.
func (s Sediment) Page() page.Page {
	var p page.Page
	if s.Time == 0 {
		p.NoResult(s.Refusal, "nothing has been worked out.")
		return p
	}
	t := table.Table{Caption: "How the suspension settles", RowHeaders: true,
		Columns: []table.Column{{Name: "what"}, {Name: "value", Right: true}, {Name: "unit"}}}
	t.Add("upper edge of the suspension falls", number.Fixed(s.Interface.In(units.CentimetrePerHour), 2), "cm/h")
	t.Add("surface of the bed rises", number.Fixed(s.Growth.In(units.CentimetrePerHour), 2), "cm/h")
	t.Add("volume fraction of beads that arrive on the bed", number.Fixed(s.Solids, 3), "")
	t.Add("height of the bed", number.Fixed(s.Height.In(units.Centimetre), 2), "cm")
	t.Add("time until then", number.Fixed(s.Time.In(units.Minute), 1), "min")
	p.Table(t)
	p.List("Cautions", []string{
		"Beads are taken to be alike: fines take longer. Wait until the height is steady, not for this time.",
		"All times go with the inverse of the density excess, the least known number of a slurry.",
	})
	return p
}

// String returns the page as text.
func (s Sediment) String() string { return s.Page().String() }
