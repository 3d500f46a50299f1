package pipeline

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"time"
	_ "time/tzdata" // time zones by name, on machines without the database too

	"farstation/geodesy"
	"farstation/geodesy/light"
	"farstation/geodesy/sky"
)

const (
	// passRad is how near to the top a body must come to be listed: twice its diameter.
	passRad = 1 * radPerDeg
	// glareRad is how near to the sun no optical finder may be used.
	glareRad = 10 * radPerDeg
	// lowestTracedRad is the apparent elevation down to which the sky is traced.
	lowestTracedRad = -3 * radPerDeg
)

// tracedRefraction is the lift of a body by its true elevation, from rays traced out of an eye through layered air: a table, since a trace for each
// instant of a month costs too much. Between its entries, 0.02° apart near the horizontal, it is straight, within 0.5″. Below an apparent −3°
// the lift found there is kept. It returns an error where the air catches rays, so that none of the sky shows.
func tracedRefraction(air *light.Profile, eyeM, radiusM float64) (sky.Refraction, error) {
	var trueRad, liftRad []float64
	for apparentDeg := lowestTracedRad / radPerDeg; apparentDeg <= 90; {
		lift, _, err := air.SkyRefraction(eyeM, apparentDeg*radPerDeg, radiusM)
		if err != nil {
			return nil, err
		}
		at := apparentDeg*radPerDeg - lift
		if n := len(trueRad); n > 0 && at <= trueRad[n-1] {
			return nil, fmt.Errorf("the air shows a body %.2f° high twice: ducting", apparentDeg)
		}
		trueRad, liftRad = append(trueRad, at), append(liftRad, lift)
		switch {
		case apparentDeg < 5:
			apparentDeg += 0.02
		case apparentDeg < 20:
			apparentDeg += 0.1
		default:
			apparentDeg++
		}
	}
	return func(at float64) float64 {
		i := min(max(sort.SearchFloat64s(trueRad, at), 1), len(trueRad)-1)
		share := math.Min(math.Max((at-trueRad[i-1])/(trueRad[i]-trueRad[i-1]), 0), 1)
		return liftRad[i-1] + share*(liftRad[i]-liftRad[i-1])
	}, nil
}

// fillSky fills sun and moon of the dates. Top and bodies are seen through the same layers of air.
func (p *planner) fillSky(context.Context) error {
	l, s := &p.out.Line, &p.out.Sky
	*s = OutingSky{TimeZone: p.ask.TimeZone, Days: []OutingDay{}, Windows: []OutingWindow{}, Passes: []OutingPass{}, Glare: []OutingWindow{}}
	air := p.ask.Air
	if air == nil && p.opts.sounding != nil {
		air = p.opts.sounding.profile
	}
	if air == nil {
		var err error
		if air, err = light.StandardProfile(0); err != nil {
			return err
		}
	}
	refraction, err := tracedRefraction(air, l.EyeHeightM, l.RadiusM)
	if err != nil {
		p.note("Sun and moon are seen through customary refraction, since the air given shows none of the sky: %v.", err)
		refraction = sky.StandardRefraction
	}
	view := skyView{
		eye:        sky.Observer{Position: p.observer.At, HeightM: p.eyeM, Refraction: refraction},
		azimuthRad: l.AzimuthDeg * radPerDeg, elevationRad: l.ElevationDeg * radPerDeg, from: p.first, days: p.days,
		centreAzimuthRad: p.out.Frame.CentreAzimuthDeg * radPerDeg, centreElevationRad: p.out.Frame.CentreElevationDeg * radPerDeg,
		spreadRad: p.opts.KSD * l.DistanceM / (2 * l.RadiusM),
	}
	if k, err := air.EquivalentK(l.EyeHeightM, l.TopHeightM, l.DistanceM, l.RadiusM); err == nil {
		view.elevationRad = geodesy.ApparentElevationRad(p.eyeM, p.out.Target.TopHeightM+p.run.world.Geoid.UndulationM(p.far.At), l.DistanceM, l.RadiusM, k)
		p.note("Sun and moon pass the top as both are seen through the same layers of air, which bend light to the top as k = %.3f does; the line has k = %.3f.", k, l.KFree)
	}
	// The horizon of rise and set: that of the sea where the line meets it, else level.
	if l.DipArcmin != nil {
		view.horizon.DipRad = *l.DipArcmin / arcminPerRad
	}
	if view.horizon.RefractionRad, _, err = air.SkyRefraction(l.EyeHeightM, -view.horizon.DipRad, l.RadiusM); err != nil {
		view.horizon.RefractionRad = sky.DefaultHorizon().RefractionRad
	}
	filled, err := view.look()
	if err != nil {
		return err
	}
	filled.TimeZone = p.ask.TimeZone
	*s = *filled
	if _, offsetS := p.first.Zone(); math.Abs(math.Remainder(l.ObserverLonDeg/15-float64(offsetS)/3600, 24)) > 3 {
		p.note("Days and times are those of %s, which is hours from the sun's time at the stand: name the zone of the place with --time-zone.", s.TimeZone)
	}
	if l.SkyBehind != nil && !*l.SkyBehind && len(s.Passes) > 0 {
		p.note("Ground stands behind the top: sun and moon set behind that, not behind the top itself.")
	}
	return nil
}

// skyView is what sun and moon are looked at for: a top, a frame, and the days.
type skyView struct {
	eye                                  sky.Observer
	horizon                              sky.Horizon
	azimuthRad, elevationRad             float64 // of the top, as it appears
	centreAzimuthRad, centreElevationRad float64 // of the frame
	spreadRad                            float64 // of the top's apparent elevation, from k
	from                                 time.Time
	days                                 int
}

// look finds days, windows, passes and glare. Times are whole seconds in the time zone of from.
func (v *skyView) look() (*OutingSky, error) {
	s := &OutingSky{Days: []OutingDay{}, Windows: []OutingWindow{}, Passes: []OutingPass{}, Glare: []OutingWindow{}}
	suns, err := sky.Days(sky.Sun, v.eye, v.horizon, v.from, v.days)
	if err != nil {
		return nil, err
	}
	moons, err := sky.Days(sky.Moon, v.eye, v.horizon, v.from, v.days)
	if err != nil {
		return nil, err
	}
	for i := range suns {
		s.Days = append(s.Days, newOutingDay(&suns[i], &moons[i]))
	}
	to := suns[len(suns)-1].To
	windows, err := sky.Windows(v.eye, v.azimuthRad, v.elevationRad, v.from, to)
	if err != nil {
		return nil, err
	}
	words := map[sky.Lighting]string{sky.FrontLight: "front", sky.SideLight: "side", sky.Silhouette: "silhouette"}
	for _, w := range windows {
		s.Windows = append(s.Windows, v.window(w.From, w.To, words[w.Lighting]))
	}
	for _, body := range []sky.Body{sky.Sun, sky.Moon} {
		passes, err := sky.Passes(body, v.eye, v.azimuthRad, v.elevationRad, v.from, to, passRad)
		if err != nil {
			return nil, err
		}
		for _, pass := range passes {
			s.Passes = append(s.Passes, v.pass(body, pass))
		}
	}
	slices.SortStableFunc(s.Passes, func(a, b OutingPass) int { return a.At.Compare(b.At) })
	near, err := sky.Passes(sky.Sun, v.eye, v.centreAzimuthRad, v.centreElevationRad, v.from, to, glareRad)
	if err != nil {
		return nil, err
	}
	up := upStretches(suns)
	for _, pass := range near {
		for _, day := range up {
			if glare, some := day.overlap(pass.From, pass.To); some {
				s.Glare = append(s.Glare, v.window(glare.from, glare.to, "sun_near_frame"))
			}
		}
	}
	return s, nil
}

// stretch is a stretch of time.
type stretch struct{ from, to time.Time }

// upStretches are those of days in a row during which a body's upper limb is over the horizon.
func upStretches(days []sky.Day) []stretch {
	var up []stretch
	var since time.Time // zero while it is below
	for i := range days {
		d := &days[i]
		limb := &d.Limb
		if i == 0 && (limb.State == sky.StaysAbove || len(limb.Sets) > 0 && (len(limb.Rises) == 0 || limb.Sets[0].Before(limb.Rises[0]))) {
			since = d.From
		}
		rises, sets := limb.Rises, limb.Sets
		for len(rises)+len(sets) > 0 {
			if len(sets) == 0 || len(rises) > 0 && rises[0].Before(sets[0]) {
				since, rises = rises[0], rises[1:]
				continue
			}
			up = append(up, stretch{since, sets[0]})
			since, sets = time.Time{}, sets[1:]
		}
	}
	if !since.IsZero() {
		up = append(up, stretch{since, days[len(days)-1].To})
	}
	return up
}

// overlap is the part of two stretches that they share.
func (s stretch) overlap(from, to time.Time) (shared stretch, some bool) {
	if s.from.After(from) {
		from = s.from
	}
	if s.to.Before(to) {
		to = s.to
	}
	return stretch{from, to}, from.Before(to)
}

func (v *skyView) zoned(t time.Time) time.Time { return t.Round(time.Second).In(v.from.Location()) }

func (v *skyView) window(from, to time.Time, kind string) OutingWindow {
	sun := v.eye.Place(sky.Sun, sky.At(from.Add(to.Sub(from)/2)))
	return OutingWindow{From: v.zoned(from), To: v.zoned(to), Light: kind, SunAzimuthDeg: sun.AzimuthRad / radPerDeg, SunElevationDeg: sun.ApparentElevationRad / radPerDeg}
}

func (v *skyView) pass(body sky.Body, pass sky.Pass) OutingPass {
	at := sky.At(pass.Closest)
	out := OutingPass{
		Body: strings.ToLower(body.String()), At: v.zoned(pass.Closest), SeparationArcmin: pass.SeparationRad * arcminPerRad,
		SDSeconds: math.Abs(pass.SecondsPerElevationRad) * v.spreadRad, BodyElevationDeg: v.eye.Place(body, at).ApparentElevationRad / radPerDeg,
	}
	if body == sky.Moon {
		out.MoonLit = pointer(sky.MoonIllumination(at).Fraction)
	}
	return out
}

// newOutingDay is one day's rise, set and twilights; of two of a kind the first, and the state says so.
func newOutingDay(sun, moon *sky.Day) OutingDay {
	first := func(times []time.Time) *time.Time {
		if len(times) == 0 {
			return nil
		}
		return pointer(times[0].Round(time.Second).In(sun.From.Location()))
	}
	state := func(c sky.Crossings) string {
		words := c.State.String()
		if len(c.Rises) > 1 {
			words += ", rises twice"
		}
		if len(c.Sets) > 1 {
			words += ", sets twice"
		}
		return words
	}
	noon := sun.From.Add(sun.To.Sub(sun.From) / 2)
	return OutingDay{
		Date: sun.From.Format(time.DateOnly), State: state(sun.Limb), Sunrise: first(sun.Limb.Rises), Sunset: first(sun.Limb.Sets),
		CivilDawn: first(sun.Civil.Rises), CivilDusk: first(sun.Civil.Sets), NauticalDawn: first(sun.Nautical.Rises), NauticalDusk: first(sun.Nautical.Sets),
		AstronomicalDawn: first(sun.Astronomical.Rises), AstronomicalDusk: first(sun.Astronomical.Sets),
		Moonrise: first(moon.Limb.Rises), Moonset: first(moon.Limb.Sets), MoonState: state(moon.Limb), MoonLit: sky.MoonIllumination(sky.At(noon)).Fraction,
	}
}
