package light

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// Values invented near the standard atmosphere; a psychrometric table gives 12.27 hPa for saturation at 10 °C (over water, CRC Handbook, from memory).
func TestReadSounding(t *testing.T) {
	dry := []Level{{0, 288.15, 1013.25, 0}, {1000, 281.65, 898.75, 0}, {2000, 275.15, 794.95, 0}}
	wet := []Level{{0, 288.15, 1013.25, 12.31}, {1000, 281.65, 898.75, 6.13}}
	for _, c := range []struct {
		name, text string
		want       []Level
		notes      []string
	}{
		{"units in the names", "height_m,pressure_hpa,temperature_c\n0,1013.25,15\n1000,898.75,8.5\n2000,794.95,2\n", dry, nil},
		{"Pa, K, other order, other columns", "wind,temperature_k,pressure_pa,height_m\n3,288.15,101325,0\n4,281.65,89875,1000\n5,275.15,79495,2000\n", dry, nil},
		{"°F and feet", "height_ft;temperature_f;pressure_kpa\n0;59;101.325\n3280.84;47.3;89.875\n6561.68;35.6;79.495\n", dry, nil},
		{"decimal commas, CRLF, BOM, comment", "\ufeff# a made sounding\r\nheight_m;pressure_hpa;temperature_c\r\n0;1013,25;15\r\n1000;898,75;8,5\r\n2000;794,95;2\r\n", dry, nil},
		{"tabs, unsorted, units by range", "HGHT_ft\tPRES\tTEMP\n6559.61\t794.95\t2\n3280.325\t898.75\t8.5\n0\t1013.25\t15\n", dry, []string{
			"column PRES names no unit: values of 794.95 to 1013.25 taken as hpa", "column TEMP names no unit: values of 2 to 15 taken as c", "rows put in order of height"}},
		{"Pa and K by range", "height_m,pres,temp\n0,101325,288.15\n1000,89875,281.65\n2000,79495,275.15\n", dry, []string{
			"column pres names no unit: values of 79495 to 101325 taken as pa", "column temp names no unit: values of 275.15 to 288.15 taken as k"}},
		{"rows with gaps", "height_m,pressure_hpa,temperature_c\n0,1013.25,15\n500,950,\n,900,9\n1000,898.75,8.5\n1500,850,-9999\n2000,794.95,2\n", dry, []string{
			"line 3: left out, without height or temperature", "line 4: left out, without height or temperature", "line 6: left out, without height or temperature"}},
		{"dewpoint", "height_m,pressure_hpa,temperature_c,dewpoint_c\n0,1013.25,15,10\n1000,898.75,8.5,0\n", wet, nil},
		{"weather service spellings", "time,pressure_hPa,height_m,temperature_C,dew point temperature_C,relative humidity_%\n6,1013.25,0,15,10,72\n6,898.75,1000,8.5,0,55\n", wet,
			[]string{"column relative humidity_% left alone where there is a dewpoint"}},
		{"vapour pressure", "height_m,pressure_hpa,temperature_c,vapour_pressure_hpa\n0,1013.25,15,12.31\n1000,898.75,8.5,6.13\n", wet, nil},
		{"relative humidity, percent and fraction by range", "height_m,pressure_hpa,temperature_c,rh\n0,1013.25,15,72\n1000,898.75,8.5,55\n", wet,
			[]string{"column rh names no unit: values of 55 to 72 taken as percent"}},
		{"the same as a fraction", "height_m,pressure_hpa,temperature_c,rh\n0,1013.25,15,0.72\n1000,898.75,8.5,0.55\n", wet,
			[]string{"column rh names no unit: values of 0.55 to 0.72 taken as fraction"}},
		{"no pressure", "height,temperature_c\n0,15\n", []Level{{0, 288.15, 0, 0}}, []string{"column height names no unit: values of 0 to 0 taken as m"}},
	} {
		got, err := ReadSounding(strings.NewReader(c.text))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if d := cmp.Diff(c.want, got.Levels, cmpopts.EquateApprox(0, 0.06)); d != "" {
			t.Errorf("%s: levels (-want +got):\n%s", c.name, d)
		}
		if d := cmp.Diff(c.notes, got.Notes, cmpopts.EquateEmpty()); d != "" {
			t.Errorf("%s: notes (-want +got):\n%s", c.name, d)
		}
	}
}

func TestReadSoundingRefuses(t *testing.T) {
	const header = "height_m,pressure_hpa,temperature_c\n"
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "empty"},
		{"header alone", header, "no row has both"},
		{"no temperature", "height_m,pressure_hpa\n0,1013\n", "no column of temperature: name it temperature_c"},
		{"no height", "pressure_hpa,temperature_c\n1013,15\n", "no column of height: name it height_m"},
		{"two of one", "height_m,temperature_c,temp\n0,15,15\n", `columns "temperature_c" and "temp" both give temperature`},
		{"twice at a height", header + "0,1013,15\n100,1001,14\n0,1013,16\n", "line 4: height 0 m stands in line 2"},
		{"no number", header + "0,1013,15\n100,x1,14\n", `line 3: pressure_hpa "x1" is not a number`},
		{"infinite", header + "0,1013,inf\n", `line 2: temperature_c "inf" is not a number`},
		{"kelvin under the name of °C", header + "0,1013,288\n", "line 2: level at 0 m: temperature 561.15 K"},
		{"too high", header + "0,1013,15\n90000,0.001,15\n", "line 3: level at 90000 m"},
		{"negative pressure", header + "0,-5,15\n", "line 2: pressure_hpa -5"},
		{"°F by range", "height_m,pressure_hpa,temp\n0,1013,75\n1000,900,60\n", "line 2: temp 75: no unit is plain"},
		{"kPa by range", "height_m,pres,temperature_c\n0,101,15\n1000,90,8\n", "line 2: pres 101: no unit is plain"},
		{"feet under the name of metres", header + "0,1013.25,15\n9843,697,-4.8\n", "level at 9843 m: pressure 697 hPa, but the air below leaves"},
		{"dewpoint over temperature", "height_m,pressure_hpa,temperature_c,dewpoint_c\n0,1013,15,18\n", "line 2: dewpoint_c 18"},
		{"humidity", "height_m,pressure_hpa,temperature_c,rh_percent\n0,1013,15,140\n", "line 2: rh_percent 140"},
		{"too many rows", header + strings.Repeat("0,1013,15\n", maxSoundingLevels+1), "more than 20000 rows"},
		{"too long", header + strings.Repeat(" ", maxSoundingBytes), "longer than"},
	} {
		if got, err := ReadSounding(strings.NewReader(c.text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: ReadSounding = %+v, %v, want an error with %q", c.name, got, err, c.want)
		}
	}
}

// A sounding that samples the standard atmosphere is that atmosphere.
func TestSoundingOfStandardAir(t *testing.T) {
	var b bytes.Buffer
	fmt.Fprintln(&b, "geopotential_height_m,temperature_k,pressure_hpa")
	for h := 0.0; h <= 11000; h += 500 {
		kelvin, pressureHPa := StandardAir(geometricM(h))
		fmt.Fprintf(&b, "%v,%.6f,%.0f\n", h, kelvin, pressureHPa) // pressures rounded to 1 hPa do no harm
	}
	s, err := ReadSounding(&b)
	if err != nil {
		t.Fatal(err)
	}
	s.Levels[0].PressureHPa = standardHPa
	measured, standard := must(t)(s.Profile(0)), must(t)(StandardProfile(0))
	for _, heightM := range []float64{-300, 0, 1234, 8848, 15000} {
		if got, want := measured.KAt(heightM), standard.KAt(heightM); math.Abs(got-want) > 1e-6 {
			t.Errorf("KAt(%v m) = %.7f, want %.7f", heightM, got, want)
		}
	}
	if low, high := measured.GivenM(); low != 0 || math.Abs(high-geometricM(11000)) > 1e-6 {
		t.Errorf("GivenM = %v, %v", low, high)
	}
}

func TestSoundingSurfacePressure(t *testing.T) {
	s := Sounding{Levels: []Level{{HeightM: 500, TemperatureK: 285}, {HeightM: 1500, TemperatureK: 280}}}
	if got := must(t)(s.Profile(0)).At(500).PressureHPa; math.Abs(got-954.6) > 0.1 { // ICAO Doc 7488/3 at 500 m, from memory
		t.Errorf("no pressure given: %.2f hPa at 500 m, want 954.6", got)
	}
	s.SurfaceHPa = 970
	p := must(t)(s.Profile(0))
	// Hypsometric: ln(p₁/p₂) = g₀/R·Δz/T with T = 282.5 K, and 0.02 % for its curve and gravity's fall.
	want := 970 * math.Exp(-0.0341632*1000/282.5)
	if got := p.At(1500).PressureHPa; math.Abs(got-want) > 0.05 {
		t.Errorf("970 hPa at 500 m: %.3f hPa at 1500 m, want %.3f", got, want)
	}
	if s.Levels[0].PressureHPa != 0 {
		t.Error("Profile changed the sounding")
	}
}

func FuzzReadSounding(f *testing.F) {
	f.Add([]byte("height_m,pressure_hpa,temperature_c,dewpoint_c\n0,1013.25,15,10\n1000,898.75,8.5,0\n"))
	f.Add([]byte("hght;pres;temp;relh\n0;1013,25;15;80\n10;1012;18;\n"))
	f.Add([]byte("height\ttemp\n-5\t300\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := ReadSounding(bytes.NewReader(text))
		if err != nil {
			return
		}
		p, err := s.Profile(0)
		if err != nil {
			t.Fatalf("read, but no profile: %v", err)
		}
		for i, l := range s.Levels {
			if i > 0 && l.HeightM <= s.Levels[i-1].HeightM {
				t.Fatalf("levels %g m, %g m", s.Levels[i-1].HeightM, l.HeightM)
			}
			if k := p.KAt(l.HeightM); math.IsNaN(k) || math.IsInf(k, 0) {
				t.Fatalf("KAt(%g m) = %v", l.HeightM, k)
			}
		}
	})
}
