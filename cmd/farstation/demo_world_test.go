package main

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// demoFeature is a row of the demo's gazetteer, as the tests need it.
type demoFeature struct {
	name, kind, groundText          string
	at                              geodesy.LatLon
	groundHeightM, structureHeightM float64
}

func (f demoFeature) isSummit() bool {
	return slices.Contains([]string{"peak", "hill", "volcano"}, f.kind)
}

// demoRowsByName reads the demo's gazetteer; rows without eight columns are left out and counted.
func demoRowsByName(t *testing.T) (rows map[string]demoFeature, torn int) {
	t.Helper()
	reader := csv.NewReader(strings.NewReader(demoFeatures))
	reader.FieldsPerRecord = -1
	records, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got, want := strings.Join(records[0], ","), "id,name,other_names,kind,latitude_deg,longitude_deg,ground_height_m,structure_height_m"; got != want {
		t.Fatalf("header %s, want %s", got, want)
	}
	rows = map[string]demoFeature{}
	ids := map[string]bool{}
	for _, record := range records[1:] {
		if ids[record[0]] {
			t.Errorf("id %s stands twice", record[0])
		}
		ids[record[0]] = true
		if len(record) != 8 {
			torn++
			continue
		}
		f := demoFeature{name: record[1], kind: record[3], groundText: record[6]}
		f.at.LatDeg, _ = strconv.ParseFloat(record[4], 64)
		f.at.LonDeg, _ = strconv.ParseFloat(record[5], 64)
		f.groundHeightM, err = strconv.ParseFloat(record[6], 64)
		if err != nil {
			f.groundHeightM = math.NaN()
		}
		f.structureHeightM, _ = strconv.ParseFloat(record[7], 64)
		if _, twice := rows[f.name]; twice {
			t.Errorf("name %s stands twice", f.name)
		}
		rows[f.name] = f
	}
	return rows, torn
}

// heightAt returns the ground of the whole world, left-out tile included, bilinear between posts.
func (world demoTerrain) heightAt(at geodesy.LatLon) float64 {
	x, y := (at.LonDeg-demoWestDeg)*demoCellPosts, (demoNorthDeg-at.LatDeg)*demoCellPosts
	if x < 0 || y < 0 || x > demoColumns-1 || y > demoRows-1 {
		return 0
	}
	column, row := min(int(x), demoColumns-2), min(int(y), demoRows-2)
	post := func(r, c int) float64 { return float64(world[r*demoColumns+c]) }
	fx, fy := x-float64(column), y-float64(row)
	return (1-fy)*((1-fx)*post(row, column)+fx*post(row, column+1)) + fy*((1-fx)*post(row+1, column)+fx*post(row+1, column+1))
}

func TestDemoWorldIsTheSameEveryTime(t *testing.T) {
	read := func(dir string) map[string]string {
		features, tiles, err := writeDemoWorld(dir)
		if err != nil {
			t.Fatal(err)
		}
		content := map[string]string{}
		files, _ := filepath.Glob(filepath.Join(tiles, "*")) // fails only on a malformed pattern
		for _, file := range append(files, features) {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			content[filepath.Base(file)] = string(data)
		}
		return content
	}
	first, second := read(filepath.Join(t.TempDir(), "new", "folder")), read(t.TempDir())
	sum := sha256.New()
	var names []string
	for name := range first {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		if first[name] != second[name] {
			t.Errorf("%s differs between two runs", name)
		}
		if strings.HasSuffix(name, ".hgt") {
			sum.Write([]byte(first[name]))
		}
	}
	want := []string{"S32W122.hgt", "S32W124.hgt", "S33W123.hgt", "S33W124.hgt", "S33W125.hgt", "S34W123.hgt", "S34W125.hgt", "features.csv"}
	if !slices.Equal(names, want) {
		t.Errorf("files %v, want %v", names, want)
	}
	// Measured on amd64; any other processor must make the same bytes.
	if got, want := hex.EncodeToString(sum.Sum(nil)), demoSHA256; got != want {
		t.Errorf("SHA-256 of all tiles is %s, want %s: the world changed, or this processor rounds differently", got, want)
	}
}

const demoSHA256 = "db5e3a3d00562874caa3f9d825bf7973f69401c2465081dc8d760b1e0419176c"

func TestDemoWorldNeedsAFolderItCanWrite(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	_, _, err := writeDemoWorld(file)
	var pathError *fs.PathError
	if !errors.As(err, &pathError) || !strings.Contains(err.Error(), "choose a folder") {
		t.Errorf("writeDemoWorld on a plain file: %v, want an error that wraps the cause and says what to do", err)
	}
}

func TestDemoTiles(t *testing.T) {
	world := newDemoTerrain()
	files := world.tiles()
	posts := func(name string, row, column int) int16 {
		return int16(binary.BigEndian.Uint16([]byte(files[name][2*(row*(demoCellPosts+1)+column):])))
	}
	voids, highest := 0, int16(0)
	for name, content := range files {
		if tile, err := terrain.DecodeHGT(name, content); err != nil || tile.Rows.N != 601 {
			t.Fatalf("DecodeHGT(%s, %d bytes): %v, want a tile of 601 posts a side", name, len(content), err)
		}
		for i := 0; i < len(content); i += 2 {
			height := int16(binary.BigEndian.Uint16(content[i:]))
			switch {
			case height == terrain.Void:
				voids++
			case height < 0:
				t.Fatalf("%s has a post at %d m", name, height)
			}
			highest = max(highest, height)
		}
	}
	if voids != 16 {
		t.Errorf("%d voids, want 16", voids)
	}
	if ground := world.heightAt(geodesy.LatLon{LatDeg: demoVoidLatDeg, LonDeg: demoVoidLonDeg}); ground < 50 {
		t.Errorf("the voids lie over ground at %.0f m, want land they could matter on", ground)
	}
	if highest < 2800 || highest > 3000 {
		t.Errorf("highest post %d m, want a volcano of about 2,900 m", highest)
	}
	// The volcano lies across two tiles, whose common edge must agree.
	for row := range demoCellPosts + 1 {
		if west, east := posts("S33W125.hgt", row, demoCellPosts), posts("S33W124.hgt", row, 0); west != east {
			t.Fatalf("row %d of the edge between S33W125 and S33W124: %d m and %d m", row, west, east)
		}
	}
	if edge := posts("S33W124.hgt", 260, 0); edge < 1000 {
		t.Errorf("the edge near the volcano lies at %d m: the seam is not tested", edge)
	}
}

func TestDemoHeightsAgreeWithTerrain(t *testing.T) {
	world := newDemoTerrain()
	rows, torn := demoRowsByName(t)
	summits, structures := 0, 0
	for _, f := range rows {
		ground := world.heightAt(f.at)
		switch {
		case slices.Contains([]string{"Mislaid Hill", "Old Yolmarre Beacon", "Fellisar", "Hathuvel"}, f.name):
			continue // faults on purpose, tested below
		case f.isSummit():
			summits++
			if over := f.groundHeightM - ground; over < 0 || over > 10 {
				t.Errorf("%s is listed at %.0f m, its post stands at %.1f m, want 0 to 10 m more", f.name, f.groundHeightM, ground)
			}
			if higher := world.highestWithin(f.at, 600); higher > ground+0.01 {
				t.Errorf("%s at %.1f m is no summit: %.1f m stands within 600 m", f.name, ground, higher)
			}
		default:
			structures++
			if math.Abs(f.groundHeightM-ground) > 0.6 || ground < 1 {
				t.Errorf("%s is listed at %.0f m, the terrain stands at %.1f m, want the same and dry land", f.name, f.groundHeightM, ground)
			}
		}
	}
	if summits < 40 || structures < 30 {
		t.Errorf("%d summits and %d others, want at least 40 and 30", summits, structures)
	}

	if ratio := rows["Fellisar"].groundHeightM / world.heightAt(rows["Fellisar"].at); math.Abs(ratio-1/0.3048) > 0.03 {
		t.Errorf("Fellisar is listed at %.3f times its terrain, want its height in feet, 3.281 times", ratio)
	}
	minute := rows["Hathuvel"]
	for _, degrees := range []float64{minute.at.LatDeg, minute.at.LonDeg} {
		if minutes := degrees * 60; math.Abs(minutes-math.Round(minutes)) > 1e-3 {
			t.Errorf("Hathuvel stands at %.5f°, want a whole minute", degrees)
		}
	}
	if lower := minute.groundHeightM - world.heightAt(minute.at); lower < 200 || math.Abs(world.highestWithin(minute.at, 926)-minute.groundHeightM) > 10 {
		t.Errorf("Hathuvel is listed %.0f m over the terrain at its whole minute, want over 200 m, its summit within half a minute", lower)
	}
	if rows["Old Yolmarre Beacon"].groundText != "unknown" || rows["Mislaid Hill"].at.LatDeg != 95 || torn != 1 {
		t.Errorf("the faulty rows are missing: a height that is unknown, a latitude of 95°, a torn row (%d)", torn)
	}
}

// highestWithin returns the highest post within a square of twice distanceM.
func (world demoTerrain) highestWithin(at geodesy.LatLon, distanceM float64) float64 {
	highest := 0.0
	const postDeg = 1.0 / demoCellPosts
	latDeg, lonDeg := distanceM/110900, distanceM/93900
	for lat := at.LatDeg - latDeg; lat <= at.LatDeg+latDeg; lat += postDeg / 2 {
		for lon := at.LonDeg - lonDeg; lon <= at.LonDeg+lonDeg; lon += postDeg / 2 {
			highest = max(highest, world.heightAt(geodesy.LatLon{LatDeg: lat, LonDeg: lon}))
		}
	}
	return highest
}

func TestDemoGapHoldsFeaturesButNoTile(t *testing.T) {
	rows, _ := demoRowsByName(t)
	kinds := map[string]int{}
	for _, f := range rows {
		if math.Floor(f.at.LatDeg) == demoGapLatDeg && math.Floor(f.at.LonDeg) == demoGapLonDeg {
			kinds[f.kind]++
		}
	}
	if kinds["lighthouse"] == 0 || kinds["hill"] == 0 {
		t.Errorf("the cell without a tile holds %v, want a lighthouse and a hill", kinds)
	}
	if _, found := newDemoTerrain().tiles()["S34W124.hgt"]; found {
		t.Error("S34W124.hgt is there, want it left out")
	}
}

const (
	testK         = 0.143
	testEyeM      = 2
	testRadiusM   = 6371e3 // the mean sphere is good enough to tell one verdict from another here
	testThreeKSDs = 3 * 0.04
)

// criticalK walks a line over a sphere every 200 m: the least k at which the target's top shows, the distance of the point where
// it grazes, and whether the line crosses the cell without a tile. Ground in that cell stands at gapM.
func criticalK(world demoTerrain, observer, target demoFeature, gapM float64) (k, atM float64, gap bool) {
	arc, line := geodesy.WGS84.InverseLine(observer.at, target.at)
	s := arc.DistanceM
	eyeM, topM := observer.groundHeightM+testEyeM, target.groundHeightM+target.structureHeightM
	k = math.Inf(-1)
	for x := 200.0; x <= s-200; x += 200 {
		p, _ := line.At(x)
		groundM := world.heightAt(p)
		if math.Floor(p.LatDeg) == demoGapLatDeg && math.Floor(p.LonDeg) == demoGapLonDeg {
			groundM, gap = gapM, true
		}
		if at := 1 - 2*testRadiusM*(eyeM+(topM-eyeM)*x/s-groundM)/(x*(s-x)); at > k {
			k, atM = at, x
		}
	}
	return k, atM, gap
}

func verdictOf(k float64) string {
	switch {
	case k < 0:
		return "direct"
	case k <= testK:
		return "refracted"
	case k <= testK+testThreeKSDs:
		return "looming"
	}
	return "blocked"
}

func TestDemoShowsEveryVerdict(t *testing.T) {
	world := newDemoTerrain()
	rows, _ := demoRowsByName(t)
	named := []struct{ observer, target, want string }{
		{"Olmeque Head", "Mount Ombrivel", "direct"},
		{"Kessovar Bench", "Mount Ombrivel", "refracted"},
		{"Kessovar Foot", "Mount Ombrivel", "looming"},
		{"Sennuva Bluff", "Varrunoke", "blocked"},
		{"Lorrengave", "Drossimune", "undecided"},
	}
	for _, test := range named {
		low, atM, gap := criticalK(world, rows[test.observer], rows[test.target], 0)
		high, _, _ := criticalK(world, rows[test.observer], rows[test.target], 2898)
		got := verdictOf(low)
		if gap && verdictOf(high) != got {
			got = "undecided"
		}
		if got != test.want {
			t.Errorf("%s to %s is %s (k_c %.3f at %.1f km), want %s", test.observer, test.target, got, low, atM/1e3, test.want)
		}
	}

	counts := map[string]int{}
	for _, observer := range rows {
		if observer.kind != "viewpoint" && !observer.isSummit() || observer.at.LatDeg > 0 {
			continue
		}
		for _, target := range rows {
			if math.IsNaN(target.groundHeightM) || target.at.LatDeg > 0 || geodesy.WGS84.Inverse(observer.at, target.at).DistanceM < 30e3 {
				continue
			}
			low, _, gap := criticalK(world, observer, target, 0)
			verdict := verdictOf(low)
			if gap {
				if high, _, _ := criticalK(world, observer, target, 2898); verdictOf(high) != verdict {
					verdict = "undecided"
				}
			}
			counts[verdict]++
		}
	}
	t.Logf("lines of 30 km and more by verdict: %v", counts)
	for _, verdict := range []string{"direct", "refracted", "looming", "blocked", "undecided"} {
		if counts[verdict] < 20 {
			t.Errorf("%d lines are %s, want at least 20", counts[verdict], verdict)
		}
	}
}

func TestDemoAlignments(t *testing.T) {
	rows, _ := demoRowsByName(t)
	for _, test := range []struct{ observer, near, far string }{
		{"Olmeque Head", "Perrune Rock Light", "Mount Ombrivel"},
		{"Olmeque Head", "Ossimer Tower", "Mount Ombrivel"},
		{"Sennuva Bluff", "Gannofer", "Varrunoke"},
	} {
		near := geodesy.WGS84.Inverse(rows[test.observer].at, rows[test.near].at)
		far := geodesy.WGS84.Inverse(rows[test.observer].at, rows[test.far].at)
		if apart := math.Abs(near.AzimuthDeg - far.AzimuthDeg); apart > 0.1 || near.DistanceM > 0.8*far.DistanceM || near.DistanceM < 2e3 {
			t.Errorf("from %s, %s (%.1f km) and %s (%.1f km) are %.3f° apart, want at most 0.1°, the near one within 0.8 of the far",
				test.observer, test.near, near.DistanceM/1e3, test.far, far.DistanceM/1e3, apart)
		}
	}
}

// From Sennuva Bluff the far summit stands above the islet's hill on a plane and hides behind it on the curved Earth.
func TestDemoOrderDiffersBetweenModels(t *testing.T) {
	rows, _ := demoRowsByName(t)
	observer := rows["Sennuva Bluff"]
	elevation := func(target demoFeature, curvature float64) float64 {
		s := geodesy.WGS84.Inverse(observer.at, target.at).DistanceM
		return (target.groundHeightM-observer.groundHeightM-testEyeM)/s - s*curvature/2
	}
	near, far := rows["Gannofer"], rows["Varrunoke"]
	const arcMinute = math.Pi / 180 / 60
	if above := elevation(far, 0) - elevation(near, 0); above < 3*arcMinute {
		t.Errorf("on a plane the far summit stands %.1f′ above the near, want over 3′", above/arcMinute)
	}
	if above := elevation(far, (1-testK)/testRadiusM) - elevation(near, (1-testK)/testRadiusM); above > -3*arcMinute {
		t.Errorf("on the curved Earth the far summit stands %.1f′ above the near, want over 3′ below", above/arcMinute)
	}
}

// From Olmeque Head the volcano's top is in view while its foot lies far behind the sea horizon.
func TestDemoFootBehindTheSeaHorizon(t *testing.T) {
	rows, _ := demoRowsByName(t)
	observer, target := rows["Olmeque Head"], rows["Mount Ombrivel"]
	s := geodesy.WGS84.Inverse(observer.at, target.at).DistanceM
	radius := testRadiusM / (1 - testK)
	hiddenM := math.Pow(s-math.Sqrt(2*radius*(observer.groundHeightM+testEyeM)), 2) / (2 * radius)
	if hiddenM < 300 || hiddenM > target.groundHeightM/2 {
		t.Errorf("the sea hides %.0f m of %.0f m at %.1f km, want over 300 m and less than half", hiddenM, target.groundHeightM, s/1e3)
	}
}

func BenchmarkWriteDemoWorld(b *testing.B) {
	dir := b.TempDir()
	for b.Loop() {
		if _, _, err := writeDemoWorld(dir); err != nil {
			b.Fatal(err)
		}
	}
}
