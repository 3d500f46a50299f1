package geodesy_test

import (
	"math"
	"testing"

	"farstation/geodesy"
)

// American Practical Navigator (Bowditch), Pub. No. 9, Table 12, printed to 0.1 nmi, k = 0.1721.
func TestBowditchTable12(t *testing.T) {
	for _, group := range []struct {
		source string
		feet   []float64
		nmi    []float64
	}{
		{"ch. 4, §§406–407", []float64{5, 30, 70, 150}, []float64{2.6, 6.4, 9.8, 14.3}},
		{"Seamanship Secrets, Dry Tortugas example", []float64{9}, []float64{3.5}},
		{"Seamanship Secrets, appendix I", []float64{16, 125}, []float64{4.7, 13.1}},
		{"USCG Light List example, 2007", []float64{35, 65}, []float64{6.9, 9.4}},
		{"nav201.freeservers.com", []float64{42, 90}, []float64{7.6, 11.1}},
		{"a geodesy test suite quoting Pub. No. 9", []float64{100, 120, 200}, []float64{11.7, 12.8, 16.5}},
		// 25 ft, remembered as 5.9, is left out: 1.169·5 is 5.85, on the edge of rounding.
		{"from memory", []float64{10, 15, 20, 50, 250, 1000}, []float64{3.7, 4.5, 5.2, 8.3, 18.5, 37.0}},
	} {
		var rows []handbookRow
		for i, feet := range group.feet {
			sharp := group.nmi[i] > 8.5 // past it 0.02 of k is over 0.1 nmi
			rows = append(rows, handbookRow{"Table 12, " + group.source, horizonIn(feet*ft, navR, nmi), kTables121317, group.nmi[i], 0.05, sharp})
		}
		checkHandbook(t, rows)
	}
}

// Geographic ranges are sums of rounded terms.
func TestGeographicRange(t *testing.T) {
	checkHandbook(t, []handbookRow{
		{"Bowditch ch. 4, 150 ft and 30 ft", rangeIn(150*ft, 30*ft, navR, nmi), kTables121317, 20.7, 0.1, true},
		{"nav201.freeservers.com, 42 ft and 90 ft", rangeIn(42*ft, 90*ft, navR, nmi), kTables121317, 18.7, 0.1, true},
		{"USCG Light List, 35 ft and 65 ft", rangeIn(35*ft, 65*ft, navR, nmi), kTables121317, 16.3, 0.1, true},
		{"Seamanship Secrets, 16 ft and 125 ft", rangeIn(16*ft, 125*ft, navR, nmi), kTables121317, 17.8, 0.1, true},
		{"Bowditch Table 13, corner, 35 m and 300 m (navlist g54058)", rangeIn(35, 300, navR, nmi), kTables121317, 49.2, 0.05, true},
		// nauticalive.com rounds the constant to 1.17, which is k = 0.1728.
		{"nauticalive.com, 8 ft and 170 ft", rangeIn(8*ft, 170*ft, navR, nmi), 0.1728, 18.56, 0.01, true},
		{"Admiralty, 2 m and 11 m (crewtraffic.com 12787)", rangeIn(2, 11, meanR, nmi), kAdmiralty, 9.60, 0.01, true},
		{"Admiralty by formula, 4 m and 100 m (derived)", rangeIn(4, 100, meanR, nmi), kAdmiralty, 24.36, 0.01, true},
		{"Admiralty by formula, 5 m and 50 m (derived)", rangeIn(5, 50, meanR, nmi), kAdmiralty, 18.89, 0.01, true},
	})
	// Table 15 at an angle of −dip is the geographic range with that table's constant: 1.1665·(√h + √H), feet and nmi.
	checkHandbook(t, []handbookRow{
		{"Bowditch Table 15 at −dip, 25 ft and 400 ft (derived)", rangeIn(25*ft, 400*ft, navR, nmi), kTables1415, 1.1665 * 25, 0.003, true},
	})
}

// distanceAtM returns where, past the point of 0, the top sinks to an elevation: Bowditch Table 15.
func distanceAtM(elevationRad, eyeM, topM, radiusM, k float64) float64 {
	low, high := 1.0, 1e6
	for range 80 {
		middle := (low + high) / 2
		if geodesy.ApparentElevationRad(eyeM, topM, middle, radiusM, k) > elevationRad {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

func TestBowditchTable15(t *testing.T) {
	in := func(elevationArcmin, eyeM, topM float64) func(float64) float64 {
		return func(k float64) float64 {
			return distanceAtM(elevationArcmin*arcmin, eyeM, topM, navR, k) / nmi
		}
	}
	rows := []handbookRow{
		{"printed, H−h = 70 ft, 0′ (2019 vol. II; print and formula differ by up to 0.1)", in(0, 0, 70*ft), kTables1415, 9.7, 0.1, false},
		{"printed, H−h = 2,000 ft, largest entry (navlist g54058), at 5′", in(5, 0, 2000*ft), kTables1415, 46.5, 0.05, true},
		// The formula's constants 0.7349 and 0.0002419 are rounded: 0.00026 nmi here.
		{"worked case, eye 3 m, top 24 m, +0.005055′", in(0.005055, 3, 24), kTables1415, 9.676436, 0.0005, true},
		{"worked case, eye 3 m, top 24 m, −0.094945′", in(-0.094945, 3, 24), kTables1415, 9.797358, 0.0005, true},
		{"formula, 100 ft at 0′ (derived)", in(0, 0, 100*ft), kTables1415, 11.67, 0.01, true},
		{"formula, 100 ft at 10′ (derived)", in(10, 0, 100*ft), kTables1415, 4.73, 0.01, false},
		{"formula, 1,000 ft at 0′ (derived)", in(0, 0, 1000*ft), kTables1415, 36.89, 0.01, true},
		{"formula, 1,000 ft at 10′ (derived)", in(10, 0, 1000*ft), kTables1415, 26.77, 0.01, true},
		{"formula, 2,000 ft at 0′ (derived)", in(0, 0, 2000*ft), kTables1415, 52.17, 0.01, true},
		{"formula, 2,000 ft at 10′ (derived)", in(10, 0, 2000*ft), kTables1415, 41.51, 0.01, true},
	}
	for i, want := range []float64{15.69, 14.01, 12.46, 11.04, 9.76, 8.63, 7.65, 6.80} { // derived, −4′…+3′
		rows = append(rows, handbookRow{"formula, 70 ft (derived)", in(float64(i-4), 0, 70*ft), kTables1415, want, 0.01, true})
	}
	checkHandbook(t, rows)
}

func TestBowditchTables14And17(t *testing.T) {
	short := func(feet, distanceNmi float64) func(float64) float64 {
		return func(k float64) float64 {
			return geodesy.DipShortOfHorizonRad(feet*ft, distanceNmi*nmi, navR, k) / arcmin
		}
	}
	toHorizon := func(feet, distanceNmi float64) func(float64) float64 {
		return func(k float64) float64 {
			dipRad, _, err := geodesy.SeaHorizon(feet*ft, navR, k)
			if err != nil {
				return math.NaN()
			}
			return (geodesy.DipShortOfHorizonRad(feet*ft, distanceNmi*nmi, navR, k) - dipRad) / arcmin
		}
	}
	checkHandbook(t, []handbookRow{
		{"Table 14, 100 ft at 0.2 nmi (two test files of a celestial project)", short(100, 0.2), kTables1415, 282.3, 0.05, false},
		{"Table 14 by formula, 10 ft at 0.1 nmi (derived)", short(10, 0.1), kTables1415, 56.6, 0.05, false},
		{"Table 14 by formula, 10 ft at 0.5 nmi (derived)", short(10, 0.5), kTables1415, 11.5, 0.05, false},
		{"Table 14 by formula, 10 ft at 1 nmi (derived)", short(10, 1), kTables1415, 6.1, 0.05, false},
		{"Table 14 by formula, 10 ft at 2 nmi (derived)", short(10, 2), kTables1415, 3.7, 0.05, false},
		{"Table 17 by formula, 50 ft at 0.5 nmi (derived)", toHorizon(50, 0.5), kTables121317, 49.94, 0.01, true},
		{"Table 17 by formula, 50 ft at 1 nmi (derived)", toHorizon(50, 1), kTables121317, 21.86, 0.01, true},
		{"Table 17 by formula, 50 ft at 2 nmi (derived)", toHorizon(50, 2), kTables121317, 8.13, 0.01, true},
		{"Table 17 by formula, 50 ft at 3 nmi (derived)", toHorizon(50, 3), kTables121317, 3.83, 0.01, true},
	})
	// The simplified form of the Nautical Almanac (navlist w992), 0.4156·d + 0.5658·h/d, lies 0.2 % above at 100 ft, 0.2 nmi.
	simple := 0.4156*0.2 + 0.5658*100/0.2
	if ratio := simple / short(100, 0.2)(kTables1415); math.Abs(ratio-1.002) > 0.0005 {
		t.Errorf("simplified dip short of the horizon is %.5f times DipShortOfHorizonRad(100 ft, 0.2 nmi), want 1.002", ratio)
	}
}

// Thompson's Coast Pilot for the Upper Lakes, 4th ed., p. 113, statute miles; Haswell, Engineers' and Mechanics' Pocket-Book, 5th
// ed. 1848, pp. 21–22 (his rows of 1,000 and 5,000 ft are misprints and left out).
func TestOldCoastPilotHorizons(t *testing.T) {
	checkHandbook(t, []handbookRow{
		{"Thompson, 10 ft", horizonIn(10*ft, meanR, mi), kSeventh, 4.184, 0.005, true},
		{"Thompson, 75 ft", horizonIn(75*ft, meanR, mi), kSeventh, 11.456, 0.005, true},
		{"Thompson, 250 ft", horizonIn(250*ft, meanR, mi), kSeventh, 20.916, 0.005, true},
		{"Thompson by his own constant, 10 ft", horizonIn(10*ft, meanR, mi), kCoastPilot, 4.184, 0.001, true},
		{"Thompson by his own constant, 75 ft", horizonIn(75*ft, meanR, mi), kCoastPilot, 11.456, 0.001, true},
		{"Thompson by his own constant, 250 ft", horizonIn(250*ft, meanR, mi), kCoastPilot, 20.916, 0.001, true},
		{"this geometry, 10 ft (derived)", horizonIn(10*ft, meanR, mi), kSeventh, 4.1826, 0.0001, true},
		{"this geometry, 75 ft (derived)", horizonIn(75*ft, meanR, mi), kSeventh, 11.4546, 0.0001, true},
		{"this geometry, 250 ft (derived)", horizonIn(250*ft, meanR, mi), kSeventh, 20.9132, 0.0001, true},
		{"Haswell, 10 ft", horizonIn(10*ft, meanR, mi), kCoastPilot, 4.18, 0.005, true},
		{"Haswell, 20 ft", horizonIn(20*ft, meanR, mi), kCoastPilot, 5.92, 0.005, true},
		{"Haswell, 100 ft", horizonIn(100*ft, meanR, mi), kCoastPilot, 13.23, 0.005, true},
		{"Haswell, 500 ft", horizonIn(500*ft, meanR, mi), kCoastPilot, 29.58, 0.005, true},
	})
}

// Nautical Almanac, dip table; every row from memory. A critical table gives one value for an interval of heights, so its middle is
// tested with the half digit.
func TestNauticalAlmanacDip(t *testing.T) {
	checkHandbook(t, []handbookRow{
		{"2.4–2.6 m, from memory", dipIn(2.5), kAlmanac, 2.8, 0.05, false},
		{"3.0–3.2 m, from memory", dipIn(3.1), kAlmanac, 3.1, 0.05, false},
		{"5.0–5.2 m, from memory", dipIn(5.1), kAlmanac, 4.0, 0.05, false},
		{"10.3–10.6 m, from memory", dipIn(10.45), kAlmanac, 5.7, 0.05, true},
		{"20 m, from memory", dipIn(20), kAlmanac, 7.9, 0.05, false},
		{"30 m, from memory", dipIn(30), kAlmanac, 9.6, 0.05, true},
		{"40 m, from memory", dipIn(40), kAlmanac, 11.1, 0.05, true},
		{"48 m, from memory", dipIn(48), kAlmanac, 12.2, 0.05, true},
		{"100 ft, from memory", dipIn(100 * ft), kAlmanacFt, 9.7, 0.05, true},
		{"150 ft, from memory", dipIn(150 * ft), kAlmanacFt, 11.9, 0.05, true},
	})
}

// Eye 390 m, 90 statute miles: common practice, no source; the exact rows are derived.
func TestSeaObscuredAt90Miles(t *testing.T) {
	on := func(radiusM float64) func(float64) float64 {
		return func(k float64) float64 {
			heightM, err := geodesy.SeaObscuredM(390, 90*mi, radiusM, k)
			if err != nil {
				return math.NaN()
			}
			return heightM
		}
	}
	checkHandbook(t, []handbookRow{
		{"claimed, straight light (common practice, no source)", on(meanR), 0, 433, 1.2, true},
		{"claimed, k = 1/7 (common practice, no source)", on(meanR), kSeventh, 317, 1.2, true},
		{"exact, k = 0, 6,371 km (derived)", on(meanR), 0, 433.85, 0.01, true},
		{"exact, k = 1/7, 6,371 km (derived)", on(meanR), kSeventh, 317.51, 0.01, true},
		{"exact, k = 0, 6,378.137 km (derived)", on(6378137), 0, 432.90, 0.01, true},
		{"exact, k = 1/7, 6,378.137 km (derived)", on(6378137), kSeventh, 316.76, 0.01, true},
		{"exact, k = 0.13 (derived)", on(meanR), 0.13, 327.59, 0.01, true},
		{"exact, k = 0.17 (derived)", on(meanR), 0.17, 296.50, 0.01, true},
		{"fall under the tangent plane, d²/2R (derived)", fallIn(90*mi, 1), 0, 1646.44, 0.01, true},
		{"fall under the tangent plane, R(sec θ−1) (derived)", func(k float64) float64 {
			return geodesy.HeightAtElevationM(0, 0, 90*mi, meanR, k)
		}, 0, 1646.79, 0.01, true},
	})
}
