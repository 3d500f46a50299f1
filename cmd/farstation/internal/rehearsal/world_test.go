package rehearsal

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// TestNeighboursShareTheirEdge and that heights look like relief: the spectrum falls as the Hurst exponent says.
func TestNeighboursShareTheirEdge(t *testing.T) {
	o := Options{Intervals: 300, Seed: 7}
	n := o.Intervals + 1
	south, north, east := newCell(o, 10, 20), newCell(o, 11, 20), newCell(o, 10, 21)
	for i := range n {
		if south.posts[i] != north.posts[(n-1)*n+i] {
			t.Fatalf("column %d of the edge: %d and %d", i, south.posts[i], north.posts[(n-1)*n+i])
		}
		if south.posts[i*n+n-1] != east.posts[i*n] {
			t.Fatalf("row %d of the edge: %d and %d", i, south.posts[i*n+n-1], east.posts[i*n])
		}
	}
}

// TestRelief: the mean square difference of heights grows with distance as distance to the power of 2H, H between 0.5 and 1.
func TestRelief(t *testing.T) {
	o := Options{Intervals: 600, Seed: 3}
	n := o.Intervals + 1
	var near, far float64
	for lat := range 6 {
		c := newCell(o, lat, 40)
		for i := 0; i < n; i += 7 {
			for j := 0; j+64 < n; j += 5 {
				at := i*n + j
				near += square(c.posts[at+8] - c.posts[at])
				far += square(c.posts[at+64] - c.posts[at])
			}
		}
	}
	if h := math.Log(far/near) / math.Log(8) / 2; h < 0.5 || h > 1 {
		t.Errorf("heights grow with distance to the power of %.2f", h)
	}
}

func square(v int16) float64 { return float64(v) * float64(v) }

func TestWriteIsDeterministic(t *testing.T) {
	o := Options{WestDeg: 5, SouthDeg: 5, Columns: 2, Rows: 2, Intervals: 240, Features: 80, Seed: 1}
	var first []byte
	for range 2 {
		made, err := Write(context.Background(), filepath.Join(t.TempDir(), "part"), o)
		if err != nil {
			t.Fatal(err)
		}
		list, err := os.ReadFile(made.Features)
		if err != nil {
			t.Fatal(err)
		}
		if first != nil && !bytes.Equal(first, list) {
			t.Error("two worlds of one seed differ")
		}
		first = list
		if made.Cells == 0 || made.Listed < 20 || made.Listed > 160 {
			t.Errorf("%+v: want about 80 features", made)
		}
	}
}
