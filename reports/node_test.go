package reports

import (
	"bytes"
	"os"
	"os/exec"
	"testing"
)

// missing skips a test for want of an outside program, or fails it where all of them must be there.
func missing(t testing.TB, reason string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatal(reason)
	}
	t.Skip(reason)
}

// runNode runs a script that needs a module from npm and returns what it prints.
func runNode(t testing.TB, module, script string, args ...string) string {
	t.Helper()
	node, err := exec.LookPath("node")
	if err != nil {
		missing(t, "node is not installed: nothing can be checked with "+module)
	}
	run := func(args ...string) (string, string, error) {
		command := exec.Command(node, append([]string{"-e"}, args...)...)
		if folder := os.Getenv("FARSTATION_NODE_MODULES"); folder != "" {
			command.Env = append(os.Environ(), "NODE_PATH="+folder)
		}
		var out, problems bytes.Buffer
		command.Stdout, command.Stderr = &out, &problems
		err := command.Run()
		return out.String(), problems.String(), err
	}
	if _, _, err := run("require.resolve('" + module + "')"); err != nil {
		missing(t, "node does not find "+module+": install it with npm and name its node_modules folder in FARSTATION_NODE_MODULES")
	}
	out, problems, err := run(append([]string{script, "--"}, args...)...)
	if err != nil {
		t.Fatalf("%s: %v\n%.2000s", module, err, problems)
	}
	return out
}
