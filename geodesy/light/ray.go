package light

import "math"

// A ray on the sphere obeys n·r·cos ε = const (Snell). Where n goes with r^−k, it is straight in the angle at the Earth's centre:
// ε grows by (1−k)·θ (the law of T. Simpson and J. Bradley for astronomical refraction; from memory), so that every sublayer is
// crossed in closed form, turning points, horizontal rays and k ≥ 1 included, without a small step in the angle.

// ray is one ray on its way through a profile over a sphere.
type ray struct {
	air      *sublayers
	radiusM  float64
	sublayer int
	heightM  float64
	sin, cos float64 // of the elevation
	// thetaRad is the angle at the Earth's centre covered so far, bendRad the angle by which the ray has turned downwards.
	thetaRad, bendRad float64
	lowestM, highestM float64
	greatestK         float64
	turns             int
	// ceilingM ends the ray on its way up; +Inf for none.
	ceilingM float64
}

// stillM keeps a ray that swings about a height from taking millions of steps.
const stillM = 1e-6

func (p *Profile) start(eyeM, elevationRad, radiusM float64) ray {
	sin, cos := math.Sincos(elevationRad)
	r := ray{air: &p.sub, radiusM: radiusM, heightM: eyeM, sin: sin, cos: cos, lowestM: eyeM, highestM: eyeM,
		greatestK: math.Inf(-1), ceilingM: math.Inf(1)}
	r.sublayer = p.sub.index(eyeM)
	if sin < 0 && r.sublayer > 0 && p.sub.boundM[r.sublayer] == eyeM {
		r.sublayer--
	}
	return r
}

// logGrowth returns ln((r+d)/r) for a d under a thousandth of r.
func logGrowth(dM, rM float64) float64 {
	x := dM / rM
	return x * (1 - x*(0.5-x*(1.0/3-x/4)))
}

// squares returns 1 − e^(−2u), and squaresOverTwo that over 2u, for |u| under 1e-3.
func squares(u float64) float64 { return 2 * u * squaresOverTwo(u) }

func squaresOverTwo(u float64) float64 { return 1 - u*(1-u*(2.0/3-u*(1.0/3-u*2/15))) }

// arcOverSine returns asin(x)/x, |x| ≤ 1.
func arcOverSine(x float64) float64 {
	if square := x * x; square < 1e-4 {
		return 1 + square*(1.0/6+square*3/40)
	}
	return math.Asin(math.Max(-1, math.Min(x, 1))) / math.Max(-1, math.Min(x, 1))
}

// straightness returns 1−k of the sublayer on the ray's own sphere; under the lowest bound that of the lowest sublayer, 1 above the air.
func (r *ray) straightness(i int) float64 {
	if i >= len(r.air.logRatio) {
		return 1
	}
	i = max(i, 0)
	lower := r.air.boundM[i]
	return 1 + r.air.logRatio[i]/logGrowth(r.air.boundM[i+1]-lower, r.radiusM+lower)
}

// run follows the ray until it has covered untilRad, or with untilRad = +Inf until it leaves the air upwards or downwards; false when it
// then never does.
func (r *ray) run(untilRad float64) bool {
	endless := math.IsInf(untilRad, 1)
	for {
		inside := r.sublayer >= 0 && r.sublayer < len(r.air.logRatio)
		if endless && (!inside || r.turns > 2) {
			return !inside
		}
		a := r.straightness(r.sublayer)
		r.greatestK = math.Max(r.greatestK, 1-a)
		switch {
		case inside && r.held(a):
			a = 0
			r.sin, r.cos = 0, 1
		case inside && r.cross(a, untilRad):
			continue
		}
		if endless {
			return false
		}
		r.finish(a, untilRad-r.thetaRad)
		return true
	}
}

// held tells whether the ray follows the bound it stands on for good, in air of k < 1 under air of k > 1, or swings about it by less than stillM.
func (r *ray) held(a float64) bool {
	var under, over float64
	switch r.heightM {
	case r.air.boundM[r.sublayer]:
		under, over = r.straightness(r.sublayer-1), a
	case r.air.boundM[r.sublayer+1]:
		under, over = a, r.straightness(r.sublayer+1)
	default:
		return false
	}
	return under >= 0 && over <= 0 && r.sin*r.sin <= 2*math.Min(under, -over)*stillM/r.radiusM
}

// cross takes the ray to the bound where it leaves its sublayer of k = 1−a, unless it covers untilRad before; then it stays where it is, and
// cross returns false.
func (r *ray) cross(a, untilRad float64) bool {
	up := r.sin > 0 || r.sin == 0 && a > 0
	if r.sin == 0 {
		if a == 0 {
			return false
		}
		if r.heightM == r.bound(up) {
			r.enter(up)
			return true
		}
	}
	growth := logGrowth(r.bound(up)-r.heightM, r.radiusM+r.heightM)
	sinSquared := r.sin*r.sin + r.cos*r.cos*squares(a*growth)
	turned := sinSquared < 0
	if turned {
		up = !up
		growth = logGrowth(r.bound(up)-r.heightM, r.radiusM+r.heightM)
		sinSquared = math.Max(r.sin*r.sin+r.cos*r.cos*squares(a*growth), 0)
	}
	sin, u := math.Sqrt(sinSquared), a*growth
	if !up {
		sin = -sin
	}
	cos := r.cos * (1 - u*(1-u*(0.5-u/6)))
	var theta float64
	if turned {
		theta = (math.Atan2(sin, cos) - math.Atan2(r.sin, r.cos)) / a
	} else {
		// sin(ε₂−ε₁)·sin(ε₂+ε₁) = sin²ε₂ − sin²ε₁ = cos²ε₁·(1−e^(−2u)), divided by a before a can vanish.
		theta = r.cos * r.cos * growth * squaresOverTwo(u) * 2 / (r.sin*cos + r.cos*sin)
		theta *= arcOverSine(theta * a)
	}
	if !(r.thetaRad+theta <= untilRad) {
		return false
	}
	if turned {
		r.turn(a)
	}
	r.advance(r.bound(up), theta, a)
	r.sin, r.cos = sin, cos
	r.enter(up)
	return true
}

func (r *ray) bound(up bool) float64 {
	if up {
		return math.Min(r.air.boundM[r.sublayer+1], r.ceilingM)
	}
	return r.air.boundM[r.sublayer]
}

func (r *ray) enter(up bool) {
	if up {
		r.sublayer++
	} else {
		r.sublayer--
	}
}

// turn notes the height at which the ray is level on its way through air of k = 1−a, which is not 1.
func (r *ray) turn(a float64) {
	r.turns++
	r.reached(r.heightM + (r.radiusM+r.heightM)*math.Expm1(math.Log1p(-r.sin*r.sin)/2/a))
}

func (r *ray) reached(heightM float64) {
	r.lowestM, r.highestM = math.Min(r.lowestM, heightM), math.Max(r.highestM, heightM)
}

func (r *ray) advance(heightM, thetaRad, a float64) {
	r.heightM = heightM
	r.thetaRad += thetaRad
	r.bendRad += (1 - a) * thetaRad
	r.reached(heightM)
}

// finish takes the ray a last thetaRad on, through air of k = 1−a.
func (r *ray) finish(a, thetaRad float64) {
	elevation := math.Atan2(r.sin, r.cos)
	turn := a * thetaRad
	end := elevation + turn
	if elevation*end < 0 {
		r.turn(a)
	}
	// ln(r₂/r₁) = −ln(cos ε₂/cos ε₁)/a, written so that a may vanish; infinite where the ray never stands over a point so far away.
	growth := thetaRad * math.Sin(elevation+end) / (2 * r.cos * r.cos)
	if turn != 0 {
		growth *= math.Sin(turn) / turn
	}
	switch y := 2 * a * growth; {
	case y >= 1:
		growth = math.Inf(int(math.Copysign(1, end)))
	case math.Abs(y) > 1e-9:
		growth *= -math.Log1p(-y) / y
	}
	r.advance(r.heightM+(r.radiusM+r.heightM)*math.Expm1(growth), thetaRad, a)
	r.sin, r.cos = math.Sincos(end)
}
