package geodesy

import "math"

const (
	degree = math.Pi / 180
	// tinyLength keeps the cosine of a reduced latitude positive at the poles; its square is the least normal number.
	tinyLength = 0x1p-511
)

// sumExact returns the rounded sum and what the rounding lost, a + b = sum + rest exactly (Knuth, TAOCP vol. 2, section 4.2.2,
// theorem B).
func sumExact(a, b float64) (sum, rest float64) {
	sum = a + b
	back := sum - b
	rest = (a - back) + (b - (sum - back))
	return sum, rest
}

// normaliseDeg reduces an angle to −180…180 exactly; ±180 keeps its sign.
func normaliseDeg(x float64) float64 {
	if math.Abs(x) <= 180 {
		return x
	}
	return math.Remainder(x, 360)
}

// azimuth360 maps −180…180 to 0…360, 360 itself excluded.
func azimuth360(azimuthDeg float64) float64 {
	if azimuthDeg < 0 {
		azimuthDeg += 360
	}
	if azimuthDeg == 0 || azimuthDeg >= 360 { // −0 and what rounds to 360
		return 0
	}
	return azimuthDeg
}

// roundSmallDeg rounds angles below 1/16° to a multiple of 2⁻⁵⁷ degree, 10⁻¹² m on the ground, so that no later product underflows.
func roundSmallDeg(x float64) float64 {
	const limit = 1.0 / 16
	y := math.Abs(x)
	if y < limit {
		y = limit - (limit - y)
	}
	return math.Copysign(y, x)
}

// differenceDeg returns to − from as an angle in −180…180 and the part that rounding lost from it: longitudes a hair's breadth
// apart keep every digit.
func differenceDeg(from, to float64) (diff, rest float64) {
	diff, rest = sumExact(-normaliseDeg(from), normaliseDeg(to))
	diff, rest = sumExact(normaliseDeg(diff), rest)
	if diff == 0 || math.Abs(diff) == 180 {
		// The sign says on which side of the meridian the line runs.
		sign := -rest
		if rest == 0 {
			sign = to - from
		}
		diff = math.Copysign(diff, sign)
	}
	return diff, rest
}

// sinCosDeg returns sine and cosine of x + rest degrees, |x| below 1e15. The reduction to ±45° is exact, so whole quadrants give
// exact 0 and ±1.
func sinCosDeg(x, rest float64) (sin, cos float64) {
	quadrant := math.RoundToEven(x / 90)
	reduced := x - float64(90*quadrant)
	if rest != 0 {
		reduced = roundSmallDeg(reduced + rest)
	}
	s, c := math.Sincos(reduced * degree)
	switch int64(quadrant) & 3 {
	case 0:
		return s, c
	case 1:
		return c, 0 - s
	case 2:
		return 0 - s, -c
	default:
		return -c, s
	}
}

// atan2Deg is math.Atan2 in degrees, with the arc tangent taken within ±45° so that angles next to 90° and 180° keep their digits.
func atan2Deg(y, x float64) float64 {
	swapped := math.Abs(y) > math.Abs(x)
	if swapped {
		x, y = y, x
	}
	behind := math.Signbit(x)
	if behind {
		x = -x
	}
	angle := y
	if x != 0 {
		angle = math.Atan(y/x) * (180 / math.Pi)
	}
	switch {
	case swapped && behind:
		return -90 + angle
	case swapped:
		return 90 - angle
	case behind:
		return math.Copysign(180, y) - angle
	}
	return angle
}

// unit scales (s, c) to length 1.
func unit(s, c float64) (float64, float64) {
	r := 1 / math.Sqrt(s*s+c*c)
	return s * r, c * r
}
