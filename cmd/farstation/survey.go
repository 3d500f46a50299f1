package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"syscall"

	"github.com/spf13/cobra"

	"farstation/gazetteer"
	"farstation/pipeline"
	"farstation/reports"
)

// surveyOptions are the flags of survey.
type surveyOptions struct {
	pipeline.Options
	out           string
	replace       bool
	keep, rankFor string
	weights       string
	feet          bool
	share         pipeline.Part // none for the whole survey
	since         string
	profile       string
	progress      progressOptions
}

func defaultSurveyOptions() surveyOptions {
	return surveyOptions{Options: pipeline.DefaultOptions(), keep: "likely", rankFor: "test", progress: progressOptions{log: "text"}}
}

const surveyLong = `Survey reads gazetteer extracts and elevation tiles, predicts every sightline from an observer to a farther feature, and ranks those that
would settle something. It writes one folder, complete or not at all: report.html to read, ranked.csv and ranked.geojson to load elsewhere,
sightlines, alignments, features and profiles as Parquet for analysis, and run.json with all parameters and inputs. "farstation schema"
explains every column.

The same input and flags give the same bytes, run.json apart, whatever --workers and --memory are, whether the survey is made at once or in
shares that "farstation gather" makes one of, and whether or not it reuses an earlier run.

  farstation survey --features peaks.tsv --terrain tiles --area -125,-34,-121,-31 --out islands

"farstation --help" has the cautions.`

func newSurveyCommand(stdio *stdio) *cobra.Command {
	o := defaultSurveyOptions()
	cmd := &cobra.Command{
		Use:   "survey --features FILE --terrain PATH --out DIR",
		Short: "Predict and rank every sightline of a region",
		Long:  surveyLong,
		Args:  atMostArgs(0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runSurvey(cmd.Context(), stdio, o)
		},
	}
	cmd.DisableFlagsInUseLine = true
	useGroups(cmd, o.flagGroups())
	return cmd
}

func (o *surveyOptions) flagGroups() []flagGroup {
	return []flagGroup{
		newFlagGroup("Input and output", func(f flagAdder) {
			f.Var(featuresValue{&o.Options}, "features", featuresUsage)
			f.Var(terrainValue{&o.Terrain}, "terrain", terrainUsage)
			f.StringVar(&o.out, "out", "", "run folder `DIR` to write; it must not exist yet")
			f.BoolVar(&o.replace, "replace", false, "replace the earlier run that --out holds, once the new one is complete")
		}),
		newFlagGroup("Who looks at what", func(f flagAdder) {
			f.Var(areaValue{&o.Area}, "area", "observers inside `W,S,E,N` only, in degrees; targets may lie outside; W above E crosses the date line (default everywhere)")
			f.Var(kindsValue{&o.ObserverKinds, gazetteer.Kinds()}, "observer-kinds", "`KINDS` of features that are looked from, comma list")
			f.Var(kindsValue{&o.TargetKinds, nil}, "target-kinds", "`KINDS` of features that are looked at, comma list")
			f.Float64Var(&o.MinDistanceKM, "min-distance-km", o.MinDistanceKM, "least distance `KM` of listed sightlines and far tops, in kilometres")
			f.Float64Var(&o.MaxDistanceKM, "max-distance-km", o.MaxDistanceKM, "greatest distance `KM` of them, in kilometres; 0 is as far as the horizon lets it")
			f.Float64Var(&o.NearMinDistanceKM, "near-min-distance-km", o.NearMinDistanceKM, "least distance `KM` of the near top of an alignment, in kilometres")
			f.Float64Var(&o.ToleranceDeg, "tolerance-deg", o.ToleranceDeg, "two tops within `DEG` degrees of azimuth, and the spread of their places, are an alignment")
			f.Float64Var(&o.FrameDeg, "frame-deg", o.FrameDeg, "width `DEG` of the frame, in degrees, in which tops that should be missing are sought beside a far top in view")
			f.Float64Var(&o.EyeHeightM, "eye-height-m", o.EyeHeightM, "height `M` of the eye over the observer's ground, in metres")
			f.BoolVar(&o.FromTops, "from-tops", o.FromTops, "the eye is that much over the top of a tower, mast or building instead")
		}),
		newFlagGroup("Air", func(f flagAdder) {
			addAirFlags(f, &o.Options)
			f.Float64Var(&o.KOwnSD, "k-own-sd", o.KOwnSD, "part `K` of k-sd that two rays of one day do not share; weakens alignments")
			f.Float64Var(&o.VisualRangeKM, "visual-range-km", o.VisualRangeKM, "meteorological range `KM` at sea level, in kilometres, for the contrast that haze leaves; no chance depends on it")
		}),
		newFlagGroup("Heights and terrain", func(f flagAdder) { addHeightFlags(f, &o.Options) }),
		newFlagGroup("Result", func(f flagAdder) {
			f.Var(choiceValue{&o.keep, []string{"likely", "all"}}, "keep", "likely keeps sightlines with a chance of 0.01 or more at k + 5·k-sd or less, and undecided ones; all keeps every pair traced")
			f.IntVar(&o.Top, "top", o.Top, "number `N` of best sightlines that the report draws")
			f.Var(choiceValue{(*string)(&o.ObserverPlace), []string{string(pipeline.PlaceExact), string(pipeline.PlaceBlurred), string(pipeline.PlaceLeftOut)}}, "observer-place",
				"how ranked.csv, ranked.geojson and ranked.kml tell observers' places: as they are, on a grid of 0.1°, or not at all; the Parquet tables and the report always tell them")
			f.Var(choiceValue{&o.rankFor, []string{"test", "picture"}}, "rank-for", "which score ranks: as a test of the two models, or as a picture")
			addFeetFlag(f, &o.feet)
			f.StringVar(&o.weights, "weights", "", "`LIST` of weights of that score's terms instead of its own, such as reach=1,loss=1.5; terms are "+strings.Join(scoreTerms(), ", "))
		}),
		newFlagGroup("Running", func(f flagAdder) {
			f.IntVar(&o.Workers, "workers", o.Workers, "observers traced at once, `N`; 0 is one a core; changes no result")
			f.Var(bytesValue{&o.MemoryBytes}, "memory", "`SIZE` of memory to make do with, such as 512MiB, up to half of it for terrain; less reads tiles more often; changes no result")
			f.StringVar(&o.CacheFolder, "cache", "", cacheUsage)
			f.BoolVar(&o.Strict, "strict", o.Strict, "a tile that cannot be read fails the run, instead of counting as missing terrain")
			f.Var(shareValue{&o.share}, "share", "`I/N`: trace one of N parts only, I from 1, and write a share instead of a run; \"farstation gather\" makes the run of all shares")
			f.StringVar(&o.since, "since", "", "run folder `DIR` of an earlier run: reuse what it found of pairs whose features, terrain and parameters did not change")
			f.StringVar(&o.profile, "profile", "", "new folder `DIR` for cpu.pprof and heap.pprof, which \"go tool pprof\" reads: where time and memory went")
			o.progress.addFlags(f)
		}),
	}
}

// scoreTerms names the terms of both scores.
func scoreTerms() []string {
	terms := pipeline.TestWeights()
	maps.Copy(terms, pipeline.PictureWeights())
	return slices.Sorted(maps.Keys(terms))
}

// check completes the options and tells all that is wrong with them.
func (o *surveyOptions) check() error {
	var wrong []error
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Errorf(format, args...)) }
	if len(o.Features) == 0 {
		say("no --features: name a gazetteer extract, such as a GeoNames dump or a CSV with a header")
	}
	if len(o.Terrain) == 0 {
		say("no --terrain: name an elevation tile or a folder of them")
	}
	if o.out == "" {
		say("no --out: name the folder to write")
	}
	if o.profile != "" && filepath.Clean(o.profile) == filepath.Clean(o.out) {
		say("--profile %s: is the folder of --out: name another", o.profile)
	}
	if o.Top < 0 {
		say("--top %d: must be 0 or more", o.Top)
	}
	if !(o.ToleranceDeg >= 0 && o.ToleranceDeg <= 90) {
		say("--tolerance-deg %v: must lie within 0…90", o.ToleranceDeg)
	}
	if o.Workers < 0 {
		say("--workers %d: must be 0 (one a core) or more", o.Workers)
	}
	if o.Workers == 0 {
		o.Workers = pipeline.DefaultWorkers()
	}
	o.KeepAll, o.RankForPicture = o.keep == "all", o.rankFor == "picture"
	if o.weights != "" {
		base := pipeline.TestWeights()
		if o.RankForPicture {
			base = pipeline.PictureWeights()
		}
		var err error
		if o.Weights, err = pipeline.ParseWeights(o.weights, maps.Clone(base)); err != nil {
			say("--weights: %w", err)
		}
	}
	if len(wrong) == 0 {
		return o.Validate()
	}
	return errors.Join(wrong...)
}

// runSurvey surveys and writes the run folder, then says on standard output what was found. With --share it writes a share.
func runSurvey(ctx context.Context, stdio *stdio, o surveyOptions) (err error) {
	if err := o.check(); err != nil {
		return wrongInput(err)
	}
	checkOut := reports.CheckOut
	o.SpillFolder = reports.FolderFor(o.out)
	defer limitMemory(o.MemoryBytes, o.CacheFolder)()
	if o.share.Of > 0 {
		checkOut = reports.CheckShareOut
	}
	if err := checkOut(o.out, o.replace); err != nil {
		return wrongInput(err)
	}
	profile, err := startProfile(o.profile)
	if err != nil {
		return wrongInput(err)
	}
	defer func() { err = profile.finish(ctx, err) }()
	before, why, err := openSince(ctx, o.since)
	if err != nil {
		return wrongInput(err)
	}
	closeBefore := sync.OnceFunc(func() {
		if before != nil {
			before.Close()
		}
	})
	defer closeBefore()
	watcher := watch(stdio.err, o.progress)
	defer watcher.stop()
	o.SpillFolder = reports.FolderFor(o.out)
	if o.share.Of > 0 {
		share, err := pipeline.TraceShare(ctx, o.Options, o.share, before, &watcher.Progress)
		closeBefore() // what was taken over is in the new spill; the rest is not needed while files are written
		if err != nil {
			return computeError(err)
		}
		defer share.Close()
		share.Reuse = cmp.Or(share.Reuse, why)
		return writeShare(ctx, stdio, o, share, watcher)
	}
	result, err := pipeline.SurveySince(ctx, o.Options, before, &watcher.Progress)
	closeBefore()
	if err != nil {
		return computeError(err)
	}
	defer result.Close()
	result.Reuse = cmp.Or(result.Reuse, why)
	return writeRun(ctx, stdio, result, runOutput{options: &o.Options, out: o.out, replace: o.replace, feet: o.feet}, watcher)
}

// computeError marks an error of a survey. All that it does before it writes the run is read input and compute: what fails it is the input, or
// a disk that has no room for its temporary file.
func computeError(err error) error {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		return err
	}
	return wrongInput(err)
}

// openSince opens what an earlier run keeps; where that is of no use, it says why instead. It returns nothing for no run.
func openSince(ctx context.Context, run string) (*pipeline.RecordsFile, *pipeline.Reuse, error) {
	if run == "" {
		return nil, nil, nil
	}
	before, err := reports.OpenReuse(ctx, run)
	if errors.Is(err, pipeline.ErrNoRecords) {
		return nil, &pipeline.Reuse{Why: err.Error()}, nil
	}
	return before, nil, err
}

// writeShare writes the folder of a share, and says what it is.
func writeShare(ctx context.Context, stdio *stdio, o surveyOptions, share *pipeline.Share, watcher *watcher) error {
	share.Feet, share.PeakMemory = o.feet, memoryBytes()
	watcher.Begin("write files", 0)
	if err := reports.WriteShare(ctx, o.out, o.replace, share); err != nil {
		return err
	}
	watcher.finish(o.out, map[string]int{"observers": share.Observers, "traced": share.Traced}, share.Unreadable)
	text := fmt.Sprintf("Share %d of %d: %s, %s traced\n", share.Share, share.Of, plural(share.Observers, "observer", "observers"), plural(share.Traced, "line", "lines"))
	if share.Reuse != nil {
		text += reuseWords(share.Reuse) + "\n"
	}
	for _, line := range readsLines(&share.Reads) {
		text += line + "\n"
	}
	if _, err := io.WriteString(stdio.out, text); err != nil {
		return fmt.Errorf("the share is complete, but its summary could not be printed: %w", err)
	}
	return unreadableTiles(share.Unreadable)
}

// runOutput says where a run goes and how its texts are written.
type runOutput struct {
	options *pipeline.Options
	out     string
	replace bool
	feet    bool
	json    bool
}

// writeRun writes the run folder of a result, and says what was found.
func writeRun(ctx context.Context, stdio *stdio, result *pipeline.Result, to runOutput, watcher *watcher) error {
	o := to.options
	result.Manifest.PeakMemory = memoryBytes()
	report := reports.File{Name: "report.html", Write: func(w io.Writer) error {
		return reports.WriteHTML(w, result, reports.HTMLOptions{
			K: o.K, KSD: o.KSD, GuardM: o.GuardM, RankForPicture: o.RankForPicture, Weights: o.EffectiveWeights(), Top: o.Top, Doubts: allDoubts(), Feet: to.feet,
		})
	}}
	watcher.Begin("write files", 0)
	if err := reports.WriteRun(ctx, to.out, to.replace, result, []reports.File{report}); err != nil {
		return err
	}
	watcher.finish(to.out, result.Manifest.Counts, result.Manifest.Terrain.Unreadable)
	var text bytes.Buffer
	if to.json {
		if err := reports.WriteJSON(&text, result.Manifest); err != nil {
			return err
		}
	} else {
		summarise(&text, result, filepath.Join(to.out, report.Name))
	}
	if _, err := io.WriteString(stdio.out, inUnits(text.String(), to.feet && !to.json)); err != nil {
		return fmt.Errorf("the run is complete, but its summary could not be printed: %w", err)
	}
	return unreadableTiles(result.Manifest.Terrain.Unreadable)
}

// limitMemory has the garbage collector work harder as memory nears a bound, and returns what ends that. A tenth is left for what the
// collector does not count; with a cache, whose files it does not see either, the half that terrain may take.
func limitMemory(bytes int64, cache string) (restore func()) {
	limit := bytes - bytes/10
	if cache != "" {
		limit -= bytes / 2
	}
	before := debug.SetMemoryLimit(limit)
	return func() { debug.SetMemoryLimit(before) }
}

// memoryBytes is the memory that the program has asked of the system up to now, of which it hardly ever gives address space back.
func memoryBytes() int64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(min(m.Sys, math.MaxInt64))
}

// unreadableTiles is the error that ends a command which has done its work although terrain could not be read; nil for none.
func unreadableTiles(reasons []string) error {
	if len(reasons) == 0 {
		return nil
	}
	var lines []error
	for _, reason := range reasons {
		lines = append(lines, errors.New(reason))
	}
	lines = append(lines, fmt.Errorf("done, but %s counted as missing terrain: replace what cannot be read and run again", plural(len(reasons), "tile", "tiles")))
	return statusError{statusPartly, errors.Join(lines...)}
}
