package pipeline

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"farstation/geodesy"
)

// A metre more of water is a metre less of everything else: the line of an eye and top that stand a metre lower.
func TestOutingTide(t *testing.T) {
	at := func(lowerM float64) (*Outing, *Sightline) {
		run := outingRun(t, madeSurvey(t, 40-lowerM, 0, madeFeature{id: "far", kind: "peak", azimuthDeg: 100, km: 60, groundM: 300 - lowerM, groundSDM: 5, positionSD: 5}))
		o := oneOuting(t, run, "csv:eye>csv:far", askFor("2031-05-06", "2031-05-06"))
		return o, &o.Line
	}
	o, before := at(0)
	_, after := at(1)
	if o.Tide == nil || o.Tide.DipPerMArcmin == nil || o.Tide.ObscuredPerMM == nil {
		t.Fatalf("the line runs over the sea, tide %+v", o.Tide)
	}
	for _, v := range []struct {
		name            string
		got, want, most float64
	}{
		{"margin", o.Tide.MarginPerMArcmin, after.MarginArcmin - before.MarginArcmin, 0.002},
		{"obscured height", *o.Tide.ObscuredPerMM, *after.ObscuredHeightM + 1 - *before.ObscuredHeightM, 0.01},
		{"dip", *o.Tide.DipPerMArcmin, *after.DipArcmin - *before.DipArcmin, 1e-6},
	} {
		if math.Abs(v.got-v.want) > v.most || v.want == 0 {
			t.Errorf("%s changes by %.4f for a metre of water, want %.4f ± %v", v.name, v.got, v.want, v.most)
		}
	}
}

// The row of k says what the line says at its own k, and every k what a line of that k says.
func TestOutingByK(t *testing.T) {
	features := []madeFeature{
		{id: "near", kind: "tower", azimuthDeg: 100.05, km: 20, groundM: 30, structureM: 60, groundSDM: 2, positionSD: 5},
		{id: "far", kind: "peak", azimuthDeg: 100, km: 60, groundM: 300, groundSDM: 5, positionSD: 5},
	}
	run := outingRun(t, madeSurvey(t, 40, 0, features...))
	o := oneOuting(t, run, "csv:eye>csv:far", askFor("2031-05-06", "2031-05-06"))
	if o.Alignment == nil || o.Near == nil || o.Near.ID != "csv:near" {
		t.Fatalf("alignment %+v", o.Alignment)
	}
	observer, far, near := run.settled("csv:eye"), run.settled("csv:far"), run.settled("csv:near")
	for _, at := range o.Air.ByK {
		opts := run.opts
		opts.K = at.K
		if opts.K+keepSpreads*opts.KSD >= 1 {
			t.Fatalf("k %v is not for a survey", at.K)
		}
		p, err := run.world.PredictLine(opts, &observer, &far)
		if err != nil {
			t.Fatal(err)
		}
		n, err := run.world.PredictLine(opts, &observer, &near)
		if err != nil {
			t.Fatal(err)
		}
		separation := (p.Row.ElevationDeg - n.Row.ElevationDeg) * 60
		sameObscured := (p.Row.ObscuredHeightM == nil) == (at.ObscuredHeightM == nil) && (at.ObscuredHeightM == nil || math.Abs(*p.Row.ObscuredHeightM-*at.ObscuredHeightM) < 1e-6)
		if math.Abs(p.Row.MarginArcmin-at.MarginArcmin) > 1e-6 || !sameObscured || math.Abs(separation-*at.SeparationArcmin) > 0.01 {
			t.Errorf("k %v: margin %.4f′ and separation %.4f′, a line of that k has %.4f′ and %.4f′", at.K, at.MarginArcmin, *at.SeparationArcmin, p.Row.MarginArcmin, separation)
		}
	}
	i := slices.IndexFunc(o.Air.ByK, func(at OutingAtK) bool { return at.K == o.Line.KFree })
	if i < 0 || math.Abs(o.Air.ByK[i].MarginArcmin-o.Line.MarginArcmin) > 1e-9 || math.Abs(*o.Stand.MarginArcmin-o.Line.MarginArcmin) > 1e-9 {
		t.Errorf("margin %v′ at the line's own k, %v′ at the stand, the line has %v′", o.Air.ByK[max(i, 0)].MarginArcmin, *o.Stand.MarginArcmin, o.Line.MarginArcmin)
	}
	// One metre up, by first order 1/s_n − 1/s_f.
	if want := 1 / ((1/20e3 - 1/60e3) * arcminPerRad); math.Abs(*o.Stand.UpMPerArcmin-want) > 0.002*want {
		t.Errorf("%.3f m up for 1′, want %.3f", *o.Stand.UpMPerArcmin, want)
	}
	if !(*o.Stand.MarginLowArcmin < *o.Stand.MarginArcmin && *o.Stand.MarginArcmin < *o.Stand.MarginHighArcmin) {
		t.Errorf("margins %v, %v, %v with the eye a metre lower, as it is, higher", *o.Stand.MarginLowArcmin, *o.Stand.MarginArcmin, *o.Stand.MarginHighArcmin)
	}
	claim, err := run.NewAlignmentClaim(o.Alignment)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := claim.Encode(); err != nil || claim.SHA256 != o.ClaimSHA256 {
		t.Errorf("the claim of the sheet has the hash %s, that of the alignment %s, %v", o.ClaimSHA256, claim.SHA256, err)
	}
	checkSkyline(t, run, o)
}

// checkSkyline wants a bare sea horizon beside the tops, and both tops in the frame with what the line says of them.
func checkSkyline(t *testing.T, run *OutingRun, o *Outing) {
	t.Helper()
	f := &o.Frame
	if len(f.SkylineAzimuthDeg) != skylineSteps+1 {
		t.Fatalf("%d azimuths of the skyline", len(f.SkylineAzimuthDeg))
	}
	dip, _, err := geodesy.SeaHorizon(40, o.Line.RadiusM, o.Line.KFree)
	if err != nil {
		t.Fatal(err)
	}
	// Tiles of sea have posts 1′ apart, and the geoid's slope turns the horizon by some seconds.
	for i, curved := range f.SkylineCurvedDeg {
		if math.Abs(curved*60+dip*arcminPerRad) > 0.2 || f.SkylinePlaneDeg[i] != 0 {
			t.Errorf("azimuth %.2f°: skyline at %.3f′ and on the plane at %v°, want the sea horizon at %.3f′ and 0", f.SkylineAzimuthDeg[i], curved*60, f.SkylinePlaneDeg[i], -dip*arcminPerRad)
		}
	}
	roles := map[string]*OutingTop{}
	for i := range f.Tops {
		roles[f.Tops[i].Role] = &f.Tops[i]
	}
	far := roles["far"]
	if far == nil || roles["near"] == nil {
		t.Fatalf("tops of the frame: %+v", f.Tops)
	}
	if math.Abs(far.CurvedDeg-o.Line.ElevationDeg)*60 > 0.005 || math.Abs(far.PlaneDeg-o.Line.ElevationPlaneDeg)*60 > 1e-9 || !far.InView || !far.OnPlane || !(far.KLowDeg < far.CurvedDeg && far.CurvedDeg < far.KHighDeg) {
		t.Errorf("far top %+v, the line has %v° and %v°", far, o.Line.ElevationDeg, o.Line.ElevationPlaneDeg)
	}
}

// Every place around an observer of the Borders, held against lines of its own: those of the strip show both tops within the tolerance, the
// others do not.
func TestOutingStrip(t *testing.T) {
	r := verifiedSurvey(t)
	run := outingRun(t, r)
	// The alignment whose strip ends soonest aside.
	best := slices.MinFunc(r.Alignments, func(a, b Alignment) int {
		near := func(a Alignment) float64 {
			if a.Case != BothInView || math.Abs(a.AzimuthDifferenceArcmin) > 10 || a.NearInViewChance < 0.9 || a.FarInViewChance < 0.9 {
				return math.Inf(1)
			}
			return a.NearDistanceM
		}
		return int(math.Copysign(1, near(a)-near(b)))
	})
	o := &Outing{Alignment: &best}
	o.Line.ObserverID, o.Line.TargetID = best.ObserverID, best.FarID
	ask := askFor("2031-05-06", "2031-05-06")
	p, err := run.newPlanner(o, &ask)
	if err != nil {
		t.Fatal(err)
	}
	grid := placesAround(p.observer.At, 250, 0)
	strip, err := p.strip(t.Context(), grid)
	if err != nil {
		t.Fatal(err)
	}
	said := map[string]*OutingPlace{}
	for i := range strip {
		said[placeID(geodesy.LatLon{LatDeg: strip[i].LatitudeDeg, LonDeg: strip[i].LongitudeDeg})] = &strip[i]
	}
	serving := 0
	for _, at := range grid {
		stand, err := run.world.FeatureAt(run.opts, placeID(at), at, math.NaN())
		if err != nil {
			t.Fatal(err)
		}
		far, errFar := run.world.PredictLine(run.opts, &stand, p.far)
		near, errNear := run.world.PredictLine(run.opts, &stand, p.near)
		if err := errors.Join(errFar, errNear); err != nil {
			t.Fatal(err)
		}
		turn := math.Mod(near.Row.AzimuthDeg-far.Row.AzimuthDeg+540, 360) - 180
		serves := math.Abs(turn) <= run.opts.ToleranceDeg && far.Row.MarginArcmin > 0 && near.Row.MarginArcmin >= 0
		place := said[stand.ID]
		if serves != (place != nil) {
			t.Errorf("%s: turn %.3f°, margins %.3f′ and %.3f′; in the strip: %v", stand.ID, turn, near.Row.MarginArcmin, far.Row.MarginArcmin, place != nil)
		}
		if place == nil {
			continue
		}
		serving++
		if math.Abs(place.TurnArcmin-turn*60) > 1e-6 || math.Abs(place.MarginArcmin-far.Row.MarginArcmin) > 1e-6 || math.Abs(place.SeparationArcmin-(far.Row.ElevationDeg-near.Row.ElevationDeg)*60) > 1e-6 {
			t.Errorf("%s: %+v, its lines have turn %v′, margin %v′", stand.ID, place, turn*60, far.Row.MarginArcmin)
		}
	}
	t.Logf("%s, %s before %s: %d of %d places serve", best.ObserverName, best.NearName, best.FarName, serving, len(grid))
	if serving == 0 || serving == len(grid) {
		t.Errorf("%d of %d places serve: that tells nothing", serving, len(grid))
	}

	// The same two tops for an area around the observer: the stand found serves, and is the surest of those that are most in line.
	area := Area{West: p.observer.At.LonDeg - 0.006, East: p.observer.At.LonDeg + 0.006, South: p.observer.At.LatDeg - 0.004, North: p.observer.At.LatDeg + 0.004}
	found, err := run.PlanArea(t.Context(), best.NearID, best.FarID, area, ask)
	if err != nil {
		t.Fatal(err)
	}
	if l := &found.Line; !(l.MarginArcmin > 0) || found.Alignment == nil || math.Abs(found.Alignment.AzimuthDifferenceArcmin) > run.opts.ToleranceDeg*60 || len(found.Stand.Strip) == 0 || found.Claim == nil {
		t.Errorf("the area's stand has margin %v′, alignment %+v", l.MarginArcmin, found.Alignment)
	}
	far := Area{West: p.observer.At.LonDeg - 0.4, East: p.observer.At.LonDeg - 0.399, South: p.observer.At.LatDeg - 0.3, North: p.observer.At.LatDeg - 0.299}
	if _, err := run.PlanArea(t.Context(), best.NearID, best.FarID, far, ask); !errors.Is(err, ErrNowhere) {
		t.Errorf("an area far aside: %v, want ErrNowhere", err)
	}
	if _, err := run.PlanArea(t.Context(), "csv:none", best.FarID, area, ask); err == nil {
		t.Error("a near feature that is not there is no error")
	}
}

// Grids cross the date line, stay within poles, and never grow past their bound.
func TestOutingGrid(t *testing.T) {
	for _, c := range []struct {
		area Area
		most int
	}{
		{Area{West: 179.99, East: -179.99, South: -17, North: -16.99}, 1000}, {Area{West: -180, East: 180, South: -90, North: 90}, mostGrid + 5000}, {Area{West: 5, East: 5, South: 40, North: 40}, 1},
	} {
		grid := placesWithin(&c.area, 90)
		if len(grid) == 0 || len(grid) > c.most {
			t.Errorf("%+v: %d places, want up to %d", c.area, len(grid), c.most)
		}
		for _, at := range grid {
			// Rounding may put the edge a hair outside.
			inside := c.area.contains(geodesy.LatLon{LatDeg: math.Round(at.LatDeg*1e9) / 1e9, LonDeg: math.Round(at.LonDeg*1e9) / 1e9})
			if !inside {
				t.Fatalf("%+v: %v lies outside", c.area, at)
			}
		}
	}
	if got := fmt.Sprint(everyNth([]int{0, 1, 2, 3, 4, 5, 6}, 3)); got != "[0 2 4]" {
		t.Errorf("every n-th of seven, three: %s", got)
	}
}
