package terrain

import (
	"math"
	"testing"

	"farstation/geodesy"
)

// A post of noise in the way of a line is told from the ridge that k_c rests on without it.
func TestCriticalWithoutSpikes(t *testing.T) {
	const n = 1201
	ground := func(row, column int) int16 {
		switch {
		case row == 600 && column == 600:
			return 2000
		case row == 900:
			return 400
		}
		return 100
	}
	walker := func(f func(int, int) int16) *Walker {
		return madeWalker(t, map[string][]byte{"N46E008.hgt": made(n, f)}, StoreOptions{}, egm96(t))
	}
	w := walker(ground)
	from, to := geodesy.LatLon{LatDeg: 46.05, LonDeg: 8.5}, geodesy.LatLon{LatDeg: 46.95, LonDeg: 8.5}
	c, err := w.Critical(between(t, w, from, to, 300, 300), FillSea, 200, math.Inf(1))
	if err != nil {
		t.Fatal(err)
	}
	without := walker(func(row, column int) int16 {
		if row == 600 && column == 600 {
			return 100
		}
		return ground(row, column)
	})
	want, err := without.Critical(between(t, without, from, to, 300, 300), FillSea, 200, math.Inf(1))
	if err != nil {
		t.Fatal(err)
	}
	if !(c.K > 5) || c.WithoutSpikesK != want.K || want.K != want.WithoutSpikesK {
		t.Errorf("k_c %.3f, without spikes %.3f; the same ground without its spike has %.3f, %.3f", c.K, c.WithoutSpikesK, want.K, want.WithoutSpikesK)
	}
	// A bound that only the spike passes does not end the walk.
	bounded, err := w.Critical(between(t, w, from, to, 300, 300), FillSea, 200, (c.K+want.K)/2)
	if err != nil || bounded.Stopped || bounded.K != c.K || bounded.WithoutSpikesK != want.K {
		t.Errorf("bounded: %+v, %v", bounded, err)
	}
}

// Real ground has no spikes: not Finsteraarhorn's needles, not the Andes. The two cases below are made.
func TestSpikes(t *testing.T) {
	for _, name := range []string{
		"N46E008.tif.gz", "S33W071.tif.gz", "N49W123.tif.gz", "N49W124.tif.gz", "N55W003.hgt.zip", "N55W004.hgt.zip", "N48W125.hgt.zip", "S29W072.hgt.zip",
	} {
		s := storeOf(t, StoreOptions{}, testdata+name)
		c := s.index.Cells()[0]
		tile, err := s.Tile(c.LatDeg, c.LonDeg)
		if err != nil || tile == nil {
			t.Fatal(name, err, s.Unreadable())
		}
		spikes := 0
		for i := range tile.Len() {
			if tile.Spike(i) {
				spikes++
			}
		}
		if spikes > 0 {
			t.Errorf("%s: %d posts are called spikes", name, spikes)
		}
	}
	lattice := evenLattice(1201)
	tile := &Tile{Rows: lattice, Cols: lattice, Posts: make([]int16, 1201*1201)}
	middle := 600*1201 + 600
	for _, test := range []struct {
		rise, beside int16
		want         bool
	}{{130, 0, false}, {150, 0, true}, {150, 140, false}, {400, 200, false}, {450, 200, true}} {
		tile.Posts[middle], tile.Posts[middle+1] = test.rise, test.beside
		if got := tile.Spike(middle); got != test.want {
			t.Errorf("a post %d m over flat ground, one neighbour %d m over it: spike %v, want %v", test.rise, test.beside, got, test.want)
		}
	}
	tile.Posts[middle] = Void
	if tile.Spike(middle) {
		t.Error("a void is called a spike")
	}
}
