package light

import (
	"math"
	"testing"
)

// ICAO Doc 7488/3 (1993), geometric heights (those of 11,000 and 32,000 m geopotential are printed to the metre, 11,019 and 32,162), as printed to six figures; 5 km pressure from memory.
func TestStandardAir(t *testing.T) {
	for _, c := range []struct{ heightM, temperatureK, pressureHPa float64 }{
		{-2500, 304.406, 1352.05}, {0, 288.150, 1013.25}, {1000, 281.651, 898.763}, {2000, 275.154, 795.014},
		{5000, 255.676, 540.483}, {11000, 216.774, 226.999}, {geometricM(11000), 216.650, 226.320}, {20000, 216.650, 55.2929}, {geometricM(32000), 228.650, 8.68014},
	} {
		temperature, pressure := StandardAir(c.heightM)
		if math.Abs(temperature-c.temperatureK) > 6e-4 || math.Abs(pressure-c.pressureHPa) > 6e-6*c.pressureHPa {
			t.Errorf("StandardAir(%v m) = %.3f K, %.3f hPa, want %.3f K, %.3f hPa", c.heightM, temperature, pressure, c.temperatureK, c.pressureHPa)
		}
	}
	// Temperatures at 3, 4, 6, 8 and 10 km, same source.
	for heightM, want := range map[float64]float64{3000: 268.659, 4000: 262.166, 6000: 249.187, 8000: 236.215, 10000: 223.252} {
		if got, _ := StandardAir(heightM); math.Abs(got-want) > 6e-4 {
			t.Errorf("StandardAir(%v m) = %.4f K, want %.3f K", heightM, got, want)
		}
	}
}

// Densities of the same rows, ICAO Doc 7488/3.
func TestStandardDensity(t *testing.T) {
	for heightM, want := range map[float64]float64{
		-2500: 1.54731, 0: 1.22500, 1000: 1.11166, 2000: 1.00655, 11000: 0.364801, geometricM(11000): 0.363918, 20000: 0.0889097, geometricM(32000): 0.0132249,
	} {
		if got := StandardDensity(heightM); math.Abs(got-want) > 8e-6*want {
			t.Errorf("StandardDensity(%v m) = %.7f kg/m³, want %v", heightM, got, want)
		}
	}
}

// k by the formula of Hirt et al. 2010 at the standard atmosphere's own rows: 1013.25 hPa, 288.15 K gives 0.1706; 540.2 hPa, 255.65 K
// (5,000 m geopotential, 5,003.9 m geometric) 0.1156.
func TestStandardK(t *testing.T) {
	for _, c := range []struct{ heightM, want float64 }{{0, 0.1706}, {5003.9, 0.1156}, {3000, 0.136}} {
		if got := StandardK(c.heightM); math.Abs(got-c.want) > 5.1e-4 {
			t.Errorf("StandardK(%v m) = %.4f, want %.4f", c.heightM, got, c.want)
		}
	}
}

func TestMeanK(t *testing.T) {
	const s = 100e3
	if got := MeanK(s, 30e3, func(float64) float64 { return 0.13 }); math.Abs(got-0.13) > 1e-12 {
		t.Errorf("mean of a constant = %v", got)
	}
	// k growing linearly from 0 to 1: with weight s−u the mean is ∫(s−u)u/s du / (s²/2) = 1/3; at the middle, by symmetry, 1/2; at x in
	// general ∫G·u/s du/(x(s−x)/2) = (s+x)/3s.
	grow := func(u float64) float64 { return u / s }
	for _, c := range []struct{ at, want float64 }{{0, 1.0 / 3}, {s / 2, 0.5}, {s / 4, 1.25 / 3}} {
		if got := MeanK(s, c.at, grow); math.Abs(got-c.want) > 2e-4 {
			t.Errorf("MeanK at %v = %.5f, want %.5f", c.at, got, c.want)
		}
	}
}
