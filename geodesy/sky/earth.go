package sky

import (
	"math"

	"farstation/geodesy"
)

// orientation is how the Earth stands at an instant, in radians.
type orientation struct {
	nutationRad  float64 // in longitude
	obliquityRad float64 // true
	meanRad      float64 // Greenwich mean sidereal time, not reduced to one turn
	siderealRad  float64 // Greenwich apparent sidereal time, not reduced to one turn
}

// earthAt sums nutation (Meeus, Astronomical Algorithms, 2nd ed., chapter 22; IAU 1980), the obliquity of J. Laskar (Astronomy and
// Astrophysics 157 (1986) 59; Meeus 22.3) and sidereal time (IAU 1982; Meeus 12.4).
func earthAt(at Instant) orientation {
	t := at.centuries()
	arguments := [5]float64{
		polynomial(t, 297.85036, 445267.111480, -0.0019142, 1./189474), // D
		polynomial(t, 357.52772, 35999.050340, -0.0001603, -1./300000), // M
		polynomial(t, 134.96298, 477198.867398, 0.0086972, 1./56250),   // M′
		polynomial(t, 93.27191, 483202.017538, -0.0036825, 1./327270),  // F
		polynomial(t, 125.04452, -1934.136261, 0.0020708, 1./450000),   // Ω
	}
	var longitude, obliquity float64
	for _, term := range nutationTerms {
		angleDeg := 0.0
		for i, a := range arguments {
			angleDeg += term[i] * a
		}
		s, c := math.Sincos(angleDeg * radPerDeg)
		longitude += s * (term[5] + t*term[6])
		obliquity += c * (term[7] + t*term[8])
	}
	const unit = 1e-4 * radPerArcsec
	mean := polynomial(t/100, 84381.448, -4680.93, -1.55, 1999.25, -51.38, -249.67, -39.05, 7.12, 27.87, 5.79, 2.45) * radPerArcsec
	o := orientation{nutationRad: longitude * unit, obliquityRad: mean + obliquity*unit}
	ut := at.utDays / centuryD
	// The whole turns of 360° a day are left out before they cost digits.
	o.meanRad = (280.46061837 + 360*(at.utDays-math.Floor(at.utDays)) + 0.98564736629*at.utDays + ut*ut*(0.000387933-ut/38710000)) * radPerDeg
	o.siderealRad = o.meanRad + o.nutationRad*math.Cos(o.obliquityRad)
	return o
}

// SiderealRad returns Greenwich apparent sidereal time in radians, 0 to 2π.
func SiderealRad(at Instant) float64 { return turn(earthAt(at).siderealRad) }

// equatorial turns ecliptic longitude and latitude of date into right ascension and declination (Meeus 13.3, 13.4), through their
// vector, which knows no pole.
func (o orientation) equatorial(longitudeRad, latitudeRad float64) (ascensionRad, declinationRad float64) {
	v := direction(longitudeRad, latitudeRad)
	s, c := math.Sincos(o.obliquityRad)
	v.Y, v.Z = v.Y*c-v.Z*s, v.Y*s+v.Z*c
	return turn(math.Atan2(v.Y, v.X)), math.Atan2(v.Z, math.Hypot(v.X, v.Y))
}

// direction returns the unit vector at an angle round the third axis and an angle over the plane of the other two.
func direction(roundRad, overRad float64) geodesy.Vector {
	sr, cr := math.Sincos(roundRad)
	so, co := math.Sincos(overRad)
	return geodesy.Vector{X: co * cr, Y: co * sr, Z: so}
}

// turn reduces an angle to [0, 2π).
func turn(rad float64) float64 {
	r := math.Mod(rad, 2*math.Pi)
	if r < 0 {
		r += 2 * math.Pi
	}
	if r >= 2*math.Pi { // a tiny negative angle rounds up to a whole turn
		return 0
	}
	return r
}

// halfTurn reduces an angle to [−π, π).
func halfTurn(rad float64) float64 { return turn(rad+math.Pi) - math.Pi }
