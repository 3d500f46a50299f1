package pipeline

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy"
)

type distanceBounds struct{ minM, maxM float64 }

// geodesicsM returns the distances from an observer to all targets.
func geodesicsM(observer End, targets []End) []float64 {
	distancesM := make([]float64, len(targets))
	for j, target := range targets {
		distancesM[j] = geodesicM(observer.At, target.At)
	}
	return distancesM
}

// bruteWithin is the slow twin of TargetTree.Within: the rule alone, pair by pair.
func bruteWithin(targets []End, distancesM []float64, observer End, bound distanceBounds) []int32 {
	found := []int32{}
	for j, target := range targets {
		if IsCandidate(observer, target, distancesM[j], bound.minM, bound.maxM) {
			found = append(found, int32(j))
		}
	}
	return found
}

// agreeWithBruteForce holds TargetTree.Within against its slow twin and returns how many candidates there were.
func agreeWithBruteForce(t testing.TB, name string, targets, observers []End, bounds ...distanceBounds) (pairs int) {
	t.Helper()
	tree := NewTargetTree(targets, geodesicM)
	if len(tree.nodes) != cap(tree.nodes) {
		t.Errorf("%s: %d nodes in the room of %d", name, len(tree.nodes), cap(tree.nodes))
	}
	var got []int32
	for i, observer := range observers {
		distancesM := geodesicsM(observer, targets)
		for _, bound := range bounds {
			want := bruteWithin(targets, distancesM, observer, bound)
			got = tree.Within(observer, bound.minM, bound.maxM, got)
			if !slices.Equal(got, want) {
				t.Fatalf("%s: observer %d %+v within %v: %d targets by the tree, %d by brute force", name, i, observer, bound, len(got), len(want))
			}
			pairs += len(want)
		}
	}
	return pairs
}

func anywhere(random *rand.Rand) geodesy.LatLon {
	return geodesy.LatLon{LatDeg: math.Asin(2*random.Float64()-1) * 180 / math.Pi, LonDeg: 360*random.Float64() - 180}
}

func TestWithinAgreesWithBruteForce(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	scatterBy := func(n int, lowestM, kMax float64, place func() geodesy.LatLon) []End {
		ends := make([]End, n)
		for i := range ends {
			heightM := lowestM + 5000*math.Pow(random.Float64(), 3)
			ends[i] = NewEnd(place(), heightM, 10, 0, kMax)
		}
		return ends
	}
	scatter := func(n int, place func() geodesy.LatLon) []End { return scatterBy(n, 0, 0.343, place) }
	around := func(latDeg, lonDeg, spreadDeg float64) func() geodesy.LatLon {
		return func() geodesy.LatLon {
			return geodesy.LatLon{
				LatDeg: max(-90, min(90, latDeg+spreadDeg*random.NormFloat64())),
				LonDeg: lonDeg + spreadDeg*random.NormFloat64(),
			}
		}
	}
	globe := func() geodesy.LatLon { return anywhere(random) }
	pole := func(sign float64) func() geodesy.LatLon {
		return func() geodesy.LatLon {
			return geodesy.LatLon{LatDeg: sign * (90 - 3*random.Float64()), LonDeg: 720*random.Float64() - 360}
		}
	}
	notKnown := scatter(100, around(47, 10, 0.7))
	for i := range notKnown {
		switch i % 7 {
		case 0:
			notKnown[i].ReachM = math.NaN()
		case 1:
			notKnown[i].At.LatDeg = math.NaN()
		}
	}
	worlds := map[string][]End{
		"globe":     scatter(1500, globe),
		"clustered": slices.Concat(scatter(300, around(47, 10, 0.7)), scatter(300, around(45, 7, 0.3)), scatter(300, around(-3, 37, 0.05))),
		"ranges":    clusteredEnds(3000),
		"dense":     scatter(4000, around(-40, 175, 0.5)),
		"poles":     slices.Concat(scatter(300, pole(1)), scatter(300, pole(-1)), []End{{At: geodesy.LatLon{LatDeg: 90}, ReachM: 2e5}, {At: geodesy.LatLon{LatDeg: 90, LonDeg: 70}, ReachM: 2e5}}),
		"date line": scatter(600, around(52, 180, 1.5)),
		"one place": scatter(200, func() geodesy.LatLon { return geodesy.LatLon{LatDeg: 10, LonDeg: 20} }),
		"one metre": scatter(200, around(10, 20, 1e-5)),
		"no reach":  make([]End, 50),
		// Some below the base, which the lowest ground of a region is not, but for a wrong height.
		"negative heights": scatterBy(600, -400, 0.343, around(31.5, 35.5, 0.5)),
		// With these k reaches are thousands of kilometres, about half the Earth's girth, and without end.
		"k = 0.99":   scatterBy(500, 0, 0.99, globe),
		"k = 0.999":  scatterBy(500, 0, 0.999, globe),
		"k = 0.9999": scatterBy(500, 0, 0.9999, globe),
		"k = 1":      scatterBy(500, 0, 1, globe),
		"no end of reach": {
			{At: geodesy.LatLon{LatDeg: 1}, ReachM: math.Inf(1)}, {At: geodesy.LatLon{LatDeg: 2}, ReachM: math.Inf(1)},
			{At: geodesy.LatLon{LatDeg: -40, LonDeg: 170}, ReachM: 1},
		},
		"antipodes": {
			{At: geodesy.LatLon{LatDeg: 90}, ReachM: math.Inf(1)}, {At: geodesy.LatLon{LatDeg: -90}, ReachM: 1.0001e7},
			{At: geodesy.LatLon{LatDeg: -90, LonDeg: 3}, ReachM: 1.00019657e7}, {At: geodesy.LatLon{LatDeg: 90, LonDeg: 5}, ReachM: 1.00019657e7},
		},
		"not known": notKnown,
		"none":      nil,
		"one":       scatter(1, globe),
		"real":      realEnds(t),
	}
	for name, world := range worlds {
		observers := slices.Concat(everyNth(world, 60), []End{{At: geodesy.LatLon{LatDeg: 55.5, LonDeg: -3.4}, ReachM: 1e5}, {At: globe()}})
		pairs := agreeWithBruteForce(t, name, world, observers,
			distanceBounds{30e3, 0}, distanceBounds{2e3, 0}, distanceBounds{0, 0}, distanceBounds{0, 40e3}, distanceBounds{30e3, 60e3}, distanceBounds{100e3, 90e3},
			distanceBounds{6e6, 0}, distanceBounds{0, 7e6}, distanceBounds{2.0005e7, 0}, distanceBounds{2.1e7, 0})
		if pairs == 0 && !slices.Contains([]string{"none", "one", "one place", "no reach"}, name) {
			t.Errorf("%s: no candidates at all, the comparison says nothing", name)
		}
	}
}

// Targets whose horizons, or least or greatest distances, miss the observer's by less than two metres: what the tree rounds off must not
// tell, nor may a node be taken or passed over for what only some of its targets are.
func TestWithinAgreesAtTheEdge(t *testing.T) {
	random := rand.New(rand.NewPCG(13, 14))
	for range 20 {
		observer := End{At: anywhere(random), ReachM: 900 * math.Pow(10, 3*random.Float64())}
		var targets []End
		var bounds []distanceBounds
		for i := range 300 {
			// From 1 km to the other side of the Earth.
			at, _ := geodesy.WGS84.Direct(observer.At, 360*random.Float64(), math.Pow(10, 3+4.3*random.Float64()))
			distanceM := geodesicM(observer.At, at)
			for range 1 + 4*random.IntN(10) {
				targets = append(targets, End{At: at, ReachM: max(distanceM-observer.ReachM-samePlaceM+4*random.Float64()-2, 0)})
			}
			if i < 10 {
				bounds = append(bounds, distanceBounds{minM: distanceM}, distanceBounds{minM: distanceM + random.Float64() - 0.5}, distanceBounds{maxM: distanceM})
			}
		}
		pairs := agreeWithBruteForce(t, "edge", targets, []End{observer}, append(bounds, distanceBounds{})...)
		if most := len(targets) * (len(bounds) + 1); pairs < most/10 || pairs > most*9/10 {
			t.Errorf("%d candidates of %d, want some on both sides of the edge", pairs, most)
		}
	}
}

// sampleEnds reads eyes and tops of all features of a gazetteer, over its own lowest ground. Where no height is listed one of up to 400 m
// stands in for that of the terrain.
func sampleEnds(t *testing.T, path string) (eyes, tops []End) {
	t.Helper()
	random := rand.New(rand.NewPCG(15, 16))
	var features []gazetteer.Feature
	baseM := 0.0
	_, err := gazetteer.ReadFile(t.Context(), path, gazetteer.ReadOptions{}, func(f gazetteer.Feature) error {
		if math.IsNaN(f.GroundHeightM) {
			f.GroundHeightM, f.GroundHeightSDM = 400*random.Float64(), 10
		}
		baseM = min(baseM, f.GroundHeightM)
		features = append(features, f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for i := range features {
		f := &features[i]
		eyes = append(eyes, NewEnd(f.At, f.GroundHeightM+2, f.GroundHeightSDM, baseM, benchmarkKMax))
		tops = append(tops, NewEnd(f.At, topHeightM(f), f.GroundHeightSDM, baseM, benchmarkKMax))
	}
	return eyes, tops
}

// Every gazetteer of the test data, each by itself and all as one world: under CI every observer, else up to 200.
func TestWithinAgreesOnEverySample(t *testing.T) {
	samples := []string{
		"DoBIH_v17_5_slice_55-56N_4-2W.csv", "dobih_slice_geonames_layout.tsv", "GeoNames_AG.zip", "beatty.osm.gz", "hohe-warte.osm.gz",
		"north-bayreuth.osm.gz", "malta-latest.osm.pbf", "dof_sample_AL.dat", "ne_10m_geography_regions_elevation_points.json",
	}
	observers := 200
	if os.Getenv("CI") == "true" {
		observers = math.MaxInt
	}
	bounds := []distanceBounds{{30e3, 0}, {2e3, 0}, {0, 0}, {0, 20e3}}
	var allEyes, allTops []End
	for _, sample := range samples {
		eyes, tops := sampleEnds(t, filepath.Join("..", "testdata", sample))
		if agreeWithBruteForce(t, sample, tops, everyNth(eyes, observers), bounds...) == 0 {
			t.Errorf("%s: no candidates at all, the comparison says nothing", sample)
		}
		allEyes, allTops = append(allEyes, eyes...), append(allTops, tops...)
	}
	agreeWithBruteForce(t, "all samples", allTops, everyNth(allEyes, observers), bounds...)
}

// FuzzWithin makes a cluster of targets, with one reach for all or heights of their own, around or across from the observer, and holds the
// tree against brute force.
func FuzzWithin(f *testing.F) {
	f.Add(uint64(1), uint16(300), 47.0, 10.0, 1.0, 3000.0, 0.343, 30e3, 0.0)
	f.Add(uint64(2), uint16(200), 90.0, 0.0, 3.0, 8000.0, 0.343, 0.0, 0.0)
	f.Add(uint64(3), uint16(200), -16.0, 180.0, 0.5, 500.0, 0.5, 2e3, 90e3)
	f.Add(uint64(4), uint16(100), 0.0, 0.0, 90.0, 100.0, 1.0, 1e6, 0.0)
	f.Add(uint64(5), uint16(100), 31.5, 35.5, 1e-5, -300.0, 0.9999, 0.0, 2e7)
	f.Fuzz(func(t *testing.T, seed uint64, n uint16, latDeg, lonDeg, spreadDeg, heightM, kMax, minM, maxM float64) {
		if !(math.Abs(latDeg) <= 90 && math.Abs(lonDeg) <= 360 && math.Abs(spreadDeg) <= 180 && math.Abs(heightM) <= 1e4 && math.Abs(kMax) < 2) {
			t.Skip("no place on Earth")
		}
		random := rand.New(rand.NewPCG(seed, 17))
		ends := make([]End, n%2000)
		for i := range ends {
			at := geodesy.LatLon{LatDeg: max(-90, min(90, latDeg+spreadDeg*random.NormFloat64())), LonDeg: lonDeg + spreadDeg*random.NormFloat64()}
			ends[i] = NewEnd(at, heightM*math.Pow(random.Float64(), float64(seed%4)), 0, -200, kMax)
		}
		observers := slices.Concat(everyNth(ends, 4), []End{NewEnd(geodesy.LatLon{LatDeg: -latDeg, LonDeg: lonDeg + 180}, heightM, 3, 0, kMax)})
		agreeWithBruteForce(t, fmt.Sprintf("%d ends", len(ends)), ends, observers, distanceBounds{minM, maxM}, distanceBounds{minM, 0})
	})
}

func TestAscending(t *testing.T) {
	random := rand.New(rand.NewPCG(18, 19))
	for _, n := range []int32{1, 2, 2048, 2049, 1 << 22, 1<<22 + 1, math.MaxInt32} {
		for _, length := range []int{0, 1, 255, 256, 3000} {
			indices := make([]int32, length, length+random.IntN(2*length+1))
			for i := range indices {
				indices[i] = random.Int32N(n)
			}
			want := slices.Clone(indices)
			slices.Sort(want)
			if got := ascending(indices, int(n)); !slices.Equal(got, want) {
				t.Errorf("ascending of %d indices below %d is not sorted", length, n)
			}
		}
	}
}
