package pipeline

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"time"

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
	stage := Stage{Name: name, Seconds: now.Sub(c.since).Seconds(), Items: items, MemoryBytes: MemoryBytes()}
	if stage.Seconds > 0 {
		stage.PerSecond = float64(items) / stage.Seconds
	}
	c.stages = append(c.stages, stage)
	c.since = now
}

// plan says who looks at whom: observers in chunks along the Hilbert curve, targets in a tree.
type plan struct {
	chunks [][]int // of indices into World.Features
	eyes   []End   // by feature
	targetSet
	// lowestM and highestM are the lowest and highest ground of the region.
	lowestM, highestM float64
}

func newPlan(ctx context.Context, opts *Options, world *World) (*plan, error) {
	baseM, err := world.lowestGroundM(ctx, opts)
	if err != nil {
		return nil, err
	}
	kMax := opts.kCeiling() + keepSpreads*opts.KSD
	p := &plan{lowestM: baseM, highestM: world.highestGroundM(), eyes: make([]End, len(world.Features))}
	var tops []End
	var observers, targets []int
	for i := range world.Features {
		f := &world.Features[i]
		if slices.Contains(opts.ObserverKinds, f.Kind) && opts.Area.contains(f.At) {
			observers = append(observers, i)
			p.eyes[i] = NewEnd(f.At, opts.eyeHeightM(f), opts.eyeSDM(f), baseM, kMax)
		}
		if len(opts.TargetKinds) == 0 || slices.Contains(opts.TargetKinds, f.Kind) {
			targets = append(targets, i)
			tops = append(tops, NewEnd(f.At, topHeightM(f), opts.topSDM(f), baseM, kMax))
		}
	}
	p.targetSet = newTargetSet(targets, tops)
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

// commit turns the lines and alignments of one observer into rows. The alignments are completed where they stand.
func (out *chunkRows) commit(tracer *Tracer, chunk int32, observer int, world *World, lines, missing []seen, alignments []Alignment) {
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
		a.Score = scoreAlignment(opts, a, &world.Features[observer], features[a.NearID], features[a.FarID])
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
		score(opts, &row, &world.Features[observer], l.target, best[row.TargetID], near)
		out.lines = append(out.lines, keptLine{row, int32(observer), int32(world.find(row.TargetID))})
	}
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
