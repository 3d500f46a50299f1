package sky

import "math"

// Refraction returns by how much the air lifts a body that stands at a true elevation; both in radians.
type Refraction func(trueElevationRad float64) (liftRad float64)

// heldBelowDeg is the true elevation that appears on the horizontal in standard air.
const heldBelowDeg = -0.575

// Saemundsson returns the refraction of air of a pressure (hPa) and temperature (°C) at the eye: R = 1.02′ P/1010 · 283/(273+T) /
// tan(h + 10.3/(h+5.11)), h the true elevation in degrees (Þ. Sæmundsson, Sky and Telescope 72 (1986) 70; Meeus 16.4). It agrees with Bennett
// within 0.07′. A closed formula holds only above the horizontal, where it stays within 1′ of tables; below a true elevation of −0.575°,
// that is an apparent one of 0, the value found there is kept: so it is continuous, but wrong, and a trace through layered air belongs
// in its place (see FromApparent).
func Saemundsson(pressureHPa, temperatureC float64) Refraction {
	scale := pressureHPa / 1010 * 283 / (273 + temperatureC)
	return func(trueElevationRad float64) float64 {
		h := max(trueElevationRad/radPerDeg, heldBelowDeg)
		arcmin := 1.02 / math.Tan((h+10.3/(h+5.11))*radPerDeg)
		return scale * max(0, arcmin) / 60 * radPerDeg // the formula is −0.1″ at the zenith
	}
}

// StandardRefraction is Saemundsson at 1010 hPa and 10 °C.
func StandardRefraction(trueElevationRad float64) float64 {
	return Saemundsson(1010, 10)(trueElevationRad)
}

// NoRefraction is straight light.
func NoRefraction(float64) float64 { return 0 }

// Bennett returns the refraction at an apparent elevation of 0 or more, in radians, at 1010 hPa and 10 °C: R = 1′/tan(h + 7.31/(h+4.4)),
// h in degrees (G. G. Bennett, Journal of Navigation 35 (1982) 255; Meeus 16.3).
func Bennett(apparentElevationRad float64) float64 {
	h := apparentElevationRad / radPerDeg
	return max(0, 1/math.Tan((h+7.31/(h+4.4))*radPerDeg)) / 60 * radPerDeg
}

// FromApparent turns a lift that is known by the apparent elevation, as from a ray traced out of the eye, into a Refraction. Apparent
// elevations below lowestRad take the lift found there. The true elevation must grow with the apparent one (no ducting) and the lift
// stay below 0.05 rad. It calls lift about six times.
func FromApparent(lift func(apparentElevationRad float64) (liftRad float64), lowestRad float64) Refraction {
	return func(trueElevationRad float64) float64 {
		excess := func(a float64) float64 { return a - lift(max(a, lowestRad)) - trueElevationRad }
		low, high := trueElevationRad, trueElevationRad+0.05
		return root(excess, point{low, excess(low)}, point{high, excess(high)}, 1e-10) - trueElevationRad
	}
}
