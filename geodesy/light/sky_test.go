package light

import (
	"math"
	"testing"
)

// Thomas & Joseph, Johns Hopkins APL Technical Digest 17 no. 3 (1996), as Orekit's test of ITU-R P.834 quotes it, printed to 0.1′. Its atmosphere
// was not seen: the trace takes the almanacs' 10 °C, 1010 hPa with the standard lapse, and what ±1′ at 0°, ±0.3′ at 1°, ±0.1′ from 5° up allow.
func TestSkyRefractionTable(t *testing.T) {
	p := must(t)(GradientProfile(283.15, 1010, -0.0065, 0))
	for _, c := range []struct{ elevationDeg, wantArcmin, tol float64 }{
		{0, 34.5, 1}, {0.25, 31.4, 0.8}, {0.5, 28.7, 0.6}, {0.75, 26.4, 0.45}, {1, 24.3, 0.3}, {1.5, 20.9, 0.25}, {2, 18.3, 0.22},
		{3, 14.4, 0.15}, {5, 9.9, 0.1}, {10, 5.3, 0.1}, {20, 2.6, 0.1}, {30, 1.7, 0.1}, {90, 0, 0.001},
	} {
		got, lowestM, err := p.SkyRefraction(0, c.elevationDeg*degree, sphereM)
		if err != nil || math.Abs(got/degree*60-c.wantArcmin) > c.tol || lowestM != 0 {
			t.Errorf("SkyRefraction(%v°) = %.3f′ (lowest %v m), %v, want %v ± %v", c.elevationDeg, got/degree*60, lowestM, err, c.wantArcmin, c.tol)
		}
	}
}

// ERFA's eraRefco, test suite of liberfa: 800 hPa, 10 °C, humidity 0.9, 0.4 µm: A = 2.264949956241415e-4, B = −2.598658261729344e-7 rad in
// A·tan z + B·tan³z, z the apparent zenith distance; its refractivity and weight of the air are other formulas. From 30° up its own error is under
// 0.02″ (from memory).
func TestSkyRefractionAgainstERFA(t *testing.T) {
	const a, b = 0.2264949956241415009e-3, -0.2598658261729343970e-6
	vapourHPa := VapourHPa(283.15, 800, 0.9)
	p := must(t)(NewProfile([]Level{{HeightM: 0, TemperatureK: 283.15, PressureHPa: 800, VapourHPa: vapourHPa}, {HeightM: 11000, TemperatureK: 283.15 - 71.5}}, 0.4))
	for _, zenithDeg := range []float64{5, 20, 45, 60} {
		tan := math.Tan(zenithDeg * degree)
		want := a*tan + b*tan*tan*tan
		got, _, err := p.SkyRefraction(0, (90-zenithDeg)*degree, sphereM)
		if err != nil || math.Abs(got/want-1) > 5e-4 {
			t.Errorf("SkyRefraction at z = %v°: %.3f″, %v, ERFA %.3f″", zenithDeg, got/arcsec, err, want/arcsec)
		}
	}
}

// Refraction goes on smoothly below the horizontal, where closed formulas fail, and never shrinks on the way down while the ray stays in the
// troposphere (from 12 km it does at −1°, where it leaves the isothermal air over it).
func TestSkyRefractionBelowHorizontal(t *testing.T) {
	p := must(t)(StandardProfile(0))
	for _, eyeM := range []float64{2, 500, 4807, 12000} {
		last, lastSlope := 0.0, 0.0
		for e := 3.0; e >= -3; e -= 0.01 {
			got, _, err := p.SkyRefraction(eyeM, e*degree, sphereM)
			if err != nil {
				t.Fatalf("SkyRefraction(%v m, %v°): %v", eyeM, e, err)
			}
			slope := got - last
			if eyeM < 11000 && last > 0 && (slope <= 0 || lastSlope > 0 && math.Abs(slope-lastSlope) > 0.05*slope+0.05*arcsec) {
				t.Fatalf("SkyRefraction(%v m, %.2f°) = %.4f′: steps of %.3f″ and %.3f″", eyeM, e, got/degree*60, lastSlope/arcsec, slope/arcsec)
			}
			if last > 0 {
				lastSlope = slope
			}
			last = got
		}
	}
	// At −3° from 12 km the ray passes over all ground, at −3° from 4,807 m under the sea: the lowest height says so.
	if _, lowestM, _ := p.SkyRefraction(12000, -3*degree, sphereM); lowestM < 0 || lowestM > 4000 {
		t.Errorf("from 12 km at −3°: lowest %.0f m", lowestM)
	}
	if _, lowestM, _ := p.SkyRefraction(4807, -3*degree, sphereM); lowestM > -1000 {
		t.Errorf("from 4,807 m at −3°: lowest %.0f m", lowestM)
	}
}

// A ray that dips comes back to the eye's height as the one that rises: twice the bend down to level, and the refraction of the rising ray.
func TestSkyRefractionIsTwoPaths(t *testing.T) {
	p := must(t)(StandardProfile(0))
	const eyeM, dip = 3000, -1.2 * degree
	whole, lowestM, _ := p.SkyRefraction(eyeM, dip, sphereM)
	rising, _, _ := p.SkyRefraction(eyeM, -dip, sphereM)
	level, _, _ := p.SkyRefraction(lowestM, 0, sphereM)
	if want := 2*level - rising; math.Abs(whole-want) > 1e-3*arcsec {
		t.Errorf("SkyRefraction(−1.2°) = %.4f″, by its two halves %.4f″", whole/arcsec, want/arcsec)
	}
}

func TestSkyApparent(t *testing.T) {
	standard := must(t)(StandardProfile(0))
	for _, p := range []*Profile{standard, must(t)(standard.WithInversion(100, 200, 4))} {
		for _, eyeM := range []float64{2, 3000} {
			for _, trueDeg := range []float64{-2, -0.6, -0.3, 0, 1, 10, 45, 89.9} {
				apparentRad, err := p.SkyApparentRad(eyeM, trueDeg*degree, sphereM)
				if err != nil {
					t.Fatal(err)
				}
				refraction, _, err := p.SkyRefraction(eyeM, apparentRad, sphereM)
				if err != nil || math.Abs(apparentRad-refraction-trueDeg*degree) > 5e-9 {
					t.Errorf("SkyApparentRad(%v m, %v°) = %.6f°, which is %.6f° without air, %v", eyeM, trueDeg, apparentRad/degree, (apparentRad-refraction)/degree, err)
				}
			}
		}
	}
	if got, err := standard.SkyApparentRad(2, -20*degree, sphereM); err == nil {
		t.Errorf("a body at −20° appears at %v", got)
	}
}

// In a duct level light never leaves the air; the sky is seen over the steepest caught ray.
func TestSkyRefractionInDuct(t *testing.T) {
	duct := must(t)(must(t)(StandardProfile(0)).WithInversion(200, 250, 10))
	if got, lowestM, err := duct.SkyRefraction(230, 0.0003, sphereM); err == nil || lowestM < 150 {
		t.Errorf("SkyRefraction in a duct = %v, lowest %v m, want an error", got, lowestM)
	}
	if got, _, err := duct.SkyRefraction(230, 0.0017, sphereM); err != nil || got < 40*degree/60 {
		t.Errorf("SkyRefraction just over the duct = %.1f′, %v, want over 40′", got/degree*60, err)
	}
	if got, err := duct.SkyApparentRad(230, -1.2*degree, sphereM); err != nil || got < -2*degree {
		t.Errorf("SkyApparentRad in a duct = %v°, %v", got/degree, err)
	}
}

func BenchmarkSkyRefraction(b *testing.B) {
	p := must(b)(StandardProfile(0))
	for b.Loop() {
		if _, _, err := p.SkyRefraction(2, 0, sphereM); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "rays/s")
}
