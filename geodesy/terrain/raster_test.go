package terrain

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"farstation/geodesy"
)

// Whatever files a mosaic is cut into, and wherever its posts lie on the cells of 1°, the ground is the one bilinear surface of the mosaic.
func TestGroundIsTheMosaic(t *testing.T) {
	type piece struct{ west, south, east, north float64 }
	cells := []piece{{8, 46, 9, 47}, {9, 46, 10, 47}, {8, 47, 9, 48}, {9, 47, 10, 48}}
	tests := []struct {
		name           string
		perLat, perLon float64
		shift          float64
		area           bool
		pieces         []piece
	}{
		{"pixels are areas, posts half a post off", 60, 60, 0.5, true, cells},
		{"the same as points", 60, 60, 0.5, false, cells},
		{"posts on northern and western edges, as the Copernicus sets have them", 120, 80, 0, true, cells},
		{"a quarter of a post off, wider eastward", 90, 60, 0.25, true, cells},
		{"no whole number of posts a degree", 62.5, 70.5, 0, false, []piece{{8, 46, 10, 48}}},
		{"one file for all", 60, 60, 0.5, true, []piece{{8, 46, 10, 48}}},
		{"files not on whole degrees", 60, 60, 0.5, true, []piece{{8, 46, 8.3, 48}, {8.3, 46, 9.75, 47.4}, {9.75, 46, 10, 47.4}, {8.3, 47.4, 10, 48}}},
		{"the same without shift", 60, 60, 0, false, []piece{{8, 46, 8.3, 48}, {8.3, 46, 9.75, 47.4}, {9.75, 46, 10, 47.4}, {8.3, 47.4, 10, 48}}},
	}
	for _, test := range tests {
		height := scattered(test.perLat, test.perLon, test.shift)
		files := map[string][]byte{}
		for i, p := range test.pieces {
			m := madeBy(p.west, p.south, p.east, p.north, test.perLat, test.perLon, test.shift, height)
			m.area, m.whole = test.area, i%2 == 0
			files[fmt.Sprintf("part%d.tif", i)] = m.bytes()
		}
		s := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, folder(t, files))
		random := rand.New(rand.NewPCG(1, 1))
		worst := 0.0
		for i := range 1000 {
			p := geodesy.LatLon{LatDeg: 46.05 + 1.9*random.Float64(), LonDeg: 8.05 + 1.9*random.Float64()}
			switch i % 4 { // on and beside the seams
			case 1:
				p.LatDeg = 47 + 0.04*(random.Float64()-0.5)
			case 2:
				p.LonDeg = 9 + 0.04*(random.Float64()-0.5)
			case 3:
				p.LatDeg, p.LonDeg = 47+float64(random.IntN(2))*0.02*random.Float64(), 9+float64(random.IntN(2))*0.02*random.Float64()
			}
			want := bilinearOf(test.perLat, test.perLon, test.shift, height, p.LatDeg, p.LonDeg)
			got, ok := s.HeightM(p)
			if !ok || math.Abs(got-want) > 1e-3 {
				t.Fatalf("%s: ground at %v is %.5f m, %v, the mosaic has %.5f m", test.name, p, got, ok, want)
			}
			worst = math.Max(worst, math.Abs(got-want))
		}
		if errs := s.Unreadable(); len(errs) > 0 {
			t.Errorf("%s: %v", test.name, errs)
		}
		t.Logf("%s: within %.1g m", test.name, worst)
	}
}

// Edges are shared: both sides of every seam have the same heights, to the bit, where their posts are equally wide.
func TestSeamsAgree(t *testing.T) {
	height := scattered(60, 60, 0.5)
	files := map[string][]byte{}
	for lat := 46; lat <= 47; lat++ {
		for lon := 8; lon <= 9; lon++ {
			files[tileName(lat, lon)+".tif"] = madeBy(float64(lon), float64(lat), float64(lon+1), float64(lat+1), 60, 60, 0.5, height).bytes()
		}
	}
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, folder(t, files))
	edge := func(lat, lon int, at func(t *Tile, i int) int) []float64 {
		tile, err := s.Tile(lat, lon)
		if err != nil || tile == nil {
			t.Fatal(err)
		}
		var heights []float64
		for i := range tile.Rows.N {
			h, ok := tile.PostM(at(tile, i))
			if !ok {
				t.Fatalf("cell %d, %d: void on an edge", lat, lon)
			}
			heights = append(heights, h)
		}
		return heights
	}
	east := func(t *Tile, i int) int { return i*t.Cols.N + t.Cols.N - 1 }
	west := func(t *Tile, i int) int { return i * t.Cols.N }
	north := func(t *Tile, i int) int { return i }
	south := func(t *Tile, i int) int { return (t.Rows.N-1)*t.Cols.N + i }
	for _, lat := range []int{46, 47} {
		if !slices.Equal(edge(lat, 8, east), edge(lat, 9, west)) {
			t.Errorf("the seam between cells %d, 8 and 9 differs", lat)
		}
	}
	for _, lon := range []int{8, 9} {
		if !slices.Equal(edge(46, lon, north), edge(47, lon, south)) {
			t.Errorf("the seam between cells 46 and 47, %d differs", lon)
		}
	}
	// Beyond the terrain lies land without a tile: the last post is repeated.
	tile, _ := s.Tile(46, 8)
	for i := 1; i < tile.Rows.N-1; i++ {
		edge, _ := tile.PostM(i * tile.Cols.N)
		if last, _ := tile.PostM(i*tile.Cols.N + 1); edge != last {
			t.Fatalf("beside a gap: %v m on the edge, %v m at the last post", edge, last)
		}
	}
}

// Beside the open sea the ground falls to 0 m within one post.
func TestSeamWithSea(t *testing.T) {
	const lat, lon = 30, -40 // in the middle of the Atlantic
	if LandCell(lat, lon) || LandCell(lat, lon+1) {
		t.Fatal("want a place in the open sea")
	}
	hundred := func(float64, float64) float64 { return 100 }
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, folder(t, map[string][]byte{
		"half.tif": madeBy(lon, lat, lon+1, lat+1, 60, 60, 0.5, hundred).bytes(),
	}))
	for _, test := range []struct{ lat, lon, want float64 }{
		{30.5, -39.5, 100}, {30.5, -39, 50}, {30.5, -39 - 0.25/60, 75}, {31, -39.5, 50}, {31, -39, 25}, {30, -40, 25}, {30.5, -38.99, 0},
	} {
		if got, ok := s.HeightM(geodesy.LatLon{LatDeg: test.lat, LonDeg: test.lon}); !ok || math.Abs(got-test.want) > 1e-4 {
			t.Errorf("ground at %v, %v is %v m, %v, want %v", test.lat, test.lon, got, ok, test.want)
		}
	}
}

// The walk on lattices that do not lie on the degrees, by its twin, on unequal widths side by side.
func TestWalkShiftedLattices(t *testing.T) {
	relief := func(latDeg, lonDeg float64) float64 {
		return 400 + 300*math.Sin(latDeg*40)*math.Cos(lonDeg*31) + 50*math.Sin(latDeg*900+lonDeg*700)
	}
	files := map[string][]byte{}
	for lat := 46; lat <= 47; lat++ {
		for lon := 8; lon <= 10; lon++ {
			perLon := []float64{240, 160}[lat-46] // thinner towards the pole
			shift := []float64{0.5, 0.5, 0}[lon-8]
			m := madeBy(float64(lon), float64(lat), float64(lon+1), float64(lat+1), 240, perLon, shift, relief)
			m.area = true
			files[tileName(lat, lon)+".tif"] = m.bytes()
		}
	}
	w := NewWalker(storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, folder(t, files)), egm96(t), 0)
	var c walkCheck
	random := rand.New(rand.NewPCG(6, 6))
	for i := range lineCount(200) {
		from := geodesy.LatLon{LatDeg: 46.02 + 1.9*random.Float64(), LonDeg: 8.02 + 0.9*random.Float64()}
		to := geodesy.LatLon{LatDeg: 46.02 + 1.9*random.Float64(), LonDeg: 10.02 + 0.9*random.Float64()}
		l := between(t, w, from, to, 900, 900)
		if i%3 == 0 {
			l = between(t, w, to, from, 900, 900)
		}
		c.checkWalk(t, fmt.Sprintf("%v to %v", from, to), w, l, 0, l.DistanceM)
		walked, err := w.Critical(l, FillSea, 200, math.Inf(1))
		if err != nil {
			t.Fatal(err)
		}
		if i%10 == 0 {
			sampled, ok := newTwin(w, l).criticalK(200, 100)
			if !ok || sampled > walked.K+1e-4 || walked.K-sampled > 0.02*math.Max(1, math.Abs(walked.K)) {
				t.Errorf("%v to %v: k_c %.6f, its twin has %.6f, %v", from, to, walked.K, sampled, ok)
			}
		}
	}
	c.log(t)
}

// The first named set counts, the next ones fill its voids, and what none has stays void.
func TestPriorityAndVoids(t *testing.T) {
	const lat, lon = 46, 8
	holed := func(latDeg, lonDeg float64) float64 {
		if latDeg > 46.4 && latDeg < 46.6 {
			return math.NaN()
		}
		return 500
	}
	first := madeBy(lon, lat, lon+1, lat+1, 60, 60, 0.5, holed)
	first.whole, first.area = true, true
	second := madeBy(lon, lat, lon+0.5, lat+1, 120, 120, 0.5, func(latDeg, lonDeg float64) float64 { return 1000 * latDeg / 46.5 })
	root := folder(t, map[string][]byte{"a/first.tif": first.bytes(), "b/second.tif": second.bytes(), "c/N46E008.hgt": made(61, flat(77))})
	at := func(s *Store, latDeg, lonDeg float64) string {
		h, ok := s.HeightM(geodesy.LatLon{LatDeg: latDeg, LonDeg: lonDeg})
		return fmt.Sprintf("%.3f %v", h, ok)
	}
	named := func(s *Store) string {
		tile, err := s.Tile(lat, lon)
		if err != nil || tile == nil {
			t.Fatal(err)
		}
		return tile.Name
	}
	a, b, c := filepath.Join(root, "a"), filepath.Join(root, "b"), filepath.Join(root, "c")
	for _, test := range []struct {
		sets                 []string
		name                 string
		outside, west, east  string
		firstOnly, cellFiles int
	}{
		{[]string{a, b}, "first.tif+second.tif", "500.000 true", "1000.000 true", "0.000 false", 0, 2},
		{[]string{a, b, c}, "first.tif+second.tif+N46E008.hgt", "500.000 true", "1000.000 true", "77.000 true", 0, 3},
		{[]string{a, c}, "first.tif+N46E008.hgt", "500.000 true", "77.000 true", "77.000 true", 0, 2},
		{[]string{c, a, b}, "N46E008.hgt", "77.000 true", "77.000 true", "77.000 true", 0, 3},
		{[]string{a}, "first.tif", "500.000 true", "0.000 false", "0.000 false", 0, 1},
	} {
		s := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, test.sets...)
		if got := named(s); got != test.name {
			t.Errorf("%v: tile %s, want %s", test.sets, got, test.name)
		}
		if got := []string{at(s, 46.2, 8.3), at(s, 46.5, 8.3), at(s, 46.5, 8.7)}; !slices.Equal(got, []string{test.outside, test.west, test.east}) {
			t.Errorf("%s: ground outside the hole, in its west, in its east %v, want %v, %v, %v", test.name, got, test.outside, test.west, test.east)
		}
		if cells := s.index.Cells(); len(cells) != 1 || len(cells[0].Files) != test.cellFiles {
			t.Errorf("%s: cells %v", test.name, cells)
		}
	}
	// A first set that cannot be read leaves the cell to the next one, and is told.
	if err := os.WriteFile(filepath.Join(c, "N46E008.hgt.gz"), []byte("no tile"), 0o644); err != nil {
		t.Fatal(err)
	}
	os.Remove(filepath.Join(c, "N46E008.hgt"))
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, c, a)
	if got := named(s); got != "first.tif" || len(s.Unreadable()) != 1 || s.State(lat, lon) != HasTile {
		t.Errorf("tile %s, errors %v", got, s.Unreadable())
	}
}

// A raster around the Earth, with no seam where it ends, and one that ends at a pole.
func TestRasterAroundTheEarth(t *testing.T) {
	height := scattered(60, 60, 0.5)
	around := madeBy(-180, 46, 180, 47, 60, 60, 0.5, height)
	around.whole, around.area = true, true
	east := madeBy(0, 50, 360, 51, 60, 60, 0.5, height) // counted from 0 to 360
	east.whole, east.area = true, true
	pole := madeBy(20, 89, 21, 90, 60, 60, 0.5, height)
	pole.whole, pole.area = true, true
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, folder(t, map[string][]byte{"a.tif": around.bytes(), "b.tif": east.bytes(), "p.tif": pole.bytes()}))
	if n := s.index.Len(); n != 721 {
		t.Errorf("%d cells, want 360 + 360 + 1", n)
	}
	for _, p := range []geodesy.LatLon{
		{LatDeg: 46.5, LonDeg: 180}, {LatDeg: 46.5, LonDeg: -180}, {LatDeg: 46.5, LonDeg: 179.997}, {LatDeg: 46.5, LonDeg: -179.997}, {LatDeg: 46.5, LonDeg: 0.003},
		{LatDeg: 50.5, LonDeg: 0}, {LatDeg: 50.5, LonDeg: -0.003}, {LatDeg: 50.5, LonDeg: 0.003}, {LatDeg: 50.5, LonDeg: -179.9}, {LatDeg: 50.5, LonDeg: 180},
	} {
		want := bilinearOf(60, 60, 0.5, height, p.LatDeg, p.LonDeg)
		if got, ok := s.HeightM(p); !ok || math.Abs(got-want) > 1e-3 {
			t.Errorf("ground at %v is %.4f m, %v, want %.4f", p, got, ok, want)
		}
	}
	last, _ := s.HeightM(geodesy.LatLon{LatDeg: 90 - 0.5/60, LonDeg: 20.5})
	if got, ok := s.HeightM(geodesy.LatLon{LatDeg: 90, LonDeg: 20.5}); !ok || got != last {
		t.Errorf("ground at the pole is %v m, %v, want that of the last row, %v", got, ok, last)
	}
}

func TestDiscoverRefusesRasters(t *testing.T) {
	flat := func(float64, float64) float64 { return 100 }
	fine := madeRaster{west: 8, north: 47, lonStep: 1 / 21600.0, latStep: 1 / 21600.0, rows: 200, cols: 200, height: flat}
	coarse := madeBy(8, 46, 9, 47, 12, 12, 0, flat)
	north := madeBy(8, 89.5, 9, 90.5, 60, 60, 0, flat)
	sliver := madeRaster{west: 8, north: 47, lonStep: 1 / 60.0, latStep: 1 / 60.0, rows: 1, cols: 61, height: flat}
	over2008, unknown := madeBy(8, 46, 9, 47, 60, 60, 0, flat), madeBy(8, 46, 9, 47, 60, 60, 0, flat)
	over2008.verticalEPSG, unknown.verticalEPSG = 3855, 5703
	root := folder(t, map[string][]byte{
		"fine.tif": fine.bytes(), "coarse.tif": coarse.bytes(), "north.tif": north.bytes(), "sliver.tif": sliver.bytes(), "over2008.tif": over2008.bytes(),
		"navd88.tif": unknown.bytes(), "text.tif": []byte("heights"), "N46E008.gone.tif.gz": gzipOf([]byte("II*\x00"))[:12],
		"two.zip": zipOf(zipEntry{"a.tif", over2008.bytes()}, zipEntry{"b.tif", over2008.bytes()}),
	})
	for _, test := range []struct {
		file, datum, geoid string
		want               string
	}{
		{"fine.tif", "", "", "21600 posts a degree, more than 10800: make it coarser with gdalwarp -tr 0.000277777777778"},
		{"coarse.tif", "", "", "12 × 12 posts a degree: too coarse for sightlines"},
		{"north.tif", "", "", "past a pole"},
		{"sliver.tif", "", "", "no post lies inside a cell of 1°"},
		{"over2008.tif", "egm96", "", "states heights over egm2008 (EPSG:3855), but datum=egm96 was given"},
		{"over2008.tif", "", "absent.gtx", "geoid absent.gtx: cannot be read"},
		{"navd88.tif", "", "", "states heights in EPSG:5703, which is not known: give datum="},
		{"text.tif", "", "", "holds neither GeoTIFF nor DTED"},
		{"N46E008.gone.tif.gz", "", "", "cannot be expanded"},
		{"two.zip", "", "", "holds several rasters (a.tif, b.tif)"},
	} {
		_, err := Discover([]Source{{Path: filepath.Join(root, test.file), Datum: test.datum, Geoid: test.geoid}})
		if err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s, datum %q: error %v, want %q", test.file, test.datum, err, test.want)
		}
	}
	index, err := Discover([]Source{{Path: filepath.Join(root, "navd88.tif"), Datum: DatumEGM96}})
	if err != nil || index.Files()[0].Source.Datum != DatumEGM96 {
		t.Errorf("a datum given for a file of an unknown one: %v", err)
	}
}

// What a set is known for by the names of its files.
func TestKnownSets(t *testing.T) {
	m := madeBy(8, 46, 9, 47, 60, 60, 0, func(float64, float64) float64 { return 100 })
	root := folder(t, map[string][]byte{"Copernicus_DSM_COG_30_N46_00_E008_00_DEM.tif": m.bytes(), "other.tif": m.bytes()})
	index, err := Discover([]Source{{Path: root}})
	if err != nil {
		t.Fatal(err)
	}
	files := index.Files()
	if s := files[0].Source; s.Surface != SurfaceTop || s.Datum != DatumEGM2008 || !strings.Contains(s.Attribution, "COPERNICUS") {
		t.Errorf("Copernicus: %+v", s)
	}
	// LE90 < 4 m (Copernicus DEM product handbook) / 1.645, and the 0.5 m between the geoids.
	if want := math.Hypot(2.4316, 0.5); math.Abs(files[0].SDM-want) > 1e-3 || !strings.Contains(files[0].Note, "10 m at worst") {
		t.Errorf("Copernicus: spread %.3f m, want %.3f; note %q", files[0].SDM, want, files[0].Note)
	}
	if s := files[1].Source; s.Surface != SurfaceGround || s.Datum != DatumEGM96 || files[1].SDM != 0 || files[1].Note != "" || files[1].Format != FormatGeoTIFF {
		t.Errorf("other: %+v", files[1])
	}
	if notes := index.Notes(); len(notes) != 2 || !strings.HasPrefix(notes[1], "1 file: heights over EGM2008 taken") && !strings.HasPrefix(notes[0], "1 file: heights over EGM2008 taken") {
		t.Errorf("notes %q", notes)
	}
	s := NewStore(index, StoreOptions{})
	if tile, _ := s.Tile(46, 8); tile == nil || tile.Surface != SurfaceTop || tile.SDM != files[0].SDM {
		t.Errorf("tile %+v", tile)
	}
}

// The highest post is found where the lattice has it.
func TestHighestWithinShiftedLattice(t *testing.T) {
	const perDeg, shift = 120, 0.5
	peakLat, peakLon := 46+(40+shift)/perDeg, 8+(70+shift)/perDeg
	m := madeBy(8, 46, 9, 47, perDeg, perDeg, shift, func(latDeg, lonDeg float64) float64 {
		if math.Abs(latDeg-peakLat) < 1e-6 && math.Abs(lonDeg-peakLon) < 1e-6 {
			return 3000.25
		}
		return 1000
	})
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, folder(t, map[string][]byte{"a.tif": m.bytes()}))
	at, h, ok := s.HighestWithin(geodesy.LatLon{LatDeg: peakLat + 0.01, LonDeg: peakLon - 0.02}, 3000)
	if !ok || h != 3000.25 || math.Abs(at.LatDeg-peakLat) > 1e-9 || math.Abs(at.LonDeg-peakLon) > 1e-9 {
		t.Errorf("highest %v m at %v, %v, want 3000.25 at %v, %v", h, at, ok, peakLat, peakLon)
	}
	if h, ok := s.HighestM(46, 8); h != 3000.25 || !ok {
		t.Errorf("HighestM = %v, %v", h, ok)
	}
}
