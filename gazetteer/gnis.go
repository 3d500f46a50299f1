package gazetteer

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// gnisListedSDM is the spread of a height that GNIS lists, in metres: most were read from elevation data at the listed place. Our
// judgement, no source.
const gnisListedSDM = 10

// gnis is a file of the Geographic Names Information System: UTF-8, columns separated by pipes and named by a header, no quotes.
// Headers are in capitals up to 2021 (National, state and topical files, with elevations), in small letters since (Domestic
// Names, without). Files of names alone (AllNames) have no places and are refused.
func gnis() format {
	return format{
		name:        "gnis",
		licence:     "public domain (US government work)",
		attribution: "U.S. Geological Survey, Geographic Names Information System",
		fits:        fitsGNIS,
		read:        readGNIS,
	}
}

// A column of a GNIS file that farstation reads.
type gnisColumn int

const (
	gnisID gnisColumn = iota
	gnisName
	gnisClass
	gnisLat
	gnisLon
	gnisElevationM
	gnisElevationFt
	gnisColumns // their number
)

// gnisSpellings lists what a column is called, in small letters. Without the last two a file can still be read.
func gnisSpellings(column gnisColumn) []string {
	return [gnisColumns][]string{
		gnisID:          {"feature_id"},
		gnisName:        {"feature_name"},
		gnisClass:       {"feature_class"},
		gnisLat:         {"prim_lat_dec", "primary_lat_dec"},
		gnisLon:         {"prim_long_dec", "primary_long_dec"},
		gnisElevationM:  {"elev_in_m"},
		gnisElevationFt: {"elev_in_ft"},
	}[column]
}

// gnisHeader says where each column stands, −1 for those that are missing.
type gnisHeader struct {
	at      [gnisColumns]int
	columns int
}

// parseGNISHeader returns why a line that comes near a header is none.
func parseGNISHeader(line []byte) (header gnisHeader, ok bool, why string) {
	names := strings.Split(strings.ToLower(string(line)), "|")
	header.columns = len(names)
	for column := range gnisColumns {
		header.at[column] = slices.IndexFunc(names, func(name string) bool {
			return slices.Contains(gnisSpellings(column), strings.TrimSpace(name))
		})
	}
	for column := range gnisElevationM {
		if header.at[column] >= 0 {
			continue
		}
		if header.at[gnisID] >= 0 && header.at[gnisName] >= 0 {
			why = "a GNIS file without a column " + gnisSpellings(column)[0] + ": take the Domestic Names file"
		}
		return header, false, why
	}
	return header, true, ""
}

func fitsGNIS(head []byte, cut bool) (bool, string) {
	for line := range headLines(head, cut) {
		if len(bytes.TrimSpace(line)) > 0 {
			_, ok, why := parseGNISHeader(line)
			return ok, why
		}
	}
	return false, ""
}

// gnisKind gives the kind of a feature class. A Summit is any elevation with a top, from dome to mountain. Pillar, Ridge and Range
// have no one top and are passed over; no class stands for masts, chimneys or lighthouses alone.
func gnisKind(class string) (Kind, bool) {
	switch class {
	case "Summit":
		return Peak, true
	case "Tower":
		return Tower, true
	}
	return "", false
}

func readGNIS(text io.Reader, out *sink) error {
	out.groundSDM = gnisListedSDM
	lines := newLineReader(text, out.options.MaxLineBytes)
	var header gnisHeader
	for header.columns == 0 {
		line, err := lines.next()
		if errors.Is(err, errLineTooLong) {
			return fmt.Errorf("line %d, before the header, is longer than %d bytes: this is no file of GNIS", lines.line, out.options.MaxLineBytes)
		}
		if err != nil {
			return err // fitsGNIS has seen the header
		}
		if len(bytes.TrimSpace(line)) > 0 {
			header, _, _ = parseGNISHeader(line)
		}
	}
	return out.eachLine(lines, func(line []byte) error {
		out.row()
		fields := strings.Split(string(line), "|")
		if len(fields) != header.columns {
			out.reject(lines.line, "%d columns instead of the header's %d", len(fields), header.columns)
			return nil
		}
		get := func(column gnisColumn) string {
			if at := header.at[column]; at >= 0 {
				return strings.TrimSpace(fields[at])
			}
			return ""
		}
		kind, ok := gnisKind(get(gnisClass))
		if !ok {
			out.passOver(get(gnisClass))
			return nil
		}
		number, err := geoNamesNumber([]byte(get(gnisID)))
		if err != nil {
			out.reject(lines.line, "feature_id %q is not a positive integer", shorten(get(gnisID)))
			return nil
		}
		r := newRecord(lines.line, fmt.Sprintf("gnis:%d", number), kind)
		r.name, r.lat, r.lon = strings.Clone(get(gnisName)), get(gnisLat), get(gnisLon)
		if strings.HasSuffix(r.name, "(historical)") && !kind.isSummit() {
			r.doubts = append(r.doubts, DoubtNotStanding)
		}
		if err := r.groundHeight("elev_in_m", get(gnisElevationM), "elev_in_ft", get(gnisElevationFt), '.'); err != nil {
			out.reject(lines.line, "%v", err)
			return nil
		}
		return out.add(r)
	})
}
