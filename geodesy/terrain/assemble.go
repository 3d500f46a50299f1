package terrain

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
)

// assembly makes one tile of the rasters that overlap its cell.
type assembly struct {
	index  *Index
	at     cell
	land   func(latDeg, lonDeg int) bool
	main   *patch
	own    []*patch        // of the cell's files, in order of priority
	beside []*patch        // of the neighbouring cells' files, those of the main one's source first
	tiles  map[int]*raster // .hgt files, whose size shows when they are decoded
	errs   []error
}

// assemble makes the tile of a cell. The first raster with a height in the cell gives the lattice; posts that it lacks are taken from the
// next ones, bilinear. What lies on the edges of the cell but between posts is what bilinear ground gives there, over the seam between this
// raster and the next cell's: sea without a tile is 0 m there, and beside a gap the last post is repeated. The errors are those of files that
// cannot be read; the tile is nil where none can.
func (x *Index) assemble(at cell, land func(latDeg, lonDeg int) bool) (*Tile, []error) {
	files := x.cells[x.at[at]].Files
	if first := &x.files[files[0]]; first.Format == FormatHGT && first.shift == nil {
		tile, err := readHGT(first.Path)
		if err == nil && (tile.LatDeg != int(at.latDeg) || tile.LonDeg != int(at.lonDeg)) {
			err = changed(first.Path)
		}
		if err != nil && len(files) == 1 {
			return nil, []error{err}
		}
		if err == nil && (len(files) == 1 || !slices.Contains(tile.Posts, Void)) {
			tile.Surface, tile.SDM = first.Source.Surface, first.SDM
			return tile, nil
		}
	}
	a := &assembly{index: x, at: at, land: land, tiles: map[int]*raster{}}
	if !a.chooseMain(files) {
		if len(a.errs) == 0 {
			a.errs = []error{fmt.Errorf("terrain %s: has no post in the cell that it should serve: check its position", x.files[files[0]].Path)}
		}
		return nil, a.errs
	}
	tile := a.tile()
	return tile, a.errs
}

func changed(path string) error {
	return fmt.Errorf("terrain %s: changed since it was found: start again", path)
}

// wholeCell is the share of a cell's posts from which on a raster covers all of it, but for a rim.
const wholeCell = 0.95

// chooseMain finds the raster that gives the lattice: the first that covers the whole cell with heights, else the one that covers most of it.
// A file that holds a corner must not clip the crests of the rest of the cell; what it has is laid over at the posts of the main raster.
func (a *assembly) chooseMain(files []int) bool {
	for _, file := range files {
		a.own = append(a.own, a.patches(file, 0)...)
	}
	var readable *patch
	widest := 0.0
	for _, p := range a.own {
		if p.turnedAway(a.at) || !a.read(p) {
			continue
		}
		if readable == nil {
			readable = p
		}
		if share := p.share(a.at); share > widest && slices.ContainsFunc(p.values, func(h float32) bool { return h == h }) {
			a.main, widest = p, share
			if share > wholeCell {
				break
			}
		}
	}
	if a.main == nil {
		a.main = readable
	}
	return a.main != nil
}

// patches returns the parts of a file that lie in the cell, or within two of its posts and spareDeg of it. A raster around the Earth has two
// of them at its ends.
func (a *assembly) patches(file int, spareDeg float64) []*patch {
	f := &a.index.files[file]
	lat, lon := f.lat, f.lon
	if f.Format == FormatHGT {
		r, err := a.open(file)
		if err != nil {
			return nil
		}
		lat, lon = r.lat, r.lon
	}
	var found []*patch
	south, west := -float64(a.at.latDeg)-1, float64(a.at.lonDeg)
	row, rows := lat.window(south-2/lat.perDeg-spareDeg, south+1+2/lat.perDeg+spareDeg)
	for _, turn := range [...]float64{0, 360, -360} {
		col, cols := lon.window(west+turn-2/lon.perDeg-spareDeg, west+turn+1+2/lon.perDeg+spareDeg)
		if rows > 0 && cols > 0 {
			found = append(found, &patch{file: file, turnDeg: turn, lat: lat, lon: lon, row: row, col: col, rows: rows, cols: cols})
		}
	}
	return found
}

// open opens a file; a decoded .hgt is kept, and its errors are noted once.
func (a *assembly) open(file int) (*raster, error) {
	if r := a.tiles[file]; r != nil {
		return r, nil
	}
	r, err := openRaster(a.index.files[file].Path)
	if err != nil {
		a.note(err)
		return nil, err
	}
	if r.format == FormatHGT {
		a.tiles[file] = r
	}
	return r, nil
}

func (a *assembly) note(err error) {
	if !slices.ContainsFunc(a.errs, func(e error) bool { return e.Error() == err.Error() }) {
		a.errs = append(a.errs, err)
	}
}

// read reads a patch, once.
func (a *assembly) read(p *patch) bool {
	if p.values != nil || p.failed {
		return !p.failed
	}
	f := &a.index.files[p.file]
	r, err := a.open(p.file)
	if err != nil {
		p.failed = true
		return false
	}
	defer r.close()
	if r.lat != p.lat || r.lon != p.lon {
		err = changed(f.Path)
	} else if err = r.readPatch(p, f.shift); err != nil {
		err = fmt.Errorf("terrain %s: %w", f.Path, err)
	}
	if err != nil {
		p.failed = true
		a.note(err)
	}
	return !p.failed
}

func (a *assembly) tile() *Tile {
	p := a.main
	rows, row0 := p.lat.lattice(-int(a.at.latDeg) - 1)
	cols, col0 := p.lon.lattice(int(a.at.lonDeg) + int(p.turnDeg))
	heights := make([]float32, rows.N*cols.N)
	south0, east0 := p.lat.post(float64(-int(a.at.latDeg)-1)), p.lon.post(float64(int(a.at.lonDeg)+int(p.turnDeg)))
	for r := range rows.N {
		onRow := rows.onPost(r)
		v := south0 + rows.at(r)*rows.PerDeg
		if onRow {
			v = float64(row0 + r)
		}
		for c := range cols.N {
			onCol := cols.onPost(c)
			i := r*cols.N + c
			if onRow && onCol && p.covers(row0+r, col0+c) {
				heights[i] = float32(p.post(row0+r, col0+c))
				continue
			}
			heights[i] = float32(math.NaN())
			if r > 0 && r < rows.N-1 && c > 0 && c < cols.N-1 {
				continue // outside the raster: left to the next ones
			}
			u := east0 + cols.at(c)*cols.PerDeg
			if onCol {
				u = float64(col0 + c)
			}
			heights[i] = float32(bilinear(v, u, a.seamPost))
		}
	}
	a.fill(rows, cols, heights)
	a.layOver(rows, cols, heights)
	f := &a.index.files[p.file]
	tile := &Tile{
		Name: a.name(), LatDeg: int(a.at.latDeg), LonDeg: int(a.at.lonDeg), Rows: rows, Cols: cols, Surface: f.Source.Surface, SDM: f.SDM, Refused: p.refused,
	}
	// One word and one spread stand for the whole tile: those that claim less.
	for _, other := range a.own {
		if other == p {
			continue
		}
		tile.Refused += other.refused
		from := &a.index.files[other.file]
		if !other.usedHere {
			continue
		}
		if from.Source.Surface == SurfaceTop {
			tile.Surface = SurfaceTop
		}
		if orFlat(from.SDM) > orFlat(tile.SDM) {
			tile.SDM = from.SDM
		}
	}
	tile.setHeights(heights)
	return tile
}

// layOver puts the heights of rasters that come before the main one in place of its own, where they have any.
func (a *assembly) layOver(rows, cols Lattice, heights []float32) {
	for _, p := range a.own {
		if p == a.main {
			return
		}
		if p.failed || p.values == nil {
			continue
		}
		for r := range rows.N {
			southDeg := float64(-int(a.at.latDeg)-1) + rows.at(r)
			for c := range cols.N {
				v, u, covered := p.place(southDeg, float64(a.at.lonDeg)+cols.at(c), 0)
				if !covered {
					continue
				}
				if h := bilinear(v, u, p.post); !math.IsNaN(h) {
					heights[r*cols.N+c] = float32(h)
					p.usedHere = true
				}
			}
		}
	}
}

// onPost tells whether line i is one of posts: not where it was clamped onto an edge.
func (l Lattice) onPost(i int) bool {
	const spare = 1e-6
	switch i {
	case 0:
		return l.Shift < spare
	case l.N - 1:
		return math.Abs(float64(i)-l.Shift-l.PerDeg) < spare
	}
	return true
}

// setHeights keeps heights as whole metres where they all are.
func (t *Tile) setHeights(heights []float32) {
	for _, h := range heights {
		if h != float32(math.Trunc(float64(h))) && h == h {
			t.Fine = heights
			return
		}
	}
	t.Posts = make([]int16, len(heights))
	for i, h := range heights {
		t.Posts[i] = Void
		if h == h {
			t.Posts[i] = int16(h)
		}
	}
}

// seamPost returns a post of the main raster's lattice that may lie beyond it: in the next raster, at sea, or, in a gap, the nearest post.
func (a *assembly) seamPost(row, col int) float64 {
	h, known := a.nextPost(row, col)
	if known {
		return h
	}
	p := a.main
	southDeg, lonDeg := p.lat.deg(float64(row)), p.lon.deg(float64(col))-p.turnDeg
	if a.besideSea(southDeg, lonDeg) {
		return 0
	}
	nearRow, nearCol := min(max(row, 0), p.lat.n-1), min(max(col, 0), p.lon.n-1)
	if max(row-nearRow, nearRow-row, col-nearCol, nearCol-col) > 1 {
		return math.NaN()
	}
	// Off a corner of the raster, the cell beside it may know the post nearest to the gap.
	if h, known := a.nextPost(nearRow, col); known {
		return h
	}
	if h, known := a.nextPost(row, nearCol); known {
		return h
	}
	return p.post(nearRow, nearCol)
}

// nextPost returns a post of the main raster, or what the next raster has in its place; it is NaN where that is void, and not known where
// there is none.
func (a *assembly) nextPost(row, col int) (heightM float64, known bool) {
	p := a.main
	if p.covers(row, col) {
		return p.post(row, col), true
	}
	southDeg, lonDeg := p.lat.deg(float64(row)), p.lon.deg(float64(col))-p.turnDeg
	void := false
	for _, reach := range [...]float64{0, 0.5} { // a pixel reaches half a post farther than its post
		for _, other := range a.others() {
			v, u, covered := other.place(southDeg, lonDeg, reach)
			if !covered || !a.read(other) {
				continue
			}
			if h := bilinear(v, u, other.post); !math.IsNaN(h) {
				return h, true
			}
			void = true
		}
	}
	return math.NaN(), void
}

// others returns the patches that may hold what lies beyond the main raster, in order.
func (a *assembly) others() []*patch {
	if a.beside != nil {
		return a.beside
	}
	var files []int
	for dLat := -1; dLat <= 1; dLat++ {
		for dLon := -1; dLon <= 1; dLon++ {
			if i, ok := a.index.at[cellOf(int(a.at.latDeg)+dLat, int(a.at.lonDeg)+dLon)]; ok {
				files = append(files, a.index.cells[i].Files...)
			}
		}
	}
	source := a.index.files[a.main.file].Source
	slices.SortFunc(files, func(x, y int) int {
		foreign := func(i int) int {
			if a.index.files[i].Source == source {
				return 0
			}
			return 1
		}
		if d := foreign(x) - foreign(y); d != 0 {
			return d
		}
		return x - y
	})
	spareDeg := 2 / min(a.main.lat.perDeg, a.main.lon.perDeg)
	for _, file := range slices.Compact(files) {
		for _, p := range a.patches(file, spareDeg) {
			if p.file != a.main.file || p.turnDeg != a.main.turnDeg {
				a.beside = append(a.beside, p)
			}
		}
	}
	if a.beside == nil {
		a.beside = []*patch{}
	}
	return a.beside
}

// besideSea tells whether a place touches a cell that is sea: without a file and without land.
func (a *assembly) besideSea(southDeg, lonDeg float64) bool {
	const spare = 1e-9
	for _, lat := range [...]float64{-southDeg - spare, -southDeg + spare} {
		for _, lon := range [...]float64{lonDeg - spare, lonDeg + spare} {
			latDeg := int(math.Floor(lat))
			if latDeg < -90 || latDeg > 89 {
				continue
			}
			c := cellOf(latDeg, int(math.Floor(lon)))
			if _, has := a.index.at[c]; !has && !a.land(int(c.latDeg), int(c.lonDeg)) {
				return true
			}
		}
	}
	return false
}

// fill takes the posts that are still void from the next rasters of the cell, in order.
func (a *assembly) fill(rows, cols Lattice, heights []float32) {
	for _, p := range a.own {
		if p == a.main || !slices.ContainsFunc(heights, func(h float32) bool { return h != h }) || !a.read(p) {
			continue
		}
		for i, h := range heights {
			if h == h {
				continue
			}
			southDeg := float64(-int(a.at.latDeg)-1) + rows.at(i/cols.N)
			lonDeg := float64(a.at.lonDeg) + cols.at(i%cols.N)
			if v, u, covered := p.place(southDeg, lonDeg, 0.5); covered {
				heights[i] = float32(bilinear(v, u, p.post))
				p.usedHere = p.usedHere || heights[i] == heights[i]
			}
		}
	}
}

// name joins the names of the files that gave the tile its heights.
func (a *assembly) name() string {
	names := []string{filepath.Base(a.index.files[a.main.file].Path)}
	for _, p := range a.own {
		if name := filepath.Base(a.index.files[p.file].Path); p.usedHere && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return strings.Join(names, "+")
}
