package geotiff

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"sync"
)

// Info describes a file. Places are degrees of WGS84, or within 2 m of them where CRS says NAD83 (4269, 4617) or ETRS89 (4258).
type Info struct {
	Cols, Rows int
	// WestDeg and NorthDeg are the place of the first post (column 0, row 0): the middle of its pixel where pixels are areas.
	WestDeg, NorthDeg float64
	// LonStepDeg, eastward from column to column, and LatStepDeg, southward from row to row, are over 0.
	LonStepDeg, LatStepDeg float64
	// Samples is the type of the stored values: "int8", "uint8", "int16", "uint16", "int32", "uint32", "float32", "float64".
	Samples string
	// BlockCols and BlockRows are the size of the file's strips or tiles.
	BlockCols, BlockRows int
	// CRS is the horizontal coordinate system, "EPSG:4326" for one.
	CRS string
	// VerticalEPSG is what the file states of its heights: 5773 EGM96, 3855 EGM2008, 5703 NAVD88, 4979 over the ellipsoid; 0 where it is
	// silent.
	VerticalEPSG int
	PixelIsPoint bool
}

// File is an opened GeoTIFF; safe for concurrent use where its reader is.
type File struct {
	source *source
	info   Info
	layout
	offsets, byteCounts []uint64
	values
	decoders sync.Pool
}

// values says how stored samples become heights.
type values struct {
	noData        float64 // as stored
	hasNoData     bool
	scale, offset float64
}

// layout is how samples are stored.
type layout struct {
	tiled                  bool
	blocksAcross           int
	sampleBytes            int
	compression, predictor int
}

// maxSide bounds a raster's sides in posts, maxRowBytes one row of a block, which is held in memory, and maxBlockBytes a block that is packed:
// it is unpacked from its start for every window, and a few bytes may stand for any number.
const (
	maxSide       = math.MaxInt32
	maxRowBytes   = 32 << 20
	maxBlockBytes = 1 << 30
)

// Open reads the directory of a file of size bytes. It refuses files that are damaged, hold several bands, are not in geographic
// coordinates near WGS84, or are stored in a way that is not read; the error names no file.
func Open(r io.ReaderAt, size int64) (*File, error) {
	s, first, err := openSource(r, size)
	if err != nil {
		return nil, err
	}
	d, err := s.image(first)
	if err != nil {
		return nil, err
	}
	f := &File{source: s}
	if err := f.samples(d); err != nil {
		return nil, err
	}
	if err := f.blocks(d); err != nil {
		return nil, err
	}
	keys, err := s.keys(d)
	if err != nil {
		return nil, err
	}
	if err := f.info.coordinates(keys); err != nil {
		return nil, err
	}
	if err := f.info.place(s, d); err != nil {
		return nil, err
	}
	if err := f.metadata(d); err != nil {
		return nil, err
	}
	f.decoders.New = func() any { return newDecoder() }
	return f, nil
}

// Info describes the file.
func (f *File) Info() Info { return f.info }

// want is a tag to be read into a variable.
type want struct {
	tag     uint16
	missing uint64
	into    *uint64
}

func (s *source) readAll(d directory, wants []want) (err error) {
	for _, w := range wants {
		if *w.into, err = s.number(d, w.tag, w.missing); err != nil {
			return err
		}
	}
	return nil
}

// samples reads the size and the type of the samples.
func (f *File) samples(d directory) error {
	var cols, rows, bits, bands, format, compression, predictor, fill uint64
	err := f.source.readAll(d, []want{
		{tagImageWidth, 0, &cols}, {tagImageLength, 0, &rows}, {tagBitsPerSample, 1, &bits}, {tagSamplesPerPixel, 1, &bands},
		{tagSampleFormat, 1, &format}, {tagCompression, 1, &compression}, {tagPredictor, 1, &predictor}, {tagFillOrder, 1, &fill},
	})
	if err != nil {
		return err
	}
	if cols == 0 || rows == 0 || cols > maxSide || rows > maxSide {
		return fmt.Errorf("%d × %d posts, want 1 to %d each way: check the file", cols, rows, maxSide)
	}
	if bands != 1 {
		return fmt.Errorf("%d bands, want 1: take the band of heights out with gdal_translate -b", bands)
	}
	kinds := map[uint64]string{1: "uint", 2: "int", 3: "float"}
	samples := fmt.Sprint(kinds[format], bits)
	switch samples {
	case "int8", "uint8", "int16", "uint16", "int32", "uint32", "float32", "float64":
	default:
		return fmt.Errorf("samples of %d bits in format %d are not read: convert them with gdal_translate -ot Float32", bits, format)
	}
	switch compression {
	case packNone, packLZW, packDeflate, packOldDeflate, packPackBits, packZSTD:
	default:
		return fmt.Errorf("compression %d is not read: rewrite with gdal_translate -co COMPRESS=DEFLATE", compression)
	}
	if predictor < 1 || predictor > 3 || predictor == predictFloat && format != 3 {
		return fmt.Errorf("predictor %d of %s samples is not read: rewrite with gdal_translate -co PREDICTOR=1", predictor, samples)
	}
	if compression == packNone || compression == packPackBits {
		predictor = 1 // libtiff predicts for LZW, DEFLATE and ZSTD alone
	}
	if fill != 1 {
		return fmt.Errorf("fill order %d is not read: rewrite with gdal_translate", fill)
	}
	f.info.Cols, f.info.Rows, f.info.Samples = int(cols), int(rows), samples
	f.sampleBytes, f.compression, f.predictor = int(bits/8), int(compression), int(predictor)
	return nil
}

// blocks reads the layout of strips or tiles and where each lies.
func (f *File) blocks(d directory) (err error) {
	offsets, counts := uint16(tagStripOffsets), uint16(tagStripByteCounts)
	cols, rows := uint64(f.info.Cols), uint64(f.info.Rows)
	blockCols, blockRows := cols, rows
	if _, f.tiled = d[tagTileWidth]; f.tiled {
		offsets, counts = tagTileOffsets, tagTileByteCounts
		err = f.source.readAll(d, []want{{tagTileWidth, 0, &blockCols}, {tagTileLength, 0, &blockRows}})
	} else {
		err = f.source.readAll(d, []want{{tagRowsPerStrip, rows, &blockRows}})
		blockRows = min(blockRows, rows)
	}
	if err != nil {
		return err
	}
	if blockCols == 0 || blockRows == 0 || blockRows > maxSide || blockCols > maxRowBytes/uint64(f.sampleBytes) {
		return fmt.Errorf("%ss of %d × %d posts, want 1 to %d bytes a row: check the file", f.blockWord(), blockCols, blockRows, maxRowBytes)
	}
	if f.compression != packNone && blockCols*blockRows*uint64(f.sampleBytes) > maxBlockBytes {
		return fmt.Errorf("%ss of %d × %d posts unpack to more than %d MiB: rewrite with gdal_translate -co TILED=YES", f.blockWord(), blockCols, blockRows, maxBlockBytes>>20)
	}
	across, down := (cols+blockCols-1)/blockCols, (rows+blockRows-1)/blockRows
	if across*down > maxValues {
		return fmt.Errorf("%d %ss, more than %d: check the file", across*down, f.blockWord(), maxValues)
	}
	if f.offsets, err = f.source.numbers(d, offsets); err != nil {
		return err
	}
	if f.byteCounts, err = f.source.numbers(d, counts); err != nil {
		return err
	}
	if n := uint64(min(len(f.offsets), len(f.byteCounts))); n < across*down {
		return fmt.Errorf("lists %d %ss, %d × %d posts take %d: download the tile again", n, f.blockWord(), cols, rows, across*down)
	}
	f.info.BlockCols, f.info.BlockRows, f.blocksAcross = int(blockCols), int(blockRows), int(across)
	return nil
}

func (f *File) blockWord() string {
	if f.tiled {
		return "tile"
	}
	return "strip"
}

// metadata reads GDAL's tags: the no-data value, scale and offset (gdal.org, GTiff driver, "Internal nodata masks" and "Metadata").
func (f *File) metadata(d directory) error {
	f.scale = 1
	text, err := f.source.text(d, tagGDALNoData)
	if err != nil {
		return err
	}
	if text = strings.Trim(text, " \x00"); text != "" {
		f.noData, err = strconv.ParseFloat(text, 64)
		if err != nil && !errors.Is(err, strconv.ErrRange) {
			return fmt.Errorf("no-data value %q is no number: set it with gdal_translate -a_nodata", text)
		}
		f.hasNoData = true
		if f.info.Samples == "float32" {
			f.noData = float64(float32(f.noData))
		}
	}
	if text, err = f.source.text(d, tagGDALMetadata); err != nil || text == "" {
		return err
	}
	var meta struct {
		Items []struct {
			Role string `xml:"role,attr"`
			Text string `xml:",chardata"`
		} `xml:"Item"`
	}
	if err := xml.Unmarshal([]byte(text), &meta); err != nil {
		return fmt.Errorf("GDAL metadata (tag %d) cannot be read: %w: rewrite with gdal_translate", tagGDALMetadata, err)
	}
	for _, item := range meta.Items {
		value := strings.TrimSpace(item.Text)
		switch item.Role {
		case "scale":
			f.scale, err = strconv.ParseFloat(value, 64)
		case "offset":
			f.offset, err = strconv.ParseFloat(value, 64)
		case "unittype":
			switch strings.ToLower(value) {
			case "", "m", "metre", "meter", "metres", "meters":
			default:
				return fmt.Errorf("heights in %q, want metres: convert them with gdal_calc.py", value)
			}
		}
		if err != nil {
			return fmt.Errorf("GDAL metadata: %s %q is no number: rewrite with gdal_translate", item.Role, value)
		}
	}
	return nil
}
