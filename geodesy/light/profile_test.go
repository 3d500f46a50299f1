package light

import (
	"math"
	"strings"
	"testing"
)

// The standard profile is the ICAO atmosphere of StandardAir, whose rows are tested against Doc 7488/3.
func TestStandardProfile(t *testing.T) {
	p := must(t)(StandardProfile(0))
	for _, heightM := range []float64{-2500, 0, 10, 1000, 4807, 8849, 11000, 15000, 20100, 25000, 32100} {
		wantK, wantHPa := StandardAir(heightM)
		got := p.At(heightM)
		if math.Abs(got.TemperatureK-wantK) > 1e-6 || math.Abs(got.PressureHPa/wantHPa-1) > 2e-6 || got.VapourHPa != 0 {
			t.Errorf("At(%v m) = %+v, want %.4f K, %.4f hPa", heightM, got, wantK, wantHPa)
		}
	}
	if got := p.RefractivityAt(86001); got != 0 {
		t.Errorf("refractivity over the air = %v", got)
	}
	// Two levels of US Standard Atmosphere 1976 over the ICAO table: 47.350 km (47 km geopotential) 270.65 K, 1.1091 hPa; from memory.
	if got := p.At(geometricM(47000)); math.Abs(got.TemperatureK-270.65) > 1e-6 || math.Abs(got.PressureHPa-1.1091) > 1e-4 {
		t.Errorf("At(47 km geopotential) = %+v", got)
	}
}

// k = R·N/T·(g/R_d + dT/dz) with N = 276.5e-6 at 633 nm in standard air gives 0.1691 (derived); the formula of Hirt et al. 2010 differs
// by its rounded constants by 1 %.
func TestKAt(t *testing.T) {
	if got := must(t)(StandardProfile(0.633)).KAt(0); math.Abs(got-0.1691) > 5e-5*2 {
		t.Errorf("KAt(0) at 633 nm in standard air = %.5f, want 0.1691", got)
	}
	for _, c := range []struct {
		name                                     string
		pressureHPa, temperatureK, gradientKPerM float64
	}{
		{"standard", 1013.25, 288.15, -0.0065}, {"isothermal", 1013.25, 288.15, 0}, {"adiabatic", 1013.25, 288.15, AdiabaticGradientKPerM},
		{"10 °C, 1010 hPa", 1010, 283.15, -0.0065}, {"frost", 1013.25, 273.15, -0.0065}, {"inversion", 1013.25, 288.15, 0.05},
		{"ray follows the Earth", 1013.25, 288.15, 0.1286}, {"thin, 5 km", 540.2, 255.65, -0.0065}, {"warm ground", 1013.25, 300, -0.2},
	} {
		p := must(t)(GradientProfile(c.temperatureK, c.pressureHPa, c.gradientKPerM, 0))
		want := KFromGradient(c.pressureHPa, c.temperatureK, c.gradientKPerM)
		if got := p.KAt(0); math.Abs(got-want) > 0.012*math.Abs(want) {
			t.Errorf("%s: KAt(0) = %.5f, KFromGradient %.5f", c.name, got, want)
		}
	}
	// Homogeneous air: the residue is that of air's compressibility, which the formulas for k leave out.
	if got := must(t)(GradientProfile(288.15, 1013.25, HomogeneousGradientKPerM, 0)).KAt(0); math.Abs(got) > 6e-4 {
		t.Errorf("homogeneous air has k = %.6f", got)
	}
	if got := AdiabaticGradientKPerM; math.Abs(got+0.00976) > 1e-5 { // dry adiabatic lapse 9.76 K/km (AMS Glossary, from memory)
		t.Errorf("AdiabaticGradientKPerM = %v", got)
	}
}

func TestWithInversion(t *testing.T) {
	p := must(t)(must(t)(StandardProfile(0)).WithInversion(300, 400, 5))
	for _, c := range []struct{ heightM, wantK float64 }{{0, 288.15}, {300, 286.2}, {350, 288.7}, {400, 291.2}, {1400, 284.7}, {-500, 291.4}} {
		if got := p.At(c.heightM).TemperatureK; math.Abs(got-c.wantK) > 0.01 {
			t.Errorf("At(%v m) = %.3f K, want %.3f", c.heightM, got, c.wantK)
		}
	}
	// 0.05 K/m at 400 m: Hirt et al. 2010 with 966 hPa.
	if got, want := p.KAt(350), KFromGradient(971.8, 288.7, 0.05); math.Abs(got-want) > 0.01*want {
		t.Errorf("KAt(350 m) = %.4f, want %.4f", got, want)
	}
	layers := p.NamedLayers()
	if len(layers) != 1 || layers[0].Name != Looming || layers[0].BottomM != 300 || layers[0].TopM != 400 {
		t.Errorf("NamedLayers = %+v", layers)
	}
	if low, high := p.GivenM(); low != standardLowestM || high < 80000 {
		t.Errorf("GivenM = %v, %v", low, high)
	}
	if _, err := p.WithInversion(400, 400, 1); err == nil {
		t.Error("an inversion without thickness was taken")
	}
}

func TestNamedLayers(t *testing.T) {
	p := must(t)(NewProfile([]Level{{HeightM: 0, TemperatureK: 290, PressureHPa: 1013}, {HeightM: 2, TemperatureK: 289}, {HeightM: 100, TemperatureK: 288.3},
		{HeightM: 140, TemperatureK: 295}, {HeightM: 200, TemperatureK: 296}, {HeightM: 1000, TemperatureK: 291}}, 0))
	var got []string
	for _, l := range p.NamedLayers() {
		got = append(got, l.Name)
		if Name(l.K) != l.Name || l.TopM <= l.BottomM {
			t.Errorf("layer %+v", l)
		}
	}
	if want := "sinking ducting looming"; strings.Join(got, " ") != want {
		t.Errorf("NamedLayers = %v, want %s", got, want)
	}
	for k, want := range map[float64]string{-0.01: Sinking, 0: "", 0.143: "", 0.26: "", 0.27: Looming, 1: Ducting, 7: Ducting} {
		if got := Name(k); got != want {
			t.Errorf("Name(%v) = %q, want %q", k, got, want)
		}
	}
}

// Moist air is lighter: the mean virtual temperature of 20 °C with 20 hPa in 1,000 hPa is 293.15/(1 − 0.378·0.02) = 295.4 K (hypsometric equation,
// AMS Glossary).
func TestMoistAirWeighsLess(t *testing.T) {
	levels := []Level{{HeightM: 0, TemperatureK: 293.15, PressureHPa: 1010, VapourHPa: 20.2}, {HeightM: 170, TemperatureK: 293.15, VapourHPa: 19.8}}
	got := must(t)(NewProfile(levels, 0)).At(170).PressureHPa
	want := 1010 * math.Exp(-0.0341632*geopotentialM(170)/(293.15/(1-0.378*0.02)))
	if math.Abs(got-want) > 0.002 {
		t.Errorf("At(170 m) = %.4f hPa, want %.4f", got, want)
	}
}

func TestNewProfileRefuses(t *testing.T) {
	ground := Level{HeightM: 0, TemperatureK: 288, PressureHPa: 1013}
	for _, c := range []struct {
		name   string
		levels []Level
		um     float64
		want   string
	}{
		{"no level", nil, 0, "without levels"},
		{"wavelength", []Level{ground}, 2.5, "wavelength 2.5 µm"},
		{"no pressure", []Level{{TemperatureK: 288}}, 0, "no level has a pressure"},
		{"twice", []Level{ground, {HeightM: 5, TemperatureK: 280}, {HeightM: 5, TemperatureK: 281}}, 0, "levels at 5 m and 5 m"},
		{"cliff of temperature", []Level{ground, {HeightM: 1, TemperatureK: 330}}, 0, "no air changes so fast"},
		{"cliff of vapour", []Level{ground, {HeightM: 0.1, TemperatureK: 288, VapourHPa: 8}}, 0, "no air changes so fast"},
		{"cold", []Level{ground, {HeightM: 5, TemperatureK: 15}}, 0, "temperature 15 K"},
		{"not a number", []Level{ground, {HeightM: math.NaN(), TemperatureK: 280}}, 0, "height must be"},
		{"vapour", []Level{{TemperatureK: 288, PressureHPa: 1013, VapourHPa: 600}}, 0, "vapour pressure 600"},
		{"pressure in another unit", []Level{ground, {HeightM: 1000, TemperatureK: 282, PressureHPa: 89.9}}, 0, "check the units"},
		{"pressure from above", []Level{{TemperatureK: 288}, {HeightM: 5000, TemperatureK: 256, PressureHPa: 1000}}, 0, "level at 0 m"},
	} {
		if _, err := NewProfile(c.levels, c.um); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: NewProfile = %v, want an error with %q", c.name, err, c.want)
		}
	}
	for _, g := range []struct{ surfaceK, gradient float64 }{{100, 0}, {450, 0}, {288, 1e6}} {
		if _, err := GradientProfile(g.surfaceK, 1013, g.gradient, 0); err == nil {
			t.Errorf("GradientProfile(%v, 1013, %v) was taken", g.surfaceK, g.gradient)
		}
	}
}
