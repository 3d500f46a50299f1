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

// MOR = ln(1/0.05)/σ (CIE e-ILV 17-31-018): σ = 0.2996, 0.1498, 0.0599, 0.02996 per km leave 5 % over 10, 20, 50, 100 km, and
// V = ln(C/ε)/σ (AMS Glossary, visual-range formula) 2 % over ln 50/ln 20 times as far.
func TestContrastAtOpticalRange(t *testing.T) {
	level := func(float64) float64 { return 0 }
	for _, c := range []struct{ rangeKM, perKM float64 }{{10, 0.2996}, {20, 0.1498}, {50, 0.0599}, {100, 0.02996}} {
		haze := Haze{VisualRangeM: koschmieder / c.perKM * 1000}
		if got := haze.Contrast(Path(c.rangeKM*1000, level)); math.Abs(got-0.05) > 1e-4 {
			t.Errorf("Contrast over MOR = %v km is %.5f, want 0.05", c.rangeKM, got)
		}
		if got := haze.Contrast(Path(c.rangeKM*1000*math.Log(50)/math.Log(20), level)); math.Abs(got-0.02) > 1e-4 {
			t.Errorf("Contrast over V = %.5f, want 0.02", got)
		}
	}
}

// Clean air scatters about 10 per 1,000 km at 1,500 m, a visual range of 391.2 km (US Forest Service, air terminology), and about 300 km
// at sea level.
func TestCleanAir(t *testing.T) {
	const length = 100e3
	perM := Path(length, func(float64) float64 { return 1500 }).Air / length
	if math.Abs(perM-10e-6) > 0.1e-6 || math.Abs(koschmieder/perM-391.2e3) > 4e3 {
		t.Errorf("clean air at 1,500 m: %.3g per m, visual range %.1f km", perM, koschmieder/perM/1000)
	}
	if rangeM := koschmieder / airPerM; math.Abs(rangeM-300e3) > 30e3 {
		t.Errorf("clean air at sea level: visual range %.1f km", rangeM/1000)
	}
}
