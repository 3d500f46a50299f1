package reports

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"syscall"

	"golang.org/x/sync/errgroup"

	"farstation/pipeline"
)

// The files of a run that this package writes.
const (
	featuresFile      = "features.parquet"
	sightlinesFile    = "sightlines.parquet"
	alignmentsFile    = "alignments.parquet"
	profilesFile      = "profiles.parquet"
	rankedCSVFile     = "ranked.csv"
	rankedGeoJSONFile = "ranked.geojson"
	rankedKMLFile     = "ranked.kml"
	dataPackageFile   = "datapackage.json"
	manifestFile      = "run.json"
	reuseFile         = "reuse.zst"
)

// mostManifestBytes bounds the run.json or share.json that is read, which may be a stranger's: that of a planet's tiles is a tenth of it.
const mostManifestBytes = 256 << 20

// File is one more file of a run folder, for example the HTML report.
type File struct {
	// Name is a plain file name, without folders.
	Name  string
	Write func(io.Writer) error
}

// Written says what a file of a run folder holds; run.json lists them all but itself.
type Written struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// runFile is run.json: the manifest, and the files that were written.
type runFile struct {
	pipeline.Manifest
	Files []Written `json:"files"`
}

// WriteRun writes the folder of a run: the Parquet tables, the ranked lists, the extra files and run.json. The folder is complete
// or absent: everything is written to a folder beside it, brought to disk and renamed. A folder that exists is an error unless
// replace is set and CheckOut finds an earlier run in it, which then stays in place until the new one is complete. When ctx is
// cancelled, what was written is removed and the error is that of ctx.
//
//  1. check dir, clear what dead runs left
//  2. write every file to the part folder and bring it to disk, the two that describe the others last
//  3. rename the part folder or have it change places with an earlier run, remove that
func WriteRun(ctx context.Context, dir string, replace bool, result *pipeline.Result, extra []File) (err error) {
	files := append(tableFiles(result), extra...)
	if result.Records != nil {
		files = append(files, File{reuseFile, result.Records.Write})
	}
	manifest := runFile{Manifest: result.Manifest}
	last := []File{
		{dataPackageFile, func(w io.Writer) error { return writeDataPackage(w, &result.Manifest, published(manifest.Files)) }},
		{manifestFile, func(w io.Writer) error { return manifest.write(w) }},
	}
	return runKind().write(ctx, dir, replace, files, last, &manifest.Files)
}

// write writes a folder of a kind, with files and then those that describe the ones written before, the manifest last of all.
func (k folderKind) write(ctx context.Context, dir string, replace bool, files, last []File, written *[]Written) (err error) {
	// 1
	if err := k.checkOut(dir, replace); err != nil {
		return err
	}
	place, err := k.place(dir)
	if err != nil {
		return err
	}
	if err := checkNames(append(slices.Clone(files), last...)); err != nil {
		return k.failed(dir, err)
	}
	if err := os.MkdirAll(place.parent, 0o777); err != nil {
		return k.failed(dir, reason(err))
	}
	part, err := place.makeBeside(partWord)
	if err != nil {
		return k.failed(dir, reason(err))
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(part))
		}
	}()

	// 2
	if *written, err = writeFiles(ctx, part, files); err != nil {
		return k.failed(dir, err)
	}
	for _, file := range last {
		one, err := writeFile(ctx, part, file)
		if err != nil {
			return k.failed(dir, err)
		}
		*written = append(*written, one)
	}
	if err := syncFolder(part); err != nil {
		return k.failed(dir, err)
	}

	// 3
	if err := ctx.Err(); err != nil {
		return k.failed(dir, err)
	}
	if err := place.commit(part, replace); err != nil {
		return k.failed(dir, err)
	}
	return nil
}

// failed names the folder that could not be written, and says what to do where the disk is full.
func (k folderKind) failed(dir string, err error) error {
	advice := ""
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		advice = ": make room, or write to a disk that has more"
	}
	return fmt.Errorf("%s folder %s: %w%s", k.word, dir, err, advice)
}

func tableFiles(result *pipeline.Result) []File {
	place := cmp.Or(result.ObserverPlace, pipeline.PlaceExact)
	return []File{
		{featuresFile, func(w io.Writer) error { return WriteFeatures(w, result.Features, result.Workers) }},
		{sightlinesFile, func(w io.Writer) error { return WriteSightlines(w, result.Sightlines, result.Workers) }},
		{alignmentsFile, func(w io.Writer) error { return WriteAlignments(w, result.Alignments, result.Workers) }},
		{profilesFile, func(w io.Writer) error { return WriteProfiles(w, result.Profiles) }},
		{rankedCSVFile, func(w io.Writer) error { return WriteRankedCSV(w, result.Ranked, result.Workers, place) }},
		{rankedGeoJSONFile, func(w io.Writer) error { return WriteRankedGeoJSON(w, result.Ranked, result.Workers, place) }},
		{rankedKMLFile, func(w io.Writer) error {
			return WriteRankedKML(w, result, place)
		}},
	}
}

// checkNames refuses names that are not plain, or stand twice.
func checkNames(files []File) error {
	var seen []string
	for _, file := range files {
		if file.Name == "" || file.Name == "." || file.Name == ".." || filepath.Base(file.Name) != file.Name {
			return fmt.Errorf("file %q: the name must be plain, without folders", file.Name)
		}
		if slices.Contains(seen, file.Name) {
			return fmt.Errorf("file %q is to be written twice", file.Name)
		}
		seen = append(seen, file.Name)
	}
	return nil
}

// WriteManifest writes run.json: indented, keys always in the same order, lists never null.
func WriteManifest(w io.Writer, manifest pipeline.Manifest, files []Written) error {
	return (&runFile{Manifest: manifest, Files: files}).write(w)
}

func (r *runFile) write(w io.Writer) error {
	m := *r
	m.Files = notNil(m.Files)
	m.Inputs = notNil(m.Inputs)
	m.Rejected = notNil(m.Rejected)
	m.Stages = notNil(m.Stages)
	m.Terrain.MissingLandCells = notNil(m.Terrain.MissingLandCells)
	m.Terrain.Unreadable = notNil(m.Terrain.Unreadable)
	if m.Parameters == nil {
		m.Parameters = map[string]any{}
	}
	if m.Counts.Verdicts == nil {
		m.Counts.Verdicts = map[pipeline.Verdict]int{}
	}
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(m); err != nil {
		return fmt.Errorf("%s: %w", manifestFile, err)
	}
	return nil
}

func notNil[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// fileMeter counts and hashes what is written, and stops once the context is cancelled.
type fileMeter struct {
	ctx   context.Context
	w     io.Writer
	bytes int64
	hash  hash.Hash
}

func (m *fileMeter) Write(b []byte) (int, error) {
	if err := m.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := m.w.Write(b)
	m.bytes += int64(n)
	m.hash.Write(b[:n])
	return n, err
}

// writeFiles writes files side by side, for packing them is most of the work.
func writeFiles(ctx context.Context, folder string, files []File) ([]Written, error) {
	written := make([]Written, len(files))
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i, file := range files {
		group.Go(func() error {
			return pipeline.Guard(func() string { return "the writing of " + file.Name }, func() (err error) {
				written[i], err = writeFile(ctx, folder, file)
				return err
			})
		})
	}
	return written, group.Wait()
}

// writeFile writes one file of the folder and brings it to disk.
func writeFile(ctx context.Context, folder string, file File) (written Written, err error) {
	if err := ctx.Err(); err != nil {
		return Written{}, err
	}
	out, err := os.Create(filepath.Join(folder, file.Name))
	if err != nil {
		return Written{}, fmt.Errorf("write %s: %w", file.Name, reason(err))
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	m := &fileMeter{ctx: ctx, w: out, hash: sha256.New()}
	if err := file.Write(m); err != nil {
		return Written{}, fmt.Errorf("write %s: %w", file.Name, reason(err))
	}
	if err := out.Sync(); err != nil {
		return Written{}, fmt.Errorf("write %s: %w", file.Name, reason(err))
	}
	return Written{file.Name, m.bytes, hex.EncodeToString(m.hash.Sum(nil))}, nil
}
