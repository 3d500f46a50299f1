package gazetteer

import (
	"math"
	"testing"
)

// A rounding to u spreads by u/√12 (uniform error): half a minute each way is 1852/√12 = 534.6 m, two decimals of a degree
// (1111.2 m) 320.8 m, each joined with 30 m.
func TestPlaceSpread(t *testing.T) {
	tests := []struct {
		lat, lon string
		wantSDM  float64
		doubt    string
	}{
		{"55.591692", "-3.662551", 30, ""},
		{"55.5917", "-3.6626", 30, ""},
		{"17.11667", "-61.88333", 535.5, DoubtPlaceToTheMinute}, // 17°07′ 61°53′
		{"17.1167", "-61.8833", 535.5, DoubtPlaceToTheMinute},
		{"17.1", "-61.88333", 535.5, DoubtPlaceToTheMinute},
		{"17.116666666666667", "-61.883333333333333", 535.5, DoubtPlaceToTheMinute},
		{"17.05", "-61.75", 535.5, DoubtPlaceToTheMinute},
		{"17.11667", "-61.7625", 30, ""},  // a whole minute by chance, the other not
		{"17.11669", "-61.88333", 30, ""}, // 2e-5° off
		{"17.117", "-61.883", 43.9, ""},
		{"17.12", "-61.88", 322.2, ""},
		{"17.1", "-61.9", 3207.9, DoubtPlaceRough},
		{"17", "-62", 32077.6, DoubtPlaceRough},
		{"0", "36.12345", 30, ""},
	}
	for _, tt := range tests {
		lat, errLat := parseCoordinate(tt.lat)
		lon, errLon := parseCoordinate(tt.lon)
		if errLat != nil || errLon != nil {
			t.Errorf("parseCoordinate(%q), (%q): %v, %v", tt.lat, tt.lon, errLat, errLon)
			continue
		}
		if sdM, doubt := placeSpread(lat, lon); !(math.Abs(sdM-tt.wantSDM) < 0.1) || doubt != tt.doubt {
			t.Errorf("placeSpread(%s, %s) = %.1f m, %q, want %.1f, %q", tt.lat, tt.lon, sdM, doubt, tt.wantSDM, tt.doubt)
		}
	}
}

func TestParseCoordinateRefuses(t *testing.T) {
	for _, text := range []string{"", " ", "N55", "55°", "55 30", "1,2,3", "1.2,3", "0x1p3", "1_0", "Inf", "nan", "--1", "1e400", "-", "."} {
		if got, err := parseCoordinate(text); err == nil {
			t.Errorf("parseCoordinate(%q) = %v, want an error", text, got)
		}
	}
}

func FuzzParseCoordinate(f *testing.F) {
	for _, seed := range []string{"55.591692", "-3,66", "1e-5", "\u22125.5", "17.11667", ".", "1e400"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		got, err := parseCoordinate(text)
		if err == nil && (math.IsNaN(got.deg) || math.IsInf(got.deg, 0) || got.decimals < 0) {
			t.Errorf("parseCoordinate(%q) = %+v", text, got)
		}
	})
}
