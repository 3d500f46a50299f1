package gazetteer

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// surface is made ground: heights as a function of metres east and north of a corner, read at posts.
type surface struct {
	corner   geodesy.LatLon
	spacingM float64
	heightM  func(eastM, northM float64) float64 // NaN: no terrain
}

const metresPerDegreeHere = 111195 // near enough on made ground at the equator

func (s surface) place(eastM, northM float64) geodesy.LatLon {
	return geodesy.LatLon{LatDeg: s.corner.LatDeg + northM/metresPerDegreeHere, LonDeg: s.corner.LonDeg + eastM/metresPerDegreeHere}
}

func (s surface) local(p geodesy.LatLon) (eastM, northM float64) {
	return (p.LonDeg - s.corner.LonDeg) * metresPerDegreeHere, (p.LatDeg - s.corner.LatDeg) * metresPerDegreeHere
}

func (s surface) HeightM(p geodesy.LatLon) (float64, bool) {
	h := s.heightM(s.local(p))
	return h, !math.IsNaN(h)
}

func (s surface) HighestWithin(p geodesy.LatLon, radiusM float64) (at geodesy.LatLon, heightM float64, ok bool) {
	east, north := s.local(p)
	reach := math.Ceil(radiusM/s.spacingM) + 1
	for i := math.Round(north/s.spacingM) - reach; i <= math.Round(north/s.spacingM)+reach; i++ {
		for j := math.Round(east/s.spacingM) - reach; j <= math.Round(east/s.spacingM)+reach; j++ {
			e, n := j*s.spacingM, i*s.spacingM
			if h := s.heightM(e, n); math.Hypot(e-east, n-north) <= radiusM && !math.IsNaN(h) && (!ok || h > heightM) {
				at, heightM, ok = s.place(e, n), h, true
			}
		}
	}
	return at, heightM, ok
}

func cone(topM, slope, eastM, northM float64) func(float64, float64) float64 {
	return func(e, n float64) float64 { return topM - slope*math.Hypot(e-eastM, n-northM) }
}

func level(heightM float64) func(float64, float64) float64 {
	return func(float64, float64) float64 { return heightM }
}

func TestSettle(t *testing.T) {
	nan := math.NaN()
	covered := func(geodesy.LatLon) bool { return true }
	tests := []struct {
		name    string
		ground  func(eastM, northM float64) float64
		kind    Kind
		listedM float64
		sdM     float64 // of the listed height
		placeM  float64 // spread of the place
		opts    SettleOptions
		// want
		heightM, terrainM, movedM float64
		source, doubts            string
	}{
		{name: "a hill where it should be", ground: cone(700, 0.2, 0, 0), kind: Hill, listedM: 702, sdM: 10, placeM: 30, heightM: 702, terrainM: 700, source: HeightListed},
		{name: "a hill 80 m beside its top", ground: cone(700, 0.2, 0, 93), kind: Hill, listedM: 702, sdM: 10, placeM: 30, heightM: 702, terrainM: 700, movedM: 93, source: HeightListed},
		{name: "a hill 465 m beside its top, place to the minute", ground: cone(700, 0.2, 372, 279), kind: Hill, listedM: 702, sdM: 10, placeM: 535, heightM: 702, terrainM: 700, movedM: 465, source: HeightListed, doubts: DoubtMoved},
		{name: "the top is further away than its place is uncertain", ground: cone(700, 0.1, 372, 279), kind: Hill, listedM: 702, sdM: 10, placeM: 100, heightM: 702, terrainM: 700 - 0.1*math.Hypot(186, 279), movedM: 186, source: HeightListed, doubts: DoubtMoved},
		{name: "never more than 1 km", ground: cone(700, 0.01, 9300, 0), kind: Hill, listedM: nan, sdM: 10, placeM: 30_000, heightM: 700 - 0.01*(9300-930), terrainM: 700 - 0.01*(9300-930), movedM: 930, source: HeightTerrain, doubts: DoubtHeightFromTerrain + "," + DoubtMoved},
		// Finsteraarhorn: listed 4274 m, highest 3″ post 4173 m; slopes of 45° are gentle there.
		{name: "Finsteraarhorn, CSV", ground: cone(4173, 1, 0, 0), kind: Peak, listedM: 4274, sdM: 3, placeM: 30, heightM: 4274, terrainM: 4173, source: HeightListed},
		{name: "Finsteraarhorn, GeoNames", ground: cone(4173, 1, 0, 0), kind: Peak, listedM: 4274, sdM: 10, placeM: 30, heightM: 4274, terrainM: 4173, source: HeightListed},
		// Aconcagua: 6959 m over 6929 m.
		{name: "Aconcagua", ground: cone(6929, 0.5, 0, 0), kind: Peak, listedM: 6959, sdM: 3, placeM: 30, heightM: 6959, terrainM: 6929, source: HeightListed},
		{name: "as high over gentle ground", ground: cone(4173, 0.1, 0, 0), kind: Peak, listedM: 4274, sdM: 3, placeM: 30, heightM: 4173, terrainM: 4173, source: HeightTerrain, doubts: DoubtHeightContradictsTerrain},
		{name: "downwards the limit is tight even on steep ground", ground: cone(4173, 1, 0, 0), kind: Peak, listedM: 4140, sdM: 3, placeM: 30, heightM: 4173, terrainM: 4173, source: HeightTerrain, doubts: DoubtHeightContradictsTerrain},
		{name: "a needle of 40 m on level ground", ground: level(500), kind: Peak, listedM: 540, sdM: 10, placeM: 30, heightM: 540, terrainM: 500, source: HeightListed},
		{name: "feet", ground: cone(710, 0.3, 0, 0), kind: Peak, listedM: 2339, sdM: 10, placeM: 30, heightM: 710, terrainM: 710, source: HeightTerrain, doubts: DoubtFeetAsMetres},
		{name: "too high in feet as well", ground: cone(300, 0.3, 0, 0), kind: Peak, listedM: 2339, sdM: 10, placeM: 30, heightM: 300, terrainM: 300, source: HeightTerrain, doubts: DoubtHeightContradictsTerrain},
		{name: "a stack beside the sea is not in feet", ground: level(6), kind: Hill, listedM: 52, sdM: 3, placeM: 30, heightM: 6, terrainM: 6, source: HeightTerrain, doubts: DoubtHeightContradictsTerrain},
		{name: "no listed height", ground: cone(700, 0.2, 93, 0), kind: Hill, listedM: nan, sdM: 10, placeM: 30, heightM: 700, terrainM: 700, movedM: 93, source: HeightTerrain, doubts: DoubtHeightFromTerrain},
		{name: "no terrain", ground: level(nan), kind: Hill, listedM: 702, sdM: 10, placeM: 30, heightM: 702, terrainM: nan, source: HeightListed, doubts: DoubtHeightUnchecked},
		{name: "a void", ground: level(nan), kind: Hill, listedM: 702, sdM: 10, placeM: 30, opts: SettleOptions{Covers: covered}, heightM: 702, terrainM: nan, source: HeightListed, doubts: DoubtSummitOnVoid},
		{name: "a void under a tower", ground: level(nan), kind: Tower, listedM: 702, sdM: 10, placeM: 30, opts: SettleOptions{Covers: covered}, heightM: 702, terrainM: nan, source: HeightListed, doubts: DoubtHeightUnchecked},
		{name: "a tower is not moved", ground: cone(700, 0.2, 93, 0), kind: Tower, listedM: 690, sdM: 10, placeM: 30, heightM: 690, terrainM: 700 - 0.2*93, source: HeightListed},
		{name: "a tower without a listed ground", ground: cone(700, 0.2, 93, 0), kind: Tower, listedM: nan, sdM: 10, placeM: 30, heightM: 700 - 0.2*93, terrainM: 700 - 0.2*93, source: HeightTerrain, doubts: DoubtHeightFromTerrain},
		{name: "a mast listed with its top", ground: level(300), kind: Mast, listedM: 500, sdM: 10, placeM: 30, heightM: 300, terrainM: 300, source: HeightTerrain, doubts: DoubtHeightContradictsTerrain},
		{name: "below the sea", ground: cone(-400, 0.1, 0, 0), kind: Hill, listedM: -395, sdM: 10, placeM: 30, heightM: -395, terrainM: -400, source: HeightListed},
		{name: "as listed", ground: cone(700, 0.2, 372, 279), kind: Hill, listedM: 2000, sdM: 10, placeM: 535, opts: SettleOptions{AsListed: true}, heightM: 2000, terrainM: 700 - 0.2*465, source: HeightListed},
		{name: "as listed, no height", ground: cone(700, 0.2, 372, 279), kind: Hill, listedM: nan, sdM: 10, placeM: 535, opts: SettleOptions{AsListed: true}, heightM: 700 - 0.2*465, terrainM: 700 - 0.2*465, source: HeightTerrain, doubts: DoubtHeightFromTerrain},
		{name: "a mountainside within reach is not a low hill's top", ground: func(e, n float64) float64 { return max(cone(300, 0.2, 0, 0)(e, n), 300+0.5*(e-400)) }, kind: Hill, listedM: 302, sdM: 10, placeM: 535, heightM: 302, terrainM: 300, source: HeightListed},
	}
	for _, tt := range tests {
		ground := surface{corner: geodesy.LatLon{LatDeg: 0.5, LonDeg: 7.5}, spacingM: 93, heightM: tt.ground}
		f := Feature{ID: "csv:1", Name: "A", Kind: tt.kind, Listed: ground.corner, ListedHeightM: tt.listedM, GroundHeightSDM: tt.sdM, PositionSDM: tt.placeM}
		if err := Settle(&f, ground, tt.opts); err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		near := func(got, want float64) bool { return math.Abs(got-want) < 0.05 || math.IsNaN(got) && math.IsNaN(want) }
		// A degree of made ground is round: true lengths differ by up to 0.6 %.
		if !near(f.GroundHeightM, tt.heightM) || !near(f.TerrainHeightM, tt.terrainM) || math.Abs(f.MovedM-tt.movedM) > 0.006*tt.movedM || f.HeightSource != tt.source {
			t.Errorf("%s: height %.2f (%s), terrain %.2f, moved %.1f, want %.2f (%s), %.2f, %.1f", tt.name, f.GroundHeightM, f.HeightSource, f.TerrainHeightM, f.MovedM,
				tt.heightM, tt.source, tt.terrainM, tt.movedM)
		}
		if doubts := strings.Join(f.Doubts, ","); doubts != tt.doubts {
			t.Errorf("%s: doubts %q, want %q", tt.name, doubts, tt.doubts)
		}
		if f.ListedHeightM != tt.listedM && !math.IsNaN(f.ListedHeightM) || f.Listed != ground.corner {
			t.Errorf("%s: what is listed was changed: %v m at %v", tt.name, f.ListedHeightM, f.Listed)
		}
	}
}

func TestSettleSpreads(t *testing.T) {
	ground := surface{corner: geodesy.LatLon{LatDeg: 0.5, LonDeg: 7.5}, spacingM: 93, heightM: func(e, n float64) float64 { return 700 - 0.5*e }}
	tests := []struct {
		kind    Kind
		placeM  float64
		opts    SettleOptions
		wantSDM float64
	}{
		{Hill, 0, SettleOptions{}, math.Hypot(5, 0.4*0.5*93)},
		{Tower, 30, SettleOptions{}, math.Sqrt(25 + 18.6*18.6 + 15*15)},
		{Tower, 30, SettleOptions{PostSpacingM: 31}, math.Sqrt(25 + 6.2*6.2 + 15*15)},
		{Tower, 30, SettleOptions{TerrainSDM: 7}, 7},
	}
	for _, tt := range tests {
		f := Feature{Kind: tt.kind, Listed: ground.corner, ListedHeightM: math.NaN(), PositionSDM: tt.placeM}
		if err := Settle(&f, ground, tt.opts); err != nil || !(math.Abs(f.GroundHeightSDM-tt.wantSDM) < 0.2) {
			t.Errorf("%s, place ± %v m, %+v: spread %.2f m, %v, want %.2f", tt.kind, tt.placeM, tt.opts, f.GroundHeightSDM, err, tt.wantSDM)
		}
	}
}

// Two tops 465 m apart, the second higher: the first stays on its own however wide its circle is drawn.
func TestSettleKeepsOffNeighbours(t *testing.T) {
	low, high := cone(700, 0.3, 0, 0), cone(760, 0.3, 465, 0)
	ground := surface{corner: geodesy.LatLon{LatDeg: 0.5, LonDeg: 7.5}, spacingM: 93, heightM: func(e, n float64) float64 { return max(low(e, n), high(e, n)) }}
	hill := func(id string, eastM, northM, placeM float64) Feature {
		return Feature{ID: id, Name: id, Kind: Hill, Listed: ground.place(eastM, northM), ListedHeightM: math.NaN(), GroundHeightSDM: 3, PositionSDM: placeM}
	}
	alone := hill("low", 0, 20, 250)
	if err := Settle(&alone, ground, SettleOptions{}); err != nil || alone.TerrainHeightM != 760 {
		t.Fatalf("without a neighbour it should take the higher top: %v m, %v", alone.TerrainHeightM, err)
	}
	beside := hill("low", 0, 20, 250)
	if err := Settle(&beside, ground, SettleOptions{Neighbours: []geodesy.LatLon{ground.place(456, 0)}}); err != nil || beside.TerrainHeightM != 700 {
		t.Errorf("Settle beside a neighbour: %v m, %v, want its own top of 700", beside.TerrainHeightM, err)
	}
	kept, dropped, _ := SettleAll([]Feature{hill("low", 0, 20, 250), hill("high", 456, 0, 30)}, ground, SettleOptions{})
	if len(kept) != 2 || len(dropped) != 0 || kept[0].TerrainHeightM != 700 || kept[1].TerrainHeightM != 760 {
		t.Errorf("SettleAll: %+v, dropped %+v, want 700 and 760", kept, dropped)
	}
	// Two records at the same place go to the same top and say so.
	kept, _, _ = SettleAll([]Feature{hill("a", 456, 0, 30), hill("b", 456, 0, 30), hill("low", 0, 20, 250)}, ground, SettleOptions{})
	for i, want := range []bool{true, true, false} {
		if got := slices.Contains(kept[i].Doubts, DoubtSharesSummit); got != want {
			t.Errorf("%s: shares_summit %v, want %v", kept[i].ID, got, want)
		}
	}
}

func TestSettleAllDrops(t *testing.T) {
	ground := surface{corner: geodesy.LatLon{LatDeg: 0.5, LonDeg: 7.5}, spacingM: 93, heightM: func(e, n float64) float64 {
		if e > 5000 {
			return math.NaN()
		}
		return 100
	}}
	features := []Feature{
		{ID: "a", Name: "A", Kind: Peak, Listed: ground.place(9000, 0), ListedHeightM: math.NaN(), Line: 7},
		{ID: "b", Name: "B", Kind: Peak, Listed: ground.place(9000, 0), ListedHeightM: 150},
		{ID: "c", Name: "C", Kind: Peak, Listed: ground.place(0, 0), ListedHeightM: math.NaN()},
	}
	kept, dropped, _ := SettleAll(features, ground, SettleOptions{})
	if len(kept) != 2 || kept[0].ID != "b" || kept[1].ID != "c" || len(dropped) != 1 || dropped[0].ID != "a" || dropped[0].Line != 7 || !strings.HasPrefix(dropped[0].Reason, "no height") {
		t.Errorf("kept %+v, dropped %+v, want b and c kept, a dropped for want of a height", kept, dropped)
	}
	if kept, dropped, _ := SettleAll([]Feature{{ID: "b", Kind: Peak, ListedHeightM: 150}}, nil, SettleOptions{}); len(kept) != 1 || len(dropped) != 0 {
		t.Errorf("without any terrain: %+v, %+v", kept, dropped)
	}
}

// bordersGround is the terrain under the hills of the Scottish Borders (SRTM, 3″).
func bordersGround(t testing.TB) *terrain.Store {
	t.Helper()
	index, err := terrain.Discover([]terrain.Source{{Path: "../testdata/N55W003.hgt.zip"}, {Path: "../testdata/N55W004.hgt.zip"}})
	if err != nil {
		t.Fatal(err)
	}
	return terrain.NewStore(index, terrain.StoreOptions{MemoryBytes: 1 << 30})
}

func bordersHills(t testing.TB) []Feature {
	t.Helper()
	features, _, err := readPath(t, "../testdata/dobih_slice_geonames_layout.tsv", ReadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return features
}

// TestSettleBorders holds 1,492 surveyed hills (Database of British and Irish Hills) against SRTM: surveyed heights must not be doubted.
func TestSettleBorders(t *testing.T) {
	ground := bordersGround(t)
	features := bordersHills(t)
	kept, dropped, _ := SettleAll(features, ground, SettleOptions{})
	if len(kept) != 1492 || len(dropped) != 0 {
		t.Fatalf("%d kept, %d dropped", len(kept), len(dropped))
	}
	var over []float64
	for _, f := range kept {
		if len(f.Doubts) > 0 || f.HeightSource != HeightListed || f.MovedM > 93 {
			t.Errorf("%s %s: doubts %v, listed %v m, terrain %v m, moved %.0f m", f.ID, f.Name, f.Doubts, f.ListedHeightM, f.TerrainHeightM, f.MovedM)
		}
		over = append(over, f.ListedHeightM-f.TerrainHeightM)
	}
	slices.Sort(over)
	// Listed minus highest post: terrain shaves, so the middle lies above 0.
	if median := over[len(over)/2]; median < 2 || median > 7 {
		t.Errorf("median of listed minus terrain = %v m, want about 4", median)
	}

	// The same in feet: all but low hills, whose heights may be either, are found.
	features = bordersHills(t)
	high, found := 0, 0
	for i := range features {
		if features[i].ListedHeightM > 150 {
			high++
		}
		features[i].ListedHeightM = math.Round(features[i].ListedHeightM / 0.3048)
	}
	kept, _, _ = SettleAll(features, ground, SettleOptions{})
	for _, f := range kept {
		if f.ListedHeightM*0.3048 > 150 && slices.Equal(f.Doubts, []string{DoubtFeetAsMetres}) && f.HeightSource == HeightTerrain {
			found++
		}
	}
	if high < 1000 || found < high*99/100 {
		t.Errorf("%d of %d hills over 150 m listed in feet were found, want 99 %%", found, high)
	}

	// The same with places rounded to the minute: moving brings hills nearer to where they are.
	truth := bordersHills(t)
	features = bordersHills(t)
	for i := range features {
		at := &features[i].Listed
		at.LatDeg, at.LonDeg = math.Round(at.LatDeg*60)/60, math.Round(at.LonDeg*60)/60
		features[i].PositionSDM = 536
	}
	kept, _, _ = SettleAll(features, ground, SettleOptions{})
	better, hit, off := 0, 0, 0
	for i, f := range kept {
		before, after := apartM(f.Listed, truth[i].At), apartM(f.At, truth[i].At)
		if after < before {
			better++
		}
		if after < 150 {
			hit++
		}
		if f.HeightSource == HeightTerrain {
			off++
		}
	}
	t.Logf("rounded to the minute: %d of %d nearer, %d within 150 m, %d take the terrain's word", better, len(kept), hit, off)
	if better < len(kept)*6/10 || hit < len(kept)*4/10 {
		t.Errorf("rounded to the minute: %d of %d nearer, %d within 150 m", better, len(kept), hit)
	}
}

// TestSettleDeterministic: neither the order of features nor a second run changes a feature.
func TestSettleDeterministic(t *testing.T) {
	ground := bordersGround(t)
	want, _, _ := SettleAll(bordersHills(t), ground, SettleOptions{})
	shuffled := bordersHills(t)
	random := rand.New(rand.NewPCG(1, 2))
	random.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	got, _, _ := SettleAll(shuffled, ground, SettleOptions{})
	byLine := func(a, b Feature) int { return a.Line - b.Line }
	slices.SortFunc(got, byLine)
	if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("(-in order +shuffled):\n%s", diff)
	}
}

// TestSettleAllRun: cells settled all at once give what cells settled in turn give; what ends the run ends the settling.
func TestSettleAllRun(t *testing.T) {
	ground := bordersGround(t)
	want, wantDropped, err := SettleAll(bordersHills(t), ground, SettleOptions{})
	if err != nil {
		t.Fatal(err)
	}
	calls, settled := 0, atomic.Int64{}
	atOnce := func(n int, where func(int) string, do func(int) error) error {
		if calls = n; !strings.Contains(where(n-1), ":") {
			t.Errorf("the last cell is called %q, want the id of one of its features", where(n-1))
		}
		var all sync.WaitGroup
		for i := n - 1; i >= 0; i-- {
			all.Go(func() {
				if err := do(i); err != nil {
					t.Error(err)
				}
			})
		}
		all.Wait()
		return nil
	}
	got, gotDropped, err := SettleAll(bordersHills(t), ground, SettleOptions{Run: atOnce, Settled: func(n int) { settled.Add(int64(n)) }})
	if err != nil || calls < 2 || int(settled.Load()) != len(bordersHills(t)) {
		t.Errorf("%d cells, %d features settled, error %v; want 2 cells or more, %d features, none", calls, settled.Load(), err, len(bordersHills(t)))
	}
	if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" || !slices.Equal(gotDropped, wantDropped) {
		t.Errorf("(-in turn +at once):\n%s", diff)
	}
	ended := errors.New("ended")
	if kept, _, err := SettleAll(bordersHills(t), ground, SettleOptions{Run: func(int, func(int) string, func(int) error) error { return ended }}); kept != nil || !errors.Is(err, ended) {
		t.Errorf("a run that ends: %d features, error %v", len(kept), err)
	}
}

// TestSummitIndex: the index finds whoever the plain search finds, at the poles and the date line too.
func TestSummitIndex(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for _, middle := range []geodesy.LatLon{{LatDeg: 55, LonDeg: -3}, {LatDeg: 0, LonDeg: 180}, {LatDeg: 89.99, LonDeg: 10}, {LatDeg: -90, LonDeg: 0}} {
		near := func(reachM float64) geodesy.LatLon {
			p, _ := geodesy.WGS84.Direct(middle, 360*random.Float64(), reachM*random.Float64())
			return p
		}
		var features []Feature
		for range 40 {
			features = append(features, Feature{Kind: Peak, Listed: near(3000)})
		}
		index := newSummitIndex(features)
		foreign := 0
		for range 400 {
			home := features[random.IntN(len(features))].Listed
			spot, _ := geodesy.WGS84.Direct(home, 360*random.Float64(), furthestMoveM*random.Float64())
			want := slices.ContainsFunc(features, func(f Feature) bool { return apartM(spot, f.Listed) < apartM(spot, home) })
			if got := index.nearerThan(spot, home); got != want {
				t.Errorf("nearerThan(%v, %v) = %v, want %v", spot, home, got, want)
			}
			if want {
				foreign++
			}
		}
		if foreign == 0 || foreign == 400 {
			t.Errorf("around %v: %d of 400 foreign, the test tests nothing", middle, foreign)
		}
	}
}

func BenchmarkSettleAll(b *testing.B) {
	ground := bordersGround(b)
	features := bordersHills(b)
	b.ResetTimer()
	for range b.N {
		SettleAll(slices.Clone(features), ground, SettleOptions{})
	}
	b.ReportMetric(float64(len(features)*b.N)/b.Elapsed().Seconds(), "features/s")
}
