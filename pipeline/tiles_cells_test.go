package pipeline

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"farstation/geodesy"
)

func noTile(int, int) bool { return false }

// crossed lists the cells of a line by crossedCells, sorted by name.
func crossed(t *testing.T, from, to geodesy.LatLon, has func(latDeg, lonDeg int) bool) []string {
	t.Helper()
	var names []string
	crossedCells(from, to, has, func(latDeg, lonDeg int) {
		if latDeg < -90 || latDeg > 89 || lonDeg < -180 || lonDeg > 179 {
			t.Errorf("%v to %v: cell %d, %d is none", from, to, latDeg, lonDeg)
		}
		names = append(names, cellName(latDeg, lonDeg))
	})
	slices.Sort(names)
	if len(slices.Compact(slices.Clone(names))) != len(names) {
		t.Errorf("%v to %v: a cell comes twice: %v", from, to, names)
	}
	return names
}

func TestCrossedCells(t *testing.T) {
	at := func(latDeg, lonDeg float64) geodesy.LatLon { return geodesy.LatLon{LatDeg: latDeg, LonDeg: lonDeg} }
	// Worked out by hand; how far a line bulges polewards is s²·tan φ/8R: 366 m for 126 km at 56°, 0.0033°.
	tests := []struct {
		name     string
		from, to geodesy.LatLon
		has      string
		want     string
	}{
		{"one cell", at(55.2, -3.7), at(55.9, -3.1), "", "N55W004"},
		{"over a meridian", at(55.2, -3.7), at(55.9, -2.1), "", "N55W003 N55W004"},
		{"over a parallel", at(54.2, -3.7), at(55.9, -3.1), "", "N54W004 N55W004"},
		{"along a meridian", at(53.5, 11.5), at(55.5, 11.5), "", "N53E011 N54E011 N55E011"},
		{"a corner cut above", at(55.5, 10.99), at(56.01, 11.5), "", "N55E010 N55E011 N56E011"},
		{"a corner cut below", at(55.99, 10.5), at(56.5, 11.01), "", "N55E010 N56E010 N56E011"},
		{"bulges north over the parallel", at(55.999, -3.99), at(55.999, -2.01), "", "N55W003 N55W004 N56W003 N56W004"},
		{"does not bulge that far", at(55.996, -3.99), at(55.996, -2.01), "", "N55W003 N55W004"},
		{"bulges south over the parallel", at(-55.999, -3.99), at(-55.999, -2.01), "", "S56W003 S56W004 S57W003 S57W004"},
		{"ends on the corner that it comes from", at(55, 10), at(55.5, 10.5), "", "N55E010"},
		{"ends on the far corner", at(56, 11), at(55.5, 10.5), "", "N55E010"},
		{"through a corner's ends in four cells' middle", at(55, 11), at(54.5, 11.5), "", "N54E011"},
		{"over the date line", at(-16.5, 179.5), at(-16.4, -179.5), "", "S17E179 S17W180"},
		{"over the date line, counted past it", at(-16.5, 179.5), at(-16.4, 180.5), "", "S17E179 S17W180"},
		{"up to the date line", at(-16.5, 179.5), at(-16.4, 180), "", "S17E179"},
		{"up to the date line from the east", at(-16.5, -179.5), at(-16.4, 180), "", "S17W180"},
		{"along the date line", at(-16.5, 180), at(-16.4, -180), "", "S17W180"},
		{"along the date line, with a tile to its west", at(-16.5, 180), at(-16.4, -180), "S17E179", "S17E179"},
		{"along an edge", at(55.1, -3), at(55.9, -3), "", "N55W003"},
		{"along an edge with both tiles", at(55.1, -3), at(55.9, -3), "N55W003 N55W004", "N55W003"},
		{"along an edge with one tile", at(55.1, -3), at(56.9, -3), "N55W004", "N55W004 N56W003"},
		{"along the equator", at(0, 10.5), at(0, 11.5), "", "N00E010 N00E011"},
		{"along the equator with a tile to its south", at(0, 10.5), at(0, 11.5), "S01E011", "N00E010 S01E011"},
		{"over the equator", at(-0.5, 10.5), at(0.5, 10.6), "", "N00E010 S01E010"},
		{"over the pole", at(89.5, 10.5), at(89.5, -169.5), "", "N89E010 N89W170"},
		{"over the pole from row to row", at(88.9, 10.5), at(89.5, 190.5), "", "N88E010 N89E010 N89W170"},
		{"over the south pole", at(-89.5, 0.5), at(-89.5, -179.5), "", "S90E000 S90W180"},
		{"from the pole", at(90, 77), at(88.5, 10.5), "", "N88E010 N89E010"},
		{"to the south pole", at(-88.5, 10.5), at(-90, 0), "", "S89E010 S90E010"},
	}
	for _, test := range tests {
		has := func(latDeg, lonDeg int) bool {
			return slices.Contains(strings.Fields(test.has), cellName(latDeg, lonDeg))
		}
		for _, ends := range [][2]geodesy.LatLon{{test.from, test.to}, {test.to, test.from}} {
			if got := strings.Join(crossed(t, ends[0], ends[1], has), " "); got != test.want {
				t.Errorf("%s: %v to %v crosses %s, want %s", test.name, ends[0], ends[1], got, test.want)
			}
		}
	}
}

// sampled adds to cells those that a line is in at samples stepM apart. Places within a tenth of a millimetre of an edge say nothing.
func sampled(from, to geodesy.LatLon, stepM float64, cells map[string]bool) {
	route, line := geodesy.WGS84.InverseLine(from, to)
	onEdge := func(deg float64) bool { return math.Abs(deg-math.Round(deg)) < 1e-9 }
	for i := range int(route.DistanceM/stepM) + 1 {
		p, _ := line.At((float64(i) + 0.5) / (math.Floor(route.DistanceM/stepM) + 1) * route.DistanceM)
		if !onEdge(p.LatDeg) && !onEdge(p.LonDeg) {
			cells[cellName(int(math.Floor(p.LatDeg)), wrapDeg(int(math.Floor(p.LonDeg))))] = true
		}
	}
}

// The exact walk against samples every 100 m: no cell that a sample lies in may be lacking, and any more must show up in closer samples, at
// a centimetre in the end.
func TestCrossedCellsAgreeWithSamples(t *testing.T) {
	random := rand.New(rand.NewPCG(21, 22))
	between := func(low, high float64) float64 { return low + (high-low)*random.Float64() }
	whole := func(v float64) float64 { return math.Round(v) + []float64{0, 1e-3, -1e-3, 1e-4, -1e-4}[random.IntN(5)] }
	away := func(from geodesy.LatLon, leastKM, mostKM float64) geodesy.LatLon {
		to, _ := geodesy.WGS84.Direct(from, between(0, 360), 1000*between(leastKM, mostKM))
		return to
	}
	worlds := []struct {
		name  string
		lines int
		make  func() (from, to geodesy.LatLon)
	}{
		{"globe", 200, func() (geodesy.LatLon, geodesy.LatLon) {
			from := geodesy.LatLon{LatDeg: math.Asin(between(-1, 1)) * 180 / math.Pi, LonDeg: between(-180, 180)}
			return from, away(from, 1, 400)
		}},
		{"far", 20, func() (geodesy.LatLon, geodesy.LatLon) {
			from := geodesy.LatLon{LatDeg: between(-90, 90), LonDeg: between(-180, 180)}
			return from, away(from, 1000, 4900)
		}},
		{"date line", 100, func() (geodesy.LatLon, geodesy.LatLon) {
			from := geodesy.LatLon{LatDeg: between(-70, 70), LonDeg: between(179, 181)}
			return from, away(from, 1, 300)
		}},
		{"along a parallel beside an edge", 100, func() (geodesy.LatLon, geodesy.LatLon) {
			latDeg, lonDeg := math.Round(between(-80, 80)), between(-180, 180)
			beside := func() float64 { return latDeg + between(-0.004, 0.004) }
			return geodesy.LatLon{LatDeg: beside(), LonDeg: lonDeg}, geodesy.LatLon{LatDeg: beside(), LonDeg: lonDeg + between(0.3, 3)}
		}},
		{"on and beside corners", 100, func() (geodesy.LatLon, geodesy.LatLon) {
			latDeg, lonDeg := between(-80, 80), between(-180, 180)
			return geodesy.LatLon{LatDeg: whole(latDeg), LonDeg: whole(lonDeg)},
				geodesy.LatLon{LatDeg: whole(latDeg + between(-2, 2)), LonDeg: whole(lonDeg + between(1, 3))}
		}},
		{"89° north", 60, func() (geodesy.LatLon, geodesy.LatLon) {
			from := geodesy.LatLon{LatDeg: between(88.7, 89.9), LonDeg: between(-180, 180)}
			return from, away(from, 1, 300)
		}},
		{"past the south pole", 20, func() (geodesy.LatLon, geodesy.LatLon) {
			from := geodesy.LatLon{LatDeg: between(-89.99, -89.95), LonDeg: between(-180, 180)}
			return from, geodesy.LatLon{LatDeg: between(-89.99, -89.95), LonDeg: from.LonDeg + 180 + between(-4, 4)}
		}},
	}
	for _, world := range worlds {
		refined, cells := 0, 0
		for range world.lines {
			from, to := world.make()
			got := crossed(t, from, to, noTile)
			cells += len(got)
			seen := map[string]bool{}
			sampled(from, to, 100, seen)
			for stepM := 10.0; len(seen) < len(got) && stepM > 0.005; stepM /= 10 {
				refined++
				sampled(from, to, stepM, seen)
			}
			if want := slices.Sorted(maps.Keys(seen)); !slices.Equal(got, want) {
				t.Errorf("%s: %v to %v crosses (-samples +cells):\n%s", world.name, from, to, cmp.Diff(want, got))
			}
		}
		t.Logf("%s: %d lines, %d cells, sampled again %d times", world.name, world.lines, cells, refined)
	}
}

// mayBulge must say so of every line that does.
func TestMayBulge(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 32))
	bulging, refused := 0, 0
	for range 20000 {
		latDeg, width := 178*random.Float64()-89, 10*math.Pow(random.Float64(), 2)
		from := geodesy.LatLon{LatDeg: latDeg}
		to := geodesy.LatLon{LatDeg: latDeg - math.Copysign(0.2*math.Pow(random.Float64(), 4), latDeg), LonDeg: width}
		low, high := min(from.LatDeg, to.LatDeg), max(from.LatDeg, to.LatDeg)
		_, last := degreesOf(low, high)
		first, _ := degreesOf(low, high)
		route := geodesy.WGS84.Inverse(from, to)
		heading, end := northward(route.AzimuthDeg), northward(route.EndAzimuthDeg)
		turnDeg := turnLatDeg(from.LatDeg, route.AzimuthDeg)
		bulges := heading > 0 && end < 0 && turnDeg > float64(last+1) || heading < 0 && end > 0 && -turnDeg < float64(first)
		may := mayBulge(low, high, width)
		if bulges && !may {
			t.Fatalf("%v to %v turns at %v, yet mayBulge(%v, %v, %v) is false", from, to, turnDeg, low, high, width)
		}
		if bulges {
			bulging++
		}
		if may {
			refused++
		}
	}
	if bulging < 100 || refused > 2*bulging {
		t.Errorf("%d of 20,000 lines bulge and %d may: the bound says nothing", bulging, refused)
	}
}

// The turning latitude against samples along the line.
func TestTurnLatDeg(t *testing.T) {
	for _, latDeg := range []float64{0.001, 12, 55.7, -42, 88} {
		for _, azimuthDeg := range []float64{1, 45, 89, 90} {
			line := geodesy.WGS84.Line(geodesy.LatLon{LatDeg: latDeg, LonDeg: 7}, azimuthDeg)
			highest := -90.0
			for km := range 20000 {
				p, _ := line.At(1000 * float64(km))
				highest = max(highest, p.LatDeg)
			}
			// Half a kilometre from the turn latitude lies d²·tan φ/2R below it, 1.8e-7°·tan φ.
			if got := turnLatDeg(latDeg, azimuthDeg); got < highest-1e-12 || got > highest+1.8e-7*math.Tan(got*math.Pi/180)+1e-12 {
				t.Errorf("turnLatDeg(%v, %v) = %.9f, the northernmost sample lies at %.9f", latDeg, azimuthDeg, got, highest)
			}
		}
	}
}
