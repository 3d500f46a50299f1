package geotiff

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/klauspost/compress/zlib"
	"github.com/klauspost/compress/zstd"
	"golang.org/x/image/tiff/lzw"
)

// compressions: TIFF 6.0, sections 9 and 13; Adobe Photoshop TIFF Technical Note 2 (2002); libtiff's registered numbers.
const (
	packNone       = 1
	packLZW        = 5
	packDeflate    = 8
	packPackBits   = 32773
	packOldDeflate = 32946
	packZSTD       = 50000
)

// maxZSTDWindow bounds the memory that a ZSTD stream may ask for.
const maxZSTDWindow = 64 << 20

// decoder holds what is used again from block to block.
type decoder struct {
	input *bufio.Reader
	zlib  io.ReadCloser
	zstd  *zstd.Decoder
	row   []byte
	bits  []uint64
}

func newDecoder() *decoder { return &decoder{input: bufio.NewReaderSize(nil, 32<<10)} }

// ReadWindow reads cols × rows posts from a column and a row on into the first cols·rows places of into, row by row from the north; NaN
// where there is no data. It decodes only the blocks that the window touches, none further than its last row. It refuses a window outside
// the raster; damaged blocks are named with what they hold of what they must. Values of into are undefined after an error.
func (f *File) ReadWindow(col, row, cols, rows int, into []float64) error {
	if col < 0 || row < 0 || cols < 1 || rows < 1 || col > f.info.Cols-cols || row > f.info.Rows-rows || len(into)/cols < rows {
		return fmt.Errorf("window of %d × %d posts at column %d, row %d into %d values: want it within %d × %d posts", cols, rows, col, row, len(into), f.info.Cols, f.info.Rows)
	}
	d := f.decoders.Get().(*decoder)
	defer f.decoders.Put(d)
	w := window{col, row, cols, rows, into}
	for down := row / f.info.BlockRows; down <= (row+rows-1)/f.info.BlockRows; down++ {
		for across := col / f.info.BlockCols; across <= (col+cols-1)/f.info.BlockCols; across++ {
			if err := f.readBlock(d, across, down, w); err != nil {
				return fmt.Errorf("%s %d: %w", f.blockWord(), down*f.blocksAcross+across, err)
			}
		}
	}
	return nil
}

type window struct {
	col, row, cols, rows int
	into                 []float64
}

// readBlock decodes what a window needs of one block, row by row.
func (f *File) readBlock(d *decoder, across, down int, w window) error {
	firstCol, firstRow := across*f.info.BlockCols, down*f.info.BlockRows
	blockRows := f.info.BlockRows
	if !f.tiled {
		blockRows = min(blockRows, f.info.Rows-firstRow)
	}
	fromCol, toCol := max(w.col, firstCol), min(w.col+w.cols, firstCol+f.info.BlockCols)
	fromRow, toRow := max(w.row, firstRow), min(w.row+w.rows, firstRow+blockRows)
	target := func(row int) []float64 {
		start := (row - w.row) * w.cols
		return w.into[start+fromCol-w.col : start+toCol-w.col]
	}
	index := down*f.blocksAcross + across
	if f.offsets[index] == 0 || f.byteCounts[index] == 0 { // a sparse file leaves out blocks without data
		for row := fromRow; row < toRow; row++ {
			for i := range target(row) {
				target(row)[i] = math.NaN()
			}
		}
		return nil
	}
	content, err := f.content(d, index)
	if err != nil {
		return err
	}
	rowBytes := f.info.BlockCols * f.sampleBytes
	d.row, d.bits = grown(d.row, rowBytes), grown(d.bits, toCol-firstCol)
	for row := firstRow; row < toRow; row++ {
		if n, err := io.ReadFull(content, d.row); err != nil {
			return short(err, int64(row-firstRow)*int64(rowBytes)+int64(n), int64(blockRows)*int64(rowBytes))
		}
		if row >= fromRow {
			f.unpack(d.row, d.bits)
			f.heights(d.bits[fromCol-firstCol:], target(row))
		}
	}
	if toRow == firstRow+blockRows && f.compression != packLZW && f.compression != packNone {
		// The check sum stands behind the last byte. Spare bytes there are no fault.
		var spare [1]byte
		if _, err := content.Read(spare[:]); errors.Is(err, zlib.ErrChecksum) || errors.Is(err, zstd.ErrCRCMismatch) {
			return fmt.Errorf("damaged (%w): download the tile again", err)
		}
	}
	return nil
}

// short words what stopped a block.
func short(err error, got, want int64) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return fmt.Errorf("ends after %d of %d bytes: download the tile again", got, want)
	}
	return fmt.Errorf("cannot be read after %d of %d bytes (%w): download the tile again", got, want, err)
}

// content opens the bytes of a block, decompressed.
func (f *File) content(d *decoder, index int) (io.Reader, error) {
	offset, count, size := f.offsets[index], f.byteCounts[index], uint64(f.source.size)
	if offset >= size {
		return nil, fmt.Errorf("lies at byte %d, past the end of the file at byte %d: download the tile again", offset, size)
	}
	d.input.Reset(io.NewSectionReader(f.source, int64(offset), int64(min(count, size-offset))))
	switch f.compression {
	case packLZW:
		// libtiff, tif_lzw.c: the first code of 9 bits is 256, which old writers stored from its low bit on.
		if head, _ := d.input.Peek(2); len(head) == 2 && head[0] == 0 && head[1]&1 == 1 {
			return nil, errors.New("LZW in the bit order of writers before 1990 is not read: rewrite with gdal_translate")
		}
		return lzw.NewReader(d.input, lzw.MSB, 8), nil
	case packDeflate, packOldDeflate:
		if err := d.resetZlib(); err != nil {
			return nil, fmt.Errorf("no DEFLATE data (%w): download the tile again", err)
		}
		return d.zlib, nil
	case packZSTD:
		if err := d.resetZSTD(); err != nil {
			return nil, fmt.Errorf("no ZSTD data (%w): download the tile again", err)
		}
		return d.zstd, nil
	case packPackBits:
		return &packBits{from: d.input}, nil
	}
	return d.input, nil
}

func (d *decoder) resetZlib() (err error) {
	if d.zlib == nil {
		d.zlib, err = zlib.NewReader(d.input)
		return err
	}
	return d.zlib.(zlib.Resetter).Reset(d.input, nil)
}

func (d *decoder) resetZSTD() (err error) {
	if d.zstd == nil {
		d.zstd, err = zstd.NewReader(d.input, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(maxZSTDWindow), zstd.WithDecoderLowmem(true))
		return err
	}
	return d.zstd.Reset(d.input)
}

// grown returns a slice of n values, the old one where it is large enough.
func grown[T any](old []T, n int) []T {
	if cap(old) < n {
		return make([]T, n)
	}
	return old[:n]
}

// packBits expands runs: TIFF 6.0, section 9.
type packBits struct {
	from    *bufio.Reader
	literal int // bytes to copy
	repeat  int // times to give value again
	value   byte
}

func (p *packBits) Read(into []byte) (n int, err error) {
	for n < len(into) {
		switch {
		case p.literal > 0:
			part := min(p.literal, len(into)-n)
			got, err := io.ReadFull(p.from, into[n:n+part])
			n, p.literal = n+got, p.literal-got
			if err != nil {
				return n, err
			}
		case p.repeat > 0:
			into[n] = p.value
			n, p.repeat = n+1, p.repeat-1
		default:
			code, err := p.from.ReadByte()
			if err != nil {
				return n, err
			}
			if run := int8(code); run >= 0 {
				p.literal = int(run) + 1
			} else if run != -128 {
				if p.value, err = p.from.ReadByte(); err != nil {
					return n, err
				}
				p.repeat = 1 - int(run)
			}
		}
	}
	return n, nil
}
