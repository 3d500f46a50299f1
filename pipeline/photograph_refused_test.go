package pipeline

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestReadCaseLinks: what is no file of its own in the folder of a case is refused before it is read, for a device has no end.
func TestReadCaseLinks(t *testing.T) {
	text, err := json.Marshal(CaseRecord{Form: CaseForm, Photos: []CaseInput{{File: "a.png"}}, Points: []CaseInput{{File: "a.csv"}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"a.png", CaseFile} {
		dir := t.TempDir()
		if name != CaseFile {
			if err := os.WriteFile(filepath.Join(dir, CaseFile), text, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if err := os.Symlink(os.DevNull, filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadCase(dir); err == nil || !strings.Contains(err.Error(), name+" is no regular file") {
			t.Errorf("%s is a device: error %v", name, err)
		}
	}
}

// TestWeighRefused: what cannot be weighed is refused, with what to do.
func TestWeighRefused(t *testing.T) {
	for _, test := range []struct {
		name    string
		edit    func(rows []string) []string
		options func(*PhotographOptions)
		want    string
	}{
		{"the base of a hill", func(rows []string) []string { return append(rows, "Braven,base,5362,760,0.5") }, nil, "line 10: Braven has no structure whose base could be measured"},
		{"one photograph twice", nil, func(o *PhotographOptions) {
			o.Photos, o.PointFiles = append(o.Photos, o.Photos[0]), append(o.PointFiles, o.PointFiles[0])
		}, "are one picture with the same points: give it once"},
		{"a latitude that is none", nil, func(o *PhotographOptions) { o.Cameras[0].At.LatDeg = 1e300 }, "camera 1 at 1e+300,"},
		{"an eye out of this world", nil, func(o *PhotographOptions) { o.Cameras[0].EyeHeightM = 1e300 }, "want degrees of latitude and longitude, and an eye within"},
	} {
		m := newMadePhotograph(7, 0.857)
		m.edit = test.edit
		o := m.write(t)
		if test.options != nil {
			test.options(&o)
		}
		if _, err := Weigh(t.Context(), o); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: error %v, want %q", test.name, err, test.want)
		}
	}
}
