package pipeline

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"farstation/geodesy/terrain"
)

// The example of RFC 8785, section 3.2.2 (input) and 3.2.3 (its canonical form): order of names by UTF-16, numbers, escapes.
func TestCanonical(t *testing.T) {
	const input = `{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}`
	const want = `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}`
	object, err := parseObject([]byte(input))
	if err != nil {
		t.Fatal(err)
	}
	got, err := appendCanonical(nil, object)
	if err != nil || string(got) != want {
		t.Errorf("canonical form %s, %v\nwant           %s", got, err, want)
	}
	// Section 3.2.3: names sort by UTF-16 code units, so that U+1F602 stands before U+FB33; minus zero is 0 (appendix B).
	object, err = parseObject([]byte(`{"\ufb33":-0,"\ud83d\ude02":"<\u2028>"}`))
	if err != nil {
		t.Fatal(err)
	}
	if got, _ := appendCanonical(nil, object); string(got) != "{\"\U0001f602\":\"<\u2028>\",\"\ufb33\":0}" {
		t.Errorf("canonical form %q", got)
	}
	for _, bad := range []string{`{"a":1,"a":1}`, `{"a":{"b":1,"b":2}}`, `[1]`, `{"a":1} {}`, `{"a":1`, "{\"a\":\"\xff\"}", ``} {
		if _, err := parseObject([]byte(bad)); err == nil {
			t.Errorf("parseObject(%q) is no error", bad)
		}
	}
}

// claimRun has an observer at 100 m and a top of 2,200 m behind a ridge of 500 m: the line of TestFrontAngle, where the angles are worked by
// hand. Spreads: eye 3 m, top 6 m, ridge 4 m.
func claimRun(t *testing.T) (*ClaimRun, *Sightline) {
	t.Helper()
	opts := DefaultOptions()
	opts.Features, opts.Terrain = []string{"tops.csv"}, []terrain.Source{{Path: "tiles", Datum: "egm96", Surface: "ground"}}
	parameters, err := opts.parameters()
	if err != nil {
		t.Fatal(err)
	}
	spread := separationSpread{opts: &opts, radiusM: 6371e3, nearM: 60e3, farM: 150e3, nearSDM: 4, farSDM: 6, eyeSDM: 3}
	withAir, withoutAir := spread.sdRad()
	line := &Sightline{
		ObserverID: "csv:1", ObserverName: "Tessamar <b>", TargetID: "csv:2", TargetName: "Ondravel", DistanceM: 150e3, RadiusM: 6371e3, EyeHeightM: 100,
		TopHeightM: 2200, FrontDistanceM: pointer(60e3), FrontHeightM: pointer(500.0), FootDistanceM: pointer(60e3), ObscuredHeightM: pointer(500.0),
		Verdict: Direct, MarginArcmin: 4.4, MarginPlaneArcmin: 25, KFree: 0.143, ChanceLow: 0.9, ChanceHigh: 0.9,
		FrontAngleSDArcmin: pointer(withAir * arcminPerRad), FrontAnglePlaneSDArcmin: pointer(withoutAir * arcminPerRad),
	}
	return &ClaimRun{
		Manifest: &Manifest{Version: Version, Parameters: parameters}, SHA256: strings.Repeat("0f", 32), Made: "2031-05-20",
		Features: map[string]FeatureRow{
			"csv:1": {FeatureID: "csv:1", Name: "Tessamar <b>", Kind: "peak", GroundHeightM: 98, GroundHeightSDM: 3},
			"csv:2": {FeatureID: "csv:2", Name: "Ondravel", Kind: "peak", GroundHeightM: 2200, GroundHeightSDM: 6},
		},
	}, line
}

func TestSightlineClaim(t *testing.T) {
	run, line := claimRun(t)
	c, err := run.NewSightlineClaim(line)
	if err != nil {
		t.Fatal(err)
	}
	text, err := c.Encode()
	if err != nil {
		t.Fatal(err)
	}
	read, err := ParseClaim(text)
	if err != nil {
		t.Fatal(err)
	}
	if read.ID != "csv:1>csv:2" || read.Sentence != c.Sentence || !strings.Contains(string(text), `"csv:1>csv:2"`) {
		t.Errorf("read back id %q, claim %q", read.ID, read.Sentence)
	}
	// By hand, to first order, as TestFrontAngle; one unit of k is 90000/12742000 = 7.0633e-3 = 24.28′. Straight light on the curve: 4.40 −
	// 0.143·24.28 = 0.93′; the plane in the same air: 4.40 + 24.28 = 28.68′. Equal z: (4.40·0.286 + 25.21·1.245)/(1.245 + 0.286) = 21.32′
	// at (25.21 − 4.40)/1.531 = 13.59 standard deviations.
	at := func(model string) float64 { return *read.Model(model).AngleArcmin }
	for _, v := range []struct {
		name            string
		got, want, most float64
	}{
		{"curved", at(ModelCurved), 4.40, 0.03}, {"plane", at(ModelPlane), 25.21, 0.03},
		{"curved, straight light", at(ModelCurvedK0), 0.93, 0.03}, {"curved, low k", at(ModelCurvedLowK), 4.40 - 0.08*24.28, 0.03},
		{"curved, high k", at(ModelCurvedHighK), 4.40 + 0.08*24.28, 0.03}, {"plane, same air", at(ModelPlaneSameAir), 28.68, 0.03},
		{"threshold", *read.Decision.ThresholdArcmin, 21.32, 0.04}, {"its z", *read.Decision.ThresholdSD, 13.59, 0.04},
		{"plane refuted below", *read.Decision.PlaneRefutedBelowArcmin, 25.21 - 3*0.286, 0.04},
		{"height of the front that remains", 60e3 * read.Terms[4].PlaneArcmin / arcminPerRad, 4, 1e-6},
	} {
		if !(math.Abs(v.got-v.want) <= v.most) {
			t.Errorf("%s is %.4f, want %.4f ± %.4f", v.name, v.got, v.want, v.most)
		}
	}
	// Parts add in squares to the whole.
	curved, plane := 0.0, 0.0
	for _, term := range read.Terms {
		curved, plane = curved+square(term.CurvedArcmin), plane+square(term.PlaneArcmin)
	}
	if m := read.Model(ModelCurved); math.Abs(math.Sqrt(curved)-*m.AngleSDArcmin) > 1e-9 || math.Abs(math.Sqrt(plane)-*read.Model(ModelPlane).AngleSDArcmin) > 1e-9 {
		t.Errorf("terms add to %.6f and %.6f′, the spreads are %.6f and %.6f′", math.Sqrt(curved), math.Sqrt(plane), *m.AngleSDArcmin, *read.Model(ModelPlane).AngleSDArcmin)
	}
	if !read.Decision.Decides || read.Decision.By != ByAngle {
		t.Errorf("decision %+v, want by angle", read.Decision)
	}
}

func TestClaimChanged(t *testing.T) {
	run, line := claimRun(t)
	c, err := run.NewSightlineClaim(line)
	if err != nil {
		t.Fatal(err)
	}
	text, err := c.Encode()
	if err != nil {
		t.Fatal(err)
	}
	file := string(text)
	var compact map[string]any
	if err := json.Unmarshal(text, &compact); err != nil {
		t.Fatal(err)
	}
	other, err := json.Marshal(compact)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ParseClaim(other); err != nil {
		t.Errorf("the same JSON in another order, without spaces: %v", err)
	}
	for name, changed := range map[string]string{
		"a digit":         strings.Replace(file, `"distance_m": 150000`, `"distance_m": 150001`, 1),
		"the day":         strings.Replace(file, "2031-05-20", "2031-05-19", 1),
		"a name":          strings.Replace(file, "Ondravel", "Ondravel ", 1),
		"one member more": strings.Replace(file, "{", `{"note": 1,`, 1),
		"the hash":        strings.Replace(file, c.SHA256, strings.Repeat("0", 64), 1),
	} {
		if changed == file {
			t.Fatalf("%s: nothing to change", name)
		}
		if _, err := ParseClaim([]byte(changed)); !errors.Is(err, ErrClaimChanged) {
			t.Errorf("%s changed: %v, want %v", name, err, ErrClaimChanged)
		}
	}
	for name, bad := range map[string]string{
		"a member twice": strings.Replace(file, "{", `{"claim": "something else",`, 1),
		"another form":   `{"form": "notes"}`,
		"no JSON":        "claim",
		"cut":            file[:len(file)/2],
	} {
		if _, err := ParseClaim([]byte(bad)); err == nil || errors.Is(err, ErrClaimChanged) {
			t.Errorf("%s: %v, want an error of its own", name, err)
		}
	}
}

func TestClaimByLook(t *testing.T) {
	tests := []struct {
		name             string
		change           func(*Sightline)
		by               string
		decides          bool
		ifSeen, ifMissed string
	}{
		{"blocked, the plane shows it", func(l *Sightline) { l.Verdict, l.MarginArcmin, l.CriticalK = Blocked, -9, 0.9 }, ByLook, true,
			"refutes the curved model at every k up to 0.900", "refutes the plane"},
		{"looming", func(l *Sightline) { l.Verdict, l.MarginArcmin, l.CriticalK = Looming, -1, 0.2 }, ByLook, true, "refutes nothing", "refutes the plane"},
		{"blocked, the plane hardly shows it", func(l *Sightline) {
			l.Verdict, l.MarginArcmin, l.MarginPlaneArcmin, l.CriticalKSD, l.RiskiestDistanceM = Blocked, -9, 0.5, 0.1, 60e3
		}, ByLook, false, "refutes the curved model", "refutes nothing"},
		{"out of view under both", func(l *Sightline) { l.Verdict, l.MarginArcmin, l.MarginPlaneArcmin = Blocked, -9, -2 }, ByNone, false, "against both", "as both"},
		{"nothing cut off", func(l *Sightline) { l.FrontDistanceM, l.FootDistanceM, l.ObscuredHeightM = nil, nil, nil }, ByNone, false, "as both", "against both"},
	}
	for _, test := range tests {
		run, line := claimRun(t)
		test.change(line)
		c, err := run.NewSightlineClaim(line)
		if err != nil {
			t.Errorf("%s: %v", test.name, err)
			continue
		}
		d := c.Decision
		if d.By != test.by || d.Decides != test.decides || !strings.Contains(d.IfSeen, test.ifSeen) || !strings.Contains(d.IfNotSeen, test.ifMissed) {
			t.Errorf("%s: %+v, want by %s, decides %v, %q, %q", test.name, d, test.by, test.decides, test.ifSeen, test.ifMissed)
		}
		if text, err := c.Encode(); err != nil {
			t.Errorf("%s: %v", test.name, err)
		} else if _, err := ParseClaim(text); err != nil {
			t.Errorf("%s: read back: %v", test.name, err)
		}
	}
	run, line := claimRun(t)
	line.Verdict = Undecided
	if _, err := run.NewSightlineClaim(line); err == nil {
		t.Error("an undecided line was claimed")
	}
	delete(run.Features, "csv:2")
	line.Verdict = Direct
	if _, err := run.NewSightlineClaim(line); err == nil {
		t.Error("a line without its target was claimed")
	}
}

// The spreads of a claim, worked out from the tables alone, are those that the survey had.
func TestClaimSpreadsAreThoseOfTheSurvey(t *testing.T) {
	opts := hillOptions()
	opts.Features = []string{fewHills(t, 12)}
	result, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	run := &ClaimRun{Manifest: &result.Manifest, SHA256: strings.Repeat("0", 64), Made: "2031-05-20", Features: map[string]FeatureRow{}}
	for _, f := range result.Features {
		run.Features[f.FeatureID] = f
	}
	lines, alignments := 0, 0
	wholeOf := func(c *Claim) float64 {
		whole := 0.0
		for _, term := range c.Terms {
			whole += square(term.CurvedArcmin)
		}
		return math.Sqrt(whole)
	}
	for i := range result.Sightlines {
		l := &result.Sightlines[i]
		if _, ok := NewFrontAngle(l, l.KFree); !ok {
			continue
		}
		lines++
		c, err := run.NewSightlineClaim(l)
		if err != nil {
			t.Fatal(err)
		}
		if got := wholeOf(c); math.Abs(got-*l.FrontAngleSDArcmin) > 1e-6**l.FrontAngleSDArcmin {
			t.Errorf("claim %s: spread %.6f′, the survey's %.6f′", c.ID, got, *l.FrontAngleSDArcmin)
		}
	}
	for i := range result.Alignments {
		a := &result.Alignments[i]
		alignments++
		c, err := run.NewAlignmentClaim(a)
		if err != nil {
			t.Fatal(err)
		}
		// The radius differs a little: see alignmentSpread.
		if got := wholeOf(c); math.Abs(got-a.SeparationSDArcmin) > 5e-3*a.SeparationSDArcmin {
			t.Errorf("claim %s: spread %.5f′, the survey's %.5f′", c.ID, got, a.SeparationSDArcmin)
		}
		if got, want := *c.Model(ModelPlaneSameAir).AngleArcmin-*c.Model(ModelCurved).AngleArcmin, a.ModelGapArcmin/(1-opts.K); math.Abs(got-want) > 0.05*want+0.2 {
			t.Errorf("claim %s: plane in the same air %.3f′ over the curve, want about %.3f′", c.ID, got, want)
		}
	}
	if lines == 0 || alignments == 0 {
		t.Errorf("%d lines with a front and %d alignments: both are wanted", lines, alignments)
	}
	t.Logf("%d lines, %d alignments", lines, alignments)
}
