package terrain

import (
	"math"

	"farstation/geodesy"
)

// Backdrop is what stands behind a target's top.
type Backdrop struct {
	// Known is false where terrain that is missing might stand behind the top.
	Known bool
	// AboveRad is the apparent elevation of the highest ground behind, less that of the top: positive = ground behind the top, else sky.
	// AtM is its distance.
	AboveRad, AtM float64
}

const (
	ownFarSideM   = 1000
	backdropStepM = 100e3 // the walk behind the target goes on in stretches of this length …
	backdropFarM  = 600e3 // … and ends here at the latest
)

// Backdrop looks on past the target, in the line's azimuth, until no ground of the region is high enough to show behind the top. highestM is
// the height of the highest ground there is over the geoid.
//
// It looks at blocks of cells, as the search for k_c does; the answer is that of a walk over all cells, to the bit.
func (w *Walker) Backdrop(l *Line, k, guardM, highestM float64) (Backdrop, error) {
	eye := l.From.HeightM + l.From.UndulationM
	top := geodesy.ApparentElevationRad(eye, l.To.HeightM+l.To.UndulationM, l.DistanceM, l.RadiusM, k)
	b := behind{search: &w.search, section: Section{Line: &w.behind, GuardM: guardM}, model: Model{K: k}, rise: math.Tan(-math.Pi / 4)}
	defer b.search.end()
	missing := false
	// A summit's own far side is no backdrop.
	for from := l.DistanceM + math.Max(guardM, ownFarSideM); from < backdropFarM; from += backdropStepM {
		// 100 m for the geoid's slope: the ray only needs to be above all ground, not exactly so.
		if h := geodesy.HeightAtElevationM(math.Max(top, math.Atan(b.rise)), eye, from, l.RadiusM, k); h-l.From.UndulationM > highestM+100 {
			break
		}
		to := from + backdropStepM
		end, _ := geodesy.WGS84.Direct(l.From.At, l.AzimuthDeg, to)
		if err := w.behind.Reset(l.From, End{At: end, HeightM: l.To.HeightM, UndulationM: w.geoid.UndulationM(end)}); err != nil {
			return Backdrop{Known: !missing, AboveRad: math.Inf(-1), AtM: b.atM}, err
		}
		// The sphere stays that of the line, so that nothing jumps at the target.
		w.behind.RadiusM = l.RadiusM
		missing = b.look(w, from, to, top) || missing
		if w.err != nil {
			return Backdrop{Known: !missing, AboveRad: math.Inf(-1), AtM: b.atM}, w.err
		}
	}
	above := math.Atan(b.rise) - top
	// Whatever is missing, ground above the top stands behind it.
	return Backdrop{Known: !missing || above > 0, AboveRad: above, AtM: b.atM}, nil
}

// behind is the search for the greatest rise of the ground behind a target.
type behind struct {
	search  *search
	section Section
	model   Model
	outlook outlook
	// rise is the greatest so far, at atM, in the piece that begins at pieceM: the first of equals.
	rise, atM, pieceM float64
}

// look searches the ground between two distances, and tells whether terrain is missing on it; that is not looked for once ground stands above the top.
func (b *behind) look(w *Walker, from, to, topRad float64) (missing bool) {
	s := b.search
	s.walker, s.line, s.fill = w, b.section.Line, FillSea
	b.outlook, b.pieceM = b.section.outlook(b.model), math.Inf(-1)
	if !s.begin(from, to) {
		w.Walk(s.line, FillSea, from, to, func(p *Piece) bool {
			missing = missing || p.Missing
			b.take(p)
			return true
		})
		return missing
	}
	for i := range s.stretches {
		if top, whole := s.enter(&s.stretches[i]); b.counts(&whole) {
			b.descend(top, &whole)
		}
	}
	for i := 0; i < len(s.stretches) && !missing && !(math.Atan(b.rise)-topRad > 0); i++ {
		top, whole := s.enter(&s.stretches[i])
		missing = s.meetsMissing(top, &whole)
	}
	return missing
}

func (b *behind) take(p *Piece) {
	f := b.section.rise(p, b.model)
	if t, rise := f.greatest(0, p.W); rise > b.rise || rise == b.rise && p.X < b.pieceM {
		b.rise, b.atM, b.pieceM = rise, p.X+t, p.X
	}
}

// counts tells whether ground of a block may rise as high as that which was found, and sets the block's promise to the bound of its rise.
func (b *behind) counts(block *block) bool {
	length := block.to.x - block.from.x
	e := extent{from: block.from.x, to: block.to.x}
	e.ellipsoidalM = block.highestM + (block.from.undulation+block.to.undulation+length*b.search.at.steepest)/2 + boundMarginM
	block.promise = b.outlook.greatest(&e)
	return !(block.promise < b.rise)
}

// descend searches the parts of a block, the most promising first.
func (b *behind) descend(level int, whole *block) {
	s := b.search
	if level == 0 {
		if !s.passedOver(whole) {
			s.read(whole)
			b.take(&s.piece)
		}
		return
	}
	f := s.split(level, whole)
	order, m := [3]*block{}, 0
	for c := range f.n {
		part := &f.parts[c]
		part.highestM = s.highestM(level-1, part.j, part.i)
		if !b.counts(part) {
			continue
		}
		at := m
		for ; at > 0 && order[at-1].promise < part.promise; at-- {
			order[at] = order[at-1]
		}
		order[at] = part
		m++
	}
	for _, part := range order[:m] {
		if !(part.promise < b.rise) {
			b.descend(level-1, part)
		}
	}
}

// read reads the piece of a cell.
func (s *search) read(b *block) {
	a := s.at.arc
	s.cells.read(&s.piece, b.j, b.i, &b.from.place, &b.to.place, a.chord.at(a.u((b.from.x+b.to.x)/2)))
}

// meetsMissing tells whether terrain is missing in a block.
func (s *search) meetsMissing(level int, b *block) bool {
	if s.at.tile == nil {
		if s.at.state != Gap {
			return false
		}
	} else if _, missing := s.at.tile.block(level, b.j, b.i); missing == noneMissing {
		return false
	}
	if level == 0 {
		return !s.passedOver(b)
	}
	f := s.split(level, b)
	for c := range f.n {
		if s.meetsMissing(level-1, &f.parts[c]) {
			return true
		}
	}
	return false
}
