package terrain

import "math"

// Margin is the elevation of the top less the greatest elevation of any ground outside the guards, in radians, and the distance of that
// ground. For the curved model it has the sign of k − k_c.
func (s *Section) Margin(m Model) (marginRad, atM float64) {
	of := func(i int) (t, r float64) {
		p := &s.Pieces[i]
		lo, hi := max(0, s.GuardM-p.X), min(p.W, s.Line.DistanceM-s.GuardM-p.X)
		if !(lo < hi) {
			return 0, math.Inf(-1)
		}
		var f quotient
		if m.Plane {
			f = s.rise(p, m)
		} else {
			f = s.under(p, m.K)
		}
		return f.greatest(lo, hi)
	}
	o := s.outlook(m)
	bound := o.greatest
	if !m.Plane {
		u := s.underlook(m.K)
		bound = u.greatest
	}
	rise, least := math.Inf(-1), math.Inf(-1)
	if i := s.promising(len(s.extents), bound); i >= 0 {
		_, least = of(i)
	}
	for i := s.next(0, bound, least); i < len(s.Pieces); i = s.next(i+1, bound, least) {
		if t, r := of(i); r >= rise {
			rise, atM = r, s.Pieces[i].X+t
			least = max(least, rise)
		}
	}
	if m.Plane {
		return s.elevation(m) - math.Atan(rise), atM
	}
	return -math.Atan(rise), atM
}

// underlook bounds what under tells of ground.
type underlook struct {
	section *Section
	k       float64
	// tilt is no less than the sine of the chord's angle with the horizontal anywhere, stretch no less than the straight distance to the
	// chord's point over x.
	tilt, stretch float64
}

func (s *Section) underlook(k float64) underlook {
	most := func(c [3]float64) float64 {
		length := s.Line.DistanceM
		return math.Abs(c[0]) + length*(math.Abs(c[1])+length*math.Abs(c[2]))
	}
	return underlook{section: s, k: k, tilt: most(s.Line.tilt), stretch: most(s.Line.stretch)}
}

const (
	// steepestTilt is the greatest tilt for which under is bounded.
	steepestTilt = 0.5
	// underMarginM covers by how much the ray's height over the ground may differ from that which under has in first order.
	underMarginM = 0.05
)

// greatest is no less than the greatest value of under outside the guards. Under falls with the height c of the ray over the ground; for c
// above 0 it is no more than −c·cos b / (y + c·sin b) for the least c, the greatest y and the steepest b.
func (u *underlook) greatest(e *extent) float64 {
	from, to, ok := e.open(u.section)
	if !ok {
		return math.Inf(-1)
	}
	least, greatest := u.section.Line.lifts(from, to)
	c := e.gapM - underMarginM + min(u.k*least, u.k*greatest)
	if !(c > 0 && u.tilt < steepestTilt && bounded(u.k)) || u.section.beside(e) {
		return math.Inf(1)
	}
	return -c * (1 - u.tilt) / (e.to*u.stretch + c*u.tilt)
}
