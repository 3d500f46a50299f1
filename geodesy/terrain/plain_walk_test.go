package terrain

import (
	"math"
	"testing"
)

// plainCross is cross by the loop alone.
func (a *axis) plainCross(target float64) float64 {
	direction := float64(a.direction)
	if direction*(target-a.start) < -onEdgeDeg {
		return math.Inf(-1)
	}
	if direction*(target-a.final) > onEdgeDeg {
		return math.Inf(1)
	}
	target -= a.base
	arc := a.arc
	lo, hi := arc.u(arc.x0), arc.u(arc.x1)
	s := &a.series
	t := (target - a.poly[0]) * s[0]
	u := t * (1 + t*(s[1]+t*(s[2]+t*s[3])))
	if !(u > lo) {
		u = lo
	} else if u > hi {
		u = hi
	}
	for range 60 {
		v, d := a.poly.slope(u)
		if (v-target)*direction < 0 {
			lo = u
		} else {
			hi = u
		}
		next := u - (v-target)/d
		if !(next >= lo && next <= hi) {
			u = (lo + hi) / 2
			continue
		}
		step := (next - u) * arc.half
		u = next
		if math.Abs(step) < crossedM {
			break
		}
	}
	return arc.middle + arc.half*u
}

// One step of Newton's, where it is enough, comes to where the loop comes to, to the bit; and crossings worked out ahead are those of the lines
// that the walk comes to.
func TestCrossIsThePlainOne(t *testing.T) {
	steps := 0
	for i, g := range append(realGrounds(), madeGrounds()...) {
		w := g.walker(t)
		next := g.lines(w, uint64(40+i))
		for range 30 {
			l := next()
			for n := range l.arcs {
				a := &l.arcs[n]
				for _, x := range []axis{newAxis(a, &a.lat, a.lat0, -1, 1), newAxis(a, &a.lon, a.lon0, -1, 1)} {
					if x.direction == 0 {
						continue
					}
					x.enter(a.x0, x.start, evenLattice(301))
					for left := false; !left && !math.IsInf(x.crossing, 1); left = x.step() {
						x.next()
						_, line := x.bounds(x.index, x.index)
						if want := x.plainCross(x.lineDeg(line)); x.crossing != want {
							t.Fatalf("%s, %v to %v, arc %d: line %d is crossed at %v m, plainly %v m", g.name, l.From.At, l.To.At, n, line, x.crossing, want)
						}
						steps++
					}
				}
			}
		}
	}
	if steps < 10000 {
		t.Errorf("only %d crossings were compared", steps)
	}
}
