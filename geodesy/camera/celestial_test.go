package camera

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestCelestialGivesLevelAndAzimuth: the sun on a picture, drawn by the test's own projection, leaves what its stated spreads say, and narrows what it tells
// of: with a camera that is not known to be level the tilt.
func TestCelestialGivesLevelAndAzimuth(t *testing.T) {
	random := rand.New(rand.NewPCG(51, 52))
	const draws = 200
	sum := 0.0
	for draw := range draws {
		s := madeScene(random, 5, 0.86, 0)
		before, err := Solve(&s.problem, s.problem.Air.FreeCurvature())
		if err != nil {
			t.Fatal(err)
		}
		// The truth is not known to the fit: a scene of its own azimuth, so the sun is put by the true pose of the scene, which madeScene hides; its best fit
		// stands for it, within its spread.
		pose := before.Poses[0]
		const azimuthSD, elevationSD, pixelSD = 7e-5, 2e-4, 0.5
		azimuth, elevation := pose.AzimuthRad+0.02, 0.01
		point := Point{Part: Celestial, SDPx: pixelSD, AzimuthRad: azimuth, ElevationRad: elevation, AzimuthSDRad: azimuthSD, ElevationSDRad: elevationSD}
		point.XPx, point.YPx = projectPlainly(pose, azimuth+azimuthSD*random.NormFloat64(), elevation+elevationSD*random.NormFloat64())
		point.XPx, point.YPx = point.XPx+pixelSD*random.NormFloat64(), point.YPx+pixelSD*random.NormFloat64()
		s.problem.Points = append(s.problem.Points, point)
		after, err := Solve(&s.problem, s.problem.Air.FreeCurvature())
		if err != nil {
			t.Fatal(err)
		}
		sum += after.Chi2 - before.Chi2
		if after.DOF != before.DOF+2 || after.CurvatureSD > before.CurvatureSD {
			t.Errorf("draw %d: %d degrees of freedom after %d, curvature to %.4f after %.4f", draw, after.DOF, before.DOF, after.CurvatureSD, before.CurvatureSD)
		}
	}
	// Two measurements that cost at most their own squares, 2 in the mean; some of it goes into the camera.
	if mean := sum / draws; mean < 0.5 || mean > 2+4*2/math.Sqrt(draws) {
		t.Errorf("χ² grew by %.2f in the mean, want a little less than 2", mean)
	}
	p := Problem{Stations: []Station{{}}, Frames: []Frame{{Start: Pose{FocalPx: 1}}}, Points: []Point{{Part: Celestial, SDPx: 1, AzimuthRad: math.NaN()}}}
	if _, err := Solve(&p, Model{}); err == nil {
		t.Error("a sun of no direction is taken")
	}
}
