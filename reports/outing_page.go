package reports

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"time"

	"farstation/pipeline"
)

// outingPage is what the template of a field sheet shows; every text in it is ready to be read.
type outingPage struct {
	Title, Policy, Made, TimeZone string
	CSS                           template.CSS
	Glare                         []string
	LookCurved, LookPlane         template.HTML
	Claim                         template.HTML
	Hashes                        []htmlPair
	Frames, Plan, Hours           template.HTML
	Stand, Lens, Air, Tide        []htmlPair
	Tables                        map[string]htmlTable
	Notes                         []string
	Record, Checklist             []string
	Outcomes                      []string
}

// WriteOutingPage writes the field sheet of one outing: self-contained, without script or network, to be printed on A4.
func WriteOutingPage(out io.Writer, o *pipeline.Outing) error {
	page, err := newOutingPage(o)
	if err != nil {
		return fmt.Errorf("field sheet: %w", err)
	}
	pages, err := template.ParseFS(assets, "html/weigh.tmpl", "html/outing.tmpl")
	if err != nil {
		return fmt.Errorf("field sheet: %w", err)
	}
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, "outing.tmpl", page); err != nil {
		return fmt.Errorf("field sheet: %w", err)
	}
	_, err = b.WriteTo(out)
	return err
}

// outingZone is the time zone of a sheet, UTC where it is not known.
func outingZone(o *pipeline.Outing) *time.Location {
	if zone, err := time.LoadLocation(o.Sky.TimeZone); err == nil {
		return zone
	}
	return time.UTC
}

func newOutingPage(o *pipeline.Outing) (*outingPage, error) {
	page := &outingPage{
		Title: fmt.Sprintf("From %s to %s, %s", plainName(o.Line.ObserverName), plainName(o.Line.TargetName), kilometres(o.Line.DistanceM)), Made: o.Made, TimeZone: o.Sky.TimeZone,
		Policy:     "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'",
		LookCurved: htmlf("%s", plainName(o.LookCurved)), LookPlane: htmlf("%s", plainName(o.LookPlane)), Notes: o.Notes,
		Record: outingRecord, Checklist: outingChecklist, Outcomes: []string{"seen", "not seen", "air not clear", "could not go"},
	}
	report, errReport := assets.ReadFile("html/report.css")
	figures, errFigures := assets.ReadFile("html/figure.css")
	sheet, errSheet := assets.ReadFile("html/outing.css")
	if err := errors.Join(errReport, errFigures, errSheet); err != nil {
		return nil, err
	}
	page.CSS = template.CSS(report) + template.CSS(figures) + template.CSS(sheet)
	if o.Claim != nil {
		page.Claim = htmlf("%s", plainName(o.Claim.Sentence))
		page.Hashes = append(page.Hashes, htmlPair{"claim, SHA-256", o.ClaimSHA256})
	}
	page.Hashes = append(page.Hashes, htmlPair{"run, SHA-256 of run.json", o.RunSHA256}, htmlPair{"line", pipeline.LineID(&o.Line)})
	zone := outingZone(o)
	for _, g := range o.Sky.Glare {
		page.Glare = append(page.Glare, fmt.Sprintf("%s to %s (%s to %s UTC)", g.From.In(zone).Format("2 Jan 2006 15:04"), g.To.In(zone).Format("15:04"), g.From.UTC().Format("15:04"), g.To.UTC().Format("15:04")))
	}
	for _, figure := range []struct {
		into *template.HTML
		draw func() ([]byte, error)
	}{
		{&page.Frames, func() ([]byte, error) { return outingFrames(&o.Frame) }}, {&page.Plan, func() ([]byte, error) { return outingPlan(o) }},
		{&page.Hours, func() ([]byte, error) { return outingHours(o) }},
	} {
		svg, err := figure.draw()
		if err != nil {
			return nil, err
		}
		*figure.into = template.HTML(svg)
	}
	page.Stand, page.Lens, page.Air, page.Tide = outingStand(o), outingLens(o), outingAir(o), outingTide(o)
	page.Tables = outingTables(o, zone)
	return page, nil
}

// outingRecord and outingChecklist are what practitioners write down and bring; common practice, no source.
var outingRecord = []string{
	"time by a satellite receiver, to the second, with a frame of its display", "position averaged for 15 minutes at the tripod, and which height it gives (ellipsoid or sea level)",
	"height of the lens over the mark, by tape", "a second height: map, bench mark, terrain", "temperature of air at 0.5, 2 and 10 m, and of the water", "pressure, wind, waves",
	"level reference: two menisci of a water tube 10 m apart, or a levelled staff", "a plumb line in the frame", "both ends of the focus, and which mark it stood at",
	"water level at the minute of each exposure, and whose gauge", "raw files and their numbers, first to last",
}

var outingChecklist = []string{
	"somebody knows where you are and when you will be back", "permission, opening hours, gate, parking, last ferry, tide cut-off", "lamp, map on paper, warm clothes, telephone and its coverage",
	"a filter for the sun in front of the lens, and a cap between exposures", "tripod, weight, cable or timer; mirror and shutter delayed", "stabiliser off, digital zoom and lens correction off, full sensor",
	"fixed focal length, its ring taped; focus on a far light or star, then taped", "raw and JPEG; 1/500 s or shorter; bursts of twenty or more", "the same scene with the camera upside down",
	"the same framing every ten minutes for an hour or more", "again at another height of the eye if the ground allows", "points measured blank, before names are shown, by two persons",
}

func outingStand(o *pipeline.Outing) []htmlPair {
	s := &o.Stand
	rows := []htmlPair{
		{"latitude, longitude", fmt.Sprintf("%.6f, %.6f", s.LatitudeDeg, s.LongitudeDeg)},
		{"in degrees and minutes", sexagesimal(s.LatitudeDeg, "N", "S") + ", " + sexagesimal(s.LongitudeDeg, "E", "W")},
		{"ground over mean sea level", plusMinus(s.GroundM, s.GroundSDM, 0) + "\u00a0m"},
		{"eye over mean sea level", metres(s.EyeHeightM)},
		{"look towards", decimals(o.Line.AzimuthDeg, 1) + "° from true north"},
	}
	add := func(name string, v *float64, write func(float64) string) {
		if v != nil {
			rows = append(rows, htmlPair{name, write(*v)})
		}
	}
	add("metres aside that turn the tops by 1′", s.AsideMPerArcmin, func(v float64) string { return decimals(math.Abs(v), 1) + "\u00a0m" })
	add("metres up that move them by 1′", s.UpMPerArcmin, func(v float64) string { return decimals(math.Abs(v), 0) + "\u00a0m" })
	add("lost to the left after", s.LostLeftM, metres)
	add("lost to the right after", s.LostRightM, metres)
	add("exactly in line, to the right by", s.InLineRightM, metres)
	add("over all ground, eye 1 m lower", s.MarginLowArcmin, arcmin)
	add("over all ground", s.MarginArcmin, arcmin)
	add("over all ground, eye 1 m higher", s.MarginHighArcmin, arcmin)
	if s.Drawn != nil {
		rows = append(rows, htmlPair{"random draws that show the top", fmt.Sprintf("%s %% of %d", decimals(100**s.Drawn, 1), s.Draws)})
	}
	return rows
}

func sexagesimal(deg float64, plus, minus string) string {
	side := plus
	if deg < 0 {
		side, deg = minus, -deg
	}
	// Whole thousandths of a minute first, so that 59.9996′ is not written as 60.
	thousandths := int(math.Round(deg * 60_000))
	return fmt.Sprintf("%d° %06.3f′ %s", thousandths/60_000, float64(thousandths%60_000)/1000, side)
}

func outingLens(o *pipeline.Outing) []htmlPair {
	l := &o.Lens
	way := "across"
	if o.Frame.Upright {
		way = "upright"
	}
	rows := []htmlPair{
		{"sensor", fmt.Sprintf("%s × %s mm, pixels of %s µm", decimals(l.SensorWidthMM, 1), decimals(l.SensorHeightMM, 1), decimals(l.PixelUM, 2))},
		{"focal length, aperture", fmt.Sprintf("%s mm, f/%s, held %s", decimals(l.FocalMM, 0), decimals(l.ApertureF, 1), way)},
		{"frame", fmt.Sprintf("%s° × %s°", decimals(o.Frame.WidthDeg, 2), decimals(o.Frame.HeightDeg, 2))},
		{"a pixel", decimals(l.ArcsecPerPx, 2) + "″"},
		{"diffraction, shimmer", decimals(l.DiffractionPx, 1) + " px, " + decimals(l.ShimmerPx, 1) + " px"},
	}
	pixels := func(name string, v *float64) {
		if v != nil {
			rows = append(rows, htmlPair{name, decimals(*v, 0) + " px"})
		}
	}
	pixels("between the models", l.GapPx)
	pixels("obscured part of the target", l.ObscuredPx)
	pixels("structure of the target", l.StructurePx)
	if l.NeededFocalMM != nil {
		rows = append(rows, htmlPair{"measuring costs little from", decimals(*l.NeededFocalMM, 0) + " mm"})
	}
	if l.LongestFocalMM != nil {
		rows = append(rows, htmlPair{"all in one frame up to", decimals(*l.LongestFocalMM, 0) + " mm"})
	}
	if l.Binds != "" {
		rows = append(rows, htmlPair{"what binds", l.Binds})
	}
	return rows
}

func outingAir(o *pipeline.Outing) []htmlPair {
	a := &o.Air
	return []htmlPair{
		{"visual range needed, at sea level", decimals(a.VisualRangeNeededKM, 0) + "\u00a0km"},
		{"contrast left in a visual range of " + decimals(a.VisualRangeKM, 0) + "\u00a0km", decimals(100*a.Contrast, 1) + " % (2 % is the least that is seen)"},
	}
}

func outingTide(o *pipeline.Outing) []htmlPair {
	t := o.Tide
	if t == nil {
		return nil
	}
	rows := []htmlPair{{"sea over mean sea level, as predicted", plusMinus(t.SeaLevelM, t.SeaLevelSDM, 1) + "\u00a0m"}, {"1 m more water moves the top over all ground by", decimals(t.MarginPerMArcmin, 2) + "′"}}
	if t.ObscuredPerMM != nil {
		rows = append(rows, htmlPair{"and the obscured height by", decimals(*t.ObscuredPerMM, 1) + "\u00a0m"})
	}
	if t.DipPerMArcmin != nil {
		rows = append(rows, htmlPair{"and the dip of the sea horizon by", decimals(*t.DipPerMArcmin, 2) + "′"})
	}
	return rows
}
