package terrain

import (
	"math"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/geoid"
)

// Made ground along a meridian: heights are given at rows of posts north of the eye, straight in between, and the line runs due north
// through the middle of a column of cells. A row is 92.1 m near the equator, and rows are so nearly equal (to 1e-5) that on the plane,
// where elevations are heights over distances, whole rows can be counted instead of metres.
type knot struct{ row, heightM float64 }

const (
	startRow = 100 // rows from the tile's south edge to the eye
	rowM     = 92.14
)

// madeMeridian returns a walker over the ground and the line to a row.
func madeMeridian(t *testing.T, ground []knot, targetRow int, eyeM, topM float64) (*Walker, *Line) {
	t.Helper()
	heights := make([]int16, 1201)
	for i := range heights {
		row := float64(i - startRow)
		switch last := len(ground) - 1; {
		case row <= ground[0].row:
			heights[i] = int16(ground[0].heightM)
		case row >= ground[last].row:
			heights[i] = int16(ground[last].heightM)
		default:
			for j := range last {
				if a, b := ground[j], ground[j+1]; row >= a.row && row <= b.row {
					h := a.heightM + (b.heightM-a.heightM)*(row-a.row)/(b.row-a.row)
					if h != math.Round(h) {
						t.Fatalf("row %v lies at %v m: choose slopes of whole metres a row", row, h)
					}
					heights[i] = int16(h)
					break
				}
			}
		}
	}
	files := map[string][]byte{tileName(1, -120): made(1201, func(row, _ int) int16 { return heights[1200-row] })}
	w := madeWalker(t, files, StoreOptions{}, geoid.Ellipsoid())
	place := func(row int) geodesy.LatLon {
		return geodesy.LatLon{LatDeg: 1 + float64(startRow+row)/1200, LonDeg: -119.5 + 0.5/1200}
	}
	l := between(t, w, place(0), place(targetRow), eyeM, topM)
	if d := l.DistanceM / float64(targetRow); math.Abs(d-rowM) > 0.03 {
		t.Fatalf("a row is %.3f m", d)
	}
	return w, l
}

func madeSection(t *testing.T, ground []knot, targetRow int, eyeM, topM, guardM float64) *Section {
	t.Helper()
	w, l := madeMeridian(t, ground, targetRow, eyeM, topM)
	section, err := w.Section(l, FillSea, guardM, nil)
	if err != nil {
		t.Fatal(err)
	}
	return section
}

func TestFrontAndFootByHand(t *testing.T) {
	plane := Model{Plane: true}
	ridge := []knot{{180, 0}, {200, 200}, {220, 0}} // 10 m a row up and down
	with := func(more ...knot) []knot { return append(append([]knot{}, ridge...), more...) }
	const none = -1
	tests := []struct {
		name                string
		ground              []knot
		target              int
		eyeM, topM          float64
		guardM              float64
		model               Model
		frontRow, footRow   float64 // none where nothing is obscured
		obscuredM, lackingM float64
		partInView          float64
	}{
		{
			// The ray over the ridge rises from 100 m by 100 m in 200 rows. The island rises by 10 m a row from row 300 on:
			// 100 + r/2 = 10(r − 300), r = 326.316, height 263.158 m. Elevations at the island, as rises over rows: top
			// (1000−100)/400 = 2.25, foot 0.5, base (the last of the sea, row 300) −100/300: part (2.25 − 0.5)/(2.25 + 0.3333) = 0.6774.
			name: "single ridge before an island", ground: with(knot{300, 0}, knot{400, 1000}), target: 400,
			eyeM: 100, topM: 1000, guardM: 200, model: plane,
			frontRow: 200, footRow: 326.316, obscuredM: 263.158, partInView: 0.67742,
		},
		{
			// From 200 m the first ridge of 200 m stands at elevation 0, and the second, as high and farther, too: it is the last
			// before the island, whose foot stands at 200 m, row 340 + 20. Part: top (1000−200)/440 = 1.81818, foot 0, base
			// −200/340 = −0.58824, 1.81818/2.40642 = 0.75556.
			name: "two ridges at the same elevation", ground: with(knot{260, 0}, knot{280, 200}, knot{300, 0}, knot{340, 0}, knot{440, 1000}), target: 440,
			eyeM: 200, topM: 1000, guardM: 200, model: plane,
			frontRow: 280, footRow: 360, obscuredM: 200, partInView: 0.75556,
		},
		{
			// Two ridges of 200 m seen from 300 m: −100/200 = −0.5 and −100/280 = −0.357, so the farther one cuts more.
			// 300 − r·100/280 = 10(r − 340): r = 357.241, height 172.414 m. Part: top 700/440 = 1.59091, foot −0.35714, base
			// −300/340 = −0.88235: 1.94805/2.47326 = 0.78765.
			name: "two equal ridges from above", ground: with(knot{260, 0}, knot{280, 200}, knot{300, 0}, knot{340, 0}, knot{440, 1000}), target: 440,
			eyeM: 300, topM: 1000, guardM: 200, model: plane,
			frontRow: 280, footRow: 357.241, obscuredM: 172.414, partInView: 0.78765,
		},
		{
			// From 100 m: 100/200 and 100/280, so the nearer one. 100 + r/2 = 10(r − 340): r = 368.421, height 284.211 m. Part: top
			// 900/440 = 2.04545, foot 0.5, base −100/340 = −0.29412: 1.54545/2.33957 = 0.66057.
			name: "two equal ridges from below", ground: with(knot{260, 0}, knot{280, 200}, knot{300, 0}, knot{340, 0}, knot{440, 1000}), target: 440,
			eyeM: 100, topM: 1000, guardM: 200, model: plane,
			frontRow: 200, footRow: 368.421, obscuredM: 284.211, partInView: 0.66057,
		},
		{
			// The tower's ground is cut off, so the ray is carried on: 100 + 0.5·300 = 250 m. Part: top 300/300 = 1, foot 0.5, base −100/300:
			// 0.5/1.33333 = 0.375.
			name: "tower in a valley behind a ridge", ground: ridge, target: 300,
			eyeM: 100, topM: 400, guardM: 200, model: plane,
			frontRow: 200, footRow: 300, obscuredM: 250, partInView: 0.375,
		},
		{
			// The ray over the ridge stands at 250 m, 50 m over the summit.
			name: "blocked summit", ground: with(knot{280, 0}, knot{300, 200}), target: 300,
			eyeM: 100, topM: 200, guardM: 200, model: plane,
			frontRow: 200, footRow: 300, obscuredM: 250, lackingM: 50, partInView: 0,
		},
		{
			// Down from 1,000 m over a ridge of 500 m at row 100: the ray falls by 5 m a row. The far side rises by 31 m a row from
			// row 130 on: 1000 − 5r = 31(r − 130), r = 139.722, height 301.389 m; the top beyond it stands at 270 m only. Part: top
			// −730/150 = −4.86667, foot −5, base −1000/130 = −7.69231: 0.13333/2.82564 = 0.04719 in rows a metre. These angles are steep
			// (a row is 92.1 m, so tangents are 0.0528, 0.0543, 0.0835), yet the angles' ratio is the tangents' to 0.5 %: 0.04735.
			name: "looking down, the foot above the top", ground: []knot{{0, 998}, {2, 998}, {2.5, 0}, {50, 0}, {100, 500}, {125, 0}, {130, 0}, {140, 310}, {150, 270}}, target: 150,
			eyeM: 1000, topM: 270, guardM: 300, model: plane,
			frontRow: 100, footRow: 139.722, obscuredM: 301.389, partInView: 0.04735,
		},
		{
			// From a cliff whose edge is 5 rows off and 2 m under the eye: the ray falls by 2 m in 5 rows, 1002 − 0.4·300 = 882 m.
			name: "the cliff's own edge cuts the valley off", ground: []knot{{0, 1000}, {5, 1000}, {6, 0}, {290, 0}, {300, 500}}, target: 300,
			eyeM: 1002, topM: 500, guardM: 200, model: plane,
			frontRow: 5, footRow: 300, obscuredM: 882, lackingM: 382, partInView: 0,
		},
		{
			// With a guard past the edge nothing lies in the way.
			name: "the cliff's edge within the guard", ground: []knot{{0, 1000}, {5, 1000}, {6, 0}, {290, 0}, {300, 500}}, target: 300,
			eyeM: 1002, topM: 500, guardM: 1000, model: plane,
			frontRow: none, footRow: none, partInView: 1,
		},
		{
			// A dip of less than 4 rows, 369 m, before the summit belongs to its own slope: it is shorter than 500 m.
			name: "a short dip does not count", ground: []knot{{0, 0}, {300, 0}, {394, 940}, {396, 900}, {400, 1000}}, target: 400,
			eyeM: 100, topM: 1000, guardM: 200, model: plane,
			frontRow: none, footRow: none, partInView: 1,
		},
		{
			// The edge of the observer's own ground, 25 m under the eye at row 30, hides the plain up to where −115/r = −25/30: row 138.
			// That is 10 km of it, but long before the base point, row 300.
			name: "a stretch of the observer's own does not count", ground: []knot{{0, 90}, {30, 90}, {31, 0}, {300, 0}, {400, 1000}}, target: 400,
			eyeM: 115, topM: 1000, guardM: 200, model: plane,
			frontRow: none, footRow: none, partInView: 1,
		},
		{
			// The single ridge again, in straight light, on the sphere of M = 6,335.5 km (meridian at 1° N, M = 6335.4·(1 + 1.5·e²·sin²)). In
			// metres: ridge 200 m at x₁ = 18,428 m falls by x₁²/2R = 26.801 m and appears at (73.199)/18428 = 0.0039722; the island's ground,
			// (x − 27642)·10/92.14 less x²/2R, appears there when 100 + 0.0039722·x = 0.108530·(x − 27642) − x²/12671000:
			// x²/12671000 − 0.1045578·x + 3099.99 = 0, x = 30,347 m (row 329.36), height 293.6 m.
			name: "single ridge before an island, curved, straight light", ground: with(knot{300, 0}, knot{400, 1000}), target: 400,
			eyeM: 100, topM: 1000, guardM: 200, model: Model{K: 0},
			frontRow: 200, footRow: 329.36, obscuredM: 293.6, partInView: math.NaN(),
		},
	}
	for _, test := range tests {
		section := madeSection(t, test.ground, test.target, test.eyeM, test.topM, test.guardM)
		v := section.View(test.model)
		if test.frontRow == none {
			if v.Obscured || !math.IsNaN(v.FrontM) || !math.IsNaN(v.FootM) || !math.IsNaN(v.ObscuredM) || v.PartInView != 1 {
				t.Errorf("%s: front at row %.2f, foot at row %.2f, part in view %.4f; want nothing obscured", test.name, v.FrontM/rowM, v.FootM/rowM, v.PartInView)
			}
			continue
		}
		if !v.Obscured || math.Abs(v.FrontM/rowM-test.frontRow) > 0.1 || math.Abs(v.FootM/rowM-test.footRow) > 0.15 || math.Abs(v.ObscuredM-test.obscuredM) > 0.5 {
			t.Errorf("%s: front at row %.3f, foot at row %.3f, obscured height %.3f m; want rows %.3f and %.3f, %.3f m",
				test.name, v.FrontM/rowM, v.FootM/rowM, v.ObscuredM, test.frontRow, test.footRow, test.obscuredM)
		}
		if !math.IsNaN(test.partInView) && math.Abs(v.PartInView-test.partInView) > 5e-4 {
			t.Errorf("%s: part in view %.5f, want %.5f", test.name, v.PartInView, test.partInView)
		}
		if lacking := math.Max(v.RimM-test.topM, 0); math.Abs(lacking-test.lackingM) > 0.1 {
			t.Errorf("%s: the top lacks %.3f m, want %.3f m", test.name, lacking, test.lackingM)
		}
		if margin, _ := section.Margin(test.model); (margin < 0) != (test.lackingM > 0) {
			t.Errorf("%s: margin %.3g rad, lacking %v m", test.name, margin, test.lackingM)
		}
	}
}

// The base point is the lowest ground of the last 10 km (108.5 rows), no further back than half-way, the last of equals.
func TestBasePointByHand(t *testing.T) {
	tests := []struct {
		name          string
		ground        []knot
		target        int
		baseM, atRow  float64
		toleranceRows float64
	}{
		{"lowest within 10 km", []knot{{300, 40}, {320, 20}, {340, 40}, {400, 1000}}, 400, 20, 320, 0.1},
		{"a lower place 11 km before does not count", []knot{{260, 100}, {280, 0}, {290, 100}, {310, 80}, {400, 980}}, 400, 80, 310, 0.1},
		{"last of equals", []knot{{290, 50}, {300, 0}, {350, 0}, {400, 500}}, 400, 0, 350, 0.1},
		{"two equal hollows", []knot{{290, 50}, {300, 0}, {310, 50}, {320, 0}, {340, 40}, {400, 400}}, 400, 0, 320, 0.1},
		{"no further back than half-way", []knot{{0, 100}, {20, 0}, {40, 60}, {50, 50}, {60, 60}, {100, 500}}, 100, 50, 50, 0.6},
		{"falling to the target", []knot{{0, 500}, {50, 500}, {300, 0}}, 300, 0, 300, 0.1},
	}
	for _, test := range tests {
		s := madeSection(t, test.ground, test.target, 600, 1200, 200)
		if math.Abs(s.BaseM-test.baseM) > 0.01 || math.Abs(s.BaseAtM/rowM-test.atRow) > test.toleranceRows {
			t.Errorf("%s: base %.3f m at row %.2f, want %v m at row %v", test.name, s.BaseM, s.BaseAtM/rowM, test.baseM, test.atRow)
		}
	}
}

// k_c of one ridge between two equal heights over flat ground: chord less ridge at the middle is h − s²/8R − ridge, and
// k_c = 1 + 8R(ridge − h)/s². With s = 400 rows = 36,856 m and R = 6,335.5 km, 8R/s² = 0.037312 a metre: 50 m under the chord's ends k_c = −0.8656.
func TestCriticalOfOneRidgeByHand(t *testing.T) {
	tests := []struct{ heightM, want float64 }{{250, -0.8656}, {200, 1}, {226.80, 0}, {150, 2.8656}}
	for _, test := range tests {
		s := madeSection(t, []knot{{180, 0}, {200, 200}, {220, 0}}, 400, test.heightM, test.heightM, 200)
		if math.Abs(s.CriticalK-test.want) > 2e-3 {
			t.Errorf("ridge of 200 m half-way between two heights of %v m: k_c %.5f, want %.4f", test.heightM, s.CriticalK, test.want)
		}
		if _, at := s.Margin(Model{K: test.want}); math.Abs(at/rowM-200) > 0.5 {
			t.Errorf("heights %v m: the margin is decided at row %.2f, want 200", test.heightM, at/rowM)
		}
	}
}

// The cut height looks no farther than 95 % of the distance: the target's own slope does not count, a crest before it does.
func TestCutHeightByHand(t *testing.T) {
	// From 100 m, a crest of 400 m at row 370 of 400 (92.5 %): 100 + 300·400/370 = 424.32 m. At row 385 (96.2 %) it is not looked at, and
	// the ridge of 200 m at row 200 gives 300 m.
	for row, want := range map[float64]float64{370: 424.32, 385: 300} {
		s := madeSection(t, []knot{{180, 0}, {200, 200}, {220, 0}, {row - 4, 0}, {row, 400}, {row + 4, 0}, {400, 0}}, 400, 100, 1000, 200)
		if v := s.View(Model{Plane: true}); math.Abs(v.CutM-want) > 0.2 {
			t.Errorf("crest at row %v of 400: cut height %.3f m, want %.2f m", row, v.CutM, want)
		}
	}
}

// What stands behind a top, at k = 1, where elevations are rises over distances. The top stands 200 m over the eye at row 200: 1 m a row.
func TestBackdropByHand(t *testing.T) {
	target := []knot{{198, 0}, {200, 300}, {202, 0}, {380, 0}} // its own far side ends within the guard
	tests := []struct {
		name      string
		behind    []knot
		above, at float64 // metres a row, rows
	}{
		{"a higher ridge behind", []knot{{400, 600}, {420, 0}}, 0.25, 400},             // 500/400
		{"a higher ridge that stands lower", []knot{{400, 400}, {420, 0}}, -0.25, 400}, // 300/400
		{"of two, the one that shows most", []knot{{400, 460}, {420, 0}, {800, 0}, {820, 1020}, {840, 0}}, 920.0/820 - 1, 820},
		// At k = 1 the sea rises towards the horizontal for ever. The walk goes on in stretches of 100 km while ground of 1,100 m could show: at
		// row 210.8 (1 km past the target) the ray to the top stands below that, 100 km farther above it. So the sea is seen to row 1296.2.
		{"sky down to the sea", []knot{{400, 0}}, -100/1296.2 - 1, 1296.2},
	}
	for _, test := range tests {
		w, l := madeMeridian(t, append(append([]knot{}, target...), test.behind...), 200, 100, 300)
		b, err := w.Backdrop(l, 1, 200, 1100)
		if err != nil {
			t.Fatal(err)
		}
		if !b.Known || math.Abs(b.AboveRad*rowM-test.above) > 0.03 || !math.IsNaN(test.at) && math.Abs(b.AtM/rowM-test.at) > 0.2 {
			t.Errorf("%s: %+v (%.4f m a row at row %.2f), want %.4f m a row at row %v", test.name, b, b.AboveRad*rowM, b.AtM/rowM, test.above, test.at)
		}
	}
}

// Over sea to an island that rises by 10 m a row from 83 km on: the foot in view must stand at the handbook's height that the sea cuts off
// at the foot's own distance, within 2 m, and the front at the sea horizon.
func TestFootOverSeaAgainstHandbook(t *testing.T) {
	island := []knot{{900, 0}, {1000, 1000}}
	for _, eyeM := range []float64{10, 30, 100, 300} {
		section := madeSection(t, island, 1000, eyeM, 1000, 200)
		for _, k := range []float64{0, 0.063, 0.143, 0.223} {
			view := section.View(Model{K: k})
			if !view.Obscured {
				t.Errorf("eye %v m, k %v: nothing is cut off", eyeM, k)
				continue
			}
			want, err := geodesy.SeaObscuredM(eyeM, view.FootM, section.Line.RadiusM, k)
			if err != nil {
				t.Fatal(err)
			}
			_, horizonM, err := geodesy.SeaHorizon(eyeM, section.Line.RadiusM, k)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(view.ObscuredM-want) > 2 || math.Abs(view.FrontM-horizonM) > 100 {
				t.Errorf("eye %v m, k %v: foot %.2f m at %.0f m, front at %.0f m; the handbook has %.2f m there and its horizon at %.0f m", eyeM, k, view.ObscuredM, view.FootM, view.FrontM, want, horizonM)
			}
		}
	}
}
