package terrain

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
)

// unbound makes a section look at every piece.
func (s *Section) unbound() *Section {
	plain := *s
	plain.bounds = bounds{stretch: math.Inf(1), sin: 1}
	for i := range s.Pieces {
		p := &s.Pieces[i]
		b := bound{fromM: p.X, toM: p.X + p.W, highestM: math.Inf(1), ellipsoidM: math.Inf(1), leastGapM: math.Inf(-1), steepM: math.Inf(1), flatSDM: math.Inf(1)}
		plain.bounds.pieces = append(plain.bounds.pieces, b)
		if i%boundPieces == 0 {
			plain.bounds.blocks = append(plain.bounds.blocks, b)
		}
		plain.bounds.blocks[i/boundPieces].toM = b.toM
	}
	return &plain
}

// What a section tells is the same to the bit whether pieces are passed over or all looked at.
func TestBoundsChangeNothing(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 17))
	models := []Model{{Plane: true}, {}, {K: 0.143}, {K: 0.063}, {K: 0.223}, {K: 0.5}, {K: -0.3}, {K: 0.99}, {K: 1.2}}
	lines := 0
	grounds := append(realGrounds(), madeGrounds()...)
	for i, g := range grounds {
		w := g.walker(t)
		next := g.lines(w, uint64(100+i))
		for range lineCount(1000) / len(grounds) {
			l := next()
			guardM := []float64{1, 200, 1000}[random.IntN(3)]
			s, err := w.Section(l, Fill(random.IntN(2)), guardM, nil)
			if err != nil {
				continue
			}
			plain := s.unbound()
			lines++
			if got, want := s.CriticalK, plain.findCritical(); got != want {
				t.Errorf("%s: k_c %v, looked at everywhere %v", g.name, got, want)
			}
			for _, m := range models {
				if got, want := bitsOf(s.View(m)), bitsOf(plain.View(m)); got != want {
					t.Errorf("%s, %+v: the view is\n%+v, looked at everywhere\n%+v", g.name, m, s.View(m), plain.View(m))
				}
				a, at := s.Margin(m)
				b, bt := plain.Margin(m)
				if a != b || at != bt {
					t.Errorf("%s, %+v: margin %v at %v, looked at everywhere %v at %v", g.name, m, a, at, b, bt)
				}
			}
			spreads := Spreads{K: 0.143, KSD: 0.04, LowHeightM: 50 * float64(random.IntN(2)), LowK: 0.17, LowKSD: 0.15, EyeSDM: 3, TopSDM: 5, SeaSDM: 0.5,
				TerrainSDM: 4 * float64(random.IntN(2)), CorrelationM: 300}
			if got, want := s.Odds(spreads), plain.Odds(spreads); got != want {
				t.Errorf("%s: odds %+v, looked at everywhere %+v", g.name, got, want)
			}
		}
	}
	if lines < 50 {
		t.Errorf("%d lines are too few", lines)
	}
}

// bitsOf is a view to the bit, for comparing: NaN is NaN.
func bitsOf(v View) (bits [12]uint64) {
	value := reflect.ValueOf(v)
	for i := range value.NumField() {
		switch f := value.Field(i); f.Kind() {
		case reflect.Float64:
			bits[i] = math.Float64bits(f.Float())
		case reflect.Bool:
			if f.Bool() {
				bits[i] = 1
			}
		}
	}
	return bits
}
