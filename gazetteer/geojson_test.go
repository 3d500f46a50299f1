package gazetteer

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestNaturalEarth(t *testing.T) {
	features, report, err := readPath(t, "../testdata/ne_10m_geography_regions_elevation_points.json", ReadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	// Counted with a JSON parser of another language: 711 features, 633 mountains, one of which has no name.
	if report.Format != "geojson" || report.Rows != 711 || report.Used != 632 || report.RejectedRows != 1 || report.Rejected[0] != (Rejected{59, "no name"}) {
		t.Errorf("%+v", report)
	}
	if diff := cmp.Diff(map[string]int{"spot elevation": 61, "depression": 9, "plateau": 5, "pass": 2, "cape": 1}, report.PassedOverKinds); diff != "" {
		t.Errorf("passed over (-want +got):\n%s", diff)
	}
	at := slices.IndexFunc(features, func(f Feature) bool { return f.Name == "Finsteraarhorn" })
	if at < 0 || features[at].Kind != Peak || features[at].ListedHeightM != 4274 || features[at].PositionSDM != naturalEarthPlaceSDM {
		t.Errorf("Finsteraarhorn: %d, want a peak of 4274 m", at)
	}
	if at = slices.IndexFunc(features, func(f Feature) bool { return slices.Contains(f.OtherNames, "Mt. Nimba") }); at < 0 || features[at].Name != "Mt. Richard-Molard" {
		t.Errorf("Mt. Nimba: %d, want it as the other name of Mt. Richard-Molard", at)
	}
}

// TestGeoJSONFeatures reads one feature in the shapes in which software writes them.
func TestGeoJSONFeatures(t *testing.T) {
	const point = `"geometry":{"type":"Point","coordinates":[2.22222,1.11111,999]}`
	collection := func(features string) string { return `{"type":"FeatureCollection","features":[` + features + `]}` }
	feature := func(properties string) string {
		return `{"type":"Feature","properties":{` + properties + `},` + point + `}`
	}
	nan := math.NaN()
	tests := []struct {
		name, text         string
		id                 string
		kind               Kind
		listedM, structure float64
		doubts             string
	}{
		{"single feature", feature(`"name":"A","kind":"hill","ele":12.5`), "geojson:a@1.11111/2.22222", Hill, 12.5, 0, ""},
		{"single feature over lines", strings.ReplaceAll(feature(`"name":"A","kind":"hill","ele":12.5`), ",", "\n,\n"), "geojson:a@1.11111/2.22222", Hill, 12.5, 0, ""},
		{"record separators", "\x1e" + feature(`"name":"A","kind":"hill"`) + "\n", "", Hill, nan, 0, ""},
		{"record separators, over lines", "\x1e" + strings.ReplaceAll(feature(`"name":"A","kind":"hill"`), ",", "\n,\n") + "\n", "", Hill, nan, 0, ""},
		{"type at the end", `{"features":[` + feature(`"name":"A","kind":"hill"`) + `],"bbox":[1,2,3,4],"type":"FeatureCollection"}`, "", Hill, nan, 0, ""},
		{"no kind", collection(feature(`"name":"A"`)), "", Place, nan, 0, ""},
		{"id of the feature", collection(`{"type":"Feature","id":"x7","properties":{"name":"A","id":"other"},` + point + `}`), "geojson:x7", Place, nan, 0, ""},
		{"id among properties", collection(feature(`"name":"A","ID":17`)), "geojson:17", Place, nan, 0, ""},
		{"feet", collection(feature(`"name":"A","kind":"peak","ele":"1,234 ft"`)), "", Peak, 376.1232, 0, ""},
		{"feet by the property's name", collection(feature(`"name":"A","kind":"peak","elevation_ft":1000`)), "", Peak, 304.8, 0, ""},
		{"three decimals are no thousands", collection(feature(`"name":"A","kind":"peak","ele":1.234`)), "", Peak, 1.234, 0, ""},
		{"tags: peak", collection(feature(`"name":"A","natural":"peak","ele":"345"`)), "", Peak, 345, 0, ""},
		{"tags: height is the mast's", collection(feature(`"name":"A","man_made":"mast","height":"120","ele":"345"`)), "", Mast, 345, 120, ""},
		{"tags: height in words", collection(feature(`"name":"A","man_made":"tower","height":"tall"`)), "", Tower, nan, 30, DoubtStructureHeightAssumed + "," + DoubtStructureHeightUnreadable},
		{"tags: water tower", collection(feature(`"name":"A","man_made":"water_tower","height":"30"`)), "", Tower, nan, 30, ""},
		{"tags: turbine", collection(feature(`"name":"A","power":"generator","generator:source":"wind","height":"90"`)), "", Turbine, nan, 90, ""},
		{"tags: viewpoint", collection(feature(`"name":"A","tourism":"viewpoint"`)), "", Viewpoint, nan, 0, ""},
		{"crs of the standard", `{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:OGC:1.3:CRS84"}},"features":[` + feature(`"name":"A"`) + `]}`, "", Place, nan, 0, ""},
		{"crs null", `{"type":"FeatureCollection","crs":null,"features":[` + feature(`"name":"A"`) + `]}`, "", Place, nan, 0, ""},
		{"crs as EPSG", `{"type":"FeatureCollection","features":[` + feature(`"name":"A"`) + `],"crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::4326"}}}`, "", Place, nan, 0, ""},
	}
	for _, tt := range tests {
		features, report, err := readText(t, tt.text, ReadOptions{})
		if err != nil || len(features) != 1 || report.Rows != 1 {
			t.Errorf("%s: %+v, %+v, %v", tt.name, features, report, err)
			continue
		}
		f := features[0]
		sameHeight := math.Abs(f.ListedHeightM-tt.listedM) < 1e-9 || math.IsNaN(f.ListedHeightM) && math.IsNaN(tt.listedM)
		if f.Name != "A" || f.Kind != tt.kind || tt.id != "" && f.ID != tt.id || !sameHeight || f.StructureHeightM != tt.structure || strings.Join(f.Doubts, ",") != tt.doubts ||
			f.At.LatDeg != 1.11111 || f.At.LonDeg != 2.22222 {
			t.Errorf("%s: %+v, want %+v", tt.name, f, tt)
		}
	}
}

// TestGeoJSONShapes: other shapes stand at the middle of their bounding box, across the date line too.
func TestGeoJSONShapes(t *testing.T) {
	tests := []struct {
		geometry                 string
		latDeg, lonDeg, placeSDM float64
	}{
		{`{"type":"Polygon","coordinates":[[[10,20],[10.02,20],[10.02,20.01],[10,20.01],[10,20]]]}`, 20.005, 10.01, 683.5}, // 2.09 × 1.11 km
		{`{"type":"LineString","coordinates":[[179.99,10],[-179.99,10.01]]}`, 10.005, 180, 709.2},
		{`{"type":"MultiPoint","coordinates":[[5,6,700],[5.0001,6,700]]}`, 6, 5.00005, 30.1},
		{`{"type":"GeometryCollection","geometries":[{"type":"Point","coordinates":[5,6]},{"type":"LineString","coordinates":[[5.02,6],[5.01,6.02]]}]}`, 6.01, 5.01, 905.3},
	}
	for _, tt := range tests {
		features, report, err := readText(t, `{"type":"Feature","properties":{"name":"A"},"geometry":`+tt.geometry+`}`, ReadOptions{})
		if err != nil || len(features) != 1 {
			t.Errorf("%s: %+v, %v", tt.geometry, report, err)
			continue
		}
		if f := features[0]; math.Abs(f.At.LatDeg-tt.latDeg) > 1e-7 || math.Abs(f.At.LonDeg-tt.lonDeg) > 1e-7 || math.Abs(f.PositionSDM-tt.placeSDM) > 1 {
			t.Errorf("%s: %+v ± %v m, want %+v", tt.geometry, f.At, f.PositionSDM, tt)
		}
	}
}

// TestGeoJSONRows: what is wrong with one feature costs that feature alone, with its line.
func TestGeoJSONRows(t *testing.T) {
	const anchor = `{"type":"Feature","properties":{"name":"Anchor"},"geometry":{"type":"Point","coordinates":[2.22222,1.11111]}}`
	tests := []struct{ feature, reason string }{
		{`{"type":"Feature","properties":{"name":"A","ele":NaN},"geometry":{"type":"Point","coordinates":[2,1]}}`, "not a Feature in JSON"},
		{`{"type":"Feature","properties":{"name":"A"},"geometry":{"type":"Point","coordinates":[NaN,1]}}`, "not a Feature in JSON"},
		{`{"type":"Feature","properties":{"name":"A"},"geometry":null}`, "no geometry"},
		{`{"type":"Feature","properties":{"name":"A"}}`, "no geometry"},
		{`{"type":"Feature","properties":{"name":"A"},"geometry":{"type":"Point","coordinates":[2]}}`, "without two coordinates"},
		{`{"type":"Feature","properties":{"name":"A"},"geometry":{"type":"Polygon","coordinates":[]}}`, "no positions"},
		{`{"type":"Feature","properties":null,"geometry":{"type":"Point","coordinates":[2,1]}}`, "no name"},
		{`{"type":"Feature","properties":{"name":{"en":"A"}},"geometry":{"type":"Point","coordinates":[2,1]}}`, "no name"},
		{`{"type":"Point","coordinates":[2,1]}`, `type "Point", where a Feature is wanted`},
		{`{"type":"Feature","properties":{"name":"A"},"geometry":{"type":"Point","coordinates":[500000,6000000]}}`, "latitude 6e+06 is outside"},
		{`{"type":"Feature","id":"a,b","properties":{"name":"A"},"geometry":{"type":"Point","coordinates":[2,1]}}`, "holds a comma"},
		{`17`, "not a Feature in JSON"},
		{"{\"type\":\"Feature\",\"properties\":{\"name\":\"Gro\xdfer Berg\"},\"geometry\":{\"type\":\"Point\",\"coordinates\":[2,1]}}", "not UTF-8"},
	}
	for _, tt := range tests {
		for _, text := range []string{"{\"type\":\"FeatureCollection\",\"features\":[\n" + anchor + ",\n" + tt.feature + "\n]}", "\n" + anchor + "\n" + tt.feature + "\n"} {
			features, report, err := readText(t, text, ReadOptions{})
			if err != nil || len(features) != 1 || len(report.Rejected) != 1 || report.Rejected[0].Line != 3 || !strings.Contains(report.Rejected[0].Reason, tt.reason) {
				t.Errorf("%s: %d features, rejected %+v, %v, want line 3 with %q", tt.feature, len(features), report.Rejected, err, tt.reason)
			}
		}
	}
}

// TestGeoJSONFiles: what is wrong with the whole is an error that names it.
func TestGeoJSONFiles(t *testing.T) {
	const feature = `{"type":"Feature","properties":{"name":"A"},"geometry":{"type":"Point","coordinates":[2.22222,1.11111]}}`
	tests := []struct{ name, text, want string }{
		{"topology", `{"type":"Topology","objects":{}}`, `JSON of type "Topology"`},
		{"no type", `{"name":"A","lat":1,"lon":2}`, "JSON without a type"},
		{"projected", `{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::27700"}},"features":[` + feature + `]}`, `crs is "urn:ogc:def:crs:EPSG::27700": convert the file`},
		{"projected, said at the end", `{"type":"FeatureCollection","features":[` + feature + `],"crs":{"type":"name","properties":{"name":"EPSG:3857"}}}`, `crs is "EPSG:3857"`},
		{"comma forgotten", "{\"type\":\"FeatureCollection\",\"features\":[\n" + feature + "\n" + feature + "]}", `line 3: '{' where JSON has ",]"`},
		{"something behind it", `{"type":"FeatureCollection","features":[` + feature + "]}\nhello", `line 2: 'h' where JSON has "{"`},
		{"nested without end", `{"type":"FeatureCollection","x":` + strings.Repeat("[", 2000), "nested more than 1000 deep"},
		{"string without end", `{"type":"FeatureCollection","features":[` + feature + `],"x":"`, "is cut short: download it again"},
	}
	for _, tt := range tests {
		if _, _, err := readText(t, tt.text, ReadOptions{}); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want %q", tt.name, err, tt.want)
		}
	}
}
