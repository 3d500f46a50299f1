package pipeline

import (
	"context"
	"math"
	"slices"

	"farstation/gazetteer"
	"farstation/geodesy"
)

// targetSet is some of the features as targets, in a tree.
type targetSet struct {
	targets []int // indices into World.Features, ascending
	tree    *TargetTree
}

func newTargetSet(targets []int, tops []End) targetSet {
	return targetSet{targets, NewTargetTree(tops, func(from, to geodesy.LatLon) float64 { return geodesy.WGS84.Inverse(from, to).DistanceM })}
}

// within returns the features of the set that are candidates for an eye, ascending.
func (s *targetSet) within(eye End, minM, maxM float64) []int32 {
	found := s.tree.Within(eye, minM, maxM, nil)
	for i, c := range found {
		found[i] = int32(s.targets[c])
	}
	return found
}

// candidates returns the features of the set that are candidates for an observer.
func (s *targetSet) candidates(opts *Options, plan *plan, at int) []int32 {
	return s.without(at, s.within(plan.eyes[at], opts.leastTracedM(), opts.MaxDistanceKM*1000))
}

// nearer returns the features of the set that stand nearer to a place than near tops of a far one may, whatever their horizons.
func (s *targetSet) nearer(opts *Options, at geodesy.LatLon, farM float64) []int32 {
	return s.within(End{At: at, ReachM: math.Inf(1)}, opts.leastTracedM(), max(maxNearShare*farM, 1))
}

func (s *targetSet) without(at int, found []int32) []int32 {
	return slices.DeleteFunc(found, func(c int32) bool { return int(c) == at })
}

// traceObserver traces all lines of one observer.
func traceObserver(ctx context.Context, tracer *Tracer, world *World, plan *plan, at int) (*observerRecord, error) {
	rec := &observerRecord{}
	candidates := plan.candidates(&tracer.opts, plan, at)
	if err := tracer.tracePairs(ctx, world, at, candidates, rec); err != nil {
		return nil, err
	}
	inView := rec.inView(world)
	hidden := hiddenTops(&tracer.opts, world, &plan.targetSet, at, rec, candidates, inView)
	err := tracer.traceMissing(ctx, world, at, inView, hidden, nil, rec)
	rec.Met = tracer.walker.TakeMet()
	return rec, err
}

// tracePairs traces the lines from an observer to some candidates.
func (t *Tracer) tracePairs(ctx context.Context, world *World, at int, candidates []int32, rec *observerRecord) error {
	observer := &world.Features[at]
	for _, c := range candidates {
		if err := ctx.Err(); err != nil {
			return err
		}
		trace, err := t.Trace(observer, &world.Features[c], false)
		if err != nil {
			return err
		}
		metGaps := t.walker.MetAny()
		listed := trace.Judged && t.opts.listed(trace.Row.DistanceM)
		switch {
		case trace.Likely || t.opts.KeepAll && listed:
			rec.Lines = append(rec.Lines, newTraceRecord(trace, metGaps))
		case !trace.Judged || trace.Row.Verdict != Blocked || metGaps:
			rec.Others = append(rec.Others, otherPair{world.Features[c].ID, trace.Row.Verdict, listed, metGaps})
		case listed:
			rec.Blocked++
		default:
			rec.NearBlocked++
		}
	}
	return nil
}

// inView returns the kept lines in view, by azimuth.
func (r *observerRecord) inView(world *World) []seen {
	lines := slices.DeleteFunc(world.seen(r.Lines), func(l seen) bool { return !l.inView() })
	byAzimuth(lines)
	return lines
}

// farthestM is the distance of the farthest of some lines.
func farthestM(lines []seen) float64 {
	farthest := 0.0
	for _, l := range lines {
		farthest = math.Max(farthest, l.trace.Row.DistanceM)
	}
	return farthest
}

// hiddenTops returns the features of a set, ascending, whose tops may be missing from a frame with something in view: candidates that were
// found blocked, and tops nearer than the farthest in view that no horizon reaches.
func hiddenTops(opts *Options, world *World, of *targetSet, at int, rec *observerRecord, candidates []int32, inView []seen) []int32 {
	if len(inView) == 0 {
		return nil
	}
	shown, open := map[int32]bool{}, map[int32]bool{}
	for i := range rec.Lines {
		if row := &rec.Lines[i].Row; row.Verdict != Blocked {
			shown[int32(world.find(row.TargetID))] = true
		}
	}
	for i := range rec.Others {
		if rec.Others[i].Verdict != Blocked {
			open[int32(world.find(rec.Others[i].TargetID))] = true
		}
	}
	var hidden []int32
	for _, c := range candidates {
		if !shown[c] && !open[c] {
			hidden = append(hidden, c)
		}
	}
	for _, c := range of.without(at, of.nearer(opts, world.Features[at].At, farthestM(inView))) {
		if !shown[c] {
			hidden = append(hidden, c)
		}
	}
	slices.Sort(hidden)
	return slices.Compact(hidden)
}

// triedBefore is what is known of tops that an earlier run tried, by target: the line where TraceMissing found one, else nil.
type triedBefore map[string]*traceRecord

// traceMissing finds among hidden tops those that the plane shows and the curve surely hides, in a frame with something in view that makes
// them tell. What is known of a top is taken over.
func (t *Tracer) traceMissing(ctx context.Context, world *World, at int, inView []seen, hidden []int32, known triedBefore, rec *observerRecord) error {
	observer := &world.Features[at]
	for _, c := range hidden {
		if err := ctx.Err(); err != nil {
			return err
		}
		target := &world.Features[c]
		if !tells(&t.opts, observer, target, inView) {
			continue
		}
		if before, ok := known[target.ID]; ok {
			rec.Tried = append(rec.Tried, triedTop{TargetID: target.ID})
			if before != nil {
				rec.Missing = append(rec.Missing, *before)
			}
			continue
		}
		trace, ok, err := t.TraceMissing(observer, target)
		if err != nil {
			return err
		}
		metGaps := t.walker.MetAny()
		rec.Tried = append(rec.Tried, triedTop{target.ID, metGaps})
		if ok {
			rec.Missing = append(rec.Missing, newTraceRecord(trace, metGaps))
		}
	}
	return nil
}

// tells tells whether a target out of view would stand in a frame with a line in view that makes its absence tell.
func tells(opts *Options, observer, target *gazetteer.Feature, inView []seen) bool {
	arc := geodesy.WGS84.Inverse(observer.At, target.At)
	found := false
	within(inView, arc.AzimuthDeg, math.Max(opts.FrameDeg/2, opts.ToleranceDeg), func(l seen) {
		found = found || opts.isNear(arc.DistanceM, l.trace.Row.DistanceM) || opts.isNear(l.trace.Row.DistanceM, arc.DistanceM)
	})
	return found
}
