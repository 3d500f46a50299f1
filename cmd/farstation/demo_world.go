package main

import (
	_ "embed"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"farstation/geodesy/terrain"
)

// demoFeatures is the gazetteer of the demo: heights agree with the terrain, save for the faults that such extracts have.
//
//go:embed demo/features.csv
var demoFeatures string

// The demo's archipelago lies in open ocean, 31–34° S and 125–121° W in the South Pacific, some 700 km from the nearest real land.
const (
	demoWestDeg  = -125
	demoNorthDeg = -31
	demoLonCells = 4
	demoLatCells = 3
	// demoCellPosts is the number of intervals a degree: posts 6″ apart, so that the whole world is made within a moment.
	demoCellPosts = 600
	demoColumns   = demoLonCells*demoCellPosts + 1
	demoRows      = demoLatCells*demoCellPosts + 1
	// One degree at 32.5° S, in kilometres; the generator draws on a flat map.
	demoLonKM = 93.9
	demoLatKM = 110.9
	// The south-west corner of the tile that is left out though it holds land.
	demoGapLatDeg, demoGapLonDeg = -34, -124
	// The north-west post of the voids in another tile, and how many there are a side.
	demoVoidLatDeg, demoVoidLonDeg = -32.70, -122.55
	demoVoidSide                   = 4
)

// writeDemoWorld makes the invented archipelago in the folder dir, which it creates where it is missing: a gazetteer and a folder
// of elevation tiles, as a user would have them. The same files come out byte for byte on every machine. It returns the path of
// the gazetteer and of the folder; it fails when a file cannot be written.
func writeDemoWorld(dir string) (features, tiles string, err error) {
	features, tiles = filepath.Join(dir, "features.csv"), filepath.Join(dir, "terrain")
	if err := os.MkdirAll(tiles, 0o755); err != nil {
		return "", "", fmt.Errorf("demo: cannot make the folder for its data: %w: choose a folder that can be written", err)
	}
	files := newDemoTerrain().tiles()
	for name, content := range files {
		if err := writeDemoFile(filepath.Join(tiles, name), content); err != nil {
			return "", "", err
		}
	}
	return features, tiles, writeDemoFile(features, []byte(demoFeatures))
}

func writeDemoFile(path string, content []byte) error {
	if err := os.WriteFile(path, content, 0o644); err != nil {
		return fmt.Errorf("demo: cannot write its data: %w: choose a folder that can be written, on a disk with 10 MB to spare", err)
	}
	return nil
}

// demoIsland is the recipe of one island: land lies along a spine, its height falls from the spine to the coast.
type demoIsland struct {
	seed  uint32
	spine []demoSpinePoint
	// raggedness is how far the coast wanders, in half-widths.
	raggedness float64
	// ruggedness 0…1 is the part of the height that valleys may take away; grainKM the width of the largest of them.
	ruggedness, grainKM float64
	// steepening 0…1 turns a straight slope (0) into one that steepens towards the spine (1).
	steepening float64
	// craterKM is the radius of a crater at the first point of the spine, craterM its depth.
	craterKM, craterM float64
}

// demoSpinePoint is a point of a spine, with half the island's width and the height that the ground would have there unworn.
type demoSpinePoint struct {
	latDeg, lonDeg, halfWidthKM, heightM float64
}

func demoIslands() []demoIsland {
	return []demoIsland{
		{ // the great volcano
			seed: 11, raggedness: 0.35, ruggedness: 0.36, grainKM: 8, steepening: 0.72, craterKM: 1.3, craterM: 300,
			spine: []demoSpinePoint{{-32.43, -124.02, 27, 3130}},
		},
		{ // its shoulder, an older and lower cone
			seed: 13, raggedness: 0.8, ruggedness: 0.6, grainKM: 6, steepening: 0.4,
			spine: []demoSpinePoint{{-32.50, -124.20, 13, 1150}, {-32.40, -123.86, 15, 1500}, {-32.28, -123.80, 9, 700}},
		},
		{ // a ridge from south-west to north-east
			seed: 23, raggedness: 0.75, ruggedness: 0.62, grainKM: 7, steepening: 0.35,
			spine: []demoSpinePoint{
				{-33.10, -122.72, 7, 500}, {-32.94, -122.60, 12, 1500}, {-32.78, -122.50, 11, 1250}, {-32.60, -122.42, 10, 1050}, {-32.50, -122.30, 6, 420},
			},
		},
		{ // its neighbour across the strait
			seed: 37, raggedness: 0.75, ruggedness: 0.5, grainKM: 6, steepening: 0.2,
			spine: []demoSpinePoint{{-32.86, -122.24, 8, 640}, {-32.68, -122.17, 8, 760}, {-32.57, -122.09, 5, 300}},
		},
		{ // long and low
			seed: 41, raggedness: 0.75, ruggedness: 0.3, grainKM: 5, steepening: 0,
			spine: []demoSpinePoint{{-31.70, -123.56, 4, 22}, {-31.63, -123.40, 6, 60}, {-31.66, -123.22, 5, 40}, {-31.74, -123.10, 4, 24}},
		},
		{ // old and worn, in the north-east
			seed: 53, raggedness: 0.75, ruggedness: 0.72, grainKM: 8, steepening: 0.45,
			spine: []demoSpinePoint{{-31.52, -121.62, 17, 2350}, {-31.40, -121.48, 13, 1500}},
		},
		{ // south-west
			seed: 67, raggedness: 0.75, ruggedness: 0.55, grainKM: 6, steepening: 0.3,
			spine: []demoSpinePoint{{-33.52, -124.68, 8, 620}, {-33.62, -124.52, 11, 1150}, {-33.66, -124.36, 6, 420}},
		},
		{ // south-east
			seed: 71, raggedness: 0.75, ruggedness: 0.6, grainKM: 7, steepening: 0.4,
			spine: []demoSpinePoint{{-33.58, -122.36, 13, 1650}, {-33.68, -122.20, 9, 700}},
		},
		{ // a steep islet between the volcano and the ridge
			seed: 89, raggedness: 0.6, ruggedness: 0.4, grainKM: 3, steepening: 0.3,
			spine: []demoSpinePoint{{-32.625, -123.30, 4.5, 530}},
		},
		// skerries south of it, bare rock awash at their edges
		{seed: 97, raggedness: 0.7, ruggedness: 0.5, grainKM: 1, spine: []demoSpinePoint{{-32.8554, -123.0276, 1.3, 26}}},
		{seed: 101, raggedness: 0.7, ruggedness: 0.5, grainKM: 1, spine: []demoSpinePoint{{-32.7351, -123.3145, 1.5, 34}}},
		{seed: 103, raggedness: 0.7, ruggedness: 0.5, grainKM: 1, spine: []demoSpinePoint{{-32.7900, -123.1900, 0.9, 14}, {-32.8010, -123.1700, 0.7, 9}}},
		{seed: 107, raggedness: 0.7, ruggedness: 0.5, grainKM: 1, spine: []demoSpinePoint{{-32.7050, -123.3800, 0.8, 11}}},
		{seed: 109, raggedness: 0.7, ruggedness: 0.5, grainKM: 1, spine: []demoSpinePoint{{-32.9050, -122.9500, 0.8, 8}}},
		{ // the island whose tile is left out
			seed: 83, raggedness: 0.75, ruggedness: 0.5, grainKM: 5, steepening: 0.2,
			spine: []demoSpinePoint{{-33.50, -123.56, 9, 620}, {-33.60, -123.42, 7, 480}},
		},
	}
}

// land returns the height in metres at a place of the flat map, 0 for sea.
func (l *demoIsland) land(x, y float64) float64 {
	halfWidth, narrowest := l.spine[0].halfWidthKM, math.Inf(1)
	for _, p := range l.spine {
		narrowest = min(narrowest, p.halfWidthKM)
	}
	if inland, _ := l.fromCoast(x, y); inland < -l.raggedness*halfWidth/narrowest {
		return 0 // farther out than the coast wanders
	}
	coast := demoNoise{l.seed}
	warp := 1 / (1.1 * halfWidth)
	nx, ny := float64(x*warp), float64(y*warp)
	wx := x + float64(l.raggedness*halfWidth*coast.fractal(nx, ny, 5))
	wy := y + float64(l.raggedness*halfWidth*coast.fractal(nx+31.7, ny-17.3, 5))
	inland, unworn := l.fromCoast(wx, wy)
	if inland <= 0 {
		return 0
	}
	worn := demoNoise{l.seed + 1000}.ridged(wx/l.grainKM, wy/l.grainKM, 6)
	slope := float64(inland * (1 - l.steepening + float64(l.steepening*inland)))
	height := float64(unworn * slope * (1 - l.ruggedness + float64(l.ruggedness*worn)))
	height += float64(min(1, float64(inland*8)) * (4 + float64(0.01*unworn))) // a step up from the shore
	if l.craterKM > 0 {
		cx, cy := l.spine[0].km()
		r := math.Sqrt(float64((wx-cx)*(wx-cx))+float64((wy-cy)*(wy-cy))) / l.craterKM
		if r < 1 {
			height -= float64(l.craterM * (1 - float64(r*r)))
		}
	}
	return max(1, height)
}

// fromCoast returns how far inland a place lies (0 at the coast, 1 on the spine, negative at sea) and the unworn height there.
func (l *demoIsland) fromCoast(x, y float64) (inland, unwornM float64) {
	inland = -1
	for i, a := range l.spine {
		b := l.spine[min(i+1, len(l.spine)-1)]
		ax, ay := a.km()
		bx, by := b.km()
		dx, dy := bx-ax, by-ay
		along := 0.0
		if length2 := float64(dx*dx) + float64(dy*dy); length2 > 0 {
			along = max(0, min(1, (float64((x-ax)*dx)+float64((y-ay)*dy))/length2))
		}
		ox, oy := x-ax-float64(along*dx), y-ay-float64(along*dy)
		halfWidth := a.halfWidthKM + float64(along*(b.halfWidthKM-a.halfWidthKM))
		if in := 1 - math.Sqrt(float64(ox*ox)+float64(oy*oy))/halfWidth; in > inland {
			inland, unwornM = in, a.heightM+float64(along*(b.heightM-a.heightM))
		}
	}
	return inland, unwornM
}

func (p demoSpinePoint) km() (x, y float64) {
	return float64((p.lonDeg - demoWestDeg) * demoLonKM), float64((demoNorthDeg - p.latDeg) * demoLatKM)
}

// demoNoise is gradient noise on a lattice (K. Perlin, An image synthesizer, 1985), drawn from an integer hash of its seed. Its
// products are rounded before they are added, here as in all of the generator, so that every processor makes the same world.
type demoNoise struct{ seed uint32 }

// at returns smooth noise of wavelength 1, within about −1…1.
func (n demoNoise) at(x, y float64) float64 {
	x0, y0 := math.Floor(x), math.Floor(y)
	dx, dy := x-x0, y-y0
	i, j := int32(x0), int32(y0)
	u, v := fade(dx), fade(dy)
	north := blend(n.corner(i, j, dx, dy), n.corner(i+1, j, dx-1, dy), u)
	south := blend(n.corner(i, j+1, dx, dy-1), n.corner(i+1, j+1, dx-1, dy-1), u)
	return blend(north, south, v)
}

func (n demoNoise) corner(i, j int32, dx, dy float64) float64 {
	h := n.seed*0x9e3779b1 ^ uint32(i)*0x85ebca6b ^ uint32(j)*0xc2b2ae35
	h ^= h >> 15
	h *= 0x2c1b3c6d
	h ^= h >> 12
	h *= 0x297a2d39
	h ^= h >> 15
	// One of eight directions, chosen without branches, which no processor could foretell here.
	d := [2]float64{dx, dy}
	along, across := float64(1-int32(h&2))*d[h&1], float64(1-int32(h>>1&2))*d[h&1^1]
	return float64(1.3*along) + float64(0.54*across)
}

func fade(t float64) float64 {
	return float64(t * t * t * (10 + float64(t*(float64(6*t)-15))))
}

func blend(a, b, share float64) float64 { return a + float64(share*(b-a)) }

// fractal sums octaves of noise, each half as wide as the one before and turned against it, so that no lattice shows.
func (n demoNoise) fractal(x, y float64, octaves int) float64 {
	sum, height := 0.0, 0.5
	for range octaves {
		sum += float64(height * n.at(x, y))
		x, y, height = float64(1.6*x)-float64(1.2*y)+5.3, float64(1.2*x)+float64(1.6*y)+1.7, height*0.55
	}
	return sum
}

// ridged returns sharp crests and round valleys, 0…1; finer octaves show on the crests, little in the valleys.
func (n demoNoise) ridged(x, y float64, octaves int) float64 {
	sum, height, weight := 0.0, 0.55, 1.0
	for range octaves {
		crest := 1 - math.Abs(n.at(x, y))
		crest = float64(crest * crest * weight)
		sum += float64(height * crest)
		weight = min(1, float64(1.6*crest))
		x, y, height = float64(1.6*x)-float64(1.2*y)+7.9, float64(1.2*x)+float64(1.6*y)+3.1, height*0.5
	}
	return min(1, sum)
}

// demoTerrain holds the whole world's posts, north to south, west to east, in whole metres over the geoid.
type demoTerrain []int16

func newDemoTerrain() demoTerrain {
	world := make(demoTerrain, demoColumns*demoRows)
	for _, island := range demoIslands() {
		island.draw(world)
	}
	return world
}

// tiles returns the content of the .hgt files by name: every cell that holds land but the one left out. Cells of pure sea have
// none, as in the open elevation sets.
func (world demoTerrain) tiles() map[string][]byte {
	files := map[string][]byte{}
	voidRow := int(math.Round((demoNorthDeg - demoVoidLatDeg) * demoCellPosts))
	voidColumn := int(math.Round((demoVoidLonDeg - demoWestDeg) * demoCellPosts))
	for cell := range demoLatCells * demoLonCells {
		north, west := cell/demoLonCells, cell%demoLonCells
		latDeg, lonDeg := demoNorthDeg-north-1, demoWestDeg+west
		content := make([]byte, 0, 2*(demoCellPosts+1)*(demoCellPosts+1))
		land := false
		for row := north * demoCellPosts; row <= (north+1)*demoCellPosts; row++ {
			for column := west * demoCellPosts; column <= (west+1)*demoCellPosts; column++ {
				height := world[row*demoColumns+column]
				land = land || height > 0
				if row >= voidRow && row < voidRow+demoVoidSide && column >= voidColumn && column < voidColumn+demoVoidSide {
					height = terrain.Void
				}
				content = binary.BigEndian.AppendUint16(content, uint16(height))
			}
		}
		if land && (latDeg != demoGapLatDeg || lonDeg != demoGapLonDeg) {
			files[fmt.Sprintf("S%02dW%03d.hgt", -latDeg, -lonDeg)] = content
		}
	}
	return files
}

// draw raises the world's posts to the island's land.
func (l *demoIsland) draw(world demoTerrain) {
	west, north, east, south := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range l.spine {
		x, y := p.km()
		reach := float64(1.5 * max(p.halfWidthKM, l.spine[0].halfWidthKM))
		west, east = min(west, x-reach), max(east, x+reach)
		north, south = min(north, y-reach), max(south, y+reach)
	}
	const postX, postY = demoLonKM / demoCellPosts, demoLatKM / demoCellPosts
	for row := max(0, int(north/postY)); row <= min(demoRows-1, int(south/postY)); row++ {
		for column := max(0, int(west/postX)); column <= min(demoColumns-1, int(east/postX)); column++ {
			height := int16(math.Round(l.land(float64(float64(column)*postX), float64(float64(row)*postY))))
			at := row*demoColumns + column
			world[at] = max(world[at], height)
		}
	}
}
