package geodesy

// The series below expand the three integrals of the geodesic to sixth order, which leaves less than 10⁻¹⁶ of the arc for
// |flattening| up to 1/150. Names A₁, C₁ and so on as in Karney 2013, sections 2 and 3; the coefficients follow from the Fourier
// expansion of sqrt(1 + k² sin²σ), 1/sqrt(1 + k² sin²σ) and (2−f)/(1 + (1−f)·sqrt(1 + k² sin²σ)) in powers of
// ε = (sqrt(1+k²) − 1)/(sqrt(1+k²) + 1), and the tests integrate these numerically.

const order = 6

// harmonics holds sin 2lσ for l = 1…6, or differences of it.
type harmonics [order]float64

// sinHarmonics returns sin 2lσ from sine and cosine of σ, by the recurrence sin 2(l+1)σ = 2 cos 2σ sin 2lσ − sin 2(l−1)σ.
// Its error grows with l while the coefficients fall by ε < 0.002 a step.
func sinHarmonics(s, c float64) (h harmonics) {
	x := 2 * (c - s) * (c + s)
	h[0] = 2 * s * c
	h[1] = x * h[0]
	h[2] = x*h[1] - h[0]
	h[3] = x*h[2] - h[1]
	h[4] = x*h[3] - h[2]
	h[5] = x*h[4] - h[3]
	return h
}

func (h *harmonics) sum(c *[order]float64) float64 {
	return h[0]*c[0] + (h[1]*c[1] + (h[2]*c[2] + (h[3]*c[3] + (h[4]*c[4] + h[5]*c[5]))))
}

// expansion returns ε for k² = e'² cos²α₀, without loss for small k.
func expansion(k2, sqrt1k2 float64) float64 { return k2 / (2*(1+sqrt1k2) + k2) }

// a1Less1 returns A₁ − 1, A₁ the mean of sqrt(1 + k² sin²σ).
func a1Less1(eps float64) float64 {
	e2 := eps * eps
	t := e2 * (1.0/4 + e2*(1.0/64+e2*(1.0/256)))
	return (t + eps) / (1 - eps)
}

// a2Less1 returns A₂ − 1, A₂ the mean of 1/sqrt(1 + k² sin²σ).
func a2Less1(eps float64) float64 {
	e2 := eps * eps
	t := e2 * (3.0/4 + e2*(7.0/64+e2*(11.0/256)))
	return -(t + eps) / (1 + eps)
}

// c1Series returns C₁: distance is b·A₁·(σ + Σ C₁ₗ sin 2lσ).
func c1Series(eps float64) (c [order]float64) {
	e2 := eps * eps
	e4 := e2 * e2
	c[0] = eps * (-1.0/2 + e2*(3.0/16-e2*(1.0/32)))
	c[1] = e2 * (-1.0/16 + e2*(1.0/32-e2*(9.0/2048)))
	c[2] = e2 * eps * (-1.0/48 + e2*(3.0/256))
	c[3] = e4 * (-5.0/512 + e2*(3.0/512))
	c[4] = e4 * eps * (-7.0 / 1280)
	c[5] = e4 * e2 * (-7.0 / 2048)
	return c
}

// c1Reverted returns C₁': σ = τ + Σ C₁'ₗ sin 2lτ, τ the scaled distance s/(b·A₁).
func c1Reverted(eps float64) (c [order]float64) {
	e2 := eps * eps
	e4 := e2 * e2
	c[0] = eps * (1.0/2 + e2*(-9.0/32+e2*(205.0/1536)))
	c[1] = e2 * (5.0/16 + e2*(-37.0/96+e2*(1335.0/4096)))
	c[2] = e2 * eps * (29.0/96 - e2*(75.0/128))
	c[3] = e4 * (539.0/1536 - e2*(2391.0/2560))
	c[4] = e4 * eps * (3467.0 / 7680)
	c[5] = e4 * e2 * (38081.0 / 61440)
	return c
}

// c2Series returns C₂, which does for the second integral of the reduced length what C₁ does for distance.
func c2Series(eps float64) (c [order]float64) {
	e2 := eps * eps
	e4 := e2 * e2
	c[0] = eps * (1.0/2 + e2*(1.0/16+e2*(1.0/32)))
	c[1] = e2 * (3.0/16 + e2*(1.0/32+e2*(35.0/2048)))
	c[2] = e2 * eps * (5.0/48 + e2*(5.0/256))
	c[3] = e4 * (35.0/512 + e2*(7.0/512))
	c[4] = e4 * eps * (63.0 / 1280)
	c[5] = e4 * e2 * (77.0 / 2048)
	return c
}

// longitudeSeries holds A₃ and C₃ as polynomials in ε, their dependence on the third flattening n
// worked in once for the ellipsoid.
type longitudeSeries struct {
	a3  [order]float64            // a3[j] goes with ε^j
	c3l [order - 1][order]float64 // c3l[l−1][j] goes with ε^j
}

func newLongitudeSeries(n float64) longitudeSeries {
	n2 := n * n
	return longitudeSeries{
		a3: [order]float64{1, -(1 - n) / 2, -(2 + n - 3*n2) / 8, -(1 + 3*n + n2) / 16, -(3 + 2*n) / 64, -3.0 / 128},
		c3l: [order - 1][order]float64{
			{1: (1 - n) / 4, 2: (1 - n2) / 8, 3: (3 + 3*n - n2) / 64, 4: (5.0/2 + n) / 64, 5: 3.0 / 128},
			{2: (2 - 3*n + n2) / 32, 3: (3 - 2*n - 3*n2) / 64, 4: (3 + n) / 128, 5: 5.0 / 256},
			{3: (5 - 9*n + 5*n2) / 192, 4: (9 - 10*n) / 384, 5: 7.0 / 512},
			{4: (7 - 14*n) / 512, 5: 7.0 / 512},
			{5: 21.0 / 2560},
		},
	}
}

func (s *longitudeSeries) a3At(eps float64) float64 {
	a := &s.a3
	return a[0] + eps*(a[1]+eps*(a[2]+eps*(a[3]+eps*(a[4]+eps*a[5]))))
}

func (s *longitudeSeries) c3At(eps float64) (c [order]float64) {
	e2 := eps * eps
	k := &s.c3l
	c[0] = eps * (k[0][1] + eps*(k[0][2]+eps*(k[0][3]+eps*(k[0][4]+eps*k[0][5]))))
	c[1] = e2 * (k[1][2] + eps*(k[1][3]+eps*(k[1][4]+eps*k[1][5])))
	c[2] = e2 * eps * (k[2][3] + eps*(k[2][4]+eps*k[2][5]))
	c[3] = e2 * e2 * (k[3][4] + eps*k[3][5])
	c[4] = e2 * e2 * eps * k[4][5]
	return c
}

// arcLengths holds what distance and reduced length need of a piece of a geodesic, as multiples of the semi-minor axis.
type arcLengths struct {
	distance, reduced, m0 float64
}

// spherePoint is a point of the geodesic on the auxiliary sphere: sine and cosine of its arc σ from the node, and
// dn = sqrt(1 + e'² sin²β), β its reduced latitude.
type spherePoint struct {
	sin, cos, dn float64
}

// lengthsBetween evaluates distance and reduced length (Karney 2013, sections 2 and 3) for the arc sigma12 (radians) from p to q,
// given the differences of the harmonics of its ends.
func lengthsBetween(eps, sigma12 float64, diff *harmonics, p, q spherePoint) arcLengths {
	a1, a2 := a1Less1(eps), a2Less1(eps)
	c1, c2 := c1Series(eps), c2Series(eps)
	m0 := a1 - a2
	a1, a2 = 1+a1, 1+a2
	b1 := a1 * diff.sum(&c1)
	j := m0*sigma12 + (b1 - a2*diff.sum(&c2))
	return arcLengths{
		distance: a1*sigma12 + b1,
		reduced:  q.dn*(p.cos*q.sin) - p.dn*(p.sin*q.cos) - p.cos*q.cos*j,
		m0:       m0,
	}
}

func difference(p, q spherePoint) harmonics {
	h, g := sinHarmonics(p.sin, p.cos), sinHarmonics(q.sin, q.cos)
	for l := range h {
		h[l] = g[l] - h[l]
	}
	return h
}
