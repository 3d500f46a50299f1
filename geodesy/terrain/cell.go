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
	lat, lon           int
	rows, cols         Lattice // from the southern and from the western edge
	even               bool    // whether all cells are of one size
	flat               float64 // ground of a degree without a tile
	spacingM           float64
	inverseN, inverseE float64
}

// measure works out what is the same for all cells of the tile.
func (c *cellReader) measure() {
	mid := float64(c.lat) + 0.5
	northM := geodesy.WGS84.MeridianRadiusM(mid) * math.Pi / 180 / c.rows.PerDeg
	eastM := geodesy.WGS84.PrimeVerticalRadiusM(mid) * math.Cos(mid*math.Pi/180) * math.Pi / 180 / c.cols.PerDeg
	c.inverseN, c.inverseE = 1/northM, 1/eastM
	c.spacingM = max(northM, eastM)
	c.flat = math.NaN()
	c.even = c.rows == evenLattice(c.rows.N) && c.cols == evenLattice(c.cols.N)
}

// latticesOf returns the rows from the southern edge and the columns from the western edge, of a degree without a tile too.
func latticesOf(tile *Tile) (rows, cols Lattice) {
	if tile == nil {
		return evenLattice(emptyN + 1), evenLattice(emptyN + 1)
	}
	return tile.Rows.reversed(), tile.Cols
}

// sliver tells whether a part of a line is passed over: rounding may put millimetres of a line that ends on a tile's edge beyond it.
func (c *cellReader) sliver(from, to, lengthM float64) bool {
	return (to < sliverM || from > lengthM-sliverM) && c.tile == nil && c.state == Gap
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
	n := c.cols.N
	south := c.corner(j, i)
	if posts := c.tile.Posts; posts != nil {
		a, b, d, e := posts[south], posts[south+1], posts[south-n], posts[south-n+1]
		if a != Void && b != Void && d != Void && e != Void {
			return float64(a), float64(b), float64(d), float64(e), false
		}
	} else {
		posts := c.tile.Fine
		a, b, d, e := posts[south], posts[south+1], posts[south-n], posts[south-n+1]
		if sum := a + b + d + e; sum == sum { // not NaN
			return float64(a), float64(b), float64(d), float64(e), false
		}
	}
	height := func(index int) float64 {
		h, known := c.tile.PostM(index)
		switch {
		case known:
			return h
		case c.fill == FillHigh:
			return c.walker.fills.void(c.walker, c.tile, index)
		default:
			return c.walker.seaLevelM
		}
	}
	return height(south), height(south + 1), height(south - n), height(south - n + 1), true
}

// corner is the index of the south-western post of the cell (j, i).
func (c *cellReader) corner(j, i int) int { return (c.rows.N-1-j)*c.cols.N + i }

// read fills piece with the part of the line between two places in the cell (j, i).
func (c *cellReader) read(piece *Piece, j, i int, here, there *place, middleChord float64) {
	sw, se, nw, ne, missing := c.corners(j, i)
	u0, v0, narrowE, narrowN := c.within(j, i, here)
	u1, v1, _, _ := c.within(j, i, there)
	du, dv := u1-u0, v1-v0
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
	east := max(math.Abs(e), math.Abs(ne-nw)) * c.inverseE * narrowE
	north := max(math.Abs(n), math.Abs(ne-se)) * c.inverseN * narrowN
	piece.Slope = math.Sqrt(east*east + north*north)
	if missing {
		piece.Slope = 0 // a cliff between posts and their stand-ins is none
	}
	piece.SpacingM = c.spacingM
	piece.Tile, piece.Missing, piece.corner = c.tile, missing, int32(c.corner(j, i))
}

// within returns where in the cell (j, i) a place lies, 0…1 from its western and southern edges, and how many times narrower than the
// lattice's spacing the cell is.
func (c *cellReader) within(j, i int, p *place) (u, v, narrowE, narrowN float64) {
	west, south := float64(i), float64(j)
	narrowE, narrowN = 1, 1
	if !c.even {
		west, narrowE = c.cols.space(i)
		south, narrowN = c.rows.space(j)
	}
	u = ((p.lon-float64(c.lon))*c.cols.PerDeg - west) * narrowE
	v = ((p.lat-float64(c.lat))*c.rows.PerDeg - south) * narrowN
	return min(max(u, 0), 1), min(max(v, 0), 1), narrowE, narrowN
}
