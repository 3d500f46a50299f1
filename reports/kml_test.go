package reports

import (
	"bytes"
	"encoding/xml"
	"math"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"

	"farstation/geodesy"
	"farstation/pipeline"
)

// kmlSample has plausible heights, since an altitude is computed from them, and a ranked alignment along a sightline.
func kmlSample() ([]pipeline.FeatureRow, []pipeline.Sightline, []pipeline.Alignment) {
	features, lines, alignments := sampleFeatures(), sampleSightlines(), sampleAlignments()
	for i := range features {
		features[i].GroundHeightM, features[i].StructureHeightM = 800, 0
	}
	for i := range lines {
		lines[i].RadiusM, lines[i].KFree, lines[i].EyeHeightM, lines[i].TopHeightM = 6_380_000, 0.143, 500, 900
		from := geodesy.LatLon{LatDeg: lines[i].ObserverLatDeg, LonDeg: lines[i].ObserverLonDeg}
		lines[i].DistanceM = geodesy.WGS84.Inverse(from, geodesy.LatLon{LatDeg: lines[i].TargetLatDeg, LonDeg: lines[i].TargetLonDeg}).DistanceM
	}
	for i := range alignments {
		alignments[i].Rank = nil
	}
	alignments[1].Rank = pointer[int32](1)
	return features, lines, alignments
}

func kmlText(t *testing.T, features []pipeline.FeatureRow, lines []pipeline.Sightline, alignments []pipeline.Alignment) []byte {
	t.Helper()
	return written(t, func(b *bytes.Buffer) error {
		return WriteRankedKML(b, &pipeline.Result{Features: pipeline.GroupsOf(features), Shown: pipeline.ShownOf(lines, alignments)}, pipeline.PlaceExact)
	})
}

// TestKMLElementOrder holds every element to the order that the schema of OGC KML 2.2 (OGC 07-147r2, sequences of AbstractFeatureType,
// PlacemarkType, LineStringType, PointType) gives its children.
func TestKMLElementOrder(t *testing.T) {
	orders := map[string][]string{
		"kml":           {"Document"},
		"Document":      {"name", "visibility", "open", "description", "styleUrl", "Style", "ExtendedData", "Folder", "Placemark"},
		"Folder":        {"name", "visibility", "open", "description", "styleUrl", "Style", "ExtendedData", "Placemark"},
		"Placemark":     {"name", "visibility", "open", "description", "styleUrl", "Style", "ExtendedData", "Point", "LineString", "MultiGeometry"},
		"LineString":    {"extrude", "tessellate", "altitudeMode", "coordinates"},
		"Point":         {"extrude", "altitudeMode", "coordinates"},
		"Style":         {"LineStyle"},
		"LineStyle":     {"color", "colorMode", "width"},
		"Data":          {"displayName", "value"},
		"repeatable":    {"Style", "Folder", "Placemark", "LineString", "Data"},
		"MultiGeometry": {"LineString"}, "ExtendedData": {"Data"},
	}
	features, lines, alignments := kmlSample()
	decoder := xml.NewDecoder(bytes.NewReader(kmlText(t, features, lines, alignments)))
	type open struct {
		name string
		last int
	}
	var stack []open
	placemarks := 0
	for {
		token, err := decoder.Token()
		if err != nil {
			break
		}
		switch e := token.(type) {
		case xml.StartElement:
			name := e.Name.Local
			if e.Name.Space != "http://www.opengis.net/kml/2.2" {
				t.Fatalf("<%s> is in the namespace %q", name, e.Name.Space)
			}
			if name == "Placemark" {
				placemarks++
			}
			if len(stack) > 0 {
				parent := &stack[len(stack)-1]
				at := slices.Index(orders[parent.name], name)
				if at < 0 || at < parent.last || at == parent.last && !slices.Contains(orders["repeatable"], name) {
					t.Errorf("<%s> stands in <%s> where the schema has no place for it", name, parent.name)
				}
				parent.last = at
			}
			stack = append(stack, open{name, -1})
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		}
	}
	// Two ways of drawing for one alignment and two sightlines, and the two tops that are among the features.
	if want := 2*(1+2) + 2; placemarks != want {
		t.Errorf("%d placemarks, want %d", placemarks, want)
	}
}

// TestKMLAltitudes holds a ray's altitudes to its ends and, half-way, to the chord's fall below the level line by s²(1−k)/8R.
func TestKMLAltitudes(t *testing.T) {
	features, lines, alignments := kmlSample()
	text := string(kmlText(t, features, lines[1:2], nil)) // along 80° N
	_, after, _ := strings.Cut(text, "<altitudeMode>absolute</altitudeMode>\n<coordinates>")
	coordinates, _, _ := strings.Cut(after, "</coordinates>")
	points := strings.Fields(coordinates)
	altitude := func(i int) float64 {
		v, err := strconv.ParseFloat(points[i][strings.LastIndexByte(points[i], ',')+1:], 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	if first, last := altitude(0), altitude(len(points)-1); first != 500 || last != 900 {
		t.Errorf("the ray runs from %v m to %v m, want 500 m to 900 m", first, last)
	}
	s := lines[1].DistanceM
	lowest := math.Inf(1)
	for i := range points {
		lowest = min(lowest, altitude(i))
	}
	// The least of a + bx − cx(s−x): at x = s/2 − b/2c.
	b, c := 400/s, (1-0.143)/6_380_000/2
	x := s/2 - b/(2*c)
	if want := 500 + b*x - c*x*(s-x); math.Abs(lowest-want) > 3 {
		t.Errorf("the ray's lowest altitude is %.1f m, want %.1f m ± 3", lowest, want)
	}
	alignments[1].FarID = "csv:404"
	if err := WriteRankedKML(&bytes.Buffer{}, &pipeline.Result{Features: pipeline.GroupsOf(features), Shown: pipeline.ShownOf(lines, alignments)}, pipeline.PlaceExact); err == nil || !strings.Contains(err.Error(), "csv:404") {
		t.Errorf("an alignment without its far line gives %v", err)
	}
}

func hostileNames() []string {
	return []string{`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `=HYPERLINK("x")`, strings.Repeat("é", 400), "جبل النور", "🏔 Peak", "a\x00b\x1b[31m", "]]>&amp;"}
}

func TestKMLHostileNames(t *testing.T) {
	features, lines, alignments := kmlSample()
	for _, name := range hostileNames() {
		features[0].Name, lines[2].ObserverName, lines[2].TargetName = name, name, name
		text := kmlText(t, features, lines, alignments)
		var document struct {
			Names []string `xml:"Document>Folder>Placemark>name"`
		}
		if err := xml.Unmarshal(text, &document); err != nil {
			t.Errorf("with the name %q: %v", name, err)
			continue
		}
		want := strings.Map(func(r rune) rune {
			if r < ' ' {
				return '�'
			}
			return r
		}, name)
		if !slices.ContainsFunc(document.Names, func(got string) bool { return strings.Contains(got, want) }) {
			t.Errorf("the name %q does not come back", name)
		}
	}
}

func TestKMLReadByGDAL(t *testing.T) {
	ogrinfo, err := exec.LookPath("ogrinfo")
	if err != nil {
		missing(t, "ogrinfo (GDAL) is not installed: ranked.kml cannot be read with it")
	}
	features, lines, alignments := kmlSample()
	path := saved(t, rankedKMLFile, kmlText(t, features, lines, alignments))
	output, err := exec.Command(ogrinfo, "-al", "-so", path).CombinedOutput()
	if err != nil {
		t.Fatalf("ogrinfo: %v\n%s", err, output)
	}
	for _, want := range []string{"Layer name: Sightlines at the height of the ray", "Layer name: Alignments clamped to the ground", "Layer name: Tops", "Feature Count: 2", "Extent: (-180.000000, 65.000000) - (180.000000, 80.400000)"} {
		if !strings.Contains(string(output), want) {
			t.Errorf("ogrinfo does not print %q:\n%s", want, output)
		}
	}
}
