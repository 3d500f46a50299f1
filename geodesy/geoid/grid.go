package geoid

import (
	"compress/flate"
	_ "embed"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strings"
	"sync"

	"farstation/geodesy"
)

const (
	// rows run from the south pole to the north pole, columns from 180° W eastwards; the column of 180° E is that of 180° W.
	rows, columns = 721, 1440
	cellsPerDeg   = 4
)

//go:embed egm96.bin
var egm96Packed string

var egm96 = sync.OnceValues(func() (*Grid, error) { return decode(egm96Packed) })

// Grid is a geoid on a grid of 15′. It does not change and is safe for concurrent use.
type Grid struct {
	// heightsMM holds whole millimetres row by row.
	heightsMM []int32
}

// EGM96 returns the built-in grid, which the first call decodes. It returns an error when the program's copy is damaged.
func EGM96() (*Grid, error) { return egm96() }

// decode undoes the generator's packing: the heights are twofold running sums, along rows and along columns, of the numbers
// in the file.
func decode(packed string) (*Grid, error) {
	varints, err := io.ReadAll(flate.NewReader(strings.NewReader(packed)))
	if err != nil {
		return nil, fmt.Errorf("geoid EGM96: built-in grid: %w: install the program again", err)
	}
	values := make([]int32, rows*columns)
	for i := range values {
		v, n := binary.Varint(varints)
		if n <= 0 {
			return nil, fmt.Errorf("geoid EGM96: built-in grid ends after %d of %d nodes: install the program again", i, len(values))
		}
		values[i], varints = int32(v), varints[n:]
	}
	for range 2 {
		for i := columns; i < len(values); i++ {
			values[i] += values[i-columns]
		}
		for row := range rows {
			sum := int32(0)
			for i := row * columns; i < (row+1)*columns; i++ {
				sum += values[i]
				values[i] = sum
			}
		}
	}
	return &Grid{heightsMM: values}, nil
}

// UndulationM returns the height of the geoid over the ellipsoid at p in metres, bilinear between nodes. Any longitude is
// understood; a latitude past a pole counts as the pole. It is NaN where p is not a number.
func (g *Grid) UndulationM(p geodesy.LatLon) float64 {
	latDeg := min(max(p.LatDeg, -90), 90)
	return g.Cell(latDeg, p.LonDeg).UndulationM(latDeg, p.LonDeg)
}

// Cell is one cell of a grid, edges included: its bounds in degrees and the heights of its corners in metres.
type Cell struct {
	South, West, North, East                       float64
	SouthWestM, SouthEastM, NorthWestM, NorthEastM float64
}

// Cell returns the cell that holds a place, for a walk that stays in it for many steps. West and East lie in the same turn of
// 360° as lonDeg, so that a line that runs on past ±180° keeps its longitudes. On an edge it is the cell to the north and
// east; at the north pole the one below it. Latitudes are −90…90.
func (g *Grid) Cell(latDeg, lonDeg float64) Cell {
	south, west := math.Floor(latDeg*cellsPerDeg), math.Floor(lonDeg*cellsPerDeg)
	row := min(max(int(south)+90*cellsPerDeg, 0), rows-2)
	column := (int(west) + 180*cellsPerDeg) % columns
	if column < 0 {
		column += columns
	}
	nextColumn := column + 1
	if nextColumn == columns {
		nextColumn = 0
	}
	lower := g.heightsMM[row*columns : (row+1)*columns]
	upper := g.heightsMM[(row+1)*columns : (row+2)*columns]
	return Cell{
		South:      float64(row)/cellsPerDeg - 90,
		North:      float64(row+1)/cellsPerDeg - 90,
		West:       west / cellsPerDeg,
		East:       (west + 1) / cellsPerDeg,
		SouthWestM: float64(lower[column]) / 1000,
		SouthEastM: float64(lower[nextColumn]) / 1000,
		NorthWestM: float64(upper[column]) / 1000,
		NorthEastM: float64(upper[nextColumn]) / 1000,
	}
}

// Contains tells whether a place lies in the cell or on its edge, its longitude being in the same turn of 360°.
func (c Cell) Contains(latDeg, lonDeg float64) bool {
	return c.South <= latDeg && latDeg <= c.North && c.West <= lonDeg && lonDeg <= c.East
}

// UndulationM returns the height of the geoid over the ellipsoid at a place of the cell in metres, its longitude being in the
// same turn of 360°. On an edge two cells agree to the bit.
func (c Cell) UndulationM(latDeg, lonDeg float64) float64 {
	x, y := (lonDeg-c.West)*cellsPerDeg, (latDeg-c.South)*cellsPerDeg
	south := (1-x)*c.SouthWestM + x*c.SouthEastM
	north := (1-x)*c.NorthWestM + x*c.NorthEastM
	return (1-y)*south + y*north
}

// Ellipsoid returns the geoid that is the ellipsoid itself, undulation 0 everywhere: for heights that are ellipsoidal already, and for
// comparing with handbook formulas, which know no undulation.
func Ellipsoid() *Grid { return &Grid{heightsMM: make([]int32, rows*columns)} }
