package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

// recipe is the one block of README in a language that holds a word.
func recipe(t *testing.T, language, word string) string {
	t.Helper()
	blocks := slices.DeleteFunc(fenced(readme(t), language), func(block string) bool { return !strings.Contains(block, word) })
	if len(blocks) != 1 {
		t.Fatalf("README has %d blocks of %s with %q, want one", len(blocks), language, word)
	}
	return blocks[0]
}

// recipeFolder makes the folder that README's recipes are run in: the demo's world under their names.
func recipeFolder(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	features, tiles, err := writeDemoWorld(dir)
	if err != nil {
		t.Fatal(err)
	}
	for from, to := range map[string]string{features: "GB.zip", tiles: "tiles"} { // a file is known by its content
		if err := os.Rename(from, filepath.Join(dir, to)); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// runRecipe runs a command in a folder; farstation is found in PATH, where TestMain has put this test binary under the program's name.
func runRecipe(t *testing.T, dir string, environment []string, name string, args ...string) string {
	t.Helper()
	command := exec.Command(name, args...)
	command.Dir, command.Env = dir, append(os.Environ(), environment...)
	output, err := command.CombinedOutput()
	if err != nil {
		t.Fatalf("%s %q: %v\n%s", name, args, err, output)
	}
	return string(output)
}

func wantSameRuns(t *testing.T, a, b string) {
	t.Helper()
	if difference, err := sameRuns(a, b); err != nil || difference != "" {
		t.Errorf("%s and %s: %v\n%s", filepath.Base(a), filepath.Base(b), err, difference)
	}
}

// need returns where a program is; without it the test is skipped, or in CI fails.
func need(t *testing.T, program, hint string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		missing(t, program+" is not installed: "+hint)
	}
	return path
}

func missing(t *testing.T, reason string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatal(reason)
	}
	t.Skip(reason)
}

// manifestOfJob is what a Job of batch/v1 may hold, as far as README uses it (Kubernetes API reference, Job v1 and Pod v1, from memory).
type manifestOfJob struct {
	APIVersion string `yaml:"apiVersion"`
	Kind       string
	Metadata   struct{ Name string }
	Spec       struct {
		CompletionMode string `yaml:"completionMode"`
		Completions    int
		Parallelism    int
		BackoffLimit   int `yaml:"backoffLimit"`
		Template       struct {
			Spec struct {
				RestartPolicy string `yaml:"restartPolicy"`
				Containers    []struct {
					Name, Image   string
					WorkingDir    string `yaml:"workingDir"`
					Command, Args []string
					Resources     struct{ Requests, Limits map[string]string }
					VolumeMounts  []struct {
						Name      string
						MountPath string `yaml:"mountPath"`
					} `yaml:"volumeMounts"`
				}
				Volumes []struct {
					Name  string
					Claim struct {
						Name string `yaml:"claimName"`
					} `yaml:"persistentVolumeClaim"`
				}
			}
		}
	}
}

// The manifest is an Indexed Job, and what its pods run makes the shares of one survey.
func TestReadmeKubernetes(t *testing.T) {
	decoder := yaml.NewDecoder(strings.NewReader(recipe(t, "yaml", "kind: Job")))
	decoder.KnownFields(true)
	var job manifestOfJob
	if err := decoder.Decode(&job); err != nil {
		t.Fatal(err)
	}
	pod := &job.Spec.Template.Spec
	name := regexp.MustCompile(`^[a-z]([-a-z0-9]*[a-z0-9])?$`) // RFC 1035 labels
	quantity := regexp.MustCompile(`^[0-9]+(m|[KMG]i)?$`)
	if job.APIVersion != "batch/v1" || job.Kind != "Job" || job.Spec.CompletionMode != "Indexed" || !name.MatchString(job.Metadata.Name) ||
		job.Spec.Completions < 2 || job.Spec.Parallelism < 1 || job.Spec.BackoffLimit < job.Spec.Completions {
		t.Errorf("%+v is no Indexed Job whose pods may each fail once", job)
	}
	if !slices.Contains([]string{"Never", "OnFailure"}, pod.RestartPolicy) || len(pod.Containers) != 1 || len(pod.Volumes) != 1 {
		t.Fatalf("%+v is no pod of a Job with one container and one volume", pod)
	}
	c := &pod.Containers[0]
	if !name.MatchString(c.Name) || c.Image == "" || len(c.VolumeMounts) != 1 || c.VolumeMounts[0].Name != pod.Volumes[0].Name || c.VolumeMounts[0].MountPath != c.WorkingDir || pod.Volumes[0].Claim.Name == "" {
		t.Errorf("%+v does not work in the volume %+v", c, pod.Volumes)
	}
	for _, values := range []map[string]string{c.Resources.Requests, c.Resources.Limits} {
		for of, value := range values {
			if !quantity.MatchString(value) || of != "cpu" && of != "memory" {
				t.Errorf("%s: %s is no quantity of cpu or memory", of, value)
			}
		}
	}
	dir := recipeFolder(t)
	for index := range job.Spec.Completions {
		environment := []string{fmt.Sprint("JOB_COMPLETION_INDEX=", index)}
		runRecipe(t, dir, environment, c.Command[0], append(slices.Clone(c.Command[1:]), c.Args...)...)
	}
	// A pod that is run again finds its share made.
	if output := runRecipe(t, dir, []string{"JOB_COMPLETION_INDEX=0"}, c.Command[0], append(slices.Clone(c.Command[1:]), c.Args...)...); output != "" {
		t.Errorf("run again, the first pod says %q", output)
	}
	runRecipe(t, dir, nil, "sh", "-c", "farstation gather --quiet shares/* --out runs/britain && farstation survey --quiet --features GB.zip --terrain tiles --out one")
	wantSameRuns(t, filepath.Join(dir, "runs/britain"), filepath.Join(dir, "one"))
}

// Two nights of the script: the second reuses the first, gives what a whole survey gives, and tells the changes.
func TestReadmeNightly(t *testing.T) {
	dir := recipeFolder(t)
	script := filepath.Join(dir, "nightly.sh")
	if err := os.WriteFile(script, []byte(recipe(t, "sh", "nightly.sh")), 0o755); err != nil {
		t.Fatal(err)
	}
	runRecipe(t, dir, nil, script)
	features := filepath.Join(dir, "GB.zip")
	before, err := os.ReadFile(features)
	if err != nil {
		t.Fatal(err)
	}
	after := bytes.Replace(before, []byte(",1175,"), []byte(",1400,"), 1)
	if bytes.Equal(before, after) {
		t.Fatal("no feature of the demo is 1,175 m high")
	}
	if err := os.WriteFile(features, after, 0o644); err != nil {
		t.Fatal(err)
	}
	output := runRecipe(t, dir, nil, script)
	if !regexp.MustCompile(`(?m)^Reused: .* [1-9][0-9]* in part; `).MatchString(output) {
		t.Errorf("the second night reused nothing:\n%s", output)
	}
	runRecipe(t, dir, nil, "farstation", "survey", "--quiet", "--features", "GB.zip", "--terrain", "tiles", "--out", "whole")
	wantSameRuns(t, filepath.Join(dir, "runs/now"), filepath.Join(dir, "whole"))
	changes, err := os.ReadFile(filepath.Join(dir, "changes.txt"))
	if err != nil || !strings.Contains(string(changes), "Features: ") {
		t.Errorf("changes.txt: %v\n%s", err, changes)
	}
	// The third night nothing is new.
	runRecipe(t, dir, nil, script)
	if changes, err = os.ReadFile(filepath.Join(dir, "changes.txt")); err != nil || string(changes) != "Nothing differs.\n" {
		t.Errorf("changes.txt of the third night: %v\n%s", err, changes)
	}
}

// The line of cron has five fields of time and a command (crontab(5)).
func TestReadmeCron(t *testing.T) {
	line := recipe(t, "crontab", "nightly.sh")
	if !regexp.MustCompile(`^[0-5]?[0-9] [0-2]?[0-9] \* \* \* cd "[^%"]+" && \./nightly\.sh [^%\n]*\n$`).MatchString(line) {
		t.Errorf("%q is no line of crontab that runs the script once a day", line)
	}
}

// systemd itself finds nothing wrong with the units.
func TestReadmeSystemd(t *testing.T) {
	analyze := need(t, "systemd-analyze", "install systemd")
	dir := t.TempDir()
	service := recipe(t, "ini", "[Service]")
	program := regexp.MustCompile(`(?m)^ExecStart=(/\S+)$`).FindStringSubmatch(service)
	if program == nil {
		t.Fatal("the service starts nothing")
	}
	// What the unit names is of the reader's machine: it is checked here with what every machine has.
	service = strings.NewReplacer(program[1], "/bin/true", "User=surveyor", "User=root").Replace(service)
	for name, unit := range map[string]string{"nightly.service": service, "nightly.timer": recipe(t, "ini", "[Timer]")} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(unit), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"nightly.service", "nightly.timer"} {
		output := runRecipe(t, dir, nil, analyze, "verify", "--man=no", "./"+name)
		if strings.Contains(output, "nightly") {
			t.Errorf("%s:\n%s", name, output)
		}
	}
}
