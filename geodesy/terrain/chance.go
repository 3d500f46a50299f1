package terrain

import (
	"math"
)

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
	// LowShare is the share of low air in what bends the ray there.
	LowShare float64
	// LowM is the length of the ray within LowHeightM of sea or ground.
	LowM float64
}

// slopeShare is the share of the rise over a post spacing that a post may err by.
const slopeShare = 0.4

// PostSDM is the standard deviation of a cell's ground: that of its set on flat land, and on slopes the rise over 0.4 of the post
// spacing besides (our judgement between the 4 m and 24–47 m published for lowland and for high relief).
func PostSDM(p *Piece) float64 {
	flat := float64(flatSDM)
	if p.Tile != nil {
		flat = orFlat(p.Tile.SDM)
	}
	return math.Hypot(flat, slopeShare*p.Slope*p.SpacingM)
}

// sea tells whether the piece is open sea, whose level is one and the same everywhere.
func (p *Piece) sea() bool { return p.Tile == nil && !p.Missing }

func (s *Spreads) ground(p *Piece) float64 {
	switch {
	case p.sea():
		return s.SeaSDM
	case s.TerrainSDM > 0:
		return s.TerrainSDM
	default:
		return PostSDM(p)
	}
}

// riskPoint is a place where ground may cut off the top. All lengths are heights in metres at x.
type riskPoint struct {
	x, liftM, share float64 // liftM is the rise of the ray per unit of k, share that of the low air
	clearM          float64 // ray over ground, at nominal heights and mean k
	// moves is what one standard deviation of k in free air, k in low air, eye height and top height each adds to clearM.
	moves     [4]float64
	groundSDM float64
	// z is clearM over the spread of all that it depends on.
	z float64
	// stretch numbers the stretches of ground. One lies around the middle of the line, where a piece always ends, so that both ways have the same.
	// weight is the share of its risk that a riskier stretch beside it leaves over.
	stretch, weight float64
	sea             bool
}

// Odds computes the chance in closed form: at a point x of s,
//
//	σ(x)² = σ_k² + (2R/(x(s−x)))²·(σ_z² + (1−x/s)²σ_h1² + (x/s)²σ_h2²),  z(x) = (k̄ + q(x))/σ(x).
//
// Given k of free and of low air and both end heights, z is that of the ground's own error alone, and each stretch of half a
// correlation length (or a post spacing, if longer) is as risky as its riskiest point. Stretches follow each other as a chain, of which
// the chance is the product over neighbours of Φ₂ over the product of Φ, with Φ₂(a, b) = Φ(min)·Φ(max)^w for the w of weightBeside. The
// sea has one level, so the most exposed of its points stands for all of it. The chance is the mean of that over k and heights.
//
// Draw is the judge: TestChanceAgainstDraws says how far the two may differ. No choice of points hangs on k or heights, so the chance
// rises with both, but for what the mean over the nodes errs by.
func (s *Section) Odds(spreads Spreads) Odds {
	points, r, lowM := s.riskPoints(spreads)
	odds := Odds{LowM: lowM, Chance: 1}
	if math.IsInf(r.z, 1) {
		return odds
	}
	odds.RiskiestM, odds.LowShare = r.x, r.share
	odds.KMean = (1-r.share)*spreads.K + r.share*spreads.LowK
	odds.KSD = math.Hypot((1-r.share)*spreads.KSD, r.share*spreads.LowKSD)
	odds.CriticalKSD = math.Sqrt(sq(r.groundSDM)+sq(r.moves[2])+sq(r.moves[3])) / r.liftM
	odds.Chance = s.expectation(points, &r)
	return odds
}

func sq(x float64) float64 { return x * x }

// leastSDM is small enough to be a step and large enough to divide by.
const leastSDM = 1e-9

func sumSq(v *[4]float64) float64 { return sq(v[0]) + sq(v[1]) + sq(v[2]) + sq(v[3]) }

// correlation is that of two errors of the ground.
func correlation(distanceM, correlationM float64) float64 {
	return math.Exp(-distanceM / max(correlationM, leastSDM))
}

// weightBeside is the w of Φ₂(z, z; ρ) = Φ(z)·Φ(z)^w at z = 0, where Φ₂ is 1/4 + asin(ρ)/2π (Sheppard 1899): 0 for errors that go
// together, 1 for independent ones.
func weightBeside(distanceM, correlationM float64) float64 {
	return -1 - math.Log2(0.25+math.Asin(correlation(distanceM, correlationM))/(2*math.Pi))
}
