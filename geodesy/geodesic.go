package geodesy

import "math"

// Arc is the shortest geodesic between two points.
type Arc struct {
	DistanceM      float64 // along the ellipsoid
	AzimuthDeg     float64 // at the start towards the end, 0…360 clockwise from north
	EndAzimuthDeg  float64 // at the end, onwards: the forward azimuth there, 0…360
	ArcDeg         float64 // arc on the auxiliary sphere, 0…180
	ReducedLengthM float64 // sideways shift at the end for each radian turned at the start
}

// BackAzimuthDeg returns the azimuth at the end towards the start, 0…360 degrees.
func (a Arc) BackAzimuthDeg() float64 {
	back := a.EndAzimuthDeg + 180
	if back >= 360 {
		back -= 360
	}
	return back
}

// Inverse returns the shortest geodesic from from to to, after C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013)
// 43–55. Its distance is good to 15 nm on Earth-like ellipsoids for every pair of points, near-antipodal ones included (worst of the
// 10,000 lines of the paper's test set: 7.5 nm).
//
// Conventions: between coincident points all is 0. At a pole the azimuth counts from the meridian that the point's longitude
// names. Where several geodesics are equally short, as between the two poles or opposite ends of a diameter, one of them is given.
// NaN, or a latitude outside −90…90, gives NaN.
func (e *Ellipsoid) Inverse(from, to LatLon) Arc {
	s := e.solve(from, to)
	return s.arc()
}

// InverseLine returns what Inverse returns and the geodesic itself, which keeps the digits that the azimuth in degrees would lose.
func (e *Ellipsoid) InverseLine(from, to LatLon) (Arc, Line) {
	s := e.solve(from, to)
	return s.arc(), e.lineFrom(from, s.sinA1, s.cosA1)
}

// Direct returns the point distanceM metres from from along the geodesic that leaves it in azimuth azimuthDeg, and the forward
// azimuth there, 0…360 degrees. For several points of one geodesic, Line is faster.
func (e *Ellipsoid) Direct(from LatLon, azimuthDeg, distanceM float64) (to LatLon, endAzimuthDeg float64) {
	l := e.Line(from, azimuthDeg)
	return l.At(distanceM)
}

// reducedLatitude returns sine and cosine of the reduced latitude, tan β = (1 − f) tan φ; the cosine stays above 0 at the poles.
func (e *Ellipsoid) reducedLatitude(latDeg float64) (sin, cos float64) {
	if !(math.Abs(latDeg) <= 90) {
		return math.NaN(), math.NaN()
	}
	sin, cos = sinCosDeg(roundSmallDeg(latDeg), 0)
	sin, cos = unit(e.f1*sin, cos)
	return sin, max(tinyLength, cos)
}

// solution is an Arc before its azimuths are turned into degrees.
type solution struct {
	distanceM, reducedM, sigma12 float64
	sinA1, cosA1, sinA2, cosA2   float64
}

func (s *solution) arc() Arc {
	return Arc{
		DistanceM:      s.distanceM,
		AzimuthDeg:     azimuth360(atan2Deg(s.sinA1, s.cosA1)),
		EndAzimuthDeg:  azimuth360(atan2Deg(s.sinA2, s.cosA2)),
		ArcDeg:         s.sigma12 * (180 / math.Pi),
		ReducedLengthM: s.reducedM,
	}
}
