package geodesy_test

import (
	"math"
	"testing"

	"farstation/geodesy"
)

// A lecture table of curvature, refraction and both, in feet, with refraction 0.14 of curvature (coursehero 6257444). Its radius
// comes out as 6,372.15 km.
func TestCurvatureAndRefractionTable(t *testing.T) {
	const radiusM = 6372150.0
	for _, row := range []struct{ distanceFt, curvature, refraction, both float64 }{
		{1000, 0.023917, 0.003348, 0.020568},
		{5000, 0.597914, 0.083708, 0.514206},
		{10000, 2.391658, 0.334832, 2.056826},
	} {
		curvature := geodesy.CurvatureAndRefractionM(row.distanceFt*ft, radiusM, 0) / ft
		both := geodesy.CurvatureAndRefractionM(row.distanceFt*ft, radiusM, 0.14) / ft
		for _, check := range []struct {
			name      string
			got, want float64
		}{{"c", curvature, row.curvature}, {"r", curvature - both, row.refraction}, {"c−r", both, row.both}} {
			if math.Abs(check.got-check.want) > 1e-6 {
				t.Errorf("%v ft, %s = %.7f ft, want %.6f", row.distanceFt, check.name, check.got, check.want)
			}
		}
	}
}

// US Army Engineer School, subcourse EN0593, Surveying III, lesson 2, pp. 2-31 to 2-34. Station A 293 m, B 298 m, obstruction H
// 294 m, A–H 8 km, H–B 6 km.
func TestEngineerSchoolClearance(t *testing.T) {
	checkHandbook(t, []handbookRow{
		{"effective elevation of H", func(k float64) float64 { return 294 - geodesy.CurvatureAndRefractionM(8000, meanR, k) }, kEN0593, 289.7, 0.05, true},
		{"effective elevation of B", func(k float64) float64 { return 298 - geodesy.CurvatureAndRefractionM(14000, meanR, k) }, kEN0593, 284.8, 0.05, true},
		{"line at H, over the horizontal at A", func(k float64) float64 {
			return geodesy.LineHeightM(293, 298, 8000, 6000, meanR, k) - geodesy.CurvatureAndRefractionM(8000, meanR, k)
		}, kEN0593, 288.3, 0.05, true},
		{"clearance at H, printed", func(k float64) float64 { return geodesy.LineHeightM(293, 298, 8000, 6000, meanR, k) - 294 }, kEN0593, -1.4, 0.1, false},
		{"clearance at H, direct formula (derived)", func(k float64) float64 { return geodesy.LineHeightM(293, 298, 8000, 6000, meanR, k) - 294 }, kEN0593, -1.388, 0.005, true},
		{"clearance at H, exact height along the ray", func(k float64) float64 {
			elevationRad := geodesy.ApparentElevationRad(293, 298, 14000, meanR, k)
			return geodesy.HeightAtElevationM(elevationRad, 293, 8000, meanR, k) - 294
		}, kEN0593, -1.388, 0.005, true},
		{"rise of chord, figure 2-7, 4 km and 6 km", func(k float64) float64 { return -geodesy.LineHeightM(0, 0, 4000, 6000, meanR, k) }, kEN0593, 1.62, 0.01, true},
	})
}

// US Coast and Geodetic Survey reconnaissance, in Gillespie, Treatise on Surveying, part 2, p. 22: stations 44 statute miles apart.
func TestReconnaissanceStations(t *testing.T) {
	// The source works in whole miles: 230 ft see 20 mi, 331 ft the other 24. From 230 ft without that rounding it is 330.0 ft.
	at := func(groundFt, miles float64) func(float64) float64 {
		return func(k float64) float64 { return groundFt + geodesy.CurvatureAndRefractionM(miles*mi, meanR, k)/ft }
	}
	checkHandbook(t, []handbookRow{
		{"equal heights", at(0, 22), kCGS, 278, 0.5, true},
		{"one of them", at(0, 20), kCGS, 230, 0.5, true},
		{"the other", at(0, 24), kCGS, 331, 0.5, true},
		{"ground at 200 ft, equal heights", at(200, 22), kCGS, 478, 0.5, true},
		{"ground at 200 ft, one of them", at(200, 20), kCGS, 430, 0.5, true},
		{"ground at 200 ft, the other", at(200, 24), kCGS, 531, 0.5, true},
	})
}

// GATE CE 2013 (eduladder.com 6127): eye at 880.88 + 1.2 m, depression 6°10′ to the 2.5 m mark of a staff 2,200 m away, 0.0673 D².
func TestOneWaySight(t *testing.T) {
	const depressionRad, distanceM = (6 + 10.0/60) * math.Pi / 180, 2200.0
	checkHandbook(t, []handbookRow{
		{"handbook's own first order", func(k float64) float64 {
			return 880.88 + 1.2 - distanceM*math.Tan(depressionRad) + geodesy.CurvatureAndRefractionM(distanceM, meanR, k) - 2.5
		}, kSeventh, 642.205, 0.002, true},
		// Exact geometry, the distance taken at the eye's level, adds what the first order drops, distance·θ·tan²: 7 mm.
		{"exact", func(k float64) float64 {
			return 880.88 + 1.2 + geodesy.HeightAtElevationM(-depressionRad, 0, distanceM, meanR, k) - 2.5
		}, kSeventh, 642.205, 0.01, false},
	})
}

// Chandra, Surveying, example 3.9: angles published, height derived. Light's own test has its k.
func TestTrigonometricLevelling(t *testing.T) {
	const upRad, downRad = (6*3600 + 32*60 + 58.3) * arcsec, (6*3600 + 33*60 + 36.7) * arcsec
	checkHandbook(t, []handbookRow{
		{"curvature and refraction (derived)", func(k float64) float64 { return geodesy.CurvatureAndRefractionM(1411.402, 6383393, k) }, 0.1580, 0.1314, 0.00005, true},
		{"height of B (derived)", func(k float64) float64 {
			return 116.73 + geodesy.HeightAtElevationM(upRad, 0, 1411.402, 6383393, k)
		}, 0.1580, 278.91, 0.005, false},
	})
	// Seen from B with the same k, A lies at the published angle below.
	backRad := geodesy.ApparentElevationRad(278.91-116.73, 0, 1411.402, 6383393, 0.1580)
	if difference := math.Abs(backRad+downRad) / arcsec; difference > 1 {
		t.Errorf("elevation of A from B is %.1f″ from the published −6°33′36.7″, want within 1″", difference)
	}
}

// sci.engr.surveying (irbs.com navigation list 0106/0039): hills of 777 m and 401 m, 35 km apart, open sea beyond the lower; with
// 3.92·√h km the lower hides the horizon seen from the higher.
func TestLowerHillHidesHorizon(t *testing.T) {
	const k = 0.1708 // 3.92 km·√m
	checkHandbook(t, []handbookRow{
		{"horizon of 777 m", horizonIn(777, meanR, 1000), k, 109, 0.5, true},
		{"horizon of 401 m", horizonIn(401, meanR, 1000), k, 78.5, 0.05, true}, // as worked; rounded to 79 in the text
	})
	dipRad, horizonM, err := geodesy.SeaHorizon(777, meanR, k)
	if err != nil {
		t.Fatal(err)
	}
	if hill := geodesy.ApparentElevationRad(777, 401, 35000, meanR, k); hill <= -dipRad {
		t.Errorf("hill of 401 m stands at %.2f′, horizon at %.2f′: want the hill above", hill/arcmin, -dipRad/arcmin)
	}
	if rangeM, err := geodesy.GeographicRangeM(0, 401, meanR, k); err != nil || 35000+rangeM <= horizonM {
		t.Errorf("35 km + %.1f km (%v) does not pass the horizon at %.1f km", rangeM/1000, err, horizonM/1000)
	}
}

// transtutors 4785512, answer derived: refraction a seventh, diameter 12,740 km, correction 3 mm at 211.2 m.
func TestThreeMillimetres(t *testing.T) {
	checkHandbook(t, []handbookRow{
		{"3 mm", func(k float64) float64 { return 1000 * geodesy.CurvatureAndRefractionM(211.2, 6370000, k) }, kSeventh, 3, 0.002, true},
	})
}
