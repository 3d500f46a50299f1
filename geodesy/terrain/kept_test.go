package terrain

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
)

// sameBits tells whether two values of one type, structs of numbers or numbers, are equal to the bit; NaN is NaN.
func sameBits(a, b any) bool {
	x, y := reflect.ValueOf(a), reflect.ValueOf(b)
	if x.Kind() == reflect.Float64 {
		return math.Float64bits(x.Float()) == math.Float64bits(y.Float()) || x.Float() != x.Float() && y.Float() != y.Float()
	}
	if x.Kind() != reflect.Struct {
		return x.Interface() == y.Interface()
	}
	for i := range x.NumField() {
		if !sameBits(x.Field(i).Interface(), y.Field(i).Interface()) {
			return false
		}
	}
	return true
}

// keptModels are those of a survey, and some that no survey has.
func keptModels(random *rand.Rand, criticalK float64) []Model {
	models := []Model{{K: 0.143}, {Plane: true}, {K: 0.063}, {K: 0.223}, {}, {K: criticalK}, {K: math.Nextafter(criticalK, -99)}}
	return append(models, Model{K: -3 + 6*random.Float64()}, Model{K: 1}, Model{K: 0.3 * random.Float64()})
}

func keptSpreads(random *rand.Rand, k float64) Spreads {
	pick := func(of ...float64) float64 { return of[random.IntN(len(of))] }
	return Spreads{
		K: pick(0.143, 0.143, k, k+0.05, -1+3*random.Float64()), KSD: pick(0.04, 0.04, 0, 0.3), LowHeightM: pick(50, 50, 0, 300), LowK: pick(0.17, 0.17, -0.5), LowKSD: pick(0.15, 0.15, 0),
		EyeSDM: pick(3, 10, 0), TopSDM: pick(10, 3, 0), SeaSDM: pick(0.5, 0, 5), TerrainSDM: pick(0, 0, 0, 4), CorrelationM: pick(300, 300, 30, 3000, 0),
	}
}

// What a section tells by its bounds is what a look at every piece tells, to the bit.
func TestKeptLineIsThePlainOne(t *testing.T) {
	all := lineCount(2000)
	if *searchLines > 0 {
		all = *searchLines
	}
	grounds := append(realGrounds(), madeGrounds()...)
	compared, views, chances, backdrops := 0, 0, 0, 0
	for at, g := range grounds {
		w := g.walker(t)
		random := rand.New(rand.NewPCG(uint64(at), 71))
		next := g.lines(w, uint64(700+at))
		var section Section
		for range all / len(grounds) {
			l := next()
			guardM := []float64{200, 200, 1000, 0, 7}[random.IntN(5)]
			for _, fill := range []Fill{FillSea, FillHigh} {
				if _, err := w.Section(l, fill, guardM, &section); err != nil {
					t.Fatal(err)
				}
				where := func() []any { return []any{g.name, l.From, l.To, guardM, fill} }
				compared++
				plain := section
				plain.plainBase()
				if !sameBits([3]float64{section.BaseM, section.BaseAtM, section.baseT}, [3]float64{plain.BaseM, plain.BaseAtM, plain.baseT}) || section.base != plain.base {
					t.Fatalf("%v: base point %v m at %v m, plainly %v m at %v m", where(), section.BaseM, section.BaseAtM, plain.BaseM, plain.BaseAtM)
				}
				if want := section.plainCritical(); !sameBits(section.CriticalK, want) {
					t.Fatalf("%v: k_c %v, plainly %v", where(), section.CriticalK, want)
				}
				for _, m := range keptModels(random, section.CriticalK) {
					got, want := section.View(m), section.plainView(m)
					if !sameBits(got, want) {
						t.Fatalf("%v, %+v: view\n%+v, plainly\n%+v", where(), m, got, want)
					}
					if want.Obscured {
						views++
					}
					margin, marginAt := section.Margin(m)
					if wantMargin, wantAt := section.plainMargin(m); !sameBits(margin, wantMargin) || !sameBits(marginAt, wantAt) {
						t.Fatalf("%v, %+v: margin %v at %v m, plainly %v at %v m", where(), m, margin, marginAt, wantMargin, wantAt)
					}
				}
				for range 3 {
					spreads := keptSpreads(random, section.CriticalK)
					got, want := section.Odds(spreads), section.plainOdds(spreads)
					if !sameBits(got, want) {
						t.Fatalf("%v, %+v: odds\n%+v, plainly\n%+v", where(), spreads, got, want)
					}
					if want.Chance > 0 && want.Chance < 1 {
						chances++
					}
				}
			}
			k := []float64{0.143, 0, 0.3, -1}[random.IntN(4)]
			highestM := []float64{900, 4000, 9000}[random.IntN(3)]
			got, err := w.Backdrop(l, k, guardM, highestM)
			want, wantErr := w.plainBackdrop(l, k, guardM, highestM)
			if err != nil || wantErr != nil || !sameBits(got, want) {
				t.Fatalf("%s, %v to %v, guard %v m, k %v, up to %v m: behind\n%+v, plainly\n%+v (%v, %v)", g.name, l.From, l.To, guardM, k, highestM, got, want, err, wantErr)
			}
			if want.AtM > 0 {
				backdrops++
			}
		}
	}
	t.Logf("%d sections: %d views with a front, %d chances between 0 and 1, %d backdrops of ground", compared, views, chances, backdrops)
	if views < compared || chances < compared/20 || backdrops < compared/10 {
		t.Error("too few of what there is to compare")
	}
}
