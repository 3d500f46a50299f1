package terrain

import (
	"math"
	"slices"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/geoid"
)

// The made tiles of this file stand in the open South Pacific, where the land mask has nothing: cells are gaps only by LandHint.

func landAt(cells ...[2]int) func(int, int) bool {
	return func(lat, lon int) bool { return slices.Contains(cells, [2]int{lat, lon}) }
}

func TestWalkOverOpenSea(t *testing.T) {
	w := NewWalker(NewStore(&Index{}, StoreOptions{}), geoid.Ellipsoid(), 1.5)
	l := between(t, w, geodesy.LatLon{LatDeg: -30.5, LonDeg: -120.5}, geodesy.LatLon{LatDeg: -29.2, LonDeg: -119.4}, 10, 20)
	for _, fill := range []Fill{FillSea, FillHigh} {
		for _, p := range piecesOf(w, l, fill, 0, l.DistanceM) {
			if p.G != [3]float64{1.5, 0, 0} || p.Tile != nil || p.Missing || p.Slope != 0 {
				t.Fatalf("fill %v: sea at %.0f m is %+v, want level ground at the sea's 1.5 m", fill, p.X, p)
			}
		}
	}
}

func TestWalkOverGap(t *testing.T) {
	const lat, lon = -30, -120
	gap := [2]int{lat, lon}
	// Each neighbour has one post of the height stated, in a corner, over ground at 100 m.
	neighbour := func(highest int16) []byte {
		return made(61, func(row, column int) int16 {
			if row == 0 && column == 7 {
				return highest
			}
			return 100
		})
	}
	tests := []struct {
		name  string
		files map[string][]byte
		want  float64
	}{
		{"no neighbour", nil, 9000},
		{"one neighbour, east", map[string][]byte{tileName(lat, lon+1): neighbour(431)}, 431},
		{"one neighbour, south-west", map[string][]byte{tileName(lat-1, lon-1): neighbour(567)}, 567},
		{"the highest of three", map[string][]byte{tileName(lat+1, lon+1): neighbour(300), tileName(lat, lon-1): neighbour(899), tileName(lat-1, lon): neighbour(898)}, 899},
		{"two cells away does not count", map[string][]byte{tileName(lat, lon+2): neighbour(700)}, 9000},
		{"a neighbour of voids tells nothing", map[string][]byte{tileName(lat, lon+1): made(61, flat(Void))}, 9000},
		{"voids beside known ground", map[string][]byte{tileName(lat, lon+1): made(61, flat(Void)), tileName(lat+1, lon): neighbour(250)}, 250},
	}
	for _, test := range tests {
		w := madeWalker(t, orSomewhere(test.files), StoreOptions{LandHint: landAt(gap)}, geoid.Ellipsoid())
		l := between(t, w, geodesy.LatLon{LatDeg: lat + 0.2, LonDeg: lon + 0.3}, geodesy.LatLon{LatDeg: lat + 0.8, LonDeg: lon + 0.6}, 10, 20)
		for fill, want := range map[Fill]float64{FillSea: 0, FillHigh: test.want} {
			pieces := piecesOf(w, l, fill, 0, l.DistanceM)
			for _, p := range pieces {
				if p.G != [3]float64{want, 0, 0} || p.Tile != nil || !p.Missing {
					t.Fatalf("%s, fill %v: the gap is %+v, want ground at %v m, missing", test.name, fill, p, want)
				}
			}
		}
		c, err := w.Critical(l, FillSea, 200, math.Inf(1))
		if err != nil || math.Abs(c.MissingM-(l.DistanceM-400)) > 1e-6 || math.Abs(c.FirstMissingM-200) > 1e-6 || !c.Missing {
			t.Errorf("%s: %.3f m missing from %.3f m on (%v), want all %.3f m between the guards", test.name, c.MissingM, c.FirstMissingM, err, l.DistanceM-400)
		}
	}
}

// orSomewhere adds a tile far away, since a folder without any is an error.
func orSomewhere(files map[string][]byte) map[string][]byte {
	all := map[string][]byte{"N50E100.hgt": made(61, flat(1))}
	for name, data := range files {
		all[name] = data
	}
	return all
}

// A gap's neighbours are found across the date line.
func TestWalkOverGapAtTheDateLine(t *testing.T) {
	files := map[string][]byte{tileName(-40, -180): made(61, flat(321))}
	w := madeWalker(t, files, StoreOptions{LandHint: landAt([2]int{-40, 179})}, geoid.Ellipsoid())
	for _, ends := range [2][2]float64{{179.5, -179.5}, {-179.5, 179.5}} {
		l := between(t, w, geodesy.LatLon{LatDeg: -39.5, LonDeg: ends[0]}, geodesy.LatLon{LatDeg: -39.4, LonDeg: ends[1]}, 1000, 1000)
		missing := 0.0
		for _, p := range piecesOf(w, l, FillHigh, 0, l.DistanceM) {
			if p.Missing {
				missing += p.W
			}
			if p.G[0] != 321 {
				t.Fatalf("from %v: ground at %.0f m is %v m, want 321 m on both sides", ends[0], p.X, p.G[0])
			}
		}
		if math.Abs(missing-l.DistanceM/2) > 100 {
			t.Errorf("from %v: %.0f m missing, want half of %.0f m", ends[0], missing, l.DistanceM)
		}
	}
}

// A void takes the highest sample within 5 km plus 50 m. Posts stand 3″ apart here: at 29.5° S, with M = 6,351 km
// and N = 6,383 km, 92.37 m along the meridian and 80.81 m along the parallel.
func TestWalkOverVoid(t *testing.T) {
	const lat, lon, n = -30, -120, 1201
	const row, column = 600, 400
	tests := []struct {
		name  string
		posts map[[2]int]int16 // by rows and columns from the void, over ground at 100 m
		want  float64
	}{
		{"level ground", nil, 150},
		{"higher 54 rows off, 4,988 m", map[[2]int]int16{{54, 0}: 800}, 850},
		{"higher 55 rows off, 5,080 m", map[[2]int]int16{{-55, 0}: 800}, 150},
		{"higher on both sides of the limit", map[[2]int]int16{{-55, 0}: 900, {30, 30}: 400, {10, 10}: 399}, 450},
		{"higher 61 columns off, 4,929 m", map[[2]int]int16{{0, 61}: 300}, 350},
		{"higher 62 columns off, 5,010 m", map[[2]int]int16{{0, -62}: 300}, 150},
		{"voids around it", map[[2]int]int16{{0, 1}: Void, {1, 1}: Void, {-1, 0}: Void}, 150},
	}
	for _, test := range tests {
		tile := made(n, func(r, c int) int16 {
			if r == row && c == column {
				return Void
			}
			if h, ok := test.posts[[2]int{r - row, c - column}]; ok {
				return h
			}
			return 100
		})
		w := madeWalker(t, map[string][]byte{tileName(lat, lon): tile}, StoreOptions{}, geoid.Ellipsoid())
		at := geodesy.LatLon{LatDeg: lat + float64(n-1-row)/(n-1), LonDeg: lon + float64(column)/(n-1)}
		// Along the void's own meridian, so that the post itself is met.
		l := between(t, w, geodesy.LatLon{LatDeg: at.LatDeg - 0.01, LonDeg: at.LonDeg}, geodesy.LatLon{LatDeg: at.LatDeg + 0.01, LonDeg: at.LonDeg}, 10, 20)
		for fill, want := range map[Fill]float64{FillSea: 0, FillHigh: test.want} {
			met, missing := false, 0
			for _, p := range piecesOf(w, l, fill, 0, l.DistanceM) {
				if p.Missing {
					missing++
				}
				if p.Missing && p.Tile == nil {
					t.Errorf("%s: the void's piece does not name its tile", test.name)
				}
				if math.Abs(p.X-l.DistanceM/2) < 0.01 {
					met = true
					if math.Abs(p.GroundAt(0)-want) > 1e-6 {
						t.Errorf("%s, fill %v: the void is filled with %v m, want %v m", test.name, fill, p.GroundAt(0), want)
					}
				}
			}
			if !met || missing < 2 {
				t.Errorf("%s, fill %v: the void was not met (%d pieces missing)", test.name, fill, missing)
			}
		}
	}
}

// A tile at whose edge the neighbour's higher ground lies within 5 km takes that.
func TestVoidLooksIntoTheNextTile(t *testing.T) {
	west := made(1201, func(_, column int) int16 {
		if column > 1150 && column < 1200 {
			return Void
		}
		return 100
	})
	east := made(1201, func(_, column int) int16 {
		if column == 3 {
			return 640
		}
		return 100
	})
	w := madeWalker(t, map[string][]byte{tileName(-30, -121): west, tileName(-30, -120): east}, StoreOptions{}, geoid.Ellipsoid())
	l := between(t, w, geodesy.LatLon{LatDeg: -29.5, LonDeg: -120.2}, geodesy.LatLon{LatDeg: -29.5, LonDeg: -119.9}, 10, 20)
	filled := 0
	for _, p := range piecesOf(w, l, FillHigh, 0, l.DistanceM) {
		if p.Missing && p.G == [3]float64{690, 0, 0} {
			filled++
		}
	}
	if filled != 48 { // cells between two void columns, 1151 to 1199
		t.Errorf("%d cells between void posts are filled with 690 m, want 48", filled)
	}
}

// What stands in for missing terrain is worked out once and is the same for every walker of the store, whoever asks first.
func TestFillsAreShared(t *testing.T) {
	files := map[string][]byte{tileName(-30, -119): made(61, flat(200))}
	store := storeOf(t, StoreOptions{MemoryBytes: 1, LandHint: landAt([2]int{-30, -120})}, folder(t, files))
	results := make(chan []Piece)
	for range 8 {
		go func() {
			w := NewWalker(store, geoid.Ellipsoid(), 0)
			l, err := NewLine(End{At: geodesy.LatLon{LatDeg: -29.5, LonDeg: -119.7}}, End{At: geodesy.LatLon{LatDeg: -29.4, LonDeg: -118.3}})
			if err != nil {
				results <- nil
				return
			}
			results <- piecesOf(w, l, FillHigh, 0, l.DistanceM)
		}()
	}
	for range 8 {
		pieces := <-results
		if len(pieces) < 50 {
			t.Fatalf("only %d pieces", len(pieces))
		}
		for _, p := range pieces {
			if p.G[0] != 200 {
				t.Fatalf("ground at %.0f m is %v m, want 200 m in gap and tile", p.X, p.G[0])
			}
		}
	}
}

// An unreadable tile is a gap, even where the mask has no land; with Strict it fails the walk.
func TestWalkOverUnreadable(t *testing.T) {
	files := map[string][]byte{tileName(-30, -120): gzipOf(made(61, flat(5)))[:40], tileName(-30, -119): made(61, flat(70))}
	files["S30W120.hgt.gz"] = files[tileName(-30, -120)]
	delete(files, tileName(-30, -120))
	ends := [2]geodesy.LatLon{{LatDeg: -29.5, LonDeg: -119.7}, {LatDeg: -29.4, LonDeg: -119.2}}
	w := madeWalker(t, files, StoreOptions{}, geoid.Ellipsoid())
	l := between(t, w, ends[0], ends[1], 10, 10)
	for _, p := range piecesOf(w, l, FillHigh, 0, l.DistanceM) {
		if p.G != [3]float64{70, 0, 0} || !p.Missing {
			t.Fatalf("unreadable tile at %.0f m is %+v, want the neighbour's 70 m, missing", p.X, p)
		}
	}
	if w.Err() != nil {
		t.Errorf("Err() = %v without Strict", w.Err())
	}
	strict := madeWalker(t, files, StoreOptions{Strict: true}, geoid.Ellipsoid())
	if _, err := strict.Critical(l, FillSea, 200, math.Inf(1)); err == nil || strict.Err() == nil {
		t.Errorf("Strict: Critical gives %v, Err() %v, want the tile's error", err, strict.Err())
	}
	if _, err := strict.Section(l, FillSea, 200, nil); err == nil {
		t.Error("Strict: Section gives no error")
	}
}

// Taking a gap for sea never blocks a line that the real terrain leaves open, and filling it high never opens one that sea leaves blocked.
func TestFillsEncloseTheTruth(t *testing.T) {
	full := bordersWalker(t)
	west := fileWalker(t, testdata+"N55W004.hgt.zip") // N55W003 has land, so it is a gap
	differ := 0
	for _, l := range randomLines(t, full, bordersHills(t), lineCount(600), 30) {
		truth, err1 := full.Critical(l, FillSea, 200, math.Inf(1))
		sea, err2 := west.Critical(l, FillSea, 200, math.Inf(1))
		high, err3 := west.Critical(l, FillHigh, 200, math.Inf(1))
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(err1, err2, err3)
		}
		rounding := 1e-9 * math.Max(1, math.Abs(truth.K))
		if sea.K > truth.K+rounding || high.K < sea.K {
			t.Errorf("%v to %v: k_c is %.6f, with the gap as sea %.6f, filled high %.6f", l.From.At, l.To.At, truth.K, sea.K, high.K)
		}
		if sea.K < truth.K-rounding {
			differ++
		}
		if (sea.MissingM > 0) != (high.MissingM > 0) || math.Abs(sea.MissingM-high.MissingM) > 1e-6 {
			t.Errorf("%v to %v: %.3f m missing as sea, %.3f m filled high", l.From.At, l.To.At, sea.MissingM, high.MissingM)
		}
	}
	if differ == 0 {
		t.Error("the gap matters to no line")
	}
}
