package terrain

import (
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
)

// surveySpreads are those of a survey with its options as they stand.
func surveySpreads() Spreads {
	return Spreads{K: 0.143, KSD: 0.04, LowHeightM: 50, LowK: 0.17, LowKSD: 0.15, EyeSDM: 10, TopSDM: 10, SeaSDM: 0.5, CorrelationM: 300}
}

// summits are the posts of a tile that no other post within reach posts overtops.
func summits(tb testing.TB, w *Walker, lat, lon, reach int) []hill {
	tb.Helper()
	tile, err := w.store.Tile(lat, lon)
	if err != nil {
		tb.Fatal(err)
	}
	n := tile.Cols.N
	overtopped := func(row, column int) bool {
		height := tile.Posts[row*n+column]
		for r := row - reach; r <= row+reach; r++ {
			for c := column - reach; c <= column+reach; c++ {
				other := tile.Posts[r*n+c]
				if other > height || other == height && (r < row || r == row && c < column) {
					return true
				}
			}
		}
		return false
	}
	var hills []hill
	for row := reach; row < n-reach; row++ {
		for column := reach; column < n-reach; column++ {
			if !overtopped(row, column) {
				at := geodesy.LatLon{LatDeg: float64(lat) + float64(n-1-row)/float64(n-1), LonDeg: float64(lon) + float64(column)/float64(n-1)}
				hills = append(hills, hill{"", at, float64(tile.Posts[row*n+column])})
			}
		}
	}
	return hills
}

// openSections draws n lines whose critical refraction lies within 6 spreads of k, half of them below k, since all others have a chance
// of 0 or 1.
func openSections(tb testing.TB, w *Walker, hills []hill, n int, spreads Spreads) []*Section {
	tb.Helper()
	random := rand.New(rand.NewPCG(20, 26))
	lowest, highest := spreads.K-6*spreads.KSD, spreads.K+6*spreads.KSD
	var sections []*Section
	below := 0
	for len(sections) < n {
		a, b := hills[random.IntN(len(hills))], hills[random.IntN(len(hills))]
		if geodesy.WGS84.Inverse(a.at, b.at).DistanceM < 30e3 {
			continue
		}
		l, err := NewLine(w.end(a.at, a.heightM+2), w.end(b.at, b.heightM))
		if err != nil {
			tb.Fatal(err)
		}
		critical, err := w.Critical(l, FillSea, 200, highest)
		if err != nil {
			tb.Fatal(err)
		}
		if critical.K < lowest || critical.K > highest {
			continue
		}
		if critical.K < spreads.K {
			if below == n/2 {
				continue
			}
			below++
		} else if len(sections)-below == n-n/2 {
			continue
		}
		section, err := w.Section(l, FillSea, 200, nil)
		if err != nil {
			tb.Fatal(err)
		}
		sections = append(sections, section)
	}
	return sections
}

// Stated chances must be kept: of the lines with a chance of about 0.3, three in ten draws are in view.
func TestChanceAgainstDraws(t *testing.T) {
	const bins, draws = 20, 1000
	spreads := surveySpreads()
	borders := bordersWalker(t)
	sections := openSections(t, borders, bordersHills(t), lineCount(1000), spreads)
	bayreuth := fileWalker(t, testdata+"N49E011.hgt.zip", testdata+"N50E011.hgt.zip")
	tops := append(summits(t, bayreuth, 49, 11, 10), summits(t, bayreuth, 50, 11, 10)...)
	sections = append(sections, openSections(t, bayreuth, tops, lineCount(1000), spreads)...)

	for _, correlationM := range []float64{100, 300, 3000} {
		var count [bins]int
		var stated, drawn [bins]float64
		square, worst, open := 0.0, 0.0, 0
		for i, section := range sections {
			spreads := spreads
			spreads.CorrelationM = correlationM
			if i%2 == 1 { // heights from a good map
				spreads.EyeSDM, spreads.TopSDM = 3, 3
			}
			chance, share := section.Odds(spreads).Chance, section.Draw(spreads, draws, uint64(i))
			bin := min(int(chance*bins), bins-1)
			count[bin]++
			stated[bin] += chance
			drawn[bin] += share
			if share > 0.02 && share < 0.98 {
				square += (chance - share) * (chance - share)
				worst = math.Max(worst, math.Abs(chance-share))
				open++
			}
		}
		judged := 0
		for bin, n := range count {
			if n == 0 {
				continue
			}
			chance, share := stated[bin]/float64(n), drawn[bin]/float64(n)
			t.Logf("terrain errors over %v m: %4d lines, chance %.3f, drawn %.3f, %+.3f", correlationM, n, chance, share, chance-share)
			if n < lineCount(30) {
				continue
			}
			judged++
			if math.Abs(chance-share) > 0.05 {
				t.Errorf("terrain errors over %v m: %d lines with a chance of %.3f on average are in view in %.3f of the draws, want 0.05", correlationM, n, chance, share)
			}
		}
		rms := math.Sqrt(square / float64(open))
		t.Logf("terrain errors over %v m: %d lines between 0.02 and 0.98, chance less drawn share %.3f root mean square, %.3f at worst", correlationM, open, rms, worst)
		if judged < bins/2 {
			t.Errorf("terrain errors over %v m: only %d bins have %d lines or more", correlationM, judged, lineCount(30))
		}
		// Bins must not be right by errors that cancel.
		if rms > 0.05 {
			t.Errorf("terrain errors over %v m: chance less drawn share is %.3f root mean square, want 0.05", correlationM, rms)
		}
	}
}

// Where k alone is uncertain, or one error moves all the ground alike, the share is a single Φ.
func TestDrawAgainstSingleNormal(t *testing.T) {
	w := bordersWalker(t)
	const draws = 20000
	for i, section := range openSections(t, w, bordersHills(t), 10, surveySpreads()) {
		// All ground raised alike: the clearance at k = 0.143 of the point that is closest to the ray in metres.
		clearM := math.Inf(1)
		for j := range section.Pieces {
			p := &section.Pieces[j]
			for x := math.Max(p.X, section.GuardM); x <= math.Min(p.X+p.W, section.Line.DistanceM-section.GuardM); x++ {
				u := x - p.X
				clearM = math.Min(clearM, p.ChordAt(u)-p.GroundAt(u)-p.N[0]-p.N[1]*u+section.Line.LiftM(0.143, x))
			}
		}
		for _, c := range []struct {
			name    string
			spreads Spreads
			z       float64
		}{
			{"k alone", Spreads{K: 0.143, KSD: 0.04, TerrainSDM: 1e-12}, (0.143 - section.CriticalK) / 0.04},
			{"all ground alike", Spreads{K: 0.143, TerrainSDM: 20, CorrelationM: 1e12}, clearM / 20},
			{"k of low air everywhere", Spreads{K: 99, LowHeightM: 1e9, LowK: 0.143, LowKSD: 0.04, TerrainSDM: 1e-12}, (0.143 - section.CriticalK) / 0.04},
		} {
			want := 0.5 * math.Erfc(-c.z/math.Sqrt2)
			got := section.Draw(c.spreads, draws, uint64(i))
			// Four standard deviations of a share of so many draws, and the metre between two looks at the ground.
			if tolerance := 4*math.Sqrt(want*(1-want)/draws) + 0.002; math.Abs(got-want) > tolerance {
				t.Errorf("%s, k_c %.4f: Draw(%d) = %.4f, want %.4f ± %.4f", c.name, section.CriticalK, draws, got, want, tolerance)
			}
		}
	}
}

func TestDrawSeed(t *testing.T) {
	section := openSections(t, bordersWalker(t), bordersHills(t), 2, surveySpreads())[0]
	a, b := section.Draw(surveySpreads(), 500, 7), section.Draw(surveySpreads(), 500, 7)
	if a != b {
		t.Errorf("Draw(500, seed 7) = %v, then %v", a, b)
	}
	differs := false
	for seed := range uint64(10) {
		differs = differs || section.Draw(surveySpreads(), 500, seed) != a
	}
	if !differs {
		t.Errorf("Draw(500) = %v for ten seeds", a)
	}
}
