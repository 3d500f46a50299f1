package reports

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"farstation/pipeline"
)

func TestRankedCSV(t *testing.T) {
	content := written(t, func(b *bytes.Buffer) error {
		return WriteRankedCSV(b, pipeline.GroupsOf(rankedOf(sampleSightlines())), 1, pipeline.PlaceExact)
	})
	// RFC 4180, section 2: lines end in CRLF, the last one too; quotes within a quoted cell are doubled.
	if lines := bytes.Count(content, []byte("\r\n")); lines != 3 || bytes.Count(content, []byte("\n")) != 3 || !bytes.HasSuffix(content, []byte("\r\n")) {
		t.Errorf("ranked.csv has %d lines that end in CRLF, want 3 and no others:\n%q", lines, content)
	}
	if !bytes.Contains(content, []byte(`,"Harrow ""Old"" Stack",`)) {
		t.Errorf("ranked.csv does not hold the quoted name with doubled quotes:\n%s", content)
	}
	rows, err := csv.NewReader(bytes.NewReader(content)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	cell := func(row int, column string) string { return rows[row][slices.Index(rows[0], column)] }
	for _, test := range []struct {
		row          int
		column, want string
	}{
		{1, "rank", "1"}, {2, "rank", "2"},
		{1, "observer_name", `Harrow "Old" Stack`}, {1, "target_name", "'=Cinder Head"},
		{1, "distance_m", "178066.1"}, {2, "distance_m", "308093.4"}, {1, "observer_latitude_deg", "65.0"}, {1, "target_longitude_deg", "-178.0"},
		{2, "chance", ""}, {1, "chance", "0.98"}, {1, "verdict", "direct"},
	} {
		if got := cell(test.row, test.column); got != test.want {
			t.Errorf("ranked.csv: row %d, %s is %q, want %q", test.row, test.column, got, test.want)
		}
	}
}

func TestCSVInert(t *testing.T) {
	for text, want := range map[string]string{
		"=1+1": "'=1+1", "+47": "'+47", "-2": "'-2", "@sum": "'@sum", "\tx": "'\tx", "\rx": "'\rx",
		"": "", "Harrow": "Harrow", "a=b": "a=b", "'=x": "'=x", "Ångfjell": "Ångfjell",
	} {
		if got := csvInert(text); got != want {
			t.Errorf("csvInert(%q) = %q, want %q", text, got, want)
		}
	}
}

func TestRoundedText(t *testing.T) {
	for _, test := range []struct {
		v    float64
		n    int
		want string
	}{
		{179.99999999, 7, "180"}, {-0.00000001, 7, "0"}, {65.3485600357, 7, "65.34856"}, {1200, 1, "1200"}, {-12.349, 1, "-12.3"}, {0.05, 4, "0.05"}, {100, 0, "100"},
	} {
		if got := roundedText(test.v, test.n); got != test.want {
			t.Errorf("roundedText(%v, %d) = %s, want %s", test.v, test.n, got, test.want)
		}
	}
}

func TestRankedGeoJSON(t *testing.T) {
	content := written(t, func(b *bytes.Buffer) error {
		return WriteRankedGeoJSON(b, pipeline.GroupsOf(rankedOf(sampleSightlines())), 1, pipeline.PlaceExact)
	})
	var collection struct {
		Type     string
		Features []struct {
			Type     string
			Geometry struct {
				Type        string
				Coordinates json.RawMessage
			}
			Properties map[string]any
		}
	}
	if err := json.Unmarshal(content, &collection); err != nil {
		t.Fatal(err)
	}
	if collection.Type != "FeatureCollection" || len(collection.Features) != 2 || collection.Features[0].Type != "Feature" {
		t.Fatalf("ranked.geojson is no collection of 2 features:\n%s", content)
	}
	across, plain := collection.Features[0], collection.Features[1]
	// The latitude at 180° is that of TestMapLine, rounded to 7 decimals.
	var parts [][][2]float64
	if err := json.Unmarshal(across.Geometry.Coordinates, &parts); err != nil || across.Geometry.Type != "MultiLineString" || len(parts) != 2 ||
		parts[0][len(parts[0])-1] != [2]float64{180, 65.34856} || parts[1][0] != [2]float64{-180, 65.34856} {
		t.Errorf("the line across the date line is a %s of %v (%v)", across.Geometry.Type, parts, err)
	}
	var line [][2]float64
	if err := json.Unmarshal(plain.Geometry.Coordinates, &line); err != nil || plain.Geometry.Type != "LineString" ||
		line[0] != [2]float64{15, 79.5} || line[len(line)-1] != [2]float64{30, 80.4} {
		t.Errorf("the line along 80° N is a %s of %v (%v)", plain.Geometry.Type, line, err)
	}
	for name, want := range map[string]any{"rank": 1.0, "target_name": "=Cinder Head", "distance_m": 178066.1, "chance": 0.98} {
		if got := across.Properties[name]; got != want {
			t.Errorf("%s is %v, want %v", name, got, want)
		}
	}
	if got, given := plain.Properties["chance"]; got != nil || !given {
		t.Errorf("chance of rank 2 is %v (given: %v), want null", got, given)
	}
	for _, feature := range collection.Features {
		if len(feature.Properties) != len(rankedColumnNames()) {
			t.Errorf("%d properties, want %d", len(feature.Properties), len(rankedColumnNames()))
		}
	}
}

func TestRankedListsOfNothing(t *testing.T) {
	content := written(t, func(b *bytes.Buffer) error {
		return WriteRankedGeoJSON(b, pipeline.GroupsOf(sampleSightlines()[:1]), 1, pipeline.PlaceExact)
	})
	var collection struct {
		Type     string
		Features []any
	}
	if err := json.Unmarshal(content, &collection); err != nil || collection.Type != "FeatureCollection" || collection.Features == nil || len(collection.Features) != 0 {
		t.Errorf("without ranked lines: %s (%v)", content, err)
	}
	text := written(t, func(b *bytes.Buffer) error {
		return WriteRankedCSV(b, pipeline.GroupsOf(rankedOf(nil)), 1, pipeline.PlaceExact)
	})
	if want := strings.Join(rankedColumnNames(), ",") + "\r\n"; string(text) != want {
		t.Errorf("without ranked lines: %q, want the header alone", text)
	}
}

func TestRankedListsRefuseWhatIsNotFinite(t *testing.T) {
	rows := sampleSightlines()
	rows[2].MarginArcmin = math.NaN()
	for name, write := range map[string]func(*bytes.Buffer, []pipeline.Sightline) error{
		"ranked.csv": func(b *bytes.Buffer, rows []pipeline.Sightline) error {
			return WriteRankedCSV(b, pipeline.GroupsOf(rankedOf(rows)), 1, pipeline.PlaceExact)
		},
		"ranked.geojson": func(b *bytes.Buffer, rows []pipeline.Sightline) error {
			return WriteRankedGeoJSON(b, pipeline.GroupsOf(rankedOf(rows)), 1, pipeline.PlaceExact)
		},
	} {
		want := name + ": rank 1: margin_arcmin is NaN, which no column may hold"
		if err := write(&bytes.Buffer{}, rows); err == nil || err.Error() != want {
			t.Errorf("error %v, want %s", err, want)
		}
	}
}

func TestGDALReadsRankedGeoJSON(t *testing.T) {
	ogrinfo, err := exec.LookPath("ogrinfo")
	if err != nil {
		missing(t, "ogrinfo (GDAL) is not installed: ranked.geojson cannot be read with it")
	}
	path := saved(t, rankedGeoJSONFile, written(t, func(b *bytes.Buffer) error {
		return WriteRankedGeoJSON(b, pipeline.GroupsOf(rankedOf(sampleSightlines())), 1, pipeline.PlaceExact)
	}))
	out, err := exec.Command(ogrinfo, "-ro", "-al", path).CombinedOutput()
	if err != nil {
		t.Fatalf("ogrinfo: %v\n%s", err, out)
	}
	for _, want := range []string{
		"using driver `GeoJSON' successful", "Feature Count: 2", "Extent: (-180.000000, 65.000000) - (180.000000, 80.400000)",
		"rank: Integer (0.0)", "distance_m: Real (0.0)", "observer_longitude_deg: Real (0.0)", "target_name (String) = =Cinder Head",
		"distance_m (Real) = 178066.1", "MULTILINESTRING ((179 65,", "LINESTRING (15.0 79.5,16.9710746 79.6683997,",
	} {
		if !bytes.Contains(out, []byte(want)) {
			t.Errorf("ogrinfo does not say %q:\n%s", want, out)
		}
	}
	if strings.Contains(string(out), "Warning") || strings.Contains(string(out), "ERROR") {
		t.Errorf("ogrinfo complains:\n%s", out)
	}
}

// TestObserverPlace: with the place blurred or left out, no exported file holds the observer's name, id or exact place.
func TestObserverPlace(t *testing.T) {
	features, lines, alignments := kmlSample()
	lines[2].ObserverName, lines[2].ObserverID, lines[2].TargetName = "Secret Knoll", "csv:secret", "Cinder Head"
	lines[2].ObserverLatDeg, lines[2].ObserverLonDeg = 65.0123456, 179.0456789
	lines[2].ModelGapArcmin = 16.123
	features[0].FeatureID, features[0].Name = "csv:secret", "Secret Knoll"
	alignments[0].ObserverID, alignments[0].Rank = "csv:secret", pointer[int32](1)
	result := &pipeline.Result{Features: pipeline.GroupsOf(features), Shown: pipeline.ShownOf(lines, alignments[:1])}
	files := map[string]func(*bytes.Buffer, pipeline.ObserverPlace) error{
		rankedCSVFile: func(b *bytes.Buffer, p pipeline.ObserverPlace) error {
			return WriteRankedCSV(b, pipeline.GroupsOf(rankedOf(lines)), 1, p)
		},
		rankedGeoJSONFile: func(b *bytes.Buffer, p pipeline.ObserverPlace) error {
			return WriteRankedGeoJSON(b, pipeline.GroupsOf(rankedOf(lines)), 1, p)
		},
		rankedKMLFile: func(b *bytes.Buffer, p pipeline.ObserverPlace) error { return WriteRankedKML(b, result, p) },
	}
	for name, write := range files {
		for _, test := range []struct {
			place           pipeline.ObserverPlace
			told, blurredTo bool
		}{{pipeline.PlaceExact, true, false}, {pipeline.PlaceBlurred, false, true}, {pipeline.PlaceLeftOut, false, false}} {
			text := string(written(t, func(b *bytes.Buffer) error { return write(b, test.place) }))
			for _, secret := range []string{"Secret Knoll", "csv:secret", "65.0123456", "179.0456789"} {
				if secret == "csv:secret" && name == rankedKMLFile && test.told {
					continue // among the data of the placemark, as any other column
				}
				if strings.Contains(text, secret) != test.told {
					t.Errorf("%s, %s: holds %q is %v, want %v", name, test.place, secret, !test.told, test.told)
				}
			}
			if strings.Contains(text, "16.123") && !test.told {
				t.Errorf("%s, %s: tells the gap between the models, and thus the distance to metres", name, test.place)
			}
			if near := strings.Contains(text, "a place near 65.0°, 179.0°"); near != test.blurredTo {
				t.Errorf("%s, %s: tells the blurred place is %v", name, test.place, near)
			}
			if !strings.Contains(text, "Cinder Head") {
				t.Errorf("%s, %s: the target is gone", name, test.place)
			}
			if said := strings.Contains(text, "Observers' places") || strings.Contains(text, "Observers&#39; places"); name != rankedCSVFile && said == test.told {
				t.Errorf("%s, %s: says so is %v", name, test.place, said)
			}
		}
	}
}

func TestHostileNamesInTextFiles(t *testing.T) {
	lines := sampleSightlines()
	for _, name := range hostileNames() {
		lines[2].TargetName = name
		rows, err := csv.NewReader(bytes.NewReader(written(t, func(b *bytes.Buffer) error {
			return WriteRankedCSV(b, pipeline.GroupsOf(rankedOf(lines)), 1, pipeline.PlaceExact)
		}))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		want := name
		if name[0] == '=' {
			want = "'" + name
		}
		if got := rows[1][slices.Index(rows[0], "target_name")]; got != want {
			t.Errorf("ranked.csv: %q comes back as %q", name, got)
		}
		text := written(t, func(b *bytes.Buffer) error {
			return WriteRankedGeoJSON(b, pipeline.GroupsOf(rankedOf(lines)), 1, pipeline.PlaceExact)
		})
		var collection struct {
			Features []struct{ Properties map[string]any }
		}
		if err := json.Unmarshal(text, &collection); err != nil {
			t.Fatal(err)
		}
		if got := collection.Features[0].Properties["target_name"]; got != name {
			t.Errorf("ranked.geojson: %q comes back as %q", name, got)
		}
		if bytes.Contains(text, []byte("<script")) {
			t.Errorf("ranked.geojson holds markup that a page might run")
		}
	}
}
