package pipeline

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestReadPoints(t *testing.T) {
	for _, test := range []struct {
		name, text string
		want       []MeasuredPoint
		rejected   []string // "line: start of reason"
	}{
		{"every part", "name_or_id,part,x_px,y_px,sd_px\nBraven,top,1,2,0.5\nMast,base,1,2,1\nMast,height:40.5,3,4,1\nBraven,cut,5,6,2\n,sea_horizon,7,8,1\n,level,1,1,1\nwall,plumb,2,2,1\nLost,absent,,,\n,sun:2031-05-20T18:04:31Z,1,2,1\n",
			[]MeasuredPoint{
				{Name: "Braven", Part: PartTop, XPx: 1, YPx: 2, SDPx: 0.5, Line: 2}, {Name: "Mast", Part: PartBase, XPx: 1, YPx: 2, SDPx: 1, Line: 3},
				{Name: "Mast", Part: PartHeight, HeightM: 40.5, XPx: 3, YPx: 4, SDPx: 1, Line: 4}, {Name: "Braven", Part: PartCut, XPx: 5, YPx: 6, SDPx: 2, Line: 5},
				{Part: PartSeaHorizon, XPx: 7, YPx: 8, SDPx: 1, Line: 6}, {Part: PartLevel, XPx: 1, YPx: 1, SDPx: 1, Line: 7},
				{Name: "wall", Part: PartPlumb, XPx: 2, YPx: 2, SDPx: 1, Line: 8}, {Name: "Lost", Part: PartAbsent, Line: 9},
				{Part: PartSun, At: time.Date(2031, 5, 20, 18, 4, 31, 0, time.UTC), XPx: 1, YPx: 2, SDPx: 1, Line: 10},
			}, nil},
		{"semicolons, decimal commas, byte order mark, other order, frame", "\ufeffframe;SD_px;x_px;y_px;part;name_or_id\n2;0,5;1,25;2,5;top;Braven\n",
			[]MeasuredPoint{{Name: "Braven", Part: PartTop, XPx: 1.25, YPx: 2.5, SDPx: 0.5, Frame: 1, Line: 2}}, nil},
		{"rows that cannot be used", "name_or_id,part,x_px,y_px,sd_px,frame\nSun,sun:noon,1,2,1,\nMoon,moon:1850-01-01T10:00:00Z,1,2,1,\nA,summit,1,2,1,\nA,top:5,1,2,1,\n" +
			"A,height:x,1,2,1,\nA,top,NaN,2,1,\nA,top,1,,1,\nA,top,1,2,0,\nA,top,1,2,,\n,top,1,2,1,\nA,top,1,2,1,3\nA,top,1,2\nA,\"to\"p,1,2,1,\nB,top,1,2,1,1\n",
			[]MeasuredPoint{{Part: PartTop, XPx: 1, YPx: 2, SDPx: 1, Line: 11}, {Name: "B", Part: PartTop, XPx: 1, YPx: 2, SDPx: 1, Line: 15}}, // a top may have no name yet
			[]string{`2: part "sun:noon": want sun:UTC`, `3: part "moon:1850-01-01T10:00:00Z": the almanac holds 1900…2099`, `4: part "summit": want top`, `5: part "top:5": want top`, `6: part "height:x": want height:M`,
				`7: x_px "NaN": want`, `8: y_px "": want`, "9: sd_px 0: must be above 0", `10: sd_px "": want`, `12: frame "3": want`, `13: sd_px "": want`, `14: extraneous or missing " in quoted-field`}},
	} {
		points, rejected, err := ReadPoints(strings.NewReader(test.text), 0, 2)
		if err != nil {
			t.Errorf("%s: %v", test.name, err)
			continue
		}
		if diff := cmp.Diff(test.want, points); diff != "" {
			t.Errorf("%s (-want +got):\n%s", test.name, diff)
		}
		if len(rejected) != len(test.rejected) {
			t.Errorf("%s: %d rows rejected, want %d: %v", test.name, len(rejected), len(test.rejected), rejected)
			continue
		}
		for i, r := range rejected {
			if got := cmpLine(r.Line, r.Reason); !strings.HasPrefix(got, test.rejected[i]) {
				t.Errorf("%s: rejected %q, want %q…", test.name, got, test.rejected[i])
			}
		}
	}
}

func TestReadPointsRefuses(t *testing.T) {
	for _, test := range []struct{ name, text, want string }{
		{"nothing", "", "no header"},
		{"columns missing", "name,part,x_px\n", "no column name_or_id, y_px, sd_px"},
		{"column twice", "name_or_id,part,x_px,y_px,sd_px,part\n", "column part stands twice"},
		{"too many", "name_or_id,part,x_px,y_px,sd_px\n" + strings.Repeat("A,top,1,2,1\n", mostPoints+1), "more than 300 points"},
	} {
		if _, _, err := ReadPoints(strings.NewReader(test.text), 0, 1); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: error %v, want %q", test.name, err, test.want)
		}
	}
}

func cmpLine(line int, reason string) string { return fmt.Sprintf("%d: %s", line, reason) }
