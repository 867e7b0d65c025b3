package efficiency

import "math"

// The coefficients of erfcx are those of erfc in FreeBSD's msun, s_erf.c, which
// come with this notice:
//
// ====================================================
// Copyright (C) 1993 by Sun Microsystems, Inc. All rights reserved.
//
// Developed at SunPro, a Sun Microsystems, Inc. business.
// Permission to use, copy, modify, and distribute this
// software is freely granted, provided that this notice
// is preserved.
// ====================================================
const (
	// From 1.25 to 1/0.35.
	ra0 = -9.86494403484714822705e-03
	ra1 = -6.93858572707181764372e-01
	ra2 = -1.05586262253232909814e+01
	ra3 = -6.23753324503260060396e+01
	ra4 = -1.62396669462573470355e+02
	ra5 = -1.84605092906711035994e+02
	ra6 = -8.12874355063065934246e+01
	ra7 = -9.81432934416914548592e+00
	sa1 = 1.96512716674392571292e+01
	sa2 = 1.37657754143519042600e+02
	sa3 = 4.34565877475229228821e+02
	sa4 = 6.45387271733267880336e+02
	sa5 = 4.29008140027567833386e+02
	sa6 = 1.08635005541779435134e+02
	sa7 = 6.57024977031928170135e+00
	sa8 = -6.04244152148580987438e-02
	// From 1/0.35 to 28.
	rb0 = -9.86494292470009928597e-03
	rb1 = -7.99283237680523006574e-01
	rb2 = -1.77579549177547519889e+01
	rb3 = -1.60636384855821916062e+02
	rb4 = -6.37566443368389627722e+02
	rb5 = -1.02509513161107724954e+03
	rb6 = -4.83519191608651397019e+02
	sb1 = 3.03380607434824582924e+01
	sb2 = 3.25792512996573918826e+02
	sb3 = 1.53672958608443695994e+03
	sb4 = 3.19985821950859553908e+03
	sb5 = 2.55305040643316442583e+03
	sb6 = 4.74528541206955367215e+02
	sb7 = -2.24409524465858183362e+01
)

// erfcx returns exp(x²) erfc(x), the scaled complementary error function, for x
// of zero or above, to a few units of the last digit.
//
// Up to 1.25 both factors are safe to multiply. From there to 28 the Gaussian
// in msun's erfc, exp(-x²-0.5625+R/S)/x, cancels against exp(x²); beyond, the
// six terms of the asymptotic series 1/(x√π) (1 - 1/(2x²) + 3/(4x⁴) - ...) are
// exact enough.
func erfcx(x float64) float64 {
	if x < 1.25 {
		return math.Exp(x*x) * math.Erfc(x)
	}
	s := 1 / (x * x)
	if x < 1/0.35 {
		r := ra0 + s*(ra1+s*(ra2+s*(ra3+s*(ra4+s*(ra5+s*(ra6+s*ra7))))))
		q := 1 + s*(sa1+s*(sa2+s*(sa3+s*(sa4+s*(sa5+s*(sa6+s*(sa7+s*sa8)))))))
		return math.Exp(r/q-0.5625) / x
	}
	if x < 28 {
		r := rb0 + s*(rb1+s*(rb2+s*(rb3+s*(rb4+s*(rb5+s*rb6)))))
		q := 1 + s*(sb1+s*(sb2+s*(sb3+s*(sb4+s*(sb5+s*(sb6+s*sb7))))))
		return math.Exp(r/q-0.5625) / x
	}
	h := s / 2
	return (1 - h*(1-3*h*(1-5*h*(1-7*h*(1-9*h*(1-11*h)))))) / (x * math.Sqrt(math.Pi))
}
