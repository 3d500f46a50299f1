package pipeline

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy"
)

// Within any aligned square of 2^n cells a side the curve is one run of 4^n steps, and each step goes to a cell beside the last.
func TestHilbertNeighbours(t *testing.T) {
	const side = 64
	for _, corner := range [][2]int{{0, 0}, {65536 - side, 0}, {0, 65536 - side}, {65536 - side, 65536 - side}, {32768, 32768}, {32768 - side, 32768}, {12800, 51200}} {
		at := map[uint32][2]int{}
		least := ^uint32(0)
		for x := range side {
			for y := range side {
				// The middle of a cell.
				d := hilbert(geodesy.LatLon{
					LonDeg: -180 + (float64(corner[0]+x)+0.5)*360/65536,
					LatDeg: -90 + (float64(corner[1]+y)+0.5)*180/65536,
				})
				if before, taken := at[d]; taken {
					t.Fatalf("cells %v and %v of the square at %v both lie at step %d", before, [2]int{x, y}, corner, d)
				}
				at[d] = [2]int{x, y}
				least = min(least, d)
			}
		}
		for i := range uint32(side * side) {
			here, ok := at[least+i]
			if !ok {
				t.Fatalf("the square at %v has no cell at step %d of %d", corner, i, side*side)
			}
			if i == 0 {
				continue
			}
			before := at[least+i-1]
			if dx, dy := here[0]-before[0], here[1]-before[1]; dx*dx+dy*dy != 1 {
				t.Fatalf("the square at %v: step %d goes from %v to %v", corner, i, before, here)
			}
		}
	}
}

// Poles and date line have a place on the curve too: that of the cell beside them.
func TestHilbertEdges(t *testing.T) {
	tests := []struct{ at, beside geodesy.LatLon }{
		{geodesy.LatLon{LatDeg: 90, LonDeg: 10}, geodesy.LatLon{LatDeg: 89.9999, LonDeg: 10}},
		{geodesy.LatLon{LatDeg: -90, LonDeg: 10}, geodesy.LatLon{LatDeg: -89.9999, LonDeg: 10}},
		{geodesy.LatLon{LatDeg: 10, LonDeg: 180}, geodesy.LatLon{LatDeg: 10, LonDeg: 179.9999}},
		{geodesy.LatLon{LatDeg: 10, LonDeg: -180}, geodesy.LatLon{LatDeg: 10, LonDeg: -179.9999}},
	}
	for _, test := range tests {
		if got, want := hilbert(test.at), hilbert(test.beside); got != want {
			t.Errorf("hilbert(%v) = %d, want that of %v, %d", test.at, got, test.beside, want)
		}
	}
}

func TestChunksCoverAllObserversOnce(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 3))
	for _, n := range []int{0, 1, 63, 64, 65, 1000} {
		features := make([]gazetteer.Feature, n+10)
		for i := range features {
			features[i].ID = fmt.Sprintf("csv:%04d", i)
			features[i].At = geodesy.LatLon{LatDeg: 55 + random.Float64(), LonDeg: -4 + 2*random.Float64()}
			if i%7 == 0 && i > 0 {
				features[i].At = features[i-1].At // places shared by several
			}
		}
		observers := random.Perm(n + 10)[:n]
		cut := chunks(features, observers)
		var all []int
		for i, chunk := range cut {
			if len(chunk) == 0 || len(chunk) > chunkSize || i < len(cut)-1 && len(chunk) != chunkSize {
				t.Errorf("%d observers: chunk %d of %d holds %d", n, i, len(cut), len(chunk))
			}
			if !slices.IsSortedFunc(chunk, func(a, b int) int { return a - b }) { // ids sort as indices here
				t.Errorf("%d observers: chunk %d is not sorted by id", n, i)
			}
			all = append(all, chunk...)
		}
		slices.Sort(all)
		want := slices.Clone(observers)
		slices.Sort(want)
		if !slices.Equal(all, want) {
			t.Errorf("%d observers: the chunks hold %d, not each once", n, len(all))
		}
		random.Shuffle(len(observers), func(i, j int) { observers[i], observers[j] = observers[j], observers[i] })
		if again := chunks(features, observers); !reflect.DeepEqual(again, cut) {
			t.Errorf("%d observers: another order of the same observers gives other chunks", n)
		}
	}
}

// A chunk's observers look over the same terrain: on average its places span far less than all do.
func TestChunksAreCompact(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 8))
	features := make([]gazetteer.Feature, 6400)
	observers := make([]int, len(features))
	for i := range features {
		features[i] = gazetteer.Feature{ID: fmt.Sprint(i), At: geodesy.LatLon{LatDeg: 40 + 8*random.Float64(), LonDeg: 5 + 16*random.Float64()}}
		observers[i] = i
	}
	mean := 0.0
	cut := chunks(features, observers)
	for _, chunk := range cut {
		south, north := 90.0, -90.0
		for _, i := range chunk {
			south, north = min(south, features[i].At.LatDeg), max(north, features[i].At.LatDeg)
		}
		mean += (north - south) / float64(len(cut))
	}
	if mean > 2 { // a hundred squares would span 0.8° each
		t.Errorf("chunks span %.2f° of latitude on average, of 8°", mean)
	}
}
