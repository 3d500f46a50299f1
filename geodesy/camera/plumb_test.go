package camera

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestPlumbTellsRoll: a line that hangs plumb, drawn by the test's own projection, narrows the roll, and a line that hangs askew is seen to.
func TestPlumbTellsRoll(t *testing.T) {
	random := rand.New(rand.NewPCG(21, 22))
	for draw := range 50 {
		s := madeScene(random, 5, 0.86, 0)
		free, err := Solve(&s.problem, s.problem.Air.FreeCurvature())
		if err != nil {
			t.Fatal(err)
		}
		truth := free.Poses[0]
		truth.RollRad += 1e-4 * random.NormFloat64()
		azimuth, offElevation := truth.AzimuthRad+0.01, 1000/truth.FocalPx
		point := Point{Part: Plumb, SDPx: 0.1}
		point.XPx, point.YPx = projectPlainly(truth, azimuth, truth.TiltRad-offElevation)
		point.ToXPx, point.ToYPx = projectPlainly(truth, azimuth, truth.TiltRad+offElevation)
		s.problem.Points = append(s.problem.Points, point)
		hung, err := Solve(&s.problem, s.problem.Air.FreeCurvature())
		if err != nil {
			t.Fatal(err)
		}
		// 0.1 px at both ends of 2,000 px.
		if want, off := 0.1*math.Sqrt2/2000, math.Abs(hung.Poses[0].RollRad-truth.RollRad); off > 4*want || hung.CurvatureSD > free.CurvatureSD {
			t.Errorf("draw %d: roll %.6f, want %.6f ± %.6f; curvature to %.4f with the line, %.4f without", draw, hung.Poses[0].RollRad, truth.RollRad, want, hung.CurvatureSD, free.CurvatureSD)
		}
	}
}
