package reports

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"time"

	"farstation/pipeline"
)

// outingPage is what the template of a field sheet shows; every text in it is ready to be read.
type outingPage struct {
	Title, Policy          string
	Made, Days, Zone       string
	CSS                    template.CSS
	Sun                    []string
	Claim, Rule            string
	LookCurved, LookPlane  string
	Line, Claimed, Run     string
	Binds                  string
	Frames, Plan, Hours    template.HTML
	Stand, Lens, Air, Tide []htmlPair
	Tops, Strip, FallBacks htmlTable
	Windows, Passes, Suns  htmlTable
	ByK                    htmlTable
	Expected               []pipeline.OutingK
	Notes                  []string
	Settings, Shots, Bring []string
	Record, Ask            []string
	Outcomes               []htmlPair
	Blank                  []int
}

// WriteOutingPage writes the field sheet of one outing: self-contained, without script or network, to be printed on A4.
func WriteOutingPage(out io.Writer, o *pipeline.Outing) error {
	page, err := newOutingPage(o)
	if err != nil {
		return fmt.Errorf("field sheet: %w", err)
	}
	pages, err := template.ParseFS(assets, "html/weigh.tmpl", "html/outing.tmpl") // the tables are those of a weighed photograph
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
	zone := outingZone(o)
	page := &outingPage{
		Title:  fmt.Sprintf("%s to %s, %s", isolated(o.Line.ObserverName), isolated(o.Line.TargetName), kilometres(o.Line.DistanceM)),
		Policy: printedPolicy, Made: o.Made, Zone: plainName(zone.String()), Days: outingDayWords(o),
		Sun: sunWords(o, zone), LookCurved: plainName(o.LookCurved), LookPlane: plainName(o.LookPlane),
		Line: plainName(pipeline.LineID(&o.Line)), Claimed: o.ClaimSHA256, Run: o.RunSHA256,
		Stand: outingStand(o), Lens: outingLens(o), Binds: plainNote(o.Lens.Binds), Air: outingAir(o), Tide: outingTide(o),
		Tops: topTable(o), FallBacks: fallBackTable(o), ByK: atKTable(o), Expected: expectedKs(o),
		Windows: windowTable(o, zone), Passes: passTable(o, zone), Suns: dayTable(o, zone),
		Settings: outingSettings, Shots: outingShots, Bring: outingBring, Record: outingRecord, Ask: outingAsk, Blank: []int{1, 2, 3, 4},
	}
	css, err := pageCSS()
	if err != nil {
		return nil, err
	}
	sheet, err := assets.ReadFile("html/outing.css")
	if err != nil {
		return nil, err
	}
	page.CSS = css + template.CSS(sheet)
	page.Outcomes = outcomeWords(nil)
	if o.Claim != nil {
		page.Claim, page.Rule = plainName(o.Claim.Sentence), plainName(o.Claim.Decision.Rule)
		page.Outcomes = outcomeWords(&o.Claim.Decision)
	}
	for _, note := range o.Notes {
		page.Notes = append(page.Notes, plainName(note))
	}
	for _, figure := range []struct {
		into *template.HTML
		draw func() ([]byte, error)
	}{
		{&page.Frames, func() ([]byte, error) { return outingFrames(o) }}, {&page.Plan, func() ([]byte, error) { return outingPlan(o) }},
		{&page.Hours, func() ([]byte, error) { return outingHours(o, zone) }},
	} {
		svg, err := figure.draw()
		if err != nil {
			return nil, err
		}
		*figure.into = template.HTML(svg) // the figures escape every text themselves
	}
	return page, nil
}

// outingDayWords says which days a sheet is good for.
func outingDayWords(o *pipeline.Outing) string {
	days := o.Sky.Days
	if len(days) == 0 {
		return ""
	}
	first, last := days[0].Date, days[len(days)-1].Date
	if first == last {
		return first
	}
	return first + " to " + last
}

// outcomeWords are what an outing may end in, with the words of a table of outcomes, and what the claim makes of each.
func outcomeWords(d *pipeline.ClaimDecision) []htmlPair {
	if d == nil {
		d = &pipeline.ClaimDecision{}
	}
	return []htmlPair{
		{"seen (" + pipeline.Seen + ")", plainNote(d.IfSeen)}, {"not seen (" + pipeline.NotSeen + ")", plainNote(d.IfNotSeen)},
		{"air not clear (" + pipeline.AirNotClear + ")", plainNote(d.IfAirNotClear)}, {"could not go (" + pipeline.NotTried + ")", plainNote(d.IfNotTried)},
	}
}

// plainNote is a text that may hold names and may be missing.
func plainNote(text string) string {
	if text == "" {
		return ""
	}
	return plainName(text)
}

// What practitioners set, shoot, bring, ask and write down: common practice, no source.
var (
	outingBring = []string{
		"somebody knows where, and till when", "lamp, battery, paper map, dry clothes", "tripod, weight, cable, tape measure", "thermometer, barometer", "solar filter, lens cap",
	}
	outingSettings = []string{
		"stabiliser, zoom, lens correction off", "raw and JPEG, full sensor", "focal length, focus fixed and taped", "f/8, 1/500 s or shorter, bursts of 20", "clock on UTC to 1 s; receiver in frame",
	}
	outingShots = []string{
		"same framing every 10 min for 1 h", "sea horizon at left, middle and right", "same scene, camera upside down", "level (water tube, 10 m), plumb line", "stars, same focal length and focus",
		"a wide frame; another eye height",
	}
	outingAsk    = []string{"permission, owner, gate, opening hours", "parking, path, snow line, ferry", "tide cut-off; last safe return", "latest time to switch to another line"}
	outingRecord = []string{
		"place, averaged for 15 minutes", "its height, over ellipsoid or sea level", "lens over the mark, by tape", "second height: map, bench mark", "air at 0.5, 2 and 10 m; water",
		"pressure; wind; waves", "cloud base; haze; farthest thing seen", "water level, whose gauge, at which minute", "both ends of the focus ring", "first, last exposure, UTC; file numbers",
	}
)
