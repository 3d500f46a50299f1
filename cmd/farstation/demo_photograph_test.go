package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farstation/cmd/farstation/internal/scenery"
	"farstation/geodesy"
	"farstation/geodesy/geoid"
	"farstation/pipeline"
)

var updatePhotograph = flag.Bool("update-photograph", false, "draw the demo's photograph and measure its points anew")

const howToUpdate = "go test ./cmd/farstation -run DemoPhotograph -update-photograph"

const (
	// photographK is the air of the photograph.
	photographK = 0.16
	// measuringSDPx is the error of one who clicks: it is drawn, and it is what the table states.
	measuringSDPx = 0.5
	// bandM is how high the dark lower part of Perrune Rock Light reaches; its foot is hidden by nearer rock.
	bandM = 20
)

// demoScene is what the camera on Olmeque Head sees, 2 m over the ground, in air with k = photographK or on a plane.
func demoScene(t *testing.T, plane bool) *scenery.Scene {
	t.Helper()
	world := newDemoTerrain()
	rows, _ := demoRowsByName(t)
	grid, err := geoid.EGM96()
	if err != nil {
		t.Fatal(err)
	}
	from := rows["Olmeque Head"].at
	s := &scenery.Scene{
		Camera: scenery.Camera{
			LatDeg: from.LatDeg, LonDeg: from.LonDeg, EyeM: world.heightAt(from) + testEyeM,
			AzimuthDeg: 301.35, TiltDeg: 0.25, RollDeg: 0.4, FocalPx: 13_500, WidthPx: 3000, HeightPx: 900,
		},
		HeightM: func(latDeg, lonDeg float64) float64 {
			return world.heightAt(geodesy.LatLon{LatDeg: latDeg, LonDeg: lonDeg})
		},
		UndulationM: func(latDeg, lonDeg float64) float64 {
			return grid.UndulationM(geodesy.LatLon{LatDeg: latDeg, LonDeg: lonDeg})
		},
		K: photographK, Plane: plane,
		SunAzimuthDeg: 48, SunElevationDeg: 20, ReachM: 185e3,
	}
	light, tower := rows["Perrune Rock Light"], rows["Ossimer Tower"]
	s.Structures = []scenery.Structure{
		{LatDeg: light.at.LatDeg, LonDeg: light.at.LonDeg, GroundM: light.groundHeightM, HeightM: bandM, WidthM: 7},
		{LatDeg: light.at.LatDeg, LonDeg: light.at.LonDeg, GroundM: light.groundHeightM + bandM, HeightM: light.structureHeightM - bandM, WidthM: 7, Light: true},
		{LatDeg: tower.at.LatDeg, LonDeg: tower.at.LonDeg, GroundM: tower.groundHeightM, HeightM: tower.structureHeightM, WidthM: 6},
	}
	return s
}

// demoFacts are what the camera writes: its receiver is 5 m off; 13,500 px are 187 mm at 43.27 mm of diagonal, to a whole millimetre.
func demoFacts() scenery.Facts {
	return scenery.Facts{Make: "none", Taken: "2026:07:14 08:40:00", FocalMM: 80, EquivalentMM: 187, LatDeg: -32.97503, LonDeg: -122.73996}
}

// measure finds the points in the picture, drawn a piece at a time, and adds the error of a hand. Where to look comes from
// the renderer's own projection, so that no top is mistaken for another; where in that window the point is comes from the picture. A plane has no sea horizon, and nothing behind one.
func measure(t *testing.T, s *scenery.Scene) (table string) {
	t.Helper()
	rows, _ := demoRowsByName(t)
	hand := rand.New(rand.NewPCG(1, 16))
	var b strings.Builder
	b.WriteString("name_or_id,part,x_px,y_px,sd_px\n")
	add := func(name string, part pipeline.MeasuredPart, x, y float64) {
		if math.IsNaN(x) || math.IsNaN(y) {
			t.Fatalf("%s %s cannot be found in the picture", name, part)
		}
		fmt.Fprintf(&b, "%s,%s,%.2f,%.2f,%g\n", name, part, x+measuringSDPx*hand.NormFloat64(), y+measuringSDPx*hand.NormFloat64(), measuringSDPx)
	}
	// edge is the greatest change in the column at x; its place across is its middle.
	edge := func(x, y float64, reach int) (float64, float64) {
		row, _ := scenery.Edge(s.Draw(int(x), int(x)+1), int(x), int(y), reach)
		return math.Floor(x) + 0.5, row
	}
	expected := func(name string, overM float64) (x, y float64) {
		at := rows[name].at
		return s.Pixel(at.LatDeg, at.LonDeg, s.HeightM(at.LatDeg, at.LonDeg)+overM)
	}
	for _, top := range []struct {
		name            string
		acrossPx, reach int
	}{
		{"Perrune Rock Light", 3, 3}, {"Ossimer Tower", 2, 1}, {"Mount Ombrivel", 8, 6}, {"Sulvarro", 4, 4}, {"Orphessin", 8, 6}, {"Gannofer", 8, 6},
	} {
		x, y := expected(top.name, rows[top.name].structureHeightM)
		foundX, foundY := scenery.Top(s.Draw(int(x)-top.acrossPx, int(x)+top.acrossPx+1), x, y, top.acrossPx, top.reach)
		add(top.name, pipeline.PartTop, foundX, foundY)
	}
	x, y := expected("Perrune Rock Light", bandM)
	bandX, bandY := edge(x, y, 3)
	add("Perrune Rock Light", pipeline.MeasuredPart(fmt.Sprintf("height:%d", bandM)), bandX, bandY)
	if s.Plane {
		return b.String()
	}
	gannoferX, _ := expected("Gannofer", 0)
	for _, sea := range []struct {
		name string
		part pipeline.MeasuredPart
		x    float64
	}{{"", pipeline.PartSeaHorizon, 1400}, {"", pipeline.PartSeaHorizon, 2300}, {"Gannofer", pipeline.PartCut, gannoferX}} {
		seaX, seaY := edge(sea.x, 600, 25)
		add(sea.name, sea.part, seaX, seaY)
	}
	b.WriteString("Yarrunde,absent,,,\n")
	return b.String()
}

// TestDemoPhotograph: the picture and the table that are kept are what is drawn and measured now. Pieces of the picture stand for all of it.
func TestDemoPhotograph(t *testing.T) {
	s := demoScene(t, false)
	if *updatePhotograph {
		content, err := scenery.JPEG(s.Draw(0, s.Camera.WidthPx), 85, demoFacts())
		if err != nil {
			t.Fatal(err)
		}
		demoPhotograph, demoPoints = content, []byte(measure(t, s))
		for name, content := range map[string][]byte{demoPhotoName: demoPhotograph, demoPointsName: demoPoints} {
			if err := os.WriteFile(filepath.Join("demo", "photograph", name), content, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	kept, err := jpeg.Decode(bytes.NewReader(demoPhotograph))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := kept.Bounds(), image.Rect(0, 0, s.Camera.WidthPx, s.Camera.HeightPx); got != want {
		t.Fatalf("the picture that is kept is %v, want %v", got, want)
	}
	for _, left := range []int{260, 1180, 1770, 2700} { // a top stands in each
		drawn := s.Draw(left, left+24)
		sum, n, far := 0.0, 0, 0
		for y := range s.Camera.HeightPx {
			for x := left; x < left+24; x++ {
				r, g, b, _ := kept.At(x, y).RGBA()
				c := drawn.RGBAAt(x, y)
				off := (math.Abs(float64(r>>8)-float64(c.R)) + math.Abs(float64(g>>8)-float64(c.G)) + math.Abs(float64(b>>8)-float64(c.B))) / 3
				sum += off
				n++
				if off > 30 {
					far++
				}
			}
		}
		t.Logf("columns from %d: mean difference %.2f, %d pixels differ by more than 30", left, sum/float64(n), far)
		// What the JPEG itself costs was 1 of 255 or less; an outline half a pixel off costs far more at its edges.
		if sum/float64(n) > 1.5 || far > 10 {
			t.Errorf("columns from %d: mean difference %.2f, %d pixels differ by more than 30: want at most 1.5 and 10, or draw anew: %s", left, sum/float64(n), far, howToUpdate)
		}
	}

	read := func(table string) []pipeline.MeasuredPoint {
		points, rejected, err := pipeline.ReadPoints(strings.NewReader(table), 0, 1)
		if err != nil || len(rejected) > 0 || len(points) != 11 {
			t.Fatalf("%d points, rejected %v, error %v: want 11 points and none rejected", len(points), rejected, err)
		}
		return points
	}
	held, now := read(string(demoPoints)), read(measure(t, s))
	for i, p := range held {
		if q := now[i]; p.Name != q.Name || p.Part != q.Part || math.Abs(p.XPx-q.XPx) > 0.6 || math.Abs(p.YPx-q.YPx) > 0.1 {
			t.Errorf("%s %s is kept at %.2f, %.2f and measured at %.2f, %.2f, want within 0.6 and 0.1 px: %s", p.Name, p.Part, p.XPx, p.YPx, q.XPx, q.YPx, howToUpdate)
		}
	}
}

// The facts in the file are read as they were written.
func TestDemoPhotographFacts(t *testing.T) {
	dir := t.TempDir()
	if err := writeDemoPhotograph(dir); err != nil {
		t.Fatal(err)
	}
	p, err := pipeline.ReadPhotograph(filepath.Join(dir, demoPhotoName))
	if err != nil {
		t.Fatal(err)
	}
	facts := demoFacts()
	if p.Taken != facts.Taken || math.Abs(p.FocalPx-13_500) > 0.005*13_500 {
		t.Errorf("taken %q with %.0f px, want %q and 13,500 px to half a per cent", p.Taken, p.FocalPx, facts.Taken)
	}
	// Hundredths of a second of arc are 0.3 m.
	if p.Place == nil || math.Abs(p.Place.LatDeg-facts.LatDeg) > 2e-6 || math.Abs(p.Place.LonDeg-facts.LonDeg) > 2e-6 {
		t.Errorf("place %v, want %v, %v", p.Place, facts.LatDeg, facts.LonDeg)
	}
	if len(p.Notes) != 1 {
		t.Errorf("notes %q, want the one on the position's age", p.Notes)
	}
}

// weighDemo weighs a table of points on the demo's photograph in the demo's world.
func weighDemo(t *testing.T, table []byte) (w pipeline.Weighing) {
	t.Helper()
	features, tiles, err := writeDemoWorld(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := writeDemoPhotograph(dir); err != nil {
		t.Fatal(err)
	}
	points := filepath.Join(dir, demoPointsName)
	if err := os.WriteFile(points, table, 0o644); err != nil {
		t.Fatal(err)
	}
	var printed, failed bytes.Buffer
	args := []string{"weigh", "--photo", filepath.Join(dir, demoPhotoName), "--points", points, "--features", features, "--terrain", tiles, "--json"}
	if status := run(args, &stdio{&printed, &failed}); status != statusDone {
		t.Fatalf("farstation %q ended with %d: %s", args, status, failed.String())
	}
	if err := json.Unmarshal(printed.Bytes(), &w); err != nil {
		t.Fatal(err)
	}
	return w
}

// The verdict on the demo's photograph is that of the world it was drawn in: curved, with the k it was drawn with.
func TestDemoPhotographDecides(t *testing.T) {
	w := weighDemo(t, demoPoints)
	if !w.Decides || w.Outcome != pipeline.WeighedCurved || *w.PlaneSD < 10 {
		t.Errorf("decides %v for %s, %.1f standard deviations from the plane; want the curved Earth, over 10", w.Decides, w.Outcome, *w.PlaneSD)
	}
	if math.Abs(*w.K-photographK) > 2**w.KSD || *w.KSD > 0.06 {
		t.Errorf("k = %.3f ± %.3f, want %v within twice a spread of 0.06 or less", *w.K, *w.KSD, photographK)
	}
	if len(w.Orders) == 0 || w.Orders[0].Agrees != pipeline.ModelCurved {
		t.Errorf("orders of tops %+v, want one that agrees with the curved Earth", w.Orders)
	}
	if len(w.Absent) != 1 || *w.Absent[0].Chance > 0.05 || *w.Absent[0].MarginPlaneArcmin < 1 {
		t.Errorf("absent %+v, want Yarrunde, out of view on the curved Earth and in view on the plane", w.Absent)
	}
	// 2 px are 10 m at Gannofer's distance.
	if len(w.Cuts) != 1 || w.Cuts[0].CurvedM == nil || math.Abs(*w.Cuts[0].MeasuredCurvedM-*w.Cuts[0].CurvedM) > 10 {
		t.Errorf("cuts %+v, want Gannofer's within 10 m of the prediction", w.Cuts)
	}
	if w.WrongName != "" || len(w.Rejected) > 0 {
		t.Errorf("wrong name %q, rejected %v; want neither", w.WrongName, w.Rejected)
	}
}

// The same camera before the same land on a plane: the plane wins.
func TestDemoPhotographOnAPlane(t *testing.T) {
	w := weighDemo(t, []byte(measure(t, demoScene(t, true))))
	if !w.Decides || w.Outcome != pipeline.WeighedPlane || math.Abs(*w.PlaneSD) > 3 || math.Abs(*w.CurvedSD) < 10 {
		t.Errorf("decides %v for %s, %.1f standard deviations from the plane and %.1f from the curved Earth; want the plane, within 3 and over 10",
			w.Decides, w.Outcome, *w.PlaneSD, *w.CurvedSD)
	}
}
