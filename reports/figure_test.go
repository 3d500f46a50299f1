package reports

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"unicode/utf8"

	"farstation/pipeline"
)

func strictXML(t *testing.T, name string, svg []byte) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(string(svg)))
	for {
		if _, err := d.Token(); err == io.EOF {
			return
		} else if err != nil {
			t.Fatalf("%s is not well-formed XML: %v", name, err)
		}
	}
}

func TestFiguresAreWellFormedAndNamed(t *testing.T) {
	result := madeResult()
	for i := range result.Profiles {
		l := &result.Shown.Sightlines[i]
		profile, err := ProfileFigure(l, &result.Profiles[i], FigureOptions{K: 0.143, KSD: 0.04})
		if err != nil {
			t.Fatal(err)
		}
		frame, err := FrameFigure(l, &result.Profiles[i], FigureOptions{K: 0.143, KSD: 0.04})
		if err != nil {
			t.Fatal(err)
		}
		for name, svg := range map[string][]byte{"profile": profile, "frame": frame} {
			strictXML(t, name, svg)
			for _, part := range []string{`xmlns="http://www.w3.org/2000/svg"`, `role="img"`, "<title ", "<desc ", "<style>"} {
				if !strings.Contains(string(svg), part) {
					t.Errorf("the %s of line %d lacks %s", name, i, part)
				}
			}
			if strings.Contains(string(svg), "NaN") || strings.Contains(string(svg), "Inf") {
				t.Errorf("the %s of line %d holds a coordinate that is not finite", name, i)
			}
			if len(svg) > 40_000 { // sixty lines of this size still travel by mail
				t.Errorf("the %s of line %d has %d bytes", name, i, len(svg))
			}
		}
		if !strings.Contains(string(profile), "times as large as distances") {
			t.Errorf("the profile of line %d does not state its vertical exaggeration", i)
		}
	}
}

func TestFigureRefusesUnsafeIdentifier(t *testing.T) {
	result := madeResult()
	if _, err := FrameFigure(&result.Shown.Sightlines[0], &result.Profiles[0], FigureOptions{K: 0.143, ID: `x"y`}); err == nil {
		t.Error(`FrameFigure took the identifier x"y`)
	}
	if _, err := ProfileFigure(nil, &result.Profiles[0], FigureOptions{K: 0.143}); err == nil {
		t.Error("ProfileFigure took no sightline")
	}
}

// The bulge of a smooth sea half-way along 300 km is s²/8R = 1766 m on a sphere of 6371 km (common practice, no source).
func TestCurvedPanelBulge(t *testing.T) {
	p := &profilePlot{line: &pipeline.Sightline{DistanceM: 300e3, RadiusM: 6371e3}}
	if got := p.bulgeM(150e3, 300e3); math.Abs(got-1766) > 0.5 {
		t.Errorf("bulgeM(150 km, 300 km) = %.1f m, want 1766 ± 0.5", got)
	}
}

// Whether the drawn ray clears the drawn ground must agree with the margin, which comes from elevations on the effective sphere
// and not from the drawing's chord.
func TestDrawnRayClearsGroundAsMarginSays(t *testing.T) {
	result := madeResult()
	for i := range result.Profiles {
		l := &result.Shown.Sightlines[i]
		p, err := newProfilePlot(l, &result.Profiles[i], FigureOptions{K: 0.143, KSD: 0.04})
		if err != nil {
			t.Fatal(err)
		}
		clear := math.Inf(1)
		for _, s := range p.samples {
			if s.DistanceM >= 200 && s.DistanceM <= l.DistanceM-200 {
				clear = math.Min(clear, p.rayM(s.DistanceM, p.k)-p.groundAt(s.DistanceM, true))
			}
		}
		if (clear > 0) != (l.MarginArcmin > 0) {
			t.Errorf("from %s to %s the drawn ray clears the ground by %.1f m, the margin is %.2f′", l.ObserverID, l.TargetID, clear, l.MarginArcmin)
		}
	}
}

// A strip at true scale states the sagitta s²/(8R) and the angle s/(4R) (plane geometry of the circle, common practice, no source):
// on a sphere of 6371 km 1766 m and 40.5′ over 300 km, 18.9 m and 4.2′ over 31 km.
func TestStripStatesSagitta(t *testing.T) {
	for _, c := range []struct {
		distanceM, sagittaM, arcmin float64
	}{{300e3, 1765.8, 40.47}, {31e3, 18.86, 4.18}} {
		p := &profilePlot{line: &pipeline.Sightline{DistanceM: c.distanceM, RadiusM: 6371e3}}
		if got := p.sagittaM(); math.Abs(got-c.sagittaM) > 0.1 {
			t.Errorf("sagittaM over %.0f m = %.2f m, want %.2f ± 0.1", c.distanceM, got, c.sagittaM)
		}
		if got := p.sagittaArcmin(); math.Abs(got-c.arcmin) > 0.01 {
			t.Errorf("sagittaArcmin over %.0f m = %.3f′, want %.2f ± 0.01", c.distanceM, got, c.arcmin)
		}
	}
}

func TestStripStandsWherePanelsExaggerate(t *testing.T) {
	flat := func(float64) float64 { return 100 }
	long, longProfile := madeLine("A", "B", 60_000, 2, 0, flat)
	steep, steepProfile := madeLine("A", "B", 2000, 2, 900, flat)
	for _, c := range []struct {
		name    string
		line    *pipeline.Sightline
		profile *pipeline.Profile
		want    bool
	}{{"60 km of flat ground", &long, &longProfile, true}, {"2 km up to a top of 1000 m", &steep, &steepProfile, false}} {
		svg, err := ProfileFigure(c.line, c.profile, FigureOptions{K: 0.143, KSD: 0.04})
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(string(svg), "The same at true scale"); got != c.want {
			t.Errorf("%s: a strip at true scale is %t, want %t", c.name, got, c.want)
		}
	}
}

// A row's distance and the last sample's differ by rounding.
func TestTargetIsLabelledWhereProfileEndsAHairBefore(t *testing.T) {
	line, profile := madeLine("A", "Ossel", 60_000, 2, 0, func(float64) float64 { return 100 })
	for i, s := range profile.Samples {
		if s.DistanceM > line.DistanceM {
			profile.Samples = profile.Samples[:i]
			break
		}
	}
	profile.Samples[len(profile.Samples)-1].DistanceM = line.DistanceM - 1e-6
	svg, err := ProfileFigure(&line, &profile, FigureOptions{K: 0.143, KSD: 0.04})
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(svg), ", top 100\u00a0m<"); n != 2 {
		t.Errorf("%d panels name the target's top, want 2", n)
	}
}

// 120 m at 41253 m are 10.0′ (3438′ to the radian).
func TestFrameNamesTopAndScalesStructure(t *testing.T) {
	line, profile := madeLine("A", "Ossel Mast", 41_253, 2, 120, func(float64) float64 { return 0 })
	svg, err := FrameFigure(&line, &profile, FigureOptions{K: 0.143, KSD: 0.04})
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(svg), "structure 120\u00a0m = 10.0′</text>"); n != 2 {
		t.Errorf("%d views show a structure of 10.0′, want 2", n)
	}
	if n := strings.Count(string(svg), ">\u2068Ossel Mast\u2069 "); n != 2 {
		t.Errorf("%d views name the top, want 2", n)
	}
}

func TestFaceM(t *testing.T) {
	p := &profilePlot{line: &pipeline.Sightline{DistanceM: 1000}, samples: []pipeline.ProfileSample{
		{DistanceM: 0, GroundM: 300}, {DistanceM: 400, GroundM: 0}, {DistanceM: 600, GroundM: 200}, {DistanceM: 800, GroundM: 100}, {DistanceM: 1000, GroundM: 500}}}
	for _, c := range []struct{ heightM, want float64 }{{300, 900}, {50, 450}, {150, 825}, {500, 1000}, {-1, 1000}} {
		if got := p.faceM(c.heightM); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("faceM(%v) = %v, want %v", c.heightM, got, c.want)
		}
	}
}

// A path by steps must end where its points do, however many there are.
func TestPathThroughKeepsPlaces(t *testing.T) {
	points := make([]plotPoint, 500)
	for i := range points {
		points[i] = plotPoint{float64(i) * 1.234567, 100 * math.Sin(float64(i))}
	}
	path := pathThrough(points)
	x, y := 0.0, 0.0
	for i, step := range strings.FieldsFunc(path, func(r rune) bool { return r == 'M' || r == 'l' }) {
		var dx, dy float64
		if _, err := fmt.Sscanf(strings.Replace(step[:1]+strings.Replace(step[1:], "-", " -", 1), "  ", " ", 1), "%g %g", &dx, &dy); err != nil {
			t.Fatalf("step %d, %q: %v", i, step, err)
		}
		x, y = x+dx, y+dy
		if math.Abs(x-points[i].x) > 0.0501 || math.Abs(y-points[i].y) > 0.0501 {
			t.Fatalf("point %d is drawn at %.2f, %.2f, want %.2f, %.2f ± 0.05", i, x, y, points[i].x, points[i].y)
		}
	}
}

func TestPlaceLabelsKeepsThemApart(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 4))
	for round := range 300 {
		labels := make([]figureLabel, 2+random.IntN(5))
		for i := range labels {
			labels[i] = figureLabel{x: plotLeft + (plotRight-plotLeft)*random.Float64(), shown: strings.Repeat("n", 5+random.IntN(25))}
		}
		lanes := placeLabels(labels, 0, figureWidth)
		for i, a := range labels {
			if a.left < 0 || a.left+a.width > figureWidth+1e-9 || a.lane >= lanes {
				t.Fatalf("round %d: label %d at %.0f…%.0f in lane %d of %d", round, i, a.left, a.left+a.width, a.lane, lanes)
			}
			for j, b := range labels[:i] {
				if a.lane == b.lane && a.left < b.left+b.width && b.left < a.left+a.width {
					t.Errorf("round %d: labels %d and %d overlap in lane %d", round, j, i, a.lane)
				}
			}
		}
	}
}

func TestSpreadApart(t *testing.T) {
	got := spreadApart([]float64{50, 10, 11, 95, 98}, 16, 0, 100)
	order := []int{1, 2, 0, 3, 4} // of the input, upwards down
	for n := 1; n < len(order); n++ {
		if gap := got[order[n]] - got[order[n-1]]; gap < 16-1e-9 {
			t.Errorf("spreadApart gave %v: %.1f between %d and %d, want 16", got, gap, order[n-1], order[n])
		}
	}
	if got[4] > 100 {
		t.Errorf("spreadApart gave %v, past 100", got)
	}
}

func TestRoundTicks(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		n      int
		want   string
	}{
		{0, 310, 8, "[0 50 100 150 200 250 300]"},
		{-400, 4100, 6, "[0 1000 2000 3000 4000]"},
		{-0.7, 0.8, 7, "[-0.5 0 0.5]"},
		{5, 5, 3, "[5]"},
	} {
		if got := fmt.Sprint(roundTicks(c.lo, c.hi, c.n)); got != c.want {
			t.Errorf("roundTicks(%v, %v, %d) = %s, want %s", c.lo, c.hi, c.n, got, c.want)
		}
	}
}

func TestThinnedStaysTrue(t *testing.T) {
	ground := madeGround(17, 100, 200, 20_000)
	var points []plotPoint
	for x := 0.0; x < 400; x++ {
		points = append(points, plotPoint{x, ground(50*x) / 10})
	}
	got := thinned(points, 0.25)
	if len(got) >= len(points) || got[0] != points[0] || got[len(got)-1] != points[len(points)-1] {
		t.Fatalf("thinned kept %d of %d points", len(got), len(points))
	}
	at := 0
	for _, p := range points {
		for got[at+1].x < p.x {
			at++
		}
		a, b := got[at], got[at+1]
		if line := a.y + (b.y-a.y)*(p.x-a.x)/(b.x-a.x); math.Abs(line-p.y) > 0.25+1e-9 {
			t.Errorf("at %v the thinned line stands at %.3f, the full one at %.3f", p.x, line, p.y)
		}
	}
}

func TestFitted(t *testing.T) {
	for _, name := range []string{"Ys", longName, strings.Repeat("山", 300), strings.Repeat("é", 200), strings.Repeat("👨‍👩‍👧", 80), "", "\x00\n"} {
		got := fitted(name, 190, figureTextSize)
		if w := textWidth(got, figureTextSize); w > 190+figureTextSize || got == "" || !utf8.ValidString(got) {
			t.Errorf("fitted(%.20q…) = %q, %.0f wide, want at most 190 and not empty", name, got, w)
		}
	}
	if got := fitted("Brannoch Tor", 190, figureTextSize); got != "Brannoch Tor" {
		t.Errorf("fitted cut a name that fits to %q", got)
	}
}
