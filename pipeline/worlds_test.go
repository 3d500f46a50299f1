package pipeline

import (
	"encoding/binary"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy/terrain"
)

// worldCount asks for more worlds than a test run has time for, firstWorld for others than the first.
var (
	worldCount = flag.Int("worlds", 0, "make this many worlds in TestRandomWorlds")
	firstWorld = flag.Int("first-world", 0, "begin with this world in TestRandomWorlds")
)

// randomWorld writes tiles and features anywhere on the Earth, the date line, the equator and high latitudes among them, and returns options
// that are valid. lowered says by how many metres all ground but the sea is lower, never below it; bare leaves the tiles of odd columns out.
func randomWorld(t testing.TB, seed uint64, loweredM float64, bare bool) Options {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, 3))
	dir := t.TempDir()
	south := []int{-62, -31, -1, 0, 47, 78}[random.IntN(6)]
	west := []int{-130, -41, -1, 100, 178, 179}[random.IntN(6)]
	rows, columns := 1+random.IntN(2), 1+random.IntN(3)
	n := []int{61, 121, 301}[random.IntN(3)]
	roughM, voids := []float64{30, 300, 1500}[random.IntN(3)], random.IntN(3) == 0
	for lat := south; lat < south+rows; lat++ {
		for column := range columns {
			lon := west + column
			missing := random.IntN(6) == 0
			tile := make([]byte, 2*n*n)
			for i := range n * n {
				y, x := float64(lat+1)-float64(i/n)/float64(n-1), float64(lon)+float64(i%n)/float64(n-1)
				h := math.Max(roughM*(math.Sin(11*x+3*y)*math.Sin(9*y-2*x)+0.3*math.Sin(70*x)*math.Cos(60*y)), 0)
				post := int16(math.Max(h-loweredM, 0))
				if voids && random.IntN(300) == 0 {
					post = terrain.Void
				}
				binary.BigEndian.PutUint16(tile[2*i:], uint16(post))
			}
			if missing || bare && column%2 == 1 {
				continue
			}
			name := cellName(lat, (lon+540)%360-180) + ".hgt"
			if err := os.WriteFile(filepath.Join(dir, name), tile, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	if matches, _ := filepath.Glob(filepath.Join(dir, "*.hgt")); len(matches) == 0 {
		post := make([]byte, 2*61*61)
		if err := os.WriteFile(filepath.Join(dir, cellName(south, (west+540)%360-180)+".hgt"), post, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kinds := gazetteer.Kinds()
	var csv strings.Builder
	csv.WriteString("id,name,kind,lat,lon,ele,structure_height_m,ground_height_sd_m,structure_height_sd_m,position_sd_m\n")
	for i := range 4 + random.IntN(20) {
		kind := kinds[random.IntN(len(kinds))]
		lat, lon := float64(south)+float64(rows)*random.Float64(), float64(west)+float64(columns)*random.Float64()
		if random.IntN(8) == 0 {
			lat, lon = math.Round(lat), math.Round(lon) // on a corner of tiles
		}
		structure := 0.0
		if kind == gazetteer.Tower || kind == gazetteer.Mast || kind == gazetteer.Lighthouse {
			structure = float64(10 + random.IntN(200))
		}
		fmt.Fprintf(&csv, "w%d,World %d,%s,%.6f,%.6f,%.1f,%g,%g,%g,%g\n", i, i, kind, math.Max(math.Min(lat, 89), -89), math.Remainder(lon, 360),
			roughM*random.Float64()+2000*math.Pow(random.Float64(), 4), structure, 5*random.Float64(), structure/50, 100*random.Float64())
	}
	list := filepath.Join(dir, "features.csv")
	if err := os.WriteFile(list, []byte(csv.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	o := DefaultOptions()
	o.Features, o.Terrain, o.AsListed = []string{list}, []terrain.Source{{Path: dir}}, true
	o.ObserverKinds = kinds
	o.Workers = 1 + random.IntN(3)
	o.GuardM = []float64{1, 200, 1000}[random.IntN(3)]
	o.MinDistanceKM, o.NearMinDistanceKM = []float64{1, 10, 30}[random.IntN(3)], []float64{0.5, 2}[random.IntN(2)]
	o.EyeHeightM = []float64{0, 2, 50}[random.IntN(3)]
	o.K = []float64{0, 0.07, 0.143, 0.4}[random.IntN(4)]
	o.KSD = []float64{0, 0.04, 0.1}[random.IntN(3)]
	o.KOwnSD = o.KSD / 2
	o.LowHeightM = 50 * float64(random.IntN(2))
	o.KeepAll, o.FromTops = random.IntN(2) == 0, random.IntN(2) == 0
	if random.IntN(4) == 0 {
		o.Air = AirStandard
	}
	o.ToleranceDeg, o.FrameDeg, o.Top = 2*random.Float64(), 0.5+20*random.Float64(), random.IntN(8)
	return o
}

// In random but valid worlds nothing fails, and what must hold of every line holds.
func TestRandomWorlds(t *testing.T) {
	count := *worldCount
	switch {
	case count > 0:
	case os.Getenv("CI") == "true":
		count = 150
	default:
		count = 20
	}
	// In the first one, what decides a chance lies where the ground is cut in the middle of the line: it was another on the way back.
	seeds := []uint64{293}
	for i := range count {
		seeds = append(seeds, uint64(*firstWorld+i))
	}
	kept, pairs := 0, 0
	for _, seed := range seeds {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			opts := randomWorld(t, seed, 0, false)
			r, err := heldSurvey(t.Context(), opts, nil)
			if err != nil {
				t.Fatal(err)
			}
			checkResult(t, &opts, r)
			kept += len(r.Sightlines)
			again := opts
			again.Workers, again.MemoryBytes = 1+opts.Workers%3, 1
			other, err := heldSurvey(t.Context(), again, nil)
			if err != nil {
				t.Fatal(err)
			}
			sameResult(t, "other workers, one tile in memory", other, r)
			pairs += checkWorld(t, seed, opts)
		})
		if t.Failed() {
			break
		}
	}
	t.Logf("%d worlds, %d lines kept, %d pairs looked at", count, kept, pairs)
	if kept < 5*count || pairs < 3*count {
		t.Errorf("%d lines kept, %d pairs looked at in %d worlds: too few", kept, pairs, count)
	}
}

// checkWorld holds pairs of a world against what must be true of any.
func checkWorld(t *testing.T, seed uint64, opts Options) (pairs int) {
	t.Helper()
	world := func(loweredM float64, bare bool) *World {
		o := randomWorld(t, seed, loweredM, bare)
		w, err := Load(t.Context(), o, nil)
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	// The same features stand on ground that is as it is, lower, and partly taken for sea.
	whole, lower, bare := world(0, false), world(25, false), world(0, true)
	random := rand.New(rand.NewPCG(seed, 5))
	for range 12 {
		a, b := &whole.Features[random.IntN(len(whole.Features))], &whole.Features[random.IntN(len(whole.Features))]
		if a == b {
			continue
		}
		predict := func(w *World, o Options, from, to *gazetteer.Feature) *Sightline {
			p, err := w.PredictLine(o, from, to)
			if err != nil {
				return nil // too near
			}
			return &p.Row
		}
		row := predict(whole, opts, a, b)
		if row == nil {
			continue
		}
		pairs++
		what := fmt.Sprintf("%s to %s, %.1f km", a.ID, b.ID, row.DistanceM/1000)

		// The same both ways, between eyes and tops of the same heights.
		level := opts
		level.EyeHeightM, level.FromTops = 0, true
		there, back := predict(whole, level, a, b), predict(whole, level, b, a)
		if there == nil || back == nil {
			t.Fatalf("%s: one way alone is too near", what)
		}
		if off := math.Abs(there.CriticalK - back.CriticalK); off > 1e-7*math.Max(1, math.Abs(there.CriticalK)) {
			t.Errorf("%s: k_c %v there, %v back", what, there.CriticalK, back.CriticalK)
		}
		if off := math.Abs(there.ChanceLow - back.ChanceLow); off > 1e-4 {
			t.Errorf("%s: chance %v there, %v back", what, there.ChanceLow, back.ChanceLow)
		}

		// A higher top is no worse; with terrain missing k_c may be that of gaps as sea for the one and of gaps filled high for the other. The
		// chance is a mean over nodes, good to that much. Without low air, whose greater k a higher ray may leave.
		const nodes = 0.004
		plain, taller := opts, *b
		plain.LowHeightM = 0
		taller.StructureHeightM += 30
		short, higher := predict(whole, plain, a, b), predict(whole, plain, a, &taller)
		if row.TerrainCoverage == 1 && higher.CriticalK > short.CriticalK+1e-9*math.Max(1, math.Abs(short.CriticalK)) || higher.ChanceLow < short.ChanceLow-nodes {
			t.Errorf("%s: raised by 30 m, k_c %v and chance %v instead of %v and %v", what, higher.CriticalK, higher.ChanceLow, short.CriticalK, short.ChanceLow)
		}

		// More refraction never blocks, and never raises the cut height.
		if opts.Air == AirConstant {
			more := opts
			more.K += 0.05
			bent := predict(whole, more, a, b)
			// Where terrain is missing a line is told as over gaps filled high, or as over gaps as sea where that decides it: only alike ones compare.
			alike := row.TerrainCoverage == 1 || (row.Verdict == Undecided) == (bent.Verdict == Undecided)
			if alike && bent.MarginArcmin < row.MarginArcmin-1e-9*math.Max(1, math.Abs(row.MarginArcmin)) {
				t.Errorf("%s: with more refraction the margin falls from %v′ to %v′", what, row.MarginArcmin, bent.MarginArcmin)
			}
			if rank := map[Verdict]int{Direct: 0, Refracted: 1, Looming: 2, Blocked: 3}; row.Verdict != Undecided && bent.Verdict != Undecided && rank[bent.Verdict] > rank[row.Verdict] {
				t.Errorf("%s: with more refraction %s instead of %s", what, bent.Verdict, row.Verdict)
			}
			if alike && bent.CutHeightM > row.CutHeightM+1e-6*math.Max(1, math.Abs(row.CutHeightM)) {
				t.Errorf("%s: with more refraction the cut height rises from %v to %v m", what, row.CutHeightM, bent.CutHeightM)
			}
		}

		// Lower ground and less of it never block. What is missing is filled high, so only lines over known ground are compared.
		for name, other := range map[string]*World{"ground 25 m lower": lower, "tiles taken away": bare} {
			less := predict(other, opts, a, b)
			if row.TerrainCoverage < 1 || less == nil || less.TerrainCoverage < 1 {
				continue
			}
			if less.CriticalK > row.CriticalK+1e-9*math.Max(1, math.Abs(row.CriticalK)) {
				t.Errorf("%s, %s: k_c %v instead of %v", what, name, less.CriticalK, row.CriticalK)
			}
		}
		if t.Failed() {
			t.Logf("options %+v\nfrom %+v\nto %+v", opts, *a, *b)
			return pairs
		}
	}
	return pairs
}
