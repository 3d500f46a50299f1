package reports

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strconv"
	"testing"

	"farstation/pipeline"
)

// gpxChildren are the elements that each type of GPX 1.1 may hold, in the order of its sequence (topografix.com/GPX/1/1/gpx.xsd: gpxType, metadataType,
// wptType; transcribed from memory). Elements that are not here hold text alone.
var gpxChildren = map[string][]string{
	"gpx":      {"metadata", "wpt", "rte", "trk", "extensions"},
	"metadata": {"name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions"},
	"wpt": {"ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix", "sat", "hdop", "vdop", "pdop",
		"ageofdgpsdata", "dgpsid", "extensions"},
}

// checkGPX holds a file against those rules: namespace, version, creator, order and number of elements, and the ranges of latitudeType and
// longitudeType (−90…90; −180 ≤ longitude < 180). It returns the texts of the waypoints by element.
func checkGPX(t *testing.T, text []byte) (waypoints []map[string]string) {
	t.Helper()
	var path []string
	var last []int // place of the last child in its parent's sequence
	number := func(s xml.StartElement, name string, low, high float64, open bool) {
		i := slices.IndexFunc(s.Attr, func(a xml.Attr) bool { return a.Name.Local == name })
		if i < 0 {
			t.Errorf("%s has no %s", s.Name.Local, name)
			return
		}
		if v, err := strconv.ParseFloat(s.Attr[i].Value, 64); err != nil || !(v >= low && v <= high) || open && v == high {
			t.Errorf("%s of %s is %q", name, s.Name.Local, s.Attr[i].Value)
		}
	}
	for decoder := xml.NewDecoder(bytes.NewReader(text)); ; {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return waypoints
		}
		if err != nil {
			t.Fatal(err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			name := token.Name.Local
			if token.Name.Space != "http://www.topografix.com/GPX/1/1" {
				t.Errorf("%s is of the namespace %q", name, token.Name.Space)
			}
			if len(path) == 0 {
				if name != "gpx" || !slices.ContainsFunc(token.Attr, func(a xml.Attr) bool { return a.Name.Local == "version" && a.Value == "1.1" }) ||
					!slices.ContainsFunc(token.Attr, func(a xml.Attr) bool { return a.Name.Local == "creator" && a.Value != "" }) {
					t.Errorf("the root is %s with %v", name, token.Attr)
				}
			} else {
				parent := path[len(path)-1]
				at, before := slices.Index(gpxChildren[parent], name), last[len(last)-1]
				if at < before || at == before && name != "wpt" && name != "link" { // −1 for what may not stand there
					t.Errorf("%s may not hold %s here", parent, name)
				}
				last[len(last)-1] = at
			}
			if name == "wpt" {
				number(token, "lat", -90, 90, false)
				number(token, "lon", -180, 180, true)
				waypoints = append(waypoints, map[string]string{})
			}
			path, last = append(path, name), append(last, -1)
		case xml.EndElement:
			path, last = path[:len(path)-1], last[:len(last)-1]
		case xml.CharData:
			if len(path) == 3 && path[1] == "wpt" {
				waypoints[len(waypoints)-1][path[2]] += string(token)
			}
			if name := len(path); name > 0 && gpxChildren[path[name-1]] != nil && len(bytes.TrimSpace(token)) > 0 {
				t.Errorf("%s holds the text %q", path[name-1], token)
			}
		}
	}
}

func TestOutingGPX(t *testing.T) {
	o := madeOuting()
	o.Target = pipeline.OutingEnd{Name: "Ulvey\x01 <Mast> & \"]]>", LatitudeDeg: -90, LongitudeDeg: 179.99999999, TopHeightM: 985}
	o.Near = &pipeline.OutingEnd{Name: "Perrin Rock", LatitudeDeg: -32, LongitudeDeg: -180, TopHeightM: -3.25}
	for range 4 { // longer than a receiver holds
		o.Stand.Strip = append(o.Stand.Strip, o.Stand.Strip...)
	}
	bare := pipeline.Outing{Line: pipeline.Sightline{ObserverName: "Alone"}}
	var text bytes.Buffer
	if err := WriteOutingGPX(&text, []pipeline.Outing{*o, bare}); err != nil {
		t.Fatal(err)
	}
	kinds := map[string]int{}
	waypoints := checkGPX(t, text.Bytes())
	for _, w := range waypoints {
		kinds[w["type"]]++
	}
	for kind, want := range map[string]int{"stand": 2, "strip": mostGPXStrip, "near top": 1, "target": 2, "fall-back": 8} {
		if kinds[kind] != want {
			t.Errorf("%d waypoints of type %s, want %d", kinds[kind], kind, want)
		}
	}
	i := slices.IndexFunc(waypoints, func(w map[string]string) bool { return w["type"] == "target" })
	if i < 0 || waypoints[i]["name"] != "1 Ulvey\ufffd <Mast> & \"]]>" || waypoints[i]["ele"] != "985.0" {
		t.Errorf("target %q", waypoints)
	}
	if !bytes.Contains(text.Bytes(), []byte(`lat="-90.0000000" lon="-180.0000000"`)) {
		t.Error("a longitude that rounds to 180 is not written as −180")
	}
	var none bytes.Buffer
	if err := WriteOutingGPX(&none, nil); err != nil || len(checkGPX(t, none.Bytes())) != 0 {
		t.Errorf("no outings: %s, %v", none.String(), err)
	}
}
