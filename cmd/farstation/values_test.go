package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/spf13/pflag"

	"farstation/gazetteer"
	"farstation/geodesy/terrain"
	"farstation/pipeline"
)

func TestTerrainValue(t *testing.T) {
	tests := []struct {
		text string
		want terrain.Source
	}{
		{"tiles", terrain.Source{Path: "tiles"}},
		{"tiles,surface=top", terrain.Source{Path: "tiles", Surface: "top"}},
		{"t,licence=free, but name us,attribution=A, B,datum=egm2008,geoid=egm2008.gtx", terrain.Source{
			Path: "t", Datum: "egm2008", Geoid: "egm2008.gtx", Licence: "free, but name us", Attribution: "A, B",
		}},
		{"a b/tiles,datum=egm2008,surface=top", terrain.Source{Path: "a b/tiles", Datum: "egm2008", Surface: "top"}},
		{"tiles,surface=top,datum=ellipsoid", terrain.Source{Path: "tiles", Datum: "ellipsoid", Surface: "top"}},
		{"north,south", terrain.Source{Path: "north,south"}},
	}
	for _, test := range tests {
		var got []terrain.Source
		if err := (terrainValue{&got}).Set(test.text); err != nil {
			t.Errorf("--terrain %s: %v", test.text, err)
		} else if diff := cmp.Diff([]terrain.Source{test.want}, got); diff != "" {
			t.Errorf("--terrain %s (-want +got):\n%s", test.text, diff)
		}
	}
	for _, text := range []string{"", ",surface=top"} {
		var got []terrain.Source
		if err := (terrainValue{&got}).Set(text); err == nil {
			t.Errorf("--terrain %q was taken as %v", text, got)
		}
	}
}

func TestAreaValue(t *testing.T) {
	var area *pipeline.Area
	value := areaValue{&area}
	if err := value.Set("170, -45.5,-175,-30"); err != nil || *area != (pipeline.Area{West: 170, South: -45.5, East: -175, North: -30}) {
		t.Errorf("--area 170, -45.5,-175,-30 = %v, %v", area, err)
	}
	for _, text := range []string{"", "1,2,3", "1,2,3,4,5", "1,2,3,north", "1,2,3,NaN", "1,2,3,Inf"} {
		if err := value.Set(text); err == nil {
			t.Errorf("--area %q was taken as %v", text, *area)
		}
	}
}

func TestKindsValue(t *testing.T) {
	observers, targets := pipeline.DefaultOptions().ObserverKinds, []gazetteer.Kind(nil)
	ofObservers, ofTargets := kindsValue{&observers, gazetteer.Kinds()}, kindsValue{&targets, nil}
	if got, want := ofObservers.String()+" "+ofTargets.String(), "peak,hill,volcano,viewpoint all"; got != want {
		t.Errorf("defaults are shown as %s, want %s", got, want)
	}
	if err := ofObservers.Set("all"); err != nil || !slices.Equal(observers, gazetteer.Kinds()) {
		t.Errorf("all observer kinds = %v, %v", observers, err)
	}
	if err := ofTargets.Set("Tower, mast"); err != nil || !slices.Equal(targets, []gazetteer.Kind{gazetteer.Tower, gazetteer.Mast}) {
		t.Errorf("target kinds tower, mast = %v, %v", targets, err)
	}
	if err := ofTargets.Set(" "); err == nil {
		t.Error("no target kinds were taken")
	}
}

func TestBytesValue(t *testing.T) {
	for text, want := range map[string]int64{
		"2GiB": 2 << 30, "512MiB": 512 << 20, "1.5GiB": 3 << 29, "64KiB": 64 << 10, "1TiB": 1 << 40, "3GB": 3e9, "7 MB": 7e6, "12kB": 12000, "1B": 1,
	} {
		var got int64
		if err := (bytesValue{&got}).Set(text); err != nil || got != want {
			t.Errorf("--memory %s = %d, %v, want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"", "2", "GiB", "-1GiB", "0MiB", "2gib", "2 GiBs", "1e99GiB", "NaNB", "0.5B"} {
		got := int64(-1)
		if err := (bytesValue{&got}).Set(text); err == nil {
			t.Errorf("--memory %q was taken as %d", text, got)
		}
	}
	for want, bytes := range map[string]int64{"2GiB": 2 << 30, "512MiB": 512 << 20, "1000B": 1000} {
		if got := (bytesValue{&bytes}).String(); got != want {
			t.Errorf("%d bytes are shown as %s, want %s", bytes, got, want)
		}
	}
}

func TestShellWord(t *testing.T) {
	for path, want := range map[string]string{
		"farstation-demo/world": "farstation-demo/world", "my demo": "'my demo'", "it's": `'it'\''s'`, "$HOME": "'$HOME'", "": "''", "*": "'*'",
	} {
		if got := shellWord(path); got != want {
			t.Errorf("shellWord(%s) = %s, want %s", path, got, want)
		}
	}
}

func TestDecimals(t *testing.T) {
	tests := []struct {
		v    float64
		n    int
		want string
	}{{0, 0, "0"}, {-0.04, 1, "0.0"}, {-0.06, 1, "-0.1"}, {9999.6, 0, "10,000"}, {9999, 0, "9999"}, {-1234567.89, 1, "-1,234,567.9"}, {12, 2, "12.00"}}
	for _, test := range tests {
		if got := decimals(test.v, test.n); got != test.want {
			t.Errorf("decimals(%v, %d) = %s, want %s", test.v, test.n, got, test.want)
		}
	}
	// A probability is never rounded to a certainty.
	for p, want := range map[float64]string{0: "below 0.01", 0.0049: "below 0.01", 0.006: "0.01", 0.994: "0.99", 0.996: "above 0.99", 1: "above 0.99"} {
		if got := chance(p); got != want {
			t.Errorf("chance(%v) = %s, want %s", p, got, want)
		}
	}
}

func TestFeaturesValue(t *testing.T) {
	odd := filepath.Join(t.TempDir(), "hills,licence=none.csv")
	if err := os.WriteFile(odd, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		text, path string
		terms      pipeline.Terms
	}{
		{"hills.csv", "hills.csv", pipeline.Terms{}},
		{"a,b.csv", "a,b.csv", pipeline.Terms{}},
		{"hills.csv,licence=CC BY 4.0", "hills.csv", pipeline.Terms{Licence: "CC BY 4.0"}},
		{"a,b.csv,attribution=Hills, and more,licence=CC BY 4.0", "a,b.csv", pipeline.Terms{Licence: "CC BY 4.0", Attribution: "Hills, and more"}},
		{"h.csv,licence=ODbL 1.0, share alike,attribution=The makers", "h.csv", pipeline.Terms{Licence: "ODbL 1.0, share alike", Attribution: "The makers"}},
		{odd, odd, pipeline.Terms{}},
		{odd + ",licence=CC0 1.0", odd, pipeline.Terms{Licence: "CC0 1.0"}},
	} {
		var got pipeline.Options
		if err := (featuresValue{&got}).Set(test.text); err != nil {
			t.Errorf("%s: %v", test.text, err)
			continue
		}
		if len(got.Features) != 1 || got.Features[0] != test.path || got.FeatureTerms[test.path] != test.terms {
			t.Errorf("%s gives %v, %v", test.text, got.Features, got.FeatureTerms)
		}
	}
	for _, text := range []string{"", ",licence=CC0 1.0", "hills.csv,licence=", "hills.csv,licence=x,attribution= "} {
		if err := (featuresValue{&pipeline.Options{}}).Set(text); err == nil {
			t.Errorf("%q is taken", text)
		}
	}
}

// TestEveryParameterHasAFlag holds the flags of survey against the options, so that neither is forgotten.
func TestEveryParameterHasAFlag(t *testing.T) {
	o := defaultSurveyOptions()
	flags := map[string]bool{}
	for _, group := range o.flagGroups() {
		group.flags.VisitAll(func(flag *pflag.Flag) {
			if flags[flag.Name] {
				t.Errorf("flag --%s stands twice", flag.Name)
			}
			flags[flag.Name] = true
		})
	}
	text, err := json.Marshal(pipeline.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	var parameters map[string]any
	if err := json.Unmarshal(text, &parameters); err != nil {
		t.Fatal(err)
	}
	renamed := map[string]string{"keep_all": "keep", "rank_for_picture": "rank-for"}
	for name := range parameters {
		if flag := strings.ReplaceAll(name, "_", "-"); !flags[flag] && !flags[renamed[name]] {
			t.Errorf("parameter %s has no flag --%s", name, flag)
		}
	}
	for _, name := range []string{"features", "terrain", "out", "replace", "area", "observer-kinds", "target-kinds", "min-distance-km", "max-distance-km",
		"near-min-distance-km", "eye-height-m", "from-tops", "k", "k-sd", "k-own-sd", "air", "low-height-m", "low-k", "low-k-sd", "frame-deg", "guard-m",
		"height-sd-m", "terrain-sd-m", "terrain-correlation-m", "sea-level-m", "sea-level-sd-m", "visual-range-km", "as-listed", "keep", "top", "rank-for",
		"weights", "workers", "memory", "cache", "strict", "profile", "quiet", "log"} {
		if !flags[name] {
			t.Errorf("survey has no flag --%s", name)
		}
	}
}
