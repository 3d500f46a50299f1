package pipeline

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy"
)

func ofCase(r *held, kind Case) []Alignment {
	var out []Alignment
	for _, a := range r.Alignments {
		if a.Case == kind {
			out = append(out, a)
		}
	}
	return out
}

// Separations by plain arithmetic. With R = 6,372 km, the mean of the ellipsoid's radii in these azimuths to 0.5 %: a difference of distances
// of 65 km turns by 65,000·3437.75/(2·6.372e6) = 17.534′ for each 1 of (1 − k), one of 95 km by 25.627′.
func TestSeparationsByHand(t *testing.T) {
	tests := []struct {
		name                    string
		eyeM                    float64
		near, far               madeFeature
		curved, plane, sameAir  float64
		orderCurved, orderPlane string
	}{
		{
			// Near 200 m over the eye at 25 km: 8.0000 mrad = 27.502′. Far 1,100 m over it at 90 km: 12.2222 mrad = 42.017′. Plane: 14.515′;
			// in the same air 0.143·17.534 = 2.507′ more, 17.022′; curved 0.857·17.534 = 15.027′ less, −0.512′.
			name: "two summits that change places", eyeM: 100,
			near:  madeFeature{id: "near", kind: "peak", azimuthDeg: 80, km: 25, groundM: 300},
			far:   madeFeature{id: "far", kind: "peak", azimuthDeg: 80.1, km: 90, groundM: 1200},
			plane: 14.515, sameAir: 17.022, curved: -0.512, orderCurved: "near_above", orderPlane: "far_above",
		},
		{
			// Lighthouse 50 m over the eye at 5 km: 10 mrad = 34.3775′. Summit 990 m over it at 100 km: 9.9 mrad less 0.3e-6 for the
			// arctangents: 34.0337′. Plane −0.344′; same air + 0.143·25.627 = 3.665′, 3.321′; curved − 0.857·25.627 = 21.962′, −22.306′.
			name: "lighthouse before a summit", eyeM: 10,
			near:  madeFeature{id: "near", kind: "lighthouse", azimuthDeg: 100, km: 5, structureM: 60},
			far:   madeFeature{id: "far", kind: "peak", azimuthDeg: 100, km: 100, groundM: 1000},
			plane: -0.344, sameAir: 3.321, curved: -22.306, orderCurved: "near_above", orderPlane: "near_above",
		},
	}
	for _, test := range tests {
		test.near.groundSDM, test.far.groundSDM = 1, 3
		r := madeSurvey(t, test.eyeM, 0, test.near, test.far)
		found := ofCase(r, BothInView)
		if len(found) != 1 {
			t.Fatalf("%s: %d alignments: %+v", test.name, len(found), r.Manifest.Counts)
		}
		a := found[0]
		t.Logf("%s: curved %.3f′ ± %.3f′, plane %.3f′, in the same air %.3f′, evidence %.1f", test.name, a.SeparationArcmin, a.SeparationSDArcmin, a.SeparationPlaneArcmin, a.SeparationPlaneAirArcmin, a.EvidenceSD)
		// 0.5 % of the curvature, and the geoid's slope.
		if math.Abs(a.SeparationPlaneArcmin-test.plane) > 0.005 || math.Abs(a.SeparationPlaneAirArcmin-test.sameAir) > 0.03 || math.Abs(a.SeparationArcmin-test.curved) > 0.25 {
			t.Errorf("%s: curved %.3f′, plane %.3f′, in the same air %.3f′; want %v′, %v′, %v′", test.name, a.SeparationArcmin, a.SeparationPlaneArcmin, a.SeparationPlaneAirArcmin, test.curved, test.plane, test.sameAir)
		}
		if a.OrderCurved != test.orderCurved || a.OrderPlane != test.orderPlane {
			t.Errorf("%s: order %s, on the plane %s; want %s, %s", test.name, a.OrderCurved, a.OrderPlane, test.orderCurved, test.orderPlane)
		}
		if want := a.ModelGapArcmin / arcminPerRad * test.near.km * 1000; math.Abs(a.ModelGapNearM-want) > 1e-6 {
			t.Errorf("%s: the gap is %.2f m at the near top, want %.2f m", test.name, a.ModelGapNearM, want)
		}
		switch {
		case test.near.structureM == 0 && a.ModelGapNearHeights != nil:
			t.Errorf("%s: the gap is %v heights of a summit without structure", test.name, *a.ModelGapNearHeights)
		case test.near.structureM > 0 && math.Abs(*a.ModelGapNearHeights-a.ModelGapNearM/60) > 1e-9:
			t.Errorf("%s: the gap is %v heights, want %v of 60 m", test.name, *a.ModelGapNearHeights, a.ModelGapNearM)
		}
	}
}

func pairsOf(r *held) map[Case]string {
	pairs := map[Case]string{}
	for _, a := range r.Alignments {
		pairs[a.Case] += a.NearName + " before " + a.FarName + "; "
	}
	return pairs
}

// A low top that the sea hides before a higher one that shows. Eye 10 m over the sea, whose horizon lies 13.9 km off at k + 5·k_sd = 0.343
// (R' = 9,700 km): there the sea hides (70 − 13.9)²/(2·9700) km = 162 m at 70 km and 382 m at 100 km; on the plane 150 m stand
// 140/70000 = 6.9′ over the eye.
func TestNearMissingFarSeenByHand(t *testing.T) {
	r := madeSurvey(t, 10, 0,
		madeFeature{id: "light", kind: "lighthouse", azimuthDeg: 100, km: 5, structureM: 60, groundSDM: 1},
		madeFeature{id: "high", kind: "peak", azimuthDeg: 100, km: 100, groundM: 1000, groundSDM: 3},
		madeFeature{id: "low", kind: "peak", azimuthDeg: 101, km: 70, groundM: 150, groundSDM: 3},
		madeFeature{id: "beside", kind: "peak", azimuthDeg: 103, km: 70, groundM: 150, groundSDM: 3},   // outside the frame of 3°
		madeFeature{id: "tall", kind: "peak", azimuthDeg: 100.5, km: 70, groundM: 450, groundSDM: 3},   // in view
		madeFeature{id: "lower", kind: "peak", azimuthDeg: 99.5, km: 79, groundM: 20, groundSDM: 3},    // plane: 10/79000 = 0.4′, too little
		madeFeature{id: "behind", kind: "peak", azimuthDeg: 100.8, km: 85, groundM: 150, groundSDM: 3}, // past 0.8 of the far distance
	)
	want := map[Case]string{
		BothInView:         "LIGHT before HIGH; ",
		NearMissingFarSeen: "LOW before HIGH; ",
	}
	if got := pairsOf(r); !reflect.DeepEqual(got, want) {
		t.Errorf("alignments %v, want %v", got, want)
	}
	for _, a := range ofCase(r, NearMissingFarSeen) {
		if !(a.Chance > 0.95) || !a.PlaneShowsBoth {
			t.Errorf("%s before %s: chance %v, the plane shows both: %v", a.NearName, a.FarName, a.Chance, a.PlaneShowsBoth)
		}
	}
}

// A far top that a ridge hides under the curve and not on the plane. The near top stands on the ridge, 200 m over the eye at 24.24 km:
// 8.251 mrad = 28.36′. The far one, 900 m over it at 90 km, stands at 34.37′ on the plane, 6.0′ higher, and 0.657·17.74′ = 11.7′
// lower than that even at k = 0.343: 5.6′ under the near one.
func TestFarBehindNearByHand(t *testing.T) {
	ridge := geodesicM(madeEye, geodesy.LatLon{LatDeg: madeEye.LatDeg, LonDeg: ridgeLonDeg}) / 1000
	if math.Abs(ridge-24.24) > 0.01 {
		t.Fatalf("the ridge lies %.3f km off", ridge)
	}
	r := madeSurvey(t, 100, 300,
		madeFeature{id: "near", kind: "peak", azimuthDeg: 90, km: ridge, groundM: 300, groundSDM: 1},
		madeFeature{id: "far", kind: "peak", azimuthDeg: 90.1, km: 90, groundM: 1000, groundSDM: 3},
		madeFeature{id: "aside", kind: "peak", azimuthDeg: 91.2, km: 90, groundM: 1000, groundSDM: 3},   // hidden as well, outside the tolerance
		madeFeature{id: "higher", kind: "peak", azimuthDeg: 89.95, km: 90, groundM: 1500, groundSDM: 3}, // 53.5′ on the plane, 38.2′ curved
		madeFeature{id: "deep", kind: "peak", azimuthDeg: 90, km: 80, groundM: 700, groundSDM: 3},       // 25.8′ on the plane: hidden there too
	)
	want := map[Case]string{
		BothInView:    "NEAR before HIGHER; ",
		FarBehindNear: "NEAR before FAR; ",
	}
	if got := pairsOf(r); !reflect.DeepEqual(got, want) {
		t.Errorf("alignments %v, want %v", got, want)
	}
	for _, a := range ofCase(r, FarBehindNear) {
		if math.Abs(a.SeparationPlaneArcmin-6.0) > 0.05 || math.Abs(a.SeparationArcmin-(6.0-0.857*17.74)) > 0.25 || !(a.Chance > 0.95) {
			t.Errorf("%s before %s: separation %.2f′ on the plane, %.2f′ curved, chance %v; want 6.0′, −9.2′, nearly 1", a.NearName, a.FarName, a.SeparationPlaneArcmin, a.SeparationArcmin, a.Chance)
		}
	}
}

// Azimuths a little west and a little east of north are neighbours, and the order of the lines given changes nothing.
func TestAlignAcrossNorth(t *testing.T) {
	near := madeFeature{id: "near", kind: "peak", km: 20, groundM: 300, groundSDM: 1}
	far := madeFeature{id: "far", kind: "peak", km: 80, groundM: 1500, groundSDM: 3}
	for _, test := range []struct {
		nearDeg, farDeg, wantArcmin float64
		aligned                     bool
	}{
		{359.99, 0.01, -1.2, true}, {0.01, 359.99, 1.2, true}, {359.9, 0.1, -12, true}, {0.1, 359.9, 12, true}, {0, 359.99, 0.6, true},
		{359.5, 0.5, 0, false}, {0.4, 359.9, 0, false}, {10, 10.2, -12, true}, {180, 0, 0, false},
	} {
		near.azimuthDeg, far.azimuthDeg = test.nearDeg, test.farDeg
		r := madeSurvey(t, 100, 0, near, far)
		found := ofCase(r, BothInView)
		if (len(found) == 1) != test.aligned {
			t.Errorf("near at %v°, far at %v°: %d alignments, want aligned: %v", test.nearDeg, test.farDeg, len(found), test.aligned)
			continue
		}
		if test.aligned && math.Abs(found[0].AzimuthDifferenceArcmin-test.wantArcmin) > 1e-3 {
			t.Errorf("near at %v°, far at %v°: %.4f′ apart, want %v′", test.nearDeg, test.farDeg, found[0].AzimuthDifferenceArcmin, test.wantArcmin)
		}
	}
}

// line is a traced line as alignments need it, its angles from the standard relations.
func (f madeFeature) line(opts *Options, observer *gazetteer.Feature) seen {
	target := &gazetteer.Feature{
		ID: f.id, Name: f.id, Kind: gazetteer.Kind(f.kind), GroundHeightM: f.groundM, StructureHeightM: f.structureM, GroundHeightSDM: f.groundSDM, PositionSDM: f.positionSD,
	}
	const radiusM, degPerRad = 6.37e6, 180 / math.Pi
	eye, top, s := opts.eyeHeightM(observer), topHeightM(target), f.km*1000
	return seen{target: target, trace: &Trace{Judged: true, Likely: true, Row: Sightline{
		ObserverID: observer.ID, TargetID: f.id, TargetName: f.id, DistanceM: s, AzimuthDeg: f.azimuthDeg, RadiusM: radiusM,
		EyeHeightM: eye, TopHeightM: top, Verdict: Direct, CriticalK: -1, Chance: pointer(1.0), MarginArcmin: 10, MarginPlaneArcmin: 10,
		ElevationDeg:             geodesy.ApparentElevationRad(eye, top, s, radiusM, opts.K) * degPerRad,
		ElevationPlaneDeg:        geodesy.PlaneElevationRad(eye, top, s) * degPerRad,
		ElevationPlaneSameAirDeg: geodesy.PlaneElevationInAirRad(eye, top, s, radiusM, opts.K) * degPerRad,
	}}}
}

// Every pair within tolerance is found, whatever the order of the lines, and comes by near, then far id.
func TestAlignAgainstEveryPair(t *testing.T) {
	random := rand.New(rand.NewPCG(17, 29))
	opts := DefaultOptions()
	for try := range 40 {
		observer := &gazetteer.Feature{ID: "eye", Kind: gazetteer.Viewpoint, GroundHeightM: 500, PositionSDM: 40 * random.Float64()}
		var lines []seen
		for i := range 60 {
			positionSD := 30 * random.Float64()
			if i%10 == 0 {
				positionSD = 2000 * random.Float64() // places to the minute: windows of many degrees
			}
			f := madeFeature{id: fmt.Sprintf("f%02d", random.IntN(100)*100+i), kind: "peak", azimuthDeg: 360 * random.Float64(), km: 2 + 100*random.Float64()*random.Float64(),
				groundM: 800, groundSDM: 3, positionSD: positionSD}
			if try%2 == 0 {
				f.azimuthDeg = math.Mod(358+5*random.Float64(), 360)
			}
			lines = append(lines, f.line(&opts, observer))
		}
		want := map[[2]string]bool{}
		for _, near := range lines {
			for _, far := range lines {
				n, f := &near.trace.Row, &far.trace.Row
				apart := math.Abs(math.Mod(n.AzimuthDeg-f.AzimuthDeg+540, 360) - 180)
				spread := math.Sqrt(square(near.target.PositionSDM/n.DistanceM)+square(far.target.PositionSDM/f.DistanceM)+
					square(observer.PositionSDM*(1/n.DistanceM-1/f.DistanceM))) * 180 / math.Pi
				if f.DistanceM >= 30e3 && n.DistanceM >= 2000 && n.DistanceM <= 0.8*f.DistanceM && apart <= 0.25+spread {
					want[[2]string{n.TargetID, f.TargetID}] = true
				}
			}
		}
		found, _ := align(&opts, observer, lines, nil, mostAlignments)
		for i, a := range found {
			if !want[[2]string{a.NearID, a.FarID}] {
				t.Errorf("try %d: %s before %s is no pair", try, a.NearID, a.FarID)
			}
			if i > 0 && !(found[i-1].NearID < a.NearID || found[i-1].NearID == a.NearID && found[i-1].FarID < a.FarID) {
				t.Errorf("try %d: %s before %s stands after %s before %s", try, a.NearID, a.FarID, found[i-1].NearID, found[i-1].FarID)
			}
		}
		if len(found) != len(want) || len(want) == 0 {
			t.Errorf("try %d: %d pairs, every pair looked at gives %d", try, len(found), len(want))
		}
		most := 1 + random.IntN(len(found))
		few, leftOut := align(&opts, observer, lines, nil, most)
		evident := slices.Clone(found)
		slices.SortStableFunc(evident, func(a, b Alignment) int { return cmp.Compare(b.EvidenceSD, a.EvidenceSD) })
		names := func(of []Alignment) (names []string) {
			for _, a := range of {
				names = append(names, a.NearID+" "+a.FarID)
			}
			slices.Sort(names)
			return names
		}
		if got, want := names(few), names(evident[:most]); !slices.Equal(got, want) || leftOut != len(found)-most {
			t.Errorf("try %d: the %d of most evidence of %d, %d left out:\n%q\nwant\n%q", try, most, len(found), leftOut, got, want)
		}
		random.Shuffle(len(lines), func(i, j int) { lines[i], lines[j] = lines[j], lines[i] })
		if again, _ := align(&opts, observer, lines, nil, mostAlignments); !reflect.DeepEqual(again, found) {
			t.Errorf("try %d: another order of the lines gives other alignments", try)
		}
	}
}

// The spread of an azimuth difference: 30 m at 2 km are atan(0.015) = 0.859°.
func TestAzimuthDifferenceSpread(t *testing.T) {
	opts := DefaultOptions()
	tests := []struct {
		nearKM, farKM        float64
		nearSD, farSD, eyeSD float64
		wantDeg              float64
	}{
		{2, 50, 30, 0, 0, 0.8594},
		{2, 50, 0, 30, 0, 0.0344},     // 30/50,000
		{2, 50, 0, 0, 30, 0.8251},     // 30·(1/2,000 − 1/50,000)
		{20, 50, 300, 400, 0, 0.9740}, // √(0.015² + 0.008²) = 0.017
		{20, 50, 0, 0, 0, 0},
	}
	for _, test := range tests {
		observer := &gazetteer.Feature{ID: "eye", Kind: gazetteer.Viewpoint, PositionSDM: test.eyeSD}
		near := madeFeature{id: "near", kind: "peak", azimuthDeg: 50, km: test.nearKM, groundM: 300, positionSD: test.nearSD}
		far := madeFeature{id: "far", kind: "peak", azimuthDeg: 50, km: test.farKM, groundM: 900, positionSD: test.farSD}
		found, _ := align(&opts, observer, []seen{near.line(&opts, observer), far.line(&opts, observer)}, nil, mostAlignments)
		if len(found) != 1 {
			t.Fatalf("%+v: %d alignments", test, len(found))
		}
		if got := found[0].AzimuthDifferenceSD / 60; math.Abs(got-test.wantDeg) > 1e-4 {
			t.Errorf("%+v: spread of the azimuth difference %.5f°, want %v°", test, got, test.wantDeg)
		}
		// Tolerance 0.25° around no difference: Φ(0.25/σ) − Φ(−0.25/σ).
		want := 1.0
		if test.wantDeg > 0 {
			want = math.Erf(0.25 / test.wantDeg / math.Sqrt2)
		}
		if math.Abs(found[0].AlignedChance-want) > 1e-3 {
			t.Errorf("%+v: aligned with a chance of %.4f, want %.4f", test, found[0].AlignedChance, want)
		}
	}
}

func TestWithinChance(t *testing.T) {
	tests := []struct{ mean, sd, tolerance, want float64 }{
		{0, 1, 1, 0.6827}, {0, 1, 2, 0.9545}, {0, 1, 3, 0.9973}, // the 68-95-99.7 rule of any statistics table
		{1, 1, 1, 0.4772}, {-1, 1, 1, 0.4772}, // Φ(2) − Φ(0) ... half of 0.9545
		{5, 1, 1, 0}, {0, 100, 0.25, 0.001995}, // 0.5·density at 0, 0.3989/100
		{0, 0, 0.25, 1}, {0.25, 0, 0.25, 1}, {0.26, 0, 0.25, 0}, {-0.3, 0, 0.25, 0}, {0, 1, 0, 0},
	}
	for _, test := range tests {
		if got := withinChance(test.mean, test.sd, test.tolerance); math.Abs(got-test.want) > 1e-4 {
			t.Errorf("withinChance(%v, %v, %v) = %.5f, want %v", test.mean, test.sd, test.tolerance, got, test.want)
		}
	}
}

// The closed form of the separation's spread against draws of the same inputs: k with a shared part and one of each ray's own, heights of eye
// and tops, places along the line.
func TestSeparationSpreadAgainstDraws(t *testing.T) {
	draws := 20_000
	if os.Getenv("CI") == "true" {
		draws = 200_000
	}
	tests := []struct {
		name                 string
		nearKM, farKM        float64
		nearM, farM, eyeM    float64
		nearSD, farSD, eyeSD float64 // heights
		nearPlaceSD          float64
		farPlaceSD           float64
		eyePlaceSD           float64
		kSD, kOwnSD          float64
	}{
		{"all", 25, 90, 300, 1200, 100, 3, 8, 2, 20, 30, 10, 0.04, 0.02},
		{"k alone", 25, 90, 300, 1200, 100, 0, 0, 0, 0, 0, 0, 0.04, 0.02},
		{"k shared alone", 25, 200, 300, 3200, 100, 0, 0, 0, 0, 0, 0, 0.04, 0},
		{"heights alone", 10, 120, 200, 2500, 400, 5, 10, 4, 0, 0, 0, 0, 0},
		{"places alone", 4, 60, 900, 2500, 100, 0, 0, 0, 60, 200, 30, 0, 0},
		{"observer's place, near and far steep", 3, 80, 500, 2500, 200, 0, 0, 0, 0, 0, 30, 0, 0},
		{"downwards", 12, 70, 200, 900, 2500, 3, 5, 3, 50, 50, 50, 0.04, 0.02},
	}
	random := rand.New(rand.NewPCG(101, 7))
	for _, test := range tests {
		opts := DefaultOptions()
		opts.KSD, opts.KOwnSD, opts.EyeHeightM, opts.ToleranceDeg = test.kSD, test.kOwnSD, 0, 5
		observer := &gazetteer.Feature{ID: "eye", Kind: gazetteer.Viewpoint, GroundHeightM: test.eyeM, GroundHeightSDM: test.eyeSD, PositionSDM: test.eyePlaceSD}
		near := madeFeature{id: "near", kind: "peak", azimuthDeg: 10, km: test.nearKM, groundM: test.nearM, groundSDM: test.nearSD, positionSD: test.nearPlaceSD}.line(&opts, observer)
		far := madeFeature{id: "far", kind: "peak", azimuthDeg: 10, km: test.farKM, groundM: test.farM, groundSDM: test.farSD, positionSD: test.farPlaceSD}.line(&opts, observer)
		found, _ := align(&opts, observer, []seen{near, far}, nil, mostAlignments)
		if len(found) != 1 {
			t.Fatalf("%s: %d alignments", test.name, len(found))
		}
		shared := math.Sqrt(square(test.kSD) - square(test.kOwnSD))
		var sum, squares float64
		for range draws {
			k := opts.K + shared*random.NormFloat64()
			eye, moved := test.eyeM+test.eyeSD*random.NormFloat64(), test.eyePlaceSD*random.NormFloat64()
			elevation := func(heightM, heightSD, km, placeSD float64) float64 {
				return geodesy.ApparentElevationRad(eye, heightM+heightSD*random.NormFloat64(), km*1000+placeSD*random.NormFloat64()-moved,
					near.trace.Row.RadiusM, k+test.kOwnSD*random.NormFloat64())
			}
			separation := (elevation(test.farM, test.farSD, test.farKM, test.farPlaceSD) - elevation(test.nearM, test.nearSD, test.nearKM, test.nearPlaceSD)) * arcminPerRad
			sum += separation
			squares += separation * separation
		}
		mean := sum / float64(draws)
		drawn := math.Sqrt(squares/float64(draws) - mean*mean)
		t.Logf("%-40s %.4f′ stated, %.4f′ drawn", test.name, found[0].SeparationSDArcmin, drawn)
		if math.Abs(found[0].SeparationSDArcmin/drawn-1) > 0.1 {
			t.Errorf("%s: spread of the separation %.4f′, drawn %.4f′", test.name, found[0].SeparationSDArcmin, drawn)
		}
		if math.Abs(found[0].SeparationArcmin-mean) > 0.05*drawn+1e-3 {
			t.Errorf("%s: separation %.4f′, drawn %.4f′ in the mean", test.name, found[0].SeparationArcmin, mean)
		}
	}
}
