package light

import "math"

// Koschmieder's constant ln(1/0.02): a black object against the sky is seen down to a contrast of 2 % (AMS Glossary, meteorological range).
const koschmieder = 3.912

const (
	// Clean air at sea level scatters 0.012 per km at 550 nm and thins with the density scale height of 8 km; haze stays low, with
	// 1.5 km (common practice, no source).
	airPerM, airScaleM = 0.012e-3, 8000
	hazeScaleM         = 1500
)

// Haze is air that dims a far target: clean air, and haze for the meteorological range at sea level.
type Haze struct {
	// VisualRangeM is the meteorological range at sea level, above 0; clean air alone has 326 km.
	VisualRangeM float64
}

// Depths are the optical depths of a path through clean air, and through haze of unit extinction (1/m) at sea level.
type Depths struct {
	Air, HazeM float64
}

// Path integrates the air along a ray of the given length whose height over the sea, in metres, is heightM(x) at distance x. Simpson's rule
// on 32 intervals; heights below the sea count as at it.
func Path(lengthM float64, heightM func(x float64) float64) Depths {
	const intervals = 32
	var d Depths
	for i := 0; i <= intervals; i++ {
		weight := 2.0
		switch {
		case i == 0 || i == intervals:
			weight = 1
		case i%2 == 1:
			weight = 4
		}
		h := math.Max(heightM(lengthM*float64(i)/intervals), 0)
		d.Air += weight * airPerM * math.Exp(-h/airScaleM)
		d.HazeM += weight * math.Exp(-h/hazeScaleM)
	}
	scale := lengthM / intervals / 3
	d.Air *= scale
	d.HazeM *= scale
	return d
}

// Contrast is what is left of the contrast of a black target against the sky, in 0…1: exp(−∫σ dx) (H. Koschmieder 1924).
func (h Haze) Contrast(d Depths) float64 {
	haze := math.Max(koschmieder/h.VisualRangeM-airPerM, 0)
	return math.Exp(-d.Air - haze*d.HazeM)
}

// VisualRangeNeededM is the meteorological range at sea level from which on a path leaves 2 % of contrast; +Inf where even clean air leaves
// less.
func VisualRangeNeededM(d Depths) float64 {
	left := koschmieder - d.Air
	if left <= 0 {
		return math.Inf(1)
	}
	return koschmieder / (airPerM + left/d.HazeM)
}
