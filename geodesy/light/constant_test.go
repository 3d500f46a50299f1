package light_test

import (
	"math"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/light"
)

// Formula: Hirt et al. 2010, J. Geophys. Res. 115, D21102. Rows are derived from it; the first is asserted as 0.131 ± 0.001 by a
// published test suite, homogeneous air and light that follows the Earth are definitions.
func TestKFromGradient(t *testing.T) {
	for _, c := range []struct {
		name                                     string
		pressureHPa, temperatureK, gradientKPerM float64
		wantK, tol                               float64
	}{
		{"alinnman/celestial-navigation's test", 850, 283, -0.0098, 0.131, 0.001},
		{"the same by formula (derived)", 850, 283, -0.0098, 0.1308, 0.00005},
		{"standard air at the sea (derived)", 1013.25, 288.15, -0.0065, 0.1706, 0.00005},
		{"isothermal (derived)", 1013.25, 288.15, 0, 0.2105, 0.00005},
		{"dry adiabatic (derived)", 1013.25, 288.15, -0.0098, 0.1504, 0.00005},
		{"homogeneous air: straight light", 1013.25, 288.15, -0.0343, 0, 0},
		{"ray follows the Earth (derived)", 1013.25, 288.15, 0.1286, 1, 0.0005},
		{"10 °C, 1010 hPa (derived)", 1010, 283.15, -0.0065, 0.1762, 0.00005},
		{"frost (derived)", 1013.25, 273.15, -0.0065, 0.1899, 0.00005},
		{"standard air at 5 km (derived)", 540.2, 255.65, -0.0065, 0.1156, 0.00005},
	} {
		if got := light.KFromGradient(c.pressureHPa, c.temperatureK, c.gradientKPerM); math.Abs(got-c.wantK) > c.tol {
			t.Errorf("%s: KFromGradient(%v, %v, %v) = %.5f, want %v ± %v", c.name, c.pressureHPa, c.temperatureK, c.gradientKPerM, got, c.wantK, c.tol)
		}
		back := light.GradientForK(c.pressureHPa, c.temperatureK, light.KFromGradient(c.pressureHPa, c.temperatureK, c.gradientKPerM))
		if math.Abs(back-c.gradientKPerM) > 1e-15 {
			t.Errorf("%s: GradientForK gives %v back, want %v", c.name, back, c.gradientKPerM)
		}
	}
}

func TestGradientForK(t *testing.T) {
	for _, c := range []struct {
		name         string
		k, want, tol float64
	}{
		{"k = 0.13 at the sea (derived)", 0.13, -0.01312, 0.000005},
		{"k = 1/7 at the sea (derived)", 1.0 / 7, -0.01103, 0.000005},
		{"k = 1 at the sea (derived)", 1, 0.1286, 0.00005},
	} {
		if got := light.GradientForK(1013.25, 288.15, c.k); math.Abs(got-c.want) > c.tol {
			t.Errorf("%s: GradientForK = %.6f K/m, want %v ± %v", c.name, got, c.want, c.tol)
		}
	}
	if got := light.GradientForK(1010, 283.15, 0.165); math.Abs(got+0.0083) > 0.00005 {
		t.Errorf("almanac dip, k = 0.165 at 10 °C, 1010 hPa (derived): %.5f K/m, want -0.0083", got)
	}
}

// A plane needs about −0.17 K/m along the whole ray at the sea and −0.21 K/m at 3,000 m (derived), five to six times the
// −0.034 K/m at which air overturns by itself.
func TestGradientForPlane(t *testing.T) {
	for _, c := range []struct{ pressureHPa, temperatureK, want float64 }{{1013.25, 288.15, -0.17}, {701.1, 268.65, -0.21}} {
		got := light.GradientForPlaneKPerM(c.pressureHPa, c.temperatureK, 0.143)
		if math.Abs(got-c.want) > 0.005 {
			t.Errorf("GradientForPlaneKPerM(%v, %v, 0.143) = %.4f K/m, want %v ± 0.005", c.pressureHPa, c.temperatureK, got, c.want)
		}
		ownK := light.KFromGradient(c.pressureHPa, c.temperatureK, got)
		if needed := geodesy.BendingForPlanePerM(6371000, 0.143) * 6371000; math.Abs(ownK-needed) > 1e-12 {
			t.Errorf("air of %.4f K/m has k = %v, the plane needs %v", got, ownK, needed)
		}
	}
}

const arcsec = math.Pi / 180 / 3600

// Chandra, Surveying, example 3.9: +6°32′58.3″ and −6°33′36.7″ over 1,411.402 m, R = 6,383.393 km. Angles published, k = 0.1580 derived.
func TestFromReciprocalAngles(t *testing.T) {
	const up, down = (6*3600 + 32*60 + 58.3) * arcsec, -(6*3600 + 33*60 + 36.7) * arcsec
	got := light.FromReciprocalAngles(up, down, 1411.402, 6383393)
	if math.Abs(got-0.1580) > 0.00005 {
		t.Errorf("FromReciprocalAngles(Chandra 3.9) = %.5f, want 0.1580", got)
	}
	if refraction := got / 2 * 1411.402 / 6383393 / arcsec; math.Abs(refraction-3.60) > 0.005 {
		t.Errorf("refraction angle %.3f″, want 3.60″ (derived)", refraction)
	}
}

// Baeyer's definition: the elevations of either end, seen from the other through air of k, give that k back, whatever the heights.
func TestReciprocalAnglesOfTheCurvedModel(t *testing.T) {
	for _, k := range []float64{-2, 0, 0.13, 0.143, 1, 2.5} {
		for _, distanceM := range []float64{1e3, 50e3, 300e3} {
			there := geodesy.ApparentElevationRad(12, 3400, distanceM, 6371000, k)
			back := geodesy.ApparentElevationRad(3400, 12, distanceM, 6371000, k)
			tol := 2e-16 * 6371000 / distanceM * 10
			if got := light.FromReciprocalAngles(there, back, distanceM, 6371000); math.Abs(got-k) > tol {
				t.Errorf("FromReciprocalAngles over %v m = %.12f, want %v", distanceM, got, k)
			}
		}
	}
}
