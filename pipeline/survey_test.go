package pipeline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"
	"weak"

	"farstation/geodesy/terrain"
)

// timeless is a result without what may differ between two runs: timings, dates, memory, and what its rows are read from.
func timeless(r *held) *held {
	result := *r.Result
	result.Manifest.Stages, result.Manifest.PeakMemory = nil, 0
	result.Manifest.Started, result.Manifest.Finished = time.Time{}, time.Time{}
	result.Features, result.Sightlines, result.Alignments, result.Ranked = nil, nil, nil, nil
	result.Records, result.spill, result.Workers, result.Reads = nil, nil, 0, terrain.Reads{}
	c := *r
	c.Result = &result
	return &c
}

// sameResult tells where two results differ first.
func sameResult(t *testing.T, what string, got, want *held) {
	t.Helper()
	if reflect.DeepEqual(timeless(got), timeless(want)) {
		return
	}
	t.Errorf("%s: the result differs", what)
	for i := range want.Sightlines {
		if i < len(got.Sightlines) && !reflect.DeepEqual(got.Sightlines[i], want.Sightlines[i]) {
			t.Errorf("%s: first in sightline %d, %s to %s", what, i, want.Sightlines[i].ObserverName, want.Sightlines[i].TargetName)
			return
		}
	}
}

// A result that is being written does not keep the terrain and features that it was made from in memory.
func TestResultLetsGoOfItsWorld(t *testing.T) {
	opts := hillOptions()
	opts.Features = []string{fewHills(t, 5)}
	j, err := begin(t.Context(), opts, &Progress{})
	if err != nil {
		t.Fatal(err)
	}
	world, store := weak.Make(j.world), weak.Make(j.world.Store)
	result, err := j.finish(t.Context(), nil, nil, &Progress{})
	if err != nil {
		t.Fatal(err)
	}
	defer result.Close()
	j = nil
	runtime.GC()
	if world.Value() != nil || store.Value() != nil {
		t.Errorf("finish: the world is still in memory: %v, its store: %v; want neither", world.Value() != nil, store.Value() != nil)
	}
	runtime.KeepAlive(result)
}

// The same inputs give the same result, whatever the number of workers.
func TestSurveyOnAnyNumberOfWorkers(t *testing.T) {
	opts := hillOptions()
	opts.GuardM = 200
	opts.Features = []string{fewHills(t, 20)}
	opts.MaxDistanceKM = 60
	var want *held
	for _, workers := range []int{1, 2, 8} {
		opts.Workers = workers
		got, err := heldSurvey(t.Context(), opts, &Progress{})
		if err != nil {
			t.Fatal(err)
		}
		if want == nil {
			want = got
			checkResult(t, &opts, got)
			if chunks := got.Sightlines[len(got.Sightlines)-1].Chunk + 1; chunks < 2 || len(got.Alignments) == 0 || len(got.Profiles) == 0 {
				t.Fatalf("%d chunks, %d alignments, %d profiles: too little to tell runs apart", chunks, len(got.Alignments), len(got.Profiles))
			}
			t.Logf("%+v", got.Manifest.Counts)
			continue
		}
		sameResult(t, fmt.Sprintf("%d workers", workers), got, want)
	}
}

// Nor does it matter how little memory there is for terrain: with a byte, one tile at a time is held.
func TestSurveyInLittleMemory(t *testing.T) {
	opts := hillOptions()
	opts.Features = []string{thinned(t, func(line int, _ []string) bool { return line%250 == 0 })}
	want, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(want.Sightlines) == 0 {
		t.Fatal("no sightline")
	}
	opts.MemoryBytes = 1
	got, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	sameResult(t, "one tile in memory", got, want)

	opts.CacheFolder = t.TempDir()
	for _, decoded := range []int{got.Reads.Cells, 0} {
		got, err = heldSurvey(t.Context(), opts, nil)
		if err != nil {
			t.Fatal(err)
		}
		sameResult(t, "one tile in memory, the others in a cache", got, want)
		if got.Reads.Decoded != decoded || got.Reads.Cache.Err != nil {
			t.Errorf("%+v, %+v: want %d tiles decoded", got.Reads, got.Reads.Cache, decoded)
		}
	}
}

// What is kept: undecided lines, likely ones (chance ≥ 0.01 and k_c ≤ k + 5·k_sd), and those that a negative case needs. KeepAll keeps
// every candidate, and says the same of those.
func TestSurveyKeepsTheLikely(t *testing.T) {
	opts := hillOptions()
	opts.Features = []string{fewHills(t, 40)}
	opts.Area = &Area{West: -4, South: 55, East: -3, North: 56}
	likely, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	opts.KeepAll = true
	all, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	checkResult(t, &opts, all)
	if all.Manifest.Counts.Kept < all.Manifest.Counts.Candidates || likely.Manifest.Counts.Candidates != all.Manifest.Counts.Candidates {
		t.Errorf("of %d candidates KeepAll keeps %d; without it there are %d", all.Manifest.Counts.Candidates, all.Manifest.Counts.Kept, likely.Manifest.Counts.Candidates)
	}
	if !reflect.DeepEqual(all.Manifest.Counts.Verdicts, likely.Manifest.Counts.Verdicts) {
		t.Errorf("verdicts %v with KeepAll, %v without", all.Manifest.Counts.Verdicts, likely.Manifest.Counts.Verdicts)
	}
	needed := map[[2]string]bool{}
	for i := range likely.Alignments {
		a := &likely.Alignments[i]
		needed[[2]string{a.ObserverID, a.NearID}], needed[[2]string{a.ObserverID, a.FarID}] = true, true
	}
	kept := map[[2]string]*Sightline{}
	for i := range likely.Sightlines {
		s := &likely.Sightlines[i]
		kept[[2]string{s.ObserverID, s.TargetID}] = s
	}
	dropped := 0
	for i := range all.Sightlines {
		s := &all.Sightlines[i]
		ends := [2]string{s.ObserverID, s.TargetID}
		other := kept[ends]
		rule := s.Verdict == Undecided || s.CriticalK <= opts.K+5*opts.KSD && *s.Chance >= 0.01
		if rule && other == nil || !rule && other != nil && !needed[ends] {
			t.Errorf("%s to %s, %s, k_c %.3f, chance %v: kept %v, needed %v", s.ObserverName, s.TargetName, s.Verdict, s.CriticalK, s.Chance, other != nil, needed[ends])
		}
		if other == nil {
			dropped++
			continue
		}
		if other.CriticalK != s.CriticalK || other.Verdict != s.Verdict || !reflect.DeepEqual(other.ObscuredHeightM, s.ObscuredHeightM) || !reflect.DeepEqual(other.Chance, s.Chance) {
			t.Errorf("%s to %s: %+v kept, %+v with KeepAll", s.ObserverName, s.TargetName, other, s)
		}
	}
	if dropped == 0 {
		t.Error("nothing was dropped")
	}
	t.Logf("%d candidates, %d kept", all.Manifest.Counts.Candidates, likely.Manifest.Counts.Kept)
}

// A survey of a share of the observers says of them what the whole says.
func TestSurveyOfAnAreaIsPartOfTheWhole(t *testing.T) {
	opts := hillOptions()
	opts.Features = []string{fewHills(t, 25)}
	whole, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	opts.Area = &Area{West: -3.2, South: 55.2, East: -2.6, North: 55.8}
	part, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(part.Features) != len(whole.Features) {
		t.Errorf("%d features with an area, %d without: an area is for observers", len(part.Features), len(whole.Features))
	}
	rows := map[[2]string]*Sightline{}
	for i := range whole.Sightlines {
		s := &whole.Sightlines[i]
		rows[[2]string{s.ObserverID, s.TargetID}] = s
	}
	if len(part.Sightlines) == 0 || len(part.Sightlines) >= len(whole.Sightlines) {
		t.Fatalf("%d lines of the area, %d of the whole", len(part.Sightlines), len(whole.Sightlines))
	}
	for i := range part.Sightlines {
		got, want := part.Sightlines[i], rows[[2]string{part.Sightlines[i].ObserverID, part.Sightlines[i].TargetID}]
		if want == nil {
			t.Errorf("%s to %s is in the part alone", got.ObserverName, got.TargetName)
			continue
		}
		// Ranks, chunks and the term unique are those of the run, and scores with it.
		got.Rank, got.AlikeCount, got.Chunk = want.Rank, want.AlikeCount, want.Chunk
		got.ScoreUnique, got.ScoreTest, got.ScorePicture = want.ScoreUnique, want.ScoreTest, want.ScorePicture
		if !reflect.DeepEqual(got, *want) {
			t.Errorf("%s to %s: %+v in the part, %+v in the whole", got.ObserverName, got.TargetName, got, *want)
		}
	}
}

func TestSurveyIsCancelled(t *testing.T) {
	opts := hillOptions()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if r, err := heldSurvey(ctx, opts, nil); r != nil || !errors.Is(err, context.Canceled) {
		t.Errorf("Survey with a cancelled context = %v, %v; want context.Canceled", r, err)
	}

	// As soon as anything has begun, and in the middle of tracing.
	opts.Features = []string{fewHills(t, 10)}
	for _, stage := range []string{"", "trace observers"} {
		ctx, cancel := context.WithCancel(t.Context())
		progress := &Progress{}
		watched := make(chan struct{})
		go func() {
			defer close(watched)
			for ctx.Err() == nil {
				if now := progress.Snapshot().Stage; now != "" && (stage == "" || now == stage) {
					cancel()
				}
				runtime.Gosched()
			}
		}()
		r, err := heldSurvey(ctx, opts, progress)
		cancel()
		<-watched
		if r != nil || !errors.Is(err, context.Canceled) {
			t.Errorf("cancelled at %q: Survey = %v, %v; want context.Canceled", stage, r != nil, err)
		}
		for try := 0; ; try++ {
			left := surveyGoroutines()
			if len(left) == 0 {
				break
			}
			if try == 1000 {
				t.Errorf("cancelled at %q: goroutines are left\n%s", stage, strings.Join(left, "\n\n"))
				break
			}
			runtime.Gosched() // one that has ended may not be gone yet
		}
	}
}

// surveyGoroutines returns the stacks of goroutines that run this package's code, the tests' own aside.
func surveyGoroutines() []string {
	stacks := make([]byte, 1<<20)
	stacks = stacks[:runtime.Stack(stacks, true)]
	return slices.DeleteFunc(strings.Split(string(stacks), "\n\n"), func(stack string) bool {
		return !strings.Contains(stack, "farstation/pipeline.trace") && !strings.Contains(stack, "errgroup")
	})
}

// Files that cannot be used are errors that name them, before any line is traced.
func TestSurveyNamesBadFiles(t *testing.T) {
	opts := hillOptions()
	opts.Features = []string{"no-such-hills.csv"}
	if _, err := heldSurvey(t.Context(), opts, nil); err == nil || !strings.Contains(err.Error(), "no-such-hills.csv") {
		t.Errorf("missing gazetteer: %v", err)
	}
	opts = hillOptions()
	opts.Terrain[0].Path = "no-such-tiles"
	if _, err := heldSurvey(t.Context(), opts, nil); err == nil || !strings.Contains(err.Error(), "no-such-tiles") {
		t.Errorf("missing terrain: %v", err)
	}
	empty := t.TempDir() + "/empty.csv"
	if err := os.WriteFile(empty, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	opts = hillOptions()
	opts.Features = []string{empty}
	if _, err := heldSurvey(t.Context(), opts, nil); err == nil || !strings.Contains(err.Error(), "empty.csv") {
		t.Errorf("empty gazetteer: %v", err)
	}
}

// A gazetteer given twice lists every feature once, and counts the repeats.
func TestSurveyOfAFileGivenTwice(t *testing.T) {
	opts := hillOptions()
	few := fewHills(t, 100)
	opts.Features = []string{few}
	once, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	opts.Features = []string{few, few}
	twice, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(once.Sightlines, twice.Sightlines) || !reflect.DeepEqual(once.Features, twice.Features) {
		t.Error("a file given twice changes the result")
	}
	in := twice.Manifest.Inputs
	if in[0].Used != in[1].Rejected || in[1].Used != 0 || len(twice.Manifest.Rejected) == 0 {
		t.Errorf("the first copy is used %d times, the second %d times with %d rejected", in[0].Used, in[1].Used, in[1].Rejected)
	}
}
