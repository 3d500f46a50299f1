package gazetteer

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"farstation/geodesy"
)

// sampleRow is a row that every format can write.
type sampleRow struct {
	number                int
	name, others          string // others separated by |
	kind                  Kind
	latDeg, lonDeg, listM string
}

// about is what a case of the suite is about. A format that has no room for it says why.
type about string

const (
	aboutNames      about = "names"
	aboutNameless   about = "no name"
	aboutOthers     about = "other names"
	aboutTabs       about = "tabs in names"
	aboutKinds      about = "kinds"
	aboutSummits    about = "heights of summits"
	aboutPlace      about = "places"
	aboutPlaceText  about = "texts for places"
	aboutDecimals   about = "decimals of a place"
	aboutHeight     about = "heights"
	aboutHeightText about = "texts for heights"
	aboutUnknown    about = "unknown columns"
	aboutText       about = "marks and ends of lines"
)

// writtenFormat is a format under test and how its publishers write rows.
type writtenFormat struct {
	name, format string
	text         func(rows []sampleRow) string
	// unknown writes rows among columns that farstation does not know.
	unknown func(rows []sampleRow) string
	// lacks says why the format cannot hold what a case is about.
	lacks map[about]string
	// marker is a text of a row that no other row has; nil for the row's name.
	marker func(r sampleRow) string
	// same tells features that are the same as far as the format can hold them; nil for sameFeature.
	same []cmp.Option
	// document says that the text is one whole: when it is cut the file is refused, not the last row.
	document bool
	// binary says that it is no text: rows are counted, not lines.
	binary bool
}

func (f writtenFormat) mark(r sampleRow) string {
	if f.marker == nil {
		return r.name
	}
	return f.marker(r)
}

// written are the formats under test. A new format joins the suite here.
func written() []writtenFormat {
	withHeader := func(header string, row func(sampleRow) string) func([]sampleRow) string {
		return func(rows []sampleRow) string {
			var text strings.Builder
			text.WriteString(header)
			for _, r := range rows {
				text.WriteString(row(r) + "\n")
			}
			return text.String()
		}
	}
	delimited := func(separator string, quoted bool, more ...string) func([]sampleRow) string {
		header := strings.Join(append([]string{"id", "name", "other_names", "kind", "latitude_deg", "longitude_deg", "ground_height_m"}, more...), separator) + "\n"
		return withHeader(header, func(r sampleRow) string {
			fields := append([]string{fmt.Sprint(r.number), r.name, r.others, string(r.kind), r.latDeg, r.lonDeg, r.listM}, more...)
			for i, field := range fields {
				if quoted || strings.ContainsAny(field, separator+"\"\n") {
					fields[i] = `"` + strings.ReplaceAll(field, `"`, `""`) + `"`
				}
			}
			return strings.Join(fields, separator)
		})
	}
	csv := func(name, separator string, quoted bool) writtenFormat {
		return writtenFormat{name: "CSV, " + name, format: "csv", text: delimited(separator, quoted), unknown: delimited(separator, quoted, "colour", "x", "x")}
	}
	noClass := "no class for it"
	gnisLacks := map[about]string{aboutOthers: "no column for it", aboutKinds: noClass}
	return []writtenFormat{
		{name: "GeoNames", format: "geonames", text: geoNamesText, lacks: map[about]string{aboutTabs: "a tab ends the column", aboutUnknown: "19 columns by definition"}},
		{name: "OpenStreetMap XML", format: "osm", document: true, text: osmText, unknown: osmTextWith(`<note>x</note><tag k="colour" v="red"/>`),
			lacks: map[about]string{aboutNameless: "most have none: passed over, not rejected"}},
		{name: "OpenStreetMap PBF", format: "osm.pbf", document: true, binary: true, text: osmPBFText(), unknown: osmPBFText("colour", "red", "note", "x"),
			lacks: map[about]string{aboutNameless: "most have none: passed over, not rejected", aboutText: "not lines of text", aboutPlaceText: "integers of 10⁻⁷ degrees"}},
		{name: "GNIS", format: "gnis", text: withHeader(gnisOldHeader+"\n", gnisOldRow), lacks: gnisLacks,
			unknown: withHeader("x|"+gnisOldHeader+"|y\n", func(r sampleRow) string { return "1|" + gnisOldRow(r) + "|2" })},
		{name: "GNIS since 2022", format: "gnis", text: withHeader(gnisNewHeader+"\n", gnisNewRow), same: append(sameFeature(), cmpopts.IgnoreFields(Feature{}, "GroundHeightM", "ListedHeightM")),
			lacks:   map[about]string{aboutOthers: "no column for it", aboutKinds: noClass, aboutHeight: "no column for it", aboutSummits: "no column for it", aboutHeightText: "no column for it"},
			unknown: withHeader("x|"+gnisNewHeader+"|y\n", func(r sampleRow) string { return "1|" + gnisNewRow(r) + "|2" })},
		{name: "DOF (a tower's place and ground)", format: "dof", text: withHeader(dofHeader, dofRow), marker: func(r sampleRow) string { return fmt.Sprintf("%06d", r.number) }, same: sameObstacle(),
			lacks: map[about]string{aboutNames: "no names: made of type, number, town", aboutNameless: "no names: made of type, number, town", aboutOthers: "no names", aboutTabs: "no names", aboutKinds: "structures only", aboutSummits: "structures only",
				aboutPlaceText: "fixed digits of degrees, minutes, seconds", aboutDecimals: "accuracy has a code", aboutHeightText: "five digits of feet", aboutUnknown: "fixed columns"}},
		{name: "GeoJSON collection", format: "geojson", document: true, text: geoJSONText(",\n", ""), unknown: geoJSONText(",\n", `"colour":"red","x":[1,{"y":null}],`)},
		{name: "GeoJSON lines", format: "geojson", text: geoJSONText("\n", ""), unknown: geoJSONText("\n", `"colour":"red","x":[1,{"y":null}],`)},
		csv("commas", ",", false), csv("semicolons", ";", false), csv("tabs", "\t", false), csv("all quoted", ",", true),
	}
}

func geoNamesText(rows []sampleRow) string {
	codes := map[Kind]string{Peak: "T\tMT", Hill: "T\tHLL", Volcano: "T\tVLC", Tower: "S\tTOWR", Lighthouse: "S\tLTHSE", Viewpoint: "S\tOBPT", "city": "P\tPPL"}
	var text strings.Builder
	for _, r := range rows {
		fmt.Fprintf(&text, "%d\t%s\t\t%s\t%s\t%s\t%s\tXX\t\t\t\t\t\t0\t%s\t-9999\tEtc/UTC\t2020-01-01\n",
			r.number, r.name, strings.ReplaceAll(r.others, "|", ","), r.latDeg, r.lonDeg, codes[r.kind], r.listM)
	}
	return text.String()
}

// The headers of a National File of 2016 and of a Domestic Names file of 2022 and since, as published.
const (
	gnisOldHeader = "FEATURE_ID|FEATURE_NAME|FEATURE_CLASS|STATE_ALPHA|STATE_NUMERIC|COUNTY_NAME|COUNTY_NUMERIC|PRIMARY_LAT_DMS|PRIM_LONG_DMS|PRIM_LAT_DEC|PRIM_LONG_DEC|SOURCE_LAT_DMS|SOURCE_LONG_DMS|SOURCE_LAT_DEC|SOURCE_LONG_DEC|ELEV_IN_M|ELEV_IN_FT|MAP_NAME|DATE_CREATED|DATE_EDITED"
	gnisNewHeader = "feature_id|feature_name|feature_class|state_name|state_numeric|county_name|county_numeric|map_name|date_created|date_edited|bgn_type|bgn_authority|bgn_date|prim_lat_dms|prim_long_dms|prim_lat_dec|prim_long_dec|source_lat_dms|source_long_dms|source_lat_dec|source_long_dec"
)

func gnisClassOf(kind Kind) string {
	return map[Kind]string{Peak: "Summit", Hill: "Summit", Tower: "Tower", "city": "Populated Place"}[kind]
}

func gnisOldRow(r sampleRow) string {
	return fmt.Sprintf("%d|%s|%s|WA|53|King|033|||%s|%s|||||%s||Somewhere|09/10/1979|", r.number, r.name, gnisClassOf(r.kind), r.latDeg, r.lonDeg, r.listM)
}

func gnisNewRow(r sampleRow) string {
	return fmt.Sprintf("%d|%s|%s|Washington|53|King|033|Somewhere|09/10/1979||||||| %s|%s||||", r.number, r.name, gnisClassOf(r.kind), r.latDeg, r.lonDeg)
}

// dofHeader and the columns of dofRow are those of the sample in testdata.
const dofHeader = `  CURRENCY DATE = 12/21/25
                                   LATITUDE     LONGITUDE     OBSTACLE             AGL   AMSL LT ACC MAR FAA          ACTION
OAS#      V CO ST CITY             DEG MIN SEC  DEG MIN SEC   TYPE                 HT    HT     H V IND STUDY           JDATE
-------------------------------------------------------------------------------------------------------------------------------
`

func dofRow(r sampleRow) string {
	dms := func(text string, width int, plus, minus string) string {
		deg, err := strconv.ParseFloat(text, 64)
		if err != nil {
			panic("no case for the DOF: " + text)
		}
		if deg < 0 {
			deg, plus = -deg, minus
		}
		hundredths := int(math.Round(deg * 360_000))
		return fmt.Sprintf("%0*d %02d %05.2f%s", width, hundredths/360_000, hundredths/6000%60, float64(hundredths%6000)/100, plus)
	}
	obstacle, overGround, overSea := "TOWER", "00100", "00000"
	if r.kind == "city" {
		obstacle = "TREE"
	}
	if listedM, err := strconv.ParseFloat(r.listM, 64); err == nil {
		overSea = fmt.Sprintf("%05d", int(math.Round(listedM/0.3048))+100)
	}
	trailing := strings.Repeat(" ", len(r.name)/1000*1000)
	return fmt.Sprintf("01-%06d O US AL %-16.16s %s %s %-18s 1 %s %s R 1 A M 2018ASO25793OE C 2014138 %s", r.number, r.name,
		dms(r.latDeg, 2, "N", "S"), dms(r.lonDeg, 3, "E", "W"), obstacle, overGround, overSea, trailing)
}

// geoJSONText writes features as a collection (separated by commas) or one a line. Texts that are no numbers of JSON are strings.
func geoJSONText(separator, more string) func(rows []sampleRow) string {
	quote := func(text string) string { // json.Marshal mends what is not UTF-8
		if utf8.ValidString(text) {
			quoted, _ := json.Marshal(text)
			return string(quoted)
		}
		return `"` + text + `"`
	}
	number := func(text string) string {
		if json.Valid([]byte(text)) {
			return text
		}
		return quote(text)
	}
	return func(rows []sampleRow) string {
		var features []string
		for _, r := range rows {
			features = append(features, fmt.Sprintf(`{"type":"Feature","id":%d,"properties":{%s"name":%s,"other_names":%s,"kind":%q,"ele":%s},"geometry":{"type":"Point","coordinates":[%s,%s]}}`,
				r.number, more, quote(r.name), quote(r.others), r.kind, number(r.listM), number(r.lonDeg), number(r.latDeg)))
		}
		text := strings.Join(features, separator) + "\n"
		if separator != "\n" {
			text = "{\"type\":\"FeatureCollection\",\"features\":[\n" + text + "]}\n"
		}
		return text
	}
}

// sameFeature ignores what a format may add of its own.
func sameFeature() []cmp.Option {
	return []cmp.Option{cmpopts.EquateNaNs(), cmpopts.IgnoreFields(Feature{}, "ID", "Sources", "GroundHeightSDM", "StructureHeightSDM", "PositionSDM", "Line")}
}

// sameObstacle compares what the DOF holds: place to 0.01″, ground to a foot.
func sameObstacle() []cmp.Option {
	return []cmp.Option{
		cmpopts.IgnoreFields(Feature{}, "ID", "Sources", "GroundHeightSDM", "StructureHeightSDM", "PositionSDM", "Line", "Name", "OtherNames", "Kind", "StructureHeightM", "Doubts"),
		cmp.Comparer(func(a, b geodesy.LatLon) bool {
			return math.Abs(a.LatDeg-b.LatDeg) < 0.006/3600 && math.Abs(a.LonDeg-b.LonDeg) < 0.006/3600
		}),
		cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 0.31 || math.IsNaN(a) && math.IsNaN(b) }),
	}
}
