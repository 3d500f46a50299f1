package terrain

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
)

// cachedStore is a store of tiles with a cache in a folder.
func cachedStore(t testing.TB, cache string, memory int64, sources ...Source) *Store {
	t.Helper()
	index, err := Discover(sources)
	if err != nil {
		t.Fatal(err)
	}
	c, err := OpenCache(cache)
	if err != nil {
		t.Fatal(err)
	}
	return NewStore(index, StoreOptions{MemoryBytes: memory, Cache: c})
}

// sameTile tells how two tiles differ, NaN being NaN; "" for not at all.
func sameTile(a, b *Tile) string {
	if a == nil || b == nil {
		if a != b {
			return fmt.Sprintf("%v and %v", a != nil, b != nil)
		}
		return ""
	}
	bits := func(t *Tile) []uint32 {
		var out []uint32
		for _, h := range t.Fine {
			out = append(out, math.Float32bits(h))
		}
		return out
	}
	if (a.Posts == nil) != (b.Posts == nil) || !slices.Equal(a.Posts, b.Posts) || !slices.Equal(bits(a), bits(b)) {
		return "other heights"
	}
	if len(a.maxima.levels) != len(b.maxima.levels) {
		return "other levels"
	}
	for i := range a.maxima.levels {
		x, y := &a.maxima.levels[i], &b.maxima.levels[i]
		if x.columns != y.columns || (x.missing == nil) != (y.missing == nil) || !slices.Equal(x.highest, y.highest) || !slices.Equal(x.missing, y.missing) {
			return fmt.Sprintf("level %d is another", i)
		}
	}
	x, y := *a, *b
	x.Posts, x.Fine, x.maxima, y.Posts, y.Fine, y.maxima = nil, nil, nil, nil, nil, nil
	if !reflect.DeepEqual(x, y) {
		return fmt.Sprintf("%+v and %+v", x, y)
	}
	return ""
}

// Every kind of tile comes from the cache as it is made of its files: whole metres and fine ones, voids, several files of one cell.
func TestCacheKeepsTiles(t *testing.T) {
	sources := []Source{{Path: samples + "N55W003.hgt.zip"}, {Path: samples + "N48W125.hgt.zip"}, {Path: samples + "N49E011.hgt.zip", Surface: SurfaceTop}}
	for _, name := range []string{"N46E008.tif.gz", "N49W123.tif.gz", "N49W124.tif.gz"} {
		sources = append(sources, Source{Path: testdata + name})
	}
	sources = append(sources, Source{Path: testdata + "S29W072.hgt.zip", Datum: DatumEllipsoid})
	overlaid := folder(t, map[string][]byte{
		"N46E008.hgt": made(1201, func(row, column int) int16 { // voids, filled from the raster of that cell
			if (row/100+column/100)%3 == 0 {
				return Void
			}
			return int16(row)
		}),
		"N10E020.hgt": made(61, flat(Void)), "N12E020.hgt": made(61, sloping(3, 5, 7)),
	})
	sources = append([]Source{{Path: overlaid}}, sources...)
	plain := cachedStore(t, t.TempDir(), 1<<30, sources...)
	plain.opts.Cache = nil
	dir := filepath.Join(t.TempDir(), "cache")
	fine, voids := 0, 0
	for round, want := range []CacheUse{{Added: plain.index.Len()}, {Found: plain.index.Len()}} {
		cached := cachedStore(t, dir, 1<<30, sources...)
		for _, c := range plain.index.cells {
			a, errA := plain.Tile(c.LatDeg, c.LonDeg)
			b, errB := cached.Tile(c.LatDeg, c.LonDeg)
			if errA != nil || errB != nil {
				t.Fatal(errA, errB)
			}
			if what := sameTile(a, b); what != "" {
				t.Errorf("round %d, cell %d, %d: %s", round, c.LatDeg, c.LonDeg, what)
			}
			if a != nil {
				if a.Fine != nil {
					fine++
				}
				if a.maxima.levels[0].missing != nil {
					voids++
				}
			}
			x, okX, _ := plain.Heights(c.LatDeg, c.LonDeg)
			if y, okY, _ := cached.Heights(c.LatDeg, c.LonDeg); x != y || okX != okY {
				t.Errorf("cell %d, %d: heights %v, %v and %v, %v", c.LatDeg, c.LonDeg, x, okX, y, okY)
			}
		}
		if plain.Refused() != cached.Refused() || len(cached.Unreadable()) > 0 {
			t.Errorf("%d and %d heights refused, %v", plain.Refused(), cached.Refused(), cached.Unreadable())
		}
		use := *cached.Reads().Cache
		if use.Err != nil || use.Found != want.Found || use.Added != want.Added {
			t.Errorf("round %d: %+v, want %+v", round, use, want)
		}
	}
	if fine == 0 || voids == 0 {
		t.Errorf("%d tiles of fine heights and %d with voids", fine, voids)
	}
}

// A tile that was dropped is not decoded again.
func TestCacheSparesDecoding(t *testing.T) {
	const posts = 301
	files := map[string][]byte{}
	for i := range 4 {
		files[fmt.Sprintf("N10E02%d.hgt", i)] = made(posts, sloping(1, 2, int16(i)))
	}
	sources := []Source{{Path: folder(t, files)}}
	for _, memory := range []int64{1, 2.5 * 2 * posts * posts, 1 << 30} {
		plain, cached := cachedStore(t, t.TempDir(), memory, sources...), cachedStore(t, t.TempDir(), memory, sources...)
		plain.opts.Cache = nil
		random := rand.New(rand.NewPCG(1, uint64(memory)))
		for range 60 {
			c := plain.index.cells[random.IntN(plain.index.Len())]
			a, errA := plain.Tile(c.LatDeg, c.LonDeg)
			b, errB := cached.Tile(c.LatDeg, c.LonDeg)
			if what := sameTile(a, b); errA != nil || errB != nil || what != "" {
				t.Fatal(errA, errB, what)
			}
		}
		if reads := cached.Reads(); reads.Decoded != 4 || reads.Cells != 4 || reads.Cache.Added != 4 {
			t.Errorf("%d bytes: %+v, %+v", memory, reads, reads.Cache)
		}
		if reads := plain.Reads(); memory < 1<<30 && reads.Decoded < 20 {
			t.Errorf("%d bytes, no cache: %+v: the memory was not short", memory, reads)
		}
		if cached.heldBytes > max(memory, 2*posts*posts*9/8) {
			t.Errorf("%d bytes held of %d", cached.heldBytes, memory)
		}
	}
}

// Whatever a tile is made of changes its key; what it is not made of does not.
func TestCacheKey(t *testing.T) {
	files := func() map[string][]byte {
		return map[string][]byte{
			"N10E020.hgt": made(61, sloping(1, 2, 3)), "N11E020.hgt": made(61, flat(9)), "N30E020.hgt": made(61, flat(1)),
			"a.tif": madeBy(40, 10, 41, 11, 100, 100, 0.5, scattered(100, 100, 0.5)).bytes(), "b.tif": madeBy(41, 10, 42, 11, 100, 100, 0.5, scattered(100, 100, 0.5)).bytes(),
		}
	}
	keys := func(files map[string][]byte, source Source, land func(int, int) bool) (hgt, raster string) {
		t.Helper()
		source.Path = folder(t, files)
		index, err := Discover([]Source{source})
		if err != nil {
			t.Fatal(err)
		}
		a, errA := index.cacheKey(cellOf(10, 20), land)
		b, errB := index.cacheKey(cellOf(10, 40), land)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		return fmt.Sprintf("%x", a), fmt.Sprintf("%x", b)
	}
	noLand := func(int, int) bool { return false }
	hgt, raster := keys(files(), Source{}, noLand)
	for _, test := range []struct {
		what                string
		change              func(map[string][]byte)
		source              Source
		land                func(int, int) bool
		hgtSame, rasterSame bool
	}{
		{"another folder", nil, Source{}, noLand, true, true},
		{"a file far away", func(f map[string][]byte) { f["N30E020.hgt"] = made(61, flat(2)) }, Source{}, noLand, true, true},
		{"the next .hgt", func(f map[string][]byte) { f["N11E020.hgt"] = made(61, flat(8)) }, Source{}, noLand, true, true},
		{"its own .hgt", func(f map[string][]byte) { f["N10E020.hgt"] = made(61, sloping(1, 2, 4)) }, Source{}, noLand, false, true},
		{"a second file of its cell", func(f map[string][]byte) { f["n10e020.hgt.gz"] = gzipOf(made(61, flat(3))) }, Source{}, noLand, false, true},
		{"the next raster", func(f map[string][]byte) { f["b.tif"] = madeBy(41, 10, 42, 11, 100, 100, 0.5, flatM(4)).bytes() }, Source{}, noLand, true, false},
		{"no next raster", func(f map[string][]byte) { delete(f, "b.tif") }, Source{}, noLand, true, false},
		{"another name", func(f map[string][]byte) { f["c.tif"] = f["a.tif"]; delete(f, "a.tif") }, Source{}, noLand, true, false},
		{"tree tops", nil, Source{Surface: SurfaceTop}, noLand, false, false},
		{"over the ellipsoid", nil, Source{Datum: DatumEllipsoid}, noLand, false, false},
		{"land beside it", nil, Source{}, func(lat, lon int) bool { return lat == 11 && (lon == 40 || lon == 21) }, true, false},
		{"a licence", nil, Source{Licence: "of the county"}, noLand, true, true},
	} {
		changed := files()
		if test.change != nil {
			test.change(changed)
		}
		h, r := keys(changed, test.source, test.land)
		if (h == hgt) != test.hgtSame || (r == raster) != test.rasterSame {
			t.Errorf("%s: the key of the .hgt is the same: %v, that of the raster: %v", test.what, h == hgt, r == raster)
		}
	}
}

func flatM(h float64) func(float64, float64) float64 {
	return func(float64, float64) float64 { return h }
}

// A cache that is deleted, spoilt, read-only or full changes no tile.
func TestCacheFails(t *testing.T) {
	source := Source{Path: folder(t, map[string][]byte{"N10E020.hgt": made(61, sloping(1, 2, 3)), "N11E020.hgt": made(61, flat(9)), "N12E020.hgt": made(61, flat(12))})}
	tiles := func(s *Store) {
		t.Helper()
		for lat, want := range map[int]float64{10: 3, 11: 9, 12: 12} {
			tile, err := s.Tile(lat, 20)
			if err != nil {
				t.Fatal(err)
			}
			if h, _ := tile.PostM(0); h != want {
				t.Errorf("cell %d: %v m instead of %v", lat, h, want)
			}
		}
	}
	dir := filepath.Join(t.TempDir(), "cache")
	keptFiles := func() []string {
		found, err := filepath.Glob(filepath.Join(dir, "*", "*.kept"))
		if err != nil {
			t.Fatal(err)
		}
		return found
	}
	tiles(cachedStore(t, dir, 1, source))
	if len(keptFiles()) != 3 {
		t.Fatalf("%v", keptFiles())
	}
	for _, path := range keptFiles() {
		content, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		content[len(content)/2] ^= 1
		if err := errors.Join(os.Remove(path), os.WriteFile(path, content, 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	spoilt := cachedStore(t, dir, 1, source)
	tiles(spoilt)
	if use := spoilt.Reads().Cache; use.Found != 0 || use.Added != 3 || use.Err != nil {
		t.Errorf("spoilt: %+v", use)
	}

	deleted := cachedStore(t, dir, 1, source)
	if _, err := deleted.Tile(10, 20); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	tiles(deleted)
	tiles(deleted)
	if use := deleted.Reads().Cache; use.Found != 1 || use.Added != 0 || use.Err == nil || !strings.Contains(use.Err.Error(), "no such file or directory") {
		t.Errorf("deleted: %+v", use)
	}

	// A file stands where the folder should.
	if err := os.WriteFile(dir, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenCache(dir); err == nil || !strings.Contains(err.Error(), dir) {
		t.Errorf("a file instead of a folder: %v", err)
	}
}

// A tile whose file changed after it was found is not kept: its content may be another than that of its key.
func TestCacheOfChangedFile(t *testing.T) {
	root := folder(t, map[string][]byte{"N10E020.hgt": made(61, sloping(1, 2, 3))})
	store := cachedStore(t, t.TempDir(), 1<<20, Source{Path: root})
	if err := os.WriteFile(filepath.Join(root, "N10E020.hgt"), made(121, flat(3)), 0o644); err != nil {
		t.Fatal(err)
	}
	if tile, err := store.Tile(10, 20); err != nil || tile == nil {
		t.Fatal(tile, err)
	}
	if use := store.Reads().Cache; use.Added != 0 {
		t.Errorf("%+v", use)
	}
}

// Two stores that fill one cache at once, each with many readers and hardly any memory.
func TestCacheAtOnce(t *testing.T) {
	files := map[string][]byte{}
	for i := range 8 {
		files[fmt.Sprintf("N10E02%d.hgt", i)] = made(121, flat(int16(i)))
	}
	source := Source{Path: folder(t, files)}
	dir := t.TempDir()
	var readers sync.WaitGroup
	for range 2 {
		store := cachedStore(t, dir, 100_000, source)
		for worker := range 4 {
			readers.Go(func() {
				random := rand.New(rand.NewPCG(uint64(worker), 3))
				for range 400 {
					i := random.IntN(8)
					tile, err := store.Tile(10, 20+i)
					if err != nil {
						t.Error(err)
						return
					}
					for _, index := range []int{0, random.IntN(tile.Len()), tile.Len() - 1} {
						if h, _ := tile.PostM(index); h != float64(i) {
							t.Errorf("tile %d: %v m", i, h)
						}
					}
				}
			})
		}
	}
	readers.Wait()
}

// What is no kept tile gives an error and no panic. The sum of the file is not there to help.
func FuzzDecodeKept(f *testing.F) {
	for _, data := range [][]byte{made(61, sloping(1, 2, 3)), made(61, func(row, column int) int16 { return []int16{5, Void}[row&column&1] })} {
		tile, err := DecodeHGT("N10E020.hgt", data)
		if err != nil {
			f.Fatal(err)
		}
		tile.maxima = newMaxima(tile)
		f.Add(bytes.Join(encodeKept(tile), nil))
		tile.Fine, tile.Posts = make([]float32, tile.Len()), nil
		f.Add(bytes.Join(encodeKept(tile), nil))
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		content = bytes.Clone(content) // to an address that is a multiple of 8
		tile, err := decodeKept(content)
		if err != nil {
			return
		}
		if again := bytes.Join(encodeKept(tile), nil); len(again) > len(content)+1000 {
			t.Errorf("%d bytes became %d", len(content), len(again))
		}
		for level := range topLevel(max(tile.Rows.N, tile.Cols.N)-1) + 1 {
			tile.block(level, (tile.Rows.N-2)>>level, (tile.Cols.N-2)>>level)
		}
	})
}
