package reports

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"

	"farstation/pipeline"
)

func weighFacts(w *pipeline.Weighing) []htmlPair {
	facts := []htmlPair{{"strength of the verdict", w.Strength}}
	if w.PlaneSD != nil {
		facts = append(facts,
			htmlPair{"apparent curvature, per 1 000 km", plusMinus(*w.ApparentCurvaturePerM*1e6, *w.ApparentCurvatureSDPerM*1e6, 4)},
			htmlPair{"standard deviations from the plane’s 0", pipeline.StrengthWords(*w.PlaneSD)},
			htmlPair{"standard deviations from a curved Earth in expected air", pipeline.StrengthWords(*w.CurvedSD)},
			htmlPair{"refraction coefficient k that the curved Earth needs", plusMinus(*w.K, *w.KSD, 3)},
			htmlPair{"radius of curvature of the Earth along the rays", kilometres(w.RadiusM)})
	}
	if e := w.Evidence; e != nil {
		if e.CurvedOverPlane != nil {
			facts = append(facts, htmlPair{"evidence for a curved Earth against a plane with straight light", evidenceWords(*e.CurvedOverPlane)})
		}
		if e.CurvedOverSameAir != nil {
			facts = append(facts, htmlPair{"evidence for a curved Earth against a plane in the same air", evidenceWords(*e.CurvedOverSameAir)})
		}
		if e.Priors != "" && (e.CurvedOverPlane != nil || e.CurvedOverSameAir != nil) {
			facts = append(facts, htmlPair{"given to the models before", plainName(e.Priors)})
		}
	}
	for _, c := range w.Camera {
		facts = append(facts, htmlPair{fmt.Sprintf("camera %d", c.Frame), fmt.Sprintf("azimuth %s°, tilt %s°, roll %s°, focal length %s px, eye %s over the sea", decimals(c.AzimuthDeg, 3),
			decimals(c.TiltDeg, 3), decimals(c.RollDeg, 3), plusMinus(c.FocalPx, c.FocalSDPx, 0), metres(c.EyeHeightM))})
	}
	for _, c := range w.Cuts {
		write := func(v *float64) string { return optional(v, metres, "").Text }
		facts = append(facts, htmlPair{"cut on " + plainName(c.Name), fmt.Sprintf("measured %s, predicted %s on the curved Earth; measured %s, predicted %s on the plane", write(c.MeasuredCurvedM),
			write(c.CurvedM), write(c.MeasuredPlaneM), write(c.PlaneM))})
	}
	for _, a := range w.Absent {
		facts = append(facts, htmlPair{"not seen: " + plainName(a.Name), "chance of being in view on the curved Earth " + optional(a.Chance, chanceWords, "").Text +
			"; on the plane " + optional(a.MarginPlaneArcmin, arcmin, "").Text + " above what stands before it"})
	}
	return facts
}

// pointTable is the table of measured points with what each model leaves over.
func pointTable(w *pipeline.Weighing) htmlTable {
	t := htmlTable{Caption: "Measured less predicted, in pixels (x, y), under each model once its fit has moved heights and places as far as χ² lets it", Columns: []htmlColumn{{Head: "number", Numeric: true}, {Head: "point"}, {Head: "part"},
		{Head: "measured at x, y, px", Numeric: true}, {Head: "standard deviation, px", Numeric: true}}}
	var fitted []*pipeline.ModelFit
	for i := range w.Models {
		m := &w.Models[i]
		if !m.Fitted {
			continue
		}
		fitted = append(fitted, m)
		t.Columns = append(t.Columns, htmlColumn{Head: fmt.Sprintf("%s: χ² %s, %d degrees of freedom, probability %s", modelTitles[m.Name], decimals(m.Chi2, 1), m.DOF, chanceWords(m.P)), Numeric: true})
	}
	for i, r := range measuredPoints(w) {
		cells := []string{decimals(r.AtXPx, 1) + ", " + decimals(r.AtYPx, 1), decimals(r.SDPx, 1)}
		for _, m := range fitted {
			q := m.Residuals[i]
			cells = append(cells, decimals(q.XPx, 2)+", "+decimals(q.YPx, 2))
		}
		row := append(numberCells(strconv.Itoa(i+1)), htmlTableCell{HTML: htmlName(r.Name, 40), RowHead: true}, textCell(strings.ReplaceAll(string(r.Part), "_", " ")))
		t.Rows = append(t.Rows, append(row, numberCells(cells...)...))
	}
	return t
}

func numberCells(texts ...string) []htmlTableCell {
	var out []htmlTableCell
	for _, text := range texts {
		out = append(out, htmlTableCell{htmlCell: htmlCell{Text: text}, Numeric: true})
	}
	return out
}

// pixels writes a place in a picture.
func pixels(x, y *float64) string {
	if x == nil || y == nil {
		return none
	}
	return decimals(*x, 0) + ", " + decimals(*y, 0)
}

const mostExpectedRows = 400

// expectedTable lists the tops that should stand within the frames.
func expectedTable(w *pipeline.Weighing) htmlTable {
	t := htmlTable{Caption: "Tops within the frame: those that may be in view, the nearest first, then those that ground hides", Columns: []htmlColumn{{Head: "top"}, {Head: "photograph", Numeric: true}, {Head: "kind"}, {Head: "distance", Numeric: true},
		{Head: "azimuth", Numeric: true}, {Head: "in view on a curved Earth?"}, {Head: "on the plane?"}, {Head: "x, y on a curved Earth, px", Numeric: true}, {Head: "x, y on the plane, px", Numeric: true}, {Head: "measured"}}}
	for i := range w.Expected {
		if i == mostExpectedRows {
			t.Cut = fmt.Sprintf("The nearest %d of %d; weigh.json holds all.", mostExpectedRows, len(w.Expected))
			break
		}
		e := &w.Expected[i]
		plane, measured := none, "no"
		if e.PlaneShows != nil {
			plane = "out of view"
			if *e.PlaneShows {
				plane = "in view"
			}
		}
		if e.Measured {
			measured = "yes"
		}
		row := append([]htmlTableCell{{HTML: htmlName(e.Name, 40), RowHead: true}}, numberCells(strconv.Itoa(e.Frame))...)
		row = append(row, textCell(e.Kind))
		row = append(row, numberCells(kilometres(e.DistanceM), decimals(e.AzimuthDeg, 2)+"°")...)
		row = append(row, htmlTableCell{HTML: inViewWords(e)}, textCell(plane))
		row = append(row, numberCells(pixels(e.CurvedXPx, e.CurvedYPx), pixels(e.PlaneXPx, e.PlaneYPx))...)
		t.Rows = append(t.Rows, append(row, textCell(measured)))
	}
	if w.Hidden > 0 {
		t.Cut = strings.TrimSpace(t.Cut + " " + plural(w.Hidden, "further top that ground hides is not listed.", "further tops that ground hides are not listed."))
	}
	return t
}

// inViewWords say whether an expected top is in view, or behind what.
func inViewWords(e *pipeline.ExpectedTop) template.HTML {
	words := template.HTML("not known: no terrain was given")
	switch e.Verdict {
	case pipeline.Direct, pipeline.Refracted:
		words = "in view"
	case pipeline.Looming:
		words = "only where light bends more than usual"
	case pipeline.Undecided:
		words = "not known: terrain is missing"
	case pipeline.Blocked:
		words = "hidden"
	}
	if e.BehindM != nil {
		words += htmlf(" behind ground at %s", kilometres(*e.BehindM))
		if e.Behind != "" {
			words += htmlf(", near %s", htmlName(e.Behind, 40))
		}
	}
	if e.Chance != nil {
		words += htmlf(" (chance %s)", chanceWords(*e.Chance))
	}
	return words
}

// nameTable lists the points that had no name, with the names that fit best.
func nameTable(w *pipeline.Weighing) htmlTable {
	t := htmlTable{Caption: "Points measured without a name, and the names that fit best", Columns: []htmlColumn{{Head: "name that fits best"}, {Head: "photograph", Numeric: true}, {Head: "measured at x, y, px", Numeric: true},
		{Head: "runner-up"}, {Head: "χ² greater with it by", Numeric: true}, {Head: "under each model"}, {Head: "takes part in the verdict"}}}
	for i := range w.Names {
		n := &w.Names[i]
		runnerUp, more := template.HTML("none within reach"), none
		if n.RunnerUp != "" {
			runnerUp, more = htmlName(n.RunnerUp, 40), decimals(n.Chi2More, 1)
		}
		models := template.HTML("the same")
		if n.CurvedName != n.PlaneName {
			models = htmlf("curved Earth %s, plane %s", htmlName(n.CurvedName, 40), htmlName(n.PlaneName, 40))
		}
		used := "no: the runner-up fits nearly as well"
		if n.Used {
			used = "yes"
		}
		row := append([]htmlTableCell{{HTML: htmlName(n.Name, 40), RowHead: true}}, numberCells(strconv.Itoa(n.Frame), pixels(&n.XPx, &n.YPx))...)
		row = append(row, htmlTableCell{HTML: runnerUp})
		row = append(row, numberCells(more)...)
		t.Rows = append(t.Rows, append(row, htmlTableCell{HTML: models}, textCell(used)))
	}
	return t
}

var modelTitles = map[string]string{
	pipeline.ModelFree: "curvature free", pipeline.ModelCurved: "curved, k expected", pipeline.ModelPlane: "plane, straight light", pipeline.ModelPlaneSameAir: "plane, same air",
}

func weighOverturned(w *pipeline.Weighing) htmlTable {
	t := htmlTable{Caption: "By how much one input alone must be wrong for the curvature to come out as 0", Columns: []htmlColumn{{Head: "input"}, {Head: "must be wrong by", Numeric: true}, {Head: "its standard deviation", Numeric: true}, {Head: "ratio", Numeric: true}}}
	for _, o := range w.OverturnedBy {
		sd := o
		sd.Amount = o.SD
		t.Rows = append(t.Rows, append([]htmlTableCell{{HTML: htmlName(o.Input, 60), RowHead: true}},
			numberCells(pipeline.AmountWords(o), pipeline.AmountWords(sd), pipeline.StrengthWords(o.Times))...))
	}
	return t
}

func weighLeaveOneOut(w *pipeline.Weighing) htmlTable {
	t := htmlTable{Caption: "Each named thing left out in turn", Columns: []htmlColumn{{Head: "fit"}, {Head: "apparent curvature, of the Earth’s", Numeric: true}, {Head: "from the plane, standard deviations", Numeric: true},
		{Head: "probability", Numeric: true}, {Head: "share of the evidence", Numeric: true}}}
	for _, f := range w.LeaveOneOut {
		t.Rows = append(t.Rows, append([]htmlTableCell{{HTML: htmlName(f.Name, 60), RowHead: true}},
			numberCells(plusMinus(f.Curvature, f.CurvatureSD, 3), pipeline.StrengthWords(f.PlaneSD), chanceWords(f.P), decimals(100*f.Share, 0)+" %")...))
	}
	return t
}

// mostEvidence is the decimal logarithm past which no evidence is quoted: that of ten standard deviations, exp(10²/2) = 10^21.7, for spreads are not
// known to such a height.
const mostEvidence = 21.7

// evidenceWords write a ratio of evidence given by its decimal logarithm, positive for the curved Earth.
func evidenceWords(log10 float64) string {
	if !allFinite(log10) {
		return none
	}
	side := "for the curved Earth"
	if log10 < 0 {
		side, log10 = "for the plane", -log10
	}
	switch {
	case log10 > mostEvidence:
		return "over 10²¹ to 1 " + side
	case log10 >= 4:
		return "10" + superscript(int(log10)) + " to 1 " + side
	}
	ratio := math.Pow(10, log10)
	if ratio < 10 {
		return decimals(ratio, 1) + " to 1 " + side + ", which is little"
	}
	return decimals(ratio, 0) + " to 1 " + side
}

func superscript(n int) string {
	digits := []rune("⁰¹²³⁴⁵⁶⁷⁸⁹")
	var b strings.Builder
	for _, d := range strconv.Itoa(n) {
		b.WriteRune(digits[d-'0'])
	}
	return b.String()
}

// distanceWords say how far the distances between places are from standing on a plane.
func distanceWords(d *pipeline.PlaneDistances) string {
	if d == nil {
		return ""
	}
	return fmt.Sprintf("The distances between the %d places of this weighing are tried on a plane: on the map that fits best they are wrong by %s km (root mean square), most from %s to %s, %s km on %s km.",
		d.Places, decimals(d.RMSKM, 3), isolated(d.From), isolated(d.To), decimals(d.MostKM, 3), decimals(d.DistanceKM, 1))
}

// weighPrediction is a claim made before, held against the photograph.
type weighPrediction struct {
	Sentences []string
	Facts     []htmlPair
}

func newWeighPrediction(p *pipeline.PredictionCompared) *weighPrediction {
	if p == nil {
		return nil
	}
	out := &weighPrediction{}
	for _, s := range p.Sentences {
		out.Sentences = append(out.Sentences, plainName(s))
	}
	add := func(name, value string) {
		if value != "" {
			out.Facts = append(out.Facts, htmlPair{name, value})
		}
	}
	angle := func(name string, v *float64) {
		add(name, optional(v, func(v float64) string { return decimals(v, 2) + "′" }, "").Text)
	}
	refuted := map[string]string{pipeline.ModelCurved: "curved Earth", pipeline.ModelPlane: "plane", "": "none"}[p.Refuted]
	add("claim", strings.TrimSpace(plainName(p.ID)+", "+plainName(p.Path)))
	add("its SHA-256", p.SHA256)
	add("made", p.Made)
	add("photograph taken, by the camera’s clock", p.Taken)
	add("made before the photograph", p.Before)
	add("what was claimed", p.Quantity)
	add("rule of decision", p.Rule)
	angle("threshold", p.ThresholdArcmin)
	if p.MeasuredArcmin != nil && p.MeasuredSDArcmin != nil {
		add("measured", plusMinus(*p.MeasuredArcmin, *p.MeasuredSDArcmin, 2)+"′")
	} else {
		angle("measured", p.MeasuredArcmin)
	}
	angle("claimed for the curved Earth", p.CurvedArcmin)
	angle("claimed for the plane", p.PlaneArcmin)
	add("refuted by the claim’s own rule", refuted)
	add("lines searched before this one was chosen", decimals(float64(p.Searched), 0))
	add("photographs tried", decimals(float64(p.Photographs), 0))
	return out
}
