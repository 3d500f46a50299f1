package pipeline

import (
	"context"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"

	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// Reuse says what a survey took over from an earlier run.
type Reuse struct {
	// Whole observers were taken over as they were, Partly with some pairs traced anew, Anew not at all.
	Whole  int `json:"whole"`
	Partly int `json:"partly"`
	Anew   int `json:"anew"`
	// Why says why nothing could be taken over; empty where something could.
	Why string `json:"why,omitempty"`
}

// earlier finds in the records of an earlier run, or of shares of this one, what still holds.
type earlier struct {
	opts   *Options
	files  []*RecordsFile
	places map[string]recordAt
	// same are the features that did not change, by id.
	same map[string]bool
	// added are the targets that are new or changed, removed those of the earlier run that are gone or were otherwise, with their ids and places.
	added     targetSet
	removed   targetSet
	removedID []string
	removedAt []geodesy.LatLon
	// cells are those that changed and their neighbours; everywhere, that so many did that nothing holds.
	cells [][2]int
	// reachM is the greatest reach of any target of either run.
	reachM float64
}

type recordAt struct{ file, index int }

// mostChangedCells is the number of changed cells past which no observer is held against them one by one.
const mostChangedCells = 1000

// newEarlier compares the world with that of the files, which must have been made in one and the same. Its error is ErrNoRecords where nothing
// of them holds.
func newEarlier(opts *Options, head *recordsHead, plan *plan, files []*RecordsFile) (*earlier, error) {
	e := &earlier{opts: opts, files: files, places: map[string]recordAt{}, same: map[string]bool{}}
	for i, file := range files {
		if file.head.Run != head.Run {
			return nil, fmt.Errorf("%w: other parameters, another build of the program, or another lowest or highest ground of the region", ErrNoRecords)
		}
		for j, place := range file.head.Observers {
			e.places[place.ID] = recordAt{i, j}
		}
	}
	before := &files[0].head
	if e.cells = changedCells(before.Cells, head.Cells); len(e.cells) > mostChangedCells {
		return nil, fmt.Errorf("%w: too much of the terrain was replaced", ErrNoRecords)
	}
	e.compareFeatures(before.Features, head.Features, plan)
	return e, nil
}

// compareFeatures goes through both lists, which are sorted by id.
func (e *earlier) compareFeatures(before, now []featurePrint, plan *plan) {
	tops := map[int]End{}
	for c, i := range plan.targets {
		tops[i] = plan.tree.ends[c]
		e.reachM = math.Max(e.reachM, tops[i].ReachM)
	}
	var added []int
	var addedTops, removedTops []End
	var removed []int
	old := 0
	remove := func(f *featurePrint) {
		if f.Target {
			at := geodesy.LatLon{LatDeg: f.LatDeg, LonDeg: f.LonDeg}
			removed = append(removed, len(removed))
			removedTops = append(removedTops, End{At: at, ReachM: f.ReachM})
			e.removedID, e.removedAt = append(e.removedID, f.ID), append(e.removedAt, at)
			e.reachM = math.Max(e.reachM, f.ReachM)
		}
	}
	for i := range now {
		for old < len(before) && before[old].ID < now[i].ID {
			remove(&before[old])
			old++
		}
		there := old < len(before) && before[old].ID == now[i].ID
		same := there && before[old].Print == now[i].Print
		if same {
			e.same[now[i].ID] = true
		}
		if there && !(same && now[i].Target) {
			remove(&before[old])
		}
		if now[i].Target && !(same && before[old].Target) {
			added, addedTops = append(added, i), append(addedTops, tops[i])
		}
		if there {
			old++
		}
	}
	for ; old < len(before); old++ {
		remove(&before[old])
	}
	e.added, e.removed = newTargetSet(added, addedTops), newTargetSet(removed, removedTops)
}

// changedCells returns the cells whose fingerprints differ, and their neighbours, whose missing terrain is filled from them.
func changedCells(before, now []cellPrint) [][2]int {
	prints := map[[2]int]fingerprint{}
	for _, c := range before {
		prints[[2]int{c.LatDeg, c.LonDeg}] = c.Print
	}
	changed := map[[2]int]bool{}
	change := func(at [2]int) {
		for lat := at[0] - 1; lat <= at[0]+1; lat++ {
			for lon := at[1] - 1; lon <= at[1]+1; lon++ {
				changed[[2]int{lat, wrapDeg(lon)}] = true
			}
		}
	}
	for _, c := range now {
		at := [2]int{c.LatDeg, c.LonDeg}
		if print, ok := prints[at]; !ok || print != c.Print {
			change(at)
		}
		delete(prints, at)
	}
	for at := range prints {
		change(at)
	}
	var cells [][2]int
	for at := range changed {
		cells = append(cells, at)
	}
	return cells
}

// cellPrints are the fingerprints of the terrain, sorted by corner.
func (w *World) cellPrints() ([]cellPrint, error) {
	inputs, err := w.terrainInputs()
	if err != nil {
		return nil, err
	}
	sums := map[string]string{}
	for i := range inputs {
		sums[inputs[i].Path] = inputs[i].SHA256
	}
	files := w.Index.Files()
	var prints []cellPrint
	for _, cell := range w.Index.Cells() {
		var text []byte
		for _, i := range cell.Files {
			f := &files[i]
			text = appendWire(text, reflect.ValueOf([]string{sums[f.Path], f.Source.Datum, f.Source.Surface, sums[f.Source.Geoid]}))
			text = appendWire(text, reflect.ValueOf(f.SDM))
		}
		prints = append(prints, cellPrint{cell.LatDeg, cell.LonDeg, fingerprintOf(text)})
	}
	for at := range w.hintCells {
		prints = append(prints, cellPrint{at[0], at[1], fingerprintOf([]byte("land"))})
	}
	slices.SortFunc(prints, func(a, b cellPrint) int {
		return slices.Compare([]int{a.LatDeg, a.LonDeg}, []int{b.LatDeg, b.LonDeg})
	})
	return prints, nil
}

// halfCellM is more than any cell of 1° reaches from its middle.
const halfCellM = 80e3

// terrainHolds tells whether no cell that changed is within reach of an observer's lines, and of the walks behind their tops.
func (e *earlier) terrainHolds(eye End) bool {
	reachM := eye.ReachM + e.reachM + samePlaceM
	if most := e.opts.MaxDistanceKM * 1000; most > 0 {
		reachM = math.Min(reachM, most)
	}
	reachM = math.Max(reachM, terrain.BackdropReachM) + halfCellM
	return !slices.ContainsFunc(e.cells, func(c [2]int) bool {
		middle := geodesy.LatLon{LatDeg: float64(c[0]) + 0.5, LonDeg: float64(c[1]) + 0.5}
		return math.Abs(middle.LatDeg) > 90 || geodesy.WGS84.Inverse(eye.At, middle).DistanceM <= reachM
	})
}

// takeOver makes an observer's record from the earlier one: pairs whose ends did not change are taken over, others traced or dropped. frame is
// the earlier record as it was packed where all of it holds. Without an earlier record that holds it returns nil.
func (e *earlier) takeOver(ctx context.Context, tracer *Tracer, world *World, plan *plan, at int) (rec *observerRecord, frame []byte, err error) {
	observer := &world.Features[at]
	place, ok := e.places[observer.ID]
	if !ok || !e.same[observer.ID] || !e.terrainHolds(plan.eyes[at]) {
		return nil, nil, nil
	}
	if rec, frame, err = e.files[place.file].observer(place.index); err != nil {
		return nil, nil, fmt.Errorf("record of %s in %s: %w: remove the file, or make it again", observer.ID, e.files[place.file].path, err)
	}
	added, removed := e.added.candidates(e.opts, plan, at), e.gone(observer.ID, e.removed.within(plan.eyes[at], e.opts.leastTracedM(), e.opts.MaxDistanceKM*1000))
	before := rec.inViewBefore()
	touched := len(added)+len(removed) > 0
	nearGone := []int32(nil)
	if before > 0 {
		nearGone = e.gone(observer.ID, e.removed.nearer(e.opts, observer.At, before))
		touched = touched || len(nearGone) > 0 || len(e.added.without(at, e.added.nearer(e.opts, observer.At, before))) > 0
	}
	if !touched {
		return rec, frame, nil
	}
	return rec, nil, e.amend(ctx, tracer, world, plan, at, rec, change{added: added, removed: removed, nearGone: nearGone})
}

// gone leaves an observer itself out of removed targets.
func (e *earlier) gone(observerID string, removed []int32) []int32 {
	return slices.DeleteFunc(removed, func(i int32) bool { return e.removedID[i] == observerID })
}

// inViewBefore is the distance of the farthest line in view, 0 where there is none. Features need not be known any more.
func (r *observerRecord) inViewBefore() float64 {
	farthest := 0.0
	for i := range r.Lines {
		if l := (seen{trace: &r.Lines[i].Trace}); l.inView() {
			farthest = math.Max(farthest, l.trace.Row.DistanceM)
		}
	}
	return farthest
}

// change is what changed among the targets of one observer: candidates that are new or changed, by feature, and those that are gone or were
// otherwise, by their indices in earlier; nearGone are those nearer than the farthest line in view.
type change struct{ added, removed, nearGone []int32 }

// amend brings an observer's record up to date.
//
//  1. drop what is gone or changed, and what met missing terrain, since that is known of the observer as a whole only
//  2. trace what is new, changed or dropped for its missing terrain
//  3. where the lines in view are the same, try only such tops that should be missing; else sort out all of them, by what is known
func (e *earlier) amend(ctx context.Context, tracer *Tracer, world *World, plan *plan, at int, rec *observerRecord, c change) error {
	// 1
	kept := map[string]bool{}
	for i := range rec.Lines {
		kept[rec.Lines[i].id()] = true
	}
	for i := range rec.Others {
		kept[rec.Others[i].id()] = true
	}
	drop := map[string]bool{}
	for _, i := range slices.Concat(c.removed, c.nearGone) {
		drop[e.removedID[i]] = true
	}
	for _, i := range c.removed {
		switch distanceM := geodesy.WGS84.Inverse(world.Features[at].At, e.removedAt[i]).DistanceM; {
		case kept[e.removedID[i]]:
		case e.opts.listed(distanceM):
			rec.Blocked--
		default:
			rec.NearBlocked--
		}
	}
	inViewChanged := slices.ContainsFunc(rec.Lines, func(t traceRecord) bool {
		return drop[t.id()] && seen{trace: &t.Trace}.inView()
	})
	again, triedAgain := rec.metGaps(world, drop)
	dropPairs, dropTried := maps.Clone(drop), maps.Clone(drop)
	for _, c := range again {
		dropPairs[world.Features[c].ID], dropTried[world.Features[c].ID] = true, true
	}
	for _, c := range triedAgain {
		dropTried[world.Features[c].ID] = true
	}
	rec.Lines, rec.Others = dropByID(rec.Lines, dropPairs), dropByID(rec.Others, dropPairs)
	rec.Tried, rec.Missing = dropByID(rec.Tried, dropTried), dropByID(rec.Missing, dropTried)

	// 2
	before := len(rec.Lines)
	pairs := slices.Sorted(slices.Values(slices.Concat(c.added, again)))
	if err := tracer.tracePairs(ctx, world, at, pairs, rec); err != nil {
		return err
	}
	for i := range rec.Lines[before:] {
		t := &rec.Lines[before+i]
		inViewChanged = inViewChanged || seen{trace: &t.Trace}.inView() && slices.Contains(c.added, int32(world.find(t.id())))
	}

	// 3
	inView := rec.inView(world)
	var hidden []int32
	known := triedBefore{}
	if inViewChanged {
		hidden = hiddenTops(e.opts, world, &plan.targetSet, at, rec, plan.candidates(e.opts, plan, at), inView)
		for i := range rec.Tried {
			known[rec.Tried[i].TargetID] = nil
		}
		for i := range rec.Missing {
			known[rec.Missing[i].id()] = &rec.Missing[i]
		}
		rec.Tried, rec.Missing = nil, nil
	} else {
		hidden = slices.Concat(triedAgain, hiddenTops(e.opts, world, &e.added, at, rec, pairs, inView))
		slices.Sort(hidden)
		hidden = slices.Compact(hidden)
	}
	err := tracer.traceMissing(ctx, world, at, inView, hidden, known, rec)
	rec.Met = tracer.walker.TakeMet()
	rec.sort()
	return err
}

// metGaps returns the features, but for those to be dropped, to which pairs, and tops that were tried, met missing terrain.
func (r *observerRecord) metGaps(world *World, drop map[string]bool) (pairs, tried []int32) {
	add := func(to *[]int32, id string, metGaps bool) {
		if metGaps && !drop[id] {
			*to = append(*to, int32(world.find(id)))
		}
	}
	for i := range r.Lines {
		add(&pairs, r.Lines[i].id(), r.Lines[i].MetGaps)
	}
	for i := range r.Others {
		add(&pairs, r.Others[i].id(), r.Others[i].MetGaps)
	}
	for i := range r.Tried {
		add(&tried, r.Tried[i].id(), r.Tried[i].MetGaps)
	}
	return pairs, tried
}
