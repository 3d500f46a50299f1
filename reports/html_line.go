package reports

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"farstation/pipeline"
)

// htmlLine is the section of one drawn sightline.
type htmlLine struct {
	ID               string
	Heading          template.HTML
	Claim, Threshold template.HTML
	Profile, Frame   template.HTML
	Compared         []comparedRow
	Facts            []htmlFact
	Objections       []htmlObjection
}

// comparedRow holds one quantity under both models.
type comparedRow struct {
	Name          string
	Curved, Plane htmlCell
	Spread        string
}

type htmlFact struct {
	Name  string
	Value htmlCell
	Whole template.HTML // shown in place of Value where it is not empty
}

// htmlObjection is a question that a reader has, and the numbers that answer it.
type htmlObjection struct {
	Asked  string
	Answer template.HTML
}

func newHTMLLine(result *pipeline.Result, l *pipeline.Sightline, profile *pipeline.Profile, id string, opts HTMLOptions) (htmlLine, error) {
	opts.K = l.KFree // where the air is given by height, each line has its own
	figure := FigureOptions{K: opts.K, KSD: opts.KSD, ID: id, Inline: true}
	profileSVG, err := ProfileFigure(l, profile, figure)
	if err != nil {
		return htmlLine{}, err
	}
	frameSVG, err := FrameFigure(l, profile, figure)
	if err != nil {
		return htmlLine{}, err
	}
	rank := ""
	if l.Rank != nil {
		rank = fmt.Sprintf("%d. ", *l.Rank)
	}
	claim, threshold := claimOf(l, opts)
	return htmlLine{
		ID:         id,
		Heading:    htmlf("%sFrom %s to %s", rank, htmlName(l.ObserverName, 80), htmlName(l.TargetName, 80)),
		Claim:      claim,
		Threshold:  threshold,
		Profile:    template.HTML(profileSVG), // the figures escape every text themselves
		Frame:      template.HTML(frameSVG),
		Compared:   comparedRows(l, opts.K),
		Facts:      facts(l, opts),
		Objections: objections(result, l, opts),
	}, nil
}

// claimOf says in one sentence each what the line is to decide, and past which measured value a model is refuted.
func claimOf(l *pipeline.Sightline, opts HTMLOptions) (claim, threshold template.HTML) {
	observer := htmlName(l.ObserverName, 80)
	top := htmlf("the top of %s (%s, %s away)", htmlName(l.TargetName, 80), metres(l.TopHeightM), kilometres(l.DistanceM))
	if l.Verdict == pipeline.Undecided {
		where := ""
		if l.UndecidedAtM != nil {
			where = " " + kilometres(*l.UndecidedAtM) + " from the observer"
		}
		return htmlf("Whether %s shows from %s is undecided: terrain is missing%s.", top, observer, where),
			htmlf("With the gap filled high the chance is %s, with the gap as sea %s; find that terrain first.", chanceWords(l.ChanceLow), chanceWords(l.ChanceHigh))
	}
	if v, ok := pipeline.NewFrontAngle(l, opts.K); ok {
		claim = htmlf("From %s %s should stand %s above the front, the ground %s away that cuts off what is below; on the plane %s above the same ground.",
			observer, top, arcmin(v.CurvedArcmin), kilometres(*l.FrontDistanceM), arcmin(v.PlaneArcmin))
		upper, lower, decides := v.Thresholds()
		if !decides {
			return claim, htmlf("Threshold: none. The bands of three standard deviations overlap (curved up to %s, plane from %s), so this angle alone decides nothing.", arcmin(upper), arcmin(lower))
		}
		return claim, htmlf("Threshold: a measured angle above %s refutes the curved model, one below %s refutes the plane (three standard deviations each).", arcmin(upper), arcmin(lower))
	}
	onPlane := "on the plane it stands " + arcmin(l.MarginPlaneArcmin) + " clear of it"
	if l.MarginPlaneArcmin <= 0 {
		onPlane = "on the plane too it lies " + arcmin(-l.MarginPlaneArcmin) + " behind ground"
	}
	if l.MarginArcmin <= 0 {
		claim = htmlf("From %s %s should lie %s below the ground before it, out of view; %s.", observer, top, arcmin(-l.MarginArcmin), onPlane)
		surely, _ := pipeline.ShownByPlane(l)
		switch {
		case l.MarginPlaneArcmin <= 0:
			return claim, "Threshold: none. Neither model shows the top."
		case !surely:
			return claim, "Threshold: none. On the plane the top stands clear by less than three standard deviations of heights and terrain."
		case l.Verdict == pipeline.Looming:
			return claim, htmlf("Threshold: the top missing while something farther shows refutes the plane; the top in view refutes nothing, for it appears when light bends more than k = %s.", decimals(l.CriticalK, 3))
		}
		return claim, htmlf("Threshold: the top in view refutes the curved model at every k up to %s; the top missing while something farther shows refutes the plane.", decimals(l.CriticalK, 3))
	}
	claim = htmlf("From %s %s should stand %s above the highest ground on the way, and nothing before it is cut off; %s.", observer, top, arcmin(l.MarginArcmin), onPlane)
	return claim, "Threshold: none by this line alone, for there is no front to measure from; its alignments decide."
}

func comparedRows(l *pipeline.Sightline, k float64) []comparedRow {
	undecidedOr := func(otherwise string) string {
		if l.Verdict == pipeline.Undecided {
			return "undecided: terrain is missing"
		}
		return otherwise
	}
	minutes := func(v float64) htmlCell { return valueCell(arcmin(v), v) }
	percent := func(v float64) string { return decimals(100*v, 0) + " %" }
	obscured := undecidedOr("none: " + whyNotObscured(l))
	if l.ObscuredHeightLowKM != nil || l.ObscuredHeightHighKM != nil || l.ObscuredHeightK0M != nil {
		each := func(v *float64) string { return optional(v, metres, "").Text }
		obscured = fmt.Sprintf("%s at low k, %s at high k; %s in straight light", each(l.ObscuredHeightLowKM), each(l.ObscuredHeightHighKM), each(l.ObscuredHeightK0M))
	}
	var overFront []comparedRow
	if angle, ok := pipeline.NewFrontAngle(l, k); ok {
		overFront = []comparedRow{{Name: "angle of the top over the ground of the front, which a photograph shows", Curved: minutes(angle.CurvedArcmin), Plane: minutes(angle.PlaneArcmin),
			Spread: "that ground is " + kilometres(*l.FrontDistanceM) + " away"}}
	}
	return append(overFront, []comparedRow{
		{Name: "elevation of the top, from the eye’s horizontal", Curved: minutes(60 * l.ElevationDeg), Plane: minutes(60 * l.ElevationPlaneDeg),
			Spread: "curved ± " + arcmin(l.ElevationSDArcmin) + " (1 sd); plane in the same air " + arcmin(60*l.ElevationPlaneSameAirDeg)},
		{Name: "margin of the top over the ground that stands highest, under each model its own", Curved: minutes(l.MarginArcmin), Plane: minutes(l.MarginPlaneArcmin),
			Spread: "critical refraction " + decimals(l.CriticalK, 3) + ", at " + kilometres(l.GrazingDistanceM)},
		{Name: "obscured height", Curved: optional(l.ObscuredHeightM, metres, whyNotObscured(l)),
			Plane: optional(l.ObscuredHeightPlaneM, metres, undecidedOr("nothing is cut off on the plane, or the top too")), Spread: obscured},
		{Name: "part in view, from base to top", Curved: optional(l.PartInView, percent, undecidedOr("not given")),
			Plane: optional(l.PartInViewPlane, percent, undecidedOr("not given")), Spread: "base height " + metres(l.BaseHeightM)},
	}...)
}

func facts(l *pipeline.Sightline, opts HTMLOptions) []htmlFact {
	value := func(name, text string) htmlFact { return htmlFact{Name: name, Value: htmlCell{Text: text}} }
	maybe := func(name string, v *float64, write func(float64) string, why string) htmlFact {
		return htmlFact{Name: name, Value: optional(v, write, why)}
	}
	why := whyNotObscured(l)
	noSea := "no sea on the line, or the eye is below it"
	out := []htmlFact{
		{Name: "observer", Whole: htmlf("%s, %s, <code>%s</code>", htmlName(l.ObserverName, math.MaxInt), l.ObserverKind, htmlName(l.ObserverID, 60))},
		{Name: "target", Whole: htmlf("%s, %s, <code>%s</code>", htmlName(l.TargetName, math.MaxInt), l.TargetKind, htmlName(l.TargetID, 60))},
		value("verdict", string(l.Verdict)),
		maybe("chance", l.Chance, chanceWords, "undecided: terrain is missing"),
		value("distance", kilometres(l.DistanceM)),
		value("azimuth; back", decimals(l.AzimuthDeg, 2)+"°; "+decimals(l.BackAzimuthDeg, 2)+"°"),
		value("eye over the sea", decimals(l.EyeHeightM, 1)+"\u00a0m"),
		value("top over the sea", decimals(l.TopHeightM, 1)+"\u00a0m"),
		value("radius along the line", kilometres(l.RadiusM)),
		value("critical refraction beyond 1 km of the ends", decimals(l.CriticalKBeyond1km, 3)),
		value("grazing point", kilometres(l.GrazingDistanceM)+", ground "+metres(l.GrazingHeightM)),
		value("riskiest point", kilometres(l.RiskiestDistanceM)+", where heights and terrain are worth ± "+decimals(l.CriticalKSD, 3)+" of k"),
		value("k along the ray used", plusMinus(l.KMean, l.KSD, 3)),
		maybe("front", l.FrontDistanceM, kilometres, why),
		maybe("foot in view", l.FootDistanceM, kilometres, why),
		value("cut height", metres(l.CutHeightM)),
		maybe("height that lacks", l.LackingHeightM, metres, "the top is not blocked"),
		maybe("structure in view", l.StructureInViewM, metres, "the target is bare ground, or undecided"),
		maybe("dip of the sea horizon", l.DipArcmin, arcmin, noSea),
		maybe("sea horizon", l.SeaHorizonM, kilometres, noSea),
		value("obscured by a bare sea", metres(l.SeaObscuredHeightM)),
		value("plane less curved elevation", arcmin(l.ModelGapArcmin)),
		value("terrain there", decimals(100*l.TerrainCoverage, 1)+" %"),
		maybe("score as a test", l.ScoreTest, atDecimals(1), "not scored"),
		maybe("score as a picture", l.ScorePicture, atDecimals(1), "not scored"),
		value("lines alike", decimals(float64(l.AlikeCount), 0)),
		value("alignments", decimals(float64(l.AlignmentCount), 0)),
	}
	if l.ChanceLow != l.ChanceHigh {
		out = append(out, value("chance, gaps filled high; as sea", chanceWords(l.ChanceLow)+"; "+chanceWords(l.ChanceHigh)))
	}
	if l.UndecidedAtM != nil {
		out = append(out, value("terrain missing at", kilometres(*l.UndecidedAtM)))
	}
	return out
}

func doubtWords(codes string, known []Doubt) template.HTML {
	if codes == "" {
		return "none"
	}
	var parts []string
	for code := range strings.SplitSeq(codes, ",") {
		code = strings.TrimSpace(code)
		text := htmlf("<code>%s</code>", plainName(code))
		for _, d := range known {
			if d.Code == code {
				text += htmlf(": %s", d.Meaning)
			}
		}
		parts = append(parts, string(text))
	}
	return template.HTML(strings.Join(parts, "; "))
}
