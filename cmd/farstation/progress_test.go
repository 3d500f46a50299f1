package main

import (
	"bytes"
	"encoding/json"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
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

// logged returns the fields of each message of a log of objects, but for time, level and msg; those of errors under "".
func logged(t *testing.T) map[string][]string {
	t.Helper()
	var out bytes.Buffer
	s := pipeline.Snapshot{Stage: "rank", Done: 3, Total: 9}
	w := &watcher{now: time.Now, done: make(chan struct{}), log: jsonLog(&out), json: true}
	w.log.Info("progress", paceOf(s, 2*time.Second).items(s)...)
	w.finish("run", pipeline.Counts{}, nil)
	report(&out, true, pipeline.Guard(func() string { return "a line" }, func() error { panic("a fault") }))
	fields := map[string][]string{}
	for line := range strings.Lines(out.String()) {
		var object map[string]any
		if err := json.Unmarshal([]byte(line), &object); err != nil {
			t.Fatal(err)
		}
		msg := object["msg"].(string)
		if object["level"] == "ERROR" {
			msg = ""
		}
		for _, always := range []string{"time", "level", "msg"} {
			delete(object, always)
		}
		fields[msg] = slices.Sorted(maps.Keys(object))
	}
	return fields
}

// README lists the fields of the log.
func TestReadmeLog(t *testing.T) {
	want := logged(t)
	_, table, found := strings.Cut(readme(t), "| msg | level | other fields")
	if !found || len(want) != 3 {
		t.Fatalf("README has a table of the log: %v; messages: %v", found, want)
	}
	table, _, _ = strings.Cut(table, "\n\n")
	for line := range strings.Lines(table) {
		cells := strings.Split(line, " | ")
		if len(cells) != 3 || cells[1] == "---" {
			continue
		}
		msg := ""
		if name := regexp.MustCompile("^\\| `([a-z]+)`$").FindStringSubmatch(cells[0]); name != nil {
			msg = name[1]
		}
		var got []string
		for _, word := range regexp.MustCompile("`([a-z_]+)`").FindAllStringSubmatch(cells[2], -1) {
			got = append(got, word[1])
		}
		slices.Sort(got)
		if !slices.Equal(got, want[msg]) {
			t.Errorf("README lists %q for %q, the log has %q", got, msg, want[msg])
		}
		delete(want, msg)
	}
	if len(want) > 0 {
		t.Errorf("README says nothing of %v", want)
	}
}

// A log of objects is whole lines whatever writes at once: each is handed to the writer in one piece.
func TestLogLinesAreWhole(t *testing.T) {
	pieces := make(chan []byte, 1000)
	log := jsonLog(writerFunc(func(b []byte) (int, error) { pieces <- bytes.Clone(b); return len(b), nil }))
	var wait sync.WaitGroup
	for i := range 8 {
		wait.Go(func() {
			for n := range 100 {
				log.Info("progress", "stage", strings.Repeat("x", 100*i), "done", n)
			}
		})
	}
	wait.Wait()
	close(pieces)
	count := 0
	for piece := range pieces {
		count++
		if !json.Valid(piece) || bytes.Count(piece, []byte("\n")) != 1 || piece[len(piece)-1] != '\n' {
			t.Fatalf("a piece is %q, want one line", piece)
		}
	}
	if count != 800 {
		t.Errorf("%d pieces, want 800", count)
	}
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

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
