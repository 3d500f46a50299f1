package pipeline

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"farstation/geodesy"
)

func (v *verification) alignmentRules() []rowRule[Alignment] {
	o := &v.opts
	var last Alignment
	scores := map[int32]float64{}
	return []rowRule[Alignment]{
		{"alignments are sorted by observer, near top, far top and case, each once", func(a *Alignment) error {
			v.counts.Alignments++
			order := cmp.Or(strings.Compare(last.ObserverID, a.ObserverID), strings.Compare(last.NearID, a.NearID), strings.Compare(last.FarID, a.FarID),
				cmp.Compare(last.Case, a.Case))
			before := last
			last = *a
			if order >= 0 {
				return fmt.Errorf("stands after %s → %s, %s", before.ObserverID, before.NearID, before.FarID)
			}
			return nil
		}, nil},
		{"the three tops of an alignment are features, and so are those between", func(a *Alignment) error {
			observer, err := v.end("observer", a.ObserverID, a.ObserverName, "", geodesy.LatLon{LatDeg: a.ObserverLatDeg, LonDeg: a.ObserverLonDeg})
			if err != nil {
				return err
			}
			if _, err := v.end("far top", a.FarID, a.FarName, "", geodesy.LatLon{LatDeg: a.FarLatDeg, LonDeg: a.FarLonDeg}); err != nil {
				return err
			}
			near, ok := v.index[a.NearID]
			if !ok || v.features[near].Name != a.NearName {
				return fmt.Errorf("near top %s, %q, is not in features.parquet", a.NearID, a.NearName)
			}
			for id := range strings.SplitSeq(a.MiddleIDs, ",") {
				if _, ok := v.index[id]; !ok && a.MiddleIDs != "" {
					return fmt.Errorf("%s in middle_ids is not in features.parquet", id)
				}
			}
			arc := geodesy.WGS84.Inverse(observer.At, v.features[near].At)
			difference := (math.Mod(arc.AzimuthDeg-a.AzimuthDeg+540, 360) - 180) * 60
			if math.Abs(arc.DistanceM-a.NearDistanceM) > 1e-6 || math.Abs(difference-a.AzimuthDifferenceArcmin) > 1e-7 {
				return fmt.Errorf("near_distance_m %v, azimuth_difference_arcmin %v; the places give %v and %v", a.NearDistanceM, a.AzimuthDifferenceArcmin, arc.DistanceM, difference)
			}
			return nil
		}, nil},
		{"both lines of an alignment are those of sightlines.parquet", v.checkLines, nil},
		{"an alignment's distances, azimuths and case are within the limits of the parameters", func(a *Alignment) error {
			reach := o.ToleranceDeg*60 + a.AzimuthDifferenceSD
			if a.Case == NearMissingFarSeen {
				reach = o.FrameDeg / 2 * 60
			}
			if !o.isNear(a.NearDistanceM, a.FarDistanceM) || !o.listed(a.FarDistanceM) || math.Abs(a.AzimuthDifferenceArcmin) > reach+exactly {
				return fmt.Errorf("near at %v m, far at %v m, %v′ apart for %s", a.NearDistanceM, a.FarDistanceM, a.AzimuthDifferenceArcmin, a.Case)
			}
			return nil
		}, nil},
		{"separations, order, evidence and chance of an alignment agree", checkAlignmentNumbers, nil},
		{"ranks of alignments run from 1 without a gap, best score first", func(a *Alignment) error {
			if a.Rank == nil {
				return nil
			}
			if _, taken := scores[*a.Rank]; taken {
				return fmt.Errorf("rank %d stands there twice", *a.Rank)
			}
			scores[*a.Rank] = a.Score
			return nil
		}, func() error { return denseRanks(scores) }},
		{"alignment_count and best_alignment_near_id are those of alignments.parquet", func(a *Alignment) error {
			facts := v.line(a.ObserverID, a.FarID)
			if facts == nil {
				return nil // found by the rule above
			}
			facts.counted++
			if len(facts.bestIDs) == 0 || a.Score > facts.best {
				facts.best, facts.bestIDs = a.Score, facts.bestIDs[:0]
			}
			if a.Score == facts.best {
				facts.bestIDs = append(facts.bestIDs, a.NearID)
			}
			return nil
		}, v.checkBest},
	}
}

func (v *verification) line(observerID, targetID string) *lineFacts {
	observer, known := v.index[observerID]
	target, knownTarget := v.index[targetID]
	if !known || !knownTarget {
		return nil
	}
	return v.lines[lineKey{observer, target}]
}

// checkLines holds an alignment against the rows of its two lines. A near line too short to be listed has none.
func (v *verification) checkLines(a *Alignment) error {
	far := v.line(a.ObserverID, a.FarID)
	if far == nil {
		return fmt.Errorf("the line to %s is not in sightlines.parquet", a.FarID)
	}
	if far.distanceM != a.FarDistanceM || far.azimuthDeg != a.AzimuthDeg || far.elevationDeg != a.FarElevationDeg || far.criticalK != a.FarCriticalK || far.chance != a.FarInViewChance {
		return fmt.Errorf("far line: %v m, %v°, elevation %v°, k_c %v, chance %v; sightlines.parquet has %v, %v, %v, %v, %v", a.FarDistanceM, a.AzimuthDeg, a.FarElevationDeg,
			a.FarCriticalK, a.FarInViewChance, far.distanceM, far.azimuthDeg, far.elevationDeg, far.criticalK, far.chance)
	}
	if inView := far.verdict == Direct || far.verdict == Refracted; inView == (a.Case == FarBehindNear) {
		return fmt.Errorf("case %s, and the far line is %s", a.Case, far.verdict)
	}
	near := v.line(a.ObserverID, a.NearID)
	if near == nil {
		if v.opts.listed(a.NearDistanceM) {
			return fmt.Errorf("the line to %s is not in sightlines.parquet", a.NearID)
		}
		return nil
	}
	if near.distanceM != a.NearDistanceM || near.elevationDeg != a.NearElevationDeg || near.criticalK != a.NearCriticalK || near.chance != a.NearInViewChance {
		return fmt.Errorf("near line: %v m, elevation %v°, k_c %v, chance %v; sightlines.parquet has %v, %v, %v, %v", a.NearDistanceM, a.NearElevationDeg,
			a.NearCriticalK, a.NearInViewChance, near.distanceM, near.elevationDeg, near.criticalK, near.chance)
	}
	if inView := near.verdict == Direct || near.verdict == Refracted; inView == (a.Case == NearMissingFarSeen) {
		return fmt.Errorf("case %s, and the near line is %s", a.Case, near.verdict)
	}
	return nil
}

func checkAlignmentNumbers(a *Alignment) error {
	near, far := a.NearInViewChance, a.FarInViewChance
	switch a.Case {
	case FarBehindNear:
		far = 1 - far
	case NearMissingFarSeen:
		near = 1 - near
	}
	curved, plane := order(a.SeparationArcmin), order(a.SeparationPlaneArcmin)
	switch {
	case math.Abs(a.SeparationArcmin-(a.FarElevationDeg-a.NearElevationDeg)*60) > 1e-7 || math.Abs(a.SeparationPlaneArcmin-a.SeparationArcmin-a.ModelGapArcmin) > 1e-7:
		return fmt.Errorf("separation_arcmin %v, elevations %v° and %v°, separation_plane_arcmin %v, model_gap_arcmin %v", a.SeparationArcmin, a.NearElevationDeg, a.FarElevationDeg,
			a.SeparationPlaneArcmin, a.ModelGapArcmin)
	case a.OrderCurved != curved || a.OrderPlane != plane:
		return fmt.Errorf("order_curved %s, order_plane %s; the separations give %s and %s", a.OrderCurved, a.OrderPlane, curved, plane)
	case !same(a.EvidenceSD*a.SeparationSDArcmin, math.Abs(a.ModelGapArcmin)):
		return fmt.Errorf("evidence_sd %v, model_gap_arcmin %v, separation_sd_arcmin %v", a.EvidenceSD, a.ModelGapArcmin, a.SeparationSDArcmin)
	case !same(a.Chance, near*far):
		return fmt.Errorf("chance %v, the two lines give %v in case %s", a.Chance, near*far, a.Case)
	case !inUnit(&a.AlignedChance) || !inUnit(&a.OrderDiffersChance) || !(a.Score >= 0 && a.Score <= 100):
		return fmt.Errorf("aligned_chance %v, order_differs_chance %v, score %v", a.AlignedChance, a.OrderDiffersChance, a.Score)
	}
	return nil
}

// checkBest holds what the sightlines say of their alignments against those that were read.
func (v *verification) checkBest() error {
	keys := make([]lineKey, 0, len(v.lines))
	for key := range v.lines {
		keys = append(keys, key)
	}
	slices.SortFunc(keys, func(a, b lineKey) int {
		return cmp.Or(cmp.Compare(a.observer, b.observer), cmp.Compare(a.target, b.target))
	})
	for _, key := range keys {
		l := v.lines[key]
		name := v.features[key.observer].ID + " → " + v.features[key.target].ID
		if l.alignments != l.counted {
			return fmt.Errorf("%s: alignment_count %d, alignments.parquet has %d", name, l.alignments, l.counted)
		}
		if l.counted > 0 && !slices.Contains(l.bestIDs, l.bestNear) || l.counted == 0 && l.bestNear != "" {
			return fmt.Errorf("%s: best_alignment_near_id %q, the best score has %s", name, l.bestNear, strings.Join(l.bestIDs, " and "))
		}
	}
	return nil
}
