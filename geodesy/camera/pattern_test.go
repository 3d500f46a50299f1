package camera

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestPatternsFindTheNames: among hundreds of bearings all round, nearly all names of a few marks come out in the first pattern. Two things of nearly
// one azimuth cannot be told apart by it: roll moves marks by a few pixels.
func TestPatternsFindTheNames(t *testing.T) {
	random := rand.New(rand.NewPCG(41, 42))
	right, marked := 0, 0
	const draws = 200
	for range draws {
		bearings := make([]Bearing, 400)
		for i := range bearings {
			bearings[i] = Bearing{2 * math.Pi * random.Float64(), 0.02 * random.NormFloat64()}
		}
		pose := Pose{AzimuthRad: 2 * math.Pi * random.Float64(), TiltRad: 0.01 * random.NormFloat64(), RollRad: 0.005 * random.NormFloat64(), FocalPx: 20_000, CentreXPx: 3000, CentreYPx: 2000}
		var marks []Mark
		var want []int
		for i, b := range bearings {
			if x, y, ok := projected(pose, b); ok && x > 0 && x < 6000 && len(marks) < 8 {
				marks, want = append(marks, Mark{x, y}), append(want, i)
			}
		}
		if len(marks) < 6 {
			t.Fatal("the scene has too few marks")
		}
		got := Patterns(marks, bearings, Search{CentreXPx: 3000, CentreYPx: 2000, FocalLowPx: 18_000, FocalHighPx: 22_000, AzimuthSpanRad: math.Pi, TolerancePx: 60, Most: 40})
		if len(got) == 0 {
			t.Fatal("no pattern")
		}
		for i, name := range got[0].Names {
			if marked++; name == want[i] {
				right++
			}
		}
		if slices.Equal(got[0].Names, want) {
			if off := turnRad(pose.AzimuthRad, got[0].Pose.AzimuthRad); math.Abs(off) > 0.002 || math.Abs(got[0].Pose.TiltRad-pose.TiltRad) > 0.002 {
				t.Errorf("pose off by %.4f and %.4f rad", off, got[0].Pose.TiltRad-pose.TiltRad)
			}
		}
	}
	t.Logf("%d of %d marks named right", right, marked)
	if right < marked*98/100 {
		t.Errorf("%d of %d marks named right", right, marked)
	}
}

func projected(p Pose, b Bearing) (x, y float64, ok bool) {
	if math.Cos(b.AzimuthRad-p.AzimuthRad) < 0.9 {
		return 0, 0, false
	}
	x, y = projectPlainly(p, b.AzimuthRad, b.ElevationRad)
	return x, y, true
}

func TestPatternsOfNothing(t *testing.T) {
	s := Search{FocalLowPx: 1, FocalHighPx: 2, AzimuthSpanRad: math.Pi, TolerancePx: 1, Most: 9}
	for _, marks := range [][]Mark{nil, {{1, 2}}} {
		if got := Patterns(marks, []Bearing{{1, 0}, {2, 0}}, s); got != nil {
			t.Errorf("%d marks have patterns %v", len(marks), got)
		}
	}
	// All in one column: no turn to go by.
	if got := Patterns([]Mark{{5, 1}, {5, 9}}, []Bearing{{1, 0}, {1.1, 0}}, s); len(got) != 0 {
		t.Errorf("marks in one column have patterns %v", got)
	}
}
