package pipeline

import (
	"context"
	"errors"
	"time"
)

// job is a survey under way: the world that it is made in, and who looks at whom.
type job struct {
	// opts stand apart from the job: tables of the result point to them, and would keep its world in memory.
	opts    *Options
	world   *World
	plan    *plan
	clock   clock
	started time.Time
	// build is that of the program; see Build.
	build string
	// head describes the world for records.
	head *recordsHead
	// spill holds what was traced.
	spill *spill
}

// begin reads features and terrain and finds who looks at whom.
func begin(ctx context.Context, opts Options, progress *Progress) (*job, error) {
	if err := errors.Join(opts.LoadAir(), opts.Validate()); err != nil {
		return nil, err
	}
	j := &job{opts: &opts, started: time.Now()}
	j.clock = clock{now: time.Now, since: j.started}
	var err error
	if j.build, err = Build(); err != nil {
		return nil, err
	}
	if j.world, err = Load(ctx, opts, progress); err != nil {
		return nil, err
	}
	j.clock.stage("features", len(j.world.Features))
	progress.begin("find candidates", 0)
	if j.plan, err = newPlan(ctx, j.opts, j.world); err != nil {
		return nil, err
	}
	if j.head, err = newHead(j.opts, j.build, j.world, j.plan); err != nil {
		return nil, err
	}
	if j.spill, err = newSpill(j.opts.SpillFolder); err != nil {
		return nil, err
	}
	j.clock.stage("candidates", len(j.plan.targets))
	return j, nil
}

// Survey runs the main job: it reads features and terrain, predicts every sightline between them, and ranks those worth a photograph. The
// result but for its manifest depends on the options and inputs alone, not on Workers or MemoryBytes. It ends early, with the context's
// error, when ctx is cancelled.
func Survey(ctx context.Context, opts Options, progress *Progress) (*Result, error) {
	return SurveySince(ctx, opts, nil, progress)
}

// SurveySince is Survey with the records of an earlier run: pairs whose two features, parameters and terrain did not change are taken over
// from them. The result but for its manifest is that of Survey. Result.Reuse says what was taken over; records of another build or with other
// parameters are of no use, and nil ones are none.
func SurveySince(ctx context.Context, opts Options, before *RecordsFile, progress *Progress) (*Result, error) {
	j, err := begin(ctx, opts, progress)
	if err != nil {
		return nil, err
	}
	e, reuse, err := j.earlier(before)
	if err != nil {
		j.spill.Close()
		return nil, err
	}
	return j.finish(ctx, e, reuse, progress)
}

// earlier compares the job's world with that of records; both results are nil without any.
func (j *job) earlier(before *RecordsFile) (*earlier, *Reuse, error) {
	if before == nil {
		return nil, nil, nil
	}
	reuse := &Reuse{}
	e, err := newEarlier(j.opts, j.head, j.plan, []*RecordsFile{before})
	if errors.Is(err, ErrNoRecords) {
		reuse.Why, err = err.Error(), nil
	}
	return e, reuse, err
}

// finish traces all observers and makes the result.
func (j *job) finish(ctx context.Context, e *earlier, reuse *Reuse, progress *Progress) (_ *Result, err error) {
	defer func() {
		if err != nil {
			j.spill.Close()
		}
	}()
	traced, err := j.traceAll(ctx, e, Part{1, 1}, progress)
	if err != nil {
		return nil, err
	}
	j.clock.stage("trace", traced.counts.Traced)
	opts, world := j.opts, j.world

	progress.begin("rank", traced.counts.Kept)
	lines := &keptLines{spill: j.spill, opts: opts, groups: groupsOfBlocks(traced.lines), seers: traced.seers, observers: traced.counts.Observers}
	ranking, err := j.rankLines(ctx, lines, progress)
	if err != nil {
		return nil, err
	}
	alignments := &keptAlignments{spill: j.spill, groups: groupsOfBlocks(traced.alignmentBlocks())}
	if err := rankAlignments(ctx, alignments, opts.Workers); err != nil {
		return nil, err
	}
	result := &Result{
		Sightlines: lines.table(), Ranked: ranking.buckets.table(), Alignments: alignments.table(), ObserverPlace: opts.ObserverPlace, Workers: opts.Workers, spill: j.spill,
	}
	shown, err := show(ctx, result.Sightlines, result.Ranked, result.Alignments, opts.Top, opts.Workers)
	if err != nil {
		return nil, err
	}
	result.Shown = *shown
	j.clock.stage("rank", traced.counts.Kept)

	if result.Profiles, err = profiles(opts, world, result.Shown.Sightlines); err != nil {
		return nil, err
	}
	if result.Features, err = featureRows(world, j.spill); err != nil {
		return nil, err
	}
	j.clock.stage("profiles", len(result.Profiles))
	if err := result.describe(opts, world, traced); err != nil {
		return nil, err
	}
	// After the description, for what the map meets of the terrain is no part of the result.
	if box, ok := result.DrawnBox(opts.Top); ok {
		if result.Relief, err = relief(ctx, world.Store, box); err != nil {
			return nil, err
		}
	}
	result.Records = j.records(traced)
	if result.Reuse = reuse; reuse != nil {
		reuse.Whole, reuse.Partly, reuse.Anew = traced.whole, traced.partly, traced.anew
	}
	result.Reads = world.Store.Reads()
	result.Manifest.Stages = j.clock.stages
	result.Manifest.Started, result.Manifest.Finished = j.started.UTC(), j.clock.since.UTC()
	return result, nil
}

// records are those of the observers traced.
func (j *job) records(t *traced) *Records {
	head := *j.head
	head.Observers = make([]recordPlace, len(t.observers))
	for i, id := range t.observers {
		head.Observers[i].ID = id
	}
	return &Records{&head, j.spill, t.frames}
}
