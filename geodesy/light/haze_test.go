package light

import (
	"math"
	"testing"
)

// At sea level the definition itself is the check: over the meteorological range V, contrast falls to 2 % (σ = 3.912/V; AMS Glossary,
// "meteorological range": V = 10, 20, 50, 100, 300 km have σ = 0.3912, 0.1956, 0.07824, 0.03912, 0.01304 per km).
func TestContrastAtSeaLevel(t *testing.T) {
	level := func(float64) float64 { return 0 }
	for _, c := range []struct{ rangeKM, perKM float64 }{{10, 0.3912}, {20, 0.1956}, {50, 0.07824}, {100, 0.03912}, {300, 0.01304}} {
		haze := Haze{VisualRangeM: c.rangeKM * 1000}
		for _, km := range []float64{1, 10, c.rangeKM} {
			want := math.Exp(-c.perKM * km)
			if got := haze.Contrast(Path(km*1000, level)); math.Abs(got-want) > 1e-4 {
				t.Errorf("Contrast over %v km at V = %v km = %.5f, want %.5f", km, c.rangeKM, got, want)
			}
		}
		if got := VisualRangeNeededM(Path(c.rangeKM*1000, level)); math.Abs(got-c.rangeKM*1000) > 1 {
			t.Errorf("VisualRangeNeededM over %v km = %.0f m", c.rangeKM, got)
		}
	}
	if got := VisualRangeNeededM(Path(400e3, level)); !math.IsInf(got, 1) {
		t.Errorf("400 km at sea level need %v m, but clean air alone leaves less than 2 %%", got)
	}
}

// The integral along a level ray at height h is closed: both layers thin exponentially.
func TestPathAtHeight(t *testing.T) {
	d := Path(200e3, func(float64) float64 { return 3000 })
	if want := 0.012 * 200 * math.Exp(-3.0/8); math.Abs(d.Air-want) > 1e-9 {
		t.Errorf("clean air = %v, want %v", d.Air, want)
	}
	if want := 200e3 * math.Exp(-2); math.Abs(d.HazeM-want) > 1e-6 {
		t.Errorf("haze = %v, want %v", d.HazeM, want)
	}
	// A ray that rises at a constant slope: ∫exp(−cx/H)dx = H/c·(1 − exp(−cL/H)).
	d = Path(100e3, func(x float64) float64 { return 0.02 * x })
	if want := 1500 / 0.02 * (1 - math.Exp(-2000.0/1500)); math.Abs(d.HazeM-want)/want > 1e-6 {
		t.Errorf("haze on a slope = %v, want %v", d.HazeM, want)
	}
}
