package terrain

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/geoid"
)

// searchLines asks for more lines than a test run has time for.
var searchLines = flag.Int("lines", 0, "compare this many lines in TestSearchIsThePlainWalk")

// ground is terrain to search, with the box in which lines begin and end.
type ground struct {
	name                     string
	walker                   func(tb testing.TB) *Walker
	south, west, north, east float64
}

func realGrounds() []ground {
	of := func(name string, south, west, north, east float64, files ...string) ground {
		return ground{name, func(tb testing.TB) *Walker {
			paths := make([]string, len(files))
			for i, f := range files {
				paths[i] = testdata + f
			}
			return fileWalker(tb, paths...)
		}, south, west, north, east}
	}
	return []ground{
		of("Borders, 3″", 55, -4, 56, -2, "N55W003.hgt.zip", "N55W004.hgt.zip"),
		of("Bayreuth, 3″", 49, 11, 51, 12, "N49E011.hgt.zip", "N50E011.hgt.zip"),
		of("Olympic Peninsula, 1″, half void", 48, -125, 49, -124, "N48W125.hgt.zip"),
		of("Vancouver, 3″", 49, -124, 50, -122, "N49W123.tif.gz", "N49W124.tif.gz"),
		of("Alps, 3″", 46, 8, 47, 9, "N46E008.tif.gz"),
		of("Andes, 3″", -33, -71, -32, -70, "S33W071.tif.gz"),
	}
}

// madeGrounds are small, so that short lines meet all that there is: voids alone and in patches, spikes, gaps, sea, edges, tiles of unequal
// width, the date line, slim cells.
func madeGrounds() []ground {
	holed := func(northDeg, eastDeg float64) int16 {
		h := rugged(northDeg, eastDeg)
		n, e := int(math.Round(northDeg*3600)), int(math.Round(eastDeg*3600))
		switch {
		case (n/900*7+e/900*3)%11 == 0 || (n*31+e*17)%457 == 0:
			return Void
		case (n*13+e*29)%1999 == 0:
			return h + 2500 // a spike
		}
		return h
	}
	relief := func(name string, south, west, north, east int, r relief, posts func(lat, lon int) int) ground {
		return ground{name, func(tb testing.TB) *Walker {
			files := map[string][]byte{}
			for lat := south; lat < north; lat++ {
				for lon := west; lon < east; lon++ {
					if n := posts(lat, lon); n > 0 {
						reliefTile(files, lat, (lon+540)%360-180, n, r, float64(south), float64((lon+540)%360-180-lon+west))
					}
				}
			}
			return madeWalker(tb, files, StoreOptions{}, egm96(tb))
		}, float64(south), float64(west), float64(north), float64(east)}
	}
	every := func(n int) func(int, int) int { return func(int, int) int { return n } }
	some := func(lat, lon int) int { return []int{0, 181, 61, 301, 121}[(lat*3+lon)%5] }
	return []ground{
		relief("voids and spikes", 46, 8, 48, 10, holed, every(181)),
		relief("voids, spikes, gaps, unequal tiles", 46, 6, 49, 11, holed, some),
		relief("sea and unequal tiles", -32, -103, -30, -100, rugged, func(lat, lon int) int { return some(lat+60, lon+180) }),
		relief("the date line", -41, 179, -39, 181, rugged, every(121)),
		relief("80° N", 79, 18, 82, 24, rugged, every(241)),
		{"posts beside the edges, decimals", func(tb testing.TB) *Walker {
			files := map[string][]byte{}
			for lat := 46; lat < 48; lat++ {
				for lon := 8; lon < 10; lon++ {
					m := madeBy(float64(lon), float64(lat), float64(lon+1), float64(lat+1), 200, 120, 0.5, func(latDeg, lonDeg float64) float64 {
						return 1000 + 700*math.Sin(90*latDeg)*math.Cos(70*lonDeg) + math.Mod(latDeg*lonDeg*1e4, 30)
					})
					files[tileName(lat, lon)+".tif"] = m.bytes()
				}
			}
			return NewWalker(storeOf(tb, StoreOptions{MemoryBytes: 1 << 30}, folder(tb, files)), egm96(tb), 0.4)
		}, 46, 8, 48, 10},
		{"no terrain", func(tb testing.TB) *Walker {
			return NewWalker(NewStore(&Index{}, StoreOptions{}), geoid.Ellipsoid(), -3)
		}, -31, -121, -29, -119},
	}
}

// lines draws lines over the ground. A few begin or end on posts, edges and corners.
func (g *ground) lines(w *Walker, seed uint64) func() *Line {
	random := rand.New(rand.NewPCG(seed, 7))
	end := func() End {
		p := geodesy.LatLon{LatDeg: g.south + (g.north-g.south)*random.Float64(), LonDeg: g.west + (g.east-g.west)*random.Float64()}
		if per := []float64{0, 0, 0, 0, 0, 0, 0, 1200, 60, 1}[random.IntN(10)]; per > 0 {
			p.LatDeg, p.LonDeg = math.Round(p.LatDeg*per)/per, p.LonDeg+0.001
		}
		if per := []float64{0, 0, 0, 0, 0, 0, 0, 1200, 60, 1}[random.IntN(10)]; per > 0 {
			p.LonDeg = math.Round(p.LonDeg*per) / per
		}
		p.LonDeg = normalLonDeg(p.LonDeg)
		h, _ := w.store.HeightM(p)
		return w.end(p, h+[]float64{2, 2, 30, 300, 2000}[random.IntN(5)]*(1+random.Float64()))
	}
	var l Line
	return func() *Line {
		for {
			if l.Reset(end(), end()) == nil && l.DistanceM > 2500 && l.DistanceM < 250e3 {
				return &l
			}
		}
	}
}

func sameCritical(a, b Critical) bool {
	same := a.Missing == b.Missing && a.OnTops == b.OnTops && a.Stopped == b.Stopped
	for _, v := range [][2]float64{
		{a.K, b.K}, {a.AtM, b.AtM}, {a.GroundM, b.GroundM}, {a.WithoutSpikesK, b.WithoutSpikesK},
		{a.KBeyond1km, b.KBeyond1km}, {a.MissingM, b.MissingM}, {a.FirstMissingM, b.FirstMissingM},
	} {
		same = same && math.Float64bits(v[0]) == math.Float64bits(v[1])
	}
	return same
}

// The search says what the plain walk over all cells says, to the bit; stopped early it stops where k_c without spikes is past the bound and
// nowhere else; and it fills the same voids and gaps.
func TestSearchIsThePlainWalk(t *testing.T) {
	grounds := append(realGrounds(), madeGrounds()...)
	count := max(lineCount(20000)/len(grounds), *searchLines/len(grounds))
	total := 0
	for i, g := range grounds {
		w, plain := g.walker(t), g.walker(t)
		next := g.lines(w, uint64(i))
		stoppedLines, spikes, missing, voids := 0, 0, 0, 0
		highEvery := 8
		if i == 2 {
			highEvery = 400 // filling millions of voids takes its time
		}
		bounds := [4]float64{-0.2, 0.143, 0.343, 2}
		for n := range count {
			l := next()
			guardM := [4]float64{200, 200, 0, 1000}[n%4]
			fill := FillSea
			if n%highEvery >= highEvery/2 && n%highEvery < highEvery/2+4 {
				fill = FillHigh
			}
			name := func() string {
				return fmt.Sprintf("%s: line %d, %v, %.1f m, to %v, %.1f m, guard %v m, fill %v", g.name, n, l.From.At, l.From.HeightM, l.To.At, l.To.HeightM, guardM, fill)
			}
			want, err1 := plain.criticalPlain(l, fill, guardM, math.Inf(1))
			got, err2 := w.Critical(l, fill, guardM, math.Inf(1))
			if err1 != nil || err2 != nil || !sameCritical(got, want) {
				t.Fatalf("%s:\nsearch %+v, %v,\nwalk   %+v, %v", name(), got, err2, want, err1)
			}
			stopAbove := bounds[n/8%4]
			bounded, err := w.Critical(l, fill, guardM, stopAbove)
			stops := want.WithoutSpikesK > stopAbove
			if err != nil || bounded.Stopped != stops || !stops && !sameCritical(bounded, want) ||
				stops && !(bounded.K > stopAbove && bounded.K <= want.K && bounded.WithoutSpikesK == bounded.K) {
				t.Fatalf("%s, bound %v:\nsearch %+v, %v,\nwalk   %+v", name(), stopAbove, bounded, err, want)
			}
			if stops {
				stoppedLines++
			}
			if want.WithoutSpikesK < want.K {
				spikes++
			}
			if want.MissingM > 0 {
				missing++
			}
		}
		met, wantMet := w.store.Met(), plain.store.Met()
		if fmt.Sprint(met) != fmt.Sprint(wantMet) {
			t.Errorf("%s: the search filled %d voids and the gaps %v, the walk %d and %v", g.name, len(met.Voids), met.Gaps, len(wantMet.Voids), wantMet.Gaps)
		}
		metVoids, metGaps := len(met.Voids), met.Gaps
		voids += metVoids
		total += count
		t.Logf("%s: %d lines, %d past their bounds, %d with a spike, %d with missing terrain, %d voids and %d gaps filled", g.name, count, stoppedLines, spikes, missing, voids, len(metGaps))
	}
	t.Logf("%d lines", total)
}
