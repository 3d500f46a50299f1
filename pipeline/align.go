package pipeline

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"farstation/gazetteer"
)

// seen is one traced line of an observer with the features at its ends, as alignments need it.
type seen struct {
	trace  *Trace
	target *gazetteer.Feature
}

// maxNearShare is the greatest share of the far top's distance at which a near top stands.
const maxNearShare = 0.8

// align finds, among the lines of one observer, the pairs of a near and a far top that are both in view and stand within the tolerance of
// each other in azimuth. The tolerance is widened by the spread of the azimuth difference. Pairs come sorted by near, then far id.
func align(opts *Options, observer *gazetteer.Feature, lines []seen) []Alignment {
	inView := lines[:0:0]
	for _, l := range lines {
		if r := &l.trace.Row; r.Verdict == Direct || r.Verdict == Refracted {
			inView = append(inView, l)
		}
	}
	slices.SortFunc(inView, func(a, b seen) int {
		return cmp.Or(cmp.Compare(a.trace.Row.AzimuthDeg, b.trace.Row.AzimuthDeg), cmp.Compare(a.target.ID, b.target.ID))
	})
	// The widest window that any pair of this observer may need.
	widest := 0.0
	for _, l := range inView {
		widest = math.Max(widest, (l.target.PositionSDM+observer.PositionSDM)/l.trace.Row.DistanceM)
	}
	window := opts.ToleranceDeg + 2*widest*180/math.Pi
	var out []Alignment
	for _, far := range inView {
		f := &far.trace.Row
		if !opts.listed(f.DistanceM) {
			continue
		}
		at := f.AzimuthDeg - window
		start := sort.Search(len(inView), func(i int) bool { return inView[i].trace.Row.AzimuthDeg >= at })
		if at < 0 {
			start = sort.Search(len(inView), func(i int) bool { return inView[i].trace.Row.AzimuthDeg >= at+360 })
		}
		for i := range inView {
			near := inView[(start+i)%len(inView)]
			n := &near.trace.Row
			ahead := math.Mod(n.AzimuthDeg-at+720, 360)
			if ahead > 2*window {
				break
			}
			if n.DistanceM > maxNearShare*f.DistanceM || n.DistanceM < opts.NearMinDistanceKM*1000 {
				continue
			}
			if a, ok := newAlignment(opts, observer, near, far); ok {
				out = append(out, a)
			}
		}
	}
	slices.SortFunc(out, func(a, b Alignment) int {
		return cmp.Or(cmp.Compare(a.NearID, b.NearID), cmp.Compare(a.FarID, b.FarID))
	})
	return out
}

// listed tells whether a line of this length is listed, rather than a near one traced for alignments alone.
func (o *Options) listed(distanceM float64) bool {
	return distanceM >= o.MinDistanceKM*1000 && (o.MaxDistanceKM == 0 || distanceM <= o.MaxDistanceKM*1000)
}

func newAlignment(opts *Options, observer *gazetteer.Feature, near, far seen) (Alignment, bool) {
	n, f := &near.trace.Row, &far.trace.Row
	sn, sf := n.DistanceM, f.DistanceM
	difference := math.Mod(n.AzimuthDeg-f.AzimuthDeg+540, 360) - 180
	azimuthSD := math.Sqrt(square(near.target.PositionSDM/sn)+square(far.target.PositionSDM/sf)+
		square(observer.PositionSDM*(1/sn-1/sf))) * 180 / math.Pi
	if math.Abs(difference) > opts.ToleranceDeg+azimuthSD {
		return Alignment{}, false
	}
	a := Alignment{
		ObserverID: n.ObserverID, ObserverName: n.ObserverName, NearID: n.TargetID, NearName: n.TargetName,
		FarID: f.TargetID, FarName: f.TargetName, NearDistanceM: sn, FarDistanceM: sf, AzimuthDeg: f.AzimuthDeg,
		AzimuthDifferenceArcmin: difference * 60, AzimuthDifferenceSD: azimuthSD * 60,
		AlignedChance: withinChance(difference, azimuthSD, opts.ToleranceDeg), Case: BothInView,
		NearElevationDeg: n.ElevationDeg, FarElevationDeg: f.ElevationDeg,
		NearCriticalK: n.CriticalK, FarCriticalK: f.CriticalK,
		NearInViewChance: *n.Chance, FarInViewChance: *f.Chance,
		PlaneShowsBoth:   n.MarginPlaneArcmin >= 0 && f.MarginPlaneArcmin >= 0,
		SeparationArcmin: (f.ElevationDeg - n.ElevationDeg) * 60, SeparationPlaneArcmin: (f.ElevationPlaneDeg - n.ElevationPlaneDeg) * 60,
		SeparationPlaneAirArcmin: (f.ElevationPlaneSameAirDeg - n.ElevationPlaneSameAirDeg) * 60,
		ObserverLatDeg:           f.ObserverLatDeg, ObserverLonDeg: f.ObserverLonDeg, FarLatDeg: f.TargetLatDeg, FarLonDeg: f.TargetLonDeg,
		Doubts: mergeDoubts(observer.Doubts, near.target.Doubts, far.target.Doubts),
	}
	withAir, withoutAir := separationSD(opts, observer, near, far)
	a.SeparationSDArcmin = withAir
	a.OrderCurved, a.OrderPlane = order(a.SeparationArcmin), order(a.SeparationPlaneArcmin)
	a.OrderDiffersChance = normalCDF(-a.SeparationArcmin/withAir) * normalCDF(a.SeparationPlaneArcmin/withoutAir)
	a.ModelGapArcmin = a.SeparationPlaneArcmin - a.SeparationArcmin
	a.ModelGapNearM = math.Abs(a.ModelGapArcmin) / arcminPerRad * sn
	if near.target.StructureHeightM > 0 {
		a.ModelGapNearHeights = pointer(a.ModelGapNearM / near.target.StructureHeightM)
	}
	a.EvidenceSD = math.Abs(a.ModelGapArcmin) / withAir
	// Both share the air of the day, so the true chance that both show lies between the product and the lesser of the two.
	a.Chance = a.NearInViewChance * a.FarInViewChance
	return a, true
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

// separationSD is the standard deviation, in arc minutes, of the separation of the two tops, what both share cancelled: with the air
// (curved model) and without (plane, straight light). Terms: shared k over the difference of the distances; each ray's own k; the heights
// of both tops and of the eye; the places of the near and far top along the line and of the observer.
func separationSD(opts *Options, observer *gazetteer.Feature, near, far seen) (withAir, withoutAir float64) {
	n, f := &near.trace.Row, &far.trace.Row
	sn, sf, r := n.DistanceM, f.DistanceM, f.RadiusM
	shared := math.Sqrt(math.Max(square(opts.KSD)-square(opts.KOwnSD), 0))
	air := square((sf-sn)/(2*r)*shared) + (square(sn/(2*r))+square(sf/(2*r)))*square(opts.KOwnSD)
	heights := square(opts.topSDM(far.target)/sf) + square(opts.topSDM(near.target)/sn) + square((1/sn-1/sf)*opts.eyeSDM(observer))
	riseN, riseF := (n.TopHeightM-n.EyeHeightM)/square(sn), (f.TopHeightM-f.EyeHeightM)/square(sf)
	places := func(curvature float64) float64 {
		return square((riseN+curvature)*near.target.PositionSDM) + square((riseF+curvature)*far.target.PositionSDM) +
			square((riseN-riseF)*observer.PositionSDM)
	}
	withAir = math.Sqrt(air+heights+places((1-opts.K)/(2*r))) * arcminPerRad
	withoutAir = math.Sqrt(heights+places(0)) * arcminPerRad
	return withAir, withoutAir
}
