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
	const roundingM = 1e-6
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
		if chordM > distanceM+roundingM || chordM < sureChordM(distanceM)-roundingM {
			t.Fatalf("%v to %v: chord %.4f m, geodesic %.4f m, least chord %.4f m", from, to, chordM, distanceM, sureChordM(distanceM))
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
	out := make([]int32, 0, 2*len(ends))
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
