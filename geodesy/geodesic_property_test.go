package geodesy

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// randomPlace draws places evenly over the sphere, and one in four where special cases live: poles, equator, date line, whole degrees.
func randomPlace(r *rand.Rand) LatLon {
	p := LatLon{math.Asin(2*r.Float64()-1) / degree, 360*r.Float64() - 180}
	switch r.IntN(24) {
	case 0:
		p.LatDeg = math.Copysign(90, p.LatDeg)
	case 1:
		p.LatDeg = math.Copysign(90-math.Exp(-20*r.Float64()), p.LatDeg)
	case 2:
		p.LatDeg = 0
	case 3:
		p.LatDeg = math.Exp(-40*r.Float64()) * (r.Float64() - 0.5)
	case 4:
		p.LonDeg = math.Copysign(180, p.LonDeg)
	case 5:
		p = LatLon{math.Round(p.LatDeg), math.Round(p.LonDeg)}
	}
	return p
}

func randomAzimuth(r *rand.Rand) float64 {
	switch r.IntN(8) {
	case 0:
		return 90 * float64(r.IntN(4))
	case 1:
		return azimuth360(90*float64(r.IntN(4)) + math.Exp(-30*r.Float64())*(r.Float64()-0.5))
	}
	return 360 * r.Float64()
}

// TestInverseOfDirect goes out along random geodesics, shorter than 19,900 km and so the shortest, and solves for them.
func TestInverseOfDirect(t *testing.T) {
	r := rand.New(rand.NewPCG(2013, 87))
	const count = 100000
	var distance, azimuth, end, again worst
	for i := range count {
		from, azi := randomPlace(r), randomAzimuth(r)
		s := 19.9e6 * r.Float64()
		if i%3 == 0 {
			s = math.Exp(math.Log(1e-3) + r.Float64()*math.Log(1e9)) // 1 mm to 1000 km
		}
		to, endAzi := WGS84.Direct(from, azi, s)
		if math.Abs(to.LatDeg) > 90 || math.Abs(to.LonDeg) > 180 || endAzi < 0 || endAzi >= 360 {
			t.Fatalf("Direct(%v, %v, %v) = %v, %v: out of range", from, azi, s, to, endAzi)
		}
		a, line := WGS84.InverseLine(from, to)
		distance.offer(math.Abs(a.DistanceM-s), i)
		azimuth.offer(angleGap(a.AzimuthDeg, azi)*degree*a.ReducedLengthM, i)
		if math.Abs(to.LatDeg) < 90 { // at a pole the longitude of the end, and with it its azimuth, may be that of either side
			end.offer(angleGap(a.EndAzimuthDeg, endAzi)*degree*a.ReducedLengthM*math.Cos(to.LatDeg*degree), i)
		}
		p, _ := line.At(a.DistanceM)
		again.offer(groundGapM(WGS84, p, to), i)
	}
	for _, c := range []struct {
		what    string
		worst   worst
		limitNm float64
	}{
		{"distance", distance, 20}, {"azimuth times reduced length", azimuth, 20}, {"end azimuth times reduced length and cos latitude", end, 20}, {"position at the end", again, 20},
	} {
		t.Logf("%d lines, %s: worst %.2f nm (line %d)", count, c.what, c.worst.value*1e9, c.worst.index)
		if !(c.worst.value*1e9 <= c.limitNm) {
			t.Errorf("%s: worst %.2f nm on line %d, want ≤ %v nm", c.what, c.worst.value*1e9, c.worst.index, c.limitNm)
		}
	}
}

// TestInverseLineReachesEnd solves random pairs, antipodal ones among them, and goes there.
func TestInverseLineReachesEnd(t *testing.T) {
	r := rand.New(rand.NewPCG(43, 55))
	for _, e := range []*Ellipsoid{WGS84, bessel, NewEllipsoid(6371000, 0), NewEllipsoid(6.4e6, -1/300.0)} {
		t.Run(fmt.Sprintf("f=%.6f", e.Flattening()), func(t *testing.T) {
			var gap, chord worst
			for i := range 20000 {
				from, to := randomPlace(r), randomPlace(r)
				if i%4 == 0 {
					to = LatLon{-from.LatDeg + 1.5*(r.Float64()-0.5), from.LonDeg + 180 + 1.5*(r.Float64()-0.5)}
					to.LatDeg = max(-90, min(90, to.LatDeg))
				}
				a, line := e.InverseLine(from, to)
				p, _ := line.At(a.DistanceM)
				gap.offer(groundGapM(e, p, to), i)
				chord.offer(groundGapM(e, from, to)-a.DistanceM, i)
			}
			t.Logf("worst %.2f nm", gap.value*1e9)
			if !(gap.value <= 20e-9) {
				t.Errorf("worst gap %.2f nm at pair %d, want ≤ 20 nm", gap.value*1e9, gap.index)
			}
			if !(chord.value <= 10e-9) {
				t.Errorf("pair %d: geodesic %.2f nm shorter than the chord", chord.index, chord.value*1e9)
			}
		})
	}
}

// TestInverseSymmetries moves, mirrors and turns pairs; what the canonical form of the problem makes equal must be equal to the bit.
func TestInverseSymmetries(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	grid := func(x float64) float64 { return math.Round(x*0x1p20) / 0x1p20 } // so that shifts by whole degrees are exact
	var swapped worst
	for i := range 20000 {
		from, to := randomPlace(r), randomPlace(r)
		from, to = LatLon{grid(from.LatDeg), grid(from.LonDeg)}, LatLon{grid(to.LatDeg), grid(to.LonDeg)}
		if from == to || math.Abs(to.LonDeg-from.LonDeg) == 180 || math.Abs(from.LatDeg) == 90 || math.Abs(to.LatDeg) == 90 {
			continue // azimuths by convention
		}
		a := WGS84.Inverse(from, to)

		shift := float64(r.IntN(1441) - 720)
		moved := WGS84.Inverse(LatLon{from.LatDeg, from.LonDeg + shift}, LatLon{to.LatDeg, to.LonDeg + shift})
		if moved != a {
			t.Fatalf("Inverse(%v, %v) = %+v, moved by %v° %+v", from, to, a, shift, moved)
		}
		mirrored := WGS84.Inverse(LatLon{from.LatDeg, -from.LonDeg}, LatLon{to.LatDeg, -to.LonDeg})
		if mirrored.DistanceM != a.DistanceM || angleGap(mirrored.AzimuthDeg, -a.AzimuthDeg) > 6e-14 || angleGap(mirrored.EndAzimuthDeg, -a.EndAzimuthDeg) > 6e-14 {
			t.Fatalf("Inverse(%v, %v) = %+v, mirrored east to west %+v", from, to, a, mirrored)
		}
		if from.LatDeg != 0 || to.LatDeg != 0 { // along the equator past the cut, north and south are as short
			mirrored = WGS84.Inverse(LatLon{-from.LatDeg, from.LonDeg}, LatLon{-to.LatDeg, to.LonDeg})
			if mirrored.DistanceM != a.DistanceM || angleGap(mirrored.AzimuthDeg, 180-a.AzimuthDeg) > 6e-14 || angleGap(mirrored.EndAzimuthDeg, 180-a.EndAzimuthDeg) > 6e-14 {
				t.Fatalf("Inverse(%v, %v) = %+v, mirrored north to south %+v", from, to, a, mirrored)
			}
		}
		back := WGS84.Inverse(to, from)
		swapped.offer(math.Abs(back.DistanceM-a.DistanceM), i)
		swapped.offer(max(angleGap(back.AzimuthDeg, a.BackAzimuthDeg()), angleGap(back.BackAzimuthDeg(), a.AzimuthDeg))*degree*a.ReducedLengthM, i)
	}
	t.Logf("ends exchanged: worst difference %.2f nm", swapped.value*1e9)
	if !(swapped.value <= 10e-9) {
		t.Errorf("ends exchanged: %.2f nm at pair %d, want ≤ 10 nm", swapped.value*1e9, swapped.index)
	}
}

func TestInverseDegenerate(t *testing.T) {
	const quarter = 10001965.7293127 // m, WGS84 meridian from equator to pole: GeodSolve 2.1.2
	for _, c := range []struct {
		name     string
		from, to LatLon
		want     Arc
	}{
		{"same place", LatLon{20.001, 7}, LatLon{20.001, 7}, Arc{}},
		{"same place, a turn apart", LatLon{-20.001, 7}, LatLon{-20.001, 367}, Arc{}},
		{"same pole", LatLon{90, 0}, LatLon{90, 180}, Arc{}},
		{"same place on both sides of the date line", LatLon{1, 180}, LatLon{1, -180}, Arc{}},
		{"pole to equator", LatLon{90, 0}, LatLon{0, 30}, Arc{quarter, 150, 180, 90, 0}},
		{"equator to pole", LatLon{0, 30}, LatLon{90, 30}, Arc{quarter, 0, 0, 90, 0}},
		{"pole to pole", LatLon{-90, 10}, LatLon{90, 10}, Arc{2 * quarter, 0, 0, 180, 0}},
		{"equator eastwards over the date line", LatLon{0, 179}, LatLon{0, -180}, Arc{6378137 * degree, 90, 90, 1 / (1 - WGS84.Flattening()), 0}},
		{"equator westwards", LatLon{0, -180}, LatLon{0, 179}, Arc{6378137 * degree, 270, 270, 1 / (1 - WGS84.Flattening()), 0}},
	} {
		got := WGS84.Inverse(c.from, c.to)
		got.ReducedLengthM = 0
		if math.Abs(got.DistanceM-c.want.DistanceM) > 1e-6 || angleGap(got.AzimuthDeg, c.want.AzimuthDeg) > 1e-13 || angleGap(got.EndAzimuthDeg, c.want.EndAzimuthDeg) > 1e-13 || math.Abs(got.ArcDeg-c.want.ArcDeg) > 1e-12 {
			t.Errorf("%s: Inverse(%v, %v) = %+v, want %+v", c.name, c.from, c.to, got, c.want)
		}
	}
	nan, inf := math.NaN(), math.Inf(1)
	for _, pair := range [][2]LatLon{{{nan, 0}, {0, 90}}, {{nan, 0}, {90, 9}}, {{0, 0}, {1, nan}}, {{0, 0}, {nan, 90}}, {{90.0001, 0}, {0, 1}}, {{0, 0}, {-91, 1}}, {{0, inf}, {0, 1}}, {{0, 0}, {inf, 1}}} {
		if a := WGS84.Inverse(pair[0], pair[1]); !math.IsNaN(a.DistanceM) || !math.IsNaN(a.AzimuthDeg) || !math.IsNaN(a.EndAzimuthDeg) {
			t.Errorf("Inverse(%v, %v) = %+v, want NaN", pair[0], pair[1], a)
		}
	}
	for _, c := range []struct {
		from       LatLon
		azimuth, s float64
	}{{LatLon{0, 0}, 90, inf}, {LatLon{0, 0}, nan, 1}, {LatLon{0, 0}, inf, 1}, {LatLon{nan, 0}, 1, 1}, {LatLon{91, 0}, 1, 1}} {
		if p, azimuth := WGS84.Direct(c.from, c.azimuth, c.s); !math.IsNaN(p.LatDeg) || !math.IsNaN(p.LonDeg) || !math.IsNaN(azimuth) {
			t.Errorf("Direct(%v, %v, %v) = %v, %v, want NaN", c.from, c.azimuth, c.s, p, azimuth)
		}
	}
}

// TestNoAllocation guards what the survey's inner loop relies on.
func TestNoAllocation(t *testing.T) {
	var sink float64
	allocations := testing.AllocsPerRun(100, func() {
		a, line := WGS84.InverseLine(LatLon{10, 20}, LatLon{11, 23})
		p, _ := line.At(a.DistanceM / 2)
		_, h := WGS84.ToGeodetic(WGS84.ToCartesian(p, 100))
		sink += h
	})
	if allocations != 0 {
		t.Errorf("%v allocations, want none (%v)", allocations, sink)
	}
}
