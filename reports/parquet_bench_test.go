package reports

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"testing"

	"farstation/pipeline"
)

// benchSightlines are rows as a survey might give: 100 targets to an observer, numbers without pattern.
func benchSightlines(n int) []pipeline.Sightline {
	random := rand.New(rand.NewPCG(1, 2))
	rows := make([]pipeline.Sightline, n)
	for i := range rows {
		r := &rows[i]
		fill(r, 2)
		r.ObserverID, r.TargetID = fmt.Sprintf("geonames:%07d", i/100), fmt.Sprintf("geonames:%07d", i%100*7919)
		r.ObserverName, r.TargetName = fmt.Sprintf("Fell %d", i/100), fmt.Sprintf("Stack %d", i%100)
		r.ObserverLatDeg, r.ObserverLonDeg = 50+random.Float64(), 10+random.Float64()
		r.TargetLatDeg, r.TargetLonDeg = 51+random.Float64(), 10+random.Float64()
		for _, number := range []*float64{
			&r.DistanceM, &r.AzimuthDeg, &r.BackAzimuthDeg, &r.RadiusM, &r.ElevationDeg, &r.ElevationPlaneDeg, &r.CriticalK, &r.CriticalKSD,
			&r.GrazingDistanceM, &r.MarginArcmin, &r.CutHeightM, r.Chance, r.ObscuredHeightM, r.PartInView, &r.ModelGapArcmin,
		} {
			*number = 1000 * random.Float64()
		}
	}
	return rows
}

func BenchmarkWriteSightlines(b *testing.B) {
	rows := benchSightlines(200_000)
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			var size countedBytes
			for b.Loop() {
				size = 0
				if err := WriteSightlines(&size, pipeline.GroupsOf(rows), workers); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(rows)*b.N)/b.Elapsed().Seconds(), "rows/s")
			b.ReportMetric(float64(size)/float64(len(rows)), "bytes/row")
		})
	}
}

// countedBytes counts what is written to it.
type countedBytes int64

func (c *countedBytes) Write(b []byte) (int, error) {
	*c += countedBytes(len(b))
	return len(b), nil
}

func BenchmarkReadSightlines(b *testing.B) {
	rows := benchSightlines(20_000)
	var content bytes.Buffer
	if err := WriteSightlines(&content, pipeline.GroupsOf(rows), 1); err != nil {
		b.Fatal(err)
	}
	path := saved(b, sightlinesFile, content.Bytes())
	for b.Loop() {
		if _, err := ReadSightlines(path); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(rows)*b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkWriteFeatures(b *testing.B) {
	rows := manyFeatures(100_000)
	for b.Loop() {
		if err := WriteFeatures(io.Discard, pipeline.GroupsOf(rows), 1); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(rows)*b.N)/b.Elapsed().Seconds(), "rows/s")
}
