package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestWeighCases: a case is weighed again from its folder alone; a height that changes is named as the cause, and a verdict that changes is a
// difference; a file that was changed is found.
func TestWeighCases(t *testing.T) {
	root := t.TempDir()
	cases := filepath.Join(root, "cases")
	command := func(status int, args ...string) (printed, failed string) {
		t.Helper()
		var out, errs bytes.Buffer
		if got := run(args, &stdio{&out, &errs}); got != status {
			t.Fatalf("farstation %q ended with %d, want %d: %s%s", args, got, status, out.String(), errs.String())
		}
		return out.String(), errs.String()
	}
	features := filepath.Join(root, "features.csv")
	text, err := os.ReadFile("testdata/weigh/features.csv")
	if err != nil {
		t.Fatal(err)
	}
	write := func(path, content string) {
		t.Helper()
		if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write(features, string(text))
	command(statusDone, "weigh", "--photo", blankJPEG(t), "--points", "testdata/weigh/curved.csv", "--features", features, "--camera", "-32.4,-123.7,640", "--as-listed", "--out", filepath.Join(cases, "ridge"))
	if printed, _ := command(statusDone, "weigh", "--cases", cases); !strings.Contains(printed, "ridge\n  as before: curved Earth, ") || !strings.Contains(printed, "1 case weighed, 0 changed, 0 not weighed") {
		t.Errorf("unchanged: %q", printed)
	}

	// The gazetteer of the case stands for the one that it was weighed with.
	own := filepath.Join(cases, "ridge", "features.csv")
	if printed, _ := command(statusDone, "weigh", "--cases", cases, "--features", own); strings.Contains(printed, "since: the ground") {
		t.Errorf("with its own features: %q", printed)
	}

	// One summit is listed 400 m higher than it is, as if its feet had been read as something else.
	spoilt := strings.Replace(string(text), ",1421.827,", ",1821.827,", 1)
	newer := filepath.Join(root, "newer.csv")
	write(newer, spoilt)
	printed, failed := command(statusDiffers, "weigh", "--cases", cases, "--features", newer)
	for _, want := range []string{"changed: curved Earth", "since: the ground of Hallowfell is 1821.8 m high, it was 1421.8 m", "1 case weighed, 1 changed"} {
		if !strings.Contains(printed, want) {
			t.Errorf("other heights: %q, want %q in it", printed, want)
		}
	}
	if !strings.Contains(failed, "1 verdict of 1 changed") {
		t.Errorf("said %q", failed)
	}

	points := filepath.Join(cases, "ridge", "1-curved.csv")
	content, err := os.ReadFile(points)
	if err != nil {
		t.Fatal(err)
	}
	write(points, strings.Replace(string(content), "top", "top ", 1))
	if printed, _ := command(statusFailed, "weigh", "--cases", cases); !strings.Contains(printed, "1-curved.csv was changed") {
		t.Errorf("a changed table of points: %q", printed)
	}
	if _, failed := command(statusWrongInput, "weigh", "--cases", root+"/none"); !strings.Contains(failed, "no such file") {
		t.Errorf("no folder: %q", failed)
	}
}
