package geotiff

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

const realTile = "../../../testdata/N46E008.tif.gz" // SRTM 3″, 1201 × 1201 int16, pixel is point

func needGDAL(t testing.TB) {
	t.Helper()
	for _, program := range []string{"gdal_translate", "gdallocationinfo"} {
		if _, err := exec.LookPath(program); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%s is not installed", program)
			}
			t.Skipf("%s is not installed: no comparison with GDAL", program)
		}
	}
}

func run(t testing.TB, stdin, name string, args ...string) string {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Stdin = strings.NewReader(stdin)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, stderr.String())
	}
	return string(out)
}

// unpackTile writes the real tile to a folder.
func unpackTile(t testing.TB, folder string) string {
	t.Helper()
	packed, err := os.Open(realTile)
	if err != nil {
		t.Fatal(err)
	}
	defer packed.Close()
	unpacked, err := gzip.NewReader(packed)
	if err != nil {
		t.Fatal(err)
	}
	content, err := io.ReadAll(unpacked)
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(folder, "tile.tif")
	if err := os.WriteFile(name, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

func openFile(t testing.TB, name string) *File {
	t.Helper()
	content, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	f, err := Open(bytes.NewReader(content), int64(len(content)))
	if err != nil {
		t.Fatalf("Open(%s): %v", filepath.Base(name), err)
	}
	return f
}

func readWhole(t testing.TB, f *File) []float64 {
	t.Helper()
	into := make([]float64, f.info.Cols*f.info.Rows)
	if err := f.ReadWindow(0, 0, f.info.Cols, f.info.Rows, into); err != nil {
		t.Fatalf("ReadWindow of the whole: %v", err)
	}
	return into
}

// gdalValues reads a file with GDAL as 64-bit floats.
func gdalValues(t testing.TB, name string) []float64 {
	t.Helper()
	raw := name + ".envi"
	run(t, "", "gdal_translate", "-q", "-of", "ENVI", "-ot", "Float64", name, raw)
	content, err := os.ReadFile(raw)
	if err != nil {
		t.Fatal(err)
	}
	values := make([]float64, len(content)/8)
	for i := range values {
		values[i] = math.Float64frombits(binary.LittleEndian.Uint64(content[8*i:]))
	}
	return values
}

// sampleType says how the real heights become samples of a type, and which of them is to be no data.
type sampleType struct {
	name, lowest, highest string // what 0 m and 4,000 m become
	noData                float64
}

var sampleTypes = []sampleType{
	{"Byte", "0", "250", 60}, {"Int16", "-2000", "2000", -500}, {"UInt16", "0", "40000", 15000}, {"Int32", "-2000000", "2000000", -500000},
	{"UInt32", "0", "4000000000", 1500000000}, {"Float32", "-1000", "0", -625}, {"Float64", "-1000", "0", -625},
}

// TestGDALVariants compares with GDAL 3's own reading, sample by sample and place by place, of files that GDAL wrote from a real tile.
func TestGDALVariants(t *testing.T) {
	needGDAL(t)
	folder := t.TempDir()
	tile := unpackTile(t, folder)
	packings := []string{"NONE", "PACKBITS", "LZW 1", "LZW 2", "LZW 3", "DEFLATE 1", "DEFLATE 2", "DEFLATE 3", "ZSTD 1", "ZSTD 2", "ZSTD 3"}
	layouts := []string{"BLOCKYSIZE=7", "BLOCKYSIZE=300", "TILED=YES BLOCKXSIZE=128 BLOCKYSIZE=128", "TILED=YES", "COG"}
	variants, turns, samples, places := 0, 0, 0, 0
	for _, kind := range sampleTypes {
		for _, packing := range packings {
			for _, order := range []string{"LITTLE", "BIG"} {
				turn := turns % 4
				turns++
				for l, layout := range layouts {
					pack, predictor, _ := strings.Cut(packing, " ")
					cog := layout == "COG"
					if !cog && l != turn {
						continue // one of the layouts in turn; COG beside it
					}
					if predictor == "3" && !strings.HasPrefix(kind.name, "Float") || cog && (order == "BIG" || pack == "PACKBITS") {
						continue
					}
					big, pixel := []string{"NO", "YES"}[variants%2], []string{"Area", "Point"}[variants/2%2]
					args := []string{"-q", "-srcwin", "300", "500", "400", "300", "-ot", kind.name, "-scale", "0", "4000", kind.lowest, kind.highest,
						"-a_nodata", fmt.Sprint(kind.noData), "-mo", "AREA_OR_POINT=" + pixel, "-co", "COMPRESS=" + pack, "-co", "BIGTIFF=" + big}
					if cog {
						args = append(args, "-of", "COG", "-co", "BLOCKSIZE=128")
						if predictor != "" {
							args = append(args, "-co", "PREDICTOR="+map[string]string{"1": "NO", "2": "STANDARD", "3": "FLOATING_POINT"}[predictor])
						}
					} else {
						args = append(args, "-co", "ENDIANNESS="+order)
						for _, option := range strings.Fields(layout) {
							args = append(args, "-co", option)
						}
						if predictor != "" {
							args = append(args, "-co", "PREDICTOR="+predictor)
						}
					}
					name := filepath.Join(folder, fmt.Sprintf("%s_%s_%d_%s.tif", kind.name, strings.ReplaceAll(packing, " ", ""), l, order))
					run(t, "", "gdal_translate", append(args, tile, name)...)
					f := openFile(t, name)
					if f.info.PixelIsPoint != (pixel == "Point") || f.source.big != (big == "YES") || f.info.CRS != "EPSG:4326" {
						t.Errorf("%s: Info %+v, BigTIFF %v; want pixel %s, BigTIFF %s", filepath.Base(name), f.info, f.source.big, pixel, big)
					}
					samples += compareSamples(t, f, name, kind.noData)
					places += comparePlaces(t, f, name)
					variants++
				}
			}
		}
	}
	t.Logf("%d variants, %d samples, %d places compared", variants, samples, places)
}

func compareSamples(t *testing.T, f *File, name string, noData float64) int {
	t.Helper()
	got, want := readWhole(t, f), gdalValues(t, name)
	if len(got) != len(want) {
		t.Fatalf("%s: %d samples, GDAL has %d", filepath.Base(name), len(got), len(want))
	}
	differing, void := 0, 0
	for i := range got {
		if want[i] == noData {
			want[i] = math.NaN()
			void++
		}
		if got[i] != want[i] && !(math.IsNaN(got[i]) && math.IsNaN(want[i])) {
			differing++
		}
	}
	// GDAL 3.6 does not read back what it wrote of big-endian floats with predictor 3: what it reads is compared all the same.
	lossy := f.predictor == predictFloat && f.source.order == binary.ByteOrder(binary.BigEndian)
	if differing != 0 || void == 0 && !lossy {
		t.Errorf("%s: %d of %d samples differ from GDAL, %d without data, want none and some", filepath.Base(name), differing, len(got), void)
	}
	return len(got)
}

// comparePlaces asks GDAL for the heights at 1,000 places, a quarter of a step around posts, where a shift by half a pixel shows.
func comparePlaces(t *testing.T, f *File, name string) int {
	t.Helper()
	const places = 1000
	random := rand.New(rand.NewPCG(1, 2))
	var asked strings.Builder
	want := make([]float64, places)
	for i := range want {
		col, row := random.IntN(f.info.Cols), random.IntN(f.info.Rows)
		var one [1]float64
		if err := f.ReadWindow(col, row, 1, 1, one[:]); err != nil {
			t.Fatal(err)
		}
		want[i] = one[0]
		lon := f.info.WestDeg + (float64(col)+random.Float64()/2-0.25)*f.info.LonStepDeg
		lat := f.info.NorthDeg - (float64(row)+random.Float64()/2-0.25)*f.info.LatStepDeg
		fmt.Fprintf(&asked, "%.12f %.12f\n", lon, lat)
	}
	lines := strings.Split(strings.TrimSpace(run(t, asked.String(), "gdallocationinfo", "-valonly", "-wgs84", name)), "\n")
	if len(lines) != places {
		t.Fatalf("%s: gdallocationinfo answers %d of %d places", filepath.Base(name), len(lines), places)
	}
	differing := 0
	for i, line := range lines {
		var h float64
		if _, err := fmt.Sscan(line, &h); err != nil {
			t.Fatalf("%s: gdallocationinfo says %q", filepath.Base(name), line)
		}
		if h == f.noData {
			h = math.NaN()
		}
		if math.IsNaN(h) != math.IsNaN(want[i]) || math.Abs(h-want[i]) > 1e-9*math.Abs(h) {
			differing++
		}
	}
	if differing != 0 {
		t.Errorf("%s: %d of %d places differ from GDAL", filepath.Base(name), differing, places)
	}
	return places
}

// BenchmarkDecode reads the whole real tile for each packing and gives the ratio to GDAL's time, which includes the start of a process and
// the writing of the samples.
func BenchmarkDecode(b *testing.B) {
	needGDAL(b)
	folder := b.TempDir()
	tile := unpackTile(b, folder)
	for _, packing := range []string{"NONE", "PACKBITS", "LZW", "DEFLATE", "ZSTD"} {
		b.Run(packing, func(b *testing.B) {
			name := filepath.Join(folder, packing+".tif")
			args := []string{"-q", "-co", "COMPRESS=" + packing, tile, name}
			if packing != "NONE" && packing != "PACKBITS" {
				args = append([]string{"-co", "PREDICTOR=2"}, args...)
			}
			run(b, "", "gdal_translate", args...)
			f := openFile(b, name)
			into := make([]float64, f.info.Cols*f.info.Rows)
			b.SetBytes(int64(len(into) * f.sampleBytes))
			for b.Loop() {
				if err := f.ReadWindow(0, 0, f.info.Cols, f.info.Rows, into); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(into))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
		})
		b.Run(packing+"/gdal_translate", func(b *testing.B) {
			name := filepath.Join(folder, packing+".tif")
			b.SetBytes(2 * 1201 * 1201)
			for b.Loop() {
				run(b, "", "gdal_translate", "-q", "-of", "ENVI", name, filepath.Join(folder, "raw"))
			}
		})
	}
}
