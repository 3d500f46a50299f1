package terrain

import (
	"fmt"
	"math"
	"testing"
)

// benchmarkLines returns the ends of lines of at least 30 km between hills of the Borders, over tiles that are read already.
func benchmarkLines(b *testing.B) (*Walker, []*Line) {
	b.Helper()
	w := bordersWalker(b)
	lines := randomLines(b, w, bordersHills(b), 500, 30)
	for _, l := range lines {
		w.Walk(l, FillSea, 0, l.DistanceM, func(*Piece) bool { return true })
	}
	return w, lines
}

// overLines runs one operation over the lines in turn and reports its time for each line and, where it looks at all of them, for each
// cell that lies on it.
func overLines(b *testing.B, w *Walker, lines []*Line, allCells bool, operation func(l *Line) error) {
	b.Helper()
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		if err := operation(lines[n%len(lines)]); err != nil {
			b.Fatal(err)
		}
		n++
	}
	perLine := float64(b.Elapsed().Nanoseconds()) / float64(n)
	b.ReportMetric(perLine, "ns/line")
	if allCells {
		cells := 0
		for _, l := range lines {
			w.Walk(l, FillSea, 0, l.DistanceM, func(*Piece) bool { cells++; return true })
		}
		b.ReportMetric(perLine*float64(len(lines))/float64(cells), "ns/cell")
	}
}

// BenchmarkWalkCritical walks every line to its end, its geometry included.
func BenchmarkWalkCritical(b *testing.B) {
	w, lines := benchmarkLines(b)
	var line Line
	overLines(b, w, lines, true, func(l *Line) error {
		if err := line.Reset(l.From, l.To); err != nil {
			return err
		}
		_, err := w.Critical(&line, FillSea, 200, math.Inf(1))
		return err
	})
}

// BenchmarkSampledCritical is the plain way, which the walk replaces: exact place, chord, ground and geoid every 90 m, about a post, and
// every 10 m. It can only come out less extreme than the walk.
func BenchmarkSampledCritical(b *testing.B) {
	w, lines := benchmarkLines(b)
	for _, stepM := range []float64{90, 10} {
		b.Run(fmt.Sprintf("every %v m", stepM), func(b *testing.B) {
			overLines(b, w, lines, false, func(l *Line) error {
				sampledCritical(w, l, 200, stepM)
				return nil
			})
		})
	}
}

func sampledCritical(w *Walker, l *Line, guardM, stepM float64) float64 {
	exact := exactTrack(l)
	least := math.Inf(1)
	for x := guardM; x < l.DistanceM-guardM; x += stepM {
		n := exact.node(x)
		ground, ok := w.store.HeightM(n.at)
		if !ok {
			continue
		}
		least = math.Min(least, 2*l.RadiusM*(n.height-ground-w.geoid.UndulationM(n.at))/(x*(l.DistanceM-x)))
	}
	return -least
}

// BenchmarkCriticalEarlyStop is what a survey does with most pairs: it stops once the line is surely blocked at k + 5·k_sd.
func BenchmarkCriticalEarlyStop(b *testing.B) {
	w, lines := benchmarkLines(b)
	var line Line
	overLines(b, w, lines, false, func(l *Line) error {
		if err := line.Reset(l.From, l.To); err != nil {
			return err
		}
		_, err := w.Critical(&line, FillSea, 200, 0.343)
		return err
	})
}

// BenchmarkLineReset is the geometry alone.
func BenchmarkLineReset(b *testing.B) {
	w, lines := benchmarkLines(b)
	var line Line
	overLines(b, w, lines, false, func(l *Line) error { return line.Reset(l.From, l.To) })
}

// BenchmarkSection walks and keeps the pieces.
func BenchmarkSection(b *testing.B) {
	w, lines := benchmarkLines(b)
	var section Section
	overLines(b, w, lines, true, func(l *Line) error {
		_, err := w.Section(l, FillSea, 200, &section)
		return err
	})
}

// BenchmarkView computes one view of a section that was walked before.
func BenchmarkView(b *testing.B) {
	w, lines := benchmarkLines(b)
	lines = lines[:50]
	sections := map[*Line]*Section{}
	for _, l := range lines {
		section, err := w.Section(l, FillSea, 200, nil)
		if err != nil {
			b.Fatal(err)
		}
		sections[l] = section
	}
	overLines(b, w, lines, true, func(l *Line) error {
		sections[l].View(Model{K: 0.143})
		return nil
	})
}

// The two ways of the benchmark compute the same thing: samples are never more extreme than the walk, and near it in the mean.
func TestSampledCriticalIsLessExtreme(t *testing.T) {
	w := bordersWalker(t)
	short := 0.0
	lines := randomLines(t, w, bordersHills(t), lineCount(1000), 30)
	for _, l := range lines {
		walked, err := w.Critical(l, FillSea, 200, math.Inf(1))
		if err != nil {
			t.Fatal(err)
		}
		sampled := sampledCritical(w, l, 200, 90)
		if sampled > walked.K+1e-4*math.Max(1, math.Abs(walked.K)) {
			t.Errorf("%v to %v: sampled k_c %.6f is more than the walk's %.6f", l.From.At, l.To.At, sampled, walked.K)
		}
		short += (walked.K - sampled) / math.Max(1, math.Abs(walked.K))
	}
	if mean := short / float64(len(lines)); mean > 0.05 {
		t.Errorf("sampled k_c is lower by %.3f in the mean: not the same quantity", mean)
	}
}
