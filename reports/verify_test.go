package reports

import (
	"bytes"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"

	"farstation/geodesy"
	"farstation/pipeline"
)

// restate writes the sizes and hashes of a run's files into its run.json, so that only other rules can tell that a file was changed.
func restate(t *testing.T, dir string) {
	t.Helper()
	run, err := readRun(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range run.Files {
		written, err := writeFile(t.Context(), t.TempDir(), File{f.Name, func(w io.Writer) error {
			_, err := w.Write(readFile(t, filepath.Join(dir, f.Name)))
			return err
		}})
		if err != nil {
			t.Fatal(err)
		}
		run.Files[i] = written
	}
	text, err := json.Marshal(run)
	if err != nil {
		t.Fatal(err)
	}
	put(t, dir, manifestFile, text)
}

func put(t *testing.T, dir, name string, content []byte) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), content, 0o666); err != nil {
		t.Fatal(err)
	}
}

// parquetBytes writes rows as they are, without the checks of the project's own writer.
func parquetBytes[Row any](t *testing.T, rows []Row, geo string) []byte {
	t.Helper()
	var b bytes.Buffer
	writer := parquet.NewGenericWriter[Row](&b)
	if _, err := writer.Write(rows); err != nil {
		t.Fatal(err)
	}
	writer.SetKeyValueMetadata(geoKey, geo)
	if err := writer.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Every rule about files finds the fault that it is for, and passes a run without one.
func TestVerifyFiles(t *testing.T) {
	features := func(t *testing.T, dir string) (rows []featureFileRow, geo string) {
		file, closeFile, err := openTable(filepath.Join(dir, featuresFile))
		if err != nil {
			t.Fatal(err)
		}
		defer closeFile()
		geo, _ = file.Lookup(geoKey)
		var g geometries
		for _, f := range sampleFeatures() {
			at, box, err := mapPoint(latLonOf(f))
			if err != nil {
				t.Fatal(err)
			}
			encoded, err := g.add(at, box)
			if err != nil {
				t.Fatal(err)
			}
			rows = append(rows, featureFileRow{f, encoded, box})
		}
		return rows, geo
	}
	// remake writes features.parquet again with a change.
	remake := func(change func(rows []featureFileRow, geo string) string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			rows, geo := features(t, dir)
			geo = change(rows, geo)
			put(t, dir, featuresFile, parquetBytes(t, rows, geo))
			restate(t, dir)
		}
	}
	replaced := func(old, new string) func(*testing.T, string) {
		return remake(func(_ []featureFileRow, geo string) string {
			if !strings.Contains(geo, old) {
				t.Fatalf("metadata %s lacks %s", geo, old)
			}
			return strings.Replace(geo, old, new, 1)
		})
	}
	const names, hashes, schema, geo, ranked = "run.json lists the files", "every file has", "tables have the columns", "GeoParquet metadata", "ranked.csv, ranked.geojson"
	tests := []struct {
		fault, title string
		make         func(*testing.T, string)
		want         string // in the reason; empty for a rule that passes
	}{
		{"none", names, func(*testing.T, string) {}, ""},
		{"none", hashes, func(*testing.T, string) {}, ""},
		{"none", schema, func(*testing.T, string) {}, ""},
		{"none", geo, func(*testing.T, string) {}, ""},
		{"none but written anew", geo, remake(func(_ []featureFileRow, geo string) string { return geo }), ""},
		{"none", ranked, func(*testing.T, string) {}, ""},
		{"a file removed", names, func(t *testing.T, dir string) {
			if err := os.Remove(filepath.Join(dir, rankedCSVFile)); err != nil {
				t.Fatal(err)
			}
		}, "ranked.csv is missing"},
		{"a byte flipped", hashes, func(t *testing.T, dir string) {
			content := readFile(t, filepath.Join(dir, sightlinesFile))
			content[len(content)/2] ^= 1
			put(t, dir, sightlinesFile, content)
		}, "sightlines.parquet has"},
		{"a byte more", hashes, func(t *testing.T, dir string) {
			put(t, dir, rankedCSVFile, append(readFile(t, filepath.Join(dir, rankedCSVFile)), '\n'))
		}, "ranked.csv has"},
		{"a table of other columns", schema, func(t *testing.T, dir string) {
			put(t, dir, profilesFile, readFile(t, filepath.Join(dir, featuresFile)))
		}, "profiles.parquet: column 1 is feature_id"},
		{"a column that may be null", schema, func(t *testing.T, dir string) {
			type row struct {
				ObserverID  string   `parquet:"observer_id"`
				TargetID    string   `parquet:"target_id"`
				DistanceM   float64  `parquet:"distance_m"`
				GroundM     *float64 `parquet:"ground_m,optional"`
				UndulationM float64  `parquet:"undulation_m"`
				Source      string   `parquet:"source"`
				Missing     bool     `parquet:"missing"`
			}
			put(t, dir, profilesFile, parquetBytes(t, []row{{}}, ""))
		}, "column 4 is ground_m (double, null may be null)"},
		{"a column of another type", schema, func(t *testing.T, dir string) {
			type row struct {
				ObserverID string  `parquet:"observer_id"`
				TargetID   string  `parquet:"target_id"`
				DistanceM  float32 `parquet:"distance_m"`
			}
			put(t, dir, profilesFile, parquetBytes(t, []row{{}}, ""))
		}, "column 3 is distance_m (FLOAT"},
		{"a table that is no Parquet", schema, func(t *testing.T, dir string) { put(t, dir, profilesFile, []byte("not Parquet")) }, "read profiles.parquet"},
		{"another version", geo, replaced("1.1.0", "0.9.0"), `version "0.9.0"`},
		{"a type that no geometry has", geo, replaced(`"Point"`, `"Polygon"`), "a Point, the metadata has [Polygon]"},
		{"a box of the file that holds too little", geo, replaced(`"bbox":[`, `"bbox":[1`), "metadata has box"},
		{"no covering", geo, replaced(`"covering"`, `"hiding"`), "covering declared: false"},
		{"no metadata", geo, remake(func([]featureFileRow, string) string { return "" }), "geo metadata"},
		{"a box beside its geometry", geo, remake(func(rows []featureFileRow, geo string) string { rows[1].BBox.YMax = 1; return geo }), "row 2: box"},
		{"a geometry that is none", geo, remake(func(rows []featureFileRow, geo string) string { rows[1].Geometry = []byte{1, 2}; return geo }), "row 2: geometry"},
		{"a height changed in the list", ranked, func(t *testing.T, dir string) {
			put(t, dir, rankedCSVFile, bytes.Replace(readFile(t, filepath.Join(dir, rankedCSVFile)), []byte("0.98"), []byte("0.99"), 1))
			restate(t, dir)
		}, "ranked.csv differs from the tables in line 2"},
		{"a line lost from the map", ranked, func(t *testing.T, dir string) {
			put(t, dir, rankedKMLFile, bytes.Replace(readFile(t, filepath.Join(dir, rankedKMLFile)), []byte("<open>1</open>"), nil, 1))
		}, "ranked.kml differs"},
	}
	for _, test := range tests {
		dir := filepath.Join(t.TempDir(), "run")
		result := sampleResult()
		result.Manifest.Parameters = map[string]any{"features": []string{"none"}, "terrain": []any{map[string]any{"path": "none"}}}
		if err := WriteRun(t.Context(), dir, false, result, nil); err != nil {
			t.Fatal(err)
		}
		test.make(t, dir)
		v, err := Verify(t.Context(), dir, VerifyOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range v.Findings {
			if !strings.HasPrefix(f.Title, test.title) {
				continue
			}
			if want := map[bool]string{true: pipeline.Passed, false: pipeline.Failed}[test.want == ""]; f.Result != want || !strings.Contains(f.Reason, test.want) {
				t.Errorf("%s: %s: %s: %q, want %s with %q", test.fault, f.Result, f.Title, f.Reason, want, test.want)
			}
		}
		if v.Count(pipeline.Passed)+v.Count(pipeline.Failed)+v.Count(pipeline.Skipped) != len(v.Findings) {
			t.Errorf("%s: results do not add up: %+v", test.fault, v.Findings)
		}
	}
}

func latLonOf(f pipeline.FeatureRow) geodesy.LatLon {
	return geodesy.LatLon{LatDeg: f.LatitudeDeg, LonDeg: f.LongitudeDeg}
}

// What is read row by row is what is read at once.
func TestTablesOf(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "run")
	mustWriteRun(t, dir, false)
	tables := tablesOf(dir)
	want, err := ReadSightlines(filepath.Join(dir, sightlinesFile))
	if err != nil {
		t.Fatal(err)
	}
	i := 0
	for row, err := range tables.Sightlines {
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(*row, want[i]) {
			t.Errorf("row %d is %+v, want %+v", i, *row, want[i])
		}
		i++
	}
	profiles, err := ReadProfiles(filepath.Join(dir, profilesFile))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for p, err := range tables.Profiles {
		if err != nil || !reflect.DeepEqual(*p, profiles[n]) {
			t.Fatalf("profile %d is %+v, %v, want %+v", n, p, err, profiles[n])
		}
		n++
	}
	if i != len(want) || n != len(profiles) {
		t.Errorf("%d sightlines and %d profiles, want %d and %d", i, n, len(want), len(profiles))
	}
}
