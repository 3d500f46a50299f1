package gazetteer

import (
	"fmt"
	"maps"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestOSMFiles reads real extracts. The counts are those of osmium tags-filter, as TestOSMAgainstOsmium asks them of it.
func TestOSMFiles(t *testing.T) {
	tests := []struct {
		name, format string
		kinds        map[Kind]int
		nameless     int
	}{
		{"malta-latest.osm.pbf", "osm.pbf", map[Kind]int{Peak: 2, Tower: 13, Chimney: 1, Lighthouse: 2, Viewpoint: 11}, 62},
		{"north-bayreuth.osm.gz", "osm", map[Kind]int{Peak: 1, Tower: 1, Turbine: 1, Viewpoint: 2}, 2},
		{"hohe-warte.osm.gz", "osm", map[Kind]int{Peak: 23}, 1},
		{"beatty.osm.gz", "osm", map[Kind]int{Peak: 13}, 0},
	}
	for _, tt := range tests {
		features, report, err := readPath(t, testdata(tt.name), ReadOptions{})
		if err != nil {
			t.Fatal(err)
		}
		kinds := map[Kind]int{}
		for _, f := range features {
			kinds[f.Kind]++
		}
		if !maps.Equal(kinds, tt.kinds) || report.PassedOverKinds["no name"] != tt.nameless || report.RejectedRows != 0 || report.Format != tt.format ||
			report.Rows != report.Used+report.PassedOver {
			t.Errorf("%s: %v and %+v, want %v, %d without a name and none rejected", tt.name, kinds, report, tt.kinds, tt.nameless)
		}
		if report.Licence != "ODbL 1.0" || report.Attribution != "© OpenStreetMap contributors, ODbL 1.0" {
			t.Errorf("%s: licence %q, attribution %q", tt.name, report.Licence, report.Attribution)
		}
	}
}

// osmDocument writes a document, one object a line.
func osmDocument(objects ...string) string {
	return "<osm version='0.6'>\n" + strings.Join(objects, "\n") + "\n</osm>\n"
}

// osmTags writes tags, each "key=value".
func osmTags(tags ...string) string {
	var text strings.Builder
	for _, tag := range tags {
		key, value, _ := strings.Cut(tag, "=")
		fmt.Fprintf(&text, "<tag k=\"%s\" v=\"%s\"/>", xmlEscaper.Replace(key), xmlEscaper.Replace(value))
	}
	return text.String()
}

func osmNodeWith(tags ...string) string {
	return "<node id='5' lat='1.11111' lon='2.22222'>" + osmTags(tags...) + "</node>"
}

// TestOSMTags: which tags make which feature. Tags and their units are those of the wiki of OpenStreetMap (Key:ele, Key:height, Map
// features/Units, Lifecycle prefix).
func TestOSMTags(t *testing.T) {
	nan := math.NaN()
	tests := []struct {
		name               string
		tags               []string
		want               string // name|other names|kind|doubts; empty: passed over
		groundM, structure float64
		passed             string
	}{
		{"peak", []string{"natural=peak", "name=A", "ele=712"}, "A||peak|", 712, 0, ""},
		{"hill", []string{"natural=hill", "name=A"}, "A||hill|", nan, 0, ""},
		{"volcano", []string{"natural=volcano", "name=A", "ele=3776.2"}, "A||volcano|", 3776.2, 0, ""},
		{"ridge with a height", []string{"natural=ridge", "name=A", "ele=2000"}, "A||hill|", 2000, 0, ""},
		{"ridge without", []string{"natural=ridge", "name=A"}, "", 0, 0, "natural=ridge"},
		{"tower", []string{"man_made=tower", "name=A", "height=85"}, "A||tower|", nan, 85, ""},
		{"communications tower", []string{"man_made=communications_tower", "name=A", "height=85"}, "A||tower|", nan, 85, ""},
		{"water tower", []string{"man_made=water_tower", "name=A", "height=30"}, "A||tower|", nan, 30, ""},
		{"mast", []string{"man_made=mast", "name=A", "height=220.5"}, "A||mast|", nan, 220.5, ""},
		{"chimney", []string{"man_made=chimney", "name=A", "height=180"}, "A||chimney|", nan, 180, ""},
		{"wind turbine by source", []string{"power=generator", "generator:source=wind", "name=A", "height=120"}, "A||turbine|", nan, 120, ""},
		{"wind turbine by method", []string{"power=generator", "generator:method=wind_turbine", "name=A", "height=120"}, "A||turbine|", nan, 120, ""},
		{"solar generator", []string{"power=generator", "generator:source=solar", "name=A"}, "", 0, 0, "power=generator"},
		{"viewpoint", []string{"tourism=viewpoint", "name=A", "height=9"}, "A||viewpoint|", nan, 0, ""},
		{"other value", []string{"man_made=pier", "name=A"}, "", 0, 0, "man_made=pier"},
		{"second key", []string{"natural=wood", "tourism=viewpoint", "name=A"}, "A||viewpoint|", nan, 0, ""},
		{"no name", []string{"natural=peak", "ele=712"}, "", 0, 0, "no name"},
		{"a name of spaces", []string{"natural=peak", "name= ; "}, "", 0, 0, "no name"},
		{"reference is no name", []string{"man_made=mast", "ref=17"}, "", 0, 0, "no name"},
		{"etymology is no name", []string{"natural=peak", "name:etymology=B", "name:pronunciation=C", "name:source=D"}, "", 0, 0, "no name"},
		{"name in English", []string{"natural=peak", "name:de=B", "name:en=A"}, "A|B|peak|", nan, 0, ""},
		{"first language", []string{"natural=peak", "name:fr=C", "name:de=B", "alt_name=D"}, "B|C,D|peak|", nan, 0, ""},
		{"all names", []string{"old_name=O", "short_name=S", "loc_name=L", "int_name=I", "official_name=F", "alt_name=B;C ; D", "name:gd=G", "name:zh-Hant=Z", "name=A", "natural=peak"}, "A|G,Z,B,C,D,F,I,L,S,O|peak|", nan, 0, ""},
		{"two names in one", []string{"natural=peak", "name=A;B"}, "A|B|peak|", nan, 0, ""},
		{"the same name again", []string{"natural=peak", "name=A", "name:en=A"}, "A||peak|", nan, 0, ""},
		{"ele with unit", []string{"natural=peak", "name=A", "ele=4m"}, "A||peak|", 4, 0, ""},
		{"ele in feet", []string{"natural=peak", "name=A", "ele=6240 ft"}, "A||peak|", 6240 * 0.3048, 0, ""},
		{"ele in primes", []string{"natural=peak", "name=A", "ele=6240′"}, "A||peak|", 6240 * 0.3048, 0, ""},
		{"ele with decimal comma", []string{"natural=peak", "name=A", "ele=0,8"}, "A||peak|", 0.8, 0, ""},
		{"ele of two heights", []string{"natural=peak", "name=A", "ele=600;610"}, "A||peak|height_unreadable", nan, 0, ""},
		{"ele in words", []string{"natural=peak", "name=A", "ele=about 600 m"}, "A||peak|height_unreadable", nan, 0, ""},
		{"ele of about", []string{"natural=peak", "name=A", "ele=~600"}, "A||peak|height_unreadable", nan, 0, ""},
		{"feet and inches", []string{"man_made=mast", "name=A", "height=7'4\""}, "A||mast|", nan, (7 + 4.0/12) * 0.3048, ""},
		{"ele is the ground's", []string{"man_made=mast", "name=A", "ele=300", "height=100"}, "A||mast|", 300, 100, ""},
		{"tower:height", []string{"man_made=tower", "name=A", "tower:height=40 m"}, "A||tower|", nan, 40, ""},
		{"height before tower:height", []string{"man_made=tower", "name=A", "tower:height=40", "height=50"}, "A||tower|", nan, 50, ""},
		{"tower:height for a height in words", []string{"man_made=tower", "name=A", "tower:height=40", "height=high"}, "A||tower|", nan, 40, ""},
		{"height in words", []string{"man_made=tower", "name=A", "height=high"}, "A||tower|structure_height_assumed,structure_height_unreadable", nan, 30, ""},
		{"estimated height", []string{"man_made=mast", "name=A", "est_height=80"}, "A||mast|structure_height_estimated", nan, 80, ""},
		{"no height", []string{"man_made=mast", "name=A"}, "A||mast|structure_height_assumed", nan, 60, ""},
		{"light", []string{"man_made=lighthouse", "name=A", "seamark:light:height=29", "width=4", "start_date=1850"}, "A||lighthouse|light_height_over_high_water,structure_height_assumed", nan, 20, ""},
		{"disused", []string{"disused:man_made=chimney", "name=A", "height=90"}, "A||chimney|not_standing", nan, 90, ""},
		{"removed turbine", []string{"removed:power=generator", "generator:source=wind", "name=A", "height=90"}, "A||turbine|not_standing", nan, 90, ""},
		{"demolished", []string{"demolished:man_made=tower", "name=A", "height=90", "end_date=2010"}, "A||tower|not_standing", nan, 90, ""},
		{"with an end", []string{"man_made=tower", "name=A", "height=90", "end_date=2010-05"}, "A||tower|not_standing", nan, 90, ""},
		{"something else once", []string{"man_made=tower", "was:man_made=water_tower", "name=A", "height=90"}, "A||tower|", nan, 90, ""},
		{"planned", []string{"planned:man_made=tower", "name=A", "height=90"}, "A||tower|not_standing", nan, 90, ""},
		{"removed other", []string{"removed:man_made=pier", "name=A"}, "", 0, 0, "removed:man_made=pier"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			features, report, err := readText(t, osmDocument(osmNodeWith(tt.tags...), "<node id='6' lat='1' lon='1'>"+osmTags("highway=stop", "name=B")+"</node>"), ReadOptions{})
			if err != nil || report.Rows != 1 {
				t.Fatalf("%+v, %v, want 1 row", report, err)
			}
			if tt.want == "" {
				if report.PassedOverKinds[tt.passed] != 1 {
					t.Errorf("%+v, want %q passed over", report, tt.passed)
				}
				return
			}
			if len(features) != 1 {
				t.Fatalf("no feature: %+v", report)
			}
			f := features[0]
			got := f.Name + "|" + strings.Join(f.OtherNames, ",") + "|" + string(f.Kind) + "|" + strings.Join(f.Doubts, ",")
			if got != tt.want || !(math.Abs(f.ListedHeightM-tt.groundM) < 1e-9 || math.IsNaN(f.ListedHeightM) && math.IsNaN(tt.groundM)) || math.Abs(f.StructureHeightM-tt.structure) > 1e-9 {
				t.Errorf("got %s, ground %v m, structure %v m; want %s, %v, %v", got, f.ListedHeightM, f.StructureHeightM, tt.want, tt.groundM, tt.structure)
			}
			if f.ID != "osm:node/5" || f.Line != 2 {
				t.Errorf("id %s, line %d", f.ID, f.Line)
			}
		})
	}
}

// TestOSMCarriesDatesAndWidths: what no verdict hangs on is carried as it is listed.
func TestOSMCarriesDatesAndWidths(t *testing.T) {
	features, _, err := readText(t, osmDocument(osmNodeWith("demolished:man_made=lighthouse", "name=A", "height=20", "diameter=6.5", "seamark:light:1:height=31 m", "start_date=C19", "end_date=1970", "est_height=99")), ReadOptions{})
	if err != nil || len(features) != 1 {
		t.Fatal(features, err)
	}
	if f := features[0]; f.WidthM != 6.5 || f.LightHeightM != 31 || f.StartDate != "C19" || f.EndDate != "1970" || f.Stands() || f.StructureHeightSDM != listedStructureSDM {
		t.Errorf("%+v", f)
	}
	features, _, err = readText(t, osmDocument(osmNodeWith("man_made=mast", "name=A", "est_height=100")), ReadOptions{})
	if err != nil || len(features) != 1 || features[0].StructureHeightSDM != 25 {
		t.Errorf("%+v, %v, want a spread of a quarter of the estimate", features, err)
	}
}

// osmAround are nodes 1…4 around 10 N, 20 E: a box of 0.002° by 0.004°.
const osmAround = "<node id='1' lat='9.999' lon='19.998'/><node id='2' lat='10.001' lon='19.998'/><node id='3' lat='10.001' lon='20.002'/><node id='4' lat='9.999' lon='20.002'/>"

func osmWayOf(id int, tags []string, nodes ...int) string {
	text := fmt.Sprintf("<way id='%d'>", id)
	for _, node := range nodes {
		text += fmt.Sprintf("<nd ref='%d'/>", node)
	}
	return text + osmTags(tags...) + "</way>"
}

// TestOSMShapes: ways and relations stand at the middle of the box around all of their nodes, wherever in the file these are.
func TestOSMShapes(t *testing.T) {
	tower := []string{"man_made=tower", "name=A", "height=50"}
	relation := func(kind, members string, tags ...string) string {
		return "<relation id='8'>" + members + osmTags(append(tags, "type="+kind)...) + "</relation>"
	}
	tests := []struct {
		name, text string
		lat, lon   float64
		halfM      float64
		reason     string // of a rejection or of passing over
	}{
		{"way", osmDocument(osmAround, osmWayOf(7, tower, 1, 2, 3, 4, 1)), 10, 20, 247, ""},
		{"nodes after the way", osmDocument(osmWayOf(7, tower, 1, 2, 3, 4, 1), osmAround), 10, 20, 247, ""},
		{"one node", osmDocument(osmAround, osmWayOf(7, tower, 1)), 9.999, 19.998, 0, ""},
		{"multipolygon", osmDocument(osmAround, osmWayOf(6, nil, 1, 2), osmWayOf(7, nil, 3, 4), relation("multipolygon", "<member type='way' ref='6' role='outer'/><member type='way' ref='7' role='outer'/><member type='node' ref='99' role='label'/>", tower...)), 10, 20, 247, ""},
		{"boundary", osmDocument(osmAround, osmWayOf(7, nil, 1, 2, 3, 4, 1), relation("boundary", "<member type='way' ref='7' role='outer'/>", "natural=peak", "name=A")), 10, 20, 247, ""},
		{"across 180°", osmDocument("<node id='1' lat='-16' lon='179.99'/><node id='2' lat='-16' lon='-179.97'/>", osmWayOf(7, tower, 1, 2)), -16, -179.99, 2137, ""},
		{"centre given", osmDocument("<way id='7'><center lat='10' lon='20'/>" + osmTags(tower...) + "</way>"), 10, 20, 0, ""},
		{"box given", osmDocument("<relation id='8'><bounds minlat='9.999' minlon='19.998' maxlat='10.001' maxlon='20.002'/>" + osmTags(append(tower, "type=multipolygon")...) + "</relation>"), 10, 20, 247, ""},
		{"nodes with places", osmDocument("<way id='7'><nd ref='1' lat='9.999' lon='19.998'/><nd ref='2' lat='10.001' lon='20.002'/>" + osmTags(tower...) + "</way>"), 10, 20, 247, ""},
		{"site", osmDocument(osmAround, relation("site", "<member type='node' ref='1' role=''/>", tower...)), 0, 0, 0, "relation of type=site"},
		{"node missing", osmDocument(osmAround, osmWayOf(7, tower, 1, 2, 5)), 0, 0, 0, "osm:way/7: 1 of its nodes or ways are not in the file"},
		{"way missing", osmDocument(osmAround, relation("multipolygon", "<member type='way' ref='77' role='outer'/>", tower...)), 0, 0, 0, "osm:relation/8: 1 of its nodes or ways are not in the file"},
		{"no nodes", osmDocument(osmWayOf(7, tower)), 0, 0, 0, "osm:way/7 has no nodes"},
		{"node beyond the pole", osmDocument("<node id='1' lat='91' lon='2'/>", osmWayOf(7, tower, 1)), 0, 0, 0, "osm:way/7: a node of it lies outside"},
		{"ref in words", osmDocument("<way id='7'><nd ref='x'/>" + osmTags(tower...) + "</way>"), 0, 0, 0, `osm:way/7: ref "x" is not an integer`},
		{"too many nodes", osmDocument("<way id='7'>" + strings.Repeat("<nd ref='1'/>", maxOSMRefs+1) + osmTags(tower...) + "</way>"), 0, 0, 0, "more than 131072 nodes"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			features, report, err := readText(t, tt.text+"\n", ReadOptions{})
			if tt.reason != "" {
				_, passed := report.PassedOverKinds[tt.reason]
				if report.Rows != 1 || len(features) != 0 || !passed && (err == nil || !strings.Contains(err.Error(), tt.reason)) {
					t.Errorf("%+v, %v, want %q", report, err, tt.reason)
				}
				return
			}
			if err != nil || len(features) != 1 {
				t.Fatalf("%+v, %v", report, err)
			}
			f := features[0]
			if math.Abs(f.At.LatDeg-tt.lat) > 1e-7 || math.Abs(f.At.LonDeg-tt.lon) > 1e-7 || math.Abs(f.PositionSDM-boxSpreadM(tt.halfM)) > 1 {
				t.Errorf("at %v, spread %v m, want %v, %v, %v m", f.At, f.PositionSDM, tt.lat, tt.lon, boxSpreadM(tt.halfM))
			}
		})
	}
}

// TestOSMDocuments: what XML may look like, and what is refused.
func TestOSMDocuments(t *testing.T) {
	peak := osmNodeWith("natural=peak", "name=A")
	bomb := "<!DOCTYPE osm [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\"><!ENTITY c \"&b;&b;&b;&b;&b;&b;&b;&b;\">]>\n"
	tests := []struct {
		name, text string
		want       []string // ids
		refused    string
	}{
		{"comments, instructions, character data", "<?xml version='1.0'?><!-- <osm> -- > --><?other?>" + osmDocument("<!-- <node id='1'> -->", "<note><![CDATA[<node id='3'/>]]></note>", peak), []string{"osm:node/5"}, ""},
		{"single and double quotes, spaces around =", osmDocument(`<node id = "5" lat="1.11111" lon='2.22222' ><tag k = 'natural' v="peak" /><tag v='Queen&apos;s &quot;Seat&quot; &#x26; more > less' k="name"></tag></node >`), []string{"osm:node/5"}, ""},
		{"empty", "<osm version='0.6'/>\n", nil, ""},
		{"deleted", osmDocument("<node id='6' visible='false' lat='1' lon='1'>"+osmTags("natural=peak", "name=B")+"</node>", "<node id='7' action='delete' lat='1' lon='1'>"+osmTags("natural=peak", "name=B")+"</node>", peak), []string{"osm:node/5"}, ""},
		{"the same id of node and way", osmDocument(peak, osmAround, osmWayOf(5, []string{"natural=peak", "name=B"}, 1)), []string{"osm:node/5", "osm:way/5"}, ""},
		{"entity bomb", bomb + osmDocument(osmNodeWith("natural=peak", "name=A &c;")), nil, "declares a document type"},
		{"document type inside", osmDocument(peak, bomb), nil, "line 3: <!…> declares a document type"},
		{"history", osmDocument("<node id='5' version='1' lat='1.1' lon='2.2'>"+osmTags("natural=peak", "name=B")+"</node>", "<node id='5' version='2' visible='false'/>"), nil, "line 3: a second version of node 5: the file holds the history"},
		{"change file", "<osmChange version='0.6'>" + peak + "</osmChange>\n", nil, "XML of <osmChange>"},
		{"another XML", "<?xml version='1.0'?><gpx><wpt/></gpx>\n", nil, "XML of <gpx>"},
		{"another encoding", "<?xml version='1.0' encoding='ISO-8859-1'?>" + osmDocument(peak), nil, `the encoding "iso-8859-1" is not read`},
		{"cut in a comment", osmDocument(peak, "<!-- ") + "\n", nil, "is cut short"},
		{"two documents", osmDocument(peak) + osmDocument(peak), nil, `id "osm:node/5" was already on line 2`},
		{"attribute without quotes", osmDocument("<node id=5/>"), nil, `line 2: attribute id of <node> is not in quotes`},
		{"object in an object", osmDocument("<node id='5'><way id='6'/></node>"), nil, "line 2: <way> inside a node"},
		{"not a tag", osmDocument("<node id='5' lat='1' lon='1'/> 1 < 2 >"), nil, "a < that begins no tag"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			features, report, err := readText(t, tt.text, ReadOptions{})
			if tt.refused != "" {
				rejected := len(report.Rejected) == 1 && strings.Contains(report.Rejected[0].Reason, tt.refused)
				if !rejected && (err == nil || !strings.Contains(err.Error(), tt.refused)) {
					t.Errorf("%+v, %v, want %q", report, err, tt.refused)
				}
				return
			}
			var ids []string
			for _, f := range features {
				ids = append(ids, f.ID)
			}
			if diff := cmp.Diff(tt.want, ids); err != nil || diff != "" {
				t.Errorf("%v, ids (-want +got):\n%s", err, diff)
			}
			if tt.name == "single and double quotes, spaces around =" && (len(features) != 1 || features[0].Name != `Queen's "Seat" & more > less`) {
				t.Errorf("%+v", features)
			}
		})
	}
}

// TestOSMRejects: a row that cannot be used is named by its id, and those around it come through.
func TestOSMRejects(t *testing.T) {
	tests := []struct{ name, object, reason string }{
		{"id in words", "<node id='x' lat='1.1' lon='2.2'>" + osmTags("natural=peak", "name=B") + "</node>", `id "x" is not an integer`},
		{"no place", "<node id='6'>" + osmTags("natural=peak", "name=B") + "</node>", `osm:node/6: latitude "" is not decimal degrees`},
		{"unknown entity", "<node id='6' lat='1.1' lon='2.2'><tag k='natural' v='peak'/><tag k='name' v='B &eacute;'/></node>", "osm:node/6: &eacute; is none of the entities of XML"},
		{"too high", "<node id='6' lat='1.1' lon='2.2'>" + osmTags("natural=peak", "name=B", "ele=9500") + "</node>", "osm:node/6: ground height 9500 m is outside"},
		{"names longer than a line", "<node id='6' lat='1.1' lon='2.2'>" + osmTags("natural=peak", "name=B", "name:de="+strings.Repeat("d", 700), "name:fr="+strings.Repeat("f", 700)) + "</node>", "osm:node/6: is longer than 1000 bytes"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			features, report, err := readText(t, osmDocument(tt.object, osmNodeWith("natural=peak", "name=A")), ReadOptions{MaxLineBytes: 1000})
			if err != nil || len(features) != 1 || len(report.Rejected) != 1 || report.Rejected[0].Line != 2 || !strings.Contains(report.Rejected[0].Reason, tt.reason) {
				t.Errorf("%d features, %+v, %v, want one rejected with %q", len(features), report, err, tt.reason)
			}
		})
	}
}
