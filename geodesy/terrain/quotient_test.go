package terrain

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestRootsInsideByHand(t *testing.T) {
	tests := []struct {
		name       string
		a, b, c, w float64
		want       []float64
	}{
		{"(t−1)(t−2)", 2, -3, 1, 3, []float64{1, 2}},
		{"(t−1)(t−2), only one inside", 2, -3, 1, 1.5, []float64{1}},
		{"(1−t)(t−2)", -2, 3, -1, 3, []float64{1, 2}},
		{"double root", 1, -2, 1, 3, []float64{1}},
		{"root at 0 does not count", 0, -1, 1, 3, []float64{1}},
		{"root at w does not count", 2, -3, 1, 2, []float64{1}},
		{"no real root", 1, 0, 1, 3, nil},
		{"straight line", -1, 0.5, 0, 3, []float64{2}},
		{"straight line, root outside", -1, 0.25, 0, 3, nil},
		{"constant", 1, 0, 0, 3, nil},
		{"zero everywhere", 0, 0, 0, 3, nil},
		{"t²", 0, 0, 1, 3, nil},
		{"t² − 1: no linear term", -1, 0, 1, 3, []float64{1}},
		{"1 − t²: no linear term", 1, 0, -1, 3, []float64{1}},
		{"t(t−1)", 0, -1, 1, 3, []float64{1}},
		{"both roots negative", 2, 3, 1, 3, nil},
		{"narrow piece", -1e-7, 1, 1e3, 1e-6, []float64{9.999000199950014e-08}}, // (√(1+4e-4)−1)/2000
		{"narrow piece, no root", -1e-5, 1, 1e3, 1e-6, nil},
		{"far and near root", -1e-6, 1, 1e-9, 1, []float64{1e-6}},
	}
	for _, test := range tests {
		r, n := rootsInside(test.a, test.b, test.c, test.w)
		if n != len(test.want) {
			t.Errorf("%s: rootsInside(%v, %v, %v, %v) = %v, want %v", test.name, test.a, test.b, test.c, test.w, r[:n], test.want)
			continue
		}
		for i, want := range test.want {
			if math.Abs(r[i]-want) > 1e-12*math.Max(want, 1e-6) {
				t.Errorf("%s: root %d = %v, want %v", test.name, i, r[i], want)
			}
		}
	}
}

// coefficient draws from many orders of magnitude, zero now and then.
func coefficient(random *rand.Rand) float64 {
	if random.IntN(8) == 0 {
		return 0
	}
	return (2*random.Float64() - 1) * math.Pow(10, float64(random.IntN(13)-6))
}

// Roots are strictly inside, in order, and roots they are; every change of sign on a fine grid has one.
func TestRootsInsideProperty(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 1))
	found := [3]int{}
	for range 100_000 {
		w := math.Pow(10, 6*random.Float64()-3) // 1 mm to 1 km
		var a, b, c float64
		if random.IntN(2) == 0 { // roots placed inside or near, double ones too
			r1, r2 := w*(1.4*random.Float64()-0.2), w*(1.4*random.Float64()-0.2)
			if random.IntN(4) == 0 {
				r2 = r1
			}
			c = coefficient(random)
			a, b = c*r1*r2, -c*(r1+r2)
		} else {
			a, b, c = coefficient(random), coefficient(random), coefficient(random)
		}
		p := func(t float64) float64 { return a + t*(b+t*c) }
		scale := func(t float64) float64 { return math.Abs(a) + t*(math.Abs(b)+t*math.Abs(c)) }
		r, n := rootsInside(a, b, c, w)
		found[n]++
		for i, root := range r[:n] {
			if !(root > 0 && root < w) || i > 0 && root <= r[0] {
				t.Fatalf("rootsInside(%v, %v, %v, %v) = %v: not inside and in order", a, b, c, w, r[:n])
			}
			if math.Abs(p(root)) > 1e-14*scale(root) {
				t.Fatalf("rootsInside(%v, %v, %v, %v): %v is no root: %v", a, b, c, w, root, p(root))
			}
		}
		const steps = 64
		for i := range steps {
			t0, t1 := w*float64(i)/steps, w*float64(i+1)/steps
			p0, p1 := p(t0), p(t1)
			// Signs that rounding could make do not count.
			if p0*p1 >= 0 || math.Abs(p0) < 1e-13*scale(t0) || math.Abs(p1) < 1e-13*scale(t1) {
				continue
			}
			inside := 0
			for _, root := range r[:n] {
				if root >= t0*(1-1e-12) && root <= t1*(1+1e-12) {
					inside++
				}
			}
			if inside != 1 {
				t.Fatalf("rootsInside(%v, %v, %v, %v) = %v: %d roots between %v and %v, where the sign changes", a, b, c, w, r[:n], inside, t0, t1)
			}
		}
	}
	if found[0] < 1000 || found[1] < 1000 || found[2] < 1000 {
		t.Errorf("cases with 0, 1, 2 roots: %v; the test draws too few of a sort", found)
	}
}

// randomQuotient draws one with a denominator that is positive on [0, w], degenerate ones among them.
func randomQuotient(random *rand.Rand) quotient {
	w := math.Pow(10, 5*random.Float64()-3)
	f := quotient{w: w}
	for i := range f.p {
		if random.IntN(6) > 0 {
			f.p[i] = (2*random.Float64() - 1) * 100 / math.Pow(w, float64(i))
		}
	}
	switch random.IntN(4) {
	case 0: // plain ground
		f.q = [3]float64{1, 0, 0}
	case 1: // elevation on the plane
		f.q = [3]float64{w * (0.01 + 10*random.Float64()), 1, 0}
	case 2: // x(s−x)
		x := w * (0.01 + 10*random.Float64())
		s := x + w*(1.01+10*random.Float64())
		f.q = [3]float64{x * (s - x), s - 2*x, -1}
	default: // convex, positive
		f.q = [3]float64{1, 1 / w, random.Float64() / (w * w)}
	}
	return f
}

func TestQuotientAgainstBruteForce(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 2))
	turning := 0
	for range 5000 {
		f := randomQuotient(random)
		lo, hi := 0.0, f.w
		if random.IntN(2) == 0 {
			lo, hi = f.w*0.3*random.Float64(), f.w*(1-0.3*random.Float64())
		}
		const steps = 500
		least, greatest, size := math.Inf(1), math.Inf(-1), 0.0
		for i := range steps + 1 {
			v := f.at(lo + (hi-lo)*float64(i)/steps)
			least, greatest, size = math.Min(least, v), math.Max(greatest, v), math.Max(size, math.Abs(v))
		}
		spread := greatest - least
		_, n := f.stationary()
		turning += n
		// beyond is how much more extreme than every sample the found value is; it can be a little more, never less.
		check := func(name string, place, got, beyond float64) {
			if place < lo || place > hi || f.at(place) != got {
				t.Fatalf("%s of %+v on [%v, %v] = %v at %v: not its value there", name, f, lo, hi, got, place)
			}
			if beyond < -1e-13*size || beyond > 0.02*spread+1e-13*size {
				t.Fatalf("%s of %+v on [%v, %v] = %v; %d samples lie between %v and %v", name, f, lo, hi, got, steps, least, greatest)
			}
		}
		place, v := f.least(lo, hi)
		check("least", place, v, least-v)
		place, v = f.greatest(lo, hi)
		check("greatest", place, v, v-greatest)
	}
	if turning < 1000 {
		t.Errorf("only %d stationary places in all: the test draws too few", turning)
	}
}

// Between two stationary places v is monotonic, and the crossing of any level between its values there is found.
func TestQuotientCrossing(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 3))
	crossed := 0
	for range 20000 {
		f := randomQuotient(random)
		places := []float64{0}
		stationary, n := f.stationary()
		places = append(append(places, stationary[:n]...), f.w)
		for i := range len(places) - 1 {
			lo, hi := places[i], places[i+1]
			before, after := f.at(lo), f.at(hi)
			for j := range 10 {
				v := f.at(lo + (hi-lo)*float64(j)/9)
				if slack := 1e-12 * (math.Abs(before) + math.Abs(after)); v < math.Min(before, after)-slack || v > math.Max(before, after)+slack {
					t.Fatalf("%+v is not monotonic on [%v, %v]", f, lo, hi)
				}
			}
			if !(before < after) {
				continue
			}
			level := before + (after-before)*random.Float64()
			at := f.crossing(level, lo, hi)
			crossed++
			step := 2e-9
			if at < lo || at > hi || f.at(at) < level-1e-12*math.Abs(level) && at < hi ||
				at-step > lo && f.at(at-step) > level+1e-12*(math.Abs(level)+math.Abs(before)+math.Abs(after)) {
				t.Fatalf("crossing(%v, %v, %v) of %+v = %v, where v is %v", level, lo, hi, f, at, f.at(at))
			}
		}
	}
	if crossed < 10000 {
		t.Errorf("only %d crossings", crossed)
	}
}

func TestQuotientCrossingAtTheEnds(t *testing.T) {
	f := quotient{p: [3]float64{1, 2, 0}, q: [3]float64{1, 0, 0}, w: 10} // 1 + 2t
	tests := []struct{ level, lo, hi, want float64 }{
		{7, 0, 10, 3},
		{1, 0, 10, 0},   // reached at once
		{0.5, 0, 10, 0}, // passed already
		{21, 0, 10, 10}, // reached at the very end
		{7, 3, 3, 3},
	}
	for _, test := range tests {
		if got := f.crossing(test.level, test.lo, test.hi); math.Abs(got-test.want) > 1e-9 {
			t.Errorf("crossing(%v, %v, %v) of 1+2t = %v, want %v", test.level, test.lo, test.hi, got, test.want)
		}
	}
}

// Of equal extremes the last counts: the front is the farther of two equal ridges.
func TestQuotientLastOfEquals(t *testing.T) {
	level := quotient{p: [3]float64{5, 0, 0}, q: [3]float64{1, 0, 0}, w: 10}
	if at, v := level.least(2, 8); at != 8 || v != 5 {
		t.Errorf("least of a constant = %v at %v, want 5 at 8", v, at)
	}
	if at, v := level.greatest(2, 8); at != 8 || v != 5 {
		t.Errorf("greatest of a constant = %v at %v, want 5 at 8", v, at)
	}
	bowl := quotient{p: [3]float64{0, -10, 1}, q: [3]float64{1, 0, 0}, w: 10} // t² − 10t: 0 at both ends, −25 in the middle
	if at, v := bowl.greatest(0, 10); at != 10 || v != 0 {
		t.Errorf("greatest of t² − 10t = %v at %v, want 0 at 10", v, at)
	}
	if at, v := bowl.least(0, 10); at != 5 || v != -25 {
		t.Errorf("least of t² − 10t = %v at %v, want −25 at 5", v, at)
	}
}
