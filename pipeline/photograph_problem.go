package pipeline

import (
	"math"

	"farstation/geodesy"
	"farstation/geodesy/camera"
	"farstation/geodesy/sky"
)

// selection says which of the points of a scene a fit takes, and under which names.
type selection struct {
	// without is a target to be left out, swapped two whose names are exchanged; −1 for none.
	without int
	swapped [2]int
	// noLow leaves out points whose rays run low.
	noLow bool
	// distortionSD frees the distortion of the lens, freeFocal its focal length.
	distortionSD float64
	freeFocal    bool
	// feet takes the heights of the targets' ground for feet.
	feet bool
}

// metresPerFoot is that of the international foot (yard and pound agreement, 1959).
const metresPerFoot = 0.3048

var allPoints = selection{without: -1, swapped: [2]int{-1, -1}}

// target is the target that a point counts for, −1 for none.
func (s *Scene) target(i int, sel selection) int {
	switch target := s.targetOf[i]; target {
	case -1:
		return -1
	case sel.swapped[0]:
		return sel.swapped[1]
	case sel.swapped[1]:
		return sel.swapped[0]
	default:
		return target
	}
}

// problem is the problem of a selection; index tells the scene's point of each of its points.
func (s *Scene) problem(sel selection) (p *camera.Problem, index []int) {
	o := &s.opts
	p = &camera.Problem{Stations: s.stations, Air: camera.Air{K: o.K, KSD: o.KSD, OwnSD: o.KOwnSD, LowK: o.LowK, LowKSD: o.LowKSD}}
	for i := range s.Targets {
		f := &s.Targets[i]
		p.Targets = append(p.Targets, camera.Target{Place: f.At, PlaceSDM: f.PositionSDM, HeightSDM: o.topSDM(f)})
	}
	for i := range s.Points {
		measured := &s.Points[i]
		target := s.target(i, sel)
		if target >= 0 && target == sel.without || sel.noLow && s.low(i) {
			continue
		}
		point := camera.Point{Frame: measured.Frame, XPx: measured.XPx, YPx: measured.YPx, SDPx: measured.SDPx}
		switch {
		case measured.onTarget():
			point.Part, point.Target, point.HeightM, point.Low = camera.OnTarget, target, s.heightM(measured, target), s.low(i)
			if sel.feet {
				point.HeightM -= (1 - metresPerFoot) * s.Targets[target].GroundHeightM
			}
		case measured.Part == PartSeaHorizon:
			point.Part, point.Low = camera.SeaHorizon, true
		case measured.Part == PartSun || measured.Part == PartMoon:
			s.placeBody(&point, measured)
		case measured.Part == PartLevel:
			point.Part = camera.Level
		case measured.Part == PartPlumb:
			other := s.otherEnd(i)
			if other < 0 {
				continue
			}
			point.Part, point.ToXPx, point.ToYPx = camera.Plumb, s.Points[other].XPx, s.Points[other].YPx
		default:
			continue
		}
		p.Points = append(p.Points, point)
		index = append(index, i)
	}
	for i := range s.Photos {
		start, _ := s.start(i, p)
		frame := camera.Frame{Station: s.stationOf[i], Start: start, FocalSD: math.Inf(1), DistortionSD: sel.distortionSD}
		if o.FocalSD > 0 && !sel.freeFocal {
			frame.Start.FocalPx, frame.FocalSD = o.FocalPx, o.FocalSD
		}
		p.Frames = append(p.Frames, frame)
	}
	return p, index
}

// Spreads of what the almanac says of a photograph. Our judgement, no source: a camera's clock that was set by a satellite receiver, and how much the refraction
// of the day differs from the standard one, as a share of it.
const (
	clockSDSeconds    = 1
	refractionSDShare = 0.05
	// turnRadPerSecond is how fast the sky turns: 15.04″ a second.
	turnRadPerSecond = 2 * math.Pi / 86164.1
)

// placeBody sets where the centre of the sun or moon stood over the station.
func (s *Scene) placeBody(point *camera.Point, measured *MeasuredPoint) {
	body := sky.Sun
	if measured.Part == PartMoon {
		body = sky.Moon
	}
	station := &s.stations[s.stationOf[measured.Frame]]
	observer := sky.Observer{Position: station.Place, HeightM: station.EyeHeightM}
	at := observer.Place(body, sky.At(measured.At))
	point.Part, point.AzimuthRad, point.ElevationRad = camera.Celestial, at.AzimuthRad, at.ApparentElevationRad
	point.AzimuthSDRad = clockSDSeconds * turnRadPerSecond
	point.ElevationSDRad = math.Hypot(clockSDSeconds*turnRadPerSecond, refractionSDShare*(at.ApparentElevationRad-at.ElevationRad))
}

// otherEnd is the second end of a plumb line, for its first; −1 for the second.
func (s *Scene) otherEnd(i int) int {
	for j := i + 1; j < len(s.Points); j++ {
		if p := &s.Points[j]; p.Part == PartPlumb && p.Name == s.Points[i].Name && p.Frame == s.Points[i].Frame {
			return j
		}
	}
	return -1
}

// handedness tells how points lie to what they name.
type handedness int

const (
	upright handedness = iota
	turned
	mirrored
)

// start finds a pose to search from: turn, scale and shift (Helmert's transformation, by least squares) of the named points' azimuths and
// elevations onto their pixels. It also tells whether the picture seems to stand upside down, or mirrored.
func (s *Scene) start(frame int, p *camera.Problem) (camera.Pose, handedness) {
	photo := &s.Photos[frame]
	pose := camera.Pose{CentreXPx: float64(photo.WidthPx) / 2, CentreYPx: float64(photo.HeightPx) / 2, FocalPx: s.opts.FocalPx}
	if pose.FocalPx == 0 {
		pose.FocalPx = photo.FocalPx
	}
	if pose.FocalPx == 0 {
		pose.FocalPx = 2 * float64(photo.WidthPx)
	}
	type pair struct{ a, e, x, y float64 }
	var pairs []pair
	var mean pair
	station := &p.Stations[s.stationOf[frame]]
	azimuth0 := math.NaN()
	for _, point := range p.Points {
		if point.Frame != frame || point.Part != camera.OnTarget {
			continue
		}
		arc := geodesy.WGS84.Inverse(station.Place, p.Targets[point.Target].Place)
		radiusM := geodesy.WGS84.EulerRadiusM(station.Place.LatDeg, arc.AzimuthDeg)
		elevation := geodesy.ApparentElevationRad(station.EyeHeightM, point.HeightM, arc.DistanceM, radiusM, p.Air.K)
		azimuth := arc.AzimuthDeg * math.Pi / 180
		if math.IsNaN(azimuth0) {
			azimuth0 = azimuth
		}
		pairs = append(pairs, pair{math.Remainder(azimuth-azimuth0, 2*math.Pi) * math.Cos(elevation), elevation, point.XPx, point.YPx})
	}
	n := float64(len(pairs))
	if n == 0 {
		return pose, upright
	}
	for _, q := range pairs {
		mean = pair{mean.a + q.a/n, mean.e + q.e/n, mean.x + q.x/n, mean.y + q.y/n}
	}
	var size, pixels, direct, directTurn, mirror, mirrorTurn float64
	for _, q := range pairs {
		a, e, x, y := q.a-mean.a, q.e-mean.e, q.x-mean.x, q.y-mean.y
		size += a*a + e*e
		pixels += x*x + y*y
		direct, directTurn = direct+x*a-y*e, directTurn+x*e+y*a
		mirror, mirrorTurn = mirror+x*a+y*e, mirrorTurn+x*e-y*a
	}
	stands := upright
	if scale := math.Hypot(direct, directTurn); n > 1 && size > 0 && scale > 0 {
		pose.FocalPx, pose.RollRad = scale/size, math.Atan2(directTurn, direct)
		left, leftMirrored := pixels-scale*scale/size, pixels-(mirror*mirror+mirrorTurn*mirrorTurn)/size
		switch {
		case n > 2 && left > 25*n && leftMirrored < 0.1*left:
			stands = mirrored
		case math.Abs(pose.RollRad) > 3*math.Pi/4:
			stands = turned
		}
	}
	sinRoll, cosRoll := math.Sincos(pose.RollRad)
	dx, dy := (pose.CentreXPx-mean.x)/pose.FocalPx, (pose.CentreYPx-mean.y)/pose.FocalPx
	pose.TiltRad = math.Max(-1, math.Min(1, mean.e+sinRoll*dx-cosRoll*dy))
	pose.AzimuthRad = azimuth0 + (mean.a+cosRoll*dx+sinRoll*dy)/math.Cos(pose.TiltRad)
	return pose, stands
}
