package geotiff

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// Limits on what a file may claim. Real files stay far below: overviews halve the size, so 32 of them are more than any file needs.
const (
	maxDirectories = 256
	maxTags        = 4096
	maxValues      = 1 << 24
)

// tag numbers: TIFF 6.0, appendix A; OGC GeoTIFF 1.1, annex; GDAL's own from 42112.
const (
	tagNewSubfileType      = 254
	tagSubfileType         = 255
	tagImageWidth          = 256
	tagImageLength         = 257
	tagBitsPerSample       = 258
	tagCompression         = 259
	tagFillOrder           = 266
	tagStripOffsets        = 273
	tagSamplesPerPixel     = 277
	tagRowsPerStrip        = 278
	tagStripByteCounts     = 279
	tagPredictor           = 317
	tagTileWidth           = 322
	tagTileLength          = 323
	tagTileOffsets         = 324
	tagTileByteCounts      = 325
	tagSampleFormat        = 339
	tagModelPixelScale     = 33550
	tagModelTiepoint       = 33922
	tagModelTransformation = 34264
	tagGeoKeyDirectory     = 34735
	tagGDALMetadata        = 42112
	tagGDALNoData          = 42113
)

// typeBytes is the size of one value by field type.
var typeBytes = [...]uint64{1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}

// source is a file with its byte order and its width of offsets.
type source struct {
	io.ReaderAt
	size  int64
	order binary.ByteOrder
	big   bool
}

// field is one entry of a directory. Its values lie at offset.
type field struct {
	kind   uint16
	count  uint64
	offset uint64
}

type directory map[uint16]field

// bytesAt reads n bytes, all of which must lie within the file.
func (s *source) bytesAt(offset, n uint64, what string) ([]byte, error) {
	if size := uint64(s.size); offset > size || n > size-offset {
		return nil, fmt.Errorf("%s: %d bytes at byte %d reach past the end of the file at byte %d: download the tile again", what, n, offset, size)
	}
	data := make([]byte, n)
	if read, err := s.ReadAt(data, int64(offset)); read < len(data) {
		if err == nil || errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		return nil, fmt.Errorf("%s: cannot be read at byte %d: %w", what, offset, err)
	}
	return data, nil
}

// openSource reads the header and returns where the first directory lies.
func openSource(r io.ReaderAt, size int64) (s *source, first uint64, err error) {
	s = &source{ReaderAt: r, size: size, order: binary.LittleEndian}
	head, err := s.bytesAt(0, 8, "TIFF header")
	if err != nil {
		return nil, 0, err
	}
	switch string(head[:2]) {
	case "II":
	case "MM":
		s.order = binary.BigEndian
	default:
		return nil, 0, fmt.Errorf("starts with %q, not as a TIFF file: check the file", head[:2])
	}
	switch magic := s.order.Uint16(head[2:]); magic {
	case 42:
		return s, uint64(s.order.Uint32(head[4:])), nil
	case 43:
		s.big = true
	default:
		return nil, 0, fmt.Errorf("TIFF version %d, want 42 or 43: check the file", magic)
	}
	if width := s.order.Uint16(head[4:]); width != 8 {
		return nil, 0, fmt.Errorf("BigTIFF header states offsets of %d bytes, want 8: check the file", width)
	}
	if head, err = s.bytesAt(8, 8, "BigTIFF header"); err != nil {
		return nil, 0, err
	}
	return s, s.order.Uint64(head), nil
}

// image returns the first directory that is neither an overview nor a mask. It refuses files with a mask of that size: values under a mask
// mean nothing. What cannot be read behind the image is passed over.
func (s *source) image(first uint64) (directory, error) {
	const reduced, mask, oldReduced = 1, 4, 2
	var image directory
	seen := map[uint64]bool{}
	for at := first; at != 0; {
		var d directory
		var next, kind, old uint64
		var err error
		switch {
		case seen[at]:
			err = fmt.Errorf("directory at byte %d follows itself: download the tile again", at)
		case len(seen) == maxDirectories:
			err = fmt.Errorf("more than %d directories without a full image: check the file", maxDirectories)
		default:
			d, next, err = s.directory(at)
		}
		if err == nil {
			kind, err = s.number(d, tagNewSubfileType, 0)
		}
		if err == nil {
			old, err = s.number(d, tagSubfileType, 1)
		}
		switch {
		case err != nil && image != nil:
			return image, nil
		case err != nil:
			return nil, err
		case kind&(reduced|mask) == mask && image != nil:
			return nil, errors.New("marks places without data by a mask, which is not read: rewrite with gdalwarp -dstnodata -32768")
		case kind&(reduced|mask) == 0 && old != oldReduced && image == nil:
			image = d
		}
		seen[at] = true
		at = next
	}
	if image == nil {
		return nil, errors.New("holds no image of full resolution: check the file")
	}
	return image, nil
}

// directory reads the entries at a place, and where the next directory lies.
func (s *source) directory(at uint64) (d directory, next uint64, err error) {
	what := fmt.Sprintf("directory at byte %d", at)
	countBytes, entryBytes, offsetBytes := uint64(2), uint64(12), uint64(4)
	if s.big {
		countBytes, entryBytes, offsetBytes = 8, 20, 8
	}
	head, err := s.bytesAt(at, countBytes, what)
	if err != nil {
		return nil, 0, err
	}
	count := s.uint(head)
	if count > maxTags {
		return nil, 0, fmt.Errorf("%s: %d entries, more than %d: check the file", what, count, maxTags)
	}
	start := at + countBytes
	data, err := s.bytesAt(start, count*entryBytes+offsetBytes, what)
	if err != nil {
		return nil, 0, err
	}
	d = make(directory, count)
	for i := range count {
		entry := data[i*entryBytes:][:entryBytes]
		number, kind := s.order.Uint16(entry), s.order.Uint16(entry[2:])
		if int(kind) >= len(typeBytes) || typeBytes[kind] == 0 {
			continue // TIFF 6.0, section 2: readers should skip fields of unexpected types
		}
		f := field{kind: kind, count: s.uint(entry[4 : 4+offsetBytes]), offset: start + i*entryBytes + 4 + offsetBytes}
		if f.count > offsetBytes/typeBytes[kind] {
			f.offset = s.uint(entry[4+offsetBytes:])
		}
		d[number] = f
	}
	return d, s.uint(data[count*entryBytes:]), nil
}

// uint reads a whole number of 1, 2, 4 or 8 bytes.
func (s *source) uint(b []byte) uint64 {
	switch len(b) {
	case 1:
		return uint64(b[0])
	case 2:
		return uint64(s.order.Uint16(b))
	case 4:
		return uint64(s.order.Uint32(b))
	}
	return s.order.Uint64(b)
}

// bytesOf reads the values of a tag; nil where the directory lacks it.
func (s *source) bytesOf(d directory, tag uint16) ([]byte, field, error) {
	f, ok := d[tag]
	if !ok {
		return nil, f, nil
	}
	if f.count > maxValues {
		return nil, f, fmt.Errorf("tag %d: %d values, more than %d: check the file", tag, f.count, maxValues)
	}
	data, err := s.bytesAt(f.offset, f.count*typeBytes[f.kind], fmt.Sprintf("tag %d", tag))
	return data, f, err
}

// numbers reads a tag of whole numbers without sign.
func (s *source) numbers(d directory, tag uint16) ([]uint64, error) {
	data, f, err := s.bytesOf(d, tag)
	if data == nil || err != nil {
		return nil, err
	}
	switch f.kind {
	case 1, 3, 4, 13, 16, 18:
	default:
		return nil, fmt.Errorf("tag %d: of type %d, want whole numbers: check the file", tag, f.kind)
	}
	width := typeBytes[f.kind]
	values := make([]uint64, f.count)
	for i := range values {
		values[i] = s.uint(data[uint64(i)*width:][:width])
	}
	return values, nil
}

// number reads the first value of a tag, or returns what stands for it where the directory lacks it.
func (s *source) number(d directory, tag uint16, missing uint64) (uint64, error) {
	if f, ok := d[tag]; ok && f.count > 1 { // a value per band: the first is enough
		f.count = 1
		d = directory{tag: f}
	}
	values, err := s.numbers(d, tag)
	if err != nil {
		return 0, err
	}
	if len(values) == 0 {
		return missing, nil
	}
	return values[0], nil
}

// doubles reads a tag of 64-bit floats; nil where the directory lacks it.
func (s *source) doubles(d directory, tag uint16) ([]float64, error) {
	data, f, err := s.bytesOf(d, tag)
	if data == nil || err != nil {
		return nil, err
	}
	const double = 12
	if f.kind != double {
		return nil, fmt.Errorf("tag %d: of type %d, want doubles: check the file", tag, f.kind)
	}
	values := make([]float64, f.count)
	for i := range values {
		values[i] = math.Float64frombits(s.order.Uint64(data[8*i:]))
		if math.IsNaN(values[i]) || math.IsInf(values[i], 0) {
			return nil, fmt.Errorf("tag %d: value %d is %v: check the file", tag, i, values[i])
		}
	}
	return values, nil
}

// text reads a tag of text without its final zero bytes.
func (s *source) text(d directory, tag uint16) (string, error) {
	data, _, err := s.bytesOf(d, tag)
	for len(data) > 0 && data[len(data)-1] == 0 {
		data = data[:len(data)-1]
	}
	return string(data), err
}
