package light

const (
	// kPerGradient and autoconvectiveKPerM are the constants of k = 503·(p/T²)·(0.0343 + dT/dz), p in hPa, T in K, dT/dz in K/m:
	// Hirt et al. 2010, J. Geophys. Res. 115, D21102, after Brocks 1939. The second is the fall of temperature with height at
	// which air is as dense above as below and light is straight.
	kPerGradient        = 503.0
	autoconvectiveKPerM = 0.0343
)

// KFromGradient returns the refraction coefficient of air at pressureHPa > 0 (hPa) and temperatureK > 0 (K) whose temperature
// changes with height by gradientKPerM (K/m, negative when it falls). Source: Hirt et al. 2010; good to 0.4 %.
func KFromGradient(pressureHPa, temperatureK, gradientKPerM float64) float64 {
	return kPerGradient * pressureHPa / (temperatureK * temperatureK) * (autoconvectiveKPerM + gradientKPerM)
}

// GradientForK returns the temperature gradient, in K/m, that gives refraction coefficient k at pressureHPa > 0 and
// temperatureK > 0: the inverse of KFromGradient.
func GradientForK(pressureHPa, temperatureK, k float64) float64 {
	return k*temperatureK*temperatureK/(kPerGradient*pressureHPa) - autoconvectiveKPerM
}

// GradientForPlaneKPerM returns the temperature gradient, in K/m, that a plane would need along the whole ray to look like a
// curved Earth seen with k: the ray has to bend upwards by (1−k)/R, so its own coefficient is k−1.
func GradientForPlaneKPerM(pressureHPa, temperatureK, k float64) float64 {
	return GradientForK(pressureHPa, temperatureK, k-1)
}

// FromReciprocalAngles returns k from the two elevations (radians over each horizontal; π/2 less the zenith distance) measured at
// the same time at either end of a line of distanceM > 0 on a sphere of radiusM: 1−k = (z+z′−π)·R/s. Both must be between the
// same two points, reduced for heights of instrument and signal. Source: Nivellement zwischen Swinemünde und Berlin (J. J. Baeyer,
// 1840); also Chandra, Surveying, example 3.9, where k/2 is called m.
func FromReciprocalAngles(elevationRad, backElevationRad, distanceM, radiusM float64) float64 {
	return 1 + (elevationRad+backElevationRad)*radiusM/distanceM
}
