package terrain

import (
	"math"
	"path/filepath"
	"testing"

	"farstation/geodesy"
)

// Voids of a ground set filled from one of tree tops.
func TestFilledFromTops(t *testing.T) {
	const lat, lon = 46, 8
	holed := madeBy(lon, lat, lon+1, lat+1, 60, 60, 0.5, func(latDeg, lonDeg float64) float64 {
		if latDeg > 46.4 && latDeg < 46.6 {
			return math.NaN()
		}
		return 500
	})
	holed.area = true
	tops := madeBy(lon, lat, lon+1, lat+1, 60, 60, 0.5, func(latDeg, lonDeg float64) float64 { return 1500 })
	tops.area = true
	bad := madeBy(lon, lat, lon+1, lat+1, 60, 60, 0.5, func(latDeg, lonDeg float64) float64 { return 9500 })
	bad.area = true
	root := folder(t, map[string][]byte{"a/a.tif": holed.bytes(), "b/b.tif": tops.bytes(), "c/c.tif": bad.bytes()})
	index, err := Discover([]Source{{Path: filepath.Join(root, "a")}, {Path: filepath.Join(root, "b"), Surface: SurfaceTop}})
	if err != nil {
		t.Fatal(err)
	}
	s := NewStore(index, StoreOptions{MemoryBytes: 1 << 30})
	w := NewWalker(s, egm96(t), 0)
	l := between(t, w, geodesy.LatLon{LatDeg: 46.1, LonDeg: 8.5}, geodesy.LatLon{LatDeg: 46.9, LonDeg: 8.5}, 900, 900)
	c, err := w.Critical(l, FillHigh, 200, math.Inf(1))
	if err != nil {
		t.Fatal(err)
	}
	if c.GroundM != 1500 || !c.OnTops {
		t.Errorf("grazing ground %v m decided by tree tops, OnTops %v", c.GroundM, c.OnTops)
	}
	s = storeOf(t, StoreOptions{}, filepath.Join(root, "a"), filepath.Join(root, "c"))
	tile, _ := s.Tile(lat, lon)
	if tile.Refused == 0 {
		t.Errorf("%d refused, although the filling file holds only 9500 m and left the hole void", tile.Refused)
	}
}

// A main set of small spread filled from one of greater spread.
func TestFilledSpread(t *testing.T) {
	holed := madeBy(8, 46, 9, 47, 60, 60, 0.5, func(latDeg, lonDeg float64) float64 {
		if latDeg > 46.4 && latDeg < 46.6 {
			return math.NaN()
		}
		return 500
	})
	holed.area = true
	full := madeBy(8, 46, 9, 47, 60, 60, 0.5, func(latDeg, lonDeg float64) float64 { return 1500 })
	full.area = true
	root := folder(t, map[string][]byte{"a/Copernicus_DSM_COG_x.tif": holed.bytes(), "b/b.tif": full.bytes()})
	s := storeOf(t, StoreOptions{}, filepath.Join(root, "a"), filepath.Join(root, "b"))
	tile, _ := s.Tile(46, 8)
	t.Logf("%s SDM %v (filled from one of %v)", tile.Name, tile.SDM, flatSDM)
	if orFlat(tile.SDM) < flatSDM {
		t.Errorf("SDM %v", tile.SDM)
	}
}

// A file named first that holds a strip of a cell must not take the lattice of the rest: ground away from it is that of the full set to the bit,
// ground within it its own.
func TestPartialFileLeavesTheRest(t *testing.T) {
	ripple := func(latDeg, lonDeg float64) float64 {
		return math.Round(1000 + 400*math.Sin(latDeg*900)*math.Cos(lonDeg*700))
	}
	full := madeBy(8, 46, 9, 47, 240, 240, 0.5, ripple)
	full.area = true
	strip := madeBy(8, 45.9, 9, 46.1, 60, 60, 0.5, func(float64, float64) float64 { return 3000 })
	strip.area = true
	root := folder(t, map[string][]byte{"full/full.tif": full.bytes(), "strip/strip.tif": strip.bytes()})
	alone := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, filepath.Join(root, "full"))
	both := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, filepath.Join(root, "strip"), filepath.Join(root, "full"))
	for i := range 200 {
		p := geodesy.LatLon{LatDeg: 46.12 + 0.0043*float64(i), LonDeg: 8.05 + 0.0041*float64(i)}
		want, okWant := alone.HeightM(p)
		if got, ok := both.HeightM(p); ok != okWant || got != want {
			t.Fatalf("%v: %v m beside the strip, %v m without it", p, got, want)
		}
		p.LatDeg = 46.01 + 0.0003*float64(i)
		if got, ok := both.HeightM(p); !ok || math.Abs(got-3000) > 1e-6 {
			t.Fatalf("%v: %v m within the strip, want 3000 m", p, got)
		}
	}
	if tile, err := both.Tile(46, 8); err != nil || tile.Name != "full.tif+strip.tif" {
		t.Errorf("the tile is %+v, %v", tile.Name, err)
	}
}

// A set that covers cells of open sea without data says no more of them than one that leaves them out; on land it leaves voids.
func TestSeaWithoutData(t *testing.T) {
	empty := madeBy(-40, 30, -38, 31, 60, 60, 0.5, func(_, lonDeg float64) float64 {
		if lonDeg > -39.5 {
			return math.NaN()
		}
		return 20
	})
	empty.area = true
	s := storeOf(t, StoreOptions{MemoryBytes: 1 << 30}, folder(t, map[string][]byte{"sea.tif": empty.bytes()}))
	if state := s.State(30, -39); state != Sea {
		t.Errorf("open sea without data is in state %v, want %v", state, Sea)
	}
	if h, ok := s.HeightM(geodesy.LatLon{LatDeg: 30.5, LonDeg: -38.5}); !ok || h != 0 {
		t.Errorf("its height is %v, %v", h, ok)
	}
	land := storeOf(t, StoreOptions{MemoryBytes: 1 << 30, LandHint: func(int, int) bool { return true }}, folder(t, map[string][]byte{"sea.tif": empty.bytes()}))
	if state := land.State(30, -39); state != HasTile {
		t.Errorf("land without data is in state %v, want %v", state, HasTile)
	}
}
