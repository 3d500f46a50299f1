package pipeline

import (
	"fmt"
	"math"
	"time"

	"farstation/geodesy"
)

// exifTime is the layout of the times in EXIF (CIPA DC-008, DateTimeOriginal).
const exifTime = "2006:01:02 15:04:05"

// comparePrediction holds the photographs against a claim that was made before them; nil where none is named. A claim that was changed, or that is of
// something else, is an error.
func (s *Scene) comparePrediction(w *Weighing) (*PredictionCompared, error) {
	if s.opts.Prediction == "" {
		return nil, nil
	}
	claim, err := ReadClaim(s.opts.Prediction)
	if err != nil {
		return nil, err
	}
	c := &PredictionCompared{
		Path: s.opts.Prediction, SHA256: claim.SHA256, ID: claim.ID, Made: claim.Made, Before: "not known", Quantity: claim.Quantity, Rule: claim.Decision.Rule,
		ThresholdArcmin: claim.Decision.ThresholdArcmin, CurvedArcmin: claim.Model(ModelCurved).AngleArcmin, PlaneArcmin: claim.Model(ModelPlane).AngleArcmin,
		Searched: claim.Searched, Photographs: max(s.opts.Tried, len(s.Photos)), Sentences: []string{},
	}
	say := func(format string, args ...any) { c.Sentences = append(c.Sentences, fmt.Sprintf(format, args...)) }
	frame, near, far := s.claimed(claim)
	if frame < 0 {
		return nil, fmt.Errorf("prediction %s: no photograph shows %s: measure its top, or name it as absent", s.opts.Prediction, claim.Target.Name)
	}
	if err := s.claimedFrom(claim, frame); err != nil {
		return nil, fmt.Errorf("prediction %s: %w", s.opts.Prediction, err)
	}
	c.Taken = s.Photos[frame].Taken
	if taken, err := time.Parse(exifTime, c.Taken); err == nil {
		// Whole days, for the camera's clock has no zone.
		made, _ := time.Parse(time.DateOnly, claim.Made)
		switch day := taken.Truncate(24 * time.Hour); {
		case made.Before(day.Add(-24 * time.Hour)):
			c.Before = "yes"
			say("The prediction is dated %s, before the photograph (%s by the camera's clock).", claim.Made, c.Taken)
		case made.After(day.Add(24 * time.Hour)):
			c.Before = "no"
			say("The prediction is dated %s, after the photograph (%s by the camera's clock): it predicts nothing, and its rule is not applied.", claim.Made, c.Taken)
		default:
			say("The prediction and the photograph are dated within a day of each other (%s; %s by the camera's clock): which came first is not known from them.", claim.Made, c.Taken)
		}
	} else {
		say("EXIF states no time that can be read, so that the file does not tell whether the prediction (%s) came before the photograph.", claim.Made)
	}
	say("A date in a file proves nothing by itself: the hash %s lodged with somebody else does.", claim.SHA256)
	if claim.Searched > 0 {
		say("The line was chosen from %d candidate lines, of which %d were listed; photographs tried: %d, weighed here: %d.", claim.Searched, claim.Listed, c.Photographs, len(s.Photos))
	} else {
		say("The claim does not say from how many lines this one was chosen; photographs tried: %d, weighed here: %d.", c.Photographs, len(s.Photos))
	}
	if c.Before != "no" {
		s.applyRule(w, c, claim, near, far, say)
	}
	return c, nil
}

// claimedAwayM is how far from a claim's place, besides three standard deviations, a photograph may be taken to be one of its line. Our judgement, no source.
const claimedAwayM = 500

// claimedFrom refuses a claim of a line from elsewhere: its numbers are those of its own place.
func (s *Scene) claimedFrom(claim *Claim, frame int) error {
	station := &s.stations[s.stationOf[frame]]
	from := geodesy.LatLon{LatDeg: claim.Observer.LatitudeDeg, LonDeg: claim.Observer.LongitudeDeg}
	awayM := geodesy.WGS84.Inverse(from, station.Place).DistanceM
	if awayM > claimedAwayM+3*math.Hypot(station.PlaceSDM, claim.Observer.PositionSDM) {
		return fmt.Errorf("it is of a line from %s at %.5f,%.5f, and photograph %d was taken %.1f km from there: its numbers do not hold here", claim.Observer.Name, from.LatDeg, from.LonDeg, frame+1, awayM/1000)
	}
	return nil
}

// claimed finds the frame with a claim's target, and its points: near is the near top of an alignment, or the cut on the target's face; −1 for what was not
// measured. A frame where the target is absent has no far point.
func (s *Scene) claimed(claim *Claim) (frame, near, far int) {
	if far = s.pointOf(-1, claim.Target.ID, PartTop); far < 0 {
		if absent := s.pointOf(-1, claim.Target.ID, PartAbsent); absent >= 0 {
			return s.Points[absent].Frame, -1, -1
		}
		return -1, -1, -1
	}
	frame = s.Points[far].Frame
	if claim.Near != nil {
		return frame, s.pointOf(frame, claim.Near.ID, PartTop), far
	}
	return frame, s.pointOf(frame, claim.Target.ID, PartCut), far
}

// pointOf is the first point of a part of a feature, in one frame or, for −1, in any; −1 for none.
func (s *Scene) pointOf(frame int, id string, part MeasuredPart) int {
	for i := range s.Points {
		if p := &s.Points[i]; (frame < 0 || p.Frame == frame) && p.Part == part && s.targetOf[i] >= 0 && s.Targets[s.targetOf[i]].ID == id {
			return i
		}
	}
	return -1
}

// applyRule decides by the claim's own rule.
func (s *Scene) applyRule(w *Weighing, c *PredictionCompared, claim *Claim, near, far int, say func(string, ...any)) {
	free := w.model(ModelFree).fit
	switch {
	case claim.Decision.By == ByNone:
		say("The claim is not decided by this line alone.")
	case claim.Decision.By == ByLook:
		looked := claim.Target.ID
		if claim.Case == NearMissingFarSeen {
			looked = claim.Near.ID
		}
		switch {
		case s.pointOf(-1, looked, PartTop) >= 0:
			say("Seen: %s.", claim.Decision.IfSeen)
		case s.pointOf(-1, looked, PartAbsent) >= 0:
			say("Not seen: %s.", claim.Decision.IfNotSeen)
		default:
			say("Neither measured nor named as absent: %s.", looked)
		}
	case near < 0 || far < 0 || free == nil:
		say("The claim's angle was not measured: it wants %s.", claim.Quantity)
	default:
		pose := free.Poses[s.Points[far].Frame]
		_, nearRad := pose.Direction(s.Points[near].XPx, s.Points[near].YPx)
		_, farRad := pose.Direction(s.Points[far].XPx, s.Points[far].YPx)
		m, sd := (farRad-nearRad)*arcminPerRad, math.Hypot(s.Points[near].SDPx, s.Points[far].SDPx)/pose.FocalPx*arcminPerRad
		c.MeasuredArcmin, c.MeasuredSDArcmin = pointer(m), pointer(sd)
		refuted := map[string]bool{}
		for _, name := range []string{ModelCurved, ModelPlane} {
			model := claim.Model(name)
			z := math.Abs(m-*model.AngleArcmin) / math.Hypot(*model.AngleSDArcmin, sd)
			refuted[name] = z >= claimSpreads
			say("Measured %.2f ± %.2f′; the %s predicted %.2f ± %.2f′: %s standard deviations apart.", m, sd, modelWords[name], *model.AngleArcmin, *model.AngleSDArcmin, StrengthWords(z))
		}
		switch {
		case refuted[ModelCurved] && refuted[ModelPlane]:
			say("By the claim's rule neither model fits: look at the inputs.")
		case refuted[ModelCurved]:
			c.Refuted = ModelCurved
			say("By the claim's rule the curved Earth has lost.")
		case refuted[ModelPlane]:
			c.Refuted = ModelPlane
			say("By the claim's rule the plane has lost.")
		default:
			say("By the claim's rule the photograph cannot tell.")
		}
	}
}

var modelWords = map[string]string{ModelCurved: "curved Earth", ModelPlane: "plane"}
