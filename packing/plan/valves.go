package plan

import (
	"fmt"
	"strings"
)

// valves says which paths are open in a stage and which are shut. There is always
// one open: a column full of liquid with all paths shut bursts when it warms up.
type valves struct{ open, shut []string }

// open names the paths that are open throughout a stage and at its end.
func open(paths ...string) valves { return valves{open: paths} }

// but names the paths that are shut.
func (v valves) but(paths ...string) valves {
	v.shut = paths
	return v
}

func (v valves) String() string {
	s := "open: " + strings.Join(v.open, ", ")
	if len(v.shut) > 0 {
		s += "; shut: " + strings.Join(v.shut, ", ")
	}
	return s
}

// first is the line that is ticked before the adapter moves.
func (v valves) first() string {
	return fmt.Sprintf("☐ Path for the displaced liquid open: %s.\n", v.open[0])
}

// Paths.
const (
	inletFromPump  = "inlet from the pump"
	adapterVent    = "vent of the adapter"
	inletToDrain   = "inlet to the drain"
	outletToDrain  = "outlet to the drain"
	outletToPump   = "outlet to the suction of the pump"
	outletDetector = "outlet to the detector"
	openTop        = "top"
	outletPath     = "outlet"
	inletPath      = "inlet"
	reliefPath     = "pump line with its relief device or trip"
)
