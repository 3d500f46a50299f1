package pipeline

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"farstation/geodesy/geoid"
	"farstation/geodesy/terrain"
)

// walked counts lines by cell with the walk over terrain that surveys use, pair by pair: the slow twin of countLines.
func walked(t *testing.T, opts *Options, world *World) (map[[2]int]int64, int64) {
	t.Helper()
	plan, err := newPlan(t.Context(), opts, world)
	if err != nil {
		t.Fatal(err)
	}
	grid, err := geoid.EGM96()
	if err != nil {
		t.Fatal(err)
	}
	empty, err := terrain.Discover(nil)
	if err != nil {
		t.Fatal(err)
	}
	walker := terrain.NewWalker(terrain.NewStore(empty, terrain.StoreOptions{}), grid, 0)
	counts := map[[2]int]int64{}
	total := int64(0)
	var line terrain.Line
	for _, chunk := range plan.chunks {
		for _, i := range chunk {
			for j, target := range plan.targets {
				from, to := &world.Features[i], &world.Features[target]
				if i == target || !IsCandidate(plan.eyes[i], plan.tree.ends[j], geodesicM(from.At, to.At), opts.leastTracedM(), opts.MaxDistanceKM*1000) {
					continue
				}
				total++
				if err := line.Reset(terrain.End{At: from.At, HeightM: from.GroundHeightM}, terrain.End{At: to.At, HeightM: to.GroundHeightM}); err != nil {
					t.Fatal(err)
				}
				cells := map[[2]int]bool{}
				walker.Walk(&line, terrain.FillSea, 0, line.DistanceM, func(piece *terrain.Piece) bool {
					p, _ := line.At(piece.X + piece.W/2)
					cells[[2]int{int(math.Floor(p.LatDeg)), wrapDeg(int(math.Floor(p.LonDeg)))}] = true
					return true
				})
				for c := range cells {
					counts[c]++
				}
			}
		}
	}
	return counts, total
}

// scatter writes a CSV of features at random around a place, and returns its path. None stands on a pole, where the walk over terrain goes
// through all meridians in half a metre.
func scatter(t *testing.T, n int, latDeg, lonDeg, spreadDeg float64) string {
	t.Helper()
	random := rand.New(rand.NewPCG(41, 42))
	var csv strings.Builder
	csv.WriteString("id,name,kind,lat,lon,ele\n")
	for i := range n {
		lat := min(latDeg+spreadDeg*random.NormFloat64(), 89.99)
		lon := math.Remainder(lonDeg+spreadDeg*random.NormFloat64()/math.Cos(lat*math.Pi/180), 360)
		fmt.Fprintf(&csv, "%d,Made %d,peak,%.9f,%.9f,%.0f\n", i, i, lat, lon, 200+2500*random.Float64())
	}
	return written(t, csv.String())
}

func written(t *testing.T, csv string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "made.csv")
	if err := os.WriteFile(path, []byte(csv), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// linesByCell are the counts of a report.
func linesByCell(needs *TileNeeds) map[[2]int]int64 {
	counts := map[[2]int]int64{}
	for _, c := range needs.Cells {
		counts[[2]int{c.LatDeg, c.LonDeg}] = *c.Lines
	}
	return counts
}

func TestTilesAgreeWithBruteForce(t *testing.T) {
	borders := func(step int) string { return fewHills(t, step) }
	for _, test := range []struct {
		name     string
		features string
		terrain  []terrain.Source
		change   func(*Options)
		least    int // cells
	}{
		{"Borders with terrain", borders(12), hillOptions().Terrain, func(*Options) {}, 2},
		{"Borders without terrain, far lines", borders(12), nil, func(o *Options) { o.MinDistanceKM, o.NearMinDistanceKM, o.MaxDistanceKM = 60, 60, 90 }, 2},
		{"Borders from an area", borders(6), nil, func(o *Options) { o.Area = &Area{West: -3.4, South: 55.42, East: -3.3, North: 55.51} }, 2},
		{"around the date line", scatter(t, 70, -16.9, 180, 0.9), nil, func(*Options) {}, 15},
		{"beside a parallel", scatter(t, 70, 56, 0, 0.5), nil, func(*Options) {}, 8},
		{"89° north", scatter(t, 60, 89, 50, 0.8), nil, func(*Options) {}, 100},
	} {
		opts := DefaultOptions()
		opts.Features, opts.Terrain = []string{test.features}, test.terrain
		test.change(&opts)
		var reports []*TileNeeds
		for _, workers := range []int{1, 3} {
			opts.Workers = workers
			needs, err := Tiles(t.Context(), opts, nil)
			if err != nil {
				t.Fatal(err)
			}
			reports = append(reports, needs)
		}
		if diff := cmp.Diff(reports[0], reports[1]); diff != "" {
			t.Errorf("%s: three workers change the report (-one +three):\n%s", test.name, diff)
		}
		world, err := Load(t.Context(), opts, nil)
		if err != nil {
			t.Fatal(err)
		}
		want, total := walked(t, &opts, world)
		if diff := cmp.Diff(want, linesByCell(reports[0])); diff != "" {
			t.Errorf("%s: lines by cell (-brute force +Tiles):\n%s", test.name, diff)
		}
		if reports[0].Lines != total || len(want) < test.least {
			t.Errorf("%s: %d lines over %d cells; brute force has %d lines, and %d cells were wanted at least", test.name, reports[0].Lines, len(want), total, test.least)
		}
		t.Logf("%s: %d lines over %d cells", test.name, total, len(want))
	}
}

// A survey traces the lines that Tiles counts, and misses the tiles that Tiles says are missing.
func TestTilesAgreeWithSurvey(t *testing.T) {
	opts := hillOptions()
	opts.Features, opts.Terrain = []string{fewHills(t, 30)}, opts.Terrain[:1]
	needs, err := Tiles(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	result, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	c := &result.Manifest.Counts
	if want := int64(c.Candidates + c.NearCandidates + c.TooClose); needs.Lines != want || needs.Observers != c.Observers || needs.Targets != c.Targets {
		t.Errorf("%d lines, %d observers, %d targets; the survey has %d, %d, %d", needs.Lines, needs.Observers, needs.Targets, want, c.Observers, c.Targets)
	}
	var missing []string
	for _, cell := range needs.Cells {
		if cell.State == CellMissing {
			missing = append(missing, cell.Cell)
		}
	}
	if diff := cmp.Diff(result.Manifest.Terrain.MissingLandCells, missing); diff != "" || len(missing) != 1 {
		t.Errorf("missing cells (-survey +Tiles):\n%s", diff)
	}
}

func TestTilesStates(t *testing.T) {
	// A made group of islets in the empty South Pacific, where no map has land, over the date line; one lists no height.
	islets := written(t, "id,name,kind,lat,lon,ele\n1,Almer,peak,-45.5,179.7,600\n2,Bront,peak,-45.6,-179.6,700\n3,Corvin,peak,-45.2,-177.5,800\n4,Dalk,peak,-45.3,-177.4,\n5,Ester,peak,91,0,5\n")
	opts := DefaultOptions()
	opts.Features, opts.Workers = []string{islets}, 1
	needs, err := Tiles(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, c := range needs.Cells {
		got = append(got, fmt.Sprintf("%s %d %s", c.Cell, *c.Lines, c.State))
	}
	// Six directed lines: all but those between the first two reach the third's cell.
	want := []string{"S46W180 6 missing", "S46W179 4 sea", "S46W178 4 missing", "S46E179 4 missing"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("cells (-want +got):\n%s", diff)
	}
	if needs.Features != 3 || needs.Dropped != 1 || needs.Rejected != 1 || needs.Lines != 6 {
		t.Errorf("%+v, want 3 features, 1 dropped, 1 rejected, 6 lines", needs)
	}
}

func TestTilesOfArea(t *testing.T) {
	cut := filepath.Join(t.TempDir(), "N55W004.hgt.zip")
	content, err := os.ReadFile("../testdata/N55W004.hgt.zip")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(cut, content[:100000], 0o644); err != nil {
		t.Fatal(err)
	}
	sources := []terrain.Source{{Path: "../testdata/N55W003.hgt.zip"}, {Path: filepath.Dir(cut)}}
	tests := []struct {
		name string
		area Area
		want string // cells with the first letter of their states
	}{
		{"one cell", Area{-2.9, 55.1, -2.1, 55.9}, "N55W003s"},
		{"edges do not reach beyond", Area{-3, 55, -2, 56}, "N55W003s"},
		{"a tile that cannot be read", Area{-3.5, 55, -2, 56}, "N55W004m N55W003s"},
		{"a place", Area{-2.5, 55.5, -2.5, 55.5}, "N55W003s"},
		{"a corner", Area{-3, 55, -3, 55}, "N55W003s"},
		{"over the date line", Area{179.5, 51.5, -178.5, 52.5}, "N51W180m N51W179m N51E179m N52W180~ N52W179~ N52E179m"}, // Semisopochnoi ends at 52.02° N
		{"up to the date line", Area{179.5, -45.5, 180, -45}, "S46E179~"},
		{"from the date line as 180", Area{180, -45.5, -179.5, -45}, "S46W180~"},
		{"at the north pole", Area{0, 90, 0, 90}, "N89E000~"},
		{"at the south pole", Area{0, -90, 1, -90}, "S90E000m"},
	}
	for _, test := range tests {
		opts := DefaultOptions()
		opts.Area, opts.Terrain = &test.area, sources
		needs, err := Tiles(t.Context(), opts, nil)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, c := range needs.Cells {
			got = append(got, c.Cell+map[string]string{CellServed: "s", CellSea: "~", CellMissing: "m"}[c.State])
			if c.Lines != nil {
				t.Errorf("%s: %s has a count of lines", test.name, c.Cell)
			}
		}
		if text := strings.Join(got, " "); text != test.want {
			t.Errorf("%s: %v is %s, want %s", test.name, test.area, text, test.want)
		}
		if broken := strings.Contains(test.want, "N55W004m"); broken != (len(needs.Unreadable) == 1) {
			t.Errorf("%s: unreadable are %q", test.name, needs.Unreadable)
		}
	}
	whole := &Area{West: -180, South: -90, East: 180, North: 90}
	if n := len(whole.cells()); n != 180*360 {
		t.Errorf("the whole Earth has %d cells, want %d", n, 180*360)
	}
	opts := DefaultOptions()
	if _, err := Tiles(t.Context(), opts, nil); err == nil {
		t.Error("Tiles without features and area gives no error")
	}
}
