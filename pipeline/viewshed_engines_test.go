package pipeline

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The map that general-purpose engines of viewsheds are given: UTM zone 30, whose middle meridian is that of the two tiles.
const bordersMap = "EPSG:32630"

// engineReachM is how far the engines look; viewshedReachM stays within it for all that cells and the scale of the map move.
const (
	engineReachM   = 100e3
	viewshedReachM = 99.9e3
)

// engineK is the refraction coefficient of both: 1/7, the usual value of surveying.
const engineK = 1.0 / 7

// needEngine finds GDAL's programs, which CI must have.
func needEngine(t testing.TB) {
	t.Helper()
	for _, program := range []string{"gdalwarp", "gdaltransform", "gdal_viewshed"} {
		if _, err := exec.LookPath(program); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%s is not installed, and CI needs it", program)
			}
			t.Skipf("%s is not installed: no comparison with its viewsheds", program)
		}
	}
}

// spent is what a command took by the clock and of the processor.
type spent struct{ wall, processor time.Duration }

func runEngine(t testing.TB, home, stdin, name string, args ...string) (string, spent) {
	t.Helper()
	command := exec.Command(name, args...)
	command.Env = append(os.Environ(), "HOME="+home)
	command.Stdin = strings.NewReader(stdin)
	var stderr bytes.Buffer
	command.Stderr = &stderr
	from := time.Now()
	out, err := command.Output()
	wall := time.Since(from)
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, stderr.String())
	}
	return string(out), spent{wall, command.ProcessState.UserTime() + command.ProcessState.SystemTime()}
}

// mapPlace is a place on the map, in metres.
type mapPlace struct{ eastM, northM float64 }

// grid is a raster on the map; heights lie in the middles of cells.
type grid struct {
	cols, rows          int
	westM, northM, size float64
	values              []float64
}

func (g *grid) cell(p mapPlace) (col, row int) {
	return int(math.Floor((p.eastM - g.westM) / g.size)), int(math.Floor((g.northM - p.northM) / g.size))
}

func (g *grid) at(p mapPlace) float64 {
	col, row := g.cell(p)
	return g.values[row*g.cols+col]
}

func (g *grid) middle(p mapPlace) mapPlace {
	col, row := g.cell(p)
	return mapPlace{g.westM + (float64(col)+0.5)*g.size, g.northM - (float64(row)+0.5)*g.size}
}

// between is bilinear between the middles of cells.
func (g *grid) between(p mapPlace) float64 {
	x, y := (p.eastM-g.westM)/g.size-0.5, (g.northM-p.northM)/g.size-0.5
	col, row := min(int(x), g.cols-2), min(int(y), g.rows-2)
	u, v := x-float64(col), y-float64(row)
	corner := row*g.cols + col
	return (1-v)*((1-u)*g.values[corner]+u*g.values[corner+1]) + v*((1-u)*g.values[corner+g.cols]+u*g.values[corner+g.cols+1])
}

// readGrid reads a raster of ENVI's plain form: values row by row, and a header beside them.
func readGrid(t testing.TB, path string) *grid {
	t.Helper()
	header, err := os.ReadFile(strings.TrimSuffix(path, ".img") + ".hdr")
	if err != nil {
		t.Fatal(err)
	}
	fields := map[string]string{}
	for line := range strings.Lines(string(header)) {
		if name, value, ok := strings.Cut(line, " = "); ok {
			fields[strings.TrimSpace(name)] = strings.TrimSpace(value)
		}
	}
	number := func(text string) float64 {
		v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
		if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		return v
	}
	corner := strings.Split(fields["map info"], ",")
	if len(corner) < 6 {
		t.Fatalf("%s has map info %q", path, fields["map info"])
	}
	g := &grid{
		cols: int(number(fields["samples"])), rows: int(number(fields["lines"])),
		westM: number(corner[3]), northM: number(corner[4]), size: number(corner[5]),
	}
	g.values = readValues(t, path, fields["data type"], g.cols*g.rows)
	return g
}

// readValues reads n values of one of ENVI's types: 1 is a byte, 4 and 5 are numbers of 32 and 64 bits.
func readValues(t testing.TB, path, kind string, n int) []float64 {
	t.Helper()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	size := map[string]int{"1": 1, "4": 4, "5": 8}[kind]
	if size == 0 || len(content) != size*n {
		t.Fatalf("%s holds %d bytes of type %s, want %d values", path, len(content), kind, n)
	}
	values := make([]float64, n)
	for i := range values {
		switch size {
		case 1:
			values[i] = float64(content[i])
		case 4:
			values[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(content[4*i:])))
		case 8:
			values[i] = math.Float64frombits(binary.LittleEndian.Uint64(content[8*i:]))
		}
	}
	return values
}

// mosaic makes one raster on the map of the two tiles of the Borders. Voids, and what lies beyond the tiles, are 0 m, as in our walk.
func mosaic(t testing.TB, folder string, cellM int) string {
	t.Helper()
	path := filepath.Join(folder, fmt.Sprintf("ground%d.img", cellM))
	args := []string{"-q", "-of", "ENVI", "-ot", "Float32", "-t_srs", bordersMap, "-tr", strconv.Itoa(cellM), strconv.Itoa(cellM), "-tap", "-r", "bilinear", "-srcnodata", "-32768", "-wo", "INIT_DEST=0"}
	for _, source := range hillOptions().Terrain {
		tile, err := filepath.Abs(source.Path)
		if err != nil {
			t.Fatal(err)
		}
		args = append(args, "/vsizip/"+tile+"/"+strings.TrimSuffix(filepath.Base(tile), ".zip"))
	}
	runEngine(t, folder, "", "gdalwarp", append(args, path)...)
	return path
}

// transform takes pairs of coordinates, longitude before latitude, from one reference system to another.
func transform(t testing.TB, from, to string, pairs [][2]float64) [][2]float64 {
	t.Helper()
	var in strings.Builder
	for _, p := range pairs {
		fmt.Fprintf(&in, "%.9f %.9f\n", p[0], p[1])
	}
	text, _ := runEngine(t, t.TempDir(), in.String(), "gdaltransform", "-s_srs", from, "-t_srs", to, "-output_xy")
	out := make([][2]float64, 0, len(pairs))
	for line := range strings.Lines(text) {
		var p [2]float64
		if _, err := fmt.Sscan(line, &p[0], &p[1]); err != nil {
			t.Fatalf("gdaltransform answers %q: %v", line, err)
		}
		out = append(out, p)
	}
	if len(out) != len(pairs) {
		t.Fatalf("gdaltransform answers %d of %d places", len(out), len(pairs))
	}
	return out
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', 4, 64) }

// gdalViewshed runs gdal_viewshed for an eye over a place of a mosaic. Mode NORMAL gives 255 where ground is in view, DEM the least height
// over the geoid that is.
func gdalViewshed(t testing.TB, mosaic, out, mode string, at mapPlace, eyeOverGroundM, reachM float64) spent {
	t.Helper()
	_, took := runEngine(t, filepath.Dir(mosaic), "", "gdal_viewshed", "-q", "-f", "ENVI", "-om", mode, "-ox", number(at.eastM), "-oy", number(at.northM),
		"-oz", number(eyeOverGroundM), "-tz", "0", "-md", number(reachM), "-cc", strconv.FormatFloat(1-engineK, 'f', 9, 64), mosaic, out)
	return took
}

// grass is a location of GRASS, which keeps rasters in a form of its own.
type grass struct{ folder string }

// newGrass makes a location with the mosaics; nil where GRASS is not installed, which nothing needs.
func newGrass(t testing.TB, folder string, mosaics ...string) *grass {
	t.Helper()
	if _, err := exec.LookPath("grass"); err != nil {
		return nil
	}
	g := &grass{folder}
	runEngine(t, folder, "", "grass", "-c", bordersMap, filepath.Join(folder, "location"), "-e")
	for _, m := range mosaics {
		g.run(t, "r.in.gdal", "-o", "--quiet", "input="+m, "output="+g.name(m))
	}
	return g
}

func (g *grass) name(mosaic string) string {
	return strings.TrimSuffix(filepath.Base(mosaic), ".img")
}

func (g *grass) run(t testing.TB, args ...string) spent {
	t.Helper()
	_, took := runEngine(t, g.folder, "", "grass", append([]string{filepath.Join(g.folder, "location", "PERMANENT"), "--exec"}, args...)...)
	return took
}

// region makes the mosaic's cells those of all that follows.
func (g *grass) region(t testing.TB, mosaic string) {
	t.Helper()
	g.run(t, "g.region", "raster="+g.name(mosaic))
}

// viewshed runs r.viewshed over the mosaic of the region: 1 where ground is in view.
func (g *grass) viewshed(t testing.TB, mosaic string, at mapPlace, eyeOverGroundM, reachM float64) spent {
	t.Helper()
	return g.run(t, "r.viewshed", "--overwrite", "--quiet", "-c", "-r", "-b", "input="+g.name(mosaic), "output=seen", "coordinates="+number(at.eastM)+","+number(at.northM),
		"observer_elevation="+number(eyeOverGroundM), "target_elevation=0", "max_distance="+number(reachM), "refraction_coeff="+number(engineK), "memory=4000")
}

// seen reads the answer of the last viewshed, on the cells of the mosaic.
func (g *grass) seen(t testing.TB, like *grid) *grid {
	t.Helper()
	path := filepath.Join(g.folder, "seen.bin")
	g.run(t, "r.out.bin", "--overwrite", "--quiet", "input=seen", "output="+path, "bytes=1", "null=0")
	seen := *like
	seen.values = readValues(t, path, "1", like.cols*like.rows)
	return &seen
}
