package pipeline

import (
	"cmp"
	"math"
	"slices"

	"farstation/geodesy"
	"farstation/geodesy/camera"
)

// PositionLine is a near top that stands before a far one, or nearly: the camera stood on the line through both, or on the curve from which they are turned
// by as much as they were measured to be.
type PositionLine struct {
	Near       string  `json:"near"`
	Far        string  `json:"far"`
	AzimuthDeg float64 `json:"azimuth_deg"` // of the far top from the place
	// TurnArcmin is the azimuth of the far top less that of the near one as measured, TurnSDArcmin its standard deviation, both places' included.
	TurnArcmin   float64 `json:"turn_arcmin"`
	TurnSDArcmin float64 `json:"turn_sd_arcmin"`
	// AcrossM is how far a step across the line turns the two by one standard deviation: how sharp it is.
	AcrossM float64 `json:"across_m"`
}

const (
	mostLineTurnDeg   = 0.25
	mostPositionLines = 10
)

// positionLines finds the near–far coincidences among the tops of a photograph, the sharpest first.
func (s *Scene) positionLines(pose camera.Pose) []PositionLine {
	out := []PositionLine{}
	points := s.namedPoints()
	for _, i := range points {
		for _, j := range points {
			nearM, _ := s.ray(i)
			farM, _ := s.ray(j)
			if !(nearM <= maxNearShare*farM) {
				continue
			}
			nearAzimuth, _ := pose.Direction(s.Points[i].XPx, s.Points[i].YPx)
			farAzimuth, _ := pose.Direction(s.Points[j].XPx, s.Points[j].YPx)
			turn := math.Remainder(farAzimuth-nearAzimuth, 2*math.Pi)
			if math.Abs(turn)*180/math.Pi > mostLineTurnDeg {
				continue
			}
			near, far := &s.Targets[s.targetOf[i]], &s.Targets[s.targetOf[j]]
			sd := math.Hypot(math.Hypot(s.Points[i].SDPx, s.Points[j].SDPx)/pose.FocalPx, math.Hypot(near.PositionSDM/nearM, far.PositionSDM/farM))
			out = append(out, PositionLine{
				Near: near.Name, Far: far.Name, AzimuthDeg: geodesy.WGS84.Inverse(s.stations[0].Place, far.At).AzimuthDeg,
				TurnArcmin: turn * arcminPerRad, TurnSDArcmin: sd * arcminPerRad, AcrossM: sd * nearM * farM / (farM - nearM),
			})
		}
	}
	slices.SortStableFunc(out, func(a, b PositionLine) int { return cmp.Compare(a.AcrossM, b.AcrossM) })
	return out[:min(len(out), mostPositionLines)]
}
