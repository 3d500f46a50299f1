package reports

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// deadProcess returns the number of a process that has ended.
func deadProcess(t *testing.T) int {
	t.Helper()
	command := exec.Command(os.Args[0], "-test.run=^$")
	if err := command.Run(); err != nil {
		t.Fatal(err)
	}
	return command.Process.Pid
}

func TestLeftOversOfDeadRuns(t *testing.T) {
	parent := t.TempDir()
	dead := deadProcess(t)
	name := func(run, word, host string, pid int) string {
		return fmt.Sprintf(".%s.farstation-%s-%s-%d-0123abcd", run, word, host, pid)
	}
	removed := []string{name("run", "part", hostWord(), dead), name("run", "old", hostWord(), dead)}
	kept := []string{
		name("run", "part", hostWord(), os.Getpid()),  // its process lives
		name("run", "part", "elsewhere", dead),        // of another host
		name("another", "part", hostWord(), dead),     // of another run
		name("run", "part", hostWord(), dead) + ".gz", // not a name of ours
		"run",
	}
	for _, folder := range append(removed, kept...) {
		if folder == "run" {
			mustMake(t, filepath.Join(parent, folder))
			continue
		}
		mustMake(t, filepath.Join(parent, folder, "deep"))
	}
	if err := CheckOut(filepath.Join(parent, "run"), false); err == nil {
		t.Error("an existing folder gives no error")
	}
	slices.Sort(kept)
	if got := namesIn(t, parent); !slices.Equal(got, kept) {
		t.Errorf("there stand\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(kept, "\n"))
	}
}

func mustMake(t *testing.T, folder string) {
	t.Helper()
	if err := os.MkdirAll(folder, 0o777); err != nil {
		t.Fatal(err)
	}
}

// A run that died after it moved the earlier one aside, and before its own was in place.
func TestEarlierRunComesBack(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "run")
	mustWriteRun(t, dir, false, page("earlier"))
	aside := filepath.Join(parent, fmt.Sprintf(".run.farstation-old-%s-%d-0123abcd", hostWord(), deadProcess(t)))
	if err := os.Rename(dir, aside); err != nil {
		t.Fatal(err)
	}
	if err := CheckOut(dir, true); err != nil {
		t.Fatal(err)
	}
	if got := string(readFile(t, filepath.Join(dir, "report.html"))); got != "earlier" {
		t.Errorf("the run that came back holds %q", got)
	}
	if got := namesIn(t, parent); !slices.Equal(got, []string{"run"}) {
		t.Errorf("there stand %v", got)
	}
}

func TestReplaceThroughALink(t *testing.T) {
	parent := t.TempDir()
	real, link := filepath.Join(parent, "2001-02-03"), filepath.Join(parent, "latest")
	mustWriteRun(t, real, false, page("earlier"))
	if err := os.Symlink(real, link); err != nil {
		t.Skip("this file system has no links: ", err)
	}
	mustWriteRun(t, link, true, page("new"))
	if got := string(readFile(t, filepath.Join(real, "report.html"))); got != "new" {
		t.Errorf("the folder behind the link holds %q", got)
	}
	if status, err := os.Lstat(link); err != nil || status.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is %v, %v", status, err)
	}
}

// TestKilledRun kills a process in the middle of WriteRun. The test binary itself is that process when killedRunEnv names a folder.
func TestKilledRun(t *testing.T) {
	const killedRunEnv = "FARSTATION_TEST_KILLED_RUN"
	if dir := os.Getenv(killedRunEnv); dir != "" {
		waiting := File{"report.html", func(io.Writer) error {
			fmt.Println("writing")
			_, err := io.Copy(io.Discard, os.Stdin) // until killed
			return err
		}}
		t.Fatal(WriteRun(context.Background(), dir, true, sampleResult(), []File{waiting}))
	}

	parent := t.TempDir()
	dir := filepath.Join(parent, "run")
	mustWriteRun(t, dir, false, page("earlier"))
	command := exec.Command(os.Args[0], "-test.run=^TestKilledRun$")
	command.Env = append(os.Environ(), killedRunEnv+"="+dir)
	stdin, err := command.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	defer stdin.Close()
	stdout, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	word := make([]byte, len("writing"))
	if _, err := io.ReadFull(stdout, word); err != nil || string(word) != "writing" {
		t.Fatalf("the run says %q, %v", word, err)
	}
	if err := command.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = command.Wait() // says that it was killed

	if got := namesIn(t, parent); len(got) != 2 || got[1] != "run" {
		t.Errorf("a killed run left %v, want its part folder and the earlier run", got)
	}
	if got := string(readFile(t, filepath.Join(dir, "report.html"))); got != "earlier" {
		t.Errorf("after a killed run the earlier one holds %q", got)
	}
	mustWriteRun(t, dir, true, page("new"))
	if got := namesIn(t, parent); !slices.Equal(got, []string{"run"}) {
		t.Errorf("the run after it left %v", got)
	}
	if got := string(readFile(t, filepath.Join(dir, "report.html"))); got != "new" {
		t.Errorf("the run after it holds %q", got)
	}
}

func TestTwoRunsForOneFolder(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "run")
	both := make(chan struct{})
	meet := File{"report.html", func(w io.Writer) error {
		select { // the first to come waits for the other, so that both have passed their checks
		case both <- struct{}{}:
		case <-both:
		}
		_, err := io.WriteString(w, "a page")
		return err
	}}
	results := make(chan error)
	for range 2 {
		go func() { results <- WriteRun(context.Background(), dir, false, sampleResult(), []File{meet}) }()
	}
	first, second := <-results, <-results
	if (first == nil) == (second == nil) {
		t.Errorf("two runs for one folder: %v and %v, want one error", first, second)
	}
	if got := namesIn(t, parent); !slices.Equal(got, []string{"run"}) {
		t.Errorf("two runs for one folder left %v", got)
	}
	if got := len(namesIn(t, dir)); got != 10 {
		t.Errorf("the folder holds %d files, want 10", got)
	}
}
