package light

import (
	"math"
	"testing"
)

const (
	sphereM = 6371000.0
	arcsec  = math.Pi / 180 / 3600
	degree  = math.Pi / 180
)

// must returns the profile of a constructor that cannot fail with the test's values.
func must(t testing.TB) func(*Profile, error) *Profile {
	return func(p *Profile, err error) *Profile {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
}

// slowTwin follows a ray in steps of metres by Runge and Kutta's fourth-order rule: dh/dθ = r·tan ε, dε/dθ = 1 + r/n·dn/dh, with the
// refractivity itself, not the sublayers.
func slowTwin(p *Profile, eyeM, elevationRad, distanceM, radiusM float64, steps int) (heightM, arrivalRad float64) {
	rate := func(h, e float64) (dh, de float64) {
		k := p.KAt(h) * (radiusM + h) / meanRadiusM
		return (radiusM + h) * math.Tan(e), 1 - k
	}
	h, e, d := eyeM, elevationRad, distanceM/radiusM/float64(steps)
	for range steps {
		h1, e1 := rate(h, e)
		h2, e2 := rate(h+d/2*h1, e+d/2*e1)
		h3, e3 := rate(h+d/2*h2, e+d/2*e2)
		h4, e4 := rate(h+d*h3, e+d*e3)
		h += d / 6 * (h1 + 2*h2 + 2*h3 + h4)
		e += d / 6 * (e1 + 2*e2 + 2*e3 + e4)
	}
	return h, e
}

func TestFollowAgainstSlowTwin(t *testing.T) {
	standard := must(t)(StandardProfile(0))
	for _, c := range []struct {
		name                                  string
		air                                   *Profile
		eyeM, elevationRad, distanceM, radius float64
		tolM                                  float64
	}{
		{"standard, level", standard, 2, 0, 100e3, sphereM, 0.01},
		{"standard, rising", standard, 100, 0.02, 200e3, sphereM, 0.01},
		{"standard, down and up", standard, 3000, -1.6 * degree, 400e3, sphereM, 0.05},
		{"standard, other sphere", standard, 3000, -1.6 * degree, 400e3, 6395000, 0.05},
		{"standard, steep", standard, 500, 0.7, 3e3, sphereM, 0.01},
		{"standard, steeply down", standard, 8000, -0.5, 10e3, sphereM, 0.01},
		{"inversion", must(t)(standard.WithInversion(400, 500, 6)), 300, 0.0005, 150e3, sphereM, 0.5},
		{"duct", must(t)(standard.WithInversion(400, 450, 10)), 420, 0.0005, 150e3, sphereM, 0.5},
		{"warm water", must(t)(standard.WithInversion(0, 5, -2)), 3, 0.0001, 30e3, sphereM, 0.05},
	} {
		got := c.air.Follow(c.eyeM, c.elevationRad, c.distanceM, c.radius)
		wantM, wantRad := slowTwin(c.air, c.eyeM, c.elevationRad, c.distanceM, c.radius, 40000)
		if math.Abs(got.HeightM-wantM) > c.tolM || math.Abs(got.ArrivalRad-wantRad) > 2*arcsec {
			t.Errorf("%s: Follow = %.4f m, %.3f″, slow twin %.4f m, %.3f″", c.name, got.HeightM, got.ArrivalRad/arcsec, wantM, wantRad/arcsec)
		}
	}
}
