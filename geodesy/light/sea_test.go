package light

import (
	"errors"
	"math"
	"testing"

	"farstation/geodesy"
)

// Through air whose k hardly changes on the way, dip, distance and obscured height are those of the handbooks' sphere for that k (tested in
// geodesy against Bowditch).
func TestSeaHorizonAgainstConstantK(t *testing.T) {
	p := must(t)(StandardProfile(0))
	for _, eyeM := range []float64{0.5, 2, 10, 30, 100, 400} {
		dipRad, distanceM, err := p.SeaHorizon(eyeM, 0, sphereM)
		if err != nil {
			t.Fatal(err)
		}
		// Seen from the horizon, k has the weight of its distance to the eye: heights there are a sixth of the eye's in the mean.
		wantDip, wantM, _ := geodesy.SeaHorizon(eyeM, sphereM, p.KAt(eyeM/6))
		if math.Abs(dipRad/wantDip-1) > 1e-3 || math.Abs(distanceM/wantM-1) > 1e-3 {
			t.Errorf("SeaHorizon(%v m) = %.3f′ at %.0f m, constant k gives %.3f′ at %.0f m", eyeM, dipRad/degree*60, distanceM, wantDip/degree*60, wantM)
		}
		obscuredM, err := p.SeaObscuredM(eyeM, distanceM+40e3, 0, sphereM)
		wantObscuredM, _ := geodesy.SeaObscuredM(eyeM, wantM+40e3, sphereM, p.KAt(100.0/6))
		if err != nil || math.Abs(obscuredM-wantObscuredM) > 0.4 {
			t.Errorf("SeaObscuredM(%v m, 40 km past the horizon) = %.2f m, %v, constant k gives %.2f m", eyeM, obscuredM, err, wantObscuredM)
		}
	}
}

// The ray of the horizon, followed from the eye, grazes the sea at the distance stated, and stands at the obscured height past it.
func TestSeaHorizonRay(t *testing.T) {
	standard := must(t)(StandardProfile(0))
	for _, p := range []*Profile{standard, must(t)(standard.WithInversion(120, 200, 5)), must(t)(standard.WithInversion(0, 2, -1))} {
		for _, seaM := range []float64{0, 1.5, 176} {
			eyeM := seaM + 60
			dipRad, distanceM, err := p.SeaHorizon(eyeM, seaM, sphereM)
			if err != nil {
				t.Fatal(err)
			}
			if r := p.Follow(eyeM, -dipRad, distanceM, sphereM); math.Abs(r.HeightM-seaM) > 1e-4 || math.Abs(r.ArrivalRad) > 1e-7 {
				t.Errorf("the horizon's ray: %.5f m over %v m, %.2g rad", r.HeightM-seaM, seaM, r.ArrivalRad)
			}
			obscuredM, err := p.SeaObscuredM(eyeM, 90e3, seaM, sphereM)
			if r := p.Follow(eyeM, -dipRad+1e-12, 90e3, sphereM); err != nil || math.Abs(r.HeightM-obscuredM) > 0.01 {
				t.Errorf("SeaObscuredM(90 km) = %.4f m, %v, the ray stands at %.4f m", obscuredM, err, r.HeightM)
			}
			if inside, err := p.SeaObscuredM(eyeM, distanceM/2, seaM, sphereM); err != nil || inside != seaM {
				t.Errorf("inside the horizon: %v, %v", inside, err)
			}
		}
	}
}

func TestSeaHorizonRefuses(t *testing.T) {
	standard := must(t)(StandardProfile(0))
	onTheSea := must(t)(standard.WithInversion(0, 40, 9))
	for _, c := range []struct {
		name       string
		air        *Profile
		eyeM, seaM float64
		want       error
	}{
		{"under the sea", standard, -3, 0, geodesy.ErrBelowSea},
		{"under the lake", standard, 170, 176, geodesy.ErrBelowSea},
		{"in a duct on the sea", onTheSea, 10, 0, geodesy.ErrNoHorizon},
		{"over a duct on the sea", onTheSea, 60, 0, geodesy.ErrNoHorizon},
		{"duct over the sea that the ray cannot pass", must(t)(standard.WithInversion(10, 60, 18)), 70, 0, geodesy.ErrNoHorizon},
	} {
		if dip, distance, err := c.air.SeaHorizon(c.eyeM, c.seaM, sphereM); !errors.Is(err, c.want) {
			t.Errorf("%s: SeaHorizon = %v, %v, %v, want %v", c.name, dip, distance, err, c.want)
		}
		if _, err := c.air.SeaObscuredM(c.eyeM, 50e3, c.seaM, sphereM); !errors.Is(err, c.want) {
			t.Errorf("%s: SeaObscuredM: %v, want %v", c.name, err, c.want)
		}
	}
	if dip, _, err := onTheSea.SeaHorizon(0, 0, sphereM); dip != 0 || err != nil {
		t.Errorf("eye on the sea: %v, %v", dip, err)
	}
}
