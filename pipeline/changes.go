package pipeline

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"

	"farstation/geodesy"
)

// How a line changed from one run to another.
const (
	LineAppeared       = "appeared"
	LineVanished       = "vanished"
	LineVerdictChanged = "verdict"
	LineRankChanged    = "rank"
)

// Change is one line that is not in the second run what it was in the first. Its tags are the data dictionary of changes.parquet.
type Change struct {
	Change          string   `json:"change" parquet:"change,dict" doc:"appeared, vanished, verdict (which changed) or rank (which alone did)"`
	ObserverID      string   `json:"observer_id" parquet:"observer_id" doc:"feature_id of the observer"`
	ObserverName    string   `json:"observer_name" parquet:"observer_name" doc:"name of the observer"`
	TargetID        string   `json:"target_id" parquet:"target_id" doc:"feature_id of the target"`
	TargetName      string   `json:"target_name" parquet:"target_name" doc:"name of the target"`
	VerdictBefore   *string  `json:"verdict_before" parquet:"verdict_before,optional" doc:"verdict in the first run; null where the line was not in it"`
	VerdictAfter    *string  `json:"verdict_after" parquet:"verdict_after,optional" doc:"verdict in the second run"`
	CriticalKBefore *float64 `json:"critical_k_before" parquet:"critical_k_before,optional" doc:"critical refraction in the first run"`
	CriticalKAfter  *float64 `json:"critical_k_after" parquet:"critical_k_after,optional" doc:"critical refraction in the second run"`
	RankBefore      *int32   `json:"rank_before" parquet:"rank_before,optional" doc:"rank in the first run"`
	RankAfter       *int32   `json:"rank_after" parquet:"rank_after,optional" doc:"rank in the second run"`
	Causes          string   `json:"causes" parquet:"causes" doc:"what changed that may have done it, separated by semicolons; none is known where it is empty"`
}

// Changes is what differs between two runs.
type Changes struct {
	// Parameters, Terrain and Features tell in words what went into the runs and differs: Features at most the first 100.
	Parameters   []string `json:"parameters"`
	Terrain      []string `json:"terrain"`
	Features     []string `json:"features"`
	FeatureCount int      `json:"feature_count"`
	// Counts counts lines by how they changed.
	Counts map[string]int `json:"counts"`
	Lines  []Change       `json:"lines"`
}

// Any tells whether anything differs.
func (c *Changes) Any() bool {
	return len(c.Parameters)+len(c.Terrain)+c.FeatureCount+len(c.Lines) > 0
}

// RunTables are the tables of a run that changes are found from.
type RunTables struct {
	Manifest   *Manifest
	Features   []FeatureRow
	Sightlines []Sightline
}

const (
	maxFeatureChanges = 100
	// unmovedM is how far a feature may lie from where it was without having moved, in metres.
	unmovedM = 0.01
)

// FindChanges compares two runs. Lines are matched by the ids of both ends and sorted by how they changed, then by rank, then by ids.
func FindChanges(before, after *RunTables) Changes {
	c := Changes{Counts: map[string]int{}}
	if err := sameParameters(before.Manifest, after.Manifest); err != nil {
		c.Parameters = []string{err.Error()}
	}
	c.Terrain = terrainChanges(before.Manifest, after.Manifest)
	features := c.featureChanges(before.Features, after.Features)

	type pair struct{ observer, target string }
	earlier := make(map[pair]*Sightline, len(before.Sightlines))
	for i := range before.Sightlines {
		s := &before.Sightlines[i]
		earlier[pair{s.ObserverID, s.TargetID}] = s
	}
	for i := range after.Sightlines {
		s := &after.Sightlines[i]
		at := pair{s.ObserverID, s.TargetID}
		was := earlier[at]
		delete(earlier, at)
		if kind := changeOf(was, s); kind != "" {
			c.add(kind, was, s, features)
		}
	}
	for _, was := range earlier {
		c.add(LineVanished, was, nil, features)
	}
	order := []string{LineAppeared, LineVanished, LineVerdictChanged, LineRankChanged}
	slices.SortFunc(c.Lines, func(a, b Change) int {
		return cmp.Or(cmp.Compare(slices.Index(order, a.Change), slices.Index(order, b.Change)), cmp.Compare(bestRank(&a), bestRank(&b)),
			cmp.Compare(a.ObserverID, b.ObserverID), cmp.Compare(a.TargetID, b.TargetID))
	})
	return c
}

func bestRank(c *Change) int32 {
	best := int32(math.MaxInt32)
	for _, rank := range []*int32{c.RankBefore, c.RankAfter} {
		if rank != nil {
			best = min(best, *rank)
		}
	}
	return best
}

// changeOf tells how a line changed; was is nil for a new one.
func changeOf(was, is *Sightline) string {
	switch {
	case was == nil:
		return LineAppeared
	case was.Verdict != is.Verdict:
		return LineVerdictChanged
	case !reflect.DeepEqual(was.Rank, is.Rank):
		return LineRankChanged
	}
	return ""
}

// add files a line; one of was and is may be nil.
func (c *Changes) add(kind string, was, is *Sightline, features map[string]string) {
	line := Change{Change: kind}
	if was != nil {
		verdict := string(was.Verdict)
		line.ObserverID, line.ObserverName, line.TargetID, line.TargetName = was.ObserverID, was.ObserverName, was.TargetID, was.TargetName
		line.VerdictBefore, line.CriticalKBefore, line.RankBefore = &verdict, &was.CriticalK, was.Rank
	}
	if is != nil {
		verdict := string(is.Verdict)
		line.ObserverID, line.ObserverName, line.TargetID, line.TargetName = is.ObserverID, is.ObserverName, is.TargetID, is.TargetName
		line.VerdictAfter, line.CriticalKAfter, line.RankAfter = &verdict, &is.CriticalK, is.Rank
	}
	line.Causes = strings.Join(c.causes(kind, was, is, features), "; ")
	c.Counts[kind]++
	c.Lines = append(c.Lines, line)
}

// causes lists what changed that bears on a line: its ends first; terrain and parameters where the line's own numbers changed too.
func (c *Changes) causes(kind string, was, is *Sightline, features map[string]string) []string {
	either := cmp.Or(was, is)
	var causes []string
	for _, end := range []struct{ word, id string }{{"observer", either.ObserverID}, {"target", either.TargetID}} {
		if what := features[end.id]; what != "" {
			causes = append(causes, end.word+" "+what)
		}
	}
	moved := was == nil || is == nil || !isSameNumber(was.CriticalK, is.CriticalK)
	if moved && len(c.Terrain) > 0 {
		causes = append(causes, "terrain replaced")
	}
	if len(c.Parameters) > 0 {
		causes = append(causes, "parameters")
	}
	if kind == LineRankChanged && !moved && len(causes) == 0 {
		causes = append(causes, "other lines, or an alignment of this one, score differently")
	}
	return causes
}

// isSameNumber allows for processors that differ in the last digits.
func isSameNumber(a, b float64) bool {
	return math.Abs(a-b) <= walkTolerance*math.Max(1, math.Abs(a))
}

// terrainChanges names elevation files that came, went or have another content, by their paths.
func terrainChanges(before, after *Manifest) []string {
	hashes := func(m *Manifest) map[string]string {
		files := map[string]string{}
		for i := range m.Inputs {
			if m.Inputs[i].IsTerrain() {
				files[m.Inputs[i].Path] = m.Inputs[i].SHA256
			}
		}
		return files
	}
	was, is := hashes(before), hashes(after)
	all := maps.Clone(was)
	maps.Copy(all, is)
	var changes []string
	for _, path := range slices.Sorted(maps.Keys(all)) {
		switch {
		case was[path] == "":
			changes = append(changes, path+" is new")
		case is[path] == "":
			changes = append(changes, path+" is gone")
		case was[path] != is[path]:
			changes = append(changes, path+" has another content")
		}
	}
	return changes
}

// featureChanges tells in words what happened to each feature, by id, and lists the first of them.
func (c *Changes) featureChanges(before, after []FeatureRow) map[string]string {
	changes := map[string]string{}
	names := map[string]string{}
	was := make(map[string]*FeatureRow, len(before))
	for i := range before {
		was[before[i].FeatureID], names[before[i].FeatureID] = &before[i], before[i].Name
		changes[before[i].FeatureID] = "gone"
	}
	for i := range after {
		f := &after[i]
		names[f.FeatureID] = f.Name
		if old := was[f.FeatureID]; old == nil {
			changes[f.FeatureID] = "new"
		} else if what := featureChange(old, f); what != "" {
			changes[f.FeatureID] = what
		} else {
			delete(changes, f.FeatureID)
		}
	}
	c.FeatureCount = len(changes)
	for _, id := range slices.Sorted(maps.Keys(changes)) {
		if len(c.Features) == maxFeatureChanges {
			break
		}
		c.Features = append(c.Features, fmt.Sprintf("%s (%s) %s", names[id], id, changes[id]))
	}
	return changes
}

func featureChange(was, is *FeatureRow) string {
	var changes []string
	apartM := geodesy.WGS84.Inverse(geodesy.LatLon{LatDeg: was.LatitudeDeg, LonDeg: was.LongitudeDeg}, geodesy.LatLon{LatDeg: is.LatitudeDeg, LonDeg: is.LongitudeDeg}).DistanceM
	if apartM > unmovedM {
		changes = append(changes, fmt.Sprintf("moved by %.0f m", apartM))
	}
	if was.Kind != is.Kind {
		changes = append(changes, fmt.Sprintf("was a %s and is a %s", was.Kind, is.Kind))
	}
	for _, height := range []struct {
		word    string
		was, is float64
	}{{"ground", was.GroundHeightM, is.GroundHeightM}, {"structure", was.StructureHeightM, is.StructureHeightM}, {"spread of the ground", was.GroundHeightSDM, is.GroundHeightSDM}} {
		if !isSameNumber(height.was, height.is) {
			changes = append(changes, fmt.Sprintf("%s changed from %.1f m to %.1f m", height.word, height.was, height.is))
		}
	}
	return strings.Join(changes, ", ")
}
