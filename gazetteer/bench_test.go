package gazetteer

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
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
