package pipeline

import (
	"math"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy"
)

// BenchmarkAlign sweeps one observer with 400 tops in view for alignments; ns/alignment is what one costs with its spreads and chances.
func BenchmarkAlign(b *testing.B) {
	opts := DefaultOptions()
	observer := &gazetteer.Feature{ID: "o", Kind: gazetteer.Peak, PositionSDM: 30, GroundHeightSDM: 10}
	var lines []seen
	for i := range 400 {
		azimuth := math.Mod(float64(i)*137.508, 360) // the golden angle spreads them evenly
		distance := 3e3 + 300*float64(i)
		chance := 0.9
		lines = append(lines, seen{
			target: &gazetteer.Feature{ID: string(rune('a'+i%26)) + string(rune('0'+i/26)), Kind: gazetteer.Peak, PositionSDM: 30, GroundHeightSDM: 10},
			trace: &Trace{Judged: true, Likely: true, Row: Sightline{
				DistanceM: distance, AzimuthDeg: azimuth, RadiusM: 6371e3, EyeHeightM: 800, TopHeightM: 700, Verdict: Direct, Chance: &chance,
				ElevationDeg:      geodesy.ApparentElevationRad(800, 700, distance, 6371e3, opts.K) * 180 / math.Pi,
				ElevationPlaneDeg: geodesy.PlaneElevationRad(800, 700, distance) * 180 / math.Pi,
			}},
		})
	}
	found := 0
	for b.Loop() {
		alignments, _ := align(&opts, observer, lines, nil, mostAlignments)
		found = len(alignments)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(max(found, 1)), "ns/alignment")
	b.ReportMetric(float64(found), "alignments")
}
