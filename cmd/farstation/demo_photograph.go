package main

import (
	_ "embed"
	"fmt"
	"os"
	"path/filepath"
)

// The demo's photograph and its points are made by the tests, with -update-photograph, and kept, since image/jpeg may write other bytes one day.
var (
	//go:embed demo/photograph/olmeque-head.jpg
	demoPhotograph []byte
	//go:embed demo/photograph/points.csv
	demoPoints []byte
	//go:embed demo/photograph/README.txt
	demoPhotographNote []byte
)

// Files of the demo's photograph.
const (
	demoPhotoName  = "olmeque-head.jpg"
	demoPointsName = "points.csv"
)

// writeDemoPhotograph writes the invented photograph, the points measured on it, and how both were made, into the folder dir, which it creates where
// it is missing. It fails when a file cannot be written.
func writeDemoPhotograph(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("demo: cannot make the folder for its photograph: %w: choose a folder that can be written", err)
	}
	for name, content := range map[string][]byte{demoPhotoName: demoPhotograph, demoPointsName: demoPoints, "README.txt": demoPhotographNote} {
		if err := writeDemoFile(filepath.Join(dir, name), content); err != nil {
			return err
		}
	}
	return nil
}
