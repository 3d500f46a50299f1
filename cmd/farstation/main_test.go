package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"farstation/pipeline"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"farstation": main})
}

// TestScripts runs the program as a user would. Every script finds the repository's test data in the folder data.
func TestScripts(t *testing.T) {
	data, err := filepath.Abs("../../testdata")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(env *testscript.Env) error {
			return os.Symlink(data, filepath.Join(env.WorkDir, "data"))
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			// status CODE ARGS… runs farstation and wants that exit status.
			"status": func(ts *testscript.TestScript, neg bool, args []string) {
				if neg || len(args) < 1 {
					ts.Fatalf("usage: status CODE ARGS…")
				}
				want, err := strconv.Atoi(args[0])
				ts.Check(err)
				got := 0
				if err := ts.Exec("farstation", args[1:]...); err != nil {
					var exit interface{ ExitCode() int }
					if !errors.As(err, &exit) {
						ts.Fatalf("farstation %q: %v", args[1:], err)
					}
					got = exit.ExitCode()
				}
				if got != want {
					ts.Fatalf("farstation %q ended with %d, want %d", args[1:], got, want)
				}
			},
			// cut FILE BYTES OUT writes the first bytes of a file.
			"cut": func(ts *testscript.TestScript, neg bool, args []string) {
				content, err := os.ReadFile(ts.MkAbs(args[0]))
				ts.Check(err)
				n, err := strconv.Atoi(args[1])
				ts.Check(err)
				ts.Check(os.WriteFile(ts.MkAbs(args[2]), content[:n], 0o644))
			},
			// same RUN RUN wants two run folders to hold the same files with the same bytes, and run.json the same but for times and memory.
			"same": func(ts *testscript.TestScript, neg bool, args []string) {
				difference, err := sameRuns(ts.MkAbs(args[0]), ts.MkAbs(args[1]))
				ts.Check(err)
				if difference != "" {
					ts.Fatalf("%s and %s differ:\n%s", args[0], args[1], difference)
				}
			},
			// objects wants every line on standard error to be one object with a time, a level and a message.
			"objects": func(ts *testscript.TestScript, neg bool, args []string) {
				for line := range strings.Lines(ts.ReadFile("stderr")) {
					var object struct {
						Time       time.Time
						Level, Msg string
					}
					if err := json.Unmarshal([]byte(line), &object); err != nil || object.Time.IsZero() || object.Level == "" || object.Msg == "" {
						ts.Fatalf("%q is no object with time, level and msg: %v", line, err)
					}
				}
			},
			// holds DIR NAMES… wants a folder to hold exactly these names, hidden ones too.
			"holds": func(ts *testscript.TestScript, neg bool, args []string) {
				entries, err := os.ReadDir(ts.MkAbs(args[0]))
				ts.Check(err)
				var names []string
				for _, entry := range entries {
					names = append(names, entry.Name())
				}
				want := slices.Clone(args[1:])
				slices.Sort(want)
				if !slices.Equal(names, want) {
					ts.Fatalf("%s holds %q, want %q", args[0], names, want)
				}
			},
		},
	})
}

func TestErrorLines(t *testing.T) {
	one, two := errors.New("terrain a: no such file"), errors.New("terrain b: no such file")
	tests := []struct {
		name string
		err  error
		want []string
		code int
	}{
		{"none", nil, nil, 0},
		{"plain", one, []string{"terrain a: no such file"}, 1},
		{"joined", wrongInput(errors.Join(one, two)), []string{"terrain a: no such file", "terrain b: no such file"}, 2},
		{"joined within joined", errors.Join(errors.Join(one, two), one), []string{one.Error(), two.Error(), one.Error()}, 1},
		{"wrapped, with words of its own", wrongInput(fmt.Errorf("run: %w; %w", one, two)), []string{"run: terrain a: no such file; terrain b: no such file"}, 2},
		{"marked within", fmt.Errorf("demo: %w", wrongInput(one)), []string{"demo: terrain a: no such file"}, 2},
	}
	for _, test := range tests {
		if got := errorLines(test.err); !slices.Equal(got, test.want) {
			t.Errorf("errorLines(%s) = %q, want %q", test.name, got, test.want)
		}
		if got := statusOf(test.err); got != test.code {
			t.Errorf("statusOf(%s) = %d, want %d", test.name, got, test.code)
		}
	}
}

// A fault of the program ends with 1 whatever it was wrapped in, says where it was, and is followed by what was being called.
func TestFaultIsReported(t *testing.T) {
	panicked := pipeline.Guard(func() string { return "chunk 3, line from csv:1 to csv:2" }, func() error { panic("index\x1b out of range") })
	err := wrongInput(fmt.Errorf("gather: %w", panicked))
	if got := statusOf(err); got != statusFailed {
		t.Errorf("status %d, want %d", got, statusFailed)
	}
	var text, objects bytes.Buffer
	report(&text, false, err)
	want := "farstation: gather: this is a fault of the program, at chunk 3, line from csv:1 to csv:2: index\\x1b out of range: please report it with these lines, the command, and the files that it read\n  goroutine "
	if !strings.HasPrefix(text.String(), want) || !strings.Contains(text.String(), "\n  farstation/pipeline.Guard(") || strings.Contains(text.String(), "\\x09") {
		t.Errorf("report gives\n%s\nwant it to begin with\n%s\nand the stack", text.String(), want)
	}
	report(&objects, true, err)
	var object struct {
		Level, Msg, Stack string
		Status            int
	}
	if err := json.Unmarshal(objects.Bytes(), &object); err != nil || strings.Count(objects.String(), "\n") != 1 {
		t.Fatalf("report as objects gives %q: %v", objects.String(), err)
	}
	if object.Level != "ERROR" || object.Status != statusFailed || !strings.Contains(object.Msg, "chunk 3") || !strings.Contains(object.Stack, "pipeline.Guard") {
		t.Errorf("report as objects gives %+v", object)
	}
}

func TestPlain(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"names of all scripts", "Ómbrivel Омбривель Κεσσοβάρ جبل 山 5′", "Ómbrivel Омбривель Κεσσοβάρ جبل 山 5′"},
		{"terminal escape", "a\x1b[31mb", `a\x1b[31mb`},
		{"a line of its own", "a\nfarstation: b\r", `a\x0afarstation: b\x0d`},
		{"C1 control", "a\u009bb", `a\u009bb`},
		{"turned direction", "abc\u202ecba", `abc\u202ecba`},
		{"line separator", "a\u2028b", `a\u2028b`},
		{"not UTF-8", "a\xffb", `a\xffb`},
	}
	for _, test := range tests {
		if got := plain(test.text); got != test.want {
			t.Errorf("plain(%q) = %q, want %q (%s)", test.text, got, test.want, test.name)
		}
	}
}
