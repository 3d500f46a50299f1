package gazetteer

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"unicode/utf8"
)

// geoJSON is a FeatureCollection, a single Feature, or one Feature a line (with or without the record separators of RFC 8142), as
// RFC 7946 has them. Properties are called as the columns of a CSV are, as Natural Earth calls them, or are tags of OpenStreetMap.
// The third number of a position is a height over the ellipsoid in the standard and over the sea in most files, so it is not used.
// Shapes other than points stand at the middle of their bounding box.
func geoJSON() format {
	return format{name: "geojson", licence: "unknown", attribution: "unknown", fits: fitsGeoJSON, read: readGeoJSON}
}

// geoJSONListedSDM is the spread of a listed height in a GeoJSON that does not state it, in metres. Our judgement, no source.
const geoJSONListedSDM = 10

// naturalEarthPlaceSDM is the spread of a place in Natural Earth's 1:10 million points, in metres. Against ten well-known summits
// (places from memory) they stand 19–962 m off, 438 m in the middle, and two more 4 and 7 km, which no spread should cover.
const naturalEarthPlaceSDM = 500

func fitsGeoJSON(head []byte, cut bool) (bool, string) {
	kind, found := "", false
	scanner := newJSONScanner(bytes.NewReader(head), len(head))
	if c, err := scanner.peek(); err != nil || c != '{' {
		return false, ""
	}
	_ = scanner.members(func(key string) error { // what comes before an error, such as the end of the head, counts
		switch key {
		case "features", "geometry":
			found = true
		case "type":
			value, err := scanner.value(true)
			kind = scalarText(value)
			return err
		}
		_, err := scanner.value(false)
		return err
	})
	switch {
	case kind == "Feature" || kind == "FeatureCollection" || kind == "" && found:
		return true, ""
	case kind != "":
		return false, fmt.Sprintf("JSON of type %q, where only GeoJSON's Feature and FeatureCollection are read", shorten(kind))
	}
	return false, "JSON without a type: only GeoJSON is read"
}

func readGeoJSON(text io.Reader, out *sink) error {
	out.groundSDM = geoJSONListedSDM
	lines := newLineReader(text, out.options.MaxLineBytes)
	head, _ := lines.text.Peek(headBytes) // an error comes again at the first read
	if !firstLineIsFeature(head) {
		return readGeoJSONDocuments(lines.text, out)
	}
	return out.eachLine(lines, func(line []byte) error {
		if line = bytes.Trim(line, "\x1e \t"); len(line) == 0 {
			return nil
		}
		out.row()
		return geoJSONFeature(lines.line, line, out)
	})
}

// firstLineIsFeature tells one Feature a line from a document of several lines. In the former a bad line costs only itself.
func firstLineIsFeature(head []byte) bool {
	for line := range headLines(head, false) {
		if line = bytes.Trim(line, "\x1e \t"); len(line) == 0 {
			continue
		}
		scanner := newJSONScanner(bytes.NewReader(line), len(line))
		collection := false
		err := scanner.members(func(key string) error {
			collection = collection || key == "features"
			_, err := scanner.value(false)
			return err
		})
		return err == nil && !collection
	}
	return false
}

// readGeoJSONDocuments reads collections and features that may span lines, one after the other.
func readGeoJSONDocuments(text io.Reader, out *sink) error {
	scanner := newJSONScanner(text, out.options.MaxLineBytes)
	one := func() error {
		if _, err := scanner.peek(); err != nil { // for the line
			return cutShort(err)
		}
		line := scanner.line
		value, err := scanner.value(true)
		switch {
		case errors.Is(err, errValueTooLong):
			out.row()
			out.reject(line, "feature is longer than %d bytes", scanner.max)
			return nil
		case err != nil:
			return err
		}
		out.row()
		return geoJSONFeature(line, value, out)
	}
	for {
		if _, err := scanner.peek(); err == io.EOF {
			return nil
		} else if err != nil {
			return err
		}
		line, kept, members := scanner.line, map[string]json.RawMessage{}, 0
		collection := false
		err := scanner.members(func(key string) error {
			switch key {
			case "features":
				collection = true
				return scanner.elements(one)
			case "type", "id", "geometry", "properties", "crs":
				value, err := scanner.value(true)
				if errors.Is(err, errValueTooLong) {
					members += scanner.max + 1
					return nil
				}
				members += len(value)
				kept[key] = slices.Clone(value)
				return err
			}
			_, err := scanner.value(false)
			return err
		})
		if err != nil {
			return err
		}
		if collection {
			if err := checkCRS(kept["crs"]); err != nil {
				return err
			}
			continue
		}
		out.row()
		if members > scanner.max {
			out.reject(line, "feature is longer than %d bytes", scanner.max)
			continue
		}
		whole, err := json.Marshal(kept)
		if err != nil {
			out.reject(line, "not JSON: %v", err)
			continue
		}
		if err := geoJSONFeature(line, whole, out); err != nil {
			return err
		}
	}
}

// checkCRS refuses coordinates that are not longitude and latitude of WGS84, which the format of 2008 allowed.
func checkCRS(member json.RawMessage) error {
	if len(member) == 0 || string(member) == "null" {
		return nil
	}
	var crs struct {
		Properties struct {
			Name string `json:"name"`
		} `json:"properties"`
	}
	if err := json.Unmarshal(member, &crs); err != nil {
		return fmt.Errorf("crs is not an object: %w", err)
	}
	name := crs.Properties.Name
	if strings.HasSuffix(name, "CRS84") || strings.HasPrefix(name, "EPSG:") && strings.HasSuffix(name, ":4326") || strings.HasPrefix(name, "urn:ogc:def:crs:EPSG:") && strings.HasSuffix(name, ":4326") {
		return nil
	}
	return fmt.Errorf("crs is %q: convert the file to longitude and latitude of WGS84 (OGC:CRS84)", shorten(name))
}

// geoJSONFeature reads one Feature. Only an error of emit, or of a CRS that concerns the whole file, is returned.
func geoJSONFeature(line int, text []byte, out *sink) error {
	var f struct {
		Type       string                     `json:"type"`
		ID         json.RawMessage            `json:"id"`
		Geometry   json.RawMessage            `json:"geometry"`
		Properties map[string]json.RawMessage `json:"properties"`
		CRS        json.RawMessage            `json:"crs"`
	}
	if !utf8.Valid(text) { // which the decoder would mend in silence
		out.reject(line, "not UTF-8: convert the file")
		return nil
	}
	if err := json.Unmarshal(text, &f); err != nil {
		out.reject(line, "not a Feature in JSON: %v", err)
		return nil
	}
	if f.Type != "Feature" {
		out.reject(line, "type %q, where a Feature is wanted", shorten(f.Type))
		return nil
	}
	if err := checkCRS(f.CRS); err != nil {
		return err
	}
	p := newProperties(f.Properties)
	kind, word, ok := p.kind()
	if !ok {
		out.passOver(word)
		return nil
	}
	r, err := geoJSONRecord(line, kind, scalarText(f.ID), f.Geometry, p)
	if err != nil {
		out.reject(line, "%v", err)
		return nil
	}
	return out.add(r)
}

func geoJSONRecord(line int, kind Kind, id string, geometry json.RawMessage, p properties) (record, error) {
	r := newRecord(line, "", kind)
	r.name, r.otherNames = p.text["name"], p.otherNames()
	if p.tagged {
		r.startDate, r.endDate = p.text["start_date"], p.text["end_date"]
	}
	if _, _, structure := kind.assumedStructure(); p.gone || structure && r.endDate != "" {
		r.doubts = append(r.doubts, DoubtNotStanding)
	}
	var err error
	var halfM float64
	if r.lat, r.lon, halfM, err = geometryMiddle(geometry); err != nil {
		return r, err
	}
	if id == "" {
		id = p.column(csvID)
	}
	if r.id, err = featureID("geojson:", id, r); err != nil {
		return r, err
	}
	if err := r.heights(p.column, '.'); err != nil {
		return r, err
	}
	switch {
	case !math.IsNaN(r.placeSDM):
	case p.text["featurecla"] != "":
		r.placeSDM = naturalEarthPlaceSDM
	case halfM > 0: // anywhere in the shape
		r.placeSDM = boxSpreadM(halfM)
	}
	return r, nil
}
