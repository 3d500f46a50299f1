package terrain

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"farstation/geodesy"
)

func needGDAL(t *testing.T) {
	t.Helper()
	if _, err := exec.LookPath("gdal_translate"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("gdal_translate is not installed, and CI needs it")
		}
		t.Skip("gdal_translate is not installed")
	}
}

// A GeoTIFF and the DTED file that gdal makes of it are the same tile.
func TestSameTileAsDTED(t *testing.T) {
	needGDAL(t)
	dted := filepath.Join(t.TempDir(), "n46.dt1")
	if out, err := exec.Command("gdal_translate", "-q", "-of", "DTED", "/vsigzip/"+testdata+"N46E008.tif.gz", dted).CombinedOutput(); err != nil {
		t.Fatalf("gdal_translate: %v\n%s", err, out)
	}
	s, original := storeOf(t, StoreOptions{}, dted), storeOf(t, StoreOptions{}, testdata+"N46E008.tif.gz")
	tile, _ := s.Tile(46, 8)
	want, _ := original.Tile(46, 8)
	if tile == nil || want == nil || s.index.Files()[0].Format != FormatDTED || !slices.Equal(tile.Posts, want.Posts) {
		t.Fatalf("%+v, %v, %v", s.index.Files(), s.Unreadable(), original.Unreadable())
	}
}

// An .hgt tile and the GeoTIFF that gdal makes of it are the same ground, to the bit.
func TestSameTileAsGeoTIFF(t *testing.T) {
	needGDAL(t)
	root := t.TempDir()
	var plain, converted []string
	for _, name := range []string{"N55W003", "N55W004"} {
		hgt := filepath.Join(root, name+".hgt")
		if err := os.WriteFile(hgt, encode(readSample(t, name).Posts), 0o644); err != nil {
			t.Fatal(err)
		}
		tif := filepath.Join(root, name+".tif")
		options := []string{"-q", "-co", "COMPRESS=DEFLATE", "-co", "PREDICTOR=2", "-co", "TILED=YES"}
		if out, err := exec.Command("gdal_translate", append(options, hgt, tif)...).CombinedOutput(); err != nil {
			t.Fatalf("gdal_translate: %v\n%s", err, out)
		}
		plain, converted = append(plain, hgt), append(converted, tif)
	}
	a, b := fileWalker(t, plain...), fileWalker(t, converted...)
	for _, lon := range []int{-3, -4} {
		one, _ := a.store.Tile(55, lon)
		other, _ := b.store.Tile(55, lon)
		if other == nil || one.Rows != other.Rows || one.Cols != other.Cols || !slices.Equal(one.Posts, other.Posts) {
			t.Fatalf("cell 55, %d: %v", lon, b.store.Unreadable())
		}
	}
	for _, l := range randomLines(t, a, bordersHills(t), lineCount(500), 5) {
		one, err1 := a.Critical(l, FillHigh, 200, math.Inf(1))
		other, err2 := b.Critical(l, FillHigh, 200, math.Inf(1))
		if err1 != nil || err2 != nil || fmt.Sprint(one) != fmt.Sprint(other) {
			t.Fatalf("%v to %v: %+v, %+v", l.From.At, l.To.At, one, other)
		}
	}
}

// The highest posts of real tiles, beside the summits that stand there. Heights and places of the summits are those commonly listed (from
// memory); the posts were measured with gdalinfo -mm on the same files.
func TestHighestPostsBesideSummits(t *testing.T) {
	tests := []struct {
		file           string
		summit         string
		lat, lon       float64
		listedM, postM float64
		withinM        float64
	}{
		{"N46E008.tif.gz", "Finsteraarhorn", 46.5372, 8.1262, 4274, 4173, 500},
		{"S33W071.tif.gz", "Aconcagua", -32.6532, -70.0109, 6961, 6929, 500},
		{"N49W124.tif.gz", "Mount Garibaldi", 49.8506, -123.0047, 2678, 2630, 500},
		{"N50E011.hgt.zip", "", 0, 0, 0, 1044, 0},
	}
	for _, test := range tests {
		s := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, testdata+test.file)
		c := s.index.Cells()[0]
		if h, ok := s.HighestM(c.LatDeg, c.LonDeg); !ok || h != test.postM {
			t.Errorf("%s: highest post %v m, %v, want %v", test.file, h, ok, test.postM)
		}
		if test.summit == "" {
			continue
		}
		at, h, ok := s.HighestWithin(geodesy.LatLon{LatDeg: test.lat, LonDeg: test.lon}, test.withinM)
		apart := geodesy.WGS84.Inverse(geodesy.LatLon{LatDeg: test.lat, LonDeg: test.lon}, at).DistanceM
		t.Logf("%s: listed %v m, highest post %v m, %.0f m away", test.summit, test.listedM, h, apart)
		if !ok || h != test.postM {
			t.Errorf("%s: highest post within %v m of it is %v m, %v, want the highest of the tile, %v", test.summit, test.withinM, h, ok, test.postM)
		}
	}
}

// Neighbouring tiles of real sets agree on their common edge, post for post.
func TestEdgesOfRealNeighboursAgree(t *testing.T) {
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, testdata+"N49W123.tif.gz", testdata+"N49W124.tif.gz", testdata+"N49E011.hgt.zip", testdata+"N50E011.hgt.zip")
	tile := func(lat, lon int) *Tile {
		tile, err := s.Tile(lat, lon)
		if err != nil || tile == nil {
			t.Fatal(err, s.Unreadable())
		}
		return tile
	}
	west, east, south, north := tile(49, -124), tile(49, -123), tile(49, 11), tile(50, 11)
	apart := 0
	for i := range 1201 {
		if west.Posts[i*1201+1200] != east.Posts[i*1201] {
			apart++
		}
		if north.Posts[1200*1201+i] != south.Posts[i] {
			apart++
		}
	}
	if apart > 0 {
		t.Errorf("%d of 2402 posts differ", apart)
	}
}
