package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"farstation/pipeline"
	"farstation/reports"
)

func readme(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// fenced returns the blocks of README that are marked with a language, none for those without one.
func fenced(text, language string) []string {
	var blocks []string
	for _, found := range regexp.MustCompile("(?ms)^```([a-z]*)\n(.*?)^```$").FindAllStringSubmatch(text, -1) {
		if found[1] == language {
			blocks = append(blocks, found[2])
		}
	}
	return blocks
}

// runDemoHere runs the demo in an empty folder, which becomes the current one, and returns what it prints.
func runDemoHere(t *testing.T) string {
	t.Helper()
	t.Chdir(t.TempDir())
	var out, problems bytes.Buffer
	if status := run([]string{"demo", "--quiet"}, &stdio{out: &out, err: &problems}); status != statusDone {
		t.Fatalf("demo ended with %d: %s", status, problems.String())
	}
	return out.String()
}

// The excerpt of the demo is what the demo prints, in its order.
func TestReadmeShowsTheDemo(t *testing.T) {
	text := readme(t)
	blocks := fenced(text, "text")
	if len(blocks) != 1 {
		t.Fatalf("README has %d text blocks, want the demo's alone", len(blocks))
	}
	printed := strings.Split(runDemoHere(t), "\n")
	for line := range strings.Lines(blocks[0]) {
		line = strings.TrimSuffix(line, "\n")
		at := slices.Index(printed, line)
		if at < 0 {
			t.Errorf("the demo does not print, or not in this order:\n%s", line)
			continue
		}
		printed = printed[at+1:]
	}
	entries, err := os.ReadDir(filepath.Join("farstation-demo", demoRunFolder))
	if err != nil {
		t.Fatal(err)
	}
	for _, entry := range entries {
		if !strings.Contains(text, "`"+entry.Name()+"`") {
			t.Errorf("README does not say what %s holds", entry.Name())
		}
	}
}

// Every command of README is one of ours, with flags that it has.
func TestReadmeCommands(t *testing.T) {
	root := newRootCommand(&stdio{out: io.Discard, err: io.Discard})
	text := readme(t)
	var lines []string
	for _, block := range fenced(text, "") {
		lines = append(lines, strings.Split(strings.ReplaceAll(block, "\\\n", " "), "\n")...)
	}
	for _, found := range regexp.MustCompile("`([^`\n]+)`").FindAllStringSubmatch(text, -1) {
		lines = append(lines, found[1])
	}
	commands := 0
	flags := regexp.MustCompile(`--[a-z][a-z-]*`)
	known := func(cmd *cobra.Command, name string) bool {
		return name == "--help" || name == "--version" || cmd.Flags().Lookup(strings.TrimPrefix(name, "--")) != nil
	}
	for _, line := range lines {
		words := strings.Fields(regexp.MustCompile(`^(\./|go run \./cmd/)`).ReplaceAllString(line, ""))
		switch {
		case len(words) > 1 && words[0] == "farstation":
			commands++
			cmd, _, err := root.Find(words[1:2])
			if err != nil || cmd == root {
				t.Errorf("%s: no such command", line)
				continue
			}
			for _, name := range flags.FindAllString(line, -1) {
				if !known(cmd, name) {
					t.Errorf("%s: %s has no flag %s", line, cmd.Name(), name)
				}
			}
		case len(words) > 0 && strings.HasPrefix(words[0], "--"):
			if !slices.ContainsFunc(root.Commands(), func(cmd *cobra.Command) bool { return known(cmd, words[0]) }) {
				t.Errorf("%s: no command has this flag", line)
			}
		}
	}
	if commands < 5 {
		t.Errorf("README has %d commands, want 5 or more: has its layout changed?", commands)
	}
}

// Names with underscores are columns, codes of doubt, cases, outcomes, parts of a photograph or fields of the log.
func TestReadmeNamesColumns(t *testing.T) {
	known := map[string]bool{string(pipeline.BothInView): true, string(pipeline.FarBehindNear): true, string(pipeline.NearMissingFarSeen): true}
	for _, table := range reports.Dictionary() {
		for _, column := range table.Columns {
			known[column.Name] = true
		}
	}
	for _, doubt := range allDoubts() {
		known[doubt.Code] = true
	}
	for _, fields := range logged(t) {
		for _, field := range fields {
			known[field] = true
		}
	}
	for _, word := range []string{pipeline.NotSeen, pipeline.AirNotClear, pipeline.NotTried, string(pipeline.PartSeaHorizon)} {
		known[word] = true
	}
	for _, column := range []string{"latitude_deg", "longitude_deg", "ground_height_m", "structure_height_m"} {
		known[column] = true
	}
	for _, found := range regexp.MustCompile("`([a-z0-9]+(?:_[a-z0-9]+)+)`").FindAllStringSubmatch(readme(t), -1) {
		if !known[found[1]] {
			t.Errorf("README names %s, which is no column, doubt or case", found[1])
		}
	}
}

var updateReadme = flag.Bool("update-readme", false, "write the data dictionary into README anew")

// README holds the dictionary between two comments, as schema prints it.
func TestReadmeDictionary(t *testing.T) {
	var dictionary bytes.Buffer
	if err := reports.WriteSchemaMarkdown(&dictionary, reports.Dictionary(), allDoubts()); err != nil {
		t.Fatal(err)
	}
	const first, last = "<!-- dictionary -->\n", "<!-- end of dictionary -->"
	before, rest, ok := strings.Cut(readme(t), first)
	held, after, okAfter := strings.Cut(rest, last)
	if !ok || !okAfter {
		t.Fatal("README has no place for the dictionary")
	}
	// Headings lie below those of README.
	want := "\n" + strings.ReplaceAll(dictionary.String(), "\n## ", "\n### ") + "\n"
	want = strings.Replace(want, "\n## ", "\n### ", 1)
	if held == want {
		return
	}
	if *updateReadme {
		if err := os.WriteFile(filepath.Join("..", "..", "README.md"), []byte(before+first+want+last+after), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	t.Error("README's data dictionary is stale: go test ./cmd/farstation -run ReadmeDictionary -update-readme")
}

func TestReadmeWeights(t *testing.T) {
	got := map[string][2]float64{}
	for _, row := range regexp.MustCompile(`(?m)^\| ([a-z]+) \|.*\| ([0-9.]+|–) \| ([0-9.]+|–) \|$`).FindAllStringSubmatch(readme(t), -1) {
		weight := func(cell string) float64 {
			if cell == "–" {
				return 0
			}
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		got[row[1]] = [2]float64{weight(row[2]), weight(row[3])}
	}
	test, picture := pipeline.TestWeights(), pipeline.PictureWeights()
	for _, term := range scoreTerms() {
		if want := [2]float64{test[term], picture[term]}; got[term] != want {
			t.Errorf("README has %s with the weights %v, the score has %v", term, got[term], want)
		}
		delete(got, term)
	}
	for term := range got {
		t.Errorf("README has the term %s, the score does not", term)
	}
}

// README explains every gate, and no other.
func TestReadmeGates(t *testing.T) {
	_, table, found := strings.Cut(readme(t), "| gate | value |\n| --- | --- |\n")
	if !found {
		t.Fatal("README has no table of gates")
	}
	table, _, _ = strings.Cut(table, "\n\n")
	var got, want []string
	for line := range strings.Lines(table) {
		got = append(got, "gate_"+strings.Fields(line)[1])
	}
	for _, file := range reports.Dictionary() {
		for _, column := range file.Columns {
			if strings.HasPrefix(column.Name, "gate_") {
				want = append(want, column.Name)
			}
		}
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("README explains %v, the columns are %v", got, want)
	}
}

// README lists the exit statuses that the help lists.
func TestReadmeStatuses(t *testing.T) {
	find := func(text, pattern string) (statuses []string) {
		for _, row := range regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1) {
			statuses = append(statuses, row[1])
		}
		return statuses
	}
	got, want := find(readme(t), `(?m)^\| ([0-9]+) \|`), find(rootLong, `(?m)^  ([0-9]+) `)
	if len(want) == 0 || !slices.Equal(got, want) {
		t.Errorf("README lists the statuses %v, the help %v", got, want)
	}
}

// duckdbScript answers every query of its arguments with a line of JSON: the rows as objects.
const duckdbScript = `
const { DuckDBInstance } = require('@duckdb/node-api');
(async () => {
  const connection = await (await DuckDBInstance.create(':memory:')).connect();
  for (const query of process.argv.slice(1)) {
    const reader = await connection.runAndReadAll(query);
    console.log(JSON.stringify(reader.getRowObjectsJson()));
  }
})().catch((error) => { console.error(String(error)); process.exit(1); });
`

// queryHere runs queries in the current folder and returns the rows of each.
func queryHere(t *testing.T, queries []string) [][]map[string]any {
	t.Helper()
	node, err := exec.LookPath("node")
	if err == nil {
		command := exec.Command(node, "-e", "require('@duckdb/node-api')")
		command.Env = nodeEnvironment()
		err = command.Run()
	}
	if err != nil {
		reason := "node with @duckdb/node-api is not installed: install it with npm and name its node_modules folder in FARSTATION_NODE_MODULES"
		if os.Getenv("CI") == "true" {
			t.Fatal(reason)
		}
		t.Skip(reason)
	}
	command := exec.Command(node, append([]string{"-e", duckdbScript, "--"}, queries...)...)
	command.Env = nodeEnvironment()
	var out, problems bytes.Buffer
	command.Stdout, command.Stderr = &out, &problems
	if err := command.Run(); err != nil {
		t.Fatalf("DuckDB: %v\n%s", err, problems.String())
	}
	var results [][]map[string]any
	for line := range strings.Lines(out.String()) {
		var rows []map[string]any
		if err := json.Unmarshal([]byte(line), &rows); err != nil {
			t.Fatal(err)
		}
		results = append(results, rows)
	}
	return results
}

func nodeEnvironment() []string {
	if folder := os.Getenv("FARSTATION_NODE_MODULES"); folder != "" {
		return append(os.Environ(), "NODE_PATH="+folder)
	}
	return os.Environ()
}

// The lines of README that begin with jq run as they stand, and print something.
func TestReadmeJq(t *testing.T) {
	text := readme(t)
	var lines []string
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "jq ") {
			lines = append(lines, strings.TrimSpace(line))
		}
	}
	if len(lines) < 3 {
		t.Fatalf("README has %d lines of jq", len(lines))
	}
	if _, err := exec.LookPath("jq"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("jq is not installed")
		}
		t.Skip("jq is not installed: its lines in README are not run")
	}
	runDemoHere(t)
	for _, line := range lines {
		output, err := exec.Command("sh", "-c", line).CombinedOutput()
		if err != nil || len(bytes.TrimSpace(output)) < 10 || bytes.Contains(output, []byte("null")) {
			t.Errorf("%s: %v\n%s", line, err, output)
		}
	}
}

// The files and columns that README's Python names are there.
func TestReadmePython(t *testing.T) {
	blocks := fenced(readme(t), "python")
	if len(blocks) == 0 {
		t.Fatal("README has no Python")
	}
	known := map[string]bool{"verdict = 'direct'": true}
	for _, table := range reports.Dictionary() {
		known["farstation-demo/run/"+table.File] = true
		for _, column := range table.Columns {
			known[column.Name] = true
		}
	}
	for _, found := range regexp.MustCompile(`"([^"]+)"`).FindAllStringSubmatch(strings.Join(blocks, ""), -1) {
		if !known[found[1]] {
			t.Errorf("README's Python names %q, which is no file or column", found[1])
		}
	}
}

// The queries of README run as they stand, each finds something, and together they read every Parquet file of a run.
func TestReadmeQueries(t *testing.T) {
	queries := fenced(readme(t), "sql")
	all := strings.Join(queries, "")
	for _, table := range reports.Dictionary() {
		if strings.HasSuffix(table.File, ".parquet") && !strings.Contains(all, "'farstation-demo/run/"+table.File+"'") {
			t.Errorf("no query reads %s", table.File)
		}
	}
	runDemoHere(t)
	results := queryHere(t, queries)
	if len(results) != len(queries) {
		t.Fatalf("DuckDB answered %d of %d queries", len(results), len(queries))
	}
	checked := 0
	for i, rows := range results {
		if len(rows) == 0 {
			t.Errorf("this query finds nothing:\n%s", queries[i])
		}
		for _, row := range rows {
			anew, ok := row["critical_k_from_profile"].(float64)
			if !ok {
				continue
			}
			checked++
			// The profile has the ends of the pieces alone, so the greatest of them can only be less extreme; the formula is of first order.
			if k := row["critical_k"].(float64); math.Abs(anew-k) > 0.005*math.Max(1, math.Abs(k)) {
				t.Errorf("rank %v: critical_k %.4f, from the profile %.4f, want within half a per cent", row["rank"], k, anew)
			}
		}
	}
	if want := pipeline.DefaultOptions().Top; checked != want {
		t.Errorf("%d lines were worked out from their profiles, want %d", checked, want)
	}
}
