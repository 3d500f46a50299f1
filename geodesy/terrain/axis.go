package terrain

import "math"

// axis follows one coordinate along an arc across its grid lines.
type axis struct {
	arc       *arc
	poly      *poly
	base      float64    // degrees to add to the polynomial
	series    [4]float64 // the first guess at a crossing, about the middle of the arc
	direction int        // +1, −1, or 0 where the coordinate does not change
	start     float64    // values at both ends of the stretch that is walked
	final     float64
	degree    int     // the whole degree of the tile
	lattice   Lattice // from the southern or western edge
	index     int     // cell within the tile
	crossing  float64 // x of the line by which the walk leaves the cell
	lo, hi    float64 // u of both ends of the arc
	ahead     ahead
}

// ahead holds the crossings of the next lines of a tile. They are worked out several at a time, since a processor works on several at once where
// no choice of the walk's stands between them.
type ahead struct {
	x     [16]float64
	first int // the line of x[0]
	n     int
}

// onEdgeDeg is how near to a tile's edge a line along it counts as on it, 0.1 mm.
const onEdgeDeg = 1e-9

func newAxis(arc *arc, p *poly, base, u0, u1 float64) axis {
	start, final := base+p.at(u0), base+p.at(u1)
	a := axis{arc: arc, poly: p, base: base, start: start, final: final, lo: arc.u(arc.x0), hi: arc.u(arc.x1)}
	// Along a meridian or the equator the polynomial holds only rounding noise, which must not be followed.
	if math.Abs(final-start) > 1e-10 {
		a.direction = 1
		if final < start {
			a.direction = -1
		}
	}
	if whole := math.Round(start); a.direction == 0 && math.Abs(start-whole) < onEdgeDeg {
		start = whole
	}
	a.degree = int(math.Floor(start))
	if a.direction < 0 && float64(a.degree) == start {
		a.degree--
	}
	// With t = (v − p₀)/p₁ and rᵢ = pᵢ/p₁, v = p₀ + p₁u + p₂u² + … reverts to u = t − r₂t² + (2r₂² − r₃)t³ − (5r₂³ − 5r₂r₃ + r₄)t⁴ + …
	// (Abramowitz and Stegun 1964, 3.6.25).
	r2, r3, r4 := p[2]/p[1], p[3]/p[1], p[4]/p[1]
	a.series = [4]float64{1 / p[1], -r2, 2*r2*r2 - r3, -5*r2*r2*r2 + 5*r2*r3 - r4}
	return a
}

// along tells whether the coordinate stays on the line of a value all the way.
func (a *axis) along(value float64) bool {
	return a.direction == 0 && math.Abs(value-float64(a.degree)) < onEdgeDeg
}

// bounds returns the grid lines by which the walk enters and leaves the cells first…last.
func (a *axis) bounds(first, last int) (enter, leave int) {
	if a.direction < 0 {
		return last + 1, first
	}
	return first, last + 1
}

// enter sets the cell of a value at x in a tile with the given lattice.
func (a *axis) enter(x, value float64, lattice Lattice) {
	a.lattice, a.ahead.n = lattice, 0
	a.index = lattice.index(value-float64(a.degree), a.direction < 0)
	if a.direction == 0 {
		return
	}
	// A value may be rounded across the line that it comes to: where the line is crossed decides.
	line, _ := a.bounds(a.index, a.index)
	past := value - float64(a.degree) - lattice.at(line)
	if before := a.index - a.direction; math.Abs(past) < onEdgeDeg && before >= 0 && before <= lattice.N-2 && a.cross(a.lineDeg(line)) > x {
		a.index = before
	}
}

// next finds the crossing by which the walk leaves the cell.
func (a *axis) next() {
	a.crossing = math.Inf(1)
	if a.direction != 0 {
		_, line := a.bounds(a.index, a.index)
		at := (line - a.ahead.first) * a.direction
		if at < 0 || at >= a.ahead.n {
			a.lookAhead(line)
			at = 0
		}
		a.crossing = a.ahead.x[at]
	}
}

// lookAhead works out the crossings from a line on.
func (a *axis) lookAhead(line int) {
	h := &a.ahead
	h.first, h.n = line, 0
	for ; h.n < len(h.x) && line >= 0 && line <= a.lattice.N-1; line += a.direction {
		h.x[h.n] = a.cross(a.lineDeg(line))
		h.n++
	}
}

// step moves to the next cell and tells whether that lies in another tile.
func (a *axis) step() (left bool) {
	a.index += a.direction
	if a.index < 0 || a.index > a.lattice.N-2 {
		a.degree += a.direction
		return true
	}
	return false
}

// lineDeg returns the degrees of a grid line of the tile.
func (a *axis) lineDeg(line int) float64 { return float64(a.degree) + a.lattice.at(line) }

// crossedM is the length of the last step towards a crossing: Newton's error after a step is that step squared times the curvature of the path,
// which is below 1e-6 per metre.
const crossedM = 0.02

// cross returns the x at which the coordinate, which must change along the arc, comes to a value in degrees: −Inf or +Inf where it does so
// before or beyond the stretch. It is a function of the arc and of that value alone, whatever the lattice and whatever was crossed before,
// so that a walk may begin anywhere and meet the same cells.
func (a *axis) cross(target float64) float64 {
	direction := float64(a.direction)
	if direction*(target-a.start) < -onEdgeDeg {
		return math.Inf(-1)
	}
	if direction*(target-a.final) > onEdgeDeg {
		return math.Inf(1)
	}
	target -= a.base
	arc := a.arc
	lo, hi := a.lo, a.hi
	s := &a.series
	t := (target - a.poly[0]) * s[0]
	u := t * (1 + t*(s[1]+t*(s[2]+t*s[3])))
	if !(u > lo) { // also NaN
		u = lo
	} else if u > hi {
		u = hi
	}
	// One step of Newton's is nearly always enough. The branches of the loop, which go either way, cost more than the step.
	v, d := a.poly.slope(u)
	if next := u - (v-target)/d; d*direction > 0 && next >= lo && next <= hi && math.Abs((next-u)*arc.half) < crossedM {
		return arc.middle + arc.half*next
	}
	for range 60 {
		v, d := a.poly.slope(u)
		if (v-target)*direction < 0 {
			lo = u
		} else {
			hi = u
		}
		next := u - (v-target)/d
		if !(next >= lo && next <= hi) { // also NaN
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
