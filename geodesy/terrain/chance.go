package terrain

import "math"

// Spreads are the standard deviations that a chance is taken over.
type Spreads struct {
	// K ± KSD is the refraction coefficient in free air; the part of the ray within LowHeightM of sea or ground has LowK ± LowKSD
	// instead. LowHeightM 0 switches that off.
	K, KSD, LowHeightM, LowK, LowKSD float64
	// EyeSDM and TopSDM are those of the heights of the two ends, SeaSDM that of the level of the sea.
	EyeSDM, TopSDM, SeaSDM float64
	// TerrainSDM is that of every post; 0 takes PostSDM by slope and spacing.
	TerrainSDM float64
	// CorrelationM is the distance over which terrain errors go together.
	CorrelationM float64
}

// Odds is the chance that no ground cuts off the top, and what went into it.
type Odds struct {
	// Chance is the probability that no ground outside the guards cuts off the top.
	Chance float64
	// RiskiestM is the distance of the point of least z; KMean and KSD the mean and spread of k along the ray that were used there,
	// CriticalKSD the spread of the curvature that the ray can bear there, from heights and terrain alone.
	RiskiestM, KMean, KSD, CriticalKSD float64
	// LowM is the length of the ray within LowHeightM of sea or ground.
	LowM float64
}

// PostSDM is the standard deviation of a cell's ground: 5 m on flat land (Rodríguez et al. 2006: 8–9 m at 90 %, absolute, divided by
// 1.645), and on slopes the rise over 0.4 of the post spacing besides (our judgement between the 4 m and 24–47 m published for
// lowland and for high relief).
func PostSDM(p *Piece) float64 {
	const flatSDM, slopeShare = 5, 0.4
	return math.Hypot(flatSDM, slopeShare*p.Slope*p.SpacingM)
}

func (s *Spreads) ground(p *Piece) float64 {
	switch {
	case p.Tile == nil && !p.Missing:
		return s.SeaSDM
	case s.TerrainSDM > 0:
		return s.TerrainSDM
	default:
		return PostSDM(p)
	}
}

// riskPoint is the riskiest point of one stretch of half a correlation length.
type riskPoint struct {
	x, q, z          float64
	kMean, kSD       float64
	perMetre         float64 // change of q per metre of ground: 2R/(x(s−x))
	groundSDM        float64
	eyeLift, topLift float64 // share of a height error of either end that reaches the chord at x
}

// chanceNodes is the number of equally likely values of k that the chance is averaged over: a line whose front is the sea has a chance
// that jumps with k, which few nodes would miss by the weight of one.
const chanceNodes = 48

// Odds computes the chance in closed form: at a point x of s,
//
//	σ(x)² = σ_k² + (2R/(x(s−x)))²·(σ_z² + (1−x/s)²σ_h1² + (x/s)²σ_h2²),  z(x) = (k̄ + q(x))/σ(x),
//
// and the expectation over k and both end heights of the product of Φ over the riskiest point of every half correlation length, with
// σ_z alone in it.
func (s *Section) Odds(spreads Spreads) Odds {
	points, lowM := s.riskPoints(spreads)
	odds := Odds{LowM: lowM, Chance: 1}
	riskiest := -1
	for i := range points {
		if riskiest < 0 || points[i].z < points[riskiest].z {
			riskiest = i
		}
	}
	if riskiest < 0 {
		return odds
	}
	r := points[riskiest]
	odds.RiskiestM, odds.KMean, odds.KSD = r.x, r.kMean, r.kSD
	odds.CriticalKSD = r.perMetre * math.Sqrt(sq(r.groundSDM)+sq(r.eyeLift*spreads.EyeSDM)+sq(r.topLift*spreads.TopSDM))
	odds.Chance = expectation(points, spreads)
	return odds
}

func sq(x float64) float64 { return x * x }

// Φ in steps of 1/cdfSteps from −cdfReach to cdfReach; linear in between it is good to 2e-6.
const (
	cdfReach = 8
	cdfSteps = 128
)

var cdfTable = func() (table [2*cdfReach*cdfSteps + 2]float64) {
	for i := range table {
		table[i] = 0.5 * math.Erfc(-(float64(i)/cdfSteps-cdfReach)/math.Sqrt2)
	}
	return table
}()

// normalCDF is Φ.
func normalCDF(z float64) float64 {
	if !(z > -cdfReach) {
		return 0
	}
	if z >= cdfReach {
		return 1
	}
	f := (z + cdfReach) * cdfSteps
	i := int(f)
	return cdfTable[i] + (f-float64(i))*(cdfTable[i+1]-cdfTable[i])
}

func (s *Section) riskPoints(spreads Spreads) (points []riskPoint, lowM float64) {
	l := s.Line
	length := l.DistanceM
	low := s.lowAir(spreads)
	stretch := math.Max(spreads.CorrelationM/2, 1)
	inner, outer := s.GuardM, length-s.GuardM
	current := -1
	for i := range s.Pieces {
		p := &s.Pieces[i]
		lo, hi := math.Max(0, inner-p.X), math.Min(p.W, outer-p.X)
		if lo >= hi {
			continue
		}
		f := l.bearing(p)
		ground := spreads.ground(p)
		last := p.X+hi >= outer
		consider := func(t float64) {
			x := p.X + t
			r := riskPoint{x: x, q: f.at(t), groundSDM: ground, perMetre: 2 * l.RadiusM / (x * (length - x)), eyeLift: 1 - x/length, topLift: x / length}
			share := low.share(i, t, x, length)
			r.kMean = (1-share)*spreads.K + share*spreads.LowK
			r.kSD = math.Hypot((1-share)*spreads.KSD, share*spreads.LowKSD)
			sd := math.Sqrt(sq(r.kSD) + sq(r.perMetre)*(sq(ground)+sq(r.eyeLift*spreads.EyeSDM)+sq(r.topLift*spreads.TopSDM)))
			r.z = (r.kMean + r.q) / sd
			switch slot := int((x - inner) / stretch); {
			case slot != current:
				current = slot
				points = append(points, r)
			case r.z < points[len(points)-1].z:
				points[len(points)-1] = r
			}
		}
		consider(lo)
		stationary, n := f.stationary()
		for _, t := range stationary[:n] {
			if t > lo && t < hi {
				consider(t)
			}
		}
		if last { // the end of any other piece is the start of the next
			consider(hi)
		}
	}
	return points, low.lengthM
}

// lowStretches weighs the low air along the line. The rise of a ray at x is ∫G·k(u)/R du with G = u(s−x)/s before x and x(s−u)/s after,
// so the share of the low air at x is its G-weighted share.
type lowStretches struct {
	in            []bool
	before, after []float64 // per piece: ∫u du over the low pieces before it, ∫(s−u) du over those from it on
	pieces        []Piece
	lengthM       float64
}

func (s *Section) lowAir(spreads Spreads) lowStretches {
	low := lowStretches{pieces: s.Pieces}
	if !(spreads.LowHeightM > 0) {
		return low
	}
	l := s.Line
	n := len(s.Pieces)
	low.in, low.before, low.after = make([]bool, n), make([]float64, n+1), make([]float64, n+1)
	for i := range s.Pieces {
		p := &s.Pieces[i]
		t := p.W / 2
		clear := p.ChordAt(t) - p.GroundAt(t) - p.N[0] - p.N[1]*t + l.LiftM(spreads.K, p.X+t)
		low.before[i+1] = low.before[i]
		if clear < spreads.LowHeightM {
			low.in[i] = true
			low.before[i+1] += p.W * (p.X + p.W/2)
			low.lengthM += p.W
		}
	}
	for i := n - 1; i >= 0; i-- {
		low.after[i] = low.after[i+1]
		if low.in[i] {
			low.after[i] += s.Pieces[i].W * (l.DistanceM - s.Pieces[i].X - s.Pieces[i].W/2)
		}
	}
	return low
}

func (w *lowStretches) share(piece int, t, x, length float64) float64 {
	if w.in == nil {
		return 0
	}
	p := &w.pieces[piece]
	before, after := w.before[piece], w.after[piece+1]
	if w.in[piece] {
		before += t * (p.X + t/2)
		after += (p.W - t) * (length - x - (p.W-t)/2)
	}
	share := (before*(length-x)/length + after*x/length) / (x * (length - x) / 2)
	return math.Min(math.Max(share, 0), 1)
}

// surelyClear is the z from which on a point is taken as clear: 1 − Φ is 3e-6 there.
const surelyClear = 4.5

// expectation averages, over k and both end heights, the product over the points of Φ with the ground's own spread.
func expectation(points []riskPoint, spreads Spreads) float64 {
	// Points that no node brings near the ray cannot change the product.
	near := points[:0:0]
	for _, p := range points {
		worst := p.q + p.kMean - 3*p.kSD - 1.8*p.perMetre*(p.eyeLift*spreads.EyeSDM+p.topLift*spreads.TopSDM)
		if worst < surelyClear*p.perMetre*math.Max(p.groundSDM, 1e-3) {
			near = append(near, p)
		}
	}
	// Three Gauss–Hermite nodes for each end height: exact for moments up to the fifth.
	nodes := [3]float64{-math.Sqrt(3), 0, math.Sqrt(3)}
	weights := [3]float64{1.0 / 6, 2.0 / 3, 1.0 / 6}
	sum := 0.0
	for i := range chanceNodes {
		k := math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/chanceNodes-1)
		for a, eye := range nodes {
			for b, top := range nodes {
				product := weights[a] * weights[b]
				for j := range near {
					p := &near[j]
					clear := (p.kMean+k*p.kSD+p.q)/p.perMetre + p.eyeLift*eye*spreads.EyeSDM + p.topLift*top*spreads.TopSDM
					if z := clear / math.Max(p.groundSDM, 1e-3); z < surelyClear {
						product *= normalCDF(z)
						if product < 1e-9 {
							break
						}
					}
				}
				sum += product
			}
		}
	}
	return math.Min(sum/chanceNodes, 1)
}
