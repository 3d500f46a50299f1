package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"farstation/geodesy/terrain"
	"farstation/reports"
)

// The folders inside the demo's.
const (
	demoWorldFolder = "world"
	demoRunFolder   = "run"
	// demoPartPrefix begins the name of a world that is being made.
	demoPartPrefix = ".world.part-"
)

func newDemoCommand(stdio *stdio) *cobra.Command {
	out := "farstation-demo"
	progress := progressOptions{}
	cmd := &cobra.Command{
		Use:   "demo [--out DIR]",
		Short: "Survey an invented archipelago: the whole pipeline, without data or network",
		Long: `Demo makes an invented archipelago in the South Pacific, gazetteer and elevation tiles as you would download them, faults included, and
surveys it. It prints the best sightlines, where the report lies, and the survey command to try next. An earlier demo in the same folder is
replaced.`,
		Args: atMostArgs(0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runDemo(cmd.Context(), stdio, out, progress)
		},
	}
	cmd.DisableFlagsInUseLine = true
	cmd.Flags().SortFlags = false
	cmd.Flags().StringVar(&out, "out", out, "folder `DIR` for the invented data (world) and the run folder (run)")
	progress.addFlags(cmd.Flags())
	return cmd
}

// runDemo makes the world and surveys it. A folder that it has made is removed again when it fails.
func runDemo(ctx context.Context, stdio *stdio, out string, progress progressOptions) (err error) {
	if out == "" {
		return wrongInput(errors.New("no --out: name the folder to write"))
	}
	isNew, err := prepareDemo(out)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil && isNew {
			err = errors.Join(err, os.RemoveAll(out))
		}
	}()
	features, tiles, err := placeDemoWorld(out)
	if err != nil {
		return err
	}
	o := defaultSurveyOptions()
	o.Features, o.Terrain = []string{features}, []terrain.Source{{Path: tiles}}
	o.out, o.replace, o.progress = filepath.Join(out, demoRunFolder), true, progress
	if err := runSurvey(ctx, stdio, o); err != nil {
		return err
	}
	_, err = fmt.Fprintf(stdio.out, "\nThe world is invented. To survey it yourself:\n\n  farstation survey --features %s --terrain %s --out my-run\n",
		shellWord(features), shellWord(tiles))
	return err
}

// prepareDemo makes the demo's folder, or checks that it holds an earlier demo and nothing else.
func prepareDemo(out string) (isNew bool, err error) {
	if _, err := os.Stat(out); errors.Is(err, fs.ErrNotExist) {
		if err := os.MkdirAll(out, 0o777); err != nil {
			return false, fmt.Errorf("demo folder %s: cannot be made: %w: name another with --out", out, pathCause(err))
		}
		return true, nil
	}
	if err := reports.CheckOut(filepath.Join(out, demoRunFolder), true); err != nil {
		return false, wrongInput(err)
	}
	entries, err := os.ReadDir(out)
	if err != nil {
		return false, wrongInput(fmt.Errorf("demo folder %s: cannot be read: %w: name another with --out", out, pathCause(err)))
	}
	for _, entry := range entries {
		switch name := entry.Name(); {
		case name == demoWorldFolder || name == demoRunFolder || strings.HasPrefix(name, "."+demoRunFolder+".farstation-"):
		case strings.HasPrefix(name, demoPartPrefix): // left by a demo that was killed
			if err := os.RemoveAll(filepath.Join(out, name)); err != nil {
				return false, err
			}
		default:
			return false, wrongInput(fmt.Errorf("demo folder %s: holds %s, which no demo wrote: name another folder with --out", out, name))
		}
	}
	return false, nil
}

// placeDemoWorld makes the invented world in the demo's folder, or finds it there as it would be made. A world that has been changed is
// somebody's work and is left alone.
func placeDemoWorld(out string) (features, tiles string, err error) {
	part := filepath.Join(out, demoPartPrefix+strconv.Itoa(os.Getpid()))
	if err := os.Mkdir(part, 0o777); err != nil {
		return "", "", fmt.Errorf("demo folder %s: cannot be written: %w: name another with --out", out, pathCause(err))
	}
	defer os.RemoveAll(part) // what is left of it is removed by the next demo
	if features, tiles, err = writeDemoWorld(part); err != nil {
		return "", "", err
	}
	world := filepath.Join(out, demoWorldFolder)
	for _, path := range []*string{&features, &tiles} {
		inner, err := filepath.Rel(part, *path)
		if err != nil {
			return "", "", err
		}
		*path = filepath.Join(world, inner)
	}
	if _, err := os.Lstat(world); errors.Is(err, fs.ErrNotExist) {
		return features, tiles, os.Rename(part, world)
	}
	same, err := sameFolders(part, world)
	if err != nil {
		return "", "", err
	}
	if !same {
		return "", "", wrongInput(fmt.Errorf("demo folder %s: its %s has been changed since a demo wrote it: survey that yourself, or name another folder with --out", out, demoWorldFolder))
	}
	return features, tiles, nil
}

// sameFolders tells whether two folders hold the same files with the same bytes.
func sameFolders(a, b string) (bool, error) {
	contents := func(folder string) (map[string][]byte, error) {
		files := map[string][]byte{}
		err := fs.WalkDir(os.DirFS(folder), ".", func(path string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() {
				return err
			}
			files[path], err = os.ReadFile(filepath.Join(folder, path))
			return err
		})
		return files, err
	}
	first, err := contents(a)
	if err != nil {
		return false, err
	}
	second, err := contents(b)
	if err != nil {
		return false, err
	}
	if len(first) != len(second) {
		return false, nil
	}
	for path, content := range first {
		if other, found := second[path]; !found || !bytes.Equal(content, other) {
			return false, nil
		}
	}
	return true, nil
}

// shellWord quotes a path for a shell where it needs it.
func shellWord(path string) string {
	if regexp.MustCompile(`^[A-Za-z0-9_./:=@%+,-]+$`).MatchString(path) {
		return path
	}
	return "'" + strings.ReplaceAll(path, "'", `'\''`) + "'"
}

// pathCause is what went wrong with a path, without the path.
func pathCause(err error) error {
	var failed *fs.PathError
	if errors.As(err, &failed) {
		return failed.Err
	}
	return err
}
