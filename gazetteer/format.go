package gazetteer

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"farstation/geodesy"
)

// format is all that this package knows of one kind of extract. A new one is a file with a function that returns it, a line in
// formats and its samples in the conformance test.
type format struct {
	name, licence, attribution string
	// fits looks at the first bytes of the unpacked text (at most headBytes; cut says that more follow). If they are not this
	// format but come near it, why says in a few words what is wrong.
	fits func(head []byte, cut bool) (ok bool, why string)
	// read hands every row to out, in order. It returns an error only for a file that cannot be read on.
	read func(text io.Reader, out *sink) error
	// readAgain takes the place of read in formats that take more than one pass: open gives the text from its beginning each time.
	readAgain func(open func() (io.ReadCloser, error), out *sink) error
}

// formats are tried in this order.
func formats() []format {
	return []format{osmPBF(), osmXML(), geoNames(), gnis(), dof(), geoJSON(), commaSeparated()}
}

// record is one row of an extract, as its format reads it.
type record struct {
	line       int
	id         string
	name       string
	otherNames []string
	kind       Kind
	// lat and lon are texts in decimal degrees: their decimals tell their accuracy.
	lat, lon string
	// groundM and structureM are listed heights in metres, NaN where there is none that can be read.
	groundM, structureM float64
	// Spreads in metres; NaN leaves them to the defaults.
	groundSDM, structureSDM, placeSDM float64
	// widthM and lightM (over high water) are lengths in metres, 0 where none is listed; the dates are as the row has them.
	widthM, lightM     float64
	startDate, endDate string
	doubts             []string
}

// newRecord is a record of which nothing is known but where it stands, its id and its kind.
func newRecord(line int, id string, kind Kind) record {
	nan := math.NaN()
	return record{line: line, id: id, kind: kind, groundM: nan, structureM: nan, groundSDM: nan, structureSDM: nan, placeSDM: nan}
}

// limits of what can be a height on Earth, in metres: 450 m below any dry land, 150 m above any summit.
const (
	lowestM, highestM = -500, 9000
	tallestM          = 1500 // no structure stands much over half of it
	widestSpreadM     = 100_000
)

// sink checks records, turns them into features, and counts. Formats share it, so a row means the same in all of them.
type sink struct {
	emit    func(Feature) error
	report  *Report
	options ReadOptions
	// member names the part of an archive that is being read, where there is more than one.
	member string
	ids    map[string]int // line of each id
	// rejectByID puts the id of a record before the reason why it is rejected, for formats whose line numbers do not lead to it.
	rejectByID bool
	// groundSDM is the spread of a listed ground height by source, where the row gives none.
	groundSDM float64
}

// row counts a row; every row is then passed over, rejected or added.
func (s *sink) row() { s.report.Rows++ }

// passOver counts a row of a kind that farstation does not know.
func (s *sink) passOver(kind string) {
	s.report.PassedOver++
	if _, known := s.report.PassedOverKinds[kind]; !known && (len(s.report.PassedOverKinds) >= maxKindsListed || len(kind) > 40) {
		kind = "other"
	}
	s.report.PassedOverKinds[kind]++
}

// reject counts a row that cannot be used.
func (s *sink) reject(line int, format string, args ...any) {
	s.report.RejectedRows++
	if len(s.report.Rejected) < maxRejectedListed {
		reason := fmt.Sprintf(format, args...)
		if s.member != "" {
			reason = s.member + ": " + reason
		}
		s.report.Rejected = append(s.report.Rejected, Rejected{Line: line, Reason: reason})
	}
}

// add emits the feature of a record, or rejects it. The error is emit's.
func (s *sink) add(r record) error {
	feature, err := s.feature(r)
	if err != nil && s.rejectByID {
		err = fmt.Errorf("%s: %w", r.id, err)
	}
	if err != nil {
		s.reject(r.line, "%v", err)
		return nil
	}
	if first, seen := s.ids[feature.ID]; seen {
		s.reject(r.line, "id %q was already on line %d", feature.ID, first)
		return nil
	}
	s.ids[feature.ID] = r.line
	s.report.Used++
	return s.emit(feature)
}

func (s *sink) feature(r record) (Feature, error) {
	names, err := cleanNames(r.name, r.otherNames)
	if err != nil {
		return Feature{}, err
	}
	at, placeSDM, placeDoubt, err := place(r.lat, r.lon)
	if err != nil {
		return Feature{}, err
	}
	f := Feature{
		ID: r.id, Name: names[0], OtherNames: names[1:], Kind: r.kind, At: at, Listed: at,
		GroundHeightM: r.groundM, ListedHeightM: r.groundM, TerrainHeightM: math.NaN(), HeightSource: HeightListed,
		GroundHeightSDM: s.groundSDM, PositionSDM: placeSDM, Sources: []string{r.id}, Line: r.line,
		WidthM: r.widthM, LightHeightM: r.lightM, StartDate: r.startDate, EndDate: r.endDate,
	}
	if len(f.OtherNames) == 0 {
		f.OtherNames = nil
	}
	for _, code := range r.doubts {
		f.doubt(code)
	}
	if !math.IsNaN(r.groundM) && !(r.groundM >= lowestM && r.groundM <= highestM) {
		return Feature{}, fmt.Errorf("ground height %v m is outside %v…%v", r.groundM, lowestM, highestM)
	}
	if r.groundM == 0 && r.kind.isSummit() && !s.options.AsListed {
		f.GroundHeightM, f.ListedHeightM = math.NaN(), math.NaN()
		f.doubt(DoubtHeightZero)
	}
	if assumedM, sdM, ok := r.kind.assumedStructure(); math.IsNaN(r.structureM) && ok {
		f.StructureHeightM, f.StructureHeightSDM = assumedM, sdM
		f.doubt(DoubtStructureHeightAssumed)
	} else if r.structureM > 0 && r.structureM <= tallestM {
		f.StructureHeightM, f.StructureHeightSDM = r.structureM, listedStructureSDM
	} else if r.structureM != 0 && !math.IsNaN(r.structureM) {
		return Feature{}, fmt.Errorf("structure height %v m is outside 0…%v", r.structureM, tallestM)
	}
	for _, given := range []struct {
		name string
		sdM  float64
		into *float64
	}{{"ground height", r.groundSDM, &f.GroundHeightSDM}, {"structure height", r.structureSDM, &f.StructureHeightSDM}, {"place", r.placeSDM, &f.PositionSDM}} {
		if math.IsNaN(given.sdM) {
			continue
		}
		if !(given.sdM >= 0 && given.sdM <= widestSpreadM) {
			return Feature{}, fmt.Errorf("spread of the %s %v m is outside 0…%v", given.name, given.sdM, widestSpreadM)
		}
		*given.into = given.sdM
	}
	if placeDoubt != "" && math.IsNaN(r.placeSDM) {
		f.doubt(placeDoubt)
	}
	return f, nil
}

// listedStructureSDM is the spread of a listed structure height, in metres. Our judgement, no source.
const listedStructureSDM = 2

// place reads and checks a position. Longitudes of 180…360 are turned to −180…0; the null island is nobody's summit.
func place(lat, lon string) (at geodesy.LatLon, sdM float64, doubt string, err error) {
	latitude, err := parseCoordinate(lat)
	if err != nil {
		return at, 0, "", fmt.Errorf("latitude %q is %w", shorten(lat), err)
	}
	longitude, err := parseCoordinate(lon)
	if err != nil {
		return at, 0, "", fmt.Errorf("longitude %q is %w", shorten(lon), err)
	}
	if !(math.Abs(latitude.deg) <= 90) {
		swapped := ""
		if math.Abs(longitude.deg) <= 90 && math.Abs(latitude.deg) <= 360 {
			swapped = " (latitude and longitude exchanged?)"
		}
		return at, 0, "", fmt.Errorf("latitude %v is outside -90…90%s", latitude.deg, swapped)
	}
	if !(longitude.deg >= -180 && longitude.deg <= 360) {
		return at, 0, "", fmt.Errorf("longitude %v is outside -180…360", longitude.deg)
	}
	if latitude.deg == 0 && longitude.deg == 0 {
		return at, 0, "", fmt.Errorf("latitude and longitude are both 0, which stands for an unknown place")
	}
	sdM, doubt = placeSpread(latitude, longitude)
	if longitude.deg > 180 {
		longitude.deg -= 360
	}
	return geodesy.LatLon{LatDeg: latitude.deg, LonDeg: longitude.deg}, sdM, doubt, nil
}

// cleanNames returns the best name and all others, once each, on one line each.
func cleanNames(name string, others []string) ([]string, error) {
	names := make([]string, 0, 1+len(others))
	for i := -1; i < len(others); i++ {
		if i >= 0 {
			name = others[i]
		}
		if !utf8.ValidString(name) {
			return nil, fmt.Errorf("name %+q is not UTF-8: convert the file", shorten(name))
		}
		if strings.ContainsFunc(name, unicode.IsControl) || strings.TrimSpace(name) != name {
			name = strings.Join(strings.Fields(name), " ")
		}
		if at := strings.IndexFunc(name, unicode.IsControl); at >= 0 {
			return nil, fmt.Errorf("name %+q holds a control character", shorten(name))
		}
		if name != "" && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return nil, fmt.Errorf("no name")
	}
	return names, nil
}

// shorten keeps messages readable whatever a file holds.
func shorten(text string) string {
	const limit = 60
	if len(text) <= limit {
		return text
	}
	cut := limit
	for cut > 0 && !utf8.RuneStart(text[cut]) {
		cut--
	}
	return text[:cut] + "…"
}
