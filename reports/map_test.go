package reports

import (
	"bytes"
	"encoding/json"
	"image"
	"image/png"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"farstation/pipeline"
)

// Two squares with a side in common, cut at the date line as Natural Earth cuts land: a western country of 178…180° and an eastern one of
// −180…−178°, and inland of the first a third with a border at 179°.
const madeTopology = `{"transform":{"scale":[1,1],"translate":[0,0]},
"arcs":[[[179,0],[1,0],[0,2],[-1,0]],[[179,2],[0,-2]],[[179,2],[-1,0],[0,-2],[1,0]],[[-180,0],[2,0],[0,2],[-2,0],[0,-2]]],
"objects":{"countries":{"geometries":[{"type":"Polygon","arcs":[[0,1]]},{"type":"Polygon","arcs":[[-2,2]]},{"type":"MultiPolygon","arcs":[[[3]]]}]},
"land":{"geometries":[{"type":"MultiPolygon","arcs":[[[0,2]],[[3]]]}]}}}`

func TestAtlasIsClippedAndRunsOverTheDateLine(t *testing.T) {
	var topo topology
	if err := json.Unmarshal([]byte(madeTopology), &topo); err != nil {
		t.Fatal(err)
	}
	world, err := newAtlas(&topo)
	if err != nil {
		t.Fatal(err)
	}
	if len(world.land) != 2 || len(world.borders) != 1 || world.borders[0][0] != (orb.Point{179, 2}) {
		t.Fatalf("%d shores and borders %v, want 2 and the one at 179°", len(world.land), world.borders)
	}
	for _, c := range []struct {
		name    string
		box     pipeline.MapBox
		areas   []float64 // square degrees of each piece of land
		borders int
	}{
		{"all of it", pipeline.MapBox{WestDeg: 177, SouthDeg: -1, EastDeg: 183, NorthDeg: 3}, []float64{4, 4}, 1},
		{"over the date line", pipeline.MapBox{WestDeg: 179.5, SouthDeg: 0.5, EastDeg: 181, NorthDeg: 1.5}, []float64{0.5, 1}, 0},
		{"east of it", pipeline.MapBox{WestDeg: -179.5, SouthDeg: 0, EastDeg: -178.5, NorthDeg: 1}, []float64{1}, 0},
		{"elsewhere", pipeline.MapBox{WestDeg: 10, SouthDeg: 0, EastDeg: 20, NorthDeg: 10}, nil, 0},
	} {
		parts := world.inBox(c.box)
		if len(parts.land) != len(c.areas) || len(parts.borders) != c.borders {
			t.Errorf("%s: %d pieces of land and %d borders, want %d and %d", c.name, len(parts.land), len(parts.borders), len(c.areas), c.borders)
			continue
		}
		for i, ring := range parts.land {
			if got := shoelace(ring); math.Abs(got-c.areas[i]) > 1e-9 {
				t.Errorf("%s: land %d has %v square degrees, want %v", c.name, i, got, c.areas[i])
			}
			if b := ring.Bound(); b.Min[0] < c.box.WestDeg || b.Max[0] > c.box.EastDeg || b.Min[1] < c.box.SouthDeg || b.Max[1] > c.box.NorthDeg {
				t.Errorf("%s: land %d reaches out of the box: %v", c.name, i, b)
			}
		}
	}
	topo.Objects["land"].Geometries[0].Arcs = json.RawMessage(`[[[9]]]`)
	if _, err := newAtlas(&topo); err == nil || !strings.Contains(err.Error(), "arc 9 of 4") {
		t.Errorf("an arc that is not there gave %v", err)
	}
}

func shoelace(ring orb.Ring) float64 {
	area := 0.0
	for i := range ring {
		a, b := ring[i], ring[(i+1)%len(ring)]
		area += (a[0]*b[1] - b[0]*a[1]) / 2
	}
	return math.Abs(area)
}

// The built-in atlas: what is land and what is sea, and a border, by well-known places (from memory).
func TestAtlasHasTheWorld(t *testing.T) {
	world, err := readAtlas()
	if err != nil {
		t.Fatal(err)
	}
	area := func(box pipeline.MapBox) float64 {
		sum := 0.0
		for _, ring := range world.inBox(box).land {
			sum += shoelace(ring)
		}
		return sum
	}
	if got := area(pipeline.MapBox{WestDeg: 15, SouthDeg: 49, EastDeg: 16, NorthDeg: 50}); math.Abs(got-1) > 1e-9 {
		t.Errorf("a degree of Bohemia has %v square degrees of land, want 1", got)
	}
	if got := area(pipeline.MapBox{WestDeg: -141, SouthDeg: -31, EastDeg: -140, NorthDeg: -30}); got != 0 {
		t.Errorf("a degree of the South Pacific has %v square degrees of land, want 0", got)
	}
	// Malta has 316 km² (the archipelago, National Statistics Office, from memory), 0.032 square degrees at 36° N.
	if got := area(pipeline.MapBox{WestDeg: 14, SouthDeg: 35.7, EastDeg: 14.7, NorthDeg: 36.2}); got < 0.027 || got > 0.036 {
		t.Errorf("Malta has %.4f square degrees, want about 0.032", got)
	}
	if got := len(world.inBox(pipeline.MapBox{WestDeg: -3, SouthDeg: 42, EastDeg: 3, NorthDeg: 44}).borders); got == 0 {
		t.Error("no border crosses the Pyrenees")
	}
}

// A cone lit from the north-west is lightest on that side and darkest on the other; the sea is not drawn.
func TestHillshade(t *testing.T) {
	const n = 40
	g := &pipeline.ReliefGrid{MapBox: pipeline.MapBox{WestDeg: 179.8, SouthDeg: -0.2, EastDeg: 180.2, NorthDeg: 0.2}, Columns: n, Rows: n, HeightM: make([]int16, n*n)}
	for i := range g.HeightM {
		x, y := float64(i%n)-n/2+0.5, float64(i/n)-n/2+0.5
		if h := 3000 - 170*math.Hypot(x, y); h > 0 {
			g.HeightM[i] = int16(h)
		} else {
			g.HeightM[i] = pipeline.NoGround
		}
	}
	text, err := hillshade(g)
	if err != nil {
		t.Fatal(err)
	}
	picture, err := png.Decode(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	grey := func(x, y int) uint8 { return picture.(*image.Paletted).ColorIndexAt(x, y) }
	northWest, southEast, level := grey(14, 14), grey(26, 26), uint8(1+math.Round((reliefGreys-1)*math.Sqrt2/2))
	if !(northWest > level && level > southEast) || grey(0, 0) != 0 {
		t.Errorf("greys %d in the north-west, %d level, %d in the south-east, %d at sea", northWest, level, southEast, grey(0, 0))
	}
	// By symmetry the two sides aside of the light are alike.
	if a, b := grey(26, 13), grey(13, 26); a != b {
		t.Errorf("greys %d and %d aside of the light, want the same", a, b)
	}
	g.HeightM = g.HeightM[1:]
	if _, err := hillshade(g); err == nil {
		t.Error("a grid that lacks a height was drawn")
	}
}

// Lines over the date line stay in one piece on the map, inside its box, with their ends where they belong.
func TestMapOverTheDateLine(t *testing.T) {
	result := madeResult()
	m, err := newHTMLMap(result, madeOptions())
	if err != nil || m == nil {
		t.Fatalf("no map: %v", err)
	}
	if m.West < 170 || m.East < 180.6 || m.East > 190 {
		t.Fatalf("the map spans %.1f…%.1f°, want it to run over 180°", m.West, m.East)
	}
	figure := string(m.Figure)
	lines := regexp.MustCompile(`<path class="map-line map-[a-z]+" d="M(-?[\d.]+)([ -][\d.]+)([^"]*)"`).FindAllStringSubmatch(figure, -1)
	if len(lines) != len(result.Profiles) {
		t.Fatalf("%d lines, want %d", len(lines), len(result.Profiles))
	}
	for _, line := range lines {
		x, _ := strconv.ParseFloat(line[1], 64)
		for _, step := range regexp.MustCompile(`l(-?[\d.]+)`).FindAllStringSubmatch(line[3], -1) {
			dx, err := strconv.ParseFloat(step[1], 64)
			if err != nil || dx < -1 {
				t.Errorf("a line of the map steps west, %v: all made targets lie east (%v)", step[0], err)
			}
			x += dx
		}
		if x < 0 || x > mapWidth {
			t.Errorf("a line ends at x = %v, outside of the map", x)
		}
	}
	if n := strings.Count(figure, "<circle"); n != 15 { // one observer's and one target's name are the same feature's
		t.Errorf("%d tops on the map, want 15", n)
	}
}

// Without scripts the page shows the map, the first rows of its tables and every drawn line; the data for the script is JSON.
func TestHTMLWithoutScripts(t *testing.T) {
	result := madeResult()
	for i := len(result.Shown.Sightlines); i < 300; i++ {
		l := result.Shown.Sightlines[i%3]
		rank := int32(i)
		l.Rank = &rank
		result.Shown.Sightlines = append(result.Shown.Sightlines, l)
	}
	page := madePage(t, result, madeOptions())
	_, rest, _ := strings.Cut(page, `<table class="sortable" data-table="sightlines">`)
	table, _, _ := strings.Cut(rest, "</table>")
	if n := strings.Count(table, "<tr>") - 1; n != staticRows || !strings.Contains(rest, "The first 60 of 299 rows stand here") {
		t.Errorf("%d rows stand in the page, want %d of 299, said so", n, staticRows)
	}
	for _, want := range []string{`<svg class="map-figure"`, `<article class="line" id="line-8"`, "Objections, and the numbers that answer them", "What would the plane need?"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	_, rest, _ = strings.Cut(page, `<script type="application/json" id="page-data">`)
	text, _, _ := strings.Cut(rest, "</script>")
	if strings.ContainsAny(text, "<>&") {
		t.Error("the data holds <, > or &, which could end its element")
	}
	var data pageData
	if err := json.Unmarshal([]byte(text), &data); err != nil {
		t.Fatalf("the data of the page: %v", err)
	}
	sightlines := data.Tables[1]
	if sightlines.ID != "sightlines" || len(sightlines.From) != 299 || len(sightlines.To) != 299 || sightlines.Lines[2] != 3 {
		t.Errorf("table %q has %d rows; the third row is drawn by section %v", sightlines.ID, len(sightlines.From), sightlines.Lines)
	}
	for _, table := range data.Tables {
		for c, column := range table.Columns {
			if len(column.At) != len(table.From) {
				t.Errorf("%s: column %d has %d cells for %d rows", table.ID, c, len(column.At), len(table.From))
			}
		}
	}
	if near := data.Tables[0].Near[0]; near < 0 || data.Features[near].Kind != "mast" {
		t.Errorf("the near top of the first alignment is feature %d", near)
	}
	if !strings.Contains(text, `\u003cscript\u003ealert(1)`) {
		t.Error("a nasty name is not in the data")
	}
}

// Names of places that the page's files mention are no links: only namespaces, and where Leaflet says it is from.
func TestHTMLNamesNoOutsideAddress(t *testing.T) {
	page := madePage(t, madeResult(), madeOptions())
	for _, address := range regexp.MustCompile(`https?://[^\s"'<>)&\\]+`).FindAllString(page, -1) {
		if address != "http://www.w3.org/2000/svg" && address != "https://leafletjs.com" && !strings.HasPrefix(address, "http://exa") { // a made name
			t.Errorf("the page holds %s", address)
		}
	}
}
