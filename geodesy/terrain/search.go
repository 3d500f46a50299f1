package terrain

import (
	"math"

	"farstation/geodesy"
)

// search finds what the plain walk finds by looking at blocks of cells: one whose greatest post stays below the ray of the least curvature
// found so far has nothing to say. Blocks that may have are split where the line crosses their middle lines, down to the cells, whose
// pieces are those of the walk to the bit, because they run between the same crossings.
type search struct {
	walker    *Walker
	line      *Line
	fill      Fill
	found     tally
	stopAbove float64
	stretches []stretch
	// at is the stretch that is searched, cells the reader of its cells.
	at    *stretch
	cells cellReader
	piece Piece
	// frames holds, for each level, what the block of that level that is being searched was split into.
	frames [maxLevel + 1]frame
}

// maxLevel is the level whose one block holds the largest tile, of some ten million posts a side.
const maxLevel = 23

// frame is a block split where the line crosses its middle lines: the points of the cuts, and the parts in order along the line.
type frame struct {
	cuts  [2]point
	parts [3]block
	n     int
}

// stretch is the part of a line in one degree cell on one arc.
type stretch struct {
	arc        *arc
	lat, lon   axis
	tile       *Tile
	state      CellState
	rows, cols Lattice // from the southern and from the western edge
	from, to   point
	// steepest is the greatest slope of the geoid, bend the greatest upward curvature of the chord, per metre.
	steepest, bend float64
}

// point is a place of the line with what bounds are made of: the chord over the geoid, and x(s−x)/2R, by which a ray of curvature 1 rises
// over the chord.
type point struct {
	place
	clear, lift float64
}

// block is a block of cells, by its level and place from the south-west, and the part of the line in it.
type block struct {
	j, i     int
	from, to *point
	highestM float64
	promise  float64
}

// boundMarginM covers what a piece may differ from the line's polynomials by, which is 10 µm, and rounding.
const boundMarginM = 1e-3

// farNorthDeg is the latitude beyond which lines are walked plainly: beside a pole longitude is no polynomial.
const farNorthDeg = 89

func (s *search) point(a *arc, x float64) point {
	p := point{place: s.walker.place(a, x)}
	p.clear, p.lift = p.chord-p.undulation, x*(s.line.DistanceM-x)/(2*s.line.RadiusM)
	return p
}

// begin lays out the stretches of the line between two distances, in order. It is false for lines that must be walked plainly: those along a
// meridian or the equator, and beside a pole.
func (s *search) begin(x0, x1 float64) bool {
	s.stretches = s.stretches[:0]
	for i := range s.line.arcs {
		a := &s.line.arcs[i]
		from, to := math.Max(a.x0, x0), math.Min(a.x1, x1)
		if to-from <= 1e-9 {
			continue
		}
		lat, lon := newAxis(a, &a.lat, a.lat0, a.u(from), a.u(to)), newAxis(a, &a.lon, a.lon0, a.u(from), a.u(to))
		if lat.direction == 0 || lon.direction == 0 || math.Max(math.Abs(lat.start), math.Abs(lat.final)) > farNorthDeg {
			return false
		}
		bend := 2 * a.chord[2]
		for n := 3; n < arcNodes; n++ {
			bend += float64(n*(n-1)) * math.Abs(a.chord[n])
		}
		bend /= a.half * a.half
		for here := s.point(a, from); here.x < to; {
			tile, state := s.walker.tile(lat.degree, lon.degree)
			latCrossing, lonCrossing := lat.cross(float64(lat.degree+max(lat.direction, 0))), lon.cross(float64(lon.degree+max(lon.direction, 0)))
			x, there := math.Min(math.Min(latCrossing, lonCrossing), to), here
			if x > here.x {
				there = s.point(a, x)
			}
			if there.x-here.x > 1e-9 {
				s.stretches = append(s.stretches, stretch{
					arc: a, lat: lat, lon: lon, tile: tile, state: state, from: here, to: there, bend: bend,
					steepest: s.walker.steepest(lat.degree, lon.degree),
				})
				s.stretches[len(s.stretches)-1].setLattices()
			}
			here = there
			if x >= to {
				break
			}
			if latCrossing <= x {
				lat.degree += lat.direction
			}
			if lonCrossing <= x {
				lon.degree += lon.direction
			}
		}
	}
	return true
}

func (r *stretch) setLattices() {
	r.rows, r.cols = latticesOf(r.tile)
	r.lat.lattice, r.lon.lattice = r.rows, r.cols
}

// enter makes a stretch the one that is searched and returns its one block of the top level.
func (s *search) enter(r *stretch) (top int, whole block) {
	s.at = r
	s.cells = cellReader{
		walker: s.walker, tile: r.tile, state: r.state, fill: s.fill,
		lat: r.lat.degree, lon: r.lon.degree, rows: r.rows, cols: r.cols,
	}
	s.cells.measure()
	top = topLevel(max(r.rows.N, r.cols.N) - 1)
	whole = block{from: &r.from, to: &r.to}
	whole.highestM = s.highestM(top, 0, 0)
	return top, whole
}

// highestM returns a bound of the ground in a block. Where missing ground is filled high it is +Inf, for that is worked out, and kept account of,
// for each cell that a line meets.
func (s *search) highestM(level, j, i int) float64 {
	seaLevelM := s.walker.seaLevelM
	if s.at.tile == nil {
		if s.at.state == Gap && s.fill == FillHigh {
			return math.Inf(1)
		}
		return seaLevelM
	}
	highest, missing := s.at.tile.block(level, j, i)
	switch {
	case missing == noneMissing:
		return highest
	case s.fill == FillHigh:
		return math.Inf(1)
	}
	return math.Max(highest, seaLevelM)
}

// counts tells whether the ground of a block may change what was found.
func (s *search) counts(b *block) bool {
	least := s.found.bound(b.from.x, b.to.x)
	if math.IsInf(least, 1) {
		return true
	}
	// Chord over geoid, less what a ray of the least curvature falls short of it, is convex but for its bend and the geoid's slope.
	length := b.to.x - b.from.x
	bend := math.Max(0, s.at.bend+least/s.line.RadiusM)
	lower := math.Min(b.from.clear-least*b.from.lift, b.to.clear-least*b.to.lift) - length*(length*bend/8+s.at.steepest/2) - boundMarginM
	return !(b.highestM < lower) // also where ground at an end without a guard gives q = −∞, and lower NaN
}

// split cuts a block of a level above 0 where the line crosses its middle lines.
func (s *search) split(level int, b *block) *frame {
	f := &s.frames[level]
	f.n = 0
	lat, lon := &s.at.lat, &s.at.lon
	latX, j, jFar := s.middle(lat, level, b.j, b.from.lat, b.to.lat)
	lonX, i, iFar := s.middle(lon, level, b.i, b.from.lon, b.to.lon)
	from := b.from
	for c := range f.cuts {
		x := math.Min(latX, lonX)
		if x >= b.to.x {
			break
		}
		if x > from.x {
			to := &f.cuts[c]
			*to = s.point(s.at.arc, x)
			if to.x-from.x > 1e-9 {
				f.add(block{j: j, i: i, from: from, to: to})
			}
			from = to
		}
		if latX <= x {
			j, latX = jFar, math.Inf(1)
		}
		if lonX <= x {
			i, lonX = iFar, math.Inf(1)
		}
	}
	if b.to.x-from.x > 1e-9 {
		f.add(block{j: j, i: i, from: from, to: b.to})
	}
	return f
}

func (f *frame) add(b block) {
	f.parts[f.n] = b
	f.n++
}

// middle returns where the line crosses the middle line of a block across one axis, and the indices of the halves before and beyond it.
// Values at both ends of the line's part in the block spare most of the work.
func (s *search) middle(a *axis, level, index int, from, to float64) (x float64, near, far int) {
	near, far = 2*index, 2*index+1
	line := far << (level - 1)
	if line > a.lattice.N-2 {
		return math.Inf(1), near, near // the far half lies outside the tile
	}
	direction := float64(a.direction)
	if direction < 0 {
		near, far = far, near
	}
	target := a.lineDeg(line)
	switch {
	case direction*(target-from) < -onEdgeDeg:
		return math.Inf(-1), near, far
	case direction*(target-to) > onEdgeDeg:
		return math.Inf(1), near, far
	}
	return a.cross(target), near, far
}

// descend searches the parts of a block, the most promising first, until the search is to stop.
func (s *search) descend(level int, b *block) (goOn bool) {
	if level == 0 {
		return s.take(b)
	}
	f := s.split(level, b)
	order, m := [3]*block{}, 0
	for c := range f.n {
		part := &f.parts[c]
		part.highestM = s.highestM(level-1, part.j, part.i)
		if !s.counts(part) {
			continue
		}
		part.promise = (2*part.highestM - part.from.clear - part.to.clear) / (part.from.lift + part.to.lift)
		at := m
		for ; at > 0 && order[at-1].promise < part.promise; at-- {
			order[at] = order[at-1]
		}
		order[at] = part
		m++
	}
	for c, part := range order[:m] {
		if (c == 0 || s.counts(part)) && !s.descend(level-1, part) {
			return false
		}
	}
	return true
}

// take reads the piece of a cell.
func (s *search) take(b *block) (goOn bool) {
	if s.passedOver(b) {
		return true
	}
	a := s.at.arc
	s.cells.read(&s.piece, b.j, b.i, &b.from.place, &b.to.place, a.chord.at(a.u((b.from.x+b.to.x)/2)))
	s.found.take(&s.piece)
	return !(s.found.sureK() > s.stopAbove)
}

func (s *search) passedOver(b *block) bool {
	return s.cells.sliver(b.from.x, b.to.x, s.line.DistanceM)
}

// run searches all stretches, that of the middle of the line first. It returns false when it was stopped.
func (s *search) run() (finished bool) {
	middle := 0
	for middle < len(s.stretches)-1 && s.stretches[middle].to.x < s.line.DistanceM/2 {
		middle++
	}
	for before, after := middle, middle+1; before >= 0 || after < len(s.stretches); before, after = before-1, after+1 {
		for _, i := range [2]int{before, after} {
			if i < 0 || i >= len(s.stretches) {
				continue
			}
			if top, whole := s.enter(&s.stretches[i]); s.counts(&whole) && !s.descend(top, &whole) {
				return false
			}
		}
	}
	return true
}

// account sums up the missing ground of all stretches, in order.
func (s *search) account() {
	for i := range s.stretches {
		if r := &s.stretches[i]; r.tile == nil && r.state == Gap || r.tile != nil && r.tile.maxima.levels[0].missing != nil {
			top, whole := s.enter(r)
			s.accountFor(top, &whole)
		}
	}
}

func (s *search) accountFor(level int, b *block) {
	if s.at.tile != nil {
		if _, missing := s.at.tile.block(level, b.j, b.i); missing == noneMissing {
			return
		}
	}
	if level == 0 {
		if !s.passedOver(b) {
			s.found.addMissing(b.from.x, b.to.x-b.from.x)
		}
		return
	}
	f := s.split(level, b)
	for c := range f.n {
		s.accountFor(level-1, &f.parts[c])
	}
}

// steepest returns a bound of the slope of the geoid in a cell of 1°, height over length.
func (w *Walker) steepest(latDeg, lonDeg int) float64 {
	at := cellOf(latDeg, lonDeg)
	if known, ok := w.steep[at]; ok {
		return known
	}
	const parts = 4 // the grid's cells of 15′
	north, east := 0.0, 0.0
	for j := range parts {
		for i := range parts {
			c := w.geoid.Cell(float64(at.latDeg)+(float64(j)+0.5)/parts, float64(at.lonDeg)+(float64(i)+0.5)/parts)
			north = math.Max(north, math.Max(math.Abs(c.NorthWestM-c.SouthWestM), math.Abs(c.NorthEastM-c.SouthEastM)))
			east = math.Max(east, math.Max(math.Abs(c.SouthEastM-c.SouthWestM), math.Abs(c.NorthEastM-c.NorthWestM)))
		}
	}
	// Along a geodesic the sum of the squares of the lengths north and east is that of the length.
	nearPole := math.Min(math.Max(math.Abs(float64(at.latDeg)), math.Abs(float64(at.latDeg+1))), farNorthDeg)
	perDeg := geodesy.WGS84.MeridianRadiusM(0) * math.Pi / 180
	slope := parts * math.Hypot(north, east/math.Cos(nearPole*math.Pi/180)) / perDeg
	w.steep[at] = slope
	return slope
}

// stretchAt returns the stretch that holds x.
func (s *search) stretchAt(x float64) *stretch {
	for i := range s.stretches {
		if x <= s.stretches[i].to.x {
			return &s.stretches[i]
		}
	}
	return &s.stretches[len(s.stretches)-1]
}

// groundAt returns the height of known ground at a place, and the south-western post of its cell.
func (r *stretch) groundAt(p *point, seaLevelM float64) (heightM float64, corner int, ok bool) {
	if r.tile == nil {
		return seaLevelM, 0, r.state == Sea
	}
	c := cellReader{tile: r.tile, lat: r.lat.degree, lon: r.lon.degree, rows: r.rows, cols: r.cols}
	j, i := r.rows.index(p.lat-float64(c.lat), false), r.cols.index(p.lon-float64(c.lon), false)
	corner = c.corner(j, i)
	for _, index := range [4]int{corner, corner + 1, corner - r.cols.N, corner - r.cols.N + 1} {
		if _, known := r.tile.PostM(index); !known {
			return 0, 0, false
		}
	}
	sw, se, nw, ne, _ := c.corners(j, i)
	u, v, _, _ := c.within(j, i, &p.place)
	return (1-v)*((1-u)*sw+u*se) + v*((1-u)*nw+u*ne), corner, true
}

// end lets go of the tiles.
func (s *search) end() { clear(s.stretches) }
