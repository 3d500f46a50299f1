package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// wantOneLine wants one line of the program on standard error that matches.
func wantOneLine(t *testing.T, name, said, want string) {
	t.Helper()
	if !regexp.MustCompile(`^farstation: [^\n]*` + want + `[^\n]*\n$`).MatchString(said) {
		t.Errorf("%s: it says\n%swant one line with %s", name, said, want)
	}
}

// wantNames wants a folder to hold exactly these names, hidden ones too.
func wantNames(t *testing.T, name, dir string, want ...string) {
	t.Helper()
	if got := namesOf(t, dir); !slices.Equal(got, want) {
		t.Errorf("%s: %s holds %q, want %q", name, filepath.Base(dir), got, want)
	}
}

// smallDisk mounts a file system in memory of so many KiB and inodes at a folder.
func smallDisk(t *testing.T, dir string, kib, inodes int) (unmount func()) {
	t.Helper()
	if err := syscall.Mount("farstation-test", dir, "tmpfs", 0, fmt.Sprintf("size=%dk,nr_inodes=%d", kib, inodes)); err != nil {
		missing(t, "a small file system cannot be mounted ("+err.Error()+"): run as root")
	}
	return func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	}
}

// TestFullDisk lets the disk fill up at every file that is written. The program ends with 1 and one line, nothing half-written is left, and an
// earlier run stands untouched.
func TestFullDisk(t *testing.T) {
	work := t.TempDir()
	writeSmallWorld(t, work)
	disk := filepath.Join(work, "disk")
	if err := os.Mkdir(disk, 0o777); err != nil {
		t.Fatal(err)
	}
	run := filepath.Join(disk, "run")
	survey := func(more ...string) []string {
		return append([]string{"survey", "--quiet", "--min-distance-km", "10", "--features", "tops.csv", "--terrain", "tiles"}, more...)
	}
	mustEnd(t, work, statusDone, survey("--out", "earlier")...)
	mustEnd(t, work, statusDone, survey("--out", "share", "--share", "1/1")...)
	commands := map[string][]string{
		"survey": survey("--out", "disk/run"), "share": survey("--out", "disk/run", "--share", "1/1"),
		"gather": {"gather", "--quiet", "share", "--out", "disk/run"}, "replace": survey("--out", "disk/run", "--replace"),
	}
	const many = 1000
	type room struct{ kib, inodes int }
	rooms := []room{{many, 2}, {many, 3}, {many, 4}, {many, 7}, {many, 12}}
	step := 160
	if os.Getenv("CI") == "true" {
		step = 80
	}
	for kib := 4; kib < many; kib += step {
		rooms = append(rooms, room{kib, many})
	}
	for name, args := range commands {
		reasons, fit := map[string]int{}, false
		for _, r := range rooms {
			what := fmt.Sprintf("%s on %d KiB with %d inodes", name, r.kib, r.inodes)
			before := ""
			size := r
			if name == "replace" {
				size = room{r.kib + 860, r.inodes + 12}
			}
			unmount := smallDisk(t, disk, size.kib, size.inodes)
			if name == "replace" {
				if err := os.CopyFS(run, os.DirFS(filepath.Join(work, "earlier"))); err != nil {
					t.Fatal(err)
				}
				before = treeHash(t, run)
			}
			command := exec.Command("farstation", args...)
			var said bytes.Buffer
			command.Dir, command.Stderr = work, &said
			_ = command.Run() // its status is looked at
			switch status := command.ProcessState.ExitCode(); status {
			case statusDone:
				fit = true
				wantNames(t, what, disk, "run")
				if name != "share" {
					if err := wholeRun(run); err != nil {
						t.Errorf("%s: %v", what, err)
					}
				}
			case statusFailed:
				wantOneLine(t, what, said.String(), `no space left on device: (make room|choose another place)`)
				reasons[regexp.MustCompile(`(farstation: )|\.farstation-spill-[0-9]*|(\.run\.farstation)[-a-z0-9]*`).ReplaceAllString(said.String(), "")]++
				if name == "replace" {
					wantNames(t, what, disk, "run")
					if treeHash(t, run) != before {
						t.Errorf("%s: the earlier run has changed", what)
					}
				} else {
					wantNames(t, what, disk)
				}
			default:
				t.Errorf("%s ends with %d: %s", what, status, said.String())
			}
			unmount()
		}
		if len(reasons) < 3 || !fit {
			t.Errorf("%s fails at %d places, and fits: %v; want 3 or more, and that the largest disk holds it", name, len(reasons), fit)
		}
		t.Logf("%s: %d places at which the disk was full: %v", name, len(reasons), reasons)
	}
}

// asNobody has a command run without rights.
func asNobody(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	if os.Getuid() != 0 {
		missing(t, "rights can be given up by root only")
	}
	command := exec.Command("farstation", args...)
	command.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	return command
}

// openFolder is a folder that everybody may look into and, with mode 0o777, write to.
func openFolder(t *testing.T, mode os.FileMode) string {
	t.Helper()
	dir := t.TempDir()
	for at := dir; at != filepath.Dir(at) && at != os.TempDir(); at = filepath.Dir(at) {
		if err := os.Chmod(at, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Chmod(dir, mode); err != nil {
		t.Fatal(err)
	}
	return dir
}

// TestPermissions takes the rights to files and folders away. A tile that cannot be read is a gap with its reason.
func TestPermissions(t *testing.T) {
	program, err := exec.LookPath("farstation")
	if err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{filepath.Dir(program), filepath.Dir(filepath.Dir(program))} { // made for this test binary
		if err := os.Chmod(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	work, writable := openFolder(t, 0o755), openFolder(t, 0o777)
	writeSmallWorld(t, work)
	shut := func(name string) {
		if err := os.Chmod(filepath.Join(work, name), 0); err != nil {
			t.Fatal(err)
		}
	}
	mustWrite(t, filepath.Join(work, "shut.csv"), []byte("id,name\n"))
	shut("shut.csv")
	if err := os.CopyFS(filepath.Join(work, "part"), os.DirFS(filepath.Join(work, "tiles"))); err != nil {
		t.Fatal(err)
	}
	shut("part/S31W120.hgt")
	if err := os.Mkdir(filepath.Join(work, "shut"), 0); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(writable, "run")
	tests := []struct {
		name                 string
		features, tiles, out string
		more                 string
		status               int
		want                 string
	}{
		{"read-only folder", "tops.csv", "tiles", "run", "", statusWrongInput, `run folder run: cannot be written: permission denied: choose another place`},
		{"shut folder above", "tops.csv", "tiles", "shut/run", "", statusWrongInput, `run folder shut/run: [^\n]*permission denied`},
		{"features", "shut.csv", "tiles", out, "", statusWrongInput, `features shut\.csv: cannot be opened: permission denied: check the path`},
		{"folder of tiles", "tops.csv", "shut", out, "", statusWrongInput, `terrain shut: cannot be searched \(permission denied\): check its permissions`},
		{"sounding", "tops.csv", "tiles", out, "--air=shut.csv", statusWrongInput, `air shut\.csv: permission denied`},
		{"a tile, strict", "tops.csv", "part", out, "--strict", statusWrongInput, `terrain part/S31W120\.hgt: cannot be opened \(permission denied\): check the path and its permissions`},
		{"earlier run", "tops.csv", "tiles", out, "--since=shut", statusWrongInput, `run folder shut: run\.json: permission denied`},
	}
	for _, test := range tests {
		args := []string{"survey", "--quiet", "--min-distance-km", "10", "--features", test.features, "--terrain", test.tiles, "--out", test.out}
		if test.more != "" {
			args = append(args, test.more)
		}
		said := mustEndAs(t, work, test.status, asNobody(t, args...))
		wantOneLine(t, test.name, said, test.want)
		wantNames(t, test.name, writable)
	}
	said := mustEndAs(t, work, statusPartly, asNobody(t, "survey", "--quiet", "--min-distance-km", "10", "--features", "tops.csv", "--terrain", "part", "--out", out))
	if want := "farstation: terrain part/S31W120.hgt: cannot be opened (permission denied): check the path and its permissions\n" +
		"farstation: done, but 1 tile counted as missing terrain: replace what cannot be read and run again\n"; said != want {
		t.Errorf("a tile that cannot be read: %s", said)
	}
	if err := wholeRun(out); err != nil {
		t.Error(err)
	}
	content, err := os.ReadFile(filepath.Join(out, "run.json"))
	if err != nil || !strings.Contains(string(content), "terrain part/S31W120.hgt: cannot be opened (permission denied)") {
		t.Errorf("run.json does not name the tile: %v", err)
	}
}

// TestUnreadableBytes reads a file that the system gives an input error for: the memory of the process, of which address 0 cannot be read.
func TestUnreadableBytes(t *testing.T) {
	work := t.TempDir()
	writeSmallWorld(t, work)
	packed := filepath.Join(work, "tiles", "S31W120.hgt.gz")
	if err := os.Remove(filepath.Join(work, "tiles", "S31W120.hgt")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("/proc/self/mem", packed); err != nil {
		t.Fatal(err)
	}
	args := []string{"survey", "--quiet", "--min-distance-km", "10", "--features", "tops.csv", "--terrain", "tiles", "--out", "run"}
	wantOneLine(t, "strict", mustEnd(t, work, statusWrongInput, append(args, "--strict")...), `terrain tiles/S31W120\.hgt\.gz: cannot be read \(input/output error\): check the disk`)
	wantNames(t, "strict", work, "tiles", "tops.csv")
	said := mustEnd(t, work, statusPartly, args...)
	if want := "farstation: terrain tiles/S31W120.hgt.gz: cannot be read (input/output error): check the disk\n"; !strings.HasPrefix(said, want) || strings.Count(said, "\n") != 2 {
		t.Errorf("a tile with an input error: %s", said)
	}
	if err := wholeRun(filepath.Join(work, "run")); err != nil {
		t.Error(err)
	}
}

// TestPipesForFiles gives pipes that nobody writes to, and devices without an end, in place of files: none is waited for.
func TestPipesForFiles(t *testing.T) {
	work := t.TempDir()
	writeSmallWorld(t, work)
	if err := syscall.Mkfifo(filepath.Join(work, "pipe"), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, no := range []string{"pipe", "/dev/zero"} {
		for name, args := range map[string][]string{
			"features": {"--features", no, "--terrain", "tiles"}, "terrain": {"--features", "tops.csv", "--terrain", no},
			"air": {"--features", "tops.csv", "--terrain", "tiles", "--air", no}, "geoid": {"--features", "tops.csv", "--terrain", "tiles,datum=egm2008,geoid=" + no},
		} {
			said := mustEnd(t, work, statusWrongInput, append([]string{"survey", "--quiet", "--out", "run"}, args...)...)
			wantOneLine(t, name, said, name+" "+no+": is not a regular file: save it to disk first")
		}
	}
	wantNames(t, "pipes", work, "pipe", "tiles", "tops.csv")
}

// TestFullOutput prints to a device that is full: the run is there, and the program says what is missing.
func TestFullOutput(t *testing.T) {
	work := t.TempDir()
	writeSmallWorld(t, work)
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("this system has no /dev/full: ", err)
	}
	defer full.Close()
	command := exec.Command("farstation", "survey", "--quiet", "--min-distance-km", "10", "--features", "tops.csv", "--terrain", "tiles", "--out", "run")
	command.Stdout = full
	wantOneLine(t, "full output", mustEndAs(t, work, statusFailed, command), `the run is complete, but its summary could not be printed: write [^\n]*no space left on device`)
	if err := wholeRun(filepath.Join(work, "run")); err != nil {
		t.Error(err)
	}
}

// TestInputsChangeWhileTheyAreRead changes a gazetteer, and tiles, under a survey that runs: it ends with 2 and says so, or has read all of it
// before and is right.
func TestInputsChangeWhileTheyAreRead(t *testing.T) {
	work := t.TempDir()
	writeSmallWorld(t, work)
	var rows bytes.Buffer
	rows.WriteString("id,name,kind,latitude_deg,longitude_deg,ground_height_m\n1,Ombrel,peak,-30.4,-120.3,900\n2,Tarnay,peak,-30.25,-119.6,1200\n")
	for i := range 400_000 {
		fmt.Fprintf(&rows, "%d,Nobody,hamlet of huts,-30.4,-120.3,\n", i+3)
	}
	many := filepath.Join(work, "many.csv")
	mustWrite(t, many, rows.Bytes())
	tile := filepath.Join(work, "tiles", "S31W120.hgt")
	whole, err := os.ReadFile(tile)
	if err != nil {
		t.Fatal(err)
	}
	append1 := func(path string) func() error {
		return func() error {
			file, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				return err
			}
			_, err = file.WriteString(" ")
			return errors.Join(err, file.Close())
		}
	}
	tests := []struct {
		name   string
		change func() error
		want   string
	}{
		{"gazetteer grows", append1(many), `features many\.csv: was changed while it was read: wait until it is complete and run again`},
		{"gazetteer is cut", func() error { return os.Truncate(many, 1000) }, `features many\.csv: (was changed while it was read: wait until it is complete and run again|is cut short: download it again[^\n]*)`},
		{"tile is written anew", func() error { return os.WriteFile(tile, whole[:len(whole)-2], 0o666) }, `terrain tiles/S31W120\.hgt: changed since it was found: start again`},
		{"tile has other heights of the same size", func() error { return os.WriteFile(tile, bytes.Repeat([]byte{0, 1}, len(whole)/2), 0o666) }, `terrain tiles/S31W120\.hgt: changed since it was found: start again`},
	}
	for _, test := range tests {
		mustWrite(t, many, rows.Bytes())
		mustWrite(t, tile, whole)
		command := exec.Command("farstation", "survey", "--quiet", "--min-distance-km", "10", "--features", "many.csv", "--terrain", "tiles", "--out", "run")
		command.Dir = work
		var said bytes.Buffer
		command.Stderr = &said
		if err := command.Start(); err != nil {
			t.Fatal(err)
		}
		waitForOpen(t, command.Process.Pid, many) // the tiles have been found by then, and not been read
		if err := test.change(); err != nil {
			t.Fatal(err)
		}
		_ = command.Wait() // its status is looked at
		if got := command.ProcessState.ExitCode(); got != statusWrongInput {
			t.Errorf("%s: it ends with %d, want %d: %s", test.name, got, statusWrongInput, said.String())
		}
		wantOneLine(t, test.name, said.String(), test.want)
		wantNames(t, test.name, work, "many.csv", "tiles", "tops.csv")
	}
}

// waitForOpen waits until a process has a file open.
func waitForOpen(t *testing.T, pid int, path string) {
	t.Helper()
	folder := fmt.Sprintf("/proc/%d/fd", pid)
	for range 20_000 {
		entries, _ := os.ReadDir(folder) // the process may not have begun
		for _, entry := range entries {
			if to, err := os.Readlink(filepath.Join(folder, entry.Name())); err == nil && to == path {
				return
			}
		}
		time.Sleep(500 * time.Microsecond)
	}
	t.Fatalf("%s was not opened", path)
}
