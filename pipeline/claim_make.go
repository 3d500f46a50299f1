package pipeline

import (
	"fmt"
	"math"

	"farstation/gazetteer"
	"farstation/geodesy"
)

// ClaimRun is what a claim takes of its run.
type ClaimRun struct {
	Manifest *Manifest
	// SHA256 is that of run.json.
	SHA256 string
	// Features holds at least the ends of the line, by id.
	Features map[string]FeatureRow
	// Made is the day of the claim, 2006-01-02 in UTC; KSource says where k is from, KSourceOf where it is empty.
	Made, KSource string
}

// newClaim fills what every claim has.
func (r *ClaimRun) newClaim(subject, id, observerID, targetID string) (*Claim, *Options, error) {
	opts, err := OptionsOf(r.Manifest)
	if err != nil {
		return nil, nil, fmt.Errorf("claim %s: %w", id, err)
	}
	c := &Claim{
		Form: ClaimForm, Version: r.Manifest.Version, Made: r.Made, RunSHA256: r.SHA256, Subject: subject, ID: id,
		Parameters: r.Manifest.Parameters, Inputs: append([]Input{}, r.Manifest.Inputs...), Terms: []ClaimTerm{}, BreakEvens: []ClaimBreakEven{},
		Searched: r.Manifest.Counts.Candidates, Listed: r.Manifest.Counts.Kept,
		Air: ClaimAir{K: opts.K, KSD: opts.KSD, KOwnSD: opts.KOwnSD},
	}
	for _, end := range []struct {
		id string
		to *ClaimFeature
	}{{observerID, &c.Observer}, {targetID, &c.Target}} {
		if *end.to, err = r.feature(end.id); err != nil {
			return nil, nil, fmt.Errorf("claim %s: %w", id, err)
		}
	}
	return c, &opts, nil
}

func (r *ClaimRun) feature(id string) (ClaimFeature, error) {
	f, ok := r.Features[id]
	if !ok {
		return ClaimFeature{}, fmt.Errorf("the run has no feature %s", id)
	}
	return ClaimFeature{
		ID: f.FeatureID, Name: f.Name, Kind: f.Kind, LatitudeDeg: f.LatitudeDeg, LongitudeDeg: f.LongitudeDeg, PositionSDM: f.PositionSDM,
		GroundHeightM: f.GroundHeightM, GroundHeightSDM: f.GroundHeightSDM, HeightSource: f.HeightSource, ListedHeightM: f.ListedHeightM,
		TerrainHeightM: f.TerrainHeightM, StructureHeightM: f.StructureHeightM, StructureHeightSDM: f.StructureHeightSDM, Sources: f.Sources, Doubts: f.Doubts,
	}, nil
}

func (r *ClaimRun) settled(id string) gazetteer.Feature {
	f := r.Features[id]
	return f.feature()
}

// NewSightlineClaim freezes what a run predicts of one sightline: the angle of its top over its front where it has one, else whether it shows.
// It returns an error for undecided lines.
func (r *ClaimRun) NewSightlineClaim(l *Sightline) (*Claim, error) {
	c, opts, err := r.newClaim(SubjectSightline, LineID(l), l.ObserverID, l.TargetID)
	if err != nil {
		return nil, err
	}
	if l.Verdict == Undecided {
		return nil, fmt.Errorf("claim %s: the line is undecided, for terrain is missing: find that terrain and survey again", c.ID)
	}
	c.Doubts, c.Air.K = l.Doubts, l.KFree
	c.Chance = ClaimChance{TopLow: l.ChanceLow, TopHigh: l.ChanceHigh}
	c.Geometry = ClaimGeometry{
		DistanceM: l.DistanceM, AzimuthDeg: l.AzimuthDeg, FrontDistanceM: l.FrontDistanceM, FrontHeightM: l.FrontHeightM,
		EyeHeightM: l.EyeHeightM, TopHeightM: l.TopHeightM, RadiusM: l.RadiusM, Verdict: l.Verdict, CriticalK: l.CriticalK,
	}
	c.Models = claimModels(c.Air)
	cut := map[string]*float64{
		ModelCurved: l.ObscuredHeightM, ModelCurvedLowK: l.ObscuredHeightLowKM, ModelCurvedHighK: l.ObscuredHeightHighKM,
		ModelCurvedK0: l.ObscuredHeightK0M, ModelPlane: l.ObscuredHeightPlaneM,
	}
	for i := range c.Models {
		m := &c.Models[i]
		m.ObscuredHeightM = cut[m.Model]
		switch m.Model {
		case ModelCurved:
			m.MarginArcmin, m.PartInView = pointer(l.MarginArcmin), l.PartInView
		case ModelPlane:
			m.MarginArcmin, m.PartInView = pointer(l.MarginPlaneArcmin), l.PartInViewPlane
		}
	}
	if angle, ok := NewFrontAngle(l, l.KFree); ok {
		c.setAngles(angle, (l.DistanceM-*l.FrontDistanceM)/(2*l.RadiusM))
		opts.K = l.KFree
		observer, target := r.settled(l.ObserverID), r.settled(l.TargetID)
		c.setSpread(frontSpread(opts, l, &observer, &target, angle.PlaneSDArcmin), angle.PlaneArcmin-angle.CurvedArcmin, "front")
	}
	c.wordSightline(l)
	r.setKSource(c)
	return c, nil
}

// NewAlignmentClaim freezes what a run predicts of one alignment: the separation of its tops, or which of them shows.
func (r *ClaimRun) NewAlignmentClaim(a *Alignment) (*Claim, error) {
	c, opts, err := r.newClaim(SubjectAlignment, AlignmentID(a), a.ObserverID, a.FarID)
	if err != nil {
		return nil, err
	}
	near, err := r.feature(a.NearID)
	if err != nil {
		return nil, fmt.Errorf("claim %s: %w", c.ID, err)
	}
	c.Near, c.Case, c.Doubts = &near, a.Case, a.Doubts
	c.Chance = ClaimChance{TopLow: a.FarInViewChance, TopHigh: a.FarInViewChance, Near: pointer(a.NearInViewChance), Shows: pointer(a.Chance)}
	observer, nearTop, far := r.settled(a.ObserverID), r.settled(a.NearID), r.settled(a.FarID)
	spread := alignmentSpread(opts, a, &observer, &nearTop, &far)
	c.Geometry = ClaimGeometry{
		DistanceM: a.FarDistanceM, AzimuthDeg: a.AzimuthDeg, NearDistanceM: pointer(a.NearDistanceM), EyeHeightM: opts.eyeHeightM(&observer),
		TopHeightM: topHeightM(&far), RadiusM: spread.radiusM, CriticalK: a.FarCriticalK,
	}
	c.Models = claimModels(c.Air)
	_, planeSD := spread.sdRad()
	c.setAngles(FrontAngle{
		CurvedArcmin: a.SeparationArcmin, CurvedSDArcmin: a.SeparationSDArcmin, PlaneArcmin: a.SeparationPlaneArcmin, PlaneSDArcmin: planeSD * arcminPerRad,
	}, (a.FarDistanceM-a.NearDistanceM)/(2*spread.radiusM))
	for i := range c.Models {
		m := &c.Models[i]
		if m.Model == ModelPlaneSameAir {
			m.AngleArcmin = pointer(a.SeparationPlaneAirArcmin)
		}
		m.Order, m.FarAboveChance = order(*m.AngleArcmin), pointer(aboveChance(*m.AngleArcmin, *m.AngleSDArcmin))
	}
	c.setSpread(spread, a.ModelGapArcmin, "near top")
	c.wordAlignment(a)
	r.setKSource(c)
	return c, nil
}

func (r *ClaimRun) setKSource(c *Claim) {
	if c.Air.KSource = r.KSource; c.Air.KSource == "" {
		c.Air.KSource = KSourceOf(c.Air.K)
	}
}

func claimModels(air ClaimAir) []ClaimModel {
	return []ClaimModel{
		{Model: ModelCurved, K: air.K}, {Model: ModelCurvedLowK, K: air.K - 2*air.KSD}, {Model: ModelCurvedHighK, K: air.K + 2*air.KSD},
		{Model: ModelCurvedK0}, {Model: ModelPlane}, {Model: ModelPlaneSameAir, K: air.K},
	}
}

// setAngles fills the angle of each model: at another k it differs by perKRad times the difference, to first order, as an angle between two
// points of one azimuth does; on the plane in the same air it is the curved one with the whole curvature, 2·perKRad·R, taken away.
func (c *Claim) setAngles(angle FrontAngle, perKRad float64) {
	for i := range c.Models {
		m := &c.Models[i]
		at, sd := angle.CurvedArcmin+(m.K-c.Air.K)*perKRad*arcminPerRad, angle.PlaneSDArcmin
		switch m.Model {
		case ModelCurved:
			sd = angle.CurvedSDArcmin
		case ModelPlane:
			at = angle.PlaneArcmin
		case ModelPlaneSameAir:
			at, sd = angle.CurvedArcmin+perKRad*arcminPerRad, angle.CurvedSDArcmin
		}
		m.AngleArcmin, m.AngleSDArcmin = pointer(at), pointer(sd)
	}
}

// setSpread fills the terms of the spread and the break-evens.
func (c *Claim) setSpread(s *separationSpread, gapArcmin float64, near string) {
	c.Terms = s.terms(near)
	each, all := s.BreakEvens(gapArcmin, near)
	for _, b := range each {
		c.BreakEvens = append(c.BreakEvens, ClaimBreakEven(b))
	}
	if all > 0 {
		c.BreakEvenAllSD = pointer(math.Min(all, exactSD))
	}
}

// terms gives each input the spread that it would leave if all others were exact.
func (s *separationSpread) terms(near string) []ClaimTerm {
	terms := []ClaimTerm{}
	add := func(input string, set func(one *separationSpread)) {
		one := separationSpread{
			opts: &Options{K: s.opts.K}, radiusM: s.radiusM, nearM: s.nearM, farM: s.farM, nearRiseM: s.nearRiseM, farRiseM: s.farRiseM,
		}
		set(&one)
		withAir, withoutAir := one.sdRad()
		terms = append(terms, ClaimTerm{Input: input, CurvedArcmin: withAir * arcminPerRad, PlaneArcmin: withoutAir * arcminPerRad})
	}
	k := s.opts
	add("refraction coefficient, shared", func(o *separationSpread) { o.opts.KSD = math.Sqrt(math.Max(square(k.KSD)-square(k.KOwnSD), 0)) })
	add("refraction coefficient, each ray's own", func(o *separationSpread) { o.opts.KSD, o.opts.KOwnSD = k.KOwnSD, k.KOwnSD })
	add("height of the eye", func(o *separationSpread) { o.eyeSDM = s.eyeSDM })
	add("height of the far top", func(o *separationSpread) { o.farSDM = s.farSDM })
	add("height of the "+near, func(o *separationSpread) { o.nearSDM = s.nearSDM })
	add("place of the far top", func(o *separationSpread) { o.farPlaceSDM = s.farPlaceSDM })
	add("place of the "+near, func(o *separationSpread) { o.nearPlaceSDM = s.nearPlaceSDM })
	add("place of the observer", func(o *separationSpread) { o.eyePlaceSDM = s.eyePlaceSDM })
	return terms
}

// frontSpread is that of the top over the front, as the survey had it. The spread of the front's height, which no table holds, is what remains
// of the whole on the plane.
func frontSpread(opts *Options, l *Sightline, observer, target *gazetteer.Feature, planeSDArcmin float64) *separationSpread {
	s := &separationSpread{
		opts: opts, radiusM: l.RadiusM, nearM: *l.FrontDistanceM, farM: l.DistanceM,
		nearRiseM: orNaN(l.FrontHeightM) - l.EyeHeightM, farRiseM: l.TopHeightM - l.EyeHeightM,
		farSDM: opts.topSDM(target), eyeSDM: opts.eyeSDM(observer), farPlaceSDM: target.PositionSDM, eyePlaceSDM: observer.PositionSDM,
	}
	_, rest := s.sdRad()
	s.nearSDM = s.nearM * math.Sqrt(math.Max(square(planeSDArcmin/arcminPerRad)-square(rest), 0))
	return s
}

// alignmentSpread is that of two tops, as the survey had it but for the radius, here Euler's at the middle latitude and the azimuth at the
// observer: 1 % of the curvature at most, of which spreads feel nothing.
func alignmentSpread(opts *Options, a *Alignment, observer, near, far *gazetteer.Feature) *separationSpread {
	eyeM := opts.eyeHeightM(observer)
	return &separationSpread{
		opts: opts, radiusM: geodesy.WGS84.EulerRadiusM((observer.At.LatDeg+far.At.LatDeg)/2, a.AzimuthDeg), nearM: a.NearDistanceM, farM: a.FarDistanceM,
		nearRiseM: topHeightM(near) - eyeM, farRiseM: topHeightM(far) - eyeM,
		nearSDM: opts.topSDM(near), farSDM: opts.topSDM(far), eyeSDM: opts.eyeSDM(observer),
		nearPlaceSDM: near.PositionSDM, farPlaceSDM: far.PositionSDM, eyePlaceSDM: observer.PositionSDM,
	}
}

// aboveChance is the probability that an angle is above 0.
func aboveChance(angle, sd float64) float64 {
	if sd > 0 {
		return normalCDF(angle / sd)
	}
	if angle >= 0 {
		return 1
	}
	return 0
}
