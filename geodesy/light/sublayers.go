package light

import "math"

// sublayers cut a profile so finely that k is all but constant in each: in sublayer i, between boundM[i] and boundM[i+1], n goes
// with r^−k, with k such that n is right at both bounds.
type sublayers struct {
	boundM []float64
	// logRatio is ln(n at the upper bound / n at the lower).
	logRatio []float64
	// k is on the sphere of meanRadiusM; used to find where rays may part, never to trace them.
	k []float64
	// whole is the reach of all of them.
	whole reach
}

// A sublayer's k is the mean of the air's own, which there departs from it by half of maxKChange; it errs by that only in rays that never
// leave the sublayer.
const (
	maxKChange  = 2.5e-4
	leastCuts   = 64 // that a layer may have for its change of k, however thin it is
	finestM     = 2  // or as many as this thickness gives
	fineM       = 20
	coarseM     = 100
	stratumM    = 500
	coarseFromM = 12000
	strataFromM = 32000
)

func (p *Profile) divide() {
	s := sublayers{boundM: []float64{p.levels[0].heightM}}
	for i := range p.levels[:len(p.levels)-1] {
		foot, top := p.levels[i].heightM, p.levels[i+1].heightM
		thickness := float64(fineM)
		switch {
		case foot >= strataFromM:
			thickness = stratumM
		case foot >= coarseFromM:
			thickness = coarseM
		}
		change := math.Abs(p.kIn(i, top) - p.kIn(i, foot))
		cuts := int(math.Max(math.Ceil((top-foot)/thickness), math.Min(math.Ceil(change/maxKChange), math.Max(leastCuts, (top-foot)/finestM))))
		n := p.refractivityIn(i, foot)
		for c := 1; c <= cuts; c++ {
			bound := foot + (top-foot)*float64(c)/float64(cuts)
			if c == cuts {
				bound = top
			}
			above := p.refractivityIn(i, bound)
			ratio := math.Log1p((above - n) / (1 + n))
			lower := s.boundM[len(s.boundM)-1]
			s.boundM = append(s.boundM, bound)
			s.logRatio = append(s.logRatio, ratio)
			s.k = append(s.k, -ratio/(bound-lower)*meanRadiusM)
			n = above
		}
	}
	s.whole = s.between(s.boundM[0], s.boundM[len(s.boundM)-1])
	p.sub = s
}

// index returns the sublayer that holds the height, −1 below all, the number of sublayers above all; a bound belongs to the sublayer over it.
func (s *sublayers) index(heightM float64) int {
	low, high := 0, len(s.boundM)
	for low < high {
		middle := (low + high) / 2
		if s.boundM[middle] > heightM {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return low - 1
}

// reach is what the air between two heights can do to a ray: least and greatest k, and whether k never grows with height nor reaches 1,
// so that rays from one eye part for good and only one of them meets a point.
type reach struct {
	leastK, greatestK float64
	single            bool
}

func (s *sublayers) between(lowM, highM float64) reach {
	r := reach{leastK: math.Inf(1), greatestK: math.Inf(-1), single: true}
	from, to := max(s.index(lowM), 0), min(s.index(highM), len(s.k)-1)
	for i := from; i <= to; i++ {
		r.leastK, r.greatestK = math.Min(r.leastK, s.k[i]), math.Max(r.greatestK, s.k[i])
		if i > from && s.k[i] > s.k[i-1]+1e-7 {
			r.single = false
		}
	}
	if from > to { // above the air
		return reach{single: true}
	}
	// Spheres of the Earth's other radii of curvature and heights in the air change k by up to 1.7 %.
	r.leastK -= 0.02 * math.Abs(r.leastK)
	r.greatestK += 0.02 * math.Abs(r.greatestK)
	r.single = r.single && r.greatestK < 1
	return r
}
