package reports

import (
	"bytes"
	"encoding/json"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"

	"farstation/pipeline"
)

func TestRowTagsAreComplete(t *testing.T) {
	snakeCase := regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)
	units := []string{"", "m", "deg", "arcmin", "sd", "km"}
	for _, row := range []reflect.Type{
		reflect.TypeFor[pipeline.FeatureRow](), reflect.TypeFor[pipeline.Sightline](), reflect.TypeFor[pipeline.Alignment](),
		reflect.TypeFor[profileRow](),
	} {
		seen := map[string]bool{geometryColumn: true, bboxColumn: true}
		for field := range row.Fields() {
			if !field.IsExported() {
				continue
			}
			tag, tagged := field.Tag.Lookup("parquet")
			if !tagged {
				t.Errorf("%s.%s has no parquet tag", row.Name(), field.Name)
			}
			if tag == "-" {
				continue
			}
			name, optional, _ := columnTag(field)
			if !snakeCase.MatchString(name) {
				t.Errorf("%s.%s: column %q is not in snake case", row.Name(), field.Name, name)
			}
			if seen[name] {
				t.Errorf("%s.%s: column %q stands there twice", row.Name(), field.Name, name)
			}
			seen[name] = true
			unit, given := field.Tag.Lookup("unit")
			if !given || !slices.Contains(units, unit) {
				t.Errorf("%s.%s: unit %q (given: %v), want one of %q", row.Name(), field.Name, unit, given, units)
			}
			for _, suffix := range []string{"m", "deg", "arcmin"} {
				if strings.HasSuffix(name, "_"+suffix) && unit != suffix {
					t.Errorf("%s.%s: column %s has unit %q", row.Name(), field.Name, name, unit)
				}
			}
			if strings.TrimSpace(field.Tag.Get("doc")) == "" {
				t.Errorf("%s.%s: column %s has no meaning", row.Name(), field.Name, name)
			}
			if isPointer := field.Type.Kind() == reflect.Pointer; isPointer != optional {
				t.Errorf("%s.%s: column %s: optional is %v, pointer is %v", row.Name(), field.Name, name, optional, isPointer)
			}
		}
	}
}

func TestDictionaryAgreesWithFiles(t *testing.T) {
	features, sightlines, alignments := savedTables(t)
	profiles := saved(t, profilesFile, written(t, func(b *bytes.Buffer) error { return WriteProfiles(b, sampleProfiles()) }))
	paths := map[string]string{featuresFile: features, sightlinesFile: sightlines, alignmentsFile: alignments, profilesFile: profiles}
	kinds := map[string]string{"BYTE_ARRAY": "string", "DOUBLE": "double", "INT32": "int32", "BOOLEAN": "boolean"}
	checked := 0
	for _, table := range Dictionary() {
		path, ok := paths[table.File]
		if !ok {
			continue
		}
		checked++
		var got, want []Column
		for _, c := range table.Columns {
			want = append(want, Column{Name: c.Name, Type: c.Type, Nullable: c.Nullable})
		}
		for _, field := range openParquet(t, path).Schema().Fields() {
			kind := "group"
			if field.Leaf() {
				kind = kinds[field.Type().Kind().String()]
				if kind == "string" && field.Type().LogicalType() == nil {
					kind = "binary"
				}
			}
			got = append(got, Column{Name: field.Name(), Type: kind, Nullable: field.Optional()})
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s has columns\n%v\nthe dictionary says\n%v", table.File, got, want)
		}
	}
	if checked != len(paths) {
		t.Errorf("the dictionary explains %d of %d files", checked, len(paths))
	}
}

func TestRankedColumnsExist(t *testing.T) {
	for i, column := range rankedColumns() {
		if column.Name != rankedColumnNames()[i] || column.Meaning == "" {
			t.Errorf("ranked column %s has no field of that name with a meaning", rankedColumnNames()[i])
		}
	}
	if first := rankedColumnNames()[0]; first != "rank" {
		t.Errorf("the first ranked column is %s, want rank", first)
	}
}

func TestSchemaPrinters(t *testing.T) {
	tables := []Table{{
		File: "things.parquet", Meaning: "things", SortedBy: []string{"id", "size_m"},
		Columns: []Column{{Name: "id", Type: "string", Meaning: "names, separated by |"}, {Name: "size_m", Type: "double", Unit: "m", Nullable: true, Meaning: "size"}},
	}}
	doubts := []Doubt{{Code: "odd", Meaning: "looks odd"}}

	text := string(written(t, func(b *bytes.Buffer) error { return WriteSchemaText(b, tables, doubts) }))
	want := `things.parquet: things
sorted by id, size_m

  column  type    unit  null         meaning
  id      string  –     never        names, separated by |
  size_m  double  m     may be null  size

doubts: codes of the doubts columns

  code  meaning
  odd   looks odd
`
	if text != want {
		t.Errorf("WriteSchemaText:\n%s\nwant:\n%s", text, want)
	}

	markdown := string(written(t, func(b *bytes.Buffer) error { return WriteSchemaMarkdown(b, tables, doubts) }))
	for _, line := range []string{
		"## things.parquet", "things. Sorted by id, size_m.", `| ` + "`id`" + ` | string |  | never | names, separated by \| |`,
		"| `size_m` | double | m | may be null | size |", "| `odd` | looks odd |",
	} {
		if !slices.Contains(strings.Split(markdown, "\n"), line) {
			t.Errorf("WriteSchemaMarkdown lacks the line %q:\n%s", line, markdown)
		}
	}

	var back struct {
		Tables []Table
		Doubts []Doubt
	}
	if err := json.Unmarshal(written(t, func(b *bytes.Buffer) error { return WriteSchemaJSON(b, tables, doubts) }), &back); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(back.Tables, tables) || !slices.Equal(back.Doubts, doubts) {
		t.Errorf("WriteSchemaJSON read back: %+v", back)
	}
}

func openParquet(t *testing.T, path string) *parquet.File {
	t.Helper()
	return openParquetBytes(t, readFile(t, path))
}

func openParquetBytes(t *testing.T, content []byte) *parquet.File {
	t.Helper()
	file, err := parquet.OpenFile(bytes.NewReader(content), int64(len(content)))
	if err != nil {
		t.Fatal(err)
	}
	return file
}
