package light

import (
	"math"
	"testing"
)

// P. E. Ciddor, Applied Optics 35 (1996) 1566, tables 1 to 3, (n−1)·10⁸ at 633 nm; tolerances are those a re-implementation may have.
// Table 3's last row is printed 19996.5, a misprint.
func TestRefractivityCiddorTables(t *testing.T) {
	humid := func(celsius, pressureHPa, humidity float64) float64 {
		return VapourHPa(celsius+273.15, pressureHPa, humidity)
	}
	for _, c := range []struct {
		name                                    string
		celsius, pressureHPa, vapourHPa, co2PPM float64
		want, tol                               float64
	}{
		{"table 1, 80 kPa", 20, 800, 0, 450, 21458.0, 3},
		{"table 1, 100 kPa", 20, 1000, 0, 450, 26824.4, 3},
		{"table 1, 120 kPa", 20, 1200, 0, 450, 32191.6, 3},
		{"table 1, 10 °C", 10, 1000, 0, 450, 27774.7, 3},
		{"table 1, 30 °C", 30, 1000, 0, 450, 25937.2, 3},
		{"table 2, 510 ppm", 19.526, 1020.948, 10.65, 510, 27392.9, 2},
		{"table 2, 450 ppm", 19.173, 1029.930, 6.41, 450, 27682.4, 2},
		{"table 3, 20 °C, 75 %", 20, 800, humid(20, 800, 0.75), 450, 21394.0, 5},
		{"table 3, 50 °C, 100 %", 50, 1200, humid(50, 1200, 1), 450, 28792.4, 5},
		{"table 3, 40 °C, 75 %", 40, 800, humid(40, 800, 0.75), 450, 19896.5, 5},
		// NIST engineering metrology toolbox, as quoted by a third party's test suite.
		{"NIST, 20 °C", 20, 1013.25, 0, 450, 27180.0, 2},
		{"NIST, −40 °C", -40, 1000, 0, 450, 33758.0, 2},
		{"NIST, 50 °C", 50, 1000, 0, 450, 24328.5, 2},
		{"NIST, 20 °C, 100 %", 20, 1000, humid(20, 1000, 1), 450, 26739.4, 2},
	} {
		got, err := Refractivity(0.633, c.celsius+273.15, c.pressureHPa, c.vapourHPa, c.co2PPM)
		if err != nil || math.Abs(got*1e8-c.want) > c.tol {
			t.Errorf("%s: Refractivity(0.633 µm, %v °C, %v hPa, %.3f hPa, %v ppm) = %.2fe-8, %v, want %v ± %v",
				c.name, c.celsius, c.pressureHPa, c.vapourHPa, c.co2PPM, got*1e8, err, c.want, c.tol)
		}
	}
}

func TestRefractivityRefuses(t *testing.T) {
	for _, c := range [][5]float64{
		{0.29, 288, 1013, 0, 420}, {1.71, 288, 1013, 0, 420}, {math.NaN(), 288, 1013, 0, 420}, {0.5, 0, 1013, 0, 420},
		{0.5, 288, 0, 0, 420}, {0.5, 288, 1013, -1, 420}, {0.5, 288, 10, 11, 420}, {0.5, 288, 1013, 0, -1},
	} {
		if got, err := Refractivity(c[0], c[1], c[2], c[3], c[4]); err == nil {
			t.Errorf("Refractivity(%v) = %v, want an error", c, got)
		}
	}
}

// Triple point of water, 611.657 Pa (international), met by both branches to 0.1 %.
func TestSaturation(t *testing.T) {
	for _, kelvin := range []float64{273.16, 273.149} {
		if got := SaturationHPa(kelvin); math.Abs(got-6.11657) > 0.008 {
			t.Errorf("SaturationHPa(%v K) = %.4f hPa, want 6.1166", kelvin, got)
		}
	}
}
