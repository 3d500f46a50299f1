package gazetteer

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

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

// written are the formats under test: each writes rows as its publishers do. A new format joins the suite here.
func written() []struct {
	name   string
	text   func(rows []sampleRow) string
	format string
	// foldsTabs says that the format can hold a tab within a name.
	foldsTabs bool
} {
	delimited := func(separator string, quoted bool) func([]sampleRow) string {
		return func(rows []sampleRow) string {
			text := strings.Join([]string{"id", "name", "other_names", "kind", "latitude_deg", "longitude_deg", "ground_height_m"}, separator) + "\n"
			for _, r := range rows {
				fields := []string{fmt.Sprint(r.number), r.name, r.others, string(r.kind), r.latDeg, r.lonDeg, r.listM}
				for i, field := range fields {
					if quoted || strings.ContainsAny(field, separator+"\"\n") {
						fields[i] = `"` + strings.ReplaceAll(field, `"`, `""`) + `"`
					}
				}
				text += strings.Join(fields, separator) + "\n"
			}
			return text
		}
	}
	return []struct {
		name      string
		text      func(rows []sampleRow) string
		format    string
		foldsTabs bool
	}{
		{"GeoNames", geoNamesText, "geonames", false},
		{"CSV, commas", delimited(",", false), "csv", true},
		{"CSV, semicolons", delimited(";", false), "csv", true},
		{"CSV, tabs", delimited("\t", false), "csv", true},
		{"CSV, all quoted", delimited(",", true), "csv", true},
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

// readText writes text to a file and reads it.
func readText(t testing.TB, text string, opts ReadOptions) ([]Feature, Report, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "extract")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return readPath(t, path, opts)
}

func readPath(t testing.TB, path string, opts ReadOptions) ([]Feature, Report, error) {
	t.Helper()
	var features []Feature
	report, err := ReadFile(t.Context(), path, opts, func(f Feature) error {
		features = append(features, f)
		return nil
	})
	return features, report, err
}

// good is a row that must come through whatever stands beside it.
var good = sampleRow{900, "Anchor Hill", "", Hill, "10.12345", "20.54321", "321"}

// TestConformance holds every format to the same rows: they must give the same features but for id, sources and spreads, and
// the same rejections.
func TestConformance(t *testing.T) {
	nan := math.NaN()
	feature := func(name string, kind Kind, lat, lon, listed float64, change ...func(*Feature)) *Feature {
		at := geodesy.LatLon{LatDeg: lat, LonDeg: lon}
		f := &Feature{Name: name, Kind: kind, At: at, Listed: at, GroundHeightM: listed, ListedHeightM: listed, TerrainHeightM: nan, HeightSource: HeightListed}
		for _, c := range change {
			c(f)
		}
		return f
	}
	doubts := func(codes ...string) func(*Feature) { return func(f *Feature) { f.Doubts = codes } }
	structure := func(m float64) func(*Feature) { return func(f *Feature) { f.StructureHeightM = m } }
	others := func(names ...string) func(*Feature) { return func(f *Feature) { f.OtherNames = names } }
	tests := []struct {
		name string
		row  sampleRow
		want *Feature // nil: the row is rejected
		// reason is what the rejection must say.
		reason string
	}{
		{"plain", sampleRow{1, "Tall Cairn", "", Peak, "55.591692", "-3.662551", "712"}, feature("Tall Cairn", Peak, 55.591692, -3.662551, 712), ""},
		{"other names", sampleRow{1, "Tall Cairn", "Old Cairn|Tall Cairn|Càrn Àrd", Peak, "1.11111", "2.22222", "7"}, feature("Tall Cairn", Peak, 1.11111, 2.22222, 7, others("Old Cairn", "Càrn Àrd")), ""},
		{"right-to-left script", sampleRow{1, "جبل النور", "הר גבוה", Peak, "1.11111", "2.22222", "7"}, feature("جبل النور", Peak, 1.11111, 2.22222, 7, others("הר גבוה")), ""},
		{"combining marks", sampleRow{1, "Phu\u0304 Kha\u030c\u0323o", "", Peak, "1.11111", "2.22222", "7"}, feature("Phu\u0304 Kha\u030c\u0323o", Peak, 1.11111, 2.22222, 7), ""},
		{"quotes in the name", sampleRow{1, `The "Old" Man`, "", Peak, "1.11111", "2.22222", "7"}, feature(`The "Old" Man`, Peak, 1.11111, 2.22222, 7), ""},
		{"formula and markup are names", sampleRow{1, "=cmd() <b>", "", Peak, "1.11111", "2.22222", "7"}, feature("=cmd() <b>", Peak, 1.11111, 2.22222, 7), ""},
		{"spaces around the name", sampleRow{1, "  Cairn ", "", Peak, "1.11111", "2.22222", "7"}, feature("Cairn", Peak, 1.11111, 2.22222, 7), ""},
		{"200 characters", sampleRow{1, strings.Repeat("é", 200), "", Peak, "1.11111", "2.22222", "7"}, feature(strings.Repeat("é", 200), Peak, 1.11111, 2.22222, 7), ""},
		{"no name, another given", sampleRow{1, "", "Cairn|Carn", Peak, "1.11111", "2.22222", "7"}, feature("Cairn", Peak, 1.11111, 2.22222, 7, others("Carn")), ""},
		{"no name", sampleRow{1, "", "", Peak, "1.11111", "2.22222", "7"}, nil, "no name"},
		{"Latin-1 name", sampleRow{1, "Gro\xdfer Berg", "", Peak, "1.11111", "2.22222", "7"}, nil, "not UTF-8"},
		{"NUL in the name", sampleRow{1, "Ca\x00irn", "", Peak, "1.11111", "2.22222", "7"}, nil, "control character"},
		{"no height", sampleRow{1, "A", "", Peak, "1.11111", "2.22222", ""}, feature("A", Peak, 1.11111, 2.22222, nan), ""},
		{"height 0 of a summit", sampleRow{1, "A", "", Volcano, "1.11111", "2.22222", "0"}, feature("A", Volcano, 1.11111, 2.22222, nan, doubts(DoubtHeightZero)), ""},
		{"height 0 of a tower", sampleRow{1, "A", "", Tower, "1.11111", "2.22222", "0"}, feature("A", Tower, 1.11111, 2.22222, 0, structure(30), doubts(DoubtStructureHeightAssumed)), ""},
		{"lighthouse", sampleRow{1, "A", "", Lighthouse, "1.11111", "2.22222", "12"}, feature("A", Lighthouse, 1.11111, 2.22222, 12, structure(20), doubts(DoubtStructureHeightAssumed)), ""},
		{"viewpoint", sampleRow{1, "A", "", Viewpoint, "1.11111", "2.22222", "12"}, feature("A", Viewpoint, 1.11111, 2.22222, 12), ""},
		{"below the sea", sampleRow{1, "A", "", Hill, "31.51234", "35.47654", "-415"}, feature("A", Hill, 31.51234, 35.47654, -415), ""},
		{"north pole", sampleRow{1, "A", "", Peak, "90", "2.22222", "7"}, feature("A", Peak, 90, 2.22222, 7), ""},
		{"south pole", sampleRow{1, "A", "", Peak, "-90", "-2.22222", "2800"}, feature("A", Peak, -90, -2.22222, 2800), ""},
		{"beyond the pole", sampleRow{1, "A", "", Peak, "90.0001", "2.22222", "7"}, nil, "latitude 90.0001 is outside -90…90"},
		{"exchanged", sampleRow{1, "A", "", Peak, "138.72778", "35.36083", "7"}, nil, "exchanged?"},
		{"180 east", sampleRow{1, "A", "", Peak, "1.11111", "180", "7"}, feature("A", Peak, 1.11111, 180, 7), ""},
		{"180 west", sampleRow{1, "A", "", Peak, "1.11111", "-180", "7"}, feature("A", Peak, 1.11111, -180, 7), ""},
		{"181 east", sampleRow{1, "A", "", Peak, "1.11111", "181", "7"}, feature("A", Peak, 1.11111, -179, 7), ""},
		{"361 east", sampleRow{1, "A", "", Peak, "1.11111", "361", "7"}, nil, "longitude 361 is outside -180…360"},
		{"181 west", sampleRow{1, "A", "", Peak, "1.11111", "-181", "7"}, nil, "longitude -181 is outside"},
		{"null island", sampleRow{1, "A", "", Peak, "0", "0.0", "7"}, nil, "both 0"},
		{"on the equator", sampleRow{1, "A", "", Peak, "0", "36.12345", "7"}, feature("A", Peak, 0, 36.12345, 7), ""},
		{"to the minute", sampleRow{1, "A", "", Peak, "17.11667", "-61.88333", "7"}, feature("A", Peak, 17.11667, -61.88333, 7, doubts(DoubtPlaceToTheMinute)), ""},
		{"to the degree", sampleRow{1, "A", "", Peak, "17", "-61", "7"}, feature("A", Peak, 17, -61, 7, doubts(DoubtPlaceRough)), ""},
		{"latitude NaN", sampleRow{1, "A", "", Peak, "NaN", "2.22222", "7"}, nil, `latitude "NaN" is not decimal degrees`},
		{"longitude empty", sampleRow{1, "A", "", Peak, "1.11111", "", "7"}, nil, `longitude "" is not decimal degrees`},
		{"longitude endless", sampleRow{1, "A", "", Peak, "1.11111", "1e999", "7"}, nil, "longitude"},
		{"degrees, minutes", sampleRow{1, "A", "", Peak, "17°7'", "2.22222", "7"}, nil, "not decimal degrees"},
		{"small number with exponent", sampleRow{1, "A", "", Peak, "-5e-05", "2.22222", "7"}, feature("A", Peak, -0.00005, 2.22222, 7), ""},
		{"height NaN", sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "NaN"}, nil, `"NaN"`},
		{"height Inf", sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "Inf"}, nil, "+Inf"},
		{"height 1e308", sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "1e308"}, nil, "1e+308 m is outside -500…9000"},
		{"height 9001", sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "9001"}, nil, "9001 m is outside"},
		{"height −11000", sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "-11000"}, nil, "-11000 m is outside"},
		{"kind not known", sampleRow{1, "A", "", "city", "1.11111", "2.22222", "7"}, nil, ""}, // passed over
	}
	same := []cmp.Option{cmpopts.EquateNaNs(), cmpopts.IgnoreFields(Feature{}, "ID", "Sources", "GroundHeightSDM", "StructureHeightSDM", "PositionSDM", "Line")}
	for _, format := range written() {
		for _, tt := range tests {
			t.Run(format.name+"/"+tt.name, func(t *testing.T) {
				features, report, err := readText(t, format.text([]sampleRow{tt.row, good}), ReadOptions{})
				if err != nil {
					t.Fatal(err)
				}
				if report.Format != format.format || report.Rows != 2 || report.Used+report.PassedOver+report.RejectedRows != 2 {
					t.Errorf("report = %+v, want %s, 2 rows, all accounted for", report, format.format)
				}
				if len(features) == 0 || features[len(features)-1].Name != good.name {
					t.Fatalf("the row after it did not come through: %+v, rejected %+v", features, report.Rejected)
				}
				switch {
				case tt.want != nil && len(features) != 2:
					t.Errorf("not used: %+v", report.Rejected)
				case tt.want != nil:
					if diff := cmp.Diff(*tt.want, features[0], same...); diff != "" {
						t.Errorf("feature (-want +got):\n%s", diff)
					}
				case tt.reason == "" && (report.PassedOver != 1 || len(report.PassedOverKinds) != 1):
					t.Errorf("report = %+v, want one row passed over", report)
				case tt.reason != "" && (len(report.Rejected) != 1 || !strings.Contains(report.Rejected[0].Reason, tt.reason)):
					t.Errorf("rejected %+v, want one with %q", report.Rejected, tt.reason)
				}
			})
		}
	}
}

// TestConformanceOfText holds every format to the ways in which the same text can be written down.
func TestConformanceOfText(t *testing.T) {
	rows := []sampleRow{{1, "First", "", Peak, "1.11111", "2.22222", "700"}, {2, "Second", "", Hill, "3.33333", "4.44444", "800"}, good}
	for _, format := range written() {
		text := format.text(rows)
		want, _, err := readText(t, text, ReadOptions{})
		if err != nil || len(want) != 3 {
			t.Fatalf("%s: %d features, %v", format.name, len(want), err)
		}
		first := strings.Index(text, "Second")
		lineStart := strings.LastIndex(text[:first], "\n") + 1
		header := strings.Count(text, "\n") - 3
		longRow := strings.Replace(format.text([]sampleRow{{3, "LONG", "", Peak, "1.11111", "2.22222", "7"}}), "LONG", strings.Repeat("x", 10<<20), 1)
		longRow = longRow[strings.LastIndex(longRow[:len(longRow)-1], "\n")+1:]
		tests := []struct {
			name, text string
			rejected   []Rejected
			used       int
		}{
			{"byte order mark", "\xef\xbb\xbf" + text, nil, 3},
			{"CRLF", strings.ReplaceAll(text, "\n", "\r\n"), nil, 3},
			{"CR", strings.ReplaceAll(text, "\n", "\r"), nil, 3},
			{"no end of the last line", strings.TrimSuffix(text, "\n"), nil, 3},
			{"empty lines", strings.ReplaceAll(text, "\n", "\n\n"), nil, 3},
			{"line of 10 MB", text[:lineStart] + longRow + text[lineStart:], []Rejected{{Line: header + 2, Reason: "line is longer than 1048576 bytes"}}, 3},
			{"last line of 10 MB", text + strings.TrimSuffix(longRow, "\n"), []Rejected{{Line: header + 4, Reason: "line is longer than 1048576 bytes"}}, 3},
			{"cut", text[:strings.Index(text, "Anchor")+3], []Rejected{{Line: header + 3}}, 2},
			{"the same id twice", text + strings.TrimPrefix(format.text(rows[:1]), format.text(nil)), []Rejected{{Line: header + 4, Reason: fmt.Sprintf("id %q was already on line %d", want[0].ID, header+1)}}, 3},
		}
		for _, tt := range tests {
			t.Run(format.name+"/"+tt.name, func(t *testing.T) {
				got, report, err := readText(t, tt.text, ReadOptions{})
				if err != nil {
					t.Fatal(err)
				}
				for i := range report.Rejected {
					if i < len(tt.rejected) && tt.rejected[i].Reason == "" {
						report.Rejected[i].Reason = ""
					}
				}
				if diff := cmp.Diff(tt.rejected, report.Rejected); diff != "" {
					t.Errorf("rejected (-want +got):\n%s", diff)
				}
				if diff := cmp.Diff(want[:tt.used], got, cmpopts.EquateNaNs(), cmpopts.IgnoreFields(Feature{}, "Line")); diff != "" {
					t.Errorf("features (-want +got):\n%s", diff)
				}
			})
		}
	}
}

// TestTabsInNames: a format that can hold a tab folds it to a space; in one that cannot, the row has a column too many.
func TestTabsInNames(t *testing.T) {
	rows := []sampleRow{{1, "Twin\tTop", "", Peak, "1.11111", "2.22222", "700"}, good}
	for _, format := range written() {
		features, report, err := readText(t, format.text(rows), ReadOptions{})
		switch {
		case err != nil:
			t.Errorf("%s: %v", format.name, err)
		case format.foldsTabs && (len(features) != 2 || features[0].Name != "Twin Top"):
			t.Errorf("%s: %+v, rejected %+v, want Twin Top", format.name, features, report.Rejected)
		case !format.foldsTabs && (len(report.Rejected) != 1 || report.Rejected[0].Reason != "20 columns instead of 19"):
			t.Errorf("%s: rejected %+v, want 20 columns", format.name, report.Rejected)
		}
	}
}

// TestWrongMagic: garbage is an error that names the file, for every format's name.
func TestWrongMagic(t *testing.T) {
	for name, content := range map[string][]byte{
		"features.txt": bytes.Repeat([]byte{0x00, 0xff, 0x1f, 0x09, 0x0a}, 5000),
		"features.zip": bytes.Repeat([]byte{0xd0, 0xcf, 0x11, 0xe0}, 5000),
	} {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, _, err := readPath(t, path, ReadOptions{}); err == nil || !strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), "it is not text") {
			t.Errorf("ReadFile(%s) = %v, want an error that names the file and says that it is not text", name, err)
		}
	}
}
