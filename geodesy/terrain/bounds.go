package terrain

import (
	"math"

	"farstation/geodesy"
)

// bound limits the ground of one piece, or of several that follow each other, so that most of them are told not to matter without a root.
type bound struct {
	fromM, toM float64
	// highestM is no lower than the ground over the geoid, ellipsoidM than that over the ellipsoid, and leastGapM no more than the chord over
	// the ground.
	highestM, ellipsoidM, leastGapM float64
	// steepM and flatSDM are no less than slope times spacing, and the set's spread on flat land.
	steepM, flatSDM float64
}

// boundPieces is the number of pieces that share a bound besides their own.
const boundPieces = 16

// boundSlackM is more than the millimetres by which quotients of wide pieces differ from the curves that they stand for.
const boundSlackM = 0.05

// newBound limits a piece. A quadratic leaves its chord by no more than |c|·w²/4.
func newBound(p *Piece) bound {
	w := p.W
	g0, g1 := p.G[0], p.G[0]+w*(p.G[1]+w*p.G[2])
	n0, n1 := p.N[0], p.N[0]+w*p.N[1]
	bulge := math.Abs(p.G[2]) * w * w / 4
	gap := p.gap()
	gap1 := gap[0] + w*(gap[1]+w*gap[2])
	b := bound{
		fromM: p.X, toM: p.X + w,
		highestM: max(g0, g1) + bulge + boundSlackM, ellipsoidM: max(g0+n0, g1+n1) + bulge + boundSlackM,
		leastGapM: min(gap[0], gap1) - math.Abs(gap[2])*w*w/4 - boundSlackM,
		steepM:    p.Slope * p.SpacingM, flatSDM: flatSDM,
	}
	if p.Tile != nil {
		b.flatSDM = orFlat(p.Tile.SDM)
	}
	return b
}

// join makes b limit the ground of other too, which follows it.
func (b *bound) join(other *bound) {
	b.toM = other.toM
	b.highestM, b.ellipsoidM = max(b.highestM, other.highestM), max(b.ellipsoidM, other.ellipsoidM)
	b.leastGapM = min(b.leastGapM, other.leastGapM)
	b.steepM, b.flatSDM = max(b.steepM, other.steepM), max(b.flatSDM, other.flatSDM)
}

// bounds are those of a section's pieces, one by one and by boundPieces, and those of its chord.
type bounds struct {
	pieces, blocks []bound
	// stretch and sin are no less than the chord's reach over x and the size of the sine of its angle with the horizontal.
	stretch, sin float64
}

// fill sets the bounds of the pieces of a line.
func (b *bounds) fill(l *Line, pieces []Piece) {
	b.pieces, b.blocks = b.pieces[:0], b.blocks[:0]
	for i := range pieces {
		one := newBound(&pieces[i])
		b.pieces = append(b.pieces, one)
		if i%boundPieces == 0 {
			b.blocks = append(b.blocks, one)
		} else {
			b.blocks[len(b.blocks)-1].join(&one)
		}
	}
	s := l.DistanceM
	most := func(c [3]float64) float64 {
		return max(math.Abs(c[0]), math.Abs(quadraticAt(c, s))) + math.Abs(c[2])*s*s/4
	}
	b.stretch, b.sin = most(l.stretch), min(most(l.tilt), 1)
}

// each calls do for the pieces, in order, but for those of which skip tells that they cannot matter. skip is asked for several pieces at once
// first.
func (b *bounds) each(skip func(*bound) bool, do func(i int)) {
	for block := range b.blocks {
		if skip(&b.blocks[block]) {
			continue
		}
		for i := block * boundPieces; i < min((block+1)*boundPieces, len(b.pieces)); i++ {
			if !skip(&b.pieces[i]) {
				do(i)
			}
		}
	}
}

// mostRise is no less than the rise of any ground within a bound. Exactly, with c the curvature 1/R' and θ = c·x,
//
//	tan A = (h − h₁)/((1+h·c)·x·(sin θ)/θ) − tan(θ/2),
//
// which grows with h; |θ| is taken to be less than ½.
func (s *Section) mostRise(b *bound, m Model) float64 {
	if m.Plane {
		return mostQuotient(b.highestM-s.Line.From.HeightM, b.fromM, b.toM)
	}
	l := s.Line
	c := geodesy.ApparentCurvaturePerM(l.RadiusM, m.K)
	theta := b.toM * math.Abs(c)
	if !(theta < 0.5) {
		return math.Inf(1)
	}
	share := math.Abs(b.ellipsoidM * c)
	rise := mostQuotient(b.ellipsoidM-(l.From.HeightM+l.From.UndulationM), b.fromM*(1-share)*(1-theta*theta/6), b.toM*(1+share))
	if c >= 0 {
		return rise - b.fromM*c/2
	}
	return rise + theta/2*(1+theta*theta/10)
}

// mostQuotient is the greatest value of a over something positive within two limits.
func mostQuotient(a, least, most float64) float64 {
	if a > 0 {
		return a / least
	}
	return a / most
}

// mostUnder is no less than what under gives of any ground within a bound: of the triangle's tangent c·cos b/(y − c·sin b) only the least c
// and the greatest y count, and 1 % is left for under's first order.
func (s *Section) mostUnder(b *bound, k float64) float64 {
	c := b.leastGapM + k*s.liftWhere(b, k < 0)
	if !(c > 0) {
		return math.Inf(1)
	}
	sin := s.bounds.sin
	return -0.99 * c * math.Sqrt(1-sin*sin) / (b.toM*s.bounds.stretch + c*sin)
}

// liftWhere is the greatest, or the least, lift of a ray per unit of k within a bound.
func (s *Section) liftWhere(b *bound, greatest bool) float64 {
	l := s.Line
	from, to := l.LiftM(1, b.fromM), l.LiftM(1, b.toM)
	switch {
	case !greatest:
		return max(min(from, to), 0)
	case b.fromM < l.DistanceM/2 && b.toM > l.DistanceM/2:
		return l.LiftM(1, l.DistanceM/2)
	}
	return max(from, to)
}

// leastBearing is no more than q of any ground within a bound.
func (s *Section) leastBearing(b *bound) float64 {
	if b.leastGapM >= 0 {
		return b.leastGapM / s.liftWhere(b, true)
	}
	return b.leastGapM / s.liftWhere(b, false)
}

// clear tells whether the ground within a bound is so far below the ray that it is neither near it under any node nor as risky as z.
func (s *Section) clear(b *bound, spreads *Spreads, z float64) bool {
	k, kSD := min(spreads.K, spreads.LowK), max(spreads.KSD, spreads.LowKSD)
	if !(spreads.LowHeightM > 0) {
		k, kSD = spreads.K, spreads.KSD
	}
	clear := b.leastGapM + k*s.liftWhere(b, k < 0)
	ground := spreads.TerrainSDM
	if !(ground > 0) {
		ground = math.Hypot(b.flatSDM, slopeShare*b.steepM)
	}
	ground = max(ground, spreads.SeaSDM, leastSDM)
	moves := math.Hypot(s.liftWhere(b, true)*kSD, max(spreads.EyeSDM, spreads.TopSDM))
	return clear > 1.001*(nodeReach*moves+surelyClear*ground) && clear > z*1.001*math.Hypot(ground, moves)
}
