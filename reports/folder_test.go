package reports

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// namesIn lists a folder.
func namesIn(t *testing.T, folder string) []string {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	names := []string{}
	for _, entry := range entries {
		names = append(names, entry.Name())
	}
	return names
}

func page(text string) File {
	return File{"report.html", func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	}}
}

func mustWriteRun(t *testing.T, dir string, replace bool, extra ...File) {
	t.Helper()
	if err := WriteRun(context.Background(), dir, replace, sampleResult(), extra); err != nil {
		t.Fatal(err)
	}
}

func TestWriteRun(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "new", "run") // the folder above is made as well
	mustWriteRun(t, dir, false, page("a page"))

	want := []string{"alignments.parquet", "datapackage.json", "features.parquet", "profiles.parquet", "ranked.csv", "ranked.geojson", "ranked.kml", "report.html", "run.json", "sightlines.parquet"}
	if got := namesIn(t, dir); !slices.Equal(got, want) {
		t.Errorf("the run holds %v, want %v", got, want)
	}
	if got := namesIn(t, filepath.Dir(dir)); !slices.Equal(got, []string{"run"}) {
		t.Errorf("beside the run stands %v", got)
	}
	var manifest struct {
		Version string `json:"farstation_version"`
		Files   []Written
	}
	if err := json.Unmarshal(readFile(t, filepath.Join(dir, "run.json")), &manifest); err != nil {
		t.Fatal(err)
	}
	if manifest.Version != "0.0.0" || len(manifest.Files) != len(want)-1 {
		t.Errorf("run.json says version %q and %d files", manifest.Version, len(manifest.Files))
	}
	for _, file := range manifest.Files {
		content := readFile(t, filepath.Join(dir, file.Name))
		sum := sha256.Sum256(content)
		if file.Bytes != int64(len(content)) || file.SHA256 != hex.EncodeToString(sum[:]) {
			t.Errorf("run.json says %+v; the file has %d bytes and SHA-256 %x", file, len(content), sum)
		}
	}
	rows, err := ReadSightlines(filepath.Join(dir, "sightlines.parquet"))
	if err != nil || len(rows) != 3 {
		t.Errorf("sightlines.parquet: %d rows, %v", len(rows), err)
	}
}

func TestManifest(t *testing.T) {
	write := func(b *bytes.Buffer) error {
		return WriteManifest(b, sampleResult().Manifest, []Written{{"a.parquet", 3, "00"}})
	}
	got := written(t, write)
	if start := "{\n  \"farstation_version\": \"0.0.0\",\n  \"parameters\": {\n    \"area\": null,\n    \"min_distance_km\": 30\n  },\n"; !bytes.HasPrefix(got, []byte(start)) {
		t.Errorf("run.json is\n%s\nwant it to start with\n%s", got, start)
	}
	if !bytes.Equal(got, written(t, write)) {
		t.Error("the same manifest gave other bytes")
	}
	var manifest map[string]any
	if err := json.Unmarshal(got, &manifest); err != nil {
		t.Fatal(err)
	}
	terrain, counts := manifest["terrain"].(map[string]any), manifest["counts"].(map[string]any)
	for name, value := range map[string]any{
		"inputs": manifest["inputs"], "rejected": manifest["rejected"], "stages": manifest["stages"],
		"missing_land_cells": terrain["missing_land_cells"], "unreadable": terrain["unreadable"],
	} {
		if list, ok := value.([]any); !ok || len(list) != 0 {
			t.Errorf("%s is %v, want an empty list", name, value)
		}
	}
	if verdicts, ok := counts["verdicts"].(map[string]any); !ok || len(verdicts) != 0 {
		t.Errorf("verdicts is %v, want an empty object", counts["verdicts"])
	}
	if want := []any{map[string]any{"name": "a.parquet", "bytes": 3.0, "sha256": "00"}}; !reflect.DeepEqual(manifest["files"], want) {
		t.Errorf("files is %v, want %v", manifest["files"], want)
	}
}

func TestCheckOut(t *testing.T) {
	parent := t.TempDir()
	folder := func(name, file, content string) string {
		dir := filepath.Join(parent, name)
		if err := os.MkdirAll(dir, 0o777); err != nil {
			t.Fatal(err)
		}
		if file != "" {
			if err := os.WriteFile(filepath.Join(dir, file), []byte(content), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		return dir
	}
	run := filepath.Join(parent, "run")
	mustWriteRun(t, run, false)
	runWithNotes := filepath.Join(parent, "run with notes")
	mustWriteRun(t, runWithNotes, false)
	folder("run with notes", "notes.txt", "mine")
	tests := []struct {
		name    string
		dir     string
		replace bool
		want    string // part of the error; empty for none
	}{
		{"does not exist", filepath.Join(parent, "new"), false, ""},
		{"does not exist, nor the folder above", filepath.Join(parent, "a", "b"), false, ""},
		{"an earlier run", run, false, "exists: name another, or replace the run that it holds with --replace"},
		{"an earlier run to replace", run, true, ""},
		{"an earlier run with a file of the user's", runWithNotes, true, "holds notes.txt, which is not part of the run"},
		{"an empty folder to replace", folder("empty", "", ""), true, "holds no run.json"},
		{"a folder of photographs to replace", folder("photographs", "one.jpg", "x"), true, "holds no run.json"},
		{"a run.json of another program", folder("other", "run.json", `{"version":"1"}`), true, "no farstation_version"},
		{"a run.json that is not JSON", folder("broken", "run.json", `farstation_version`), true, "no farstation_version"},
		{"a file", filepath.Join(folder("with a file", "f", ""), "f"), true, "is a file"},
		{"below a file", filepath.Join(parent, "with a file", "f", "run"), false, "not a directory"},
	}
	before := namesIn(t, parent)
	for _, test := range tests {
		err := CheckOut(test.dir, test.replace)
		if (err == nil) != (test.want == "") || (err != nil && !strings.Contains(err.Error(), test.want)) {
			t.Errorf("%s: CheckOut(%s, %v): error %v, want %q", test.name, test.dir, test.replace, err, test.want)
		}
		if err == nil {
			continue
		}
		if writeErr := WriteRun(context.Background(), test.dir, test.replace, sampleResult(), nil); writeErr == nil || writeErr.Error() != err.Error() {
			t.Errorf("%s: WriteRun: error %v, want that of CheckOut: %v", test.name, writeErr, err)
		}
	}
	if after := namesIn(t, parent); !slices.Equal(before, after) {
		t.Errorf("CheckOut left %v, before %v", after, before)
	}
	if got := string(readFile(t, filepath.Join(runWithNotes, "notes.txt"))); got != "mine" {
		t.Errorf("the user's file holds %q", got)
	}
}

func TestReplaceKeepsTheEarlierRunUntilTheNewIsComplete(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "run")
	mustWriteRun(t, dir, false, page("earlier"))
	earlier := func() string { return string(readFile(t, filepath.Join(dir, "report.html"))) }

	failing := File{"report.html", func(w io.Writer) error {
		if got := earlier(); got != "earlier" {
			t.Errorf("while the new run is written the earlier one holds %q", got)
		}
		if beside := namesIn(t, parent); len(beside) != 2 {
			t.Errorf("while the new run is written there stand %v, want the run and its part folder", beside)
		}
		return errors.New("disk full")
	}}
	err := WriteRun(context.Background(), dir, true, sampleResult(), []File{failing})
	if err == nil || !strings.HasSuffix(err.Error(), "write report.html: disk full") {
		t.Errorf("error %v, want that of the file", err)
	}
	if got := earlier(); got != "earlier" {
		t.Errorf("after a failed run the earlier one holds %q", got)
	}
	if got := namesIn(t, parent); !slices.Equal(got, []string{"run"}) {
		t.Errorf("a failed run left %v", got)
	}

	mustWriteRun(t, dir, true, page("new"))
	if got := earlier(); got != "new" {
		t.Errorf("after replacing the run holds %q", got)
	}
	if got := namesIn(t, parent); !slices.Equal(got, []string{"run"}) {
		t.Errorf("replacing left %v", got)
	}
}

func TestCancelledRunLeavesNothing(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	for name, extra := range map[string]File{
		"within a file": {"report.html", func(w io.Writer) error {
			cancel()
			_, err := io.WriteString(w, "half a page")
			return err
		}},
		"between files":      {"report.html", func(io.Writer) error { cancel(); return nil }},
		"before it is begun": page("never written"),
	} {
		parent := t.TempDir()
		if name != "before it is begun" {
			ctx, cancel = context.WithCancel(context.Background())
			defer cancel()
		} else {
			cancel()
		}
		err := WriteRun(ctx, filepath.Join(parent, "run"), false, sampleResult(), []File{extra})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("%s: error %v, want context.Canceled", name, err)
		}
		if left := namesIn(t, parent); len(left) != 0 {
			t.Errorf("%s: a cancelled run left %v", name, left)
		}
	}
}

func TestFileNamesArePlainAndOnce(t *testing.T) {
	for _, name := range []string{"", ".", "..", "a/b", "../run", "run.json", "features.parquet"} {
		parent := t.TempDir()
		err := WriteRun(context.Background(), filepath.Join(parent, "run"), false, sampleResult(), []File{{name, func(io.Writer) error { return nil }}})
		if err == nil {
			t.Errorf("an extra file called %q gives no error", name)
		}
		if left := namesIn(t, parent); len(left) != 0 {
			t.Errorf("an extra file called %q left %v", name, left)
		}
	}
}
