package pipeline

import (
	"cmp"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// checkResult holds what must be true of any result: order, counts, signs and bounds.
func checkResult(t *testing.T, opts *Options, r *held) {
	t.Helper()
	if !slices.IsSortedFunc(r.Features, func(a, b FeatureRow) int { return cmp.Compare(a.FeatureID, b.FeatureID) }) {
		t.Error("features are not sorted by id")
	}
	if !slices.IsSortedFunc(r.Sightlines, func(a, b Sightline) int {
		return cmp.Or(cmp.Compare(a.Chunk, b.Chunk), cmp.Compare(a.ObserverID, b.ObserverID), cmp.Compare(a.TargetID, b.TargetID))
	}) {
		t.Error("sightlines are not sorted by chunk, observer, target")
	}
	if !slices.IsSortedFunc(r.Alignments, func(a, b Alignment) int {
		return cmp.Or(cmp.Compare(a.ObserverID, b.ObserverID), cmp.Compare(a.NearID, b.NearID), cmp.Compare(a.FarID, b.FarID))
	}) {
		t.Error("alignments are not sorted by observer, near, far")
	}
	for i := range r.Alignments {
		a := &r.Alignments[i]
		want := map[Case]float64{
			BothInView:         a.NearInViewChance * a.FarInViewChance,
			FarBehindNear:      a.NearInViewChance * (1 - a.FarInViewChance),
			NearMissingFarSeen: (1 - a.NearInViewChance) * a.FarInViewChance,
		}[a.Case]
		if math.Abs(a.Chance-want) > 1e-12 {
			t.Errorf("%s: %s before %s, %s: chance %v, want %v from near %v and far %v", a.ObserverName, a.NearName, a.FarName, a.Case, a.Chance, want, a.NearInViewChance, a.FarInViewChance)
		}
	}
	c := r.Manifest.Counts
	verdicts := 0
	for _, n := range c.Verdicts {
		verdicts += n
	}
	if c.Kept != len(r.Sightlines) || c.Alignments != len(r.Alignments) || verdicts != c.Candidates || c.Traced < c.Candidates+c.NearCandidates+c.TooClose || c.Features != len(r.Features) {
		t.Errorf("counts %+v do not fit %d features, %d sightlines, %d alignments", c, len(r.Features), len(r.Sightlines), len(r.Alignments))
	}
	for i := range r.Sightlines {
		checkSightline(t, opts, &r.Sightlines[i])
		if t.Failed() {
			return
		}
	}
	far := map[[2]string]int32{}
	for i := range r.Alignments {
		a := &r.Alignments[i]
		checkAlignment(t, opts, a)
		far[[2]string{a.ObserverID, a.FarID}]++
		if t.Failed() {
			return
		}
	}
	for i := range r.Sightlines {
		if s := &r.Sightlines[i]; s.AlignmentCount != far[[2]string{s.ObserverID, s.TargetID}] || (s.AlignmentCount > 0) != (s.BestAlignmentNearID != nil) {
			t.Errorf("%s to %s: %d alignments, want %d", s.ObserverID, s.TargetID, s.AlignmentCount, far[[2]string{s.ObserverID, s.TargetID}])
		}
	}
	checkRanks(t, opts, r)
}

func checkSightline(t *testing.T, opts *Options, s *Sightline) {
	t.Helper()
	name := s.ObserverName + " to " + s.TargetName
	if s.ObserverID == s.TargetID || !opts.listed(s.DistanceM) {
		t.Errorf("%s, %.1f km, is listed", name, s.DistanceM/1000)
	}
	if (s.Verdict == Undecided) != (s.UndecidedAtM != nil) || (s.Verdict == Undecided) != (s.Chance == nil) {
		t.Errorf("%s: %s, undecided at %v, chance %v", name, s.Verdict, s.UndecidedAtM, s.Chance)
	}
	if opts.Air == AirConstant && s.Verdict != Undecided {
		if want := verdictOf(s.CriticalK, opts.K, opts.KSD); s.Verdict != want {
			t.Errorf("%s: %s with k_c %v, want %s", name, s.Verdict, s.CriticalK, want)
		}
		if s.MarginArcmin*(opts.K-s.CriticalK) < 0 && math.Abs(opts.K-s.CriticalK) > 1e-4 {
			t.Errorf("%s: margin %v′ with k_c %v", name, s.MarginArcmin, s.CriticalK)
		}
	}
	if !(s.ChanceLow >= 0 && s.ChanceLow <= s.ChanceHigh && s.ChanceHigh <= 1) || s.Chance != nil && *s.Chance != s.ChanceLow {
		t.Errorf("%s: chance %v, from %v to %v", name, s.Chance, s.ChanceLow, s.ChanceHigh)
	}
	if (s.TerrainCoverage < 1) != strings.Contains(s.Doubts, DoubtTerrainMissing) || s.TerrainCoverage == 1 && s.ChanceLow != s.ChanceHigh {
		t.Errorf("%s: coverage %v, doubts %q, chance from %v to %v", name, s.TerrainCoverage, s.Doubts, s.ChanceLow, s.ChanceHigh)
	}
	for what, v := range map[string]*float64{"part_in_view": s.PartInView, "part_in_view_plane": s.PartInViewPlane, "score_reach": s.ScoreReach, "score_share": s.ScoreShare, "score_loss": s.ScoreLoss,
		"score_flip": s.ScoreFlip, "score_evidence": s.ScoreEvidence, "score_ruler": s.ScoreRuler} {
		if v != nil && !(*v >= 0 && *v <= 1) {
			t.Errorf("%s: %s is %v, want 0…1", name, what, *v)
		}
		if v != nil && s.Verdict == Undecided {
			t.Errorf("%s is undecided but has %s", name, what)
		}
	}
	for what, v := range s.Gates() {
		if !(*v >= 0 && *v <= 1) {
			t.Errorf("%s: gate %s is %v, want 0…1", name, what, *v)
		}
	}
	for _, score := range []*float64{s.ScoreTest, s.ScorePicture} {
		if (score == nil) != (s.Verdict == Undecided) || score != nil && !(*score >= 0 && *score <= 100) {
			t.Errorf("%s: %s, score %v", name, s.Verdict, score)
		}
	}
	obscured := s.ObscuredHeightM != nil
	if obscured != (s.FrontDistanceM != nil) || obscured != (s.FootDistanceM != nil) {
		t.Errorf("%s: obscured %v, front %v, foot %v", name, s.ObscuredHeightM, s.FrontDistanceM, s.FootDistanceM)
	}
	if obscured && !(*s.FrontDistanceM < *s.FootDistanceM && *s.FootDistanceM <= s.DistanceM) {
		t.Errorf("%s, %v m: front at %v m, foot at %v m", name, s.DistanceM, *s.FrontDistanceM, *s.FootDistanceM)
	}
	if (s.LackingHeightM != nil) != (s.Verdict != Undecided && s.MarginArcmin < 0) {
		t.Errorf("%s: margin %v′, lacking %v", name, s.MarginArcmin, s.LackingHeightM)
	}
}

func checkAlignment(t *testing.T, opts *Options, a *Alignment) {
	t.Helper()
	name := a.ObserverName + ", " + a.NearName + " before " + a.FarName
	if a.NearDistanceM > maxNearShare*a.FarDistanceM || a.NearDistanceM < opts.NearMinDistanceKM*1000 || !opts.listed(a.FarDistanceM) {
		t.Errorf("%s: near at %.1f km, far at %.1f km", name, a.NearDistanceM/1000, a.FarDistanceM/1000)
	}
	reach := opts.ToleranceDeg*60 + a.AzimuthDifferenceSD
	if a.Case == NearMissingFarSeen {
		reach = opts.FrameDeg / 2 * 60
	}
	if math.Abs(a.AzimuthDifferenceArcmin) > reach+1e-9 {
		t.Errorf("%s: %v′ apart ± %v′ for %s", name, a.AzimuthDifferenceArcmin, a.AzimuthDifferenceSD, a.Case)
	}
	if opts.Air == AirConstant {
		for what, kc := range map[string]float64{"near": a.NearCriticalK, "far": a.FarCriticalK} {
			hidden := what == "near" && a.Case == NearMissingFarSeen || what == "far" && a.Case == FarBehindNear
			if hidden && kc <= opts.K+keepSpreads*opts.KSD || !hidden && kc > opts.K {
				t.Errorf("%s: k_c of the %s top is %v in case %s", name, what, kc, a.Case)
			}
		}
	}
	// Between the models the separation differs by (1−k)(s_f − s_n)/2R but for what the geoid and heights add: a minute at most.
	want := (1 - opts.K) * (a.FarDistanceM - a.NearDistanceM) / (2 * 6.38e6) * arcminPerRad
	if opts.Air == AirConstant && math.Abs(a.ModelGapArcmin-want) > 1+0.01*want {
		t.Errorf("%s: gap between the models %.2f′, want %.2f′", name, a.ModelGapArcmin, want)
	}
	if math.Abs(a.SeparationArcmin-(a.FarElevationDeg-a.NearElevationDeg)*60) > 1e-9 || math.Abs(a.ModelGapArcmin-(a.SeparationPlaneArcmin-a.SeparationArcmin)) > 1e-9 {
		t.Errorf("%s: separation %v′, elevations %v° and %v°, plane %v′, gap %v′", name, a.SeparationArcmin, a.FarElevationDeg, a.NearElevationDeg, a.SeparationPlaneArcmin, a.ModelGapArcmin)
	}
	if (a.OrderCurved == "far_above") != (a.SeparationArcmin >= 0) || (a.OrderPlane == "far_above") != (a.SeparationPlaneArcmin >= 0) {
		t.Errorf("%s: order %s with %v′, %s with %v′", name, a.OrderCurved, a.SeparationArcmin, a.OrderPlane, a.SeparationPlaneArcmin)
	}
	for what, v := range map[string]float64{"aligned_chance": a.AlignedChance, "chance": a.Chance, "order_differs_chance": a.OrderDiffersChance, "score": a.Score / 100} {
		if !(v >= 0 && v <= 1) {
			t.Errorf("%s: %s is %v", name, what, v)
		}
	}
	if !(a.SeparationSDArcmin > 0) || math.Abs(a.EvidenceSD*a.SeparationSDArcmin-math.Abs(a.ModelGapArcmin)) > 1e-9*a.EvidenceSD {
		t.Errorf("%s: gap %v′, spread %v′, evidence %v", name, a.ModelGapArcmin, a.SeparationSDArcmin, a.EvidenceSD)
	}
}

// checkRanks: places run from 1 without a gap, best score first, and never go to a blocked or undecided line.
func checkRanks(t *testing.T, opts *Options, r *held) {
	t.Helper()
	byRank := map[int32]*Sightline{}
	for i := range r.Sightlines {
		s := &r.Sightlines[i]
		if s.Rank == nil {
			continue
		}
		if s.Verdict == Blocked || s.Verdict == Undecided {
			t.Errorf("%s to %s is %s and has rank %d", s.ObserverName, s.TargetName, s.Verdict, *s.Rank)
		}
		if byRank[*s.Rank] != nil {
			t.Errorf("two lines have rank %d", *s.Rank)
		}
		byRank[*s.Rank] = s
	}
	value := func(s *Sightline) float64 {
		if opts.RankForPicture {
			return *s.ScorePicture
		}
		return *s.ScoreTest
	}
	for place := int32(1); int(place) <= len(byRank); place++ {
		s := byRank[place]
		if s == nil {
			t.Fatalf("%d lines are ranked, but none has rank %d", len(byRank), place)
		}
		if place > 1 && value(s) > value(byRank[place-1]) {
			t.Errorf("rank %d scores %v, the one before %v", place, value(s), value(byRank[place-1]))
		}
	}
	for i := range r.Ranked {
		if s := &r.Ranked[i]; !reflect.DeepEqual(s, byRank[int32(i+1)]) {
			t.Fatalf("row %d of the ranked lines is %s to %s", i, s.ObserverID, s.TargetID)
		}
	}
	if len(r.Ranked) != len(byRank) || r.Shown.Ranked != len(byRank) {
		t.Errorf("%d rows are ranked, %d said to be, want %d", len(r.Ranked), r.Shown.Ranked, len(byRank))
	}
	for i, p := range r.Profiles {
		s := byRank[int32(i+1)]
		if i >= opts.Top || s == nil || p.ObserverID != s.ObserverID || p.TargetID != s.TargetID || r.Shown.Sightlines[p.Line].TargetID != p.TargetID {
			t.Fatalf("profile %d is of %s to %s", i, p.ObserverID, p.TargetID)
		}
		if first, last := p.Samples[0].DistanceM, p.Samples[len(p.Samples)-1].DistanceM; first != 0 || last < s.DistanceM-1e-6 {
			t.Errorf("the profile of rank %d runs from %v to %v m of %v m", i+1, first, last, s.DistanceM)
		}
	}
	if want := min(opts.Top, len(byRank)); len(r.Profiles) != want {
		t.Errorf("%d profiles of %d ranked lines, want %d", len(r.Profiles), len(byRank), want)
	}
}
