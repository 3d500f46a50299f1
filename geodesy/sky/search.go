package sky

import (
	"math"
	"sort"
)

// The searches below walk a smooth function of time (an elevation, a separation) hour by hour. Between two samples such a function of
// the daily turn has at most one extremum: it has one highest and one lowest value a day.

const (
	stepS         = 3600
	fastestRadS   = 20 * radPerDeg / 3600 // no elevation or separation changes faster; the Earth's turn is 15.04° an hour
	closeEnough   = 5e-9                  // radians, 0.001″: where a root counts as found
	timeEnoughS   = 1e-3
	extremumWithS = 0.25
)

// point is a value of a function of seconds.
type point struct{ s, value float64 }

// crossing is a change of sign.
type crossing struct {
	s      float64
	rising bool
}

// samplesOver returns the seconds at which to sample a stretch of time: hourly, from an hour before it to an hour after.
func samplesOver(lengthS float64) []float64 {
	var at []float64
	for s := float64(-stepS); s < lengthS+2*stepS; s += stepS {
		at = append(at, s)
	}
	return at
}

// sample evaluates f at the given seconds.
func sample(f func(s float64) float64, at []float64) []point {
	points := make([]point, len(at))
	for i, s := range at {
		points[i] = point{s, f(s)}
	}
	return points
}

// crossings returns the changes of sign of f, in order, from its samples. Where two fall between neighbouring samples it finds the
// extremum between them first; pairs less than about a second apart may be missed.
func crossings(f func(s float64) float64, points []point) []crossing {
	all := append([]point(nil), points...)
	for i := 1; i+1 < len(points); i++ {
		a, b, c := points[i-1], points[i], points[i+1]
		near := math.Abs(b.value)
		turning := near <= math.Abs(a.value) && near <= math.Abs(c.value) && positive(a) == positive(b) && positive(b) == positive(c)
		if turning && near < fastestRadS*stepS {
			all = append(all, nearest(f, a, c))
		}
	}
	sort.Slice(all, func(i, j int) bool { return all[i].s < all[j].s })
	var found []crossing
	for i := 1; i < len(all); i++ {
		if positive(all[i-1]) != positive(all[i]) {
			found = append(found, crossing{root(f, all[i-1], all[i], timeEnoughS), positive(all[i])})
		}
	}
	return found
}

func positive(p point) bool { return p.value >= 0 }

// nearest returns the point between two of one sign at which f comes nearest to zero, or the first found across it.
func nearest(f func(s float64) float64, a, b point) point {
	sign := 1.0
	if !positive(a) {
		sign = -1
	}
	return least(func(s float64) float64 { return sign * f(s) }, sign, a.s, b.s, true)
}

// least returns the least value of g between two seconds by golden section, given back as sign × g; with stop set, the first negative
// value found will do.
func least(g func(s float64) float64, sign, from, to float64, stop bool) point {
	const ratio = 0.6180339887498949
	left, right := to-ratio*(to-from), from+ratio*(to-from)
	gl, gr := g(left), g(right)
	for to-from > extremumWithS && !(stop && min(gl, gr) < 0) {
		if gl < gr {
			to, right, gr = right, left, gl
			left = to - ratio*(to-from)
			gl = g(left)
		} else {
			from, left, gl = left, right, gr
			right = from + ratio*(to-from)
			gr = g(right)
		}
	}
	if gl < gr {
		return point{left, sign * gl}
	}
	return point{right, sign * gr}
}

// root returns where f vanishes between two points of different sign, by the false position of Illinois (M. Dowell, P. Jarratt, BIT 11
// (1971) 168), to the given width or to a value of closeEnough.
func root(f func(s float64) float64, a, b point, within float64) float64 {
	for range 100 { // a handful do; the bracket holds in any case
		if math.Abs(b.s-a.s) <= within || a.value == b.value {
			break
		}
		c := point{s: b.s - b.value*(b.s-a.s)/(b.value-a.value)}
		c.value = f(c.s)
		if math.Abs(c.value) < closeEnough {
			return c.s
		}
		if positive(c) != positive(b) {
			a = b
		} else {
			a.value /= 2
		}
		b = c
	}
	return b.s
}
