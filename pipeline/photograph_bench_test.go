package pipeline

import (
	"testing"
)

// BenchmarkPhotograph times whole calls, files read and all: a photograph of seven tops.
func BenchmarkPhotograph(b *testing.B) {
	m := newMadePhotograph(1, 1-0.143)
	named := m.write(b)
	m = newMadePhotograph(1, 1-0.143)
	m.decoys, m.edit = 150, unnamedRows()
	unnamed := m.write(b)
	unnamed.FocalPx, unnamed.FocalSD = m.focalPx*1.01, 0.03
	b.Run("weigh", func(b *testing.B) {
		for b.Loop() {
			if _, err := Weigh(b.Context(), named); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("weigh, names sought among 157", func(b *testing.B) {
		for b.Loop() {
			if _, err := Weigh(b.Context(), unnamed); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("resect", func(b *testing.B) {
		starts := 0
		for b.Loop() {
			s, err := LoadScene(b.Context(), named)
			if err != nil {
				b.Fatal(err)
			}
			all, err := s.resectStarts(false)
			if err != nil {
				b.Fatal(err)
			}
			starts = len(all)
			if _, err := Resect(b.Context(), named); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(starts), "places-tried/op")
	})
}
