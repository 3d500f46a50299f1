package terrain

import (
	"math"

	"farstation/geodesy/geoid"
)

// Fill says what stands in for terrain that is missing.
type Fill int

const (
	// FillSea takes every gap and void for ground at sea level: the least it can hide.
	FillSea Fill = iota
	// FillHigh takes a void for the highest sample within 5 km plus 50 m, and a missing tile for the highest of its eight
	// neighbours, else 9,000 m: more than it can be expected to hide.
	FillHigh
)

// Piece is the part of a line inside one cell of posts. Over t = x − X, 0 ≤ t ≤ W, ground and chord are parabolas:
// ground = G[0] + G[1]·t + G[2]·t² over the geoid (exact: bilinear ground along a straight path), geoid = N[0] + N[1]·t over the
// ellipsoid, chord = C[0] + C[1]·t + C[2]·t² over the ellipsoid (good to 10 µm).
type Piece struct {
	X, W float64
	G, C [3]float64
	N    [2]float64
	// Slope is the steepest rise of the ground in the cell, height over length; SpacingM the post spacing.
	Slope, SpacingM float64
	// Tile is the tile that the ground came from; nil over sea and in gaps.
	Tile *Tile
	// Missing is set where the ground is a stand-in for a gap or void.
	Missing bool
	// corner is the index of the cell's south-western post in the tile.
	corner int32
}

// GroundAt returns the height of the ground over the geoid at t.
func (p *Piece) GroundAt(t float64) float64 { return p.G[0] + t*(p.G[1]+t*p.G[2]) }

// ChordAt returns the height of the chord over the ellipsoid at t.
func (p *Piece) ChordAt(t float64) float64 { return p.C[0] + t*(p.C[1]+t*p.C[2]) }

// gap returns the parabola of chord less ground, both over the ellipsoid.
func (p *Piece) gap() [3]float64 {
	return [3]float64{p.C[0] - p.G[0] - p.N[0], p.C[1] - p.G[1] - p.N[1], p.C[2] - p.G[2]}
}

// Walker walks lines over terrain, cell by cell. It keeps scratch memory and belongs to one goroutine; store and geoid are shared.
type Walker struct {
	store *Store
	geoid *geoid.Grid
	fills *fills
	// SeaLevelM is the height of the sea over the geoid where no tile is needed.
	seaLevelM float64
	cell      geoid.Cell
	held      *Tile
	heldState CellState
	heldLat   int
	heldLon   int
	holds     bool
	err       error
	search    search
	behind    Line // of Backdrop
	// steep is the steepest slope of the geoid by cells of 1°.
	steep map[cell]float64
	// notes is nil unless TakeNote was called.
	notes *notes
}

// NewWalker returns a walker over the store. Sea without a tile lies at seaLevelM over the geoid.
func NewWalker(store *Store, grid *geoid.Grid, seaLevelM float64) *Walker {
	return &Walker{store: store, geoid: grid, fills: store.fills, seaLevelM: seaLevelM, cell: grid.Cell(0, 0), steep: map[cell]float64{}}
}

// Err returns the first tile that could not be read under StoreOptions.Strict.
func (w *Walker) Err() error { return w.err }

// nudgeM is how far a walk is moved on where rounding would keep it in one place. Only beside a pole,
// where longitude is no polynomial, does that happen; there it may pass over some metres in all.
const nudgeM = 1e-3

// sliverM is the length of missing ground at either end of a line that is not worth a word.
const sliverM = 0.1

// emptyN is the number of cells a side into which a degree without a tile is cut, one arc minute: fine enough for parabolas.
const emptyN = 60

// Walk calls visit for every piece of the line between the distances from and to, in order, until visit returns false. Adjoining
// pieces share their ends; a grid line or tile edge along the path belongs to either side, where posts are the same.
func (w *Walker) Walk(l *Line, fill Fill, from, to float64, visit func(*Piece) bool) {
	for i := range l.arcs {
		a := &l.arcs[i]
		x0, x1 := max(a.x0, from), min(a.x1, to)
		if x1-x0 <= 1e-9 {
			continue
		}
		if !w.walkArc(a, fill, x0, x1, l.DistanceM, visit) {
			return
		}
	}
}

// tile returns the tile of a whole-degree cell; lon may run past ±180.
func (w *Walker) tile(lat, lon int) (*Tile, CellState) {
	if w.holds && w.heldLat == lat && w.heldLon == lon {
		return w.held, w.heldState
	}
	wrapped := ((lon+180)%360+360)%360 - 180
	t, err := w.store.Tile(lat, wrapped)
	if err != nil && w.err == nil {
		w.err = err
	}
	state := HasTile
	if t == nil {
		state = w.store.State(lat, wrapped)
	}
	w.held, w.heldState, w.heldLat, w.heldLon, w.holds = t, state, lat, lon, true
	return t, state
}

// place is the line at one distance: coordinates, chord and geoid.
type place struct {
	x, lat, lon, chord, undulation float64
}

func (w *Walker) place(a *arc, x float64) (p place) {
	w.placeAt(a, x, &p)
	return p
}

func (w *Walker) placeAt(a *arc, x float64, p *place) {
	u := a.u(x)
	p.x, p.lat, p.lon, p.chord = x, a.lat0+a.lat.at(u), a.lon0+a.lon.at(u), a.chord.at(u)
	if !w.cell.Contains(p.lat, p.lon) {
		w.cell = w.geoid.Cell(p.lat, p.lon)
	}
	p.undulation = w.cell.UndulationM(p.lat, p.lon)
}

// preferTile moves a line that runs exactly along a tile's edge to the side that has a tile: posts on the edge belong to both.
func (w *Walker) preferTile(lat, lon *axis, here place) {
	has := func(latDeg, lonDeg int) bool {
		t, _ := w.tile(latDeg, lonDeg)
		return t != nil
	}
	if lon.along(here.lon) && !has(lat.degree, lon.degree) && has(lat.degree, lon.degree-1) {
		lon.degree--
	}
	if lat.along(here.lat) && !has(lat.degree, lon.degree) && has(lat.degree-1, lon.degree) {
		lat.degree--
	}
}

func (w *Walker) walkArc(a *arc, fill Fill, x0, x1, lengthM float64, visit func(*Piece) bool) bool {
	lat := newAxis(a, &a.lat, a.lat0, a.u(x0), a.u(x1))
	lon := newAxis(a, &a.lon, a.lon0, a.u(x0), a.u(x1))
	lat.degree = min(max(lat.degree, -90), 89)
	var places [2]place
	here, there := &places[0], &places[1]
	w.placeAt(a, x0, here)
	var piece Piece
	stuck, stuckAt := 0, math.Inf(-1)
	for here.x < x1 {
		// Tiles meet four at a corner; more tiles entered in one place is rounding beside a pole, where longitude is no polynomial.
		if here.x > stuckAt {
			stuck, stuckAt = 0, here.x
		} else if stuck++; stuck > 8 {
			w.placeAt(a, min(here.x+nudgeM, x1), here)
			lat.degree = min(max(int(math.Floor(here.lat)), -90), 89)
			lon.degree = int(math.Floor(here.lon))
			continue
		}
		w.preferTile(&lat, &lon, *here)
		tile, state := w.tile(lat.degree, lon.degree)
		rows, cols := latticesOf(tile)
		lat.enter(here.x, here.lat, rows)
		lon.enter(here.x, here.lon, cols)
		lat.next()
		lon.next()
		c := cellReader{walker: w, tile: tile, state: state, fill: fill, lat: lat.degree, lon: lon.degree, rows: rows, cols: cols}
		c.measure()
		for {
			x := min(min(lat.crossing, lon.crossing), x1)
			if x > here.x {
				w.placeAt(a, x, there)
			} else {
				*there = *here
			}
			if there.x-here.x > 1e-9 {
				if !c.sliver(here.x, there.x, lengthM) {
					middle := a.chord.at(a.u((here.x + there.x) / 2))
					c.read(&piece, lat.index, lon.index, here, there, middle)
					if !visit(&piece) {
						return false
					}
				}
			}
			here, there = there, here
			if x >= x1 {
				return true
			}
			left := false
			latCrossed, lonCrossed := lat.crossing <= x, lon.crossing <= x
			if latCrossed {
				left = lat.step()
			}
			if lonCrossed {
				left = lon.step() || left
			}
			if left {
				if lat.degree < -90 || lat.degree > 89 {
					// At a pole; beyond it the line goes on along another meridian, which is another arc.
					lat.degree = min(max(lat.degree, -90), 89)
					lat.direction = 0
				}
				here.x = max(here.x, x)
				break
			}
			if latCrossed {
				lat.next()
			}
			if lonCrossed {
				lon.next()
			}
		}
	}
	return true
}
