package reports

import (
	"cmp"
	"fmt"
	"html/template"
	"maps"
	"math"
	"slices"
	"strings"

	"farstation/geodesy"
	"farstation/geodesy/light"
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
	Meaning          []template.HTML
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
		ID:        id,
		Heading:   htmlf("%sFrom %s to %s", rank, htmlName(l.ObserverName, 80), htmlName(l.TargetName, 80)),
		Claim:     claim,
		Threshold: threshold,
		Profile:   template.HTML(profileSVG), // the figures escape every text themselves
		Frame:     template.HTML(frameSVG),
		Compared:  comparedRows(l),
		Facts:     facts(l, opts),
		Meaning:   meaning(result, l, opts),
	}, nil
}

// overFront is what the top of a target does over the front that cuts off its lower part: the one angle of a lone sightline that a
// photograph can hold without a level.
type overFront struct {
	curved, plane     float64 // arc minutes from the front up to the top
	curvedSD, planeSD float64
}

// newOverFront judges a line with its front in the place of a near top: between the models the angle differs by (1−k)(s−x)/(2R).
func newOverFront(l *pipeline.Sightline, opts HTMLOptions) (overFront, bool) {
	if l.FrontDistanceM == nil || l.FootDistanceM == nil || l.ObscuredHeightM == nil || l.Verdict == pipeline.Undecided || l.MarginArcmin <= 0 {
		return overFront{}, false
	}
	perK := arcminPerRad * (l.DistanceM - *l.FrontDistanceM) / (2 * l.RadiusM)
	v := overFront{curved: arcminPerRad * (geodesy.ApparentElevationRad(l.EyeHeightM, l.TopHeightM, l.DistanceM, l.RadiusM, opts.K) -
		geodesy.ApparentElevationRad(l.EyeHeightM, *l.ObscuredHeightM, *l.FootDistanceM, l.RadiusM, opts.K))}
	v.plane = v.curved + (1-opts.K)*perK
	if l.FrontAngleSDArcmin == nil || l.FrontAnglePlaneSDArcmin == nil {
		return overFront{}, false
	}
	v.planeSD, v.curvedSD = *l.FrontAnglePlaneSDArcmin, *l.FrontAngleSDArcmin
	return v, allFinite(v.curved, v.plane, v.curvedSD) && v.curved > 0
}

// groundSDArcmin is the standard deviation, seen from the observer, of the top over the ground at the riskiest point, from heights
// and terrain: that of k_c times (s−x)/(2R).
func groundSDArcmin(l *pipeline.Sightline) float64 {
	return l.CriticalKSD * arcminPerRad * (l.DistanceM - l.RiskiestDistanceM) / (2 * l.RadiusM)
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
	if v, ok := newOverFront(l, opts); ok {
		claim = htmlf("From %s %s should stand %s above the front, the ground %s away that cuts off what is below; on the plane %s above the same ground.",
			observer, top, arcmin(v.curved), kilometres(*l.FrontDistanceM), arcmin(v.plane))
		upper, lower := v.curved+3*v.curvedSD, v.plane-3*v.planeSD
		if upper >= lower {
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
		switch {
		case l.MarginPlaneArcmin <= 0:
			return claim, "Threshold: none. Neither model shows the top."
		case !(l.MarginPlaneArcmin > 3*groundSDArcmin(l)):
			return claim, "Threshold: none. On the plane the top stands clear by less than three standard deviations of heights and terrain."
		case l.Verdict == pipeline.Looming:
			return claim, htmlf("Threshold: the top missing while something farther shows refutes the plane; the top in view refutes nothing, for it appears when light bends more than k = %s.", decimals(l.CriticalK, 3))
		}
		return claim, htmlf("Threshold: the top in view refutes the curved model at every k up to %s; the top missing while something farther shows refutes the plane.", decimals(l.CriticalK, 3))
	}
	claim = htmlf("From %s %s should stand %s above the highest ground on the way, and nothing before it is cut off; %s.", observer, top, arcmin(l.MarginArcmin), onPlane)
	return claim, "Threshold: none by this line alone, for there is no front to measure from; its alignments decide."
}

func comparedRows(l *pipeline.Sightline) []comparedRow {
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
	return []comparedRow{
		{Name: "elevation of the top, from the eye’s horizontal", Curved: minutes(60 * l.ElevationDeg), Plane: minutes(60 * l.ElevationPlaneDeg),
			Spread: "curved ± " + arcmin(l.ElevationSDArcmin) + " (1 sd); plane in the same air " + arcmin(60*l.ElevationPlaneSameAirDeg)},
		{Name: "margin of the top over the highest ground", Curved: minutes(l.MarginArcmin), Plane: minutes(l.MarginPlaneArcmin),
			Spread: "critical refraction " + plusMinus(l.CriticalK, l.CriticalKSD, 3)},
		{Name: "obscured height", Curved: optional(l.ObscuredHeightM, metres, whyNotObscured(l)),
			Plane: optional(l.ObscuredHeightPlaneM, metres, undecidedOr("nothing is cut off on the plane, or the top too")), Spread: obscured},
		{Name: "part in view, from base to top", Curved: optional(l.PartInView, percent, undecidedOr("not given")),
			Plane: optional(l.PartInViewPlane, percent, undecidedOr("not given")), Spread: "base height " + metres(l.BaseHeightM)},
	}
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
		value("riskiest point", kilometres(l.RiskiestDistanceM)),
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
	return append(out, htmlFact{Name: "doubts", Whole: doubtWords(l.Doubts, opts.Doubts)})
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

// meaning says in words what the numbers of a line come to.
func meaning(result *pipeline.Result, l *pipeline.Sightline, opts HTMLOptions) []template.HTML {
	out := []template.HTML{verdictSentence(l, opts)}
	if l.Chance != nil {
		out = append(out, htmlf("The chance that no ground cuts off the top is %s, over the spread of k (%s along this ray), of both heights and of the terrain. It says nothing of haze.",
			chanceWords(*l.Chance), plusMinus(l.KMean, l.KSD, 3)))
	}
	if l.Verdict != pipeline.Undecided {
		out = append(out, obscuredSentence(l), flipSentence(l, opts))
	}
	if s := breakEvenSentence(l, opts); s != "" {
		out = append(out, s)
	}
	out = append(out, planeSentence(l, opts))
	if s := alignmentSentence(result, l); s != "" {
		out = append(out, s)
	}
	if s := scoreSentence(l, opts); s != "" {
		out = append(out, s)
	}
	return out
}

func verdictSentence(l *pipeline.Sightline, opts HTMLOptions) template.HTML {
	kc, k, most := decimals(l.CriticalK, 3), decimals(opts.K, 3), decimals(opts.K+3*opts.KSD, 3)
	switch l.Verdict {
	case pipeline.Direct:
		return htmlf("<strong>Direct.</strong> Even straight light from the top clears all ground: the critical refraction, %s, is below 0.", kc)
	case pipeline.Refracted:
		return htmlf("<strong>Refracted.</strong> Light has to bend a little to bring the top over the ground, by k = %s at least; the usual bending, %s, is enough.", kc, k)
	case pipeline.Looming:
		return htmlf("<strong>Looming.</strong> The top shows only when light bends more than usual: k must exceed %s, where %s is usual and %s is three standard deviations more.", kc, k, most)
	case pipeline.Blocked:
		lacks := ""
		if l.LackingHeightM != nil {
			lacks = "; at the usual bending the top lacks " + metres(*l.LackingHeightM)
		}
		return htmlf("<strong>Blocked.</strong> Ground cuts off the top: k would have to exceed %s, past %s (three standard deviations over the usual)%s.", kc, most, lacks)
	}
	where := "on the line"
	if l.UndecidedAtM != nil {
		where = kilometres(*l.UndecidedAtM) + " from the observer"
	}
	return htmlf("<strong>Undecided.</strong> Terrain is missing %s, and what stands there decides: with the gap filled high the chance is %s, with the gap as sea %s.",
		where, chanceWords(l.ChanceLow), chanceWords(l.ChanceHigh))
}

func obscuredSentence(l *pipeline.Sightline) template.HTML {
	plane := "On the plane nothing of it would be cut off."
	switch {
	case l.MarginPlaneArcmin <= 0:
		plane = "On the plane the top would be out of view too."
	case l.ObscuredHeightPlaneM != nil:
		plane = "On the plane all below " + metres(*l.ObscuredHeightPlaneM) + " would be cut off."
	}
	if l.ObscuredHeightM == nil {
		return htmlf("Obscured height: none, since %s. %s", whyNotObscured(l), plane)
	}
	band := ""
	if l.ObscuredHeightLowKM != nil && l.ObscuredHeightHighKM != nil {
		band = fmt.Sprintf(" (%s at low k, %s at high k)", metres(*l.ObscuredHeightLowKM), metres(*l.ObscuredHeightHighKM))
	}
	return htmlf("All that lies lower than %s over the sea is cut off at the usual bending%s. %s", metres(*l.ObscuredHeightM), band, plane)
}

// flipSentence names the one number that would turn the verdict round.
func flipSentence(l *pipeline.Sightline, opts HTMLOptions) template.HTML {
	x, s := l.GrazingDistanceM, l.DistanceM
	lift := x * (s - x) / (2 * l.RadiusM)
	spare := (opts.K - l.CriticalK) * lift
	if !allFinite(spare) || lift <= 0 {
		return "The grazing point lies at an end of the line, so that no single number of the terrain turns the verdict round."
	}
	if spare >= 0 {
		return htmlf("To hide the top at k = %s, ground %s from the observer would have to stand %s higher than the terrain has it, or k fall below %s.",
			decimals(opts.K, 3), kilometres(x), metres(spare), decimals(l.CriticalK, 3))
	}
	return htmlf("To show the top at k = %s, ground %s from the observer would have to stand %s lower than the terrain has it, or k rise above %s.",
		decimals(opts.K, 3), kilometres(x), metres(-spare), decimals(l.CriticalK, 3))
}

func planeSentence(l *pipeline.Sightline, opts HTMLOptions) template.HTML {
	gradient, overturn := planeGradient(opts.K)
	return htmlf("To look like the curved Earth, the plane would need light bent upwards by (1 − k)/R = %s per thousand kilometres along the whole ray: "+
		"air that cools by %s K with each metre of height at sea level, %s times the %s K at which air overturns by itself.",
		degreesPerMegametre(geodesy.BendingForPlanePerM(l.RadiusM, opts.K)), decimals(-gradient, 3), decimals(gradient/overturn, 1), decimals(-overturn, 3))
}

// planeGradient returns the temperature gradient, in K/m at 1013.25 hPa and 15 °C, that the plane needs, and the one at which air
// overturns by itself, where light is straight.
func planeGradient(k float64) (gradientKPerM, overturnKPerM float64) {
	const pressureHPa, temperatureK = 1013.25, 288.15
	return light.GradientForPlaneKPerM(pressureHPa, temperatureK, k), light.GradientForK(pressureHPa, temperatureK, 0)
}

func degreesPerMegametre(perM float64) string {
	return decimals(math.Abs(perM)*1e6*180/math.Pi, 1) + "°"
}

func alignmentSentence(result *pipeline.Result, l *pipeline.Sightline) template.HTML {
	var best *pipeline.Alignment
	for i := range result.Alignments {
		a := &result.Alignments[i]
		if a.ObserverID == l.ObserverID && a.FarID == l.TargetID && (best == nil || rankBefore(a.Rank, best.Rank)) {
			best = a
		}
	}
	if best == nil {
		return ""
	}
	return htmlf("Best alignment: near top %s, %s away (%s). The far top stands %s over it under the curve (± %s) and %s on the plane: %s standard deviations apart.",
		htmlName(best.NearName, 80), kilometres(best.NearDistanceM), caseWords(best.Case), arcmin(best.SeparationArcmin), arcmin(best.SeparationSDArcmin),
		arcmin(best.SeparationPlaneArcmin), decimals(best.EvidenceSD, 1))
}

func rankBefore(a, b *int32) bool {
	if a == nil || b == nil {
		return a != nil
	}
	return *a < *b
}

// breakEvenSentence says by how much one input alone must be wrong for the plane to fit the angle of the top over its front.
func breakEvenSentence(l *pipeline.Sightline, opts HTMLOptions) template.HTML {
	if _, ok := newOverFront(l, opts); !ok {
		return ""
	}
	o := pipeline.DefaultOptions()
	o.K, o.KSD = opts.K, opts.KSD
	each, _ := pipeline.LineBreakEvens(&o, l, 0, 0, 0, 0, 0)
	var words []string
	for _, b := range each {
		amount := decimals(b.Amount, 2)
		if b.Unit == "m" {
			if b.Amount > 0.2*l.DistanceM {
				continue // no mistake of a place is that great
			}
			amount = metres(b.Amount)
		}
		words = append(words, b.Input+" "+amount)
	}
	if len(words) == 0 {
		return ""
	}
	return htmlf("Break-even: the plane fits the angle of the top over its front just as well if one of these alone is wrong by that much: %s.", strings.Join(words, "; "))
}

// scoreSentence says what lifts the score most and what holds it down most, and lists the rest.
func scoreSentence(l *pipeline.Sightline, opts HTMLOptions) template.HTML {
	total := score(l, opts)
	if total == nil {
		return ""
	}
	weights := opts.Weights
	switch {
	case weights != nil:
	case opts.RankForPicture:
		weights = pipeline.PictureWeights()
	default:
		weights = pipeline.TestWeights()
	}
	terms, gates := scoreParts(l.Terms(), weights), scoreParts(l.Gates(), nil)
	text := htmlf("Score %s of 100.", decimals(*total, 1))
	if len(terms) > 0 {
		lift := slices.MaxFunc(terms, func(a, b scorePart) int { return cmp.Compare(a.weight*a.value, b.weight*b.value) })
		lack := slices.MaxFunc(terms, func(a, b scorePart) int { return cmp.Compare(a.weight*(1-a.value), b.weight*(1-b.value)) })
		text += htmlf(" Of its terms “%s” lifts it most and “%s” leaves most to be wished; each 0 to 1: %s.", lift.name, lack.name, scoreList(terms))
	}
	if len(gates) > 0 {
		least := slices.MinFunc(gates, func(a, b scorePart) int { return cmp.Compare(a.value, b.value) })
		text += htmlf(" Gates that multiply them: %s; “%s” holds it down most.", scoreList(gates), least.name)
	}
	return text
}

type scorePart struct {
	name          string
	value, weight float64
}

// scoreParts are the parts that have a value, and a weight where weights count, by name.
func scoreParts(parts map[string]*float64, weights map[string]float64) []scorePart {
	var out []scorePart
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		if v := parts[name]; v != nil && allFinite(*v) && (weights == nil || weights[name] > 0) {
			out = append(out, scorePart{name, *v, weights[name]})
		}
	}
	return out
}

func scoreList(parts []scorePart) string {
	var words []string
	for _, p := range parts {
		words = append(words, p.name+" "+decimals(p.value, 2))
	}
	return strings.Join(words, ", ")
}
