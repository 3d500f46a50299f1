package geodesy

import "math"

// problem is the inverse problem in its canonical place: the first point at least as far from the equator as the second, south of
// it, and west of the second (Karney 2013, section 4).
type problem struct {
	sinB1, cosB1, dn1    float64
	sinB2, cosB2, dn2    float64
	lambda12, sinL, cosL float64
	supplementDeg        float64 // 180° − λ₁₂
	atPole               bool    // the first point
}

const (
	ulp       = 0x1p-52
	sqrtUlp   = 0x1p-26
	tolerance = 200 * ulp
	// newtonLimit and bisectLimit bound the search. On WGS84 no pair of four million, half of them near-antipodal, took more than
	// 7 trials; past newtonLimit bisection halves the bracket until it closes.
	newtonLimit = 20
	bisectLimit = newtonLimit + 53 + 10
)

// solve is the inverse problem: Karney 2013, section 4.
func (e *Ellipsoid) solve(from, to LatLon) (s solution) {
	lon12, rest := differenceDeg(from.LonDeg, to.LonDeg)
	lonSign := math.Copysign(1, lon12)
	lon12, rest = lon12*lonSign, rest*lonSign
	lat1, lat2 := roundSmallDeg(from.LatDeg), roundSmallDeg(to.LatDeg)
	swap := math.Abs(lat1) < math.Abs(lat2)
	if swap {
		lat1, lat2 = lat2, lat1
	}
	latSign := -math.Copysign(1, lat1)
	lat1, lat2 = lat1*latSign, lat2*latSign

	p := problem{lambda12: lon12 * degree, supplementDeg: (180 - lon12) - rest, atPole: lat1 == -90}
	p.sinL, p.cosL = sinCosDeg(lon12, rest)
	p.sinB1, p.cosB1 = e.reducedLatitude(lat1)
	p.sinB2, p.cosB2 = e.reducedLatitude(lat2)
	if math.IsNaN(p.sinB1 + p.sinB2 + lon12) {
		nan := math.NaN()
		return solution{nan, nan, nan, nan, nan, nan, nan}
	}
	// Equal latitudes must stay equal to the last bit in the component that is taken differences of.
	if p.cosB1 < -p.sinB1 {
		if p.cosB2 == p.cosB1 {
			p.sinB2 = math.Copysign(p.sinB1, p.sinB2)
		}
	} else if math.Abs(p.sinB2) == -p.sinB1 {
		p.cosB2 = p.cosB1
	}
	p.dn1 = math.Sqrt(1 + e.ep2*p.sinB1*p.sinB1)
	p.dn2 = math.Sqrt(1 + e.ep2*p.sinB2*p.sinB2)

	if !e.alongMeridian(&p, &s) && !e.alongEquator(&p, &s) && !e.guess(&p, &s) {
		e.search(&p, &s)
	}
	s.distanceM *= e.b
	s.reducedM *= e.b
	if swap {
		s.sinA1, s.cosA1, s.sinA2, s.cosA2 = s.sinA2, s.cosA2, s.sinA1, s.cosA1
		latSign = -latSign // the way back mirrored east to west: the sines stay
	}
	s.sinA1, s.sinA2 = s.sinA1*lonSign, s.sinA2*lonSign
	s.cosA1, s.cosA2 = s.cosA1*latSign, s.cosA2*latSign
	if s.distanceM == 0 {
		s.sinA1, s.cosA1, s.sinA2, s.cosA2 = 0, 1, 0, 1
	}
	return s
}

// alongMeridian solves meridional problems, and says no where the meridian is not the shortest way.
func (e *Ellipsoid) alongMeridian(p *problem, s *solution) bool {
	if !p.atPole && p.sinL != 0 {
		return false
	}
	start := spherePoint{p.sinB1, p.cosL * p.cosB1, p.dn1}
	end := spherePoint{p.sinB2, p.cosB2, p.dn2}
	sigma12 := arcBetween(start, end)
	diff := difference(start, end)
	l := lengthsBetween(e.n, sigma12, &diff, start, end) // ε = n on a meridian
	if sigma12 >= sqrtUlp && l.reduced < 0 {
		return false
	}
	s.sinA1, s.cosA1 = p.sinL, p.cosL
	s.sinA2, s.cosA2 = 0, 1
	if sigma12 < 3*tinyLength || sigma12 < ulp && (l.distance < 0 || l.reduced < 0) {
		return true
	}
	s.distanceM, s.reducedM, s.sigma12 = l.distance, l.reduced, sigma12
	return true
}

// alongEquator solves equatorial problems short of the point where the equator stops being the shortest way.
func (e *Ellipsoid) alongEquator(p *problem, s *solution) bool {
	if p.sinB1 != 0 || e.f > 0 && p.supplementDeg < e.f*180 {
		return false
	}
	s.sinA1, s.sinA2 = 1, 1
	s.sigma12 = p.lambda12 / e.f1
	s.distanceM, s.reducedM = s.sigma12, math.Sin(s.sigma12)
	return true
}

// guess puts a first azimuth at the start into s: that of a great circle, or of the astroid next to the antipode. It reports true
// if the line is so short that the great circle solves it outright.
func (e *Ellipsoid) guess(p *problem, s *solution) bool {
	sinB12 := p.sinB2*p.cosB1 - p.cosB2*p.sinB1
	cosB12 := p.cosB2*p.cosB1 + p.sinB2*p.sinB1
	sinB12a := p.sinB2*p.cosB1 + p.cosB2*p.sinB1
	short := cosB12 >= 0 && sinB12 < 0.5 && p.cosB2*p.lambda12 < 0.5
	sinO12, cosO12 := p.sinL, p.cosL
	dnMean := 1.0
	if short { // a great circle on the sphere that fits the mean latitude
		m2 := square(p.sinB1 + p.sinB2)
		m2 /= m2 + square(p.cosB1+p.cosB2)
		dnMean = math.Sqrt(1 + e.ep2*m2)
		sinO12, cosO12 = math.Sincos(p.lambda12 / (e.f1 * dnMean))
	}
	s.sinA1 = p.cosB2 * sinO12
	if cosO12 >= 0 {
		s.cosA1 = sinB12 + p.cosB2*p.sinB1*square(sinO12)/(1+cosO12)
	} else {
		s.cosA1 = sinB12a - p.cosB2*p.sinB1*square(sinO12)/(1-cosO12)
	}
	sinS12 := math.Sqrt(square(s.sinA1) + square(s.cosA1))
	cosS12 := p.sinB1*p.sinB2 + p.cosB1*p.cosB2*cosO12

	switch {
	case short && sinS12 < e.shortArc:
		s.sinA2 = p.cosB1 * sinO12
		versine := 1 - cosO12
		if cosO12 >= 0 {
			versine = square(sinO12) / (1 + cosO12)
		}
		s.cosA2 = sinB12 - p.cosB1*p.sinB2*versine
		s.sinA1, s.cosA1 = unit(s.sinA1, s.cosA1)
		s.sinA2, s.cosA2 = unit(s.sinA2, s.cosA2)
		s.sigma12 = math.Atan2(sinS12, cosS12)
		s.distanceM = s.sigma12 * dnMean
		s.reducedM = dnMean * dnMean * math.Sin(s.sigma12/dnMean)
		return true
	case math.Abs(e.n) > 0.1 || cosS12 >= 0 || sinS12 >= 6*math.Abs(e.n)*math.Pi*square(p.cosB1):
	default:
		e.guessNearAntipode(p, s, sinB12a)
	}
	if s.sinA1 <= 0 {
		s.sinA1, s.cosA1 = 1, 0
		return false
	}
	s.sinA1, s.cosA1 = unit(s.sinA1, s.cosA1)
	return false
}

// guessNearAntipode solves the problem in the plane next to the antipode, where the geodesics envelop an astroid: Karney 2013,
// section 5; for prolate ellipsoids with longitude and latitude exchanged.
func (e *Ellipsoid) guessNearAntipode(p *problem, s *solution, sinB12a float64) {
	short := math.Atan2(-p.sinL, -p.cosL) // λ₁₂ − π
	var x, y, lambdaScale float64
	if e.f >= 0 {
		k2 := square(p.sinB1) * e.ep2
		lambdaScale = e.f * p.cosB1 * e.longitude.a3At(expansion(k2, p.dn1)) * math.Pi
		x, y = short/lambdaScale, sinB12a/(lambdaScale*p.cosB1)
	} else {
		cosB12a := p.cosB2*p.cosB1 - p.sinB2*p.sinB1
		start := spherePoint{p.sinB1, -p.cosB1, p.dn1}
		end := spherePoint{p.sinB2, p.cosB2, p.dn2}
		diff := difference(start, end)
		l := lengthsBetween(e.n, math.Pi+math.Atan2(sinB12a, cosB12a), &diff, start, end)
		x = -1 + l.reduced/(p.cosB1*p.cosB2*l.m0*math.Pi)
		betaScale := -e.f * square(p.cosB1) * math.Pi
		if x < -0.01 {
			betaScale = sinB12a / x
		}
		lambdaScale = betaScale / p.cosB1
		y = short / lambdaScale
	}
	switch {
	case y > -tolerance && x > -1-1000*sqrtUlp && e.f >= 0: // on the cut, where the astroid is singular
		s.sinA1 = min(1, -x)
		s.cosA1 = -math.Sqrt(1 - square(s.sinA1))
	case y > -tolerance && x > -1-1000*sqrtUlp:
		s.cosA1 = max(-1, x)
		if x > -tolerance {
			s.cosA1 = max(0, x)
		}
		s.sinA1 = math.Sqrt(1 - square(s.cosA1))
	default:
		k := astroid(x, y)
		omega := -y * (1 + k) / k
		if e.f >= 0 {
			omega = -x * k / (1 + k)
		}
		sinO12, cosO12 := math.Sincos(lambdaScale * omega)
		s.sinA1 = p.cosB2 * sinO12
		s.cosA1 = sinB12a - p.cosB2*p.sinB1*square(sinO12)/(1+cosO12)
	}
}

// astroid returns the positive root of k⁴ + 2k³ − (x²+y²−1)k² − 2y²k − y² = 0 (Karney 2013, section 5), or 0 where y = 0 and
// |x| ≤ 1. It solves the resolvent cubic by the cosine or the cube root, whichever is real.
func astroid(x, y float64) float64 {
	p, q := x*x, y*y
	r := (p + q - 1) / 6
	if q == 0 && r <= 0 {
		return 0
	}
	t0, r3 := p*q/4, r*r*r
	u := r
	if disc := t0 * (t0 + 2*r3); disc >= 0 {
		t3 := t0 + r3
		t := math.Cbrt(t3 + math.Copysign(math.Sqrt(disc), t3)) // no cancellation
		u += t
		if t != 0 {
			u += r * r / t
		}
	} else {
		u += 2 * r * math.Cos(math.Atan2(math.Sqrt(-disc), -(t0+r3))/3)
	}
	v := math.Sqrt(u*u + q)
	uv := u + v
	if u < 0 {
		uv = q / (v - u)
	}
	w := (uv - q) / (2 * v)
	return uv / (math.Sqrt(uv+w*w) + w)
}

// trial is a geodesic from the first point in a tried azimuth to the second point's latitude.
type trial struct {
	excess       float64 // its longitude difference less λ₁₂
	slope        float64 // derivative of excess with respect to the azimuth at the start
	sigma12      float64
	sinA2, cosA2 float64
	lengths      arcLengths
}

// try follows Karney 2013, section 4: Clairaut's constant from the azimuth, arcs from the node, longitude by I₃, slope by the reduced
// length.
func (e *Ellipsoid) try(p *problem, sinA1, cosA1 float64) (t trial) {
	if p.sinB1 == 0 && cosA1 == 0 {
		cosA1 = -tinyLength // the equator itself has no slope
	}
	sinA0 := sinA1 * p.cosB1
	cosA0sq := square(cosA1) + square(sinA1*p.sinB1)

	sinO1, cosO1 := sinA0*p.sinB1, cosA1*p.cosB1
	t.sinA2, t.cosA2 = sinA1, math.Abs(cosA1)
	if p.cosB2 != p.cosB1 {
		t.sinA2 = sinA0 / p.cosB2
	}
	if p.cosB2 != p.cosB1 || math.Abs(p.sinB2) != -p.sinB1 {
		between := (p.sinB1 - p.sinB2) * (p.sinB1 + p.sinB2)
		if p.cosB1 < -p.sinB1 {
			between = (p.cosB2 - p.cosB1) * (p.cosB1 + p.cosB2)
		}
		t.cosA2 = math.Sqrt(square(cosA1*p.cosB1)+between) / p.cosB2
	}
	sinO2, cosO2 := sinA0*p.sinB2, t.cosA2*p.cosB2
	start, end := spherePoint{dn: p.dn1}, spherePoint{dn: p.dn2}
	start.sin, start.cos = unit(p.sinB1, cosO1)
	end.sin, end.cos = unit(p.sinB2, cosO2)
	t.sigma12 = arcBetween(start, end)
	sinO12, cosO12 := max(0, cosO1*sinO2-sinO1*cosO2), cosO1*cosO2+sinO1*sinO2
	eta := math.Atan2(sinO12*p.cosL-cosO12*p.sinL, cosO12*p.cosL+sinO12*p.sinL) // ω₁₂ − λ₁₂

	k2 := cosA0sq * e.ep2
	eps := expansion(k2, math.Sqrt(1+k2))
	diff := difference(start, end)
	c3 := e.longitude.c3At(eps)
	t.excess = eta - e.f*e.longitude.a3At(eps)*sinA0*(t.sigma12+diff.sum(&c3))
	t.lengths = lengthsBetween(eps, t.sigma12, &diff, start, end)
	t.slope = -2 * e.f1 * p.dn1 / p.sinB1
	if t.cosA2 != 0 {
		t.slope = t.lengths.reduced * e.f1 / (t.cosA2 * p.cosB2)
	}
	return t
}

// search finds the azimuth at the start by Newton's method inside a bracket, and by bisection where Newton's step leaves it:
// Karney 2013, section 4.
func (e *Ellipsoid) search(p *problem, s *solution) {
	lowSin, lowCos := tinyLength, 1.0 // azimuths that fall short in longitude
	highSin, highCos := tinyLength, -1.0
	accept := ulp
	var t trial
	for step := range bisectLimit {
		t = e.try(p, s.sinA1, s.cosA1)
		if !(math.Abs(t.excess) >= accept) || step == bisectLimit-1 {
			break
		}
		if t.excess > 0 && (step > newtonLimit || s.cosA1/s.sinA1 > highCos/highSin) {
			highSin, highCos = s.sinA1, s.cosA1
		} else if t.excess < 0 && (step > newtonLimit || s.cosA1/s.sinA1 < lowCos/lowSin) {
			lowSin, lowCos = s.sinA1, s.cosA1
		}
		if step < newtonLimit && t.slope > 0 {
			turn := -t.excess / t.slope
			sin, cos := math.Sincos(turn)
			newSin := s.sinA1*cos + s.cosA1*sin
			if newSin > 0 && math.Abs(turn) < math.Pi {
				s.sinA1, s.cosA1 = unit(newSin, s.cosA1*cos-s.sinA1*sin)
				// So near the end rounding alone is left: take one step more and be content with eight times the error.
				accept = ulp
				if math.Abs(t.excess) <= 16*ulp {
					accept = 8 * ulp
				}
				continue
			}
		}
		s.sinA1, s.cosA1 = unit((lowSin+highSin)/2, (lowCos+highCos)/2)
		accept = ulp
		if math.Abs(lowSin-s.sinA1)+(lowCos-s.cosA1) < ulp*sqrtUlp || math.Abs(s.sinA1-highSin)+(s.cosA1-highCos) < ulp*sqrtUlp {
			accept = math.Inf(1) // the bracket has closed
		}
	}
	s.sinA2, s.cosA2, s.sigma12 = t.sinA2, t.cosA2, t.sigma12
	s.distanceM, s.reducedM = t.lengths.distance, t.lengths.reduced
}

func arcBetween(p, q spherePoint) float64 {
	return math.Atan2(max(0, p.cos*q.sin-p.sin*q.cos), p.cos*q.cos+p.sin*q.sin)
}

func square(x float64) float64 { return x * x }
