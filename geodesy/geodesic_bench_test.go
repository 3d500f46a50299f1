package geodesy

import (
	"math/rand/v2"
	"testing"
)

// benchPairs are lines of 30 to 500 km, the length of sightlines, at all latitudes below 70°.
func benchPairs() (pairs [1024][2]LatLon) {
	r := rand.New(rand.NewPCG(1, 2))
	for i := range pairs {
		from := LatLon{140*r.Float64() - 70, 360*r.Float64() - 180}
		to, _ := WGS84.Direct(from, 360*r.Float64(), 30e3+470e3*r.Float64())
		pairs[i] = [2]LatLon{from, to}
	}
	return pairs
}

func BenchmarkInverse(b *testing.B) {
	pairs := benchPairs()
	var sum float64
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		p := &pairs[i%len(pairs)]
		sum += WGS84.Inverse(p[0], p[1]).DistanceM
	}
	if sum == 0 {
		b.Fatal("no distance")
	}
}

func BenchmarkInverseWorldwide(b *testing.B) {
	pairs := benchPairs()
	var sum float64
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		sum += WGS84.Inverse(pairs[i%len(pairs)][0], pairs[(i+1)%len(pairs)][0]).DistanceM
	}
	if sum == 0 {
		b.Fatal("no distance")
	}
}

func BenchmarkInverseLine(b *testing.B) {
	pairs := benchPairs()
	var sum float64
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		p := &pairs[i%len(pairs)]
		arc, line := WGS84.InverseLine(p[0], p[1])
		sum += arc.DistanceM + line.scale
	}
	if sum == 0 {
		b.Fatal("no distance")
	}
}

func BenchmarkLineAt(b *testing.B) {
	line := WGS84.Line(LatLon{55, -3}, 40)
	var sum float64
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		p, _ := line.At(float64(i&1023) * 300)
		sum += p.LatDeg
	}
	if sum == 0 {
		b.Fatal("no position")
	}
}

func BenchmarkToCartesian(b *testing.B) {
	pairs := benchPairs()
	var sum float64
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		sum += WGS84.ToCartesian(pairs[i%len(pairs)][0], 1000).X
	}
	if sum == 0 {
		b.Fatal("no place")
	}
}

func BenchmarkToGeodetic(b *testing.B) {
	var places [1024]Vector
	for i, p := range benchPairs() {
		places[i] = WGS84.ToCartesian(p[0], float64(i*10))
	}
	var sum float64
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		_, h := WGS84.ToGeodetic(places[i%len(places)])
		sum += h
	}
	if sum == 0 {
		b.Fatal("no height")
	}
}
