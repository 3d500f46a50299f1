package pipeline

import "math"

// BreakEven is by how much one input alone must be wrong for the other model to fit what the curved model predicts.
type BreakEven struct {
	// Input names it in words; Amount is in Unit ("m", "%", or "" for k), without a sign.
	Input  string
	Amount float64
	Unit   string
	// SD is the standard deviation that the input is given, in Unit.
	SD float64
}

// BreakEvens lists the break-evens of the angle between a far top and what stands before it (an alignment's near top, or the front), and
// in how many standard deviations all inputs but k must be wrong at once, each in its worst direction. gapArcmin is the difference
// of the angle between the models.
func (s *separationSpread) BreakEvens(gapArcmin float64, near string) (each []BreakEven, allSD float64) {
	gap := math.Abs(gapArcmin) / arcminPerRad
	k, r := s.opts.K, s.radiusM
	curvature := (1 - k) / (2 * r)
	riseN, riseF := s.nearRiseM/square(s.nearM), s.farRiseM/square(s.farM)
	worst := 0.0
	add := func(input, unit string, slope, sd float64) {
		if slope = math.Abs(slope); slope == 0 {
			return
		}
		each = append(each, BreakEven{Input: input, Amount: gap / slope, Unit: unit, SD: sd})
		worst += slope * sd
	}
	add("height of the eye", "m", 1/s.nearM-1/s.farM, s.eyeSDM)
	add("height of the far top", "m", 1/s.farM, s.farSDM)
	add("height of the "+near, "m", 1/s.nearM, s.nearSDM)
	add("distance of the far top", "m", riseF+curvature, s.farPlaceSDM)
	add("distance of the "+near, "m", riseN+curvature, s.nearPlaceSDM)
	add("place of the observer along the line", "m", riseN-riseF, s.eyePlaceSDM)
	if worst > 0 {
		allSD = gap / worst
	}
	air := (s.farM - s.nearM) / (2 * r)
	each = append(each, BreakEven{Input: "refraction coefficient", Amount: gap / air, SD: s.opts.KSD})
	return each, allSD
}

// LineBreakEvens are those of a line by itself: of the angle of its top over its front. It returns none for lines without.
func LineBreakEvens(opts *Options, s *Sightline, eyeSDM, topSDM, observerPlaceSDM, targetPlaceSDM, frontSDM float64) (each []BreakEven, allSD float64) {
	if s.FrontDistanceM == nil || s.FrontHeightM == nil || s.FrontAngleSDArcmin == nil {
		return nil, 0
	}
	spread := separationSpread{
		opts: opts, radiusM: s.RadiusM, nearM: *s.FrontDistanceM, farM: s.DistanceM,
		nearRiseM: *s.FrontHeightM - s.EyeHeightM, farRiseM: s.TopHeightM - s.EyeHeightM,
		nearSDM: frontSDM, farSDM: topSDM, eyeSDM: eyeSDM, farPlaceSDM: targetPlaceSDM, eyePlaceSDM: observerPlaceSDM,
	}
	gap := (1 - opts.K) * (s.DistanceM - *s.FrontDistanceM) / (2 * s.RadiusM) * arcminPerRad
	return spread.BreakEvens(gap, "front")
}
