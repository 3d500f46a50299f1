package camera

import (
	"fmt"
	"math"

	"farstation/geodesy"
)

// parameter is one unknown. Values are in units of its own; step is a change that is small in every way.
type parameter struct {
	name  string
	value float64
	// prior and sd are what is known of it before; sd is +Inf where that is nothing.
	prior, sd, step float64
	// points are those whose prediction it moves.
	points []int
}

// layout says where the unknowns of a problem stand in the vector; −1 where one is kept.
type layout struct {
	problem    *Problem
	curvature  int
	frames     []frameLayout
	stations   []stationLayout
	targets    []targetLayout
	own        []int // by point: the refraction of its own ray
	parameters []parameter
	model      Model
}

type frameLayout struct{ azimuth, tilt, roll, focal, distortion int }

type stationLayout struct{ east, north, eye, sea int }

type targetLayout struct{ east, north, height int }

// add appends an unknown unless its spread is 0.
func (l *layout) add(p parameter) int {
	if p.sd == 0 || len(p.points) == 0 {
		return -1
	}
	l.parameters = append(l.parameters, p)
	return len(l.parameters) - 1
}

func newLayout(p *Problem, model Model) *layout {
	l := &layout{problem: p, model: model}
	free := math.Inf(1)
	all := make([]int, len(p.Points))
	ofFrame, ofStation, ofTarget := make([][]int, len(p.Frames)), make([][]int, len(p.Stations)), make([][]int, len(p.Targets))
	ofSea, turning := make([][]int, len(p.Stations)), make([][]int, len(p.Frames))
	for i, at := range p.Points {
		all[i] = i
		station := p.Frames[at.Frame].Station
		ofFrame[at.Frame] = append(ofFrame[at.Frame], i)
		if at.Part == OnTarget || at.Part == Celestial { // all others stand the same in every azimuth
			turning[at.Frame] = append(turning[at.Frame], i)
		}
		switch at.Part {
		case OnTarget:
			ofStation[station] = append(ofStation[station], i)
			ofTarget[at.Target] = append(ofTarget[at.Target], i)
		case SeaHorizon:
			ofStation[station] = append(ofStation[station], i)
			ofSea[station] = append(ofSea[station], i)
		}
	}
	l.curvature = l.add(parameter{"curvature", model.Curvature, model.Curvature, model.CurvatureSD, 1e-3, all})
	for i, f := range p.Frames {
		tiltSD := free
		if f.TiltRollSDRad > 0 {
			tiltSD = f.TiltRollSDRad
		}
		name := func(what string) string { return fmt.Sprintf("%s of frame %d", what, i+1) }
		l.frames = append(l.frames, frameLayout{
			azimuth:    l.add(parameter{name("azimuth"), f.Start.AzimuthRad, f.Start.AzimuthRad, free, 1e-6, turning[i]}),
			tilt:       l.add(parameter{name("tilt"), f.Start.TiltRad, f.Start.TiltRad, tiltSD, 1e-6, ofFrame[i]}),
			roll:       l.add(parameter{name("roll"), f.Start.RollRad, f.Start.RollRad, tiltSD, 1e-6, ofFrame[i]}),
			focal:      l.add(parameter{name("focal length"), math.Log(f.Start.FocalPx), math.Log(f.Start.FocalPx), f.FocalSD, 1e-6, ofFrame[i]}),
			distortion: l.add(parameter{name("distortion"), f.Start.Distortion, f.Start.Distortion, f.DistortionSD, 1e-4, ofFrame[i]}),
		})
	}
	for i, s := range p.Stations {
		name := func(what string) string { return fmt.Sprintf("%s of station %d", what, i+1) }
		l.stations = append(l.stations, stationLayout{
			east:  l.add(parameter{name("easting"), 0, 0, s.PlaceSDM, 0.1, ofStation[i]}),
			north: l.add(parameter{name("northing"), 0, 0, s.PlaceSDM, 0.1, ofStation[i]}),
			eye:   l.add(parameter{name("eye height"), s.EyeHeightM, s.EyeHeightM, s.EyeSDM, 0.01, ofStation[i]}),
			sea:   l.add(parameter{name("sea level"), s.SeaHeightM, s.SeaHeightM, s.SeaSDM, 0.01, ofSea[i]}),
		})
	}
	for i, t := range p.Targets {
		name := func(what string) string { return fmt.Sprintf("%s of target %d", what, i+1) }
		l.targets = append(l.targets, targetLayout{
			east:   l.add(parameter{name("easting"), 0, 0, t.PlaceSDM, 0.1, ofTarget[i]}),
			north:  l.add(parameter{name("northing"), 0, 0, t.PlaceSDM, 0.1, ofTarget[i]}),
			height: l.add(parameter{name("height"), 0, 0, t.HeightSDM, 0.01, ofTarget[i]}),
		})
	}
	l.addOwnRefraction()
	return l
}

// addOwnRefraction gives every ray, from one frame to one target or the sea horizon, what its k does not share with the others. Low rays differ
// from the rest by what low air differs from free air, under every model alike.
func (l *layout) addOwnRefraction() {
	p := l.problem
	type ray struct {
		frame, target int
		low           bool
	}
	points := map[ray][]int{}
	rayOf := func(at Point) (ray, bool) {
		switch at.Part {
		case OnTarget:
			return ray{at.Frame, at.Target, at.Low}, true
		case SeaHorizon:
			return ray{at.Frame, -1, true}, true
		}
		return ray{}, false
	}
	for i, at := range p.Points {
		if r, ok := rayOf(at); ok {
			points[r] = append(points[r], i)
		}
	}
	l.own = make([]int, len(p.Points))
	done := map[ray]int{}
	for i, at := range p.Points {
		r, ok := rayOf(at)
		if !ok {
			l.own[i] = -1
			continue
		}
		index, known := done[r]
		if !known {
			prior, sd := 0.0, p.Air.OwnSD
			if r.low {
				prior, sd = p.Air.LowK-p.Air.K, p.Air.LowKSD
			}
			what := fmt.Sprintf("own k towards target %d in frame %d", r.target+1, r.frame+1)
			if r.target < 0 {
				what = fmt.Sprintf("own k towards the horizon in frame %d", r.frame+1)
			}
			index = l.add(parameter{what, prior, prior, sd, 1e-3, points[r]})
			done[r] = index
		}
		l.own[i] = index
	}
}

// at returns the value of an unknown, or what it is kept at.
func at(values []float64, index int, kept float64) float64 {
	if index < 0 {
		return kept
	}
	return values[index]
}

// pose returns the pose of a frame.
func (l *layout) pose(values []float64, frame int) Pose {
	f, start := l.frames[frame], l.problem.Frames[frame].Start
	start.AzimuthRad = at(values, f.azimuth, start.AzimuthRad)
	start.TiltRad = at(values, f.tilt, start.TiltRad)
	start.RollRad = at(values, f.roll, start.RollRad)
	start.FocalPx = math.Exp(at(values, f.focal, math.Log(start.FocalPx)))
	start.Distortion = at(values, f.distortion, start.Distortion)
	return start
}

// moved returns a place moved by metres east and north. It is a name for places near the first, so it need not be exact, only smooth.
func moved(place geodesy.LatLon, eastM, northM float64) geodesy.LatLon {
	if eastM == 0 && northM == 0 {
		return place
	}
	lat := place.LatDeg * math.Pi / 180
	place.LatDeg += northM / geodesy.WGS84.MeridianRadiusM(place.LatDeg) * 180 / math.Pi
	place.LonDeg += eastM / (geodesy.WGS84.PrimeVerticalRadiusM(place.LatDeg) * math.Cos(lat)) * 180 / math.Pi
	return place
}

func (l *layout) stationPlace(values []float64, station int) geodesy.LatLon {
	s := l.stations[station]
	return moved(l.problem.Stations[station].Place, at(values, s.east, 0), at(values, s.north, 0))
}

// direction predicts azimuth and apparent elevation of a point; for a point of a line (sea horizon, level) the azimuth is that of its pixel.
func (l *layout) direction(values []float64, point int, pose Pose) (azimuthRad, elevationRad float64) {
	p := l.problem
	measured := &p.Points[point]
	station := p.Frames[measured.Frame].Station
	s := l.stations[station]
	c := at(values, l.curvature, l.model.Curvature)
	if own := l.own[point]; own >= 0 {
		c -= values[own]
	} else if measured.Low || measured.Part == SeaHorizon {
		c -= p.Air.LowK - p.Air.K
	}
	eyeM := at(values, s.eye, p.Stations[station].EyeHeightM)
	if measured.Part != OnTarget {
		azimuthRad, _ = pose.Direction(measured.XPx, measured.YPx)
		if measured.Part == SeaHorizon {
			place := l.stationPlace(values, station)
			radiusM := geodesy.WGS84.EulerRadiusM(place.LatDeg, azimuthRad*180/math.Pi)
			elevationRad = -dipRad(eyeM-at(values, s.sea, p.Stations[station].SeaHeightM), c/radiusM)
		}
		return azimuthRad, elevationRad
	}
	t := l.targets[measured.Target]
	target := &p.Targets[measured.Target]
	from := l.stationPlace(values, station)
	to := moved(target.Place, at(values, t.east, 0), at(values, t.north, 0))
	arc := geodesy.WGS84.Inverse(from, to)
	middleDeg := (from.LatDeg + to.LatDeg) / 2
	radiusM := geodesy.WGS84.EulerRadiusM(middleDeg, (arc.AzimuthDeg+arc.EndAzimuthDeg)/2)
	topM := measured.HeightM + at(values, t.height, 0)
	return arc.AzimuthDeg * math.Pi / 180, geodesy.ApparentElevationRad(eyeM, topM, arc.DistanceM, radiusM, 1-c)
}

// leastCurvaturePerM is the apparent curvature, a twentieth of the Earth's, below which the dip goes to the plane's 0 in a straight line and on
// to the other side of it: the true one ends at 0 with a vertical slope and has none in a bowl, so that no fit could come near a plane or leave it.
const leastCurvaturePerM = 0.05 / 6.371e6

// dipRad is the dip of the sea horizon for an eye heightM over the sea: acos(1/(1+h·curvature)), and 0 on a plane.
func dipRad(heightM, curvaturePerM float64) float64 {
	if !(heightM > 0) {
		return 0
	}
	straight := 1.0
	if curvaturePerM < leastCurvaturePerM {
		straight, curvaturePerM = curvaturePerM/leastCurvaturePerM, leastCurvaturePerM
	}
	x := heightM * curvaturePerM
	return straight * 2 * math.Atan(math.Sqrt(x/(2+x)))
}

// residuals writes the two residuals of a point, measured less predicted, in standard deviations. A point of a line has one, across the line.
func (l *layout) residuals(values []float64, point int) (dx, dy float64) {
	measured := &l.problem.Points[point]
	pose := l.pose(values, measured.Frame)
	if measured.Part == Plumb {
		return plumbResidual(measured, pose), 0
	}
	if measured.Part == Celestial {
		return celestialResidual(measured, pose)
	}
	azimuthRad, elevationRad := l.direction(values, point, pose)
	x, y, ok := pose.Project(azimuthRad, elevationRad)
	if !ok { // a pose far from any that fits: far away, but finite
		return 1e6, 1e6
	}
	if measured.Part != OnTarget {
		return 0, ((measured.YPx-y)*math.Cos(pose.RollRad) - (measured.XPx-x)*math.Sin(pose.RollRad)) / measured.SDPx
	}
	return (measured.XPx - x) / measured.SDPx, (measured.YPx - y) / measured.SDPx
}

// plumbResidual is how far the second end of a plumb line lies beside the vertical through the first, in standard deviations.
func plumbResidual(p *Point, pose Pose) float64 {
	azimuthRad, _ := pose.Direction(p.XPx, p.YPx)
	_, elevationRad := pose.Direction(p.ToXPx, p.ToYPx)
	x, y, ok := pose.Project(azimuthRad, elevationRad)
	if !ok {
		return 1e6
	}
	return ((p.ToXPx-x)*math.Cos(pose.RollRad) + (p.ToYPx-y)*math.Sin(pose.RollRad)) / (p.SDPx * math.Sqrt2)
}

// celestialResidual is what is left of the sun or moon, in standard deviations along the horizon and upwards.
func celestialResidual(p *Point, pose Pose) (across, up float64) {
	x, y, ok := pose.Project(p.AzimuthRad, p.ElevationRad)
	if !ok {
		return 1e6, 1e6
	}
	sine, cosine := math.Sincos(pose.RollRad)
	dx, dy := p.XPx-x, p.YPx-y
	across, up = dx*cosine+dy*sine, dy*cosine-dx*sine
	return across / math.Hypot(p.SDPx, p.AzimuthSDRad*math.Cos(p.ElevationRad)*pose.FocalPx), up / math.Hypot(p.SDPx, p.ElevationSDRad*pose.FocalPx)
}
