package terrain

import (
	"math"
	"sort"
)

// lowStretches weighs the low air along the line. The rise of a ray at x is ∫G·k(u)/R du with G = u(s−x)/s before x and x(s−u)/s after,
// so the share of the low air at x is its G-weighted share.
type lowStretches struct {
	// at holds the numbers of the pieces in low air; before and after, one longer, ∫u du over those before each and ∫(s−u) du over those from
	// it on.
	at            []int
	before, after []float64
	pieces        []Piece
	heightM       float64
	lengthM       float64
}

func (s *Section) lowAir(spreads Spreads) *lowStretches {
	low := &s.low
	*low = lowStretches{at: low.at[:0], before: low.before[:0], after: low.after[:0], pieces: s.Pieces, heightM: spreads.LowHeightM}
	if !(spreads.LowHeightM > 0) {
		return low
	}
	l := s.Line
	// Minus the least height of the ray over the ground.
	bound := func(e *extent) float64 {
		if !bounded(spreads.K) {
			return math.Inf(1)
		}
		least, greatest := l.lifts(e.from, e.to)
		return -(e.gapM + min(spreads.K*least, spreads.K*greatest))
	}
	sum := 0.0
	for i := s.next(0, bound, -spreads.LowHeightM); i < len(s.Pieces); i = s.next(i+1, bound, -spreads.LowHeightM) {
		p := &s.Pieces[i]
		t := p.W / 2
		clear := p.ChordAt(t) - p.GroundAt(t) - p.N[0] - p.N[1]*t + l.LiftM(spreads.K, p.X+t)
		if clear < spreads.LowHeightM {
			low.at, low.before = append(low.at, i), append(low.before, sum)
			sum += p.W * (p.X + p.W/2)
			low.lengthM += p.W
		}
	}
	low.before = append(low.before, sum)
	low.after = append(low.after, low.before...) // for the length
	sum = 0
	low.after[len(low.at)] = 0
	for j := len(low.at) - 1; j >= 0; j-- {
		p := &s.Pieces[low.at[j]]
		sum += p.W * (l.DistanceM - p.X - p.W/2)
		low.after[j] = sum
	}
	return low
}

// lowBeside is what the share of low air in a piece is made of.
type lowBeside struct {
	piece         *Piece
	before, after float64
	in            bool
}

// beside returns what the low air before and after a piece weighs.
func (w *lowStretches) beside(piece int) lowBeside {
	if !(w.heightM > 0) {
		return lowBeside{}
	}
	j := sort.SearchInts(w.at, piece)
	b := lowBeside{piece: &w.pieces[piece], before: w.before[j], after: w.after[j]}
	if j < len(w.at) && w.at[j] == piece {
		b.in, b.after = true, w.after[j+1]
	}
	return b
}

// share returns the share of low air in what bends the ray at t in the piece, x from the observer.
func (b *lowBeside) share(t, x, length float64) float64 {
	if b.piece == nil {
		return 0
	}
	before, after := b.before, b.after
	if b.in {
		p := b.piece
		before += t * (p.X + t/2)
		after += (p.W - t) * (length - x - (p.W-t)/2)
	}
	share := (before*(length-x)/length + after*x/length) / (x * (length - x) / 2)
	return min(max(share, 0), 1)
}

// most is no less than the share anywhere in an extent outside the guards.
func (w *lowStretches) most(e *extent, lengthM float64) float64 {
	if len(w.at) == 0 {
		return 0
	}
	// Whole integrals for those of one side: cheap, and near enough where low air is short.
	from, to := max(e.from, nearestM), min(e.to, lengthM-nearestM)
	return min(2*math.Abs(w.before[len(w.at)])/(lengthM*from)+2*w.after[0]/(lengthM*(lengthM-to)), 1)
}
