package reports

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/parquet-go/parquet-go"

	"farstation/pipeline"
)

var update = flag.Bool("update-rows", false, "write the golden files of decoded rows anew")

func readFile(t *testing.T, path string) []byte {
	t.Helper()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

func TestRowsComeBack(t *testing.T) {
	features, sightlines, alignments := savedTables(t)

	gotFeatures, err := ReadFeatures(features)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(sampleFeatures(), gotFeatures); diff != "" {
		t.Errorf("features differ (-written +read):\n%s", diff)
	}

	wantSightlines := sampleSightlines()
	for i := range wantSightlines {
		wantSightlines[i].Chunk = 0 // not kept in the file
	}
	gotSightlines, err := ReadSightlines(sightlines)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(wantSightlines, gotSightlines, cmpopts.IgnoreUnexported(pipeline.Sightline{})); diff != "" {
		t.Errorf("sightlines differ (-written +read):\n%s", diff)
	}

	gotAlignments, err := ReadAlignments(alignments)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(sampleAlignments(), gotAlignments, cmpopts.IgnoreUnexported(pipeline.Alignment{})); diff != "" {
		t.Errorf("alignments differ (-written +read):\n%s", diff)
	}

	profiles := saved(t, profilesFile, written(t, func(b *bytes.Buffer) error { return WriteProfiles(b, sampleProfiles()) }))
	gotProfiles, err := ReadProfiles(profiles)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(sampleProfiles(), gotProfiles); diff != "" {
		t.Errorf("profiles differ (-written +read):\n%s", diff)
	}

	golden(t, "features.jsonl", jsonLines(t, gotFeatures))
	golden(t, "sightlines.jsonl", jsonLines(t, gotSightlines))
	golden(t, "alignments.jsonl", jsonLines(t, gotAlignments))
}

// golden compares decoded rows with those in testdata; `go test ./reports -run TestRowsComeBack -update-rows` writes them anew.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll("testdata", 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if diff := cmp.Diff(strings.Split(string(readFile(t, path)), "\n"), strings.Split(string(got), "\n")); diff != "" {
		t.Errorf("%s differs (-golden +read):\n%s", path, diff)
	}
}

func TestSameRowsGiveSameBytes(t *testing.T) {
	for name, write := range map[string]func(*bytes.Buffer) error{
		featuresFile:   func(b *bytes.Buffer) error { return WriteFeatures(b, pipeline.GroupsOf(sampleFeatures()), 1) },
		sightlinesFile: func(b *bytes.Buffer) error { return WriteSightlines(b, pipeline.GroupsOf(sampleSightlines()), 1) },
		alignmentsFile: func(b *bytes.Buffer) error { return WriteAlignments(b, pipeline.GroupsOf(sampleAlignments()), 1) },
		profilesFile:   func(b *bytes.Buffer) error { return WriteProfiles(b, sampleProfiles()) },
		// Larger than a batch of rows and a page.
		"many features": func(b *bytes.Buffer) error { return WriteFeatures(b, pipeline.GroupsOf(manyFeatures(5000)), 1) },
	} {
		first := written(t, write)
		for range 3 {
			if !bytes.Equal(first, written(t, write)) {
				t.Errorf("%s: the same rows gave other bytes", name)
			}
		}
	}
}

// Nulls are counted on the raw values of the file, without the row types.
func TestNullWhereNil(t *testing.T) {
	features, sightlines, alignments := savedTables(t)
	for _, table := range Dictionary() {
		path, ok := map[string]string{featuresFile: features, sightlinesFile: sightlines, alignmentsFile: alignments}[table.File]
		if !ok {
			continue
		}
		file := openParquet(t, path)
		rows := make([]parquet.Row, 3)
		reader := file.RowGroups()[0].Rows()
		if n, err := reader.ReadRows(rows); n != 3 || (err != nil && err != io.EOF) {
			t.Fatalf("%s: read %d rows, %v", table.File, n, err)
		}
		for _, column := range table.Columns {
			if column.Type == "group" {
				continue
			}
			leaf, _ := file.Schema().Lookup(column.Name)
			for n, row := range rows {
				// fill leaves columns that may be null unset in row 1; ranks are set by the sample itself.
				want := column.Nullable && n == 1
				if table.File == sightlinesFile && column.Name == "rank" {
					want = n == 0
				}
				if got := row[leaf.ColumnIndex].IsNull(); got != want {
					t.Errorf("%s: row %d: %s null: %v, want %v", table.File, n, column.Name, got, want)
				}
			}
		}
		reader.Close()
	}
}

func TestOrderIsChecked(t *testing.T) {
	swapped := func(rows []pipeline.Sightline, i, j int) []pipeline.Sightline {
		rows[i], rows[j] = rows[j], rows[i]
		return rows
	}
	tests := []struct {
		name  string
		write func(io.Writer) error
		want  string
	}{
		{"feature after a greater one", func(w io.Writer) error {
			rows := sampleFeatures()
			slices.Reverse(rows)
			return WriteFeatures(w, pipeline.GroupsOf(rows), 1)
		}, "features.parquet: row 1, csv:2, is out of order after csv:3"},
		{"feature twice", func(w io.Writer) error {
			rows := sampleFeatures()
			rows[2].FeatureID = "csv:2"
			return WriteFeatures(w, pipeline.GroupsOf(rows), 1)
		}, "features.parquet: row 2, csv:2, stands there twice"},
		{"chunk after a later one", func(w io.Writer) error {
			return WriteSightlines(w, pipeline.GroupsOf(swapped(sampleSightlines(), 1, 2)), 1)
		},
			"sightlines.parquet: row 2, csv:9 → csv:4, is out of order after csv:1 → csv:2"},
		{"observer after a greater one of its chunk", func(w io.Writer) error {
			return WriteSightlines(w, pipeline.GroupsOf(swapped(sampleSightlines(), 0, 1)), 1)
		},
			"sightlines.parquet: row 1, csv:7 → csv:8, is out of order after csv:9 → csv:4"},
		{"sightline twice", func(w io.Writer) error {
			rows := sampleSightlines()
			return WriteSightlines(w, pipeline.GroupsOf([]pipeline.Sightline{rows[0], rows[0]}), 1)
		}, "sightlines.parquet: row 1, csv:7 → csv:8, stands there twice"},
		{"near top after a greater one", func(w io.Writer) error {
			rows := sampleAlignments()
			slices.Reverse(rows)
			return WriteAlignments(w, pipeline.GroupsOf(rows), 1)
		}, "alignments.parquet: row 1, csv:1 → csv:4, csv:2, is out of order after csv:1 → csv:5, csv:2"},
		{"alignment twice", func(w io.Writer) error {
			rows := sampleAlignments()
			return WriteAlignments(w, pipeline.GroupsOf([]pipeline.Alignment{rows[1], rows[1]}), 1)
		}, "alignments.parquet: row 1, csv:1 → csv:4, csv:2, stands there twice"},
	}
	for _, test := range tests {
		if err := test.write(io.Discard); err == nil || err.Error() != test.want {
			t.Errorf("%s: error %v, want %s", test.name, err, test.want)
		}
	}
}

func TestOnlyFiniteNumbers(t *testing.T) {
	rows := sampleSightlines()
	rows[1].CriticalK = math.Inf(-1)
	want := "sightlines.parquet: row 1, csv:9 → csv:4: critical_k is -Inf, which no column may hold"
	if err := WriteSightlines(io.Discard, pipeline.GroupsOf(rows), 1); err == nil || err.Error() != want {
		t.Errorf("error %v, want %s", err, want)
	}
	rows = sampleSightlines()
	rows[2].Chance = pointer(math.NaN())
	want = "sightlines.parquet: row 2, csv:1 → csv:2: chance is NaN, which no column may hold"
	if err := WriteSightlines(io.Discard, pipeline.GroupsOf(rows), 1); err == nil || err.Error() != want {
		t.Errorf("error %v, want %s", err, want)
	}
	rows = sampleSightlines()
	rows[0].TargetLatDeg = math.NaN()
	if err := WriteSightlines(io.Discard, pipeline.GroupsOf(rows), 1); err == nil || !strings.Contains(err.Error(), "row 0, csv:7 → csv:8: place NaN") {
		t.Errorf("error %v, want one that names row 0 and its place", err)
	}
}

func manyFeatures(n int) []pipeline.FeatureRow {
	rows := make([]pipeline.FeatureRow, n)
	for i := range rows {
		rows[i] = pipeline.FeatureRow{
			FeatureID: fmt.Sprintf("csv:%07d", i), Kind: []string{"peak", "mast"}[i%2], LatitudeDeg: float64(i%120) - 60, LongitudeDeg: float64(i % 170),
		}
	}
	return rows
}

// manyRows fill a group, as GroupsOf makes them.
const manyRows = 16 << 10

func TestFileLayout(t *testing.T) {
	file := openParquetBytes(t, written(t, func(b *bytes.Buffer) error {
		return WriteFeatures(b, pipeline.GroupsOf(manyFeatures(manyRows+1)), 1)
	}))
	var rows []int64
	for _, group := range file.Metadata().RowGroups {
		rows = append(rows, group.NumRows)
		if len(group.SortingColumns) != 1 || group.SortingColumns[0].ColumnIdx != 0 || group.SortingColumns[0].Descending {
			t.Errorf("sorting columns %+v, want the first column, ascending", group.SortingColumns)
		}
		for i, column := range group.Columns {
			name := strings.Join(column.MetaData.PathInSchema, ".")
			if codec := column.MetaData.Codec.String(); codec != "ZSTD" {
				t.Errorf("%s is compressed by %s, want ZSTD", name, codec)
			}
			if hasBounds := len(column.MetaData.Statistics.MaxValue) > 0; hasBounds != (name != geometryColumn && !empty(file, i)) {
				t.Errorf("%s: statistics with bounds: %v", name, hasBounds)
			}
		}
	}
	if !slices.Equal(rows, []int64{manyRows, 1}) {
		t.Errorf("row groups of %v rows, want %d and 1", rows, manyRows)
	}
	if got := file.Metadata().CreatedBy; got != createdBy {
		t.Errorf("created by %q, want %q", got, createdBy)
	}
}

// empty tells the columns that manyFeatures leaves empty or null, and which therefore have no bounds.
func empty(file *parquet.File, column int) bool {
	return slices.Contains([]string{"name", "other_names", "height_source", "doubts", "sources", "listed_height_m", "terrain_height_m"},
		file.Schema().Columns()[column][0])
}

// A row group that spans chunks is not sorted by observer, so it must not say that it is.
func TestSortingIsClaimedOnlyWhereTrue(t *testing.T) {
	for _, test := range []struct {
		name string
		rows []pipeline.Sightline
		want int
	}{
		{"two chunks, observers not in order", sampleSightlines(), 0},
		{"one chunk", sampleSightlines()[:2], 2},
	} {
		file := openParquetBytes(t, written(t, func(b *bytes.Buffer) error { return WriteSightlines(b, pipeline.GroupsOf(test.rows), 1) }))
		if got := len(file.Metadata().RowGroups[0].SortingColumns); got != test.want {
			t.Errorf("%s: %d sorting columns, want %d", test.name, got, test.want)
		}
	}
}

func TestReadRefusesAnotherTable(t *testing.T) {
	features, _, _ := savedTables(t)
	if _, err := ReadSightlines(features); err == nil || !strings.Contains(err.Error(), "column observer_id is missing") {
		t.Errorf("ReadSightlines(%s): error %v, want one that names the missing column", features, err)
	}
	whole := readFile(t, features)
	for name, spoilt := range map[string][]byte{
		"half a file": whole[:200], "an empty file": nil, "the magic alone": []byte("PAR1PAR1"), "no foot": []byte("PAR1\x00\x00\x00\x00PAR1"),
	} {
		path := saved(t, featuresFile, spoilt)
		if _, err := ReadFeatures(path); err == nil || !strings.Contains(err.Error(), filepath.Dir(path)) || !strings.Contains(err.Error(), featuresFile) {
			t.Errorf("ReadFeatures of %s: error %v, want one that names the file", name, err)
		}
	}
}

// TestFootBeyondTheFile: a foot that claims more than the file holds is not given the memory that it claims.
func TestFootBeyondTheFile(t *testing.T) {
	features, _, _ := savedTables(t)
	spoilt := readFile(t, features)
	binary.LittleEndian.PutUint32(spoilt[len(spoilt)-8:], math.MaxUint32)
	path := saved(t, featuresFile, spoilt)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := ReadFeatures(path)
	runtime.ReadMemStats(&after)
	if asked := after.TotalAlloc - before.TotalAlloc; err == nil || !strings.Contains(err.Error(), "foot") || asked > 1<<20 {
		t.Errorf("ReadFeatures: %v, after %d bytes of memory", err, asked)
	}
}

// TestGeoMetadata checks the keys that GeoParquet 1.1.0 (opengeospatial/geoparquet, tag v1.1.0) requires, and its rules for types,
// boxes and coverings.
func TestGeoMetadata(t *testing.T) {
	plain := sampleSightlines()[:2]
	covering := map[string]any{"bbox": map[string]any{
		"xmin": []any{"bbox", "xmin"}, "ymin": []any{"bbox", "ymin"}, "xmax": []any{"bbox", "xmax"}, "ymax": []any{"bbox", "ymax"},
	}}
	tests := []struct {
		name     string
		write    func(*bytes.Buffer) error
		types    []any
		bbox     []any
		covering any
	}{
		{"features", func(b *bytes.Buffer) error { return WriteFeatures(b, pipeline.GroupsOf(sampleFeatures()), 1) }, []any{"Point"}, []any{179.0, 65.0, -178.0, 66.0}, covering},
		{"no features", func(b *bytes.Buffer) error { return WriteFeatures(b, nil, 1) }, []any{"Point"}, nil, covering},
		{"lines", func(b *bytes.Buffer) error { return WriteSightlines(b, pipeline.GroupsOf(plain), 1) }, []any{"LineString"}, nil, covering},
		// A covering "does not apply to geometries that cross the antimeridian".
		{"lines, one across the date line", func(b *bytes.Buffer) error { return WriteSightlines(b, pipeline.GroupsOf(sampleSightlines()), 1) },
			[]any{"LineString", "MultiLineString"}, nil, nil},
		{"alignments across the date line", func(b *bytes.Buffer) error { return WriteAlignments(b, pipeline.GroupsOf(sampleAlignments()), 1) },
			[]any{"MultiLineString"}, []any{179.0, 65.0, -178.0, 66.0}, nil},
	}
	for _, test := range tests {
		file := openParquetBytes(t, written(t, test.write))
		text, ok := file.Lookup("geo")
		if !ok {
			t.Errorf("%s: no geo metadata", test.name)
			continue
		}
		var geo map[string]any
		if err := json.Unmarshal([]byte(text), &geo); err != nil {
			t.Fatal(err)
		}
		column := geo["columns"].(map[string]any)["geometry"].(map[string]any)
		if geo["version"] != "1.1.0" || geo["primary_column"] != "geometry" || column["encoding"] != "WKB" {
			t.Errorf("%s: geo metadata %s", test.name, text)
		}
		if _, given := column["crs"]; given {
			t.Errorf("%s: crs is given; left out it means OGC:CRS84, null would mean unknown", test.name)
		}
		if !reflect.DeepEqual(column["geometry_types"], test.types) {
			t.Errorf("%s: geometry_types %v, want %v", test.name, column["geometry_types"], test.types)
		}
		if test.bbox != nil && !reflect.DeepEqual(column["bbox"], test.bbox) {
			t.Errorf("%s: bbox %v, want %v", test.name, column["bbox"], test.bbox)
		}
		if !reflect.DeepEqual(column["covering"], test.covering) {
			t.Errorf("%s: covering %v, want %v", test.name, column["covering"], test.covering)
		}
		// The geometry is at the root in a BYTE_ARRAY, the box a group of four doubles in this order, repeated like the geometry.
		geometry, _ := file.Schema().Lookup("geometry")
		if kind := geometry.Node.Type().Kind(); kind != parquet.ByteArray || geometry.Node.Optional() {
			t.Errorf("%s: geometry is %v, optional %v", test.name, kind, geometry.Node.Optional())
		}
		for _, field := range file.Schema().Fields() {
			if field.Name() != "bbox" {
				continue
			}
			var got []string
			for _, side := range field.Fields() {
				got = append(got, side.Name()+" "+side.Type().Kind().String())
			}
			if !slices.Equal(got, []string{"xmin DOUBLE", "ymin DOUBLE", "xmax DOUBLE", "ymax DOUBLE"}) || field.Optional() {
				t.Errorf("%s: bbox holds %v, optional %v", test.name, got, field.Optional())
			}
		}
	}
}
