package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestAnotherBuild: what another program found is not taken over, although its version is the same. A byte behind the end of the program's file
// changes nothing that it does, and makes it another.
func TestAnotherBuild(t *testing.T) {
	work := t.TempDir()
	writeSmallWorld(t, work)
	here, err := exec.LookPath("farstation")
	if err != nil {
		t.Fatal(err)
	}
	program, err := os.ReadFile(here)
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), filepath.Base(here))
	if err := os.WriteFile(other, append(program, '\n'), 0o755); err != nil {
		t.Fatal(err)
	}
	run := func(program string, args ...string) (string, error) {
		command := exec.Command(program, args...)
		command.Dir = work
		output, err := command.CombinedOutput()
		return string(output), err
	}
	survey := []string{"survey", "--quiet", "--min-distance-km", "10", "--features", "tops.csv", "--terrain", "tiles", "--out"}
	if output, err := run(here, append(survey, "first")...); err != nil {
		t.Fatalf("%v: %s", err, output)
	}
	if output, err := run(here, append(survey, "share", "--share", "1/1")...); err != nil {
		t.Fatalf("%v: %s", err, output)
	}
	tests := []struct {
		program string
		args    []string
		want    string
		status  int
	}{
		{here, append(survey, "same", "--since", "first"), "Reused: 5 observers as they were, 0 in part; 0 traced anew\n", statusDone},
		{other, append(survey, "anew", "--since", "first"), "Reused: nothing; no records to reuse: other parameters, another build of the program", statusDone},
		{other, []string{"gather", "--quiet", "share", "--out", "gathered"}, "which is not this program", statusWrongInput},
	}
	for _, test := range tests {
		output, err := run(test.program, test.args...)
		status := 0
		if exit, ok := err.(*exec.ExitError); ok {
			status = exit.ExitCode()
		} else if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(output, test.want) || status != test.status {
			t.Errorf("%s %s: status %d, %s\nwant status %d, %s", test.program, strings.Join(test.args, " "), status, output, test.status, test.want)
		}
	}
}
