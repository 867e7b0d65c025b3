package packing

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/units"
)

// CompressionFactor returns settled over packed height, CF = L0/L. It refuses
// heights that no bed has, and a packed bed higher than the settled one: that
// bed had not settled.
func CompressionFactor(settled, packed units.Length) (float64, error) {
	for _, h := range []units.Length{settled, packed} {
		if err := CheckBedHeight(h); err != nil {
			return math.NaN(), err
		}
	}
	if packed > settled {
		return math.NaN(), &InputError{"", fmt.Sprintf("packed height %v", packed),
			fmt.Sprintf("is above the settled height %v", settled), "read the settled height after it has stopped falling"}
	}
	return settled.In(packed), nil
}

// CompressionOfSettled returns the height lost over the settled height,
// λ = (L0-L)/L0 = 1 - 1/CF, the form of Stickel and Fotopoulos (Biotechnol.
// Prog. 17 (2001) 740-751). People on the floor may mean this or
// CompressionOfPacked by "percent compression": ask.
func CompressionOfSettled(cf float64) float64 { return 1 - 1/cf }

// CompressionOfPacked returns the height lost over the packed height,
// (L0-L)/L = CF - 1, the form of Keener and co-workers (Biotechnol. Prog. 20
// (2004) 1146-1158).
func CompressionOfPacked(cf float64) float64 { return cf - 1 }

// ceilTenth rounds up to a tenth, so that a least value stays enough.
func ceilTenth(x float64) float64 { return math.Ceil(x*10-1e-6) / 10 }
