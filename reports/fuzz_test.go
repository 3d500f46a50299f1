package reports

import (
	"os"
	"path/filepath"
	"testing"

	"farstation/pipeline"
)

// A table of a stranger's run gives its rows or an error, whatever was done to its bytes.
func FuzzReadTable(f *testing.F) {
	result := sampleResult()
	for _, file := range tableFiles(result) {
		if filepath.Ext(file.Name) != ".parquet" {
			continue
		}
		var whole limitedBuffer
		if err := file.Write(&whole); err != nil {
			f.Fatal(err)
		}
		f.Add(whole.content)
	}
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, content []byte) {
		path := filepath.Join(dir, "table.parquet")
		if err := os.WriteFile(path, content, 0o644); err != nil {
			t.Fatal(err)
		}
		file, closeFile, err := openTable(path)
		if err != nil {
			return
		}
		defer closeFile()
		readAll(newBatches[pipeline.Sightline](file))
		readAll(newBatches[pipeline.FeatureRow](file))
		readAll(newBatches[geometryRow](file))
	})
}

type limitedBuffer struct{ content []byte }

func (b *limitedBuffer) Write(p []byte) (int, error) {
	b.content = append(b.content, p...)
	return len(p), nil
}

func readAll[Row any](rows *batches[Row]) {
	for range 10_000 {
		if _, err := rows.next(); err != nil {
			return
		}
	}
}

// The run.json or share.json of a stranger is that of a run or share, or an error.
func FuzzReadManifests(f *testing.F) {
	f.Add([]byte(`{"farstation_version":"x","files":[{"name":"rows.zst","bytes":3,"sha256":"00"}]}`))
	f.Add([]byte(`{"farstation_version":"x","files":[{"name":"../../rows.zst"}],"share":1,"of":-1,"options":{"terrain":[{"path":"/"}]}}`))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, name := range []string{manifestFile, shareFile} {
			if err := os.WriteFile(filepath.Join(dir, name), text, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if run, err := readRun(dir); err == nil && run.Version == "" {
			t.Error("a run without a version")
		}
		if share, err := ReadShare(t.Context(), dir); err == nil {
			t.Errorf("a share without its rows: %+v", share)
		}
		if _, err := OpenReuse(t.Context(), dir); err == nil {
			t.Errorf("OpenReuse: %v", err)
		}
	})
}
