package rehearsal

import (
	"bufio"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
)

// Options say how much of a planet is made.
type Options struct {
	// WestDeg and SouthDeg are the corner of the part, Columns and Rows how many cells of 1° it has eastwards and northwards.
	WestDeg, SouthDeg, Columns, Rows int
	// Intervals is the number of post intervals a degree: 1200 for 3″.
	Intervals int
	// Features is about how many summits and masts are listed.
	Features int
	// Seed makes another planet.
	Seed uint64
}

// Made is what was written.
type Made struct {
	Features, Terrain string // paths
	Cells             int    // with land, which have a tile
	Listed            int    // features
}

// octaves is how many times the wavelength is halved, from 4° down to some 0.9 km; hurst is the exponent by which heights fall with wavelength: relief has
// 0.5 to 0.9 over such lengths (Turcotte 1997, Fractals and Chaos in Geology and Geophysics, ch. 7, from memory).
const (
	octaves     = 10
	longestM    = 1500 // amplitude of the longest
	hurst       = 0.75
	seaM        = 650 // what is lower is sea
	windowShare = 100 // a listed summit is the highest within this part of a degree each way
)

// Write makes the part in a folder, which it creates. The same options give the same bytes.
func Write(ctx context.Context, dir string, o Options) (Made, error) {
	made := Made{Features: filepath.Join(dir, "features.csv"), Terrain: filepath.Join(dir, "terrain")}
	if err := os.MkdirAll(made.Terrain, 0o777); err != nil {
		return made, fmt.Errorf("rehearsal: %w", err)
	}
	list, err := os.Create(made.Features)
	if err != nil {
		return made, fmt.Errorf("rehearsal: %w", err)
	}
	defer list.Close()
	out := bufio.NewWriter(list)
	fmt.Fprintln(out, "id,name,kind,lat,lon,ele,structure_height_m")
	// Summits are a few times as many as are listed: a hash chooses.
	perCell := float64(o.Features) / float64(o.Columns*o.Rows)
	for row := range o.Rows {
		for column := range o.Columns {
			if err := ctx.Err(); err != nil {
				return made, err
			}
			c := newCell(o, o.SouthDeg+row, o.WestDeg+column)
			if !c.land {
				continue
			}
			made.Cells++
			if err := c.writeTile(made.Terrain); err != nil {
				return made, err
			}
			made.Listed += c.list(out, perCell)
		}
	}
	if err := out.Flush(); err != nil {
		return made, fmt.Errorf("rehearsal: %w", err)
	}
	return made, list.Close()
}

// cell is one degree of the planet.
type cell struct {
	o              Options
	latDeg, lonDeg int
	posts          []int16 // rows from the north
	land           bool
}

func newCell(o Options, latDeg, lonDeg int) *cell {
	n := o.Intervals + 1
	c := &cell{o: o, latDeg: latDeg, lonDeg: lonDeg, posts: make([]int16, n*n)}
	heights := make([]float64, n*n)
	amplitude, perDegree := float64(longestM), 0.25
	for octave := range octaves {
		for i := range n {
			// Whole numbers of posts, so that neighbours share their edges to the bit.
			y := float64((latDeg+90)*o.Intervals+o.Intervals-i) / float64(o.Intervals) * perDegree
			y0 := math.Floor(y)
			v := smooth(y - y0)
			last, a, b := math.NaN(), 0.0, 0.0
			for j := range n {
				x := float64((lonDeg+180)*o.Intervals+j) / float64(o.Intervals) * perDegree
				x0 := math.Floor(x)
				if x0 != last {
					a = lerp(lattice(o.Seed, octave, x0, y0), lattice(o.Seed, octave, x0, y0+1), v)
					b = lerp(lattice(o.Seed, octave, x0+1, y0), lattice(o.Seed, octave, x0+1, y0+1), v)
					last = x0
				}
				value := lerp(a, b, smooth(x-x0))
				at := i*n + j
				if octave < 2 { // continents
					heights[at] += amplitude * value
					continue
				}
				// Mountains are rougher than plains, and have ridges.
				rough := math.Min(math.Max(heights[at]/longestM+0.3, 0.05), 1)
				heights[at] += amplitude * rough * (1 - 2*math.Abs(value))
			}
		}
		amplitude *= math.Pow(2, -hurst)
		perDegree *= 2
	}
	for i, h := range heights {
		if h = math.Round(h - seaM); h > 0 {
			c.posts[i], c.land = int16(h), true
		}
	}
	return c
}

func smooth(t float64) float64     { return t * t * (3 - 2*t) }
func lerp(a, b, t float64) float64 { return a + (b-a)*t }

// lattice is a value in −1…1 at a corner of an octave's lattice, by a mixing function (Steele, Lea and Flood 2014, SplitMix).
func lattice(seed uint64, octave int, x, y float64) float64 {
	return float64(mix(seed^uint64(octave)<<56^uint64(int64(x))<<28^uint64(int64(y))))/float64(1<<63) - 1
}

func mix(z uint64) uint64 {
	z += 0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

func (c *cell) writeTile(dir string) error {
	ns, ew := "N", "E"
	if c.latDeg < 0 {
		ns = "S"
	}
	if c.lonDeg < 0 {
		ew = "W"
	}
	raw := make([]byte, 2*len(c.posts))
	for i, h := range c.posts {
		binary.BigEndian.PutUint16(raw[2*i:], uint16(h))
	}
	name := fmt.Sprintf("%s%02d%s%03d.hgt", ns, max(c.latDeg, -c.latDeg), ew, max(c.lonDeg, -c.lonDeg))
	if err := os.WriteFile(filepath.Join(dir, name), raw, 0o666); err != nil {
		return fmt.Errorf("rehearsal: %w", err)
	}
	return nil
}

// list writes the summits of a cell, about as many as asked for, and a mast on every twentieth.
func (c *cell) list(out io.Writer, about float64) int {
	n := c.o.Intervals + 1
	var summits []int
	for i := c.window(); i < n-c.window(); i++ {
		for j := c.window(); j < n-c.window(); j++ {
			if c.posts[i*n+j] > 30 && c.highest(i, j) {
				summits = append(summits, i*n+j)
			}
		}
	}
	listed := 0
	for _, at := range summits {
		i, j := at/n, at%n
		h := mix(c.o.Seed ^ uint64(c.latDeg+90)<<48 ^ uint64(c.lonDeg+180)<<32 ^ uint64(at))
		if float64(h%1_000_000)/1e6 >= about/float64(len(summits)) {
			continue
		}
		kind, structure := "peak", 0
		if h>>32%20 == 0 {
			kind, structure = "mast", 40+int(h>>40%160)
		}
		lat := float64(c.latDeg) + float64(c.o.Intervals-i)/float64(c.o.Intervals)
		lon := float64(c.lonDeg) + float64(j)/float64(c.o.Intervals)
		fmt.Fprintf(out, "%d-%d-%d,Summit %d %d %d,%s,%.6f,%.6f,%d,%d\n", c.latDeg, c.lonDeg, at, c.latDeg, c.lonDeg, at, kind, lat, lon, c.posts[at], structure)
		listed++
	}
	return listed
}

// highest tells whether no post within the window is higher, and none before it as high.
func (c *cell) highest(i, j int) bool {
	n := c.o.Intervals + 1
	here := c.posts[i*n+j]
	// The four neighbours first: most posts fail there.
	if c.posts[i*n+j-1] >= here || c.posts[i*n+j+1] > here || c.posts[(i-1)*n+j] >= here || c.posts[(i+1)*n+j] > here {
		return false
	}
	for y := i - c.window(); y <= i+c.window(); y++ {
		for x := j - c.window(); x <= j+c.window(); x++ {
			if other := c.posts[y*n+x]; other > here || other == here && (y < i || y == i && x < j) {
				return false
			}
		}
	}
	return true
}

func (c *cell) window() int { return max(2, c.o.Intervals/windowShare) }
