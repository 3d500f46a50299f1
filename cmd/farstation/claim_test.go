package main

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"farstation/pipeline"
)

// A claim whose number was changed and whose own hash was made anew is found by its run.
func TestForgedClaim(t *testing.T) {
	runDemoHere(t)
	call := func(args ...string) (int, string) {
		var out, problems bytes.Buffer
		status := run(args, &stdio{out: &out, err: &problems})
		return status, problems.String()
	}
	if status, problems := call("claim", "--run", "farstation-demo/run", "--line", "1", "--out", "line.json"); status != statusDone {
		t.Fatalf("claim ended with %d: %s", status, problems)
	}
	claim, err := pipeline.ReadClaim("line.json")
	if err != nil {
		t.Fatal(err)
	}
	*claim.Model(pipeline.ModelCurved).AngleArcmin += 0.001
	forged, err := claim.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("forged.json", forged, 0o644); err != nil {
		t.Fatal(err)
	}
	if status, problems := call("claim", "--check", "forged.json"); status != statusDone {
		t.Errorf("by itself the forged claim ended with %d, want 0, for its hash is right: %s", status, problems)
	}
	status, problems := call("claim", "--check", "forged.json", "--run", "farstation-demo/run")
	if status != statusDiffers || !strings.Contains(problems, "its content is not what farstation-demo/run gives") {
		t.Errorf("against its run the forged claim ended with %d: %s", status, problems)
	}
}
