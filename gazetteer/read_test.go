package gazetteer

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

func gzipped(t testing.TB, data []byte) []byte {
	t.Helper()
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	if _, err := w.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return packed.Bytes()
}

type member struct {
	name string
	data []byte
}

func zipped(t testing.TB, members ...member) []byte {
	t.Helper()
	var packed bytes.Buffer
	archive := zip.NewWriter(&packed)
	for _, m := range members {
		w, err := archive.Create(m.name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(m.data); err != nil {
			t.Fatal(err)
		}
	}
	if err := archive.Close(); err != nil {
		t.Fatal(err)
	}
	return packed.Bytes()
}

// bzippedCSV is "name,lat,lon,kind,ele\nAnchor Hill,10.12345,20.54321,hill,321\n" packed by bzip2; the standard library does
// not write bzip2.
const bzippedCSV = "QlpoOTFBWSZTWQuVfZkAABtdgAAQQAV+ACBALm+UACAASGqfqj01DNMoNHqCgyDRoANIWcMeU9X5gl8muXCZxRqaK8M5Bmox35KKD1Ib5DQYSF/xdyRThQkAuVfZkA=="

func TestReadRealFiles(t *testing.T) {
	tests := []struct {
		path                   string
		rows, used, passedOver int
		kinds                  map[Kind]int
		passedOverMembers      []string
		bytes                  int64
		sha256                 string // from sha256sum of GNU coreutils
		listed                 int    // features with a listed height
		toTheMinute            int
	}{
		{"../testdata/dobih_slice_geonames_layout.tsv", 1492, 1492, 0, map[Kind]int{Peak: 132, Hill: 1360}, nil, 151598, "b842ac2aa41f30e90547a16a2c3aae65a0b40174e13aad59c2849ff622c70702", 1492, 0},
		{"../testdata/GeoNames_AG.zip", 549, 37, 512, map[Kind]int{Peak: 8, Hill: 28, Tower: 1}, []string{"readme.txt"}, 15943, "36b025521a0f7630fa21d30a8340c41aa35d2037e0f8ba61015f0a88c2d01226", 1, 34},
	}
	for _, tt := range tests {
		features, report, err := readPath(t, tt.path, ReadOptions{})
		if err != nil {
			t.Fatal(err)
		}
		kinds, listed, toTheMinute := map[Kind]int{}, 0, 0
		for _, f := range features {
			kinds[f.Kind]++
			if !math.IsNaN(f.ListedHeightM) {
				listed++
			}
			for _, code := range f.Doubts {
				if code == DoubtPlaceToTheMinute {
					toTheMinute++
				}
			}
		}
		want := Report{Format: "geonames", Licence: "CC BY 4.0", Attribution: "GeoNames, geonames.org", Rows: tt.rows, Used: tt.used, PassedOver: tt.passedOver,
			MembersPassedOver: tt.passedOverMembers, Bytes: tt.bytes, SHA256: tt.sha256}
		if diff := cmp.Diff(want, report, cmpopts.IgnoreFields(Report{}, "PassedOverKinds")); diff != "" {
			t.Errorf("%s: report (-want +got):\n%s", tt.path, diff)
		}
		if diff := cmp.Diff(tt.kinds, kinds); diff != "" {
			t.Errorf("%s: kinds (-want +got):\n%s", tt.path, diff)
		}
		if listed != tt.listed || toTheMinute != tt.toTheMinute {
			t.Errorf("%s: %d listed heights, %d to the minute, want %d and %d", tt.path, listed, toTheMinute, tt.listed, tt.toTheMinute)
		}
	}
}

// TestReadPacked: however packed and whatever the file is called, the features are the same.
func TestReadPacked(t *testing.T) {
	plain := []byte("name,lat,lon,kind,ele\nAnchor Hill,10.12345,20.54321,hill,321\n")
	want, _, err := readText(t, string(plain), ReadOptions{})
	if err != nil || len(want) != 1 {
		t.Fatalf("%+v, %v", want, err)
	}
	bzipped, err := base64.StdEncoding.DecodeString(bzippedCSV)
	if err != nil {
		t.Fatal(err)
	}
	readme := member{"readme.txt", []byte("Latitude and longitude are in degrees.\n")}
	tests := []struct {
		name string
		data []byte
		over []string
	}{
		{"gzip", gzipped(t, plain), nil},
		{"gzip twice", gzipped(t, gzipped(t, plain)), nil},
		{"gzip, two streams", append(gzipped(t, plain[:30]), gzipped(t, plain[30:])...), nil},
		{"bzip2", bzipped, nil},
		{"zip", zipped(t, member{"a.csv", plain}), nil},
		{"zip with a readme and hidden files", zipped(t, readme, member{"__MACOSX/a.csv", plain}, member{".a", plain}, member{"folder/", nil}, member{"folder/a.csv", plain}), []string{"readme.txt"}},
		{"gzip in a zip", zipped(t, member{"a.csv.gz", gzipped(t, plain)}), nil},
		{"bzip2 in a gzip", gzipped(t, bzipped), nil},
	}
	for _, tt := range tests {
		path := filepath.Join(t.TempDir(), "features.doc")
		if err := os.WriteFile(path, tt.data, 0o600); err != nil {
			t.Fatal(err)
		}
		got, report, err := readPath(t, path, ReadOptions{})
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
			t.Errorf("%s: (-want +got):\n%s", tt.name, diff)
		}
		if diff := cmp.Diff(tt.over, report.MembersPassedOver); diff != "" {
			t.Errorf("%s: members passed over (-want +got):\n%s", tt.name, diff)
		}
	}
}

func TestReadSeveralMembers(t *testing.T) {
	one := geoNamesText([]sampleRow{{1, "One", "", Peak, "1.11111", "2.22222", "7"}})
	two := geoNamesText([]sampleRow{{2, "Two", "", Peak, "1.11111", "2.22222", "7"}, {1, "One again", "", Peak, "1.11111", "2.22222", "7"}})
	features, report, err := readText(t, string(zipped(t, member{"AA.txt", []byte(one)}, member{"BB.txt", []byte(two)})), ReadOptions{})
	if err != nil || len(features) != 2 || report.Rows != 3 {
		t.Fatalf("%d features, %+v, %v, want 2 of 3 rows", len(features), report, err)
	}
	if want := (Rejected{2, `BB.txt: id "geonames:1" was already on line 1`}); len(report.Rejected) != 1 || report.Rejected[0] != want {
		t.Errorf("rejected %+v, want %+v", report.Rejected, want)
	}
	mixed := zipped(t, member{"AA.txt", []byte(one)}, member{"b.csv", []byte("name,lat,lon\nB,1.1,2.2\n")})
	if _, _, err := readText(t, string(mixed), ReadOptions{}); err == nil || !strings.Contains(err.Error(), "holds both geonames and csv") {
		t.Errorf("two formats in one archive: %v", err)
	}
}

// TestReadBadFiles: a file that cannot be used is an error that names it and says what to do.
func TestReadBadFiles(t *testing.T) {
	row := geoNamesText([]sampleRow{good})
	eighteen := strings.Repeat(strings.Replace(row, "\t\t\t\t\t\t0", "\t\t\t\t\t0", 1), 30)
	archive := zipped(t, member{"AA.txt", []byte(strings.Repeat(row, 500))})
	packed := gzipped(t, []byte(strings.Repeat(row, 500)))
	damaged := bytes.Clone(archive)
	damaged[len(damaged)/4] ^= 0xff
	bomb := gzipped(t, append([]byte("name,lat,lon\nA,1.11111,2.22222\n"), bytes.Repeat([]byte{'x'}, 80<<20)...))
	tests := []struct {
		name, text, want string
	}{
		{"empty", "", "is empty: download or export it again"},
		{"blank", " \n\n", "holds no text"},
		{"empty inside", string(gzipped(t, nil)), "holds no text"},
		{"prose", "Once upon a time\nthere was a hill.\n", "names no latitude and longitude"},
		{"18 columns throughout", eighteen, "tab-separated with 18 columns, where a GeoNames dump has 19"},
		{"CSV without a header", "Anchor Hill,10.1,20.5,321\nOther,10.2,20.6,322\n", "names no latitude and longitude"},
		{"CSV without a latitude", "name,lon,ele\nA,1,2\n", "names only one of latitude and longitude"},
		{"CSV without names", "lat,lon,ele\n1,2,3\n", "no column name"},
		{"CSV with two heights", "name,lat,lon,ele,Height\nA,1,2,3,4\n", `two columns for one thing, "ele" and "Height": rename one`},
		{"header without end", "name,lat,lon," + strings.Repeat("x", 100_000), "no end of its first line"},
		{"UTF-16", "\xff\xfen\x00a\x00m\x00e\x00", "is UTF-16: save it as UTF-8"},
		{"cut zip", string(archive[:len(archive)/2]), "is cut short or damaged: download it again"},
		{"damaged zip", string(damaged), "damaged: download it again"},
		{"zip without members", string(zipped(t)), "without members"},
		{"zip of a readme", string(zipped(t, member{"readme.txt", []byte("hello\n")})), "member readme.txt: not a format that farstation reads"},
		{"zip in a zip", string(zipped(t, member{"a.zip", archive})), "unpack the outer one first"},
		{"gzip thrice", string(gzipped(t, gzipped(t, packed))), "packed more than 2 times over"},
		{"cut gzip", string(packed[:len(packed)-20]), "is cut short: download it again"},
		{"gzip header alone", string(packed[:5]), "is cut short: download it again"},
		{"one line without end", string(bomb), "unpacks to more than 200 times its size"},
		{"every row bad", "name,lat,lon\nA,91.5,2\nB,x,2\n", "none of its 2 rows can be used; line 2: latitude 91.5 is outside"},
	}
	for _, tt := range tests {
		path := filepath.Join(t.TempDir(), "extract.txt")
		if err := os.WriteFile(path, []byte(tt.text), 0o600); err != nil {
			t.Fatal(err)
		}
		_, _, err := readPath(t, path, ReadOptions{})
		if err == nil || !strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want one that names the file and says %q", tt.name, err, tt.want)
		}
	}
	folder := t.TempDir()
	if _, _, err := readPath(t, folder, ReadOptions{}); err == nil || !strings.Contains(err.Error(), "is a folder") {
		t.Errorf("a folder: %v", err)
	}
	missing := filepath.Join(folder, "none.csv")
	if _, _, err := readPath(t, missing, ReadOptions{}); !errors.Is(err, os.ErrNotExist) || strings.Count(err.Error(), missing) != 1 {
		t.Errorf("no such file: %v, want os.ErrNotExist and the path once", err)
	}
}

// TestReadStops: emit's error and the context's end the reading.
func TestReadStops(t *testing.T) {
	path := "../testdata/dobih_slice_geonames_layout.tsv"
	stop, emitted := errors.New("stop"), 0
	_, err := ReadFile(t.Context(), path, ReadOptions{}, func(Feature) error { emitted++; return stop })
	if !errors.Is(err, stop) || emitted != 1 {
		t.Errorf("emit that fails: %v after %d features, want its error after 1", err, emitted)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := ReadFile(ctx, path, ReadOptions{}, func(Feature) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// TestReportIsBounded: a file of nothing but surprises does not fill the memory.
func TestReportIsBounded(t *testing.T) {
	var text strings.Builder
	text.WriteString("name,lat,lon,kind\n")
	for i := range 5000 {
		fmt.Fprintf(&text, "A,1.11111,2.22222,kind%d\nA,200,2.2,hill\n", i)
	}
	_, report, err := readText(t, text.String(), ReadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if report.PassedOver != 5000 || report.RejectedRows != 5000 || len(report.Rejected) != 20 || len(report.PassedOverKinds) > 1001 {
		t.Errorf("%d passed over, %d kinds, %d rejected, %d listed", report.PassedOver, len(report.PassedOverKinds), report.RejectedRows, len(report.Rejected))
	}
	if report.Rejected[0].Line != 3 || report.Rejected[19].Line != 41 {
		t.Errorf("rejected lines %d…%d, want 3…41", report.Rejected[0].Line, report.Rejected[19].Line)
	}
}
