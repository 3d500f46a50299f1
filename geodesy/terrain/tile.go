package terrain

import (
	"math"
)

// Void marks a post of whole metres without a height.
const Void = -32768

// Tile is the ground of one cell of 1° × 1°, edges included, so that neighbours share the ground of their edges. Heights are metres over
// the EGM96 geoid. A Tile is not changed after it is made.
type Tile struct {
	// Name is the file as the user would know it, for messages and profiles; where several files served the cell, they are joined by "+".
	Name string
	// LatDeg and LonDeg are the tile's south-west corner in whole degrees (−90…89, −180…179).
	LatDeg, LonDeg int
	// Rows counts from the northern edge southwards, Cols from the western edge eastwards.
	Rows, Cols Lattice
	// Posts holds the heights row by row from the north-west corner, north to south, west to east, Void where there is none. Where heights
	// are not whole metres it is nil, and Fine holds them instead, NaN where there is none.
	Posts []int16
	Fine  []float32
	// Surface is SurfaceGround, or SurfaceTop where the heights show tree tops and roofs.
	Surface string
	// SDM is the standard deviation of the heights on flat ground; 0 is that of SRTM.
	SDM float64
	// Refused counts the heights that no land has and that were made void, less those that are usual marks of a void.
	Refused int
	// maxima is set for tiles that a store serves.
	maxima *maxima
}

// PostM returns the height of a post by its index, row·Cols.N + column, in metres; false where it is void.
func (t *Tile) PostM(index int) (heightM float64, ok bool) {
	if t.Posts != nil {
		h := t.Posts[index]
		return float64(h), h != Void
	}
	h := float64(t.Fine[index])
	return h, !math.IsNaN(h)
}

// Len is the number of posts.
func (t *Tile) Len() int { return t.Rows.N * t.Cols.N }

// heights returns the extremes of the tile; false where all is void.
func (t *Tile) heights() (h Heights, ok bool) {
	h = Heights{LowestM: math.Inf(1), HighestM: math.Inf(-1), RowsPerDeg: t.Rows.PerDeg}
	if t.Posts != nil {
		lowest, highest := int16(math.MaxInt16), int16(Void)
		for _, post := range t.Posts {
			if highest = max(highest, post); post != Void {
				lowest = min(lowest, post)
			}
		}
		if highest == Void {
			return h, false
		}
		h.LowestM, h.HighestM = float64(lowest), float64(highest)
		return h, true
	}
	for i := range t.Len() {
		if post, known := t.PostM(i); known {
			h.LowestM, h.HighestM, ok = min(h.LowestM, post), max(h.HighestM, post), true
		}
	}
	return h, ok
}

// bytes is the memory that the posts and their maxima take.
func (t *Tile) bytes() int64 {
	bytes := 2*int64(len(t.Posts)) + 4*int64(len(t.Fine))
	if t.maxima != nil {
		bytes += t.maxima.bytes()
	}
	return bytes
}

// Lattice is the lines of posts across one axis of a tile: N lines, the first and last of them on the edges of the cell, line i in between
// at (i − Shift)/PerDeg degrees from the first edge, 0 ≤ Shift < 1. Where a raster has posts on the edges, Shift is 0 and PerDeg is N − 1;
// else the spaces next to the edges are narrower than the others.
type Lattice struct {
	N      int
	PerDeg float64
	Shift  float64
}

// evenLattice has n lines, edges included.
func evenLattice(n int) Lattice { return Lattice{N: n, PerDeg: float64(n - 1)} }

// at returns the place of line i in degrees from the first edge.
func (l Lattice) at(i int) float64 {
	switch i {
	case 0:
		return 0
	case l.N - 1:
		return 1
	}
	return (float64(i) - l.Shift) / l.PerDeg
}

// space returns where the space between lines i and i + 1 begins, in spaces from the first edge, and the inverse of its width: i − Shift
// and 1 for all but the first and the last.
func (l Lattice) space(i int) (start, inverse float64) {
	if i > 0 && i < l.N-2 {
		return float64(i) - l.Shift, 1
	}
	start, end := float64(i)-l.Shift, float64(i+1)-l.Shift
	if i == 0 {
		start = 0
	}
	if i == l.N-2 {
		end = l.PerDeg
	}
	return start, 1 / (end - start)
}

// index returns the space that holds a place in degrees from the first edge; on a line it is the later space, or the earlier one for a walk
// backwards. Places outside 0…1 belong to the first or last space.
func (l Lattice) index(deg float64, backwards bool) int {
	f := deg*l.PerDeg + l.Shift
	i := int(math.Floor(f))
	if backwards && float64(i) == f {
		i--
	}
	return min(max(i, 0), l.N-2)
}

// between splits a distance from the first edge in degrees into the line before it and the fraction 0…1 towards the next.
func (l Lattice) between(deg float64) (line int, fraction float64) {
	x := deg*l.PerDeg + l.Shift
	// Degrees near 180 are rounded to 1e-10 posts: a place meant to be at a post is at it.
	if nearest := math.Round(x); math.Abs(x-nearest) < 1e-9 {
		x = nearest
	}
	line = min(max(int(x), 0), l.N-2)
	start, inverse := l.space(line)
	return line, min(max((x-l.Shift-start)*inverse, 0), 1)
}

// within returns the first and last line from one distance to another from the first edge in degrees, the edges where these lie outside.
func (l Lattice) within(fromDeg, toDeg float64) (first, last int) {
	first, last = int(math.Ceil(fromDeg*l.PerDeg+l.Shift)), int(math.Floor(toDeg*l.PerDeg+l.Shift))
	// The edges do not lie where the other lines would have them.
	if fromDeg <= 0 {
		first = 0
	}
	if toDeg >= 1 {
		last = l.N - 1
	}
	return max(first, 0), min(last, l.N-1)
}

// reversed is the lattice counted from the other edge.
func (l Lattice) reversed() Lattice {
	return Lattice{N: l.N, PerDeg: l.PerDeg, Shift: float64(l.N-1) - l.PerDeg - l.Shift}
}
