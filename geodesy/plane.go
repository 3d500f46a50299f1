package geodesy

import "math"

// The plane model: an azimuthal plane centred on the observer, with the same distance and azimuth to everything and no curvature.
// Its sea horizon lies at the horizontal, elevation 0.

// PlaneElevationRad returns the elevation, in radians over the horizontal, of a top on the plane in straight light:
// atan((h₂−h₁)/s). Heights are metres over the plane, distanceM > 0. It is ApparentElevationRad at k = 1.
func PlaneElevationRad(eyeM, topM, distanceM float64) float64 {
	return math.Atan2(topM-eyeM, distanceM)
}

// PlaneElevationInAirRad returns the apparent elevation, in radians, of a top on the plane when light bends there as it does in
// the curved model, by k/R: bending down it lifts what is seen by k·s/(2R), the angle between an arc and its chord.
func PlaneElevationInAirRad(eyeM, topM, distanceM, radiusM, k float64) float64 {
	return PlaneElevationRad(eyeM, topM, distanceM) + k*distanceM/(2*radiusM)
}

// BendingForPlanePerM returns the ray curvature, per metre, that would make a plane look like the curved model at k: −(1−k)/R,
// negative because light would have to bend upwards. The temperature gradient it takes is light.GradientForPlaneKPerM.
func BendingForPlanePerM(radiusM, k float64) float64 {
	return -ApparentCurvaturePerM(radiusM, k)
}
