package terrain

import (
	"fmt"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/singleflight"
)

// StoreOptions say how a store holds its tiles.
type StoreOptions struct {
	// MemoryBytes bounds the decoded tiles that the store holds (one is held however small the bound), those in a cache's files among them.
	// Tiles that callers still hold after they were dropped, and those being decoded, come on top.
	MemoryBytes int64
	// Strict returns the error of an unreadable tile instead of treating its cell as a gap.
	Strict bool
	// LandHint reports further cells, by their south-west corners, that are known to hold land; nil for none. It is called
	// from several goroutines.
	LandHint func(latDeg, lonDeg int) bool
	// Cache keeps decoded tiles on disk; nil for none.
	Cache *Cache
}

// CellState says what the terrain knows of a cell of 1° × 1°.
type CellState int

// The states of a cell.
const (
	HasTile CellState = iota
	Sea               // no tile and no land: the height is 0
	Gap               // land without a tile, or a tile that cannot be read
)

// Store serves decoded tiles. It is safe for concurrent use; what it returns does not depend on the order of calls or on
// MemoryBytes.
type Store struct {
	opts  StoreOptions
	index *Index
	slots map[cell]*slot     // one for each cell of the index, never changed
	reads singleflight.Group // by the cell's corner
	fills *fills             // shared by all walkers of the store

	// decoded counts the tiles made of their files, those of one cell again and again.
	decoded atomic.Int64
	// loads counts the tiles read. It is the clock by which the least recently used tile is told: a slot's time is 2·loads when it
	// is read and 2·loads + 1 when it is used again. It stands still between reads, so that a hit mostly writes nothing.
	loads atomic.Int64

	mu   sync.Mutex // guards held and heldBytes
	held []*slot
	// heldBytes is the sum over held.
	heldBytes int64
}

// slot is what the store knows of one tile.
type slot struct {
	at      cell
	tile    atomic.Pointer[Tile]     // nil while not held
	onDisk  atomic.Pointer[keptTile] // nil while the cache is not known to have it
	used    atomic.Int64
	outcome atomic.Pointer[outcome] // nil until first read
}

// drop gives back the memory of a kept tile that is not held any more. Whoever still reads it has it read from the file again.
func (s *slot) drop() {
	if onDisk := s.onDisk.Load(); onDisk != nil && !onDisk.file.Drop() {
		s.onDisk.Store(nil)
	}
}

// outcome of reading a tile; it outlives the tile.
type outcome struct {
	err     error   // why there is no tile
	errs    []error // all files that could not be read, err among them
	heights Heights
	anyPost bool // false where all posts are void
	refused int
	sea     bool // all void where there is no land
}

// NewStore returns a store of the tiles of an index. Nothing is read yet.
func NewStore(index *Index, opts StoreOptions) *Store {
	s := &Store{opts: opts, index: index, slots: make(map[cell]*slot, index.Len()), fills: newFills()}
	for _, c := range index.cells {
		at := cellOf(c.LatDeg, c.LonDeg)
		s.slots[at] = &slot{at: at}
	}
	return s
}

// Tile returns the tile of a cell by its south-west corner, nil where there is none. Any longitude is understood. A tile that
// is not held is read, once however many ask for it. An unreadable tile is nil as well and found by Unreadable; with Strict its
// error is returned. Either way it is not tried again.
func (s *Store) Tile(latDeg, lonDeg int) (*Tile, error) {
	at, ok := s.slots[cellOf(latDeg, lonDeg)]
	if !ok {
		return nil, nil
	}
	if tile := at.tile.Load(); tile != nil {
		if now := 2*s.loads.Load() + 1; at.used.Load() != now {
			at.used.Store(now)
		}
		return tile, nil
	}
	return s.read(at)
}

func (s *Store) read(at *slot) (*Tile, error) {
	key := fmt.Sprint(at.at)
	result, err, _ := s.reads.Do(key, func() (any, error) {
		if tile := at.tile.Load(); tile != nil {
			return tile, nil // another call has read it meanwhile
		}
		if past := at.outcome.Load(); past != nil && (past.err != nil || past.sea) {
			return (*Tile)(nil), past.err
		}
		if onDisk := at.onDisk.Load(); onDisk != nil {
			s.hold(at, onDisk.Tile)
			return onDisk.Tile, nil
		}
		tile, keep := s.cached(at)
		var errs []error
		if tile == nil {
			s.decoded.Add(1)
			tile, errs = s.index.assemble(at.at, s.land)
		}
		known := &outcome{errs: errs}
		if tile == nil || s.opts.Strict && len(errs) > 0 {
			known.err = errs[0]
			at.outcome.Store(known)
			return (*Tile)(nil), known.err
		}
		known.heights, known.anyPost = tile.heights()
		if !known.anyPost && len(errs) == 0 && !s.land(int(at.at.latDeg), int(at.at.lonDeg)) {
			// A set that covers open sea without data says no more of it than one that leaves it out.
			known.sea = true
			at.outcome.Store(known)
			return (*Tile)(nil), nil
		}
		if tile.maxima == nil {
			tile.maxima = newMaxima(tile)
			if len(errs) == 0 {
				tile = keep(tile)
			}
		}
		known.refused = tile.Refused
		at.outcome.Store(known)
		s.hold(at, tile)
		return tile, nil
	})
	if err != nil && !s.opts.Strict {
		err = nil
	}
	return result.(*Tile), err
}

// cached returns the tile that the cache has of a cell, nil for none, and what keeps one there and returns it as it is kept, or as it is.
func (s *Store) cached(at *slot) (tile *Tile, keep func(*Tile) *Tile) {
	keep = func(tile *Tile) *Tile { return tile }
	if s.opts.Cache == nil {
		return nil, keep
	}
	key, err := s.index.cacheKey(at.at, s.land)
	if err != nil {
		return nil, keep // decoding will say what is wrong, if anything
	}
	if onDisk := s.opts.Cache.get(key); onDisk != nil {
		s.opts.Cache.found.Add(1)
		at.onDisk.Store(onDisk)
		return onDisk.Tile, keep
	}
	return nil, func(tile *Tile) *Tile {
		if !s.index.unchanged(at.at) {
			return tile
		}
		if onDisk := s.opts.Cache.put(key, tile); onDisk != nil {
			at.onDisk.Store(onDisk)
			return onDisk.Tile
		}
		return tile
	}
}

// hold drops the tiles least recently used until the new one fits, and holds that.
func (s *Store) hold(at *slot, tile *Tile) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for len(s.held) > 0 && s.heldBytes+tile.bytes() > s.opts.MemoryBytes {
		oldest := 0
		for i, other := range s.held {
			if other.used.Load() < s.held[oldest].used.Load() {
				oldest = i
			}
		}
		s.heldBytes -= s.held[oldest].tile.Swap(nil).bytes()
		s.held[oldest].drop()
		s.held = append(s.held[:oldest], s.held[oldest+1:]...)
	}
	at.used.Store(2 * s.loads.Add(1))
	at.tile.Store(tile)
	s.held = append(s.held, at)
	s.heldBytes += tile.bytes()
}

// State says what is known of a cell by its south-west corner. A tile that was never read is read, for it may be unreadable.
func (s *Store) State(latDeg, lonDeg int) CellState {
	c := cellOf(latDeg, lonDeg)
	if at, ok := s.slots[c]; ok {
		switch known := s.outcome(at); {
		case known.err != nil:
			return Gap
		case known.sea:
			return Sea
		}
		return HasTile
	}
	if s.land(int(c.latDeg), int(c.lonDeg)) {
		return Gap
	}
	return Sea
}

// land tells whether a cell within −180…179 holds land, by the map or by the hint.
func (s *Store) land(latDeg, lonDeg int) bool {
	return LandCell(latDeg, lonDeg) || s.opts.LandHint != nil && s.opts.LandHint(latDeg, lonDeg)
}

// Heights are the lowest and the highest post of a tile in metres over the geoid, and the number of its rows of posts to a degree.
type Heights struct{ LowestM, HighestM, RowsPerDeg float64 }

// Heights returns those of a tile; false where there is no readable tile, or all of it is void and only RowsPerDeg has a value. The tile is read
// at the first call for it and not again. With Strict the error of an unreadable tile is returned.
func (s *Store) Heights(latDeg, lonDeg int) (heights Heights, ok bool, err error) {
	at, ok := s.slots[cellOf(latDeg, lonDeg)]
	if !ok {
		return Heights{}, false, nil
	}
	known := s.outcome(at)
	if known.err != nil && s.opts.Strict {
		return Heights{}, false, known.err
	}
	if known.err != nil {
		return Heights{}, false, nil
	}
	if !known.anyPost {
		return Heights{RowsPerDeg: known.heights.RowsPerDeg}, false, nil
	}
	return known.heights, true, nil
}

// HighestM returns the highest post of a tile in metres over the geoid; false where there is no readable tile or all of it is void.
func (s *Store) HighestM(latDeg, lonDeg int) (m float64, ok bool) {
	heights, ok, _ := s.Heights(latDeg, lonDeg)
	return heights.HighestM, ok
}

func (s *Store) outcome(at *slot) *outcome {
	if known := at.outcome.Load(); known != nil {
		return known
	}
	s.read(at) // its error is kept in the outcome
	return at.outcome.Load()
}

// Refused counts the posts of the tiles read so far that hold a height which no land has, and count as void.
func (s *Store) Refused() int {
	refused := 0
	for _, at := range s.slots {
		if known := at.outcome.Load(); known != nil {
			refused += known.refused
		}
	}
	return refused
}

// Reads says how often tiles were read.
type Reads struct {
	// Cells counts those that were looked at, Decoded the tiles that were made of their files: more than Cells where they had to be dropped for
	// want of memory.
	Cells, Decoded int
	// Cache is nil where there is none.
	Cache *CacheUse
}

// Reads says how often tiles were read up to now.
func (s *Store) Reads() Reads {
	reads := Reads{Decoded: int(s.decoded.Load())}
	for _, at := range s.slots {
		if at.outcome.Load() != nil {
			reads.Cells++
		}
	}
	if s.opts.Cache != nil {
		use := s.opts.Cache.Use()
		reads.Cache = &use
	}
	return reads
}

// Unreadable returns the errors of the files met so far that could not be read, each once, sorted by the latitude, then longitude of the
// cells where they were met.
func (s *Store) Unreadable() []error {
	var errs []error
	seen := map[string]bool{}
	for _, c := range s.index.cells {
		known := s.slots[cellOf(c.LatDeg, c.LonDeg)].outcome.Load()
		if known == nil {
			continue
		}
		for _, err := range known.errs {
			if !seen[err.Error()] {
				seen[err.Error()] = true
				errs = append(errs, err)
			}
		}
	}
	return errs
}
