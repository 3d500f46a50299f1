package pipeline

import (
	"context"
	"errors"
	"iter"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// rowsOf gives a table in memory as a file would be read: each row a copy.
func rowsOf[Row any](rows []Row) iter.Seq2[*Row, error] {
	return func(yield func(*Row, error) bool) {
		for _, row := range rows {
			if !yield(&row, nil) {
				return
			}
		}
	}
}

func tablesInMemory(r *held) *Tables {
	return &Tables{rowsOf(r.Features), rowsOf(r.Sightlines), rowsOf(r.Alignments), rowsOf(r.Profiles)}
}

// verifiedSurvey is a small survey of real hills with every table filled.
func verifiedSurvey(t *testing.T) *held {
	t.Helper()
	opts := DefaultOptions()
	opts.Features = []string{thinned(t, func(line int, _ []string) bool { return line%8 == 0 })}
	opts.Terrain = []terrain.Source{{Path: "../testdata/N55W003.hgt.zip"}, {Path: "../testdata/N55W004.hgt.zip"}}
	opts.Area = &Area{West: -2.6, South: 55.3, East: -2.1, North: 55.6}
	opts.Top, opts.Workers = 5, 1
	r, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Sightlines) < 100 || len(r.Alignments) < 10 || len(r.Profiles) != 5 {
		t.Fatalf("%d sightlines, %d alignments, %d profiles: too few to test with", len(r.Sightlines), len(r.Alignments), len(r.Profiles))
	}
	return r
}

// copyOf is a result whose rows can be changed; what their pointers point to must be replaced, not changed.
func copyOf(r *held) *held {
	result := *r.Result
	c := held{Result: &result}
	c.Features, c.Sightlines, c.Alignments = slices.Clone(r.Features), slices.Clone(r.Sightlines), slices.Clone(r.Alignments)
	c.Profiles = slices.Clone(r.Profiles)
	for i := range c.Profiles {
		c.Profiles[i].Samples = slices.Clone(c.Profiles[i].Samples)
	}
	c.Manifest.Parameters = maps.Clone(r.Manifest.Parameters)
	c.Manifest.Inputs = slices.Clone(r.Manifest.Inputs)
	return &c
}

func verified(t *testing.T, r *held, sample int) map[string]Finding {
	t.Helper()
	findings, err := VerifyTables(t.Context(), &r.Manifest, tablesInMemory(r), sample)
	if err != nil {
		t.Fatal(err)
	}
	byTitle := map[string]Finding{}
	for _, f := range findings {
		byTitle[f.Title] = f
	}
	return byTitle
}

func TestVerify(t *testing.T) {
	sound := verifiedSurvey(t)
	t.Run("every rule finds its fault", func(t *testing.T) { everyRuleFindsItsFault(t, sound) })
	t.Run("what cannot be computed is skipped", func(t *testing.T) { skipsWhatItCannotCompute(t, sound) })
	t.Run("a table that cannot be read", func(t *testing.T) { tableThatCannotBeRead(t, sound) })
	t.Run("against another run", func(t *testing.T) { compareRuns(t, sound) })
}

// A rule without a fault that it finds is no rule: each is given one, and the sound run passes them all.
func everyRuleFindsItsFault(t *testing.T, sound *held) {
	passed := verified(t, sound, 10)
	for title, f := range passed {
		if f.Result != Passed {
			t.Errorf("a fresh run: %s: %s: %s", f.Result, title, f.Reason)
		}
	}
	rankedLine := func(r *held) *Sightline {
		for i := range r.Sightlines {
			if s := &r.Sightlines[i]; s.Rank != nil && *s.Rank == 1 {
				return s
			}
		}
		t.Fatal("no line has rank 1")
		return nil
	}
	// sampled is the line that a sample of one takes.
	sampled := func(r *held) *Sightline { return &r.Sightlines[len(r.Sightlines)/2] }
	nearListed := func(r *held) *Alignment {
		for i := range r.Alignments {
			if r.Alignments[i].NearDistanceM >= 30e3 {
				return &r.Alignments[i]
			}
		}
		return &r.Alignments[0]
	}
	tests := []struct {
		fault string
		title string
		make  func(r *held)
		// want is part of the reason.
		want string
	}{
		{"k of 1.2", "the parameters are", func(r *held) { r.Manifest.Parameters["k"] = 1.2 }, "must be below 1"},
		{"an input that has changed", "every input has", func(r *held) { r.Manifest.Inputs[0].SHA256 = strings.Repeat("0", 64) }, "has SHA-256"},
		{"an input of another size", "every input has", func(r *held) { r.Manifest.Inputs[1].Bytes++ }, "bytes, run.json says"},
		{"two features swapped", "features are sorted", func(r *held) { r.Features[3], r.Features[4] = r.Features[4], r.Features[3] }, "stands after"},
		{"a feature twice", "features are sorted", func(r *held) { r.Features[3] = r.Features[4] }, "stands after"},
		{"a kind of its own", "features stand", func(r *held) { r.Features[3].Kind = "mountain" }, `kind "mountain"`},
		{"a spread below 0", "features stand", func(r *held) { r.Features[3].GroundHeightSDM = -1 }, "below 0"},
		{"latitude 91", "features stand", func(r *held) { r.Features[3].LatitudeDeg = 91 }, "latitude 91"},
		{"moved by 10 m more", "moved_m is", func(r *held) { r.Features[3].MovedM += 10 }, "places lie"},
		{"two sightlines swapped", "sightlines are sorted", func(r *held) { r.Sightlines[7], r.Sightlines[8] = r.Sightlines[8], r.Sightlines[7] }, "row 9"},
		{"a sightline twice", "sightlines are sorted", func(r *held) { r.Sightlines[7] = r.Sightlines[8] }, "row 9"},
		{"an observer that is none", "sightlines are sorted", func(r *held) { r.Sightlines[7].ObserverID = r.Features[0].FeatureID }, "is no observer"},
		{"a target that no table has", "both ends of a sightline", func(r *held) { r.Sightlines[7].TargetID = "csv:none" }, "target csv:none is not in features.parquet"},
		{"a target renamed", "both ends of a sightline", func(r *held) { r.Sightlines[7].TargetName = "Elsewhere" }, `"Elsewhere"`},
		{"a geometry that ends beside", "both ends of a sightline", func(r *held) { r.Sightlines[7].TargetLonDeg += 1e-6 }, "geometry has target"},
		{"an eye 1 m higher", "both ends of a sightline", func(r *held) { r.Sightlines[7].EyeHeightM++ }, "eye_height_m"},
		{"a top 1 mm lower", "both ends of a sightline", func(r *held) { r.Sightlines[7].TopHeightM -= 0.001 }, "top_height_m"},
		{"a line of 29 km", "sightlines are of the kinds", func(r *held) { r.Sightlines[7].DistanceM = 29e3 }, "29000 m away"},
		{"a verdict too good", "the verdict is", func(r *held) { r.Sightlines[7].CriticalK, r.Sightlines[7].Verdict = 0.01, Direct }, "gives refracted"},
		{"another k", "the verdict is", func(r *held) {
			r.Sightlines[7].KFree = 0.15
			r.Sightlines[7].CriticalK, r.Sightlines[7].Verdict = 0.01, Refracted
		}, "k_free 0.15"},
		{"a margin of the other sign", "the margin has", func(r *held) { r.Sightlines[7].MarginArcmin *= -1 }, "margin_arcmin"},
		{"a top in view that lacks height", "the margin has", func(r *held) { rankedLine(r).LackingHeightM = pointer(3.0) }, "lacking_height_m 3"},
		{"a chance above 1", "0 ≤ chance_low", func(r *held) { r.Sightlines[7].ChanceHigh = 1.1 }, "chance_high 1.1"},
		{"a chance that is not the low one", "0 ≤ chance_low", func(r *held) { rankedLine(r).Chance = pointer(0.5) }, "chance 0.5"},
		{"a gap that no doubt names", "0 ≤ chance_low", func(r *held) { rankedLine(r).TerrainCoverage = 0.9 }, "terrain_coverage 0.9"},
		{"a decided line without a chance", "undecided lines", func(r *held) { r.Sightlines[7].Chance = nil }, "chance as on an undecided line"},
		{"a foot before the front", "front, foot", func(r *held) {
			s := &r.Sightlines[slices.IndexFunc(r.Sightlines, func(s Sightline) bool { return s.FootDistanceM != nil })]
			s.FootDistanceM = pointer(*s.FrontDistanceM - 1)
		}, "foot_distance_m"},
		{"an obscured height without a front", "front, foot", func(r *held) {
			r.Sightlines[7].FrontDistanceM, r.Sightlines[7].ObscuredHeightM = nil, pointer(3.0)
		}, "front_distance_m NaN"},
		{"a part in view of 2", "front, foot", func(r *held) { r.Sightlines[7].PartInView = pointer(2.0) }, "part_in_view 2"},
		{"a grazing point behind the target", "front, foot", func(r *held) { r.Sightlines[7].GrazingDistanceM = 1e6 }, "grazing_distance_m"},
		{"an elevation off by 1″", "the elevations and the gap", func(r *held) { r.Sightlines[7].ElevationDeg += 1.0 / 3600 }, "elevation_deg"},
		{"a plane elevation off by 1″", "the elevations and the gap", func(r *held) {
			r.Sightlines[7].ElevationPlaneDeg += 1.0 / 3600
			r.Sightlines[7].ModelGapArcmin += 1.0 / 60
		}, "the heights give"},
		{"a score that is no mean", "scores are", func(r *held) { rankedLine(r).ScoreTest = pointer(99.0) }, "score_test 99"},
		{"a term of 2", "scores are", func(r *held) { rankedLine(r).ScoreReach = pointer(2.0) }, "term reach is 2"},
		{"a gate of 2", "scores are", func(r *held) { rankedLine(r).GateStand = 2 }, "gate stand is 2"},
		{"a rank twice", "ranks run", func(r *held) { rankedLine(r).Rank = pointer[int32](2) }, "rank 2 stands there twice"},
		{"a rank that is left out", "ranks run", func(r *held) { rankedLine(r).Rank = pointer[int32](100000) }, "none has rank 1"},
		{"a rank for a blocked line", "ranks run", func(r *held) { rankedLine(r).Verdict = Blocked }, "for a line that is blocked"},
		{"a rank lost", "ranks run", func(r *held) { s := rankedLine(r); s.Rank, s.AlikeCount = nil, 1 }, "without a rank"},
		{"an alike line too many", "ranks run", func(r *held) { rankedLine(r).AlikeCount++ }, "alike_count"},
		{"two alignments swapped", "alignments are sorted", func(r *held) { r.Alignments[2], r.Alignments[3] = r.Alignments[3], r.Alignments[2] }, "stands after"},
		{"a near top that no table has", "the three tops", func(r *held) { r.Alignments[2].NearID = "csv:none" }, "csv:none"},
		{"a far top renamed", "the three tops", func(r *held) { r.Alignments[2].FarName = "Elsewhere" }, "Elsewhere"},
		{"a top between that no table has", "the three tops", func(r *held) { r.Alignments[2].MiddleIDs = "csv:none" }, "middle_ids"},
		{"a near top 1 m farther", "the three tops", func(r *held) { r.Alignments[2].NearDistanceM++ }, "near_distance_m"},
		{"a far line of another length", "both lines", func(r *held) { r.Alignments[2].FarDistanceM++ }, "far line"},
		{"a far line that is dropped", "both lines", func(r *held) {
			a := r.Alignments[2]
			r.Sightlines = slices.DeleteFunc(r.Sightlines, func(s Sightline) bool { return s.ObserverID == a.ObserverID && s.TargetID == a.FarID })
		}, "is not in sightlines.parquet"},
		{"a near line of another chance", "both lines", func(r *held) { nearListed(r).NearInViewChance += 0.01 }, "near line"},
		{"a case that the verdict contradicts", "both lines", func(r *held) {
			for i := range r.Alignments {
				if r.Alignments[i].Case == BothInView {
					r.Alignments[i].Case = FarBehindNear
				}
			}
		}, "and the far line is"},
		{"a near top at nine tenths", "an alignment's distances", func(r *held) { r.Alignments[2].NearDistanceM = 0.9 * r.Alignments[2].FarDistanceM }, "near at"},
		{"tops 5° apart", "an alignment's distances", func(r *held) { r.Alignments[2].AzimuthDifferenceArcmin = 300 }, "300′ apart"},
		{"a separation off by 1″", "separations, order", func(r *held) { r.Alignments[2].SeparationArcmin += 1.0 / 60 }, "separation_arcmin"},
		{"an order turned round", "separations, order", func(r *held) { r.Alignments[2].OrderPlane = "sideways" }, "order_plane sideways"},
		{"evidence doubled", "separations, order", func(r *held) { r.Alignments[2].EvidenceSD *= 2 }, "evidence_sd"},
		{"a chance that the lines do not give", "separations, order", func(r *held) { r.Alignments[2].Chance /= 3 }, "the two lines give"},
		{"a score of 101", "separations, order", func(r *held) { r.Alignments[2].Score = 101 }, "score 101"},
		{"a rank of alignments twice", "ranks of alignments", func(r *held) { r.Alignments[2].Rank = r.Alignments[3].Rank }, "stands there twice"},
		{"an alignment's score below the next rank's", "ranks of alignments", func(r *held) {
			r.Alignments[slices.IndexFunc(r.Alignments, func(a Alignment) bool { return *a.Rank == 1 })].Score = 0
		}, "the one before it 0"},
		{"an alignment dropped", "alignment_count", func(r *held) { r.Alignments = r.Alignments[1:] }, "alignment_count"},
		{"another best alignment", "alignment_count", func(r *held) {
			r.Sightlines[slices.IndexFunc(r.Sightlines, func(s Sightline) bool { return s.AlignmentCount > 0 })].BestAlignmentNearID = pointer("csv:none")
		}, "best_alignment_near_id"},
		{"two profiles swapped", "every line that the report draws", func(r *held) { r.Profiles[0], r.Profiles[1] = r.Profiles[1], r.Profiles[0] }, "rank 1 is"},
		{"a profile dropped", "every line that the report draws", func(r *held) { r.Profiles = r.Profiles[:4] }, "4 profiles for 5 lines"},
		{"a profile that ends early", "profiles run", func(r *held) { r.Profiles[0].Samples = r.Profiles[0].Samples[:50] }, "runs from 0 m"},
		{"a profile that steps back", "profiles run", func(r *held) { p := r.Profiles[0].Samples; p[5], p[6] = p[6], p[5] }, "distance_m"},
		{"a hill of 500 m in a profile", "critical_k follows", func(r *held) {
			p := r.Profiles[0].Samples
			p[len(p)/2].GroundM += 500
		}, "m of ground"},
		{"ground at the grazing point 5 m lower in the profile", "critical_k follows", func(r *held) {
			for i := range r.Profiles[0].Samples {
				r.Profiles[0].Samples[i].GroundM -= 5
			}
		}, "m of ground"},
		{"a row dropped", "the counts of run.json", func(r *held) { r.Sightlines = r.Sightlines[:len(r.Sightlines)-1] }, "kept: run.json says"},
		{"a looming line made direct", "the counts of run.json", func(r *held) {
			r.Manifest.Counts.Verdicts = map[Verdict]int{Direct: 0}
		}, "run.json counts 0"},
		{"a margin off by 0.01′", "sampled sightlines are those of the plain walk", func(r *held) { sampled(r).MarginArcmin += 0.01 }, "margin_arcmin is"},
		{"a chance off by 1e-6", "sampled sightlines are those of the plain walk", func(r *held) { sampled(r).ChanceHigh += 1e-6 }, "chance_high is"},
		{"an obscured height lost", "sampled sightlines are those of the plain walk", func(r *held) { sampled(r).DipArcmin = pointer(1.0) }, "dip_arcmin is 1, the walk gives null"},
		{"a critical refraction off by 0.01", "sampled sightlines are those of a second", func(r *held) { sampled(r).CriticalK += 0.01 * math.Max(1, math.Abs(sampled(r).CriticalK)) }, "critical_k is"},
		{"a distance off by 1 cm", "sampled sightlines are those of a second", func(r *held) { sampled(r).DistanceM += 0.01 }, "distance_m is"},
		{"a back azimuth off by 1″", "sampled sightlines are those of a second", func(r *held) { sampled(r).BackAzimuthDeg += 1.0 / 3600 }, "back_azimuth_deg is"},
		{"an elevation off by 2″", "sampled sightlines are those of a second", func(r *held) { sampled(r).ElevationDeg += 2.0 / 3600 }, "elevation_deg is"},
		{"a margin on the plane off by 0.1′", "sampled sightlines are those of a second", func(r *held) { sampled(r).MarginPlaneArcmin += 0.1 }, "margin_plane_arcmin is"},
	}
	found := map[string]bool{}
	for _, test := range tests {
		r := copyOf(sound)
		test.make(r)
		sample := 0
		if strings.HasPrefix(test.title, "sampled") {
			sample = 1
		}
		findings := verified(t, r, sample)
		var hit *Finding
		for title, f := range findings {
			if strings.HasPrefix(title, test.title) {
				hit = &f
			}
		}
		if hit == nil {
			t.Fatalf("%s: no rule begins with %q", test.fault, test.title)
		}
		if hit.Result != Failed || !strings.Contains(hit.Reason, test.want) {
			t.Errorf("%s: %s: %s: %q, want failed with %q", test.fault, hit.Result, hit.Title, hit.Reason, test.want)
		}
		found[hit.Title] = true
	}
	for title := range passed {
		if !found[title] {
			t.Errorf("no fault is tried on the rule %q", title)
		}
	}
}

func skipsWhatItCannotCompute(t *testing.T, sound *held) {
	tests := []struct {
		name string
		make func(r *held)
		want string
	}{
		{"terrain is gone", func(r *held) { r.Manifest.Inputs[1].Path = "nowhere/N55W003.hgt.zip" }, "terrain nowhere/N55W003.hgt.zip is not there"},
		{"terrain has changed", func(r *held) { r.Manifest.Inputs[1].SHA256 = "" }, "is not that of the run"},
		{"terrain was added", func(r *held) { r.Manifest.Inputs = r.Manifest.Inputs[:2] }, "was not there when the run was made"},
		{"another version", func(r *held) { r.Manifest.Version = "0.0.1" }, "of version 0.0.1"},
	}
	for _, test := range tests {
		r := copyOf(sound)
		test.make(r)
		skipped := 0
		for title, f := range verified(t, r, 5) {
			if strings.HasPrefix(title, "sampled") && f.Result == Skipped && strings.Contains(f.Reason, test.want) {
				skipped++
			}
		}
		if skipped != 2 {
			t.Errorf("%s: %d of the two computations are skipped with %q", test.name, skipped, test.want)
		}
	}
	r := copyOf(sound)
	r.Manifest.Inputs[0].Path, r.Manifest.Parameters["features"] = "nowhere.tsv", []any{"nowhere.tsv"}
	for title, f := range verified(t, r, 1) {
		want := Passed
		if strings.HasPrefix(title, "every input") {
			want = Skipped
		}
		if f.Result != want {
			t.Errorf("the gazetteer is gone: %s: %s: %s, want %s", f.Result, title, f.Reason, want)
		}
	}
}

func tableThatCannotBeRead(t *testing.T, r *held) {
	tables := tablesInMemory(r)
	damaged := errors.New("alignments.parquet: row 1: damaged")
	tables.Alignments = func(yield func(*Alignment, error) bool) { yield(nil, damaged) }
	findings, err := VerifyTables(t.Context(), &r.Manifest, tables, 0)
	if err != nil {
		t.Fatal(err)
	}
	failed := 0
	for _, f := range findings {
		if f.Result == Failed && f.Reason == damaged.Error() {
			failed++
		}
	}
	if rules := len((&verification{}).alignmentRules()); failed != rules {
		t.Errorf("%d rules say that alignments.parquet is damaged, want all %d of it", failed, rules)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := VerifyTables(ctx, &r.Manifest, tables, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled verification ends with %v", err)
	}
}

func compareRuns(t *testing.T, sound *held) {
	tests := []struct {
		name string
		make func(r *held)
		want []Difference
		// failed are the titles' last words.
		failed []string
	}{
		{"itself", func(*held) {}, nil, nil},
		{"rounding", func(r *held) { r.Sightlines[3].CriticalK *= 1 + 1e-15 }, nil, nil},
		{"a verdict", func(r *held) { r.Sightlines[3].Verdict = Undecided },
			[]Difference{{Column: "verdict", Is: string(sound.Sightlines[3].Verdict), Other: "undecided"}}, []string{"sightlines"}},
		{"a row less", func(r *held) { r.Sightlines = slices.Delete(r.Sightlines, 3, 4) }, []Difference{{Column: "row", Is: "is there", Other: "is not there"}}, []string{"sightlines"}},
		{"an alignment more", func(r *held) {
			r.Alignments = append(r.Alignments, r.Alignments[0])
			r.Alignments[len(r.Alignments)-1].Case = "another"
		}, []Difference{{Column: "row", Is: "is not there", Other: "is there"}}, []string{"alignments"}},
		{"a parameter", func(r *held) { r.Manifest.Parameters["k"] = 0.17 }, nil, []string{"parameters"}},
	}
	for _, test := range tests {
		r := copyOf(sound)
		test.make(r)
		findings, differences, err := CompareRuns(t.Context(), &sound.Manifest, &r.Manifest, tablesInMemory(sound), tablesInMemory(r), 20)
		if err != nil {
			t.Fatal(err)
		}
		var failed []string
		for _, f := range findings {
			if f.Result == Failed {
				failed = append(failed, f.Title[strings.LastIndex(f.Title, " ")+1:])
			}
		}
		for i := range differences {
			if differences[i].Row == "" {
				t.Errorf("%s: difference %d names no row", test.name, i)
			}
			differences[i].Row = ""
		}
		if !slices.Equal(failed, test.failed) || !slices.Equal(differences, test.want) {
			t.Errorf("against %s: failed %q, differences %+v, want %q and %+v", test.name, failed, differences, test.failed, test.want)
		}
	}
	r := copyOf(sound)
	for i := range r.Sightlines {
		r.Sightlines[i].DistanceM++
	}
	if _, differences, err := CompareRuns(t.Context(), &sound.Manifest, &r.Manifest, tablesInMemory(sound), tablesInMemory(r), 20); err != nil || len(differences) != 20 {
		t.Errorf("%d differences are listed, %v, want the first 20", len(differences), err)
	}
}

// The second formulation's own geodesic, against the lines that T. Vincenty's paper is usually tested with.
func TestVincenty(t *testing.T) {
	deg := func(d, m, s float64) float64 { return (d + m/60 + s/3600) * radPerDeg }
	var g vincenty
	// Geocentric Datum of Australia Technical Manual, version 2.3, chapter 4: Flinders Peak to Buninyong (from memory; there on GRS80, whose
	// flattening differs by 1.6e-11 and moves nothing here).
	if err := g.between(-deg(37, 57, 3.72030), deg(144, 25, 29.52440), -deg(37, 39, 10.15610), deg(143, 55, 35.38390)); err != nil {
		t.Fatal(err)
	}
	azimuth, end := math.Mod(g.azimuthRad/radPerDeg+360, 360), math.Mod(g.endAzimuthRad/radPerDeg+360, 360)
	for _, value := range []struct {
		name                string
		is, want, tolerance float64
	}{
		{"distance in m", g.distanceM, 54972.271, 0.0005},
		{"azimuth", azimuth, 306 + 52.0/60 + 5.37/3600, 0.005 / 3600},
		{"azimuth at the end", end, 127 + 10.0/60 + 25.07/3600 + 180, 0.005 / 3600},
	} {
		if math.Abs(value.is-value.want) > value.tolerance {
			t.Errorf("Flinders Peak to Buninyong: %s %.6f, want %.6f ± %g", value.name, value.is, value.want, value.tolerance)
		}
	}
	for _, from := range []geodesy.LatLon{{LatDeg: 0, LonDeg: 10}, {LatDeg: 55.4, LonDeg: -2.2}, {LatDeg: -79, LonDeg: 179.9}} {
		for azimuthDeg := 0.0; azimuthDeg < 360; azimuthDeg += 45 {
			to, _ := geodesy.WGS84.Direct(from, azimuthDeg, 400e3)
			if err := g.between(from.LatDeg*radPerDeg, from.LonDeg*radPerDeg, to.LatDeg*radPerDeg, to.LonDeg*radPerDeg); err != nil {
				t.Fatal(err)
			}
			lat, lon, _ := g.at(100e3)
			at := geodesy.LatLon{LatDeg: lat / radPerDeg, LonDeg: lon / radPerDeg}
			want, _ := geodesy.WGS84.Direct(from, azimuthDeg, 100e3)
			if off := geodesy.WGS84.Inverse(at, want).DistanceM; math.Abs(g.distanceM-400e3) > 1e-4 || off > 1e-4 {
				t.Errorf("from %v at %v°: 400 km measures %.6f m, and 100 km along it lies %.6f m off", from, azimuthDeg, g.distanceM, off)
			}
		}
	}
}
