// Package dted reads elevation from DTED files of level 0, 1 and 2: MIL-PRF-89020B (NIMA, 2000), section 3.13 and appendix.
//
// A file holds a cell as columns of posts from south to north. Further from the equator the columns lie further apart (twice the spacing
// of rows from 50°, three times from 70°, four from 75°, six from 80°); the header says how far, and what it says counts.
package dted

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"sync"
)

// Info describes a file. Places are degrees of WGS84.
type Info struct {
	Cols, Rows int
	// WestDeg and NorthDeg are the place of the first post (column 0, row 0).
	WestDeg, NorthDeg float64
	// LonStepDeg, eastward from column to column, and LatStepDeg, southward from row to row, are over 0.
	LonStepDeg, LatStepDeg float64
	// Samples is always "int16".
	Samples string
	// BlockCols and BlockRows are 1 and Rows: files hold columns.
	BlockCols, BlockRows int
	// CRS is always "EPSG:4326".
	CRS string
	// VerticalEPSG is 5773 (EGM96) where the header says E96, 0 where it says MSL or nothing.
	VerticalEPSG int
	PixelIsPoint bool
}

// File is an opened DTED file; safe for concurrent use where its reader is.
type File struct {
	from io.ReaderAt
	info Info
	// offsets of the columns; 0 where a partial cell lacks one.
	offsets []int64
	records sync.Pool
}

// headerBytes is the length of the three header records (UHL, DSI, ACC), recordFrame that of a column around its posts: 8 bytes before
// and 4 after.
const (
	headerBytes = 80 + 648 + 2700
	recordHead  = 8
	recordFrame = recordHead + 4
	sentinel    = 0xAA
	void        = -32767
)

// Open reads the header of a file of size bytes and the place of each column. It refuses files that are damaged, cut short, or not in
// WGS84; the error names no file.
func Open(r io.ReaderAt, size int64) (*File, error) {
	head := make([]byte, headerBytes)
	if n, err := r.ReadAt(head, 0); n < len(head) {
		return nil, short("header", err, n, len(head))
	}
	f := &File{from: r}
	if err := f.header(head[:80], head[80:728], head[728:]); err != nil {
		return nil, err
	}
	recordBytes := recordFrame + 2*f.info.Rows
	f.records.New = func() any { b := make([]byte, recordBytes); return &b }
	const wholeCell = "00" // DSI, field 32: the share of a partial cell that has data, 00 for a whole one
	partial := string(head[80+289:80+291]) != wholeCell
	if err := f.columns(size, int64(recordBytes), partial); err != nil {
		return nil, err
	}
	return f, nil
}

// header reads the user header label (appendix 3.1), the datums of the data set identification (3.2), and the accuracy record's mark.
func (f *File) header(uhl, dsi, acc []byte) error {
	for _, record := range []struct {
		name    string
		content []byte
	}{{"UHL1", uhl}, {"DSI", dsi}, {"ACC", acc}} {
		if !strings.HasPrefix(string(record.content), record.name) {
			return fmt.Errorf("header record %s starts with %q: check the file", record.name, record.content[:len(record.name)])
		}
	}
	if datum := strings.TrimSpace(string(dsi[144:149])); datum != "WGS84" && datum != "" {
		return fmt.Errorf("horizontal datum %q, want WGS84: reproject to EPSG:4326 with gdalwarp -t_srs EPSG:4326", datum)
	}
	west, errWest := angle(uhl[4:12], 180, 'E', 'W')
	south, errSouth := angle(uhl[12:20], 90, 'N', 'S')
	lonTenths, errLon := number(uhl[20:24])
	latTenths, errLat := number(uhl[24:28])
	cols, errCols := number(uhl[47:51])
	rows, errRows := number(uhl[51:55])
	if err := errors.Join(errWest, errSouth, errLon, errLat, errCols, errRows); err != nil {
		return fmt.Errorf("header record UHL: %w: check the file", err)
	}
	if cols < 2 || rows < 2 || lonTenths == 0 || latTenths == 0 {
		return fmt.Errorf("header record UHL: %d × %d posts, %d × %d tenths of a second apart: check the file", cols, rows, lonTenths, latTenths)
	}
	const tenthsPerDeg = 36000
	if (cols-1)*lonTenths > tenthsPerDeg || (rows-1)*latTenths > tenthsPerDeg {
		return fmt.Errorf("header record UHL: %d × %d posts, %d × %d tenths of a second apart, are more than a cell of 1°: check the file", cols, rows, lonTenths, latTenths)
	}
	f.info = Info{
		Cols: cols, Rows: rows, Samples: "int16", BlockCols: 1, BlockRows: rows, CRS: "EPSG:4326", PixelIsPoint: true,
		LonStepDeg: float64(lonTenths) / tenthsPerDeg, LatStepDeg: float64(latTenths) / tenthsPerDeg,
		WestDeg: west, NorthDeg: south + float64((rows-1)*latTenths)/tenthsPerDeg,
	}
	if string(dsi[141:144]) == "E96" {
		f.info.VerticalEPSG = 5773
	}
	return nil
}

// angle reads DDDMMSSH in degrees.
func angle(text []byte, maxDeg int, plus, minus byte) (float64, error) {
	degrees, errDegrees := number(text[:3])
	minutes, errMinutes := number(text[3:5])
	seconds, errSeconds := number(text[5:7])
	hemisphere := text[7]
	if err := errors.Join(errDegrees, errMinutes, errSeconds); err != nil || degrees > maxDeg || minutes > 59 || seconds > 59 || hemisphere != plus && hemisphere != minus {
		return 0, fmt.Errorf("origin %q, want degrees to %d, minutes, seconds and %c or %c", text, maxDeg, plus, minus)
	}
	value := float64(degrees) + float64(60*minutes+seconds)/3600
	if hemisphere == minus {
		value = -value
	}
	return value, nil
}

// number reads digits only.
func number(text []byte) (int, error) {
	n, err := strconv.ParseUint(string(text), 10, 16)
	if err != nil {
		return 0, fmt.Errorf("%q is no number of %d digits", text, len(text))
	}
	return int(n), nil
}

// columns finds where each column lies by the count in its record; those of whole cells must all be there.
func (f *File) columns(size, recordBytes int64, partial bool) error {
	f.offsets = make([]int64, f.info.Cols)
	found := 0
	for at := int64(headerBytes); at < size && found < f.info.Cols; at += recordBytes {
		if size-at < recordBytes {
			return fmt.Errorf("column %d: ends after %d of %d bytes: download the tile again", found, size-at, recordBytes)
		}
		var head [recordHead]byte
		if n, err := f.from.ReadAt(head[:], at); n < len(head) {
			return short(fmt.Sprintf("column %d", found), err, n, int(recordBytes))
		}
		column, first := int(binary.BigEndian.Uint16(head[4:])), binary.BigEndian.Uint16(head[6:])
		switch {
		case head[0] != sentinel:
			return fmt.Errorf("column %d: starts with byte %#x, want %#x: download the tile again", found, head[0], sentinel)
		case column >= f.info.Cols || f.offsets[column] != 0:
			return fmt.Errorf("column %d: its record says that it is column %d of %d: download the tile again", found, column, f.info.Cols)
		case first != 0:
			return fmt.Errorf("column %d: starts at row %d from the south, want 0: rewrite with gdal_translate -of DTED", column, first)
		}
		f.offsets[column] = at
		found++
	}
	if found < f.info.Cols && !partial {
		return fmt.Errorf("ends after %d of %d columns: download the tile again", found, f.info.Cols)
	}
	return nil
}

// Info describes the file.
func (f *File) Info() Info { return f.info }

// ReadWindow reads cols × rows posts from a column and a row on into the first cols·rows places of into, row by row from the north; NaN
// where there is no data. It refuses a window outside the cell, and columns whose check sum is wrong, naming them. Values of into are
// undefined after an error.
func (f *File) ReadWindow(col, row, cols, rows int, into []float64) error {
	if col < 0 || row < 0 || cols < 1 || rows < 1 || col > f.info.Cols-cols || row > f.info.Rows-rows || len(into)/cols < rows {
		return fmt.Errorf("window of %d × %d posts at column %d, row %d into %d values: want it within %d × %d posts", cols, rows, col, row, len(into), f.info.Cols, f.info.Rows)
	}
	buffer := f.records.Get().(*[]byte)
	defer f.records.Put(buffer)
	record := *buffer
	for c := range cols {
		at := f.offsets[col+c]
		if at != 0 {
			if n, err := f.from.ReadAt(record, at); n < len(record) {
				return short(fmt.Sprintf("column %d", col+c), err, n, len(record))
			}
			if err := check(record); err != nil {
				return fmt.Errorf("column %d: %w: download the tile again", col+c, err)
			}
		}
		for r := range rows {
			h := math.NaN()
			if fromSouth := f.info.Rows - 1 - row - r; at != 0 {
				h = height(binary.BigEndian.Uint16(record[recordHead+2*fromSouth:]))
			}
			into[r*cols+c] = h
		}
	}
	return nil
}

// check compares the sum of a record's bytes with the one that it ends with.
func check(record []byte) error {
	end := len(record) - 4
	var sum uint32
	for _, b := range record[:end] {
		sum += uint32(b)
	}
	if stated := binary.BigEndian.Uint32(record[end:]); stated != sum {
		return fmt.Errorf("damaged (its bytes add up to %d, its check sum says %d)", sum, stated)
	}
	return nil
}

// height decodes sign and magnitude.
func height(bits uint16) float64 {
	h := int(bits & 0x7FFF)
	if bits&0x8000 != 0 {
		h = -h
	}
	if h == void {
		return math.NaN()
	}
	return float64(h)
}

func short(what string, err error, got, want int) error {
	if err == nil || errors.Is(err, io.EOF) {
		return fmt.Errorf("%s: ends after %d of %d bytes: download the tile again", what, got, want)
	}
	return fmt.Errorf("%s: cannot be read (%w)", what, err)
}
