package terrain

import (
	"math"
	"sort"

	"farstation/geodesy"
)

// Section is the ground along a line, walked once and kept, from which the view under any model is computed.
type Section struct {
	Line   *Line
	GuardM float64
	Pieces []Piece
	// BaseM is the base height, the lowest ground of the last 10 km before the target and no further back than half-way;
	// BaseAtM its distance, the last of equals.
	BaseM, BaseAtM float64
	// CriticalK is k_c of the kept pieces, as Critical has it, but of known ground alone where there is any.
	CriticalK float64

	base  Piece
	baseT float64
	// knownOnly leaves ground that is missing out of base point, front, foot and cut height: what is not known is neither the lowest ground
	// nor a face that shows. It is false where that would leave nothing.
	knownOnly bool
}

// baseReachM is how far before the target the base point is sought.
const baseReachM = 10e3

// Section walks the whole line and keeps its pieces, in the memory of into where that is given.
func (w *Walker) Section(l *Line, fill Fill, guardM float64, into *Section) (*Section, error) {
	if l.DistanceM <= 2*guardM {
		return nil, ErrTooClose
	}
	if into == nil {
		into = &Section{}
	}
	into.Line, into.GuardM, into.Pieces = l, guardM, into.Pieces[:0]
	w.Walk(l, fill, 0, l.DistanceM, func(p *Piece) bool {
		into.Pieces = append(into.Pieces, *p)
		return true
	})
	if w.err != nil {
		return nil, w.err
	}
	into.knownOnly = into.hasKnown()
	into.findBase()
	into.CriticalK = into.findCritical()
	return into, nil
}

// baseFromM is where the stretch begins in which the base point is sought.
func (s *Section) baseFromM() float64 {
	return math.Max(s.Line.DistanceM-baseReachM, s.Line.DistanceM/2)
}

// hasKnown tells whether some ground is known both where the base point is sought and before it, outside the guards.
func (s *Section) hasKnown() bool {
	base, before := false, false
	for i := range s.Pieces {
		p := &s.Pieces[i]
		if p.Missing {
			continue
		}
		base = base || p.X+p.W > s.baseFromM()
		before = before || p.X+p.W > s.GuardM && p.X < math.Min(cutShare*s.Line.DistanceM, s.Line.DistanceM-s.GuardM)
	}
	return base && before
}

func (s *Section) leftOut(p *Piece) bool { return s.knownOnly && p.Missing }

// GroundAt returns the height of the ground over the geoid at distance x, and its standard deviation under the spreads.
func (s *Section) GroundAt(x float64, spreads Spreads) (heightM, sdM float64) {
	i := sort.Search(len(s.Pieces), func(i int) bool { return s.Pieces[i].X+s.Pieces[i].W >= x })
	p := &s.Pieces[min(i, len(s.Pieces)-1)]
	return p.GroundAt(x - p.X), spreads.ground(p)
}

// Missing tells whether terrain is missing anywhere on the line.
func (s *Section) Missing() bool {
	for i := range s.Pieces {
		if s.Pieces[i].Missing {
			return true
		}
	}
	return false
}

func (s *Section) findCritical() float64 {
	least := math.Inf(1)
	for i := range s.Pieces {
		p := &s.Pieces[i]
		if lo, hi := math.Max(0, s.GuardM-p.X), math.Min(p.W, s.Line.DistanceM-s.GuardM-p.X); lo < hi && !s.leftOut(p) {
			f := s.Line.bearing(p)
			_, q := f.least(lo, hi)
			least = math.Min(least, q)
		}
	}
	return -least
}

func (s *Section) findBase() {
	from := s.baseFromM()
	s.BaseM = math.Inf(1)
	for i := range s.Pieces {
		p := &s.Pieces[i]
		lo := math.Max(0, from-p.X)
		if lo >= p.W || s.leftOut(p) {
			continue
		}
		ground := quotient{p: p.G, q: [3]float64{1, 0, 0}, w: p.W}
		// A micrometre of rounding must not decide which of equal heights is the last.
		if t, g := ground.least(lo, p.W); g <= s.BaseM+1e-6 {
			s.BaseM, s.BaseAtM, s.base, s.baseT = math.Min(g, s.BaseM), p.X+t, *p, t
		}
	}
}

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
func (s *Section) View(m Model) View {
	l := s.Line
	v := View{ElevationRad: s.elevation(m)}
	v.FootM, v.FrontM, v.ObscuredM = math.NaN(), math.NaN(), math.NaN()
	inner, outer, cutEnd := s.GuardM, l.DistanceM-s.GuardM, cutShare*l.DistanceM

	level := math.Inf(-1) // F
	rim, rimAt, cut := math.Inf(-1), 0.0, math.Inf(-1)
	hidden, hiddenFrom := false, 0.0
	footRise := math.NaN()
	longEnough := func(from, to float64) bool { return to-from > math.Max(leastCutM, leastCutShare*l.DistanceM) }
	counts := func(from, to float64) bool { return to > s.BaseAtM && longEnough(from, to) }
	for i := range s.Pieces {
		p := &s.Pieces[i]
		lo := math.Max(0, inner-p.X)
		if lo >= p.W || s.leftOut(p) {
			continue
		}
		f := s.rise(p, m)
		stops := [4]float64{lo}
		n := 1
		stationary, roots := f.stationary()
		for _, t := range stationary[:roots] {
			if t > lo {
				stops[n] = t
				n++
			}
		}
		stops[n] = p.W
		n++

		// The greatest rise outside the guards, and nearer than 95 %.
		if p.X+lo < outer {
			if t, r := f.greatest(lo, math.Min(p.W, outer-p.X)); r >= rim {
				rim, rimAt = r, p.X+t
			}
		}
		if p.X+lo < cutEnd {
			if _, r := f.greatest(lo, math.Min(p.W, cutEnd-p.X)); r > cut {
				cut = r
			}
		}
		for j := range n - 1 {
			a, b := stops[j], stops[j+1]
			ra, rb := f.at(a), f.at(b)
			switch {
			case !hidden && ra < level: // a step down at a tile's edge
				hidden, hiddenFrom = true, p.X+a
			case ra > level:
				if hidden && counts(hiddenFrom, p.X+a) { // a step up at a tile's edge
					v.Obscured, v.FrontM, v.FootM, v.ObscuredM, footRise = true, hiddenFrom, p.X+a, p.GroundAt(a), level
				}
				hidden, level = false, ra
			}
			if hidden {
				if rb < level {
					continue
				}
				t := f.crossing(level, a, b)
				if counts(hiddenFrom, p.X+t) {
					v.Obscured, v.FrontM, v.FootM, v.ObscuredM, footRise = true, hiddenFrom, p.X+t, p.GroundAt(t), level
				}
				hidden, level = false, rb
				continue
			}
			if rb >= level {
				level = rb
			} else {
				hidden, hiddenFrom = true, p.X+a
			}
		}
	}
	v.CutM, v.RimM = s.carried(cut, m), s.carried(rim, m)

	blocked := rim > math.Tan(v.ElevationRad)
	if !m.Plane {
		blocked = m.K < s.CriticalK // one rule with the verdict
	}
	switch {
	case blocked:
		// The top itself is out of view: the front is what it is behind, whatever the stretch's length.
		v.Obscured, v.FrontM, v.FootM, v.ObscuredM, footRise = true, rimAt, l.DistanceM, v.RimM, rim
	case hidden && longEnough(hiddenFrom, l.DistanceM):
		v.Obscured, v.FrontM, v.FootM, v.ObscuredM, footRise = true, hiddenFrom, l.DistanceM, s.carried(level, m), level
	}

	f := s.rise(&s.base, m)
	v.BaseRad = math.Atan(f.at(s.baseT))
	v.FootRad, v.PartInView = v.BaseRad, 1
	if v.Obscured {
		v.FootRad = math.Atan(footRise)
		v.PartInView = math.Min(math.Max((v.ElevationRad-v.FootRad)/(v.ElevationRad-v.BaseRad), 0), 1)
		if blocked || math.IsNaN(v.PartInView) {
			v.PartInView = 0
		}
	}
	return v
}

// Margin is the elevation of the top less the greatest elevation of any ground outside the guards, in radians, and the distance of that
// ground. For the curved model it has the sign of k − k_c.
func (s *Section) Margin(m Model) (marginRad, atM float64) {
	rise := math.Inf(-1)
	for i := range s.Pieces {
		p := &s.Pieces[i]
		lo, hi := math.Max(0, s.GuardM-p.X), math.Min(p.W, s.Line.DistanceM-s.GuardM-p.X)
		if lo >= hi {
			continue
		}
		var f quotient
		if m.Plane {
			f = s.rise(p, m)
		} else {
			f = s.under(p, m.K)
		}
		if t, r := f.greatest(lo, hi); r >= rise {
			rise, atM = r, p.X+t
		}
	}
	if m.Plane {
		return s.elevation(m) - math.Atan(rise), atM
	}
	return -math.Atan(rise), atM
}

// greatest returns the place and value of the greatest v on [lo, hi], the last of equals.
func (f *quotient) greatest(lo, hi float64) (t, v float64) {
	t, v = lo, f.at(lo)
	stationary, n := f.stationary()
	for _, r := range stationary[:n] {
		if r > lo && r < hi {
			if value := f.at(r); value >= v {
				t, v = r, value
			}
		}
	}
	if value := f.at(hi); value >= v {
		t, v = hi, value
	}
	return t, v
}
