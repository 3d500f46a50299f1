package terrain

import (
	"math"

	"farstation/geodesy"
)

// extent bounds what the ground of a piece, or of a run of neighbouring pieces, can do, so that most need not be looked at: whatever is
// asked of a section is an extreme, and the exact one of the few that may hold it.
type extent struct {
	from, to float64
	// groundM is no less than the highest ground over the geoid, ellipsoidalM over the ellipsoid; gapM no more than the least of chord less
	// ground.
	groundM, ellipsoidalM, gapM float64
	// sdM is no less than the greatest standard deviation of the ground under Spreads of their own for sea and no TerrainSDM.
	sdM float64
}

// runPieces is the number of pieces in a run.
const runPieces = 16

func (s *Section) addExtent(p *Piece) {
	// A parabola leaves its chord by a quarter of bend × width² at most.
	quarter := p.W * p.W / 4
	start, end := p.G[0], p.GroundAt(p.W)
	bulge := max(0, -p.G[2])*quarter + boundMarginM
	e := extent{from: p.X, to: p.X + p.W, groundM: max(start, end) + bulge}
	startN, endN := p.N[0], p.N[0]+p.N[1]*p.W
	e.ellipsoidalM = max(start+startN, end+endN) + bulge
	e.gapM = min(p.C[0]-start-startN, p.ChordAt(p.W)-end-endN) - max(0, p.C[2]-p.G[2])*quarter - boundMarginM
	if !p.sea() {
		e.sdM = flatSDM
		if p.Tile != nil {
			e.sdM = orFlat(p.Tile.SDM)
		}
		e.sdM += slopeShare * p.Slope * p.SpacingM
	}
	if len(s.extents)%runPieces == 0 {
		s.runs = append(s.runs, e)
	} else {
		r := &s.runs[len(s.runs)-1]
		r.to, r.groundM, r.ellipsoidalM = e.to, max(r.groundM, e.groundM), max(r.ellipsoidalM, e.ellipsoidalM)
		r.gapM, r.sdM = min(r.gapM, e.gapM), max(r.sdM, e.sdM)
	}
	s.extents = append(s.extents, e)
}

// nearestM is how near to an end, where quotients have 0 below the line, nothing is bounded.
const nearestM = 1

// bounded tells whether a refraction coefficient is one for which bounds of heights outweigh rounding. Ground right beside an end has greater ones.
func bounded(k float64) bool { return math.Abs(k) < 1e4 }

// lowestM is no more than the lowest ground of a piece.
func (p *Piece) lowestM() float64 {
	return min(p.G[0], p.GroundAt(p.W)) - max(0, p.G[2])*p.W*p.W/4
}

// promising returns the piece of the greatest bound in the run of the greatest bound, among the first n pieces; −1 where there is none.
func (s *Section) promising(n int, bound func(*extent) float64) int {
	run := best(s.runs[:n/runPieces], bound)
	if run < 0 {
		return best(s.extents[:n], bound)
	}
	return run*runPieces + best(s.extents[run*runPieces:(run+1)*runPieces], bound)
}

// best returns the number of the extent of the greatest bound, the last of equals; −1 where there is none.
func best(of []extent, bound func(*extent) float64) int {
	at, greatest := -1, math.Inf(-1)
	for i := range of {
		if b := bound(&of[i]); !(b < greatest) {
			at, greatest = i, b
		}
	}
	return at
}

// next returns the first piece from i on whose bound is not below the level, or the number of pieces.
func (s *Section) next(i int, bound func(*extent) float64, level float64) int {
	for i < len(s.extents) {
		if i%runPieces == 0 && bound(&s.runs[i/runPieces]) < level {
			i += runPieces
			continue
		}
		if !(bound(&s.extents[i]) < level) {
			return i
		}
		i++
	}
	return len(s.extents)
}

// lifts returns bounds of x(s−x)/2R, which is concave, between two distances.
func (l *Line) lifts(from, to float64) (least, greatest float64) {
	diameter := 2 * l.RadiusM
	a, b := from*(l.DistanceM-from)/diameter, to*(l.DistanceM-to)/diameter
	return min(a, b), max(a, b) + (to-from)*(to-from)/(4*diameter)
}

// open returns the part of an extent outside the guards; false where there is none.
func (e *extent) open(s *Section) (from, to float64, ok bool) {
	from, to = max(e.from, s.GuardM), min(e.to, s.Line.DistanceM-s.GuardM)
	return from, to, from < to
}

// beside tells whether an extent begins or ends so near to an end of the line that nothing is bounded there.
func (s *Section) beside(e *extent) bool {
	return s.GuardM < nearestM && (e.from < nearestM || e.to > s.Line.DistanceM-nearestM)
}

// leastBearing is no more than the least q of the ground outside the guards.
func (e *extent) leastBearing(s *Section) float64 {
	from, to, ok := e.open(s)
	least, greatest := s.Line.lifts(from, to)
	switch {
	case !ok:
		return math.Inf(1)
	case s.beside(e):
		return math.Inf(-1)
	case e.gapM >= 0:
		return e.gapM / greatest
	}
	return e.gapM / least
}

// outlook bounds the rise of ground under a model.
type outlook struct {
	plane            bool
	curvature        float64
	fromM            float64 // the guard: nothing nearer is looked at
	eyeM, eyeEllipsM float64
	unbounded        bool
}

// farthestArc is the angle at the Earth's centre up to which bounds hold, in radians.
const farthestArc = 0.2

func (s *Section) outlook(m Model) outlook {
	l := s.Line
	o := outlook{plane: m.Plane, fromM: s.GuardM, eyeM: l.From.HeightM, eyeEllipsM: l.From.HeightM + l.From.UndulationM}
	if !m.Plane {
		o.curvature = geodesy.ApparentCurvaturePerM(l.RadiusM, m.K)
		o.unbounded = !(o.curvature >= 0 && o.curvature*l.DistanceM < farthestArc)
	}
	return o
}

// greatest is no less than the greatest rise of the ground of an extent: on the plane (h−h₁)/x, else
//
//	tan A = (h−h₁) / ((R'+h)·sin θ) − tan(θ/2),
//
// which is that of rise with cos θ = 1 − sin θ·tan(θ/2). It grows with h. Of its two terms the second falls with x, the first where ground lies
// over the eye, while it grows where it lies below.
func (o *outlook) greatest(e *extent) float64 {
	from := max(e.from, o.fromM)
	if o.unbounded || from < nearestM {
		return math.Inf(1)
	}
	if o.plane {
		over := e.groundM - o.eyeM
		if over < 0 {
			return over / e.to
		}
		return over / from
	}
	over, scale := e.ellipsoidalM-o.eyeEllipsM, 1+o.curvature*e.ellipsoidalM
	theta := o.curvature * from
	if over < 0 {
		return over/(scale*e.to) - theta/2 // sin θ ≤ θ, tan(θ/2) ≥ θ/2
	}
	return over/(scale*from*(1-theta*theta/6)) - theta/2 // sin θ ≥ θ − θ³/6
}
