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

// PostSDM is the standard deviation of a cell's ground: that of its set on flat land, and on slopes the rise over 0.4 of the post
// spacing besides (our judgement between the 4 m and 24–47 m published for lowland and for high relief).
func PostSDM(p *Piece) float64 {
	const slopeShare = 0.4
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
	// stretch numbers the stretches of ground from the middle of the line, the same both ways; weight is the share of its risk that a riskier stretch beside it leaves over.
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
	odds.Chance = expectation(points, &r)
	return odds
}

func sq(x float64) float64 { return x * x }

// riskPoints returns the points that may come near the ray, in order, the riskiest of all, and the length of the ray in low air.
func (s *Section) riskPoints(spreads Spreads) (points []riskPoint, riskiest riskPoint, lowM float64) {
	l := s.Line
	length := l.DistanceM
	low := s.lowAir(spreads)
	inner, outer := s.GuardM, length-s.GuardM
	riskiest.z = math.Inf(1)
	spacing, stretchM, weight, between := 0.0, 0.0, 0.0, 0.0
	for i := range s.Pieces {
		p := &s.Pieces[i]
		lo, hi := max(0, inner-p.X), min(p.W, outer-p.X)
		if lo >= hi {
			continue
		}
		if p.SpacingM != spacing {
			spacing = p.SpacingM
			stretchM = max(spreads.CorrelationM/2, spacing)
			weight = weightBeside(stretchM, spreads.CorrelationM)
			// Linear between two posts, the variance falls to (1+ρ)/2 in the middle: half of that fall is taken everywhere.
			between = math.Sqrt(1 - (1-correlation(spacing, spreads.CorrelationM))/4)
		}
		f := l.bearing(p)
		ground, sea := spreads.ground(p), p.sea()
		if !sea {
			ground *= between
		}
		groundSDM := max(ground, leastSDM)
		consider := func(t float64) {
			x := p.X + t
			share := low.share(i, t, x, length)
			lift := l.LiftM(1, x)
			clear := ((1-share)*spreads.K + share*spreads.LowK + f.at(t)) * lift
			moves := [4]float64{(1 - share) * lift * spreads.KSD, share * lift * spreads.LowKSD, (1 - x/length) * spreads.EyeSDM, x / length * spreads.TopSDM}
			move2 := sumSq(&moves)
			z := clear / math.Sqrt(sq(groundSDM)+move2)
			// Points that no node brings near the ray cannot change the product.
			near := clear-nodeReach*math.Sqrt(move2) < surelyClear*groundSDM
			if !near && z >= riskiest.z {
				return
			}
			r := riskPoint{
				x: x, liftM: lift, share: share, clearM: clear, moves: moves, groundSDM: groundSDM, z: z,
				stretch: math.Floor((x - length/2) / stretchM), weight: weight, sea: sea,
			}
			if z < riskiest.z {
				riskiest = r
			}
			if near {
				points = append(points, r)
			}
		}
		consider(lo)
		stationary, n := f.stationary()
		for _, t := range stationary[:n] {
			if t > lo && t < hi {
				consider(t)
			}
		}
		consider(hi) // also where the next piece starts, since its spread may be another
	}
	return points, riskiest, low.lengthM
}

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

// log Φ in steps of 1/logCDFSteps from −logCDFReach to logCDFReach; linear in between it is good to 1e-5.
const (
	logCDFReach = 8
	logCDFSteps = 128
)

var logCDFTable = func() (table [2*logCDFReach*logCDFSteps + 2]float64) {
	for i := range table {
		table[i] = math.Log(0.5 * math.Erfc(-(float64(i)/logCDFSteps-logCDFReach)/math.Sqrt2))
	}
	return table
}()

// logCDF is the logarithm of Φ, −Inf below the table.
func logCDF(z float64) float64 {
	if !(z > -logCDFReach) {
		return math.Inf(-1)
	}
	if z >= logCDFReach {
		return 0
	}
	f := (z + logCDFReach) * logCDFSteps
	i := int(f)
	return logCDFTable[i] + (f-float64(i))*(logCDFTable[i+1]-logCDFTable[i])
}

// chanceNodes are equally likely values of the four things that the chance is averaged over, in standard deviations. The first runs
// through its quantiles, since a line whose front is the sea has a chance that jumps with it; the others follow the fractional parts
// of multiples of √2, √3 and √5 (Richtmyer 1951).
var chanceNodes = func() (nodes [128][4]float64) {
	quantile := func(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*(p-math.Floor(p))-1) }
	for i := range nodes {
		n := float64(i) + 0.5
		nodes[i] = [4]float64{quantile(n / float64(len(nodes))), quantile(n * math.Sqrt2), quantile(n * math.Sqrt(3)), quantile(n * math.Sqrt(5))}
	}
	return nodes
}()

// turn returns v in axes of which the first points along d: its reflection in the plane half-way between d and the first axis. Independent
// normal variables stay so.
func turn(v, d *[4]float64) [4]float64 {
	norm := math.Sqrt(sumSq(d))
	across := [4]float64{d[0] - norm, d[1], d[2], d[3]}
	size := sumSq(&across)
	if size == 0 {
		return *v
	}
	dot := 2 * (v[0]*across[0] + v[1]*across[1] + v[2]*across[2] + v[3]*across[3]) / size
	return [4]float64{v[0] - dot*across[0], v[1] - dot*across[1], v[2] - dot*across[2], v[3] - dot*across[3]}
}

const (
	// surelyClear is the z from which on a point is taken as clear: 1 − Φ is 3e-6 there.
	surelyClear = 4.5
	// surelyBlocked is the logarithm of a chance that is taken for none.
	surelyBlocked = -10
	// nodeReach bounds the nodes, in standard deviations from the mean.
	nodeReach = 4.0
)

// hurdle is a risk point in units of its ground's spread.
type hurdle struct {
	clear   float64
	moves   [4]float64
	weight  float64
	sea     bool
	opens   bool // the first of its stretch
	follows bool // its stretch is beside that of the hurdle before
}

// expectation averages the chance over k and both end heights. The axes are turned so that the first moves the riskiest point alone: what
// is left to the others is only how much the points differ.
func expectation(points []riskPoint, riskiest *riskPoint) float64 {
	if len(points) == 0 {
		return 1
	}
	hurdles := make([]hurdle, 0, len(points))
	for from := 0; from < len(points); {
		to := from + 1
		for to < len(points) && points[to].stretch == points[from].stretch && points[to].sea == points[from].sea {
			to++
		}
		first := len(hurdles)
		for i := from; i < to; i++ {
			hurdles = append(hurdles, newHurdle(&points[i], riskiest))
		}
		hurdles = hurdles[:first+envelope(hurdles[first:])]
		hurdles[first].opens = true
		hurdles[first].follows = from > 0 && points[from-1].stretch == points[from].stretch-1 && !points[from-1].sea && !points[from].sea
		from = to
	}
	worst := newHurdle(riskiest, riskiest)
	sum := 0.0
	for _, n := range chanceNodes {
		if logCDF(worst.at(&n)) < surelyBlocked {
			continue
		}
		// Each node also with the end heights exchanged, so that a line and its reverse have one chance.
		sum += math.Exp(logClear(hurdles, &n)) + math.Exp(logClear(hurdles, &[4]float64{n[0], n[1], n[3], n[2]}))
	}
	return min(sum/float64(2*len(chanceNodes)), 1)
}

func newHurdle(p, riskiest *riskPoint) hurdle {
	h := hurdle{clear: p.clearM / p.groundSDM, moves: turn(&p.moves, &riskiest.moves), weight: p.weight, sea: p.sea}
	for j := range h.moves {
		h.moves[j] /= p.groundSDM
	}
	return h
}

func (h *hurdle) at(n *[4]float64) float64 {
	return h.clear + n[0]*h.moves[0] + n[1]*h.moves[1] + n[2]*h.moves[2] + n[3]*h.moves[3]
}

// envelope moves to the front the hurdles of a stretch that are the least for some value along the first axis, and returns their number.
// The points of a stretch differ by little along the others.
func envelope(hurdles []hurdle) int {
	n := 0
	for at := -nodeReach; ; n++ {
		// The least at this place, and of equals the one that falls behind the others from here on.
		least := n
		for i := n + 1; i < len(hurdles); i++ {
			a, b := hurdles[i].clear+at*hurdles[i].moves[0], hurdles[least].clear+at*hurdles[least].moves[0]
			if a < b || a == b && hurdles[i].moves[0] < hurdles[least].moves[0] {
				least = i
			}
		}
		hurdles[n], hurdles[least] = hurdles[least], hurdles[n]
		// Where the next takes over.
		next := nodeReach
		for i := n + 1; i < len(hurdles); i++ {
			if fall := hurdles[n].moves[0] - hurdles[i].moves[0]; fall > 0 {
				next = min(next, (hurdles[i].clear-hurdles[n].clear)/fall)
			}
		}
		if next >= nodeReach {
			return n + 1
		}
		at = next
	}
}

// logClear is the logarithm of the chance that no hurdle is met, for given k and end heights.
func logClear(hurdles []hurdle, n *[4]float64) float64 {
	sum, sea := 0.0, math.Inf(1)
	before := 0.0 // log Φ of the stretch before
	for i := 0; i < len(hurdles); {
		h := &hurdles[i]
		z := h.at(n)
		for i++; i < len(hurdles) && !hurdles[i].opens; i++ {
			z = min(z, hurdles[i].at(n))
		}
		if h.sea {
			sea = min(sea, z)
			continue
		}
		if !h.follows {
			before = 0
		}
		here := 0.0
		if z < surelyClear {
			here = logCDF(z)
		}
		if sum += here - (1-h.weight)*max(before, here); sum < surelyBlocked {
			return sum
		}
		before = here
	}
	return sum + logCDF(sea)
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
	return min(max(share, 0), 1)
}
