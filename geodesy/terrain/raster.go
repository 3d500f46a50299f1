package terrain

import (
	"archive/zip"
	"bufio"
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"math"
	"os"
	"path"
	"regexp"
	"strings"

	"farstation/geodesy/terrain/archive"
	"farstation/geodesy/terrain/dted"
	"farstation/geodesy/terrain/geotiff"
)

// Formats of elevation files.
const (
	FormatHGT     = "hgt"
	FormatGeoTIFF = "geotiff"
	FormatDTED    = "dted"
)

// maxUnpackedBytes bounds what a packed GeoTIFF or DTED file is unpacked to, in memory: 512 MiB, a tile of 10,801 × 10,801 whole metres.
const maxUnpackedBytes = 512 << 20

// Rasters between these many posts a degree are read: 1/3″ to 1′ along the meridian, and along parallels, which are shorter, down to 6′.
const (
	mostPerDeg     = 10800
	leastLatPerDeg = 60
	leastLonPerDeg = 10
)

// span is one axis of a raster: n posts, post i at (first + i)/perDeg degrees of longitude, or of latitude southwards (its negative).
type span struct {
	first, perDeg float64
	n             int
}

// snapPosts is the error of a raster's stated origin and step, in posts over its whole extent, that is taken for rounding: at 3″ it is 9 cm.
const snapPosts = 1e-3

// newSpan takes the place of the first post and the step in degrees as a file states them.
func newSpan(firstDeg, stepDeg float64, n int) span {
	s := span{perDeg: 1 / stepDeg, n: n}
	if whole := math.Round(s.perDeg); math.Abs(whole*stepDeg-1)*float64(n) < snapPosts {
		s.perDeg = whole
	}
	s.first = firstDeg * s.perDeg
	if half := math.Round(2*s.first) / 2; math.Abs(half-s.first) < snapPosts {
		s.first = half
	}
	return s
}

// post returns the place in posts from the first one, rounded where it is meant to be a post.
func (s span) post(deg float64) float64 {
	i := deg*s.perDeg - s.first
	if whole := math.Round(i); math.Abs(whole-i) < 1e-6 {
		return whole
	}
	return i
}

// deg is the place of a post.
func (s span) deg(post float64) float64 { return (s.first + post) / s.perDeg }

// window returns the posts from one place to another: the first and their number, 0 where there is none.
func (s span) window(fromDeg, toDeg float64) (first, n int) {
	first = max(int(math.Ceil(s.post(fromDeg))), 0)
	last := min(int(math.Floor(s.post(toDeg))), s.n-1)
	return first, max(last-first+1, 0)
}

// lattice returns the lines of a cell of 1° that begins at a whole degree, and the post that its line 0 would be, were the cell not there to
// clamp it.
func (s span) lattice(degree int) (l Lattice, post0 int) {
	start := s.post(float64(degree))
	next := math.Floor(start) + 1 // the first post inside the cell
	l = Lattice{PerDeg: s.perDeg, Shift: 1 - (next - start)}
	post0 = int(next) - 1
	l.N = int(math.Ceil(s.perDeg+l.Shift-1e-6)) + 1
	return l, post0
}

// reader reads heights by windows, row by row from the north, NaN where there is none.
type reader interface {
	ReadWindow(col, row, cols, rows int, into []float64) error
}

// raster is an opened file.
type raster struct {
	reader
	format   string
	lat, lon span
	// blockRows is the height of the file's blocks, which are best read whole.
	blockRows int
	// verticalEPSG is what the file states of its heights, 0 where it says nothing.
	verticalEPSG int
	close        func() error
}

// openRaster opens an elevation file of any format, told by its content.
func openRaster(name string) (*raster, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("terrain %s: cannot be opened (%w): check the path and its permissions", name, cause(err))
	}
	r, err := rasterOf(name, file)
	if err != nil {
		file.Close()
		return nil, err
	}
	if r.close == nil { // nothing is read from the file any more
		file.Close()
		r.close = func() error { return nil }
	}
	return r, nil
}

func rasterOf(name string, file *os.File) (*raster, error) {
	info, err := file.Stat()
	if err != nil {
		return nil, cannotRead(name, err)
	}
	data, format, err := unpackRaster(name, file, info.Size())
	if err != nil {
		return nil, err
	}
	var content io.ReaderAt = file
	size := info.Size()
	if data != nil {
		content, size = bytes.NewReader(data), int64(len(data))
	}
	var r *raster
	switch format {
	case FormatGeoTIFF:
		r, err = openGeoTIFF(content, size)
	case FormatDTED:
		r, err = openDTED(content, size)
	default:
		if namedRaster(name) {
			return nil, fmt.Errorf("terrain %s: holds neither GeoTIFF nor DTED: download it again, or leave it out", name)
		}
		tile, err := decode(name, file, info.Size())
		if err != nil {
			return nil, err
		}
		return tileRaster(tile), nil
	}
	if err != nil {
		return nil, fmt.Errorf("terrain %s: %w", name, err)
	}
	if err := r.check(); err != nil {
		return nil, fmt.Errorf("terrain %s: %w", name, err)
	}
	if data == nil {
		r.close = file.Close
	}
	return r, nil
}

func openGeoTIFF(content io.ReaderAt, size int64) (*raster, error) {
	f, err := geotiff.Open(content, size)
	if err != nil {
		return nil, err
	}
	i := f.Info()
	r := &raster{
		reader: f, format: FormatGeoTIFF, lat: newSpan(-i.NorthDeg, i.LatStepDeg, i.Rows), lon: newSpan(i.WestDeg, i.LonStepDeg, i.Cols),
		blockRows: i.BlockRows, verticalEPSG: i.VerticalEPSG,
	}
	return r, nil
}

func openDTED(content io.ReaderAt, size int64) (*raster, error) {
	f, err := dted.Open(content, size)
	if err != nil {
		return nil, err
	}
	i := f.Info()
	// The files hold columns, so the whole height is read at once.
	return &raster{
		reader: f, format: FormatDTED, lat: newSpan(-i.NorthDeg, i.LatStepDeg, i.Rows), lon: newSpan(i.WestDeg, i.LonStepDeg, i.Cols), blockRows: i.Rows,
	}, nil
}

// tileRaster reads a decoded .hgt tile as a raster.
func tileRaster(t *Tile) *raster {
	perDeg := t.Rows.PerDeg
	return &raster{
		reader: tileReader{t}, format: FormatHGT, blockRows: t.Rows.N,
		lat: span{-float64(t.LatDeg+1) * perDeg, perDeg, t.Rows.N}, lon: span{float64(t.LonDeg) * perDeg, perDeg, t.Cols.N},
	}
}

type tileReader struct{ *Tile }

func (t tileReader) ReadWindow(col, row, cols, rows int, into []float64) error {
	for r := range rows {
		for c := range cols {
			h, ok := t.PostM((row+r)*t.Cols.N + col + c)
			if !ok {
				h = math.NaN()
			}
			into[r*cols+c] = h
		}
	}
	return nil
}

// check refuses rasters that are no elevation of the Earth at a use.
func (r *raster) check() error {
	const spare = 1.5 // posts: a raster may end with the pixel around a pole
	switch {
	case !(r.lat.perDeg <= mostPerDeg+0.5 && r.lon.perDeg <= mostPerDeg+0.5):
		return fmt.Errorf("%.6g posts a degree, more than %d: make it coarser with gdalwarp -tr 0.000277777777778 0.000277777777778 -r average", max(r.lat.perDeg, r.lon.perDeg), mostPerDeg)
	case !(r.lat.perDeg >= leastLatPerDeg-0.5 && r.lon.perDeg >= leastLonPerDeg-0.5):
		return fmt.Errorf("%.6g × %.6g posts a degree: too coarse for sightlines, want posts at most 1′ apart: take a finer set", r.lat.perDeg, r.lon.perDeg)
	case r.lat.deg(spare) < -90 || r.lat.deg(float64(r.lat.n-1)-spare) > 90:
		return fmt.Errorf("reaches from latitude %.4f° to %.4f°, past a pole: check its position", -r.lat.deg(0), -r.lat.deg(float64(r.lat.n-1)))
	case r.lon.deg(0) < -361 || r.lon.deg(float64(r.lon.n-1)) > 541 || float64(r.lon.n-1) > 361*r.lon.perDeg:
		return fmt.Errorf("reaches from longitude %.4f° to %.4f°, more than once around the Earth: check its position", r.lon.deg(0), r.lon.deg(float64(r.lon.n-1)))
	}
	return nil
}

// formatOf tells by the first bytes. Read as heights they would be 18,761 m, 19,789 m and 21,832 m.
func formatOf(head []byte) string {
	switch {
	case bytes.HasPrefix(head, []byte("II*\x00")), bytes.HasPrefix(head, []byte("MM\x00*")), bytes.HasPrefix(head, []byte("II+\x00")), bytes.HasPrefix(head, []byte("MM\x00+")):
		return FormatGeoTIFF
	case bytes.HasPrefix(head, []byte("UHL1")):
		return FormatDTED
	}
	return FormatHGT
}

// unpackRaster tells the format, and returns the content of a GeoTIFF or DTED file that is packed; nil for plain ones and for .hgt.
func unpackRaster(name string, r io.ReaderAt, size int64) (data []byte, format string, err error) {
	var packed io.Reader
	packing, err := packingOf(r)
	if err != nil {
		return nil, "", cannotRead(name, err)
	}
	switch packing {
	case plain:
		var head [4]byte
		n, _ := r.ReadAt(head[:], 0)
		return nil, formatOf(head[:n]), nil
	case gzipped:
		if packed, err = gzip.NewReader(bufio.NewReader(io.NewSectionReader(r, 0, size))); err != nil {
			return nil, "", cannotExpand(name, err)
		}
	case zipped:
		members, err := archive.Open(r, size)
		if err != nil {
			return nil, "", cannotExpand(name, err)
		}
		member, err := rasterMember(name, members)
		if err != nil || member == nil {
			return nil, FormatHGT, err
		}
		content, err := member.Open()
		if err != nil {
			return nil, "", cannotExpand(name, err)
		}
		defer content.Close()
		packed = content
	}
	content := bufio.NewReader(packed)
	head, err := content.Peek(4)
	if err != nil && err != io.EOF {
		return nil, "", cannotExpand(name, err)
	}
	if format = formatOf(head); format == FormatHGT {
		return nil, format, nil
	}
	if data, err = io.ReadAll(io.LimitReader(content, maxUnpackedBytes+1)); err != nil {
		return nil, "", cannotExpand(name, err)
	}
	if len(data) > maxUnpackedBytes {
		return nil, "", fmt.Errorf("terrain %s: holds more than %d MiB: unpack it", name, maxUnpackedBytes>>20)
	}
	return data, format, nil
}

// rasterMember finds the one GeoTIFF or DTED member of an archive without .hgt members; nil where there is none.
func rasterMember(name string, members *zip.Reader) (found *zip.File, err error) {
	for _, member := range members.File {
		base := path.Base(member.Name)
		if strings.HasPrefix(base, "._") {
			continue
		}
		if hasExtension(base, ".hgt") {
			return nil, nil
		}
		if !namedRaster(base) {
			continue
		}
		if found != nil {
			return nil, fmt.Errorf("terrain %s: holds several rasters (%s, %s): unpack it into a folder", name, found.Name, member.Name)
		}
		found = member
	}
	return found, nil
}

// rasterName matches names of GeoTIFF and DTED files; maskName those of them that sets lay beside their elevation.
var (
	rasterName = regexp.MustCompile(`(?i)\.(tiff?|dt[012])$`)
	maskName   = regexp.MustCompile(`(?i)[._](edm|flm|hem|wbm|acm|msk|stk|num|swb)\.tiff?$`)
)

// namedRaster tells by a name that may end in .gz or .zip.
func namedRaster(name string) bool {
	for _, packed := range []string{".gz", ".zip"} {
		if hasExtension(name, packed) {
			name = name[:len(name)-len(packed)]
		}
	}
	return rasterName.MatchString(name) && !maskName.MatchString(name)
}
