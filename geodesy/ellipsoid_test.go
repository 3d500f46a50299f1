package geodesy

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestRadiiPublished(t *testing.T) {
	iau1976 := NewEllipsoid(6378140, 1/298.257)
	cos42 := math.Cos(42 * degree)
	for _, c := range []struct {
		name, source         string
		got, want, tolerance float64
	}{
		{"radius of the parallel of 42°, IAU 1976", "Meeus, Astronomical Algorithms, 2nd ed., example 11.b", iau1976.PrimeVerticalRadiusM(42) * cos42, 4747001, 0.5},
		{"1° of longitude at 42°", "Meeus, example 11.b", iau1976.PrimeVerticalRadiusM(42) * cos42 * degree, 82850.8, 0.05},
		{"meridian radius at 42°", "Meeus, example 11.b", iau1976.MeridianRadiusM(42), 6364033, 0.5},
		{"1° of latitude at 42°", "Meeus, example 11.b", iau1976.MeridianRadiusM(42) * degree, 111073.3, 0.05},
		{"WGS84 a", "NIMA TR8350.2, table 3.1", WGS84.SemiMajorM(), 6378137, 0},
		{"WGS84 1/f", "NIMA TR8350.2, table 3.1", 1 / WGS84.Flattening(), 298.257223563, 1e-12},
		{"WGS84 b, from the height of the pole", "NIMA TR8350.2, table 3.3", WGS84.ToCartesian(LatLon{90, 0}, 0).Z, 6356752.3142, 5e-5},
		{"WGS84 polar radius of curvature", "NIMA TR8350.2, table 3.3, from memory", WGS84.MeridianRadiusM(-90), 6399593.6258, 5e-5},
	} {
		if !(math.Abs(c.got-c.want) <= c.tolerance) {
			t.Errorf("%s = %.6f, want %.6f ± %g (%s)", c.name, c.got, c.want, c.tolerance, c.source)
		}
	}

	// Meeus, p. 83: the geodetic latitude exceeds the geocentric by most at 45°05′46.36″, by 11′32.73″.
	latitude := dms(1, 45, 5, 46.36)
	v := iau1976.ToCartesian(LatLon{latitude, 0}, 0)
	if excess := latitude - math.Atan2(v.Z, v.X)/degree; math.Abs(excess-dms(1, 0, 11, 32.73)) > 0.005*arcsecond {
		t.Errorf("geodetic less geocentric latitude at 45°05′46.36″ = %.4f″, want 692.73″ (Meeus, p. 83)", excess*3600)
	}
}

// TestEulerRadius compares with the curvature that the ellipsoid itself shows: a geodesic of length s bends away from its chord c by
// s − c = s³/(24R²) at its middle.
func TestEulerRadius(t *testing.T) {
	const s = 100e3
	for lat := -80.0; lat <= 80; lat += 20 {
		for azimuth := -30.0; azimuth <= 390; azimuth += 15 {
			middle := LatLon{lat, 10}
			line := WGS84.Line(middle, azimuth)
			p, _ := line.At(-s / 2)
			q, _ := line.At(s / 2)
			shown := math.Sqrt(s * s * s / (24 * (s - groundGapM(WGS84, p, q))))
			if got := WGS84.EulerRadiusM(lat, azimuth); math.Abs(got/shown-1) > 3e-5 {
				t.Errorf("EulerRadiusM(%v, %v) = %.0f m, the line shows %.0f m", lat, azimuth, got, shown)
			}
		}
		m, n := WGS84.MeridianRadiusM(lat), WGS84.PrimeVerticalRadiusM(lat)
		if along, across := WGS84.EulerRadiusM(lat, 180), WGS84.EulerRadiusM(lat, 270); math.Abs(along-m) > 1e-8 || math.Abs(across-n) > 1e-8 {
			t.Errorf("EulerRadiusM(%v, 180 and 270) = %v, %v, want M and N, %v, %v", lat, along, across, m, n)
		}
	}
}

func TestCartesianPublished(t *testing.T) {
	for _, c := range []struct {
		source    string
		p         LatLon
		heightM   float64
		v         Vector
		tolerance float64
	}{
		{"IOGP Guidance Note 7-2, method 9602", LatLon{dms(1, 53, 48, 33.820), dms(1, 2, 7, 46.380)}, 73, Vector{3771793.968, 140253.342, 5124304.349}, 0.0005},
		{"GeographicLib, CartConvert manual page", LatLon{33.3, 44.4}, 6000, Vector{3816209.60, 3737108.55, 3485109.57}, 0.005},
		{"ERFA test suite, eraGd2gc", LatLon{-0.5 / degree, 3.1 / degree}, 2500, Vector{-5599000.5577049947, 233011.67223479203, -3040909.4706983363}, 1e-7},
		{"ERFA test suite, eraGc2gd", LatLon{0.97160184819075459 / degree, 0.9827937232473290680 / degree}, 331.4172461426059892, Vector{2e6, 3e6, 5.244e6}, 1e-8},
	} {
		v := WGS84.ToCartesian(c.p, c.heightM)
		if d := v.Sub(c.v); max(math.Abs(d.X), math.Abs(d.Y), math.Abs(d.Z)) > c.tolerance {
			t.Errorf("ToCartesian(%v, %v) = %.9f, want %.9f ± %g (%s)", c.p, c.heightM, v, c.v, c.tolerance, c.source)
		}
		p, h := WGS84.ToGeodetic(c.v)
		tolDeg := max(c.tolerance/6.3e6, 1e-14) / degree
		if !(math.Abs(h-c.heightM) <= 2*c.tolerance && math.Abs(p.LatDeg-c.p.LatDeg) <= tolDeg && angleGap(p.LonDeg, c.p.LonDeg)*math.Cos(c.p.LatDeg*degree) <= tolDeg) {
			t.Errorf("ToGeodetic(%v) = %.15f, %.9f m, want %.15f, %.9f m (%s)", c.v, p, h, c.p, c.heightM, c.source)
		}
	}
}

// TestToGeodeticRoundTrip goes there and back, from 1000 km below the surface to 1000 km above, on ellipsoids of both kinds.
func TestToGeodeticRoundTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(1976, 1985))
	for _, c := range []struct {
		name    string
		e       *Ellipsoid
		heightM float64
		limitNm float64
	}{
		{"WGS84, terrain", WGS84, 10e3, 6},
		{"WGS84", WGS84, 1e6, 6},
		{"WGS84, far out", WGS84, 4e7, 30},
		{"sphere", NewEllipsoid(6371000, 0), 1e6, 6},
		{"prolate", NewEllipsoid(6.4e6, -1/300.0), 1e6, 6},
	} {
		var position, height, twin worst
		for i := range 100000 {
			p := randomPlace(r)
			h := c.heightM * (2*r.Float64() - 1)
			if c.heightM > 1e6 {
				h = math.Abs(h)
			}
			v := c.e.ToCartesian(p, h)
			q, k := c.e.ToGeodetic(v)
			position.offer(c.e.ToCartesian(q, k).Sub(v).Norm(), i)
			height.offer(math.Abs(k-h), i)
			if i%10 == 0 {
				s, o := c.e.nearest(math.Hypot(v.X, v.Y), v.Z)
				twin.offer(math.Abs(atan2Deg(s, o)-q.LatDeg)*degree*6.4e6, i)
			}
		}
		t.Logf("%s: worst position %.2f nm, height %.2f nm, latitude against bisection %.2f nm", c.name, position.value*1e9, height.value*1e9, twin.value*1e9)
		if !(max(position.value, height.value, twin.value)*1e9 <= c.limitNm) {
			t.Errorf("%s: position %.2f nm, height %.2f nm, latitude %.2f nm, want ≤ %v nm", c.name, position.value*1e9, height.value*1e9, twin.value*1e9, c.limitNm)
		}
	}
}

// TestToGeodeticDeep looks at the centre region, where the iteration does not converge.
func TestToGeodeticDeep(t *testing.T) {
	b := WGS84.ToCartesian(LatLon{90, 0}, 0).Z
	for _, c := range []struct {
		v    Vector
		p    LatLon
		h    float64
		name string
	}{
		{Vector{0, 0, 0}, LatLon{90, 0}, -b, "centre"},
		{Vector{0, 0, b}, LatLon{90, 0}, 0, "north pole"},
		{Vector{0, 0, -b - 100}, LatLon{-90, 0}, 100, "over the south pole"},
		{Vector{0, 0, -1}, LatLon{-90, 0}, 1 - b, "axis"},
		{Vector{-100e3, 0, 0}, LatLon{0, 180}, 100e3 - WGS84.SemiMajorM(), "in the equator's plane, outside the evolute"},
	} {
		if p, h := WGS84.ToGeodetic(c.v); math.Abs(p.LatDeg-c.p.LatDeg) > 1e-13 || p.LonDeg != c.p.LonDeg || math.Abs(h-c.h) > 1e-8 {
			t.Errorf("%s: ToGeodetic(%v) = %v, %.9f, want %v, %.9f", c.name, c.v, p, h, c.p, c.h)
		}
	}
	r := rand.New(rand.NewPCG(3, 4))
	for _, e := range []*Ellipsoid{WGS84, NewEllipsoid(6371000, 0), NewEllipsoid(6.4e6, -1/300.0)} {
		var gap worst
		for i := range 20000 {
			size := 5e6 * math.Exp(-12*r.Float64())
			v := Vector{size * (2*r.Float64() - 1), size * (2*r.Float64() - 1), size * (2*r.Float64() - 1)}
			switch i % 10 {
			case 0:
				v.Z = 0
			case 1:
				v.X, v.Y = 0, 0
			}
			p, h := e.ToGeodetic(v)
			gap.offer(e.ToCartesian(p, h).Sub(v).Norm(), i)
			if other, k := e.ToGeodetic(Vector{v.X, v.Y, -v.Z}); v.Z != 0 && (other.LatDeg != -p.LatDeg || k != h) {
				t.Fatalf("ToGeodetic(%v) = %v, %v, mirrored %v, %v", v, p, h, other, k)
			}
		}
		t.Logf("f = %.6f: worst position %.2f nm", e.Flattening(), gap.value*1e9)
		if !(gap.value <= 5e-9) {
			t.Errorf("f = %.6f: position %.2f nm, want ≤ 5 nm", e.Flattening(), gap.value*1e9)
		}
	}
}
