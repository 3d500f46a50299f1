package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// Bounds of the expected frame.
const (
	skylineSteps   = 200   // rays to a frame, less one
	skylinePast    = 1.5   // how far past the target they go, as a share of its distance …
	skylineMostM   = 500e3 // … and at most
	mostFrameTrace = 600   // tops traced, the nearest first
	mostFrameTops  = 60    // tops listed
)

// planeRad is the elevation of a top on the plane.
func (p *planner) planeRad(f *gazetteer.Feature) float64 {
	return geodesy.PlaneElevationRad(p.opts.eyeHeightM(p.observer), topHeightM(f), geodesy.WGS84.Inverse(p.observer.At, f.At).DistanceM)
}

// fillFrame fills the expected frame: its angles, the tops in it and its skyline under both models.
func (p *planner) fillFrame(ctx context.Context) error {
	f := &p.out.Frame
	l, lens := &p.out.Line, &p.out.Lens
	const deg = 180 / math.Pi
	wide, high := lens.SensorWidthMM, lens.SensorHeightMM
	if f.Upright {
		wide, high = high, wide
	}
	wanted := p.wanted()
	f.WidthDeg, f.HeightDeg = angleOfViewDeg(wide, lens.FocalMM), angleOfViewDeg(high, lens.FocalMM)
	f.CentreAzimuthDeg = math.Mod(l.AzimuthDeg+(wanted.left+wanted.right)/2*deg+360, 360)
	f.CentreElevationDeg = (wanted.bottom + wanted.top) / 2 * deg
	if (wanted.right-wanted.left)*deg > f.WidthDeg || (wanted.top-wanted.bottom)*deg > f.HeightDeg {
		p.note("At %g mm one frame does not hold the tops and %s.", lens.FocalMM, wanted.low)
	}
	if err := p.topsInFrame(ctx); err != nil {
		return err
	}
	return p.skyline(ctx)
}

// topsInFrame lists the tops in the frame's azimuths that are in view under either model, and always the far and near one.
func (p *planner) topsInFrame(ctx context.Context) error {
	f, l := &p.out.Frame, &p.out.Line
	type top struct {
		feature *gazetteer.Feature
		arc     geodesy.Arc
	}
	var tops []top
	eye := geodesy.WGS84.ToCartesian(p.observer.At, 0)
	farthestM := math.Min(skylinePast*l.DistanceM, skylineMostM)
	for i := range p.run.world.Features {
		feature := &p.run.world.Features[i]
		// Nothing is shorter than the chord, and a geodesic costs more.
		if feature.ID == p.observer.ID || eye.Sub(geodesy.WGS84.ToCartesian(feature.At, 0)).Norm() > farthestM+samePlaceM {
			continue
		}
		arc := geodesy.WGS84.Inverse(p.observer.At, feature.At)
		role := p.roleOf(feature.ID)
		if role == "" && (arc.DistanceM < 2*p.opts.GuardM || math.Abs(math.Remainder(arc.AzimuthDeg-f.CentreAzimuthDeg, 360)) > f.WidthDeg/2) {
			continue
		}
		tops = append(tops, top{feature, arc})
	}
	slices.SortStableFunc(tops, func(a, b top) int { return cmp.Compare(a.arc.DistanceM, b.arc.DistanceM) })
	if len(tops) > mostFrameTrace {
		p.note("%d tops lie in the azimuths of the frame: the nearest %d, and those of the line, were looked at.", len(tops), mostFrameTrace)
	}
	f.Tops = []OutingTop{}
	k, sd := l.KFree, p.opts.KSD
	for i, t := range tops {
		if err := ctx.Err(); err != nil {
			return err
		}
		role := p.roleOf(t.feature.ID)
		if i >= mostFrameTrace && role == "" {
			continue
		}
		g, err := p.tracer.glance(p.observer, t.feature)
		if err != nil {
			return err
		}
		inView, onPlane := g.judged && g.marginRad >= 0, g.judged && g.planeRad > 0
		if role == "" && !inView && !onPlane {
			continue
		}
		const deg = 180 / math.Pi
		f.Tops = append(f.Tops, OutingTop{
			ID: t.feature.ID, Name: t.feature.Name, DistanceM: t.arc.DistanceM, AzimuthDeg: t.arc.AzimuthDeg,
			CurvedDeg: p.elevationRad(t.feature, 0, k) * deg, KLowDeg: p.elevationRad(t.feature, 0, k-2*sd) * deg, KHighDeg: p.elevationRad(t.feature, 0, k+2*sd) * deg,
			PlaneDeg: p.planeRad(t.feature) * deg, InView: inView, OnPlane: onPlane, Role: role,
		})
	}
	if len(f.Tops) > mostFrameTops {
		p.note("%d tops of the frame are in view under one model or the other: the %d highest in the frame are listed.", len(f.Tops), mostFrameTops)
		slices.SortStableFunc(f.Tops, func(a, b OutingTop) int {
			return cmp.Or(-cmp.Compare(len(a.Role), len(b.Role)), -cmp.Compare(max(a.CurvedDeg, a.PlaneDeg), max(b.CurvedDeg, b.PlaneDeg)))
		})
		f.Tops = f.Tops[:mostFrameTops]
		slices.SortStableFunc(f.Tops, func(a, b OutingTop) int { return cmp.Compare(a.DistanceM, b.DistanceM) })
	}
	return nil
}

// roleOf is what a top is to the line: far, near or nothing.
func (p *planner) roleOf(id string) string {
	switch {
	case id == p.far.ID:
		return "far"
	case p.near != nil && id == p.near.ID:
		return "near"
	}
	return ""
}

// skyline finds the highest ground by azimuth, to half as far again as the target: at the edges of the cells that each ray crosses, since
// ground is nearly straight in between. Missing terrain counts as sea.
func (p *planner) skyline(ctx context.Context) error {
	f := &p.out.Frame
	grid := p.run.world.Geoid
	reachM := math.Min(skylinePast*p.out.Line.DistanceM, skylineMostM)
	walker := terrain.NewWalker(p.run.world.Store, grid, p.opts.SeaLevelM)
	eyeHeightM, k := p.opts.eyeHeightM(p.observer), p.out.Line.KFree
	from := terrain.End{At: p.observer.At, HeightM: eyeHeightM, UndulationM: p.eyeM - eyeHeightM}
	line := &terrain.Line{}
	f.SkylineAzimuthDeg, f.SkylineCurvedDeg, f.SkylinePlaneDeg = []float64{}, []float64{}, []float64{}
	for i := range skylineSteps + 1 {
		if err := ctx.Err(); err != nil {
			return err
		}
		azimuthDeg := math.Mod(f.CentreAzimuthDeg+f.WidthDeg*(float64(i)/skylineSteps-0.5)+360, 360)
		end, _ := geodesy.WGS84.Direct(p.observer.At, azimuthDeg, reachM)
		if err := line.Reset(from, terrain.End{At: end, HeightM: eyeHeightM, UndulationM: grid.UndulationM(end)}); err != nil {
			return fmt.Errorf("skyline at azimuth %.3f°: %w", azimuthDeg, err)
		}
		curved, plane := math.Inf(-1), math.Inf(-1)
		look := func(x, groundM, undulationM float64) {
			curved = math.Max(curved, geodesy.ApparentElevationRad(p.eyeM, groundM+undulationM, x, line.RadiusM, k))
			plane = math.Max(plane, geodesy.PlaneElevationRad(eyeHeightM, groundM, x))
		}
		sea := false
		walker.Walk(line, terrain.FillSea, p.opts.GuardM, line.DistanceM, func(piece *terrain.Piece) bool {
			look(piece.X, piece.GroundAt(0), piece.N[0])
			look(piece.X+piece.W, piece.GroundAt(piece.W), piece.N[0]+piece.N[1]*piece.W)
			sea = isSea(piece, p.opts.SeaLevelM)
			return true
		})
		if err := walker.Err(); err != nil {
			return err
		}
		if sea {
			plane = math.Max(plane, 0) // a sea without end reaches the horizontal
		}
		const deg = 180 / math.Pi
		f.SkylineAzimuthDeg = append(f.SkylineAzimuthDeg, azimuthDeg)
		f.SkylineCurvedDeg = append(f.SkylineCurvedDeg, curved*deg)
		f.SkylinePlaneDeg = append(f.SkylinePlaneDeg, plane*deg)
	}
	return nil
}
