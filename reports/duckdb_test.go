package reports

import (
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"farstation/pipeline"
)

// duckdbScript answers every query of its arguments with a line of JSON: the rows as objects.
const duckdbScript = `
const { DuckDBInstance } = require('@duckdb/node-api');
(async () => {
  const connection = await (await DuckDBInstance.create(':memory:')).connect();
  for (const query of process.argv.slice(1)) {
    const reader = await connection.runAndReadAll(query);
    console.log(JSON.stringify(reader.getRowObjectsJson()));
  }
})().catch((error) => { console.error(String(error)); process.exit(1); });
`

// duckdb runs queries in DuckDB under node and returns the rows of each.
func duckdb(t *testing.T, queries ...string) [][]map[string]any {
	t.Helper()
	out := runNode(t, "@duckdb/node-api", duckdbScript, queries...)
	var results [][]map[string]any
	for line := range strings.Lines(out) {
		var rows []map[string]any
		if err := json.Unmarshal([]byte(line), &rows); err != nil {
			t.Fatal(err)
		}
		results = append(results, rows)
	}
	if len(results) != len(queries) {
		t.Fatalf("DuckDB answered %d of %d queries", len(results), len(queries))
	}
	return results
}

func TestDuckDBReadsTheTables(t *testing.T) {
	features, sightlines, alignments := savedTables(t)
	answers := duckdb(t,
		fmt.Sprintf("SELECT kind, count(*)::INTEGER AS n FROM '%s' GROUP BY kind ORDER BY kind", features),
		fmt.Sprintf("SELECT observer_id, target_id, distance_m FROM '%s' WHERE verdict = 'direct' ORDER BY distance_m DESC LIMIT 1", sightlines),
		fmt.Sprintf("SELECT near_id, evidence_sd FROM '%s' ORDER BY evidence_sd DESC LIMIT 2", alignments),
		fmt.Sprintf("SELECT bbox.xmin AS xmin, bbox.ymin AS ymin, bbox.xmax AS xmax, bbox.ymax AS ymax FROM '%s' WHERE target_id = 'csv:2'", sightlines),
		fmt.Sprintf("SELECT count(*)::INTEGER AS n FROM '%s' WHERE feature_id < 'csv:3'", features), // answered from statistics or rows alike
	)
	for i, want := range [][]map[string]any{
		{{"kind": "lighthouse", "n": 1.0}, {"kind": "peak", "n": 2.0}},
		{{"observer_id": "csv:9", "target_id": "csv:4", "distance_m": 308093.4}},
		{{"near_id": "csv:4", "evidence_sd": 9.0}, {"near_id": "csv:5", "evidence_sd": 6.0}},
		{{"xmin": 179.0, "ymin": 65.0, "xmax": -178.0, "ymax": 66.0}},
		{{"n": 2.0}},
	} {
		if !reflect.DeepEqual(answers[i], want) {
			t.Errorf("query %d: DuckDB answers %v, want %v", i, answers[i], want)
		}
	}
}

// Every value of every row, read by DuckDB, against the rows that were written; nulls are among them.
func TestDuckDBReadsEveryValue(t *testing.T) {
	features, sightlines, alignments := savedTables(t)
	paths := []string{features, sightlines, alignments}
	want := [][]byte{jsonLines(t, sampleFeatures()), jsonLines(t, sampleSightlines()), jsonLines(t, sampleAlignments())}
	var queries []string
	for _, path := range paths {
		queries = append(queries, fmt.Sprintf("SELECT * EXCLUDE (geometry, bbox) FROM '%s'", path))
	}
	for i, rows := range duckdb(t, queries...) {
		lines := slices.Collect(bytes.Lines(want[i]))
		if len(rows) != len(lines) {
			t.Errorf("%s: DuckDB reads %d rows, want %d", paths[i], len(rows), len(lines))
			continue
		}
		for n, line := range lines {
			var row map[string]any
			if err := json.Unmarshal(line, &row); err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(rows[n], row) {
				t.Errorf("%s: row %d: DuckDB reads\n%v\nwant\n%v", paths[i], n, rows[n], row)
			}
		}
	}
}

// Columns that are not marked as nullable hold no null, counted by DuckDB over several row groups.
func TestDuckDBCountsNoNulls(t *testing.T) {
	rows := make([]pipeline.Sightline, manyRows+10)
	for i := range rows {
		rows[i].ObserverID, rows[i].TargetID = "csv:1", fmt.Sprintf("csv:%07d", i)
		rows[i].TargetLatDeg = 1
	}
	path := saved(t, sightlinesFile, written(t, func(b *bytes.Buffer) error { return WriteSightlines(b, pipeline.GroupsOf(rows), 1) }))
	var counts []string
	var columns []Column
	for _, table := range Dictionary() {
		if table.File == sightlinesFile {
			columns = table.Columns
		}
	}
	for _, c := range columns {
		counts = append(counts, fmt.Sprintf(`count(*) FILTER (%s IS NULL)::INTEGER AS %s`, c.Name, c.Name))
	}
	answers := duckdb(t, fmt.Sprintf("SELECT count(*)::INTEGER AS all_rows, %s FROM '%s'", strings.Join(counts, ", "), path))
	if got := answers[0][0]["all_rows"]; got != float64(len(rows)) {
		t.Errorf("DuckDB counts %v rows, want %d", got, len(rows))
	}
	for _, c := range columns {
		want := 0.0
		if c.Nullable {
			want = float64(len(rows)) // the rows above leave every pointer nil
		}
		if got := answers[0][0][c.Name]; got != want {
			t.Errorf("%s: DuckDB counts %v nulls, want %v", c.Name, got, want)
		}
	}
}
