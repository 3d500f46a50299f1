package geotiff

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"
)

const testCols, testRows = 20, 11

// testHeights are samples of a type, its extremes among them; NaN at a few places.
func testHeights(samples string) []float64 {
	low, high := map[string]float64{"int8": -128, "int16": math.MinInt16, "int32": math.MinInt32, "float32": -(1 << 100), "float64": -1e300}[samples],
		map[string]float64{"int8": 127, "uint8": 255, "int16": math.MaxInt16, "uint16": math.MaxUint16, "int32": math.MaxInt32, "uint32": math.MaxUint32, "float32": 1 << 100, "float64": 1e300}[samples]
	heights := make([]float64, testCols*testRows)
	for i := range heights {
		heights[i] = float64(i * i * 7 % 120)
		if strings.HasPrefix(samples, "float") {
			heights[i] = float64(float32(heights[i] * 1.1))
		}
	}
	heights[3], heights[4], heights[50], heights[119] = low, high, math.NaN(), math.NaN()
	return heights
}

const testNoData = 125

type shape struct {
	samples                string
	compression, predictor int
	blockCols, blockRows   int // blockCols 0: strips
	order                  byteOrder
	big                    bool
}

// testTags describes testCols × testRows posts 0.5° apart, the corner of the first pixel at 10° E, 50° N.
func testTags(s shape) []tag {
	var bits, format uint16
	for name, code := range map[string]uint16{"uint": 1, "int": 2, "float": 3} {
		if rest, ok := strings.CutPrefix(s.samples, name); ok {
			format = code
			fmt.Sscan(rest, &bits)
		}
	}
	tags := []tag{
		{tagImageWidth, 3, uint16(testCols)}, {tagImageLength, 4, uint32(testRows)}, {tagBitsPerSample, 3, bits}, {tagSampleFormat, 3, format},
		{tagCompression, 3, uint16(s.compression)}, {tagPredictor, 3, uint16(s.predictor)}, {tagSamplesPerPixel, 3, uint16(1)},
		{tagModelPixelScale, 12, []float64{0.5, 0.5, 0}}, {tagModelTiepoint, 12, []float64{0, 0, 0, 10, 50, 0}},
		{tagGeoKeyDirectory, 3, []uint16{1, 1, 0, 4, keyModelType, 0, 1, 2, keyRasterType, 0, 1, 1, keyGeographic, 0, 1, 4326, keyVertical, 0, 1, 5773}},
		{tagGDALNoData, 2, fmt.Sprint(testNoData)},
	}
	if s.blockCols > 0 {
		return append(tags, tag{tagTileWidth, 3, uint16(s.blockCols)}, tag{tagTileLength, 3, uint16(s.blockRows)})
	}
	return append(tags, tag{tagRowsPerStrip, 4, uint32(s.blockRows)})
}

func testFile(s shape, tags []tag) []byte {
	heights := testHeights(s.samples)
	var blocks [][]byte
	offsets, counts, blockCols := uint16(tagStripOffsets), uint16(tagStripByteCounts), testCols
	if s.blockCols > 0 {
		offsets, counts, blockCols = tagTileOffsets, tagTileByteCounts, s.blockCols
	}
	for row := 0; row < testRows; row += s.blockRows {
		for col := 0; col < testCols; col += blockCols {
			var block []byte
			for r := row; r < row+s.blockRows && (r < testRows || s.blockCols > 0); r++ {
				line := make([]float64, blockCols) // padding is 0
				for c := range line {
					if r < testRows && col+c < testCols {
						line[c] = heights[r*testCols+col+c]
					}
					if math.IsNaN(line[c]) {
						line[c] = testNoData
					}
				}
				block = append(block, encode(s.order, s.samples, s.predictor, line)...)
			}
			blocks = append(blocks, pack(s.compression, block))
		}
	}
	return write(s.order, s.big, tags, offsets, counts, blocks)
}

func open(content []byte) (*File, error) { return Open(bytes.NewReader(content), int64(len(content))) }

// TestRead decodes every packing of every type, written here by the same definitions; TestGDALVariants has a writer that is not ours.
func TestRead(t *testing.T) {
	for _, samples := range []string{"int8", "uint8", "int16", "uint16", "int32", "uint32", "float32", "float64"} {
		for _, compression := range []int{packNone, packLZW, packDeflate, packOldDeflate, packPackBits, packZSTD} {
			for predictor := 1; predictor <= 3; predictor++ {
				if predictor == 3 && !strings.HasPrefix(samples, "float") || predictor > 1 && (compression == packNone || compression == packPackBits) {
					continue
				}
				for i, s := range []shape{{blockRows: 4}, {blockRows: testRows}, {blockCols: 16, blockRows: 16}, {blockCols: 8, blockRows: 4}} {
					s.samples, s.compression, s.predictor, s.big = samples, compression, predictor, i%2 == 1
					for _, s.order = range []byteOrder{binary.LittleEndian, binary.BigEndian} {
						f, err := open(testFile(s, testTags(s)))
						if err != nil {
							t.Fatalf("%+v: %v", s, err)
						}
						want := testHeights(samples)
						if got := readWhole(t, f); fmt.Sprint(got) != fmt.Sprint(want) {
							t.Fatalf("%+v: %v, want %v", s, got, want)
						}
						window := make([]float64, 6)
						if err := f.ReadWindow(7, 3, 3, 2, window); err != nil || fmt.Sprint(window) != fmt.Sprint(append(want[67:70:70], want[87:90]...)) {
							t.Errorf("%+v: window %v, %v", s, window, err)
						}
					}
				}
			}
		}
	}
}

func TestInfoAndChanges(t *testing.T) {
	s := shape{samples: "int16", compression: 1, predictor: 1, blockRows: 4, order: binary.LittleEndian}
	area := Info{Cols: testCols, Rows: testRows, WestDeg: 10.25, NorthDeg: 49.75, LonStepDeg: 0.5, LatStepDeg: 0.5, Samples: "int16", BlockCols: testCols, BlockRows: 4, CRS: "EPSG:4326", VerticalEPSG: 5773}
	point := area
	point.WestDeg, point.NorthDeg, point.PixelIsPoint, point.CRS, point.VerticalEPSG = 10, 50, true, "EPSG:4979", 4979
	matrix := area
	matrix.WestDeg, matrix.NorthDeg = 20.25, 39.75
	keys := func(v ...uint16) tag {
		return tag{tagGeoKeyDirectory, 3, append([]uint16{1, 1, 0, uint16(len(v) / 4)}, v...)}
	}
	transformation := make([]float64, 16)
	transformation[0], transformation[3], transformation[5], transformation[7] = 0.5, 20, -0.5, 40
	rotated := append([]float64{}, transformation...)
	rotated[1] = 0.1
	for _, test := range []struct {
		name   string
		change []tag
		want   Info
		err    string
	}{
		{"area", nil, area, ""},
		{"point over the ellipsoid", []tag{keys(1024, 0, 1, 2, 1025, 0, 1, 2, 2048, 0, 1, 4979)}, point, ""},
		{"transformation", []tag{{tagModelTransformation, 12, transformation}}, matrix, ""},
		{"rotated", []tag{{tagModelTransformation, 12, rotated}}, Info{}, "rows do not run along parallels"},
		{"projected", []tag{keys(1024, 0, 1, 1, 3072, 0, 1, 32633)}, Info{}, "EPSG:32633: projected coordinates: reproject to EPSG:4326 with gdalwarp -t_srs EPSG:4326"},
		{"far datum", []tag{keys(1024, 0, 1, 2, 2048, 0, 1, 4314)}, Info{}, "EPSG:4314: more than 2 m from WGS84"},
		{"no keys", []tag{keys()}, Info{}, "model type 0"},
		{"keys cut short", []tag{{tagGeoKeyDirectory, 3, []uint16{1, 1, 0, 9}}}, Info{}, "states 9 keys, holds 0"},
		{"gradians", []tag{keys(1024, 0, 1, 2, 2048, 0, 1, 4326, 2054, 0, 1, 9105)}, Info{}, "angles in EPSG unit 9105"},
		{"feet", []tag{keys(1024, 0, 1, 2, 2048, 0, 1, 4326, 4099, 0, 1, 9002)}, Info{}, "heights in EPSG unit 9002"},
		{"three bands", []tag{{tagSamplesPerPixel, 3, uint16(3)}}, Info{}, "3 bands, want 1"},
		{"absurd size", []tag{{tagImageWidth, 4, uint32(1 << 31)}}, Info{}, "2147483648 × 11 posts"},
		{"more rows than strips", []tag{{tagImageLength, 4, uint32(1 << 30)}}, Info{}, "more than 16777216"},
		{"missing strips", []tag{{tagImageLength, 4, uint32(40)}}, Info{}, "lists 3 strips, 20 × 40 posts take 10"},
		{"JPEG", []tag{{tagCompression, 3, uint16(7)}}, Info{}, "compression 7 is not read"},
		{"complex", []tag{{tagSampleFormat, 3, uint16(6)}}, Info{}, "samples of 16 bits in format 6"},
		{"mask alone", []tag{{tagNewSubfileType, 4, uint32(4)}}, Info{}, "no image of full resolution"},
		{"south up", []tag{{tagModelPixelScale, 12, []float64{0.5, -0.5, 0}}}, Info{}, "want both over 0"},
		{"not a number", []tag{{tagModelPixelScale, 12, []float64{math.NaN(), 0.5, 0}}}, Info{}, "value 0 is NaN"},
		{"no-data text", []tag{{tagGDALNoData, 2, "none"}}, Info{}, `no-data value "none"`},
		{"unit", []tag{{tagGDALMetadata, 2, `<GDALMetadata><Item name="UNITTYPE" role="unittype">ft</Item></GDALMetadata>`}}, Info{}, `heights in "ft"`},
		{"entity", []tag{{tagGDALMetadata, 2, `<!DOCTYPE x [<!ENTITY a "b">]><GDALMetadata><Item>&a;</Item></GDALMetadata>`}}, Info{}, "GDAL metadata (tag 42112) cannot be read"},
	} {
		f, err := open(testFile(s, append(testTags(s), test.change...)))
		switch {
		case test.err != "":
			if err == nil || !strings.Contains(err.Error(), test.err) {
				t.Errorf("%s: error %v, want %q", test.name, err, test.err)
			}
		case err != nil:
			t.Errorf("%s: %v", test.name, err)
		case f.Info() != test.want:
			t.Errorf("%s: Info() = %+v, want %+v", test.name, f.Info(), test.want)
		}
	}
}

// TestDamage changes a good file of 3 strips of 4, 4 and 3 rows of 40 bytes, which begin at byte 8.
func TestDamage(t *testing.T) {
	s := shape{samples: "int16", compression: 1, predictor: 1, blockRows: 4, order: binary.LittleEndian}
	strips := func(compression int, blocks ...[]byte) []byte {
		s.compression = compression
		return write(s.order, false, testTags(s), tagStripOffsets, tagStripByteCounts, blocks)
	}
	whole := make([]byte, 160)
	corrupt := pack(packDeflate, whole)
	corrupt[len(corrupt)-1] ^= 1
	loop := testFile(s, append(testTags(s), tag{tagNewSubfileType, 4, uint32(1)}))
	at := binary.LittleEndian.Uint32(loop[4:])
	binary.LittleEndian.PutUint32(loop[int(at)+2+12*int(binary.LittleEndian.Uint16(loop[at:])):], at)
	for _, test := range []struct {
		name    string
		content []byte
		want    string
	}{
		{"plain", strips(1, whole, whole[:81], whole[:120]), "strip 1: ends after 81 of 160 bytes"},
		{"LZW", strips(packLZW, pack(packLZW, whole[:77]), whole, whole), "strip 0: ends after 77 of 160 bytes"},
		{"DEFLATE", strips(packDeflate, pack(packDeflate, whole), pack(packDeflate, whole), pack(packDeflate, whole[:9])), "strip 2: ends after 9 of 120 bytes"},
		{"DEFLATE check sum", strips(packDeflate, corrupt, whole, whole), "strip 0: damaged"},
		{"no DEFLATE", strips(packDeflate, whole, whole, whole), "strip 0: no DEFLATE data"},
		{"ZSTD", strips(packZSTD, pack(packZSTD, whole[:5]), whole, whole), "strip 0: ends after 5 of 160 bytes"},
		{"PackBits", strips(packPackBits, pack(packPackBits, whole[:6]), whole, whole), "strip 0: ends after 6 of 160 bytes"},
		{"loop", loop, "follows itself"},
		{"empty", nil, "TIFF header"},
		{"directory past the end", []byte("II*\x00\xff\xff\xff\xff"), "reach past the end of the file"},
		{"no TIFF", []byte("PK\x03\x04PK\x03\x04"), "not as a TIFF file"},
	} {
		f, err := open(test.content)
		if err == nil {
			err = f.ReadWindow(0, 0, testCols, testRows, make([]float64, testCols*testRows))
		}
		if err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: error %v, want %q", test.name, err, test.want)
		}
	}
	f, err := open(strips(1, nil, whole, whole[:120]))
	if err != nil {
		t.Fatal(err)
	}
	if got := readWhole(t, f); !math.IsNaN(got[79]) || got[80] != 0 {
		t.Errorf("sparse strip: last post %v, next strip %v, want NaN, 0", got[79], got[80])
	}
	for _, w := range [][4]int{{-1, 0, 1, 1}, {0, 0, testCols + 1, 1}, {0, testRows, 1, 1}, {0, 0, 0, 1}, {math.MaxInt, 0, 1, 1}} {
		if err := f.ReadWindow(w[0], w[1], w[2], w[3], make([]float64, 400)); err == nil {
			t.Errorf("ReadWindow(%v) of %d × %d posts: no error", w, testCols, testRows)
		}
	}
}

func TestScaleAndNoData(t *testing.T) {
	s := shape{samples: "float32", compression: 1, predictor: 1, blockRows: 11, order: binary.LittleEndian}
	f, err := open(testFile(s, append(testTags(s), tag{tagGDALNoData, 2, "1.2676506002282294e+30"},
		tag{tagGDALMetadata, 2, `<GDALMetadata><Item name="OFFSET" sample="0" role="offset">100</Item><Item name="SCALE" sample="0" role="scale">0.5</Item></GDALMetadata>`})))
	if err != nil {
		t.Fatal(err)
	}
	got := readWhole(t, f)
	if want := testHeights("float32")[1]*0.5 + 100; !math.IsNaN(got[4]) || got[1] != want {
		t.Errorf("got %v, %v, want NaN, %v", got[4], got[1], want)
	}
}

func FuzzRead(f *testing.F) {
	for i, compression := range []int{packNone, packLZW, packDeflate, packPackBits, packZSTD} {
		s := shape{samples: "float32", compression: compression, predictor: 1 + i%3, blockRows: 4, blockCols: 8 * (i % 2), order: binary.LittleEndian, big: i == 2}
		f.Add(testFile(s, testTags(s)))
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		file, err := open(content)
		if err != nil {
			return
		}
		i := file.Info()
		cols, rows := min(i.Cols, 300), min(i.Rows, 300)
		_ = file.ReadWindow(i.Cols-cols, 0, cols, rows, make([]float64, cols*rows)) // must not panic
	})
}
