package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"farstation/gazetteer"
	"farstation/geodesy"
)

// clock is the time that stages are measured with; it goes into the manifest and nowhere else.
type clock struct {
	now    func() time.Time
	since  time.Time
	stages []Stage
}

func (c *clock) stage(name string, items int) {
	now := c.now()
	c.stages = append(c.stages, Stage{Name: name, Seconds: now.Sub(c.since).Seconds(), Items: items})
	c.since = now
}

// Survey runs the main job: it reads features and terrain, predicts every sightline between them, and ranks those worth a photograph. The
// result but for its manifest depends on the options and inputs alone, not on Workers or MemoryBytes. It ends early, with the context's
// error, when ctx is cancelled.
func Survey(ctx context.Context, opts Options, progress *Progress) (*Result, error) {
	if err := opts.Validate(); err != nil {
		return nil, err
	}
	started := time.Now()
	c := &clock{now: time.Now, since: started}
	world, err := Load(ctx, opts, progress)
	if err != nil {
		return nil, err
	}
	c.stage("features", len(world.Features))

	progress.begin("find candidates", 0)
	plan, err := newPlan(ctx, &opts, world)
	if err != nil {
		return nil, err
	}
	c.stage("candidates", len(plan.targets))

	traced, err := traceAll(ctx, &opts, world, plan, progress)
	if err != nil {
		return nil, err
	}
	c.stage("trace", traced.counts.Traced)

	progress.begin("rank", 0)
	slices.SortFunc(traced.alignments, func(a, b Alignment) int {
		return cmp.Or(cmp.Compare(a.ObserverID, b.ObserverID), cmp.Compare(a.NearID, b.NearID), cmp.Compare(a.FarID, b.FarID), cmp.Compare(a.Case, b.Case))
	})
	result := &Result{Sightlines: traced.lines, Alignments: traced.alignments, ObserverPlace: opts.ObserverPlace}
	finishScores(&opts, result.Sightlines, traced.counts.Observers)
	rank(&opts, result.Sightlines)
	rankAlignments(result.Alignments)
	c.stage("rank", len(result.Sightlines))

	if result.Profiles, err = profiles(&opts, world, result.Sightlines); err != nil {
		return nil, err
	}
	result.Features = featureRows(world)
	c.stage("profiles", len(result.Profiles))
	if err := result.describe(&opts, world, traced.counts); err != nil {
		return nil, err
	}
	// After the description, for what the map meets of the terrain is no part of the result.
	if box, ok := result.DrawnBox(opts.Top); ok {
		if result.Relief, err = relief(ctx, world.Store, box); err != nil {
			return nil, err
		}
	}
	result.Manifest.Stages = c.stages
	result.Manifest.Started, result.Manifest.Finished = started.UTC(), c.since.UTC()
	return result, nil
}

// plan says who looks at whom: observers in chunks along the Hilbert curve, targets in a tree.
type plan struct {
	chunks  [][]int // of indices into World.Features
	eyes    []End   // by feature
	targets []int   // feature of each of the tree's targets
	tree    *TargetTree
	// highestM is the highest ground of the region.
	highestM float64
}

func newPlan(ctx context.Context, opts *Options, world *World) (*plan, error) {
	baseM, err := world.lowestGroundM(ctx, opts.SeaLevelM)
	if err != nil {
		return nil, err
	}
	kMax := opts.kCeiling() + keepSpreads*opts.KSD
	p := &plan{highestM: world.highestGroundM(), eyes: make([]End, len(world.Features))}
	var tops []End
	var observers []int
	for i := range world.Features {
		f := &world.Features[i]
		if slices.Contains(opts.ObserverKinds, f.Kind) && opts.Area.contains(f.At) {
			observers = append(observers, i)
			p.eyes[i] = NewEnd(f.At, opts.eyeHeightM(f), opts.eyeSDM(f), baseM, kMax)
		}
		if len(opts.TargetKinds) == 0 || slices.Contains(opts.TargetKinds, f.Kind) {
			p.targets = append(p.targets, i)
			tops = append(tops, NewEnd(f.At, topHeightM(f), opts.topSDM(f), baseM, kMax))
		}
	}
	p.tree = NewTargetTree(tops, func(from, to geodesy.LatLon) float64 { return geodesy.WGS84.Inverse(from, to).DistanceM })
	p.chunks = chunks(world.Features, observers)
	return p, nil
}

// contains tells whether a place lies in the area, its edges included; a nil area holds everything.
func (a *Area) contains(p geodesy.LatLon) bool {
	if a == nil {
		return true
	}
	if p.LatDeg < a.South || p.LatDeg > a.North {
		return false
	}
	inside := func(lon float64) bool {
		if a.West <= a.East {
			return lon >= a.West && lon <= a.East
		}
		return lon >= a.West || lon <= a.East
	}
	// The date line has two longitudes.
	return inside(p.LonDeg) || math.Abs(p.LonDeg) == 180 && inside(-p.LonDeg)
}

// traced is what the chunks gave, in their order.
type traced struct {
	lines      []Sightline
	alignments []Alignment
	counts     Counts
}

// traceAll traces the chunks on opts.Workers goroutines, each with a tracer of its own. Chunks are independent, and results are put
// together in the order of chunks, so the number of workers changes nothing.
func traceAll(ctx context.Context, opts *Options, world *World, plan *plan, progress *Progress) (*traced, error) {
	observers := 0
	for _, chunk := range plan.chunks {
		observers += len(chunk)
	}
	progress.begin("trace observers", observers)
	results := make([]*traced, len(plan.chunks))
	group, ctx := errgroup.WithContext(ctx)
	var next atomic.Int64
	for range min(max(opts.Workers, 1), max(len(plan.chunks), 1)) {
		group.Go(func() error {
			tracer := NewTracer(*opts, world.Store, world.Geoid)
			tracer.highestM = plan.highestM
			for {
				i := int(next.Add(1)) - 1
				if i >= len(plan.chunks) {
					return nil
				}
				out, err := traceChunk(ctx, tracer, world, plan, i, progress)
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
	all := &traced{counts: Counts{Verdicts: map[Verdict]int{}}}
	for i, r := range results {
		results[i] = nil // its rows live on in all
		all.lines = append(all.lines, r.lines...)
		all.alignments = append(all.alignments, r.alignments...)
		all.counts.Candidates += r.counts.Candidates
		all.counts.NearCandidates += r.counts.NearCandidates
		all.counts.TooClose += r.counts.TooClose
		all.counts.Traced += r.counts.Traced
		for v, n := range r.counts.Verdicts {
			all.counts.Verdicts[v] += n
		}
	}
	all.counts.Features, all.counts.Observers, all.counts.Targets = len(world.Features), observers, len(plan.targets)
	all.counts.Kept, all.counts.Alignments = len(all.lines), len(all.alignments)
	return all, nil
}

func traceChunk(ctx context.Context, tracer *Tracer, world *World, plan *plan, chunk int, progress *Progress) (*traced, error) {
	opts := &tracer.opts
	out := &traced{counts: Counts{Verdicts: map[Verdict]int{}}}
	var candidates []int32
	for _, at := range plan.chunks[chunk] {
		observer := &world.Features[at]
		candidates = plan.tree.Within(plan.eyes[at], opts.leastTracedM(), opts.MaxDistanceKM*1000, candidates)
		var lines []seen
		hidden := map[int32]bool{}
		for _, c := range candidates {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			target := &world.Features[plan.targets[c]]
			if target == observer {
				continue
			}
			trace, err := tracer.Trace(observer, target, false)
			if err != nil {
				return nil, err
			}
			listed := trace.Judged && opts.listed(trace.Row.DistanceM)
			out.counts.Traced++
			switch {
			case listed:
				out.counts.Candidates++
				out.counts.Verdicts[trace.Row.Verdict]++
			case trace.Judged:
				out.counts.NearCandidates++
			default:
				out.counts.TooClose++
			}
			if trace.Likely || opts.KeepAll && listed {
				lines = append(lines, seen{trace: &trace, target: target})
			}
			if trace.Judged && trace.Row.Verdict == Blocked {
				hidden[c] = true
			}
		}
		missing, tried, err := traceMissing(ctx, tracer, world, plan, at, lines, hidden)
		out.counts.Traced += tried
		if err != nil {
			return nil, err
		}
		alignments := align(opts, observer, lines, missing)
		out.commit(tracer, int32(chunk), observer, lines, missing, alignments)
		progress.add(1)
	}
	return out, nil
}

// traceMissing finds the lines of an observer whose tops the plane shows and the curve surely hides, in a frame with something in view that
// makes them tell: those of the candidates that were found blocked, and tops nearer than the farthest in view that no horizon reaches.
func traceMissing(ctx context.Context, tracer *Tracer, world *World, plan *plan, at int, lines []seen, hidden map[int32]bool) (missing []seen, tried int, err error) {
	opts := &tracer.opts
	farthest := 0.0
	inView := slices.DeleteFunc(slices.Clone(lines), func(l seen) bool { return !l.inView() })
	for _, l := range inView {
		farthest = math.Max(farthest, l.trace.Row.DistanceM)
	}
	if len(inView) == 0 {
		return nil, 0, nil
	}
	byAzimuth(inView)
	observer := &world.Features[at]
	candidate := map[string]bool{}
	for _, l := range lines {
		candidate[l.target.ID] = l.trace.Row.Verdict != Blocked
	}
	reach := End{At: observer.At, ReachM: math.Inf(1)}
	for _, c := range plan.tree.Within(reach, opts.leastTracedM(), max(maxNearShare*farthest, 1), nil) {
		target := &world.Features[plan.targets[c]]
		if target == observer || candidate[target.ID] {
			continue
		}
		hidden[c] = true
	}
	order := slices.Sorted(maps.Keys(hidden))
	for _, c := range order {
		if err := ctx.Err(); err != nil {
			return nil, 0, err
		}
		target := &world.Features[plan.targets[c]]
		arc := geodesy.WGS84.Inverse(observer.At, target.At)
		tells := false
		within(inView, arc.AzimuthDeg, math.Max(opts.FrameDeg/2, opts.ToleranceDeg), func(l seen) {
			tells = tells || opts.isNear(arc.DistanceM, l.trace.Row.DistanceM) || opts.isNear(l.trace.Row.DistanceM, arc.DistanceM)
		})
		if !tells {
			continue
		}
		tried++
		trace, ok, err := tracer.TraceMissing(observer, target)
		if err != nil {
			return nil, 0, err
		}
		if ok {
			missing = append(missing, seen{trace: &trace, target: target})
		}
	}
	return missing, tried, nil
}

// commit turns the lines and alignments of one observer into rows.
func (out *traced) commit(tracer *Tracer, chunk int32, observer *gazetteer.Feature, lines, missing []seen, alignments []Alignment) {
	opts := &tracer.opts
	features := map[string]*gazetteer.Feature{}
	for _, l := range lines {
		features[l.target.ID] = l.target
	}
	missing = slices.DeleteFunc(missing, func(l seen) bool { // kept already, under KeepAll
		_, kept := features[l.target.ID]
		features[l.target.ID] = l.target
		return kept
	})
	byFar := map[string]int{}
	best := map[string]*Alignment{}
	needed := map[string]bool{}
	absence := map[string]float64{}
	foremost := map[string]*Alignment{} // the best of any case; best keeps to those with both tops in view
	for i := range alignments {
		a := &alignments[i]
		a.Chunk = chunk
		a.Score = scoreAlignment(opts, a, observer, features[a.NearID], features[a.FarID])
		byFar[a.FarID]++
		if b := foremost[a.FarID]; b == nil || a.Score > b.Score {
			foremost[a.FarID] = a
		}
		needed[a.NearID], needed[a.FarID] = true, true
		if a.Case == NearMissingFarSeen {
			absence[a.FarID] = math.Max(absence[a.FarID], a.Chance)
		}
		if a.Case == BothInView {
			if b := best[a.FarID]; b == nil || a.Score > b.Score || a.Score == b.Score && a.EvidenceSD > b.EvidenceSD {
				best[a.FarID] = a
			}
		}
	}
	for _, l := range missing {
		if needed[l.target.ID] {
			lines = append(lines, l)
		}
	}
	inView := slices.DeleteFunc(slices.Clone(lines), func(l seen) bool { return !l.inView() })
	byAzimuth(inView)
	slices.SortFunc(lines, func(a, b seen) int { return strings.Compare(a.target.ID, b.target.ID) })
	var distances []float64
	for _, l := range lines {
		row := l.trace.Row
		if !opts.listed(row.DistanceM) {
			continue
		}
		row.Chunk = chunk
		row.AlignmentCount = int32(byFar[row.TargetID])
		var near *gazetteer.Feature
		if b := foremost[row.TargetID]; b != nil {
			row.BestAlignmentNearID = pointer(b.NearID)
		}
		if b := best[row.TargetID]; b != nil {
			near = features[b.NearID]
		}
		if v, ok := absence[row.TargetID]; ok {
			row.ScoreAbsence = pointer(v)
		}
		if b := best[row.TargetID]; b != nil && row.Verdict != Undecided {
			row.EvidenceSD = b.EvidenceSD
		}
		if row.Verdict != Undecided {
			distances = distances[:0]
			within(inView, row.AzimuthDeg, opts.FrameDeg/2, func(other seen) { distances = append(distances, other.trace.Row.DistanceM) })
			row.ScoreFan = pointer(fan(distances))
			row.ScoreLight = pointer(tracer.light(&row))
		}
		score(opts, &row, observer, l.target, best[row.TargetID], near)
		out.lines = append(out.lines, row)
	}
	out.alignments = append(out.alignments, alignments...)
}

// leastTracedM is the least distance that is traced: listed lines, or near tops.
func (o *Options) leastTracedM() float64 {
	return 1000 * math.Min(o.MinDistanceKM, o.NearMinDistanceKM)
}

// Validate tells all that is wrong with the options at once.
func (o *Options) Validate() error {
	var wrong []string
	bad := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	finite := func(name string, v float64) {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			bad("%s is %v: want a number", name, v)
		}
	}
	for name, v := range map[string]float64{"k": o.K, "k-sd": o.KSD, "eye-height-m": o.EyeHeightM, "sea-level-m": o.SeaLevelM, "low-k": o.LowK} {
		finite(name, v)
	}
	if !(o.K < 1) || o.K < -5 {
		bad("k %v: the refraction coefficient must be below 1 (and above −5); 0.13 and 1/7 are customary", o.K)
	}
	if !(o.KSD >= 0) || o.K < 1 && o.kCeiling()+keepSpreads*o.KSD >= 1 {
		bad("k-sd %v: must be 0 or more, and k + 5·k-sd below 1", o.KSD)
	}
	if o.GuardM < leastGuardM {
		bad("guard-m %v: must be %v or more: ground at the very eye is no obstacle", o.GuardM, leastGuardM)
	}
	if o.LowK >= 1 {
		bad("low-k %v: must be below 1", o.LowK)
	}
	if o.Air != AirConstant && o.Air != AirStandard {
		bad("air %q: want %s or %s", o.Air, AirConstant, AirStandard)
	}
	if !slices.Contains([]ObserverPlace{PlaceExact, PlaceBlurred, PlaceLeftOut}, o.ObserverPlace) {
		bad("observer-place %q: want %s, %s or %s", o.ObserverPlace, PlaceExact, PlaceBlurred, PlaceLeftOut)
	}
	if !(o.KOwnSD >= 0 && o.KOwnSD <= o.KSD) {
		bad("k-own-sd %v: must be 0 or more and no more than k-sd, %v: it is the part of that which two rays do not share", o.KOwnSD, o.KSD)
	}
	if !(o.ToleranceDeg >= 0 && o.ToleranceDeg <= 10) {
		bad("tolerance-deg %v: must lie within 0…10", o.ToleranceDeg)
	}
	if o.Top < 0 {
		bad("top %d: must be 0 or more", o.Top)
	}
	for name, v := range map[string]float64{"min-distance-km": o.MinDistanceKM, "max-distance-km": o.MaxDistanceKM, "near-min-distance-km": o.NearMinDistanceKM,
		"guard-m": o.GuardM, "height-sd-m": o.HeightSDM, "terrain-sd-m": o.TerrainSDM, "low-height-m": o.LowHeightM, "low-k-sd": o.LowKSD, "sea-level-sd-m": o.SeaLevelSDM} {
		if !(v >= 0) || math.IsInf(v, 0) {
			bad("%s %v: must be 0 or more", name, v)
		}
	}
	if !(o.VisualRangeKM > 0) || math.IsInf(o.VisualRangeKM, 0) {
		bad("visual-range-km %v: must be above 0", o.VisualRangeKM)
	}
	if !(o.FrameDeg > 0 && o.FrameDeg <= 60) {
		bad("frame-deg %v: must lie above 0 and up to 60", o.FrameDeg)
	}
	if !(o.TerrainCorrelationM >= 1) || math.IsInf(o.TerrainCorrelationM, 0) {
		bad("terrain-correlation-m %v: must be 1 or more", o.TerrainCorrelationM)
	}
	if o.MaxDistanceKM > 0 && o.MaxDistanceKM < o.MinDistanceKM {
		bad("max-distance-km %v lies below min-distance-km %v", o.MaxDistanceKM, o.MinDistanceKM)
	}
	if a := o.Area; a != nil && !(a.South <= a.North && a.South >= -90 && a.North <= 90 && a.West >= -180 && a.West <= 180 && a.East >= -180 && a.East <= 180) {
		bad("area %v,%v,%v,%v: want W,S,E,N in degrees with south below north", a.West, a.South, a.East, a.North)
	}
	if len(o.Features) == 0 {
		bad("no features: name a gazetteer extract")
	}
	if len(o.Terrain) == 0 {
		bad("no terrain: name an elevation tile or a folder of them")
	}
	if len(wrong) == 0 {
		return nil
	}
	slices.Sort(wrong)
	return fmt.Errorf("%w: %s", ErrOptions, strings.Join(wrong, "; "))
}

// leastGuardM is the least guard: at the eye itself the curvature that a ray can bear has no value.
const leastGuardM = 1

// ErrOptions marks options that cannot be used.
var ErrOptions = fmt.Errorf("wrong option")

// DefaultWorkers is the number of cores that the program may use.
func DefaultWorkers() int { return runtime.GOMAXPROCS(0) }
