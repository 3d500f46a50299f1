package terrain

import (
	"errors"
	"fmt"
	"math"

	"farstation/geodesy"
)

// ErrTooClose marks a line with no ground outside the guards of its two ends: nothing can be said of it.
var ErrTooClose = errors.New("terrain: the two ends are closer than their guards")

// ErrTooFar marks ends more than 5,000 km apart, farther than any sightline.
var ErrTooFar = errors.New("terrain: the two ends are too far apart")

// End is one end of a line: its place, the height of the eye or top over the geoid, and the geoid's undulation there.
type End struct {
	At          geodesy.LatLon
	HeightM     float64
	UndulationM float64
}

// Line is the geometry of one sightline: the geodesic between the feet of its ends and the exact straight chord between the
// ends, both as functions of the distance x from the observer. It is built once and read by every walk.
type Line struct {
	From, To End
	// DistanceM is s, the length of the geodesic; AzimuthDeg and BackAzimuthDeg its azimuths at the two ends.
	DistanceM, AzimuthDeg, BackAzimuthDeg float64
	// RadiusM is Euler's radius of curvature in the azimuth of the line at its middle.
	RadiusM float64
	// ChordM is the straight distance between the ends.
	ChordM float64

	arcs []arc
	// reach and slope of the chord as quadratics in x: the straight distance to the chord's point at x over x, and the sine of
	// the chord's angle with the horizontal there.
	stretch, tilt [3]float64
}

// arcNodes is the number of nodes of an arc's polynomials. Degree 7 over 100 km leaves less than a micrometre; arcs on which it
// does not are halved.
const arcNodes = 8

// poly is a polynomial of degree 7 in u ∈ [−1, 1], lowest power first.
type poly [arcNodes]float64

func (p *poly) at(u float64) float64 {
	return p[0] + u*(p[1]+u*(p[2]+u*(p[3]+u*(p[4]+u*(p[5]+u*(p[6]+u*p[7]))))))
}

// slope returns the value and the derivative with respect to u.
func (p *poly) slope(u float64) (value, derivative float64) {
	value, derivative = p[7], 0
	for i := arcNodes - 2; i >= 0; i-- {
		derivative = derivative*u + value
		value = value*u + p[i]
	}
	return value, derivative
}

// arc is a part of the line, [x0, x1], on which latitude and longitude are monotonic and latitude, longitude (both in degrees,
// less lat0 and lon0) and the chord's ellipsoidal height are polynomials.
type arc struct {
	x0, x1       float64
	middle, half float64
	lat0, lon0   float64
	lat, lon     poly
	chord        poly
}

func (a *arc) u(x float64) float64 { return (x - a.middle) / a.half }

// nodes and the matrix from values at the nodes to coefficients are the same for every arc.
var arcU, arcMatrix = func() (u [arcNodes]float64, m [arcNodes][arcNodes]float64) {
	for i := range u {
		u[i] = -math.Cos(math.Pi * float64(i) / (arcNodes - 1)) // Chebyshev–Lobatto: the ends are nodes, so arcs join exactly
	}
	for i := range u {
		// Lagrange's basis polynomial of node i, by multiplying its linear factors out.
		c := [arcNodes]float64{1}
		scale := 1.0
		degree := 0
		for j := range u {
			if j == i {
				continue
			}
			for d := degree + 1; d > 0; d-- {
				c[d] = c[d-1] - u[j]*c[d]
			}
			c[0] = -u[j] * c[0]
			degree++
			scale *= u[i] - u[j]
		}
		for d := range c {
			m[d][i] = c[d] / scale
		}
	}
	return u, m
}()

// NewLine builds the geometry between two ends. It fails for ends in one place and for ends so far apart that no geodesic azimuth
// is defined (antipodes).
func NewLine(from, to End) (*Line, error) {
	l := &Line{}
	if err := l.Reset(from, to); err != nil {
		return nil, err
	}
	return l, nil
}

// Reset makes l the line between two other ends, reusing its memory.
func (l *Line) Reset(from, to End) error {
	route, geodesic := geodesy.WGS84.InverseLine(from.At, to.At)
	if !(route.DistanceM > 1) {
		return fmt.Errorf("%w: %.1f m apart", ErrTooClose, route.DistanceM)
	}
	if route.DistanceM > 5e6 {
		return fmt.Errorf("%w: %.0f km apart", ErrTooFar, route.DistanceM/1000)
	}
	l.From, l.To = from, to
	l.DistanceM, l.AzimuthDeg, l.BackAzimuthDeg = route.DistanceM, route.AzimuthDeg, route.BackAzimuthDeg()
	s := l.DistanceM
	middle, azimuth := geodesic.At(s / 2)
	l.RadiusM = geodesy.WGS84.EulerRadiusM(middle.LatDeg, azimuth)

	p1 := geodesy.WGS84.ToCartesian(from.At, from.HeightM+from.UndulationM)
	p2 := geodesy.WGS84.ToCartesian(to.At, to.HeightM+to.UndulationM)
	chord := p2.Sub(p1)
	l.ChordM = chord.Norm()
	track := track{line: &geodesic, p1: p1, chord: chord, s: s, end: to.At, chordM: l.ChordM}

	// The quadratics are exact at both ends and in the middle; in between they are good to 1e-7 over 500 km.
	var stretch, tilt [3]float64
	for i, x := range [3]float64{math.Min(1, s/1000), s / 2, s} {
		n := track.node(x)
		stretch[i], tilt[i] = n.reach/x, n.tilt
	}
	l.stretch, l.tilt = quadraticThrough(stretch, s), quadraticThrough(tilt, s)

	l.arcs = l.arcs[:0]
	// Arcs of at most 120 km; each is halved where its polynomials do not hold.
	count := int(math.Ceil(s / 120e3))
	for i := range count {
		l.addArc(&track, s*float64(i)/float64(count), s*float64(i+1)/float64(count), 0)
	}
	// Longitudes run on past ±180 without a jump.
	for i := 1; i < len(l.arcs); i++ {
		before, after := &l.arcs[i-1], &l.arcs[i]
		turn := math.Round((before.lon0 + before.lon.at(before.u(before.x1)) - after.lon0 - after.lon.at(after.u(after.x0))) / 360)
		after.lon0 += 360 * turn
	}
	return nil
}

// quadraticThrough returns the quadratic in x through values at 0, s/2 and s.
func quadraticThrough(v [3]float64, s float64) [3]float64 {
	return [3]float64{v[0], (-3*v[0] + 4*v[1] - v[2]) / s, (2*v[0] - 4*v[1] + 2*v[2]) / (s * s)}
}

func quadraticAt(c [3]float64, x float64) float64 { return c[0] + x*(c[1]+x*c[2]) }

// track computes the line exactly at one distance.
type track struct {
	line   *geodesy.Line
	p1     geodesy.Vector
	chord  geodesy.Vector
	s      float64
	chordM float64
	end    geodesy.LatLon
}

// node is the exact geometry at one distance: the foot on the ellipsoid, the ellipsoidal height of the chord over it, the straight
// distance from the eye to the chord's point, and the sine of the chord's angle with the horizontal.
type node struct {
	at            geodesy.LatLon
	height, reach float64
	tilt          float64
}

// node finds the chord's point in the plane that stands across the geodesic at x. The chord leaves the geodesic sideways by
// metres in hundreds of kilometres, which changes its height by less than a micrometre.
func (t *track) node(x float64) node {
	at, azimuth := t.line.At(x)
	if x == t.s {
		at = t.end
	}
	foot := geodesy.WGS84.ToCartesian(at, 0)
	sinLat, cosLat := math.Sincos(at.LatDeg * math.Pi / 180)
	sinLon, cosLon := math.Sincos(at.LonDeg * math.Pi / 180)
	sinAz, cosAz := math.Sincos(azimuth * math.Pi / 180)
	up := geodesy.Vector{X: cosLat * cosLon, Y: cosLat * sinLon, Z: sinLat}
	ahead := geodesy.Vector{
		X: -sinAz*sinLon - cosAz*sinLat*cosLon,
		Y: sinAz*cosLon - cosAz*sinLat*sinLon,
		Z: cosAz * cosLat,
	}
	share := foot.Sub(t.p1).Dot(ahead) / t.chord.Dot(ahead)
	point := t.p1.Add(t.chord.Scale(share))
	return node{at: at, height: point.Sub(foot).Dot(up), reach: share * t.chordM, tilt: t.chord.Dot(up) / t.chordM}
}

const (
	arcToleranceDeg = 2e-11 // 2 µm
	arcToleranceM   = 1e-6
	arcLeastM       = 0.5 // beside a pole longitude is no polynomial: stop halving there
)

// addArc appends the arc [x0, x1], or its halves where the polynomials miss the line.
func (l *Line) addArc(t *track, x0, x1 float64, depth int) {
	a := arc{x0: x0, x1: x1, middle: (x0 + x1) / 2, half: (x1 - x0) / 2}
	var lat, lon, chord [arcNodes]float64
	for i, u := range arcU {
		x := a.middle + a.half*u
		switch i {
		case 0:
			x = x0
		case arcNodes - 1:
			x = x1
		}
		n := t.node(x)
		if i == 0 {
			a.lat0, a.lon0 = n.at.LatDeg, n.at.LonDeg
		}
		lat[i] = n.at.LatDeg - a.lat0
		lon[i] = n.at.LonDeg - a.lon0
		if i > 0 {
			lon[i] -= 360 * math.Round((lon[i]-lon[i-1])/360)
		}
		chord[i] = n.height
	}
	for d := range arcNodes {
		for i := range arcNodes {
			a.lat[d] += arcMatrix[d][i] * lat[i]
			a.lon[d] += arcMatrix[d][i] * lon[i]
			a.chord[d] += arcMatrix[d][i] * chord[i]
		}
	}
	if x1-x0 > arcLeastM && depth < 30 {
		for _, u := range [2]float64{(arcU[1] + arcU[2]) / 2, (arcU[5] + arcU[6]) / 2} {
			n := t.node(a.middle + a.half*u)
			off := n.at.LonDeg - a.lon0 - a.lon.at(u)
			off -= 360 * math.Round(off/360)
			cosLat := math.Cos(n.at.LatDeg * math.Pi / 180)
			if math.Abs(n.at.LatDeg-a.lat0-a.lat.at(u)) > arcToleranceDeg || math.Abs(off)*cosLat > arcToleranceDeg ||
				math.Abs(n.height-a.chord.at(u)) > arcToleranceM {
				l.addArc(t, x0, a.middle, depth+1)
				l.addArc(t, a.middle, x1, depth+1)
				return
			}
		}
	}
	l.appendMonotonic(a)
}

// appendMonotonic appends a, cut at the northernmost or southernmost place of the line if that lies inside.
func (l *Line) appendMonotonic(a arc) {
	_, d0 := a.lat.slope(-1)
	_, d1 := a.lat.slope(1)
	if d0*d1 >= 0 {
		l.arcs = append(l.arcs, a)
		return
	}
	lo, hi := -1.0, 1.0
	for range 60 {
		mid := (lo + hi) / 2
		if _, d := a.lat.slope(mid); d*d0 > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	first, second := a, a
	first.x1 = a.middle + a.half*lo
	second.x0 = first.x1
	l.arcs = append(l.arcs, first, second)
}

// arcAt returns the arc that holds x.
func (l *Line) arcAt(x float64) *arc {
	for i := range l.arcs {
		if x <= l.arcs[i].x1 {
			return &l.arcs[i]
		}
	}
	return &l.arcs[len(l.arcs)-1]
}

// At returns the place on the geodesic at distance x and the ellipsoidal height of the chord there.
func (l *Line) At(x float64) (p geodesy.LatLon, chordM float64) {
	a := l.arcAt(x)
	u := a.u(x)
	lon := a.lon0 + a.lon.at(u)
	return geodesy.LatLon{LatDeg: a.lat0 + a.lat.at(u), LonDeg: lon - 360*math.Round(lon/360)}, a.chord.at(u)
}

// LiftM returns by how much a ray of refraction coefficient k rises over the chord at distance x: k·x(s−x)/2R.
func (l *Line) LiftM(k, x float64) float64 { return k * x * (l.DistanceM - x) / (2 * l.RadiusM) }
