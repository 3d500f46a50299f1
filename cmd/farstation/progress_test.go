package main

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"farstation/pipeline"
)

func TestPaceWords(t *testing.T) {
	tests := []struct {
		name  string
		s     pipeline.Snapshot
		spent time.Duration
		want  string
	}{
		{"nothing counted", pipeline.Snapshot{Stage: "find candidates"}, time.Minute, "find candidates"},
		{"too early to tell", pipeline.Snapshot{Stage: "trace observers", Done: 3, Total: 90}, time.Second / 2, "trace observers: 3 of 90"},
		{"time left", pipeline.Snapshot{Stage: "trace observers", Done: 30, Total: 90}, 60 * time.Second, "trace observers: 30 of 90, 0.5 a second, 2m0s left"},
		{"no total", pipeline.Snapshot{Stage: "read features", Done: 5000}, 2 * time.Second, "read features: 5000, 2500.0 a second"},
		{"done", pipeline.Snapshot{Stage: "trace observers", Done: 90, Total: 90}, 9 * time.Second, "trace observers: 90 of 90, 10.0 a second"},
	}
	for _, test := range tests {
		if got := paceOf(test.s, test.spent).words(test.s); got != test.want {
			t.Errorf("words(%+v after %v) = %q, want %q (%s)", test.s, test.spent, got, test.want, test.name)
		}
	}
}

// TestWatcherLogs looks at a finished survey through a clock of its own: one line when a stage begins, the next after ten seconds.
func TestWatcherLogs(t *testing.T) {
	var out bytes.Buffer
	at := time.Unix(0, 0)
	w := &watcher{now: func() time.Time { return at }, log: slog.New(slog.NewTextHandler(&out, nil))}
	w.look()
	if out.Len() > 0 {
		t.Errorf("logged %q before anything began", out.String())
	}
	opts := pipeline.DefaultOptions()
	opts.Features, opts.Terrain, opts.Workers = []string{"../../testdata/dobih_slice_geonames_layout.tsv"}, bordersTerrain(), 1
	opts.Area = &pipeline.Area{West: 10, South: 10, East: 11, North: 11}
	if _, err := pipeline.Survey(t.Context(), opts, &w.Progress); err != nil {
		t.Fatal(err)
	}
	line := regexp.MustCompile(`level=INFO msg=progress stage=\w+ done=0`)
	for i, want := range []int{1, 1, 2, 2} { // looks at 0 s, 6 s, 12 s, 18 s
		w.look()
		if got := len(line.FindAllString(out.String(), -1)); got != want {
			t.Errorf("after look %d there are %d lines, want %d:\n%s", i+1, got, want, out.String())
		}
		at = at.Add(6 * time.Second)
	}
}

func TestRedrawn(t *testing.T) {
	file, err := os.Create(filepath.Join(t.TempDir(), "terminal"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := &redrawn{file: file}
	r.clear()
	r.show("rank: 1 of 2")
	r.show("rank: 2 of 2")
	r.clear()
	got, err := os.ReadFile(file.Name())
	if err != nil {
		t.Fatal(err)
	}
	if want := "\r\x1b[Krank: 1 of 2\r\x1b[Krank: 2 of 2\r\x1b[K"; string(got) != want {
		t.Errorf("the terminal got %q, want %q", got, want)
	}
}
