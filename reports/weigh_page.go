package reports

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"

	"farstation/pipeline"
)

// weighPage is what the template of a weighed photograph shows; every text in it is ready to be read.
type weighPage struct {
	Title, Policy string
	CSS           template.CSS
	Sentences     []template.HTML
	Facts         []htmlPair
	Figure        template.HTML
	Orders        []string
	Points        htmlTable
	Overturned    htmlTable
	LeaveOneOut   htmlTable
	Objections    []weighObjection
	Images        []pipeline.Photograph
	Notes         []string
	Rejected      []htmlRejected
}

type weighObjection struct{ Objection, Answer string }

// WriteWeighPage writes the page of a weighed photograph: self-contained, without script or network.
func WriteWeighPage(out io.Writer, w *pipeline.Weighing) error {
	page, err := newWeighPage(w)
	if err != nil {
		return fmt.Errorf("page: %w", err)
	}
	pages, err := template.ParseFS(assets, "html/weigh.tmpl")
	if err != nil {
		return fmt.Errorf("page: %w", err)
	}
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, "weigh.tmpl", page); err != nil {
		return fmt.Errorf("page: %w", err)
	}
	_, err = b.WriteTo(out)
	return err
}

func newWeighPage(w *pipeline.Weighing) (*weighPage, error) {
	page := &weighPage{
		Title: weighTitles[w.Outcome], Policy: "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'",
		Images: w.Images, Notes: w.Notes, Objections: weighObjections(w), Points: weighPoints(w), Overturned: weighOverturned(w), LeaveOneOut: weighLeaveOneOut(w),
	}
	report, errReport := assets.ReadFile("html/report.css")
	figures, errFigures := assets.ReadFile("html/figure.css")
	if err := errors.Join(errReport, errFigures); err != nil {
		return nil, err
	}
	page.CSS = template.CSS(report) + template.CSS(figures)
	for _, sentence := range w.Sentences {
		page.Sentences = append(page.Sentences, htmlf("%s", plainName(sentence)))
	}
	figure, err := curvatureFigure(w, FigureOptions{Inline: true})
	if err != nil {
		return nil, err
	}
	page.Figure = template.HTML(figure)
	for _, o := range w.Orders {
		page.Orders = append(page.Orders, fmt.Sprintf("%s is measured %s %s. The curved Earth has it %s, the plane %s.", plainName(o.Far), aboveWords(o.MeasuredArcmin),
			plainName(o.Near), aboveWords(o.CurvedArcmin), aboveWords(o.PlaneArcmin)))
	}
	page.Facts = weighFacts(w)
	for _, input := range w.Rejected {
		for _, r := range input.Rows {
			page.Rejected = append(page.Rejected, htmlRejected{input.Path, r.Line, r.Reason})
		}
	}
	return page, nil
}

var weighTitles = map[string]string{
	pipeline.WeighedCurved: "This photograph fits a curved Earth, not a plane", pipeline.WeighedPlane: "This photograph fits a plane, not a curved Earth",
	pipeline.WeighedNeither: "Neither model fits: look at the inputs", pipeline.WeighedCannotTell: "This photograph cannot tell",
}

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

// weighPoints is the table of measured points with what each model leaves over.
func weighPoints(w *pipeline.Weighing) htmlTable {
	t := htmlTable{Caption: "Measured less predicted, in pixels (x, y), under each model", Columns: []htmlColumn{{Head: "point"}, {Head: "part"}}}
	var fitted []*pipeline.ModelFit
	for i := range w.Models {
		m := &w.Models[i]
		if !m.Fitted {
			continue
		}
		fitted = append(fitted, m)
		t.Columns = append(t.Columns, htmlColumn{Head: fmt.Sprintf("%s: χ² %s, %d degrees of freedom, probability %s", modelTitles[m.Name], decimals(m.Chi2, 1), m.DOF, chanceWords(m.P)), Numeric: true})
	}
	if len(fitted) == 0 {
		return t
	}
	for i, r := range fitted[0].Residuals {
		row := []htmlTableCell{{HTML: htmlName(r.Name, 40), RowHead: true}, {htmlCell: htmlCell{Text: string(r.Part)}}}
		for _, m := range fitted {
			q := m.Residuals[i]
			row = append(row, htmlTableCell{htmlCell: htmlCell{Text: decimals(q.XPx, 2) + ", " + decimals(q.YPx, 2)}, Numeric: true})
		}
		t.Rows = append(t.Rows, row)
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
		t.Rows = append(t.Rows, []htmlTableCell{
			{HTML: htmlName(o.Input, 60), RowHead: true}, {htmlCell: htmlCell{Text: pipeline.AmountWords(o)}, Numeric: true},
			{htmlCell: htmlCell{Text: pipeline.AmountWords(sd)}, Numeric: true}, {htmlCell: htmlCell{Text: pipeline.StrengthWords(o.Times)}, Numeric: true},
		})
	}
	return t
}

func weighLeaveOneOut(w *pipeline.Weighing) htmlTable {
	t := htmlTable{Caption: "Each named thing left out in turn", Columns: []htmlColumn{{Head: "fit"}, {Head: "apparent curvature, of the Earth’s", Numeric: true}, {Head: "from the plane, standard deviations", Numeric: true},
		{Head: "probability", Numeric: true}, {Head: "share of the evidence", Numeric: true}}}
	for _, f := range w.LeaveOneOut {
		t.Rows = append(t.Rows, []htmlTableCell{
			{HTML: htmlName(f.Name, 60), RowHead: true}, {htmlCell: htmlCell{Text: plusMinus(f.Curvature, f.CurvatureSD, 3)}, Numeric: true},
			{htmlCell: htmlCell{Text: pipeline.StrengthWords(f.PlaneSD)}, Numeric: true}, {htmlCell: htmlCell{Text: chanceWords(f.P)}, Numeric: true},
			{htmlCell: htmlCell{Text: decimals(100*f.Share, 0) + " %"}, Numeric: true},
		})
	}
	return t
}

// weighObjections are the usual ones, each with the number of this photograph that answers it; those that it has no number for are left out.
func weighObjections(w *pipeline.Weighing) []weighObjection {
	var out []weighObjection
	add := func(objection, format string, args ...any) {
		out = append(out, weighObjection{objection, fmt.Sprintf(format, args...)})
	}
	if w.PlaneSD == nil {
		return nil
	}
	c := 1 - *w.K
	add("k was chosen afterwards.", "The headline leaves the curvature free: k comes out as %s, with no k put in. Beside it, k was taken as %s before.", plusMinus(*w.K, *w.KSD, 3), plusMinus(w.Air.K, w.Air.KSD, 3))
	if gradient, overturn := planeGradient(*w.K); w.Outcome == pipeline.WeighedCurved {
		add("Bending of light explains anything.", "To look like this on a plane, air would have to change by %s K/m along all of every ray, %s times the gradient at which it overturns by itself.",
			decimals(gradient, 3), decimals(math.Abs(gradient/overturn), 1))
	}
	for _, o := range w.OverturnedBy {
		if o.Input == "height of the eye" {
			add("The camera stood higher.", "It would have to stand elsewhere by %s; its height is known to %s m.", pipeline.AmountWords(o), decimals(o.SD, 1))
		}
	}
	if d := w.Distorted; d != nil {
		add("The lens distorts.", "With the lens’s distortion left free too, the curvature is %s of the Earth’s, %s standard deviations from the plane’s 0.", plusMinus(d.Curvature, d.CurvatureSD, 3), pipeline.StrengthWords(d.PlaneSD))
	}
	for _, cam := range w.Camera {
		if cam.RollCorrelation != nil {
			add("The camera was rolled or tilted.", "Roll and tilt are fitted, not assumed; the correlation of roll and curvature is %s, and the spreads hold it.", decimals(*cam.RollCorrelation, 2))
		}
		add("The focal length in EXIF is wrong.", "It is fitted from horizontal angles: %s px. EXIF only starts the search.", plusMinus(cam.FocalPx, cam.FocalSDPx, 0))
	}
	add("The plane is a straw man.", "Same points, same freedom, straight light or the same air: %s and %s for the plane, %s for the curved Earth.", chiWords(w, pipeline.ModelPlane), chiWords(w, pipeline.ModelPlaneSameAir), chiWords(w, pipeline.ModelCurved))
	if len(w.LeaveOneOut) > 0 {
		least, most := math.Inf(1), math.Inf(-1)
		for _, f := range w.LeaveOneOut {
			least, most = math.Min(least, f.Curvature), math.Max(most, f.Curvature)
		}
		add("One wrong peak makes the result.", "With each named thing left out in turn, the curvature lies within %s…%s of the Earth’s (all: %s).", decimals(least, 3), decimals(most, 3), decimals(c, 3))
	}
	if w.LowRays > 0 {
		answer := "too little is left to fit."
		if f := w.WithoutLow; f != nil {
			answer = fmt.Sprintf("the curvature is %s of the Earth’s, %s standard deviations from the plane’s 0.", plusMinus(f.Curvature, f.CurvatureSD, 3), pipeline.StrengthWords(f.PlaneSD))
		}
		add("Air near the ground does what it likes.", "Without the %s that run low, %s", plural(w.LowRays, "ray", "rays"), answer)
	}
	add("The spreads are too small.", "No strength above ten standard deviations is quoted, k has a part of its own for every ray, and the table says by how much each input must be wrong.")
	return out
}

func chiWords(w *pipeline.Weighing, name string) string {
	for _, m := range w.Models {
		if m.Name == name && m.Fitted {
			return "χ² " + decimals(m.Chi2, 1)
		}
	}
	return "no fit"
}

// aboveWords say where one top stands against another.
func aboveWords(minutes float64) string {
	if minutes < 0 {
		return arcmin(-minutes) + " below"
	}
	return arcmin(minutes) + " above"
}
