package efficiency

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// Resolution returns the resolution of two peaks by their widths at half height:
//
//	Rs = 1.18 (t2 - t1)/(w1 + w2)
//
// with t1 and t2 the times of the maxima and w1 and w2 those widths [s]. It
// holds for Gaussians. It returns NaN unless both widths are positive and t2 is
// not before t1.
//
// Source: USP General Chapter 621; Ph. Eur. 2.2.46.
func Resolution(first, firstWidth, second, secondWidth units.Time) float64 {
	if !(second >= first && firstWidth > 0 && secondWidth > 0) {
		return math.NaN()
	}
	return 1.18 * float64(second-first) / float64(firstWidth+secondWidth)
}

// PeakToValley returns the peak-to-valley ratio of two peaks that overlap:
//
//	p/v = Hp/Hv
//
// with Hp the height of the smaller peak and Hv that of the lowest point between
// both, above the baseline. It returns NaN unless both are positive.
//
// Source: Ph. Eur. 2.2.46, from memory.
func PeakToValley(peak, valley float64) float64 {
	if !(peak > 0 && valley > 0) {
		return math.NaN()
	}
	return peak / valley
}

// A Separation is how far two peaks stand apart.
type Separation struct {
	trace.Pair
	Axis trace.Axis
	// Resolution is NaN where the valley is above half the height of a peak.
	Resolution float64
	// PeakToValley is NaN where the valley is not above the baseline.
	PeakToValley float64
}

// Separate measures the highest peak of a trace and the one beside it that rises
// most above the valley between them, by least or more. Take the baseline away
// before, and smooth.
func Separate(net trace.Trace, least float64) (Separation, error) {
	pair, err := net.TwoPeaks(1, least)
	if err != nil {
		return Separation{}, err
	}
	return separation(pair, net.Axis()), nil
}

func separation(p trace.Pair, axis trace.Axis) Separation {
	return Separation{Pair: p, Axis: axis,
		Resolution:   Resolution(units.Time(p.First.X), units.Time(p.FirstHalf.Width()), units.Time(p.Second.X), units.Time(p.SecondHalf.Width())),
		PeakToValley: PeakToValley(math.Min(p.First.Height, p.Second.Height), p.Valley.Height)}
}

// Separation measures the two apexes of a peak that is split, in the signal as
// smoothed. A second apex counts if it rises above the valley by 2 % of the
// height and six times the noise, as for the warning; without one it is an
// error.
func (r PulseResult) Separation() (Separation, error) {
	if err := r.ready(); err != nil {
		return Separation{}, err
	}
	pair, err := r.calm.TwoPeaks(r.reach(), r.leastRise())
	if err != nil {
		return Separation{}, err
	}
	return separation(pair, r.Axis), nil
}

// Page shows both peaks and how far they stand apart.
func (s Separation) Page() page.Page {
	var p page.Page
	t := table.Table{Caption: "Two peaks", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "first"}, {Name: "second"}}}
	half := func(w trace.Width) string {
		if math.IsNaN(w.Width()) {
			return "not available: the valley lies above it"
		}
		return s.Axis.Show(w.Width())
	}
	t.Add("apex", s.Axis.Show(s.First.X), s.Axis.Show(s.Second.X))
	t.Add("height", number.Significant(s.First.Height, 4), number.Significant(s.Second.Height, 4))
	t.Add("width at half height", half(s.FirstHalf), half(s.SecondHalf))
	p.Table(t)
	p.Text(fmt.Sprintf("Valley %s high at %s. Resolution 1.18 (t2 - t1)/(w1 + w2): %s. Peak-to-valley ratio Hp/Hv: %s.",
		number.Significant(s.Valley.Height, 3), s.Axis.Show(s.Valley.X), number.Fixed(s.Resolution, 2), number.Fixed(s.PeakToValley, 1)))
	return p
}

// String returns the page as text.
func (s Separation) String() string { return s.Page().String() }
