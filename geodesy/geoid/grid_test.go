package geoid

import (
	"bufio"
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"

	"farstation/geodesy"
)

func load(tb testing.TB) *Grid {
	tb.Helper()
	g, err := EGM96()
	if err != nil {
		tb.Fatal(err)
	}
	return g
}

func TestUndulationAtNGATestPoints(t *testing.T) {
	g := load(t)
	// bilinearM: PROJ 9.1.1, vgridshift of egm96_15.gtx, printed to 1 mm.
	bilinearM := []float64{-31.609, -2.966, -43.617, 15.927, 50.036, 17.336}
	f, err := os.Open("../../testdata/egm96_test_points.tsv") // NGA's OUTINTPT.DAT: program INTPT on the same grid, spline
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	n := 0
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if strings.HasPrefix(lines.Text(), "#") {
			continue
		}
		var p geodesy.LatLon
		var splineM float64
		if _, err := fmt.Sscan(lines.Text(), &p.LatDeg, &p.LonDeg, &splineM); err != nil {
			t.Fatalf("line %q: %v", lines.Text(), err)
		}
		got := g.UndulationM(p)
		if math.Abs(got-bilinearM[n]) > 0.002 {
			t.Errorf("UndulationM(%v) = %.4f m, want %.3f ± 0.002 (PROJ, bilinear)", p, got, bilinearM[n])
		}
		if math.Abs(got-splineM) > 0.06 {
			t.Errorf("UndulationM(%v) = %.4f m, want %.3f ± 0.06 (NGA OUTINTPT.DAT)", p, got, splineM)
		}
		n++
	}
	if n != len(bilinearM) {
		t.Errorf("read %d test points, want %d", n, len(bilinearM))
	}
}

func TestUndulationAtPlaces(t *testing.T) {
	const node = 0.002 // no interpolation at a node
	tests := []struct {
		source         string
		latDeg, lonDeg float64
		wantM, withinM float64
	}{
		{"Orekit GeoidTest, from GeoidEval", 0, 75, -100.3168, node},
		{"Orekit GeoidTest, from GeoidEval", -30, 60, 14.9214, node},
		{"Orekit GeoidTest, from GeoidEval", 0, 130, 76.6053, node},
		{"Orekit GeoidTest, from GeoidEval", 60, -30, 63.7979, node},
		{"Orekit GeoidTest, from GeoidEval", 40, -75, -34.0402, node},
		{"Orekit GeoidTest, from GeoidEval", 28, 92, -30.4056, node},
		{"Orekit GeoidTest, from GeoidEval", 45, 250, -7.4825, node},
		{"PROJ egm96_15.gtx", 0, 0, 17.1616, node},
		{"PROJ egm96_15.gtx", 90, 0, 13.6062, node},
		{"PROJ egm96_15.gtx, any longitude at the pole", 90, 123.4, 13.6062, node},
		// The manual's value is of the 5′ grid; PROJ, bilinear on the 15′ grid, has 28.70.
		{"GeoidEval manual, Timbuktu", 16 + 46./60 + 33./3600, -(3 + 34./3600), 28.7068, 0.01},
	}
	g := load(t)
	for _, test := range tests {
		for _, turn := range []float64{-720, -360, 0, 360} {
			p := geodesy.LatLon{LatDeg: test.latDeg, LonDeg: test.lonDeg + turn}
			if got := g.UndulationM(p); math.Abs(got-test.wantM) > test.withinM {
				t.Errorf("UndulationM(%v) = %.4f m, want %.4f ± %v (%s)", p, got, test.wantM, test.withinM, test.source)
			}
		}
	}
}

// EGM96 ranges from about −106 to +85 m (common practice, no source).
func TestRange(t *testing.T) {
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, mm := range load(t).heightsMM {
		lowest, highest = min(lowest, float64(mm)/1000), max(highest, float64(mm)/1000)
	}
	if math.Abs(lowest+106) > 1 || math.Abs(highest-85) > 1 {
		t.Errorf("heights range from %.3f to %.3f m, want about −106 to +85", lowest, highest)
	}
}

func TestUndulationAgainstPROJ(t *testing.T) {
	cct, err := exec.LookPath("cct")
	if err != nil {
		skipOutsideCI(t, "cct is not installed (Debian: proj-bin, proj-data)")
	}
	random := rand.New(rand.NewPCG(1996, 15))
	places := []geodesy.LatLon{{LatDeg: 90}, {LatDeg: -90}, {LatDeg: 12.3, LonDeg: 180}, {LatDeg: 12.3, LonDeg: -180},
		{LatDeg: -45.1, LonDeg: 179.99}, {LatDeg: -45.1, LonDeg: -179.99}, {LatDeg: 89.9, LonDeg: 100.1}}
	for len(places) < 2000 {
		places = append(places, geodesy.LatLon{LatDeg: random.Float64()*180 - 90, LonDeg: random.Float64()*360 - 180})
	}
	var input bytes.Buffer
	for _, p := range places {
		fmt.Fprintf(&input, "%.12f %.12f 0 0\n", p.LonDeg, p.LatDeg)
	}
	cmd := exec.Command(cct, "-d", "6", "+proj=pipeline", "+step", "+proj=unitconvert", "+xy_in=deg", "+xy_out=rad",
		"+step", "+proj=vgridshift", "+grids=egm96_15.gtx", "+multiplier=1", "+step", "+proj=unitconvert", "+xy_in=rad", "+xy_out=deg")
	cmd.Env = append(os.Environ(), "PROJ_NETWORK=OFF")
	cmd.Stdin = &input
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	output, err := cmd.Output()
	if err != nil {
		skipOutsideCI(t, fmt.Sprintf("cct does not run with egm96_15.gtx (Debian: proj-data): %v: %s", err, stderr.String()))
	}
	g := load(t)
	lines := strings.Split(strings.TrimSpace(string(output)), "\n")
	if len(lines) != len(places) {
		t.Fatalf("cct printed %d lines for %d places, the last: %q; %s", len(lines), len(places), lines[len(lines)-1], stderr.String())
	}
	for i, p := range places {
		var lonDeg, latDeg, wantM float64
		if _, err := fmt.Sscan(lines[i], &lonDeg, &latDeg, &wantM); err != nil {
			t.Fatalf("cct line %q: %v", lines[i], err)
		}
		if got := g.UndulationM(p); math.Abs(got-wantM) > 0.002 {
			t.Errorf("UndulationM(%v) = %.4f m, want %.4f ± 0.002 (PROJ vgridshift)", p, got, wantM)
		}
	}
}

func skipOutsideCI(t *testing.T, reason string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatal(reason)
	}
	t.Skip(reason)
}

// Cells that share an edge must give the same bits on it: a walk may keep either.
func TestCellsAgreeOnEdges(t *testing.T) {
	g := load(t)
	random := rand.New(rand.NewPCG(3, 4))
	for range 20000 {
		row, column := float64(1+random.IntN(719)), float64(random.IntN(2880)-1440)
		edgeLat, edgeLon := row/4-90, column/4
		latDeg, lonDeg := edgeLat+random.Float64()/4, edgeLon+random.Float64()/4
		west, east := g.Cell(latDeg, edgeLon-0.1), g.Cell(latDeg, edgeLon+0.1)
		if a, b := west.UndulationM(latDeg, edgeLon), east.UndulationM(latDeg, edgeLon); a != b {
			t.Fatalf("at %v, %v the western cell gives %v, the eastern %v", latDeg, edgeLon, a, b)
		}
		south, north := g.Cell(edgeLat-0.1, lonDeg), g.Cell(edgeLat+0.1, lonDeg)
		if a, b := south.UndulationM(edgeLat, lonDeg), north.UndulationM(edgeLat, lonDeg); a != b {
			t.Fatalf("at %v, %v the southern cell gives %v, the northern %v", edgeLat, lonDeg, a, b)
		}
	}
}

func TestCell(t *testing.T) {
	tests := []struct {
		name                     string
		latDeg, lonDeg           float64
		south, west, north, east float64
	}{
		{"inside", 55.3, -2.9, 55.25, -3, 55.5, -2.75},
		{"on a node: north-east of it", 10, 20, 10, 20, 10.25, 20.25},
		{"north pole", 90, 7.1, 89.75, 7, 90, 7.25},
		{"south pole", -90, 7.1, -90, 7, -89.75, 7.25},
		{"up to the date line", -17, 179.9, -17, 179.75, -16.75, 180},
		{"past the date line going east", -17, 180.1, -17, 180, -16.75, 180.25},
		{"the date line itself", -17, 180, -17, 180, -16.75, 180.25},
		{"past the date line going west", -17, -180.1, -17, -180.25, -16.75, -180},
		{"a turn further", 55.3, 357.1, 55.25, 357, 55.5, 357.25},
		{"just west of a node", 0, -1e-300, 0, -0.25, 0.25, 0},
		{"just south of a node", -1e-300, 0, -0.25, 0, 0, 0.25},
	}
	g := load(t)
	for _, test := range tests {
		c := g.Cell(test.latDeg, test.lonDeg)
		if got, want := [4]float64{c.South, c.West, c.North, c.East}, [4]float64{test.south, test.west, test.north, test.east}; got != want {
			t.Errorf("%s: Cell(%v, %v) has bounds %v, want %v", test.name, test.latDeg, test.lonDeg, got, want)
		}
		if !c.Contains(test.latDeg, test.lonDeg) {
			t.Errorf("%s: Cell(%v, %v) does not contain the place", test.name, test.latDeg, test.lonDeg)
		}
		for _, beyond := range [][2]float64{{c.North + 0.01, test.lonDeg}, {c.South - 0.01, test.lonDeg},
			{test.latDeg, c.West - 0.01}, {test.latDeg, c.East + 0.01}, {test.latDeg, test.lonDeg + 360}} {
			if c.Contains(beyond[0], beyond[1]) {
				t.Errorf("%s: Cell(%v, %v) contains %v", test.name, test.latDeg, test.lonDeg, beyond)
			}
		}
		p := geodesy.LatLon{LatDeg: test.latDeg, LonDeg: test.lonDeg}
		if a, b := c.UndulationM(test.latDeg, test.lonDeg), g.UndulationM(p); a != b {
			t.Errorf("%s: the cell gives %v m, the grid %v m", test.name, a, b)
		}
	}
}

func TestPlacesOutsideTheGrid(t *testing.T) {
	g := load(t)
	if a, b := g.UndulationM(geodesy.LatLon{LatDeg: 90 + 1e-12, LonDeg: 5}), g.UndulationM(geodesy.LatLon{LatDeg: 90, LonDeg: 5}); a != b {
		t.Errorf("past the pole %v m, at the pole %v m", a, b)
	}
	for _, p := range []geodesy.LatLon{{LatDeg: math.NaN()}, {LonDeg: math.NaN()}, {LonDeg: math.Inf(1)}, {LonDeg: math.Inf(-1)}} {
		if got := g.UndulationM(p); !math.IsNaN(got) {
			t.Errorf("UndulationM(%v) = %v, want NaN", p, got)
		}
	}
}

func TestDecodeDamagedGrid(t *testing.T) {
	for _, packed := range []string{"", egm96Packed[:len(egm96Packed)/2], "\x01\x00\x00\xff\xff"} {
		if _, err := decode(packed); err == nil || !strings.Contains(err.Error(), "EGM96") {
			t.Errorf("decode of %d damaged bytes: error %v, want one that names EGM96", len(packed), err)
		}
	}
}

func TestCellDoesNotAllocate(t *testing.T) {
	g := load(t)
	var sum float64
	if n := testing.AllocsPerRun(100, func() { sum += g.Cell(55.3, -2.9).UndulationM(55.3, -2.9) }); n != 0 {
		t.Errorf("a cell costs %v allocations, want none", n)
	}
}

func BenchmarkDecode(b *testing.B) {
	for b.Loop() {
		if _, err := decode(egm96Packed); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkUndulation(b *testing.B) {
	g := load(b)
	p, sum := geodesy.LatLon{LatDeg: 55.3, LonDeg: -2.9}, 0.0
	for b.Loop() {
		p.LonDeg += 0.0008
		sum += g.UndulationM(p)
	}
}

// A walk at 3″ keeps its cell for 300 steps.
func BenchmarkUndulationKeepingCell(b *testing.B) {
	g := load(b)
	latDeg, lonDeg, sum := 55.3, -2.9, 0.0
	c := g.Cell(latDeg, lonDeg)
	for b.Loop() {
		lonDeg += 1. / 1200
		if !c.Contains(latDeg, lonDeg) {
			c = g.Cell(latDeg, lonDeg)
		}
		sum += c.UndulationM(latDeg, lonDeg)
	}
}
