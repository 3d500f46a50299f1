package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/camera"
)

// mostExpected bounds the tops that are traced for one photograph, the nearest first.
const mostExpected = 2000

// mostHidden bounds the hidden tops that are listed for one photograph: those that the plane would show come first.
const mostHidden = 40

// sighted is a top as it stands from a station.
type sighted struct {
	feature   *gazetteer.Feature
	arc       geodesy.Arc
	radiusM   float64
	topM      float64 // over the ellipsoid
	trace     Trace
	hasGround bool
}

// elevationRad is the apparent elevation of the top for an eye over the ellipsoid under an apparent curvature of c Earths.
func (t *sighted) elevationRad(eyeM, c float64) float64 {
	return geodesy.ApparentElevationRad(eyeM, t.topM, t.arc.DistanceM, t.radiusM, 1-c)
}

// reachable finds the tops that a station could see: whose sea horizons meet, in azimuths that within accepts, the nearest first, traced where there is
// terrain.
func (s *Scene) reachable(ctx context.Context, station int, within func(azimuthDeg float64) bool) ([]sighted, error) {
	o := s.opts.Options
	o.KeepAll = true
	observer := &s.observers[station]
	at := s.stations[station].Place
	baseM, err := s.world.lowestGroundM(ctx, &o)
	if err != nil {
		return nil, err
	}
	kMax := o.kCeiling() + keepSpreads*o.KSD
	eye := NewEnd(at, o.eyeHeightM(observer), o.eyeSDM(observer), baseM, kMax)
	place := geodesy.WGS84.ToCartesian(at, 0)
	var tops []sighted
	for i := range s.world.Features {
		f := &s.world.Features[i]
		if !f.Stands() {
			continue
		}
		top := NewEnd(f.At, topHeightM(f), o.topSDM(f), baseM, kMax)
		// Nothing is shorter than the chord, and a geodesic costs more.
		if place.Sub(geodesy.WGS84.ToCartesian(f.At, 0)).Norm() > eye.ReachM+top.ReachM+samePlaceM {
			continue
		}
		arc := geodesy.WGS84.Inverse(at, f.At)
		if arc.DistanceM < 2*o.GuardM || !IsCandidate(eye, top, arc.DistanceM, 0, 0) || !within(arc.AzimuthDeg) {
			continue
		}
		tops = append(tops, sighted{
			feature: f, arc: arc, topM: topHeightM(f) + s.world.Geoid.UndulationM(f.At),
			radiusM: geodesy.WGS84.EulerRadiusM((at.LatDeg+f.At.LatDeg)/2, (arc.AzimuthDeg+arc.EndAzimuthDeg)/2),
		})
	}
	slices.SortStableFunc(tops, func(a, b sighted) int { return cmp.Compare(a.arc.DistanceM, b.arc.DistanceM) })
	if len(tops) > mostExpected {
		s.note("%d tops could stand in the frame: the nearest %d are looked at", len(tops), mostExpected)
		tops = tops[:mostExpected]
	}
	if s.world.Index.Len() == 0 {
		return tops, nil
	}
	tracer := NewTracer(o, s.world.Store, s.world.Geoid)
	for i := range tops {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		trace, err := tracer.Trace(observer, tops[i].feature, false)
		if err != nil {
			return nil, err
		}
		tops[i].trace, tops[i].hasGround = trace, trace.Judged
	}
	return tops, nil
}

// expect lists the tops that should stand within the frames under the models' best fits.
func (s *Scene) expect(ctx context.Context, w *Weighing) error {
	w.Expected = []ExpectedTop{}
	curved, plane := w.model(ModelCurved).fit, w.model(ModelPlane).fit
	if curved == nil {
		return nil
	}
	measured := map[string]bool{}
	for i := range s.Points {
		if s.targetOf[i] >= 0 && s.Points[i].Part != PartAbsent {
			measured[s.Targets[s.targetOf[i]].ID] = true
		}
	}
	for frame := range s.Photos {
		photo, station := &s.Photos[frame], s.stationOf[frame]
		width, height := float64(photo.WidthPx), float64(photo.HeightPx)
		pose := curved.Poses[frame]
		half := math.Atan(math.Hypot(width, height)/2/pose.FocalPx) * 180 / math.Pi
		tops, err := s.reachable(ctx, station, func(azimuthDeg float64) bool {
			return math.Abs(math.Remainder(azimuthDeg-pose.AzimuthRad*180/math.Pi, 360)) <= half
		})
		if err != nil {
			return err
		}
		var hidden []ExpectedTop
		for i := range tops {
			t := &tops[i]
			top := ExpectedTop{Frame: frame + 1, ID: t.feature.ID, Name: t.feature.Name, Kind: string(t.feature.Kind), DistanceM: t.arc.DistanceM, AzimuthDeg: t.arc.AzimuthDeg,
				Measured: measured[t.feature.ID]}
			place := func(fit *camera.Fit) (xPx, yPx *float64) {
				if fit == nil {
					return nil, nil
				}
				eyeM := s.stations[station].EyeHeightM
				if eye := fitted(fit, eyeName(station)); eye.Name != "" {
					eyeM = eye.Value
				}
				x, y, ok := fit.Poses[frame].Project(t.arc.AzimuthDeg*math.Pi/180, t.elevationRad(eyeM, fit.Curvature))
				if !ok || x < 0 || y < 0 || x > width || y > height {
					return nil, nil
				}
				return &x, &y
			}
			top.CurvedXPx, top.CurvedYPx = place(curved)
			top.PlaneXPx, top.PlaneYPx = place(plane)
			if top.CurvedXPx == nil && top.PlaneXPx == nil {
				continue
			}
			if t.hasGround {
				row := &t.trace.Row
				top.Verdict, top.Chance, top.PlaneShows = row.Verdict, row.Chance, pointer(row.MarginPlaneArcmin > 0)
				if row.Verdict == Blocked {
					top.BehindM = pointer(row.GrazingDistanceM)
					top.Behind = nearestTo(tops, t, row.GrazingDistanceM)
					hidden = append(hidden, top)
					continue
				}
			}
			w.Expected = append(w.Expected, top)
		}
		slices.SortStableFunc(hidden, func(a, b ExpectedTop) int { return cmp.Compare(hiddenRank(&a), hiddenRank(&b)) })
		listed := hidden[:min(len(hidden), mostHidden)]
		slices.SortStableFunc(listed, func(a, b ExpectedTop) int { return cmp.Compare(a.DistanceM, b.DistanceM) })
		w.Expected = append(w.Expected, listed...)
		w.Hidden += len(hidden) - len(listed)
	}
	return nil
}

// hiddenRank puts first what was measured though it should be hidden, then what the plane would show.
func hiddenRank(t *ExpectedTop) int {
	switch {
	case t.Measured:
		return 0
	case *t.PlaneShows:
		return 1
	}
	return 2
}

func eyeName(station int) string { return fmt.Sprintf("eye height of station %d", station+1) }

// besideM is how far a feature may stand from the ground that hides something and still be said to hide it.
const besideM = 1500

// nearestTo names the feature that stands nearest to the ground that hides a top, "" where none is near.
func nearestTo(tops []sighted, hidden *sighted, atM float64) string {
	name, best := "", float64(besideM)
	for i := range tops {
		t := &tops[i]
		if t.feature == hidden.feature {
			continue
		}
		along := t.arc.DistanceM - atM
		across := atM * math.Remainder(t.arc.AzimuthDeg-hidden.arc.AzimuthDeg, 360) * math.Pi / 180
		if away := math.Hypot(along, across); away < best {
			name, best = t.feature.Name, away
		}
	}
	return name
}
