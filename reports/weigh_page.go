package reports

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"io"

	"farstation/pipeline"
)

// weighPage is what the template of a weighed photograph shows; every text in it is ready to be read.
type weighPage struct {
	Title, Policy string
	CSS           template.CSS
	Sentences     []template.HTML
	Failures      []string
	Orders        []string
	Figure        template.HTML
	KFigure       template.HTML
	Facts         []htmlPair
	Frames        []weighFrame
	Crops         []weighCropShown
	CropsCut      string
	Sections      []weighSectionShown
	Points        htmlTable
	Names         htmlTable
	Expected      htmlTable
	Prediction    *weighPrediction
	Distances     string
	Overturned    htmlTable
	LeaveOneOut   htmlTable
	Objections    []weighObjection
	Unanswered    []weighObjection
	Images        []pipeline.Photograph
	Notes         []string
	Rejected      []htmlRejected
}

// weighFrame is one photograph in the page: itself, and what the models leave over.
type weighFrame struct {
	Heading, Name     string
	Photo, Residuals  template.HTML
	PictureIsReduced  bool
	Width, DrawnWidth int
}

type weighSectionShown struct {
	Figure template.HTML
	Words  string
	Angles htmlTable
}

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
		Title: weighTitle(w), Policy: "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'", Failures: weighFailures(w),
		Images: w.Images, Notes: w.Notes, Points: pointTable(w), Names: nameTable(w), Expected: expectedTable(w), LeaveOneOut: weighLeaveOneOut(w),
		Prediction: newWeighPrediction(w.Prediction), Distances: distanceWords(w.Distances), Facts: weighFacts(w),
	}
	if w.Outcome == pipeline.WeighedCurved {
		page.Overturned = weighOverturned(w) // of a result that does not exist nothing can be overturned
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
	for _, o := range w.Orders {
		page.Orders = append(page.Orders, fmt.Sprintf("%s is measured %s %s. The curved Earth has it %s, the plane %s.", plainName(o.Far), aboveWords(o.MeasuredArcmin),
			plainName(o.Near), aboveWords(o.CurvedArcmin), aboveWords(o.PlaneArcmin)))
	}
	for _, input := range w.Rejected {
		for _, r := range input.Rows {
			page.Rejected = append(page.Rejected, htmlRejected{input.Path, r.Line, r.Reason})
		}
	}
	if err := page.draw(w); err != nil {
		return nil, err
	}
	page.Objections, page.Unanswered = weighObjections(w, len(page.Crops))
	return page, nil
}

// draw makes the figures. A picture is decoded once and let go before the next.
func (page *weighPage) draw(w *pipeline.Weighing) error {
	var failed []error
	drawn := func(svg []byte, err error) template.HTML {
		failed = append(failed, err)
		return template.HTML(svg)
	}
	page.Figure = drawn(curvatureFigure(w, FigureOptions{Inline: true}))
	page.KFigure = drawn(kFigure(w))
	for i, photo := range w.Images {
		picture := readWeighPicture(photo, i+1, measuredPoints(w), mostCrops-len(page.Crops))
		page.Crops = append(page.Crops, cropsShown(w, picture.crops)...)
		frame := weighFrame{Heading: "The photograph", Name: plainName(photo.Path), Width: photo.WidthPx, DrawnWidth: mostDrawnWidth}
		if len(w.Images) > 1 {
			frame.Heading = fmt.Sprintf("Photograph %d", i+1)
		}
		frame.PictureIsReduced = picture.uri != "" && photo.WidthPx > mostDrawnWidth
		frame.Photo, frame.Residuals = drawn(photographFigure(w, i, picture)), drawn(residualFigure(w, i))
		page.Frames = append(page.Frames, frame)
	}
	if all := len(measuredPoints(w)); len(page.Crops) == mostCrops && all > mostCrops {
		page.CropsCut = fmt.Sprintf("The first %d of %d points.", mostCrops, all)
	}
	for i := range w.Sections {
		s := &w.Sections[i]
		page.Sections = append(page.Sections, weighSectionShown{drawn(sectionFigure(w, i)), sectionWords(s), sectionAngles(s)})
	}
	return errors.Join(failed...)
}

var weighTitles = map[string]string{
	pipeline.WeighedCurved: "This photograph fits a curved Earth, not a plane", pipeline.WeighedPlane: "This photograph fits a plane, not a curved Earth",
	pipeline.WeighedNeither: "Neither model fits: look at the inputs", pipeline.WeighedCannotTell: "This photograph cannot tell",
}

// weighTitle says what was found, or that nothing could be.
func weighTitle(w *pipeline.Weighing) string {
	for i := range w.Models {
		if m := &w.Models[i]; m.Name == pipeline.ModelFree && !m.Fitted && !w.Decides {
			return "The fit failed: this photograph says nothing as it stands"
		}
	}
	return weighTitles[w.Outcome]
}

// weighFailures name the models without a fit, and say that this is no finding.
func weighFailures(w *pipeline.Weighing) []string {
	var out []string
	for i := range w.Models {
		if m := &w.Models[i]; !m.Fitted {
			out = append(out, fmt.Sprintf("No fit was reached for the model “%s”: %s. That is a failure of the fit, not a finding about the model.", modelTitles[m.Name], plainName(m.Problem)))
		}
	}
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
