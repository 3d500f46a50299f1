package terrain

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"farstation/geodesy"
)

// folder writes files into a temporary folder.
func folder(t testing.TB, files map[string][]byte) string {
	t.Helper()
	root := t.TempDir()
	for name, data := range files {
		path := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return root
}

func storeOf(t testing.TB, opts StoreOptions, paths ...string) *Store {
	t.Helper()
	var sources []Source
	for _, path := range paths {
		sources = append(sources, Source{Path: path})
	}
	index, err := Discover(sources)
	if err != nil {
		t.Fatal(err)
	}
	return NewStore(index, opts)
}

func sampleStore(t testing.TB) *Store {
	var paths []string
	for _, name := range []string{"N55W003", "N55W004", "N49E011", "N50E011"} {
		paths = append(paths, samples+name+".hgt.zip")
	}
	return storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, paths...)
}

// sloping is a height that changes by whole metres from post to post, so that bilinear values are plain sums.
func sloping(perRow, perColumn, corner int16) func(int, int) int16 {
	return func(row, column int) int16 { return corner + perRow*int16(row) + perColumn*int16(column) }
}

func TestDiscover(t *testing.T) {
	small := made(61, flat(1))
	root := folder(t, map[string][]byte{
		"first/b/N10E020.hgt":            small,
		"first/b/N10E020.hgt.gz":         gzipOf(small),
		"first/N10E021.hgt.zip":          zipOf(zipEntry{"N10E021.hgt", small}),
		"first/S01W180.gz":               gzipOf(small),
		"first/NASADEM_HGT_s01e179.zip":  zipOf(zipEntry{"s01e179.hgt", small}),
		"first/a/n11e020.HGT":            gzipOf(small), // packed under a plain name
		"first/notes.txt":                []byte("notes"),
		"first/N12E020_EDM.tif":          []byte("a mask, not heights"),
		"first/N12E020.water.zip":        zipOf(zipEntry{"N12E020.raw", []byte("x")}),
		"first/.N13E020.hgt":             small[:100],
		"first/._N13E020.hgt":            small[:100],
		"first/N14E020.hgt/readme.txt":   nil, // a folder with a tile's name
		"first/place.hgt.zip":            zipOf(zipEntry{"N15E020.hgt", small}),
		"second/N10E020.hgt":             small,
		"second/N09E020.SRTMGL1.hgt.zip": zipOf(zipEntry{"N09E020.hgt", small}),
	})
	// Links inside the folder: to a file, and from the source to its folder.
	if err := os.Symlink(filepath.Join(root, "second", "N10E020.hgt"), filepath.Join(root, "first", "S20E020.hgt")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("first", filepath.Join(root, "link")); err != nil {
		t.Fatal(err)
	}
	index, err := Discover([]Source{
		{Path: filepath.Join(root, "link")},
		{Path: filepath.Join(root, "second"), Surface: "top"},
		{Path: filepath.Join(root, "second", "N10E020.hgt"), Datum: "egm96", Surface: "ground"},
	})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"-20 20 link/S20E020.hgt ground",
		"-1 -180 link/S01W180.gz ground",
		"-1 179 link/NASADEM_HGT_s01e179.zip ground",
		"9 20 second/N09E020.SRTMGL1.hgt.zip top",
		"10 20 link/b/N10E020.hgt ground",
		"10 21 link/N10E021.hgt.zip ground",
		"11 20 link/a/n11e020.HGT ground",
		"15 20 link/place.hgt.zip ground",
	}
	var got []string
	for _, ref := range index.Tiles() {
		relative, _ := filepath.Rel(root, ref.Path)
		got = append(got, fmt.Sprintf("%d %d %s %s", ref.LatDeg, ref.LonDeg, filepath.ToSlash(relative), ref.Source.Surface))
		if info, err := os.Stat(ref.Path); err != nil || info.Size() != ref.Bytes || ref.Source.Datum != "egm96" {
			t.Errorf("%s: %d bytes, datum %q (%v)", relative, ref.Bytes, ref.Source.Datum, err)
		}
	}
	if !slices.Equal(got, want) || index.Len() != len(want) {
		t.Errorf("found %d tiles\n%s\nwant\n%s", index.Len(), strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	for _, at := range [][2]int{{-1, 180}, {-1, -180}, {-1, 179}, {-1, -181}, {10, 20}, {10, 20 - 360}, {10, 20 + 720}} {
		if !index.Has(at[0], at[1]) {
			t.Errorf("Has(%d, %d) = false", at[0], at[1])
		}
	}
	for _, at := range [][2]int{{12, 20}, {13, 20}, {14, 20}, {-1, 178}} {
		if index.Has(at[0], at[1]) {
			t.Errorf("Has(%d, %d) = true", at[0], at[1])
		}
	}
}

func TestDiscoverRefuses(t *testing.T) {
	small := made(61, flat(1))
	root := folder(t, map[string][]byte{
		"empty/notes.txt":        nil,
		"short/N10E020.hgt":      small[:812],
		"short/N11E020.hgt":      small[:813],
		"short/N12E020.hgt":      small,
		"unplaced/heights.hgt":   small,
		"files/notes.txt":        []byte("notes"),
		"files/N10E020.hgt.gz":   gzipOf(small)[:40],
		"files/N10E020.good.hgt": small,
	})
	at := func(name string) string { return filepath.Join(root, name) }
	tests := []struct {
		what   string
		source Source
		want   []string // one for each line
	}{
		{"no such path", Source{Path: at("nowhere")}, []string{"nowhere: no such file or folder: check the path"}},
		{"folder without a tile", Source{Path: at("empty")}, []string{"empty: no tile in this folder"}},
		{"plain tiles of a wrong size", Source{Path: at("short")}, []string{"N10E020.hgt: 812 bytes, want", "N11E020.hgt: 813 bytes, want"}},
		{"tile without a position", Source{Path: at("unplaced")}, []string{"heights.hgt: the name holds no position"}},
		{"file that is no tile", Source{Path: at("files/notes.txt")}, []string{"notes.txt: the name holds no position"}},
		{"named file that is cut", Source{Path: at("files/N10E020.hgt.gz")}, []string{"N10E020.hgt.gz: cannot be expanded"}},
		{"datum", Source{Path: at("files/N10E020.good.hgt"), Datum: "mean sea"}, []string{`datum "mean sea" is not known: give egm96, egm2008 or ellipsoid`}},
		{"surface", Source{Path: at("files/N10E020.good.hgt"), Surface: "roof"}, []string{`surface "roof" is not known: give ground or top`}},
	}
	var all []Source
	lines := 0
	for _, test := range tests {
		all, lines = append(all, test.source), lines+len(test.want)
		index, err := Discover([]Source{test.source})
		if err == nil || index != nil {
			t.Errorf("%s: no error", test.what)
			continue
		}
		got := strings.Split(err.Error(), "\n")
		if len(got) != len(test.want) {
			t.Errorf("%s: error %q, want %d lines", test.what, err, len(test.want))
			continue
		}
		for i, want := range test.want {
			if !strings.HasPrefix(got[i], "terrain ") || !strings.Contains(got[i], want) {
				t.Errorf("%s: error %q, want %q", test.what, got[i], want)
			}
		}
	}
	if _, err := Discover(all); err == nil || len(strings.Split(err.Error(), "\n")) != lines {
		t.Errorf("all at once: error %q, want all %d lines", err, lines)
	}
}

func TestTileCorners(t *testing.T) {
	root := folder(t, map[string][]byte{
		"N10E020.hgt": made(61, flat(1)), "N10W021.hgt": made(61, flat(2)), "S11E020.hgt": made(61, flat(3)),
		"S11W021.hgt": made(61, flat(4)), "S01E179.hgt": made(61, flat(5)), "S01W180.hgt": made(61, flat(6)),
	})
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 20}, root)
	tests := []struct {
		latDeg, lonDeg int
		want           int16
	}{
		{10, 20, 1}, {10, -21, 2}, {-11, 20, 3}, {-11, -21, 4}, {-1, 179, 5}, {-1, -181, 5}, {-1, -180, 6}, {-1, 180, 6}, {10, 339, 2}, {10, -340, 1},
	}
	for _, test := range tests {
		tile, err := s.Tile(test.latDeg, test.lonDeg)
		if err != nil || tile == nil || tile.Posts[0] != test.want {
			t.Errorf("Tile(%d, %d) = %v, %v, want the tile of %d m", test.latDeg, test.lonDeg, tile, err, test.want)
		}
	}
	if tile, err := s.Tile(11, 20); tile != nil || err != nil {
		t.Errorf("Tile(11, 20) = %v, %v, want none", tile, err)
	}
}

func TestUnreadableTile(t *testing.T) {
	small := made(61, sloping(1, 0, 100))
	root := folder(t, map[string][]byte{
		"S40E001.hgt":    small, // far from land but for the tile itself
		"S40E002.hgt.gz": gzipOf(small)[:50],
		"S41E002.hgt.gz": []byte("nothing"),
	})
	s := storeOf(t, StoreOptions{}, root)
	if got := s.Unreadable(); len(got) != 0 {
		t.Errorf("Unreadable before any tile was asked for: %v", got)
	}
	tests := []struct {
		latDeg, lonDeg int
		want           CellState
		highestM       float64
		highestOK      bool
	}{
		{-40, 1, HasTile, 160, true}, {-40, 2, Gap, 0, false}, {-41, 2, Gap, 0, false}, {-41, 1, Sea, 0, false},
	}
	for _, test := range tests {
		if got := s.State(test.latDeg, test.lonDeg); got != test.want {
			t.Errorf("State(%d, %d) = %v, want %v", test.latDeg, test.lonDeg, got, test.want)
		}
		if tile, err := s.Tile(test.latDeg, test.lonDeg); err != nil || (tile != nil) != (test.want == HasTile) {
			t.Errorf("Tile(%d, %d) = %v, %v", test.latDeg, test.lonDeg, tile, err)
		}
		if m, ok := s.HighestM(test.latDeg, test.lonDeg); m != test.highestM || ok != test.highestOK {
			t.Errorf("HighestM(%d, %d) = %v, %v, want %v, %v", test.latDeg, test.lonDeg, m, ok, test.highestM, test.highestOK)
		}
	}
	failed := s.Unreadable()
	if len(failed) != 2 || !strings.Contains(failed[0].Error(), "S41E002.hgt.gz: 7 bytes") || !strings.Contains(failed[1].Error(), "S40E002.hgt.gz: cannot be expanded") {
		t.Errorf("Unreadable() = %v, want both packed tiles, southern first", failed)
	}

	strict := storeOf(t, StoreOptions{Strict: true}, root)
	for range 2 {
		if tile, err := strict.Tile(-40, 2); tile != nil || err == nil || !strings.Contains(err.Error(), "S40E002.hgt.gz: cannot be expanded") {
			t.Errorf("strict Tile(-40, 2) = %v, %v, want the error", tile, err)
		}
	}
	if tile, err := strict.Tile(-40, 1); tile == nil || err != nil {
		t.Errorf("strict Tile(-40, 1) = %v, %v", tile, err)
	}
}

func TestTileThatVanishes(t *testing.T) {
	root := folder(t, map[string][]byte{"N10E020.hgt": made(61, flat(1))})
	s := storeOf(t, StoreOptions{}, root)
	if err := os.Remove(filepath.Join(root, "N10E020.hgt")); err != nil {
		t.Fatal(err)
	}
	if s.State(10, 20) != Gap || len(s.Unreadable()) != 1 || !errors.Is(s.Unreadable()[0], fs.ErrNotExist) {
		t.Errorf("State = %v, Unreadable = %v, want a gap for a file that is gone", s.State(10, 20), s.Unreadable())
	}
}

func TestStateOfCellsWithoutTile(t *testing.T) {
	root := folder(t, map[string][]byte{"N10E020.hgt": made(61, flat(1))})
	s := storeOf(t, StoreOptions{LandHint: func(latDeg, lonDeg int) bool { return latDeg == 56 && lonDeg == -20 }}, root)
	tests := []struct {
		what           string
		latDeg, lonDeg int
		want           CellState
	}{
		{"middle of the Sahara", 23, 5, Gap},
		{"open Atlantic", 30, -40, Sea},
		{"open Atlantic with a hint", 56, -20, Gap},
		{"the same, another longitude", 56, 340, Gap},
		{"beyond the pole", 90, 0, Sea},
	}
	for _, test := range tests {
		if got := s.State(test.latDeg, test.lonDeg); got != test.want {
			t.Errorf("%s: State(%d, %d) = %v, want %v", test.what, test.latDeg, test.lonDeg, got, test.want)
		}
	}
}

// madeTileBytes is the memory of a tile of 61 × 61 whole-metre posts: the posts, and the maxima of 15², 8², 4², 2² and 1 blocks.
const madeTileBytes = 2*61*61 + 2*(225+64+16+4+1)

func TestStoreDropsLeastRecentlyUsed(t *testing.T) {
	const n = 61
	files := make(map[string][]byte)
	for i := range 4 {
		files[fmt.Sprintf("N10E02%d.hgt", i)] = made(n, flat(int16(i)))
	}
	s := storeOf(t, StoreOptions{MemoryBytes: 3*madeTileBytes + 1}, folder(t, files))
	reads := func(lonDeg int) bool {
		before := s.loads.Load()
		if tile, err := s.Tile(10, lonDeg); err != nil || tile.Posts[7] != int16(lonDeg-20) {
			t.Errorf("Tile(10, %d) = %v, %v", lonDeg, tile, err)
		}
		return s.loads.Load() != before
	}
	for i, step := range []struct {
		lonDeg int
		read   bool
	}{{20, true}, {21, true}, {22, true}, {20, false}, {23, true}, {20, false}, {22, false}, {21, true}, {23, true}, {21, false}, {20, true}, {22, true}, {21, false}, {23, true}} {
		if got := reads(step.lonDeg); got != step.read {
			t.Errorf("step %d, tile %d: read %v, want %v", i, step.lonDeg, got, step.read)
		}
		if s.heldBytes > s.opts.MemoryBytes || s.heldBytes != int64(len(s.held))*madeTileBytes {
			t.Errorf("step %d: %d bytes in %d tiles held, bound %d", i, s.heldBytes, len(s.held), s.opts.MemoryBytes)
		}
	}
	// What was learnt of a tile outlives it.
	before := s.loads.Load()
	for i := range 4 {
		if m, ok := s.HighestM(10, 20+i); m != float64(i) || !ok || s.State(10, 20+i) != HasTile {
			t.Errorf("HighestM(10, %d) = %v, %v", 20+i, m, ok)
		}
	}
	if s.loads.Load() != before {
		t.Error("HighestM or State read a tile again")
	}
}

func TestTileIsReadOnceHoweverManyAsk(t *testing.T) {
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, samples+"N55W003.hgt.zip")
	var wait sync.WaitGroup
	tiles := make([]*Tile, 16)
	for i := range tiles {
		wait.Go(func() { tiles[i], _ = s.Tile(55, -3) })
	}
	wait.Wait()
	for _, tile := range tiles {
		if tile == nil || tile != tiles[0] {
			t.Fatalf("callers got different tiles: %p, %p", tile, tiles[0])
		}
	}
	if got := s.loads.Load(); got != 1 {
		t.Errorf("read %d times", got)
	}
}

// Many goroutines on a store that holds one tile at a time must see what a store sees that holds all.
func TestStoreConcurrentUnderTinyBound(t *testing.T) {
	files := map[string][]byte{"N12E020.hgt.gz": []byte("nothing")}
	for i := range 6 {
		files[fmt.Sprintf("N1%dE02%d.hgt", i%2, i/2)] = made(61, sloping(2, 1, int16(100*i)))
	}
	root := folder(t, files)
	roomy := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, root)
	tiny := storeOf(t, StoreOptions{MemoryBytes: 1}, root)
	var wait sync.WaitGroup
	for worker := range 8 {
		wait.Go(func() {
			random := rand.New(rand.NewPCG(uint64(worker), 1))
			for range 300 {
				p := geodesy.LatLon{LatDeg: 9.9 + 2.3*random.Float64(), LonDeg: 19.9 + 3.2*random.Float64()}
				got, gotOK := tiny.HeightM(p)
				want, wantOK := roomy.HeightM(p)
				if got != want || gotOK != wantOK {
					t.Errorf("HeightM(%v) = %v, %v, with more memory %v, %v", p, got, gotOK, want, wantOK)
				}
				cellLatDeg, cellLonDeg := int(p.LatDeg), int(p.LonDeg)
				if tiny.State(cellLatDeg, cellLonDeg) != roomy.State(cellLatDeg, cellLonDeg) {
					t.Errorf("State(%d, %d) differs", cellLatDeg, cellLonDeg)
				}
				tiny.Unreadable()
			}
		})
	}
	wait.Wait()
	if len(tiny.held) != 1 || tiny.heldBytes != madeTileBytes {
		t.Errorf("%d tiles of %d bytes held at the end, want one", len(tiny.held), tiny.heldBytes)
	}
	if got := len(tiny.Unreadable()); got != 1 {
		t.Errorf("%d unreadable tiles, want 1", got)
	}
	if got := tiny.loads.Load(); got <= 6 {
		t.Errorf("%d reads of 6 tiles: the bound was not felt", got)
	}
}

func BenchmarkTileHit(b *testing.B) {
	s := sampleStore(b)
	if _, err := s.Tile(55, -3); err != nil {
		b.Fatal(err)
	}
	b.Run("one", func(b *testing.B) {
		for b.Loop() {
			s.Tile(55, -3)
		}
	})
	b.Run("parallel", func(b *testing.B) {
		b.RunParallel(func(pb *testing.PB) {
			for pb.Next() {
				s.Tile(55, -3)
			}
		})
	})
}
