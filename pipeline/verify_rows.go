package pipeline

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy"
)

// exactly is what separates two numbers that are one by arithmetic: rounding alone, relative to numbers above 1.
const exactly = 1e-9

func same(a, b float64) bool { return math.Abs(a-b) <= exactly*math.Max(1, math.Abs(a)) }

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// inUnit tells whether a value that is there lies within 0…1.
func inUnit(v *float64) bool { return v == nil || *v >= 0 && *v <= 1 }

func (v *verification) featureRules() []rowRule[FeatureRow] {
	last := ""
	return []rowRule[FeatureRow]{
		{"features are sorted by id, each once", func(f *FeatureRow) error {
			defer func() { last = f.FeatureID }()
			if len(v.features) > 0 && f.FeatureID <= last {
				return fmt.Errorf("stands after %s", last)
			}
			return nil
		}, nil},
		{"features stand on the Earth, with known kinds and spreads that are none below 0", func(f *FeatureRow) error {
			v.index[f.FeatureID] = int32(len(v.features))
			v.features = append(v.features, f.feature())
			switch {
			case !(math.Abs(f.LatitudeDeg) <= 90 && math.Abs(f.LongitudeDeg) <= 180):
				return fmt.Errorf("latitude %v, longitude %v", f.LatitudeDeg, f.LongitudeDeg)
			case !slices.Contains(gazetteer.Kinds(), gazetteer.Kind(f.Kind)):
				return fmt.Errorf("kind %q is not known", f.Kind)
			case f.GroundHeightSDM < 0 || f.StructureHeightSDM < 0 || f.PositionSDM < 0 || f.StructureHeightM < 0 || f.MovedM < 0:
				return fmt.Errorf("a spread, structure height or move is below 0: %v, %v, %v, %v, %v", f.GroundHeightSDM, f.StructureHeightSDM, f.PositionSDM, f.StructureHeightM, f.MovedM)
			}
			return nil
		}, nil},
		{"moved_m is the distance between the listed place and the place used", func(f *FeatureRow) error {
			moved := geodesy.WGS84.Inverse(geodesy.LatLon{LatDeg: f.ListedLatitudeDeg, LonDeg: f.ListedLongitudeDeg}, geodesy.LatLon{LatDeg: f.LatitudeDeg, LonDeg: f.LongitudeDeg})
			// HighestWithin measures straight, and rounds to millimetres.
			if math.Abs(moved.DistanceM-f.MovedM) > 0.01+1e-6*f.MovedM {
				return fmt.Errorf("moved_m %v, the places lie %v m apart", f.MovedM, moved.DistanceM)
			}
			return nil
		}, nil},
	}
}

// orderObservers computes again which chunk each observer is in.
func (v *verification) orderObservers() {
	v.chunk = map[int32]int{}
	var observers []int
	for i := range v.features {
		if f := &v.features[i]; slices.Contains(v.opts.ObserverKinds, f.Kind) && v.opts.Area.contains(f.At) {
			observers = append(observers, i)
		}
	}
	for at, chunk := range chunks(v.features, observers) {
		for _, i := range chunk {
			v.chunk[int32(i)] = at
		}
	}
	v.counts.Observers = len(observers)
}

// end checks that a feature of this id exists, with this name, kind (where one is given) and place.
func (v *verification) end(what, id, name, kind string, at geodesy.LatLon) (*gazetteer.Feature, error) {
	i, ok := v.index[id]
	if !ok {
		return nil, fmt.Errorf("%s %s is not in features.parquet", what, id)
	}
	f := &v.features[i]
	if f.Name != name || kind != "" && string(f.Kind) != kind {
		return nil, fmt.Errorf("%s %s is %q (%s), features.parquet has %q (%s)", what, id, name, kind, f.Name, f.Kind)
	}
	turn := math.Remainder(f.At.LonDeg-at.LonDeg, 360)
	if f.At.LatDeg != at.LatDeg || math.Abs(turn) > 1e-12 {
		return nil, fmt.Errorf("geometry has %s %s at %v, %v, features.parquet at %v, %v", what, id, at.LatDeg, at.LonDeg, f.At.LatDeg, f.At.LonDeg)
	}
	return f, nil
}

func (v *verification) sightlineRules() []rowRule[Sightline] {
	o := &v.opts
	var lastChunk int
	var lastObserver, lastTarget string
	alikes, followers := 0, 0
	scores := map[int32]float64{}
	return []rowRule[Sightline]{
		{"sightlines are sorted by chunk, observer and target, each once", func(s *Sightline) error {
			chunk, known := v.chunk[v.index[s.ObserverID]]
			if _, exists := v.index[s.ObserverID]; !exists || !known {
				return fmt.Errorf("%s is no observer of this survey", s.ObserverID)
			}
			order := cmp.Or(cmp.Compare(lastChunk, chunk), strings.Compare(lastObserver, s.ObserverID), strings.Compare(lastTarget, s.TargetID))
			before := lastObserver + " → " + lastTarget
			lastChunk, lastObserver, lastTarget = chunk, s.ObserverID, s.TargetID
			if order >= 0 {
				return fmt.Errorf("stands after %s", before)
			}
			return nil
		}, nil},
		{"both ends of a sightline are features, with their names, kinds, places and heights", func(s *Sightline) error {
			v.remember(s)
			observer, err := v.end("observer", s.ObserverID, s.ObserverName, s.ObserverKind, geodesy.LatLon{LatDeg: s.ObserverLatDeg, LonDeg: s.ObserverLonDeg})
			if err != nil {
				return err
			}
			target, err := v.end("target", s.TargetID, s.TargetName, s.TargetKind, geodesy.LatLon{LatDeg: s.TargetLatDeg, LonDeg: s.TargetLonDeg})
			switch {
			case err != nil:
				return err
			case !same(s.EyeHeightM, o.eyeHeightM(observer)):
				return fmt.Errorf("eye_height_m %v, the feature and the parameters give %v", s.EyeHeightM, o.eyeHeightM(observer))
			case !same(s.TopHeightM, topHeightM(target)):
				return fmt.Errorf("top_height_m %v, the feature gives %v", s.TopHeightM, topHeightM(target))
			}
			return nil
		}, nil},
		{"sightlines are of the kinds and lengths that the parameters ask for", func(s *Sightline) error {
			if s.ObserverID == s.TargetID || !o.listed(s.DistanceM) || len(o.TargetKinds) > 0 && !slices.Contains(o.TargetKinds, gazetteer.Kind(s.TargetKind)) {
				return fmt.Errorf("%s to a %s %v m away", s.ObserverID, s.TargetKind, s.DistanceM)
			}
			return nil
		}, nil},
		{"the verdict is that of critical_k and k", func(s *Sightline) error {
			if want := verdictOf(s.CriticalK, s.KFree, o.KSD); s.Verdict != Undecided && s.Verdict != want {
				return fmt.Errorf("verdict %s, critical_k %v with k %v gives %s", s.Verdict, s.CriticalK, s.KFree, want)
			}
			if o.Air == AirConstant && s.KFree != o.K {
				return fmt.Errorf("k_free %v, the parameters have %v", s.KFree, o.K)
			}
			return nil
		}, nil},
		{"the margin has the sign of k − critical_k", func(s *Sightline) error {
			// Rounding may part the two where the ray just grazes.
			if over := s.KFree - s.CriticalK; s.MarginArcmin*over < 0 && math.Abs(over) > 1e-4 {
				return fmt.Errorf("margin_arcmin %v, k_free %v, critical_k %v", s.MarginArcmin, s.KFree, s.CriticalK)
			}
			if (s.LackingHeightM != nil) != (s.Verdict != Undecided && s.MarginArcmin < 0) {
				return fmt.Errorf("margin_arcmin %v, lacking_height_m %v", s.MarginArcmin, orNaN(s.LackingHeightM))
			}
			return nil
		}, nil},
		{"0 ≤ chance_low ≤ chance_high ≤ 1, and chance is the low one", checkChances, nil},
		{"undecided lines, and they alone, have null chance, parts and scores", func(s *Sightline) error {
			undecided := s.Verdict == Undecided
			for name, null := range map[string]bool{"undecided_at_m": s.UndecidedAtM != nil, "chance": s.Chance == nil, "part_in_view": s.PartInView == nil,
				"part_in_view_plane": s.PartInViewPlane == nil, "score_test": s.ScoreTest == nil, "score_picture": s.ScorePicture == nil} {
				if null != undecided {
					return fmt.Errorf("verdict %s with %s", s.Verdict, map[bool]string{true: name + " as on an undecided line", false: name + " as on a decided one"}[null])
				}
			}
			return nil
		}, nil},
		{"front, foot and part in view go together, the front before the foot", checkViews, nil},
		{"the elevations and the gap between the models agree", func(s *Sightline) error {
			plane := math.Atan2(s.TopHeightM-s.EyeHeightM, s.DistanceM) * 180 / math.Pi
			if !same(plane, s.ElevationPlaneDeg) || math.Abs((s.ElevationPlaneDeg-s.ElevationDeg)*60-s.ModelGapArcmin) > 1e-7 {
				return fmt.Errorf("elevation_deg %v, elevation_plane_deg %v (the heights give %v), model_gap_arcmin %v", s.ElevationDeg, s.ElevationPlaneDeg, plane, s.ModelGapArcmin)
			}
			return nil
		}, nil},
		{"scores are the weighted mean of the terms times the gates", func(s *Sightline) error { return s.checkScores(o) }, nil},
		{"ranks run from 1 without a gap, best score first, none for a blocked or undecided line", func(s *Sightline) error {
			score := s.ScoreTest
			if o.RankForPicture {
				score = s.ScorePicture
			}
			rankable := score != nil && s.Verdict != Blocked
			if s.Rank == nil {
				if rankable {
					followers++
				}
				if s.AlikeCount != 1 {
					return fmt.Errorf("no rank, and alike_count %d", s.AlikeCount)
				}
				return nil
			}
			if !rankable {
				return fmt.Errorf("rank %d for a line that is %s", *s.Rank, s.Verdict)
			}
			if v.ranked[*s.Rank] {
				return fmt.Errorf("rank %d stands there twice", *s.Rank)
			}
			v.ranked[*s.Rank] = true
			scores[*s.Rank] = *score
			alikes += int(s.AlikeCount) - 1
			return nil
		}, func() error {
			if alikes != followers {
				return fmt.Errorf("%d lines without a rank, alike_count of the ranked ones makes it %d", followers, alikes)
			}
			return denseRanks(scores)
		}},
	}
}

// remember keeps what later tables must agree with.
func (v *verification) remember(s *Sightline) {
	v.counts.Kept++
	if v.counts.Verdicts == nil {
		v.counts.Verdicts = map[Verdict]int{}
	}
	v.counts.Verdicts[s.Verdict]++
	if s.Rank != nil && int(*s.Rank) <= v.opts.Top {
		row := *s
		v.drawn[*s.Rank] = &row
	}
	observer, known := v.index[s.ObserverID]
	target, knownTarget := v.index[s.TargetID]
	if !known || !knownTarget {
		return
	}
	facts := &lineFacts{
		distanceM: s.DistanceM, azimuthDeg: s.AzimuthDeg, elevationDeg: s.ElevationDeg, criticalK: s.CriticalK, chance: orNaN(s.Chance),
		verdict: s.Verdict, alignments: s.AlignmentCount,
	}
	if s.BestAlignmentNearID != nil {
		facts.bestNear = *s.BestAlignmentNearID
	}
	v.lines[lineKey{observer, target}] = facts
}

// denseRanks checks that places run from 1 without a gap and no score is above that of the place before.
func denseRanks(scores map[int32]float64) error {
	last := math.Inf(1)
	for i, rank := range slices.Sorted(maps.Keys(scores)) {
		if rank != int32(i+1) {
			return fmt.Errorf("%d rows are ranked, and none has rank %d", len(scores), i+1)
		}
		if scores[rank] > last {
			return fmt.Errorf("rank %d has score %v, the one before it %v", rank, scores[rank], last)
		}
		last = scores[rank]
	}
	return nil
}

func checkChances(s *Sightline) error {
	low, high := s.ChanceLow, s.ChanceHigh
	if !(low >= 0 && low <= high && high <= 1) || s.Chance != nil && *s.Chance != low {
		return fmt.Errorf("chance %v, chance_low %v, chance_high %v", orNaN(s.Chance), low, high)
	}
	if whole := s.TerrainCoverage == 1; !(s.TerrainCoverage >= 0 && s.TerrainCoverage <= 1) || whole && low != high || whole == strings.Contains(s.Doubts, DoubtTerrainMissing) {
		return fmt.Errorf("terrain_coverage %v, chance_low %v, chance_high %v, doubts %q", s.TerrainCoverage, low, high, s.Doubts)
	}
	return nil
}

func checkViews(s *Sightline) error {
	obscured := s.ObscuredHeightM != nil
	front, foot := orNaN(s.FrontDistanceM), orNaN(s.FootDistanceM)
	switch {
	case obscured != (s.FrontDistanceM != nil) || obscured != (s.FootDistanceM != nil) || obscured != (s.FrontHeightM != nil):
		return fmt.Errorf("obscured_height_m %v, front_distance_m %v, front_height_m %v, foot_distance_m %v", orNaN(s.ObscuredHeightM), front, orNaN(s.FrontHeightM), foot)
	case obscured && !(front > 0 && front < foot && foot <= s.DistanceM):
		return fmt.Errorf("front_distance_m %v, foot_distance_m %v of %v", front, foot, s.DistanceM)
	case !inUnit(s.PartInView) || !inUnit(s.PartInViewPlane):
		return fmt.Errorf("part_in_view %v, part_in_view_plane %v", orNaN(s.PartInView), orNaN(s.PartInViewPlane))
	case !obscured && s.MarginArcmin >= 0 && s.PartInView != nil && *s.PartInView != 1:
		return fmt.Errorf("nothing is obscured, and part_in_view is %v", *s.PartInView)
	case !(s.GrazingDistanceM > 0 && s.GrazingDistanceM < s.DistanceM && s.RiskiestDistanceM > 0 && s.RiskiestDistanceM < s.DistanceM):
		return fmt.Errorf("grazing_distance_m %v, riskiest_distance_m %v of %v", s.GrazingDistanceM, s.RiskiestDistanceM, s.DistanceM)
	}
	return nil
}

func (s *Sightline) checkScores(o *Options) error {
	gate := 100.0
	for name, v := range s.Gates() {
		if !inUnit(v) {
			return fmt.Errorf("gate %s is %v", name, *v)
		}
	}
	gate *= s.GateSure * s.GateSound * s.GateStand * s.GateSeen
	for name, v := range s.Terms() {
		if !inUnit(v) {
			return fmt.Errorf("term %s is %v", name, *v)
		}
	}
	if s.Verdict == Undecided || s.ScoreTest == nil || s.ScorePicture == nil {
		return nil
	}
	if test, picture := gate*s.weighted(o.weights(false)), gate*s.weighted(o.weights(true)); !same(test, *s.ScoreTest) || !same(picture, *s.ScorePicture) {
		return fmt.Errorf("score_test %v, score_picture %v; terms and gates give %v and %v", *s.ScoreTest, *s.ScorePicture, test, picture)
	}
	return nil
}

// checkCounts holds the counts of run.json against the rows that were read.
func (v *verification) checkCounts() error {
	said, read := v.manifest.Counts, v.counts
	said.Verdicts, read.Verdicts = nil, nil
	for name, n := range map[string][2]int{"features": {said.Features, len(v.features)}, "observers": {said.Observers, read.Observers},
		"kept": {said.Kept, read.Kept}, "alignments": {said.Alignments, read.Alignments}} {
		if n[0] != n[1] {
			return fmt.Errorf("%s: run.json says %d, the tables have %d", name, n[0], n[1])
		}
	}
	for _, verdict := range slices.Sorted(maps.Keys(v.counts.Verdicts)) {
		// A line that is kept for a negative case alone was traced besides the candidates.
		if n := v.counts.Verdicts[verdict]; verdict != Blocked && n > v.manifest.Counts.Verdicts[verdict] {
			return fmt.Errorf("%d lines are %s, run.json counts %d", n, verdict, v.manifest.Counts.Verdicts[verdict])
		}
	}
	return nil
}
