package geodesy_test

import (
	"math"
	"testing"

	"farstation/geodesy"
)

const (
	ft     = 0.3048
	mi     = 1609.344
	nmi    = 1852.0
	arcmin = math.Pi / 180 / 60
	arcsec = arcmin / 60
	meanR  = 6371000.0
	navR   = 3440.1 * nmi // Bowditch's mean radius
	kError = 0.02         // what a sharp row must tell
)

// The refraction coefficient that each published convention hides; every row below uses that of its own source.
const (
	kAdmiralty    = 0.0985                // 2.03 nmi·√m, Admiralty lists of lights and IALA
	kMetricSurvey = 0.1399                // 0.0675 m/km²
	kEN0593       = 1 - 2*meanR*0.0676e-6 // 0.1386
	kCGS          = 0.1395                // K²/1.7426
	kIndian       = 0.14                  // m = 0.07
	kSeventh      = 1.0 / 7               // refraction a seventh of curvature
	kCoastPilot   = 0.1431                // √(7h/4) statute miles
	kAlmanac      = 0.165                 // 1.76′·√m
	kAlmanacFt    = 0.168                 // 0.97′·√ft
	kTables1415   = 1 - 0.8321            // β₀ = 0.8321
	kTables121317 = 1 - 0.8279            // β₀ = 0.8279
	kRadio        = 0.25                  // four-thirds Earth: not for light
)

// handbookRow is one published number: of is what this package gives for a coefficient. A sharp row is printed to digits that tell
// a k wrong by 0.02.
type handbookRow struct {
	name      string
	of        func(k float64) float64
	k         float64
	want, tol float64
	sharp     bool
}

func checkHandbook(t *testing.T, rows []handbookRow) {
	t.Helper()
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			got := row.of(row.k)
			if !(math.Abs(got-row.want) <= row.tol) {
				t.Errorf("k=%.4f: got %.7g, want %v ± %v", row.k, got, row.want, row.tol)
			}
			for _, wrong := range []float64{row.k - kError, row.k + kError} {
				if other := row.of(wrong); row.sharp && math.Abs(other-row.want) <= row.tol {
					t.Errorf("k=%.4f also gives %.7g, within %v of %v: the tolerance is too wide to test k", wrong, other, row.tol, row.want)
				}
			}
		})
	}
}

// horizonIn returns the horizon distance of a height as a function of k, and dipIn the dip in arc minutes.
func horizonIn(heightM, radiusM, unitM float64) func(float64) float64 {
	return func(k float64) float64 {
		_, distanceM, err := geodesy.SeaHorizon(heightM, radiusM, k)
		if err != nil {
			return math.NaN()
		}
		return distanceM / unitM
	}
}

func dipIn(heightM float64) func(float64) float64 {
	return func(k float64) float64 {
		dipRad, _, err := geodesy.SeaHorizon(heightM, meanR, k)
		if err != nil {
			return math.NaN()
		}
		return dipRad / arcmin
	}
}

func rangeIn(eyeM, topM, radiusM, unitM float64) func(float64) float64 {
	return func(k float64) float64 {
		rangeM, err := geodesy.GeographicRangeM(eyeM, topM, radiusM, k)
		if err != nil {
			return math.NaN()
		}
		return rangeM / unitM
	}
}

func fallIn(distanceM, unitM float64) func(float64) float64 {
	return func(k float64) float64 { return geodesy.CurvatureAndRefractionM(distanceM, meanR, k) / unitM }
}

// Each convention's own constant comes out with the k it hides. Radius 6,371 km unless the row says otherwise.
func TestImpliedK(t *testing.T) {
	refractionOnly := func(distanceM, unitM float64) func(float64) float64 {
		return func(k float64) float64 {
			return (geodesy.CurvatureAndRefractionM(distanceM, meanR, 0) - geodesy.CurvatureAndRefractionM(distanceM, meanR, k)) / unitM
		}
	}
	inverseFall := func(k float64) float64 { return 1 / fallIn(mi, ft)(k) }
	checkHandbook(t, []handbookRow{
		{"geometry alone, horizon km·√m (many texts)", horizonIn(1, meanR, 1000), 0, 3.57, 0.005, true},
		{"geometry alone, m/km² (many texts)", fallIn(1000, 1), 0, 0.0785, 0.00005, true},
		{"geometry alone, m/km² (Ghilani & Wolf, 13th ed., ch. 4)", fallIn(1000, 1), 0, 0.07848, 0.000005, true},
		{"geometry alone, ft/mi² (many texts; from memory)", fallIn(mi, ft), 0, 0.667, 0.0005, true},
		{"geometry alone, ft/kft² (many texts; from memory)", fallIn(1000*ft, ft), 0, 0.0239, 0.00005, true},
		{"Admiralty lists of lights and IALA, nmi·√m", horizonIn(1, meanR, nmi), kAdmiralty, 2.03, 0.005, true},
		{"refraction alone, m/km² (Hicks, Civil Engineering Formulas, p. 182)", refractionOnly(1000, 1), kSeventh, 0.011, 0.0005, true},
		{"refraction alone, ft/mi² (Hicks)", refractionOnly(mi, ft), kMetricSurvey, 0.093, 0.0005, true},
		{"refraction alone, ft/kft² (Hicks)", refractionOnly(1000*ft, ft), kMetricSurvey, 0.0033, 0.00005, true},
		{"surveying, m/km² (Ghilani & Wolf, 13th ed., ch. 4)", fallIn(1000, 1), kMetricSurvey, 0.0675, 0.00005, true},
		{"surveying, 10 km, m (P. Hirose 2001 quoting a text)", fallIn(10000, 1), kMetricSurvey, 6.75, 0.005, true},
		{"surveying, ft/mi² (from memory)", fallIn(mi, ft), kMetricSurvey, 0.574, 0.0005, true},
		{"surveying, ft/kft² (from memory)", fallIn(1000*ft, ft), kMetricSurvey, 0.0206, 0.00005, true},
		{"surveying, ft/kft² (aboutcivil.org)", fallIn(1000*ft, ft), kMetricSurvey, 0.021, 0.0005, false},
		{"US Army EN0593, m/km²", fallIn(1000, 1), kEN0593, 0.0676, 0.00005, true},
		{"C&GS reconnaissance, mi²/ft (1.7426 from memory)", inverseFall, kCGS, 1.7426, 0.001, true},
		// The printed 0.06735 and 0.0673 do not follow from its m = 0.07, which gives 0.0675; they are 6/7 of the curvature.
		{"Chandra, Surveying, eq. 6.5, m/km²", fallIn(1000, 1), kSeventh, 0.0673, 0.00005, true},
		{"a seventh, m/km² (Chandra, sarthaks.com 2675763)", fallIn(1000, 1), kSeventh, 0.06735, 0.0001, true},
		{"Indian texts on land, m = 0.07, m/km² at R = 6,373 km", func(k float64) float64 {
			return geodesy.CurvatureAndRefractionM(1000, 6373000, k)
		}, kIndian, 0.06747, 0.000005, true},
		{"a seventh, km·√m at R = 6,370 km (3.8553 from memory)", horizonIn(1, 6370000, 1000), kSeventh, 3.8553, 0.00005, true},
		{"old coast pilots, mi·√ft", horizonIn(1*ft, meanR, mi), kCoastPilot, math.Sqrt(7.0 / 4), 0.0002, true},
		{"sailing texts, nmi·√m (2.08 from memory)", horizonIn(1, meanR, nmi), 0.141, 2.08, 0.005, true},
		{"sailing texts, nmi·√m", horizonIn(1, meanR, nmi), 0.1495, 2.09, 0.005, true},
		{"Nautical Almanac 2022, p. 9, dip ′·√m", dipIn(1), kAlmanac, 1.76, 0.005, true},
		{"Nautical Almanac 2022, p. 9, dip ′·√ft", dipIn(1 * ft), kAlmanacFt, 0.97, 0.005, true},
		{"Bowditch Table 12, nmi·√ft", horizonIn(1*ft, navR, nmi), kTables121317, 1.169, 0.0005, true},
		{"Bowditch Table 12, mi·√ft", horizonIn(1*ft, navR, mi), kTables121317, 1.346, 0.001, true},
		{"Bowditch Tables 14 and 15, ft/nmi² (0.7349)", func(k float64) float64 {
			return geodesy.CurvatureAndRefractionM(nmi, navR, k) / ft
		}, kTables1415, 0.7349, 0.00005, true},
		{"Bowditch Tables 14 and 15, half turn in nmi (8268)", func(k float64) float64 {
			return 2 / (geodesy.ApparentCurvaturePerM(navR, k) * nmi)
		}, kTables1415, 8268, 1, true},
		{"Bowditch Table 15, rad/nmi (0.0002419)", func(k float64) float64 {
			return geodesy.ApparentCurvaturePerM(navR, k) * nmi
		}, kTables1415, 0.0002419, 0.00000005, true},
		{"ITU radio, four-thirds Earth, km·√m (not for light)", horizonIn(1, meanR, 1000), kRadio, 4.12, 0.005, true},
	})
}
