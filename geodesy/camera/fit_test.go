package camera

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
)

// scene is a made photograph: places, heights and true values drawn at random, points projected by formulas of the test's own.
type scene struct {
	problem Problem
	place   geodesy.LatLon
}

// madeScene draws a scene. curvature is 1 − k on the Earth and 0 on the plane. The eye, the heights and the places of the problem are off by
// their stated spreads; the pixels have the stated noise.
func madeScene(random *rand.Rand, targets int, curvature, placeSDM float64) scene {
	s := scene{place: geodesy.LatLon{LatDeg: 40 + 20*random.Float64(), LonDeg: 360*random.Float64() - 180}}
	const eyeSDM, heightSDM, targetSDM, pixelSD, ownSD = 1, 5, 20, 0.5, 0.02
	eyeM := 300 + 1500*random.Float64()
	azimuthDeg := 360 * random.Float64()
	pose := Pose{
		AzimuthRad: azimuthDeg * math.Pi / 180, TiltRad: 0.02 * random.NormFloat64(), RollRad: 0.02 * random.NormFloat64(),
		FocalPx: 10_000 + 20_000*random.Float64(), CentreXPx: 3000, CentreYPx: 2000,
	}
	s.problem.Air = Air{K: 0.143, KSD: 0.04, OwnSD: ownSD, LowK: 0.17, LowKSD: 0.15}
	guess := pose
	guess.AzimuthRad += 0.01 * random.NormFloat64()
	guess.TiltRad, guess.RollRad = 0, 0
	guess.FocalPx *= 1 + 0.05*random.NormFloat64()
	s.problem.Frames = []Frame{{Start: guess, FocalSD: math.Inf(1)}}
	station := Station{Place: s.place, PlaceSDM: placeSDM, EyeHeightM: eyeM + eyeSDM*random.NormFloat64(), EyeSDM: eyeSDM}
	if placeSDM > 0 {
		offM := placeSDM
		if math.IsInf(offM, 1) {
			offM = 500
		}
		station.Place, _ = geodesy.WGS84.Direct(s.place, 360*random.Float64(), offM*math.Hypot(random.NormFloat64(), random.NormFloat64()))
	}
	s.problem.Stations = []Station{station}
	for i := range targets {
		bearingDeg := azimuthDeg + (random.Float64()-0.5)*5
		distanceM := 10_000 + 150_000*random.Float64()
		target, end := geodesy.WGS84.Direct(s.place, bearingDeg, distanceM)
		topM := 200 + 3000*random.Float64()
		radiusM := geodesy.WGS84.EulerRadiusM((s.place.LatDeg+target.LatDeg)/2, (bearingDeg+end)/2)
		c := curvature - ownSD*random.NormFloat64()
		// The test's own geometry: a circle of curvature c/R in the vertical plane, the top's offset along and across the eye's horizontal.
		theta := c * distanceM / radiusM
		along, up := distanceM+topM*math.Sin(theta), topM*math.Cos(theta)-eyeM
		if theta != 0 {
			bent := radiusM / c
			along, up = (bent+topM)*math.Sin(theta), (bent+topM)*math.Cos(theta)-bent-eyeM
		}
		x, y := projectPlainly(pose, bearingDeg*math.Pi/180, math.Atan2(up, along))
		listed, _ := geodesy.WGS84.Direct(target, 0, targetSDM*random.NormFloat64())
		listed, _ = geodesy.WGS84.Direct(listed, 90, targetSDM*random.NormFloat64())
		s.problem.Targets = append(s.problem.Targets, Target{Place: listed, PlaceSDM: targetSDM, HeightSDM: heightSDM})
		s.problem.Points = append(s.problem.Points, Point{
			Part: OnTarget, Target: i, XPx: x + pixelSD*random.NormFloat64(), YPx: y + pixelSD*random.NormFloat64(), SDPx: pixelSD,
			HeightM: topM + heightSDM*random.NormFloat64(),
		})
	}
	return s
}

// projectPlainly is a pinhole by rotation matrices: turn to the azimuth, tilt, roll.
func projectPlainly(p Pose, azimuthRad, elevationRad float64) (x, y float64) {
	east, north, up := math.Cos(elevationRad)*math.Sin(azimuthRad), math.Cos(elevationRad)*math.Cos(azimuthRad), math.Sin(elevationRad)
	right := east*math.Cos(p.AzimuthRad) - north*math.Sin(p.AzimuthRad)
	ahead := east*math.Sin(p.AzimuthRad) + north*math.Cos(p.AzimuthRad)
	ahead, up = ahead*math.Cos(p.TiltRad)+up*math.Sin(p.TiltRad), up*math.Cos(p.TiltRad)-ahead*math.Sin(p.TiltRad)
	right, up = right*math.Cos(p.RollRad)+up*math.Sin(p.RollRad), up*math.Cos(p.RollRad)-right*math.Sin(p.RollRad)
	return p.CentreXPx + p.FocalPx*right/ahead, p.CentreYPx - p.FocalPx*up/ahead
}

// TestFitIsCalibrated draws made photographs of the Earth and of a plane: curvature must come back without bias and within its stated spread,
// and χ² must be what its degrees of freedom say.
func TestFitIsCalibrated(t *testing.T) {
	const draws = 300
	for _, test := range []struct {
		name              string
		curvature, spread float64
		placeSDM          float64
	}{
		{"curved", 1 - 0.143, 0.04, 0}, {"plane", 0, 0, 0}, {"curved, place to 30 m", 1 - 0.143, 0.04, 30},
	} {
		random := rand.New(rand.NewPCG(7, 11))
		var sumZ, sumZ2, sumP float64
		wrong := 0
		for range draws {
			c := test.curvature + test.spread*random.NormFloat64()
			s := madeScene(random, 8, c, test.placeSDM)
			fit, err := Solve(&s.problem, s.problem.Air.FreeCurvature())
			if err != nil {
				t.Fatalf("%s: %v", test.name, err)
			}
			z := (fit.Curvature - c) / fit.CurvatureSD
			sumZ, sumZ2, sumP = sumZ+z, sumZ2+z*z, sumP+fit.P
			plane, err := Solve(&s.problem, s.problem.Air.Plane())
			if err != nil {
				t.Fatalf("%s: plane: %v", test.name, err)
			}
			if fit.Curvature/fit.CurvatureSD > 5 == (test.curvature == 0) && math.Abs(fit.Curvature/fit.CurvatureSD) > 5 {
				wrong++
			}
			if plane.Chi2 < fit.Chi2-1e-3 {
				t.Errorf("%s: the plane fits better, χ² %.3f, than the curvature left free, %.3f", test.name, plane.Chi2, fit.Chi2)
			}
		}
		mean, meanSquare, meanP := sumZ/draws, sumZ2/draws, sumP/draws
		// Of 300 normal draws the mean has a spread of 0.058, the mean square one of 0.082; of a uniform P the mean has one of 0.017.
		if math.Abs(mean) > 0.2 || meanSquare < 0.75 || meanSquare > 1.25 || math.Abs(meanP-0.5) > 0.06 || wrong > 0 {
			t.Errorf("%s: z-scores of the curvature have mean %.3f and mean square %.3f, P has mean %.3f, %d wrong verdicts; want 0, 1, 0.5, none", test.name, mean, meanSquare, meanP, wrong)
		}
		t.Logf("%s: mean z %.3f, mean square %.3f, mean P %.3f", test.name, mean, meanSquare, meanP)
	}
}

func TestFitRefuses(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, test := range []struct {
		name   string
		change func(*scene)
		want   error
	}{
		{"one point", func(s *scene) { s.problem.Points = s.problem.Points[:1] }, ErrTooFew},
		{"two points", func(s *scene) { s.problem.Points = s.problem.Points[:2] }, ErrTooFew},
		{"one point eight times", func(s *scene) {
			for i := range s.problem.Points {
				s.problem.Points[i] = s.problem.Points[0]
			}
		}, ErrSingular},
	} {
		s := madeScene(random, 8, 0.86, 0)
		test.change(&s)
		fit, err := Solve(&s.problem, s.problem.Air.FreeCurvature())
		if !errors.Is(err, test.want) {
			text := ""
			if fit != nil {
				text = fmt.Sprintf("curvature %.3f ± %.3f, condition %.2g", fit.Curvature, fit.CurvatureSD, fit.Condition)
			}
			t.Errorf("%s: error %v, want %v; %s", test.name, err, test.want, text)
		}
	}
}

func TestPoseInverse(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for range 1000 {
		p := Pose{
			AzimuthRad: 2 * math.Pi * random.Float64(), TiltRad: random.NormFloat64() * 0.3, RollRad: random.NormFloat64(), FocalPx: 500 + 20_000*random.Float64(),
			CentreXPx: 3000, CentreYPx: 2000, Distortion: 0.05 * random.NormFloat64(),
		}
		azimuth, elevation := p.AzimuthRad+0.2*random.NormFloat64(), p.TiltRad+0.2*random.NormFloat64()
		x, y, ok := p.Project(azimuth, elevation)
		if !ok {
			continue
		}
		backAzimuth, backElevation := p.Direction(x, y)
		if turn := math.Remainder(backAzimuth-azimuth, 2*math.Pi); math.Abs(turn) > 1e-9 || math.Abs(backElevation-elevation) > 1e-9 {
			t.Fatalf("%+v: %v, %v comes back as %v, %v", p, azimuth, elevation, backAzimuth, backElevation)
		}
		if p.Distortion = 0; true {
			x, y, _ = p.Project(azimuth, elevation)
			if plainX, plainY := projectPlainly(p, azimuth, elevation); math.Hypot(x-plainX, y-plainY) > 1e-6 {
				t.Fatalf("%+v: projects %v, %v to %v, %v; by matrices %v, %v", p, azimuth, elevation, x, y, plainX, plainY)
			}
		}
	}
}
