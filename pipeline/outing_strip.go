package pipeline

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// Bounds of the search for places to stand: how far around an observer, how many places of a grid are looked at, how many of those in line are
// walked, and how many are listed.
const (
	stripReachM   = 500
	mostGrid      = 400_000
	mostWalked    = 1500
	mostInStrip   = 300
	metresPerDegM = 111_195 // of a great circle on the sphere of the mean radius, 6,371 km
)

// gridOf is places spacingM apart over a box of a height and width in degrees, from its south-west corner; wider apart where they would be too many.
func gridOf(southWest geodesy.LatLon, heightDeg, widthDeg, spacingM float64) []geodesy.LatLon {
	widestM := metresPerDegM * widthDeg * math.Cos((southWest.LatDeg+heightDeg/2)*math.Pi/180)
	spacingM = math.Max(spacingM, math.Sqrt(metresPerDegM*heightDeg*widestM/mostGrid))
	rows, columns := math.Ceil(metresPerDegM*heightDeg/spacingM), math.Ceil(widestM/spacingM)
	var places []geodesy.LatLon
	for i := 0.0; i <= rows; i++ {
		for j := 0.0; j <= columns; j++ {
			places = append(places, geodesy.LatLon{
				LatDeg: math.Min(southWest.LatDeg+heightDeg*i/math.Max(rows, 1), 90),
				LonDeg: math.Remainder(southWest.LonDeg+widthDeg*j/math.Max(columns, 1), 360),
			})
		}
	}
	return places
}

// postM is the spacing of places where no terrain has one.
const postM = 90

// placesAround is a grid of places within reachM of one, at most spacingM apart.
func placesAround(at geodesy.LatLon, reachM, spacingM float64) []geodesy.LatLon {
	if !(spacingM > 0) || spacingM > postM {
		spacingM = postM
	}
	high := reachM / metresPerDegM
	wide := high / math.Max(math.Cos(at.LatDeg*math.Pi/180), 0.01)
	grid := gridOf(geodesy.LatLon{LatDeg: at.LatDeg - high, LonDeg: at.LonDeg - wide}, 2*high, 2*wide, spacingM)
	return slices.DeleteFunc(grid, func(q geodesy.LatLon) bool { return geodesy.WGS84.Inverse(at, q).DistanceM > reachM })
}

// placesWithin is a grid of places over an area.
func placesWithin(area *Area, spacingM float64) []geodesy.LatLon {
	width := area.East - area.West
	if width < 0 {
		width += 360
	}
	if !(spacingM > 0) {
		spacingM = postM
	}
	return gridOf(geodesy.LatLon{LatDeg: area.South, LonDeg: area.West}, area.North-area.South, width, spacingM)
}

// everyNth keeps at most most of a list, evenly over it.
func everyNth[T any](list []T, most int) []T {
	if len(list) <= most {
		return list
	}
	kept := make([]T, most)
	for i := range kept {
		kept[i] = list[i*len(list)/most]
	}
	return kept
}

// strip lists the places on dry ground from which the near and far top line up within the tolerance and show what the alignment's case has.
func (p *planner) strip(ctx context.Context, grid []geodesy.LatLon) ([]OutingPlace, error) {
	tolerance := p.opts.ToleranceDeg
	kind := BothInView
	if a := p.out.Alignment; a != nil {
		if kind = a.Case; kind == NearMissingFarSeen {
			tolerance = math.Max(tolerance, p.opts.FrameDeg/2)
		}
	}
	type spot struct {
		at            geodesy.LatLon
		groundM, turn float64
	}
	var inLine []spot
	for i, at := range grid {
		if i%1024 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		// The sea is at 0 m, and nobody stands there.
		groundM, ok := p.run.world.Store.HeightM(at)
		if !ok || groundM == 0 {
			continue
		}
		if turn := turnDeg(at, p.near, p.far); math.Abs(turn) <= tolerance {
			inLine = append(inLine, spot{at, groundM, turn})
		}
	}
	if walked := everyNth(inLine, mostWalked); len(walked) < len(inLine) {
		p.note("%d places stand in line: %d of them, spread evenly, were looked at.", len(inLine), len(walked))
		inLine = walked
	}
	places := []OutingPlace{}
	for _, s := range inLine {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		stand := gazetteer.Feature{ID: placeID(s.at), At: s.at, GroundHeightM: s.groundM}
		near, err := p.tracer.glance(&stand, p.near)
		if err != nil {
			return nil, err
		}
		far, err := p.tracer.glance(&stand, p.far)
		if err != nil {
			return nil, err
		}
		if near.distanceM < far.distanceM && shows(kind, near, far, s.turn, p.near) {
			places = append(places, OutingPlace{
				LatitudeDeg: s.at.LatDeg, LongitudeDeg: s.at.LonDeg, GroundM: s.groundM, TurnArcmin: s.turn * 60,
				SeparationArcmin: (far.elevationRad - near.elevationRad) * arcminPerRad, MarginArcmin: far.marginRad * arcminPerRad,
			})
		}
	}
	return places, nil
}

// shows tells whether a place shows what a case says. A near structure covers a far top that stands lower than its own, within its width.
func shows(kind Case, near, far glance, turnDeg float64, nearTop *gazetteer.Feature) bool {
	switch kind {
	case FarBehindNear:
		return far.judged && far.marginRad < 0 && far.planeRad > 0 && near.marginRad >= 0
	case NearMissingFarSeen:
		return far.judged && near.judged && far.marginRad > 0 && near.marginRad < 0 && near.planeRad > 0
	}
	covered := far.elevationRad < near.elevationRad && math.Abs(turnDeg)*math.Pi/180 < widthM(nearTop.Kind)/2/near.distanceM
	return far.judged && far.marginRad > 0 && near.marginRad >= 0 && !covered
}

// placeID names a place that no gazetteer lists.
func placeID(at geodesy.LatLon) string { return fmt.Sprintf("place:%.5f,%.5f", at.LatDeg, at.LonDeg) }

// ErrNowhere marks an area without a place to stand.
var ErrNowhere = errors.New("no place of the area has the two tops in line")

// sureArcmin is the margin from which on more makes a place no better.
const sureArcmin = 2

// PlanArea plans an outing to the place of an area from which two features of the run, a near and a far one, line up: of all such places the one
// with the surest far top, and of those the one most nearly in line. It returns ErrNowhere where there is none.
func (r *OutingRun) PlanArea(ctx context.Context, nearID, farID string, area Area, ask OutingOptions) (*Outing, error) {
	ends := map[string]*gazetteer.Feature{}
	for _, id := range []string{nearID, farID} {
		f, err := r.settledFeature(id)
		if err != nil {
			return nil, fmt.Errorf("%w: give the feature_id of features.parquet", err)
		}
		ends[id] = f
	}
	// A planner without an observer yet, to find one.
	out := &Outing{Notes: []string{}}
	p := &planner{run: r, opts: r.opts, ask: &ask, out: out, near: ends[nearID], far: ends[farID]}
	p.opts.ToleranceDeg = cmp.Or(ask.ToleranceDeg, p.opts.ToleranceDeg)
	p.tracer = NewTracer(p.opts, r.world.Store, r.world.Geoid)
	middle := geodesy.LatLon{LatDeg: (area.South + area.North) / 2, LonDeg: area.West}
	places, err := p.strip(ctx, placesWithin(&area, r.world.spacingAtM(middle)))
	if err != nil {
		return nil, err
	}
	if len(places) == 0 {
		return nil, fmt.Errorf("%w: %s and %s, within %g°, the far one in view and not covered: widen --area, or --tolerance-deg", ErrNowhere, p.near.Name, p.far.Name, p.opts.ToleranceDeg)
	}
	best := slices.MinFunc(places, func(a, b OutingPlace) int {
		return cmp.Or(cmp.Compare(math.Min(b.MarginArcmin, sureArcmin), math.Min(a.MarginArcmin, sureArcmin)), cmp.Compare(math.Abs(a.TurnArcmin), math.Abs(b.TurnArcmin)))
	})
	at := geodesy.LatLon{LatDeg: best.LatitudeDeg, LonDeg: best.LongitudeDeg}
	observer, err := r.world.FeatureAt(r.opts, placeID(at), at, math.NaN())
	if err != nil {
		return nil, err
	}
	r.Features[observer.ID] = featureRow(&observer, r.world.Geoid.UndulationM(at))
	if out.Line, out.Alignment, err = r.lineUp(&observer, p.near, p.far); err != nil {
		return nil, err
	}
	planned, err := r.newPlanner(out, &ask)
	if err != nil {
		return nil, err
	}
	planned.note("The stand is a place of the area, not a feature of the run: the claim is of this line as computed here, and claim --check --run does not find it in the run.")
	out.Stand.Strip = everyNth(places, mostInStrip)
	if len(places) > mostInStrip {
		planned.note("%d places of the area serve: %d of them, spread evenly, are listed.", len(places), mostInStrip)
	}
	return out, planned.plan(ctx)
}

// lineUp predicts the far line of an observer that the run does not have, and its alignment with a near top.
func (r *OutingRun) lineUp(observer, near, far *gazetteer.Feature) (Sightline, *Alignment, error) {
	opts := r.opts
	opts.KeepAll = true
	tracer := NewTracer(opts, r.world.Store, r.world.Geoid)
	var seenTops [2]seen
	for i, top := range []*gazetteer.Feature{near, far} {
		trace, err := tracer.Trace(observer, top, true)
		if err != nil {
			return Sightline{}, nil, err
		}
		if !trace.Judged {
			return Sightline{}, nil, fmt.Errorf("line from %s to %s: %w", observer.Name, top.Name, terrain.ErrTooClose)
		}
		seenTops[i] = seen{trace: &trace, target: top}
	}
	line := seenTops[1].trace.Row
	if seenTops[0].trace.Row.Chance == nil || line.Chance == nil {
		return line, nil, nil // undecided: nothing is said of the two together
	}
	a := newAlignment(&opts, observer, seenTops[0], seenTops[1], BothInView)
	a.Score = scoreAlignment(&opts, &a, observer, near, far)
	line.AlignmentCount, line.BestAlignmentNearID = 1, pointer(near.ID)
	line.EvidenceSD = a.EvidenceSD
	return line, &a, nil
}
