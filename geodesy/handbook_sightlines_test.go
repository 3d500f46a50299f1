package geodesy_test

import (
	"math"
	"testing"

	"farstation/geodesy"
)

// Sightlines that are known to have been seen, over a smooth sea of 6,371 km: least heights of the line at k = 0, 0.13, 1/7 and 0.17
// are derived (by the parabola, ± 3 m); heights, distances and the fact are published. A positive clearance is needed, not enough.
func TestKnownSightlines(t *testing.T) {
	ks := [4]float64{0, 0.13, kSeventh, 0.17}
	for _, line := range []struct {
		name              string
		eyeM, topM, distM float64
		radiusM           float64
		clearanceM        [4]float64
	}{
		// Georgelin & Arzano, Marseille 181, 1997: seen 1808, photographed 1970.
		{"Canigou from Notre-Dame de la Garde", 164, 2785, 253000, meanR, [4]float64{-123, -11, -1, 20}},
		// 6,385.7 km takes the azimuth at Marseille; at the line's middle it is 6,385.4 km, which changes the clearance by 0.04 m.
		{"the same, Euler's radius", 164, 2785, 253000, 6385700, [4]float64{-121, -10, 1, 22}},
		// Junction of Spain and Algeria, 1879: Olliver, Survey Review 36 (2001) 142; Figuier, Merveilles de la science 5, p. 503.
		{"Mulhacén – Filhaoussen", 3481, 1137, 270000, meanR, [4]float64{639, 789, 803, 833}},
		{"Mulhacén – M'Sabiha", 3481, 591, 270000, meanR, [4]float64{241, 372, 384, 409}},
		{"Tetica – M'Sabiha", 2080, 591, 225000, meanR, [4]float64{203, 311, 321, 343}},
		// Signal Corps heliograph, 1894: modulatedlight.org. 294.02 km from positions from memory.
		{"Mount Ellen – Uncompahgre Peak", 3513, 4361, 294020, meanR, [4]float64{2215, 2431, 2452, 2497}},
		// Colonna's heliotrope, 1878: Theberge, The American Surveyor, 27 Oct 2012. Heights and 309 km from memory.
		{"Mount Shasta – Mount St Helena", 4322, 1323, 309000, meanR, [4]float64{649, 848, 867, 906}},
		// Photographed July 2016, Guinness World Records; 3,883 m from memory.
		{"Pic de Finestrelles – Pic Gaspard", 2826, 3883, 443000, meanR, [4]float64{-513, -15, 34, 138}},
		// Biot & Arago 1806–07: Arago, Biographies. Heights and 161 km from memory.
		{"Desierto de las Palmas – Campvey", 730, 400, 161000, meanR, [4]float64{44, 108, 114, 127}},
	} {
		t.Run(line.name, func(t *testing.T) {
			for i, k := range ks {
				got := geodesy.ClearanceOverSeaM(line.eyeM, line.topM, line.distM, line.radiusM, k)
				t.Logf("k=%.4f: %.2f m, table %v", k, got, line.clearanceM[i])
				if math.Abs(got-line.clearanceM[i]) > 3 {
					t.Errorf("ClearanceOverSeaM(%v, %v, %v, k=%.4f) = %.1f m, want %v ± 3", line.eyeM, line.topM, line.distM, k, got, line.clearanceM[i])
				}
				back := geodesy.ClearanceOverSeaM(line.topM, line.eyeM, line.distM, line.radiusM, k)
				if math.Abs(got-back) > 1e-6 {
					t.Errorf("k=%.4f: clearance %.7f m there, %.7f m back", k, got, back)
				}
			}
		})
	}
}

// grazingK returns the k at which the line just touches a smooth sea.
func grazingK(eyeM, topM, distanceM, radiusM float64) float64 {
	low, high := -1.0, 1.0
	for range 60 {
		if k := (low + high) / 2; geodesy.ClearanceOverSeaM(eyeM, topM, distanceM, radiusM, k) < 0 {
			low = k
		} else {
			high = k
		}
	}
	return low
}

// Georgelin & Arzano 1997: the straight line from Marseille to the Canigou runs 120 m below the sea; von Zach saw the mountain in 1808.
func TestCanigou(t *testing.T) {
	if got := geodesy.ClearanceOverSeaM(164, 2785, 253000, meanR, 0); math.Abs(got+120) > 5 {
		t.Errorf("straight line runs at %.1f m, published −120 ± 5", got)
	}
	for _, c := range []struct{ distanceM, radiusM float64 }{
		{253000, meanR},
		{253000, 6385700},
		{252730, 6385700}, // distance between positions from memory
	} {
		got := grazingK(164, 2785, c.distanceM, c.radiusM)
		t.Logf("grazing k over %.2f km on %.1f km: %.4f", c.distanceM/1000, c.radiusM/1000, got)
		if math.Abs(got-0.142) > 0.0025 {
			t.Errorf("grazing k over %v m on %v m = %.4f, want 0.142, or 0.140 to 0.144 with distance and radius", c.distanceM, c.radiusM, got)
		}
	}
	obscured := func(eyeM, k float64) float64 {
		heightM, err := geodesy.SeaObscuredM(eyeM, 253000, meanR, k)
		if err != nil {
			t.Fatal(err)
		}
		return heightM
	}
	// Derived: 3,374 m obscured in straight light, the summit 589 m under the tangent ray; 2,790 m at k = 1/7.
	if got := obscured(164, 0); math.Abs(got-3374) > 0.5 {
		t.Errorf("obscured at k = 0: %.2f m, want 3374", got)
	}
	if got := obscured(164, kSeventh); math.Abs(got-2790) > 0.5 {
		t.Errorf("obscured at k = 1/7: %.2f m, want 2790", got)
	}
	// Derived: from an eye of 2 m the summit is cut off at every k up to 0.2.
	for k := 0.0; k <= 0.2001; k += 0.01 {
		if got := obscured(2, k); got <= 2785 {
			t.Errorf("eye 2 m, k = %.2f: only %.0f m obscured, want the summit of 2785 m cut off", k, got)
		}
	}
}

// Pic de Finestrelles – Pic Gaspard needs k of 0.134 or more over an open sea (derived).
func TestFinestrellesGrazing(t *testing.T) {
	got := grazingK(2826, 3883, 443000, meanR)
	t.Logf("grazing k %.4f", got)
	if math.Abs(got-0.134) > 0.0008 {
		t.Errorf("grazing k = %.4f, want 0.134", got)
	}
}

// Distances of known sightlines between positions that are from memory but for the two Spanish ones, which nito-lamurga.blogspot.com
// (2011) gives with longitudes east of Madrid; derived with an independent geodesic program.
func TestKnownSightlineDistances(t *testing.T) {
	const madridDeg = -(3 + 41.0/60 + 14.55/3600)
	for _, c := range []struct {
		name          string
		from, to      geodesy.LatLon
		wantKM, tolKM float64
	}{
		{"Notre-Dame de la Garde – Canigou", geodesy.LatLon{LatDeg: 43.2840, LonDeg: 5.3711}, geodesy.LatLon{LatDeg: 42.5189, LonDeg: 2.4566}, 252.73, 0.005},
		{"Mulhacén – Tetica", geodesy.LatLon{LatDeg: 37 + 3.0/60 + 12.0/3600, LonDeg: madridDeg + 22.0/60 + 34.0/3600},
			geodesy.LatLon{LatDeg: 37 + 15.0/60 + 12.0/3600, LonDeg: madridDeg + 1 + 16.0/60 + 29.0/3600}, 82.854, 0.0005},
		{"Mount Ellen – Uncompahgre Peak", geodesy.LatLon{LatDeg: 38.1089, LonDeg: -110.8136}, geodesy.LatLon{LatDeg: 38.0717, LonDeg: -107.4621}, 294.02, 0.005},
		{"Mount Shasta – Mount St Helena", geodesy.LatLon{LatDeg: 41.4092, LonDeg: -122.1949}, geodesy.LatLon{LatDeg: 38.6692, LonDeg: -122.6333}, 306.5, 0.05},
		{"Pic de Finestrelles – Pic Gaspard", geodesy.LatLon{LatDeg: 42.4144, LonDeg: 2.1332}, geodesy.LatLon{LatDeg: 45.0012, LonDeg: 6.3306}, 443.8, 0.05},
	} {
		arc := geodesy.WGS84.Inverse(c.from, c.to)
		if got := arc.DistanceM / 1000; math.Abs(got-c.wantKM) > c.tolKM {
			t.Errorf("%s: %.4f km, want %v ± %v", c.name, got, c.wantKM, c.tolKM)
		}
	}
}
