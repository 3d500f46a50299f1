package main

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// DEVELOPERS.md lists every file of others that is built into the program, with where it is from, its licence and its hash.
func TestBuiltInFilesAreListed(t *testing.T) {
	root := filepath.Join("..", "..")
	text, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]bool{}
	for _, row := range regexp.MustCompile("(?m)^\\| `([^`]+)` \\| ([^|]+) \\| ([^|]+) \\| `([0-9a-f]{64})` \\|$").FindAllStringSubmatch(string(text), -1) {
		path, from, licence, want := row[1], strings.TrimSpace(row[2]), strings.TrimSpace(row[3]), row[4]
		listed[path] = true
		content, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(path)))
		if err != nil {
			t.Errorf("DEVELOPERS.md lists %s: %v", path, err)
			continue
		}
		sum := sha256.Sum256(content)
		if got := hex.EncodeToString(sum[:]); got != want {
			t.Errorf("%s has the SHA-256 %s, DEVELOPERS.md lists %s: was it made anew?", path, got, want)
		}
		if !regexp.MustCompile(`[0-9]`).MatchString(from) || licence == "" {
			t.Errorf("%s: from %q, licence %q: want a version and a licence", path, from, licence)
		}
	}
	goTool, err := exec.LookPath("go")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("go is not installed")
		}
		t.Skip("go is not installed: what is built in is not compared with the list")
	}
	command := exec.Command(goTool, "list", "-f", `{{$package := .ImportPath}}{{range .EmbedFiles}}{{$package}}/{{.}}{{"\n"}}{{end}}`, "./...")
	command.Dir = root
	output, err := command.Output()
	if err != nil {
		t.Fatal(err)
	}
	embedded := 0
	for _, path := range strings.Fields(string(output)) {
		path = strings.TrimPrefix(path, "farstation/")
		// What we wrote ourselves, and texts about the files beside them.
		if strings.HasPrefix(path, "cmd/farstation/demo/") || strings.HasPrefix(path, "reports/html/") || strings.HasSuffix(path, "/README.md") || strings.HasSuffix(path, "-LICENSE.txt") {
			continue
		}
		embedded++
		if !listed[path] {
			t.Errorf("%s is built into the program, and DEVELOPERS.md does not say where it is from", path)
		}
	}
	if embedded != len(listed) || embedded < 5 {
		t.Errorf("%d files of others are built in, DEVELOPERS.md lists %d", embedded, len(listed))
	}
}
