package reports

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"farstation/geodesy"
	"farstation/pipeline"
)

// rankedRow is what ranked.csv and ranked.geojson take from: a sightline and the places of its ends.
type rankedRow struct {
	pipeline.Sightline
	ObserverLatitudeDeg  float64 `parquet:"observer_latitude_deg" unit:"deg" doc:"latitude of the observer"`
	ObserverLongitudeDeg float64 `parquet:"observer_longitude_deg" unit:"deg" doc:"longitude of the observer"`
	TargetLatitudeDeg    float64 `parquet:"target_latitude_deg" unit:"deg" doc:"latitude of the target"`
	TargetLongitudeDeg   float64 `parquet:"target_longitude_deg" unit:"deg" doc:"longitude of the target"`

	observerPlace pipeline.ObserverPlace
}

// rankedColumnNames lists the columns of ranked.csv and ranked.geojson in their order.
func rankedColumnNames() []string {
	return []string{
		"rank", "score_test", "score_picture", "observer_name", "target_name", "observer_kind", "target_kind", "distance_m", "azimuth_deg",
		"verdict", "chance", "critical_k", "margin_arcmin", "elevation_deg", "elevation_plane_deg", "model_gap_arcmin",
		"obscured_height_m", "obscured_height_low_k_m", "obscured_height_high_k_m", "obscured_height_plane_m", "part_in_view", "part_in_view_plane",
		"front_distance_m", "eye_height_m", "top_height_m", "alignment_count", "best_alignment_near_id", "terrain_coverage", "doubts", "alike_count",
		"observer_latitude_deg", "observer_longitude_deg", "target_latitude_deg", "target_longitude_deg", "observer_id", "target_id",
	}
}

// rankedFields finds the struct field of every ranked column.
func rankedFields() []reflect.StructField {
	byName := map[string]reflect.StructField{}
	for _, field := range reflect.VisibleFields(reflect.TypeFor[rankedRow]()) {
		if name, _, ok := columnTag(field); ok {
			byName[name] = field
		}
	}
	var fields []reflect.StructField
	for _, name := range rankedColumnNames() {
		fields = append(fields, byName[name])
	}
	return fields
}

func rankedColumns() []Column {
	var columns []Column
	for _, field := range rankedFields() {
		name, optional, _ := columnTag(field)
		columns = append(columns, Column{
			Name: name, Type: columnType(field.Type), Unit: field.Tag.Get("unit"), Nullable: optional && name != "rank" || slices.Contains(tellsPlace(), name),
			Meaning: field.Tag.Get("doc"),
		})
	}
	return columns
}

// rankedRows returns the sightlines that have a rank, best first, the observers' places told as place says.
func rankedRows(sightlines []pipeline.Sightline, place pipeline.ObserverPlace) []rankedRow {
	var rows []rankedRow
	for i := range sightlines {
		if s := &sightlines[i]; s.Rank != nil {
			rows = append(rows, rankedRow{*s, s.ObserverLatDeg, s.ObserverLonDeg, s.TargetLatDeg, s.TargetLonDeg, pipeline.PlaceExact})
			rows[len(rows)-1].hidePlace(place)
		}
	}
	slices.SortStableFunc(rows, func(a, b rankedRow) int { return cmp.Compare(*a.Rank, *b.Rank) })
	return rows
}

// writeRanked writes the rows of groups, each as text makes it, in their order.
func writeRanked(w io.Writer, groups pipeline.Groups[pipeline.Sightline], workers int, place pipeline.ObserverPlace, file string, text func(rows []rankedRow, out *bytes.Buffer) error) error {
	return inOrder(workers, len(groups), func(i int) ([]byte, error) {
		rows, err := groups[i]()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		var out bytes.Buffer
		err = text(rankedRows(rows, place), &out)
		return out.Bytes(), err
	}, func(b []byte) error {
		_, err := w.Write(b)
		return err
	})
}

// WriteRankedCSV writes ranked sightlines, which come best first, as RFC 4180 text.
func WriteRankedCSV(w io.Writer, groups pipeline.Groups[pipeline.Sightline], workers int, place pipeline.ObserverPlace) error {
	fields := rankedFields()
	write := func(to io.Writer, records func(*csv.Writer) error) error {
		out := csv.NewWriter(to)
		out.UseCRLF = true // RFC 4180, section 2, rule 1
		if err := records(out); err != nil {
			return fmt.Errorf("%s: %w", rankedCSVFile, err)
		}
		out.Flush()
		return out.Error()
	}
	if err := write(w, func(out *csv.Writer) error { return out.Write(rankedColumnNames()) }); err != nil {
		return err
	}
	return writeRanked(w, groups, workers, place, rankedCSVFile, func(rows []rankedRow, into *bytes.Buffer) error {
		return write(into, func(out *csv.Writer) error {
			cells := make([]string, len(fields))
			for r := range rows {
				for i, field := range fields {
					value, err := rankedValue(&rows[r], field)
					if err != nil {
						return fmt.Errorf("rank %d: %w", *rows[r].Rank, err)
					}
					switch {
					case !value.given:
						cells[i] = ""
					case value.isText:
						cells[i] = csvInert(value.text)
					default:
						cells[i] = value.text
					}
				}
				if err := out.Write(cells); err != nil {
					return err
				}
			}
			return nil
		})
	})
}

// csvInert keeps spreadsheets from taking a name for a formula.
func csvInert(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}

// WriteRankedGeoJSON writes ranked sightlines, which come best first, as an RFC 7946 feature collection of lines, cut at 180° of longitude.
func WriteRankedGeoJSON(w io.Writer, groups pipeline.Groups[pipeline.Sightline], workers int, place pipeline.ObserverPlace) error {
	fields := rankedFields()
	head := `{"type":"FeatureCollection",`
	if note := placeNote(place); note != "" {
		head += `"note":"` + note + `",`
	}
	if _, err := io.WriteString(w, head+`"features":[`); err != nil {
		return err
	}
	err := writeRanked(w, groups, workers, place, rankedGeoJSONFile, func(rows []rankedRow, out *bytes.Buffer) error {
		for i := range rows {
			feature, err := rankedFeature(&rows[i], fields)
			if err != nil {
				return fmt.Errorf("%s: rank %d: %w", rankedGeoJSONFile, *rows[i].Rank, err)
			}
			if *rows[i].Rank > 1 {
				out.WriteByte(',')
			}
			out.WriteByte('\n')
			out.Write(feature)
		}
		return nil
	})
	if err != nil {
		return err
	}
	_, err = io.WriteString(w, "\n]}\n")
	return err
}

func rankedFeature(row *rankedRow, fields []reflect.StructField) ([]byte, error) {
	var geometry orb.Geometry
	var err error
	if target := (geodesy.LatLon{LatDeg: row.TargetLatDeg, LonDeg: row.TargetLonDeg}); row.observerPlace == pipeline.PlaceLeftOut {
		geometry, _, err = mapPoint(target)
	} else {
		geometry, _, err = mapLine(geodesy.LatLon{LatDeg: row.ObserverLatDeg, LonDeg: row.ObserverLonDeg}, target)
	}
	if err != nil {
		return nil, err
	}
	b := []byte(`{"type":"Feature","geometry":{"type":"` + geometry.GeoJSONType() + `","coordinates":`)
	switch g := geometry.(type) {
	case orb.Point:
		b = appendCoordinate(b, g)
	case orb.LineString:
		b = appendCoordinates(b, g)
	case orb.MultiLineString:
		b = append(b, '[')
		for i, part := range g {
			if i > 0 {
				b = append(b, ',')
			}
			b = appendCoordinates(b, part)
		}
		b = append(b, ']')
	}
	b = append(b, `},"properties":{`...)
	for i, field := range fields {
		name, _, _ := columnTag(field)
		value, err := rankedValue(row, field)
		if err != nil {
			return nil, err
		}
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendQuote(b, name)
		b = append(b, ':')
		switch {
		case !value.given:
			b = append(b, "null"...)
		case value.isText:
			quoted, err := json.Marshal(value.text)
			if err != nil {
				return nil, err
			}
			b = append(b, quoted...)
		default:
			b = append(b, value.text...)
		}
	}
	return append(b, "}}"...), nil
}

func appendCoordinates(b []byte, points orb.LineString) []byte {
	b = append(b, '[')
	for i, p := range points {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendCoordinate(b, p)
	}
	return append(b, ']')
}

func appendCoordinate(b []byte, p orb.Point) []byte {
	b = append(b, '[')
	b = append(b, roundedText(p[0], 7)...)
	b = append(b, ',')
	b = append(b, roundedText(p[1], 7)...)
	return append(b, ']')
}

// textValue is one value as text: given is false for null, isText true where it is not a number.
type textValue struct {
	text          string
	given, isText bool
}

// rankedValue returns the value of one column, numbers rounded by unit.
func rankedValue(row *rankedRow, field reflect.StructField) (textValue, error) {
	if name, _, _ := columnTag(field); row.hides(name) {
		return textValue{}, nil
	}
	value := reflect.ValueOf(row).Elem().FieldByIndex(field.Index)
	if value.Kind() == reflect.Pointer {
		if value.IsNil() {
			return textValue{}, nil
		}
		value = value.Elem()
	}
	switch value.Kind() {
	case reflect.String:
		return textValue{value.String(), true, true}, nil
	case reflect.Int32:
		return textValue{strconv.FormatInt(value.Int(), 10), true, false}, nil
	case reflect.Float64:
		v := value.Float()
		if math.IsNaN(v) || math.IsInf(v, 0) {
			name, _, _ := columnTag(field)
			return textValue{}, fmt.Errorf("%s is %v, which no column may hold", name, v)
		}
		text := roundedText(v, decimalsOf(field.Tag.Get("unit")))
		if !strings.Contains(text, ".") {
			text += ".0" // readers tell the type of a column by its values
		}
		return textValue{text, true, false}, nil
	default:
		return textValue{}, fmt.Errorf("a column of type %s has no form as text", value.Type())
	}
}

// decimalsOf returns how many decimals a number of a unit is worth: 1 cm of place, 0.1 m of height, 0.06″ of angle.
func decimalsOf(unit string) int {
	switch unit {
	case "deg":
		return 7
	case "m":
		return 1
	case "arcmin":
		return 3
	case "sd":
		return 2
	default:
		return 4
	}
}

// roundedText returns the number with that many decimals, less the trailing zeros, and zero without a sign.
func roundedText(v float64, n int) string {
	text := strconv.FormatFloat(v, 'f', n, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}
