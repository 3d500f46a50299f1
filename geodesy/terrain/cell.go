package terrain

import (
	"math"

	"farstation/geodesy"
)

// cellReader turns the cells of one tile, or of one degree without a tile, into pieces.
type cellReader struct {
	walker             *Walker
	tile               *Tile
	state              CellState
	fill               Fill
	lat, lon, cells    int
	northM, eastM      float64 // post spacing
	flat               float64 // ground of a degree without a tile
	spacingM           float64
	cellsF             float64
	inverseN, inverseE float64
}

// measure works out what is the same for all cells of the tile.
func (c *cellReader) measure() {
	mid := float64(c.lat) + 0.5
	c.cellsF = float64(c.cells)
	c.northM = geodesy.WGS84.MeridianRadiusM(mid) * math.Pi / 180 / c.cellsF
	c.eastM = geodesy.WGS84.PrimeVerticalRadiusM(mid) * math.Cos(mid*math.Pi/180) * math.Pi / 180 / c.cellsF
	c.inverseN, c.inverseE = 1/c.northM, 1/c.eastM
	c.spacingM = math.Max(c.northM, c.eastM)
	c.flat = math.NaN()
}

// level is the ground of a degree without a tile. It is asked for at the first cell, since slivers of a gap are passed over.
func (c *cellReader) level() float64 {
	if math.IsNaN(c.flat) {
		c.flat = c.walker.seaLevelM
		if c.state == Gap && c.fill == FillHigh {
			c.flat = c.walker.fills.gap(c.walker, c.lat, c.lon)
		}
	}
	return c.flat
}

// corners returns the heights of the cell in row j from the south and column i from the west, and whether one is a stand-in.
func (c *cellReader) corners(j, i int) (sw, se, nw, ne float64, missing bool) {
	if c.tile == nil {
		h := c.level()
		return h, h, h, h, c.state == Gap
	}
	n := c.tile.N
	south := (n-1-j)*n + i
	posts := c.tile.Posts
	a, b, d, e := posts[south], posts[south+1], posts[south-n], posts[south-n+1]
	if a != Void && b != Void && d != Void && e != Void {
		return float64(a), float64(b), float64(d), float64(e), false
	}
	height := func(post int16, index int) float64 {
		switch {
		case post != Void:
			return float64(post)
		case c.fill == FillHigh:
			return c.walker.fills.void(c.walker, c.tile, index)
		default:
			return c.walker.seaLevelM
		}
	}
	return height(a, south), height(b, south+1), height(d, south-n), height(e, south-n+1), true
}

// read fills piece with the part of the line between two places in the cell (j, i).
func (c *cellReader) read(piece *Piece, j, i int, here, there *place, middleChord float64) {
	sw, se, nw, ne, missing := c.corners(j, i)
	fraction := func(v float64) float64 { return math.Min(math.Max(v, 0), 1) }
	u0 := fraction((here.lon-float64(c.lon))*c.cellsF - float64(i))
	v0 := fraction((here.lat-float64(c.lat))*c.cellsF - float64(j))
	du := fraction((there.lon-float64(c.lon))*c.cellsF-float64(i)) - u0
	dv := fraction((there.lat-float64(c.lat))*c.cellsF-float64(j)) - v0
	e, n, twist := se-sw, nw-sw, sw-se-nw+ne
	width := there.x - here.x
	inverse := 1 / width

	piece.X, piece.W = here.x, width
	piece.G[0] = sw + e*u0 + n*v0 + twist*u0*v0
	piece.G[1] = (e*du + n*dv + twist*(u0*dv+v0*du)) * inverse
	piece.G[2] = twist * du * dv * inverse * inverse
	piece.N[0] = here.undulation
	piece.N[1] = (there.undulation - here.undulation) * inverse
	piece.C[0] = here.chord
	piece.C[1] = (-3*here.chord + 4*middleChord - there.chord) * inverse
	piece.C[2] = (2*here.chord - 4*middleChord + 2*there.chord) * inverse * inverse
	east := math.Max(math.Abs(e), math.Abs(ne-nw)) * c.inverseE
	north := math.Max(math.Abs(n), math.Abs(ne-se)) * c.inverseN
	piece.Slope = math.Sqrt(east*east + north*north)
	if missing {
		piece.Slope = 0 // a cliff between posts and their stand-ins is none
	}
	piece.SpacingM = c.spacingM
	piece.Tile, piece.Missing = c.tile, missing
}
