package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// killCount asks for more kills than a test run has time for.
var killCount = flag.Int("kills", 0, "kill each command of TestKilledPrograms so often")

// killRounds is how often each command is killed.
func killRounds() int {
	switch {
	case *killCount > 0:
		return *killCount
	case os.Getenv("CI") == "true":
		return 20
	case testing.Short():
		return 3
	}
	return 10
}

// TestKilledPrograms kills the program with SIGKILL at random moments. Its run folder is complete or absent, an earlier run stands untouched
// until the new one has its place, and what was left beside goes with the next run, which writes the same bytes.
func TestKilledPrograms(t *testing.T) {
	work := t.TempDir()
	writeSmallWorld(t, work)
	small := func(more ...string) []string {
		return append([]string{"survey", "--quiet", "--min-distance-km", "10", "--features", "tops.csv", "--terrain", "tiles"}, more...)
	}
	mustEnd(t, work, statusDone, small("--out", "earlier", "--visual-range-km", "100")...)
	mustEnd(t, work, statusDone, small("--out", "want")...)
	mustEnd(t, work, statusDone, small("--out", "shares/1", "--share", "1/2")...)
	mustEnd(t, work, statusDone, small("--out", "shares/2", "--share", "2/2")...)
	tests := []struct {
		name    string
		args    []string
		replace bool
	}{
		{"survey", small("--out", "place/run"), false},
		{"gather", []string{"gather", "--quiet", "shares/1", "shares/2", "--out", "place/run"}, false},
		{"since", small("--since", "earlier", "--out", "place/run"), false},
		{"replace", small("--replace", "--out", "place/run"), true},
		{"cache", small("--cache", "place-cache", "--out", "place/run"), false},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			killOften(t, work, test.args, test.replace)
		})
	}
}

func killOften(t *testing.T, work string, args []string, replace bool) {
	place := filepath.Join(work, "place")
	run, earlier, want := filepath.Join(place, "run"), filepath.Join(work, "earlier"), filepath.Join(work, "want")
	before := treeHash(t, earlier)
	random := rand.New(rand.NewPCG(9, uint64(len(args)))) // the moments are random, the same ones each time as far as the machine is
	reset := func() {
		if err := os.RemoveAll(run); err != nil {
			t.Fatal(err)
		}
		if replace {
			if err := os.CopyFS(run, os.DirFS(earlier)); err != nil {
				t.Fatal(err)
			}
		}
	}
	rerun := func() {
		mustEnd(t, work, statusDone, args...)
		if got := namesOf(t, place); !slices.Equal(got, []string{"run"}) {
			t.Fatalf("the run after a killed one leaves %v", got)
		}
		wantSameRuns(t, run, want)
	}
	reset()
	started := time.Now()
	rerun()
	whole := time.Since(started)

	found := map[string]int{}
	for round := range killRounds() {
		reset()
		moment := time.Duration(float64(whole) * (0.02 + 1.08*random.Float64()))
		killed := killAfter(t, work, moment, args)
		_, err := os.Stat(run)
		state := "absent"
		switch {
		case errors.Is(err, fs.ErrNotExist) && !replace:
		case err != nil:
			t.Fatalf("round %d, after %v: the earlier run is gone: %v", round, moment, err)
		case replace && treeHash(t, run) == before:
			state = "the earlier run"
		default:
			state = "complete"
			if err := wholeRun(run); err != nil {
				t.Fatalf("round %d, after %v: %v", round, moment, err)
			}
			wantSameRuns(t, run, want)
		}
		if killed {
			state += ", killed"
		}
		found[state]++
		if treeHash(t, earlier) != before {
			t.Fatalf("round %d, after %v: the earlier run has changed", round, moment)
		}
		if state == "absent, killed" && round%10 == 0 {
			rerun()
		}
		if round%2 == 0 { // so that every other run fills the cache
			if err := os.RemoveAll(filepath.Join(work, "place-cache")); err != nil {
				t.Fatal(err)
			}
		}
	}
	t.Logf("a run takes %v; found: %v", whole.Round(time.Millisecond), found)
	reset()
	rerun()
}

// killAfter starts the program and kills it; false when it had ended by itself.
func killAfter(t *testing.T, dir string, moment time.Duration, args []string) bool {
	t.Helper()
	command := exec.Command("farstation", args...)
	command.Dir = dir
	var said bytes.Buffer
	command.Stderr = &said
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(moment)
	_ = command.Process.Kill() // it may have ended
	err := command.Wait()
	if err != nil && command.ProcessState.ExitCode() >= 0 {
		t.Fatalf("farstation %q ended with %v: %s", args, err, said.String())
	}
	return err != nil
}

// wholeRun holds a run folder against the hashes in its run.json.
func wholeRun(dir string) error {
	text, err := os.ReadFile(filepath.Join(dir, "run.json"))
	if err != nil {
		return err
	}
	var manifest struct {
		Files []struct{ Name, SHA256 string }
	}
	if err := json.Unmarshal(text, &manifest); err != nil {
		return err
	}
	if len(manifest.Files) < 10 {
		return fmt.Errorf("run.json lists %d files, want 10 or more", len(manifest.Files))
	}
	for _, file := range manifest.Files {
		content, err := os.ReadFile(filepath.Join(dir, file.Name))
		if err != nil {
			return err
		}
		if sum := sha256.Sum256(content); hex.EncodeToString(sum[:]) != file.SHA256 {
			return fmt.Errorf("%s is not the file that run.json lists", file.Name)
		}
	}
	return nil
}

// treeHash is the SHA-256 of all names and bytes in a folder without folders.
func treeHash(t *testing.T, dir string) string {
	t.Helper()
	sum := sha256.New()
	for _, name := range namesOf(t, dir) {
		content, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(sum, "%s %d\n%s", name, len(content), content)
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// namesOf are the names in a folder, hidden ones too, sorted; none where it does not exist.
func namesOf(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	var names []string
	for _, entry := range entries {
		names = append(names, entry.Name())
	}
	return names
}

// writeSmallWorld makes a gazetteer, tops.csv, and a folder of coarse tiles, tiles, that are surveyed within a moment: cones in open ocean.
func writeSmallWorld(t *testing.T, dir string) {
	t.Helper()
	const posts = 61
	rows := []string{"id,name,kind,latitude_deg,longitude_deg,ground_height_m"}
	tops := []smallTop{
		{"Ombrel", -30.4, -120.3, 900}, {"Kessov", -30.6, -120.7, 700}, {"Tarnay", -30.25, -119.6, 1200}, {"Holmec", -30.75, -119.4, 650}, {"Ulvare", -30.5, -119.85, 400},
	}
	for i, top := range tops {
		rows = append(rows, fmt.Sprintf("%d,%s,peak,%v,%v,%v", i+1, top.name, top.latDeg, top.lonDeg, top.heightM))
	}
	mustWrite(t, filepath.Join(dir, "tops.csv"), []byte(strings.Join(rows, "\n")+"\n"))
	for name, westDeg := range map[string]float64{"S31W121.hgt": -121, "S31W120.hgt": -120} {
		tile := make([]byte, 0, 2*posts*posts)
		for row := range posts {
			for col := range posts {
				height := uint16(groundOf(tops, -30-float64(row)/(posts-1), westDeg+float64(col)/(posts-1)))
				tile = append(tile, byte(height>>8), byte(height))
			}
		}
		mustWrite(t, filepath.Join(dir, "tiles", name), tile)
	}
}

type smallTop struct {
	name           string
	latDeg, lonDeg float64
	heightM        float64
}

// groundOf is the ground of cones that fall to the sea within a tenth of a degree.
func groundOf(tops []smallTop, latDeg, lonDeg float64) float64 {
	ground := 0.0
	for _, top := range tops {
		away := max(latDeg-top.latDeg, top.latDeg-latDeg) + max(lonDeg-top.lonDeg, top.lonDeg-lonDeg)
		ground = max(ground, top.heightM*(1-away/0.1))
	}
	return ground
}

func mustWrite(t *testing.T, path string, content []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, content, 0o666); err != nil {
		t.Fatal(err)
	}
}

// mustEnd runs the program in a folder and wants an exit status. It returns what was said on standard error.
func mustEnd(t *testing.T, dir string, status int, args ...string) string {
	t.Helper()
	// TestMain has put this test binary into PATH under the program's name.
	return mustEndAs(t, dir, status, exec.Command("farstation", args...))
}

func mustEndAs(t *testing.T, dir string, status int, command *exec.Cmd) string {
	t.Helper()
	var said bytes.Buffer
	command.Dir, command.Stderr = dir, &said
	err := command.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	if got := command.ProcessState.ExitCode(); got != status {
		t.Errorf("farstation %q ended with %d, want %d: %s", command.Args[1:], got, status, said.String())
	}
	return said.String()
}
