package geodesy_test

import (
	"fmt"

	"farstation/geodesy"
)

func ExampleEllipsoid_Inverse() {
	lighthouse := geodesy.LatLon{LatDeg: 55.25, LonDeg: -3.5}
	summit := geodesy.LatLon{LatDeg: 56.5, LonDeg: -4.75}
	arc := geodesy.WGS84.Inverse(lighthouse, summit)
	fmt.Printf("%.3f m, azimuth %.6f°, back %.6f°\n", arc.DistanceM, arc.AzimuthDeg, arc.BackAzimuthDeg())
	// Output: 159654.036 m, azimuth 331.171716°, back 150.136872°
}

func ExampleEllipsoid_InverseLine() {
	eye := geodesy.LatLon{LatDeg: -20, LonDeg: 179.5}
	top := geodesy.LatLon{LatDeg: -20.5, LonDeg: -179.5}
	arc, line := geodesy.WGS84.InverseLine(eye, top)
	for _, part := range []float64{0, 0.5, 1} {
		p, azimuthDeg := line.At(part * arc.DistanceM)
		fmt.Printf("%.6f, %.6f, azimuth %.4f°\n", p.LatDeg, p.LonDeg, azimuthDeg)
	}
	// Output:
	// -20.000000, 179.500000, azimuth 118.0869°
	// -20.250716, 179.999200, azimuth 117.9152°
	// -20.500000, -179.500000, azimuth 117.7408°
}

func ExampleEllipsoid_ToGeodetic() {
	eye := geodesy.WGS84.ToCartesian(geodesy.LatLon{LatDeg: 47, LonDeg: 11}, 2500)
	top := geodesy.WGS84.ToCartesian(geodesy.LatLon{LatDeg: 48, LonDeg: 12}, 2500)
	middle, heightM := geodesy.WGS84.ToGeodetic(eye.Add(top).Scale(0.5))
	fmt.Printf("the chord's middle: %.6f, %.6f, %.3f m\n", middle.LatDeg, middle.LonDeg, heightM)
	// Output: the chord's middle: 47.501112, 11.495253, 2146.271 m
}
