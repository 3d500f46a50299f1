package main

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"

	"farstation/geodesy/terrain"
)

func bordersTerrain() []terrain.Source {
	return []terrain.Source{{Path: "../../testdata/N55W003.hgt.zip"}, {Path: "../../testdata/N55W004.hgt.zip"}}
}

// surveyHashes surveys the demo's world and returns the SHA-256 of each file, and run.json without what differs from day to day.
func surveyHashes(t *testing.T, features, tiles string, flags ...string) (hashes map[string]string, manifest map[string]any) {
	t.Helper()
	out := filepath.Join(t.TempDir(), "run")
	var printed, failed bytes.Buffer
	args := append([]string{"survey", "--features", features, "--terrain", tiles, "--out", out, "--quiet"}, flags...)
	if status := run(args, &stdio{&printed, &failed}); status != statusDone {
		t.Fatalf("farstation %q ended with %d: %s", args, status, failed.String())
	}
	hashes, manifest, err := runHashes(out)
	if err != nil {
		t.Fatal(err)
	}
	return hashes, manifest
}

// runHashes returns the SHA-256 of each file of a run folder, and run.json without what differs from day to day.
func runHashes(dir string) (hashes map[string]string, manifest map[string]any, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, nil, err
	}
	hashes = map[string]string{}
	for _, entry := range entries {
		content, err := os.ReadFile(filepath.Join(dir, entry.Name()))
		if err != nil {
			return nil, nil, err
		}
		if entry.Name() == "run.json" {
			if err := json.Unmarshal(content, &manifest); err != nil {
				return nil, nil, err
			}
			for _, ofTheDay := range []string{"stages", "started", "finished", "peak_memory_bytes"} {
				if _, found := manifest[ofTheDay]; !found {
					return nil, nil, fmt.Errorf("run.json has no %s", ofTheDay)
				}
				delete(manifest, ofTheDay)
			}
			continue
		}
		sum := sha256.Sum256(content)
		hashes[entry.Name()] = hex.EncodeToString(sum[:])
	}
	return hashes, manifest, nil
}

// sameRuns says in what two run folders differ, times and memory aside; empty for nothing.
func sameRuns(a, b string) (difference string, err error) {
	files, manifest, err := runHashes(a)
	if err != nil {
		return "", err
	}
	others, other, err := runHashes(b)
	if err != nil {
		return "", err
	}
	if len(files) < 10 {
		return "", fmt.Errorf("%s holds %d files besides run.json, want 10 or more", a, len(files))
	}
	return cmp.Diff(files, others) + cmp.Diff(manifest, other), nil
}

// TestWorkersAndMemoryChangeNothing surveys the demo's world again and again: every file but run.json has the same bytes.
func TestWorkersAndMemoryChangeNothing(t *testing.T) {
	features, tiles, err := writeDemoWorld(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	want, wantManifest := surveyHashes(t, features, tiles, "--workers", "1")
	if len(want) < 7 {
		t.Fatalf("the run has %d files besides run.json, want 7 or more", len(want))
	}
	for _, flags := range [][]string{{"--workers", "2"}, {"--workers", "8"}, {"--workers", "3", "--memory", "3MiB"}} {
		got, manifest := surveyHashes(t, features, tiles, flags...)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%q changes files (-one worker +these):\n%s", flags, diff)
		}
		if diff := cmp.Diff(wantManifest, manifest); diff != "" {
			t.Errorf("%q changes run.json (-one worker +these):\n%s", flags, diff)
		}
	}
}

// TestInterrupt sends a signal to a survey of some minutes: it ends at once with 130, and nothing is left behind.
func TestInterrupt(t *testing.T) {
	for _, signal := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM} {
		data, err := filepath.Abs("../../testdata")
		if err != nil {
			t.Fatal(err)
		}
		folder := t.TempDir()
		// TestMain has put this test binary into PATH under the program's name.
		cmd := exec.Command("farstation", "survey", "--features", filepath.Join(data, "dobih_slice_geonames_layout.tsv"), "--log", "json",
			"--terrain", filepath.Join(data, "N55W003.hgt.zip"), "--terrain", filepath.Join(data, "N55W004.hgt.zip"), "--out", "run", "--profile", "profile")
		cmd.Dir = folder
		stderr, err := cmd.StderrPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		var last string
		signalled := false
		for lines := bufio.NewScanner(stderr); lines.Scan(); {
			last = lines.Text()
			if !signalled && strings.Contains(last, "trace observers") {
				signalled = true
				if err := cmd.Process.Signal(signal); err != nil {
					t.Fatal(err)
				}
			}
		}
		err = cmd.Wait()
		var exit *exec.ExitError
		if !errors.As(err, &exit) || exit.ExitCode() != statusInterrupted || !signalled {
			t.Errorf("after %v (sent: %v) the survey ended with %v, want exit status %d", signal, signalled, err, statusInterrupted)
		}
		if want := `"level":"ERROR","msg":"interrupted: nothing was written","status":130}`; !strings.HasSuffix(last, want) {
			t.Errorf("after %v the last line is %q, want one that ends in %q", signal, last, want)
		}
		entries, err := os.ReadDir(folder)
		if err != nil {
			t.Fatal(err)
		}
		for _, entry := range entries {
			t.Errorf("after %v the survey left %s behind", signal, entry.Name())
		}
	}
}
