package terrain

import (
	"math"
	"slices"
	"sort"
)

// Section is the ground along a line, walked once and kept, from which the view under any model is computed.
type Section struct {
	Line   *Line
	GuardM float64
	Pieces []Piece
	// BaseM is the base height, the lowest ground of the last 10 km before the target and no further back than half-way;
	// BaseAtM its distance, the last of equals.
	BaseM, BaseAtM float64
	// CriticalK is k_c of the kept pieces, as Critical has it, but of known ground alone where there is any.
	CriticalK float64

	base  Piece
	baseT float64
	// knownOnly leaves ground that is missing out of base point, front, foot and cut height: what is not known is neither the lowest ground
	// nor a face that shows. It is false where that would leave nothing.
	knownOnly bool
	// extents bound the ground of each piece, runs that of each runPieces neighbouring ones.
	extents, runs []extent
	// Memory of Odds.
	points  []riskPoint
	hurdles []hurdle
	risks   []stretchOfRisk
	low     lowStretches
}

// baseReachM is how far before the target the base point is sought.
const baseReachM = 10e3

// Section walks the whole line and keeps its pieces, in the memory of into where that is given.
func (w *Walker) Section(l *Line, fill Fill, guardM float64, into *Section) (*Section, error) {
	if l.DistanceM <= 2*guardM {
		return nil, ErrTooClose
	}
	if into == nil {
		into = &Section{}
	}
	into.Line, into.GuardM, into.Pieces = l, guardM, into.Pieces[:0]
	into.extents, into.runs = into.extents[:0], into.runs[:0]
	w.Walk(l, fill, 0, l.DistanceM, func(p *Piece) bool {
		into.Pieces = append(into.Pieces, *p)
		into.addExtent(p)
		return true
	})
	if w.err != nil {
		return nil, w.err
	}
	into.knownOnly = into.hasKnown()
	into.findBase()
	into.CriticalK = into.findCritical()
	return into, nil
}

// baseFromM is where the stretch begins in which the base point is sought.
func (s *Section) baseFromM() float64 {
	return math.Max(s.Line.DistanceM-baseReachM, s.Line.DistanceM/2)
}

// hasKnown tells whether some ground is known both where the base point is sought and before it, outside the guards.
func (s *Section) hasKnown() bool {
	base, before := false, false
	for i := range s.Pieces {
		p := &s.Pieces[i]
		if p.Missing {
			continue
		}
		base = base || p.X+p.W > s.baseFromM()
		before = before || p.X+p.W > s.GuardM && p.X < math.Min(cutShare*s.Line.DistanceM, s.Line.DistanceM-s.GuardM)
		if base && before {
			return true
		}
	}
	return false
}

func (s *Section) leftOut(p *Piece) bool { return s.knownOnly && p.Missing }

// GroundAt returns the height of the ground over the geoid at distance x, and its standard deviation under the spreads.
func (s *Section) GroundAt(x float64, spreads Spreads) (heightM, sdM float64) {
	i := sort.Search(len(s.Pieces), func(i int) bool { return s.Pieces[i].X+s.Pieces[i].W >= x })
	p := &s.Pieces[min(i, len(s.Pieces)-1)]
	return p.GroundAt(x - p.X), spreads.ground(p)
}

// Missing tells whether terrain is missing anywhere on the line.
func (s *Section) Missing() bool {
	for i := range s.Pieces {
		if s.Pieces[i].Missing {
			return true
		}
	}
	return false
}

func (s *Section) findCritical() float64 {
	of := func(i int) float64 {
		p := &s.Pieces[i]
		lo, hi := max(0, s.GuardM-p.X), min(p.W, s.Line.DistanceM-s.GuardM-p.X)
		if !(lo < hi) || s.leftOut(p) {
			return math.Inf(1)
		}
		f := s.Line.bearing(p)
		_, q := f.least(lo, hi)
		return q
	}
	bound := func(e *extent) float64 { return -e.leastBearing(s) }
	least := math.Inf(1)
	if i := s.promising(len(s.extents), bound); i >= 0 {
		least = of(i)
	}
	for i := s.next(0, bound, -least); i < len(s.Pieces); i = s.next(i+1, bound, -least) {
		least = min(least, of(i))
	}
	return -least
}

func (s *Section) findBase() {
	from := s.baseFromM()
	s.BaseM = math.Inf(1)
	first := sort.Search(len(s.Pieces), func(i int) bool { return s.Pieces[i].X+s.Pieces[i].W > from-1 })
	for i := first; i < len(s.Pieces); i++ {
		p := &s.Pieces[i]
		lo := math.Max(0, from-p.X)
		if lo >= p.W || s.leftOut(p) || p.lowestM() > s.BaseM+boundMarginM {
			continue
		}
		ground := quotient{p: p.G, q: [3]float64{1, 0, 0}, w: p.W}
		// A micrometre of rounding must not decide which of equal heights is the last.
		if t, g := ground.least(lo, p.W); g <= s.BaseM+1e-6 {
			s.BaseM, s.BaseAtM, s.base, s.baseT = math.Min(g, s.BaseM), p.X+t, *p, t
		}
	}
}

// WithGround returns a copy of the section in which change was let at every piece, and whether it changed any. Base point and CriticalK stay
// those of the section as it was walked.
func (s *Section) WithGround(change func(*Piece) (changed bool)) (changed Section, any bool) {
	changed = *s
	changed.Pieces, changed.points, changed.hurdles, changed.risks, changed.low = slices.Clone(s.Pieces), nil, nil, nil, lowStretches{}
	for i := range changed.Pieces {
		any = change(&changed.Pieces[i]) || any
	}
	changed.extents, changed.runs = nil, nil
	for i := range changed.Pieces {
		changed.addExtent(&changed.Pieces[i])
	}
	return changed, any
}
