package pipeline

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// The reading of terrain and the settling of features, which take long on many tiles, end with their context and count what they have done.
func TestLoadEndsWithItsContext(t *testing.T) {
	opts := bordersOptions()
	w, err := Load(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	progress := &Progress{}
	w.Store = terrain.NewStore(w.Index, terrain.StoreOptions{MemoryBytes: 1 << 30})
	if _, err := w.postSpacingM(ctx, 2, progress); err != nil || progress.Snapshot().Done != progress.Snapshot().Total || progress.Snapshot().Total < 2 {
		t.Errorf("postSpacingM: %v after %+v", err, progress.Snapshot())
	}
	progress.begin("settle features", len(w.Features))
	if _, _, err := w.settle(ctx, &opts, 93, progress); err != nil || progress.Snapshot().Done != progress.Snapshot().Total {
		t.Errorf("settle: %v after %+v", err, progress.Snapshot())
	}
	cancel()
	if _, err := w.postSpacingM(ctx, 2, progress); !errors.Is(err, context.Canceled) {
		t.Errorf("postSpacingM after its context's end: %v", err)
	}
	if features, dropped, err := w.settle(ctx, &opts, 93, progress); !errors.Is(err, context.Canceled) {
		t.Errorf("settle after its context's end: %d features, %d dropped, %v", len(features), len(dropped), err)
	}
}

// Records of three files become one feature, their sources reach the table, and everything that went in is counted.
func TestLoadMerges(t *testing.T) {
	opts := bordersOptions()
	// The hills are those of testdata/dobih_slice_geonames_layout.tsv; the second file is made. Tinto stands there twice, the Cheviot in feet.
	other := written(t, `id,name,kind,lat,lon,ele,other_names
t1,TINTO,peak,55.5918,-3.6626,711.6,Tintock
t2,Tinto Hill,peak,55.5918,-3.6627,711.6,Tinto
c,Cheviot,peak,55.4785,-2.1455,2674,
n,Nowhere Hill,hill,55.48,-2.2,,
`)
	opts.Features = append(opts.Features, other)
	alone, err := Load(t.Context(), bordersOptions(), nil)
	if err != nil {
		t.Fatal(err)
	}
	w, err := Load(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := len(w.Features), len(alone.Features)+1; got != want {
		t.Errorf("%d features, want %d: one hill more than alone", got, want)
	}
	if w.Merging.Records != w.Inputs[0].Used+4 || w.Merging.MergedRecords != 3 || w.Merging.Disagreeing != 1 {
		t.Errorf("%+v", w.Merging)
	}
	var result Result
	if err := result.describe(&opts, w, &traced{}); err != nil {
		t.Fatal(err)
	}
	c := result.Manifest.Counts
	if c.Read != w.Merging.Records || c.Merged != 3 || c.SourcesDisagree != 1 || len(result.Manifest.SourcesDisagree) != 1 || !strings.Contains(result.Manifest.SourcesDisagree[0], "csv:c ground 2674.0 m") {
		t.Errorf("%+v, %q", c, result.Manifest.SourcesDisagree)
	}
	var rows []FeatureRow
	for i := range w.Features {
		rows = append(rows, featureRow(&w.Features[i], 0))
	}
	row := func(id string) FeatureRow {
		i := slices.IndexFunc(rows, func(r FeatureRow) bool { return r.FeatureID == id })
		if i < 0 {
			t.Fatalf("no feature %s", id)
		}
		return rows[i]
	}
	// Places of both files are good to 30 m, so the first id gives the name; the spread of a CSV's height is the smaller.
	if tinto := row("csv:t1"); tinto.Sources != "csv:t1,csv:t2,geonames:1678" || tinto.OtherNames != "Tintock|Tinto Hill|Tinto" || *tinto.ListedHeightM != 711.6 {
		t.Errorf("%+v", tinto)
	}
	if cheviot := row("csv:c"); !strings.Contains(cheviot.Doubts, gazetteer.DoubtSourcesDisagree) || !strings.Contains(cheviot.Doubts, gazetteer.DoubtFeetAsMetres) || cheviot.GroundHeightM > 820 {
		t.Errorf("%+v", cheviot)
	}
}

func TestMergeFeaturesLeavesOutWhatIsGone(t *testing.T) {
	mast := func(id, name string, doubts ...string) gazetteer.Feature {
		return gazetteer.Feature{ID: id, Name: name, Kind: gazetteer.Mast, Listed: geodesy.LatLon{LatDeg: 55, LonDeg: -3}, Sources: []string{id}, Doubts: doubts, PositionSDM: 30}
	}
	w := World{Features: []gazetteer.Feature{
		mast("geonames:1", "Hovelin"), mast("osm:node/1", "Hovelin", gazetteer.DoubtNotStanding), mast("osm:node/2", "Tollan"), mast("osm:node/3", "Vellan", gazetteer.DoubtNotStanding),
	}}
	w.Features[3].StartDate, w.Features[3].EndDate = "1931", "1998-05"
	w.mergeFeatures()
	if want := "osm:node/3 (Vellan, mast), from 1931, until 1998-05"; len(w.Gone) != 2 || !slices.Contains(w.Gone, want) {
		t.Errorf("gone are %q, want %q among them", w.Gone, want)
	}
	if len(w.Features) != 1 || w.Features[0].Name != "Tollan" || w.NotStanding != 2 || w.Merging.MergedRecords != 1 {
		t.Errorf("%+v", w)
	}
}

// A listed summit on a void post keeps its height, and is told from one without a tile. The place is in a row of seven void posts
// of testdata/N55W004.hgt.zip.
func TestLoadSummitOnVoid(t *testing.T) {
	opts := bordersOptions()
	opts.Features = []string{written(t, "id,name,kind,lat,lon,ele\n"+
		"v,Void Hill,hill,55.47835,-3.37505,345\nf,Far Hill,hill,50.51234,10.51234,345\n")}
	w, err := Load(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	doubts := map[string][]string{}
	for _, f := range w.Features {
		doubts[f.ID] = f.Doubts
		if f.GroundHeightM != 345 {
			t.Errorf("%s stands at %v m", f.ID, f.GroundHeightM)
		}
	}
	if !slices.Equal(doubts["csv:v"], []string{gazetteer.DoubtSummitOnVoid}) || !slices.Equal(doubts["csv:f"], []string{gazetteer.DoubtHeightUnchecked}) {
		t.Errorf("%v", doubts)
	}
}

func TestTerms(t *testing.T) {
	osm, unknown := Terms{"ODbL 1.0", "© OpenStreetMap contributors"}, Terms{LicenceUnknown, LicenceUnknown}
	for _, tt := range []struct{ stated, usual, want Terms }{
		{Terms{}, osm, osm},
		{Terms{Licence: "CC0 1.0"}, osm, Terms{"CC0 1.0", LicenceUnknown}},
		{Terms{Licence: "ODbL 1.0"}, osm, osm},
		{Terms{Attribution: "The makers, 2026"}, osm, Terms{"ODbL 1.0", "The makers, 2026"}},
		{Terms{"CC BY 4.0", "The makers"}, unknown, Terms{"CC BY 4.0", "The makers"}},
	} {
		if got := tt.stated.or(tt.usual); got != tt.want {
			t.Errorf("%v over %v is %v, want %v", tt.stated, tt.usual, got, tt.want)
		}
	}
}

func TestLicenceNote(t *testing.T) {
	osm := Input{Path: "/a/peaks.osm.pbf", Licence: "ODbL 1.0", Attribution: "© OpenStreetMap contributors"}
	geoNames := Input{Path: "AG.zip", Licence: "CC BY 4.0", Attribution: "GeoNames, geonames.org"}
	unknown := Input{Path: "/a/b/masts.csv", Licence: LicenceUnknown, Attribution: LicenceUnknown}
	const binds = "A part under ODbL binds the whole: the derived data set may be passed on only under ODbL 1.0, naming "
	for _, tt := range []struct {
		name   string
		inputs []Input
		want   string
	}{
		{"none binds", []Input{geoNames}, ""},
		{"one part binds", []Input{geoNames, osm, osm}, binds + "© OpenStreetMap contributors."},
		{"stated by its long name, without attribution", []Input{{Path: "x/sites.geojson", Licence: "Open Database License v1.0"}}, binds + "the makers of sites.geojson."},
		{"not stated", []Input{unknown}, "The licence of masts.csv was not stated: ask for it before passing the result on."},
		{"both", []Input{unknown, osm}, binds + "© OpenStreetMap contributors. The licence of masts.csv was not stated: ask for it before passing the result on."},
	} {
		if got := licenceNote(tt.inputs); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

// Terrain has half the memory, or what features leave.
func TestTerrainBytes(t *testing.T) {
	for _, test := range []struct {
		memory   int64
		features int
		want     int64
	}{
		{2 << 20, 53, 1 << 20}, {1 << 30, 182_854, 1 << 29}, {2 << 30, 1_000_000, 717_986_919}, {6 << 30, 5_000_000, 6 << 26}, {1 << 30, 5_000_000, 1 << 26},
	} {
		opts := Options{MemoryBytes: test.memory}
		if got := opts.terrainBytes(test.features); got != test.want {
			t.Errorf("terrainBytes of %d with %d features = %d, want %d", test.memory, test.features, got, test.want)
		}
	}
}
