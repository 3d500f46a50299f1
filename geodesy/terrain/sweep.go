package terrain

import "math"

// sweep follows F outwards.
type sweep struct {
	section *Section
	model   Model
	outlook outlook
	view    View
	// level is F; rim the greatest rise outside the guards, last met at rimAt; cut that nearer than 95 %.
	level, rim, rimAt, cut float64
	hidden                 bool
	hiddenFrom, footRise   float64
	// inner and outer are the guards' ends, cutEnd is 95 % of the distance.
	inner, outer, cutEnd float64
	// sureEnd ends the part of the line on which no stretch counts and all ground is looked at for rim and cut; floor is a rise of ground there.
	sureEnd, floor float64
	shown          shown
}

// shown is a stretch that counts, whose end lies between a and b in a piece. Only the last one's end is worked out.
type shown struct {
	piece             *Piece
	f                 quotient
	a, b              float64
	hiddenFrom, level float64
}

func newSweep(s *Section, m Model) sweep {
	length := s.Line.DistanceM
	inf, nan := math.Inf(1), math.NaN()
	w := sweep{
		section: s, model: m, outlook: s.outlook(m), view: View{ElevationRad: s.elevation(m), FootM: nan, FrontM: nan, ObscuredM: nan},
		level: -inf, rim: -inf, cut: -inf, footRise: nan, floor: -inf,
		inner: s.GuardM, outer: length - s.GuardM, cutEnd: cutShare * length,
	}
	w.sureEnd = min(s.BaseAtM, w.outer, w.cutEnd)
	n := len(s.extents)
	for n > 0 && s.extents[n-1].to > w.sureEnd {
		n -= min(runPieces, n)
	}
	// Bounds of steep or near ground promise much: the best piece of each run that may still rise over the floor is tried.
	if i := s.promising(n, w.outlook.greatest); i >= 0 {
		w.tryFloor(&s.Pieces[i])
	}
	for i := range s.runs[:n/runPieces] {
		if w.outlook.greatest(&s.runs[i]) > w.floor {
			w.tryFloor(&s.Pieces[i*runPieces+best(s.extents[i*runPieces:(i+1)*runPieces], w.outlook.greatest)])
		}
	}
	return w
}

// tryFloor lifts the floor to the greatest rise of a piece.
func (w *sweep) tryFloor(p *Piece) {
	if lo := max(0, w.inner-p.X); lo < p.W && !w.section.leftOut(p) {
		f := w.section.rise(p, w.model)
		if _, rise := f.greatest(lo, p.W); rise > w.floor {
			w.floor = rise
		}
	}
}

// passes tells whether pieces of an extent need no look, having done what they do.
func (w *sweep) passes(e *extent, pieces []Piece) bool {
	bound := w.outlook.greatest(e)
	if w.level < w.floor && bound < w.floor && e.to <= w.sureEnd {
		return true // whatever it is that they do is undone where F comes to the floor
	}
	least := w.level
	if e.from < w.outer {
		least = min(least, w.rim)
	}
	if e.from < w.cutEnd {
		least = min(least, w.cut)
	}
	if !(bound < least) {
		return false
	}
	for i := 0; i < len(pieces) && !w.hidden; i++ {
		p := &pieces[i]
		if lo := max(0, w.inner-p.X); lo < p.W && !w.section.leftOut(p) {
			w.hidden, w.hiddenFrom = true, p.X+lo
		}
	}
	return true
}

// counts tells whether a stretch of cut-off ground that ends at a distance counts.
func (w *sweep) counts(to float64) bool { return to > w.section.BaseAtM && w.longEnough(to) }

func (w *sweep) longEnough(to float64) bool {
	return to-w.hiddenFrom > max(leastCutM, leastCutShare*w.section.Line.DistanceM)
}

// show ends the stretch of cut-off ground where f, which rises from a to b in a piece, reaches F.
func (w *sweep) show(p *Piece, f *quotient, a, b float64) {
	if !w.counts(p.X + b) {
		return
	}
	if !w.counts(p.X + a) {
		t := f.crossing(w.level, a, b)
		if !w.counts(p.X + t) {
			return
		}
		a, b = t, t
	}
	w.shown = shown{piece: p, f: *f, a: a, b: b, hiddenFrom: w.hiddenFrom, level: w.level}
}

// last fills the view with the last stretch that counts.
func (w *sweep) last() {
	s := &w.shown
	if s.piece == nil {
		return
	}
	t := s.a
	if s.a < s.b {
		t = s.f.crossing(s.level, s.a, s.b)
	}
	v := &w.view
	v.Obscured, v.FrontM, v.FootM, v.ObscuredM, w.footRise = true, s.hiddenFrom, s.piece.X+t, s.piece.GroundAt(t), s.level
}

// take looks at a piece.
func (w *sweep) take(p *Piece) {
	lo := max(0, w.inner-p.X)
	if lo >= p.W || w.section.leftOut(p) {
		return
	}
	f := w.section.rise(p, w.model)
	stops := [4]float64{lo}
	n := 1
	stationary, roots := f.stationary()
	for _, t := range stationary[:roots] {
		if t > lo {
			stops[n] = t
			n++
		}
	}
	stops[n] = p.W
	n++

	var rises [4]float64
	for j := range n {
		rises[j] = f.at(stops[j])
	}
	greatest := func(end float64) (t, r float64) {
		hi := min(p.W, end-p.X)
		if hi < p.W {
			return f.greatest(lo, hi)
		}
		t, r = lo, rises[0]
		for j := 1; j < n; j++ {
			if rises[j] >= r {
				t, r = stops[j], rises[j]
			}
		}
		return t, r
	}
	// The greatest rise outside the guards, and nearer than 95 %.
	if p.X+lo < w.outer {
		if t, r := greatest(w.outer); r >= w.rim {
			w.rim, w.rimAt = r, p.X+t
		}
	}
	if p.X+lo < w.cutEnd {
		if _, r := greatest(w.cutEnd); r > w.cut {
			w.cut = r
		}
	}
	for j := range n - 1 {
		a, b := stops[j], stops[j+1]
		ra, rb := rises[j], rises[j+1]
		switch {
		case !w.hidden && ra < w.level: // a step down at a tile's edge
			w.hidden, w.hiddenFrom = true, p.X+a
		case ra > w.level:
			if w.hidden { // a step up at a tile's edge
				w.show(p, &f, a, a)
			}
			w.hidden, w.level = false, ra
		}
		switch {
		case w.hidden && rb < w.level:
		case w.hidden:
			w.show(p, &f, a, b)
			w.hidden, w.level = false, rb
		case rb >= w.level:
			w.level = rb
		default:
			w.hidden, w.hiddenFrom = true, p.X+a
		}
	}
}
