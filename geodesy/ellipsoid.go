package geodesy

import "math"

// LatLon is a geographic position on the ellipsoid, in degrees: latitude −90…90 north, longitude east of the prime meridian.
// Longitudes outside −180…180 are understood by every function here and normalised in every result.
type LatLon struct {
	LatDeg, LonDeg float64
}

// Vector is a place or direction in Earth-centred, Earth-fixed axes, in metres where it is a place.
type Vector struct {
	X, Y, Z float64
}

// Sub returns v − w.
func (v Vector) Sub(w Vector) Vector { return Vector{v.X - w.X, v.Y - w.Y, v.Z - w.Z} }

// Add returns v + w.
func (v Vector) Add(w Vector) Vector { return Vector{v.X + w.X, v.Y + w.Y, v.Z + w.Z} }

// Scale returns f·v.
func (v Vector) Scale(f float64) Vector { return Vector{f * v.X, f * v.Y, f * v.Z} }

// Dot returns the scalar product.
func (v Vector) Dot(w Vector) float64 { return v.X*w.X + v.Y*w.Y + v.Z*w.Z }

// Norm returns the length of v.
func (v Vector) Norm() float64 { return math.Sqrt(v.Dot(v)) }

// Ellipsoid is an oblate or slightly prolate ellipsoid of revolution. It never changes after NewEllipsoid and is safe for
// concurrent use.
type Ellipsoid struct {
	a, f, f1, b float64 // semi-major axis, flattening, 1 − f, semi-minor axis
	n, e2, ep2  float64 // third flattening, first and second eccentricity squared
	shortArc    float64 // arcs below it (radians) are great circles to 10⁻¹⁶
	longitude   longitudeSeries
}

// WGS84 is the World Geodetic System 1984 (NIMA TR8350.2, table 3.1).
var WGS84 = NewEllipsoid(6378137, 1/298.257223563)

// NewEllipsoid returns the ellipsoid with the given semi-major (equatorial) axis in metres and flattening (a − b)/a. Geodesics keep
// full precision for |flattening| up to 1/150 and lose it slowly beyond; negative flattening is prolate.
func NewEllipsoid(semiMajorM, flattening float64) *Ellipsoid {
	e := &Ellipsoid{a: semiMajorM, f: flattening, f1: 1 - flattening}
	e.b = e.a * e.f1
	e.n = e.f / (2 - e.f)
	e.e2 = e.f * (2 - e.f)
	e.ep2 = e.e2 / square(e.f1)
	e.shortArc = 0.1 * sqrtUlp / math.Sqrt(max(0.001, math.Abs(e.f))*min(1, 1-e.f/2)/2)
	e.longitude = newLongitudeSeries(e.n)
	return e
}

// SemiMajorM returns the semi-major axis in metres.
func (e *Ellipsoid) SemiMajorM() float64 { return e.a }

// Flattening returns (a − b)/a.
func (e *Ellipsoid) Flattening() float64 { return e.f }

// MeridianRadiusM returns the radius of curvature along the meridian, M = a(1−e²)/(1−e² sin²φ)^(3/2) (Meeus,
// Astronomical Algorithms, chapter 11). Latitude −90…90 degrees, as in the functions below.
func (e *Ellipsoid) MeridianRadiusM(latDeg float64) float64 {
	w := e.w(latDeg)
	return e.a * (1 - e.e2) / (w * w * w)
}

// PrimeVerticalRadiusM returns the radius of curvature across the meridian, N = a/(1−e² sin²φ)^(1/2).
func (e *Ellipsoid) PrimeVerticalRadiusM(latDeg float64) float64 { return e.a / e.w(latDeg) }

// EulerRadiusM returns the radius of curvature in azimuth azimuthDeg (degrees), 1/R = cos²α/M + sin²α/N (Euler 1767).
func (e *Ellipsoid) EulerRadiusM(latDeg, azimuthDeg float64) float64 {
	w := e.w(latDeg)
	s, c := sinCosDeg(normaliseDeg(azimuthDeg), 0)
	return e.a / w * (1 - e.e2) / (c*c*w*w + s*s*(1-e.e2))
}

func (e *Ellipsoid) w(latDeg float64) float64 {
	s, _ := sinCosDeg(latDeg, 0)
	return math.Sqrt(1 - e.e2*s*s)
}

// ToCartesian returns the place heightM metres above the ellipsoid over p in Earth-centred, Earth-fixed metres (IOGP Guidance Note
// 7-2, method 9602).
func (e *Ellipsoid) ToCartesian(p LatLon, heightM float64) Vector {
	sinP, cosP := sinCosDeg(p.LatDeg, 0)
	sinL, cosL := sinCosDeg(normaliseDeg(p.LonDeg), 0)
	n := e.a / math.Sqrt(1-e.e2*sinP*sinP)
	across := (n + heightM) * cosP
	return Vector{across * cosL, across * sinL, (n*(1-e.e2) + heightM) * sinP}
}

// ToGeodetic returns the position and the height over the ellipsoid in metres of an Earth-centred, Earth-fixed place. It inverts
// ToCartesian to a few roundings, 5·10⁻⁹ m, for heights within 10⁶ m of the surface. Deeper, it returns the nearest point of the
// surface. On the axis the longitude is 0, and at the centre of an oblate ellipsoid the latitude is 90.
//
// Two rounds of the iteration of B. R. Bowring, Survey Review 23 (1976) 323, from the start of his note in Survey Review 28 (1985)
// 202: within 10⁶ m of the surface one round leaves at most 5 µm in latitude, two leave rounding alone.
func (e *Ellipsoid) ToGeodetic(v Vector) (p LatLon, heightM float64) {
	axis := math.Sqrt(v.X*v.X + v.Y*v.Y)
	r := math.Sqrt(axis*axis + v.Z*v.Z)
	if axis > 0 {
		p.LonDeg = atan2Deg(v.Y, v.X)
	}
	var s, c float64
	if r < 0.8*e.b {
		s, c = e.nearest(axis, v.Z)
	} else {
		s, c = unit(e.f1*v.Z*(r+e.ep2*e.b), axis*r)
		num, den := v.Z+e.ep2*e.b*s*s*s, axis-e.e2*e.a*c*c*c
		s, c = unit(e.f1*num, den)
		s, c = v.Z+e.ep2*e.b*s*s*s, axis-e.e2*e.a*c*c*c
	}
	p.LatDeg = atan2Deg(s, c)
	s, c = unit(s, c)
	// Bowring 1985: an error of the latitude enters this height only squared.
	return p, axis*c + v.Z*s - e.a*math.Sqrt(1-e.e2*s*s)
}

// nearest returns the direction of the normal (sine and cosine of the latitude, not normalised) at the surface point nearest to a
// place axis metres from the axis and z above the equator. It bisects, and holds for every place (D. Eberly, Distance from a point
// to an ellipse, an ellipsoid, or a hyperellipsoid, Geometric Tools 2013).
func (e *Ellipsoid) nearest(axis, z float64) (sin, cos float64) {
	if e.f < 0 {
		across, along := nearestOnEllipse(e.b, e.a, math.Abs(z), axis)
		return math.Copysign(across, z), along
	}
	along, across := nearestOnEllipse(e.a, e.b, axis, math.Abs(z))
	return math.Copysign(across, z), along
}

// nearestOnEllipse returns the components of the normal along the axes at the point of an ellipse with semi-axes major ≥ minor
// that is nearest to (x, y) in the first quadrant.
func nearestOnEllipse(major, minor, x, y float64) (nx, ny float64) {
	u, w := x/major, y/minor
	if w == 0 {
		if evolute := major*major - minor*minor; major*x < evolute {
			q := major * x / evolute
			return q / major, math.Sqrt(1-q*q) / minor
		}
		return 1, 0
	}
	// A root t in (0, high] of (u·ratio/(t+excess))² + (w/t)² = 1; the foot of the normal is (x·ratio/(t+excess), y/t).
	excess := (major - minor) * (major + minor) / (minor * minor)
	ratio := 1 + excess
	low, high := w, math.Sqrt(square(ratio*u)+w*w)
	for {
		t := (low + high) / 2
		if t <= low || t >= high {
			return x / (t + excess), y / t
		}
		if square(ratio*u/(t+excess))+square(w/t) > 1 {
			low = t
		} else {
			high = t
		}
	}
}
