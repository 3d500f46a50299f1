package pipeline

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/geoid"
	"farstation/geodesy/light"
	"farstation/geodesy/terrain"
)

// Codes of doubt that a line gets besides those of its ends.
const (
	DoubtOwnGround      = "own_ground"
	DoubtSpike          = "spike"
	DoubtTreeTops       = "tree_tops"
	DoubtTerrainMissing = "terrain_missing"
	DoubtLowAir         = "low_air"
	DoubtDucting        = "ducting"
)

// LineDoubts explains the codes that this package puts on lines, sorted by code.
func LineDoubts() []struct{ Code, Meaning string } {
	return []struct{ Code, Meaning string }{
		{DoubtDucting, "the sounding has a layer on the way that bends light as much as the Earth or more: it may hold the light, and tops come up in several images or none; the layer counts as less than that in the mean"},
		{DoubtLowAir, "more than half of what bends the ray is air within the low height of sea or ground, where k is poorly known"},
		{DoubtOwnGround, "ground within 1 km of an end decides the verdict, or is the riskiest of a chance below 0.95; critical_k_beyond_1km has the k_c of the rest"},
		{DoubtSpike, "a single post that stands over all its neighbours like nothing real makes the grazing point; critical_k_without_spikes has the k_c of the rest"},
		{DoubtTerrainMissing, "terrain is missing on the line: gaps are filled high for the verdict, and undecided_at_m says where they matter"},
		{DoubtTreeTops, "the grazing point lies on a surface of tree tops and roofs, which cuts off as much as the bare ground or more, never less"},
	}
}

const arcminPerRad = 180 * 60 / math.Pi

// ownGroundM is how near to an end ground is that end's own, so that heights of end and terrain, whose errors differ, decide over metres.
const ownGroundM = 1000

// keepChance and keepSpreads are the bounds of a line that is likely enough to be kept.
const (
	keepChance  = 0.01
	keepSpreads = 5
	loomSpreads = 3
)

// verdictOf is the verdict of a critical refraction at nominal heights. A ray that just grazes is in view.
func verdictOf(criticalK, k, kSD float64) Verdict {
	switch {
	case criticalK < 0:
		return Direct
	case criticalK <= k:
		return Refracted
	case criticalK <= k+loomSpreads*kSD:
		return Looming
	default:
		return Blocked
	}
}

// Tracer predicts single lines. It keeps scratch memory and belongs to one goroutine; store and geoid are shared.
type Tracer struct {
	opts          Options
	walker        *terrain.Walker
	geoid         *geoid.Grid
	line          terrain.Line
	section, high terrain.Section
	// highestM is the highest ground that a walk past the target may meet.
	highestM float64
	// k is the refraction coefficient of free air on the line that is traced, at its grazing point; kElevation that for the elevation of
	// its top.
	k, kElevation float64
	// ducts tells whether the line passes air that could catch light.
	ducts bool
	// lowM is the length of the last ray judged within the low height of sea or ground.
	lowM float64
	// observerID and targetID are the line under way; the target's is empty between lines.
	observerID, targetID string
	// lights remembers the term light by whole degrees of latitude and azimuth.
	lights map[[2]int]float64
}

// NewTracer returns a tracer over the terrain of a store.
func NewTracer(opts Options, store *terrain.Store, grid *geoid.Grid) *Tracer {
	return &Tracer{highestM: 9000, lights: map[[2]int]float64{}, opts: opts, walker: terrain.NewWalker(store, grid, opts.SeaLevelM), geoid: grid}
}

// eyeHeightM is the height of the eye over the geoid.
func (o *Options) eyeHeightM(f *gazetteer.Feature) float64 {
	h := f.GroundHeightM + o.EyeHeightM
	if o.FromTops {
		h += f.StructureHeightM
	}
	return h
}

func topHeightM(f *gazetteer.Feature) float64 { return f.GroundHeightM + f.StructureHeightM }

func (o *Options) groundSDM(f *gazetteer.Feature) float64 {
	if o.HeightSDM > 0 {
		return o.HeightSDM
	}
	return f.GroundHeightSDM
}

func (o *Options) eyeSDM(f *gazetteer.Feature) float64 {
	if o.FromTops {
		return math.Hypot(o.groundSDM(f), f.StructureHeightSDM)
	}
	return o.groundSDM(f)
}

func (o *Options) topSDM(f *gazetteer.Feature) float64 {
	return math.Hypot(o.groundSDM(f), f.StructureHeightSDM)
}

func (o *Options) spreads(observer, target *gazetteer.Feature) terrain.Spreads {
	return terrain.Spreads{
		K: o.K, KSD: o.KSD, LowHeightM: o.LowHeightM, LowK: o.LowK, LowKSD: o.LowKSD,
		EyeSDM: o.eyeSDM(observer), TopSDM: o.topSDM(target), SeaSDM: o.SeaLevelSDM,
		TerrainSDM: o.TerrainSDM, CorrelationM: o.TerrainCorrelationM,
	}
}

// Trace is one traced pair: the row, and what alignments need besides.
type Trace struct {
	Row Sightline
	// Judged is false where the ends are closer than their guards, so that nothing can be said.
	Judged bool
	// Likely tells whether the line is to be kept unless all are.
	Likely bool
	// EyeSDM and TopSDM are the spreads of the two end heights.
	EyeSDM, TopSDM float64
}

// Trace predicts the line from an observer to a target. Lines that are surely blocked are walked only as far as that takes, unless
// KeepAll is set. What each model shows of the target is left out for lines that are not listed (near tops of alignments) unless inFull is
// set.
func (t *Tracer) Trace(observer, target *gazetteer.Feature, inFull bool) (Trace, error) {
	o := &t.opts
	trace, ok, err := t.aim(observer, target)
	if err != nil || !ok {
		return trace, err
	}
	fail := func(err error) (Trace, error) {
		return trace, fmt.Errorf("line from %s to %s: %w", observer.ID, target.ID, err)
	}
	stopAbove := o.kCeiling() + keepSpreads*o.KSD
	if o.KeepAll {
		stopAbove = math.Inf(1)
	}
	critical, err := t.walker.Critical(&t.line, terrain.FillSea, o.GuardM, stopAbove)
	if errors.Is(err, terrain.ErrTooClose) {
		return trace, nil
	}
	if err != nil {
		return fail(err)
	}
	trace.Judged = true
	row := &trace.Row
	t.setAir(critical.AtM)
	t.describe(row, observer, target)
	if critical.Stopped {
		// Filling gaps high could only block it further.
		row.Verdict, row.CriticalK = Blocked, critical.K
		return trace, nil
	}
	row.Verdict = verdictOf(critical.K, t.k, o.KSD)
	fill := terrain.FillSea
	var filled terrain.Critical
	if critical.MissingM > 0 {
		if filled, err = t.walker.Critical(&t.line, terrain.FillHigh, o.GuardM, math.Inf(1)); err != nil {
			return fail(err)
		}
		if verdictOf(filled.K, t.k, o.KSD) != row.Verdict {
			row.Verdict = Undecided
			row.UndecidedAtM = pointer(filled.AtM)
		} else {
			// The gap does not matter: of the two the one that hides more is the careful one.
			critical, fill = filled, terrain.FillHigh
		}
	}
	if _, err := t.walker.Section(&t.line, fill, o.GuardM, &t.section); err != nil {
		return fail(err)
	}
	if err := t.judge(row, critical, fill, observer, target); err != nil {
		return fail(err)
	}
	trace.Likely = row.Verdict == Undecided || row.CriticalK <= t.k+keepSpreads*o.KSD && *row.Chance >= keepChance
	if (inFull || o.listed(t.line.DistanceM)) && (trace.Likely || o.KeepAll) {
		t.views(row, observer, target)
		if err := t.back(row); err != nil {
			return fail(err)
		}
	}
	return trace, nil
}

// aim points the tracer's line from an eye to a top. It is false for ends that are too near to each other, or farther apart than any
// sightline.
func (t *Tracer) aim(observer, target *gazetteer.Feature) (trace Trace, ok bool, err error) {
	o := &t.opts
	t.observerID, t.targetID = observer.ID, target.ID
	trace = Trace{EyeSDM: o.eyeSDM(observer), TopSDM: o.topSDM(target)}
	from := terrain.End{At: observer.At, HeightM: o.eyeHeightM(observer), UndulationM: t.geoid.UndulationM(observer.At)}
	to := terrain.End{At: target.At, HeightM: topHeightM(target), UndulationM: t.geoid.UndulationM(target.At)}
	switch err := t.line.Reset(from, to); {
	case errors.Is(err, terrain.ErrTooClose), errors.Is(err, terrain.ErrTooFar):
		return trace, false, nil
	case err != nil:
		return trace, false, fmt.Errorf("line from %s to %s: %w", observer.ID, target.ID, err)
	}
	return trace, true, nil
}

// TraceMissing predicts a line that is cut off even at k + 5·k_sd while the plane shows its top by more than missingArcmin: a top whose
// absence refutes the plane. It tells whether the line is such a one; terrain must be whole.
func (t *Tracer) TraceMissing(observer, target *gazetteer.Feature) (Trace, bool, error) {
	o := &t.opts
	trace, ok, err := t.aim(observer, target)
	if err != nil || !ok || !t.walker.PlaneShows(&t.line, o.GuardM) {
		return trace, false, err
	}
	fail := func(err error) (Trace, bool, error) {
		return trace, false, fmt.Errorf("line from %s to %s: %w", observer.ID, target.ID, err)
	}
	if _, err := t.walker.Section(&t.line, terrain.FillHigh, o.GuardM, &t.section); err != nil {
		if errors.Is(err, terrain.ErrTooClose) {
			return trace, false, nil
		}
		return fail(err)
	}
	if plane, _ := t.section.Margin(terrain.Model{Plane: true}); plane*arcminPerRad <= missingArcmin ||
		t.section.CriticalK <= o.kCeiling()+keepSpreads*o.KSD || t.section.Missing() {
		return trace, false, nil
	}
	critical, err := t.walker.Critical(&t.line, terrain.FillHigh, o.GuardM, math.Inf(1))
	if err != nil {
		return fail(err)
	}
	trace.Judged = true
	row := &trace.Row
	t.setAir(critical.AtM)
	t.describe(row, observer, target)
	row.Verdict = verdictOf(critical.K, t.k, o.KSD)
	if err := t.judge(row, critical, terrain.FillHigh, observer, target); err != nil {
		return fail(err)
	}
	if o.listed(t.line.DistanceM) {
		t.views(row, observer, target)
	}
	return trace, true, nil
}

// missingArcmin is by how much the plane must show a top whose absence is to count: what the eye resolves, and 3 pixels of a long lens.
const missingArcmin = 1

func pointer[T any](v T) *T { return &v }

// setAir sets the free air's k of the line for a grazing point.
func (t *Tracer) setAir(grazingM float64) {
	t.k, t.kElevation, t.ducts = t.opts.K, t.opts.K, false
	if t.opts.Air == AirConstant {
		return
	}
	l := &t.line
	k := func(u float64) float64 {
		at, chordM := l.At(u)
		k, ducts := t.opts.kAt(chordM + l.LiftM(t.opts.K, u) - t.geoid.UndulationM(at))
		t.ducts = t.ducts || ducts
		return k
	}
	t.k, t.kElevation = light.MeanK(l.DistanceM, math.Max(grazingM, 1), k), light.MeanK(l.DistanceM, 0, k)
}

// kCeiling is the greatest k of free air that a line may have.
func (o *Options) kCeiling() float64 {
	switch {
	case o.Air == AirStandard:
		return light.StandardK(-500) // no shore lies lower
	case o.sounding != nil:
		return math.Min(o.sounding.greatestK, o.airCap())
	}
	return o.K
}

// describe fills what needs no terrain.
func (t *Tracer) describe(row *Sightline, observer, target *gazetteer.Feature) {
	o, l := &t.opts, &t.line
	*row = Sightline{
		ObserverID: observer.ID, ObserverName: observer.Name, ObserverKind: string(observer.Kind),
		TargetID: target.ID, TargetName: target.Name, TargetKind: string(target.Kind),
		DistanceM: l.DistanceM, AzimuthDeg: l.AzimuthDeg, BackAzimuthDeg: l.BackAzimuthDeg,
		EyeHeightM: l.From.HeightM, TopHeightM: l.To.HeightM, RadiusM: l.RadiusM,
		ObserverLatDeg: observer.At.LatDeg, ObserverLonDeg: observer.At.LonDeg,
		TargetLatDeg: target.At.LatDeg, TargetLonDeg: target.At.LonDeg,
		AlikeCount: 1,
	}
	const degPerRad = 180 / math.Pi
	s := l.DistanceM
	curved := geodesy.ApparentElevationRad(l.From.HeightM+l.From.UndulationM, l.To.HeightM+l.To.UndulationM, s, l.RadiusM, t.kElevation)
	plane := geodesy.PlaneElevationRad(l.From.HeightM, l.To.HeightM, s)
	row.ElevationDeg = curved * degPerRad
	row.ElevationPlaneDeg = plane * degPerRad
	row.ElevationPlaneSameAirDeg = geodesy.PlaneElevationInAirRad(l.From.HeightM, l.To.HeightM, s, l.RadiusM, t.kElevation) * degPerRad
	row.ModelGapArcmin = (plane - curved) * arcminPerRad
	heights := math.Hypot(o.eyeSDM(observer), o.topSDM(target)) / s
	row.ElevationSDArcmin = math.Hypot(o.KSD*s/(2*l.RadiusM), heights) * arcminPerRad
}

// judge fills what decides whether the top is in view: critical refraction, margins, chance, doubts.
func (t *Tracer) judge(row *Sightline, critical terrain.Critical, fill terrain.Fill, observer, target *gazetteer.Feature) error {
	o, l := &t.opts, &t.line
	row.CriticalK, row.GrazingDistanceM, row.GrazingHeightM = critical.K, critical.AtM, critical.GroundM
	var doubts []string
	row.KFree, row.CriticalKBeyond1km, row.CriticalKWithoutSpikes = t.k, critical.K, critical.K
	if !math.IsInf(critical.WithoutSpikesK, -1) && critical.WithoutSpikesK < critical.K {
		row.CriticalKWithoutSpikes = critical.WithoutSpikesK
		doubts = append(doubts, DoubtSpike)
	}
	if critical.OnTops {
		doubts = append(doubts, DoubtTreeTops)
	}
	if !math.IsNaN(critical.KBeyond1km) {
		row.CriticalKBeyond1km = critical.KBeyond1km
		if verdictOf(critical.KBeyond1km, t.k, o.KSD) != verdictOf(critical.K, t.k, o.KSD) {
			doubts = append(doubts, DoubtOwnGround)
		}
	}
	margin, _ := t.section.Margin(terrain.Model{K: t.k})
	plane, _ := t.section.Margin(terrain.Model{Plane: true})
	row.MarginArcmin, row.MarginPlaneArcmin = margin*arcminPerRad, plane*arcminPerRad

	missing := 0.0
	for i := range t.section.Pieces {
		if t.section.Pieces[i].Missing {
			missing += t.section.Pieces[i].W
		}
	}
	row.TerrainCoverage = math.Min(math.Max(1-missing/l.DistanceM, 0), 1)

	spreads := o.spreads(observer, target)
	spreads.K = t.k
	odds := t.section.Odds(spreads)
	t.lowM = odds.LowM
	row.RiskiestDistanceM, row.KMean, row.KSD, row.CriticalKSD = odds.RiskiestM, odds.KMean, odds.KSD, odds.CriticalKSD
	row.ChanceLow, row.ChanceHigh = odds.Chance, odds.Chance
	if missing > 0 {
		doubts = append(doubts, DoubtTerrainMissing)
		other := terrain.FillHigh
		if fill == terrain.FillHigh {
			other = terrain.FillSea
		}
		if _, err := t.walker.Section(l, other, o.GuardM, &t.high); err != nil {
			return err
		}
		chance := t.high.Odds(spreads).Chance
		row.ChanceLow, row.ChanceHigh = math.Min(chance, odds.Chance), math.Max(chance, odds.Chance)
	}
	if end := math.Min(odds.RiskiestM, l.DistanceM-odds.RiskiestM); end < ownGroundM && odds.Chance < 0.95 {
		doubts = append(doubts, DoubtOwnGround)
	}
	if row.Verdict != Undecided {
		row.Chance = pointer(row.ChanceLow)
	}
	if t.ducts {
		doubts = append(doubts, DoubtDucting)
	}
	if odds.LowShare > 0.5 {
		doubts = append(doubts, DoubtLowAir)
	}
	row.Doubts = mergeDoubts(observer.Doubts, target.Doubts, doubts)
	return nil
}

// weighFront fills the evidence of a line by itself: how far the two models differ in the angle of the top over the front, over the standard
// deviation of that angle, and the height of the front. The front stands in the place of an alignment's near top.
func (t *Tracer) weighFront(row *Sightline, frontM float64, observer, target *gazetteer.Feature) {
	o, l := &t.opts, &t.line
	groundM, groundSDM := t.section.GroundAt(frontM, o.spreads(observer, target))
	row.FrontHeightM = pointer(groundM)
	spread := separationSpread{
		opts: o, radiusM: l.RadiusM, nearM: frontM, farM: l.DistanceM,
		nearRiseM: groundM - l.From.HeightM, farRiseM: l.To.HeightM - l.From.HeightM,
		nearSDM: groundSDM, farSDM: o.topSDM(target), eyeSDM: o.eyeSDM(observer),
		farPlaceSDM: target.PositionSDM, eyePlaceSDM: observer.PositionSDM,
	}
	withAir, withoutAir := spread.sdRad()
	if row.MarginArcmin < 0 {
		return // nothing to be measured of a top out of view
	}
	row.EvidenceSD = (1 - t.k) * (l.DistanceM - frontM) / (2 * l.RadiusM) / withAir
	row.FrontAngleSDArcmin, row.FrontAnglePlaneSDArcmin = pointer(withAir*arcminPerRad), pointer(withoutAir*arcminPerRad)
}

func mergeDoubts(lists ...[]string) string {
	all := slices.Concat(lists...)
	slices.Sort(all)
	return strings.Join(slices.Compact(all), ",")
}

// views fills what each model shows.
func (t *Tracer) views(row *Sightline, observer, target *gazetteer.Feature) {
	seaMet := false
	o, l := &t.opts, &t.line
	t.dim(row)
	nominal := t.section.View(terrain.Model{K: t.k})
	row.BaseHeightM, row.CutHeightM = t.section.BaseM, nominal.CutM
	for i := range t.section.Pieces {
		p := &t.section.Pieces[i]
		if isSea(p, o.SeaLevelM) {
			seaMet = true
			break
		}
	}
	if dip, horizon, err := geodesy.SeaHorizon(row.EyeHeightM-o.SeaLevelM, l.RadiusM, t.k); err == nil && seaMet {
		row.DipArcmin, row.SeaHorizonM = pointer(dip*arcminPerRad), pointer(horizon)
	}
	if obscured, err := geodesy.SeaObscuredM(math.Max(row.EyeHeightM-o.SeaLevelM, 0), l.DistanceM, l.RadiusM, t.k); err == nil {
		if row.SeaObscuredHeightM = obscured; obscured > 0 {
			row.SeaObscuredHeightM += o.SeaLevelM // a height over the geoid, as all are
		}
	}
	if row.Verdict == Undecided {
		return
	}
	height := func(v terrain.View) *float64 {
		if !v.Obscured {
			return nil
		}
		return pointer(v.ObscuredM)
	}
	plane := t.section.View(terrain.Model{Plane: true})
	row.ObscuredHeightM = height(nominal)
	row.ObscuredHeightLowKM = height(t.section.View(terrain.Model{K: t.k - 2*o.KSD}))
	row.ObscuredHeightHighKM = height(t.section.View(terrain.Model{K: t.k + 2*o.KSD}))
	row.ObscuredHeightK0M = height(t.section.View(terrain.Model{}))
	row.ObscuredHeightPlaneM = height(plane)
	row.PartInView, row.PartInViewPlane = pointer(nominal.PartInView), pointer(plane.PartInView)
	if nominal.Obscured {
		row.FrontDistanceM, row.FootDistanceM = pointer(nominal.FrontM), pointer(nominal.FootM)
		t.weighFront(row, nominal.FrontM, observer, target)
	}
	if row.MarginArcmin < 0 {
		row.LackingHeightM = pointer(math.Max(nominal.RimM-row.TopHeightM, 0))
	}
	if target.StructureHeightM > 0 {
		shows := math.Min(row.TopHeightM-math.Max(nominal.RimM, target.GroundHeightM), target.StructureHeightM)
		row.StructureInViewM = pointer(math.Max(shows, 0))
	}
	row.setAngles(nominal, plane)
}

// visualRangeCapKM stands for a visual range that no air has.
const visualRangeCapKM = 1000

// dim fills what the air leaves of the target.
func (t *Tracer) dim(row *Sightline) {
	o, l := &t.opts, &t.line
	depths := light.Path(l.DistanceM, func(x float64) float64 {
		at, chordM := l.At(x)
		return chordM + l.LiftM(t.k, x) - t.geoid.UndulationM(at)
	})
	row.Contrast = light.Haze{VisualRangeM: o.VisualRangeKM * 1000}.Contrast(depths)
	row.VisualRangeNeededKM = math.Min(light.VisualRangeNeededM(depths)/1000, visualRangeCapKM)
}

// back fills what stands behind a top in view.
func (t *Tracer) back(row *Sightline) error {
	if row.Verdict == Undecided || row.MarginArcmin < 0 {
		return nil
	}
	b, err := t.walker.Backdrop(&t.line, t.k, t.opts.GuardM, t.highestM)
	if err != nil || !b.Known {
		return err
	}
	row.SkyBehind = pointer(b.AboveRad < 0)
	if b.AtM > 0 {
		row.BackdropArcmin, row.backdropM = pointer(b.AboveRad*arcminPerRad), b.AtM
	}
	return nil
}

// setAngles keeps the share of the angle that the plane shows and the curve shows too, for the score.
func (s *Sightline) setAngles(curved, plane terrain.View) {
	s.angleCurvedRad = math.Max(curved.ElevationRad-curved.FootRad, 0)
	s.anglePlaneRad = math.Max(plane.ElevationRad-plane.FootRad, 0)
	if s.MarginArcmin < 0 {
		s.angleCurvedRad = 0
	}
}

// isSea tells whether a piece is sea: a degree without tile or land, or a cell of a tile that is flat at 0 m, as elevation sets have the
// sea.
func isSea(p *terrain.Piece, seaLevelM float64) bool {
	if p.Missing {
		return false
	}
	level := 0.0
	if p.Tile == nil {
		level = seaLevelM
	}
	return p.G == [3]float64{level, 0, 0}
}
