package geoid

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"

	"farstation/geodesy"
)

// Model is a geoid on a regular grid around the Earth that was read from a file. It does not change and is safe for concurrent use.
type Model struct {
	rows, columns int
	// row 0 lies at northDeg, column 0 at westDeg; rows run southwards, columns eastwards.
	northDeg, westDeg float64
	latStep, lonStep  float64
	heightsM          []float32
}

// maxModelBytes bounds a grid's file: 256 MiB, more than the grid of 2.5′ takes.
const maxModelBytes = 256 << 20

// ReadModel reads a geoid's grid in one of two public formats, told by content: GTX (NOAA VDatum: header of four float64 and two int32,
// then float32 from the south, all big-endian) or the 16-bit grey map (netpbm P5) with comments Offset and Scale in metres, from the north
// pole and 0° E (as the geoid data sets of GeographicLib are laid out). The grid must go around the Earth and be at most 256 MiB: that of 1′
// is larger, 2.5′ is fine enough. Heights are those of the geoid over the ellipsoid of WGS84.
func ReadModel(path string) (*Model, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("geoid %s: cannot be read: %w: check the path", path, err)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("geoid %s: is not a regular file: save it to disk first", path)
	}
	if info.Size() > maxModelBytes {
		return nil, fmt.Errorf("geoid %s: %d bytes, more than %d: take the grid of 2.5′", path, info.Size(), maxModelBytes)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("geoid %s: cannot be read: %w: check the file", path, err)
	}
	parse := parseGTX
	if bytes.HasPrefix(data, []byte("P5")) {
		parse = parseGreyMap
	}
	m, err := parse(data)
	if err != nil {
		return nil, fmt.Errorf("geoid %s: %w", path, err)
	}
	return m, nil
}

func parseGTX(data []byte) (*Model, error) {
	const headBytes = 40
	if len(data) < headBytes {
		return nil, fmt.Errorf("%d bytes are no geoid grid: want GTX or a grey map (P5) with offset and scale", len(data))
	}
	number := func(at int) float64 { return math.Float64frombits(binary.BigEndian.Uint64(data[at:])) }
	south, west, latStep, lonStep := number(0), number(8), number(16), number(24)
	rows, columns := int(int32(binary.BigEndian.Uint32(data[32:]))), int(int32(binary.BigEndian.Uint32(data[36:])))
	m, err := newModel(rows, columns, len(data)-headBytes, 4, south+latStep*float64(rows-1), west, latStep, lonStep)
	if err != nil {
		return nil, fmt.Errorf("%w: want GTX or a grey map (P5) with offset and scale", err)
	}
	for r := range rows {
		for c := range columns {
			at := headBytes + 4*((rows-1-r)*columns+c)
			m.heightsM[r*columns+c] = math.Float32frombits(binary.BigEndian.Uint32(data[at:]))
		}
	}
	return m, m.check()
}

func parseGreyMap(data []byte) (*Model, error) {
	var words []string
	offset, scale := math.NaN(), math.NaN()
	rest := data
	for len(words) < 4 {
		line, after, ok := bytes.Cut(rest, []byte("\n"))
		if !ok || len(line) > 1000 {
			return nil, fmt.Errorf("the header of the grey map is cut off: download it again")
		}
		rest = after
		text, isComment := strings.CutPrefix(string(line), "#")
		fields := strings.Fields(text)
		if !isComment {
			words = append(words, fields...)
		} else if len(fields) == 2 && (fields[0] == "Offset" || fields[0] == "Scale") {
			value, err := strconv.ParseFloat(fields[1], 64)
			if err != nil {
				return nil, fmt.Errorf("%s %q is not a number: download it again", fields[0], fields[1])
			}
			if fields[0] == "Offset" {
				offset = value
			} else {
				scale = value
			}
		}
	}
	columns, err1 := strconv.Atoi(words[1])
	rows, err2 := strconv.Atoi(words[2])
	if err1 != nil || err2 != nil || words[3] != "65535" || len(words) > 4 || math.IsNaN(offset+scale) {
		return nil, fmt.Errorf("header %q, offset %v, scale %v: want a grey map of 16 bits with the comments Offset and Scale", strings.Join(words, " "), offset, scale)
	}
	m, err := newModel(rows, columns, len(rest), 2, 90, 0, 180/float64(rows-1), 360/float64(columns))
	if err != nil {
		return nil, err
	}
	for i := range m.heightsM {
		m.heightsM[i] = float32(offset + scale*float64(binary.BigEndian.Uint16(rest[2*i:])))
	}
	return m, m.check()
}

// newModel checks that a grid goes from pole to pole and around, if need be with its first column repeated as its last, and that bytes are as
// many as its nodes take: before memory is asked for.
func newModel(rows, columns, bytes, bytesANode int, northDeg, westDeg, latStep, lonStep float64) (*Model, error) {
	const spareDeg = 1e-6
	around := float64(columns) * lonStep
	switch {
	case rows < 3 || columns < 4 || rows > 1<<15 || columns > 1<<16 || rows*columns > maxModelBytes/2:
		return nil, fmt.Errorf("%d × %d nodes are no grid of a geoid", rows, columns)
	case !(math.Abs(northDeg-90) < spareDeg && math.Abs(latStep*float64(rows-1)-180) < spareDeg):
		return nil, fmt.Errorf("reaches from latitude %.6g° in steps of %.6g° over %d rows, not from pole to pole", northDeg, latStep, rows)
	case !(math.Abs(around-360) < spareDeg || math.Abs(around-lonStep-360) < spareDeg):
		return nil, fmt.Errorf("%d columns of %.6g° do not go around the Earth", columns, lonStep)
	case !(math.Abs(westDeg) <= 360):
		return nil, fmt.Errorf("begins at longitude %.6g°", westDeg)
	case bytes != bytesANode*rows*columns:
		return nil, fmt.Errorf("%d bytes after the header, want %d for %d × %d nodes: download it again", bytes, bytesANode*rows*columns, rows, columns)
	}
	return &Model{rows: rows, columns: columns, northDeg: 90, westDeg: westDeg, latStep: latStep, lonStep: lonStep, heightsM: make([]float32, rows*columns)}, nil
}

// check refuses heights that no geoid has: EGM96 and EGM2008 lie between −107 m and 86 m.
func (m *Model) check() error {
	for i, h := range m.heightsM {
		if !(h > -150 && h < 150) {
			return fmt.Errorf("undulation %v m in row %d, column %d: no geoid of the Earth", h, i/m.columns, i%m.columns)
		}
	}
	return nil
}

// UndulationM returns the height of the geoid over the ellipsoid at p in metres, bilinear between nodes. Any longitude is understood; a
// latitude past a pole counts as the pole.
func (m *Model) UndulationM(p geodesy.LatLon) float64 {
	v := min(max((m.northDeg-p.LatDeg)/m.latStep, 0), float64(m.rows-1))
	turns := math.Mod(p.LonDeg-m.westDeg, 360)
	if turns < 0 {
		turns += 360
	}
	u := turns / m.lonStep
	row := min(int(v), m.rows-2)
	column := int(u) % m.columns
	y, x := v-float64(row), u-math.Floor(u)
	next := (column + 1) % m.columns
	north, south := m.heightsM[row*m.columns:], m.heightsM[(row+1)*m.columns:]
	upper := (1-x)*float64(north[column]) + x*float64(north[next])
	lower := (1-x)*float64(south[column]) + x*float64(south[next])
	return (1-y)*upper + y*lower
}
