package geodesy_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
)

func ExampleSeaHorizon() {
	dipRad, distanceM, err := geodesy.SeaHorizon(100, 6371000, 0.143)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("dip %.2f′, sea horizon at %.1f km\n", dipRad*180/math.Pi*60, distanceM/1000)
	// Output: dip 17.83′, sea horizon at 38.6 km
}

func relative(got, want float64) float64 { return math.Abs(got-want) / math.Abs(want) }

// Between equal heights the triangle is isosceles and the elevation is exactly −θ/2, whatever the heights: no digit may be lost to
// the size of the Earth, on the shortest line and next to k = 1 as elsewhere.
func TestApparentElevationOfEqualHeights(t *testing.T) {
	for _, k := range []float64{-0.5, 0, 0.143, 0.9, 1 - 1e-6, 1 - 1e-12, 1 + 1e-9, 1.5, 3} {
		for _, distanceM := range []float64{0.01, 1, 1000, 100e3, 500e3, 3000e3} {
			for _, heightM := range []float64{-430, 0, 2, 4500} {
				want := -distanceM * (1 - k) / meanR / 2
				if got := geodesy.ApparentElevationRad(heightM, heightM, distanceM, meanR, k); relative(got, want) > 1e-15*4 {
					t.Errorf("ApparentElevationRad(%v, %v, %v, k=%v) = %.17g, want %.17g", heightM, heightM, distanceM, k, got, want)
				}
			}
		}
	}
}

// For k over 1 the sea is a bowl as seen along the light. Its elevations are worked out here in the bowl's own coordinates.
func TestApparentElevationInABowl(t *testing.T) {
	for _, k := range []float64{1.2, 2, 4} {
		bowlM := meanR / (k - 1)
		for _, distanceM := range []float64{5e3, 200e3, 1000e3} {
			eyeM, topM := 300.0, 2500.0
			angle := distanceM / bowlM
			up := (bowlM - eyeM) - (bowlM-topM)*math.Cos(angle)
			want := math.Atan2(up, (bowlM-topM)*math.Sin(angle))
			if got := geodesy.ApparentElevationRad(eyeM, topM, distanceM, meanR, k); math.Abs(got-want) > 1e-12 {
				t.Errorf("ApparentElevationRad(%v, %v, %v, k=%v) = %.12f, want %.12f", eyeM, topM, distanceM, k, got, want)
			}
		}
	}
}

// The formula as handbooks print it, with its large numbers, agrees where it has the digits.
func TestApparentElevationAsPrinted(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		eyeM, topM, distanceM := random.Float64()*4000, random.Float64()*6000, 20e3+random.Float64()*600e3
		k := random.Float64()*1.2 - 0.4
		radius := meanR / (1 - k)
		theta := distanceM / radius
		want := math.Atan(((radius+topM)*math.Cos(theta) - (radius + eyeM)) / ((radius + topM) * math.Sin(theta)))
		if got := geodesy.ApparentElevationRad(eyeM, topM, distanceM, meanR, k); math.Abs(got-want) > 2e-12 {
			t.Errorf("ApparentElevationRad(%v, %v, %v, k=%v) = %.14f, printed formula %.14f", eyeM, topM, distanceM, k, got, want)
		}
	}
}

// The effective radius stands for straight geometry on the real sphere plus the ray's own bend of k·s/2R. The two agree within 1″
// for summits up to 1,500 m and ordinary light to 300 km; the rest is k·Δh(h₁+h₂)/(2Rs), as distance grows with height.
func TestEffectiveRadiusAgainstBentRay(t *testing.T) {
	worst := 0.0
	for _, k := range []float64{0, 0.1, 0.143, 0.2} {
		for distanceM := 50e3; distanceM <= 300e3; distanceM += 10e3 {
			for _, topM := range []float64{0, 500, 1500} {
				bent := geodesy.ApparentElevationRad(2, topM, distanceM, meanR, 0) + k*distanceM/(2*meanR)
				worst = max(worst, math.Abs(geodesy.ApparentElevationRad(2, topM, distanceM, meanR, k)-bent)/arcsec)
			}
		}
	}
	t.Logf("worst difference %.3f″", worst)
	if worst > 0.3 {
		t.Errorf("worst difference %.3f″, want at most 0.3″", worst)
	}
}

func TestHeightAtElevationInvertsApparentElevation(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for range 5000 {
		eyeM, topM := random.Float64()*4500-430, random.Float64()*9000-430
		distanceM, k := math.Exp(random.Float64()*10)*50, random.Float64()*3-0.5
		elevationRad := geodesy.ApparentElevationRad(eyeM, topM, distanceM, meanR, k)
		// Steep lines lose height for a given angle: dh/dε = s/cos²ε.
		tolM := 1e-9 + 1e-15*distanceM/math.Pow(math.Cos(elevationRad), 2)
		if got := geodesy.HeightAtElevationM(elevationRad, eyeM, distanceM, meanR, k); math.Abs(got-topM) > tolM {
			t.Errorf("HeightAtElevationM(%v, %v, %v, k=%v) = %.12f, want %.12f", elevationRad, eyeM, distanceM, k, got, topM)
		}
	}
	for _, k := range []float64{1, 1 - 1e-13, 1 + 1e-13} {
		if got := geodesy.HeightAtElevationM(0.01, 2, 1e5, meanR, k); math.Abs(got-(2+1e5*math.Tan(0.01))) > 1e-6 {
			t.Errorf("HeightAtElevationM(0.01, 2, 1e5, k=%v) = %v, want the straight line", k, got)
		}
	}
	if got := geodesy.HeightAtElevationM(1.5, 2, 1000e3, meanR, 0); !math.IsInf(got, 1) {
		t.Errorf("HeightAtElevationM(1.5, 2, 1000e3, k=0) = %v, want +Inf: the ray never stands over that place", got)
	}
	if got := geodesy.HeightAtElevationM(-1.5, 2, 1000e3, meanR, 2); !math.IsInf(got, -1) {
		t.Errorf("HeightAtElevationM(-1.5, 2, 1000e3, k=2) = %v, want -Inf", got)
	}
}

func TestSeaHorizonEdges(t *testing.T) {
	for _, c := range []struct {
		eyeM, k float64
		want    error
	}{
		{-0.01, 0.143, geodesy.ErrBelowSea},
		{-430, 2, geodesy.ErrBelowSea},
		{2, 1, geodesy.ErrNoHorizon},
		{2, 1.3, geodesy.ErrNoHorizon},
		{0, 0.143, nil},
		{2, -1, nil},
		{2, 1 - 1e-12, nil},
	} {
		dipRad, distanceM, err := geodesy.SeaHorizon(c.eyeM, meanR, c.k)
		if !errors.Is(err, c.want) {
			t.Errorf("SeaHorizon(%v, k=%v): error %v, want %v", c.eyeM, c.k, err, c.want)
		}
		if math.IsNaN(dipRad+distanceM) || math.IsInf(distanceM, 0) {
			t.Errorf("SeaHorizon(%v, k=%v) = %v, %v: not finite", c.eyeM, c.k, dipRad, distanceM)
		}
	}
	// A millimetre over the sea: acos(R/(R+h)) itself would lose four digits.
	if dipRad, _, err := geodesy.SeaHorizon(0.001, meanR, 0); err != nil || relative(dipRad, math.Sqrt(0.002/meanR)) > 1e-9 {
		t.Errorf("SeaHorizon(0.001) dip = %v (%v), want %v", dipRad, err, math.Sqrt(0.002/meanR))
	}
	if got, err := geodesy.SeaObscuredM(2, 1e6, meanR, 1); got != 0 || err != nil {
		t.Errorf("SeaObscuredM(k=1) = %v, %v, want 0 and no error", got, err)
	}
	if _, err := geodesy.SeaObscuredM(-2, 1e5, meanR, 0.143); !errors.Is(err, geodesy.ErrBelowSea) {
		t.Errorf("SeaObscuredM(-2): error %v, want ErrBelowSea", err)
	}
	if got, err := geodesy.SeaObscuredM(2, 11000e3, meanR, 0); err != nil || !math.IsInf(got, 1) {
		t.Errorf("SeaObscuredM(2, 11,000 km) = %v, %v, want +Inf", got, err)
	}
	if _, err := geodesy.GeographicRangeM(10, -1, meanR, 0.143); !errors.Is(err, geodesy.ErrBelowSea) {
		t.Errorf("GeographicRangeM(10, -1): error %v, want ErrBelowSea", err)
	}
	if _, err := geodesy.GeographicRangeM(10, 10, meanR, 1); !errors.Is(err, geodesy.ErrNoHorizon) {
		t.Errorf("GeographicRangeM(k=1): error %v, want ErrNoHorizon", err)
	}
	if dipRad, _, err := geodesy.SeaHorizon(100, meanR, 0.1); err != nil || relative(math.Cos(dipRad), 1/(1+0.9*100/meanR)) > 1e-15 {
		t.Errorf("cos of the dip of 100 m = %v (%v), want R'/(R'+h)", math.Cos(dipRad), err)
	}
}

// What the sea cuts off ends exactly in the sea horizon's direction; a waterline is lowest-seen short of the horizon, at the dip on it.
func TestObscuredHeightAppearsAtTheDip(t *testing.T) {
	for _, k := range []float64{-0.3, 0, 0.143, 0.5, 0.95} {
		for _, eyeM := range []float64{0, 2, 164, 4000} {
			dipRad, horizonM, err := geodesy.SeaHorizon(eyeM, meanR, k)
			if err != nil {
				t.Fatal(err)
			}
			for _, pastM := range []float64{1, 1e4, 2e5, 1e6} {
				heightM, err := geodesy.SeaObscuredM(eyeM, horizonM+pastM, meanR, k)
				if err != nil {
					t.Fatal(err)
				}
				if got := geodesy.ApparentElevationRad(eyeM, heightM, horizonM+pastM, meanR, k); math.Abs(got+dipRad) > 1e-12 {
					t.Errorf("eye %v m, k=%v, %v m past the horizon: %v m appear at %.14f, want %.14f", eyeM, k, pastM, heightM, got, -dipRad)
				}
			}
			if eyeM == 0 {
				continue
			}
			if heightM, err := geodesy.SeaObscuredM(eyeM, horizonM*0.999, meanR, k); err != nil || heightM != 0 {
				t.Errorf("eye %v m, k=%v: %v m obscured inside the horizon (%v)", eyeM, k, heightM, err)
			}
			at := geodesy.DipShortOfHorizonRad(eyeM, horizonM, meanR, k)
			before, after := geodesy.DipShortOfHorizonRad(eyeM, horizonM*0.99, meanR, k), geodesy.DipShortOfHorizonRad(eyeM, horizonM*1.01, meanR, k)
			if math.Abs(at-dipRad) > 1e-14 || before <= at || after <= at {
				t.Errorf("eye %v m, k=%v: depression %v, %v, %v about the horizon, want a least value of %v", eyeM, k, before, at, after, dipRad)
			}
		}
	}
}

func TestMonotonic(t *testing.T) {
	obscured := func(eyeM, distanceM, k float64) float64 {
		heightM, err := geodesy.SeaObscuredM(eyeM, distanceM, meanR, k)
		if err != nil {
			t.Fatal(err)
		}
		return heightM
	}
	for distanceM := 60e3; distanceM < 500e3; distanceM += 20e3 {
		for k := -0.2; k < 0.9; k += 0.05 {
			at := geodesy.ApparentElevationRad(2, 900, distanceM, meanR, k)
			if more := geodesy.ApparentElevationRad(2, 900, distanceM, meanR, k+0.05); more <= at {
				t.Errorf("%v m: elevation falls from k=%v on: %v, %v", distanceM, k, at, more)
			}
			if farther := geodesy.ApparentElevationRad(2, 900, distanceM+1000, meanR, k); farther >= at {
				t.Errorf("k=%v: elevation rises with distance at %v m: %v, %v", k, distanceM, at, farther)
			}
			cut := obscured(2, distanceM, k)
			if obscured(2, distanceM, k+0.05) >= cut || obscured(2, distanceM+1000, k) <= cut || obscured(10, distanceM, k) >= cut {
				t.Errorf("k=%v, %v m: obscured height %v m is not less for more k or eye, more for more distance", k, distanceM, cut)
			}
			if geodesy.ClearanceOverSeaM(900, 900, distanceM, meanR, k) >= geodesy.ClearanceOverSeaM(900, 900, distanceM, meanR, k+0.05) {
				t.Errorf("k=%v, %v m: clearance does not rise with k", k, distanceM)
			}
		}
	}
}

// The clearance is the least height that a dense walk along the ray meets, also where that is an end, and for light as curved as the
// sea or more; a line through both horizons just touches.
func TestClearanceOverSea(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		eyeM, topM := random.Float64()*3000, random.Float64()*3000
		distanceM, k := 1e3+random.Float64()*400e3, random.Float64()*1.6-0.3
		elevationRad := geodesy.ApparentElevationRad(eyeM, topM, distanceM, meanR, k)
		least := min(eyeM, topM)
		for i := 1; i < 2000; i++ {
			least = min(least, geodesy.HeightAtElevationM(elevationRad, eyeM, distanceM*float64(i)/2000, meanR, k))
		}
		got := geodesy.ClearanceOverSeaM(eyeM, topM, distanceM, meanR, k)
		if got > least+1e-6 || got < least-0.01 {
			t.Errorf("ClearanceOverSeaM(%v, %v, %v, k=%v) = %.6f, walk finds %.6f", eyeM, topM, distanceM, k, got, least)
		}
	}
	rangeM, err := geodesy.GeographicRangeM(164, 2785, meanR, 0.13)
	if err != nil {
		t.Fatal(err)
	}
	if got := geodesy.ClearanceOverSeaM(164, 2785, rangeM, meanR, 0.13); math.Abs(got) > 1e-8 {
		t.Errorf("clearance at the geographic range = %v m, want 0", got)
	}
	if got := geodesy.ClearanceOverSeaM(50, 50, 1e5, meanR, 1); got != 50 {
		t.Errorf("ClearanceOverSeaM(50, 50, 1e5, k=1) = %v, want 50", got)
	}
}

// How far the first-order forms are from the exact ones, so that the figures in their comments stay true.
func TestFirstOrderForms(t *testing.T) {
	for _, c := range []struct{ distanceM, shortM, tolM float64 }{{100e3, 0.05, 0.005}, {300e3, 4.3, 0.05}} {
		got := geodesy.HeightAtElevationM(0, 0, c.distanceM, meanR, 0.13) - geodesy.CurvatureAndRefractionM(c.distanceM, meanR, 0.13)
		if math.Abs(got-c.shortM) > c.tolM {
			t.Errorf("CurvatureAndRefractionM(%v) is %.4f m short of the exact fall, comment says %v", c.distanceM, got, c.shortM)
		}
	}
	if got := geodesy.LineHeightM(100, 300, 25e3, 75e3, meanR, 1); got != 150 {
		t.Errorf("LineHeightM(100, 300, 25 km, 75 km, k=1) = %v, want 150", got)
	}
}
