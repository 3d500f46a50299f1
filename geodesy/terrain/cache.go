package terrain

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"unsafe"

	"farstation/geodesy/terrain/internal/kept"
)

// Cache keeps decoded tiles with their maxima in a folder, by what they were made of: the content of the files and what was said of them. A
// tile that is found there is not decoded, and one that was dropped for want of memory is not read as a whole again but only where it is looked
// at. It is safe for concurrent use, by several programs too; the folder may be deleted at any time.
type Cache struct {
	folder *kept.Folder
	path   string

	found, added atomic.Int64
	mu           sync.Mutex
	err          error // the first that a tile could not be kept for
}

// OpenCache makes the folder where there is none. The error says what is wrong with it.
func OpenCache(path string) (*Cache, error) {
	folder, err := kept.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot keep terrain in %s (%w): name a folder that can be written", path, cause(err))
	}
	return &Cache{folder: folder, path: path}, nil
}

// CacheUse says what came of a cache.
type CacheUse struct {
	// Found counts the tiles that were there, Added those that were put there.
	Found, Added int
	// Err is why a tile could not be kept, after which no more were; nil where all could.
	Err error
}

// Use returns what came of the cache up to now.
func (c *Cache) Use() CacheUse {
	c.mu.Lock()
	defer c.mu.Unlock()
	return CacheUse{int(c.found.Load()), int(c.added.Load()), c.err}
}

// ProgramSHA256 is the SHA-256 of the program's own file in hexadecimal digits, by which a cache tells what another program kept.
func ProgramSHA256() (string, error) { return kept.ProgramSHA256() }

// get returns the tile of a key, nil where there is none.
func (c *Cache) get(key kept.Key) *keptTile {
	file := c.folder.Get(key)
	if file == nil {
		return nil
	}
	tile, err := decodeKept(file.Content())
	if err != nil {
		file.Close()
		return nil
	}
	return &keptTile{tile, file}
}

// put keeps a tile and returns it as it is kept, nil where it cannot be. The tile is not wrong for that.
func (c *Cache) put(key kept.Key, tile *Tile) *keptTile {
	if c.Use().Err != nil {
		return nil // a full disk does not get better by trying for every tile
	}
	if err := c.folder.Put(key, encodeKept(tile)...); err != nil {
		c.mu.Lock()
		defer c.mu.Unlock()
		if c.err == nil {
			c.err = fmt.Errorf("terrain cannot be kept in %s (%w): make room there or name another folder", c.path, cause(err))
		}
		return nil
	}
	c.added.Add(1)
	return c.get(key)
}

// keptTile is a tile whose posts and maxima are those of the file.
type keptTile struct {
	*Tile
	file *kept.File
}

// keptHead is what a kept tile holds besides its posts and maxima.
type keptHead struct {
	Name           string
	LatDeg, LonDeg int
	Rows, Cols     Lattice
	Surface        string
	SDM            float64
	Refused        int
	// Fine tells that heights are not whole metres, Voids that the levels have missing cells.
	Fine, Voids bool
}

// encodeKept returns the parts of a tile in a file: the length of the head, the head, the levels of maxima from the finest, the posts; each of
// them filled up to a multiple of 8 bytes, numbers in the order of this machine.
func encodeKept(t *Tile) [][]byte {
	m := t.maxima
	head, err := json.Marshal(keptHead{t.Name, t.LatDeg, t.LonDeg, t.Rows, t.Cols, t.Surface, t.SDM, t.Refused, t.Posts == nil, m.levels[0].missing != nil})
	if err != nil {
		panic(err) // no number in it is infinite
	}
	var parts [][]byte
	add := func(part []byte) {
		parts = append(parts, part)
		if over := len(part) % 8; over > 0 {
			parts = append(parts, make([]byte, 8-over))
		}
	}
	add(binary.NativeEndian.AppendUint64(nil, uint64(len(head))))
	add(head)
	for i := range m.levels {
		add(asBytes(m.levels[i].highest))
		add(asBytes(m.levels[i].missing))
	}
	if t.Posts != nil {
		add(asBytes(t.Posts))
	} else {
		add(asBytes(t.Fine))
	}
	return parts
}

var errNoKeptTile = errors.New("is no kept tile")

// decodeKept returns the tile in a file, whose posts and maxima are the content's own memory.
func decodeKept(content []byte) (*Tile, error) {
	whole := true
	take := func(n int) []byte {
		padded := (n + 7) / 8 * 8
		if !whole || n < 0 || padded < n || padded > len(content) {
			whole = false
			return nil
		}
		part := content[:n:n]
		content = content[padded:]
		return part
	}
	length := take(8)
	if !whole {
		return nil, errNoKeptTile
	}
	text := take(int(min(binary.NativeEndian.Uint64(length), math.MaxInt32)))
	var head keptHead
	if !whole || json.Unmarshal(text, &head) != nil || !head.Rows.valid() || !head.Cols.valid() {
		return nil, errNoKeptTile
	}
	t := &Tile{
		Name: head.Name, LatDeg: head.LatDeg, LonDeg: head.LonDeg, Rows: head.Rows, Cols: head.Cols, Surface: head.Surface, SDM: head.SDM, Refused: head.Refused, maxima: &maxima{},
	}
	rows, columns := blocks(t.Rows.N-1, leastLevel), blocks(t.Cols.N-1, leastLevel)
	for {
		level := maximaLevel{columns: columns, highest: asNumbers[int16](take(2 * rows * columns))}
		if head.Voids {
			level.missing = asNumbers[missingCells](take(rows * columns))
		}
		t.maxima.levels = append(t.maxima.levels, level)
		if columns <= 1 && rows <= 1 {
			break
		}
		rows, columns = (rows+1)/2, (columns+1)/2
	}
	if head.Fine {
		t.Fine = asNumbers[float32](take(4 * t.Len()))
	} else {
		t.Posts = asNumbers[int16](take(2 * t.Len()))
	}
	if !whole || len(content) > 0 {
		return nil, errNoKeptTile
	}
	return t, nil
}

// valid tells whether a tile may have such lines.
func (l Lattice) valid() bool {
	const most = 1 << 14 // posts to a degree are bounded long before
	return l.N >= 2 && l.N <= most && l.PerDeg > 0 && l.PerDeg < most && l.Shift >= 0 && l.Shift < 1
}

type number interface {
	int16 | float32 | missingCells
}

func asBytes[T number](numbers []T) []byte {
	return unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(numbers))), len(numbers)*int(unsafe.Sizeof(*new(T))))
}

// asNumbers looks at bytes whose address is a multiple of 8 as numbers.
func asNumbers[T number](bytes []byte) []T {
	return unsafe.Slice((*T)(unsafe.Pointer(unsafe.SliceData(bytes))), len(bytes)/int(unsafe.Sizeof(*new(T))))
}

// cacheKey stands for all that a cell's tile is made of. A single .hgt is made of itself alone; any other tile may take the posts of its seams
// from the cells around it.
func (x *Index) cacheKey(at cell, land func(latDeg, lonDeg int) bool) (kept.Key, error) {
	h := sha256.New()
	write := func(format string, args ...any) { fmt.Fprintf(h, format+"\n", args...) }
	own := x.cells[x.at[at]].Files
	cells := []cell{at}
	if first := &x.files[own[0]]; len(own) > 1 || first.Format != FormatHGT || first.shift != nil {
		for dLat := -1; dLat <= 1; dLat++ {
			for dLon := -1; dLon <= 1; dLon++ {
				if c := cellOf(int(at.latDeg)+dLat, int(at.lonDeg)+dLon); c != at {
					cells = append(cells, c)
				}
			}
		}
	}
	write("%d %d", at.latDeg, at.lonDeg)
	var files []int
	for _, c := range cells {
		i, has := x.at[c]
		if has {
			files = append(files, x.cells[i].Files...)
		}
		write("cell %v: terrain %v, land %v", c, has, c.latDeg >= -90 && c.latDeg <= 89 && land(int(c.latDeg), int(c.lonDeg)))
	}
	// Files are asked in their order, those of one source together.
	slices.Sort(files)
	files = slices.Compact(files)
	for _, c := range cells {
		if i, has := x.at[c]; has {
			for _, file := range x.cells[i].Files {
				write("cell %v: file %d", c, slices.Index(files, file))
			}
		}
	}
	for i, file := range files {
		f := &x.files[file]
		sum, err := x.SHA256(file)
		if err != nil {
			return kept.Key{}, err
		}
		grid := ""
		if f.Source.Geoid != "" {
			if grid, err = x.sums.of(f.Source.Geoid); err != nil {
				return kept.Key{}, err
			}
		}
		source := slices.IndexFunc(files, func(other int) bool { return x.files[other].Source == f.Source })
		write("file %d: %s %q %s, source %d, %q over %q by %q, %v m", i, f.Format, filepath.Base(f.Path), sum, source, f.Source.Surface, f.Source.Datum, grid, f.SDM)
	}
	for _, file := range files {
		// What was hashed is what is decoded after it only if it stays what was found.
		if err := x.files[file].CheckUnchanged(); err != nil {
			return kept.Key{}, err
		}
	}
	return kept.Key(h.Sum(nil)), nil
}

// unchanged tells whether a cell's files and those around it are still what was found.
func (x *Index) unchanged(at cell) bool {
	for dLat := -1; dLat <= 1; dLat++ {
		for dLon := -1; dLon <= 1; dLon++ {
			if i, ok := x.at[cellOf(int(at.latDeg)+dLat, int(at.lonDeg)+dLon)]; ok {
				for _, file := range x.cells[i].Files {
					if x.files[file].CheckUnchanged() != nil {
						return false
					}
				}
			}
		}
	}
	return true
}

// sums are the SHA-256 of files, each read once.
type sums struct {
	mu   sync.Mutex
	once map[string]func() (string, error)
}

func (s *sums) of(path string) (string, error) {
	s.mu.Lock()
	once := s.once[path]
	if once == nil {
		if s.once == nil {
			s.once = map[string]func() (string, error){}
		}
		once = sync.OnceValues(func() (string, error) { return kept.SHA256(path) })
		s.once[path] = once
	}
	s.mu.Unlock()
	return once()
}

// SHA256 returns that of the content of a file, by its place in Files, in hexadecimal digits. It is read at the first call alone.
func (x *Index) SHA256(file int) (string, error) { return x.sums.of(x.files[file].Path) }
