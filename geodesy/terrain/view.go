package terrain

import (
	"math"

	"farstation/geodesy"
)

// Model is what light and Earth do: curved with refraction coefficient K, or the plane with straight light.
type Model struct {
	Plane bool
	K     float64
}

// View is what one model shows of the target. Angles are in radians, heights in metres over the geoid.
type View struct {
	// ElevationRad is the apparent elevation of the top.
	ElevationRad float64
	// CutM is the cut height: the greatest elevation of any ground nearer than 95 % of the distance, carried on to the target.
	CutM float64
	// RimM is the greatest elevation of any ground outside the guards, carried on to the target: the top lacks RimM − top.
	RimM float64
	// Obscured tells whether a stretch of cut-off ground counts; FrontM and FootM are the distances of its two ends, ObscuredM the
	// height of the foot in view.
	Obscured                 bool
	FrontM, FootM, ObscuredM float64
	// PartInView is the angle from foot to top over the angle from the base point to the top, in 0…1.
	PartInView float64
	// FootRad and BaseRad are the apparent elevations of foot and base point.
	FootRad, BaseRad float64
}

// rise is the tangent of the ground's apparent elevation over a piece. For the curved model that is the standard relation, with the
// ground's ellipsoidal height h on the sphere of radius R' = R/(1−k) and θ = x/R',
//
//	tan A = (h·cos θ − h₁ − R'(1−cos θ)) / ((R'+h)·sin θ),
//
// of which both parts are quadratics within a cell to better than a micrometre. Written in the curvature 1/R', it holds at k = 1 too.
func (s *Section) rise(p *Piece, m Model) quotient {
	l := s.Line
	if m.Plane {
		return quotient{p: [3]float64{p.G[0] - l.From.HeightM, p.G[1], p.G[2]}, q: [3]float64{p.X, 1, 0}, w: p.W}
	}
	curvature := geodesy.ApparentCurvaturePerM(l.RadiusM, m.K)
	half := p.W / 2
	x := p.X + half
	sin, cos := math.Sincos(x * curvature)
	fall, run := 0.5*x*x*curvature, x // R'(1−cos θ) and R'·sin θ
	if math.Abs(curvature) > 1e-12 {
		sinHalf := math.Sin(x * curvature / 2)
		fall, run = 2*sinHalf*sinHalf/curvature, sin/curvature
	}
	// The ground about the middle of the piece, over the ellipsoid.
	h, slope, bend := p.G[0]+p.N[0]+half*(p.G[1]+p.N[1]+half*p.G[2]), p.G[1]+p.N[1]+2*half*p.G[2], p.G[2]
	up := [3]float64{
		h*cos - (l.From.HeightM + l.From.UndulationM) - fall,
		slope*cos - (1+h*curvature)*sin,
		bend*cos - slope*curvature*sin - curvature*cos/2,
	}
	along := [3]float64{
		run + h*sin,
		(1+h*curvature)*cos + slope*sin,
		bend*sin + slope*curvature*cos - curvature*sin/2,
	}
	return quotient{p: aboutStart(up, half), q: aboutStart(along, half), w: p.W}
}

// aboutStart turns a quadratic about the middle of a piece into one about its start.
func aboutStart(c [3]float64, half float64) [3]float64 {
	return [3]float64{c[0] - half*(c[1]-half*c[2]), c[1] - 2*half*c[2], c[2]}
}

// carried returns the height over the geoid, at the target's distance, of the direction whose rise is v.
func (s *Section) carried(v float64, m Model) float64 {
	l := s.Line
	if m.Plane {
		return l.From.HeightM + v*l.DistanceM
	}
	h := geodesy.HeightAtElevationM(math.Atan(v), l.From.HeightM+l.From.UndulationM, l.DistanceM, l.RadiusM, m.K) - l.To.UndulationM
	if !(h < highestCarriedM) { // also of a direction that never stands over the target
		return highestCarriedM
	}
	return h
}

// highestCarriedM caps heights carried on to the target: a wall beside the eye, as a wrong height makes it, hides all that there is.
const highestCarriedM = 100e3

// under is minus the tangent of the angle, at the eye, from the ground up to the ray to the top. With c the height of that ray over the
// ground (chord less ground plus the lift k·x(s−x)/2R), y the straight distance to the chord's point and b the chord's angle with
// the horizontal there, the tangent is c·cos b / (y − c·sin b): plane trigonometry of the triangle eye, ray, ground below it. Its
// sign is that of k + q(x): margin and k_c come from one formula.
func (s *Section) under(p *Piece, k float64) quotient {
	l := s.Line
	g := p.gap()
	lift := k / (2 * l.RadiusM)
	c := [3]float64{g[0] + lift*p.X*(l.DistanceM-p.X), g[1] + lift*(l.DistanceM-2*p.X), g[2] - lift}
	half := p.W / 2
	x := p.X + half
	cMiddle := c[0] + half*(c[1]+half*c[2])
	sin, sinSlope := quadraticAt(l.tilt, x), l.tilt[1]+2*x*l.tilt[2]
	cos := math.Sqrt(1 - sin*sin)
	cosSlope := -sin * sinSlope / cos
	stretch, stretchSlope := quadraticAt(l.stretch, p.X), l.stretch[1]+2*x*l.stretch[2]
	f := quotient{
		// c·cos b and c·sin b to first order about the middle of the piece.
		p: [3]float64{-c[0]*cos + cosSlope*half*cMiddle, -c[1]*cos - cosSlope*cMiddle, -c[2] * cos},
		q: [3]float64{p.X * stretch, stretch + p.X*stretchSlope, stretchSlope},
		w: p.W,
	}
	// Far below the eye at the foot of a cliff the triangle turns over; there the plain ratio, which is small enough never to be the
	// greatest, keeps the quotient positive.
	turns := func(t float64) bool { return (c[0]+t*(c[1]+t*c[2]))*sin > 0.5*(p.X+t)*stretch }
	if !turns(math.Max(0, s.GuardM-p.X)) && !turns(p.W) {
		f.q[0] -= c[0]*sin - sinSlope*half*cMiddle
		f.q[1] -= c[1]*sin + sinSlope*cMiddle
		f.q[2] -= c[2] * sin
	}
	return f
}

// elevation returns the apparent elevation of the target's top.
func (s *Section) elevation(m Model) float64 {
	l := s.Line
	if m.Plane {
		return geodesy.PlaneElevationRad(l.From.HeightM, l.To.HeightM, l.DistanceM)
	}
	return geodesy.ApparentElevationRad(l.From.HeightM+l.From.UndulationM, l.To.HeightM+l.To.UndulationM, l.DistanceM, l.RadiusM, m.K)
}

const (
	cutShare      = 0.95 // the cut height looks at ground nearer than this share of the distance
	leastCutM     = 500  // a stretch of cut-off ground counts when it is longer than this …
	leastCutShare = 0.01 // … and than this share of the distance: shorter dips belong to the target's own slope
)

// View computes what the model shows. F is the running maximum of the ground's apparent elevation from the observer's guard outwards;
// ground below it is cut off. The last stretch of cut-off ground that counts ends beyond the base point and is long enough; it began
// at the front and ends at the foot in view. A stretch that runs up to the target is carried on to the target's distance.
//
// Pieces that stay below F cannot change it. Nor do those before the base point, nearer than 95 %, that stay below other ground there: no
// stretch that ends among them counts, and at that other ground F is what it is, whatever came before.
func (s *Section) View(m Model) View {
	l := s.Line
	w := newSweep(s, m)
	for i := range s.runs {
		r := &s.runs[i]
		first := i * runPieces
		pieces := s.Pieces[first:min(first+runPieces, len(s.Pieces))]
		if w.passes(r, pieces) {
			continue
		}
		for j := range pieces {
			if !w.passes(&s.extents[first+j], pieces[j:j+1]) {
				w.take(&pieces[j])
			}
		}
	}
	w.last()
	v := w.view
	v.CutM, v.RimM = s.carried(w.cut, m), s.carried(w.rim, m)

	blocked := w.rim > math.Tan(v.ElevationRad)
	if !m.Plane {
		blocked = m.K < s.CriticalK // one rule with the verdict
	}
	switch {
	case blocked:
		// The top itself is out of view: the front is what it is behind, whatever the stretch's length.
		v.Obscured, v.FrontM, v.FootM, v.ObscuredM, w.footRise = true, w.rimAt, l.DistanceM, v.RimM, w.rim
	case w.hidden && w.longEnough(l.DistanceM):
		v.Obscured, v.FrontM, v.FootM, v.ObscuredM, w.footRise = true, w.hiddenFrom, l.DistanceM, s.carried(w.level, m), w.level
	}

	f := s.rise(&s.base, m)
	v.BaseRad = math.Atan(f.at(s.baseT))
	v.FootRad, v.PartInView = v.BaseRad, 1
	if v.Obscured {
		v.FootRad = math.Atan(w.footRise)
		v.PartInView = math.Min(math.Max((v.ElevationRad-v.FootRad)/(v.ElevationRad-v.BaseRad), 0), 1)
		if blocked || math.IsNaN(v.PartInView) {
			v.PartInView = 0
		}
	}
	return v
}
