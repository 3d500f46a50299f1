package gazetteer

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// csvListedSDM is the spread of a listed height in a CSV that does not state it, in metres. Our judgement, no source.
const csvListedSDM = 3

// maxRecordLines is how many lines a quoted record may cover before its quote counts as forgotten.
const maxRecordLines = 50

// commaSeparated is text with a header that names its columns, in any order and case, separated by commas, semicolons or
// tabs (told from the header), with quotes as in RFC 4180. Decimal commas are understood. A row without a kind is a place; in a
// table that states the drop or prominence of its rows, which only summits have, it is a hill.
func commaSeparated() format {
	return format{name: "csv", licence: "unknown", attribution: "unknown", fits: fitsCSV, read: readCSV}
}

// A column of a CSV that farstation reads.
type csvColumn int

const (
	csvLat csvColumn = iota
	csvLon
	csvName
	csvID
	csvKind
	csvGround
	csvGroundFeet
	csvStructure
	csvGroundSD
	csvStructureSD
	csvPlaceSD
	csvOthers
	csvDrop
	csvColumns // their number
)

// csvSpellings lists what a column may be called, in small letters, separated by spaces; the first is the one of messages.
func csvSpellings(column csvColumn) string {
	return [csvColumns]string{
		csvLat:         "latitude_deg latitude lat",
		csvLon:         "longitude_deg longitude lon lng",
		csvName:        "name",
		csvID:          "id",
		csvKind:        "kind",
		csvGround:      "ground_height_m ele elevation height elevation_m height_m metres meters",
		csvGroundFeet:  "elevation_ft height_ft feet",
		csvStructure:   "structure_height_m",
		csvGroundSD:    "ground_height_sd_m",
		csvStructureSD: "structure_height_sd_m",
		csvPlaceSD:     "position_sd_m",
		csvOthers:      "other_names",
		csvDrop:        "drop prominence drop_m prominence_m",
	}[column]
}

// csvHeader says where each column stands, −1 for those that are missing.
type csvHeader struct {
	at        [csvColumns]int
	columns   int
	separator byte
}

// parseCSVHeader finds the separator under which a header names latitude and longitude.
func parseCSVHeader(line string) (csvHeader, error) {
	problem := errors.New("the first line names no latitude and longitude (latitude_deg, latitude or lat; longitude_deg, longitude, lon or lng)")
	for _, separator := range []byte{',', ';', '\t'} {
		names, open, err := splitRecord(line, separator, nil)
		if open || err != nil {
			continue
		}
		header := csvHeader{columns: len(names), separator: separator}
		var twice error
		for column := range csvColumns {
			header.at[column] = -1
			for i, name := range names {
				if !slices.Contains(strings.Fields(csvSpellings(column)), strings.ToLower(strings.TrimSpace(name))) {
					continue
				}
				if first := header.at[column]; first >= 0 {
					twice = fmt.Errorf("the header has two columns for one thing, %q and %q: rename one", names[first], name)
					continue
				}
				header.at[column] = i
			}
		}
		switch hasLat, hasLon := header.at[csvLat] >= 0, header.at[csvLon] >= 0; {
		case !hasLat && !hasLon:
		case !hasLat || !hasLon:
			problem = errors.New("the header names only one of latitude and longitude")
		case twice != nil:
			return header, twice
		case header.at[csvName] < 0:
			return header, errors.New("the header has no column name")
		default:
			return header, nil
		}
	}
	return csvHeader{}, problem
}

func fitsCSV(head []byte, cut bool) (bool, string) {
	for line := range headLines(head, cut) {
		if len(strings.TrimSpace(string(line))) == 0 {
			continue
		}
		if _, err := parseCSVHeader(string(line)); err != nil {
			return false, err.Error()
		}
		return true, ""
	}
	return false, fmt.Sprintf("no end of its first line within %d bytes", headBytes)
}

func readCSV(text io.Reader, out *sink) error {
	out.groundSDM = csvListedSDM
	rows := &csvRows{lines: newLineReader(text, out.options.MaxLineBytes), separator: ','}
	var header csvHeader
	for header.columns == 0 {
		line, _, err := rows.line()
		if err != nil {
			return err // fitsCSV has seen the header
		}
		if strings.TrimSpace(line) == "" {
			continue
		}
		if header, err = parseCSVHeader(line); err != nil {
			return err
		}
		rows.separator = header.separator
	}
	unsaid := Place
	if header.at[csvDrop] >= 0 {
		unsaid = Hill
	}
	for {
		fields, line, err := rows.next()
		var bad badRow
		switch {
		case err == io.EOF:
			return nil
		case errors.As(err, &bad):
			out.row()
			out.reject(line, "%s", string(bad))
			continue
		case err != nil:
			return err
		case !slices.ContainsFunc(fields, func(field string) bool { return strings.TrimSpace(field) != "" }):
			continue
		}
		out.row()
		if len(fields) != header.columns {
			out.reject(line, "%d columns instead of the header's %d", len(fields), header.columns)
			continue
		}
		get := func(column csvColumn) string {
			if at := header.at[column]; at >= 0 {
				return strings.TrimSpace(fields[at])
			}
			return ""
		}
		kind, ok := unsaid, true
		if word := get(csvKind); word != "" {
			kind, ok = kindOf(word)
		}
		if !ok {
			out.passOver(get(csvKind))
			continue
		}
		r, err := csvRecord(line, kind, get)
		if err != nil {
			out.reject(line, "%v", err)
			continue
		}
		if err := out.add(r); err != nil {
			return err
		}
	}
}

func csvRecord(line int, kind Kind, get func(csvColumn) string) (record, error) {
	r := newRecord(line, "", kind)
	// Clones, lest a feature keep its whole line in memory.
	r.name, r.lat, r.lon = strings.Clone(get(csvName)), get(csvLat), get(csvLon)
	if others := get(csvOthers); others != "" {
		r.otherNames = strings.Split(strings.Clone(others), "|")
	}
	var err error
	if r.id, err = featureID("csv:", get(csvID), r); err != nil {
		return r, err
	}
	return r, r.heights(get, decimalMarkOf(r.lat, r.lon))
}

// heights reads the columns of heights and spreads of a row. Where they stand is told by get, so that other formats whose fields
// have names may have the same.
func (r *record) heights(get func(csvColumn) string, mark decimalMark) error {
	what := func(column csvColumn) string {
		first, _, _ := strings.Cut(csvSpellings(column), " ")
		return first
	}
	if err := r.groundHeight(what(csvGround), get(csvGround), what(csvGroundFeet), get(csvGroundFeet), mark); err != nil {
		return err
	}
	for _, height := range []struct {
		column csvColumn
		into   *float64
		doubt  string // empty: a value that cannot be read rejects the row
	}{{csvStructure, &r.structureM, DoubtStructureHeightUnreadable}, {csvGroundSD, &r.groundSDM, ""}, {csvStructureSD, &r.structureSDM, ""}, {csvPlaceSD, &r.placeSDM, ""}} {
		var err error
		if *height.into, err = r.height(what(height.column), get(height.column), mark, height.doubt); err != nil {
			return err
		}
	}
	return nil
}

// featureID makes the id of a row; without one in the file, from its name and place, so that it stays when rows are moved.
// Commas separate ids in lists, so none may stand inside.
func featureID(prefix, id string, r record) (string, error) {
	if id != "" {
		if !utf8.ValidString(id) || strings.ContainsFunc(id, func(c rune) bool { return c == ',' || unicode.IsControl(c) }) {
			return "", fmt.Errorf("id %+q holds a comma, a control character or bytes that are not UTF-8", shorten(id))
		}
		return prefix + strings.TrimPrefix(id, prefix), nil
	}
	name := r.name
	if name == "" && len(r.otherNames) > 0 {
		name = r.otherNames[0]
	}
	words := strings.FieldsFunc(strings.ToLower(name), func(c rune) bool {
		return !unicode.IsLetter(c) && !unicode.IsDigit(c) && !unicode.IsMark(c)
	})
	lat, _ := parseCoordinate(r.lat) // a place that cannot be read rejects the row later
	lon, _ := parseCoordinate(r.lon)
	return prefix + strings.Join(words, "-") + "@" + strconv.FormatFloat(lat.deg, 'f', 5, 64) + "/" + strconv.FormatFloat(lon.deg, 'f', 5, 64), nil
}
