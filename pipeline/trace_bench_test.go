package pipeline

import (
	"math"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy/terrain"
)

// BenchmarkKeptLine predicts in full the lines that a survey keeps, between every sixth of the hills of the Borders.
func BenchmarkKeptLine(b *testing.B) {
	o := hillOptions()
	o.GuardM = 200
	o.Features = []string{thinned(b, func(line int, _ []string) bool { return line%6 == 0 })}
	world, err := Load(b.Context(), o, nil)
	if err != nil {
		b.Fatal(err)
	}
	tracer := NewTracer(o, world.Store, world.Geoid)
	type pair struct{ from, to *gazetteer.Feature }
	var kept []pair
	for i := range world.Features {
		for j := range world.Features {
			from, to := &world.Features[i], &world.Features[j]
			if trace, err := tracer.Trace(from, to, false); err == nil && trace.Likely && trace.Row.DistanceM > o.MinDistanceKM*1000 {
				kept = append(kept, pair{from, to})
			}
		}
	}
	search := func(p pair) {
		if _, ok, err := tracer.aim(p.from, p.to); err != nil || !ok {
			b.Fatal(ok, err)
		}
		if _, err := tracer.walker.Critical(&tracer.line, terrain.FillSea, o.GuardM, math.Inf(1)); err != nil {
			b.Fatal(err)
		}
	}
	for _, part := range []struct {
		name string
		do   func(p pair)
	}{
		{"search alone", search},
		{"in full", func(p pair) {
			if _, err := tracer.Trace(p.from, p.to, false); err != nil {
				b.Fatal(err)
			}
		}},
	} {
		b.Run(part.name, func(b *testing.B) {
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				part.do(kept[i%len(kept)])
			}
			b.ReportMetric(float64(len(kept)), "lines")
		})
	}
}
