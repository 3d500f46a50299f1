package terrain

import (
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
)

func TestHeightByHand(t *testing.T) {
	// Posts of N55W003, row and column from the north-west corner, and of its neighbour, as GDAL gives them; between them the
	// mean of two and of four.
	s := sampleStore(t)
	tile := readSample(t, "N55W003")
	post := func(row, column int) float64 { return float64(tile.Posts[row*tile.Cols.N+column]) }
	at := func(row, column float64) geodesy.LatLon {
		return geodesy.LatLon{LatDeg: 56 - row/1200, LonDeg: -3 + column/1200}
	}
	tests := []struct {
		what        string
		row, column float64
		want        float64
	}{
		{"post", 600, 300, post(600, 300)},
		{"between two rows", 600.5, 300, (post(600, 300) + post(601, 300)) / 2},
		{"between two columns", 600, 300.25, 0.75*post(600, 300) + 0.25*post(600, 301)},
		{"between four posts", 600.5, 300.5, (post(600, 300) + post(600, 301) + post(601, 300) + post(601, 301)) / 4},
		{"between four posts, off the middle", 600.2, 300.9, 0.8*(0.1*post(600, 300)+0.9*post(600, 301)) + 0.2*(0.1*post(601, 300)+0.9*post(601, 301))},
		{"west edge", 700, 0, post(700, 0)},
		{"west edge, between posts", 700.5, 0, (post(700, 0) + post(701, 0)) / 2},
		{"north-west corner", 0, 0, post(0, 0)},
		{"south-east corner", 1200, 1200, post(1200, 1200)},
	}
	for _, test := range tests {
		got, ok := s.HeightM(at(test.row, test.column))
		if !ok || math.Abs(got-test.want) > 1e-6 {
			t.Errorf("%s: HeightM(%v) = %v, %v, want %v", test.what, at(test.row, test.column), got, ok, test.want)
		}
	}
}

func TestHeightInEveryQuarterOfTheEarth(t *testing.T) {
	// Each tile rises by 2 m a row southwards and 1 m a column eastwards from its own corner height, so a place s degrees south
	// and e degrees east of the north-west corner is at corner + 120·s + 60·e.
	root := folder(t, map[string][]byte{
		"N10E020.hgt": made(61, sloping(2, 1, 100)), "N10W021.hgt": made(61, sloping(2, 1, 200)),
		"S11E020.hgt": made(61, sloping(2, 1, 300)), "S11W021.hgt": made(121, sloping(1, 1, 400)),
		"S01E179.hgt": made(61, sloping(2, 1, 500)), "S01W180.hgt": made(61, sloping(2, 1, 560)),
		"N89E000.hgt": made(61, sloping(2, 0, 600)), "S90W180.hgt": made(61, sloping(2, 0, 700)),
	})
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 20}, root)
	tests := []struct {
		latDeg, lonDeg float64
		want           float64
	}{
		{10.25, 20.5, 100 + 90 + 30},
		{10.25, -20.5, 200 + 90 + 30},
		{-10.25, 20.5, 300 + 30 + 30},
		{-10.25, -20.25, 400 + 30 + 90}, // 121 posts: 120 m a degree both ways
		{-0.5, 179.5, 500 + 60 + 30},
		{-0.5, -180.5, 500 + 60 + 30},
		{-0.5, 180, 560 + 60},
		{-0.5, -180, 560 + 60},
		{-0.5, 540, 560 + 60},
		{-0.5, 180.25, 560 + 60 + 15},
		{-0.5, -179.75, 560 + 60 + 15},
		{-0.5, 179.99999999999997, 560 + 60},
		{90, 0.5, 600},
		{89.5, 360.5, 600 + 60},
		{-90, -179.5, 700 + 120},
		{11, 20.5, 100 + 30}, // north edge, no tile north of it
		{10, 20.5, 100 + 120 + 30},
		{10.5, 21, 100 + 60 + 60}, // east edge, no tile east of it
		{11, 21, 100 + 60},
	}
	for _, test := range tests {
		p := geodesy.LatLon{LatDeg: test.latDeg, LonDeg: test.lonDeg}
		if got, ok := s.HeightM(p); !ok || math.Abs(got-test.want) > 1e-6 {
			t.Errorf("HeightM(%v) = %v, %v, want %v", p, got, ok, test.want)
		}
	}
}

func TestHeightAtSeaVoidsAndGaps(t *testing.T) {
	void := func(row, column int) int16 {
		if row == 30 && column == 30 {
			return Void
		}
		return 50
	}
	root := folder(t, map[string][]byte{
		"N30W040.hgt":    made(61, void), // open Atlantic around it
		"N31W042.hgt.gz": []byte("nothing"),
	})
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 20}, root)
	const post = 1.0 / 60
	tests := []struct {
		what           string
		latDeg, lonDeg float64
		want           float64
		ok             bool
	}{
		{"open sea", 30.5, -45.5, 0, true},
		{"corner of four cells of sea", 35, -45, 0, true},
		{"north pole", 90, 0, 0, true},
		{"void post", 30.5, -39.5, 0, false},
		{"beside the void", 30.5 + post/2, -39.5 - post/2, 0, false},
		{"the post beside the void", 30.5 + post, -39.5, 50, true},
		{"in line with the posts beside the void", 30.5 + post, -39.5 - post/2, 50, true},
		{"unreadable tile", 31.5, -41.5, 0, false},
		{"edge of the unreadable tile and sea", 31.5, -42, 0, false},
		{"land without a tile", 23.5, 5.5, 0, false},
		{"tile's edge towards the sea", 30.5, -40, 50, true},
		{"latitude off the Earth", 90.1, 0, 0, false},
		{"no place", math.NaN(), 0, 0, false},
		{"no place either", 0, math.Inf(1), 0, false},
	}
	for _, test := range tests {
		got, ok := s.HeightM(geodesy.LatLon{LatDeg: test.latDeg, LonDeg: test.lonDeg})
		if ok != test.ok || ok && got != test.want {
			t.Errorf("%s: HeightM(%v, %v) = %v, %v, want %v, %v", test.what, test.latDeg, test.lonDeg, got, ok, test.want, test.ok)
		}
	}
}

func TestEdgesReadTheSameFromEitherTile(t *testing.T) {
	both := sampleStore(t)
	for _, single := range []struct {
		name string
		edge func(along float64) geodesy.LatLon
	}{
		{"N55W003", func(along float64) geodesy.LatLon { return geodesy.LatLon{LatDeg: 55 + along, LonDeg: -3} }},
		{"N55W004", func(along float64) geodesy.LatLon { return geodesy.LatLon{LatDeg: 55 + along, LonDeg: -3} }},
		{"N49E011", func(along float64) geodesy.LatLon { return geodesy.LatLon{LatDeg: 50, LonDeg: 11 + along} }},
		{"N50E011", func(along float64) geodesy.LatLon { return geodesy.LatLon{LatDeg: 50, LonDeg: 11 + along} }},
	} {
		alone := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, samples+single.name+".hgt.zip")
		for i := range 2401 {
			p := single.edge(float64(i) / 2400)
			a, aOK := alone.HeightM(p)
			b, bOK := both.HeightM(p)
			if a != b || !aOK || !bOK {
				t.Fatalf("HeightM(%v) = %v, %v from %s alone, %v, %v with its neighbour", p, a, aOK, single.name, b, bOK)
			}
		}
	}
}

// Heights and places from memory of the national maps: The Cheviot 815 m (Ordnance Survey), Schneeberg 1,051 m and Ochsenkopf
// 1,024 m (Bavaria). A 3″ post may lie below a summit, hardly above it.
func TestHighestWithinFindsSummits(t *testing.T) {
	s := sampleStore(t)
	tests := []struct {
		name           string
		latDeg, lonDeg float64
		summitM        float64
	}{
		{"The Cheviot", 55.478, -2.145, 815},
		{"Schneeberg", 50.052, 11.855, 1051},
		{"Ochsenkopf", 50.031, 11.808, 1024},
	}
	for _, test := range tests {
		at, heightM, ok := s.HighestWithin(geodesy.LatLon{LatDeg: test.latDeg, LonDeg: test.lonDeg}, 1000)
		if !ok || heightM > test.summitM+5 || heightM < test.summitM-20 {
			t.Errorf("%s: %v m, %v, want %v m or up to 20 m less", test.name, heightM, ok, test.summitM)
		}
		if there, ok := s.HeightM(at); !ok || there != heightM {
			t.Errorf("%s: the post found at %v is %v m high, said %v m", test.name, at, there, heightM)
		}
	}
}

// highestWithinSlowly looks at every post of the tiles given, by distances between places in Earth-centred coordinates.
func highestWithinSlowly(tiles []*Tile, p geodesy.LatLon, radiusM float64) (best summit, at geodesy.LatLon) {
	centre := geodesy.WGS84.ToCartesian(p, 0)
	for _, tile := range tiles {
		if math.Abs(float64(tile.LatDeg)+0.5-p.LatDeg) > 0.6 {
			continue
		}
		for i, h := range tile.Posts {
			latDeg := float64(tile.LatDeg+1) - float64(i/tile.Cols.N)/float64(tile.Cols.N-1)
			if h == Void || math.Abs(latDeg-p.LatDeg) > 0.1 || best.ok && float64(h) < best.heightM {
				continue
			}
			q := geodesy.LatLon{LatDeg: latDeg, LonDeg: normalLonDeg(float64(tile.LonDeg) + float64(i%tile.Cols.N)/float64(tile.Cols.N-1))}
			distanceM := geodesy.WGS84.ToCartesian(q, 0).Sub(centre).Norm()
			if distanceM > radiusM {
				continue
			}
			candidate := summit{true, float64(h), math.Round(distanceM * 1000), q.LatDeg, normalLonDeg(q.LonDeg - p.LonDeg)}
			if !best.ok || candidate.before(best) {
				best, at = candidate, q
			}
		}
	}
	return best, at
}

func TestHighestWithinAgreesWithSlowTwin(t *testing.T) {
	rough := func(seed uint64) func(int, int) int16 {
		random := rand.New(rand.NewPCG(seed, 9))
		return func(row, column int) int16 {
			if random.IntN(10) == 0 {
				return Void
			}
			return int16(random.IntN(40)) // many of equal height
		}
	}
	root := folder(t, map[string][]byte{
		"S01E179.hgt": made(361, rough(1)), "S01W180.hgt": made(361, rough(2)), "N00E179.hgt": made(241, rough(3)), "N00W180.hgt": made(361, rough(4)),
		"N89E000.hgt": made(61, rough(5)), "N89E001.hgt": made(61, rough(6)), "N89W120.hgt": made(61, rough(7)),
	})
	seamed := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, root, samples+"N55W003.hgt.zip", samples+"N55W004.hgt.zip")
	var tiles []*Tile
	for _, at := range [][2]int{{-1, 179}, {-1, -180}, {0, 179}, {0, -180}, {89, 0}, {89, 1}, {89, -120}, {55, -4}, {55, -3}} {
		tile, err := seamed.Tile(at[0], at[1])
		if tile == nil || err != nil {
			t.Fatal(err)
		}
		tiles = append(tiles, tile)
	}
	random := rand.New(rand.NewPCG(7, 7))
	about := []geodesy.LatLon{{LatDeg: 0, LonDeg: 180}, {LatDeg: 0, LonDeg: -180}, {LatDeg: -0.5, LonDeg: 179.99}, {LatDeg: 55.4, LonDeg: -3}, {LatDeg: 55, LonDeg: -2.5}, {LatDeg: 89.98, LonDeg: 1}, {LatDeg: 90, LonDeg: 0}}
	hits := 0
	for i := range 105 {
		p := about[i%len(about)]
		if i >= len(about) {
			p.LatDeg = min(p.LatDeg+0.03*random.NormFloat64(), 90)
			p.LonDeg += 0.03 * random.NormFloat64()
		}
		radiusM := 5000 * random.Float64()
		at, heightM, ok := seamed.HighestWithin(p, radiusM)
		want, wantAt := highestWithinSlowly(tiles, p, radiusM)
		if ok != want.ok || ok && (heightM != float64(want.heightM) || math.Abs(at.LatDeg-wantAt.LatDeg) > 1e-12 || math.Abs(normalLonDeg(at.LonDeg-wantAt.LonDeg)) > 1e-12) {
			t.Errorf("HighestWithin(%v, %v) = %v, %v, %v, slow twin %v, %v, %v", p, radiusM, at, heightM, ok, wantAt, want.heightM, want.ok)
		}
		if ok {
			hits++
		}
	}
	if hits < 70 {
		t.Errorf("only %d of 105 searches found a post", hits)
	}
}

func TestHighestWithinTies(t *testing.T) {
	const post = 1.0 / 60
	// All posts of a tile at the equator are equally high, so ties decide: nearest, then north, then west.
	root := folder(t, map[string][]byte{"N00W030.hgt": made(61, flat(9))})
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 20}, root)
	corner := geodesy.LatLon{LatDeg: 1, LonDeg: -30}
	at := func(row, column float64) geodesy.LatLon {
		return geodesy.LatLon{LatDeg: corner.LatDeg - row*post, LonDeg: corner.LonDeg + column*post}
	}
	tests := []struct {
		what        string
		p           geodesy.LatLon
		radiusM     float64
		row, column float64
		ok          bool
	}{
		{"nearest", at(30.2, 30.2), 5000, 30, 30, true},
		{"nearest, exactly there", at(30, 30), 0, 30, 30, true},
		{"west of two", at(30, 30.5), 5000, 30, 30, true},
		{"outside the tile", at(30, -1), 2000, 30, 0, true},
		{"no post within", at(30.5, 30.5), 1000, 0, 0, false},
		{"negative radius", at(30, 30), -1, 0, 0, false},
		{"no radius", at(30, 30), math.NaN(), 0, 0, false},
	}
	for _, test := range tests {
		got, heightM, ok := s.HighestWithin(test.p, test.radiusM)
		want := at(test.row, test.column)
		if ok != test.ok || ok && (heightM != 9 || math.Abs(got.LatDeg-want.LatDeg) > 1e-12 || math.Abs(got.LonDeg-want.LonDeg) > 1e-12) {
			t.Errorf("%s: HighestWithin(%v, %v) = %v, %v, %v, want %v, 9, %v", test.what, test.p, test.radiusM, got, heightM, ok, want, test.ok)
		}
	}
	// North and south are equally far only at the equator.
	root = folder(t, map[string][]byte{"N00E010.hgt": made(61, flat(9)), "S01E010.hgt": made(61, func(row, _ int) int16 { return int16(min(row, 1)) * 9 })})
	lowEquator := folder(t, map[string][]byte{"N00E010.hgt": made(61, func(row, _ int) int16 { return int16(min(60-row, 1)) * 9 })})
	s = storeOf(t, StoreOptions{MemoryBytes: 1 << 20}, lowEquator, root)
	if got, _, ok := s.HighestWithin(geodesy.LatLon{LatDeg: 0, LonDeg: 10.5}, 2000); !ok || math.Abs(got.LatDeg-post) > 1e-12 || math.Abs(got.LonDeg-10.5) > 1e-12 {
		t.Errorf("north of two: %v, %v, want the post one row north of the equator", got, ok)
	}
}

func TestNormalLonDeg(t *testing.T) {
	for _, test := range []struct{ lonDeg, want float64 }{
		{0, 0}, {179.5, 179.5}, {180, -180}, {-180, -180}, {-180.5, 179.5}, {540, -180}, {359, -1}, {-359, 1}, {3600, 0},
		{math.Nextafter(-180, -200), math.Nextafter(180, 0)},
	} {
		if got := normalLonDeg(test.lonDeg); got != test.want {
			t.Errorf("normalLonDeg(%v) = %v, want %v", test.lonDeg, got, test.want)
		}
	}
}

func BenchmarkHeightM(b *testing.B) {
	s := sampleStore(b)
	random := rand.New(rand.NewPCG(1, 1))
	places := make([]geodesy.LatLon, 1024)
	for i := range places {
		places[i] = geodesy.LatLon{LatDeg: 55 + random.Float64(), LonDeg: -4 + 2*random.Float64()}
		s.HeightM(places[i])
	}
	i := 0
	for b.Loop() {
		s.HeightM(places[i%len(places)])
		i++
	}
}

func BenchmarkHighestWithin(b *testing.B) {
	s := sampleStore(b)
	p := geodesy.LatLon{LatDeg: 55.478, LonDeg: -2.145}
	s.HeightM(p)
	for _, bench := range []struct {
		name    string
		radiusM float64
	}{{"300m", 300}, {"5km", 5000}} {
		b.Run(bench.name, func(b *testing.B) {
			for b.Loop() {
				s.HighestWithin(p, bench.radiusM)
			}
		})
	}
}
