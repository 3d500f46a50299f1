package reports

import (
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"strings"
	"text/tabwriter"

	"farstation/pipeline"
)

// Column explains one column of a table.
type Column struct {
	Name string `json:"name"`
	// Type is string, double, int32, boolean, binary or group.
	Type string `json:"type"`
	// Unit is m, deg, arcmin, sd (standard deviations), or empty for text and pure numbers.
	Unit     string `json:"unit"`
	Nullable bool   `json:"nullable"`
	Meaning  string `json:"meaning"`
}

// Table explains one file of a run.
type Table struct {
	File    string `json:"file"`
	Meaning string `json:"meaning"`
	// SortedBy says how rows are ordered, in words where a key is not a column.
	SortedBy []string `json:"sorted_by"`
	Columns  []Column `json:"columns"`
}

// Doubt is one code of the doubts columns with its meaning.
type Doubt = struct{ Code, Meaning string }

// Dictionary returns the tables of a run with every column, read off the row types themselves. Units and meanings stand in the
// struct tags beside the fields, so the dictionary cannot differ from what is written.
func Dictionary() []Table {
	return []Table{
		{
			File:     featuresFile,
			Meaning:  "the features that were used, each once",
			SortedBy: []string{"feature_id"},
			Columns:  append(columnsOf(reflect.TypeFor[pipeline.FeatureRow]()), geometryColumns("the feature's place as used, a point")...),
		},
		{
			File:     sightlinesFile,
			Meaning:  "one row per directed line from an observer's eye to the top of a target",
			SortedBy: []string{"the observer's chunk along the Hilbert curve", "observer_id", "target_id"},
			Columns:  append(columnsOf(reflect.TypeFor[pipeline.Sightline]()), geometryColumns("the geodesic from observer to target"+lineDoc)...),
		},
		{
			File:     alignmentsFile,
			Meaning:  "one row per near top and far top within a small horizontal angle of each other, from one observer",
			SortedBy: []string{"the observer's chunk along the Hilbert curve", "observer_id", "near_id", "far_id", "case"},
			Columns:  append(columnsOf(reflect.TypeFor[pipeline.Alignment]()), geometryColumns("the geodesic from observer to far top"+lineDoc)...),
		},
		{
			File:     profilesFile,
			Meaning:  "the ground along the lines that the report draws",
			SortedBy: []string{"rank of the line", "distance_m"},
			Columns:  columnsOf(reflect.TypeFor[profileRow]()),
		},
		{
			File: rankedCSVFile,
			Meaning: "the ranked sightlines as text: comma-separated, lines end in CRLF, decimal point; degrees to 7 decimals, metres to 1, minutes of arc " +
				"to 3, standard deviations to 2, other numbers to 4; null is an empty cell; text that starts with = + - @, tab or carriage return has an " +
				"apostrophe before it, so that no spreadsheet takes it for a formula. ranked.geojson has the same columns as properties, without the apostrophe",
			SortedBy: []string{"rank"},
			Columns:  rankedColumns(),
		},
	}
}

// lineDoc completes the meaning of line geometries.
const lineDoc = ": both ends and points at most 50 km apart, cut in two (multi-line) where it crosses 180° of longitude"

// geometryColumns are the columns that the GeoParquet files add to their rows.
func geometryColumns(meaning string) []Column {
	return []Column{
		{Name: geometryColumn, Type: "binary", Meaning: meaning + "; well-known binary, longitude and latitude on WGS84"},
		{Name: bboxColumn, Type: "group", Unit: "deg", Meaning: "box around the geometry: xmin (west), ymin (south), xmax (east), ymax (north), each a double; " +
			"xmin > xmax where the geometry crosses 180° of longitude"},
	}
}

// columnsOf reads the columns off a row type's tags, in the order of its fields.
func columnsOf(row reflect.Type) []Column {
	var columns []Column
	for field := range row.Fields() {
		name, optional, ok := columnTag(field)
		if !ok {
			continue
		}
		columns = append(columns, Column{
			Name: name, Type: columnType(field.Type), Unit: field.Tag.Get("unit"), Nullable: optional, Meaning: field.Tag.Get("doc"),
		})
	}
	return columns
}

// columnTag returns the column that a field is written to; ok is false for fields that are not columns.
func columnTag(field reflect.StructField) (name string, optional, ok bool) {
	name, options, _ := strings.Cut(field.Tag.Get("parquet"), ",")
	if name == "" || name == "-" {
		return "", false, false
	}
	for option := range strings.SplitSeq(options, ",") {
		optional = optional || option == "optional"
	}
	return name, optional, true
}

func columnType(t reflect.Type) string {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.Float64:
		return "double"
	case reflect.Bool:
		return "boolean"
	default:
		return t.Kind().String() // string and int32 are called the same in Parquet
	}
}

// WriteSchemaText prints tables and doubt codes in aligned columns.
func WriteSchemaText(w io.Writer, tables []Table, doubts []Doubt) error {
	out := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	for _, t := range tables {
		fmt.Fprintf(out, "%s: %s\n", t.File, t.Meaning)
		fmt.Fprintf(out, "sorted by %s\n\n", strings.Join(t.SortedBy, ", "))
		fmt.Fprintln(out, "  column\ttype\tunit\tnull\tmeaning")
		for _, c := range t.Columns {
			fmt.Fprintf(out, "  %s\t%s\t%s\t%s\t%s\n", c.Name, c.Type, orDash(c.Unit), nullWord(c.Nullable), c.Meaning)
		}
		fmt.Fprintln(out)
	}
	fmt.Fprint(out, "doubts: codes of the doubts columns\n\n  code\tmeaning\n")
	for _, d := range doubts {
		fmt.Fprintf(out, "  %s\t%s\n", d.Code, d.Meaning)
	}
	return out.Flush()
}

// WriteSchemaMarkdown prints tables and doubt codes as Markdown.
func WriteSchemaMarkdown(w io.Writer, tables []Table, doubts []Doubt) error {
	var b strings.Builder
	cell := strings.NewReplacer("|", `\|`, "\n", " ")
	for _, t := range tables {
		fmt.Fprintf(&b, "## %s\n\n%s. Sorted by %s.\n\n", t.File, t.Meaning, strings.Join(t.SortedBy, ", "))
		b.WriteString("| column | type | unit | null | meaning |\n| --- | --- | --- | --- | --- |\n")
		for _, c := range t.Columns {
			fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s |\n", c.Name, c.Type, c.Unit, nullWord(c.Nullable), cell.Replace(c.Meaning))
		}
		b.WriteString("\n")
	}
	b.WriteString("## doubts\n\nCodes of the doubts columns.\n\n| code | meaning |\n| --- | --- |\n")
	for _, d := range doubts {
		fmt.Fprintf(&b, "| `%s` | %s |\n", d.Code, cell.Replace(d.Meaning))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// WriteSchemaJSON prints {"tables": […], "doubts": […]}, indented.
func WriteSchemaJSON(w io.Writer, tables []Table, doubts []Doubt) error {
	type codeMeaning struct {
		Code    string `json:"code"`
		Meaning string `json:"meaning"`
	}
	listed := make([]codeMeaning, len(doubts))
	for i, d := range doubts {
		listed[i] = codeMeaning(d)
	}
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(struct {
		Tables []Table       `json:"tables"`
		Doubts []codeMeaning `json:"doubts"`
	}{tables, listed})
}

func nullWord(nullable bool) string {
	if nullable {
		return "may be null"
	}
	return "never"
}

func orDash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}
