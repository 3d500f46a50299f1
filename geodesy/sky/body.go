package sky

import "math"

// Body is the Sun or the Moon.
type Body int

// The bodies that a sightline may meet.
const (
	Sun Body = iota
	Moon
)

func (b Body) String() string {
	if b == Moon {
		return "moon"
	}
	return "sun"
}

const (
	astronomicalUnitM = 149597870700 // IAU 2012, resolution B2
	sunRadiusM        = 695.7e6      // nominal, IAU 2015, resolution B3
	moonRadiusM       = 1737.4e3     // mean, IAU working group on cartographic coordinates, 2015
)

func (b Body) radiusM() float64 {
	if b == Moon {
		return moonRadiusM
	}
	return sunRadiusM
}

// Geocentric is the apparent place of a body seen from the centre of the Earth, equinox and equator of date, light time and aberration
// applied; angles in radians.
type Geocentric struct {
	LongitudeRad, LatitudeRad float64 // ecliptic; longitude 0…2π
	RightAscensionRad         float64 // 0…2π
	DeclinationRad            float64
	DistanceM                 float64
	HorizontalParallaxRad     float64 // equatorial
	GreenwichHourAngleRad     float64 // westward, 0…2π
}

// Geocentric returns the apparent place of the body. Against an independent ephemeris at 10,000 instants between 1950 and 2100, with the
// same ΔT, the Sun differs by 2.3″ at most and the Moon by 16″.
func (b Body) Geocentric(at Instant) Geocentric {
	earth := earthAt(at)
	var g Geocentric
	if b == Moon {
		g.LongitudeRad, g.LatitudeRad, g.DistanceM = moonMeanEquinox(at.centuries())
	} else {
		g.LongitudeRad, g.LatitudeRad, g.DistanceM = sunMeanEquinox(at.centuries())
	}
	g.LongitudeRad = turn(g.LongitudeRad + earth.nutationRad)
	g.RightAscensionRad, g.DeclinationRad = earth.equatorial(g.LongitudeRad, g.LatitudeRad)
	g.HorizontalParallaxRad = math.Asin(6378140 / g.DistanceM) // IAU 1976, as in Meeus
	g.GreenwichHourAngleRad = turn(earth.siderealRad - g.RightAscensionRad)
	return g
}

// wave is one term of a series: amplitude × cos(phase + rate × t).
type wave struct{ amplitude, phase, rate float64 }

// sum returns Σ t^p Σ amplitude cos(phase + rate t), t in Julian millennia since J2000.0, in the table's unit of 1e-8.
func sum(series [][]wave, t float64) float64 {
	total := 0.0
	for p := len(series) - 1; p >= 0; p-- {
		row := 0.0
		for _, w := range series[p] {
			row += w.amplitude * math.Cos(w.phase+w.rate*t)
		}
		total = total*t + row
	}
	return total * 1e-8
}

// earthAround returns the heliocentric longitude and latitude of the Earth in radians and its distance from the Sun in astronomical
// units, mean equinox of date (series: see the tables), t in Julian centuries since J2000.0 TT.
func earthAround(t float64) (longitudeRad, latitudeRad, distanceAU float64) {
	return sum(earthLongitude, t/10), sum(earthLatitude, t/10), sum(earthDistance, t/10)
}

// sunMeanEquinox returns the geocentric place of the Sun with aberration, without nutation (Reda & Andreas, NREL/TP-560-34302, 2008,
// section 3.2 to 3.6).
func sunMeanEquinox(t float64) (longitudeRad, latitudeRad, distanceM float64) {
	l, b, r := earthAround(t)
	return l + math.Pi - 20.4898*radPerArcsec/r, -b, r * astronomicalUnitM
}

// moonMeanEquinox returns the geocentric place of the Moon with the effect of light time, without nutation (Meeus, Astronomical
// Algorithms, 2nd ed., chapter 47); he gives its error as 10″ in longitude and 4″ in latitude.
func moonMeanEquinox(t float64) (longitudeRad, latitudeRad, distanceM float64) {
	mean := polynomial(t, 218.3164477, 481267.88123421, -0.0015786, 1./538841, -1./65194000) * radPerDeg
	arguments := [4]float64{
		polynomial(t, 297.8501921, 445267.1114034, -0.0018819, 1./545868, -1./113065000) * radPerDeg, // D
		polynomial(t, 357.5291092, 35999.0502909, -0.0001536, 1./24490000) * radPerDeg,               // M
		polynomial(t, 134.9633964, 477198.8675055, 0.0087414, 1./69699, -1./14712000) * radPerDeg,    // M′
		polynomial(t, 93.2720950, 483202.0175233, -0.0036539, -1./3526000, 1./863310000) * radPerDeg, // F
	}
	anomaly, latitude := arguments[2], arguments[3]
	venus, jupiter, flat := (119.75+131.849*t)*radPerDeg, (53.09+479264.290*t)*radPerDeg, (313.45+481266.484*t)*radPerDeg
	e := polynomial(t, 1, -0.002516, -0.0000074)
	weight := [3]float64{1, e, e * e} // the eccentricity of the Earth's orbit shrinks the terms of M
	angle := func(multiples []float64) (rad, factor float64) {
		for i, m := range multiples {
			rad += m * arguments[i]
		}
		return rad, weight[int(math.Abs(multiples[1]))]
	}
	sumL := 3958*math.Sin(venus) + 1962*math.Sin(mean-latitude) + 318*math.Sin(jupiter)
	sumB := -2235*math.Sin(mean) + 382*math.Sin(flat) + 175*math.Sin(venus-latitude) + 175*math.Sin(venus+latitude) +
		127*math.Sin(mean-anomaly) - 115*math.Sin(mean+anomaly)
	sumR := 0.0
	for i := range moonLongitudeDistance {
		term := &moonLongitudeDistance[i]
		rad, factor := angle(term[:4])
		s, c := math.Sincos(rad)
		sumL += factor * term[4] * s
		sumR += factor * term[5] * c
	}
	for i := range moonLatitude {
		term := &moonLatitude[i]
		rad, factor := angle(term[:4])
		sumB += factor * term[4] * math.Sin(rad)
	}
	return turn(mean) + sumL*1e-6*radPerDeg, sumB * 1e-6 * radPerDeg, 385000560 + sumR
}
