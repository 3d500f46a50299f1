package terrain

import "math"

// The slow twin of the chance: every piece is a place of risk, and every hurdle is met at every node.

func (s *Section) plainOdds(spreads Spreads) Odds {
	points, r, lowM := s.plainRiskPoints(spreads)
	odds := Odds{LowM: lowM, Chance: 1}
	if math.IsInf(r.z, 1) {
		return odds
	}
	odds.RiskiestM, odds.LowShare = r.x, r.share
	odds.KMean = (1-r.share)*spreads.K + r.share*spreads.LowK
	odds.KSD = math.Hypot((1-r.share)*spreads.KSD, r.share*spreads.LowKSD)
	odds.CriticalKSD = math.Sqrt(sq(r.groundSDM)+sq(r.moves[2])+sq(r.moves[3])) / r.liftM
	odds.Chance = plainExpectation(points, &r)
	return odds
}

func (s *Section) plainRiskPoints(spreads Spreads) (points []riskPoint, riskiest riskPoint, lowM float64) {
	l := s.Line
	length := l.DistanceM
	low := s.plainLowAir(spreads)
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
				stretch: math.Floor((x-length/2)/stretchM + 0.5), weight: weight, sea: sea,
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

func plainExpectation(points []riskPoint, riskiest *riskPoint) float64 {
	if len(points) == 0 {
		return 1
	}
	hurdles := make([]plainHurdle, 0, len(points))
	for from := 0; from < len(points); {
		to := from + 1
		for to < len(points) && points[to].stretch == points[from].stretch && points[to].sea == points[from].sea {
			to++
		}
		first := len(hurdles)
		for i := from; i < to; i++ {
			hurdles = append(hurdles, newPlainHurdle(&points[i], riskiest))
		}
		hurdles = hurdles[:first+plainEnvelope(hurdles[first:])]
		hurdles[first].opens = true
		hurdles[first].follows = from > 0 && points[from-1].stretch == points[from].stretch-1 && !points[from-1].sea && !points[from].sea
		from = to
	}
	worst := newPlainHurdle(riskiest, riskiest)
	sum := 0.0
	for _, n := range chanceNodes {
		if logCDF(worst.at(&n)) < surelyBlocked {
			continue
		}
		// Each node also with the end heights exchanged, so that a line and its reverse have one chance.
		sum += math.Exp(plainLogClear(hurdles, &n)) + math.Exp(plainLogClear(hurdles, &[4]float64{n[0], n[1], n[3], n[2]}))
	}
	return min(sum/float64(2*len(chanceNodes)), 1)
}

// plainHurdle is a hurdle with what it is in its stretch: the first, and beside the hurdle before.
type plainHurdle struct {
	hurdle
	sea, opens, follows bool
}

func newPlainHurdle(p, riskiest *riskPoint) plainHurdle {
	along := axesAlong(&riskiest.moves)
	h := plainHurdle{hurdle: hurdle{clear: p.clearM / p.groundSDM, moves: along.turn(&p.moves), weight: p.weight}, sea: p.sea}
	for j := range h.moves {
		h.moves[j] /= p.groundSDM
	}
	return h
}

func plainEnvelope(hurdles []plainHurdle) int {
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

func plainLogClear(hurdles []plainHurdle, n *[4]float64) float64 {
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

type plainLow struct {
	in            []bool
	before, after []float64 // per piece: ∫u du over the low pieces before it, ∫(s−u) du over those from it on
	pieces        []Piece
	lengthM       float64
}

func (s *Section) plainLowAir(spreads Spreads) plainLow {
	low := plainLow{pieces: s.Pieces}
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

func (w *plainLow) share(piece int, t, x, length float64) float64 {
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
