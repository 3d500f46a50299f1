package reports

import (
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"farstation/pipeline"
)

// TestOutingPage: the first line warns of the sun with its hours, every part is there, and no name becomes markup.
func TestOutingPage(t *testing.T) {
	page := sheetOf(t, madeOuting())
	_, body, _ := strings.Cut(page, "<header>")
	const first = `<p class="sun"><strong>Sun in or near the frame</strong> (within 10° of the frame’s middle): every day from 20` + "\u00a0May\u00a0to\u00a025\u00a0May\u00a02031" + ` from 16:45 to 17:43 (19:45 to 20:43 UTC). <strong>No optical finder then`
	if body = strings.TrimSpace(body); !strings.HasPrefix(body, first) {
		t.Errorf("the sheet begins\n%.300s\nwant\n%s", body, first)
	}
	for _, want := range []string{
		"&lt;i&gt;Perrin Rock&lt;/i&gt;", "the top of &lt;b&gt;Ulvey&lt;/b&gt; Mast", "33°\u00a000.000′\u00a0S, 56°\u00a000.006′\u00a0W", "Threshold: 4.98′.", "good for 2031-05-20 to 2031-06-02", sheetZone,
		strings.Repeat("a", 64), strings.Repeat("b", 64), "csv:7&gt;csv:9", // identity
		"262\u00a0m left, 261\u00a0m right", "12\u00a0m to the left", "the first 3 of 8, outing.json has all", "30 places within", // stand
		"17:40:11", "20:40:11", "02:04:05\u00a0+1\u00a0d", "the nearest 6 of 7", "below all day", "UTC−3", // sky, local and UTC
		"302\u00a0px", "Which limit binds:</strong> the pixels bind", "0.143,\u00a0expected", "common practice, no source", "1 m more water", "−0.07′", // lens, air, tide
		"water level, whose gauge", "tide cut-off; last safe return", "could not go (not_tried)", "both tops: the rule decides", "measured by two persons before names", "Local codes and licensed practice come first", "filter made for the sun",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the sheet lacks %q", want)
		}
	}
	for _, unwanted := range []string{"<script", "<b>", "<i>", "<img", "\u202e", "NaN", "Inf", "http://", "https://", "%!"} {
		if strings.Contains(page, unwanted) {
			t.Errorf("the sheet holds %q", unwanted)
		}
	}
	elements(t, page) // nest
	if page != sheetOf(t, madeOuting()) {
		t.Error("the same outing gives another sheet")
	}
}

// TestOutingPageOfNothing: an outing without parts is a sheet without figures and tables that does not say there is no sun.
func TestOutingPageOfNothing(t *testing.T) {
	page := sheetOf(t, &pipeline.Outing{})
	if strings.Contains(page, "<svg") || strings.Contains(page, "does not come within") || !strings.Contains(page, "No dates are known: the sun may stand in or near the frame.") {
		t.Errorf("%.3000s", page[strings.Index(page, "<header>"):])
	}
	withDay := &pipeline.Outing{Sky: pipeline.OutingSky{TimeZone: "UTC", Days: []pipeline.OutingDay{{Date: "2031-05-20"}}}}
	if page := sheetOf(t, withDay); !strings.Contains(page, "From 2031-05-20 the sun does not come within 10° of the frame’s middle while it is up.") {
		t.Error("a day without glare does not say so")
	}
}

func TestOutingPageIsInert(t *testing.T) {
	for _, name := range hostileNames() {
		o := madeOuting()
		o.Line.ObserverName, o.Line.TargetName, o.LookCurved, o.LookPlane, o.Claim.Sentence, o.Claim.Decision.IfSeen, o.Sky.TimeZone = name, name, name, name, name, name, name
		o.Frame.Tops[0].Name, o.FallBacks[0].Observer, o.FallBacks[0].Target, o.FallBacks[0].Why, o.Notes, o.Lens.Binds = name, name, name, name, []string{name}, name
		page := sheetOf(t, o)
		for _, bad := range []string{"<script", "<img", "\x00", "\x1b"} {
			if strings.Contains(page, bad) {
				t.Errorf("%.20q: the sheet holds %q", name, bad)
			}
		}
		for _, draw := range sheetFigures(o) {
			svg, err := draw()
			if err != nil {
				t.Fatalf("%.20q: %v", name, err)
			}
			strictXML(t, name, svg)
		}
	}
}

func sheetFigures(o *pipeline.Outing) map[string]func() ([]byte, error) {
	return map[string]func() ([]byte, error){
		"frames": func() ([]byte, error) { return outingFrames(o) }, "plan": func() ([]byte, error) { return outingPlan(o) }, "hours": func() ([]byte, error) { return outingHours(o, outingZone(o)) },
	}
}

// TestSunWordsRoundOutwards: hours of glare hold for every day of their spell, and a change of the clocks, an hour's jump or a day between ends a spell.
func TestSunWordsRoundOutwards(t *testing.T) {
	zone, err := time.LoadLocation("Europe/London") // the clocks went back on 26 October 2025, 01:00 UTC
	if err != nil {
		t.Fatal(err)
	}
	at := func(day, hour, minute, second int) time.Time {
		return time.Date(2025, 10, day, hour, minute, second, 0, time.UTC)
	}
	glare := []pipeline.OutingWindow{
		{From: at(24, 15, 0, 59), To: at(24, 16, 0, 1)}, {From: at(25, 14, 58, 30), To: at(25, 15, 59, 0)}, {From: at(26, 14, 57, 0), To: at(26, 15, 57, 0)},
		{From: at(28, 14, 57, 0), To: at(28, 15, 57, 0)}, {From: at(29, 17, 0, 0), To: at(29, 18, 0, 0)},
	}
	got := sunWords(&pipeline.Outing{Sky: pipeline.OutingSky{Glare: glare}}, zone)
	for i := range got {
		got[i] = strings.ReplaceAll(got[i], "\u00a0", " ")
	}
	want := []string{
		"every day from 24 Oct to 25 Oct 2025 from 15:58 to 17:01 (14:58 to 16:01 UTC)",
		"on 26 Oct 2025 from 14:57 to 15:57 (14:57 to 15:57 UTC)", "on 28 Oct 2025 from 14:57 to 15:57 (14:57 to 15:57 UTC)", "on 29 Oct 2025 from 17:00 to 18:00 (17:00 to 18:00 UTC)",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	wide := &pipeline.Outing{Frame: pipeline.OutingFrame{WidthDeg: 17, HeightDeg: 11}} // half the diagonal is 10.1°
	if got := sunWords(wide, time.UTC); len(got) != 1 || !strings.Contains(got[0], "may stand in the frame at hours that are not named") {
		t.Errorf("a frame wider than what is looked at for the sun: %q", got)
	}
	night := []pipeline.OutingWindow{{From: time.Date(2031, 6, 20, 22, 40, 0, 0, time.UTC), To: time.Date(2031, 6, 20, 23, 20, 0, 0, time.UTC)}} // midnight sun
	if got := sunWords(&pipeline.Outing{Sky: pipeline.OutingSky{Glare: night}}, time.FixedZone("", 3600)); !strings.HasSuffix(got[0], "from 23:40 to 00:20 of the next day (22:40 to 23:20 UTC)") {
		t.Errorf("over midnight: %q", got)
	}
}

func TestOffsetWords(t *testing.T) {
	for offset, want := range map[time.Duration]string{0: "UTC+0", -8 * time.Hour: "UTC−8", 5*time.Hour + 45*time.Minute: "UTC+5:45", -9*time.Hour - 30*time.Minute: "UTC−9:30"} {
		if got := offsetWords(offset); got != want {
			t.Errorf("offsetWords(%v) = %q, want %q", offset, got, want)
		}
	}
}

// TestFramesShareOneScale: a top's height between the frames differs by the models alone, to the sensor's shape.
func TestFramesShareOneScale(t *testing.T) {
	o := madeOuting()
	svg, err := outingFrames(o)
	if err != nil {
		t.Fatal(err)
	}
	frames := regexp.MustCompile(`<path class="frame" d="M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)h`).FindAllStringSubmatch(string(svg), -1)
	if len(frames) != 2 {
		t.Fatalf("%d frames", len(frames))
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	left, right := frames[0], frames[1]
	if left[2] != right[2] || left[3] != right[3] || left[4] != right[4] {
		t.Errorf("the frames differ: %v, %v", left, right)
	}
	width, height := number(left[3]), number(left[4])
	if shape := width / height; shape < 1.495 || shape > 1.505 { // 36 × 24 mm
		t.Errorf("a frame is %v × %v, want 3 : 2", width, height)
	}
	// The far top, its marks drawn first and second: 0.34° higher on the plane, 0.34/2.29 of the frame.
	at := sheetFrame{&o.Frame, 0, 0, width, height}
	if got, want := at.y(-0.19)-at.y(0.15), height*0.34/2.29; got < 0.999*want || got > 1.001*want {
		t.Errorf("0.34° are %v units high, want %v", got, want)
	}
	if got := at.x(o.Frame.CentreAzimuthDeg + 360); got < width/2-1e-9 || got > width/2+1e-9 {
		t.Errorf("the centre a turn on lies at %v of %v", got, width)
	}
	if n := strings.Count(string(svg), `class="mark foot"`); n != 9+1 { // nine of the fourteen others are out of view under the curve; the legend
		t.Errorf("%d marks of tops out of view, want 10", n)
	}
}

// TestPlanOverTheDateLine: places on both sides of ±180° stand about the stand, to scale and north up.
func TestPlanOverTheDateLine(t *testing.T) {
	o := madeOuting()
	o.Stand.LongitudeDeg = 179.9999
	o.Stand.Strip = []pipeline.OutingPlace{{LatitudeDeg: -32.999999, LongitudeDeg: -179.9999}, {LatitudeDeg: -32.998, LongitudeDeg: 179.9999}}
	o.Stand.LostLeftM, o.Stand.LostRightM, o.Stand.InLineRightM = nil, nil, nil
	svg, err := outingPlan(o)
	if err != nil {
		t.Fatal(err)
	}
	// 0.0002° east and 0.002° north of the stand: 18.7 m and 221.8 m (WGS84: 93.5 km and 110.9 km a degree at 33°, from the radii of curvature).
	marks := regexp.MustCompile(`class="mark foot" d="M([\d.]+) ([\d.]+)h`).FindAllStringSubmatch(string(svg), -1)
	if len(marks) != 3 { // and the legend
		t.Fatalf("%d places drawn, want 2: %s", len(marks)-1, svg)
	}
	const half, centreY, perM = 92.0, 110.0, 92 / 1.15 / 221.8
	for i, want := range []plotPoint{{half + 18.7*perM, centreY}, {half, centreY - 221.8*perM}} {
		x, errX := strconv.ParseFloat(marks[i][1], 64)
		y, errY := strconv.ParseFloat(marks[i][2], 64)
		if errX != nil || errY != nil || x+4 < want.x-0.3 || x+4 > want.x+0.3 || y+4 < want.y-0.3 || y+4 > want.y+0.3 {
			t.Errorf("place %d at %v, %v, want %v", i, x+4, y+4, want)
		}
	}
}

// TestHoursKnowTheSun: the strip's rows show polar day, polar night and ordinary days by the sun itself.
func TestHoursKnowTheSun(t *testing.T) {
	count := func(latitudeDeg float64, date, class string) int {
		o := &pipeline.Outing{Stand: pipeline.OutingStand{LatitudeDeg: latitudeDeg}, Sky: pipeline.OutingSky{TimeZone: "UTC", Days: []pipeline.OutingDay{{Date: date}}}}
		svg, err := outingHours(o, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		return strings.Count(string(svg), `<rect class="`+class+`"`) - 1 // the legend
	}
	for _, c := range []struct {
		name        string
		latitudeDeg float64
		date, class string
		want        int
	}{
		{"polar day has no night", 80, "2031-06-21", "night", 0}, {"nor twilight", 80, "2031-06-21", "dusk", 0}, {"polar night is one night", 85, "2031-12-21", "night", 1},
		{"and nothing else", 85, "2031-12-21", "low", 0}, {"an ordinary day has night before and after", 0, "2031-03-21", "night", 2}, {"and two twilights", 0, "2031-03-21", "dusk", 2},
	} {
		if got := count(c.latitudeDeg, c.date, c.class); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
}

// TestLongOutingIsThinned: a year of days stays a sheet.
func TestLongOutingIsThinned(t *testing.T) {
	o := madeOuting()
	first := time.Date(2031, 1, 1, 12, 0, 0, 0, time.UTC)
	o.Sky.Days = nil
	for i := range 400 {
		o.Sky.Days = append(o.Sky.Days, pipeline.OutingDay{Date: first.AddDate(0, 0, i).Format(time.DateOnly), State: "rises and sets"})
	}
	page := sheetOf(t, o)
	if !strings.Contains(page, "one day in 50, outing.json has all") || !strings.Contains(page, "One day in 13 is drawn.") {
		t.Error("400 days are not thinned, or it is not said")
	}
	for _, step := range []struct{ n, most, want int }{{0, 8, 1}, {8, 8, 1}, {9, 8, 2}, {31, 31, 1}, {400, 31, 13}} {
		if got := stepOf(step.n, step.most); got != step.want {
			t.Errorf("stepOf(%d, %d) = %d, want %d", step.n, step.most, got, step.want)
		}
	}
}

func TestSexagesimal(t *testing.T) {
	for _, test := range []struct {
		deg  float64
		want string
	}{{32.415, "32° 24.900′ N"}, {-123.7233, "123° 43.398′ S"}, {0.9999999, "1° 00.000′ N"}, {-0.5, "0° 30.000′ S"}} {
		if got := strings.ReplaceAll(sexagesimal(test.deg, "N", "S"), "\u00a0", " "); got != test.want {
			t.Errorf("%v is written %q, want %q", test.deg, got, test.want)
		}
	}
}
