package reports

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"farstation/pipeline"
)

// madeOuting has every part of a sheet, and names that would be markup.
func madeOuting() *pipeline.Outing {
	at := func(hour, minute int) time.Time { return time.Date(2031, 5, 20, hour, minute, 0, 0, time.UTC) }
	rank := int32(2)
	o := &pipeline.Outing{Made: "2031-05-01", RunSHA256: strings.Repeat("a", 64), ClaimSHA256: strings.Repeat("b", 64), LookCurved: "If the Earth is curved: <b>half</b>.", LookPlane: "If it is a plane: all."}
	o.Line = pipeline.Sightline{ObserverName: "<script>Braven", TargetName: "Ulvey\u202e Hill", DistanceM: 118_900, AzimuthDeg: 359.9}
	o.Claim = &pipeline.Claim{Sentence: "A <i>claim</i>."}
	o.Stand = pipeline.OutingStand{LatitudeDeg: -32.999999, LongitudeDeg: 179.9999, GroundM: 171, GroundSDM: 3, EyeHeightM: 173, AsideMPerArcmin: pointer(1.5), LostLeftM: pointer(20.0), MarginArcmin: pointer(2.8),
		Strip: []pipeline.OutingPlace{{LatitudeDeg: -32.999, LongitudeDeg: -179.9999}, {LatitudeDeg: -33.001, LongitudeDeg: 179.998}}}
	o.FallBacks = []pipeline.OutingOther{{Observer: "A", Target: "B", DistanceM: 50_000, AwayM: 1000, Rank: &rank, Why: "from the same stand, in less clear air: 97 km of visual range do"}}
	o.Frame = pipeline.OutingFrame{WidthDeg: 3.4, HeightDeg: 2.3, CentreAzimuthDeg: 359.9, SkylineAzimuthDeg: []float64{358.2, 359.9, 1.6}, SkylineCurvedDeg: []float64{-0.2, 0.1, -0.3}, SkylinePlaneDeg: []float64{0.2, 0.6, 0.1},
		Tops: []pipeline.OutingTop{{Name: "Ulvey Hill", DistanceM: 118_900, AzimuthDeg: 359.9, CurvedDeg: 0.1, PlaneDeg: 0.6, InView: true, OnPlane: true, Role: "far"}, {Name: "Near <b>", DistanceM: 30_000, AzimuthDeg: 0.3, CurvedDeg: -0.1, Role: "near"}}}
	o.Sky = pipeline.OutingSky{TimeZone: "Pacific/Pitcairn", Days: []pipeline.OutingDay{{Date: "2031-05-20", State: "stays_above", MoonState: "stays_below"}},
		Windows: []pipeline.OutingWindow{{From: at(17, 0), To: at(18, 0), Light: "silhouette"}, {From: at(20, 0), To: at(21, 0), Light: "side"}, {From: at(22, 0), To: at(23, 0), Light: "front"}},
		Passes:  []pipeline.OutingPass{{Body: "sun", At: at(17, 30), SeparationArcmin: 3.2, SDSeconds: 12}}, Glare: []pipeline.OutingWindow{{From: at(16, 30), To: at(18, 15)}}}
	o.Lens = pipeline.OutingLens{SensorWidthMM: 36, SensorHeightMM: 24, PixelUM: 4, FocalMM: 600, ApertureF: 8, GapPx: pointer(744.0), NeededFocalMM: pointer(55.0), Binds: "the pixels bind"}
	o.Air = pipeline.OutingAir{VisualRangeNeededKM: 98, VisualRangeKM: 150, Contrast: 0.07, ByK: []pipeline.OutingAtK{{K: -0.2}, {K: 0.143, ObscuredHeightM: pointer(885.0)}}, Expected: []pipeline.OutingK{{When: "by day", K: "0.13–0.17", Source: "common practice, no source"}}}
	o.Tide = &pipeline.OutingTide{SeaLevelM: 0.4, SeaLevelSDM: 0.2, MarginPerMArcmin: -0.03}
	return o
}

// TestOutingPage: the first line warns of the sun with its hours, every part is there, and no name becomes markup.
func TestOutingPage(t *testing.T) {
	var b bytes.Buffer
	if err := WriteOutingPage(&b, madeOuting()); err != nil {
		t.Fatal(err)
	}
	page := b.String()
	_, body, _ := strings.Cut(page, "<header>")
	if first := strings.TrimSpace(body); !strings.HasPrefix(first, `<p class="sun">The sun stands within 10° of the frame: 20 May 2031 08:30 to 10:15 (16:30 to 18:15 UTC). No optical finder`) {
		t.Errorf("the sheet begins %.200q", first)
	}
	for _, want := range []string{"A &lt;i&gt;claim&lt;/i&gt;.", "33° 00.000′ S, 179° 59.994′ E", "If the Earth is curved: &lt;b&gt;half&lt;/b&gt;.", "stays_above", "common practice, no source", "could not go", "Local codes and licensed practice come first",
		strings.Repeat("b", 64), "silhouette: the sun is behind", "Where to stand", "744 px", "1 m more water"} {
		if !strings.Contains(page, want) {
			t.Errorf("the sheet lacks %q", want)
		}
	}
	for _, unwanted := range []string{"<script", "<b>", "\u202e", "NaN", "http://", "https://"} {
		if strings.Contains(page, unwanted) {
			t.Errorf("the sheet holds %q", unwanted)
		}
	}
	if n := strings.Count(page, `class="mark expected"`); n < 2 {
		t.Errorf("%d places to stand are drawn, want two", n)
	}
	bare := &pipeline.Outing{}
	b.Reset()
	if err := WriteOutingPage(&b, bare); err != nil || strings.Contains(b.String(), "<svg") {
		t.Errorf("an outing of nothing: %v, or a figure of nothing", err)
	}
}

func TestSexagesimal(t *testing.T) {
	for _, test := range []struct {
		deg  float64
		want string
	}{{32.415, "32° 24.900′ N"}, {-123.7233, "123° 43.398′ S"}, {0.9999999, "1° 00.000′ N"}, {-0.5, "0° 30.000′ S"}} {
		if got := sexagesimal(test.deg, "N", "S"); got != test.want {
			t.Errorf("%v is written %q, want %q", test.deg, got, test.want)
		}
	}
}
