package reports

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"farstation/pipeline"
)

// Verification is what came of verifying a run.
type Verification struct {
	Run      string             `json:"run"`
	Against  string             `json:"against,omitempty"`
	Findings []pipeline.Finding `json:"rules"`
	// Differences are the first values that differ from the run it was held against.
	Differences []pipeline.Difference `json:"differences,omitempty"`
}

// Count returns how many rules ended with a result.
func (v *Verification) Count(result string) int {
	n := 0
	for _, f := range v.Findings {
		if f.Result == result {
			n++
		}
	}
	return n
}

// VerifyOptions say how much is looked at.
type VerifyOptions struct {
	// Sample is the number of sightlines computed again, 0 or more.
	Sample int
	// Against is another run folder to compare with; empty for none.
	Against string
}

// mostDifferences bounds the listed differences of two runs.
const mostDifferences = 20

// Verify holds a run folder against its rules: its files against their hashes and the data dictionary, its tables against each other, a sample
// of its rows against a second computation. Whatever is wrong with the run is a finding; the error is that of ctx, or of a folder that holds no
// run.
func Verify(ctx context.Context, dir string, o VerifyOptions) (*Verification, error) {
	run, err := readRun(dir)
	if err != nil {
		return nil, err
	}
	v := &Verification{Run: dir, Against: o.Against}
	for _, rule := range []struct {
		title string
		check func() (note string, err error)
	}{
		{"run.json lists the files of a run, and they are there", func() (string, error) { return run.checkNames(dir) }},
		{"every file has the size and SHA-256 that run.json states", func() (string, error) { return run.checkHashes(ctx, dir) }},
		{"tables have the columns and types of the data dictionary, and no nulls but where it allows them", func() (string, error) { return checkSchemas(ctx, dir) }},
		{"GeoParquet metadata is valid, and every box holds its geometry", func() (string, error) { return checkGeo(ctx, dir) }},
		{"ranked.csv, ranked.geojson and ranked.kml are those of the tables", func() (string, error) { return run.checkRanked(dir) }},
	} {
		note, err := rule.check()
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		v.Findings = append(v.Findings, pipeline.NewFinding(rule.title, note, err))
	}
	tables := tablesOf(dir)
	found, err := pipeline.VerifyTables(ctx, &run.Manifest, tables, o.Sample)
	if err != nil {
		return nil, err
	}
	v.Findings = append(v.Findings, found...)
	if o.Against != "" {
		other, err := readRun(o.Against)
		if err != nil {
			return nil, err
		}
		found, differences, err := pipeline.CompareRuns(ctx, &run.Manifest, &other.Manifest, tables, tablesOf(o.Against), mostDifferences)
		if err != nil {
			return nil, err
		}
		v.Findings, v.Differences = append(v.Findings, found...), differences
	}
	return v, nil
}

// readRun reads the run.json of a folder.
func readRun(dir string) (*runFile, error) {
	text, err := pipeline.ReadRegular(filepath.Join(dir, manifestFile), mostManifestBytes)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("run folder %s: holds no %s: name the folder that survey wrote", dir, manifestFile)
	}
	if err != nil {
		return nil, fmt.Errorf("run folder %s: %s: %w", dir, manifestFile, reason(err))
	}
	var run runFile
	if err := json.Unmarshal(text, &run); err != nil {
		return nil, fmt.Errorf("run folder %s: %s: %w", dir, manifestFile, err)
	}
	if run.Version == "" {
		return nil, fmt.Errorf("run folder %s: its %s has no farstation_version: name the folder that survey wrote", dir, manifestFile)
	}
	return &run, nil
}

// checkNames wants the tables among the files of run.json, and every file of it in the folder.
func (r *runFile) checkNames(dir string) (string, error) {
	var off []string
	for _, table := range Dictionary() {
		if !slices.ContainsFunc(r.Files, func(f Written) bool { return f.Name == table.File }) {
			off = append(off, table.File+" is not listed")
		}
	}
	for _, f := range r.Files {
		if r.mayLack(dir, f) {
			continue
		}
		if filepath.Base(f.Name) != f.Name {
			off = append(off, fmt.Sprintf("%q is no plain name", f.Name))
		} else if info, err := os.Lstat(filepath.Join(dir, f.Name)); err != nil || !info.Mode().IsRegular() {
			off = append(off, f.Name+" is missing")
		}
	}
	return fmt.Sprintf("%d files", len(r.Files)), joinFaults(off)
}

// readWritten reads a file of a folder and says what it holds.
func readWritten(ctx context.Context, dir, name string) (is Written, err error) {
	file, err := pipeline.OpenRegular(filepath.Join(dir, filepath.Base(name)))
	if err != nil {
		return Written{}, err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	meter := &fileMeter{ctx: ctx, w: io.Discard, hash: sha256.New()}
	_, err = io.Copy(meter, file)
	return Written{name, meter.bytes, hex.EncodeToString(meter.hash.Sum(nil))}, err
}

// mayLack tells whether a file is not there and need not be: what a later run would reuse says nothing of this one.
func (r *runFile) mayLack(dir string, f Written) bool {
	if f.Name != reuseFile {
		return false
	}
	_, err := os.Lstat(filepath.Join(dir, f.Name))
	return errors.Is(err, fs.ErrNotExist)
}

// checkHashes reads every file that run.json lists.
func (r *runFile) checkHashes(ctx context.Context, dir string) (string, error) {
	var off []string
	for _, f := range r.Files {
		if r.mayLack(dir, f) {
			continue
		}
		if is, err := readWritten(ctx, dir, f.Name); err != nil {
			off = append(off, fmt.Sprintf("%s: %v", f.Name, reason(err)))
		} else if is != f {
			off = append(off, fmt.Sprintf("%s has %d bytes and SHA-256 %s, run.json says %d and %s", f.Name, is.Bytes, is.SHA256, f.Bytes, f.SHA256))
		}
	}
	return fmt.Sprintf("%d files", len(r.Files)), joinFaults(off)
}

// joinFaults is the error of all that is wrong, nil for nothing.
func joinFaults(off []string) error {
	if len(off) == 0 {
		return nil
	}
	return errors.New(strings.Join(off, "; "))
}

// checkRanked writes the ranked lists again and compares them with the files. What is ranked is held in memory, as the lists' writers ask.
func (r *runFile) checkRanked(dir string) (string, error) {
	opts, err := pipeline.OptionsOf(&r.Manifest)
	if err != nil {
		return "", err
	}
	result := &pipeline.Result{Manifest: r.Manifest, ObserverPlace: opts.ObserverPlace}
	tables := tablesOf(dir)
	var features []pipeline.FeatureRow
	for row, err := range tables.Features {
		if err != nil {
			return "", err
		}
		features = append(features, *row)
	}
	result.Features = pipeline.GroupsOf(features)
	var lines []pipeline.Sightline
	var alignments []pipeline.Alignment
	far := map[endIDs]bool{}
	for row, err := range tables.Alignments {
		if err != nil {
			return "", err
		}
		if row.Rank != nil {
			alignments = append(alignments, *row)
			far[endIDs{row.ObserverID, row.FarID}] = true
		}
	}
	for row, err := range tables.Sightlines {
		if err != nil {
			return "", err
		}
		if row.Rank != nil || far[endIDs{row.ObserverID, row.TargetID}] {
			lines = append(lines, *row)
		}
	}
	result.Shown = pipeline.ShownOf(lines, alignments)
	result.Ranked = pipeline.GroupsOf(result.Shown.Sightlines[:result.Shown.Ranked])
	for _, file := range tableFiles(result) {
		if filepath.Ext(file.Name) == ".parquet" {
			continue
		}
		var want bytes.Buffer
		if err := file.Write(&want); err != nil {
			return "", err
		}
		is, err := pipeline.ReadRegular(filepath.Join(dir, file.Name), max(2*int64(want.Len()), 1<<20))
		if err != nil {
			return "", fmt.Errorf("%s: %w", file.Name, reason(err))
		}
		if line := differsAtLine(want.Bytes(), is); line > 0 {
			return "", fmt.Errorf("%s differs from the tables in line %d", file.Name, line)
		}
	}
	return fmt.Sprintf("%d sightlines", result.Shown.Ranked), nil
}

// differsAtLine is the first line in which two texts differ, 0 where they are one.
func differsAtLine(a, b []byte) int {
	if bytes.Equal(a, b) {
		return 0
	}
	n := 0
	for n < min(len(a), len(b)) && a[n] == b[n] {
		n++
	}
	return 1 + bytes.Count(a[:n], []byte("\n"))
}

// tablesOf gives the tables of a run folder, read in batches.
func tablesOf(dir string) *pipeline.Tables {
	return &pipeline.Tables{
		Features: rowsOf[pipeline.FeatureRow](filepath.Join(dir, featuresFile), nil),
		Sightlines: rowsOf(filepath.Join(dir, sightlinesFile), func(s *pipeline.Sightline, e *lineEndsDeg) {
			s.ObserverLatDeg, s.ObserverLonDeg, s.TargetLatDeg, s.TargetLonDeg = e.fromLat, e.fromLon, e.toLat, e.toLon
		}),
		Alignments: rowsOf(filepath.Join(dir, alignmentsFile), func(a *pipeline.Alignment, e *lineEndsDeg) {
			a.ObserverLatDeg, a.ObserverLonDeg, a.FarLatDeg, a.FarLonDeg = e.fromLat, e.fromLon, e.toLat, e.toLon
		}),
		Profiles: profilesOf(filepath.Join(dir, profilesFile)),
	}
}

// profilesOf gathers the rows of profiles.parquet into profiles.
func profilesOf(path string) iter.Seq2[*pipeline.Profile, error] {
	return func(yield func(*pipeline.Profile, error) bool) {
		var p *pipeline.Profile
		for r, err := range rowsOf[profileRow](path, nil) {
			if err != nil {
				yield(nil, err)
				return
			}
			if p == nil || p.ObserverID != r.ObserverID || p.TargetID != r.TargetID {
				if p != nil && !yield(p, nil) {
					return
				}
				p = &pipeline.Profile{ObserverID: r.ObserverID, TargetID: r.TargetID}
			}
			p.Samples = append(p.Samples, r.sample())
		}
		if p != nil {
			yield(p, nil)
		}
	}
}
