package gazetteer

import (
	"bytes"
	"compress/gzip"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// unpacked writes the text of a .gz in testdata to a file.
func unpacked(t testing.TB, name string) string {
	t.Helper()
	packed, err := os.Open(testdata(name))
	if err != nil {
		t.Fatal(err)
	}
	defer packed.Close()
	text, err := gzip.NewReader(packed)
	if err != nil {
		t.Fatal(err)
	}
	data, err := io.ReadAll(text)
	if err != nil {
		t.Fatal(err)
	}
	return inTempDir(t, "extract.osm", data)
}

func inTempDir(t testing.TB, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// BenchmarkReadOSM reads real extracts, objects being nodes, ways and relations of all kinds, and 100,000 named peaks as PBF.
func BenchmarkReadOSM(b *testing.B) {
	read := func(name, path string, objects int) {
		b.Run(name, func(b *testing.B) {
			info, err := os.Stat(path)
			if err != nil {
				b.Fatal(err)
			}
			b.SetBytes(info.Size())
			b.ReportAllocs()
			used := 0
			for b.Loop() {
				report, err := ReadFile(b.Context(), path, ReadOptions{}, func(Feature) error { return nil })
				if err != nil {
					b.Fatal(err)
				}
				used = report.Used
			}
			b.ReportMetric(float64(objects*b.N)/b.Elapsed().Seconds(), "objects/s")
			b.ReportMetric(float64(used*b.N)/b.Elapsed().Seconds(), "features/s")
		})
	}
	read("malta PBF", testdata("malta-latest.osm.pbf"), 252937+40028+527)            // osmium fileinfo -e
	read("north-bayreuth XML", unpacked(b, "north-bayreuth.osm.gz"), 58631+7801+179) // elements of the file
	const many = 100_000
	xml := inTempDir(b, "many.osm", []byte(osmText(manyRows(many, Peak))))
	read("peaks XML", xml, many)
	if _, err := exec.LookPath("osmium"); err == nil {
		pbf := filepath.Join(b.TempDir(), "many.osm.pbf")
		osmium(b, "cat", xml, "-o", pbf)
		read("peaks PBF", pbf, many)
	}
}

// BenchmarkOSMAgainstOsmium reads malta by turns with osmium tags-filter, which picks the same objects and the nodes of their ways.
func BenchmarkOSMAgainstOsmium(b *testing.B) {
	var ours, theirs time.Duration
	for b.Loop() {
		started := time.Now()
		if _, err := ReadFile(b.Context(), testdata("malta-latest.osm.pbf"), ReadOptions{}, func(Feature) error { return nil }); err != nil {
			b.Fatal(err)
		}
		ours += time.Since(started)
		started = time.Now()
		osmium(b, "tags-filter", testdata("malta-latest.osm.pbf"), "nwr/natural=peak,hill,volcano,ridge", "nwr/man_made=tower,communications_tower,water_tower,mast,chimney,lighthouse",
			"nwr/power=generator", "nwr/tourism=viewpoint", "--overwrite", "-o", filepath.Join(b.TempDir(), "out.osm.pbf"))
		theirs += time.Since(started)
	}
	b.ReportMetric(ours.Seconds()*1e3/float64(b.N), "ms-ours")
	b.ReportMetric(theirs.Seconds()*1e3/float64(b.N), "ms-osmium")
	b.ReportMetric(ours.Seconds()/theirs.Seconds(), "times-osmium")
}

// TestPBFMemoryIsFlat: a file of ten times the blobs, which hold the same objects again, takes no more memory: what counts is what is wanted.
func TestPBFMemoryIsFlat(t *testing.T) {
	whole, err := os.ReadFile(testdata("malta-latest.osm.pbf"))
	if err != nil {
		t.Fatal(err)
	}
	rest := bytes.NewReader(whole)
	if _, _, err := readBlob(rest); err != nil {
		t.Fatal(err)
	}
	header, blobs := whole[:len(whole)-rest.Len()], whole[len(whole)-rest.Len():]
	peak := func(times int) uint64 {
		path := inTempDir(t, "many.osm.pbf", joined(header, bytes.Repeat(blobs, times)))
		probe := &heapProbe{Context: t.Context()}
		report, err := ReadFile(probe, path, ReadOptions{}, func(Feature) error { return nil })
		if err != nil || report.Rows != 2367*times || report.Used != 29 {
			t.Fatalf("%+v, %v", report, err)
		}
		return probe.peak
	}
	base := uint64(len(whole)) // held by the test itself
	once, tenfold := peak(1)-base, peak(10)-base
	runtime.KeepAlive(whole)
	t.Logf("live heap %d kB for malta, %d kB for ten times its blobs", once>>10, tenfold>>10)
	if tenfold > once+4<<20 {
		t.Errorf("live heap %d bytes for malta, %d for ten times its blobs, want the same but for 4 MB of blocks at work", once, tenfold)
	}
}
