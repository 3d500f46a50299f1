package gazetteer

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"farstation/geodesy"
)

func TestCSVHeaders(t *testing.T) {
	tests := []struct{ name, text string }{
		{"short names", "name,kind,lat,lon,ele\nA,hill,1.11111,2.22222,300\n"},
		{"lng and elevation", "name,kind,lat,lng,elevation\nA,hill,1.11111,2.22222,300\n"},
		{"latitude, longitude, height", "name,kind,latitude,longitude,height\nA,hill,1.11111,2.22222,300\n"},
		{"other order and case", " ELE ;Kind;Longitude_Deg;LATITUDE_deg;Name\n300;Hill;2.22222;1.11111;A\n"},
		{"metres", "name,kind,lat,lon,Metres\nA,hill,1.11111,2.22222,300\n"},
		{"metres and feet", "name,kind,lat,lon,Feet,Metres\nA,hill,1.11111,2.22222,984,300\n"},
		{"feet by the header", "name,kind,lat,lon,height_ft\nA,hill,1.11111,2.22222,984.251968503937\n"},
		{"drop without a kind", "name,lat,lon,ele,drop\nA,1.11111,2.22222,300,40\n"},
		{"quoted header", "\"name\",\"kind\",\"lat\",\"lon\",\"ele\"\nA,hill,1.11111,2.22222,300\n"},
		{"unknown columns, some twice", "x,name,x,kind,lat,lon,ele,,\n,A,7,hill,1.11111,2.22222,300,,\n"},
		{"empty line before the header", "\n\nname,kind,lat,lon,ele\nA,hill,1.11111,2.22222,300\n"},
		{"decimal commas", "name;kind;lat;lon;ele\nA;hill;1,11111;2,22222;300,0\n"},
		{"decimal commas in quotes", "name,kind,lat,lon,ele\nA,hill,\"1,11111\",\"2,22222\",\"300,0\"\n"},
		{"feet", "name,kind,lat,lon,ele\nA,hill,1.11111,2.22222,\"984.251968503937 ft\"\n"},
		{"rows of separators alone", "name,kind,lat,lon,ele\n,,,,\nA,hill,1.11111,2.22222,300\n,,,,\n"},
	}
	at := geodesy.LatLon{LatDeg: 1.11111, LonDeg: 2.22222}
	want := []Feature{{ID: "csv:a@1.11111/2.22222", Name: "A", Kind: Hill, At: at, Listed: at, GroundHeightM: 300, ListedHeightM: 300, TerrainHeightM: math.NaN(),
		HeightSource: HeightListed, GroundHeightSDM: 3, PositionSDM: 30, Sources: []string{"csv:a@1.11111/2.22222"}}}
	for _, tt := range tests {
		got, report, err := readText(t, tt.text, ReadOptions{})
		if err != nil || report.Rows != 1 {
			t.Errorf("%s: %+v, %v", tt.name, report, err)
			continue
		}
		if diff := cmp.Diff(want, got, cmpopts.EquateNaNs(), cmpopts.EquateApprox(0, 1e-9), cmpopts.IgnoreFields(Feature{}, "Line")); diff != "" {
			t.Errorf("%s: (-want +got):\n%s", tt.name, diff)
		}
	}
}

func TestCSVRows(t *testing.T) {
	const header = "id,name,other_names,kind,lat,lon,ele,structure_height_m,ground_height_sd_m,structure_height_sd_m,position_sd_m\n"
	nan := math.NaN()
	tests := []struct {
		row                      string
		listedM, structureM      float64
		groundSDM, structureSDM  float64
		placeSDM                 float64
		doubts, id, name, reason string
	}{
		{row: "t1,A,,tower,1.11111,2.22222,300,45.5,1,0.5,4", listedM: 300, structureM: 45.5, groundSDM: 1, structureSDM: 0.5, placeSDM: 4, id: "csv:t1"},
		{row: "t1,A,,tower,1.11111,2.22222,300,45.5,,,", listedM: 300, structureM: 45.5, groundSDM: 3, structureSDM: 2, placeSDM: 30},
		{row: "t1,A,,mast,1.11111,2.22222,300,,,,", listedM: 300, structureM: 60, groundSDM: 3, structureSDM: 40, placeSDM: 30, doubts: DoubtStructureHeightAssumed},
		{row: "t1,A,,chimney,1.11111,2.22222,300,very high,,,", listedM: 300, structureM: 60, groundSDM: 3, structureSDM: 40, placeSDM: 30, doubts: DoubtStructureHeightAssumed + "," + DoubtStructureHeightUnreadable},
		{row: "t1,A,,turbine,1.11111,2.22222,300,\"400 ft\",,,", listedM: 300, structureM: 121.92, groundSDM: 3, structureSDM: 2, placeSDM: 30},
		{row: "t1,A,,peak,1.11111,2.22222,300,12,,,", listedM: 300, structureM: 12, groundSDM: 3, structureSDM: 2, placeSDM: 30},
		{row: "t1,A,,building,1.11111,2.22222,300,0,,,", listedM: 300, groundSDM: 3, placeSDM: 30},
		{row: "t1,A,,,1.11111,2.22222,300,,,,", listedM: 300, groundSDM: 3, placeSDM: 30},
		{row: "t1,A,,peak,1.11111,2.22222,about 600 m,,,,", listedM: nan, groundSDM: 3, placeSDM: 30, doubts: DoubtHeightUnreadable},
		{row: "t1,A,,peak,1.11111,2.22222,600;610,,,,", listedM: nan, groundSDM: 3, placeSDM: 30, doubts: DoubtHeightUnreadable},
		{row: "t1,A,,peak,1.11111,2.22222,7'4\",,,,", listedM: 2.2352, groundSDM: 3, placeSDM: 30},
		{row: "t1,A,,peak,1.11111,2.22222,\"1,234 ft\",,,,", listedM: 376.1232, groundSDM: 3, placeSDM: 30},
		{row: "t1,A,,peak,1.117,2.222,300,,,,", listedM: 300, groundSDM: 3, placeSDM: 43.9},
		{row: "t1,A,,peak,1.12,2.22,300,,,,", listedM: 300, groundSDM: 3, placeSDM: 322.2},
		{row: "t1,A,,peak,1.1,2.2,300,,,,", listedM: 300, groundSDM: 3, placeSDM: 3207.9, doubts: DoubtPlaceRough},
		{row: "t1,A,,peak,1.1,2.2,300,,,,100", listedM: 300, groundSDM: 3, placeSDM: 100},
		{row: "csv:t1,A,,hill,1.11111,2.22222,300,,,,", listedM: 300, groundSDM: 3, placeSDM: 30, id: "csv:t1"},
		{row: ",Ben Mòr (north),,hill,-1.11111,2.22222,300,,,,", listedM: 300, groundSDM: 3, placeSDM: 30, id: "csv:ben-mòr-north@-1.11111/2.22222"},
		{row: "t1,\"Two\nlines, one \"\"name\"\"\",,hill,1.11111,2.22222,300,,,,", listedM: 300, groundSDM: 3, placeSDM: 30, name: `Two lines, one "name"`},
		{row: "\"a,b\",A,,hill,1.11111,2.22222,300,,,,", reason: "holds a comma"},
		{row: "t1,A,,hill,1.11111,2.22222,300,,few,,", reason: `ground_height_sd_m "few" is not a number of metres`},
		{row: "t1,A,,hill,1.11111,2.22222,300,,-1,,", reason: "spread of the ground height -1 m is outside 0…100000"},
		{row: "t1,A,,tower,1.11111,2.22222,300,-5,,,", reason: "structure height -5 m is outside 0…1500"},
		{row: "t1,A,,tower,1.11111,2.22222,300,2000,,,", reason: "structure height 2000 m is outside"},
		{row: "t1,A,,hill,1.11111,2.22222,300", reason: "7 columns instead of the header's 11"},
		{row: "t1,A, B,,hill,1.11111,2.22222,300,,,,", reason: "12 columns instead of the header's 11"},
		{row: "t1,\"A\" B,,hill,1.11111,2.22222,300,,,,", reason: "text follows a closing quote"},
		{row: "t1,\"A,,hill,1.11111,2.22222,300,,,,", reason: "a quote is opened and not closed"},
	}
	for _, tt := range tests {
		got, report, err := readText(t, header+tt.row+"\nlast,Last,,hill,3.33333,4.44444,5,,,,\n", ReadOptions{})
		if err != nil || len(got) == 0 || got[len(got)-1].ID != "csv:last" {
			t.Errorf("%s: the row after it did not come through: %+v, %v", tt.row, got, err)
			continue
		}
		if tt.reason != "" {
			if len(report.Rejected) != 1 || report.Rejected[0].Line != 2 || !strings.Contains(report.Rejected[0].Reason, tt.reason) {
				t.Errorf("%s: rejected %+v, want line 2 with %q", tt.row, report.Rejected, tt.reason)
			}
			continue
		}
		if len(got) != 2 {
			t.Errorf("%s: rejected %+v", tt.row, report.Rejected)
			continue
		}
		f := got[0]
		for _, check := range []struct {
			what      string
			got, want float64
		}{{"listed height", f.ListedHeightM, tt.listedM}, {"structure height", f.StructureHeightM, tt.structureM}, {"ground height spread", f.GroundHeightSDM, tt.groundSDM},
			{"structure height spread", f.StructureHeightSDM, tt.structureSDM}, {"place spread", f.PositionSDM, tt.placeSDM}} {
			if !(math.Abs(check.got-check.want) < 0.05) && !(math.IsNaN(check.got) && math.IsNaN(check.want)) {
				t.Errorf("%s: %s = %v, want %v", tt.row, check.what, check.got, check.want)
			}
		}
		if doubts := strings.Join(f.Doubts, ","); doubts != tt.doubts {
			t.Errorf("%s: doubts %q, want %q", tt.row, doubts, tt.doubts)
		}
		if tt.id != "" && f.ID != tt.id || tt.name != "" && f.Name != tt.name {
			t.Errorf("%s: id %q name %q, want %q %q", tt.row, f.ID, f.Name, tt.id, tt.name)
		}
	}
}

// TestCSVForgottenQuote: a quote that is never closed costs one row, and lines are still counted right.
func TestCSVForgottenQuote(t *testing.T) {
	text := "name,lat,lon,ele\n\"A,1.11111,2.22222,300\n" + strings.Repeat("\n", 60) + "B,3.33333,4.44444,5\nC,3.33333,4.44444,999999\n"
	got, report, err := readText(t, text, ReadOptions{})
	if err != nil || len(got) != 1 || got[0].Name != "B" || got[0].Line != 63 {
		t.Fatalf("%+v, %v, want B of line 63", got, err)
	}
	if len(report.Rejected) != 2 || report.Rejected[0].Line != 2 || report.Rejected[1].Line != 64 {
		t.Errorf("rejected %+v, want lines 2 and 64", report.Rejected)
	}
}

// TestCSVWithoutIDs: an id made from name and place stays when rows change places, and the second row with it is rejected.
func TestCSVWithoutIDs(t *testing.T) {
	const a, b = "A,1.11111,2.22222\n", "B,3.33333,4.44444\n"
	got, report, err := readText(t, "name,lat,lon\n"+a+b+a, ReadOptions{})
	turned, _, errTurned := readText(t, "name,lat,lon\n"+b+a, ReadOptions{})
	if err != nil || errTurned != nil || len(got) != 2 || len(turned) != 2 {
		t.Fatalf("%+v, %v; %+v, %v", got, err, turned, errTurned)
	}
	if got[0].ID != turned[1].ID || got[1].ID != turned[0].ID {
		t.Errorf("ids %s, %s change with the order: %s, %s", got[0].ID, got[1].ID, turned[0].ID, turned[1].ID)
	}
	if len(report.Rejected) != 1 || report.Rejected[0].Line != 4 {
		t.Errorf("rejected %+v, want line 4", report.Rejected)
	}
}

// TestHillList reads the Database of British and Irish Hills as it is published, and holds it to the same rows in the layout of
// GeoNames, whose heights are rounded to the metre.
func TestHillList(t *testing.T) {
	hills, report, err := readPath(t, "../testdata/DoBIH_v17_5_slice_55-56N_4-2W.csv", ReadOptions{})
	if err != nil || report.Format != "csv" || report.Rows != 1492 || report.Used != 1492 {
		t.Fatalf("%+v, %v, want all of 1492 rows", report, err)
	}
	twins, _, err := readPath(t, "../testdata/dobih_slice_geonames_layout.tsv", ReadOptions{})
	if err != nil || len(twins) != len(hills) {
		t.Fatalf("%d twins, %v", len(twins), err)
	}
	for i, f := range hills {
		if twin := twins[i]; f.At != twin.At || f.Kind != Hill || math.Abs(f.ListedHeightM-twin.ListedHeightM) > 0.5+1e-9 || !strings.HasPrefix(f.Name, twin.Name) || len(f.Doubts) > 0 {
			t.Errorf("%+v, want %+v", f, twin)
		}
	}
}
