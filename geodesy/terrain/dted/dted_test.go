package dted

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// cell writes a DTED file by MIL-PRF-89020B: heights by column from the west, each from south to north.
func cell(lon, lat string, lonTenths, latTenths int, heights [][]int) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "UHL1%s%s%04d%04d0009U  %12s%04d%04d0%24s", lon, lat, lonTenths, latTenths, "", len(heights), len(heights[0]), "")
	dsi := bytes.Repeat([]byte{' '}, 648)
	copy(dsi, "DSIU")
	copy(dsi[141:], "E96WGS84")
	copy(dsi[289:], "00")
	b.Write(dsi)
	acc := bytes.Repeat([]byte{' '}, 2700)
	copy(acc, "ACC")
	b.Write(acc)
	for c, column := range heights {
		record := []byte{0xAA, 0, byte(c >> 8), byte(c), byte(c >> 8), byte(c), 0, 0}
		for _, h := range column {
			bits := uint16(h)
			if h < 0 {
				bits = 0x8000 | uint16(-h)
			}
			record = binary.BigEndian.AppendUint16(record, bits)
		}
		sum := 0
		for _, v := range record {
			sum += int(v)
		}
		b.Write(binary.BigEndian.AppendUint32(record, uint32(sum)))
	}
	return b.Bytes()
}

func small() []byte {
	// Twice the spacing of rows between columns, as between latitudes 50° and 70°.
	return cell("0080000W", "0510000S", 600, 300, [][]int{{1, 2, 3, 4}, {-1, -2, void, 7000}, {5, 6, 7, -32766}})
}

func open(content []byte) (*File, error) { return Open(bytes.NewReader(content), int64(len(content))) }

func TestRead(t *testing.T) {
	f, err := open(small())
	if err != nil {
		t.Fatal(err)
	}
	want := Info{
		Cols: 3, Rows: 4, WestDeg: -8, NorthDeg: -51 + 900.0/36000, LonStepDeg: 600.0 / 36000, LatStepDeg: 300.0 / 36000,
		Samples: "int16", BlockCols: 1, BlockRows: 4, CRS: "EPSG:4326", VerticalEPSG: 5773, PixelIsPoint: true,
	}
	if f.Info() != want {
		t.Errorf("Info() = %+v, want %+v", f.Info(), want)
	}
	nan := math.NaN()
	for _, test := range []struct {
		col, row, cols, rows int
		want                 []float64
	}{
		{0, 0, 3, 4, []float64{4, 7000, -32766, 3, nan, 7, 2, -2, 6, 1, -1, 5}},
		{1, 1, 2, 2, []float64{nan, 7, -2, 6}},
		{2, 3, 1, 1, []float64{5}},
	} {
		got := make([]float64, len(test.want))
		err := f.ReadWindow(test.col, test.row, test.cols, test.rows, got)
		if err != nil || fmt.Sprint(got) != fmt.Sprint(test.want) {
			t.Errorf("ReadWindow(%d, %d, %d, %d) = %v, %v, want %v", test.col, test.row, test.cols, test.rows, got, err, test.want)
		}
	}
}

// A partial cell may lack columns; a whole one may not.
func TestPartialCell(t *testing.T) {
	const recordBytes = recordFrame + 2*4
	content := small()
	content = append(content[:headerBytes+recordBytes:headerBytes+recordBytes], content[headerBytes+2*recordBytes:]...)
	if _, err := open(content); err == nil || !strings.Contains(err.Error(), "ends after 2 of 3 columns") {
		t.Errorf("whole cell without a column: error %v", err)
	}
	copy(content[80+289:], "66")
	f, err := open(content)
	if err != nil {
		t.Fatal(err)
	}
	got := make([]float64, 3)
	if err := f.ReadWindow(0, 3, 3, 1, got); err != nil || fmt.Sprint(got) != "[1 NaN 5]" {
		t.Errorf("southern row = %v, %v, want [1 NaN 5]", got, err)
	}
}

func TestErrors(t *testing.T) {
	change := func(at int, text string) []byte {
		content := small()
		copy(content[at:], text)
		return content
	}
	for _, test := range []struct {
		name    string
		content []byte
		want    string
	}{
		{"no DTED", change(0, "HDR1"), "header record UHL1"},
		{"cut in the header", small()[:1000], "header: ends after 1000 of 3428 bytes"},
		{"cut in a column", small()[:len(small())-5], "column 2: ends after 15 of 20 bytes"},
		{"another datum", change(80+144, "WGS72"), `horizontal datum "WGS72"`},
		{"minutes over 59", change(4, "0086100W"), `origin "0086100W"`},
		{"no digits", change(47, "00-3"), `"00-3" is no number`},
		{"too large", change(47, "9999"), "more than a cell"},
		{"step 0", change(20, "0000"), "tenths of a second apart"},
		{"no column mark", change(headerBytes, "x"), "column 0: starts with byte 0x78"},
		{"column twice", change(headerBytes+20+4, "\x00\x00"), "column 1: its record says that it is column 0"},
		{"wrong check sum", change(headerBytes+20+recordHead, "\x01"), "column 1: damaged"},
	} {
		f, err := open(test.content)
		if err == nil {
			err = f.ReadWindow(0, 0, 3, 4, make([]float64, 12))
		}
		if err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: error %v, want %q", test.name, err, test.want)
		}
	}
	f, err := open(small())
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range [][4]int{{-1, 0, 1, 1}, {0, 0, 4, 1}, {0, 1, 1, 4}, {0, 0, 0, 1}, {math.MaxInt, 0, 1, 1}} {
		if err := f.ReadWindow(w[0], w[1], w[2], w[3], make([]float64, 12)); err == nil {
			t.Errorf("ReadWindow(%v) of 3 × 4 posts: no error", w)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add(small())
	f.Add(small()[:headerBytes])
	f.Fuzz(func(t *testing.T, content []byte) {
		file, err := open(content)
		if err != nil {
			return
		}
		if i := file.Info(); i.Cols*i.Rows < 1<<20 {
			_ = file.ReadWindow(0, 0, i.Cols, i.Rows, make([]float64, i.Cols*i.Rows)) // must not panic
		}
	})
}

// TestGDAL compares with GDAL's reading of files that GDAL wrote.
func TestGDAL(t *testing.T) {
	if _, err := exec.LookPath("gdal_translate"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("gdal_translate is not installed")
		}
		t.Skip("gdal_translate is not installed: no comparison with GDAL")
	}
	translate := func(args ...string) {
		t.Helper()
		if out, err := exec.Command("gdal_translate", append([]string{"-q"}, args...)...).CombinedOutput(); err != nil {
			t.Fatalf("gdal_translate %v: %v\n%s", args, err, out)
		}
	}
	const tile = "/vsigzip/../../../testdata/N46E008.tif.gz" // SRTM 3″, 1201 × 1201
	for _, test := range []struct {
		name string
		size string // posts each way: level 0 has 121, level 1 1201, level 2 3601 (MIL-PRF-89020B, table I)
		n    int
	}{{"a.dt0", "121", 121}, {"a.dt1", "1201", 1201}, {"a.dt2", "3601", 3601}} {
		folder := t.TempDir()
		name := filepath.Join(folder, test.name)
		// Lowered so that some heights are below 0.
		half := 0.5 / float64(test.n-1)
		translate("-of", "GTiff", "-outsize", test.size, test.size, "-scale", "0", "4000", "-1500", "2500", "-a_nodata", "-32767",
			"-a_ullr", fmt.Sprint(8-half), fmt.Sprint(47+half), fmt.Sprint(9+half), fmt.Sprint(46-half), tile, name+".tif")
		translate("-of", "DTED", name+".tif", name)
		translate("-of", "ENVI", "-ot", "Float64", name, name+".raw")
		raw, err := os.ReadFile(name + ".raw")
		if err != nil {
			t.Fatal(err)
		}
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		f, err := open(content)
		if err != nil {
			t.Fatalf("%s: %v", test.name, err)
		}
		i := f.Info()
		if i.Cols != test.n || i.Rows != test.n || i.WestDeg != 8 || i.NorthDeg != 47 {
			t.Errorf("%s: Info() = %+v", test.name, i)
		}
		got := make([]float64, i.Cols*i.Rows)
		if err := f.ReadWindow(0, 0, i.Cols, i.Rows, got); err != nil {
			t.Fatalf("%s: %v", test.name, err)
		}
		differing, below, voids := 0, 0, 0
		for k, h := range got {
			want := math.Float64frombits(binary.LittleEndian.Uint64(raw[8*k:]))
			if want == void {
				voids++
			}
			if h != want && !(math.IsNaN(h) && want == void) {
				differing++
			}
			if h < 0 {
				below++
			}
		}
		if differing != 0 || below == 0 {
			t.Errorf("%s: %d of %d samples differ from GDAL, %d below 0", test.name, differing, len(got), below)
		}
		t.Logf("%s: %d samples compared, %d below 0, %d void", test.name, len(got), below, voids)
	}
}
