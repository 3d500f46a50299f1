package terrain

import "math"

// quotient is v(t) = P(t)/Q(t) on 0 ≤ t ≤ w, P and Q quadratics, lowest power first, and Q > 0 inside. Every quantity of the walk
// (the curvature that a ray bears, the apparent elevation of ground under a model) has this form within a cell, so its extremes and
// crossings are roots of quadratics and no step is needed.
type quotient struct {
	p, q [3]float64
	w    float64
}

func (f *quotient) at(t float64) float64 {
	return (f.p[0] + t*(f.p[1]+t*f.p[2])) / (f.q[0] + t*(f.q[1]+t*f.q[2]))
}

// stationary returns the places inside (0, w) where v has slope zero, in order: P'Q − PQ' has no cubic term, since those cancel.
func (f *quotient) stationary() (t [2]float64, n int) {
	p, q := &f.p, &f.q
	return rootsInside(p[1]*q[0]-p[0]*q[1], 2*(p[2]*q[0]-p[0]*q[2]), p[2]*q[1]-p[1]*q[2], f.w)
}

// crossing returns the first place in [lo, hi] where v, monotonic there and below level at lo, reaches it. Q is positive, so it is the
// root of P − level·Q; a bracketed secant polishes it, since the quadratic's formula may lose digits where P − level·Q is flat.
func (f *quotient) crossing(level, lo, hi float64) float64 {
	g := func(t float64) float64 {
		return f.p[0] - level*f.q[0] + t*(f.p[1]-level*f.q[1]+t*(f.p[2]-level*f.q[2]))
	}
	glo, ghi := g(lo), g(hi)
	if glo >= 0 {
		return lo
	}
	if ghi <= 0 {
		return hi
	}
	for range 100 {
		if hi-lo <= 1e-9 {
			break
		}
		t := lo + (hi-lo)*glo/(glo-ghi)
		// A plain secant may creep from one side; a halving step keeps the bracket shrinking.
		if mid := (lo + hi) / 2; math.Abs(t-mid) > 0.45*(hi-lo) {
			t = mid
		}
		if v := g(t); v < 0 {
			lo, glo = t, v
		} else {
			hi, ghi = t, v
		}
	}
	return hi
}

// rootsInside returns the roots of a + b·t + c·t² strictly inside (0, w), in order, by the form that does not cancel. Most pieces have
// none, which the signs at both ends and at the vertex tell without a square root.
func rootsInside(a, b, c, w float64) (t [2]float64, n int) {
	end := a + w*(b+w*c)
	if a*end > 0 {
		vertex := -b * c // of the sign of the vertex's place, −b/2c
		if vertex <= 0 || math.Abs(b) >= 2*math.Abs(c)*w {
			return t, 0
		}
	}
	discriminant := b*b - 4*a*c
	if discriminant < 0 {
		return t, 0
	}
	h := -0.5 * (b + math.Copysign(math.Sqrt(discriminant), b))
	if h == 0 {
		return t, 0 // b = 0 and a·c = 0: at most a root at 0 itself
	}
	if r := a / h; r > 0 && r < w {
		t[0], n = r, 1
	}
	if c == 0 {
		return t, n
	}
	if r := h / c; r > 0 && r < w && (n == 0 || r != t[0]) {
		t[n] = r
		n++
	}
	if n == 2 && t[0] > t[1] {
		t[0], t[1] = t[1], t[0]
	}
	return t, n
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
