package pipeline

import (
	"fmt"
	"math"
)

// Words that every claim has.
const (
	airNotClearMeans = "decides nothing: whether the air was clear is shown by something farther in the same frame, or it is not shown"
	notTriedMeans    = "decides nothing, and counts nowhere"
)

// wordSightline says what a line claims, and how it is decided.
func (c *Claim) wordSightline(l *Sightline) {
	top := fmt.Sprintf("From %s the top of %s, %.1f km away at azimuth %.2f°,", l.ObserverName, l.TargetName, l.DistanceM/1000, l.AzimuthDeg)
	d := &c.Decision
	d.IfAirNotClear, d.IfNotTried = airNotClearMeans, notTriedMeans
	if curved := c.Model(ModelCurved); curved.AngleArcmin != nil {
		c.Quantity = "angle in minutes of arc from the front, the ground that cuts off what lies lower, up to the top of the target, in one frame"
		c.Sentence = fmt.Sprintf("%s stands %s above the ground %.1f km away that cuts off its foot, if the Earth is curved and light bends by k = %.3f; on the plane it stands %s above the same ground.",
			top, band(curved), *l.FrontDistanceM/1000, c.Air.K, band(c.Model(ModelPlane)))
		d.byAngle(curved, c.Model(ModelPlane))
		d.IfSeen = "measure the angle: the rule decides"
		d.IfNotSeen = "in air clear enough for something farther: both models show this top, so height, place or terrain is wrong; it decides nothing between them"
		return
	}
	c.Quantity = "whether the top is in view"
	d.By = ByLook
	surely, sd := ShownByPlane(l)
	switch {
	case l.MarginArcmin > 0:
		d.By, d.Rule = ByNone, "None by this line alone: nothing before the top is cut off, so there is no front to measure from. Claim an alignment of it."
		c.Sentence = fmt.Sprintf("%s is in view, %.1f′ over the highest ground on the way; so it is on the plane.", top, l.MarginArcmin)
		d.IfSeen, d.IfNotSeen = "as both models have it", "against both models: look at heights, places and terrain"
	case l.MarginPlaneArcmin <= 0:
		d.By, d.Rule = ByNone, "None: neither model shows the top."
		c.Sentence = fmt.Sprintf("%s is out of view, %.1f′ below the ground before it; so it is on the plane.", top, -l.MarginArcmin)
		d.IfSeen, d.IfNotSeen = "against both models: look at heights, places and terrain", "as both models have it"
	default:
		c.Sentence = fmt.Sprintf("%s is out of view, %.1f′ below the ground before it, if the Earth is curved and light bends by k = %.3f; on the plane it stands %.1f′ clear of that ground.",
			top, -l.MarginArcmin, c.Air.K, l.MarginPlaneArcmin)
		d.IfSeen = fmt.Sprintf("refutes the curved model at every k up to %.3f", l.CriticalK)
		if l.Verdict == Looming {
			d.IfSeen = fmt.Sprintf("refutes nothing: the top appears when light bends by more than k = %.3f", l.CriticalK)
		}
		d.IfNotSeen = "while something farther shows in the same frame: refutes the plane"
		if !surely {
			d.IfNotSeen = fmt.Sprintf("refutes nothing: on the plane the top stands clear by %.1f ± %.1f′ only", l.MarginPlaneArcmin, sd)
		}
		d.Decides = surely
		d.Rule = "By a look. The top seen: " + d.IfSeen + ". The top missing: " + d.IfNotSeen + "."
	}
}

// wordAlignment says what an alignment claims, and how it is decided.
func (c *Claim) wordAlignment(a *Alignment) {
	d := &c.Decision
	d.IfAirNotClear, d.IfNotTried = airNotClearMeans, notTriedMeans
	tops := fmt.Sprintf("From %s, %s (%.1f km) and %s (%.1f km), %.1f′ apart in azimuth:", a.ObserverName, a.NearName, a.NearDistanceM/1000,
		a.FarName, a.FarDistanceM/1000, math.Abs(a.AzimuthDifferenceArcmin))
	curved, plane := c.Model(ModelCurved), c.Model(ModelPlane)
	c.Quantity = "angle in minutes of arc by which the far top stands over the near top in apparent elevation; below 0 it stands lower"
	switch a.Case {
	case BothInView:
		c.Sentence = fmt.Sprintf("%s the far top stands %s over the near top if the Earth is curved and light bends by k = %.3f, and %s over it on the plane.", tops, band(curved), c.Air.K, band(plane))
		d.byAngle(curved, plane)
		if curved.Order != plane.Order {
			d.Rule += " The order of the two tops differs between the models and needs no measurement: " + orderInWords(curved.Order) + " under the curved model, " +
				orderInWords(plane.Order) + " on the plane."
		}
		d.IfSeen = "both tops: the rule decides"
		d.IfNotSeen = "one of the tops, in air clear enough for the other: height, place or terrain is wrong, or light bent unusually; decides nothing"
		return
	case FarBehindNear:
		c.Quantity = "whether the far top is in view over the near top"
		c.Sentence = fmt.Sprintf("%s the far top is hidden behind the near one if the Earth is curved and light bends by k = %.3f (by %.1f ± %.1f′); on the plane it stands %s over it.", tops, c.Air.K, -*curved.AngleArcmin, *curved.AngleSDArcmin, band(plane))
		d.IfSeen = fmt.Sprintf("the far top over the near one: refutes the curved model at every k up to %.3f", a.FarCriticalK)
		d.IfNotSeen = "the far top, in air clear enough for something as far: refutes the plane"
	case NearMissingFarSeen:
		c.Quantity = "whether the near top is in view while the far top is"
		c.Sentence = fmt.Sprintf("%s the near top is out of view while the far one shows, if the Earth is curved and light bends by k = %.3f; on the plane both show.", tops, c.Air.K)
		d.IfSeen = fmt.Sprintf("the near top: refutes the curved model at every k up to %.3f", a.NearCriticalK)
		d.IfNotSeen = "the near top, while the far one shows and so proves the air clear: refutes the plane"
	}
	d.By, d.Decides = ByLook, a.PlaneShowsBoth
	d.Rule = "By a look. Seen, " + d.IfSeen + ". Not seen, " + d.IfNotSeen + "."
	if !a.PlaneShowsBoth {
		d.Rule += " But the plane does not show both tops either, so that what is missing refutes nothing."
		d.IfNotSeen = "refutes nothing, for the plane does not show both tops either"
	}
}

// byAngle decides by a measured angle, the plane's being the greater: the threshold lies equally many standard deviations from both models.
func (d *ClaimDecision) byAngle(curved, plane *ClaimModel) {
	d.By = ByAngle
	c, sc, p, sp := *curved.AngleArcmin, *curved.AngleSDArcmin, *plane.AngleArcmin, *plane.AngleSDArcmin
	above, below, decides := FrontAngle{c, sc, p, sp}.Thresholds()
	d.Decides = decides
	d.CurvedRefutedAboveArcmin, d.PlaneRefutedBelowArcmin = pointer(above), pointer(below)
	d.Rule = fmt.Sprintf("By a measured angle m with its standard deviation s. z of the curved model = |m − %.2f| / √(%.2f² + s²), z of the plane = |m − %.2f| / √(%.2f² + s²), in minutes of arc. "+
		"A model is refuted at z of 3 or more. One refuted and not the other: that one has lost. Both: neither model fits, look at the inputs. Neither: the photograph cannot tell.", c, sc, p, sp)
	if sc+sp > 0 && p > c {
		d.ThresholdArcmin, d.ThresholdSD = pointer((c*sp+p*sc)/(sc+sp)), pointer((p-c)/(sc+sp))
		d.Rule += fmt.Sprintf(" Threshold: %.2f′, %.1f standard deviations from either.", *d.ThresholdArcmin, *d.ThresholdSD)
	}
	if !decides {
		d.Rule += fmt.Sprintf(" The bands of three standard deviations overlap from %.2f′ to %.2f′: there this angle cannot tell, whatever the camera.", below, above)
	}
}

// band writes an angle with its spread.
func band(m *ClaimModel) string {
	return fmt.Sprintf("%.1f ± %.1f′", *m.AngleArcmin, *m.AngleSDArcmin)
}

func orderInWords(order string) string {
	if order == "far_above" {
		return "far top above"
	}
	return "near top above"
}
