package terrain

import (
	"math"
	"testing"
)

// BenchmarkSearch times the search beside the plain walk on the same lines of each ground, stopped early as a survey stops, and to the end.
func BenchmarkSearch(b *testing.B) {
	for i, g := range realGrounds() {
		w := g.walker(b)
		next := g.lines(w, uint64(100+i))
		lines := make([]Line, 400)
		for n := range lines {
			lines[n] = *next()
		}
		for _, bound := range []struct {
			name      string
			stopAbove float64
		}{{"survey", 0.343}, {"whole", math.Inf(1)}} {
			for _, form := range []struct {
				name string
				find func(l *Line) (Critical, error)
			}{
				{"search", func(l *Line) (Critical, error) { return w.Critical(l, FillSea, 200, bound.stopAbove) }},
				{"plain", func(l *Line) (Critical, error) { return w.criticalPlain(l, FillSea, 200, bound.stopAbove) }},
			} {
				b.Run(g.name+"/"+bound.name+"/"+form.name, func(b *testing.B) {
					n := 0
					for b.Loop() {
						if _, err := form.find(&lines[n%len(lines)]); err != nil {
							b.Fatal(err)
						}
						n++
					}
				})
			}
		}
	}
}
