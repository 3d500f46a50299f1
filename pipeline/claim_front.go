package pipeline

import "farstation/geodesy"

// FrontAngle is what a photograph of a lone line can decide without a level: the angle from the front up to the top, under each model, in
// minutes of arc, with its standard deviation.
type FrontAngle struct {
	CurvedArcmin, CurvedSDArcmin float64
	PlaneArcmin, PlaneSDArcmin   float64
}

// claimSpreads is how many standard deviations from its value a measured angle refutes a model.
const claimSpreads = 3

// NewFrontAngle judges a line with its front, x away, in the place of an alignment's near top: between the models the angle differs by
// (1−k)(s−x)/(2R). k is the refraction coefficient of free air on the line. ok is false where the top is out of view, nothing is cut off
// below it, or the line is undecided.
func NewFrontAngle(l *Sightline, k float64) (angle FrontAngle, ok bool) {
	if l.FrontDistanceM == nil || l.FootDistanceM == nil || l.ObscuredHeightM == nil || l.FrontAngleSDArcmin == nil || l.FrontAnglePlaneSDArcmin == nil ||
		l.Verdict == Undecided || !(l.MarginArcmin > 0) {
		return FrontAngle{}, false
	}
	top := geodesy.ApparentElevationRad(l.EyeHeightM, l.TopHeightM, l.DistanceM, l.RadiusM, k)
	// Front and foot lie on one ray.
	front := geodesy.ApparentElevationRad(l.EyeHeightM, *l.ObscuredHeightM, *l.FootDistanceM, l.RadiusM, k)
	gap := (1 - k) * (l.DistanceM - *l.FrontDistanceM) / (2 * l.RadiusM)
	angle = FrontAngle{
		CurvedArcmin: (top - front) * arcminPerRad, CurvedSDArcmin: *l.FrontAngleSDArcmin,
		PlaneArcmin: (top - front + gap) * arcminPerRad, PlaneSDArcmin: *l.FrontAnglePlaneSDArcmin,
	}
	return angle, angle.CurvedArcmin > 0
}

// ShownByPlane tells whether the plane surely shows the top: its margin there is more than three standard deviations, sdArcmin each, of
// heights and terrain at the riskiest point.
func ShownByPlane(l *Sightline) (surely bool, sdArcmin float64) {
	sdArcmin = l.CriticalKSD * arcminPerRad * (l.DistanceM - l.RiskiestDistanceM) / (2 * l.RadiusM)
	return l.MarginPlaneArcmin > claimSpreads*sdArcmin, sdArcmin
}

// Thresholds returns the angle above which the curved model is refuted and the one below which the plane is, three standard deviations
// from each; decides is false where the bands of the two models overlap.
func (c FrontAngle) Thresholds() (curvedRefutedAbove, planeRefutedBelow float64, decides bool) {
	curvedRefutedAbove = c.CurvedArcmin + claimSpreads*c.CurvedSDArcmin
	planeRefutedBelow = c.PlaneArcmin - claimSpreads*c.PlaneSDArcmin
	return curvedRefutedAbove, planeRefutedBelow, curvedRefutedAbove < planeRefutedBelow
}
