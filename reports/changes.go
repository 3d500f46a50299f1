package reports

import (
	"fmt"
	"io"
	"path/filepath"

	"farstation/pipeline"
)

// ReadRunTables reads what changes between runs are found from.
func ReadRunTables(dir string) (*pipeline.RunTables, error) {
	run, err := readRun(dir)
	if err != nil {
		return nil, err
	}
	tables := &pipeline.RunTables{Manifest: &run.Manifest}
	if tables.Features, err = ReadFeatures(filepath.Join(dir, featuresFile)); err != nil {
		return nil, err
	}
	if tables.Sightlines, err = ReadSightlines(filepath.Join(dir, sightlinesFile)); err != nil {
		return nil, err
	}
	return tables, nil
}

// WriteChanges writes the lines that changed as Parquet.
func WriteChanges(w io.Writer, lines []pipeline.Change) error {
	return writeTable(w, pipeline.GroupsOf(lines), 1, parquetTable[pipeline.Change, pipeline.Change]{
		file:    "changes.parquet",
		name:    func(c *pipeline.Change) string { return fmt.Sprintf("%s → %s", c.ObserverID, c.TargetID) },
		fileRow: func(c *pipeline.Change, _ *geometries) (pipeline.Change, error) { return *c, nil },
	})
}
