package pipeline

import (
	"errors"
	"math"
	"strings"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

func goodOptions() Options {
	o := DefaultOptions()
	o.Features = []string{"hills.csv"}
	o.Terrain = []terrain.Source{{Path: "tiles"}}
	return o
}

func TestValidateNamesEveryWrongFlag(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	area := func(w, s, e, n float64) *Area { return &Area{West: w, South: s, East: e, North: n} }
	tests := []struct {
		name  string
		spoil func(o *Options)
		flags []string // none: nothing is wrong
	}{
		{"defaults", func(*Options) {}, nil},
		{"edges of what is allowed", func(o *Options) {
			o.K, o.KSD, o.KOwnSD, o.GuardM, o.LowHeightM, o.MinDistanceKM, o.NearMinDistanceKM = -5, 0, 0, 1, 0, 0, 0
			o.Area = area(-180, -90, 180, 90)
		}, nil},
		{"area across the date line", func(o *Options) { o.Area = area(170, -20, -170, 0) }, nil},
		{"negative eye: below the ground, as in a lock", func(o *Options) { o.EyeHeightM = -3 }, nil},
		{"k of 1", func(o *Options) { o.K = 1 }, []string{"k "}},
		{"k below −5", func(o *Options) { o.K = -5.1 }, []string{"k "}},
		{"k not a number", func(o *Options) { o.K = nan }, []string{"k "}},
		{"negative k-sd", func(o *Options) { o.KSD = -0.01 }, []string{"k-sd "}},
		{"k + 5·k-sd at 1", func(o *Options) { o.K, o.KSD = 0.5, 0.1 }, []string{"k-sd "}},
		{"k-own-sd", func(o *Options) { o.KOwnSD = -1 }, []string{"k-own-sd "}},
		{"min-distance-km", func(o *Options) { o.MinDistanceKM = -1 }, []string{"min-distance-km "}},
		{"max-distance-km", func(o *Options) { o.MaxDistanceKM = inf }, []string{"max-distance-km "}},
		{"max below min", func(o *Options) { o.MaxDistanceKM = 20 }, []string{"max-distance-km "}},
		{"near-min-distance-km", func(o *Options) { o.NearMinDistanceKM = nan }, []string{"near-min-distance-km "}},
		{"eye-height-m", func(o *Options) { o.EyeHeightM = inf }, []string{"eye-height-m "}},
		{"guard-m", func(o *Options) { o.GuardM = -200 }, []string{"guard-m "}},
		{"height-sd-m", func(o *Options) { o.HeightSDM = -1 }, []string{"height-sd-m "}},
		{"terrain-sd-m", func(o *Options) { o.TerrainSDM = nan }, []string{"terrain-sd-m "}},
		{"terrain-correlation-m", func(o *Options) { o.TerrainCorrelationM = 0 }, []string{"terrain-correlation-m "}},
		{"low-height-m", func(o *Options) { o.LowHeightM = -1 }, []string{"low-height-m "}},
		{"low-k", func(o *Options) { o.LowK = nan }, []string{"low-k "}},
		{"low-k-sd", func(o *Options) { o.LowKSD = -0.1 }, []string{"low-k-sd "}},
		{"sea-level-m", func(o *Options) { o.SeaLevelM = inf }, []string{"sea-level-m "}},
		{"sea-level-sd-m", func(o *Options) { o.SeaLevelSDM = -0.5 }, []string{"sea-level-sd-m "}},
		{"visual-range-km", func(o *Options) { o.VisualRangeKM = 0 }, []string{"visual-range-km "}},
		{"frame-deg", func(o *Options) { o.FrameDeg = 61 }, []string{"frame-deg "}},
		{"area upside down", func(o *Options) { o.Area = area(0, 10, 5, 9) }, []string{"area "}},
		{"area off the globe", func(o *Options) { o.Area = area(0, -91, 5, 9) }, []string{"area "}},
		{"area past 180", func(o *Options) { o.Area = area(170, 0, 190, 9) }, []string{"area "}},
		{"area of no numbers", func(o *Options) { o.Area = area(nan, 0, 10, 9) }, []string{"area "}},
		{"no features", func(o *Options) { o.Features = nil }, []string{"no features"}},
		{"no terrain", func(o *Options) { o.Terrain = nil }, []string{"no terrain"}},
		{"several at once", func(o *Options) {
			o.K, o.GuardM, o.LowKSD, o.Area, o.Terrain = 2, -1, nan, area(0, 5, 0, 4), nil
		}, []string{"k 2", "guard-m -1", "low-k-sd NaN", "area 0,5,0,4", "no terrain"}},
	}
	for _, test := range tests {
		o := goodOptions()
		test.spoil(&o)
		err := o.Validate()
		if len(test.flags) == 0 {
			if err != nil {
				t.Errorf("%s: Validate() = %v, want nil", test.name, err)
			}
			continue
		}
		if !errors.Is(err, ErrOptions) {
			t.Errorf("%s: Validate() = %v, want ErrOptions", test.name, err)
			continue
		}
		reasons := strings.Split(strings.TrimPrefix(err.Error(), ErrOptions.Error()+": "), "; ")
		for _, flag := range test.flags {
			found := false
			for _, reason := range reasons {
				found = found || strings.HasPrefix(reason, flag)
			}
			if !found {
				t.Errorf("%s: Validate() = %q, want %q named", test.name, err, flag)
			}
		}
		if _, again := err, o.Validate(); again.Error() != err.Error() {
			t.Errorf("%s: a second Validate() says %q after %q", test.name, again, err)
		}
	}
}

// Wrong options stop a survey before anything is read.
func TestSurveyRefusesWrongOptions(t *testing.T) {
	o := goodOptions() // neither file exists
	o.K = 3
	if r, err := heldSurvey(t.Context(), o, nil); r != nil || !errors.Is(err, ErrOptions) {
		t.Errorf("Survey with k 3 = %v, %v; want ErrOptions", r, err)
	}
}

func TestAreaContains(t *testing.T) {
	plain := &Area{West: -4, South: 55, East: -3, North: 56}
	pacific := &Area{West: 170, South: -20, East: -170, North: 0}
	tests := []struct {
		area     *Area
		lat, lon float64
		want     bool
	}{
		{nil, 12, 34, true},
		{plain, 55.5, -3.5, true}, {plain, 55, -4, true}, {plain, 56, -3, true},
		{plain, 54.999, -3.5, false}, {plain, 55.5, -2.999, false}, {plain, 55.5, 3.5, false},
		{pacific, -10, 179, true}, {pacific, -10, -179, true}, {pacific, -10, 170, true}, {pacific, -10, -170, true},
		{pacific, -10, 180, true}, {pacific, -10, -180, true},
		{pacific, -10, 169.9, false}, {pacific, -10, -169.9, false}, {pacific, -10, 0, false}, {pacific, 1, 179, false},
	}
	for _, test := range tests {
		if got := test.area.contains(geodesy.LatLon{LatDeg: test.lat, LonDeg: test.lon}); got != test.want {
			t.Errorf("%+v contains %v, %v: %v, want %v", test.area, test.lat, test.lon, got, test.want)
		}
	}
}

func TestListed(t *testing.T) {
	tests := []struct {
		minKM, maxKM, distanceM float64
		want                    bool
	}{
		{30, 0, 30000, true}, {30, 0, 29999, false}, {30, 0, 1e6, true}, {30, 100, 100000, true}, {30, 100, 100001, false}, {0, 0, 5, true},
	}
	for _, test := range tests {
		o := Options{MinDistanceKM: test.minKM, MaxDistanceKM: test.maxKM}
		if got := o.listed(test.distanceM); got != test.want {
			t.Errorf("%v to %v km: listed(%v m) = %v, want %v", test.minKM, test.maxKM, test.distanceM, got, test.want)
		}
	}
}
