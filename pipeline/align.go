package pipeline

import (
	"cmp"
	"math"
	"slices"
	"sort"
	"strings"

	"farstation/gazetteer"
)

// seen is one traced line of an observer with the features at its ends, as alignments need it.
type seen struct {
	trace  *Trace
	target *gazetteer.Feature
}

// maxNearShare is the greatest share of the far top's distance at which a near top stands.
const maxNearShare = 0.8

// byAzimuth sorts lines by azimuth, then target id.
func byAzimuth(lines []seen) {
	slices.SortFunc(lines, func(a, b seen) int {
		return cmp.Or(cmp.Compare(a.trace.Row.AzimuthDeg, b.trace.Row.AzimuthDeg), cmp.Compare(a.target.ID, b.target.ID))
	})
}

// within calls visit for every line of a list sorted by azimuth that lies within windowDeg of an azimuth, across north too.
func within(lines []seen, azimuthDeg, windowDeg float64, visit func(seen)) {
	from := math.Mod(azimuthDeg-windowDeg+360, 360)
	start := sort.Search(len(lines), func(i int) bool { return lines[i].trace.Row.AzimuthDeg >= from })
	for i := range lines {
		l := lines[(start+i)%len(lines)]
		if math.Mod(l.trace.Row.AzimuthDeg-from+360, 360) > 2*windowDeg {
			return
		}
		visit(l)
	}
}

func (l seen) inView() bool { return l.trace.Row.Verdict == Direct || l.trace.Row.Verdict == Refracted }

// align finds the alignments of one observer. Among the lines in view: pairs of a near and a far top within the tolerance of each other in
// azimuth, widened by the spread of the azimuth difference. With missing, the lines that TraceMissing found: far tops that the curve
// hides behind a near top in view, the plane does not; and near tops missing from the frame of a farther top in view, at most
// missingPerFar for each, the deepest first. Pairs come sorted by near, then far id.
//
// Pairs grow with the square of the tops in view, so only the most with the greatest evidence are returned; leftOut counts the others.
func align(opts *Options, observer *gazetteer.Feature, lines, missing []seen, most int) (out []Alignment, leftOut int) {
	least := math.Inf(-1) // no alignment of less evidence can be among the most
	shorten := func() {
		leftOut += len(out) - most
		out = mostEvident(out, most)
		least = out[most-1].EvidenceSD
	}
	keep := func(found []Alignment) {
		for i := range found {
			if found[i].EvidenceSD < least {
				leftOut++
				continue
			}
			if out = append(out, found[i]); len(out) > 2*most {
				shorten()
			}
		}
	}
	inView := slices.DeleteFunc(slices.Clone(lines), func(l seen) bool { return !l.inView() })
	byAzimuth(inView)
	byAzimuth(missing)
	// The widest window that any pair of this observer may need.
	widest := 0.0
	for _, l := range slices.Concat(inView, missing) {
		widest = math.Max(widest, (l.target.PositionSDM+observer.PositionSDM)/l.trace.Row.DistanceM)
	}
	window := opts.ToleranceDeg + 2*widest*180/math.Pi
	pairs := func(far seen, kind Case, limit int) {
		f := &far.trace.Row
		if !opts.listed(f.DistanceM) {
			return
		}
		var found []Alignment
		within(inView, f.AzimuthDeg, window, func(near seen) {
			if opts.isNear(near.trace.Row.DistanceM, f.DistanceM) {
				if kind == BothInView && !math.IsInf(least, -1) && evidenceSD(opts, observer, near, far) < least {
					if differenceDeg, sdDeg := azimuthDifference(observer, near, far); aligned(opts, differenceDeg*60, sdDeg*60) {
						leftOut++
					}
					return
				}
				a := newAlignment(opts, observer, near, far, kind)
				if aligned(opts, a.AzimuthDifferenceArcmin, a.AzimuthDifferenceSD) && (kind == BothInView || a.SeparationArcmin < 0) {
					found = append(found, a)
				}
			}
		})
		keep(best(found, limit, func(a *Alignment) float64 { return a.EvidenceSD }))
	}
	for _, far := range inView {
		pairs(far, BothInView, 0)
	}
	for _, far := range missing {
		pairs(far, FarBehindNear, missingPerFar)
	}
	for _, far := range inView {
		f := &far.trace.Row
		if !opts.listed(f.DistanceM) {
			continue
		}
		var found []Alignment
		within(missing, f.AzimuthDeg, opts.FrameDeg/2, func(near seen) {
			if opts.isNear(near.trace.Row.DistanceM, f.DistanceM) {
				a := newAlignment(opts, observer, near, far, NearMissingFarSeen)
				a.depthArcmin = -near.trace.Row.MarginArcmin
				found = append(found, a)
			}
		})
		keep(best(found, missingPerFar, func(a *Alignment) float64 { return a.depthArcmin }))
	}
	if len(out) > most {
		shorten()
	}
	slices.SortFunc(out, byNear)
	markMiddles(out)
	return out, leftOut
}

// mostAlignments bounds the alignments of one observer: more than anybody looks through, and some 70 MB.
const mostAlignments = 50_000

// mostEvident returns the alignments of the greatest evidence, in a slice of their own size.
func mostEvident(found []Alignment, most int) []Alignment {
	slices.SortFunc(found, func(a, b Alignment) int { return cmp.Or(cmp.Compare(b.EvidenceSD, a.EvidenceSD), byNear(a, b)) })
	clear(found[most:]) // lets go of their texts
	return found[:most]
}

func byNear(a, b Alignment) int {
	return cmp.Or(cmp.Compare(a.NearID, b.NearID), cmp.Compare(a.FarID, b.FarID), cmp.Compare(a.Case, b.Case))
}

// markMiddles names, for every pair in view, the tops between the two that are aligned with both, in what is sorted by near and far id.
func markMiddles(all []Alignment) {
	fars := map[string][]string{} // of each near top, sorted as all is
	for i := range all {
		if a := &all[i]; a.Case == BothInView {
			fars[a.NearID] = append(fars[a.NearID], a.FarID)
		}
	}
	for i := range all {
		a := &all[i]
		if a.Case != BothInView {
			continue
		}
		var middles []string
		for _, middle := range fars[a.NearID] {
			if _, both := slices.BinarySearch(fars[middle], a.FarID); both {
				middles = append(middles, middle)
			}
		}
		a.MiddleIDs = strings.Join(middles, ",")
	}
}

// missingPerFar bounds the negative cases of one far top.
const missingPerFar = 20

// best returns the limit alignments of the greatest value, all of them for 0; equals in the order of their near ids.
func best(found []Alignment, limit int, value func(*Alignment) float64) []Alignment {
	if limit == 0 || len(found) <= limit {
		return found
	}
	slices.SortFunc(found, func(a, b Alignment) int {
		return cmp.Or(cmp.Compare(value(&b), value(&a)), cmp.Compare(a.NearID, b.NearID))
	})
	return found[:limit]
}

func (o *Options) isNear(nearM, farM float64) bool {
	return nearM <= maxNearShare*farM && nearM >= o.NearMinDistanceKM*1000
}

// aligned tells whether two tops lie within the tolerance, widened by the spread of their azimuth difference.
func aligned(opts *Options, differenceArcmin, sdArcmin float64) bool {
	return math.Abs(differenceArcmin) <= opts.ToleranceDeg*60+sdArcmin
}

// azimuthDifference is that of a near top from a far one, −180…180, with its standard deviation from the three places.
func azimuthDifference(observer *gazetteer.Feature, near, far seen) (deg, sdDeg float64) {
	n, f := &near.trace.Row, &far.trace.Row
	sn, sf := n.DistanceM, f.DistanceM
	return math.Mod(n.AzimuthDeg-f.AzimuthDeg+540, 360) - 180, math.Sqrt(square(near.target.PositionSDM/sn)+square(far.target.PositionSDM/sf)+
		square(observer.PositionSDM*(1/sn-1/sf))) * 180 / math.Pi
}

// separations are the differences of two tops in elevation under both models, in minutes of arc, and that between these.
func separations(n, f *Sightline) (curved, plane, gap float64) {
	curved, plane = (f.ElevationDeg-n.ElevationDeg)*60, (f.ElevationPlaneDeg-n.ElevationPlaneDeg)*60
	return curved, plane, plane - curved
}

// evidenceSD is the EvidenceSD of an alignment, without the rest of it.
func evidenceSD(opts *Options, observer *gazetteer.Feature, near, far seen) float64 {
	_, _, gap := separations(&near.trace.Row, &far.trace.Row)
	spread := newSeparationSpread(opts, observer, near, far)
	withAir, _ := spread.sdRad()
	return math.Abs(gap) / (withAir * arcminPerRad)
}

// listed tells whether a line of this length is listed, rather than a near one traced for alignments alone.
func (o *Options) listed(distanceM float64) bool {
	return distanceM >= o.MinDistanceKM*1000 && (o.MaxDistanceKM == 0 || distanceM <= o.MaxDistanceKM*1000)
}

func newAlignment(opts *Options, observer *gazetteer.Feature, near, far seen, kind Case) Alignment {
	n, f := &near.trace.Row, &far.trace.Row
	sn, sf := n.DistanceM, f.DistanceM
	difference, azimuthSD := azimuthDifference(observer, near, far)
	curved, plane, gapArcmin := separations(n, f)
	a := Alignment{
		ObserverID: n.ObserverID, ObserverName: n.ObserverName, NearID: n.TargetID, NearName: n.TargetName,
		FarID: f.TargetID, FarName: f.TargetName, NearDistanceM: sn, FarDistanceM: sf, AzimuthDeg: f.AzimuthDeg,
		AzimuthDifferenceArcmin: difference * 60, AzimuthDifferenceSD: azimuthSD * 60,
		AlignedChance: withinChance(difference, azimuthSD, opts.ToleranceDeg), Case: kind,
		NearElevationDeg: n.ElevationDeg, FarElevationDeg: f.ElevationDeg,
		NearCriticalK: n.CriticalK, FarCriticalK: f.CriticalK,
		NearInViewChance: *n.Chance, FarInViewChance: *f.Chance,
		PlaneShowsBoth:   n.MarginPlaneArcmin >= 0 && f.MarginPlaneArcmin >= 0,
		SeparationArcmin: curved, SeparationPlaneArcmin: plane,
		SeparationPlaneAirArcmin: (f.ElevationPlaneSameAirDeg - n.ElevationPlaneSameAirDeg) * 60,
		ObserverLatDeg:           f.ObserverLatDeg, ObserverLonDeg: f.ObserverLonDeg, FarLatDeg: f.TargetLatDeg, FarLonDeg: f.TargetLonDeg,
		Doubts: mergeDoubts(observer.Doubts, near.target.Doubts, far.target.Doubts),
	}
	spread := newSeparationSpread(opts, observer, near, far)
	withAir, withoutAir := spread.sdRad()
	withAir, withoutAir = withAir*arcminPerRad, withoutAir*arcminPerRad
	a.SeparationSDArcmin = withAir
	a.OrderCurved, a.OrderPlane = order(a.SeparationArcmin), order(a.SeparationPlaneArcmin)
	a.OrderDiffersChance = normalCDF(-a.SeparationArcmin/withAir) * normalCDF(a.SeparationPlaneArcmin/withoutAir)
	a.ModelGapArcmin = gapArcmin
	a.ModelGapNearM = math.Abs(a.ModelGapArcmin) / arcminPerRad * sn
	if near.target.StructureHeightM > 0 {
		a.ModelGapNearHeights = pointer(a.ModelGapNearM / near.target.StructureHeightM)
	}
	a.EvidenceSD = math.Abs(a.ModelGapArcmin) / withAir
	gap := math.Abs(a.ModelGapArcmin) / arcminPerRad
	a.BreakEvenEyeM, a.BreakEvenNearM, a.BreakEvenFarM = gap/(1/sn-1/sf), gap*sn, gap*sf
	if _, all := spread.BreakEvens(a.ModelGapArcmin, "near top"); all > 0 {
		a.BreakEvenAllSD = math.Min(all, exactSD)
	} else {
		a.BreakEvenAllSD = exactSD
	}
	// The two lines share the air of the day, so the true chance lies between the product and the lesser of the two.
	near1, far1 := a.NearInViewChance, a.FarInViewChance
	switch kind {
	case FarBehindNear:
		far1 = 1 - far1
	case NearMissingFarSeen:
		near1 = 1 - near1
	}
	a.Chance = near1 * far1
	return a
}

func order(separation float64) string {
	if separation >= 0 {
		return "far_above"
	}
	return "near_above"
}

func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// withinChance is the probability that a normal quantity lies within ±tolerance.
func withinChance(mean, sd, tolerance float64) float64 {
	if sd == 0 {
		if math.Abs(mean) <= tolerance {
			return 1
		}
		return 0
	}
	return normalCDF((tolerance-mean)/sd) - normalCDF((-tolerance-mean)/sd)
}

// separationSpread holds what the spread of a separation in apparent elevation comes from: a near and a far point before one observer.
// Lengths and heights in metres; rises are heights over the eye.
type separationSpread struct {
	opts                                   *Options
	radiusM, nearM, farM                   float64
	nearRiseM, farRiseM                    float64
	nearSDM, farSDM, eyeSDM                float64
	nearPlaceSDM, farPlaceSDM, eyePlaceSDM float64
}

// sdRad is the standard deviation of the separation in radians, what both points share cancelled: with the air (curved model) and without
// (plane, straight light). Terms: shared k over the difference of the distances; each ray's own k; the heights of both points and of the
// eye; the places of both along the line, and of the observer.
func (s *separationSpread) sdRad() (withAir, withoutAir float64) {
	k, r := s.opts, s.radiusM
	shared := math.Sqrt(math.Max(square(k.KSD)-square(k.KOwnSD), 0))
	air := square((s.farM-s.nearM)/(2*r)*shared) + (square(s.nearM/(2*r))+square(s.farM/(2*r)))*square(k.KOwnSD)
	heights := square(s.farSDM/s.farM) + square(s.nearSDM/s.nearM) + square((1/s.nearM-1/s.farM)*s.eyeSDM)
	near, far := s.nearRiseM/square(s.nearM), s.farRiseM/square(s.farM)
	places := func(curvature float64) float64 {
		return square((near+curvature)*s.nearPlaceSDM) + square((far+curvature)*s.farPlaceSDM) + square((near-far)*s.eyePlaceSDM)
	}
	return math.Sqrt(air + heights + places((1-k.K)/(2*r))), math.Sqrt(heights + places(0))
}

// newSeparationSpread is that of two tops.
func newSeparationSpread(opts *Options, observer *gazetteer.Feature, near, far seen) separationSpread {
	n, f := &near.trace.Row, &far.trace.Row
	return separationSpread{
		opts: opts, radiusM: f.RadiusM, nearM: n.DistanceM, farM: f.DistanceM,
		nearRiseM: n.TopHeightM - n.EyeHeightM, farRiseM: f.TopHeightM - f.EyeHeightM,
		nearSDM: opts.topSDM(near.target), farSDM: opts.topSDM(far.target), eyeSDM: opts.eyeSDM(observer),
		nearPlaceSDM: near.target.PositionSDM, farPlaceSDM: far.target.PositionSDM, eyePlaceSDM: observer.PositionSDM,
	}
}

// exactSD stands for more standard deviations than any number of them.
const exactSD = 1000
