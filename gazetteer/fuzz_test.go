package gazetteer

import (
	"bytes"
	"io"
	"math"
	"strings"
	"testing"
	"unicode/utf8"
)

// fuzzFormat feeds a format any bytes: it must account for every row, and what it lets through must be sound.
func fuzzFormat(f *testing.F, format format) {
	for _, w := range written() {
		odd := sampleRow{1, `The "Old", Man`, "Carn|جبل", Peak, "17.11667", "-61.88333", "1234"}
		text := w.text([]sampleRow{good, odd, {1, "A", "", "city", "0", "0", "NaN"}})
		f.Add([]byte(text))
		f.Add([]byte(text[:len(text)/2]))
	}
	f.Add([]byte("\xef\xbb\xbfname;lat;lon;ele\r\n\"A\r\nB\";1,5;2,5;\"7'4\"\"\"\r\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if format.name != "geonames" {
			if ok, _ := format.fits(data, false); !ok {
				return
			}
		}
		report := Report{PassedOverKinds: map[string]int{}}
		ids := map[string]bool{}
		out := &sink{report: &report, options: ReadOptions{MaxLineBytes: 4096}, ids: map[string]int{}, emit: func(feature Feature) error {
			if feature.Name == "" || !utf8.ValidString(feature.Name) || strings.ContainsAny(feature.Name, "\n\r\t\x00") || ids[feature.ID] || strings.Contains(feature.ID, ",") {
				t.Errorf("id %q name %q", feature.ID, feature.Name)
			}
			ids[feature.ID] = true
			if !(math.Abs(feature.At.LatDeg) <= 90 && math.Abs(feature.At.LonDeg) <= 180) || feature.ListedHeightM < lowestM || feature.ListedHeightM > highestM ||
				!(feature.StructureHeightM >= 0 && feature.StructureHeightM <= tallestM) || !(feature.PositionSDM >= 0 && feature.GroundHeightSDM >= 0 && feature.StructureHeightSDM >= 0) {
				t.Errorf("%+v", feature)
			}
			return nil
		}}
		if format.readAgain != nil { // its files may be wrong as a whole
			if err := format.readAgain(func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(data)), nil }, out); err != nil {
				return // before ways and relations have found their places
			}
		} else if err := format.read(bytes.NewReader(data), out); err != nil && format.name != "geojson" && !strings.Contains(err.Error(), "before the header, is longer than 4096 bytes") {
			t.Errorf("reading from memory fails: %v", err)
		}
		if report.Used+report.PassedOver+report.RejectedRows != report.Rows || len(ids) != report.Used {
			t.Errorf("rows do not add up: %+v, %d ids", report, len(ids))
		}
	})
}

func FuzzGeoNames(f *testing.F) { fuzzFormat(f, geoNames()) }

func FuzzCSV(f *testing.F) { fuzzFormat(f, commaSeparated()) }

func FuzzGNIS(f *testing.F) { fuzzFormat(f, gnis()) }

func FuzzDOF(f *testing.F) { fuzzFormat(f, dof()) }

// FuzzGeoJSON: JSON may break off or be wrong as a whole, which is an error; its features must be sound all the same.
func FuzzGeoJSON(f *testing.F) { fuzzFormat(f, geoJSON()) }
