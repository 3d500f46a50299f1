package pipeline

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// bordersOptions are a survey of the Scottish Borders from the one summit of Tinto.
func bordersOptions() Options {
	opts := DefaultOptions()
	opts.Features = []string{"../testdata/dobih_slice_geonames_layout.tsv"}
	opts.Terrain = []terrain.Source{{Path: "../testdata/N55W003.hgt.zip"}, {Path: "../testdata/N55W004.hgt.zip"}}
	opts.Area = &Area{West: -3.67, South: 55.59, East: -3.66, North: 55.6}
	opts.Workers = 1
	return opts
}

func loadBorders(t *testing.T) *World {
	t.Helper()
	world, err := Load(t.Context(), bordersOptions(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return world
}

func one(t *testing.T, world *World, text string) *gazetteer.Feature {
	t.Helper()
	found := world.Find(text)
	if len(found) != 1 {
		t.Fatalf("Find(%q) found %d features, want 1", text, len(found))
	}
	return found[0]
}

// ofSurveyAlone passes over the fields that a single line cannot have: ranking, scores, and what alignments give.
var ofSurveyAlone = cmp.FilterPath(func(path cmp.Path) bool {
	name := strings.TrimPrefix(path.Last().String(), ".")
	return strings.HasPrefix(name, "Score") || strings.HasPrefix(name, "Gate") ||
		slices.Contains([]string{"Rank", "AlikeCount", "AlignmentCount", "BestAlignmentNearID", "EvidenceSD", "Chunk"}, name)
}, cmp.Ignore())

// TestPredictLineIsTheSurveysRow holds the single line against the survey: one pair, one prediction.
func TestPredictLineIsTheSurveysRow(t *testing.T) {
	opts := bordersOptions()
	result, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	world := loadBorders(t)
	compared := 0
	for i := range result.Sightlines {
		want := result.Sightlines[i]
		if i%7 != 0 {
			continue
		}
		got, err := world.PredictLine(opts, one(t, world, want.ObserverID), one(t, world, want.TargetID))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got.Row, cmpopts.IgnoreUnexported(Sightline{}), ofSurveyAlone); diff != "" {
			t.Errorf("PredictLine(%s, %s) differs from the survey's row (-survey +line):\n%s", want.ObserverID, want.TargetID, diff)
		}
		last := got.Profile.Samples[len(got.Profile.Samples)-1].DistanceM
		if math.Abs(last-want.DistanceM) > 1e-3 {
			t.Errorf("profile of %s to %s ends at %.3f m, want %.3f m", want.ObserverID, want.TargetID, last, want.DistanceM)
		}
		compared++
	}
	if compared < 10 {
		t.Errorf("compared %d lines, want 10 or more of the %d that the survey keeps", compared, len(result.Sightlines))
	}
}

func TestPredictLineRefusesEndsTooClose(t *testing.T) {
	world, opts := loadBorders(t), bordersOptions()
	tinto := one(t, world, "Tinto")
	if _, err := world.PredictLine(opts, tinto, tinto); !errors.Is(err, ErrEndsTooClose) {
		t.Errorf("PredictLine(Tinto, Tinto): %v, want ErrEndsTooClose", err)
	}
	near, err := world.FeatureAt(opts, "to", geodesy.LatLon{LatDeg: tinto.At.LatDeg + 399.0/111_300, LonDeg: tinto.At.LonDeg}, math.NaN())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := world.PredictLine(opts, tinto, &near); !errors.Is(err, ErrEndsTooClose) {
		t.Errorf("PredictLine over 399 m with guards of 200 m: %v, want ErrEndsTooClose", err)
	}
	opts.GuardM = 100
	if _, err := world.PredictLine(opts, tinto, &near); err != nil {
		t.Errorf("PredictLine over 399 m with guards of 100 m: %v", err)
	}
}

func TestFeatureAt(t *testing.T) {
	world, opts := loadBorders(t), bordersOptions()
	at := geodesy.LatLon{LatDeg: 55.5, LonDeg: -2.5}
	groundM, ok := world.Store.HeightM(at)
	if !ok {
		t.Fatal("no terrain at 55.5, -2.5")
	}
	tests := []struct {
		name        string
		at          geodesy.LatLon
		groundM     float64
		wantM       float64
		wantTerrain float64
		source      string
		doubts      []string
	}{
		{"height of the terrain", at, math.NaN(), groundM, groundM, gazetteer.HeightTerrain, []string{gazetteer.DoubtHeightFromTerrain}},
		{"typed height, however far from the terrain", at, groundM + 500, groundM + 500, groundM, gazetteer.HeightListed, nil},
		{"typed height without terrain", geodesy.LatLon{LatDeg: 50.5, LonDeg: 10.5}, 700, 700, math.NaN(), gazetteer.HeightListed, []string{gazetteer.DoubtHeightUnchecked}},
	}
	for _, test := range tests {
		f, err := world.FeatureAt(opts, "from", test.at, test.groundM)
		if err != nil {
			t.Errorf("FeatureAt(%v, %v m): %v", test.at, test.groundM, err)
			continue
		}
		if f.At != test.at || f.GroundHeightM != test.wantM || f.HeightSource != test.source || !slices.Equal(f.Doubts, test.doubts) ||
			f.TerrainHeightM != test.wantTerrain && !(math.IsNaN(f.TerrainHeightM) && math.IsNaN(test.wantTerrain)) {
			t.Errorf("FeatureAt(%v, %v m) = %v m from %s, terrain %v m, doubts %v at %v; want %v m from %s, terrain %v m, doubts %v (%s)", test.at, test.groundM,
				f.GroundHeightM, f.HeightSource, f.TerrainHeightM, f.Doubts, f.At, test.wantM, test.source, test.wantTerrain, test.doubts, test.name)
		}
	}
	if _, err := world.FeatureAt(opts, "from", geodesy.LatLon{LatDeg: 50.5, LonDeg: 10.5}, math.NaN()); err == nil {
		t.Error("FeatureAt without height and terrain gave no error")
	}
}

func TestFind(t *testing.T) {
	world := &World{Features: []gazetteer.Feature{
		{ID: "csv:1", Name: "Hovelin"}, {ID: "csv:2", Name: "Sarrow", OtherNames: []string{"HOVELIN", "Great Sarrow"}}, {ID: "Sarrow", Name: "Mell"},
	}}
	ids := func(features []*gazetteer.Feature) (out []string) {
		for _, f := range features {
			out = append(out, f.ID)
		}
		return out
	}
	for text, want := range map[string][]string{
		"csv:1": {"csv:1"}, "hovelin": {"csv:1", "csv:2"}, "Great Sarrow": {"csv:2"}, "mell": {"Sarrow"}, "Great": nil, "": nil,
		"Sarrow": {"Sarrow"}, // an id goes before a name
	} {
		if got := ids(world.Find(text)); !slices.Equal(got, want) {
			t.Errorf("Find(%q) = %v, want %v", text, got, want)
		}
	}
	if got, want := ids(world.FindLike("sarr", 5)), []string{"csv:2", "Sarrow"}; !slices.Equal(got, want) {
		t.Errorf("FindLike(sarr) = %v, want %v", got, want)
	}
	if got := world.FindLike("", 2); len(got) != 2 {
		t.Errorf("FindLike of everything, 2 at most, found %d", len(got))
	}
}

// TestFrontAngle is worked by hand (no outside source): an eye at 100 m, a ridge of 500 m at 60 km, a top of 2,000 m at 150 km, R = 6,371 km and
// k = 0.143. To first order the elevations are (h−100)/x − (1−k)x/2R: ridge 400/60000 − 0.857·60000/12742000 = 2.6312e-3, top
// 1900/150000 − 0.857·150000/12742000 = 2.5780e-3, so that the top is hidden by 0.0532e-3 = 0.18′ at 2,000 m; with a top of 2,200 m it
// stands 200/150000 = 1.3333e-3 higher, 1.2801e-3 = 4.40′ over the ridge. On the plane it is 2100/150000 − 400/60000 = 7.3333e-3 = 25.21′.
func TestFrontAngle(t *testing.T) {
	opts := DefaultOptions()
	spread := separationSpread{opts: &opts, radiusM: 6371e3, nearM: 60e3, farM: 150e3, nearSDM: 4, farSDM: 6, eyeSDM: 3}
	withAir, withoutAir := spread.sdRad()
	line := Sightline{
		DistanceM: 150e3, RadiusM: 6371e3, EyeHeightM: 100, TopHeightM: 2200, FrontDistanceM: pointer(60e3), FootDistanceM: pointer(60e3),
		ObscuredHeightM: pointer(500.0), Verdict: Direct, MarginArcmin: 4.4, KSD: 0.04,
		FrontAngleSDArcmin: pointer(withAir * arcminPerRad), FrontAnglePlaneSDArcmin: pointer(withoutAir * arcminPerRad),
	}
	c, ok := NewFrontAngle(&line, 0.143)
	if !ok {
		t.Fatal("no claim")
	}
	// Spreads by hand: heights √((6/150000)² + (4/60000)² + (3/60000−3/150000)²) = 8.33e-5 = 0.286′; shared k √(0.04²−0.02²)·90000/12742000 =
	// 2.447e-4, own k 0.02·√(150000²+60000²)/12742000 = 2.536e-4; together √(0.833² + 2.447² + 2.536²)e-4 = 3.621e-4 = 1.245′.
	for _, v := range []struct {
		name            string
		got, want, most float64
	}{
		{"curved", c.CurvedArcmin, 4.40, 0.03}, // first order against the sphere
		{"plane", c.PlaneArcmin, 25.21, 0.03},
		{"spread on the plane", c.PlaneSDArcmin, 0.286, 0.001},
		{"spread under the curve", c.CurvedSDArcmin, 1.245, 0.001},
	} {
		if !(math.Abs(v.got-v.want) <= v.most) {
			t.Errorf("NewFrontAngle: %s %.4f′, want %.4f ± %.4f", v.name, v.got, v.want, v.most)
		}
	}
	above, below, decides := c.Thresholds()
	if !decides || math.Abs(above-(4.40+3*1.245)) > 0.04 || math.Abs(below-(25.21-3*0.286)) > 0.04 {
		t.Errorf("Thresholds() = %.3f′, %.3f′, %v; want 8.135′, 24.352′, true", above, below, decides)
	}
	if _, _, decides := (FrontAngle{CurvedArcmin: 4, CurvedSDArcmin: 1, PlaneArcmin: 8, PlaneSDArcmin: 0.4}).Thresholds(); decides {
		t.Error("bands from 4 ± 3 and 8 ± 1.2 overlap but are said to decide")
	}
	for name, change := range map[string]func(*Sightline){
		"undecided":          func(l *Sightline) { l.Verdict = Undecided },
		"top out of view":    func(l *Sightline) { l.MarginArcmin = -1 },
		"nothing is cut off": func(l *Sightline) { l.FrontDistanceM, l.FootDistanceM, l.ObscuredHeightM = nil, nil, nil },
	} {
		without := line
		change(&without)
		if _, ok := NewFrontAngle(&without, 0.143); ok {
			t.Errorf("a claim where %s", name)
		}
	}
	// Heights and terrain at 50 km worth 0.05 of k: 0.05·100000/12742000 = 3.924e-4 = 1.349′, three of them 4.047′.
	line.CriticalKSD, line.RiskiestDistanceM = 0.05, 50e3
	for _, v := range []struct {
		marginArcmin float64
		surely       bool
	}{{4.0, false}, {4.1, true}} {
		line.MarginPlaneArcmin = v.marginArcmin
		if surely, sd := ShownByPlane(&line); surely != v.surely || math.Abs(sd-1.349) > 0.001 {
			t.Errorf("ShownByPlane by %v′ = %v, %.3f′; want %v, 1.349′", v.marginArcmin, surely, sd, v.surely)
		}
	}
}

func TestValidateLine(t *testing.T) {
	opts := DefaultOptions()
	opts.Terrain = []terrain.Source{{Path: "tiles"}}
	if err := opts.ValidateLine(); err != nil {
		t.Errorf("ValidateLine without features: %v", err)
	}
	if len(opts.Features) != 0 {
		t.Errorf("ValidateLine left features %q behind", opts.Features)
	}
	opts.K = 1.2
	if err := opts.ValidateLine(); !errors.Is(err, ErrOptions) {
		t.Errorf("ValidateLine with k = 1.2: %v, want ErrOptions", err)
	}
}
