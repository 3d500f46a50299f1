package terrain

import (
	"math"
	"sync"

	"farstation/geodesy"
)

const (
	voidReachM   = 5000.0 // a void is filled with the highest sample within this distance …
	voidMarginM  = 50.0   // … plus this: of 6,558 voids laid over known ground none but a handful reached it
	highestLandM = 9000.0 // nothing on land is higher; stands in where no neighbour is known
)

// fills works out, once for each place, what stands in for missing terrain. It is shared by all walkers of a store.
type fills struct {
	mu    sync.Mutex
	voids map[[2]int]*voidFill // by tile corner
	gaps  map[[2]int]float64
}

type voidFill struct {
	mu      sync.Mutex
	heights map[int]float64
}

func newFills() *fills {
	return &fills{voids: map[[2]int]*voidFill{}, gaps: map[[2]int]float64{}}
}

// gap returns the height that stands in for a missing tile: the highest of its eight neighbours, else 9,000 m.
func (f *fills) gap(w *Walker, lat, lon int) float64 {
	key := [2]int{lat, (lon+540)%360 - 180}
	w.noteGap(key)
	f.mu.Lock()
	defer f.mu.Unlock()
	if h, ok := f.gaps[key]; ok {
		return h
	}
	highest, found := w.store.highestAround(lat, lon)
	if !found {
		highest = highestLandM
	}
	f.gaps[key] = highest
	return highest
}

// highestAround returns the highest post of a cell of 1° and its eight neighbours, false where none of them has a tile with posts.
func (s *Store) highestAround(lat, lon int) (heightM float64, ok bool) {
	heightM = math.Inf(-1)
	for dLat := -1; dLat <= 1; dLat++ {
		for dLon := -1; dLon <= 1; dLon++ {
			if lat+dLat < -90 || lat+dLat > 89 {
				continue
			}
			if m, known := s.HighestM(lat+dLat, lon+dLon); known {
				heightM, ok = math.Max(heightM, m), true
			}
		}
	}
	return heightM, ok
}

// void returns the height that stands in for the void post of a tile: the highest sample within 5 km plus 50 m; where all of that is
// void too, the highest of the tile and its neighbours plus 50 m.
func (f *fills) void(w *Walker, tile *Tile, index int) float64 {
	key := [2]int{tile.LatDeg, tile.LonDeg}
	w.noteVoid(VoidPost{tile.LatDeg, tile.LonDeg, index})
	f.mu.Lock()
	v := f.voids[key]
	if v == nil {
		v = &voidFill{heights: map[int]float64{}}
		f.voids[key] = v
	}
	f.mu.Unlock()
	v.mu.Lock()
	defer v.mu.Unlock()
	if h, ok := v.heights[index]; ok {
		return h
	}
	row, column := index/tile.Cols.N, index%tile.Cols.N
	at := geodesy.LatLon{
		LatDeg: float64(tile.LatDeg) + tile.Rows.reversed().at(tile.Rows.N-1-row),
		LonDeg: float64(tile.LonDeg) + tile.Cols.at(column),
	}
	_, h, ok := w.store.HighestWithin(at, voidReachM)
	if !ok {
		if h, ok = w.store.highestAround(tile.LatDeg, tile.LonDeg); !ok {
			h = highestLandM - voidMarginM
		}
	}
	h += voidMarginM
	v.heights[index] = h
	return h
}
