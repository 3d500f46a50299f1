package geodesy

import (
	"math"
	"testing"
)

func TestSinCosDeg(t *testing.T) {
	for _, c := range []struct{ x, sin, cos float64 }{
		{0, 0, 1}, {90, 1, 0}, {180, 0, -1}, {270, -1, 0}, {360, 0, 1}, {-90, -1, 0}, {-180, 0, -1}, {720, 0, 1}, {-810, -1, 0},
	} {
		if s, o := sinCosDeg(c.x, 0); s != c.sin || o != c.cos {
			t.Errorf("sinCosDeg(%v) = %v, %v, want %v, %v", c.x, s, o, c.sin, c.cos)
		}
	}
	// 45° both ways, sqrt(1/2), and one ulp around it, where the quadrant changes.
	for _, x := range []float64{45, math.Nextafter(45, 0), math.Nextafter(45, 90), -135, 225, 315} {
		s, c := sinCosDeg(x, 0)
		if math.Abs(math.Abs(s)-math.Sqrt2/2) > 2e-16 || math.Abs(math.Abs(c)-math.Sqrt2/2) > 2e-16 {
			t.Errorf("sinCosDeg(%v) = %v, %v", x, s, c)
		}
	}
	// Against math.Sincos, which is fed the rounded radian.
	for x := -400.0; x <= 400; x += 0.37 {
		s, c := sinCosDeg(x, 0)
		ms, mc := math.Sincos(x * degree)
		if math.Abs(s-ms) > 2e-15 || math.Abs(c-mc) > 2e-15 {
			t.Errorf("sinCosDeg(%v) = %v, %v, math.Sincos %v, %v", x, s, c, ms, mc)
		}
	}
	if s, c := sinCosDeg(180, -1e-17); s != math.Sin(roundSmallDeg(1e-17)*degree) || c != -1 {
		t.Errorf("sinCosDeg(180 − 1e-17) = %v, %v: the rest is lost", s, c)
	}
}

func TestDifferenceDeg(t *testing.T) {
	for _, c := range []struct{ from, to, diff, rest float64 }{
		{10, 30, 20, 0},
		{350, 10, 20, 0},
		{179, -179, 2, 0},
		{-179, 179, -2, 0},
		{-720, 725, 5, 0},
		{0, 180, 180, 0},
		{0, -180, -180, 0},
		{1e-20, 180, 180, -1e-20}, // the rest shows that it is eastwards
		{-1e-20, 180, -180, 1e-20},
	} {
		diff, rest := differenceDeg(c.from, c.to)
		if diff != c.diff || rest != c.rest {
			t.Errorf("differenceDeg(%v, %v) = %v, %v, want %v, %v", c.from, c.to, diff, rest, c.diff, c.rest)
		}
	}
}

func TestAtan2Deg(t *testing.T) {
	zero := math.Copysign(0, -1)
	for _, c := range []struct{ y, x, want float64 }{
		{0, 1, 0}, {1, 0, 90}, {0, -1, 180}, {zero, -1, -180}, {-1, 0, -90}, {1, 1, 45}, {1, -1, 135}, {-1, -1, -135}, {-1, 1, -45}, {0, 0, 0},
		{1, 1e-20, 90}, {1e-20, -1, 180},
	} {
		if got := atan2Deg(c.y, c.x); got != c.want {
			t.Errorf("atan2Deg(%v, %v) = %v, want %v", c.y, c.x, got, c.want)
		}
	}
	for x := -179.9; x < 180; x += 0.7 {
		s, c := sinCosDeg(x, 0)
		if got := atan2Deg(s, c); math.Abs(got-x) > 3e-14 {
			t.Errorf("atan2Deg(sin %v, cos) = %v", x, got)
		}
	}
}

func TestAzimuth360(t *testing.T) {
	for _, c := range []struct{ azimuth, want float64 }{
		{0, 0}, {math.Copysign(0, -1), 0}, {180, 180}, {-180, 180}, {-1, 359}, {-1e-20, 0},
	} {
		if got := azimuth360(c.azimuth); got != c.want || math.Signbit(got) {
			t.Errorf("azimuth360(%v) = %v, want %v", c.azimuth, got, c.want)
		}
	}
}

// TestAstroid puts the root back into the quartic.
func TestAstroid(t *testing.T) {
	for x := -6.0; x <= 0; x += 0.11 {
		for y := -6.0; y <= 0; y += 0.13 {
			k := astroid(x, y)
			size := k*k*k*k + 2*k*k*k + (x*x+y*y+1)*k*k + 2*y*y*k + y*y
			left := k*k*k*k + 2*k*k*k - (x*x+y*y-1)*k*k - 2*y*y*k - y*y
			if !(k >= 0) || math.Abs(left) > 1e-14*size {
				t.Errorf("astroid(%v, %v) = %v leaves %v of %v", x, y, k, left, size)
			}
		}
	}
}

// TestSeries compares the series with Gauss's three-point rule on the integrals that they expand.
func TestSeries(t *testing.T) {
	integrate := func(to float64, f func(s2 float64) float64) float64 {
		const intervals = 200
		step := to / intervals
		sum, lost := 0.0, 0.0
		for i := range intervals {
			middle, half := step*(float64(i)+0.5), step/2
			value := 8 * f(square(math.Sin(middle)))
			for _, side := range []float64{-1, 1} {
				value += 5 * f(square(math.Sin(middle+side*half*math.Sqrt(0.6))))
			}
			var rest float64
			sum, rest = sumExact(sum, value)
			lost += rest
		}
		return (sum + lost) * step / 18
	}
	for _, e := range []*Ellipsoid{WGS84, NewEllipsoid(6.4e6, -1/300.0)} {
		for cosA0 := 0.0; cosA0 <= 1; cosA0 += 0.25 {
			k2 := e.ep2 * cosA0 * cosA0
			eps := expansion(k2, math.Sqrt(1+k2))
			for sigma := 0.1; sigma < 3.2; sigma += 0.3 {
				h := sinHarmonics(math.Sincos(sigma))
				c1, c2, c3, reverted := c1Series(eps), c2Series(eps), e.longitude.c3At(eps), c1Reverted(eps)
				i1 := (1 + a1Less1(eps)) * (sigma + h.sum(&c1))
				i2 := (1 + a2Less1(eps)) * (sigma + h.sum(&c2))
				i3 := e.longitude.a3At(eps) * (sigma + h.sum(&c3))
				tau := sigma + h.sum(&c1)
				ht := sinHarmonics(math.Sincos(tau))
				for _, c := range []struct {
					name                 string
					got, want, tolerance float64
				}{
					{"I₁", i1, integrate(sigma, func(s2 float64) float64 { return math.Sqrt(1 + k2*s2) }), 2e-15},
					{"I₂", i2, integrate(sigma, func(s2 float64) float64 { return 1 / math.Sqrt(1+k2*s2) }), 2e-15},
					// I₃ is multiplied by f, so it needs two digits less.
					{"I₃", i3, integrate(sigma, func(s2 float64) float64 { return (2 - e.f) / (1 + e.f1*math.Sqrt(1+k2*s2)) }), 1e-14},
					{"σ(τ(σ))", tau + ht.sum(&reverted), sigma, 1e-15},
				} {
					if math.Abs(c.got-c.want) > c.tolerance {
						t.Errorf("f=%.5f ε=%.6f σ=%.1f: %s = %.17f, want %.17f ± %g", e.f, eps, sigma, c.name, c.got, c.want, c.tolerance)
					}
				}
			}
		}
	}
}
