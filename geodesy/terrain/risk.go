package terrain

import "math"

// riskScan gathers the points of a section that may come near the ray.
type riskScan struct {
	section  *Section
	spreads  *Spreads
	low      *lowStretches
	points   []riskPoint
	riskiest riskPoint
	// What hangs on the post spacing alone.
	spacingM, stretchM, weight, between float64
}

// riskPoints returns the points that may come near the ray, in order, the riskiest of all, and the length of the ray in low air.
func (s *Section) riskPoints(spreads Spreads) (points []riskPoint, riskiest riskPoint, lowM float64) {
	r := riskScan{section: s, spreads: &spreads, low: s.lowAir(spreads), points: s.points[:0]}
	none := riskPoint{z: math.Inf(1)}
	r.riskiest = none
	least := math.Inf(1)
	// Both bounds with their signs turned, so that the least z is the greatest.
	if i := s.promising(len(s.extents), func(e *extent) float64 { z, _ := r.leastZ(e); return -z }); i >= 0 {
		r.take(i)
		least = r.riskiest.z
		r.points, r.riskiest = r.points[:0], none
	}
	far := func(e *extent) float64 {
		if z, far := r.leastZ(e); far {
			return -z
		}
		return math.Inf(1)
	}
	for i := s.next(0, far, -least); i < len(s.Pieces); i = s.next(i+1, far, -least) {
		r.take(i)
	}
	s.points = r.points
	return r.points, r.riskiest, r.low.lengthM
}

// leastZ is no more than the least z of the ground of an extent; far tells whether none of it can come near the ray.
func (r *riskScan) leastZ(e *extent) (z float64, far bool) {
	s, spreads := r.section, r.spreads
	from, to, ok := e.open(s)
	if !ok {
		return math.Inf(1), true
	}
	if s.beside(e) || !bounded(spreads.K) || !bounded(spreads.LowK) {
		return math.Inf(-1), false
	}
	length := s.Line.DistanceM
	least, greatest := s.Line.lifts(from, to)
	// The mean of k moves evenly with the share of low air, and its variance bends upwards: both have their extremes at the ends.
	most := r.low.most(e, length)
	k := min(spreads.K, (1-most)*spreads.K+most*spreads.LowK)
	kVariance := max(sq(spreads.KSD), sq((1-most)*spreads.KSD)+sq(most*spreads.LowKSD))
	clear := e.gapM + min(k*least, k*greatest)
	ground := max(e.sdM, spreads.SeaSDM, leastSDM)
	if spreads.TerrainSDM > 0 {
		ground = max(spreads.TerrainSDM, spreads.SeaSDM, leastSDM)
	}
	move2 := sq(greatest)*kVariance + sq((1-from/length)*spreads.EyeSDM) + sq(to/length*spreads.TopSDM)
	z = clear / math.Sqrt(sq(ground)+move2)
	return z, clear-nodeReach*math.Sqrt(move2) > surelyClear*ground
}

// take adds the points of a piece.
func (r *riskScan) take(i int) {
	s, spreads := r.section, r.spreads
	l := s.Line
	length := l.DistanceM
	p := &s.Pieces[i]
	lo, hi := max(0, s.GuardM-p.X), min(p.W, length-s.GuardM-p.X)
	if lo >= hi {
		return
	}
	if p.SpacingM != r.spacingM {
		r.spacingM = p.SpacingM
		r.stretchM = max(spreads.CorrelationM/2, p.SpacingM)
		r.weight = weightBeside(r.stretchM, spreads.CorrelationM)
		// Linear between two posts, the variance falls to (1+ρ)/2 in the middle: half of that fall is taken everywhere.
		r.between = math.Sqrt(1 - (1-correlation(p.SpacingM, spreads.CorrelationM))/4)
	}
	f := l.bearing(p)
	ground, sea := spreads.ground(p), p.sea()
	if !sea {
		ground *= r.between
	}
	groundSDM := max(ground, leastSDM)
	low := r.low.beside(i)
	consider := func(t float64) {
		x := p.X + t
		share := low.share(t, x, length)
		lift := l.LiftM(1, x)
		clear := ((1-share)*spreads.K + share*spreads.LowK + f.at(t)) * lift
		moves := [4]float64{(1 - share) * lift * spreads.KSD, share * lift * spreads.LowKSD, (1 - x/length) * spreads.EyeSDM, x / length * spreads.TopSDM}
		move2 := sumSq(&moves)
		z := clear / math.Sqrt(sq(groundSDM)+move2)
		// Points that no node brings near the ray cannot change the product.
		near := clear-nodeReach*math.Sqrt(move2) < surelyClear*groundSDM
		if !near && z >= r.riskiest.z {
			return
		}
		point := riskPoint{
			x: x, liftM: lift, share: share, clearM: clear, moves: moves, groundSDM: groundSDM, z: z,
			stretch: math.Floor((x-length/2)/r.stretchM + 0.5), weight: r.weight, sea: sea,
		}
		if z < r.riskiest.z {
			r.riskiest = point
		}
		if near {
			r.points = append(r.points, point)
		}
	}
	consider(lo)
	stationary, n := f.stationary()
	for _, t := range stationary[:n] {
		if t > lo && t < hi {
			consider(t)
		}
	}
	consider(hi) // also where the next piece starts, since its spread may be another
}
