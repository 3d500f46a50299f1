package pipeline

import (
	"slices"
	"testing"
)

func TestFindChanges(t *testing.T) {
	rank := func(n int32) *int32 { return &n }
	feature := func(id string, latDeg, groundM float64) FeatureRow {
		return FeatureRow{FeatureID: id, Name: "Name of " + id, Kind: "peak", LatitudeDeg: latDeg, GroundHeightM: groundM}
	}
	line := func(observer, target string, k float64, verdict Verdict, rank *int32) Sightline {
		return Sightline{ObserverID: observer, TargetID: target, CriticalK: k, Verdict: verdict, Rank: rank}
	}
	manifest := func(hash string) *Manifest {
		return &Manifest{Version: "1", Parameters: map[string]any{"k": 0.143}, Inputs: []Input{{Path: "a.hgt", Format: "hgt", SHA256: hash}}}
	}
	before := &RunTables{
		Manifest: manifest("00"), Features: []FeatureRow{feature("a", 1, 100), feature("b", 2, 200), feature("c", 3, 300), feature("d", 4, 400)},
		Sightlines: []Sightline{
			line("a", "b", 0.1, Refracted, rank(1)), line("a", "c", -0.1, Direct, rank(2)), line("a", "d", -0.2, Direct, rank(3)), line("b", "c", -0.3, Direct, nil),
		},
	}
	same := *before
	if changes := FindChanges(before, &same); changes.Any() {
		t.Errorf("a run differs from itself: %+v", changes)
	}
	after := &RunTables{
		Manifest: manifest("00"), Features: []FeatureRow{feature("a", 1, 100), feature("b", 2, 230), feature("c", 3.001, 300), feature("e", 5, 500)},
		Sightlines: []Sightline{
			line("a", "b", -0.1, Direct, rank(1)), line("a", "c", -0.1, Direct, rank(3)), line("a", "e", -0.2, Direct, rank(2)), line("b", "c", -0.3, Direct, nil),
		},
	}
	changes := FindChanges(before, after)
	type row struct{ change, observer, target, causes string }
	var got []row
	for _, c := range changes.Lines {
		got = append(got, row{c.Change, c.ObserverID, c.TargetID, c.Causes})
	}
	// 0.001° of latitude at 3° is 110.6 m on WGS84 (a degree there has 110.58 km: M of the ellipsoid).
	want := []row{
		{LineAppeared, "a", "e", "target new"}, {LineVanished, "a", "d", "target gone"}, {LineVerdictChanged, "a", "b", "target ground changed from 200.0 m to 230.0 m"},
		{LineRankChanged, "a", "c", "target moved by 111 m"},
	}
	if !slices.Equal(got, want) {
		t.Errorf("changes\n%v\nwant\n%v", got, want)
	}
	if changes.FeatureCount != 4 || len(changes.Parameters)+len(changes.Terrain) != 0 {
		t.Errorf("%d features, parameters %q, terrain %q", changes.FeatureCount, changes.Parameters, changes.Terrain)
	}

	// Terrain of another content is a cause where the line's own numbers changed; a rank alone is put down to other lines.
	replaced := &RunTables{Manifest: manifest("11"), Features: before.Features, Sightlines: slices.Clone(before.Sightlines)}
	replaced.Sightlines[1].CriticalK, replaced.Sightlines[1].Verdict = 0.2, Looming
	replaced.Sightlines[2].Rank = rank(2)
	replaced.Manifest.Parameters = map[string]any{"k": 0.143}
	changes = FindChanges(before, replaced)
	if len(changes.Lines) != 2 || changes.Lines[0].Causes != "terrain replaced" || changes.Lines[1].Causes != "other lines, or an alignment of this one, score differently" || len(changes.Terrain) != 1 {
		t.Errorf("%+v", changes)
	}
}
