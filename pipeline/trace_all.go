package pipeline

import (
	"context"
	"sync/atomic"

	"github.com/klauspost/compress/zstd"
	"golang.org/x/sync/errgroup"

	"farstation/geodesy/terrain"
)

// traced is what the chunks gave, in their order.
type traced struct {
	lines      []Sightline
	alignments []Alignment
	counts     Counts
	// observers and frames are the ids of the observers and their packed records.
	observers []string
	frames    [][]byte
	// met is the missing terrain that lines met which were taken over.
	met terrain.MetSet
	// whole, partly and anew count observers by how much of them was taken over.
	whole, partly, anew int
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
	for v, n := range more.counts.Verdicts {
		t.counts.Verdicts[v] += n
	}
}

// chunkTracer traces chunks on one goroutine.
type chunkTracer struct {
	*Tracer
	job     *job
	earlier *earlier
	packer  *zstd.Encoder
	// recordsOnly leaves out alignments and rows.
	recordsOnly bool
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
	group, ctx := errgroup.WithContext(ctx)
	var next atomic.Int64
	for range min(max(j.opts.Workers, 1), max(len(results), 1)) {
		group.Go(func() error {
			t := chunkTracer{Tracer: NewTracer(j.opts, j.world.Store, j.world.Geoid), job: j, earlier: e, packer: packer, recordsOnly: part.Of > 1}
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
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	lines, alignments := 0, 0
	for _, r := range results {
		lines, alignments = lines+len(r.lines), alignments+len(r.alignments)
	}
	all := &traced{lines: make([]Sightline, 0, lines), alignments: make([]Alignment, 0, alignments), counts: Counts{Verdicts: map[Verdict]int{}}}
	for i, r := range results {
		results[i] = nil // its rows live on in all
		all.add(r)
	}
	all.counts.Features, all.counts.Observers, all.counts.Targets = len(j.world.Features), observers, len(j.plan.targets)
	all.counts.Kept, all.counts.Alignments = len(all.lines), len(all.alignments)
	return all, nil
}

// chunk traces the observers of one chunk, or takes them over, and makes their rows.
func (t *chunkTracer) chunk(ctx context.Context, chunk int, progress *Progress) (*traced, error) {
	world, opts := t.job.world, &t.opts
	out := &traced{counts: Counts{Verdicts: map[Verdict]int{}}}
	for _, at := range t.job.plan.chunks[chunk] {
		rec, frame, err := t.record(ctx, at, out)
		if err != nil {
			return nil, err
		}
		observer := &world.Features[at]
		out.observers, out.frames = append(out.observers, observer.ID), append(out.frames, frame)
		rec.addCounts(opts, &out.counts)
		if !t.recordsOnly {
			lines, missing := world.seen(rec.Lines), world.seen(rec.Missing)
			out.commit(t.Tracer, int32(chunk), observer, lines, missing, align(opts, observer, lines, missing))
		}
		progress.add(1)
	}
	return out, nil
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
