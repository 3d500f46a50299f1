package geodesy

import (
	"math"
	"testing"
)

// dms returns sign·(d° m′ s″) in degrees.
func dms(sign, d, m, s float64) float64 { return sign * (d + m/60 + s/3600) }

const arcsecond = 1.0 / 3600

var (
	bessel        = NewEllipsoid(6377397.155, 1/299.1528128)                 // Bessel 1841: EPSG ellipsoid 7004
	international = NewEllipsoid(6378388, 1/297.0)                           // International 1924: EPSG 7022
	clarke1866    = NewEllipsoid(6378206.4, (6378206.4-6356583.8)/6378206.4) // Clarke 1866: EPSG 7008
	grs80         = NewEllipsoid(6378137, 1/298.257222101)                   // GRS80: EPSG 7019
)

func TestInversePublished(t *testing.T) {
	const (
		usMile = 5280 * 1200.0 / 3937 // US survey mile in metres
		none   = math.MaxFloat64      // not published
	)
	for _, c := range []struct {
		name, source            string
		ellipsoid               *Ellipsoid
		from, to                LatLon
		distanceM, distanceTol  float64
		azimuthDeg, endDeg, tol float64
	}{
		{"Flinders Peak to Buninyong", "Geoscience Australia, GDA Technical Manual; back azimuth 127°10′25.07″", grs80,
			LatLon{dms(-1, 37, 57, 3.72030), dms(1, 144, 25, 29.52440)}, LatLon{dms(-1, 37, 39, 10.15610), dms(1, 143, 55, 35.38390)},
			54972.271, 0.0005, dms(1, 306, 52, 5.37), dms(1, 307, 10, 25.07), 0.005 * arcsecond},
		{"Vincenty a", "Vincenty, Survey Review XXIII 176 (1975), table II", bessel,
			LatLon{55.75, 0}, LatLon{dms(-1, 33, 26, 0), dms(1, 108, 13, 0)},
			14110526.170, 0.0005, dms(1, 96, 36, 8.79960), dms(1, 137, 52, 22.01454), 1e-5 * arcsecond},
		{"Vincenty b", "Vincenty 1975, table II", international,
			LatLon{dms(1, 37, 19, 54.95367), 0}, LatLon{dms(1, 26, 7, 42.83946), dms(1, 41, 28, 35.50729)},
			4085966.703, 0.0005, dms(1, 95, 27, 59.63089), dms(1, 118, 5, 58.96161), 1e-5 * arcsecond},
		{"Vincenty c", "Vincenty 1975, table II", international,
			LatLon{dms(1, 35, 16, 11.24862), 0}, LatLon{dms(1, 67, 22, 14.77638), dms(1, 137, 47, 28.31435)},
			8084823.839, 0.001, dms(1, 15, 44, 23.74850), dms(1, 144, 55, 39.92147), 1e-5 * arcsecond},
		{"Vincenty d, near-antipodal", "Vincenty 1975, table II", international,
			LatLon{1, 0}, LatLon{dms(-1, 0, 59, 53.83076), dms(1, 179, 17, 48.02997)},
			19960000, 0.001, 89, dms(1, 91, 0, 6.11733), 0.002 * arcsecond},
		{"Vincenty e, near-antipodal", "Vincenty 1975, table II", international,
			LatLon{1, 0}, LatLon{dms(1, 1, 1, 15.18952), dms(1, 179, 46, 17.84244)},
			19780006.558, 0.001, dms(1, 4, 59, 59.99995), dms(1, 174, 59, 59.88481), 1e-4 * arcsecond},
		{"Karney short line", "Karney, J. Geodesy 87 (2013), table 3; 77.0435335 lies between two last digits", WGS84,
			LatLon{-30.12345, 0}, LatLon{-30.12344, 0.00005}, 4.944208, 5e-7, 77.043533, 77.043508, 1e-6},
		{"Karney near-antipodal", "Karney 2013, from memory, confirmed with GeodSolve 2.1.2; azimuths to one unit of the last digit", WGS84,
			LatLon{-30, 0}, LatLon{29.9, 179.8}, 19989832.827610, 5e-7, 161.890524, 18.090737, 1e-6},
		{"New York to Singapore", "GeodSolve manual page", WGS84,
			LatLon{dms(1, 40, 38, 23), dms(-1, 73, 46, 44)}, LatLon{dms(1, 1, 21, 33), dms(1, 103, 59, 22)},
			15347628, 0.5, dms(1, 3, 18, 29.9), dms(1, 177, 29, 9.2), 0.05 * arcsecond},
		{"Boston to Portland", "PROJ geod manual page; back azimuth 75°39′13.083″", clarke1866,
			LatLon{42.25, dms(-1, 71, 7, 0)}, LatLon{dms(1, 45, 31, 0), dms(-1, 123, 41, 0)},
			2587.504 * usMile, 0.0005 * usMile, 360 - dms(1, 66, 31, 50.141), dms(1, 255, 39, 13.083), 0.0005 * arcsecond},
		{"Paris to Washington", "Meeus, Astronomical Algorithms, 2nd ed., example 11.c", NewEllipsoid(6378140, 1/298.257),
			LatLon{dms(1, 48, 50, 11), dms(1, 2, 20, 14)}, LatLon{dms(1, 38, 55, 17), dms(-1, 77, 3, 56)}, 6181630, 5, 0, 0, none},
		{"Paris to Washington, sphere", "Meeus, example 11.c", NewEllipsoid(6371000, 0),
			LatLon{dms(1, 48, 50, 11), dms(1, 2, 20, 14)}, LatLon{dms(1, 38, 55, 17), dms(-1, 77, 3, 56)}, 6166000, 500, 0, 0, none},

		// The rest from the test suite of GeographicLib, tests/geodtest.c, which numbers its cases.
		{"JFK to Paris", "GeodSolve0", WGS84, LatLon{40.6, -73.8}, LatLon{49.01666667, 2.55}, 5853226, 0.5, 53.47022, 111.59367, 0.5e-5},
		{"antipodal, prolate", "GeodSolve2", NewEllipsoid(6.4e6, -1/150.0), LatLon{0.07476, 0}, LatLon{-0.07476, 180}, 20106193, 0.5, 90.00078, 90.00078, 0.5e-5},
		{"antipodal, prolate, farther from the equator", "GeodSolve2", NewEllipsoid(6.4e6, -1/150.0), LatLon{0.1, 0}, LatLon{-0.1, 180}, 20106193, 0.5, 90.00105, 90.00105, 0.5e-5},
		{"seven centimetres", "GeodSolve4", WGS84, LatLon{36.493349428792, 0}, LatLon{36.49334942879201, .0000008}, 0.072, 0.0005, 0, 0, none},
		{"near-antipodal at 88°", "GeodSolve6", WGS84, LatLon{88.202499451857, 0}, LatLon{-88.202499451857, 179.981022032992859592}, 20003898.214, 0.0005, 0, 0, none},
		{"near-antipodal at 89.2°", "GeodSolve6", WGS84, LatLon{89.262080389218, 0}, LatLon{-89.262080389218, 179.992207982775375662}, 20003925.854, 0.0005, 0, 0, none},
		{"near-antipodal at 89.3°", "GeodSolve6", WGS84, LatLon{89.333123580033, 0}, LatLon{-89.333123580032997687, 179.99295812360148422}, 20003926.881, 0.0005, 0, 0, none},
		{"near-antipodal at 56°", "GeodSolve9", WGS84, LatLon{56.320923501171, 0}, LatLon{-56.320923501171, 179.664747671772880215}, 19993558.287, 0.0005, 0, 0, none},
		{"near-antipodal at 52°", "GeodSolve10", WGS84, LatLon{52.784459512564, 0}, LatLon{-52.784459512563990912, 179.634407464943777557}, 19991596.095, 0.0005, 0, 0, none},
		{"near-antipodal at 48°", "GeodSolve11", WGS84, LatLon{48.522876735459, 0}, LatLon{-48.52287673545898293, 179.599720456223079643}, 19989144.774, 0.0005, 0, 0, none},
		{"equator", "GeodSolve33", WGS84, LatLon{0, 0}, LatLon{0, 179}, 19926189, 0.5, 90, 90, 0.5e-5},
		{"equator, past the cut", "GeodSolve33", WGS84, LatLon{0, 0}, LatLon{0, 179.5}, 19980862, 0.5, 55.96650, 124.03350, 0.5e-5},
		{"antipodal on the equator", "GeodSolve33", WGS84, LatLon{0, 0}, LatLon{0, 180}, 20003931, 0.5, 0, 180, 0.5e-5},
		{"over the pole", "GeodSolve33", WGS84, LatLon{0, 0}, LatLon{1, 180}, 19893357, 0.5, 0, 180, 0.5e-5},
		{"sphere, equator", "GeodSolve33", NewEllipsoid(6.4e6, 0), LatLon{0, 0}, LatLon{0, 179}, 19994492, 0.5, 90, 90, 0.5e-5},
		{"sphere, antipodal", "GeodSolve33", NewEllipsoid(6.4e6, 0), LatLon{0, 0}, LatLon{0, 180}, 20106193, 0.5, 0, 180, 0.5e-5},
		{"sphere, over the pole", "GeodSolve33", NewEllipsoid(6.4e6, 0), LatLon{0, 0}, LatLon{1, 180}, 19994492, 0.5, 0, 180, 0.5e-5},
		{"prolate, equator", "GeodSolve33", NewEllipsoid(6.4e6, -1/300.0), LatLon{0, 0}, LatLon{0, 179}, 19994492, 0.5, 90, 90, 0.5e-5},
		{"prolate, antipodal", "GeodSolve33", NewEllipsoid(6.4e6, -1/300.0), LatLon{0, 0}, LatLon{0, 180}, 20106193, 0.5, 90, 90, 0.5e-5},
		{"prolate, past the cut", "GeodSolve33", NewEllipsoid(6.4e6, -1/300.0), LatLon{0, 0}, LatLon{0.5, 180}, 20082617, 0.5, 33.02493, 146.97364, 0.5e-5},
		{"prolate, over the pole", "GeodSolve33", NewEllipsoid(6.4e6, -1/300.0), LatLon{0, 0}, LatLon{1, 180}, 20027270, 0.5, 0, 180, 0.5e-5},
		{"a hair off the meridian", "GeodSolve59", WGS84, LatLon{5, 0.00000000000001}, LatLon{10, 180}, 18345191.174332713, 5e-9, 0.000000000000035, 179.99999999999996, 1.5e-14},
		{"forty metres", "GeodSolve74", WGS84, LatLon{54.1589, 15.3872}, LatLon{54.1591, 15.3877}, 39.527686385, 5e-9, 55.723110355, 55.723515675, 5e-9},
		{"Wellington to Salamanca", "GeodSolve76", WGS84, LatLon{dms(-1, 41, 19, 0), dms(1, 174, 49, 0)}, LatLon{dms(1, 40, 58, 0), dms(-1, 5, 30, 0)},
			19960543.857179, 0.5e-6, 160.39137649664, 19.50042925176, 0.5e-11},
		{"near-antipodal at 27°", "GeodSolve78", WGS84, LatLon{27.2, 0}, LatLon{-27.1, 179.5}, 19974354.765767, 0.5e-6, 45.82468716758, 134.22776532670, 0.5e-11},
		{"26 cm along a parallel", "GeodSolve92", WGS84, LatLon{37.757540000000006, -122.47018}, LatLon{37.75754, -122.470177}, 0.264, 0.0005, 89.99999923, 90.00000106, 1e-7},
		{"vertex to vertex", "GeodSolve99", WGS84, LatLon{45, 0}, LatLon{-45, 179.572719}, 19987083.007, 0.0005, 90.00000028, 90.00000028, 1e-8},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := c.ellipsoid.Inverse(c.from, c.to)
			if !(math.Abs(a.DistanceM-c.distanceM) <= c.distanceTol) {
				t.Errorf("Inverse(%v, %v).DistanceM = %.9f, want %.9f ± %g (%s)", c.from, c.to, a.DistanceM, c.distanceM, c.distanceTol, c.source)
			}
			if !(angleGap(a.AzimuthDeg, c.azimuthDeg) <= c.tol) || !(angleGap(a.EndAzimuthDeg, c.endDeg) <= c.tol) {
				t.Errorf("Inverse(%v, %v) azimuths = %.14f, %.14f, want %.14f, %.14f ± %g (%s)", c.from, c.to, a.AzimuthDeg, a.EndAzimuthDeg, c.azimuthDeg, c.endDeg, c.tol, c.source)
			}
			if back := a.BackAzimuthDeg(); !(back >= 0 && back < 360) || angleGap(back+180, a.EndAzimuthDeg) > 1e-13 {
				t.Errorf("BackAzimuthDeg() = %v for an end azimuth of %v", back, a.EndAzimuthDeg)
			}
		})
	}
}

// geographicLibLines are the 20 random lines of GeographicLib's tests/geodtest.c: latitude, longitude and azimuth of both ends,
// distance, arc, reduced length on WGS84, with the tolerances given there.
var geographicLibLines = [20][9]float64{
	{35.60777, -139.44815, 111.098748429560326, -11.17491, -69.95921, 129.289270889708762, 8935244.5604818305, 80.50729714281974, 6273170.2055303837},
	{55.52454, 106.05087, 22.020059880982801, 77.03196, 197.18234, 109.112041110671519, 4105086.1713924406, 36.892740690445894, 3828869.3344387607},
	{-21.97856, 142.59065, -32.44456876433189, 41.84138, 98.56635, -41.84359951440466, 8394328.894657671, 75.62930491011522, 6161154.5773110616},
	{-66.99028, 112.2363, 173.73491240878403, -12.70631, 285.90344, 2.512956620913668, 11150344.2312080241, 100.278634181155759, 6289939.5670446687},
	{-17.42761, 173.34268, -159.033557661192928, -15.84784, 5.93557, -20.787484651536988, 16076603.1631180673, 144.640108810286253, 3732902.1583877189},
	{32.84994, 48.28919, 150.492927788121982, -56.28556, 202.29132, 48.113449399816759, 16727068.9438164461, 150.565799985466607, 3147838.1910180939},
	{6.96833, 52.74123, 92.581585386317712, -7.39675, 206.17291, 90.721692165923907, 17102477.2496958388, 154.147366239113561, 2772035.6169917581},
	{-50.56724, -16.30485, -105.439679907590164, -33.56571, -94.97412, -47.348547835650331, 6455670.5118668696, 58.083719495371259, 5409150.7979815838},
	{-58.93002, -8.90775, 140.965397902500679, -8.91104, 133.13503, 19.255429433416599, 11756066.0219864627, 105.755691241406877, 6151101.2270708536},
	{-68.82867, -74.28391, 93.774347763114881, -50.63005, -8.36685, 34.65564085411343, 3956936.926063544, 35.572254987389284, 3708890.9544062657},
	{-10.62672, -32.0898, -86.426713286747751, 5.883, -134.31681, -80.473780971034875, 11470869.3864563009, 103.387395634504061, 6184411.6622659713},
	{-21.76221, 166.90563, 29.319421206936428, 48.72884, 213.97627, 43.508671946410168, 9098627.3986554915, 81.963476716121964, 6299240.9166992283},
	{-19.79938, -174.47484, 71.167275780171533, -11.99349, -154.35109, 65.589099775199228, 2319004.8601169389, 20.896611684802389, 2267960.8703918325},
	{-11.95887, -116.94513, 92.712619830452549, 4.57352, 7.16501, 78.64960934409585, 13834722.5801401374, 124.688684161089762, 5228093.177931598},
	{-87.85331, 85.66836, -65.120313040242748, 66.48646, 16.09921, -4.888658719272296, 17286615.3147144645, 155.58592449699137, 2635887.4729110181},
	{1.74708, 128.32011, -101.584843631173858, -11.16617, 11.87109, -86.325793296437476, 12942901.1241347408, 116.650512484301857, 5682744.8413270572},
	{-25.72959, -144.90758, -153.647468693117198, -57.70581, -269.17879, -48.343983158876487, 9413446.7452453107, 84.664533838404295, 6356176.6898881281},
	{-41.22777, 122.32875, 14.285113402275739, -7.57291, 130.37946, 10.805303085187369, 3812686.035106021, 34.34330804743883, 3588703.8812128856},
	{11.01307, 138.25278, 79.43682622782374, 6.62726, 247.05981, 103.708090215522657, 11911190.819018408, 107.341669954114577, 6070904.722786735},
	{-29.47124, 95.14681, -163.779130441688382, -27.46601, -69.15955, -15.909335945554969, 13487015.8381145492, 121.294026715742277, 5481428.9945736388},
}

func TestGeographicLibLines(t *testing.T) {
	near := func(t *testing.T, what string, got, want, tolerance float64) {
		t.Helper()
		if !(math.Abs(got-want) <= tolerance) {
			t.Errorf("%s = %.15g, want %.15g ± %g", what, got, want, tolerance)
		}
	}
	for _, l := range geographicLibLines {
		from, to := LatLon{l[0], l[1]}, LatLon{l[3], l[4]}
		a := WGS84.Inverse(from, to)
		near(t, "azimuth", angleGap(a.AzimuthDeg, l[2]), 0, 1e-13)
		near(t, "end azimuth", angleGap(a.EndAzimuthDeg, l[5]), 0, 1e-13)
		near(t, "distance", a.DistanceM, l[6], 1e-8)
		near(t, "arc", a.ArcDeg, l[7], 1e-13)
		near(t, "reduced length", a.ReducedLengthM, l[8], 1e-8)

		p, azimuth := WGS84.Direct(from, l[2], l[6])
		near(t, "latitude", p.LatDeg, to.LatDeg, 1e-13)
		near(t, "longitude", angleGap(p.LonDeg, to.LonDeg), 0, 1e-13)
		near(t, "azimuth of Direct", angleGap(azimuth, l[5]), 0, 1e-13)
	}
}

func TestDirectPublished(t *testing.T) {
	for _, c := range []struct {
		source                string
		from                  LatLon
		azimuthDeg, distanceM float64
		to                    LatLon
		endDeg, tol           float64
	}{
		{"Karney, J. Geodesy 87 (2013), table 2", LatLon{40, 0}, 30, 1e7, LatLon{41.79331020506, 137.84490004377}, 149.09016931807, 5e-12},
		// GeographicLib, tests/geodtest.c
		{"GeodSolve1", LatLon{40.63972222, -73.77888889}, 53.5, 5850e3, LatLon{49.01467, 2.56106}, 111.62947, 0.5e-5},
		{"GeodSolve5, to the pole", LatLon{0.01777745589997, 30}, 0, 10e6, LatLon{90, -150}, 180, 0.5e-5},
		{"GeodSolve61", LatLon{45, 0}, -0.000000000000000003, 1e7, LatLon{45.30632, -180}, 180, 0.5e-5},
		{"GeodSolve71", LatLon{1, 2}, 45, 0.5e7, LatLon{30.92625, 37.54640}, 55.43104, 0.5e-5},
		{"GeodSolve73, from the pole", LatLon{90, 10}, 180, -1e6, LatLon{81.04623, -170}, 0, 0.5e-5},
	} {
		p, azimuth := WGS84.Direct(c.from, c.azimuthDeg, c.distanceM)
		if !(math.Abs(p.LatDeg-c.to.LatDeg) <= c.tol && angleGap(p.LonDeg, c.to.LonDeg) <= c.tol && angleGap(azimuth, c.endDeg) <= c.tol) {
			t.Errorf("Direct(%v, %v, %v) = %.12f, %.12f, want %.12f, %.12f ± %g (%s)", c.from, c.azimuthDeg, c.distanceM, p, azimuth, c.to, c.endDeg, c.tol, c.source)
		}
		if math.Signbit(azimuth) || azimuth >= 360 {
			t.Errorf("Direct(%v, %v, %v) azimuth %v outside 0…360", c.from, c.azimuthDeg, c.distanceM, azimuth)
		}
	}
}
