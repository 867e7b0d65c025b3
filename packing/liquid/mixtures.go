package liquid

import (
	"math"

	"gonum.org/v1/gonum/interp"
)

// A salt has the coefficients of Laliberté's equations and their ranges in °C
// and mass fraction. Sources: M. Laliberté, J. Chem. Eng. Data 52 (2007) 321-335
// (viscosity), M. Laliberté and W. E. Cooper, J. Chem. Eng. Data 49 (2004)
// 1141-1151 (density), coefficients of M. Laliberté, J. Chem. Eng. Data 54 (2009)
// 1725-1760.
type salt struct {
	molarMass                                  float64 // kg/mol
	v                                          [6]float64
	viscosityLow, viscosityHigh, viscosityMost float64
	c                                          [5]float64
	densityLow, densityHigh, densityMost       float64
}

// salts by their substance. Molar masses: IUPAC standard atomic weights, abridged.
var salts = map[substance]salt{
	sodiumChloride: {58.443e-3,
		[6]float64{16.221788633396, 1.32293086770011, 1.48485985010431, 0.00746912559657377, 30.7802007540575, 2.05826852322558},
		5, 154, 0.264,
		[5]float64{-0.00324112223655149, 0.0636354335906616, 1.01371399467365, 0.0145951015210159, 3317.34854426537},
		0, 140, 0.266},
	sodiumHydroxide: {39.997e-3,
		[6]float64{448.457566713375, 0.00871452408983102, -431.97212334697, 0.0160144202049452, 104.011738670148, 4.64493684488816},
		12.5, 70, 0.40, // the table ends there
		[5]float64{319.020509469838, 528.592358475315, -0.102197896602724, 0.000350420706415566, 765.970470238438},
		4, 120, 0.56},
	sodiumSulfate: {142.04e-3,
		[6]float64{26.519030558821, 1.57461388862123, 3.49662845657778, 0.0103879555384097, 106.225284686677, 2.97377111982723},
		15, 150, 0.331,
		[5]float64{0.00000445025449497252, 0.00000912086519621226, 0.0840358370073922, 0.00465767525381795, 4349.50513887423},
		0, 125, 0.331},
}

// viscosity returns mPa·s at the mass fraction w and t °C,
//
//	ln µ = (1-w)·ln µw + w·ln µs
//	µw = (t+246)/((0.05594 t + 5.2842)·t + 137.37)
//	µs = exp[(v1·w^v2 + v3)/(v4·t + 1)]/(v5·w^v6 + 1)
func (s salt) viscosity(w, t float64) float64 {
	lnWater := math.Log((t + 246) / ((0.05594*t+5.2842)*t + 137.37))
	if w == 0 {
		return math.Exp(lnWater)
	}
	v := s.v
	lnSolute := (v[0]*math.Pow(w, v[1])+v[2])/(v[3]*t+1) - math.Log1p(v[4]*math.Pow(w, v[5]))
	return math.Exp((1-w)*lnWater + w*lnSolute)
}

// density returns kg/m³ at the mass fraction w and t °C,
//
//	1/ρ = (1-w)/ρw + w/ρs
//	ρw = (((((-2.8054253e-10 t + 1.0556302e-7)·t - 4.6170461e-5)·t - 0.0079870401)·t + 16.945176)·t + 999.83952)/(1 + 0.01687985 t)
//	ρs = (c0·w + c1)·exp[1e-6·(t + c4)²]/(w + c2 + c3·t)
func (s salt) density(w, t float64) float64 {
	pure := (((((-2.8054253e-10*t+1.0556302e-7)*t-4.6170461e-5)*t-0.0079870401)*t+16.945176)*t + 999.83952) / (1 + 0.01687985*t)
	c := s.c
	solute := (c[0]*w + c[1]) * math.Exp(1e-6*(t+c[4])*(t+c[4])) / (w + c[2] + c[3]*t)
	return 1 / ((1-w)/pure + w/solute)
}

// pureEthanol is the density of ethanol at 20 °C by ethanolDensity, kg/m³.
var pureEthanol = ethanolDensity(1, 20)

// ethanolDensity returns kg/m³ of ethanol and water at the mass fraction w and
// t °C, with τ = t - 20,
//
//	ρ = Σ Ak·w^(k-1) + Σ Bk·τ^k + Σ Σ Cik·w^k·τ^i
//
// It holds from -20 to 40 °C where the mixture is liquid. Source: OIML R 22
// (1975), international alcoholometric tables.
func ethanolDensity(w, t float64) float64 {
	τ := t - 20
	sum := polynomial(w, 9.982012300e2, -1.929769495e2, 3.891238958e2, -1.668103923e3, 1.352215441e4, -8.829278388e4,
		3.062874042e5, -6.138381234e5, 7.470172998e5, -5.478461354e5, 2.234460334e5, -3.903285426e4)
	sum += polynomial(τ, 0, -2.0618513e-1, -5.2682542e-3, 3.6130013e-5, -3.8957702e-7, 7.1693540e-9, -9.9739231e-11)
	return sum + polynomial(τ, 0,
		polynomial(w, 0, 1.693443461530087e-1, -1.046914743455169e1, 7.196353469546523e1, -7.047478054272792e2, 3.924090430035045e3,
			-1.210164659068747e4, 2.248646550400788e4, -2.605562982188164e4, 1.852373922069467e4, -7.420201433430137e3, 1.285617841998974e3),
		polynomial(w, 0, -1.193013005057010e-2, 2.517399633803461e-1, -2.170575700536993, 1.353034988843029e1, -5.029988758547014e1,
			1.096355666577570e2, -1.422753946421155e2, 1.080435942856230e2, -4.414153236817392e1, 7.442971530188783),
		polynomial(w, 0, -6.802995733503803e-4, 1.876837790289664e-2, -2.002561813734156e-1, 1.022992966719220, -2.895696483903638,
			4.810060584300675, -4.672147440794683, 2.458043105903461, -5.411227621436812e-1),
		polynomial(w, 0, 4.075376675622027e-6, -8.763058573471110e-6, 6.515031360099368e-6, -1.515784836987210e-6),
		polynomial(w, 0, -2.788074354782409e-8, 1.345612883493354e-8))
}

// polynomial returns c0 + c1·x + c2·x² + ...
func polynomial(x float64, c ...float64) float64 {
	sum := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		sum = sum*x + c[i]
	}
	return sum
}

// ethanolTable holds mPa·s of ethanol and water at 0, 10 ... 70 °C, in each row
// at 0, 10 ... 100 % ethanol by mass. Source: E. C. Bingham and R. F. Jackson,
// Bull. Bur. Stand. 14 (1918) 59-86.
var ethanolTable = [8][11]float64{
	{1.792, 3.311, 5.319, 6.94, 7.14, 6.58, 5.75, 4.762, 3.69, 2.732, 1.773},
	{1.308, 2.179, 3.165, 4.05, 4.39, 4.18, 3.77, 3.268, 2.71, 2.101, 1.466},
	{1.005, 1.538, 2.183, 2.71, 2.91, 2.87, 2.67, 2.37, 2.008, 1.61, 1.2},
	{0.801, 1.16, 1.553, 1.87, 2.02, 2.02, 1.93, 1.767, 1.531, 1.279, 1.003},
	{0.656, 0.907, 1.16, 1.368, 1.482, 1.499, 1.447, 1.344, 1.203, 1.035, 0.834},
	{0.549, 0.734, 0.907, 1.05, 1.132, 1.155, 1.127, 1.062, 0.968, 0.848, 0.702},
	{0.469, 0.609, 0.736, 0.834, 0.893, 0.913, 0.902, 0.856, 0.789, 0.704, 0.592},
	{0.406, 0.514, 0.608, 0.683, 0.727, 0.74, 0.729, 0.695, 0.65, 0.589, 0.504},
}

// ethanolViscosity returns mPa·s of ethanol and water at the mass fraction w and
// t °C: cubic splines through the logarithms of the table, first along the
// composition, then along the temperature.
func ethanolViscosity(w, t float64) float64 {
	var column [len(ethanolTable)]float64
	var row [len(ethanolTable[0])]float64
	for i := range ethanolTable {
		for j, µ := range ethanolTable[i] {
			row[j] = math.Log(µ)
		}
		column[i] = spline(row[:], w*10)
	}
	return math.Exp(spline(column[:], t/10))
}

// hydroxideTable holds mPa·s of sodium hydroxide at 20 °C, by percent of the mass.
// Source: CRC Handbook of Chemistry and Physics, 102nd edition (2021),
// concentrative properties of aqueous solutions, after A. V. Wolf (1966).
var hydroxideTable = struct{ percent, viscosity []float64 }{
	[]float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20,
		22, 24, 26, 28, 30, 32, 34, 36, 38, 40},
	[]float64{1.002, 1.054, 1.112, 1.176, 1.248, 1.329, 1.416, 1.51, 1.616, 1.737, 1.882, 2.039, 2.201, 2.376, 2.568, 2.789, 3.043, 3.344, 3.698, 4.119, 4.619,
		5.765, 7.11, 8.744, 10.832, 13.517, 16.844, 20.751, 25.29, 30.461, 36.312},
}

// hydroxideViscosity returns mPa·s of sodium hydroxide at the mass fraction w and
// t °C: a cubic spline through the logarithms of the table at 20 °C, carried to
// t by Laliberté's equation, which alone is up to 9 % too low below 12 %.
func hydroxideViscosity(w, t float64) float64 {
	y := make([]float64, len(hydroxideTable.viscosity))
	for i, µ := range hydroxideTable.viscosity {
		y[i] = math.Log(µ)
	}
	s := salts[sodiumHydroxide]
	return math.Exp(through(hydroxideTable.percent, y, 100*w)) * s.viscosity(w, t) / s.viscosity(w, 20)
}

// spline interpolates values given at 0, 1, 2 ... by a cubic spline whose outer
// two pieces are one cubic.
func spline(y []float64, at float64) float64 {
	x := make([]float64, len(y))
	for i := range x {
		x[i] = float64(i)
	}
	return through(x, y, at)
}

// through interpolates values y given at x by the same spline.
func through(x, y []float64, at float64) float64 {
	var s interp.NotAKnotCubic
	if err := s.Fit(x, y); err != nil {
		panic("liquid: a table could not be interpolated: " + err.Error())
	}
	return s.Predict(at)
}

// glycerolViscosity returns mPa·s of glycerol and water at the mass fraction w
// and t °C,
//
//	µ = µw^α·µg^(1-α),  α = 1 - w + a·b·w·(1-w)/(a·w + b·(1-w))
//	µw = 1.790·exp[(-1230-t)·t/(36100+360 t)],  µg = 12100·exp[(-1233+t)·t/(9900+70 t)]
//	a = 0.705 - 0.0017 t,  b = (4.9 + 0.036 t)·a^2.5
//
// Source: N.-S. Cheng, Ind. Eng. Chem. Res. 47 (2008) 3285-3288.
func glycerolViscosity(w, t float64) float64 {
	a := 0.705 - 0.0017*t
	b := (4.9 + 0.036*t) * math.Pow(a, 2.5)
	α := 1 - w + a*b*w*(1-w)/(a*w+b*(1-w))
	lnWater := math.Log(1.790) + (-1230-t)*t/(36100+360*t)
	lnGlycerol := math.Log(12100) + (-1233+t)*t/(9900+70*t)
	return math.Exp(α*lnWater + (1-α)*lnGlycerol)
}

// glycerolDensity returns kg/m³ of glycerol and water at the mass fraction w and
// t °C: that of the volumes added, times a contraction,
//
//	κ = 1 + (1.78e-6 t² - 1.82e-4 t + 1.41e-2)·sin(π·w^1.31)^0.81
//	ρg = 1273.3 - 0.6121 t,  ρw = 1000·(1 - |(t-3.98)/615|^1.71)
//
// Source: A. Volk and C. J. Kähler, Exp. Fluids 59 (2018) 75.
func glycerolDensity(w, t float64) float64 {
	pure := 1273.3 - 0.6121*t
	water := 1000 * (1 - math.Pow(math.Abs((t-3.98)/615), 1.71))
	added := 1 / (w/pure + (1-w)/water)
	sine := math.Max(0, math.Sin(math.Pi*math.Pow(w, 1.31))) // rounding leaves a negative one at w = 1
	return added * (1 + (1.78e-6*t*t-1.82e-4*t+1.41e-2)*math.Pow(sine, 0.81))
}
