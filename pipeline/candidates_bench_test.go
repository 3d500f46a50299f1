package pipeline

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"farstation/geodesy"
)

// benchmarkKMax is the defaults' k + 5·k_sd.
const benchmarkKMax = 0.343

// clusteredEnds spreads n tops over the globe as mountains lie: nine of ten in ranges, some of which lie over a pole or the date line, their
// numbers and heights skewed so that few ranges hold most tops and few tops are high, up to 8,000 m; the rest are hills anywhere.
func clusteredEnds(n int) []End {
	random := rand.New(rand.NewPCG(5, 6))
	globe := func() geodesy.LatLon {
		return geodesy.LatLon{LatDeg: math.Asin(2*random.Float64()-1) * 180 / math.Pi, LonDeg: 360*random.Float64() - 180}
	}
	end := func(at geodesy.LatLon, heightM float64) End { return NewEnd(at, heightM, 10, 0, benchmarkKMax) }
	ends := make([]End, 0, n)
	for range n / 10 {
		ends = append(ends, end(globe(), 300*random.ExpFloat64()))
	}
	for i := 0; len(ends) < n; i++ {
		middle := globe()
		switch i % 50 {
		case 0:
			middle.LatDeg = 90 - random.Float64()
		case 1:
			middle.LatDeg = random.Float64() - 90
		case 2:
			middle.LonDeg = 180
		}
		highestM := 1000 + 7000*math.Pow(random.Float64(), 3)
		tops := min(n-len(ends), 20+int(float64(n)/200*math.Pow(random.Float64(), 4)))
		towardsDeg, lengthM, widthM := 360*random.Float64(), 1e5+9e5*random.Float64(), 1e4+5e4*random.Float64()
		for range tops {
			crest, _ := geodesy.WGS84.Direct(middle, towardsDeg, lengthM*(random.Float64()-0.5))
			at, _ := geodesy.WGS84.Direct(crest, 360*random.Float64(), widthM*math.Abs(random.NormFloat64()))
			ends = append(ends, end(at, highestM*math.Pow(random.Float64(), 3)))
		}
	}
	random.Shuffle(n, func(i, j int) { ends[i], ends[j] = ends[j], ends[i] })
	return ends
}

// BenchmarkWithinMillion searches among a million clustered targets, for observers drawn at random and in the order in which a survey takes
// them.
func BenchmarkWithinMillion(b *testing.B) {
	ends := clusteredEnds(1_000_000)
	tree := NewTargetTree(ends, geodesicM)
	along := slices.Clone(ends)
	slices.SortFunc(along, func(a, b End) int { return cmp.Compare(hilbert(a.At), hilbert(b.At)) })
	// A stretch of the curve in each of 100 parts of the globe.
	var survey []End
	for part := range slices.Chunk(along, len(along)/100) {
		survey = append(survey, part[:2000]...)
	}
	orders := []struct {
		name      string
		observers []End
	}{{"random", ends[:200_000]}, {"survey", survey}}
	for _, order := range orders {
		b.Run(order.name, func(b *testing.B) {
			var out []int32
			found := 0
			for i := 0; b.Loop(); i++ {
				out = tree.Within(order.observers[i%len(order.observers)], 30e3, 0, out)
				found += len(out)
			}
			reportPairs(b, len(ends), found)
		})
	}
}

// reportPairs reports candidates found, each in its place in the list, as candidates/s, and all pairs that brute force would try as pairs/s.
func reportPairs(b *testing.B, targets, found int) {
	seconds := b.Elapsed().Seconds()
	b.ReportMetric(float64(found)/seconds, "candidates/s")
	b.ReportMetric(float64(b.N)*float64(targets)/seconds, "pairs/s")
	b.ReportMetric(float64(found)/float64(b.N), "candidates/op")
}

// BenchmarkNewTargetTree builds trees over clustered targets. Bytes do not count the ends, 24 a target, which the tree keeps too.
func BenchmarkNewTargetTree(b *testing.B) {
	for _, n := range []int{100_000, 1_000_000, 5_000_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			if n > 1_000_000 && testing.Short() {
				b.Skip("5,000,000 targets take ten seconds: run without -short")
			}
			ends := clusteredEnds(n)
			var tree *TargetTree
			before := liveBytes()
			b.ReportAllocs()
			for b.Loop() {
				tree = NewTargetTree(ends, geodesicM)
			}
			b.ReportMetric(float64(liveBytes()-before)/float64(n), "bytes/target")
			runtime.KeepAlive(tree)
			runtime.KeepAlive(ends)
		})
	}
}

// liveBytes returns the heap in use after a collection.
func liveBytes() int64 {
	var stats runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&stats)
	return int64(stats.HeapAlloc)
}

// BenchmarkVolcano looks from a volcano of 6,000 m over a plain with 200,000 targets that are candidates, among 5,000,000 features.
func BenchmarkVolcano(b *testing.B) {
	if testing.Short() {
		b.Skip("5,000,000 features take 0.4 GB and ten seconds: run without -short")
	}
	ends := clusteredEnds(4_800_000)
	random := rand.New(rand.NewPCG(7, 8))
	summit := geodesy.LatLon{LatDeg: -8, LonDeg: -150}
	for range 200_000 {
		at, _ := geodesy.WGS84.Direct(summit, 360*random.Float64(), 30e3+310e3*math.Sqrt(random.Float64()))
		ends = append(ends, NewEnd(at, 200*random.Float64(), 10, 0, benchmarkKMax))
	}
	tree := NewTargetTree(ends, geodesicM)
	b.ReportAllocs()
	var out []int32
	for b.Loop() {
		out = tree.Within(NewEnd(summit, 6002, 10, 0, benchmarkKMax), 30e3, 0, nil)
	}
	b.ReportMetric(float64(len(out)), "candidates/op")
	b.ReportMetric(float64(4*cap(out)), "kept-bytes")
	if len(out) < 200_000 {
		b.Fatalf("%d candidates, want 200,000", len(out))
	}
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
	out := make([]int32, 0, 2*len(ends))
	found := 0
	for i := 0; b.Loop(); i++ {
		out = tree.Within(ends[i%len(ends)], 30e3, 0, out)
		found += len(out)
	}
	reportPairs(b, len(ends), found)
}

func BenchmarkWithinBruteForce(b *testing.B) {
	ends := benchmarkEnds(100000)
	for i := 0; b.Loop(); i++ {
		observer := ends[i%len(ends)]
		bruteWithin(ends, geodesicsM(observer, ends), observer, distanceBounds{minM: 30e3})
	}
	b.ReportMetric(float64(b.N)*float64(len(ends))/b.Elapsed().Seconds(), "pairs/s")
}
