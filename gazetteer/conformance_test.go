package gazetteer

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"farstation/geodesy"
)

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

// readPacked reads text plain and in every packing; all must tell the same.
func readPacked(t *testing.T, text string) ([]Feature, Report, error) {
	t.Helper()
	features, report, err := readText(t, text, ReadOptions{})
	packings := map[string][]byte{"gzip": gzipped(t, []byte(text)), "zip": zipped(t, member{"extract.txt", []byte(text)})}
	if bzip2, lookErr := exec.LookPath("bzip2"); lookErr == nil {
		command := exec.CommandContext(t.Context(), bzip2)
		command.Stdin = strings.NewReader(text)
		if packings["bzip2"], lookErr = command.Output(); lookErr != nil {
			t.Fatal(lookErr)
		}
	} else if os.Getenv("CI") == "true" {
		t.Fatalf("bzip2 is wanted under CI: %v", lookErr)
	} else {
		t.Log("the program bzip2 is not installed: not read in that packing")
	}
	for packing, data := range packings {
		got, packed, packedErr := readText(t, string(data), ReadOptions{})
		if diff := cmp.Diff(features, got, cmpopts.EquateNaNs()); diff != "" || (err == nil) != (packedErr == nil) || packed.Rows != report.Rows || packed.RejectedRows != report.RejectedRows {
			t.Errorf("packed by %s: %v, %+v, features (-plain +packed):\n%s", packing, packedErr, packed, diff)
		}
	}
	return features, report, err
}

// good is a row that must come through whatever stands beside it.
var good = sampleRow{900, "Anchor Hill", "", Hill, "10.12345", "20.54321", "321"}

// conformanceTable collects what the suite found: cases by formats.
type conformanceTable struct {
	cases []string
	cells map[string][]string
	notes []string
}

func (c *conformanceTable) add(name, cell string) {
	if _, known := c.cells[name]; !known {
		c.cases = append(c.cases, name)
	}
	c.cells[name] = append(c.cells[name], cell)
}

// note returns the mark of a footnote.
func (c *conformanceTable) note(text string) string {
	for i, note := range c.notes {
		if note == text {
			return fmt.Sprintf("(%d)", i+1)
		}
	}
	c.notes = append(c.notes, text)
	return fmt.Sprintf("(%d)", len(c.notes))
}

func (c *conformanceTable) String() string {
	var text strings.Builder
	text.WriteString("\nEvery cell read plain, gzip, bzip2 (where that program is) and zip.\n")
	for i, f := range written() {
		fmt.Fprintf(&text, "%c = %s\n", 'A'+i, f.name)
	}
	fmt.Fprintf(&text, "%-32s", "")
	for i := range written() {
		fmt.Fprintf(&text, " %-5c", 'A'+i)
	}
	for _, name := range c.cases {
		fmt.Fprintf(&text, "\n%-32s", name)
		for _, cell := range c.cells[name] {
			fmt.Fprintf(&text, " %-5s", cell)
		}
	}
	text.WriteString("\n")
	for i, note := range c.notes {
		fmt.Fprintf(&text, "(%d) %s\n", i+1, note)
	}
	return text.String()
}

// TestConformance holds every format to the same rows, which must give the same features or the same rejections, and to the ways
// in which the same text can be written down. It ends with a table of cases by formats; a number is why a format has no room for a case.
func TestConformance(t *testing.T) {
	table := &conformanceTable{cells: map[string][]string{}}
	for _, format := range written() {
		conformRows(t, format, table)
		conformText(t, format, table)
	}
	t.Log(table)
}

// run runs a case, unless the format lacks what it is about, and enters it in the table.
func (c *conformanceTable) run(t *testing.T, format writtenFormat, name string, what about, test func(t *testing.T)) {
	if why := format.lacks[what]; why != "" {
		c.add(name, c.note(why))
		return
	}
	if t.Run(format.name+"/"+name, test) {
		c.add(name, "same")
	} else {
		c.add(name, "FAIL")
	}
}

func conformRows(t *testing.T, format writtenFormat, table *conformanceTable) {
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
		name  string
		about about
		row   sampleRow
		want  *Feature // nil: the row is rejected
		// reason is what the rejection must say.
		reason string
	}{
		{"plain", "", sampleRow{1, "Tall Cairn", "", Peak, "55.591692", "-3.662551", "712"}, feature("Tall Cairn", Peak, 55.591692, -3.662551, 712), ""},
		{"other names", aboutOthers, sampleRow{1, "Tall Cairn", "Old Cairn|Tall Cairn|Càrn Àrd", Peak, "1.11111", "2.22222", "7"}, feature("Tall Cairn", Peak, 1.11111, 2.22222, 7, others("Old Cairn", "Càrn Àrd")), ""},
		{"right-to-left script", aboutNames, sampleRow{1, "جبل النور", "", Peak, "1.11111", "2.22222", "7"}, feature("جبل النور", Peak, 1.11111, 2.22222, 7), ""},
		{"right-to-left other name", aboutOthers, sampleRow{1, "جبل النور", "הר גבוה", Peak, "1.11111", "2.22222", "7"}, feature("جبل النور", Peak, 1.11111, 2.22222, 7, others("הר גבוה")), ""},
		{"combining marks", aboutNames, sampleRow{1, "Phu\u0304 Kha\u030c\u0323o", "", Peak, "1.11111", "2.22222", "7"}, feature("Phu\u0304 Kha\u030c\u0323o", Peak, 1.11111, 2.22222, 7), ""},
		{"quotes in the name", aboutNames, sampleRow{1, `The "Old" Man`, "", Peak, "1.11111", "2.22222", "7"}, feature(`The "Old" Man`, Peak, 1.11111, 2.22222, 7), ""},
		{"formula and markup are names", aboutNames, sampleRow{1, "=cmd() <b>", "", Peak, "1.11111", "2.22222", "7"}, feature("=cmd() <b>", Peak, 1.11111, 2.22222, 7), ""},
		{"spaces around the name", aboutNames, sampleRow{1, "  Cairn ", "", Peak, "1.11111", "2.22222", "7"}, feature("Cairn", Peak, 1.11111, 2.22222, 7), ""},
		{"200 characters", aboutNames, sampleRow{1, strings.Repeat("é", 200), "", Peak, "1.11111", "2.22222", "7"}, feature(strings.Repeat("é", 200), Peak, 1.11111, 2.22222, 7), ""},
		{"no name, another given", aboutOthers, sampleRow{1, "", "Cairn|Carn", Peak, "1.11111", "2.22222", "7"}, feature("Cairn", Peak, 1.11111, 2.22222, 7, others("Carn")), ""},
		{"no name", aboutNameless, sampleRow{1, "", "", Peak, "1.11111", "2.22222", "7"}, nil, "no name"},
		{"Latin-1 name", aboutNames, sampleRow{1, "Gro\xdfer Berg", "", Peak, "1.11111", "2.22222", "7"}, nil, "not UTF-8"},
		{"NUL in the name", aboutNames, sampleRow{1, "Ca\x00irn", "", Peak, "1.11111", "2.22222", "7"}, nil, "control character"},
		{"no height", aboutHeight, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", ""}, feature("A", Peak, 1.11111, 2.22222, nan), ""},
		{"height 0 of a summit", aboutSummits, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "0"}, feature("A", Peak, 1.11111, 2.22222, nan, doubts(DoubtHeightZero)), ""},
		{"height 0 of a tower", aboutHeight, sampleRow{1, "A", "", Tower, "1.11111", "2.22222", "0"}, feature("A", Tower, 1.11111, 2.22222, 0, structure(30), doubts(DoubtStructureHeightAssumed)), ""},
		{"volcano", aboutKinds, sampleRow{1, "A", "", Volcano, "1.11111", "2.22222", "12"}, feature("A", Volcano, 1.11111, 2.22222, 12), ""},
		{"lighthouse", aboutKinds, sampleRow{1, "A", "", Lighthouse, "1.11111", "2.22222", "12"}, feature("A", Lighthouse, 1.11111, 2.22222, 12, structure(20), doubts(DoubtStructureHeightAssumed)), ""},
		{"viewpoint", aboutKinds, sampleRow{1, "A", "", Viewpoint, "1.11111", "2.22222", "12"}, feature("A", Viewpoint, 1.11111, 2.22222, 12), ""},
		{"below the sea", aboutHeight, sampleRow{1, "A", "", Peak, "31.51234", "35.47654", "-415"}, feature("A", Peak, 31.51234, 35.47654, -415), ""},
		{"north pole", aboutPlace, sampleRow{1, "A", "", Peak, "90", "2.22222", "7"}, feature("A", Peak, 90, 2.22222, 7), ""},
		{"south pole", aboutPlace, sampleRow{1, "A", "", Peak, "-90", "-2.22222", "2800"}, feature("A", Peak, -90, -2.22222, 2800), ""},
		{"beyond the pole", aboutPlace, sampleRow{1, "A", "", Peak, "90.0001", "2.22222", "7"}, nil, "latitude 90.0001 is outside -90…90"},
		{"exchanged", aboutPlaceText, sampleRow{1, "A", "", Peak, "138.72778", "35.36083", "7"}, nil, "exchanged?"},
		{"180 east", aboutPlace, sampleRow{1, "A", "", Peak, "1.11111", "180", "7"}, feature("A", Peak, 1.11111, 180, 7), ""},
		{"180 west", aboutPlace, sampleRow{1, "A", "", Peak, "1.11111", "-180", "7"}, feature("A", Peak, 1.11111, -180, 7), ""},
		{"181 east", aboutPlace, sampleRow{1, "A", "", Peak, "1.11111", "181", "7"}, feature("A", Peak, 1.11111, -179, 7), ""},
		{"361 east", aboutPlace, sampleRow{1, "A", "", Peak, "1.11111", "361", "7"}, nil, "longitude 361 is outside -180…360"},
		{"181 west", aboutPlace, sampleRow{1, "A", "", Peak, "1.11111", "-181", "7"}, nil, "longitude -181 is outside"},
		{"null island", aboutPlace, sampleRow{1, "A", "", Peak, "0", "0.0", "7"}, nil, "both 0"},
		{"on the equator", aboutPlace, sampleRow{1, "A", "", Peak, "0", "36.12345", "7"}, feature("A", Peak, 0, 36.12345, 7), ""},
		{"to the minute", aboutDecimals, sampleRow{1, "A", "", Peak, "17.11667", "-61.88333", "7"}, feature("A", Peak, 17.11667, -61.88333, 7, doubts(DoubtPlaceToTheMinute)), ""},
		{"to the degree", aboutDecimals, sampleRow{1, "A", "", Peak, "17", "-61", "7"}, feature("A", Peak, 17, -61, 7, doubts(DoubtPlaceRough)), ""},
		{"latitude NaN", aboutPlaceText, sampleRow{1, "A", "", Peak, "NaN", "2.22222", "7"}, nil, `latitude "NaN" is not decimal degrees`},
		{"longitude empty", aboutPlaceText, sampleRow{1, "A", "", Peak, "1.11111", "", "7"}, nil, `longitude "" is not decimal degrees`},
		{"longitude endless", aboutPlaceText, sampleRow{1, "A", "", Peak, "1.11111", "1e999", "7"}, nil, "longitude"},
		{"degrees, minutes", aboutPlaceText, sampleRow{1, "A", "", Peak, "17°7'", "2.22222", "7"}, nil, "not decimal degrees"},
		{"small number with exponent", aboutPlaceText, sampleRow{1, "A", "", Peak, "-5e-05", "2.22222", "7"}, feature("A", Peak, -0.00005, 2.22222, 7), ""},
		{"height NaN", aboutHeightText, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "NaN"}, nil, `"NaN"`},
		{"height Inf", aboutHeightText, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "Inf"}, nil, "+Inf"},
		{"height 1e308", aboutHeightText, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "1e308"}, nil, "1e+308 m is outside -500…9000"},
		{"height 9001", aboutHeight, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "9001"}, nil, "m is outside"},
		{"height −11000", aboutHeightText, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "-11000"}, nil, "-11000 m is outside"},
		{"tab in the name", aboutTabs, sampleRow{1, "Twin\tTop", "", Peak, "1.11111", "2.22222", "7"}, feature("Twin Top", Peak, 1.11111, 2.22222, 7), ""},
		{"decimal comma", aboutPlaceText, sampleRow{1, "A", "", Peak, "1,11111", "2,22222", "7"}, feature("A", Peak, 1.11111, 2.22222, 7), ""},
		{"height 700,5", aboutHeightText, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "700,5"}, feature("A", Peak, 1.11111, 2.22222, 700.5), ""},
		{"height 1,234 ft", aboutHeightText, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "1,234 ft"}, feature("A", Peak, 1.11111, 2.22222, 1234*0.3048), ""},
		{"height 7'4\"", aboutHeightText, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "7'4\""}, feature("A", Peak, 1.11111, 2.22222, (7+4.0/12)*0.3048), ""},
		{"height about 600 m", aboutHeightText, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "about 600 m"}, feature("A", Peak, 1.11111, 2.22222, nan, doubts(DoubtHeightUnreadable)), ""},
		{"height 600;610", aboutHeightText, sampleRow{1, "A", "", Peak, "1.11111", "2.22222", "600;610"}, feature("A", Peak, 1.11111, 2.22222, nan, doubts(DoubtHeightUnreadable)), ""},
		{"kind not known", "", sampleRow{1, "A", "", "city", "1.11111", "2.22222", "7"}, nil, ""}, // passed over
	}
	same := format.same
	if same == nil {
		same = sameFeature()
	}
	for _, tt := range tests {
		table.run(t, format, tt.name, tt.about, func(t *testing.T) {
			features, report, err := readPacked(t, format.text([]sampleRow{tt.row, good}))
			if err != nil {
				t.Fatal(err)
			}
			if report.Format != format.format || report.Rows != 2 || report.Used+report.PassedOver+report.RejectedRows != 2 {
				t.Errorf("report = %+v, want %s, 2 rows, all accounted for", report, format.format)
			}
			if len(features) == 0 || !strings.Contains(features[len(features)-1].Name, format.mark(good)) {
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

func conformText(t *testing.T, format writtenFormat, table *conformanceTable) {
	rows := []sampleRow{{1, "First", "", Peak, "1.11111", "2.22222", "700"}, {2, "Second", "", Hill, "3.33333", "4.44444", "800"}, good}
	text := format.text(rows)
	want, _, err := readText(t, text, ReadOptions{})
	if err != nil || len(want) != 3 {
		t.Fatalf("%s: %d features, %v", format.name, len(want), err)
	}
	long := sampleRow{3, strings.Repeat("x", 10<<20), "", Peak, "1.11111", "2.22222", "7"}
	longReason := "is longer than 1048576 bytes"
	firstLine := 1 + strings.Count(text[:strings.Index(text, format.mark(rows[0]))], "\n")
	cut := text[:strings.Index(text, format.mark(good))+3]
	if format.binary {
		firstLine = 1
	}
	tests := []struct {
		about      about
		name, text string
		rejected   []Rejected // its reasons need only contain these
		used       int
		refused    string // the error of the whole file
	}{
		{aboutText, "byte order mark", "\xef\xbb\xbf" + text, nil, 3, ""},
		{aboutText, "CRLF", strings.ReplaceAll(text, "\n", "\r\n"), nil, 3, ""},
		{aboutText, "CR", strings.ReplaceAll(text, "\n", "\r"), nil, 3, ""},
		{aboutText, "no end of the last line", strings.TrimSuffix(text, "\n"), nil, 3, ""},
		{aboutText, "empty lines", strings.ReplaceAll(text, "\n", "\n\n"), nil, 3, ""},
		{"", "line of 10 MB", format.text([]sampleRow{rows[0], long, rows[1], rows[2]}), []Rejected{{firstLine + 1, longReason}}, 3, ""},
		{"", "last line of 10 MB", strings.TrimSuffix(format.text(append(rows[:3:3], long)), "\n"), []Rejected{{firstLine + 3, longReason}}, 3, ""},
		{"", "the same id twice", format.text(append(rows[:3:3], rows[0])), []Rejected{{firstLine + 3, fmt.Sprintf("id %q was already on line %d", want[0].ID, firstLine)}}, 3, ""},
		{"", "cut", cut, []Rejected{{firstLine + 2, ""}}, 2, ""},
		{"", "wrong magic", noText(text), nil, 0, "it is not text"},
	}
	for _, tt := range tests {
		if tt.name == "cut" && format.document {
			tt.refused, tt.rejected = "is cut short: download it again", nil
		}
		table.run(t, format, tt.name, tt.about, func(t *testing.T) {
			got, report, err := readPacked(t, tt.text)
			if tt.refused != "" {
				if err == nil || !strings.Contains(err.Error(), tt.refused) {
					t.Errorf("error %v, want %q", err, tt.refused)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if len(report.Rejected) != len(tt.rejected) || report.Rows != report.Used+report.RejectedRows {
				t.Fatalf("rejected %+v of %d rows, want %+v and the others used", report.Rejected, report.Rows, tt.rejected)
			}
			for i, want := range tt.rejected {
				if got := report.Rejected[i]; got.Line != want.Line || !strings.Contains(got.Reason, want.Reason) {
					t.Errorf("rejected %+v, want %+v", got, want)
				}
			}
			if diff := cmp.Diff(want[:tt.used], got, cmpopts.EquateNaNs(), cmpopts.IgnoreFields(Feature{}, "Line")); diff != "" {
				t.Errorf("features (-want +got):\n%s", diff)
			}
		})
	}
	table.run(t, format, "unknown columns", aboutUnknown, func(t *testing.T) {
		got, _, err := readPacked(t, format.unknown(rows))
		if diff := cmp.Diff(want, got, cmpopts.EquateNaNs(), cmpopts.IgnoreFields(Feature{}, "Line")); err != nil || diff != "" {
			t.Errorf("%v, features (-want +got):\n%s", err, diff)
		}
	})
}

// noText turns every byte of ASCII into one that no UTF-8 has by itself.
func noText(text string) string {
	garbled := []byte(text)
	for i := range garbled {
		garbled[i] ^= 0x80
	}
	return string(garbled)
}

// TestTabInGeoNames: where a tab ends the column, a name with one gives the row a column too many.
func TestTabInGeoNames(t *testing.T) {
	_, report, err := readText(t, geoNamesText([]sampleRow{{1, "Twin\tTop", "", Peak, "1.11111", "2.22222", "700"}, good}), ReadOptions{})
	if err != nil || len(report.Rejected) != 1 || report.Rejected[0].Reason != "20 columns instead of 19" {
		t.Errorf("rejected %+v, %v, want 20 columns", report.Rejected, err)
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
