package reports

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"farstation/pipeline"
)

// sheetZone is three hours behind UTC in the made outing, so that evenings are the next day in UTC.
const sheetZone = "America/Montevideo"

// madeOuting is an invented outing with every part of a sheet, and names that would be markup. The sun sets behind the far top within its 14 days.
func madeOuting() *pipeline.Outing {
	at := func(day, hour, minute, second int) time.Time {
		return time.Date(2031, 5, day, hour, minute, second, 0, time.UTC)
	}
	l := pipeline.Sightline{
		ObserverID: "csv:7", ObserverName: "<script>alert(1)</script> Braven Steps", TargetID: "csv:9", TargetName: "Ulvey\u202e Mast", DistanceM: 118_900, AzimuthDeg: 294.2, RadiusM: 6_372_000,
		EyeHeightM: 173, TopHeightM: 985, KFree: 0.143, DipArcmin: pointer(23.4), Rank: pointer[int32](2),
	}
	o := &pipeline.Outing{
		Line: l, Made: "2031-05-01", RunSHA256: strings.Repeat("a", 64), ClaimSHA256: strings.Repeat("b", 64),
		LookCurved: "If the Earth is curved: both show, and the top of <b>Ulvey</b> Mast stands 1.0 ± 0.7′ over that of Perrin Rock.", LookPlane: "If it is a plane: both show, and it stands 7.9 ± 0.5′ over it.",
		Claim: &pipeline.Claim{Sentence: "From Braven Steps, <i>Perrin Rock</i> and Ulvey Mast line up.", Decision: pipeline.ClaimDecision{
			Rule: "By a measured angle. Threshold: 4.98′.", IfSeen: "both tops: the rule decides", IfNotSeen: "decides nothing", IfAirNotClear: "decides nothing", IfNotTried: "counts nowhere"}},
		Notes: []string{"Clouds are not predicted: a base below 985 m hides the top.", `Beside "><img src=x onerror=alert(1)>.`},
	}
	o.Stand = pipeline.OutingStand{
		LatitudeDeg: -32.999999, LongitudeDeg: -56.0001, GroundM: 171, GroundSDM: 3, EyeHeightM: 173, AsideMPerArcmin: pointer(17.4), UpMPerArcmin: pointer(17.0), LostLeftM: pointer(262.0), LostRightM: pointer(261.0),
		InLineRightM: pointer(-12.0), MarginLowArcmin: pointer(2.75), MarginArcmin: pointer(2.8), MarginHighArcmin: pointer(2.84), Draws: 1000, Drawn: pointer(0.981),
	}
	for i := range 30 {
		o.Stand.Strip = append(o.Stand.Strip, pipeline.OutingPlace{LatitudeDeg: -33 + 0.0008*float64(i%6-3), LongitudeDeg: -56.0001 + 0.0008*float64(i/6-2), GroundM: 160})
	}
	for i := range 8 {
		o.FallBacks = append(o.FallBacks, pipeline.OutingOther{Observer: fmt.Sprintf("Corrie Walk %d", i), Target: "Lower Tennock", DistanceM: 50_000 + 7000*float64(i), AzimuthDeg: 40 * float64(i), AwayM: 900 * float64(i),
			LatitudeDeg: -33.02833, LongitudeDeg: -56.64667, VisualRangeNeededKM: 40, Why: "in less clear air: 40 km of visual range do, where this line needs 98 km"})
	}
	f := &o.Frame
	*f = pipeline.OutingFrame{WidthDeg: 3.44, HeightDeg: 2.29, CentreAzimuthDeg: 294.2, CentreElevationDeg: -0.25}
	for i := range 101 {
		x := float64(i)/100 - 0.5
		f.SkylineAzimuthDeg = append(f.SkylineAzimuthDeg, f.CentreAzimuthDeg+f.WidthDeg*x)
		rise := 0.25*math.Exp(-40*x*x) + 0.03*math.Sin(40*x)
		f.SkylineCurvedDeg, f.SkylinePlaneDeg = append(f.SkylineCurvedDeg, rise-0.4), append(f.SkylinePlaneDeg, rise-0.05)
	}
	f.Tops = []pipeline.OutingTop{
		{ID: "csv:8", Name: "Perrin Rock <b>", DistanceM: 60_000, AzimuthDeg: 294.18, CurvedDeg: -0.21, KLowDeg: -0.22, KHighDeg: -0.2, PlaneDeg: 0.02, InView: true, OnPlane: true, Role: "near"},
		{ID: "csv:9", Name: "Ulvey Mast", DistanceM: 118_900, AzimuthDeg: 294.2, CurvedDeg: -0.19, KLowDeg: -0.23, KHighDeg: -0.15, PlaneDeg: 0.15, InView: true, OnPlane: true, Role: "far"},
	}
	for i := range 14 {
		f.Tops = append(f.Tops, pipeline.OutingTop{Name: fmt.Sprintf("Tennock Head number %d", i), DistanceM: 70_000 + 3000*float64(i), AzimuthDeg: 292.7 + 0.2*float64(i), CurvedDeg: -0.4, KLowDeg: -0.42, KHighDeg: -0.38, PlaneDeg: -0.02, OnPlane: true, InView: i%3 == 0})
	}
	s := &o.Sky
	s.TimeZone = sheetZone
	for i := range 14 {
		day := 20 + i
		time := func(hour, minute int) *time.Time { return pointer(at(day, hour, minute, 0)) }
		d := pipeline.OutingDay{Date: at(day, 12, 0, 0).Format("2006-01-02"), State: "rises and sets", MoonState: "rises and sets", MoonLit: float64(i) / 14, Sunrise: time(10, 38), Sunset: time(20, 42), CivilDawn: time(10, 12), CivilDusk: time(21, 8),
			NauticalDawn: time(9, 43), NauticalDusk: time(21, 37), AstronomicalDawn: time(9, 14), AstronomicalDusk: time(22, 6), Moonrise: time(14, 3), Moonset: time(23, 11)}
		if i == 12 {
			d.Moonrise, d.Moonset, d.MoonState = nil, nil, "below all day"
		}
		s.Days = append(s.Days, d)
		s.Windows = append(s.Windows, pipeline.OutingWindow{From: at(day, 11, i, 0), To: at(day, 12, 30, 0), Light: "front", SunAzimuthDeg: 55, SunElevationDeg: 12})
		if i < 6 {
			s.Windows = append(s.Windows, pipeline.OutingWindow{From: at(day, 20, 35, 0), To: at(day, 21, 8, 0), Light: "silhouette", SunAzimuthDeg: 294 - float64(i), SunElevationDeg: -2})
			s.Glare = append(s.Glare, pipeline.OutingWindow{From: at(day, 19, 50-i, 40), To: at(day, 20, 42, 20), Light: "sun_near_frame"})
			s.Passes = append(s.Passes, pipeline.OutingPass{Body: "sun", At: at(day, 20, 40, 11), SeparationArcmin: math.Abs(20*float64(i) - 42), SDSeconds: 12, BodyElevationDeg: -0.2})
		}
	}
	s.Passes = append(s.Passes, pipeline.OutingPass{Body: "moon", At: at(28, 2, 4, 5), SeparationArcmin: 22, SDSeconds: 9, BodyElevationDeg: -0.2, MoonLit: pointer(0.43)})
	o.Lens = pipeline.OutingLens{SensorWidthMM: 36, SensorHeightMM: 24, PixelUM: 4, FocalMM: 600, ApertureF: 8, ArcsecPerPx: 1.375, GapPx: pointer(302.0), ObscuredPx: pointer(52.0), StructurePx: pointer(155.0), DiffractionPx: 1.3, ShimmerPx: 3.6,
		NeededFocalMM: pointer(132.0), LongestFocalMM: pointer(4851.0), Binds: "the pixels bind: from 132 mm on they cost less than a third of the spread of the angle, 40″"}
	o.Air = pipeline.OutingAir{VisualRangeNeededKM: 98, VisualRangeKM: 150, Contrast: 0.072}
	for _, k := range []float64{-0.2, -0.1, 0, 0.1, 0.143, 0.2, 0.3, 0.4, 0.5} {
		o.Air.ByK = append(o.Air.ByK, pipeline.OutingAtK{K: k, MarginArcmin: 3 + 4*k, ObscuredHeightM: pointer(1000 - 700*k), SeparationArcmin: pointer(10 * k), PartInView: pointer(0.1 + k*k)})
	}
	for i := range 10 {
		o.Air.Expected = append(o.Air.Expected, pipeline.OutingK{When: "air of one temperature, at the sea", K: fmt.Sprintf("0.%d", 10+i), Source: "common practice, no source"})
	}
	o.Tide = &pipeline.OutingTide{SeaLevelM: 0.4, SeaLevelSDM: 0.2, MarginPerMArcmin: -0.03, ObscuredPerMM: pointer(1.4), DipPerMArcmin: pointer(-0.07)}
	return o
}

func sheetOf(t testing.TB, o *pipeline.Outing) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteOutingPage(&b, o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}
