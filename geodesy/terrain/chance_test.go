package terrain

import (
	"math"
	"testing"

	"farstation/geodesy"
)

// noLowAir leaves one k for the whole line: otherwise raising an end takes ground out of the low air, which may lower k.
func noLowAir(spreads Spreads) Spreads {
	spreads.LowHeightM = 0
	return spreads
}

// nodeError bounds the falls that come from the mean over the nodes, which may move a little where another point becomes the riskiest and
// the axes turn.
const nodeError = 0.005

func TestChanceRisesWithTop(t *testing.T) {
	w := bordersWalker(t)
	var deepest float64
	for _, section := range openSections(t, w, bordersHills(t), lineCount(100), surveySpreads()) {
		for _, correlationM := range []float64{100, 300, 3000} {
			spreads := noLowAir(surveySpreads())
			spreads.CorrelationM = correlationM
			before := -1.0
			for raiseM := -60.0; raiseM <= 60; raiseM += 2 {
				to := section.Line.To
				to.HeightM += raiseM
				l, err := NewLine(section.Line.From, to)
				if err != nil {
					t.Fatal(err)
				}
				raised, err := w.Section(l, FillSea, 200, nil)
				if err != nil {
					t.Fatal(err)
				}
				chance := raised.Odds(spreads).Chance
				if chance < 0 || chance > 1 {
					t.Errorf("top raised by %v m: chance %v", raiseM, chance)
				}
				deepest = math.Min(deepest, chance-before)
				before = chance
			}
		}
	}
	t.Logf("deepest fall of the chance for a top raised by 2 m: %.1e", deepest)
	if deepest < -nodeError {
		t.Errorf("a top raised by 2 m lowers the chance by %.1e", -deepest)
	}
}

// A higher critical refraction with all else the same is a smaller k.
func TestChanceRisesWithK(t *testing.T) {
	w := bordersWalker(t)
	var deepest float64
	for _, section := range openSections(t, w, bordersHills(t), lineCount(200), surveySpreads()) {
		before := -1.0
		for k := -0.5; k <= 0.8; k += 0.02 {
			spreads := noLowAir(surveySpreads())
			spreads.K = k
			chance := section.Odds(spreads).Chance
			deepest = math.Min(deepest, chance-before)
			if chance < before-nodeError {
				t.Errorf("k_c %.3f: chance %.5f at k = %.2f, %.5f at 0.02 less", section.CriticalK, chance, k, before)
			}
			before = chance
		}
	}
	t.Logf("deepest fall of the chance for k raised by 0.02: %.1e", deepest)
}

func TestChanceWithoutSpreads(t *testing.T) {
	w := bordersWalker(t)
	for _, section := range openSections(t, w, bordersHills(t), lineCount(200), surveySpreads()) {
		for _, c := range []struct{ above, want float64 }{{-0.1, 0}, {-1e-5, 0}, {1e-5, 1}, {0.1, 1}} {
			// 0 would ask for the spread by slope.
			spreads := Spreads{K: section.CriticalK + c.above, TerrainSDM: 1e-12, CorrelationM: 300}
			if got := section.Odds(spreads).Chance; got != c.want {
				t.Errorf("k %g above k_c, no spreads: chance %v, want %v", c.above, got, c.want)
			}
			if got := section.Draw(spreads, 10, 1); got != c.want {
				t.Errorf("k %g above k_c, no spreads: drawn %v, want %v", c.above, got, c.want)
			}
		}
	}
}

// With k alone uncertain the chance is Φ((k − k_c)/σ_k), and a step as σ_k goes to 0.
func TestChanceOfKAlone(t *testing.T) {
	w := bordersWalker(t)
	for _, section := range openSections(t, w, bordersHills(t), lineCount(200), surveySpreads()) {
		for _, kSD := range []float64{0.04, 1e-3, 1e-6} {
			for _, z := range []float64{-6, -2, -1, 0.3, 1, 6} {
				spreads := Spreads{K: section.CriticalK + z*kSD, KSD: kSD, TerrainSDM: 1e-12, CorrelationM: 300}
				want := 0.5 * math.Erfc(-z/math.Sqrt2)
				// Half of the step from one node to the next.
				if got := section.Odds(spreads).Chance; math.Abs(got-want) > 0.5/float64(len(chanceNodes))+1e-6 {
					t.Errorf("k %v spreads of %v above k_c: chance %.4f, want %.4f", z, kSD, got, want)
				}
			}
		}
	}
}

func TestChanceBothWays(t *testing.T) {
	w := bordersWalker(t)
	for _, section := range openSections(t, w, bordersHills(t), lineCount(200), surveySpreads()) {
		l, err := NewLine(section.Line.To, section.Line.From)
		if err != nil {
			t.Fatal(err)
		}
		back, err := w.Section(l, FillSea, 200, nil)
		if err != nil {
			t.Fatal(err)
		}
		spreads, backSpreads := surveySpreads(), surveySpreads()
		spreads.EyeSDM, backSpreads.TopSDM = 4, 4
		if there, andBack := section.Odds(spreads).Chance, back.Odds(backSpreads).Chance; math.Abs(there-andBack) > 1e-3 {
			t.Errorf("%.1f km from %v to %v: chance %.5f, back %.5f", l.DistanceM/1000, section.Line.From.At, section.Line.To.At, there, andBack)
		}
	}
}

// Over open sea one draw moves all the water, and one stretch of it stands for all.
func TestChanceOverSea(t *testing.T) {
	w := seaWalker(t)
	open := 0
	for _, km := range []float64{60, 150, 300} {
		for _, share := range []float64{0.8, 0.9, 0.95, 1, 1.05} {
			// Both ends at the height at which k = 0.143 grazes in the middle, times share.
			heightM := share * (1 - 0.143) * sq(km*500) / (2 * 6371e3)
			l := seaLine(t, w, geodesy.LatLon{LatDeg: 45, LonDeg: -38}, 60, km*1000, heightM, heightM)
			section, err := w.Section(l, FillSea, 200, nil)
			if err != nil {
				t.Fatal(err)
			}
			for _, seaSDM := range []float64{0.5, 5} {
				for _, lowHeightM := range []float64{0, 50} {
					spreads := surveySpreads()
					spreads.SeaSDM, spreads.LowHeightM = seaSDM, lowHeightM
					const draws = 20000
					chance, drawn := section.Odds(spreads).Chance, section.Draw(spreads, draws, 1)
					if drawn > 0.02 && drawn < 0.98 {
						open++
					}
					// Half of the step from one node to the next, and four standard deviations of the share.
					if math.Abs(chance-drawn) > 0.5/float64(len(chanceNodes))+4*0.5/math.Sqrt(draws) {
						t.Errorf("%v km of sea, ends at %.0f m, low air below %v m, sea ± %v m: chance %.4f, drawn %.4f", km, heightM, lowHeightM, seaSDM, chance, drawn)
					}
				}
			}
		}
	}
	if open < 20 {
		t.Errorf("only %d cases are open", open)
	}
}

func TestWeightBeside(t *testing.T) {
	for _, c := range []struct {
		distanceM, want float64
		source          string
	}{
		{0, 0, "errors that go together count once"},
		{math.Inf(1), 1, "independent errors count in full"},
		{300 * math.Ln2, math.Log2(3) - 1, "correlation 1/2: the orthant holds 1/3 (Sheppard 1899)"},
	} {
		if got := weightBeside(c.distanceM, 300); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("weightBeside(%v m, 300 m) = %v, want %v (%s)", c.distanceM, got, c.want, c.source)
		}
	}
}

func TestTurn(t *testing.T) {
	for _, d := range [][4]float64{{3, 4, 12, 84}, {-1, 0, 0, 0}, {0, 0, 0, 2}, {5, 0, 0, 0}, {0, 0, 0, 0}} {
		along := axesAlong(&d).turn(&d)
		want := [4]float64{math.Sqrt(sumSq(&d))}
		for i := range along {
			if math.Abs(along[i]-want[i]) > 1e-12*(1+want[0]) {
				t.Errorf("turn(%v along itself) = %v, want %v", d, along, want)
				break
			}
		}
		v := [4]float64{1, -2, 3, -4}
		if turned := axesAlong(&d).turn(&v); math.Abs(sumSq(&turned)-30) > 1e-12 {
			t.Errorf("turn(%v, %v) = %v, which is of another length", v, d, turned)
		}
	}
}

func TestNodeReach(t *testing.T) {
	mean, square := [4]float64{}, [4]float64{}
	for _, n := range chanceNodes {
		if reach := math.Sqrt(sumSq(&n)); reach > nodeReach {
			t.Errorf("node %v is %.2f from the mean, want %v at most", n, reach, nodeReach)
		}
		for i, v := range n {
			mean[i] += v / float64(len(chanceNodes))
			square[i] += v * v / float64(len(chanceNodes))
		}
	}
	for i := range mean {
		if math.Abs(mean[i]) > 0.05 || math.Abs(square[i]-1) > 0.05 {
			t.Errorf("axis %d of the nodes: mean %.3f, mean square %.3f, want 0 and 1", i, mean[i], square[i])
		}
	}
}

func TestLogCDF(t *testing.T) {
	for z := -7.99; z < 9; z += 0.0137 {
		if got, want := logCDF(z), math.Log(0.5*math.Erfc(-z/math.Sqrt2)); math.Abs(got-want) > 1e-5 {
			t.Errorf("logCDF(%v) = %v, want %v", z, got, want)
		}
	}
	if got := logCDF(-9); !math.IsInf(got, -1) {
		t.Errorf("logCDF(-9) = %v, want -Inf", got)
	}
}

func BenchmarkOdds(b *testing.B) {
	w := bordersWalker(b)
	sections := openSections(b, w, bordersHills(b), 100, surveySpreads())
	spreads := surveySpreads()
	for i := 0; b.Loop(); i++ {
		sections[i%len(sections)].Odds(spreads)
	}
}

func BenchmarkDraw(b *testing.B) {
	w := bordersWalker(b)
	sections := openSections(b, w, bordersHills(b), 100, surveySpreads())
	spreads := surveySpreads()
	for i := 0; b.Loop(); i++ {
		sections[i%len(sections)].Draw(spreads, 1000, 1)
	}
}
