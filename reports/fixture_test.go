package reports

import (
	"bytes"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"farstation/pipeline"
)

// fill sets every column of a row to a value of its own: numbers to row·1000 and a part that the name gives, texts to the column's name and the row.
// Columns that may be null hold zero in row 0, null in row 1, values from row 2 on.
func fill(row any, n int) {
	v := reflect.ValueOf(row).Elem()
	for i := range v.NumField() {
		field := v.Type().Field(i)
		name, optional, ok := columnTag(field)
		if !ok {
			continue
		}
		target := v.Field(i)
		if optional {
			if n == 1 {
				continue
			}
			target.Set(reflect.New(field.Type.Elem()))
			target = target.Elem()
			if n == 0 {
				continue
			}
		}
		sum := fnv.New32a()
		sum.Write([]byte(name))
		number := n*1000 + int(sum.Sum32()%1000)
		switch target.Kind() {
		case reflect.Float64:
			target.SetFloat(float64(number) + 0.25)
		case reflect.Int32:
			target.SetInt(int64(number))
		case reflect.String:
			target.SetString(fmt.Sprintf("%s %d", name, n))
		case reflect.Bool:
			target.SetBool(n%2 == 0)
		}
	}
}

func pointer[T any](v T) *T { return &v }

// sampleFeatures are invented. The third one's place is on the date line.
func sampleFeatures() []pipeline.FeatureRow {
	places := []struct {
		id, name, kind string
		latDeg, lonDeg float64
	}{
		{"csv:1", "Harrow Stack", "peak", 65, 179},
		{"csv:2", "=Cinder Head", "peak", 66, -178},
		{"csv:3", "Quern Light", "lighthouse", 65.5, 180},
	}
	rows := make([]pipeline.FeatureRow, len(places))
	for i, p := range places {
		fill(&rows[i], i)
		rows[i].FeatureID, rows[i].Name, rows[i].Kind, rows[i].LatitudeDeg, rows[i].LongitudeDeg = p.id, p.name, p.kind, p.latDeg, p.lonDeg
	}
	return rows
}

// sampleSightlines are invented: a plain line, one along 80° N, one across the date line, sorted by chunk first. The last two have
// a rank, in the other order.
func sampleSightlines() []pipeline.Sightline {
	lines := []struct {
		observer, target               string
		chunk                          int32
		fromLat, fromLon, toLat, toLon float64
		distanceM                      float64
		verdict                        pipeline.Verdict
		rank                           *int32
	}{
		{"csv:7", "csv:8", 0, 40, -1, 40.1, 0.5, 128_000, pipeline.Refracted, nil},
		{"csv:9", "csv:4", 0, 79.5, 15, 80.4, 30, 308_093.4, pipeline.Direct, pointer[int32](2)},
		{"csv:1", "csv:2", 1, 65, 179, 66, -178, 178_066.1, pipeline.Direct, pointer[int32](1)},
	}
	rows := make([]pipeline.Sightline, len(lines))
	for i, l := range lines {
		fill(&rows[i], i)
		r := &rows[i]
		r.ObserverID, r.TargetID, r.Chunk, r.DistanceM, r.Verdict, r.Rank = l.observer, l.target, l.chunk, l.distanceM, l.verdict, l.rank
		r.ObserverLatDeg, r.ObserverLonDeg, r.TargetLatDeg, r.TargetLonDeg = l.fromLat, l.fromLon, l.toLat, l.toLon
	}
	rows[2].Chance = pointer(0.98)
	rows[2].ObserverName, rows[2].TargetName = `Harrow "Old" Stack`, "=Cinder Head"
	return rows
}

// sampleAlignments are invented.
func sampleAlignments() []pipeline.Alignment {
	rows := make([]pipeline.Alignment, 3)
	for i := range rows {
		fill(&rows[i], i)
		r := &rows[i]
		r.ObserverID, r.NearID, r.FarID, r.Case = "csv:1", fmt.Sprintf("csv:%d", 3+i), "csv:2", pipeline.BothInView
		r.ObserverLatDeg, r.ObserverLonDeg, r.FarLatDeg, r.FarLonDeg = 66, -178, 65, 179
		r.EvidenceSD = []float64{3, 9, 6}[i]
	}
	return rows
}

func sampleProfiles() []pipeline.Profile {
	return []pipeline.Profile{
		{ObserverID: "csv:1", TargetID: "csv:2", Samples: []pipeline.ProfileSample{
			{DistanceM: 0, GroundM: 412, UndulationM: 8.5, Source: "N65E179.hgt"}, {DistanceM: 90, GroundM: 0, UndulationM: 8.5, Source: "sea"},
		}},
		{ObserverID: "csv:9", TargetID: "csv:4", Samples: []pipeline.ProfileSample{{DistanceM: 0, GroundM: -3, Missing: true}}},
	}
}

func sampleResult() *pipeline.Result {
	return &pipeline.Result{
		Features: pipeline.GroupsOf(sampleFeatures()), Sightlines: pipeline.GroupsOf(sampleSightlines()), Ranked: pipeline.GroupsOf(rankedOf(sampleSightlines())),
		Alignments: pipeline.GroupsOf(sampleAlignments()), Shown: pipeline.ShownOf(sampleSightlines(), sampleAlignments()), Profiles: sampleProfiles(),
		Manifest: pipeline.Manifest{
			Version:    "0.0.0",
			Parameters: map[string]any{"min_distance_km": 30.0, "area": nil},
			Started:    time.Date(2001, 2, 3, 4, 5, 6, 0, time.UTC),
			Finished:   time.Date(2001, 2, 3, 4, 5, 9, 0, time.UTC),
		},
	}
}

// rankedOf returns the lines that have a rank, best first.
func rankedOf(lines []pipeline.Sightline) []pipeline.Sightline {
	shown := pipeline.ShownOf(lines, nil)
	return shown.Sightlines[:shown.Ranked]
}

// recount makes the counts of what is shown fit its rows, as if there were no others.
func recount(s *pipeline.Shown) {
	s.Ranked, s.RankedAlignments, s.Verdicts = 0, 0, map[pipeline.Verdict]int{}
	for i := range s.Sightlines {
		s.Verdicts[s.Sightlines[i].Verdict]++
		if s.Sightlines[i].Rank != nil {
			s.Ranked++
		}
	}
	for i := range s.Alignments {
		if s.Alignments[i].Rank != nil {
			s.RankedAlignments++
		}
	}
}

// written returns what a writer writes.
func written(t *testing.T, write func(*bytes.Buffer) error) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// saved writes bytes to a file of the test's own folder.
func saved(t testing.TB, name string, content []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, content, 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

// savedTables writes the three tables of the sample to files.
func savedTables(t *testing.T) (features, sightlines, alignments string) {
	t.Helper()
	features = saved(t, featuresFile, written(t, func(b *bytes.Buffer) error { return WriteFeatures(b, pipeline.GroupsOf(sampleFeatures()), 1) }))
	sightlines = saved(t, sightlinesFile, written(t, func(b *bytes.Buffer) error { return WriteSightlines(b, pipeline.GroupsOf(sampleSightlines()), 1) }))
	alignments = saved(t, alignmentsFile, written(t, func(b *bytes.Buffer) error { return WriteAlignments(b, pipeline.GroupsOf(sampleAlignments()), 1) }))
	return features, sightlines, alignments
}

// jsonLines returns rows as one JSON object a line, columns in their order.
func jsonLines[Row any](t *testing.T, rows []Row) []byte {
	t.Helper()
	var b bytes.Buffer
	for i := range rows {
		v := reflect.ValueOf(&rows[i]).Elem()
		separator := "{"
		for f := range v.NumField() {
			name, _, ok := columnTag(v.Type().Field(f))
			if !ok {
				continue
			}
			text, err := json.Marshal(v.Field(f).Interface())
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&b, "%s%q:%s", separator, name, text)
			separator = ","
		}
		b.WriteString("}\n")
	}
	return b.Bytes()
}
