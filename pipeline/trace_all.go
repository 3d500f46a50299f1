package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sync/atomic"

	"github.com/klauspost/compress/zstd"
	"golang.org/x/sync/errgroup"

	"farstation/geodesy/terrain"
)

// traced is what the chunks gave, in their order.
type traced struct {
	counts Counts
	// observers are the ids of the observers, frames where their packed records stand.
	observers []string
	frames    []blockAt
	// met is the missing terrain that lines met which were taken over.
	met terrain.MetSet
	// whole, partly and anew count observers by how much of them was taken over.
	whole, partly, anew int
	// lines are the kept lines' blocks in order, alignments those of alignments by observer, in no order.
	lines      []rowBlock
	alignments []observerBlock
	// seers counts, by feature, the observers that have a listed line in view to it.
	seers []int32
}

// observerBlock is some or all alignments of an observer, given by its feature; the blocks of one follow each other.
type observerBlock struct {
	rowBlock
	observer int
}

// add adds what a later chunk gave.
func (t *traced) add(more *traced) {
	t.lines = append(t.lines, more.lines...)
	t.alignments = append(t.alignments, more.alignments...)
	t.observers = append(t.observers, more.observers...)
	t.frames = append(t.frames, more.frames...)
	t.met.Add(more.met.Met())
	t.whole, t.partly, t.anew = t.whole+more.whole, t.partly+more.partly, t.anew+more.anew
	t.counts.Candidates += more.counts.Candidates
	t.counts.NearCandidates += more.counts.NearCandidates
	t.counts.TooClose += more.counts.TooClose
	t.counts.Traced += more.counts.Traced
	t.counts.Kept += more.counts.Kept
	t.counts.Alignments += more.counts.Alignments
	t.counts.AlignmentsLeftOut += more.counts.AlignmentsLeftOut
	for v, n := range more.counts.Verdicts {
		t.counts.Verdicts[v] += n
	}
}

// alignmentBlocks returns the blocks of alignments in the order of their table: by the observer's id, in which features stand.
func (t *traced) alignmentBlocks() []rowBlock {
	slices.SortStableFunc(t.alignments, func(a, b observerBlock) int { return cmp.Compare(a.observer, b.observer) })
	blocks := make([]rowBlock, len(t.alignments))
	for i := range t.alignments {
		blocks[i] = t.alignments[i].rowBlock
	}
	return blocks
}

// chunkRows are rows of a chunk that are still in memory.
type chunkRows struct{ lines []keptLine }

// chunkTracer traces chunks on one goroutine.
type chunkTracer struct {
	*Tracer
	job     *job
	earlier *earlier
	packer  *zstd.Encoder
	// recordsOnly leaves out alignments and rows.
	recordsOnly bool
	// seers counts, by feature, the observers that have a listed line in view to it.
	seers []atomic.Int32
	// at is the chunk under way.
	at int
}

// where says what is being traced.
func (t *chunkTracer) where() string {
	if t.Tracer == nil {
		return "the beginning of a worker"
	}
	if t.targetID == "" {
		return fmt.Sprintf("chunk %d, observer %s", t.at, t.observerID)
	}
	return fmt.Sprintf("chunk %d, line from %s to %s", t.at, t.observerID, t.targetID)
}

// traceAll traces the chunks of a part on opts.Workers goroutines, each with a tracer of its own. Chunks are independent, and results are put
// together in the order of chunks, so the number of workers changes nothing. Of a part of several only the records are made.
func (j *job) traceAll(ctx context.Context, e *earlier, part Part, progress *Progress) (*traced, error) {
	first, end := part.chunks(len(j.plan.chunks))
	observers := 0
	for _, chunk := range j.plan.chunks[first:end] {
		observers += len(chunk)
	}
	progress.begin("trace observers", observers)
	packer, err := newPacker()
	if err != nil {
		return nil, err
	}
	results := make([]*traced, end-first)
	seers := make([]atomic.Int32, len(j.world.Features))
	group, ctx := errgroup.WithContext(ctx)
	var next atomic.Int64
	for range min(max(j.opts.Workers, 1), max(len(results), 1)) {
		group.Go(func() error {
			t := chunkTracer{job: j, earlier: e, packer: packer, recordsOnly: part.Of > 1, seers: seers}
			return Guard(t.where, func() error {
				t.Tracer = NewTracer(*j.opts, j.world.Store, j.world.Geoid)
				t.highestM = j.plan.highestM
				t.walker.TakeNote()
				for {
					i := int(next.Add(1)) - 1
					if i >= len(results) {
						return nil
					}
					out, err := t.chunk(ctx, first+i, progress)
					if err != nil {
						return err
					}
					results[i] = out
				}
			})
		})
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	all := &traced{counts: Counts{Verdicts: map[Verdict]int{}}}
	for i, r := range results {
		all.add(r)
		results[i] = nil
	}
	all.counts.Features, all.counts.Observers, all.counts.Targets = len(j.world.Features), observers, len(j.plan.targets)
	all.seers = make([]int32, len(seers))
	for i := range seers {
		all.seers[i] = seers[i].Load()
	}
	return all, nil
}

// chunk traces the observers of one chunk, or takes them over, and makes their rows.
func (t *chunkTracer) chunk(ctx context.Context, chunk int, progress *Progress) (*traced, error) {
	world, opts := t.job.world, &t.opts
	out := &traced{counts: Counts{Verdicts: map[Verdict]int{}}}
	var rows chunkRows
	t.at = chunk
	for _, at := range t.job.plan.chunks[chunk] {
		observer := &world.Features[at]
		t.observerID, t.targetID = observer.ID, ""
		rec, frame, err := t.record(ctx, at, out)
		if err != nil {
			return nil, err
		}
		t.targetID = ""
		block, err := t.job.spill.addPacked(frame)
		if err != nil {
			return nil, err
		}
		out.observers, out.frames = append(out.observers, observer.ID), append(out.frames, block)
		rec.addCounts(opts, &out.counts)
		if !t.recordsOnly {
			lines, missing := world.seen(rec.Lines), world.seen(rec.Missing)
			alignments, leftOut := align(opts, observer, lines, missing, mostAlignments)
			out.counts.AlignmentsLeftOut += leftOut
			rows.commit(t.Tracer, int32(chunk), at, world, lines, missing, alignments)
			if err := t.keepAlignments(at, alignments, out); err != nil {
				return nil, err
			}
			if err := t.keepLines(&rows, blockRows, out); err != nil {
				return nil, err
			}
		}
		progress.add(1)
	}
	return out, t.keepLines(&rows, 1, out)
}

// keepLines spills the lines of a chunk once there are least of them or more.
func (t *chunkTracer) keepLines(rows *chunkRows, least int, out *traced) error {
	if len(rows.lines) < least {
		return nil
	}
	for lines := range slices.Chunk(rows.lines, blockRows) {
		block, err := addRows(t.job.spill, lines)
		if err != nil {
			return err
		}
		out.lines = append(out.lines, rowBlock{block, len(lines)})
		out.counts.Kept += len(lines)
		for i := range lines {
			if l := &lines[i]; l.Verdict == Direct || l.Verdict == Refracted {
				t.seers[l.Target].Add(1)
			}
		}
	}
	rows.lines = rows.lines[:0]
	return nil
}

// keepAlignments spills the alignments of an observer.
func (t *chunkTracer) keepAlignments(observer int, alignments []Alignment, out *traced) error {
	slices.SortFunc(alignments, byNear)
	for some := range slices.Chunk(alignments, blockRows) {
		block, err := addRows(t.job.spill, some)
		if err != nil {
			return err
		}
		out.alignments = append(out.alignments, observerBlock{rowBlock{block, len(some)}, observer})
		out.counts.Alignments += len(some)
	}
	return nil
}

// record traces one observer, or takes it over, and packs the record.
func (t *chunkTracer) record(ctx context.Context, at int, out *traced) (rec *observerRecord, frame []byte, err error) {
	world, plan := t.job.world, t.job.plan
	if t.earlier != nil {
		if rec, frame, err = t.earlier.takeOver(ctx, t.Tracer, world, plan, at); err != nil {
			return nil, nil, err
		}
	}
	switch {
	case frame != nil:
		out.whole++
		out.met.Add(rec.Met)
		return rec, frame, nil
	case rec != nil:
		out.partly++
	default:
		out.anew++
		if rec, err = traceObserver(ctx, t.Tracer, world, plan, at); err != nil {
			return nil, nil, err
		}
	}
	return rec, t.packer.EncodeAll(rec.encode(), nil), nil
}
