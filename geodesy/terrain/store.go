package terrain

import (
	"fmt"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/singleflight"
)

// StoreOptions say how a store holds its tiles.
type StoreOptions struct {
	// MemoryBytes bounds the decoded tiles that the store holds (one is held however small the bound). Tiles that callers
	// still hold after they were dropped, and those being decoded, come on top.
	MemoryBytes int64
	// Strict returns the error of an unreadable tile instead of treating its cell as a gap.
	Strict bool
	// LandHint reports further cells, by their south-west corners, that are known to hold land; nil for none. It is called
	// from several goroutines.
	LandHint func(latDeg, lonDeg int) bool
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
	slots map[cell]*slot // one for each tile of the index, never changed
	reads singleflight.Group
	fills *fills // shared by all walkers of the store

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
	ref     TileRef
	tile    atomic.Pointer[Tile] // nil while not held
	used    atomic.Int64
	outcome atomic.Pointer[outcome] // nil until first read
}

// outcome of reading a tile; it outlives the tile.
type outcome struct {
	err      error
	highestM int16
	anyPost  bool // false where all posts are void
}

// NewStore returns a store of the tiles of an index. Nothing is read yet.
func NewStore(index *Index, opts StoreOptions) *Store {
	s := &Store{opts: opts, slots: make(map[cell]*slot, index.Len()), fills: newFills()}
	for _, ref := range index.tiles {
		s.slots[cellOf(ref.LatDeg, ref.LonDeg)] = &slot{ref: ref}
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
	result, err, _ := s.reads.Do(at.ref.Path, func() (any, error) {
		if tile := at.tile.Load(); tile != nil {
			return tile, nil // another call has read it meanwhile
		}
		if past := at.outcome.Load(); past != nil && past.err != nil {
			return (*Tile)(nil), past.err
		}
		tile, err := readHGT(at.ref.Path)
		if err == nil && (tile.LatDeg != at.ref.LatDeg || tile.LonDeg != at.ref.LonDeg) {
			err = fmt.Errorf("terrain %s: changed since it was found: start again", at.ref.Path)
		}
		if err != nil {
			at.outcome.Store(&outcome{err: err})
			return (*Tile)(nil), err
		}
		highestM, anyPost := tile.highest()
		at.outcome.Store(&outcome{highestM: highestM, anyPost: anyPost})
		s.hold(at, tile)
		return tile, nil
	})
	if err != nil && !s.opts.Strict {
		err = nil
	}
	return result.(*Tile), err
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
		if s.outcome(at).err != nil {
			return Gap
		}
		return HasTile
	}
	if LandCell(int(c.latDeg), int(c.lonDeg)) || s.opts.LandHint != nil && s.opts.LandHint(int(c.latDeg), int(c.lonDeg)) {
		return Gap
	}
	return Sea
}

// HighestM returns the highest post of a tile in metres over the geoid; false where there is no readable tile or all of it is
// void. The tile is read at the first call for it and not again.
func (s *Store) HighestM(latDeg, lonDeg int) (m int16, ok bool) {
	at, ok := s.slots[cellOf(latDeg, lonDeg)]
	if !ok {
		return 0, false
	}
	known := s.outcome(at)
	if known.err != nil || !known.anyPost {
		return 0, false
	}
	return known.highestM, true
}

func (s *Store) outcome(at *slot) *outcome {
	if known := at.outcome.Load(); known != nil {
		return known
	}
	s.read(at) // its error is kept in the outcome
	return at.outcome.Load()
}

// Unreadable returns the errors of the tiles met so far that could not be read, sorted by latitude, then longitude.
func (s *Store) Unreadable() []error {
	var failed []TileRef
	byPath := make(map[string]error)
	for _, at := range s.slots {
		if known := at.outcome.Load(); known != nil && known.err != nil {
			failed = append(failed, at.ref)
			byPath[at.ref.Path] = known.err
		}
	}
	sortRefs(failed)
	errs := make([]error, len(failed))
	for i, ref := range failed {
		errs[i] = byPath[ref.Path]
	}
	return errs
}
