package reports

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"strings"
	"testing"

	"farstation/pipeline"
)

// TestReducedIsTheMean: a pixel of a reduced picture is the mean of what it covers. Checkerboards and a stripe give the mean by hand.
func TestReducedIsTheMean(t *testing.T) {
	picture := image.NewRGBA(image.Rect(10, 20, 16, 24)) // bounds need not begin at 0
	for y := range 4 {
		for x := range 6 {
			picture.SetRGBA(10+x, 20+y, color.RGBA{uint8(40 * x), uint8(60 * y), 0, 255})
		}
	}
	half := reduced(picture, 3, 100)
	if half.Bounds() != image.Rect(0, 0, 3, 2) {
		t.Fatalf("6 × 4 reduced to a width of 3 is %v", half.Bounds())
	}
	if got, want := half.RGBAAt(1, 1), (color.RGBA{100, 150, 0, 255}); got != want { // (80+120)/2, (120+180)/2
		t.Errorf("pixel 1, 1 is %v, want %v", got, want)
	}
	// At 4 of 6 a pixel is 1.5 wide: the second covers half of column 1 and all of column 2, (0.5·40 + 80)/1.5.
	if got := reduced(picture, 4, 100).RGBAAt(1, 0).R; got != 67 {
		t.Errorf("a pixel over one and a half columns is %d, want 67", got)
	}
	if got := reduced(picture, 100, 2).Bounds(); got != image.Rect(0, 0, 3, 2) {
		t.Errorf("6 × 4 reduced to a height of 2 is %v", got)
	}
	if got := reduced(image.NewNRGBA(image.Rect(0, 0, 4, 4)), 2, 2).RGBAAt(0, 0); got != (color.RGBA{255, 255, 255, 255}) {
		t.Errorf("what is transparent comes out as %v, want white", got)
	}
}

func TestCropBox(t *testing.T) {
	bounds := image.Rect(0, 0, 1000, 800)
	for _, c := range []struct {
		name string
		x, y float64
		want image.Rectangle
	}{
		{"in the middle", 500.7, 400, image.Rect(420, 340, 580, 460)},
		{"in a corner", 3, 799, image.Rect(0, 680, 160, 800)},
		{"outside", -1, 10, image.Rectangle{}},
	} {
		if got := cropBox(c.x, c.y, bounds); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	if got := cropBox(50, 30, image.Rect(0, 0, 100, 60)); got != image.Rect(0, 0, 100, 60) {
		t.Errorf("a picture smaller than a crop is shown whole, got %v", got)
	}
}

// TestPictureIsTheOneWeighed: a file that is gone, too large, changed or damaged is not drawn, and the page says why.
func TestPictureIsTheOneWeighed(t *testing.T) {
	photo := madePhotograph(t)
	if p := readWeighPicture(photo, 1, nil, 0); p.uri == "" || p.why != "" {
		t.Fatalf("the picture is not drawn: %s", p.why)
	}
	text, err := os.ReadFile(photo.Path)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, want string
		change     func(p *pipeline.Photograph)
	}{
		{"gone", "cannot be read", func(p *pipeline.Photograph) { p.Path += ".gone" }},
		{"too large", "120 megapixels", func(p *pipeline.Photograph) { p.WidthPx, p.HeightPx = 12_000, 10_001 }},
		{"another size", "not those that were weighed", func(p *pipeline.Photograph) { p.WidthPx++ }},
		{"another hash", "SHA-256 differs", func(p *pipeline.Photograph) { p.SHA256 = "00" }},
		{"damaged", "cannot be decoded", func(p *pipeline.Photograph) {
			p.Path += ".cut"
			if err := os.WriteFile(p.Path, text[:len(text)/2], 0o600); err != nil {
				t.Fatal(err)
			}
		}},
	} {
		changed := photo
		c.change(&changed)
		p := readWeighPicture(changed, 1, nil, 0)
		if p.uri != "" || !strings.Contains(p.why, c.want) {
			t.Errorf("%s: drawn %v, reason %q, want %q", c.name, p.uri != "", p.why, c.want)
		}
	}
}

// TestCropsHoldTheirPoint: a red dot in the picture lies in the middle of its crop, whatever the reduction of the whole.
func TestCropsHoldTheirPoint(t *testing.T) {
	photo := madePhotograph(t)
	points := []pipeline.PointResidual{{Frame: 2, AtXPx: 10, AtYPx: 10}, {Frame: 1, AtXPx: 1200.4, AtYPx: 700.6, SDPx: 1}, {Frame: 1, AtXPx: -40, AtYPx: 700}, {Frame: 1, AtXPx: 5, AtYPx: 5}}
	p := readWeighPicture(photo, 1, points, 1)
	if len(p.crops) != 1 || p.crops[0].point != 1 || p.crops[0].box != image.Rect(1120, 640, 1280, 760) {
		t.Fatalf("crops %+v, want one, of point 1", p.crops)
	}
}

// TestLabelsKeepApart: names lie neither on one another nor on marks, and inside the picture.
func TestLabelsKeepApart(t *testing.T) {
	l := newLabelPlacer(0, 0, 760, 400)
	var marks []plotPoint
	for i := range 40 {
		at := plotPoint{300 + float64(i*37%200), 200 + float64(i*53%30)}
		marks = append(marks, at)
		l.keepFree(at, 3)
	}
	placed := 0
	for i, at := range marks {
		if l.place(at, fmt.Sprintf("Top number %d", i), "", smallTextSize) {
			placed++
		}
	}
	if placed < 5 || placed == len(marks) {
		t.Fatalf("%d of %d names placed: the case is too easy or too hard to judge by", placed, len(marks))
	}
	for i, a := range l.placed {
		if !(a.box.left >= 0 && a.box.right <= 760 && a.box.upper >= 0 && a.box.lower <= 400) {
			t.Errorf("%q lies outside: %+v", a.shown, a.box)
		}
		for _, b := range l.placed[:i] {
			if a.box.meets(b.box) {
				t.Errorf("%q lies on %q", a.shown, b.shown)
			}
		}
		for _, m := range marks {
			if a.box.meets(around(m, 3)) {
				t.Errorf("%q lies on the mark at %v", a.shown, m)
			}
		}
	}
}

// TestArrowsStayInTheFigure: arrows that leave their frame find room over and under it.
func TestArrowsStayInTheFigure(t *testing.T) {
	points := []weighPoint{{at: plotPoint{100, -20}, curved: &plotPoint{100, 40}}, {at: plotPoint{100, 900}, plane: &plotPoint{100, 880}}}
	panels := residualPanels()
	s := newResidualScale(pipeline.Photograph{WidthPx: 1000, HeightPx: 900}, 60)
	s.makeRoom(points, panels[:])
	units := s.enlarged * s.unitsPerPx
	if want := 60*units - 40*s.unitsPerPx; s.over < want || s.over > want+8 {
		t.Errorf("%v units over the frame, want %v and a little", s.over, want)
	}
	if want := 20*units - 20*s.unitsPerPx; s.under < want || s.under > want+8 {
		t.Errorf("%v units under the frame, want %v and a little", s.under, want)
	}
}

func TestRoundDown(t *testing.T) {
	for v, want := range map[float64]float64{1: 1, 1.99: 1, 2: 2, 4.9: 2, 5: 5, 9.9: 5, 10: 10, 0.07: 0.05, 730: 500} {
		if got := roundDown(v); got < want*0.999 || got > want*1.001 {
			t.Errorf("roundDown(%v) = %v, want %v", v, got, want)
		}
	}
}

// TestWeighFiguresAreXML: every figure is well-formed, whatever the names, and marks each point once a model.
func TestWeighFiguresAreXML(t *testing.T) {
	w := drawnWeighing(t)
	picture := readWeighPicture(w.Images[0], 1, measuredPoints(w), mostCrops)
	figures := map[string]func() ([]byte, error){
		"photograph": func() ([]byte, error) { return photographFigure(w, 0, picture) },
		"frame":      func() ([]byte, error) { return photographFigure(w, 0, weighPicture{why: `<b>&"gone`}) },
		"residuals":  func() ([]byte, error) { return residualFigure(w, 0) },
		"section":    func() ([]byte, error) { return sectionFigure(w, 0) },
		"k":          func() ([]byte, error) { return kFigure(w) },
	}
	for name, draw := range figures {
		svg, err := draw()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		strictXML(t, name, svg)
		if strings.Contains(string(svg), "NaN") {
			t.Errorf("%s holds NaN", name)
		}
	}
	svg, err := photographFigure(w, 0, picture)
	if err != nil {
		t.Fatal(err)
	}
	// 7 measured points and the legend; 5 tops in view that were not measured and the legend.
	for class, want := range map[string]int{`class="mark measured"`: 8, `class="mark curved"`: 8, `class="mark plane"`: 8, `class="mark expected"`: 6} {
		if got := strings.Count(string(svg), class); got != want {
			t.Errorf("%d of %s, want %d", got, class, want)
		}
	}
	for _, crop := range cropsShown(w, picture.crops) {
		strictXML(t, crop.Caption, []byte(crop.SVG))
	}
}

// TestModelsFailInTheOpen: the plane's mark stands where it has a top with heights as given, not where its fit moved the heights to; a top of another
// frame or an unmeasured one with the same name is not taken; a base has none, a horizon that of the fit.
func TestModelsFailInTheOpen(t *testing.T) {
	w := drawnWeighing(t)
	_, plane := madeRows()
	twin := w.Expected[0]
	twin.PlaneYPx, twin.Frame = pointer(1.0), 2
	apart := w.Expected[0]
	apart.PlaneYPx, apart.CurvedXPx = pointer(1.0), pointer(2000.0)
	w.Expected = append([]pipeline.ExpectedTop{twin, apart}, w.Expected...)
	for i := range w.Models {
		w.Models[i].Residuals = append(w.Models[i].Residuals,
			pipeline.PointResidual{Name: "Keld Beacon", Part: pipeline.PartBase, Frame: 1, AtXPx: 2210, AtYPx: 900, YPx: 2},
			pipeline.PointResidual{Part: pipeline.PartSeaHorizon, Frame: 1, AtXPx: 100, AtYPx: 1200, YPx: -40})
	}
	points := weighPoints(w, 1)
	if len(points) != 9 {
		t.Fatalf("%d points, want 9", len(points))
	}
	for i, p := range points[:7] { // the first seven tops are measured
		if p.plane == nil || p.plane.y != plane[i] {
			t.Errorf("the plane has %s at %v, want row %v", p.words, p.plane, plane[i])
		}
	}
	if base, horizon := points[7], points[8]; base.curved != nil || base.plane != nil || horizon.plane == nil || horizon.plane.y != 1240 {
		t.Errorf("base %+v, horizon %+v: want none, and the horizon 40 px below", base, horizon)
	}
	if words := unmarkedWords(points); !strings.HasPrefix(words, "Without a mark of both models: 8.") {
		t.Errorf("said of points without marks: %q", words)
	}
}

// TestSectionWithoutItsEnds: a thinned profile that begins late and ends early, and none at all, are drawn.
func TestSectionWithoutItsEnds(t *testing.T) {
	w := drawnWeighing(t)
	s := &w.Sections[0]
	s.DistanceM, s.GroundM = s.DistanceM[3:len(s.DistanceM)-4], s.GroundM[3:len(s.GroundM)-4]
	if _, err := sectionFigure(w, 0); err != nil {
		t.Error(err)
	}
	s.DistanceM, s.GroundM, s.FrontM, s.FootM, s.ObscuredHeightM, s.ObscuredHeightPlaneM, s.PartInView = nil, nil, nil, nil, nil, nil, nil
	svg, err := sectionFigure(w, 0)
	if err != nil || !strings.Contains(string(svg), "No terrain was given") {
		t.Errorf("without terrain: %v, and it is not said", err)
	}
}

// TestPictureIsSmall: a page does not grow with the photograph.
func TestPictureIsSmall(t *testing.T) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, reduced(image.NewGray(image.Rect(0, 0, 5000, 400)), mostDrawnWidth, mostDrawnHigh), nil); err != nil {
		t.Fatal(err)
	}
	config, err := jpeg.DecodeConfig(&b)
	if err != nil || config.Width != 1600 || config.Height != 128 {
		t.Errorf("5000 × 400 becomes %d × %d, %v, want 1600 × 128", config.Width, config.Height, err)
	}
}
