package gazetteer

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// scalarText gives a JSON number, word or string as text, and nothing for null, arrays and objects.
func scalarText(value json.RawMessage) string {
	if len(value) == 0 || value[0] == '{' || value[0] == '[' || string(value) == "null" {
		return ""
	}
	if value[0] != '"' {
		return string(value)
	}
	var text string
	if err := json.Unmarshal(value, &text); err != nil {
		return "" // the feature has been read as JSON before
	}
	return strings.TrimSpace(text)
}

// properties are those of a feature as text, by their names in small letters.
type properties struct {
	text map[string]string
	keys []string // sorted
	// tagged says that they are tags of OpenStreetMap, where height is the structure's.
	tagged bool
	// gone says that they are tags of what stands no longer, or not yet.
	gone bool
}

func newProperties(raw map[string]json.RawMessage) properties {
	p := properties{text: map[string]string{}}
	original := make([]string, 0, len(raw))
	for key := range raw {
		original = append(original, key)
	}
	slices.Sort(original)
	for _, key := range original {
		folded := strings.ToLower(key)
		if text := scalarText(raw[key]); text != "" && p.text[folded] == "" {
			p.text[folded] = text
			p.keys = append(p.keys, folded)
		}
	}
	slices.Sort(p.keys)
	_, _, p.gone, _, p.tagged = kindOfTags(p.tag)
	return p
}

// kind gives the kind by a property kind, by Natural Earth's featurecla or by tags, and what the file calls it. A feature that has
// none of them is a place, as in a CSV.
func (p properties) kind() (kind Kind, word string, ok bool) {
	if word := p.text["kind"]; word != "" {
		kind, ok := kindOf(word)
		return kind, word, ok
	}
	if word := p.text["featurecla"]; word != "" {
		if strings.EqualFold(word, "mountain") {
			return Peak, word, true
		}
		return "", word, false
	}
	if kind, word, _, ok, tagged := kindOfTags(p.tag); tagged {
		return kind, word, ok
	}
	return Place, "", true
}

func (p properties) tag(key string) string { return p.text[key] }

// column gives the property that a column of a CSV would hold.
func (p properties) column(column csvColumn) string {
	for spelling := range strings.SplitSeq(csvSpellings(column), " ") {
		if p.tagged && spelling == "height" {
			continue
		}
		if text := p.text[spelling]; text != "" {
			return text
		}
	}
	if p.tagged && column == csvStructure {
		return p.text[firstReadable(p.tag, "height", "tower:height")]
	}
	return ""
}

func (p properties) otherNames() []string {
	var names []string
	if others := p.text["other_names"]; others != "" {
		names = strings.Split(others, "|")
	}
	for _, key := range p.keys {
		if key == "name_alt" || key == "alt_name" || key == "official_name" || key == "old_name" || strings.HasPrefix(key, "name:") {
			names = append(names, strings.Split(p.text[key], ";")...)
		}
	}
	return names
}

// geometryMiddle gives the place of a point as the file writes it, of any other shape the middle of its bounding box and half the
// box's diagonal in metres.
func geometryMiddle(raw json.RawMessage) (lat, lon string, halfM float64, err error) {
	var point struct {
		Type        string            `json:"type"`
		Coordinates []json.RawMessage `json:"coordinates"`
	}
	if len(raw) == 0 || string(raw) == "null" {
		return "", "", 0, errors.New("no geometry")
	}
	if err := json.Unmarshal(raw, &point); err == nil && point.Type == "Point" {
		if len(point.Coordinates) < 2 {
			return "", "", 0, errors.New("a point without two coordinates")
		}
		return scalarText(point.Coordinates[1]), scalarText(point.Coordinates[0]), 0, nil
	}
	var shape any
	if err := json.Unmarshal(raw, &shape); err != nil {
		return "", "", 0, fmt.Errorf("geometry: %w", err)
	}
	var lats, lons []float64
	positions(shape, func(lonDeg, latDeg float64) { lons, lats = append(lons, lonDeg), append(lats, latDeg) })
	if len(lats) == 0 {
		return "", "", 0, fmt.Errorf("geometry of type %q has no positions", shorten(point.Type))
	}
	latDeg, lonDeg, halfM := boxMiddle(lats, lons)
	return strconv.FormatFloat(latDeg, 'f', 7, 64), strconv.FormatFloat(lonDeg, 'f', 7, 64), halfM, nil
}

// boxMiddle gives the middle of the smallest box around places, in degrees (the longitude to 360), and half its diagonal in metres.
func boxMiddle(lats, lons []float64) (latDeg, lonDeg, halfM float64) {
	south, north := slices.Min(lats), slices.Max(lats)
	west, east := slices.Min(lons), slices.Max(lons)
	if east-west > 180 { // across the date line
		for i := range lons {
			if lons[i] < 0 {
				lons[i] += 360
			}
		}
		if w, e := slices.Min(lons), slices.Max(lons); e-w < east-west {
			west, east = w, e
		}
	}
	latDeg, lonDeg = (south+north)/2, (west+east)/2
	return latDeg, lonDeg, math.Hypot(north-south, (east-west)*math.Cos(latDeg*math.Pi/180)) / 2 * metresPerDegree
}

// boxSpreadM is the spread each way of a place that may be anywhere in a box of half that diagonal, in metres.
func boxSpreadM(halfM float64) float64 { return math.Hypot(plainPlaceSDM, halfM/math.Sqrt(3)) }

// positions finds every position of a geometry, or of a collection of them.
func positions(value any, found func(lonDeg, latDeg float64)) {
	switch value := value.(type) {
	case map[string]any:
		positions(value["coordinates"], found)
		positions(value["geometries"], found)
	case []any:
		if len(value) >= 2 {
			lonDeg, isLon := value[0].(float64)
			latDeg, isLat := value[1].(float64)
			if isLon && isLat {
				found(lonDeg, latDeg)
				return
			}
		}
		for _, item := range value {
			positions(item, found)
		}
	}
}
