package pipeline

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"farstation/geodesy/light"
)

// soundingFile writes a sounding from 0 to 6 km, every 100 m, and returns its path.
func soundingFile(t *testing.T, temperatureK func(heightM float64) float64) string {
	t.Helper()
	rows := "height_m,temperature_c\n"
	for h := 0.0; h <= 6000; h += 100 {
		rows += fmt.Sprintf("%.0f,%.4f\n", h, temperatureK(h)-273.15)
	}
	path := filepath.Join(t.TempDir(), "sounding.csv")
	if err := os.WriteFile(path, []byte(rows), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func standardK(h float64) float64 { return 288.15 - 0.0065*h }

// TestSoundingAsStandardAir: a sounding of the standard atmosphere gives every line the k that --air standard gives it, to what Ciddor's refractivity and
// the formula of Hirt et al. 2010 differ by.
func TestSoundingAsStandardAir(t *testing.T) {
	opts := bordersOptions()
	standard, sounded := opts, opts
	standard.Air, sounded.Air = AirStandard, soundingFile(t, standardK)
	a, err := heldSurvey(t.Context(), standard, nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := heldSurvey(t.Context(), sounded, nil)
	if err != nil {
		t.Fatal(err)
	}
	k := map[string]float64{}
	for i := range a.Sightlines {
		k[LineID(&a.Sightlines[i])] = a.Sightlines[i].KFree
	}
	compared := 0
	for i := range b.Sightlines {
		s := &b.Sightlines[i]
		if want, both := k[LineID(s)]; both {
			compared++
			if math.Abs(s.KFree-want) > 0.003 {
				t.Errorf("%s: k = %.4f by the sounding, %.4f in standard air", LineID(s), s.KFree, want)
			}
		}
	}
	if compared < 20 {
		t.Errorf("%d lines compared", compared)
	}
	m := &b.Manifest
	if i := slices.IndexFunc(m.Inputs, func(in Input) bool { return in.Format == formatSounding }); i < 0 || m.Inputs[i].SHA256 == "" || len(m.AirNotes) == 0 {
		t.Errorf("run.json does not tell of the sounding: %+v, notes %q", m.Inputs, m.AirNotes)
	}
	// The run can be taken up again from its parameters, while the file is what it was.
	if got, err := OptionsOf(m); err != nil || got.sounding == nil {
		t.Errorf("options of the run: %v", err)
	}
	if err := os.WriteFile(sounded.Air, []byte("height_m,temperature_c\n0,1\n5000,-20\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := OptionsOf(m); !errors.Is(err, ErrAirChanged) {
		t.Errorf("a changed sounding: %v", err)
	}
}

// TestAirFromSounding: an isothermal sounding bends light more, an inversion looms, a strong one ducts, a neutral one hardly bends it; what the mean takes is
// capped so that horizons exist.
func TestAirFromSounding(t *testing.T) {
	for _, test := range []struct {
		name  string
		air   func(h float64) float64
		k     [2]float64 // at 50 m, from and to
		words string
		ducts bool
	}{
		{"isothermal", func(float64) float64 { return 288.15 }, [2]float64{0.19, 0.23}, "beyond it", false},
		{"homogeneous", func(h float64) float64 { return 288.15 - 0.0342*h/2 }, [2]float64{0.07, 0.13}, "beyond it", false},
		{"inversion of 5 K in 100 m", func(h float64) float64 { return standardK(h) + 5*math.Min(h/100, 1) }, [2]float64{0.4, 0.6}, light.Looming, false},
		{"inversion of 15 K in 100 m", func(h float64) float64 { return standardK(h) + 15*math.Min(h/100, 1) }, [2]float64{0.7, 0.8}, light.Ducting, true},
	} {
		o := DefaultOptions()
		o.Air = soundingFile(t, test.air)
		if err := o.LoadAir(); err != nil {
			t.Errorf("%s: %v", test.name, err)
			continue
		}
		k, ducts := o.kAt(50)
		if !(k >= test.k[0] && k <= test.k[1]) || ducts != test.ducts || !strings.Contains(strings.Join(o.AirNotes(), "\n"), test.words) {
			t.Errorf("%s: k = %.3f, ducting %v, notes %q", test.name, k, ducts, o.AirNotes())
		}
		if ceiling := o.kCeiling(); ceiling < k || ceiling+keepSpreads*o.KSD >= 1 {
			t.Errorf("%s: ceiling %.3f", test.name, ceiling)
		}
	}
	o := DefaultOptions()
	for air, want := range map[string]string{"nowhere.csv": "no such file", soundingFile(t, func(float64) float64 { return math.NaN() }): "want constant, standard, or a sounding"} {
		if o.Air = air; o.LoadAir() == nil || !strings.Contains(o.LoadAir().Error(), want) {
			t.Errorf("air %s: %v, want %q", air, o.LoadAir(), want)
		}
	}
}
