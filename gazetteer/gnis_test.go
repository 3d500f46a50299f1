package gazetteer

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestGNIS reads rows of the USGS National File of Colorado and Alaska, as quoted in public loaders of it, in the old layout; and the
// same values in the layout of 2022, which has no elevations.
func TestGNIS(t *testing.T) {
	const old = "\xef\xbb\xbf" + gnisOldHeader + `
169345|Wulsten Baldy|Summit|CO|08|Custer|027|381505N|1054417W|38.2513874|-105.7380624|||||3870|12697|Cotopaxi|08/01/1990|
169346|Barnes Ridge|Ridge|CO|08|Garfield|045|394330N|1080912W|39.7249748|-108.1534144|||||2383|7818|Cutoff Gulch|08/01/1990|
1414314|Denali|Summit|AK|02|Denali|068|631712N|1510038W|63.0690949|-151.0063|||||6144|20157|Mount McKinley A-3|01/01/2000|
`
	const since2022 = gnisNewHeader + `
169345|Wulsten Baldy|Summit|Colorado|08|Custer|027|Cotopaxi|08/01/1990|||||381505N|1054417W|38.2513874|-105.7380624||||
169346|Barnes Ridge|Ridge|Colorado|08|Garfield|045|Cutoff Gulch|08/01/1990|||||394330N|1080912W|39.7249748|-108.1534144||||
1414314|Denali|Summit|Alaska|02|Denali|068|Mount McKinley A-3|01/01/2000|||||631712N|1510038W|63.0690949|-151.0063||||
`
	for name, text := range map[string]string{"old": old, "since 2022": since2022} {
		features, report, err := readText(t, text, ReadOptions{})
		if err != nil || len(features) != 2 || report.Format != "gnis" || !strings.Contains(report.Licence, "public domain") {
			t.Fatalf("%s: %+v, %+v, %v", name, features, report, err)
		}
		if diff := cmp.Diff(map[string]int{"Ridge": 1}, report.PassedOverKinds); diff != "" {
			t.Errorf("%s: passed over (-want +got):\n%s", name, diff)
		}
		f := features[1]
		if f.ID != "gnis:1414314" || f.Name != "Denali" || f.Kind != Peak || f.At.LatDeg != 63.0690949 || f.At.LonDeg != -151.0063 {
			t.Errorf("%s: %+v", name, f)
		}
		if name == "old" && (features[0].ListedHeightM != 3870 || f.ListedHeightM != 6144) || name != "old" && !math.IsNaN(f.ListedHeightM) {
			t.Errorf("%s: listed heights %v and %v m", name, features[0].ListedHeightM, f.ListedHeightM)
		}
	}
}

// TestGNISHeights: metres are believed where feet agree with them, feet where they are alone, and neither where they contradict.
func TestGNISHeights(t *testing.T) {
	tests := []struct {
		metres, feet string
		want         float64
		doubts       []string
	}{
		{"3870", "12697", 3870, nil}, // 3870.05 m
		{"", "1000", 304.8, nil},
		{"305", "", 305, nil},
		{"305", "1000", 305, nil},
		{"307", "1000", math.NaN(), []string{DoubtHeightUnreadable}},  // 2.2 m apart
		{"1000", "1000", math.NaN(), []string{DoubtHeightUnreadable}}, // one is in the other's column
		{"", "about 900", math.NaN(), []string{DoubtHeightUnreadable}},
		{"", "", math.NaN(), nil},
	}
	for _, tt := range tests {
		text := gnisOldHeader + "\n1|A|Summit|WA|53|King|033|||47.12345|-121.54321|||||" + tt.metres + "|" + tt.feet + "|M|01/01/2000|\n"
		features, _, err := readText(t, text, ReadOptions{})
		if err != nil || len(features) != 1 {
			t.Errorf("%q m, %q ft: %+v, %v", tt.metres, tt.feet, features, err)
			continue
		}
		got := features[0].ListedHeightM
		if math.Abs(got-tt.want) > 1e-9 || math.IsNaN(got) != math.IsNaN(tt.want) || !slices.Equal(features[0].Doubts, tt.doubts) {
			t.Errorf("%q m, %q ft: %v m %v, want %v m %v", tt.metres, tt.feet, got, features[0].Doubts, tt.want, tt.doubts)
		}
	}
}

func TestGNISRows(t *testing.T) {
	const tail = "|||||305||M|01/01/2000|\n"
	tests := []struct{ row, reason string }{
		{"1|A|Summit|WA|53|King|033|Unknown|Unknown|0|0" + tail, "both 0"},
		{"1|A|Summit|WA|53|King|033|||47.1|-121.5|||||305||M|01/01/2000\n", "19 columns instead of the header's 20"},
		{"one|A|Summit|WA|53|King|033|||47.12345|-121.54321" + tail, `feature_id "one" is not a positive integer`},
	}
	for _, tt := range tests {
		_, report, err := readText(t, gnisOldHeader+"\n"+tt.row+"2|B|Summit|WA|53|King|033|||47.12345|-121.54321"+tail, ReadOptions{})
		if err != nil || len(report.Rejected) != 1 || !strings.Contains(report.Rejected[0].Reason, tt.reason) {
			t.Errorf("%s: %+v, %v, want %q", tt.row, report.Rejected, err, tt.reason)
		}
	}
	features, _, err := readText(t, gnisOldHeader+"\n3|Old Lookout (historical)|Tower|WA|53|King|033|||47.12345|-121.54321"+tail, ReadOptions{})
	if err != nil || len(features) != 1 || !slices.Contains(features[0].Doubts, DoubtNotStanding) {
		t.Errorf("a tower called historical: %+v, %v, want the doubt %s", features, err, DoubtNotStanding)
	}
	_, _, err = readText(t, "feature_id|feature_name|feature_name_official|citation|date_created\n1|A|Y||01/01/2000\n", ReadOptions{})
	if err == nil || !strings.Contains(err.Error(), "take the Domestic Names file") {
		t.Errorf("a file of names alone: %v", err)
	}
}
