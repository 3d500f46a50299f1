package gazetteer

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"
)

// generated writes a GeoNames file of n rows, one in ten of a kind that is used, or the same as CSV with all of them used.
func generated(b *testing.B, n int, asCSV bool) (path string, size int64) {
	b.Helper()
	path = filepath.Join(b.TempDir(), "generated")
	file, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriter(file)
	if asCSV {
		fmt.Fprintln(w, "id,name,kind,latitude_deg,longitude_deg,ground_height_m")
	}
	for i := range n {
		lat, lon := -60+float64(i%120_011)/1000.7, -180+float64(i%360_007)/1000.3
		switch {
		case asCSV:
			fmt.Fprintf(w, "%d,Summit number %d,hill,%.5f,%.5f,%d\n", i+1, i, lat, lon, 1+i%4000)
		case i%10 == 0:
			fmt.Fprintf(w, "%d\tSummit number %d\tSummit number %d\tOld name %d,Other name %d\t%.5f\t%.5f\tT\tMT\tXX\t\t01\t002\t\t\t0\t%d\t%d\tEurope/London\t2020-01-01\n", i+1, i, i, i, i, lat, lon, 1+i%4000, i%4000)
		default:
			fmt.Fprintf(w, "%d\tVillage number %d\tVillage number %d\t\t%.5f\t%.5f\tP\tPPL\tXX\t\t01\t002\t\t\t%d\t\t%d\tEurope/London\t2020-01-01\n", i+1, i, i, lat, lon, i%5000, i%4000)
		}
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	info, err := file.Stat()
	if err != nil {
		b.Fatal(err)
	}
	if err := file.Close(); err != nil {
		b.Fatal(err)
	}
	return path, info.Size()
}

func benchmarkRead(b *testing.B, asCSV bool, used int) {
	const rows = 1_000_000
	path, size := generated(b, rows, asCSV)
	b.SetBytes(size)
	b.ReportAllocs()
	for b.Loop() {
		report, err := ReadFile(b.Context(), path, ReadOptions{}, func(Feature) error { return nil })
		if err != nil || report.Rows != rows || report.Used != used {
			b.Fatalf("%+v, %v", report, err)
		}
	}
	b.ReportMetric(rows*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkReadGeoNames(b *testing.B) { benchmarkRead(b, false, 100_000) }

func BenchmarkReadCSV(b *testing.B) { benchmarkRead(b, true, 1_000_000) }

// manyRows are n rows of one kind, all at places of their own.
func manyRows(n int, kind Kind) []sampleRow {
	rows := make([]sampleRow, n)
	for i := range rows {
		lat, lon := -60+float64(i%120_011)/1000.7, -180+float64(i%360_007)/1000.3
		rows[i] = sampleRow{i + 1, fmt.Sprintf("Summit %d", i), "", kind, strconv.FormatFloat(lat, 'f', 5, 64), strconv.FormatFloat(lon, 'f', 5, 64), strconv.Itoa(1 + i%4000)}
	}
	return rows
}

// BenchmarkRead reads the same 100,000 features in every format of the conformance suite.
func BenchmarkRead(b *testing.B) {
	rows := manyRows(100_000, Peak)
	for _, format := range written() {
		b.Run(format.name, func(b *testing.B) {
			text := format.text(rows)
			path := filepath.Join(b.TempDir(), "generated")
			if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
				b.Fatal(err)
			}
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			for b.Loop() {
				report, err := ReadFile(b.Context(), path, ReadOptions{}, func(Feature) error { return nil })
				if err != nil || report.Used != len(rows) {
					b.Fatalf("%+v, %v", report, err)
				}
			}
			b.ReportMetric(float64(len(rows)*b.N)/b.Elapsed().Seconds(), "features/s")
		})
	}
}

// heapProbe is a context that measures the live heap now and then, whenever a reader asks whether to stop.
type heapProbe struct {
	context.Context
	asked int
	peak  uint64
}

func (h *heapProbe) Err() error {
	if h.asked++; h.asked%8 == 0 {
		runtime.GC()
		var stats runtime.MemStats
		runtime.ReadMemStats(&stats)
		h.peak = max(h.peak, stats.HeapAlloc)
	}
	return h.Context.Err()
}

// TestMemoryIsFlat: ten times the rows take no more memory, in any format. The rows are of a kind that is passed over, for the ids
// of features used are kept.
func TestMemoryIsFlat(t *testing.T) {
	for _, format := range written() {
		peak := func(n int) uint64 {
			path := filepath.Join(t.TempDir(), "generated")
			if err := os.WriteFile(path, []byte(format.text(manyRows(n, "city"))), 0o600); err != nil {
				t.Fatal(err)
			}
			probe := &heapProbe{Context: t.Context()}
			report, err := ReadFile(probe, path, ReadOptions{}, func(Feature) error { return nil })
			if err != nil || report.PassedOver != n || probe.peak == 0 {
				t.Fatalf("%s: %+v, %v, measured %d bytes", format.name, report, err, probe.peak)
			}
			return probe.peak
		}
		small, large := peak(5_000), peak(50_000)
		t.Logf("%s: live heap %d kB for 5,000 rows, %d kB for 50,000", format.name, small>>10, large>>10)
		if large > small+1<<20 {
			t.Errorf("%s: live heap %d bytes for 5,000 rows, %d for 50,000, want the same but for 1 MB of work at hand", format.name, small, large)
		}
	}
}
