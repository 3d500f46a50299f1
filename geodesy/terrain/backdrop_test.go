package terrain

import (
	"math"
	"testing"

	"farstation/geodesy"
)

// backdropPlain is Backdrop with every piece looked at.
func (w *Walker) backdropPlain(l *Line, k, guardM, highestM float64) Backdrop {
	b := Backdrop{Known: true}
	eye := l.From.HeightM + l.From.UndulationM
	top := geodesy.ApparentElevationRad(eye, l.To.HeightM+l.To.UndulationM, l.DistanceM, l.RadiusM, k)
	highest := math.Tan(-math.Pi / 4)
	for from := l.DistanceM + math.Max(guardM, ownFarSideM); from < backdropFarM; from += backdropStepM {
		if h := geodesy.HeightAtElevationM(math.Max(top, math.Atan(highest)), eye, from, l.RadiusM, k); h-l.From.UndulationM > highestM+100 {
			break
		}
		to := from + backdropStepM
		end, _ := geodesy.WGS84.Direct(l.From.At, l.AzimuthDeg, to)
		behind, err := NewLine(l.From, End{At: end, HeightM: l.To.HeightM, UndulationM: w.geoid.UndulationM(end)})
		if err != nil {
			panic(err)
		}
		behind.RadiusM = l.RadiusM
		section := Section{Line: behind}
		w.Walk(behind, FillSea, from, to, func(p *Piece) bool {
			b.Known = b.Known && !p.Missing
			f := section.rise(p, Model{K: k})
			if t, rise := f.greatest(0, p.W); rise > highest {
				highest, b.AtM = rise, p.X+t
			}
			return true
		})
	}
	b.AboveRad = math.Atan(highest) - top
	b.Known = b.Known || b.AboveRad > 0
	return b
}

// What stands behind a top is the same to the bit whether blocks are passed over or every piece is looked at.
func TestBackdropIsThePlainOne(t *testing.T) {
	grounds := append(realGrounds(), madeGrounds()...)
	above, below, unknown := 0, 0, 0
	for i, g := range grounds {
		w := g.walker(t)
		next := g.lines(w, uint64(200+i))
		for n := range lineCount(3000) / len(grounds) {
			l := next()
			k := []float64{0.143, 0, 0.3, 1}[n%4]
			highestM := []float64{9000, 1500, 0}[n%3]
			got, err := w.Backdrop(l, k, 200, highestM)
			if err != nil {
				t.Fatal(err)
			}
			if want := w.backdropPlain(l, k, 200, highestM); got != want {
				t.Fatalf("%s: line from %v to %v, k %v, highest %v: %+v, plain %+v", g.name, l.From, l.To, k, highestM, got, want)
			}
			switch {
			case !got.Known:
				unknown++
			case got.AboveRad > 0:
				above++
			default:
				below++
			}
		}
	}
	t.Logf("ground behind %d, sky behind %d, not known %d", above, below, unknown)
	if above < 10 || below < 10 || unknown < 10 {
		t.Error("too few of one kind")
	}
}
