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

// Backdrop walks on past the target, in the line's azimuth, until no ground of the region is high enough to show behind the top. highestM is
// the height of the highest ground there is over the geoid.
func (w *Walker) Backdrop(l *Line, k, guardM, highestM float64) (Backdrop, error) {
	b := Backdrop{Known: true, AboveRad: math.Inf(-1)}
	eye := l.From.HeightM + l.From.UndulationM
	top := geodesy.ApparentElevationRad(eye, l.To.HeightM+l.To.UndulationM, l.DistanceM, l.RadiusM, k)
	highest := math.Tan(-math.Pi / 4)
	// A summit's own far side is no backdrop.
	for from := l.DistanceM + math.Max(guardM, ownFarSideM); from < backdropFarM; from += backdropStepM {
		// 100 m for the geoid's slope: the ray only needs to be above all ground, not exactly so.
		if h := geodesy.HeightAtElevationM(math.Max(top, math.Atan(highest)), eye, from, l.RadiusM, k); h-l.From.UndulationM > highestM+100 {
			break
		}
		to := from + backdropStepM
		end, _ := geodesy.WGS84.Direct(l.From.At, l.AzimuthDeg, to)
		behind, err := NewLine(l.From, End{At: end, HeightM: l.To.HeightM, UndulationM: w.geoid.UndulationM(end)})
		if err != nil {
			return b, err
		}
		// The sphere stays that of the line, so that nothing jumps at the target.
		behind.RadiusM = l.RadiusM
		r := rising{search: &w.search, section: Section{Line: behind}, model: Model{K: k}, highest: highest, atM: b.AtM}
		if !r.find(w, from, to) {
			b.Known = false
		}
		highest, b.AtM = r.highest, r.atM
		if w.err != nil {
			return b, w.err
		}
	}
	b.AboveRad = math.Atan(highest) - top
	if b.AboveRad > 0 {
		b.Known = true // whatever is missing, ground stands behind
	}
	return b, nil
}

// rising finds the greatest rise of ground on part of a line, first of equals, by blocks of cells: a block of which no ground rises so high is
// passed over.
type rising struct {
	*search
	section      Section
	model        Model
	highest, atM float64
}

// find raises highest, and tells whether no terrain is missing there.
func (r *rising) find(w *Walker, from, to float64) (known bool) {
	r.walker, r.line, r.fill = w, r.section.Line, FillSea
	if !r.begin(from, to) {
		known = true
		w.Walk(r.line, FillSea, from, to, func(p *Piece) bool {
			known = known && !p.Missing
			r.rise(p)
			return true
		})
		return known
	}
	defer r.end()
	known = true
	for i := range r.stretches {
		top, whole := r.enter(&r.stretches[i])
		known = known && !r.meetsMissing(top, &whole)
		r.descend(top, &whole)
	}
	return known
}

func (r *rising) rise(p *Piece) {
	f := r.section.rise(p, r.model)
	if t, rise := f.greatest(0, p.W); rise > r.highest {
		r.highest, r.atM = rise, p.X+t
	}
}

// descend looks at the parts of a block in order.
func (r *rising) descend(level int, b *block) {
	length := b.to.x - b.from.x
	most := bound{
		fromM: b.from.x, toM: b.to.x, highestM: b.highestM + boundSlackM,
		ellipsoidM: b.highestM + math.Max(b.from.undulation, b.to.undulation) + r.at.steepest*length + boundSlackM,
	}
	if r.section.mostRise(&most, r.model) < r.highest {
		return
	}
	if level == 0 {
		if !r.passedOver(b) {
			a := r.at.arc
			r.cells.read(&r.piece, b.j, b.i, &b.from.place, &b.to.place, a.chord.at(a.u((b.from.x+b.to.x)/2)))
			r.rise(&r.piece)
		}
		return
	}
	f := r.split(level, b)
	for c := range f.n {
		part := &f.parts[c]
		part.highestM = r.highestM(level-1, part.j, part.i)
		r.descend(level-1, part)
	}
}

// meetsMissing tells whether terrain is missing on the line's part in a block.
func (r *rising) meetsMissing(level int, b *block) bool {
	switch {
	case r.at.tile == nil && r.at.state != Gap:
		return false
	case r.at.tile != nil:
		if _, missing := r.at.tile.block(level, b.j, b.i); missing == noneMissing {
			return false
		}
	}
	if level == 0 {
		return !r.passedOver(b)
	}
	f := r.split(level, b)
	for c := range f.n {
		part := f.parts[c] // its points stay those of the frame, which deeper levels leave alone
		if r.meetsMissing(level-1, &part) {
			return true
		}
	}
	return false
}
