package reports

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"farstation/pipeline"
)

// writtenPackage writes a run and returns its folder and its data package.
func writtenPackage(t *testing.T, inputs []pipeline.Input) (dir string, text []byte, p map[string]any) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "run")
	result := sampleResult()
	features, lines, alignments := kmlSample()
	result.Features, result.Manifest.Inputs = pipeline.GroupsOf(features), inputs
	result.Sightlines, result.Ranked, result.Alignments = pipeline.GroupsOf(lines), pipeline.GroupsOf(rankedOf(lines)), pipeline.GroupsOf(alignments)
	result.Shown = pipeline.ShownOf(lines, alignments)
	if err := WriteRun(t.Context(), dir, false, result, nil); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(dir, dataPackageFile))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &p); err != nil {
		t.Fatal(err)
	}
	return dir, text, p
}

func packageInputs() []pipeline.Input {
	return []pipeline.Input{
		{Path: "/somewhere/private/peaks.osm.pbf", Bytes: 5, SHA256: strings.Repeat("ab", 32), Licence: "ODbL 1.0", Attribution: "© OpenStreetMap contributors"},
		{Path: "hills.txt", Bytes: 7, SHA256: strings.Repeat("cd", 32), Licence: "CC BY 4.0"},
	}
}

// TestDataPackageRules holds the package to the rules of the Data Package standard 2.0 (datapackage.org/standard): required properties,
// the forms of names, paths and hashes, types of Table Schema, keys that exist.
func TestDataPackageRules(t *testing.T) {
	dir, text, p := writtenPackage(t, packageInputs())
	if p["$schema"] != "https://datapackage.org/profiles/2.0/datapackage.json" {
		t.Errorf("$schema is %v", p["$schema"])
	}
	if strings.Contains(string(text), "/somewhere") {
		t.Error("the package holds a path of the machine it was made on")
	}
	resources := p["resources"].([]any)
	if len(resources) != 7 {
		t.Errorf("%d resources, want every file but the two that describe them", len(resources))
	}
	tableTypes := []string{"string", "number", "integer", "boolean", "object", "array", "list", "datetime", "date", "time", "year", "yearmonth", "duration", "geopoint", "geojson", "any"}
	columns := map[string][]string{}
	for _, entry := range resources {
		r := entry.(map[string]any)
		name, path := r["name"].(string), r["path"].(string)
		if !regexp.MustCompile(`^[a-z0-9._-]+$`).MatchString(name) || strings.HasPrefix(path, "/") || strings.Contains(path, "..") {
			t.Errorf("resource name %q, path %q", name, path)
		}
		info, err := os.Stat(filepath.Join(dir, path))
		if err != nil || float64(info.Size()) != r["bytes"].(float64) {
			t.Errorf("%s: %v; the package says %v bytes", path, err, r["bytes"])
		}
		if !regexp.MustCompile(`^sha256:[0-9a-f]{64}$`).MatchString(r["hash"].(string)) {
			t.Errorf("%s: hash %v", path, r["hash"])
		}
		if (r["type"] == "table") != (r["schema"] != nil) {
			t.Errorf("%s: type %v with schema %v", path, r["type"], r["schema"] != nil)
		}
		schema, ok := r["schema"].(map[string]any)
		if !ok {
			continue
		}
		for _, f := range schema["fields"].([]any) {
			field := f.(map[string]any)
			if !slices.Contains(tableTypes, field["type"].(string)) {
				t.Errorf("%s: field %v is of type %v", path, field["name"], field["type"])
			}
			columns[name] = append(columns[name], field["name"].(string))
		}
	}
	for _, entry := range resources {
		schema, ok := entry.(map[string]any)["schema"].(map[string]any)
		if !ok {
			continue
		}
		name := entry.(map[string]any)["name"].(string)
		has := func(resource string, fields any) {
			for _, field := range fields.([]any) {
				if !slices.Contains(columns[resource], field.(string)) {
					t.Errorf("%s: a key names %s.%v, which is not there", name, resource, field)
				}
			}
		}
		if key, ok := schema["primaryKey"]; ok {
			has(name, key)
		}
		keys, _ := schema["foreignKeys"].([]any)
		for _, k := range keys {
			key := k.(map[string]any)
			has(name, key["fields"])
			reference := key["reference"].(map[string]any)
			has(reference["resource"].(string), reference["fields"])
		}
	}
}

// TestODbLBindsTheWhole: ODbL 1.0, section 4.4, "Share alike".
func TestODbLBindsTheWhole(t *testing.T) {
	for _, test := range []struct {
		name   string
		inputs []pipeline.Input
		want   []string
	}{
		{"a part under ODbL", packageInputs(), []string{"ODbL-1.0"}},
		{"no part under ODbL", packageInputs()[1:], []string{"CC-BY-4.0"}},
		{"nothing known", []pipeline.Input{{Licence: "unknown"}}, nil},
	} {
		var got []string
		for _, licence := range packageLicences(test.inputs) {
			got = append(got, licence.Name)
		}
		if !slices.Equal(got, test.want) {
			t.Errorf("%s: licences %v, want %v", test.name, got, test.want)
		}
	}
}

// ajvScript checks a document against the profile that the npm package datapackage carries: version 1 of the standard, which version 2
// keeps but for what it adds.
const ajvScript = `
const Ajv = require('ajv'), fs = require('fs'), path = require('path');
const folder = path.dirname(require.resolve('datapackage/lib/profiles/data-package.json'));
const schema = JSON.parse(fs.readFileSync(path.join(folder, 'data-package.json')));
delete schema.$schema;
const validate = new Ajv({strict: false, validateFormats: false}).compile(schema);
const good = validate(JSON.parse(fs.readFileSync(process.argv[1])));
console.log(good ? 'valid' : JSON.stringify(validate.errors.slice(0, 5)));
`

func TestDataPackageAgainstPublishedProfile(t *testing.T) {
	dir, _, p := writtenPackage(t, packageInputs())
	if out := runNode(t, "datapackage/lib/profiles/data-package.json", ajvScript, filepath.Join(dir, dataPackageFile)); out != "valid\n" {
		t.Errorf("the profile finds: %s", out)
	}
	delete(p, "resources")
	text, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	if out := runNode(t, "datapackage/lib/profiles/data-package.json", ajvScript, saved(t, dataPackageFile, text)); out == "valid\n" {
		t.Error("the profile finds nothing wrong with a package without resources")
	}
}

const hyparquetScript = `
(async () => {
  const { asyncBufferFromFile, parquetReadObjects } = await import(require.resolve('hyparquet').replace(/hyparquet\.js$/, 'node.js'));
  const { compressors } = await import(require.resolve('hyparquet-compressors'));
  for (const name of process.argv.slice(1)) {
    const rows = await parquetReadObjects({ file: await asyncBufferFromFile(name), compressors });
    const first = rows[0];
    console.log(JSON.stringify({ rows: rows.length, columns: Object.keys(first), geometry: first.geometry && (first.geometry.type || typeof first.geometry) }));
  }
})().catch((error) => { console.error(String(error.stack)); process.exit(1); });
`

// hyparquet is a reader of Parquet and GeoParquet that shares no code with ours or with DuckDB.
func TestHyparquetReadsTheTables(t *testing.T) {
	features, sightlines, alignments := savedTables(t)
	var columns []string
	for _, table := range Dictionary()[:3] {
		var names []string
		for _, c := range table.Columns {
			names = append(names, c.Name)
		}
		columns = append(columns, strings.Join(names, ","))
	}
	out := runNode(t, "hyparquet-compressors", hyparquetScript, features, sightlines, alignments)
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if len(lines) != 3 {
		t.Fatalf("hyparquet answers %q", out)
	}
	for i, want := range []string{"Point", "LineString", "MultiLineString"} {
		var got struct {
			Rows     int
			Columns  []string
			Geometry string
		}
		if err := json.Unmarshal([]byte(lines[i]), &got); err != nil {
			t.Fatal(err)
		}
		if got.Rows != 3 || strings.Join(got.Columns, ",") != columns[i] || got.Geometry != want {
			t.Errorf("file %d: hyparquet reads %d rows, geometry %s, columns\n%s\nwant 3 rows, %s,\n%s", i, got.Rows, got.Geometry, strings.Join(got.Columns, ","), want, columns[i])
		}
	}
}
