package zones

// WallSlit returns the share of a column's area and the velocity, relative to
// that of the bed, of an open slit all around at the wall:
//
//	a = 4 g/D (1 - g/D),  u_slit/u_bed = g²/(12 k),  k = d²ε³/(180 (1-ε)²)
//
// with slit g, column D and bead d in the same unit and the void ε of the bed. A
// real gap is neither open nor continuous: this is an upper bound.
//
// Source: laminar flow between plates, and Kozeny and Carman for the bed.
func WallSlit(column, slit, bead, void float64) (area, velocity float64) {
	part, k := slit/column, bead*bead*void*void*void/(180*(1-void)*(1-void))
	return 4 * part * (1 - part), slit * slit / (12 * k)
}
