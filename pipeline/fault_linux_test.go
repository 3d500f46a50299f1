package pipeline

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farstation/geodesy/terrain"
)

// A file of the cache that is cut while it is in use ends the run with a line on what to do, and is no fault of the program.
func TestGuardOverCutCache(t *testing.T) {
	dir, cache := t.TempDir(), t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "N10E020.hgt"), make([]byte, 2*1201*1201), 0o644); err != nil {
		t.Fatal(err)
	}
	index, err := terrain.Discover([]terrain.Source{{Path: dir}})
	if err != nil {
		t.Fatal(err)
	}
	opened, err := terrain.OpenCache(cache)
	if err != nil {
		t.Fatal(err)
	}
	tile, err := terrain.NewStore(index, terrain.StoreOptions{MemoryBytes: 1 << 30, Cache: opened}).Tile(10, 20)
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(cache, "*", "*.kept"))
	if err != nil || len(files) != 1 {
		t.Fatal(files, err)
	}
	if err := os.Truncate(files[0], 10_000); err != nil {
		t.Fatal(err)
	}
	err = Guard(func() string { return "chunk 3" }, func() error {
		for i := range tile.Len() {
			if h, ok := tile.PostM(i); h != 0 || !ok {
				t.Errorf("post %d: %v", i, h)
			}
		}
		return nil
	})
	var fault *Fault
	if err == nil || errors.As(err, &fault) || !strings.Contains(err.Error(), "the folder of --cache could not be read any more, at chunk 3: ") {
		t.Errorf("%v", err)
	}
}
