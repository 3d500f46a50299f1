package terrain

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const samples = "../../testdata/"

// required skips a test whose outside program is missing, but not where the project's checks run.
func required(t *testing.T, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is not installed", program)
		}
		t.Skipf("%s is not installed", program)
	}
	return path
}

func readSample(t testing.TB, name string) *Tile {
	t.Helper()
	tile, err := readHGT(samples + name + ".hgt.zip")
	if err != nil {
		t.Fatal(err)
	}
	return tile
}

// encode writes posts as a plain tile.
func encode(posts []int16) []byte {
	data := make([]byte, 2*len(posts))
	for i, h := range posts {
		binary.BigEndian.PutUint16(data[2*i:], uint16(h))
	}
	return data
}

// made returns the bytes of a tile of n × n posts; height gives each by its row from the north and column from the west.
func made(n int, height func(row, column int) int16) []byte {
	posts := make([]int16, n*n)
	for i := range posts {
		posts[i] = height(i/n, i%n)
	}
	return encode(posts)
}

func flat(h int16) func(int, int) int16 { return func(int, int) int16 { return h } }

func gzipOf(data []byte) []byte {
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, gzip.BestSpeed)
	if err != nil {
		panic(err)
	}
	w.Write(data)
	w.Close()
	return b.Bytes()
}

type zipEntry struct {
	name string
	data []byte
}

func zipOf(entries ...zipEntry) []byte {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, e := range entries {
		member, err := w.Create(e.name)
		if err != nil {
			panic(err)
		}
		member.Write(e.data)
	}
	w.Close()
	return b.Bytes()
}

// Lowest and highest of the four sample tiles are those of `gdalinfo -mm` (GDAL 3.6.2) on the unpacked files; voids and zeros
// were counted in the same files with Python's array module.
func TestDecodeSamples(t *testing.T) {
	tests := []struct {
		name           string
		latDeg, lonDeg int
		lowest         int16
		highest        float64
		voids, zeros   int
	}{
		{"N55W003", 55, -3, -22, 816, 0, 63197},
		{"N55W004", 55, -4, -1, 839, 13, 15442},
		{"N49E011", 49, 11, 234, 920, 20, 0},
		{"N50E011", 50, 11, 129, 1044, 8, 0},
	}
	for _, test := range tests {
		tile := readSample(t, test.name)
		if tile.LatDeg != test.latDeg || tile.LonDeg != test.lonDeg || tile.Cols.N != 1201 || tile.Name != test.name+".hgt.zip" {
			t.Errorf("%s: corner %d, %d, %d posts a side, name %q", test.name, tile.LatDeg, tile.LonDeg, tile.Cols.N, tile.Name)
		}
		lowest, voids, zeros := int16(32767), 0, 0
		for _, h := range tile.Posts {
			switch h {
			case Void:
				voids++
				continue
			case 0:
				zeros++
			}
			lowest = min(lowest, h)
		}
		heights, ok := tile.heights()
		highest := heights.HighestM
		if lowest != test.lowest || highest != test.highest || heights.LowestM != float64(lowest) || !ok || voids != test.voids || zeros != test.zeros {
			t.Errorf("%s: %d…%v m, %d voids, %d zeros, want %d…%v m, %d voids, %d zeros", test.name, lowest, highest, voids, zeros,
				test.lowest, test.highest, test.voids, test.zeros)
		}
	}
}

func TestSamplesShareEdges(t *testing.T) {
	west, east := readSample(t, "N55W004"), readSample(t, "N55W003")
	for row := range west.Cols.N {
		if a, b := west.Posts[row*west.Cols.N+west.Cols.N-1], east.Posts[row*east.Cols.N]; a != b {
			t.Errorf("row %d: east edge of N55W004 %d m, west edge of N55W003 %d m", row, a, b)
		}
	}
	north, south := readSample(t, "N50E011"), readSample(t, "N49E011")
	for column := range north.Cols.N {
		if a, b := north.Posts[(north.Cols.N-1)*north.Cols.N+column], south.Posts[column]; a != b {
			t.Errorf("column %d: south edge of N50E011 %d m, north edge of N49E011 %d m", column, a, b)
		}
	}
}

func TestPostsAgreeWithGDAL(t *testing.T) {
	gdallocationinfo := required(t, "gdallocationinfo")
	for _, name := range []string{"N55W003", "N55W004", "N49E011", "N50E011"} {
		tile := readSample(t, name)
		path := filepath.Join(t.TempDir(), name+".hgt")
		if err := os.WriteFile(path, encode(tile.Posts), 0o644); err != nil {
			t.Fatal(err)
		}
		random := rand.New(rand.NewPCG(55, 3))
		places := [][2]int{{0, 0}, {1200, 0}, {0, 1200}, {1200, 1200}}
		if i := slices.Index(tile.Posts, Void); i >= 0 {
			places = append(places, [2]int{i % tile.Cols.N, i / tile.Cols.N})
		}
		for len(places) < 1000 {
			places = append(places, [2]int{random.IntN(tile.Cols.N), random.IntN(tile.Cols.N)})
		}
		var input strings.Builder
		for _, p := range places {
			fmt.Fprintln(&input, p[0], p[1])
		}
		command := exec.Command(gdallocationinfo, "-valonly", path)
		command.Stdin = strings.NewReader(input.String())
		output, err := command.Output()
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Fields(string(output))
		if len(lines) != len(places) {
			t.Fatalf("%s: %d answers for %d places", name, len(lines), len(places))
		}
		for i, p := range places {
			want, err := strconv.Atoi(lines[i])
			if err != nil {
				t.Fatal(err)
			}
			if got := tile.Posts[p[1]*tile.Cols.N+p[0]]; int(got) != want {
				t.Errorf("%s column %d row %d: %d m, gdallocationinfo says %d m", name, p[0], p[1], got, want)
			}
		}
	}
}

func TestDecodeSameHoweverPacked(t *testing.T) {
	original := readSample(t, "N55W004")
	data := encode(original.Posts)
	shadow := zipEntry{"__MACOSX/._N55W004.hgt", []byte("x")}
	note := zipEntry{"readme.txt", []byte("notes")}
	tests := []struct {
		what, name string
		data       []byte
	}{
		{"plain", "N55W004.hgt", data},
		{"plain, small letters, folders", "some.where/S01E001/n55w004.hgt", data},
		{"plain, suffix", "N55W004.SRTMGL3.hgt", data},
		{"gzip", "N55W004.hgt.gz", gzipOf(data)},
		{"gzip under a plain name", "N55W004.hgt", gzipOf(data)},
		{"zip", "N55W004.hgt.zip", zipOf(zipEntry{"N55W004.hgt", data})},
		{"zip under a gzip name", "N55W004.hgt.gz", zipOf(zipEntry{"N55W004.hgt", data})},
		{"zip, place in the member's name", "download.zip", zipOf(zipEntry{"folder/n55w004.HGT", data})},
		{"zip, place in the outer name", "NASADEM_HGT_n55w004.zip", zipOf(zipEntry{"heights.hgt", data})},
		{"zip with other members", "N55W004.zip", zipOf(note, shadow, zipEntry{"N55W004.hgt", data})},
	}
	for _, test := range tests {
		tile, err := DecodeHGT(test.name, test.data)
		if err != nil {
			t.Errorf("%s: %v", test.what, err)
			continue
		}
		if tile.LatDeg != 55 || tile.LonDeg != -4 || tile.Cols.N != 1201 || !slices.Equal(tile.Posts, original.Posts) {
			t.Errorf("%s: corner %d, %d, N %d, or other posts than the original", test.what, tile.LatDeg, tile.LonDeg, tile.Cols.N)
		}
	}
}

func TestDecodeKeepsHeights(t *testing.T) {
	// Void marks of other sets, and heights that no land has, are voids; the shore of the Dead Sea at −430 m is land.
	heights := []int16{-32768, -32767, -9999, -501, -500, -430, -1, 0, 1, 255, 256, 8848, 9000, 9001, 32767}
	want := []int16{Void, Void, Void, Void, -500, -430, -1, 0, 1, 255, 256, 8848, 9000, Void, Void}
	tile, err := DecodeHGT("N31E035.hgt", made(121, func(row, column int) int16 { return heights[(row*121+column)%len(heights)] }))
	if err != nil {
		t.Fatal(err)
	}
	for i, h := range tile.Posts {
		if h != want[i%len(want)] {
			t.Fatalf("post %d: %d m, want %d m", i, h, want[i%len(want)])
		}
	}
}

func TestDecodeSizes(t *testing.T) {
	for n := 2; n <= 3700; n++ {
		wanted := n >= 61 && n <= 3601 && 3600%(n-1) == 0
		got, ok := postsOf(2 * int64(n) * int64(n))
		if ok != wanted || ok && got != n {
			t.Errorf("postsOf(2·%d²) = %d, %v, want %v", n, got, ok, wanted)
		}
	}
	for _, size := range []int64{-1, 0, 1, 2*1201*1201 - 1, 2*1201*1201 + 1, 2*3601*3601 + 1, 1 << 62} {
		if n, ok := postsOf(size); ok {
			t.Errorf("postsOf(%d) = %d, want none", size, n)
		}
	}
}

func TestParsePosition(t *testing.T) {
	tests := []struct {
		name           string
		latDeg, lonDeg int
		ok             bool
	}{
		{"N55W003.hgt", 55, -3, true},
		{"S33W071.hgt", -33, -71, true},
		{"s01e179.SRTMGL1.hgt.zip", -1, 179, true},
		{"N00E000.hgt", 0, 0, true},
		{"S90W180.hgt", -90, -180, true},
		{"N89E179.hgt", 89, 179, true},
		{"a/N10E010/N55W003.hgt", 55, -3, true},
		{"NASADEM_HGT_n55w003.zip", 55, -3, true},
		{"N55W003", 55, -3, true},
		{"N90E000.hgt", 0, 0, false},
		{"S91E000.hgt", 0, 0, false},
		{"N00E180.hgt", 0, 0, false},
		{"N00W181.hgt", 0, 0, false},
		{"S00E010.hgt", 0, 0, false},
		{"N10W000.hgt", 0, 0, false},
		{"N5W003.hgt", 0, 0, false},
		{"N555W003.hgt", 0, 0, false},
		{"N55W0031.hgt", 0, 0, false},
		{"WIN55W003.hgt", 0, 0, false},
		{"N55W003/tile.hgt", 0, 0, false},
		{"", 0, 0, false},
	}
	for _, test := range tests {
		latDeg, lonDeg, ok := parsePosition(test.name)
		if ok != test.ok || ok && (latDeg != test.latDeg || lonDeg != test.lonDeg) {
			t.Errorf("parsePosition(%q) = %d, %d, %v, want %d, %d, %v", test.name, latDeg, lonDeg, ok, test.latDeg, test.lonDeg, test.ok)
		}
	}
}

func TestDecodeRefuses(t *testing.T) {
	small := made(61, flat(7))
	packed, zipped := gzipOf(small), zipOf(zipEntry{"N46E008.hgt", small})
	bomb := make([]byte, maxTileBytes+2)
	damaged := bytes.Clone(zipped)
	damaged[60] ^= 0xff
	lying := bytes.Clone(zipOf(zipEntry{"N46E008.hgt", bomb}))
	// The directory at the end of the archive claims the size of a small tile.
	binary.LittleEndian.PutUint32(lying[bytes.LastIndex(lying, []byte("PK\x01\x02"))+24:], uint32(len(small)))
	tests := []struct {
		what, name string
		data       []byte
		want       string
	}{
		{"empty file", "N46E008.hgt", nil, "terrain N46E008.hgt: 0 bytes, want 2884802 (3″) or 25934402 (1″): download the tile again"},
		{"cut file", "n46e008.hgt", make([]byte, 812), "terrain n46e008.hgt: 812 bytes, want 2884802 (3″) or 25934402 (1″): download the tile again"},
		{"one byte short", "N46E008.hgt", small[1:], "7441 bytes, want"},
		{"posts not whole seconds apart", "N46E008.hgt", make([]byte, 2*1000*1000), "2000000 bytes, want"},
		{"cut gzip", "N46E008.hgt.gz", packed[:len(packed)-9], "terrain N46E008.hgt.gz: cannot be expanded (unexpected EOF): download the tile again"},
		{"gzip header alone", "N46E008.hgt.gz", packed[:5], "cannot be expanded"},
		{"gzip of a cut file", "N46E008.hgt.gz", gzipOf(small[:812]), "N46E008.hgt.gz: 812 bytes, want"},
		{"gzip bomb", "N46E008.hgt.gz", gzipOf(bomb), "terrain N46E008.hgt.gz: holds more than the 25934402 bytes of the largest tile (1″): it is no tile, leave it out"},
		{"cut zip", "N46E008.hgt.zip", zipped[:len(zipped)-30], "terrain N46E008.hgt.zip: cannot be expanded (zip: not a valid zip file): download the tile again"},
		{"damaged zip", "N46E008.hgt.zip", damaged, "cannot be expanded"},
		{"zip of a cut file", "N46E008.zip", zipOf(zipEntry{"N46E008.hgt", small[:812]}), "terrain N46E008.zip: N46E008.hgt: 812 bytes, want"},
		{"zip without a tile", "N46E008.zip", zipOf(zipEntry{"N46E008.tif", small}), "terrain N46E008.zip: holds no .hgt file"},
		{"zip with two tiles", "N46E008.zip", zipOf(zipEntry{"N46E008.hgt", small}, zipEntry{"N46E009.hgt", small}), "holds several tiles (N46E008.hgt, N46E009.hgt): unpack it into a folder"},
		{"zip of another place", "N46E008.zip", zipOf(zipEntry{"N46E009.hgt", small}), "holds N46E009.hgt, another place"},
		{"zip bomb", "N46E008.zip", zipOf(zipEntry{"N46E008.hgt", bomb}), "N46E008.hgt holds more than the 25934402 bytes of the largest tile"},
		{"zip bomb that lies about its size", "N46E008.zip", lying, "terrain N46E008.zip"},
		{"zip member that leads out", "N46E008.zip", zipOf(zipEntry{"../../N46E008.hgt", small}), `member "../../N46E008.hgt" leads out of the archive`},
		{"zip member with a root", "N46E008.zip", zipOf(zipEntry{"/etc/N46E008.hgt", small}), "leads out of the archive"},
		{"zip member with backslashes", "N46E008.zip", zipOf(zipEntry{`..\N46E008.hgt`, small}), "leads out of the archive"},
		{"name without a position", "heights.hgt", small, "terrain heights.hgt: the name holds no position such as N55W003"},
		{"position off the Earth", "N90E008.hgt", small, "holds no position"},
	}
	for _, test := range tests {
		tile, err := DecodeHGT(test.name, test.data)
		if err == nil || tile != nil {
			t.Errorf("%s: was decoded", test.what)
			continue
		}
		if !strings.Contains(err.Error(), test.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: error %q, want %q in one line", test.what, err, test.want)
		}
	}
}

// A file that expands to many times the largest tile must cost no more memory than that.
func TestDecodeBoundsMemory(t *testing.T) {
	packed := gzipOf(make([]byte, 4*maxTileBytes))
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	if _, err := DecodeHGT("N46E008.hgt.gz", packed); err == nil {
		t.Error("four times the largest tile was decoded as a tile")
	}
	runtime.ReadMemStats(&after)
	if got := after.TotalAlloc - before.TotalAlloc; got > 3*maxTileBytes {
		t.Errorf("refusing it took %d bytes, want at most %d", got, 3*maxTileBytes)
	}
}

func FuzzDecodeHGT(f *testing.F) {
	small := made(61, flat(7))
	f.Add("N46E008.hgt", small)
	f.Add("s01w180.hgt.gz", gzipOf(small))
	f.Add("N46E008.zip", zipOf(zipEntry{"N46E008.hgt", small}))
	f.Add("x.zip", zipOf(zipEntry{"../N46E008.hgt", small[:100]}))
	f.Add("N46E008.hgt", []byte("PK"))
	f.Fuzz(func(t *testing.T, name string, data []byte) {
		tile, err := DecodeHGT(name, data)
		if err != nil {
			if tile != nil || !strings.HasPrefix(err.Error(), "terrain ") {
				t.Fatalf("tile %v with error %q", tile, err)
			}
			return
		}
		if len(tile.Posts) != tile.Cols.N*tile.Cols.N || 3600%(tile.Cols.N-1) != 0 {
			t.Fatalf("%d posts, N = %d", len(tile.Posts), tile.Cols.N)
		}
		if tile.LatDeg < -90 || tile.LatDeg > 89 || tile.LonDeg < -180 || tile.LonDeg > 179 {
			t.Fatalf("corner %d, %d is off the Earth", tile.LatDeg, tile.LonDeg)
		}
		again, err := DecodeHGT("N00E000.hgt", encode(tile.Posts))
		if err != nil || !slices.Equal(again.Posts, tile.Posts) {
			t.Fatalf("written again and decoded, the tile differs (%v)", err)
		}
	})
}

func BenchmarkDecodeHGT(b *testing.B) {
	posts := readSample(b, "N55W003").Posts
	data := encode(posts)
	zipped, err := os.ReadFile(samples + "N55W003.hgt.zip")
	if err != nil {
		b.Fatal(err)
	}
	for _, bench := range []struct {
		name string
		data []byte
	}{{"plain", data}, {"gzip", gzipOf(data)}, {"zip", zipped}} {
		b.Run(bench.name, func(b *testing.B) {
			b.SetBytes(int64(len(data)))
			for b.Loop() {
				if _, err := DecodeHGT("N55W003.hgt", bench.data); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
