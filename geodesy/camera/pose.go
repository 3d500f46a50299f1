package camera

import (
	"fmt"
	"math"
)

// Pose is where a pinhole camera looks, and how large its picture is. Azimuth counts clockwise from north, tilt upwards from the
// horizontal, roll clockwise as the photographer sees the scene turn when the camera is turned anticlockwise: a positive roll lowers the
// right-hand end of the horizon. Angles are radians.
type Pose struct {
	AzimuthRad, TiltRad, RollRad float64
	// FocalPx is the focal length in pixels, above 0.
	FocalPx float64
	// CentreXPx and CentreYPx are the principal point, x to the right and y downwards from the picture's corner.
	CentreXPx, CentreYPx float64
	// Distortion is the one term of radial distortion: a point at r focal lengths from the centre stands at r(1 + Distortion·r²)
	// (Brown 1971, first term). 0 for none.
	Distortion float64
}

// Project returns the pixel of a direction by its azimuth and apparent elevation; false for what lies behind the camera or so far aside
// (80° and more) that no pinhole shows it.
func (p Pose) Project(azimuthRad, elevationRad float64) (xPx, yPx float64, ok bool) {
	sinTurn, cosTurn := math.Sincos(azimuthRad - p.AzimuthRad)
	sinElevation, cosElevation := math.Sincos(elevationRad)
	sinTilt, cosTilt := math.Sincos(p.TiltRad)
	right, level := cosElevation*sinTurn, cosElevation*cosTurn
	ahead := level*cosTilt + sinElevation*sinTilt
	up := sinElevation*cosTilt - level*sinTilt
	if ahead < math.Cos(80*math.Pi/180) {
		return 0, 0, false
	}
	sinRoll, cosRoll := math.Sincos(p.RollRad)
	u, v := (right*cosRoll+up*sinRoll)/ahead, (up*cosRoll-right*sinRoll)/ahead
	stretch := 1 + p.Distortion*(u*u+v*v)
	return p.CentreXPx + p.FocalPx*stretch*u, p.CentreYPx - p.FocalPx*stretch*v, true
}

// Direction returns azimuth (0…2π) and apparent elevation of a pixel: the inverse of Project.
func (p Pose) Direction(xPx, yPx float64) (azimuthRad, elevationRad float64) {
	u, v := (xPx-p.CentreXPx)/p.FocalPx, (p.CentreYPx-yPx)/p.FocalPx
	if p.Distortion != 0 {
		shownU, shownV := u, v
		for range 20 { // the distortion of a lens moves points by less than they are from the centre, so this converges
			stretch := 1 + p.Distortion*(u*u+v*v)
			u, v = shownU/stretch, shownV/stretch
		}
	}
	sinRoll, cosRoll := math.Sincos(p.RollRad)
	right, up := u*cosRoll-v*sinRoll, u*sinRoll+v*cosRoll
	sinTilt, cosTilt := math.Sincos(p.TiltRad)
	level, rise := cosTilt-up*sinTilt, sinTilt+up*cosTilt
	azimuthRad = math.Mod(p.AzimuthRad+math.Atan2(right, level)+2*math.Pi, 2*math.Pi)
	return azimuthRad, math.Atan2(rise, math.Hypot(right, level))
}

// check refuses poses that are none.
func (p Pose) check() error {
	if !(p.FocalPx > 0) || math.IsInf(p.FocalPx, 0) {
		return fmt.Errorf("focal length %v px: must be above 0", p.FocalPx)
	}
	for _, v := range []float64{p.AzimuthRad, p.TiltRad, p.RollRad, p.CentreXPx, p.CentreYPx, p.Distortion} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("pose %+v: an angle or the centre is not a number", p)
		}
	}
	return nil
}
