package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"farstation/gazetteer"
	"farstation/pipeline"
)

// writeLine prints one pair in full, in words.
func writeLine(w io.Writer, o *pipeline.Options, p *pipeline.LinePrediction, observer, target *gazetteer.Feature) {
	l := &p.Row
	row := func(name, format string, args ...any) {
		fmt.Fprintf(w, "%-22s %s\n", name, plain(fmt.Sprintf(format, args...)))
	}
	undecidedOr := func(v *float64, write func(float64) string, none string) string {
		switch {
		case v != nil:
			return write(*v)
		case l.Verdict == pipeline.Undecided:
			return "undecided"
		default:
			return none
		}
	}
	row("from", "%s", endWords(observer))
	row("to", "%s", endWords(target))
	row("distance", "%s km at azimuth %.3f°; back from the target at %.3f°", decimals(l.DistanceM/1000, 3), l.AzimuthDeg, l.BackAzimuthDeg)
	row("radius of curvature", "%s km along the line, at its middle", decimals(l.RadiusM/1000, 1))
	row("eye", "%s m over the geoid: %s", plusMinus(decimals(l.EyeHeightM, 1), decimals(p.EyeSDM, 1)), eyeWords(o, observer))
	row("top", "%s m over the geoid: %s", plusMinus(decimals(l.TopHeightM, 1), decimals(p.TopSDM, 1)), groundWords(target, true))
	row("geoid", "%s m over the ellipsoid at the observer, %s m at the target", decimals(p.ObserverUndulationM, 1), decimals(p.TargetUndulationM, 1))
	fmt.Fprintln(w)

	fmt.Fprintf(w, "%-22s %-34s %s\n", "", fmt.Sprintf("curved Earth, k = %s", coefficient(p.K)), "plane, straight light")
	both := func(name, curved, plane string) { fmt.Fprintf(w, "%-22s %-34s %s\n", name, curved, plane) }
	both("elevation of the top", plusMinus(arcmin(60*l.ElevationDeg), arcmin(l.ElevationSDArcmin)), arcmin(60*l.ElevationPlaneDeg))
	both("margin over ground", arcmin(l.MarginArcmin), arcmin(l.MarginPlaneArcmin))
	both("obscured height", undecidedOr(l.ObscuredHeightM, metres, "nothing is cut off"), undecidedOr(l.ObscuredHeightPlaneM, metres, "nothing is cut off"))
	both("part in view", undecidedOr(l.PartInView, percent, "undecided"), undecidedOr(l.PartInViewPlane, percent, "undecided"))
	row("", "elevation on a plane with the same air as the curved Earth: %s", arcmin(60*l.ElevationPlaneSameAirDeg))
	if l.Verdict != pipeline.Undecided {
		row("obscured height at", "k = %s: %s; k = %s: %s; k = 0: %s",
			coefficient(p.K-2*o.KSD), undecidedOr(l.ObscuredHeightLowKM, metres, "nothing"),
			coefficient(p.K+2*o.KSD), undecidedOr(l.ObscuredHeightHighKM, metres, "nothing"),
			undecidedOr(l.ObscuredHeightK0M, metres, "nothing"))
	}
	fmt.Fprintln(w)

	row("verdict", "%s: %s", l.Verdict, verdictWords(l.Verdict))
	row("critical refraction", "k_c = %s: the top shows when k is greater", coefficient(l.CriticalK))
	if l.CriticalKBeyond1km != l.CriticalK {
		row("", "%s for ground farther than 1 km from both ends", coefficient(l.CriticalKBeyond1km))
	}
	row("grazing point", "%s from the observer, on ground %s high", kilometres(l.GrazingDistanceM), metres(l.GrazingHeightM))
	row("riskiest point", "%s from the observer; heights and terrain there are worth ± %s of k_c", kilometres(l.RiskiestDistanceM), coefficient(l.CriticalKSD))
	for _, note := range o.AirNotes() {
		row("air", "%s", note)
	}
	if o.Air != pipeline.AirConstant {
		row("k of free air", "%s on this line", coefficient(p.K))
	}
	row("chance", "%s", chanceWords(l))
	row("", "over k = %s along this ray, both heights and the terrain; it says nothing of haze", plusMinus(coefficient(l.KMean), coefficient(l.KSD)))
	if o.LowHeightM > 0 {
		row("low air", "%s of the ray run within %s of sea or ground, where k is poorly known", kilometres(p.LowM), metres(o.LowHeightM))
	}
	if l.FrontDistanceM != nil && l.FootDistanceM != nil {
		row("front", "%s from the observer: what cuts off the view of lower ground behind it", kilometres(*l.FrontDistanceM))
		if l.MarginArcmin > 0 {
			row("foot in view", "%s from the observer", kilometres(*l.FootDistanceM))
		}
	}
	row("base height", "%s, the lowest ground within 10 km before the target", metres(l.BaseHeightM))
	row("cut height", "%s; an upper bound of what is cut off", metres(l.CutHeightM))
	if l.LackingHeightM != nil {
		row("lacking height", "the top would have to be %s higher to show", metres(*l.LackingHeightM))
	}
	if l.StructureInViewM != nil {
		row("structure in view", "the upper %s of %s", metres(*l.StructureInViewM), metres(target.StructureHeightM))
	}
	if l.DipArcmin != nil && l.SeaHorizonM != nil {
		row("sea horizon", "%s below the horizontal, %s away", arcmin(*l.DipArcmin), kilometres(*l.SeaHorizonM))
	} else {
		row("sea horizon", "none: no sea lies on the line, or the eye is below it")
	}
	row("bare sea", "would cut off all below %s at that distance (handbook formula, no terrain)", metres(l.SeaObscuredHeightM))
	row("terrain", "%s %% of the line is covered", decimals(100*l.TerrainCoverage, 1))
	fmt.Fprintln(w)

	row("claim", "%s", claimWords(p))
	if len(p.BreakEvens) > 0 {
		row("break-even", "the plane fits that angle as well if one of these alone is wrong by")
	}
	for i := range p.BreakEvens {
		if b := &p.BreakEvens[i]; b.SD > 0 {
			row("", "  %s", breakEvenWords(b))
		}
	}
	if p.AllSD > 0 {
		row("", "  or all but k at once, each in its worst direction, by %s standard deviations", decimals(p.AllSD, 1))
	}
	if l.Doubts == "" {
		row("doubts", "none")
		return
	}
	for _, code := range strings.Split(l.Doubts, ",") {
		for _, doubt := range allDoubts() {
			if doubt.Code == code {
				row("doubt", "%s: %s", code, doubt.Meaning)
			}
		}
	}
}

// isTyped tells a place that was given by its coordinates from a gazetteer's feature.
func isTyped(f *gazetteer.Feature) bool { return f.ID == "from" || f.ID == "to" }

// breakEvenWords says by how much one input must be wrong before the plane fits.
func breakEvenWords(b *pipeline.BreakEven) string {
	amount := func(v float64) string {
		switch {
		case b.Unit == "":
			return coefficient(v)
		case v < 100:
			return decimals(v, 1) + " " + b.Unit
		default:
			return decimals(v, 0) + " " + b.Unit
		}
	}
	return fmt.Sprintf("%s: %s (standard deviation %s)", b.Input, amount(b.Amount), amount(b.SD))
}

// endWords names an end of the line.
func endWords(f *gazetteer.Feature) string {
	at := fmt.Sprintf("%.5f, %.5f", f.At.LatDeg, f.At.LonDeg)
	if isTyped(f) {
		return at
	}
	words := fmt.Sprintf("%s (%s, %s) at %s", f.Name, f.Kind, f.ID, at)
	if f.MovedM >= 1 {
		words += fmt.Sprintf(", the highest ground %s from where it is listed", metres(f.MovedM))
	}
	return words
}

func eyeWords(o *pipeline.Options, observer *gazetteer.Feature) string {
	return fmt.Sprintf("%s, eye %s m over that", groundWords(observer, o.FromTops), decimals(o.EyeHeightM, 1))
}

// groundWords says what the height of an end is made of.
func groundWords(f *gazetteer.Feature, withStructure bool) string {
	words, from := fmt.Sprintf("ground %s m ", decimals(f.GroundHeightM, 1)), "as listed"
	if isTyped(f) {
		from = "as given"
	}
	switch {
	case f.HeightSource == gazetteer.HeightTerrain:
		words += "from the terrain"
		if !math.IsNaN(f.ListedHeightM) {
			words += fmt.Sprintf(" (%s m is listed)", decimals(f.ListedHeightM, 1))
		}
	case math.IsNaN(f.TerrainHeightM):
		words += from + " (no terrain to compare)"
	default:
		words += fmt.Sprintf("%s (terrain %s m)", from, decimals(f.TerrainHeightM, 1))
	}
	if withStructure && f.StructureHeightM > 0 {
		words += fmt.Sprintf(", structure %s m", plusMinus(decimals(f.StructureHeightM, 1), decimals(f.StructureHeightSDM, 1)))
	}
	return words
}

func chanceWords(l *pipeline.Sightline) string {
	if l.ChanceLow == l.ChanceHigh {
		return chance(l.ChanceLow) + " that no ground cuts off the top"
	}
	return fmt.Sprintf("%s that no ground cuts off the top with gaps in the terrain filled high, %s with gaps as sea", chance(l.ChanceLow), chance(l.ChanceHigh))
}

// claimWords says in one sentence what a photograph of the line is to decide, and past which value a model is refuted.
func claimWords(p *pipeline.LinePrediction) string {
	l := &p.Row
	if l.Verdict == pipeline.Undecided {
		where := ""
		if l.UndecidedAtM != nil {
			where = " " + kilometres(*l.UndecidedAtM) + " from the observer"
		}
		return "none: terrain is missing" + where + " and decides; find that terrain first"
	}
	if c, ok := pipeline.NewFrontAngle(l, p.K); ok {
		words := fmt.Sprintf("the top stands %s above its front under the curve and %s on the plane", plusMinus(arcmin(c.CurvedArcmin), arcmin(c.CurvedSDArcmin)),
			plusMinus(arcmin(c.PlaneArcmin), arcmin(c.PlaneSDArcmin)))
		above, below, decides := c.Thresholds()
		if !decides {
			return words + "; the bands of three standard deviations overlap, so this angle alone decides nothing"
		}
		return words + fmt.Sprintf(": a measured angle above %s refutes the curve, one below %s refutes the plane (three standard deviations each)", arcmin(above), arcmin(below))
	}
	switch {
	case l.MarginArcmin > 0:
		return "none by this line alone: nothing before the top is cut off, so there is no front to measure from"
	case l.MarginPlaneArcmin <= 0:
		return "none: neither model shows the top"
	case l.Verdict == pipeline.Looming:
		return fmt.Sprintf("none by a single look: the top shows on days when light bends more than k = %s", coefficient(l.CriticalK))
	}
	words := fmt.Sprintf("the top in view refutes the curve at every k up to %s", coefficient(l.CriticalK))
	if surely, sd := pipeline.ShownByPlane(l); !surely {
		return words + fmt.Sprintf("; on the plane it shows by no more than %s, so that its absence refutes nothing", plusMinus(arcmin(l.MarginPlaneArcmin), arcmin(sd)))
	}
	return words + "; the top missing while something farther shows refutes the plane"
}
