package sky

import (
	"fmt"
	"math"

	"farstation/geodesy"
)

// Observer is an eye on the Earth and the air through which it looks at the sky.
type Observer struct {
	Position   geodesy.LatLon
	HeightM    float64    // over the ellipsoid; 100 m move the Moon by 0.05″ at most
	Refraction Refraction // nil: StandardRefraction
}

// Place is where a body stands for an observer; angles in radians.
type Place struct {
	AzimuthRad           float64 // from north through east, 0 ≤ azimuth < 2π; at a pole, as just beside it on the observer's meridian
	ElevationRad         float64 // of the centre over the horizontal, parallax included, without refraction
	ApparentElevationRad float64 // with the observer's refraction
	SemidiameterRad      float64
	DistanceM            float64 // from the observer
}

// Place returns where the body stands at an instant.
func (o Observer) Place(b Body, at Instant) Place {
	p := newStation(o).place(b, at)
	p.ApparentElevationRad = p.ElevationRad + o.lift(p.ElevationRad)
	return p
}

func (o Observer) lift(trueElevationRad float64) float64 {
	if o.Refraction == nil {
		return StandardRefraction(trueElevationRad)
	}
	return o.Refraction(trueElevationRad)
}

func (o Observer) check() error {
	if !(math.Abs(o.Position.LatDeg) <= 90) || math.IsNaN(o.Position.LonDeg) || math.IsInf(o.Position.LonDeg, 0) {
		return fmt.Errorf("sky: no observer at latitude %g, longitude %g", o.Position.LatDeg, o.Position.LonDeg)
	}
	if !(math.Abs(o.HeightM) <= 1e5) {
		return fmt.Errorf("sky: no observer at a height of %g m: give metres over the sea", o.HeightM)
	}
	return nil
}

// station is an observer's place and axes in Earth-fixed coordinates.
type station struct {
	at, east, north, up geodesy.Vector
}

func newStation(o Observer) station {
	lat, lon := o.Position.LatDeg*radPerDeg, o.Position.LonDeg*radPerDeg
	s := station{at: geodesy.WGS84.ToCartesian(o.Position, o.HeightM)}
	s.east, s.up, s.north = direction(lon+math.Pi/2, 0), direction(lon, lat), direction(lon, lat+math.Pi/2)
	return s
}

// place leaves the apparent elevation at 0.
func (s station) place(b Body, at Instant) Place {
	g := b.Geocentric(at)
	v := direction(-g.GreenwichHourAngleRad, g.DeclinationRad).Scale(g.DistanceM).Sub(s.at)
	p := Place{DistanceM: v.Norm()}
	p.AzimuthRad, p.ElevationRad = s.horizontal(v)
	p.SemidiameterRad = math.Asin(b.radiusM() / p.DistanceM)
	return p
}

// horizontal returns azimuth and elevation of an Earth-fixed direction.
func (s station) horizontal(v geodesy.Vector) (azimuthRad, elevationRad float64) {
	e, n := v.Dot(s.east), v.Dot(s.north)
	return turn(math.Atan2(e, n)), math.Atan2(v.Dot(s.up), math.Hypot(e, n))
}

// SeparationRad returns the angle between two directions given by azimuth and elevation, or right ascension and declination; exact
// from 0 to π (T. Vincenty, Survey Review 23 (1975) 88, equation 1 to 3 on the sphere).
func SeparationRad(azimuth1Rad, elevation1Rad, azimuth2Rad, elevation2Rad float64) float64 {
	s1, c1 := math.Sincos(elevation1Rad)
	s2, c2 := math.Sincos(elevation2Rad)
	s, c := math.Sincos(azimuth2Rad - azimuth1Rad)
	return math.Atan2(math.Hypot(c2*s, c1*s2-s1*c2*c), s1*s2+c1*c2*c)
}

// bearing returns the angle at the first direction from the pole (the zenith) towards the second, in the sense of growing azimuth or
// right ascension, 0 to 2π.
func bearing(azimuth1Rad, elevation1Rad, azimuth2Rad, elevation2Rad float64) float64 {
	s1, c1 := math.Sincos(elevation1Rad)
	s2, c2 := math.Sincos(elevation2Rad)
	s, c := math.Sincos(azimuth2Rad - azimuth1Rad)
	return turn(math.Atan2(c2*s, c1*s2-s1*c2*c))
}
