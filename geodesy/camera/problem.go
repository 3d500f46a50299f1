package camera

import (
	"fmt"
	"math"

	"farstation/geodesy"
)

// Station is a place that photographs were taken from.
type Station struct {
	Place geodesy.LatLon
	// PlaceSDM is the standard deviation of the place each way, in metres: 0 keeps it, +Inf leaves it to the photograph.
	PlaceSDM float64
	// EyeHeightM is the height of the lens over the ellipsoid, EyeSDM its standard deviation: 0 keeps it, +Inf leaves it free.
	EyeHeightM, EyeSDM float64
	// SeaHeightM is the height of the sea over the ellipsoid at the station, SeaSDM its standard deviation; for sea horizons alone.
	SeaHeightM, SeaSDM float64
}

// Frame is one photograph.
type Frame struct {
	// Station is an index of Problem.Stations.
	Station int
	// Start is where the search for the pose starts; its centre is kept.
	Start Pose
	// FocalSD is the relative standard deviation of the focal length: +Inf leaves it free, 0 keeps it. DistortionSD is that of the distortion,
	// 0 keeps it. Azimuth, tilt and roll are always free, unless TiltRollSDRad is above 0: then tilt and roll have that prior about Start.
	FocalSD, DistortionSD, TiltRollSDRad float64
}

// Target is a thing at a known place, or nearly.
type Target struct {
	Place geodesy.LatLon
	// PlaceSDM is the standard deviation of the place each way, HeightSDM that of all its heights together, in metres.
	PlaceSDM, HeightSDM float64
}

// Part says what was measured.
type Part int

// The parts of a photograph that can be measured.
const (
	// OnTarget is a point of a target at a height over the ellipsoid.
	OnTarget Part = iota
	// SeaHorizon is a point of the sea horizon: only across it does it say anything.
	SeaHorizon
	// Level is a point at elevation 0, from an instrument.
	Level
	// Plumb is a line from one point to another that hangs plumb: it tells the roll.
	Plumb
	// Celestial is the centre of the sun or the moon, of which direction and spread are known.
	Celestial
)

// Point is one measured point.
type Point struct {
	Frame int
	Part  Part
	// XPx, YPx is where it was measured, SDPx the standard deviation each way, above 0.
	XPx, YPx, SDPx float64
	// ToXPx, ToYPx is the other end of a line, for Plumb, as well measured as the first.
	ToXPx, ToYPx float64
	// Target is an index of Problem.Targets and HeightM the height of the point over the ellipsoid, for OnTarget.
	Target  int
	HeightM float64
	// AzimuthRad and ElevationRad are the apparent direction of a Celestial point, AzimuthSDRad and ElevationSDRad its standard deviations.
	AzimuthRad, ElevationRad, AzimuthSDRad, ElevationSDRad float64
	// Low says that the ray runs through low air for long, so that its refraction is its own.
	Low bool
}

// Air is what is known of refraction before the photograph.
type Air struct {
	// K and KSD are the refraction coefficient and its standard deviation, OwnSD the part of that which two rays do not share.
	K, KSD, OwnSD float64
	// LowK and LowKSD are those of rays through low air.
	LowK, LowKSD float64
}

// Problem is all that a fit takes.
type Problem struct {
	Stations []Station
	Frames   []Frame
	Targets  []Target
	Points   []Point
	Air      Air
}

// Model is one account of what light and ground do, by the apparent curvature times the Earth's radius, c = 1 − k on the Earth: 0 where
// the ground is a plane and light is straight.
type Model struct {
	// Curvature is c and CurvatureSD its prior standard deviation: +Inf leaves it to the photograph, 0 keeps it.
	Curvature, CurvatureSD float64
}

// The models under test. All have the same freedom but for c itself.

// FreeCurvature leaves the apparent curvature to the photograph.
func (a Air) FreeCurvature() Model { return Model{1 - a.K, math.Inf(1)} }

// Curved is the Earth in air as it is expected.
func (a Air) Curved() Model { return Model{1 - a.K, a.KSD} }

// Plane is the plane with straight light.
func (a Air) Plane() Model { return Model{0, 0} }

// PlaneSameAir is the plane in the air that is expected, which bends light down there too.
func (a Air) PlaneSameAir() Model { return Model{-a.K, a.KSD} }

// check finds what is wrong with a problem, all of it.
func (p *Problem) check() error {
	for i, f := range p.Frames {
		if f.Station < 0 || f.Station >= len(p.Stations) {
			return fmt.Errorf("frame %d: no station %d", i, f.Station)
		}
		if err := f.Start.check(); err != nil {
			return fmt.Errorf("frame %d: %w", i, err)
		}
	}
	for i, at := range p.Points {
		switch {
		case at.Frame < 0 || at.Frame >= len(p.Frames):
			return fmt.Errorf("point %d: no frame %d", i, at.Frame)
		case !(at.SDPx > 0) || math.IsInf(at.SDPx, 0):
			return fmt.Errorf("point %d: spread %v px: must be above 0", i, at.SDPx)
		case at.Part == OnTarget && (at.Target < 0 || at.Target >= len(p.Targets)):
			return fmt.Errorf("point %d: no target %d", i, at.Target)
		case at.Part == Plumb && at.XPx == at.ToXPx && at.YPx == at.ToYPx:
			return fmt.Errorf("point %d: both ends of a plumb line in one place", i)
		case at.Part == Celestial && (math.IsNaN(at.AzimuthRad+at.ElevationRad) || !(at.AzimuthSDRad >= 0 && at.ElevationSDRad >= 0)):
			return fmt.Errorf("point %d: direction %v, %v with spreads %v, %v", i, at.AzimuthRad, at.ElevationRad, at.AzimuthSDRad, at.ElevationSDRad)
		case math.IsNaN(at.XPx+at.YPx+at.HeightM+at.ToXPx+at.ToYPx) || math.IsInf(at.XPx+at.YPx+at.HeightM+at.ToXPx+at.ToYPx, 0):
			return fmt.Errorf("point %d: place or height is not a number", i)
		}
	}
	return nil
}
