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
		l := &result.Sightlines[i]
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
	if _, err := FrameFigure(&result.Sightlines[0], &result.Profiles[0], FigureOptions{K: 0.143, ID: `x"y`}); err == nil {
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
		l := &result.Sightlines[i]
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
