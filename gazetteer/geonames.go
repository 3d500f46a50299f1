package gazetteer

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Columns of the GeoNames main table, counted from 0 (readme of the GeoNames export).
const (
	geoNamesID        = 0
	geoNamesName      = 1
	geoNamesASCII     = 2
	geoNamesOthers    = 3
	geoNamesLat       = 4
	geoNamesLon       = 5
	geoNamesClass     = 6
	geoNamesCode      = 7
	geoNamesElevation = 15
	geoNamesColumns   = 19
)

// geoNamesListedSDM is the spread of a height that GeoNames lists, in metres. Our judgement, no source.
const geoNamesListedSDM = 10

// geoNames is the main table of a GeoNames dump: tab-separated UTF-8, 19 columns, no header, no quotes. Its elevation column is
// the listed height. Its dem column is a cell mean of other terrain and is never taken for one.
func geoNames() format {
	return format{
		name:        "geonames",
		licence:     "CC BY 4.0",
		attribution: "GeoNames, geonames.org",
		fits:        fitsGeoNames,
		read:        readGeoNames,
	}
}

// geoNamesKind gives the kind of a feature class and code, as the GeoNames list of codes defines them. Mountains, hills and
// peaks in the plural (MTS, HLLS, PKS) and ridges (RDGE) are ranges without one top and are passed over. No code stands for masts,
// chimneys or turbines alone, so none is guessed; populated places are passed over too, there being millions of them.
func geoNamesKind(class, code []byte) (Kind, bool) {
	switch string(class) {
	case "T":
		switch string(code) {
		case "MT", "PK":
			return Peak, true
		case "HLL":
			return Hill, true
		case "VLC":
			return Volcano, true
		}
	case "S":
		switch string(code) {
		case "TOWR":
			return Tower, true
		case "LTHSE":
			return Lighthouse, true
		case "OBPT":
			return Viewpoint, true
		}
	}
	return "", false
}

func fitsGeoNames(head []byte, cut bool) (bool, string) {
	tabbed := 0
	for line := range headLines(head, cut) {
		columns := bytes.Count(line, []byte{'\t'}) + 1
		if columns != geoNamesColumns {
			if tabbed == 0 && columns > 1 {
				tabbed = columns
			}
			continue
		}
		var fields [geoNamesColumns][]byte
		splitGeoNames(line, &fields)
		_, errID := geoNamesNumber(fields[geoNamesID])
		_, errLat := parseCoordinate(string(fields[geoNamesLat]))
		_, errLon := parseCoordinate(string(fields[geoNamesLon]))
		if errID == nil && errLat == nil && errLon == nil && len(fields[geoNamesClass]) <= 1 {
			return true, ""
		}
	}
	if tabbed > 0 {
		return false, fmt.Sprintf("tab-separated with %d columns, where a GeoNames dump has %d", tabbed, geoNamesColumns)
	}
	return false, ""
}

// splitGeoNames fills fields and returns the number of columns, which may differ from the wanted 19.
func splitGeoNames(line []byte, fields *[geoNamesColumns][]byte) int {
	columns := 0
	for {
		tab := bytes.IndexByte(line, '\t')
		field := line
		if tab >= 0 {
			field = line[:tab]
		}
		if columns < len(fields) {
			fields[columns] = field
		}
		columns++
		if tab < 0 {
			return columns
		}
		line = line[tab+1:]
	}
}

// geoNamesNumber reads the id of a row, a positive integer.
func geoNamesNumber(field []byte) (int64, error) {
	number, err := strconv.ParseInt(string(field), 10, 64)
	if err == nil && (number <= 0 || field[0] == '+') {
		err = strconv.ErrSyntax
	}
	return number, err
}

func readGeoNames(text io.Reader, out *sink) error {
	out.groundSDM = geoNamesListedSDM
	lines := newLineReader(text, out.options.MaxLineBytes)
	var fields [geoNamesColumns][]byte
	return out.eachLine(lines, func(line []byte) error {
		out.row()
		if columns := splitGeoNames(line, &fields); columns != geoNamesColumns {
			out.reject(lines.line, "%d columns instead of %d", columns, geoNamesColumns)
			return nil
		}
		kind, ok := geoNamesKind(fields[geoNamesClass], fields[geoNamesCode])
		if !ok {
			out.passOver(string(fields[geoNamesClass]) + "." + string(fields[geoNamesCode]))
			return nil
		}
		number, err := geoNamesNumber(fields[geoNamesID])
		if err != nil {
			out.reject(lines.line, "id %q is not a positive integer", shorten(string(fields[geoNamesID])))
			return nil
		}
		r := newRecord(lines.line, "geonames:"+strconv.FormatInt(number, 10), kind)
		r.name, r.otherNames = string(fields[geoNamesName]), []string{string(fields[geoNamesASCII])}
		if len(fields[geoNamesOthers]) > 0 {
			r.otherNames = append(r.otherNames, strings.Split(string(fields[geoNamesOthers]), ",")...)
		}
		r.lat, r.lon = string(fields[geoNamesLat]), string(fields[geoNamesLon])
		// Voids are written −9999 in the dem column (from memory), so they may be here too.
		if elevation := string(bytes.TrimSpace(fields[geoNamesElevation])); elevation != "-9999" {
			r.groundM, err = r.height("elevation", elevation, '.', DoubtHeightUnreadable)
		}
		if err != nil {
			out.reject(lines.line, "%v", err)
			return nil
		}
		return out.add(r)
	})
}
