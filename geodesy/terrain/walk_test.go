package terrain

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/geoid"
)

// relief is a made height in whole metres at a post, by degrees north and east of some corner.
type relief func(northDeg, eastDeg float64) int16

// rugged is a relief of hills and of steps of up to 60 m from post to post, whatever their spacing.
func rugged(northDeg, eastDeg float64) int16 {
	hills := 400 + 250*math.Sin(7*northDeg)*math.Cos(5*eastDeg)
	// Posts are whole arc seconds; a product of odd numbers scatters them.
	n, e := int64(math.Round(northDeg*3600)), int64(math.Round(eastDeg*3600))
	h := uint64(n*73856093^e*19349663) * 0x9E3779B97F4A7C15
	return int16(hills + float64(h>>58))
}

// tileName is the name that says where a tile stands: N10W021.
func tileName(lat, lon int) string {
	ns, ew := "N", "E"
	if lat < 0 {
		ns, lat = "S", -lat
	}
	if lon < 0 {
		ew, lon = "W", -lon
	}
	return fmt.Sprintf("%s%02d%s%03d.hgt", ns, lat, ew, lon)
}

// reliefTile is the tile at a corner with n posts a side, of a relief that counts from the given origin.
func reliefTile(files map[string][]byte, lat, lon, n int, r relief, originLat, originLon float64) {
	files[tileName(lat, lon)] = made(n, func(row, column int) int16 {
		return r(float64(lat)+float64(n-1-row)/float64(n-1)-originLat, float64(lon)+float64(column)/float64(n-1)-originLon)
	})
}

func madeWalker(tb testing.TB, files map[string][]byte, opts StoreOptions, grid *geoid.Grid) *Walker {
	tb.Helper()
	if opts.MemoryBytes == 0 {
		opts.MemoryBytes = 1 << 30
	}
	return NewWalker(storeOf(tb, opts, folder(tb, files)), grid, 0)
}

func egm96(tb testing.TB) *geoid.Grid {
	tb.Helper()
	grid, err := geoid.EGM96()
	if err != nil {
		tb.Fatal(err)
	}
	return grid
}

func piecesOf(w *Walker, l *Line, fill Fill, from, to float64) []Piece {
	var pieces []Piece
	w.Walk(l, fill, from, to, func(p *Piece) bool {
		pieces = append(pieces, *p)
		return true
	})
	return pieces
}

func between(tb testing.TB, w *Walker, from, to geodesy.LatLon, eyeM, topM float64) *Line {
	tb.Helper()
	l, err := NewLine(w.end(from, eyeM), w.end(to, topM))
	if err != nil {
		tb.Fatal(err)
	}
	return l
}

// walkCheck counts what checkWalk has compared, and its worst misses.
type walkCheck struct {
	pieces, voids                 int
	ground, undulation, chordMiss float64
}

// checkWalk holds a walk against the line's exact places: pieces tile the stretch from…to, none crosses a grid line, and ground, geoid
// and chord at three places of each are those of the store, the geoid and the exact chord.
func (c *walkCheck) checkWalk(t *testing.T, name string, w *Walker, l *Line, from, to float64) {
	t.Helper()
	pieces := piecesOf(w, l, FillSea, from, to)
	if len(pieces) == 0 || math.Abs(pieces[0].X-from) > 1e-6 {
		t.Fatalf("%s: %d pieces, the first does not begin at %v m", name, len(pieces), from)
	}
	sum, end := 0.0, pieces[0].X
	exact := exactTrack(l)
	for i := range pieces {
		p := &pieces[i]
		c.pieces++
		if p.W <= 0 || math.Abs(p.X-end) > 2e-9 {
			t.Fatalf("%s: piece %d, [%.9f, +%.3g] m, does not join the one before, which ends at %.9f m", name, i, p.X, p.W, end)
		}
		end, sum = p.X+p.W, sum+p.W
		var row, column [3]float64
		for j, share := range [3]float64{0.01, 0.5, 0.99} {
			n := exact.node(p.X + share*p.W)
			ground, known := w.store.HeightM(n.at)
			// The cell's row and column, unless the path runs along their edge.
			row[j], column[j] = n.at.LatDeg*emptyN, n.at.LonDeg*emptyN
			if p.Tile != nil {
				row[j] = lineAt(p.Tile.Rows.reversed(), n.at.LatDeg-float64(p.Tile.LatDeg))
				column[j] = lineAt(p.Tile.Cols, math.Mod(n.at.LonDeg-float64(p.Tile.LonDeg)+540, 360)-180)
			}
			if miss := math.Abs(p.ChordAt(share*p.W) - n.height); miss > 2e-5 {
				t.Fatalf("%s: chord at %.1f m is off by %.2g m", name, p.X+share*p.W, miss)
			} else {
				c.chordMiss = math.Max(c.chordMiss, miss)
			}
			// A path that is straight in degrees leaves the geodesic sideways by W²/8 times its curvature there, 2·tan φ/R at most.
			bend := p.W * p.W / 8 * 2 * math.Abs(math.Tan(n.at.LatDeg*math.Pi/180)) / 6.35e6
			// The geoid's grid lines are lines of posts too, unless these are shifted.
			if miss := math.Abs(p.N[0] + p.N[1]*share*p.W - w.geoid.UndulationM(n.at)); miss > 1e-4 && p.Tile != nil && p.Tile.Rows.Shift == 0 || miss > 1e-2 {
				t.Fatalf("%s: undulation at %.1f m is off by %.2g m", name, p.X+share*p.W, miss)
			} else if p.Tile != nil {
				c.undulation = math.Max(c.undulation, miss)
			}
			if !known {
				if !p.Missing {
					t.Fatalf("%s: piece at %.1f m stands beside a void or gap, but is not marked as missing", name, p.X)
				}
				c.voids++
				continue
			}
			if p.Missing && p.Tile == nil {
				t.Fatalf("%s: piece at %.1f m is marked as a gap, but there is terrain", name, p.X)
			}
			if p.Missing {
				continue // a cell of which one post is void: the place may lie on its far edge
			}
			miss := math.Abs(p.GroundAt(share*p.W) - ground)
			if miss > 1e-6+1.5*p.Slope*(1e-5+bend) {
				t.Fatalf("%s: ground at %.3f m (%v) is %.6f m, the store has %.6f m (slope %.2f, %.1f m wide)", name, p.X+share*p.W, n.at, p.GroundAt(share*p.W), ground, p.Slope, p.W)
			}
			c.ground = math.Max(c.ground, miss)
		}
		for j := 1; j < 3; j++ {
			if crossed(row[j-1], row[j]) || crossed(column[j-1], column[j]) {
				t.Fatalf("%s: the piece at %.3f m, %.3f m wide, crosses a grid line", name, p.X, p.W)
			}
		}
	}
	if math.Abs(end-to) > 1e-6 || math.Abs(sum-(to-from)) > 1e-6 {
		t.Fatalf("%s: pieces end at %.9f m and measure %.9f m, want %.9f and %.9f m", name, end, sum, to, to-from)
	}
}

// lineAt is a place in lines of the lattice, which runs on outside its cell.
func lineAt(l Lattice, deg float64) float64 {
	switch {
	case deg < 0:
		return deg * l.PerDeg
	case deg > 1:
		return float64(l.N-1) + (deg-1)*l.PerDeg
	}
	line, fraction := l.between(deg)
	return float64(line) + fraction
}

// crossed tells whether two grid coordinates lie in different cells, neither being on the line between them, give or take 10 µm.
func crossed(a, b float64) bool {
	const nearly = 1e-6
	onLine := func(v float64) bool { return math.Abs(v-math.Round(v)) < nearly }
	return math.Floor(a) != math.Floor(b) && !onLine(a) && !onLine(b)
}

func (c *walkCheck) log(t *testing.T) {
	t.Helper()
	t.Logf("%d pieces (%d places without terrain): ground within %.2g m, undulation within %.2g m, chord within %.2g m",
		c.pieces, c.voids, c.ground, c.undulation, c.chordMiss)
}

func TestWalkAgainstPlacesOnBorders(t *testing.T) {
	w := bordersWalker(t)
	var c walkCheck
	random := rand.New(rand.NewPCG(4, 4))
	for i, l := range randomLines(t, w, bordersHills(t), lineCount(400), 2) {
		name := fmt.Sprintf("line %d, %v to %v", i, l.From.At, l.To.At)
		c.checkWalk(t, name, w, l, 0, l.DistanceM)
		from := l.DistanceM * random.Float64()
		to := from + (l.DistanceM-from)*random.Float64()
		c.checkWalk(t, name+", a part", w, l, from, to)
	}
	c.log(t)
}

// Lines that a walk may stumble over: along grid lines and tile edges, through corners, and with ends on them.
func TestWalkOnGridLines(t *testing.T) {
	at := func(lat, lon float64) geodesy.LatLon { return geodesy.LatLon{LatDeg: lat, LonDeg: lon} }
	lines := []struct {
		name     string
		from, to geodesy.LatLon
	}{
		{"meridian on a grid line", at(-0.9, 0.25), at(0.9, 0.25)},
		{"meridian between grid lines", at(-0.9, 0.2542), at(0.9, 0.2542)},
		{"meridian on a tile edge", at(-0.9, 0), at(0.9, 0)},
		{"meridian on a tile edge, between posts", at(-0.9033, 0), at(0.9012, 0)},
		{"equator", at(0, -0.9), at(0, 0.9)},
		{"equator, between posts", at(0, -0.9033), at(0, 0.9011)},
		{"through the corner of four tiles", at(-0.7, -0.7), at(0.7, 0.7)},
		{"through the corner of four tiles, other diagonal", at(-0.7, 0.7), at(0.7, -0.7)},
		{"from the corner", at(0, 0), at(0.61, 0.43)},
		{"to the corner", at(-0.61, 0.43), at(0, 0)},
		{"from a post to a post", at(0.5, -0.5), at(-0.25, 0.75)},
		{"from a tile edge", at(0.3, 0), at(0.7, 0.81)},
		{"along the parallel of a tile edge, which the geodesic leaves", at(1, -0.9), at(1, 0.9)},
		{"nearly a meridian", at(-0.8, 1e-9), at(0.8, -1e-9)},
		{"nearly the equator", at(1e-10, -0.8), at(-1e-10, 0.8)},
		{"within one cell", at(0.5002, 0.5001), at(0.5098, 0.5101)},
		{"from edge to edge of the terrain", at(-1, -1), at(1, 1)},
	}
	var c walkCheck
	for _, n := range []int{61, 181} {
		files := map[string][]byte{}
		for _, corner := range [][2]int{{0, 0}, {0, -1}, {-1, 0}, {-1, -1}, {1, 0}, {1, -1}} {
			reliefTile(files, corner[0], corner[1], n, rugged, 0, 0)
		}
		w := madeWalker(t, files, StoreOptions{}, egm96(t))
		for _, line := range lines {
			for _, ends := range [2][2]geodesy.LatLon{{line.from, line.to}, {line.to, line.from}} {
				l := between(t, w, ends[0], ends[1], 1200, 900)
				name := fmt.Sprintf("%s, %d posts, from %v", line.name, n, ends[0])
				c.checkWalk(t, name, w, l, 0, l.DistanceM)
				for _, part := range [][2]float64{{200, l.DistanceM - 200}, {l.DistanceM / 2, l.DistanceM}, {0.49 * l.DistanceM, 0.51 * l.DistanceM}} {
					c.checkWalk(t, name+", a part", w, l, part[0], part[1])
				}
			}
		}
	}
	c.log(t)
}

// Tiles of unequal width side by side, as sets have them that thin out towards the poles.
func TestWalkUnequalTiles(t *testing.T) {
	files := map[string][]byte{}
	for i, lat := range []int{40, 41} {
		for j, lon := range []int{10, 11, 12} {
			n := []int{601, 1201}[(i+j)%2]
			reliefTile(files, lat, lon, n, rugged, 40, 10)
		}
	}
	w := madeWalker(t, files, StoreOptions{}, egm96(t))
	var c walkCheck
	random := rand.New(rand.NewPCG(6, 6))
	for range lineCount(100) {
		from := geodesy.LatLon{LatDeg: 40.02 + 1.9*random.Float64(), LonDeg: 10.02 + 0.9*random.Float64()}
		to := geodesy.LatLon{LatDeg: 40.02 + 1.9*random.Float64(), LonDeg: 12.02 + 0.9*random.Float64()}
		l := between(t, w, from, to, 1500, 1500)
		c.checkWalk(t, fmt.Sprintf("%v to %v", from, to), w, l, 0, l.DistanceM)
	}
	tiles := map[*Tile]bool{}
	for _, p := range piecesOf(w, between(t, w, geodesy.LatLon{LatDeg: 40.5, LonDeg: 10.5}, geodesy.LatLon{LatDeg: 40.5, LonDeg: 12.5}, 0, 0), FillSea, 0, 1.6e5) {
		tiles[p.Tile] = true
	}
	if len(tiles) != 3 || tiles[nil] {
		t.Errorf("a line over three tiles met %d", len(tiles))
	}
	c.log(t)
}

// High latitudes: cells are slim, lines cross many meridians, and paths bend in degrees.
func TestWalkFarNorth(t *testing.T) {
	files := map[string][]byte{}
	for lon := 20; lon < 30; lon++ {
		for lat := 83; lat <= 85; lat++ {
			reliefTile(files, lat, lon, 361, rugged, 83, 20)
		}
	}
	w := madeWalker(t, files, StoreOptions{}, egm96(t))
	var c walkCheck
	for _, ends := range [][2]geodesy.LatLon{
		{{LatDeg: 85, LonDeg: 20.2}, {LatDeg: 85, LonDeg: 29.8}},
		{{LatDeg: 84.2, LonDeg: 29.5}, {LatDeg: 85.9, LonDeg: 20.5}},
		{{LatDeg: 83.1, LonDeg: 25}, {LatDeg: 85.9, LonDeg: 25}},
	} {
		l := between(t, w, ends[0], ends[1], 1500, 1500)
		c.checkWalk(t, fmt.Sprintf("%v to %v", ends[0], ends[1]), w, l, 0, l.DistanceM)
	}
	c.log(t)
}

// One relief, laid in four hemispheres and across the date line: the walk must not care where on the globe it lies.
func TestWalkSameReliefElsewhere(t *testing.T) {
	ends := [][4]float64{ // degrees north and east of the middle
		{-0.71, -0.83, 0.62, 0.77}, {0.4, -0.9, -0.3, 0.9}, {-0.9, 0.21, 0.9, -0.13}, {-0.5, 0.5, 0.5, -0.5}, {0, -0.8, 0, 0.8}, {-0.8, 0, 0.8, 0},
		{0.1, 0.9, 0.2, -0.95}, {-0.15, 0.3, 0.55, 0.31},
	}
	places := []struct {
		name                    string
		lat, lon                float64 // the middle
		mirrorNorth, mirrorEast float64
	}{
		{"north, prime meridian", 47, 0, 1, 1},
		{"north, date line", 47, 180, 1, 1},
		{"north, 90° E", 47, 90, 1, 1},
		{"north, west-east mirrored", 47, -60, 1, -1},
		{"south, north-south mirrored", -47, 25, -1, 1},
		{"south, both, date line", -47, 180, -1, -1},
	}
	for i, e := range ends {
		var want Critical
		for j, p := range places {
			files := map[string][]byte{}
			turned := func(north, east float64) int16 { return rugged(p.mirrorNorth*north, p.mirrorEast*east) }
			for _, dLat := range []int{-1, 0} {
				for _, dLon := range []int{-1, 0} {
					lat, lon := int(p.lat)+dLat, int(p.lon)+dLon
					origin := p.lon
					if lon > 179 {
						lon, origin = lon-360, origin-360
					}
					reliefTile(files, lat, lon, 61, turned, p.lat, origin)
				}
			}
			w := madeWalker(t, files, StoreOptions{}, geoid.Ellipsoid())
			place := func(north, east float64) geodesy.LatLon {
				lon := p.lon + p.mirrorEast*east
				if lon > 180 {
					lon -= 360
				}
				return geodesy.LatLon{LatDeg: p.lat + p.mirrorNorth*north, LonDeg: lon}
			}
			l := between(t, w, place(e[0], e[1]), place(e[2], e[3]), 900, 800)
			got, err := w.Critical(l, FillSea, 200, math.Inf(1))
			if err != nil {
				t.Fatal(err)
			}
			if got.MissingM != 0 {
				t.Fatalf("%s: %.0f m of line %v are without terrain", p.name, got.MissingM, e)
			}
			if j == 0 {
				want = got
				continue
			}
			if math.Abs(got.K-want.K) > 1e-9*math.Max(1, math.Abs(want.K)) {
				t.Errorf("line %d, %s: k_c %.12f at %.3f m, in the first place %.12f at %.3f m", i, p.name, got.K, got.AtM, want.K, want.AtM)
			}
		}
	}
}
