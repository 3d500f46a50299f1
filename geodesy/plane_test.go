package geodesy_test

import (
	"math"
	"testing"

	"farstation/geodesy"
)

func TestPlaneElevation(t *testing.T) {
	for _, c := range []struct {
		name                  string
		eyeM, topM, distanceM float64
		wantRad               float64
	}{
		{"one in one", 0, 1000, 1000, math.Pi / 4},
		{"3-4-5 triangle, looking down", 3000, 0, 4000, -math.Asin(0.6)},
		{"sea at the eye's level", 0, 0, 250e3, 0},
		{"below the sea", -430, -430, 5e3, 0},
	} {
		if got := geodesy.PlaneElevationRad(c.eyeM, c.topM, c.distanceM); math.Abs(got-c.wantRad) > 1e-15 {
			t.Errorf("%s: PlaneElevationRad(%v, %v, %v) = %v, want %v", c.name, c.eyeM, c.topM, c.distanceM, got, c.wantRad)
		}
		if got := geodesy.ApparentElevationRad(c.eyeM, c.topM, c.distanceM, meanR, 1); math.Abs(got-c.wantRad) > 1e-15 {
			t.Errorf("%s: ApparentElevationRad(k=1) = %v, want the plane's %v", c.name, got, c.wantRad)
		}
	}
}

// With the ray bent by 1/R over straight geometry on the sphere the curved model is the plane to first order: what is left is about
// Δh(h₁+h₂)/(2Rs), since distance grows with height, plus terms of θ³ that tell at 300 km.
func TestPlaneIsTheCurvedModelAtK1(t *testing.T) {
	difference := func(eyeM, topM, distanceM float64) float64 {
		bent := geodesy.ApparentElevationRad(eyeM, topM, distanceM, meanR, 0) + distanceM/(2*meanR)
		return (bent - geodesy.PlaneElevationRad(eyeM, topM, distanceM)) / arcsec
	}
	for distanceM := 50e3; distanceM <= 300e3; distanceM += 10e3 {
		for eyeM := 0.0; eyeM <= 1500; eyeM += 250 {
			for topM := 0.0; topM <= 1500; topM += 250 {
				if got := difference(eyeM, topM, distanceM); math.Abs(got) > 1 {
					t.Errorf("%v m to %v m over %v m: %.3f″ between the models at k = 1, want under 1″", eyeM, topM, distanceM, got)
				}
			}
		}
	}
	worst := func(distanceM float64) (most float64) {
		for eyeM := 0.0; eyeM <= 4500; eyeM += 500 {
			for topM := 0.0; topM <= 4500; topM += 500 {
				got := difference(eyeM, topM, distanceM)
				most = max(most, math.Abs(got))
				if estimate := -(topM - eyeM) * (topM + eyeM) / (2 * meanR * distanceM) / arcsec; math.Abs(got-estimate) > 1.2 {
					t.Errorf("%v m to %v m over %v m: %.2f″, estimate %.2f″", eyeM, topM, distanceM, got, estimate)
				}
			}
		}
		return most
	}
	for _, c := range []struct{ distanceM, wantArcsec, tolArcsec float64 }{{50e3, 6.6, 0.1}, {300e3, 1.7, 0.1}} {
		got := worst(c.distanceM)
		t.Logf("up to 4,500 m over %v km: %.2f″", c.distanceM/1000, got)
		if math.Abs(got-c.wantArcsec) > c.tolArcsec {
			t.Errorf("up to 4,500 m over %v m: worst difference %.2f″, want %v ± %v", c.distanceM, got, c.wantArcsec, c.tolArcsec)
		}
	}
}

// A made case: a lighthouse top of 60 m at 5 km before a summit of 1,000 m at 100 km, from an eye of 10 m. Far minus near.
func TestLighthouseBeforeSummit(t *testing.T) {
	separation := func(elevationRad func(topM, distanceM float64) float64) func(float64) float64 {
		return func(float64) float64 { return (elevationRad(1000, 100e3) - elevationRad(60, 5e3)) / arcmin }
	}
	const k = 0.143
	checkHandbook(t, []handbookRow{
		{"curved", func(k float64) float64 {
			return separation(func(topM, distanceM float64) float64 {
				return geodesy.ApparentElevationRad(10, topM, distanceM, meanR, k)
			})(k)
		}, k, -22.3, 0.05, true},
		{"plane", separation(func(topM, distanceM float64) float64 { return geodesy.PlaneElevationRad(10, topM, distanceM) }), k, -0.34, 0.01, false},
		{"plane in the same air", func(k float64) float64 {
			return separation(func(topM, distanceM float64) float64 {
				return geodesy.PlaneElevationInAirRad(10, topM, distanceM, meanR, k)
			})(k)
		}, k, 3.3, 0.05, true},
	})
	// Between the models, light straight on the plane: (1−k)(s_f−s_n)/(2R) = 21.97′.
	gap := separation(func(topM, distanceM float64) float64 {
		return geodesy.PlaneElevationRad(10, topM, distanceM) - geodesy.ApparentElevationRad(10, topM, distanceM, meanR, k)
	})(k)
	if math.Abs(gap-(1-k)*95e3/(2*meanR)/arcmin) > 0.01 {
		t.Errorf("gap between the models %.3f′, want (1−k)(s_f−s_n)/2R = %.3f′", gap, (1-k)*95e3/(2*meanR)/arcmin)
	}
}

// With the bending that it would need, the plane looks like the curved model.
func TestBendingForPlane(t *testing.T) {
	for _, k := range []float64{0, 0.143, 0.3, 1} {
		needed := geodesy.BendingForPlanePerM(meanR, k) * meanR // the plane's own refraction coefficient
		for _, distanceM := range []float64{20e3, 100e3, 200e3} {
			plane := geodesy.PlaneElevationInAirRad(10, 1000, distanceM, meanR, needed)
			curved := geodesy.ApparentElevationRad(10, 1000, distanceM, meanR, k)
			if math.Abs(plane-curved)/arcsec > 1 {
				t.Errorf("k=%v, %v m: plane so bent %.2f″, curved %.2f″", k, distanceM, plane/arcsec, curved/arcsec)
			}
		}
	}
}
