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
		section := Section{Line: behind, GuardM: guardM}
		w.Walk(behind, FillSea, from, to, func(p *Piece) bool {
			if p.Missing {
				b.Known = false
			}
			f := section.rise(p, Model{K: k})
			if t, rise := f.greatest(0, p.W); rise > highest {
				highest, b.AtM = rise, p.X+t
			}
			return true
		})
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
