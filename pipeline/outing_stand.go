package pipeline

import (
	"context"
	"errors"
	"fmt"
	"math"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// glance is what a light walk says of a line, without its chance: azimuth and distance of the top, its apparent elevation under the curved model, and
// its margins over all ground.
type glance struct {
	azimuthDeg, distanceM        float64
	elevationRad                 float64
	marginRad, planeRad, grazeAt float64
	// judged is false where no ground lies outside the guards; the margins are 0 then.
	judged bool
}

// glance walks the line from an observer to a target once. Gaps are filled high. The tracer's section is that of the line afterwards.
func (t *Tracer) glance(observer, target *gazetteer.Feature) (glance, error) {
	_, ok, err := t.aim(observer, target)
	if err != nil || !ok {
		return glance{}, err
	}
	l := &t.line
	t.setAir(l.DistanceM / 2)
	g := glance{azimuthDeg: l.AzimuthDeg, distanceM: l.DistanceM}
	g.elevationRad = geodesy.ApparentElevationRad(l.From.HeightM+l.From.UndulationM, l.To.HeightM+l.To.UndulationM, l.DistanceM, l.RadiusM, t.kElevation)
	switch _, err := t.walker.Section(l, terrain.FillHigh, t.opts.GuardM, &t.section); {
	case errors.Is(err, terrain.ErrTooClose):
		return g, nil
	case err != nil:
		return g, fmt.Errorf("line from %s to %s: %w", observer.ID, target.ID, err)
	}
	// The free air's k of a line is that at its grazing point.
	_, g.grazeAt = t.section.Margin(terrain.Model{K: t.k})
	t.setAir(g.grazeAt)
	g.marginRad, g.grazeAt = t.section.Margin(terrain.Model{K: t.k})
	g.planeRad, _ = t.section.Margin(terrain.Model{Plane: true})
	g.judged = true
	return g, nil
}

// turnDeg is the azimuth of a near top less that of a far one, −180…180, from a place.
func turnDeg(at geodesy.LatLon, near, far *gazetteer.Feature) float64 {
	return math.Remainder(geodesy.WGS84.Inverse(at, near.At).AzimuthDeg-geodesy.WGS84.Inverse(at, far.At).AzimuthDeg, 360)
}

// mostAsideM bounds how far aside the limits of an alignment are sought.
const mostAsideM = 5000

// aside is how the turn between a near and a far top changes as one goes aside, square to the far line.
type aside struct {
	at        geodesy.LatLon
	rightDeg  float64
	near, far *gazetteer.Feature
}

func newAside(at geodesy.LatLon, near, far *gazetteer.Feature) aside {
	return aside{at, geodesy.WGS84.Inverse(at, far.At).AzimuthDeg + 90, near, far}
}

// turnDeg is the turn from a place so many metres to the right.
func (a aside) turnDeg(rightM float64) float64 {
	at, _ := geodesy.WGS84.Direct(a.at, a.rightDeg, rightM)
	return turnDeg(at, a.near, a.far)
}

// perM is how many degrees the turn changes by for a metre to the right: about −(1/s_n − 1/s_f) radians.
func (a aside) perM() float64 {
	const m = 10
	return (a.turnDeg(m) - a.turnDeg(-m)) / (2 * m)
}

// reaches returns how far to the right the turn is wantedDeg, negative to the left; nil where that is more than mostAsideM away. The turn falls
// all the way to the right.
func (a aside) reaches(wantedDeg float64) *float64 {
	left, right := -float64(mostAsideM), float64(mostAsideM)
	if a.turnDeg(left) < wantedDeg || a.turnDeg(right) > wantedDeg {
		return nil
	}
	for right-left > 0.01 {
		middle := (left + right) / 2
		if a.turnDeg(middle) > wantedDeg {
			left = middle
		} else {
			right = middle
		}
	}
	return pointer((left + right) / 2)
}

// fillStand fills where to stand.
func (p *planner) fillStand(ctx context.Context) error {
	s := &p.out.Stand
	o := p.observer
	*s = OutingStand{
		LatitudeDeg: o.At.LatDeg, LongitudeDeg: o.At.LonDeg, GroundM: o.GroundHeightM, GroundSDM: p.opts.groundSDM(o), EyeHeightM: p.opts.eyeHeightM(o),
		Strip: s.Strip, Draws: p.ask.Draws,
	}
	for _, eye := range []struct {
		up float64
		to **float64
	}{{-1, &s.MarginLowArcmin}, {1, &s.MarginHighArcmin}, {0, &s.MarginArcmin}} {
		opts := p.opts
		opts.EyeHeightM += eye.up
		g, err := NewTracer(opts, p.run.world.Store, p.run.world.Geoid).glance(o, p.far)
		if err != nil {
			return err
		}
		if g.judged {
			*eye.to = pointer(g.marginRad * arcminPerRad)
		}
	}
	if p.ask.Draws > 0 {
		share, err := p.run.world.DrawLine(p.opts, o, p.far, p.ask.Draws, outingSeed)
		if err != nil {
			return err
		}
		s.Drawn = &share
	}
	if p.near == nil {
		s.Strip = []OutingPlace{}
		return nil
	}
	across := newAside(o.At, p.near, p.far)
	s.AsideMPerArcmin = pointer(1 / math.Abs(across.perM()*60))
	if a := p.out.Alignment; a == nil || a.Case != NearMissingFarSeen { // such a near top stands anywhere in the frame
		s.InLineRightM = across.reaches(0)
	}
	if tolerance := p.opts.ToleranceDeg; math.Abs(across.turnDeg(0)) <= tolerance {
		if left := across.reaches(tolerance); left != nil {
			s.LostLeftM = pointer(-*left)
		}
		s.LostRightM = across.reaches(-tolerance)
	}
	perM := (p.separationRad(1) - p.separationRad(-1)) / 2
	s.UpMPerArcmin = pointer(1 / (perM * arcminPerRad))
	if s.Strip == nil { // no area was searched
		var err error
		if s.Strip, err = p.strip(ctx, placesAround(o.At, stripReachM, p.run.world.spacingAtM(o.At))); err != nil {
			return err
		}
		s.Strip = everyNth(s.Strip, mostInStrip)
	}
	return nil
}

// outingSeed makes the draws of one line the same every time.
const outingSeed = 1

// separationRad is the apparent elevation of the far top over the near one under the curved model, for an eye upM higher.
func (p *planner) separationRad(upM float64) float64 {
	k := p.out.Line.KFree
	elevation := func(f *gazetteer.Feature) float64 { return p.elevationRad(f, upM, k) }
	return elevation(p.far) - elevation(p.near)
}

// elevationRad is the apparent elevation of a top under the curved model at k, for an eye upM higher.
func (p *planner) elevationRad(f *gazetteer.Feature, upM, k float64) float64 {
	arc := geodesy.WGS84.Inverse(p.observer.At, f.At)
	radiusM := geodesy.WGS84.EulerRadiusM((p.observer.At.LatDeg+f.At.LatDeg)/2, (arc.AzimuthDeg+arc.EndAzimuthDeg)/2)
	return geodesy.ApparentElevationRad(p.eyeM+upM, topHeightM(f)+p.run.world.Geoid.UndulationM(f.At), arc.DistanceM, radiusM, k)
}
