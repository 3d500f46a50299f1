package gazetteer

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"farstation/geodesy"
)

// listing is a record as a gazetteer has it; other names stand behind the first, after bars.
func listing(id, names string, kind Kind, latDeg, lonDeg, heightM, heightSDM, placeSDM float64) Feature {
	name, others, _ := strings.Cut(names, "|")
	at := geodesy.LatLon{LatDeg: latDeg, LonDeg: lonDeg}
	f := Feature{
		ID: id, Name: name, Kind: kind, At: at, Listed: at, GroundHeightM: heightM, ListedHeightM: heightM, TerrainHeightM: math.NaN(),
		HeightSource: HeightListed, GroundHeightSDM: heightSDM, PositionSDM: placeSDM, Sources: []string{id},
	}
	if others != "" {
		f.OtherNames = strings.Split(others, "|")
	}
	return f
}

// east is a place some metres east of another.
func east(f Feature, id string, metres float64) Feature {
	f.At, _ = geodesy.WGS84.Direct(f.Listed, 90, metres)
	f.Listed, f.ID, f.Sources = f.At, id, []string{id}
	return f
}

func renamed(f Feature, name string) Feature {
	f.Name, f.OtherNames = name, nil
	return f
}

func built(f Feature, heightM, sdM float64, assumed bool) Feature {
	f.StructureHeightM, f.StructureHeightSDM = heightM, sdM
	if assumed {
		f.Doubts = []string{DoubtStructureHeightAssumed}
	}
	return f
}

func doubted(f Feature, codes ...string) Feature {
	f.Doubts = codes
	return f
}

const (
	minuteSDM = 535.5 // spread of a place to the minute of arc, 1852/√12 and 30 m
	roughSDM  = 322.4 // of one to two decimals
)

// Places and heights of the DoBIH rows are those of the Database of British and Irish Hills v17.5, rounded as marked; the forms other
// gazetteers give them are made.
func TestMerge(t *testing.T) {
	nan := math.NaN()
	cheviot := listing("csv:2302", "The Cheviot", Hill, 55.478471, -2.145443, 815, 3, 30)
	tinto := listing("csv:1678", "Tinto", Hill, 55.591692, -3.662551, 711.6, 3, 30)
	louise := listing("csv:1765", "Lousie Wood Law|Louise Wood Law", Hill, 55.419601, -3.688778, 619, 3, 30)
	cauldshiels := listing("csv:14050", "Cauldshiels Hill", Hill, 55.576206, -2.769516, 329, 3, 30)
	cauldshielsTop := listing("csv:14168", "Cauldshiels Hill", Hill, 55.583811, -2.77471, 268, 3, 30)
	says := listing("csv:1813", "Meikle Says Law", Hill, 55.847027, -2.670406, 535, 3, 30)
	boundary := listing("csv:5455", "Meikle Says Law (boundary)", Hill, 55.846337, -2.670123, 532, 3, 30)
	downies := listing("csv:18860", "Downie's Goats|Crooked Carr", Hill, 55.917784, -2.143067, 37, 3, 30)
	foul := listing("csv:14314", "Foul Carr", Hill, 55.917848, -2.142604, 43, 3, 30)
	mast := built(listing("csv:mast", "Hovelin Mast", Mast, 55.6, -2.1, nan, 3, 30), 300, 2, false)
	tests := []struct {
		name    string
		records []Feature
		want    string // the sources of each feature
	}{
		{"three gazetteers, article, capitals, rounding to the minute (55°29′, −2°9′)", []Feature{cheviot,
			listing("geonames:1", "the cheviot", Peak, 55.48333, -2.15, 816, 10, minuteSDM), listing("osm:node/1", "Cheviot", Peak, 55.47850, -2.14550, 815, 5, 30)},
			"csv:2302 geonames:1 osm:node/1"},
		{"rounded to the minute, no height", []Feature{tinto, listing("geonames:1", "Tinto", Peak, 55.6, -3.66667, nan, 10, minuteSDM)}, "csv:1678 geonames:1"},
		{"the other spelling is the other gazetteer's name", []Feature{louise, listing("osm:node/1", "Louise Wood Law", Peak, 55.4195, -3.6888, 618, 5, 30)}, "csv:1765 osm:node/1"},
		{"apostrophe left out, curly or straight", []Feature{downies, east(renamed(downies, "Downies Goats"), "osm:node/1", 20), east(renamed(downies, "Downie’s goats"), "geonames:1", -20)},
			"csv:18860 geonames:1 osm:node/1"},
		{"feet as metres beside metres on one spot", []Feature{tinto, listing("geonames:1", "Tinto", Peak, 55.5917, -3.6626, 2335, 10, 30)}, "csv:1678 geonames:1"},
		{"feet as metres, place to the minute: too little to go by", []Feature{tinto, listing("geonames:1", "Tinto", Peak, 55.6, -3.66667, 2335, 10, minuteSDM)}, "csv:1678 | geonames:1"},
		{"two Cauldshiels Hills 907 m apart, 329 and 268 m", []Feature{cauldshiels, cauldshielsTop}, "csv:14050 | csv:14168"},
		{"each of them with its like, one place to two decimals", []Feature{cauldshiels, cauldshielsTop,
			listing("geonames:1", "Cauldshiels Hill", Hill, 55.58, -2.77, 329, 10, roughSDM), listing("geonames:2", "Cauldshiels Hill", Hill, 55.58, -2.77, 268, 10, roughSDM)},
			"csv:14050 geonames:1 | csv:14168 geonames:2"},
		{"a record without height between them goes to the nearer, and does not join them", []Feature{cauldshiels, cauldshielsTop,
			listing("geonames:1", "Cauldshiels Hill", Hill, 55.58, -2.77, nan, 10, roughSDM)}, "csv:14050 geonames:1 | csv:14168"},
		{"two tops 79 m apart of one gazetteer", []Feature{says, boundary}, "csv:1813 | csv:5455"},
		{"the same with a third record, from another gazetteer", []Feature{says, boundary, east(says, "osm:node/1", 60)}, "csv:1813 osm:node/1 | csv:5455"},
		{"two stacks 30 m apart, listed by one gazetteer each, but not alone", []Feature{downies, foul, east(renamed(foul, "Fowl Car"), "osm:node/1", 25)},
			"csv:14314 | csv:18860 | osm:node/1"},
		{"Gaelic and English for one summit, 30 m apart, 6 m different", []Feature{
			listing("geonames:1", "Ben Hoveal", Peak, 56.5, -4.5, 900, 10, 30), east(listing("osm:node/1", "Beinn Tobhaill", Peak, 56.5, -4.5, 906, 5, 30), "osm:node/1", 30)},
			"geonames:1 osm:node/1"},
		{"the same from one gazetteer", []Feature{
			listing("osm:node/2", "Ben Hoveal", Peak, 56.5, -4.5, 900, 10, 30), east(listing("", "Beinn Tobhaill", Peak, 56.5, -4.5, 906, 5, 30), "osm:node/1", 30)},
			"osm:node/1 | osm:node/2"},
		{"the same without one height", []Feature{
			listing("geonames:1", "Ben Hoveal", Peak, 56.5, -4.5, nan, 10, 30), east(listing("", "Beinn Tobhaill", Peak, 56.5, -4.5, 906, 5, 30), "osm:node/1", 30)},
			"geonames:1 | osm:node/1"},
		{"the same 110 m apart", []Feature{
			listing("geonames:1", "Ben Hoveal", Peak, 56.5, -4.5, 900, 10, 30), east(listing("", "Beinn Tobhaill", Peak, 56.5, -4.5, 906, 5, 30), "osm:node/1", 110)},
			"geonames:1 | osm:node/1"},
		{"the same 11 m different", []Feature{
			listing("geonames:1", "Ben Hoveal", Peak, 56.5, -4.5, 895, 10, 30), east(listing("", "Beinn Tobhaill", Peak, 56.5, -4.5, 906, 5, 30), "osm:node/1", 30)},
			"geonames:1 | osm:node/1"},
		{"both names in one record join the other two", []Feature{
			listing("csv:1", "Beinn Tobhaill|Ben Hoveal", Peak, 56.5, -4.5, 906, 3, 30), listing("geonames:1", "Ben Hoveal", Peak, 56.5, -4.5, 900, 10, minuteSDM),
			listing("osm:node/1", "Beinn Tobhaill", Peak, 56.5005, -4.5, 906, 5, 30)}, "csv:1 geonames:1 osm:node/1"},
		{"400 m apart, 30 m different, places good to 30 m", []Feature{tinto, east(listing("geonames:1", "Tinto", Peak, 55.591692, -3.662551, 681.6, 10, 30), "geonames:1", 400)},
			"csv:1678 | geonames:1"},
		{"400 m apart, 30 m different, one place to the minute", []Feature{tinto, east(listing("geonames:1", "Tinto", Peak, 55.591692, -3.662551, 681.6, 10, minuteSDM), "geonames:1", 400)},
			"csv:1678 geonames:1"},
		{"never more than 1 km", []Feature{tinto, east(listing("geonames:1", "Tinto", Peak, 55.591692, -3.662551, 711, 10, 5000), "geonames:1", 1001)}, "csv:1678 | geonames:1"},
		{"namesakes 5 km apart", []Feature{tinto, east(listing("geonames:1", "Tinto", Peak, 55.591692, -3.662551, 711, 10, 5000), "geonames:1", 5000)}, "csv:1678 | geonames:1"},
		{"namesakes of one gazetteer, to the minute, 900 m apart", []Feature{
			listing("geonames:1", "White Hill", Hill, 55.5, -3.5, nan, 10, minuteSDM), east(listing("", "White Hill", Hill, 55.5, -3.5, nan, 10, minuteSDM), "geonames:2", 900)},
			"geonames:1 | geonames:2"},
		{"a summit twice in one gazetteer", []Feature{tinto, east(tinto, "csv:9", 50)}, "csv:1678 csv:9"},
		{"a hill and a tower of one name on one spot", []Feature{tinto, listing("osm:node/1", "Tinto", Tower, 55.591692, -3.662551, nan, 3, 30)}, "csv:1678 | osm:node/1"},
		{"two masts 300 m apart with different names", []Feature{mast, east(renamed(mast, "Tollan Mast"), "osm:node/1", 300)}, "csv:mast | osm:node/1"},
		{"the same, places known badly", []Feature{mast, func() Feature {
			f := east(renamed(mast, "Tollan Mast"), "osm:node/1", 300)
			f.PositionSDM = 500
			return f
		}()}, "csv:mast | osm:node/1"},
		{"two masts on one spot with different names", []Feature{mast, east(renamed(mast, "Tollan Mast"), "osm:node/1", 10)}, "csv:mast | osm:node/1"},
		{"a mast that another gazetteer calls a tower", []Feature{mast, func() Feature {
			f := east(mast, "osm:node/1", 40)
			f.Kind = Tower
			return f
		}()}, "csv:mast osm:node/1"},
		{"a mast and a chimney", []Feature{mast, func() Feature {
			f := east(mast, "osm:node/1", 40)
			f.Kind = Chimney
			return f
		}()}, "csv:mast | osm:node/1"},
		{"two masts of one site and name in one gazetteer", []Feature{mast, east(mast, "csv:mast2", 60)}, "csv:mast | csv:mast2"},
		{"namesakes 310 m apart, places known badly", []Feature{mast, func() Feature {
			f := east(mast, "osm:node/1", 310)
			f.PositionSDM = 500
			return f
		}()}, "csv:mast | osm:node/1"},
		{"structures of one feature all share a name", []Feature{
			func() Feature {
				f := mast
				f.OtherNames = []string{"Tollan Mast"}
				return f
			}(), east(mast, "osm:node/1", 10), east(renamed(mast, "Tollan Mast"), "geonames:1", 20)}, "csv:mast osm:node/1 | geonames:1"},
		{"a chain of records 180 m apart does not walk", []Feature{
			tinto, east(tinto, "geonames:1", 180), east(tinto, "osm:node/1", 360), east(tinto, "gnis:1", 540)}, "csv:1678 geonames:1 | gnis:1 osm:node/1"},
		{"across the date line", []Feature{listing("csv:1", "Vellan", Peak, -17, 179.9999, 100, 3, 30), listing("osm:node/1", "Vellan", Peak, -17, -179.9999, 100, 5, 30)}, "csv:1 osm:node/1"},
		{"around the pole", []Feature{listing("csv:1", "Vellan", Peak, 89.9999, 10, 100, 3, 30), listing("osm:node/1", "Vellan", Peak, 89.9999, -170, 100, 5, 30)}, "csv:1 osm:node/1"},
		{"names of punctuation alone are no names", []Feature{renamed(mast, "?"), east(renamed(mast, "!"), "osm:node/1", 10)}, "csv:mast | osm:node/1"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			merged, report := Merge(tt.records)
			var got []string
			for _, f := range merged {
				got = append(got, strings.Join(f.Sources, " "))
			}
			slices.Sort(got)
			if words := strings.Join(got, " | "); words != tt.want {
				t.Errorf("merged into %s, want %s", words, tt.want)
			}
			if report.Records != len(tt.records) || report.Features != len(merged) || report.MergedRecords != len(tt.records)-len(merged) {
				t.Errorf("report %+v of %d records and %d features", report, len(tt.records), len(merged))
			}
		})
	}
}

// What a feature takes from which of its records.
func TestMergeTakes(t *testing.T) {
	nan := math.NaN()
	tests := []struct {
		name    string
		records []Feature
		want    Feature
	}{
		{"place and name of the best place, height of the best height, doubts that still hold", []Feature{
			doubted(listing("geonames:1", "Vellan Head|Vellan", Peak, 55.6, -3.66667, 700, 10, minuteSDM), DoubtPlaceToTheMinute),
			doubted(listing("osm:node/1", "Vellan", Hill, 55.601, -3.666, nan, 5, 30), DoubtHeightUnreadable),
			doubted(listing("csv:7", "The Vellan", Hill, 55.6012, -3.666, 711, 3, 40), DoubtUnverified),
		}, doubted(Feature{
			ID: "osm:node/1", Name: "Vellan", OtherNames: []string{"The Vellan", "Vellan Head"}, Kind: Hill, At: geodesy.LatLon{LatDeg: 55.601, LonDeg: -3.666},
			Listed: geodesy.LatLon{LatDeg: 55.601, LonDeg: -3.666}, GroundHeightM: 711, ListedHeightM: 711, TerrainHeightM: nan, HeightSource: HeightListed,
			GroundHeightSDM: 3, PositionSDM: 30, Sources: []string{"csv:7", "geonames:1", "osm:node/1"},
		})},
		{"heights that do not agree", []Feature{
			listing("geonames:1", "Vellan", Peak, 55.6, -3.666, 2335, 10, 30), listing("csv:7", "Vellan", Peak, 55.6, -3.666, 711, 3, 30),
		}, doubted(Feature{
			ID: "csv:7", Name: "Vellan", Kind: Peak, At: geodesy.LatLon{LatDeg: 55.6, LonDeg: -3.666}, Listed: geodesy.LatLon{LatDeg: 55.6, LonDeg: -3.666},
			GroundHeightM: 711, ListedHeightM: 711, TerrainHeightM: nan, HeightSource: HeightListed, GroundHeightSDM: 3, PositionSDM: 30, Sources: []string{"csv:7", "geonames:1"},
		}, DoubtSourcesDisagree)},
		{"a listed structure height beats an assumed one", []Feature{
			built(listing("csv:7", "Hovelin", Mast, 55.6, -3.666, nan, 3, 20), 60, 40, true), built(listing("osm:node/1", "Hovelin", Tower, 55.6, -3.666, nan, 5, 30), 152, 2, false),
		}, doubted(Feature{
			ID: "csv:7", Name: "Hovelin", Kind: Mast, At: geodesy.LatLon{LatDeg: 55.6, LonDeg: -3.666}, Listed: geodesy.LatLon{LatDeg: 55.6, LonDeg: -3.666},
			GroundHeightM: nan, ListedHeightM: nan, TerrainHeightM: nan, HeightSource: HeightListed, GroundHeightSDM: 3, StructureHeightM: 152, StructureHeightSDM: 2,
			PositionSDM: 20, Sources: []string{"csv:7", "osm:node/1"},
		})},
		{"one gazetteer knows that it is gone", []Feature{
			listing("geonames:1", "Hovelin", Tower, 55.6, -3.666, nan, 3, 20), doubted(listing("osm:node/1", "Hovelin", Tower, 55.6, -3.666, nan, 3, 30), DoubtNotStanding),
		}, doubted(Feature{
			ID: "geonames:1", Name: "Hovelin", Kind: Tower, At: geodesy.LatLon{LatDeg: 55.6, LonDeg: -3.666}, Listed: geodesy.LatLon{LatDeg: 55.6, LonDeg: -3.666},
			GroundHeightM: nan, ListedHeightM: nan, TerrainHeightM: nan, HeightSource: HeightListed, GroundHeightSDM: 3, PositionSDM: 20, Sources: []string{"geonames:1", "osm:node/1"},
		}, DoubtNotStanding)},
		{"one gazetteer lists the old one and the new one", []Feature{
			listing("osm:node/2", "Hovelin", Tower, 55.6, -3.666, nan, 3, 20), doubted(listing("osm:node/1", "Hovelin", Tower, 55.6, -3.666, nan, 3, 30), DoubtNotStanding),
		}, doubted(Feature{
			ID: "osm:node/2", Name: "Hovelin", Kind: Tower, At: geodesy.LatLon{LatDeg: 55.6, LonDeg: -3.666}, Listed: geodesy.LatLon{LatDeg: 55.6, LonDeg: -3.666},
			GroundHeightM: nan, ListedHeightM: nan, TerrainHeightM: nan, HeightSource: HeightListed, GroundHeightSDM: 3, PositionSDM: 20, Sources: []string{"osm:node/1", "osm:node/2"},
		})},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, report := Merge(tt.records)
			if diff := cmp.Diff([]Feature{tt.want}, got, cmpopts.EquateNaNs(), cmpopts.EquateEmpty()); diff != "" {
				t.Error(diff)
			}
			if told := slices.Contains(tt.want.Doubts, DoubtSourcesDisagree); told != (len(report.Disagreements) == 1) || told &&
				report.Disagreements[0] != "Vellan: csv:7 ground 711.0 m; geonames:1 ground 2335.0 m" {
				t.Errorf("disagreements %q", report.Disagreements)
			}
		})
	}
}

func TestFold(t *testing.T) {
	folder := newFolder()
	for name, want := range map[string]string{
		"The Cheviot": "cheviot", "The": "the", "Bàrr Mòr": "barr mor", "Ba\u0300rr Mo\u0300r": "barr mor", "Höllberg": "hollberg", "Großer Arber": "grosser arber",
		"Tai-Mo Shan": "tai mo shan", "Mt. St. Helens": "mount saint helens", "Downie’s  Goats": "downies goats", "Ćelije & Łysica": "celije and lysica",
		"富士山": "富士山", "Гора Белуха": "гора белуха", "!?": "", "Ørnefjell 2": "ornefjell 2", "St": "st", "हिमाल": "हिमाल",
	} {
		if got := folder.fold(name); got != want {
			t.Errorf("fold(%q) = %q, want %q", name, got, want)
		}
	}
}

// crowd makes records that share few names and lie close together, around places with a date line and a pole among them.
func crowd(seed uint64, n int) []Feature {
	r := rand.New(rand.NewPCG(seed, 1))
	middles := []geodesy.LatLon{{LatDeg: 55.5, LonDeg: -3.5}, {LatDeg: -17, LonDeg: 180}, {LatDeg: 89.999, LonDeg: 40}}
	names := []string{"Vellan", "Hovelin", "The Vellan", "Tollan|Vellan", "Ben Hoveal", "Beinn Tobhaill|Ben Hoveal"}
	kinds := []Kind{Peak, Hill, Volcano, Tower, Mast, Lighthouse, Viewpoint}
	out := make([]Feature, n)
	for i := range out {
		at, _ := geodesy.WGS84.Direct(middles[r.IntN(3)], 360*r.Float64(), 1500*r.Float64())
		heightM := 700 + 60*r.Float64()
		if r.IntN(4) == 0 {
			heightM = math.NaN()
		}
		id := fmt.Sprintf("%s:%d", []string{"csv", "osm", "geonames"}[r.IntN(3)], i)
		out[i] = listing(id, names[r.IntN(len(names))], kinds[r.IntN(len(kinds))], at.LatDeg, at.LonDeg, heightM, 3+7*r.Float64(), []float64{30, 100, minuteSDM}[r.IntN(3)])
	}
	return out
}

// mergeSlowly holds every record against every other: the same rules without an index.
func mergeSlowly(features []Feature) []Feature {
	m := newMerger(features)
	var pairs, others []recordPair
	for j := range int32(len(m.records)) {
		for i := range j {
			if m.shareName(i, j) && m.fits(i, j) {
				pairs = append(pairs, recordPair{m.chordM(i, j), i, j})
			}
		}
	}
	m.joinNamesakes(pairs)
	around := map[int32]int{}
	for j := range int32(len(m.records)) {
		for i := range j {
			if m.root[i] != i || m.root[j] != j || !m.records[i].Kind.isSummit() || !m.records[j].Kind.isSummit() || m.chordM(i, j) > 300 {
				continue
			}
			around[i]++
			around[j]++
			if m.chordM(i, j) <= 100 && math.Abs(m.records[i].ListedHeightM-m.records[j].ListedHeightM) <= 10 {
				others = append(others, recordPair{i: i, j: j})
			}
		}
	}
	for _, p := range others {
		if around[p.i] == 1 && around[p.j] == 1 {
			m.join(p.i, p.j)
		}
	}
	out, _ := m.result()
	return out
}

func TestMergeIsTheSlowOne(t *testing.T) {
	joined := 0
	for seed := range uint64(40) {
		n := 20
		if seed >= 20 {
			n = 150
		}
		records := crowd(seed, n)
		got, report := Merge(records)
		if diff := cmp.Diff(mergeSlowly(records), got, cmpopts.EquateNaNs()); diff != "" {
			t.Fatalf("seed %d: %s", seed, diff)
		}
		joined += report.MergedRecords
	}
	if joined < 200 {
		t.Errorf("only %d records were merged: the records try nothing", joined)
	}
}

// The order of records changes nothing, merging again changes nothing more, and no record gets lost.
func TestMergeOrder(t *testing.T) {
	for seed := range uint64(20) {
		records := crowd(100+seed, 120)
		want, _ := Merge(records)
		sources := 0
		for _, f := range want {
			sources += len(f.Sources)
		}
		if sources != len(records) {
			t.Fatalf("%d records became features of %d sources", len(records), sources)
		}
		rand.New(rand.NewPCG(seed, 2)).Shuffle(len(records), func(i, j int) { records[i], records[j] = records[j], records[i] })
		shuffled, _ := Merge(records)
		if diff := cmp.Diff(want, shuffled, cmpopts.EquateNaNs()); diff != "" {
			t.Fatalf("seed %d: %s", seed, diff)
		}
	}
}

// The hills of the Scottish Borders hold no summit twice, namesakes and tops 24 m apart though there are; with a copy of all of them, moved and
// renumbered as another gazetteer would have them, every hill finds its own.
func TestMergeBordersHills(t *testing.T) {
	hills := bordersHills(t)
	alone, report := Merge(hills)
	if report.MergedRecords != 0 {
		t.Errorf("%d of %d hills were merged into others", report.MergedRecords, len(hills))
	}
	both := slices.Clone(hills)
	for _, f := range hills {
		copied := east(f, "osm:node/"+strings.TrimPrefix(f.ID, "geonames:"), 40)
		copied.Name, copied.OtherNames = strings.ToUpper(f.Name), nil
		copied.ListedHeightM++
		both = append(both, copied)
	}
	merged, _ := Merge(both)
	if len(merged) != len(alone) {
		t.Fatalf("%d features of %d hills listed twice", len(merged), len(alone))
	}
	for _, f := range merged {
		if len(f.Sources) != 2 || strings.TrimPrefix(f.Sources[0], "geonames:") != strings.TrimPrefix(f.Sources[1], "osm:node/") {
			t.Errorf("%s is of %v", f.Name, f.Sources)
		}
	}
}

// The same hills as their database publishes them: heights to the decimetre, and 25 alternatives in brackets behind the name, where
// no name is shared. Those are found by spot and height, but for a stack beside other stacks: Downie's Goats [Crooked Carr].
func TestMergeBordersHillsInTwoLayouts(t *testing.T) {
	file, err := os.Open("../testdata/DoBIH_v17_5_slice_55-56N_4-2W.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := func(row []string, name string) string { return row[slices.Index(rows[0], name)] }
	number := func(row []string, name string) float64 {
		v, err := strconv.ParseFloat(column(row, name), 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	both := bordersHills(t)
	hills := len(both)
	for _, row := range rows[1:] {
		both = append(both, listing("csv:"+row[0], column(row, "Name"), Hill, number(row, "Latitude"), number(row, "Longitude"), number(row, "Metres"), 3, 30))
	}
	merged, report := Merge(both)
	if report.Disagreeing != 0 {
		t.Errorf("heights disagree: %q", report.Disagreements)
	}
	var single []string
	for _, f := range merged {
		switch {
		case len(f.Sources) == 1:
			single = append(single, f.ID)
		case len(f.Sources) != 2 || strings.TrimPrefix(f.Sources[0], "csv:") != strings.TrimPrefix(f.Sources[1], "geonames:"):
			t.Errorf("%s is of %v", f.Name, f.Sources)
		}
	}
	if hills != 1492 || len(rows)-1 != 1492 || !slices.Equal(single, []string{"csv:18860", "geonames:18860"}) {
		t.Errorf("of %d and %d hills %v found no other", hills, len(rows)-1, single)
	}
}

// A word that every turbine of a park is named by joins nothing. Nor do summits heaped on one spot, whatever their names; neither costs
// quadratic time.
func TestMergeOfCrowds(t *testing.T) {
	const n = 20_000
	park, heap := make([]Feature, n), make([]Feature, n)
	for i := range n {
		source := []string{"osm", "csv"}[i%2]
		park[i] = listing(fmt.Sprintf("%s:%d", source, i), "Windpark", Turbine, 55.5, -3.5, 300, 3, 30)
		heap[i] = listing(fmt.Sprintf("%s:%d", source, i), fmt.Sprintf("Name %d", i), Peak, 55.5, -3.5, 300, 3, 30)
	}
	for name, records := range map[string][]Feature{"park": park, "heap": heap} {
		if merged, _ := Merge(records); len(merged) != n {
			t.Errorf("%s: %d of %d are left", name, len(merged), n)
		}
	}
}

func BenchmarkMergeMillion(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	records := make([]Feature, 0, 1_000_000)
	for i := range 800_000 {
		at := geodesy.LatLon{LatDeg: 180 / math.Pi * math.Asin(2*r.Float64()-1), LonDeg: -180 + 360*r.Float64()}
		f := listing(fmt.Sprintf("geonames:%d", i), fmt.Sprintf("Mount number %d|Berg %d", i/3, i), Peak, at.LatDeg, at.LonDeg, 1000, 10, 30)
		records = append(records, f)
		if i%4 == 0 {
			records = append(records, east(renamed(f, f.OtherNames[0]), fmt.Sprintf("osm:node/%d", i), 50))
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		if merged, _ := Merge(records); len(merged) != 800_000 {
			b.Fatal(len(merged))
		}
	}
}

func TestMergeKeepsDatesAndWidths(t *testing.T) {
	at := geodesy.LatLon{LatDeg: 55, LonDeg: -3}
	merged, _ := Merge([]Feature{
		{ID: "geonames:1", Name: "Hovelin", Kind: Mast, Listed: at, At: at, PositionSDM: 30, Sources: []string{"geonames:1"}, GroundHeightM: math.NaN(), ListedHeightM: math.NaN()},
		{ID: "osm:node/1", Name: "Hovelin", Kind: Mast, Listed: at, At: at, PositionSDM: 40, Sources: []string{"osm:node/1"}, StartDate: "1931", EndDate: "1998", WidthM: 2.5, LightHeightM: 40,
			GroundHeightM: math.NaN(), ListedHeightM: math.NaN()},
	})
	if len(merged) != 1 || merged[0].ID != "geonames:1" || merged[0].StartDate != "1931" || merged[0].EndDate != "1998" || merged[0].WidthM != 2.5 || merged[0].LightHeightM != 40 {
		t.Errorf("merged %+v", merged)
	}
}
