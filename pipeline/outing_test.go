package pipeline

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/light"
	"farstation/geodesy/sky"
)

// outingRun is a survey in memory to plan outings from.
func outingRun(t *testing.T, r *held) *OutingRun {
	t.Helper()
	run, err := NewOutingRun(ClaimRun{Manifest: &r.Manifest, SHA256: strings.Repeat("0f", 32), Made: "2031-05-01"}, tablesInMemory(r), nil)
	if err != nil {
		t.Fatal(err)
	}
	return run
}

func oneOuting(t *testing.T, run *OutingRun, id string, ask OutingOptions) *Outing {
	t.Helper()
	outings, err := run.PlanLines(t.Context(), []string{id}, ask)
	if err != nil {
		t.Fatal(err)
	}
	return &outings[0]
}

// askFor are the options for some days in UTC.
func askFor(from, to string) OutingOptions {
	ask := DefaultOutingOptions()
	ask.FromDate, ask.ToDate = from, to
	return ask
}

// The turn between two tops for a metre aside, and where it passes the tolerance, against walking there metre by metre.
func TestOutingAside(t *testing.T) {
	at := geodesy.LatLon{LatDeg: 56.1, LonDeg: -3.2}
	for _, c := range []struct {
		nearKM, farKM, azimuthDeg, besideM float64
		arcsecPerM                         float64 // (1/s_n − 1/s_f), by hand
	}{
		{5, 100, 0, 0, 39.19}, {5, 100, 133, 12, 39.19}, {5, 100, 359.99, -9, 39.19}, {20, 60, 270, 30, 6.875}, {60, 150, 45, 0, 2.0627},
	} {
		place := func(km, besideM float64) gazetteer.Feature {
			on, onward := geodesy.WGS84.Direct(at, c.azimuthDeg, km*1000)
			aside, _ := geodesy.WGS84.Direct(on, onward+90, besideM)
			return gazetteer.Feature{At: aside}
		}
		near, far := place(c.nearKM, c.besideM), place(c.farKM, 0)
		a := newAside(at, &near, &far)
		if got := -a.perM() * 3600; math.Abs(got-c.arcsecPerM) > 0.0005*c.arcsecPerM {
			t.Errorf("%v and %v km at %v°: %.4f″ for a metre to the right, want %v", c.nearKM, c.farKM, c.azimuthDeg, got, c.arcsecPerM)
		}
		const toleranceDeg = 0.2
		right, left := a.reaches(-toleranceDeg), a.reaches(toleranceDeg)
		if right == nil || left == nil {
			t.Errorf("%v and %v km: no limit within %v m", c.nearKM, c.farKM, mostAsideM)
			continue
		}
		walk := func(stepM float64) (lastM float64) {
			for m := 0.0; ; m += stepM {
				here, _ := geodesy.WGS84.Direct(at, c.azimuthDeg+90, m)
				n, f := geodesy.WGS84.Inverse(here, near.At).AzimuthDeg, geodesy.WGS84.Inverse(here, far.At).AzimuthDeg
				if math.Abs(math.Mod(n-f+540, 360)-180) > toleranceDeg {
					return m - stepM
				}
			}
		}
		if want := walk(1); *right < want-0.5 || *right > want+1.5 {
			t.Errorf("%v and %v km: lost %.1f m to the right, walking says %.0f", c.nearKM, c.farKM, *right, want)
		}
		if want := walk(-1); *left > want+0.5 || *left < want-1.5 {
			t.Errorf("%v and %v km: lost %.1f m to the right, walking says %.0f", c.nearKM, c.farKM, *left, want)
		}
	}
}

// Check values of optics: pixel scale of 4 µm behind 600 mm 1.375″, 36 mm behind 600 mm 3.437°, both arithmetic; Rayleigh's limit at 550 nm
// and 200 mm 0.692″ (a worked example of common practice).
func TestOutingLens(t *testing.T) {
	for _, c := range []struct {
		name            string
		got, want, most float64
	}{
		{"arcsecPerPx(4, 600)", arcsecPerPx(4, 600), 1.375, 0.0005},
		{"angleOfViewDeg(36, 600)", angleOfViewDeg(36, 600), 3.437, 0.0005},
		{"Airy disc at 200 mm", diffractionPx(8, 4) * arcsecPerPx(4, 1600), 0.692, 0.0005},
		{"focalToHoldMM(24, angle of view of 21.6 mm at 600)", focalToHoldMM(24, angleOfViewDeg(21.6, 600)*math.Pi/180), 600, 1e-6},
	} {
		if math.Abs(c.got-c.want) > c.most {
			t.Errorf("%s = %.5f, want %v ± %v", c.name, c.got, c.want, c.most)
		}
	}
	for _, spread := range []float64{15.1, 18, 40, 90} {
		focal, ok := neededFocalMM(spread, 4)
		if !ok {
			t.Errorf("a spread of %v″ needs no focal length", spread)
			continue
		}
		cost := func(f float64) float64 { return math.Hypot(2*206.265*4/f, 5) }
		if cost(focal*1.001) > spread/3 || cost(focal*0.999) < spread/3 {
			t.Errorf("at %.1f mm measuring costs %.3f″ of a spread of %v″, want a third", focal, cost(focal), spread)
		}
	}
	if focal, ok := neededFocalMM(14.9, 4); ok {
		t.Errorf("a spread of 14.9″ has a third below the shimmer, yet %.0f mm are said to do", focal)
	}
}

// The table that stands for traces of the sky, against traces.
func TestTracedRefraction(t *testing.T) {
	air, err := light.StandardProfile(0)
	if err != nil {
		t.Fatal(err)
	}
	for _, eyeM := range []float64{0, 800, 4500} {
		const radiusM = 6371e3
		refraction, err := tracedRefraction(air, eyeM, radiusM)
		if err != nil {
			t.Fatal(err)
		}
		worst := 0.0
		for deg := -2.99; deg < 89; deg += 0.173 {
			lift, _, err := air.SkyRefraction(eyeM, deg*radPerDeg, radiusM)
			if err != nil {
				t.Fatal(err)
			}
			worst = math.Max(worst, math.Abs(refraction(deg*radPerDeg-lift)-lift)*arcsecPerRad)
		}
		if worst > 0.5 {
			t.Errorf("from %v m the table is off by %.2f″ at worst, want 0.5″ or less", eyeM, worst)
		}
	}
}

// sunsetRun has a top of 2,500 m 100 km west-north-west of the eye, before which the sun sets in May.
func sunsetRun(t *testing.T) *OutingRun {
	return outingRun(t, madeSurvey(t, 80, 0, madeFeature{id: "far", kind: "peak", azimuthDeg: 291, km: 100, groundM: 2500, groundSDM: 5, positionSD: 5}))
}

// The sun behind a far top: the predicted instant against every second around it, by traces of their own for top and sun, and the time
// near the frame against every minute of the days.
func TestOutingSunBehindTop(t *testing.T) {
	run := sunsetRun(t)
	o := oneOuting(t, run, "csv:eye>csv:far", askFor("2031-05-06", "2031-05-12"))
	i := slices.IndexFunc(o.Sky.Passes, func(p OutingPass) bool { return p.Body == "sun" && p.SeparationArcmin < 16 })
	if i < 0 {
		t.Fatalf("no pass of the sun behind the top: %+v", o.Sky.Passes)
	}
	pass := o.Sky.Passes[i]
	air, err := light.StandardProfile(0)
	if err != nil {
		t.Fatal(err)
	}
	l := &o.Line
	rays, err := air.Rays(l.EyeHeightM, l.TopHeightM, l.DistanceM, l.RadiusM, math.Inf(-1))
	if err != nil || len(rays) != 1 {
		t.Fatalf("%d rays to the top, %v", len(rays), err)
	}
	eye := sky.Observer{Position: madeEye, HeightM: run.world.Geoid.UndulationM(madeEye) + l.EyeHeightM, Refraction: sky.NoRefraction}
	// Angle between two directions as vectors, for a formula of its own.
	separation := func(at time.Time, azimuthRad, elevationRad float64) float64 {
		sun := eye.Place(sky.Sun, sky.At(at))
		apparent, err := air.SkyApparentRad(l.EyeHeightM, sun.ElevationRad, l.RadiusM)
		if err != nil {
			apparent = sun.ElevationRad // far below the horizontal: no matter
		}
		vector := func(a, e float64) geodesy.Vector {
			return geodesy.Vector{X: math.Cos(e) * math.Cos(a), Y: math.Cos(e) * math.Sin(a), Z: math.Sin(e)}
		}
		return math.Asin(vector(sun.AzimuthRad, apparent).Sub(vector(azimuthRad, elevationRad)).Norm()/2) * 2
	}
	least, when := math.Inf(1), time.Time{}
	for s := -900; s <= 900; s++ {
		at := pass.At.Add(time.Duration(s) * time.Second)
		if d := separation(at, l.AzimuthDeg*radPerDeg, rays[0].ElevationRad); d < least {
			least, when = d, at
		}
	}
	if d := when.Sub(pass.At).Abs(); d > time.Second || math.Abs(least*arcminPerRad-pass.SeparationArcmin) > 0.05 {
		t.Errorf("the sun comes nearest at %v, %.2f′, by seconds at %v, %.2f′", pass.At, pass.SeparationArcmin, when, least*arcminPerRad)
	}
	t.Logf("sun behind the top at %v ± %.1f s, %.2f′ from it; by seconds %v, %.2f′", pass.At, pass.SDSeconds, pass.SeparationArcmin, when, least*arcminPerRad)
	// A top that stands higher by its spread meets the sun earlier or later by the spread in seconds.
	moved := math.Inf(1)
	movedWhen := when
	spread := run.opts.KSD * l.DistanceM / (2 * l.RadiusM)
	for s := -120; s <= 120; s++ {
		at := when.Add(time.Duration(s) * time.Second)
		if d := separation(at, l.AzimuthDeg*radPerDeg, rays[0].ElevationRad+spread); d < moved {
			moved, movedWhen = d, at
		}
	}
	if d := math.Abs(movedWhen.Sub(when).Seconds()); math.Abs(d-pass.SDSeconds) > 1 {
		t.Errorf("lifted by %.2f′ the top meets the sun %.0f s off, want %.1f s", spread*arcminPerRad, d, pass.SDSeconds)
	}

	glares, minutes := 0, 0
	for at := time.Date(2031, 5, 6, 0, 0, 0, 0, time.UTC); at.Before(time.Date(2031, 5, 13, 0, 0, 0, 0, time.UTC)); at = at.Add(time.Minute) {
		close := slices.ContainsFunc(o.Sky.Glare, func(w OutingWindow) bool {
			return at.Sub(w.From).Abs() < time.Minute || at.Sub(w.To).Abs() < time.Minute
		})
		if close {
			continue
		}
		within := slices.ContainsFunc(o.Sky.Glare, func(w OutingWindow) bool { return at.After(w.From) && at.Before(w.To) })
		sun := eye.Place(sky.Sun, sky.At(at))
		apparent, err := air.SkyApparentRad(l.EyeHeightM, sun.ElevationRad, l.RadiusM)
		up := err == nil && apparent+sun.SemidiameterRad > -*l.DipArcmin/arcminPerRad
		near := separation(at, o.Frame.CentreAzimuthDeg*radPerDeg, o.Frame.CentreElevationDeg*radPerDeg) < 10*radPerDeg
		if within != (up && near) {
			t.Errorf("%v: within 10° of the frame %v, said %v", at, up && near, within)
		}
		minutes++
		if within {
			glares++
		}
	}
	if glares < 100 || minutes < 10_000 {
		t.Errorf("%d of %d minutes are within 10° of the frame: too few to tell", glares, minutes)
	}
}

// Polar day and night, a month with its day without moonrise, a change of clocks, either side of the date line. What the sky does is held
// against published tables in package sky; here it is the sheet that must say it.
func TestOutingDays(t *testing.T) {
	look := func(lat, lon float64, zone, from, to string) *OutingSky {
		t.Helper()
		ask := askFor(from, to)
		ask.TimeZone = zone
		first, days, err := ask.days(time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		v := skyView{eye: sky.Observer{Position: geodesy.LatLon{LatDeg: lat, LonDeg: lon}}, horizon: sky.DefaultHorizon(), from: first, days: days, azimuthRad: 1}
		s, err := v.look()
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Days) != days || s.Days[0].Date != from || s.Days[days-1].Date != to {
			t.Errorf("%s %s to %s: %d days from %s to %s", zone, from, to, len(s.Days), s.Days[0].Date, s.Days[len(s.Days)-1].Date)
		}
		return s
	}
	day := look(69.65, 18.96, "Europe/Oslo", "2031-06-20", "2031-06-22")
	for _, d := range day.Days {
		if d.State != "above all day" || d.Sunrise != nil || d.Sunset != nil || d.CivilDawn != nil || d.CivilDusk != nil {
			t.Errorf("polar day: %+v", d)
		}
	}
	if len(day.Glare) != 3 { // due north, where it stands 3° high at midnight, which is at 00:45 by the clock
		t.Errorf("polar day: the sun is near the frame %d times in 3 days, want 3", len(day.Glare))
	}
	night := look(69.65, 18.96, "Europe/Oslo", "2031-12-20", "2031-12-22")
	for _, d := range night.Days {
		if d.State != "below all day" || d.Sunrise != nil || d.Sunset != nil || d.CivilDawn == nil || d.CivilDusk == nil || !d.CivilDawn.Before(*d.CivilDusk) {
			t.Errorf("polar night, with civil twilight at noon: %+v", d)
		}
	}
	if len(night.Glare) != 0 {
		t.Errorf("polar night: sun near the frame: %+v", night.Glare)
	}

	without := 0
	for _, d := range look(51.5, -0.1, "Europe/London", "2031-05-01", "2031-05-30").Days {
		if (d.Moonrise == nil) != (d.MoonState == "sets, no rising that day") || (d.Moonset == nil) != (d.MoonState == "rises, no setting that day") {
			t.Errorf("%s: moonrise %v, moonset %v, %q", d.Date, d.Moonrise, d.Moonset, d.MoonState)
		}
		if d.Moonrise == nil {
			without++
		}
	}
	if without != 1 { // the moon rises 29 times in 30 days
		t.Errorf("%d of 30 days are without moonrise, want 1", without)
	}

	// The clocks of London go forward on 2031-03-30 at 1 (last Sunday of March, Directive 2000/84/EC as the United Kingdom has kept it).
	spring := look(51.5, -0.1, "Europe/London", "2031-03-29", "2031-03-31").Days
	for i, want := range []int{0, 3600, 3600} {
		if _, offset := spring[i].Sunrise.Zone(); offset != want || spring[i].Sunrise.Format(time.DateOnly) != spring[i].Date {
			t.Errorf("sunrise of %s is %v, want %d s from UTC", spring[i].Date, spring[i].Sunrise, want)
		}
	}
	if d := spring[1].Sunrise.Sub(*spring[0].Sunrise); d < 24*time.Hour-4*time.Minute || d > 24*time.Hour {
		t.Errorf("from one sunrise to the next %v, want 2 minutes less than 24 h", d)
	}

	// Apia and Pago Pago lie a degree apart, and a day by the calendar.
	west := look(-13.8, -171.8, "Pacific/Apia", "2031-05-02", "2031-05-02").Days[0]
	east := look(-14.3, -170.7, "Pacific/Pago_Pago", "2031-05-01", "2031-05-01").Days[0]
	if d := west.Sunrise.Sub(*east.Sunrise); d < 0 || d > 10*time.Minute {
		t.Errorf("sunrise of 2 May in Apia is %v, of 1 May in Pago Pago %v", west.Sunrise, east.Sunrise)
	}
}

func TestOutingOptions(t *testing.T) {
	if ask := DefaultOutingOptions(); ask.Validate() != nil {
		t.Errorf("the defaults are refused: %v", ask.Validate())
	}
	for _, c := range []struct {
		change func(*OutingOptions)
		want   string
	}{
		{func(o *OutingOptions) { o.TimeZone = "Middle/Earth" }, "time-zone"},
		{func(o *OutingOptions) { o.TimeZone = "Local" }, "time-zone"},
		{func(o *OutingOptions) { o.FromDate = "2031-05-20" }, "or neither"},
		{func(o *OutingOptions) { o.FromDate, o.ToDate = "20.5.2031", "2031-05-21" }, "from-date"},
		{func(o *OutingOptions) { o.PixelUM = 0 }, "pixel-um"},
		{func(o *OutingOptions) { o.FocalMM = math.NaN() }, "focal-mm"},
		{func(o *OutingOptions) { o.Draws = -1 }, "draws"},
	} {
		ask := DefaultOutingOptions()
		c.change(&ask)
		if err := ask.Validate(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want an error with %q", ask, err, c.want)
		}
	}
	for _, dates := range [][2]string{{"2031-05-20", "2031-05-19"}, {"2031-01-01", "2032-12-31"}} {
		ask := askFor(dates[0], dates[1])
		if _, _, err := ask.days(time.Time{}); err == nil {
			t.Errorf("%v to %v is no error", dates[0], dates[1])
		}
	}
	ask := DefaultOutingOptions()
	ask.TimeZone = "Pacific/Apia"
	// 20 hours UTC is the next day in Apia, 13 hours ahead.
	first, days, err := ask.days(time.Date(2031, 5, 20, 20, 0, 0, 0, time.UTC))
	if err != nil || days != 30 || first.Format(time.RFC3339) != "2031-05-21T00:00:00+13:00" {
		t.Errorf("from the run's own day: %v, %d days, %v", first, days, err)
	}
	run := sunsetRun(t)
	if _, err := run.PlanLines(t.Context(), []string{"csv:eye>csv:none", "7"}, ask); err == nil || strings.Count(err.Error(), "the run has no sightline") != 2 {
		t.Errorf("lines that are not there: %v", err)
	}
	late := askFor("2150-01-01", "2150-01-02")
	if _, err := run.PlanLines(t.Context(), []string{"csv:eye>csv:far"}, late); !errors.Is(err, sky.ErrDates) {
		t.Errorf("a date outside the almanac: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := run.PlanLines(ctx, []string{"csv:eye>csv:far"}, ask); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	twice, err := run.PlanLines(t.Context(), []string{"csv:eye>csv:far", "csv:eye>csv:far"}, askFor("2031-05-06", "2031-05-06"))
	if err != nil || len(twice) != 1 {
		t.Errorf("a line named twice gives %d outings, %v", len(twice), err)
	}
	// The line's columns are those of the table.
	text, err := json.Marshal(twice)
	if err != nil || !strings.HasPrefix(string(text), `[{"line":{"observer_id":"csv:eye","observer_name":"EYE",`) || !strings.Contains(string(text), `"alignment":null`) {
		t.Errorf("JSON %.200s, %v", text, err)
	}
}
