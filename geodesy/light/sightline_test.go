package light

import (
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
)

// To first order the trace through air of one gradient is light of one k: that of the air at the height where the ray spends its way. The
// rest grows with the height passed, as air thins by a tenth per kilometre, and steeper gradients change it faster.
func TestTraceIsConstantKToFirstOrder(t *testing.T) {
	for _, gradient := range []float64{-0.0098, -0.0065, 0, 0.02, 0.06} {
		p := must(t)(GradientProfile(288.15, 1013.25, gradient, 0))
		for _, c := range []struct{ eyeM, topM, distanceM, tol float64 }{
			{2, 10, 10e3, 4e-4}, {50, 20, 25e3, 2e-3}, {100, 300, 50e3, 6e-3}, {10, 1000, 80e3, 3e-2},
		} {
			got, err := p.EquivalentK(c.eyeM, c.topM, c.distanceM, sphereM)
			want := p.KAt((2*c.eyeM + c.topM) / 3) // the weight of k for the apparent elevation falls from the eye to nothing at the top
			if err != nil || math.Abs(got-want) > c.tol {
				t.Errorf("gradient %v: EquivalentK(%v, %v, %v) = %.5f, %v, want %.5f ± %v", gradient, c.eyeM, c.topM, c.distanceM, got, err, want, c.tol)
			}
		}
	}
}

// Homogeneous air bends no light: the elevations are those of k = 0. Air's compressibility,
// which changes with the temperature, leaves −0.0006 to −0.0008.
func TestHomogeneousAirIsStraight(t *testing.T) {
	p := must(t)(GradientProfile(288.15, 1013.25, HomogeneousGradientKPerM, 0))
	for _, c := range []struct{ eyeM, topM, distanceM float64 }{{2, 100, 20e3}, {100, 800, 60e3}, {1500, 2500, 100e3}} {
		got, err := p.EquivalentK(c.eyeM, c.topM, c.distanceM, sphereM)
		if err != nil || math.Abs(got) > 9e-4 {
			t.Errorf("EquivalentK(%v, %v, %v) = %.6f, %v, want 0", c.eyeM, c.topM, c.distanceM, got, err)
		}
	}
	high := 90e3 // no air at all
	r := must(t)(StandardProfile(0)).Follow(high, 0.01, 300e3, sphereM)
	if straight := geodesy.HeightAtElevationM(0.01, high, 300e3, sphereM, 0); math.Abs(r.HeightM-straight) > 1e-4 || r.BendRad != 0 {
		t.Errorf("over the air: %.5f m, straight %.5f m", r.HeightM, straight)
	}
}

// Isothermal air has density falling as e^(−h/H), H = R_d·T/g: at the sea k = R·N/H (0.2105 after Hirt et al. 2010).
func TestIsothermalAndAdiabaticAir(t *testing.T) {
	for _, c := range []struct{ gradient, want, tol float64 }{{0, 0.2105, 0.002}, {-0.0098, 0.1504, 0.002}, {-0.0065, 0.1706, 0.002}} {
		p := must(t)(GradientProfile(288.15, 1013.25, c.gradient, 0))
		got, err := p.EquivalentK(2, 3, 5e3, sphereM)
		if err != nil || math.Abs(got-c.want) > c.tol {
			t.Errorf("gradient %v K/m: EquivalentK = %.5f, %v, want %v (derived)", c.gradient, got, err, c.want)
		}
	}
}

// Job map and handbook alike weigh k along the ray by s−u for the elevation of its end; the trace must say the same where k changes gently.
func TestEquivalentKIsTheWeighedMean(t *testing.T) {
	p := must(t)(StandardProfile(0))
	for _, c := range []struct{ eyeM, topM, distanceM float64 }{{10, 500, 60e3}, {800, 3000, 150e3}, {3000, 200, 150e3}, {2500, 4000, 300e3}} {
		got, err := p.EquivalentK(c.eyeM, c.topM, c.distanceM, sphereM)
		if err != nil {
			t.Fatal(err)
		}
		e := geodesy.ApparentElevationRad(c.eyeM, c.topM, c.distanceM, sphereM, got)
		mean := MeanK(c.distanceM, 0, func(u float64) float64 {
			return p.KAt(geodesy.HeightAtElevationM(e, c.eyeM, u, sphereM, got))
		})
		if math.Abs(got-mean) > 0.0025 {
			t.Errorf("EquivalentK(%v, %v, %v) = %.5f, mean of k %.5f", c.eyeM, c.topM, c.distanceM, got, mean)
		}
	}
}

// Light runs both ways on one path.
func TestRaysAreReciprocal(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	standard := must(t)(StandardProfile(0))
	for _, p := range []*Profile{standard, must(t)(standard.WithInversion(300, 380, 4))} {
		for range 200 {
			eyeM, distanceM := 3000*random.Float64(), 1e3+250e3*random.Float64()
			there := p.Follow(eyeM, -0.01+0.03*random.Float64(), distanceM, sphereM)
			if there.HeightM > 80e3 {
				continue
			}
			back := p.Follow(there.HeightM, -there.ArrivalRad, distanceM, sphereM)
			if math.Abs(back.HeightM-eyeM) > 1e-3 || math.Abs(back.ArrivalRad+there.ElevationRad) > 1e-8 || math.Abs(back.BendRad-there.BendRad) > 1e-8 {
				t.Fatalf("from %v m at %v rad over %v m: back at %v m, %v rad", eyeM, there.ElevationRad, distanceM, back.HeightM, back.ArrivalRad)
			}
		}
	}
}

// Snell's n·r·cos ε is the same at every point of a ray; the refractivity is that of Ciddor, not of the sublayers.
func TestSnellInvariant(t *testing.T) {
	p := must(t)(must(t)(StandardProfile(0)).WithInversion(200, 260, 9))
	for _, c := range []struct{ eyeM, elevationRad float64 }{{230, 0.0003}, {230, 0.01}, {3000, -0.03}, {20, 0.001}} {
		points := p.Along(c.eyeM, c.elevationRad, 300e3, sphereM, 301)
		first := invariant(p, points[0])
		for _, x := range points {
			if got := invariant(p, x); math.Abs(got/first-1) > 2e-9 {
				t.Fatalf("from %v m at %v rad: n·r·cos ε off by %.2g at %v m", c.eyeM, c.elevationRad, got/first-1, x.DistanceM)
			}
		}
		end := p.Follow(c.eyeM, c.elevationRad, 300e3, sphereM)
		if last := points[300]; math.Abs(last.HeightM-end.HeightM) > 1e-3 {
			t.Errorf("Along ends at %v m, Follow at %v m", last.HeightM, end.HeightM)
		}
	}
}

func invariant(p *Profile, x Point) float64 {
	return (1 + p.RefractivityAt(x.HeightM)) * (sphereM + x.HeightM) * math.Cos(x.ElevationRad)
}

// Every ray found meets the top, and a dense brute scan finds no more and no fewer.
func TestRaysAgainstBruteScan(t *testing.T) {
	standard := must(t)(StandardProfile(0))
	inversion, duct := must(t)(standard.WithInversion(200, 300, 8)), must(t)(standard.WithInversion(200, 250, 10))
	warm := must(t)(standard.WithInversion(0, 0.5, -1))
	for _, c := range []struct {
		name                  string
		air                   *Profile
		eyeM, topM, distanceM float64
		want                  int
		wantName              string
	}{
		{"standard", standard, 100, 900, 80e3, 1, ""},
		{"inversion, one image", inversion, 150, 400, 60e3, 1, Looming},
		{"under the duct and through it, three images", duct, 180, 210, 95e3, 3, Ducting},
		{"under the duct, two images", duct, 180, 190, 105e3, 2, ""},
		{"top behind the sea for every ray", standard, 10, 20, 60e3, 0, ""},
		{"in the duct", duct, 230, 230, 200e3, 3, Ducting},
		{"in the duct, out of it", duct, 220, 260, 100e3, 2, Ducting},
		{"duct passed steeply", duct, 100, 1500, 40e3, 1, Ducting},
		{"warm water, top over its own image", warm, 4, 20, 15e3, 2, Sinking},
	} {
		got, err := c.air.Rays(c.eyeM, c.topM, c.distanceM, sphereM, 0)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		brute := 0
		const nodes, halfRad = 20000, 0.012
		middle := geodesy.ApparentElevationRad(c.eyeM, c.topM, c.distanceM, sphereM, 0.6)
		last := c.air.Follow(c.eyeM, middle-halfRad, c.distanceM, sphereM)
		for i := 1; i <= nodes; i++ {
			next := c.air.follow(c.eyeM, middle-halfRad+2*halfRad*float64(i)/nodes, c.distanceM, sphereM)
			jump := math.Abs(next.HeightM-last.HeightM) > 20 // where rays part at the top of the duct
			if (next.HeightM > c.topM) != (last.HeightM > c.topM) && next.LowestM >= 0 && last.LowestM >= 0 && !jump {
				brute++
			}
			last = next
		}
		if len(got) != c.want || brute != c.want {
			t.Errorf("%s: Rays finds %d, the brute scan %d, want %d", c.name, len(got), brute, c.want)
		}
		for i, r := range got {
			if math.Abs(r.HeightM-c.topM) > 0.01 || i > 0 && r.ElevationRad <= got[i-1].ElevationRad {
				t.Errorf("%s: ray %d: %+v", c.name, i, r)
			}
			if i == 0 && r.Name() != c.wantName {
				t.Errorf("%s: named %q (k %.3f, greatest %.3f), want %q", c.name, r.Name(), r.K, r.GreatestK, c.wantName)
			}
		}
	}
}

func TestRaysRefuses(t *testing.T) {
	p := must(t)(StandardProfile(0))
	for _, c := range [][4]float64{{math.NaN(), 1, 1e3, sphereM}, {1, 1e5, 1e3, sphereM}, {1, 1, 0, sphereM}, {1, 1, 3e6, sphereM}, {1, 1, 1e3, 0}} {
		if _, err := p.Rays(c[0], c[1], c[2], c[3], 0); err == nil {
			t.Errorf("Rays(%v) was taken", c)
		}
		if k, err := p.EquivalentK(c[0], c[1], c[2], c[3]); err == nil {
			t.Errorf("EquivalentK(%v) = %v, want an error", c, k)
		}
	}
}

// Light that follows the sea in one layer under air that lets it out, and the same held for good between two layers.
func TestHeldRay(t *testing.T) {
	duct := must(t)(must(t)(StandardProfile(0)).WithInversion(200, 250, 10))
	r := duct.Follow(200, 0, 500e3, sphereM)
	if math.Abs(r.HeightM-200) > 1e-3 || math.Abs(r.BendRad-500e3/sphereM) > 1e-6 {
		t.Errorf("held at the foot of the duct: %+v", r)
	}
	if r := duct.Follow(200.001, 0, 500e3, sphereM); math.Abs(r.HeightM-200) > 0.01 {
		t.Errorf("swinging about the foot of the duct: %+v", r)
	}
	// Many narrow swings about a strong layer cost neither height nor hours.
	strong := must(t)(NewProfile([]Level{{HeightM: 0, TemperatureK: 290, PressureHPa: 1013}, {HeightM: 10, TemperatureK: 289.9}, {HeightM: 10.1, TemperatureK: 291.8}}, 0))
	if r := strong.Follow(10+2e-6, 0, 500e3, sphereM); math.Abs(r.HeightM-10) > 1e-4 {
		t.Errorf("swinging about a strong layer: %+v", r)
	}
}

func BenchmarkFollow(b *testing.B) {
	p := must(b)(StandardProfile(0))
	for b.Loop() {
		p.follow(500, 0.002, 200e3, sphereM)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "rays/s")
}

func BenchmarkEquivalentK(b *testing.B) {
	standard := must(b)(StandardProfile(0))
	for name, p := range map[string]*Profile{"standard": standard, "inversion": must(b)(standard.WithInversion(900, 1000, 5))} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := p.EquivalentK(800, 3000, 200e3, sphereM); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkKAt(b *testing.B) {
	p := must(b)(StandardProfile(0))
	for b.Loop() {
		p.KAt(1234)
	}
}
