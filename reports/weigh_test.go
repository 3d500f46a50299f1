package reports

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"html"
	"strings"
	"testing"

	"farstation/geodesy/camera"
	"farstation/pipeline"
)

func madeWeighing() *pipeline.Weighing {
	top := func(name string, distanceM, depression float64) pipeline.WeighedTop {
		return pipeline.WeighedTop{Name: name, Part: pipeline.PartTop, Frame: 1, DistanceM: distanceM, Depression: depression, DepressionSD: 0.2}
	}
	residuals := []pipeline.PointResidual{{Name: "<b>Braven</b>", Part: pipeline.PartTop, Frame: 1, XPx: 0.5, YPx: -0.25}}
	return &pipeline.Weighing{
		Decides: true, Outcome: pipeline.WeighedCurved, Sentences: []string{"One & only <i>.", "Two.", "Three."}, Strength: "many tops in one frame",
		Images: []pipeline.Photograph{{Path: "a<script>.jpg", SHA256: "00", Format: "jpeg", WidthPx: 600, HeightPx: 400}},
		Models: []pipeline.ModelFit{{Name: pipeline.ModelFree, Fitted: true, Residuals: residuals}, {Name: pipeline.ModelPlane, Problem: "none"}},
		Air:    camera.Air{K: 0.143, KSD: 0.04}, RadiusM: 6.38e6,
		ApparentCurvaturePerM: pointer(1.34e-7), ApparentCurvatureSDPerM: pointer(4e-9), K: pointer(0.145), KSD: pointer(0.025), PlaneSD: pointer(34.0), CurvedSD: pointer(0.1),
		Tops:         []pipeline.WeighedTop{top("<b>Braven</b>", 60_000, 13.8), top("Ulvey\u202e Hill", 30_000, 6.9)},
		OverturnedBy: []pipeline.Overturn{{Input: "height of the eye", Amount: 241, Unit: "m", SD: 3, Times: 80}},
		Orders:       []pipeline.TopOrder{{Near: "Near", Far: "Far", CurvedArcmin: -1.1, PlaneArcmin: 3.7, MeasuredArcmin: -1.2}},
	}
}

// TestWeighPage: the page shows what was found and nothing of a name becomes markup or script.
func TestWeighPage(t *testing.T) {
	var b bytes.Buffer
	if err := WriteWeighPage(&b, madeWeighing()); err != nil {
		t.Fatal(err)
	}
	page := b.String()
	for _, want := range []string{"One &amp; only &lt;i&gt;.", "&lt;b&gt;Braven&lt;/b&gt;", "Far is measured 1.2′ below Near. The curved Earth has it 1.1′ below, the plane 3.7′ above.", "over 10", "241 m", "default-src 'none'"} {
		if !strings.Contains(page, want) && !strings.Contains(page, strings.ReplaceAll(want, "'", "&#39;")) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, unwanted := range []string{"<script", "<b>Braven", "\u202e", "NaN", "http://", "https://"} {
		if strings.Contains(page, unwanted) {
			t.Errorf("the page holds %q", unwanted)
		}
	}
}

// TestWeighPageCannotTell: a weighing without a fit has a page and JSON too.
func TestWeighPageCannotTell(t *testing.T) {
	w := &pipeline.Weighing{Outcome: pipeline.WeighedCannotTell, Sentences: []string{"This picture cannot tell: too few."}}
	var b, j bytes.Buffer
	if err := WriteWeighPage(&b, w); err != nil {
		t.Fatal(err)
	}
	if page := b.String(); !strings.Contains(page, "<h1>This photograph cannot tell</h1>") || strings.Contains(page, "<svg") {
		t.Error("the page lacks its title, or has a figure of nothing")
	}
	if err := WriteJSON(&j, w); err != nil || !json.Valid(j.Bytes()) || !strings.Contains(j.String(), `"plane_sd": null`) {
		t.Errorf("weigh.json %s, %v", j.String(), err)
	}
}

func TestCurvatureFigure(t *testing.T) {
	svg, err := curvatureFigure(madeWeighing(), FigureOptions{})
	if err != nil {
		t.Fatal(err)
	}
	strictXML(t, "curvature", svg)
	if text := string(svg); strings.Count(text, `class="mark end"`) != 3 { // two tops and the legend
		t.Errorf("the figure has %d dots, want one for each of two tops and one in the legend", strings.Count(text, `class="mark end"`))
	}
}

// TestMeasuringPage: names cannot break out of their list, and the script is the one that the page allows.
func TestMeasuringPage(t *testing.T) {
	var b bytes.Buffer
	if err := WriteMeasuringPage(&b, []string{"Braven", `</script><script>alert("x")</script>`, "Ómbrivel"}); err != nil {
		t.Fatal(err)
	}
	page := b.String()
	if strings.Count(page, "</script>") != 2 || !strings.Contains(page, "Ómbrivel") {
		t.Errorf("the page has %d scripts, want 2, and the name Ómbrivel", strings.Count(page, "</script>"))
	}
	_, script, _ := strings.Cut(page, "<script>")
	script, _, _ = strings.Cut(script, "</script>")
	sum := sha256.Sum256([]byte(script))
	if want := "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"; !strings.Contains(html.UnescapeString(page), want) {
		t.Errorf("the page does not allow its own script %s", want)
	}
}
