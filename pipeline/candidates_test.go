package pipeline

import (
	"bufio"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"farstation/geodesy"
)

func geodesicM(from, to geodesy.LatLon) float64 { return geodesy.WGS84.Inverse(from, to).DistanceM }

// bruteWithin is the slow twin of TargetTree.Within: the rule alone, pair by pair.
func bruteWithin(targets []End, observer End, minM, maxM float64) []int32 {
	var found []int32
	for i, target := range targets {
		if IsCandidate(observer, target, geodesicM(observer.At, target.At), minM, maxM) {
			found = append(found, int32(i))
		}
	}
	return found
}

func TestHorizonReachM(t *testing.T) {
	const (
		feet         = 0.3048
		nauticalMile = 1852.0
	)
	tests := []struct {
		name           string
		heightM, kMax  float64
		wantM, marginM float64
	}{
		// Bowditch, American Practical Navigator (Pub. No. 9), Table 12: D = 1.169·√h nautical miles for h in feet, which is
		// k = 0.1721 on r₀ = 3440.1 nmi; the largest radius (3455.5 nmi) lies 0.22 % above that.
		{"Bowditch Table 12, 100 ft", 100 * feet, 0.1721, 11.69 * nauticalMile, 0.004 * 11.69 * nauticalMile},
		{"Bowditch Table 12, 10000 ft", 10000 * feet, 0.1721, 116.9 * nauticalMile, 0.004 * 116.9 * nauticalMile},
		// √(2·R·h/(1−k)) = √(2·6399594·1000/0.657), less a part in 10,000 for the sphere (derived here).
		{"1,000 m at the defaults' k + 5·k_sd", 1000, 0.343, 139575, 15},
		{"on the base", 0, 0.343, 0, 0},
		{"below the base", -30, 0.343, 0, 0},
		{"light straight", 100, 0, math.Sqrt(2 * 6399594 * 100), 1},
		{"no horizon", 100, 1, math.Inf(1), 0},
		{"no horizon", 0, 1.2, math.Inf(1), 0},
	}
	for _, test := range tests {
		got := HorizonReachM(test.heightM, test.kMax)
		if got != test.wantM && !(math.Abs(got-test.wantM) <= test.marginM) {
			t.Errorf("HorizonReachM(%v m, k=%v) = %.1f m, want %.1f ± %.1f (%s)", test.heightM, test.kMax, got, test.wantM, test.marginM, test.name)
		}
	}
	end := NewEnd(geodesy.LatLon{LatDeg: 1, LonDeg: 2}, 500, 10, -20, 0.343)
	if want := HorizonReachM(550, 0.343); end.ReachM != want {
		t.Errorf("NewEnd(500 m, sd 10 m, base -20 m) reaches %.3f m, want that of 550 m, %.3f m", end.ReachM, want)
	}
}

// Radii of curvature of WGS84 at pole and equator: NIMA TR8350.2, 3rd ed., Table 3.3 gives the polar radius 6399593.6258 m;
// the other is b²/a of its b = 6356752.3142 m, a = 6378137 m.
func TestRadiusBounds(t *testing.T) {
	if r := 6399593.6258; largestRadiusM < r || largestRadiusM > r+1 {
		t.Errorf("largestRadiusM = %v, want %v rounded up", largestRadiusM, r)
	}
	if r := 6356752.3142 * 6356752.3142 / 6378137; smallestRadiusM > r || smallestRadiusM < r-1 {
		t.Errorf("smallestRadiusM = %v, want %v rounded down", smallestRadiusM, r)
	}
}

// The proof in TargetTree's comment, held against geodesics of all lengths: chord ≤ geodesic, and sureChordM is a chord that the
// geodesic's never falls under.
func TestChordBounds(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 12))
	for range 20000 {
		from := geodesy.LatLon{LatDeg: random.Float64()*180 - 90, LonDeg: random.Float64()*360 - 180}
		span := 45 * math.Pow(random.Float64(), 4)
		to := geodesy.LatLon{
			LatDeg: max(-90, min(90, from.LatDeg+span*(2*random.Float64()-1))),
			LonDeg: from.LonDeg + span*(2*random.Float64()-1),
		}
		chordM := geodesy.WGS84.ToCartesian(from, 0).Sub(geodesy.WGS84.ToCartesian(to, 0)).Norm()
		distanceM := geodesicM(from, to)
		if chordM > distanceM+boundSlackM || chordM < sureChordM(distanceM)-boundSlackM {
			t.Fatalf("%v to %v: chord %.4f m, geodesic %.4f m, least chord %.4f m", from, to, chordM, distanceM, sureChordM(distanceM))
		}
	}
}

func TestWithinAgreesWithBruteForce(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	scatter := func(n int, place func() geodesy.LatLon) []End {
		ends := make([]End, n)
		for i := range ends {
			heightM := 5000 * math.Pow(random.Float64(), 3)
			ends[i] = NewEnd(place(), heightM, 10, 0, 0.343)
		}
		return ends
	}
	around := func(latDeg, lonDeg, spreadDeg float64) func() geodesy.LatLon {
		return func() geodesy.LatLon {
			return geodesy.LatLon{
				LatDeg: max(-90, min(90, latDeg+spreadDeg*random.NormFloat64())),
				LonDeg: lonDeg + spreadDeg*random.NormFloat64(),
			}
		}
	}
	globe := func() geodesy.LatLon {
		return geodesy.LatLon{LatDeg: math.Asin(2*random.Float64()-1) * 180 / math.Pi, LonDeg: 360*random.Float64() - 180}
	}
	pole := func(sign float64) func() geodesy.LatLon {
		return func() geodesy.LatLon {
			return geodesy.LatLon{LatDeg: sign * (90 - 3*random.Float64()), LonDeg: 720*random.Float64() - 360}
		}
	}
	worlds := map[string][]End{
		"globe":     scatter(1500, globe),
		"clustered": slices.Concat(scatter(300, around(47, 10, 0.7)), scatter(300, around(45, 7, 0.3)), scatter(300, around(-3, 37, 0.05))),
		"poles":     slices.Concat(scatter(300, pole(1)), scatter(300, pole(-1)), []End{{At: geodesy.LatLon{LatDeg: 90}, ReachM: 2e5}, {At: geodesy.LatLon{LatDeg: 90, LonDeg: 70}, ReachM: 2e5}}),
		"date line": scatter(600, around(52, 180, 1.5)),
		"one place": scatter(200, func() geodesy.LatLon { return geodesy.LatLon{LatDeg: 10, LonDeg: 20} }),
		"one metre": scatter(200, around(10, 20, 1e-5)),
		"no reach":  make([]End, 50),
		"no end of reach": {
			{At: geodesy.LatLon{LatDeg: 1}, ReachM: math.Inf(1)}, {At: geodesy.LatLon{LatDeg: 2}, ReachM: math.Inf(1)},
			{At: geodesy.LatLon{LatDeg: -40, LonDeg: 170}, ReachM: 1},
		},
		"none": nil,
		"one":  scatter(1, globe),
		"real": realEnds(t),
	}
	bounds := []struct{ minM, maxM float64 }{{30e3, 0}, {2e3, 0}, {0, 0}, {0, 40e3}, {30e3, 60e3}, {100e3, 90e3}, {6e6, 0}}
	for name, world := range worlds {
		tree := NewTargetTree(world, geodesicM)
		observers := append(slices.Clone(world), End{At: geodesy.LatLon{LatDeg: 55.5, LonDeg: -3.4}, ReachM: 1e5}, End{At: globe()})
		pairs := 0
		for i := 0; i < len(observers); i += 1 + len(observers)/60 {
			for _, bound := range bounds {
				got := tree.Within(observers[i], bound.minM, bound.maxM, nil)
				want := bruteWithin(world, observers[i], bound.minM, bound.maxM)
				pairs += len(want)
				if !slices.Equal(got, want) {
					t.Fatalf("%s: observer %d %+v within %v: %d targets by the tree, %d by brute force", name, i, observers[i], bound, len(got), len(want))
				}
			}
		}
		if pairs == 0 && !slices.Contains([]string{"none", "one", "one place", "no reach"}, name) {
			t.Errorf("%s: no candidates at all, the comparison says nothing", name)
		}
	}
}

// One observer and one target whose distance is a metre either side of what the rule allows.
func TestWithinAtTheEdge(t *testing.T) {
	observer := End{At: geodesy.LatLon{LatDeg: 46, LonDeg: 8}, ReachM: 120e3}
	target := End{At: geodesy.LatLon{LatDeg: 47, LonDeg: 10}}
	distanceM := geodesicM(observer.At, target.At)
	tests := []struct {
		name               string
		reachM, minM, maxM float64
		want               bool
	}{
		{"horizons meet", distanceM - 120e3 - 0.5, 0, 0, true},
		{"horizons just do not meet", distanceM - 120e3 - 1.5, 0, 0, false},
		{"exactly the least distance", 2e5, distanceM, 0, true},
		{"nearer than the least distance", 2e5, distanceM + 1e-6, 0, false},
		{"exactly the greatest distance", 2e5, 0, distanceM, true},
		{"past the greatest distance", 2e5, 0, distanceM - 1e-6, false},
	}
	for _, test := range tests {
		target.ReachM = test.reachM
		got := len(NewTargetTree([]End{target}, geodesicM).Within(observer, test.minM, test.maxM, nil)) == 1
		if got != test.want || IsCandidate(observer, target, distanceM, test.minM, test.maxM) != test.want {
			t.Errorf("%s: target within = %v, want %v", test.name, got, test.want)
		}
	}
}

func TestWithinReusesItsBuffer(t *testing.T) {
	ends := realEnds(t)
	tree := NewTargetTree(ends, geodesicM)
	out := make([]int32, 0, len(ends))
	if allocations := testing.AllocsPerRun(20, func() { out = tree.Within(ends[7], 30e3, 0, out) }); allocations != 0 {
		t.Errorf("Within allocates %v times with a large enough buffer, want 0", allocations)
	}
	if len(out) == 0 || !slices.IsSorted(out) {
		t.Errorf("Within gave %d targets, sorted: %v", len(out), slices.IsSorted(out))
	}
}

// realEnds reads places and heights of hills from a real extract in the GeoNames layout.
func realEnds(tb testing.TB) []End {
	tb.Helper()
	file, err := os.Open("../testdata/dobih_slice_geonames_layout.tsv")
	if err != nil {
		tb.Fatal(err)
	}
	defer file.Close()
	var ends []End
	for lines := bufio.NewScanner(file); lines.Scan(); {
		column := strings.Split(lines.Text(), "\t")
		var value [3]float64
		for i, at := range []int{4, 5, 15} {
			if value[i], err = strconv.ParseFloat(column[at], 64); err != nil {
				tb.Fatal(err)
			}
		}
		ends = append(ends, NewEnd(geodesy.LatLon{LatDeg: value[0], LonDeg: value[1]}, value[2], 5, 0, 0.343))
	}
	return ends
}

// benchmarkEnds spreads n hills and mountains, 20,000 of them to every 1,100 km by 1,100 km.
func benchmarkEnds(n int) []End {
	random := rand.New(rand.NewPCG(3, 4))
	ends := make([]End, n)
	for i := range ends {
		at := geodesy.LatLon{LatDeg: 42 + 10*random.Float64(), LonDeg: float64(n) / 20000 * 15 * random.Float64()}
		ends[i] = NewEnd(at, 4000*math.Pow(random.Float64(), 4), 10, 0, 0.343)
	}
	return ends
}

func BenchmarkWithin(b *testing.B) {
	ends := benchmarkEnds(100000)
	tree := NewTargetTree(ends, geodesicM)
	out := make([]int32, 0, len(ends))
	found := 0
	for i := 0; b.Loop(); i++ {
		out = tree.Within(ends[i%len(ends)], 30e3, 0, out)
		found += len(out)
	}
	b.ReportMetric(float64(b.N)*float64(len(ends))/b.Elapsed().Seconds(), "pairs/s")
	b.ReportMetric(float64(found)/float64(b.N), "candidates/op")
}

func BenchmarkWithinBruteForce(b *testing.B) {
	ends := benchmarkEnds(100000)
	for i := 0; b.Loop(); i++ {
		bruteWithin(ends, ends[i%len(ends)], 30e3, 0)
	}
	b.ReportMetric(float64(b.N)*float64(len(ends))/b.Elapsed().Seconds(), "pairs/s")
}

func BenchmarkNewTargetTree(b *testing.B) {
	ends := benchmarkEnds(100000)
	for b.Loop() {
		NewTargetTree(ends, geodesicM)
	}
}
