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

// objections are what is asked of a line, with what the numbers say to it; questions without an answer are left out.
func objections(result *pipeline.Result, l *pipeline.Sightline, opts HTMLOptions) []htmlObjection {
	chance := template.HTML("")
	if l.Chance != nil {
		chance = htmlf(" The chance that no ground cuts off the top is %s, over the spread of k (%s along this ray), of both heights and of the terrain. It says nothing of haze.",
			chanceWords(*l.Chance), plusMinus(l.KMean, l.KSD, 3))
	}
	out := []htmlObjection{
		{"Why does it rank where it does?", scoreSentence(l, opts)},
		{"Is it in view at all?", verdictSentence(l, opts) + chance},
	}
	if l.Verdict != pipeline.Undecided {
		out = append(out, htmlObjection{"How much of it is cut off?", obscuredSentence(l)}, htmlObjection{"What one number would change that?", flipSentence(l, opts)})
	}
	out = append(out,
		htmlObjection{"What if a height or a place is wrong?", breakEvenSentence(l, opts)},
		htmlObjection{"What would the plane need?", planeSentence(l, opts)},
		htmlObjection{"What stands in the same frame to measure by?", alignmentSentence(result, l)},
		htmlObjection{"What is doubted of its ends and its ground?", doubtWords(l.Doubts, opts.Doubts)})
	return slices.DeleteFunc(out, func(o htmlObjection) bool { return o.Answer == "" })
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
	for i := range result.Shown.Alignments {
		a := &result.Shown.Alignments[i]
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
	if _, ok := pipeline.NewFrontAngle(l, opts.K); !ok {
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
