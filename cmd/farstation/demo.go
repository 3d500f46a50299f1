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
	"farstation/pipeline"
	"farstation/reports"
)

// The folders inside the demo's.
const (
	demoWorldFolder      = "world"
	demoPhotographFolder = "photograph"
	demoRunFolder        = "run"
)

// demoPartPrefix begins the name of a folder that is being made.
func demoPartPrefix(folder string) string { return "." + folder + ".part-" }

func newDemoCommand(stdio *stdio) *cobra.Command {
	out := "farstation-demo"
	progress := progressOptions{}
	cmd := &cobra.Command{
		Use:   "demo [--out DIR]",
		Short: "Survey an invented archipelago: the whole pipeline, without data or network",
		Long: `Demo makes an invented archipelago in the South Pacific, gazetteer and elevation tiles as you would download them, faults included, and
surveys it. It prints the best sightlines, where the report lies, and the survey command to try next. Beside them it puts a photograph, drawn from that
terrain, with points measured on it, and prints the command that weighs it. An earlier demo in the same folder is replaced.`,
		Args: atMostArgs(0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runDemo(cmd.Context(), stdio, out, progress)
		},
	}
	cmd.DisableFlagsInUseLine = true
	cmd.Flags().SortFlags = false
	cmd.Flags().StringVar(&out, "out", out, "folder `DIR` for the invented data (world), the photograph (photograph) and the run folder (run)")
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
	if err := placeDemoFolder(out, demoPhotographFolder, writeDemoPhotograph); err != nil {
		return err
	}
	o := defaultSurveyOptions()
	o.Features, o.Terrain = []string{features}, []terrain.Source{{Path: tiles}}
	o.out, o.replace, o.progress = filepath.Join(out, demoRunFolder), true, progress
	if err := runSurvey(ctx, stdio, o); err != nil {
		return err
	}
	photograph := filepath.Join(out, demoPhotographFolder)
	world := fmt.Sprintf("--features %s --terrain %s", shellWord(features), shellWord(tiles))
	_, err = fmt.Fprintf(stdio.out, "\nThe world is invented. To survey it yourself:\n\n  farstation survey %s --out my-run\n"+
		"\nSo is the photograph taken in it. To weigh it:\n\n  farstation weigh --photo %s --points %s %s --out my-photograph\n",
		world, shellWord(filepath.Join(photograph, demoPhotoName)), shellWord(filepath.Join(photograph, demoPointsName)), world)
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
		case name == demoWorldFolder || name == demoPhotographFolder || name == demoRunFolder || strings.HasPrefix(name, "."+demoRunFolder+".farstation-"):
		case strings.HasPrefix(name, demoPartPrefix(demoWorldFolder)) || strings.HasPrefix(name, demoPartPrefix(demoPhotographFolder)): // left by a demo that was killed
			if err := os.RemoveAll(filepath.Join(out, name)); err != nil {
				return false, err
			}
		default:
			return false, wrongInput(fmt.Errorf("demo folder %s: holds %s, which no demo wrote: name another folder with --out", out, name))
		}
	}
	return false, nil
}

// placeDemoWorld makes the invented world in the demo's folder, or finds it there as it would be made.
func placeDemoWorld(out string) (features, tiles string, err error) {
	err = placeDemoFolder(out, demoWorldFolder, func(dir string) error {
		if features, tiles, err = writeDemoWorld(dir); err != nil {
			return err
		}
		for _, path := range []*string{&features, &tiles} {
			inner, err := filepath.Rel(dir, *path)
			if err != nil {
				return err
			}
			*path = filepath.Join(out, demoWorldFolder, inner)
		}
		return nil
	})
	return features, tiles, err
}

// placeDemoFolder makes one of the folders of the demo with write, or finds it there as it would be made. One that has been changed is somebody's
// work and is left alone.
func placeDemoFolder(out, folder string, write func(dir string) error) error {
	part := filepath.Join(out, demoPartPrefix(folder)+strconv.Itoa(os.Getpid()))
	if err := os.Mkdir(part, 0o777); err != nil {
		return fmt.Errorf("demo folder %s: cannot be written: %w: name another with --out", out, pathCause(err))
	}
	defer os.RemoveAll(part) // what is left of it is removed by the next demo
	if err := write(part); err != nil {
		return err
	}
	place := filepath.Join(out, folder)
	if _, err := os.Lstat(place); errors.Is(err, fs.ErrNotExist) {
		return os.Rename(part, place)
	}
	same, err := sameFolders(part, place)
	if err != nil {
		return err
	}
	if !same {
		return wrongInput(fmt.Errorf("demo folder %s: its %s has been changed since a demo wrote it: use that yourself, or name another folder with --out", out, folder))
	}
	return nil
}

// sameFolders tells whether two folders hold the same files with the same bytes.
func sameFolders(a, b string) (bool, error) {
	contents := func(folder string) (map[string][]byte, error) {
		files := map[string][]byte{}
		err := fs.WalkDir(os.DirFS(folder), ".", func(path string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() {
				return err
			}
			files[path], err = pipeline.ReadRegular(filepath.Join(folder, path), 1<<28)
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
