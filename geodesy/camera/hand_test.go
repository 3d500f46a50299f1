package camera

import (
	"math"
	"testing"

	"farstation/geodesy"
)

// alignmentByHand is a near top that stands exactly under or before a far one, at one pixel, as a calculator without any program of ours has it. Rays are
// arcs, so that over the horizontal at the eye a top at height h and distance s appears, with c the apparent curvature (1 − k)/R, at
//
//	tan ε = ((1/c + h) cos cs − (1/c + h_o)) / ((1/c + h) sin cs).
//
// which is, with half-angles, (h − h_o)/(s(1 + ch)) · cs/sin cs − tan(cs/2). With the fractions of cs left out but the first, and (ch)² and more, that is
// (h − h_o)/s·(1 − ch) − cs/2. Both tops at one ε is linear in c.
type alignmentByHand struct{ eyeM, nearM, farM, toNearM, toFarM float64 }

// slopes are the tops' heights over the eye by their distances.
func (a alignmentByHand) slopes() (near, far float64) {
	return (a.nearM - a.eyeM) / a.toNearM, (a.farM - a.eyeM) / a.toFarM
}

// firstOrder is c = 2·((h_f − h_o)/s_f − (h_n − h_o)/s_n)/(s_f − s_n), per metre: 1 − ch taken as 1.
func (a alignmentByHand) firstOrder() float64 {
	near, far := a.slopes()
	return 2 * (far - near) / (a.toFarM - a.toNearM)
}

// secondOrder keeps the ch.
func (a alignmentByHand) secondOrder() float64 {
	near, far := a.slopes()
	return 2 * (far - near) / (a.toFarM - a.toNearM + 2*a.farM*far - 2*a.nearM*near)
}

// thirdOrder puts the next terms, cs/sin cs = 1 + (cs)²/6 and tan(cs/2) = cs/2 + (cs)³/24, in at the c of secondOrder.
func (a alignmentByHand) thirdOrder() float64 {
	near, far := a.slopes()
	c := a.secondOrder()
	more := func(slope, distanceM float64) float64 {
		return slope*square(c*distanceM)/6 - c*distanceM*square(c*distanceM)/24
	}
	return c + 2*(more(far, a.toFarM)-more(near, a.toNearM))/(a.toFarM-a.toNearM)
}

// spread is that of c to first order: (s_f − s_n)/2 · σ_c is what the two heights, the eye, both pixels and what the two rays' k do not share leave open of
// the tops' separation.
func (a alignmentByHand) spread(eyeSDM, heightSDM, pixelSDRad, ownSDPerM float64) float64 {
	sum := 0.0
	for _, part := range []float64{
		heightSDM / a.toFarM, heightSDM / a.toNearM, (1/a.toNearM - 1/a.toFarM) * eyeSDM, pixelSDRad, pixelSDRad,
		a.toNearM / 2 * ownSDPerM, a.toFarM / 2 * ownSDPerM,
	} {
		sum += square(part)
	}
	return 2 * math.Sqrt(sum) / (a.toFarM - a.toNearM)
}

// TestAlignmentByHand: one alignment, heights and distances given, both tops at one pixel: the apparent curvature by hand beside Solve's.
func TestAlignmentByHand(t *testing.T) {
	const (
		eyeSDM, heightSDM, pixelSD, focalPx, ownSD = 2.0, 5.0, 0.5, 20_000.0, 0.02
		azimuthDeg                                 = 90.0 // along the parallel, so that both lines have one radius of curvature to 1e-6
	)
	station := geodesy.LatLon{LatDeg: 47, LonDeg: 8}
	for _, test := range []struct {
		name      string
		alignment alignmentByHand
		// firstOff bounds how far Solve is from the hand's first order: about twice ch times a slope by the lever (s_f − s_n)/2R, a thousandth for mountains.
		firstOff float64
	}{
		{"low tops over water", alignmentByHand{20, 120, 672, 15_000, 65_000}, 3e-4},
		{"hill before mountain", alignmentByHand{250, 900, 2845, 40_000, 120_000}, 2e-3},
		{"from a summit down", alignmentByHand{3000, 1900, 1200, 60_000, 150_000}, 2e-3},
		{"all on one straight line: the plane", alignmentByHand{100, 500, 1300, 30_000, 90_000}, 1e-6},
	} {
		a := test.alignment
		pose := Pose{AzimuthRad: azimuthDeg * math.Pi / 180, FocalPx: focalPx, CentreXPx: 3000, CentreYPx: 2000}
		problem := Problem{
			Stations: []Station{{Place: station, EyeHeightM: a.eyeM, EyeSDM: eyeSDM}},
			// The centre of the picture tells no roll; a radian of prior is as good as none for the tilt.
			Frames: []Frame{{Start: pose, TiltRollSDRad: 1}},
			Air:    Air{K: 0.143, KSD: 0.04, OwnSD: ownSD},
		}
		var radiusM float64
		for i, top := range []struct{ heightM, distanceM float64 }{{a.nearM, a.toNearM}, {a.farM, a.toFarM}} {
			place, end := geodesy.WGS84.Direct(station, azimuthDeg, top.distanceM)
			radiusM = geodesy.WGS84.EulerRadiusM((station.LatDeg+place.LatDeg)/2, (azimuthDeg+end)/2)
			problem.Targets = append(problem.Targets, Target{Place: place, HeightSDM: heightSDM})
			problem.Points = append(problem.Points, Point{Part: OnTarget, Target: i, XPx: 3000, YPx: 2000, SDPx: pixelSD, HeightM: top.heightM})
		}
		fit, err := Solve(&problem, problem.Air.FreeCurvature())
		if err != nil {
			t.Fatalf("%s: %v", test.name, err)
		}
		first, second, third := a.firstOrder()*radiusM, a.secondOrder()*radiusM, a.thirdOrder()*radiusM
		spread := a.spread(eyeSDM, heightSDM, pixelSD/focalPx, ownSD/radiusM) * radiusM
		t.Logf("%-36s (1 − k) by hand %.6f, %.6f, %.6f to first, second, third order, Solve %.6f; spread by hand %.4f, Solve %.4f",
			test.name, first, second, third, fit.Curvature, spread, fit.CurvatureSD)
		// The third order leaves out (ch)², 2e-7 of a slope, and the radii of the two lines differ by 1e-6.
		if math.Abs(fit.Curvature-first) > test.firstOff || math.Abs(fit.Curvature-third) > 3e-6 {
			t.Errorf("%s: Solve %.7f; by hand %.7f to first order, want within %g, and %.7f to third, want within 3e-6", test.name, fit.Curvature, first, test.firstOff, third)
		}
		if math.Abs(fit.CurvatureSD/spread-1) > 0.01 {
			t.Errorf("%s: spread by Solve %.5f, by hand %.5f, want within 1 %%", test.name, fit.CurvatureSD, spread)
		}
	}
}

func square(x float64) float64 { return x * x }
