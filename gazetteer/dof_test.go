package gazetteer

import (
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestDOFSample reads records of the Digital Obstacle File of 21 December 2025 and holds them to their own columns.
func TestDOFSample(t *testing.T) {
	features, report, err := readPath(t, "../testdata/dof_sample_AL.dat", ReadOptions{})
	if err != nil || report.Format != "dof" || report.Rows != 6 || report.Used != 4 || report.RejectedRows != 0 {
		t.Fatalf("%+v, %v, want 4 of 6 rows", report, err)
	}
	if diff := cmp.Diff(map[string]int{"RIG": 2}, report.PassedOverKinds); diff != "" {
		t.Errorf("passed over (-want +got):\n%s", diff)
	}
	tests := []struct {
		id, name               string
		kind                   Kind
		latDeg, lonDeg         float64
		overGroundFt, groundFt float64
		horizontalFt, plusFt   float64 // tolerances of the accuracy codes
		doubts                 []string
	}{
		{"dof:01-001472", "STACK 01-001472 (FORT MORGAN, AL)", Chimney, 30 + 11./60 + 20./3600, -(87 + 57./60 + 10./3600), 193, 0, 500, 50, nil},
		{"dof:01-001173", "TOWER 01-001173 (DAUPHIN ISLAND, AL)", Tower, 30 + 15./60 + 1./3600, -(88 + 4./60 + 45./3600), 201, 4, 500, 50, nil},
		{"dof:01-002558", "BLDG 01-002558 (GULF SHORES, AL)", Building, 30 + 13./60 + 49./3600, -(87 + 52./60 + 30./3600), 223, 19, 500, 50, nil},
		{"dof:01-061332", "BLDG 01-061332 (GULF SHORES, AL)", Building, 30 + 14./60 + 43.32/3600, -(87 + 42./60 + 12.2/3600), 59, 8, 250, 50, []string{DoubtUnverified}},
	}
	for i, tt := range tests {
		f := features[i]
		if f.ID != tt.id || f.Name != tt.name || f.Kind != tt.kind || !slices.Equal(f.Doubts, tt.doubts) {
			t.Errorf("%+v, want %+v", f, tt)
		}
		for _, check := range []struct {
			what            string
			got, want, near float64
		}{
			{"latitude", f.At.LatDeg, tt.latDeg, 1e-7}, {"longitude", f.At.LonDeg, tt.lonDeg, 1e-7},
			{"structure height", f.StructureHeightM, tt.overGroundFt * 0.3048, 1e-9}, {"ground height", f.ListedHeightM, tt.groundFt * 0.3048, 1e-9},
			{"spread of the place", f.PositionSDM, math.Hypot(tt.horizontalFt*0.3048/1.645, 8.91), 0.01},
			{"spread of the ground", f.GroundHeightSDM, math.Hypot(tt.plusFt*0.3048/1.645, 0.5), 0.01},
		} {
			if math.Abs(check.got-check.want) > check.near {
				t.Errorf("%s: %s = %v, want %v", tt.id, check.what, check.got, check.want)
			}
		}
	}
}

func TestDOFRecords(t *testing.T) {
	sample, err := os.ReadFile("../testdata/dof_sample_AL.dat")
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(sample), "\n")
	tower := lines[7]
	tests := []struct {
		name, line           string
		used, over, rejected int
		want                 string // in the name or the reason
	}{
		{"dismantled", strings.Replace(tower, " C 2014138", " D 2014138", 1), 0, 1, 0, "dismantled"},
		{"three of them", strings.Replace(tower, " 1 00201", " 3 00201", 1), 1, 0, 0, "TOWER ×3 01-001173"},
		{"the older, narrower layout", strings.Replace(tower, "TOWER       ", "TOWER ", 1), 1, 0, 0, "TOWER 01-001173"},
		{"no heights", strings.Replace(tower, "00201 00205", "00000 00000", 1), 1, 0, 0, "TOWER 01-001173"},
		{"70 minutes", strings.Replace(tower, "30 15 01.00N", "30 70 01.00N", 1), 0, 0, 1, "not degrees, minutes, seconds"},
		{"no hemisphere", strings.Replace(tower, "088 04 45.00W", "088 04 45.00 ", 1), 0, 0, 1, "E or W"},
		{"heights in words", strings.Replace(tower, "00201 00205", "00-01 00205", 1), 0, 0, 1, "not whole feet"},
		{"a line of something else", "hello\n", 0, 0, 1, "no obstacle in the columns"},
		{"cut line", tower[:70] + "\n", 0, 0, 1, "no obstacle in the columns"},
	}
	for _, tt := range tests {
		features, report, err := readText(t, strings.Join(lines[:4], "")+tt.line+lines[8], ReadOptions{})
		if err != nil || report.Used != tt.used+1 || report.PassedOver != tt.over || report.RejectedRows != tt.rejected {
			t.Errorf("%s: %+v, %v", tt.name, report, err)
			continue
		}
		said := features[0].Name
		if tt.over > 0 {
			said = "dismantled"
		} else if tt.rejected > 0 {
			said = report.Rejected[0].Reason
		}
		if !strings.Contains(said, tt.want) || tt.over > 0 && report.PassedOverKinds["dismantled"] != 1 {
			t.Errorf("%s: %q, want %q", tt.name, said, tt.want)
		}
		if tt.name == "no heights" && (!math.IsNaN(features[0].ListedHeightM) || !slices.Equal(features[0].Doubts, []string{DoubtStructureHeightAssumed})) {
			t.Errorf("%s: %+v", tt.name, features[0])
		}
		if tt.name == "the older, narrower layout" && math.Abs(features[0].StructureHeightM-201*0.3048) > 1e-9 {
			t.Errorf("%s: structure of %v m, want 201 ft", tt.name, features[0].StructureHeightM)
		}
	}
	// Without its header a file is told by its records; the four lines of the header are never rows.
	if _, report, err := readText(t, strings.Join(lines[4:], ""), ReadOptions{}); err != nil || report.Rows != 6 || report.Used != 4 {
		t.Errorf("without a header: %+v, %v", report, err)
	}
}

// TestDOFSpreads holds every accuracy code to the tolerance that the FAA's readme of the file gives it, in feet.
func TestDOFSpreads(t *testing.T) {
	for i, feet := range []float64{20, 50, 100, 250, 500, 1000, 3038.06, 6076.12, 6076.12} {
		code := string(rune('1' + i))
		if got, want := dofSpreadM(code, '1', dofHorizontalFt()), feet*0.3048/1.645; math.Abs(got-want) > 0.01 {
			t.Errorf("horizontal code %s: %v m, want %v", code, got, want)
		}
	}
	for i, feet := range []float64{3, 10, 20, 50, 125, 250, 500, 1000, 1000} {
		code := string(rune('A' + i))
		if got, want := dofSpreadM(code, 'A', dofVerticalFt()), feet*0.3048/1.645; math.Abs(got-want) > 0.01 {
			t.Errorf("vertical code %s: %v m, want %v", code, got, want)
		}
	}
	if got := dofSpreadM("", 'A', dofVerticalFt()); got != dofSpreadM("I", 'A', dofVerticalFt()) {
		t.Errorf("no code gives %v m, want that of an unknown one", got)
	}
}
