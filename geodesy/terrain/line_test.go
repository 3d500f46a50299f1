package terrain

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
)

// exactTrack is the line computed point by point, without polynomials.
func exactTrack(l *Line) *track {
	_, geodesic := geodesy.WGS84.InverseLine(l.From.At, l.To.At)
	p1 := geodesy.WGS84.ToCartesian(l.From.At, l.From.HeightM+l.From.UndulationM)
	chord := geodesy.WGS84.ToCartesian(l.To.At, l.To.HeightM+l.To.UndulationM).Sub(p1)
	return &track{line: &geodesic, p1: p1, chord: chord, s: l.DistanceM, end: l.To.At, chordM: chord.Norm()}
}

// worldLine is a line given by its start, azimuth and length.
type worldLine struct {
	name       string
	from       geodesy.LatLon
	azimuthDeg float64
	km         float64
}

func (l worldLine) build(tb testing.TB, eyeM, topM float64) *Line {
	tb.Helper()
	to, _ := geodesy.WGS84.Direct(l.from, l.azimuthDeg, l.km*1000)
	line, err := NewLine(End{At: l.from, HeightM: eyeM}, End{At: to, HeightM: topM})
	if err != nil {
		tb.Fatalf("%s: %v", l.name, err)
	}
	return line
}

func worldLines() []worldLine {
	at := func(lat, lon float64) geodesy.LatLon { return geodesy.LatLon{LatDeg: lat, LonDeg: lon} }
	lines := []worldLine{
		{"shortest", at(47, 8), 33, 2},
		{"due north", at(47, 8.5), 0, 300},
		{"due south", at(-30, 151), 180, 300},
		{"due east at the start", at(60, 25), 90, 500},
		{"due west at the start", at(-45, 170), 270, 500},
		{"along the equator, east", at(0, -78), 90, 400},
		{"along the equator, west, across the prime meridian", at(0, 1), 270, 400},
		{"across the equator", at(-1.2, 36.8), 20, 350},
		{"across the date line, east", at(-17, 179), 80, 500},
		{"across the date line, west", at(65, -179), 280, 500},
		{"along the date line", at(60, 180), 0, 300},
		{"at 85° N", at(85, 30), 75, 400},
		{"northernmost place inside", at(70, 20), 80, 800},
		{"southernmost place inside", at(-70, 20), 100, 800},
		{"past the north pole, 50 km off", at(88, 10), 12, 600},
		{"past the south pole, 20 km off", at(-88.5, 100), 183, 500},
		{"past the north pole, 300 m off", at(89, 10), 0.15, 300},
		{"over the north pole", at(89, 10), 0, 300},
		{"from the south pole", at(-90, 0), 30, 250},
		{"to the north pole", at(88, -100), 0, 223.388},
		{"longest", at(20, 100), 310, 800},
	}
	random := rand.New(rand.NewPCG(3, 14))
	for range 40 {
		lat := math.Asin(2*random.Float64()-1) * 180 / math.Pi
		lines = append(lines, worldLine{"random", at(lat, 360*random.Float64()-180), 360 * random.Float64(), 2 + 798*random.Float64()})
	}
	return lines
}

func TestLinePolynomials(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 9))
	var worstPlace, worstHeight float64
	arcs := 0
	for _, w := range worldLines() {
		for _, heights := range [][2]float64{{2, 1500}, {8000, 0}} {
			l := w.build(t, heights[0], heights[1])
			exact := exactTrack(l)
			arcs = max(arcs, len(l.arcs))
			for range 1000 {
				x := l.DistanceM * random.Float64()
				want := exact.node(x)
				at, chordM := l.At(x)
				// Straight distance between the two places, in Earth-centred coordinates: no care is needed at the poles.
				place := geodesy.WGS84.ToCartesian(at, 0).Sub(geodesy.WGS84.ToCartesian(want.at, 0)).Norm()
				height := math.Abs(chordM - want.height)
				limit := 10e-6
				if 90-math.Abs(want.at.LatDeg) < 1.2*arcLeastM/111e3 {
					limit = 1 // longitude turns within metres there
				} else {
					worstPlace = math.Max(worstPlace, place)
				}
				worstHeight = math.Max(worstHeight, height)
				if place > limit || height > 3e-6 {
					t.Fatalf("%s, %.0f km, heights %v: At(%.3f) is off by %.2g m in place and %.2g m in the chord's height", w.name, w.km, heights, x, place, height)
				}
			}
		}
	}
	t.Logf("worst place %.1f µm, worst chord height %.2f µm, at most %d arcs", worstPlace*1e6, worstHeight*1e6, arcs)
}

// The chord's height must be that of the chord's own points over the ellipsoid, though each of those stands a little beside the geodesic.
func TestLineChordStandsOverTheGeodesic(t *testing.T) {
	var worst float64
	for _, w := range worldLines() {
		l := w.build(t, 2, 3000)
		exact := exactTrack(l)
		for i := 1; i < 50; i++ {
			at, h := geodesy.WGS84.ToGeodetic(exact.p1.Add(exact.chord.Scale(float64(i) / 50)))
			x := geodesy.WGS84.Inverse(l.From.At, at).DistanceM
			_, got := l.At(x)
			worst = math.Max(worst, math.Abs(got-h))
			if math.Abs(got-h) > 1e-6 {
				t.Fatalf("%s, %.0f km: chord at %.1f m is %.7f m over the ellipsoid, want %.7f m", w.name, w.km, x, got, h)
			}
		}
	}
	t.Logf("worst %.1f µm", worst*1e6)
}

func TestLineEnds(t *testing.T) {
	for _, w := range worldLines() {
		l := w.build(t, 100, 900)
		route := geodesy.WGS84.Inverse(l.From.At, l.To.At)
		if l.DistanceM != route.DistanceM || l.AzimuthDeg != route.AzimuthDeg || l.BackAzimuthDeg != route.BackAzimuthDeg() {
			t.Errorf("%s: %v m, %v°, back %v°; the geodesic has %v m, %v°, back %v°", w.name,
				l.DistanceM, l.AzimuthDeg, l.BackAzimuthDeg, route.DistanceM, route.AzimuthDeg, route.BackAzimuthDeg())
		}
		if math.Abs(l.DistanceM-w.km*1000) > 1e-6 {
			t.Errorf("%s: %v m long, want %v km", w.name, l.DistanceM, w.km)
		}
		reverse := geodesy.WGS84.Inverse(l.To.At, l.From.At)
		if d := math.Abs(math.Mod(reverse.AzimuthDeg-l.BackAzimuthDeg+540, 360) - 180); d > 1e-8 {
			t.Errorf("%s: back azimuth %v°, but from the other end it is %v°", w.name, l.BackAzimuthDeg, reverse.AzimuthDeg)
		}
		for _, end := range []struct {
			x float64
			e End
		}{{0, l.From}, {l.DistanceM, l.To}} {
			at, chordM := l.At(end.x)
			off := geodesy.WGS84.ToCartesian(at, chordM).Sub(geodesy.WGS84.ToCartesian(end.e.At, end.e.HeightM)).Norm()
			if off > 1e-6 {
				t.Errorf("%s: At(%v) is %.2g m off the end", w.name, end.x, off)
			}
		}
		_, geodesic := geodesy.WGS84.InverseLine(l.From.At, l.To.At)
		middle, azimuth := geodesic.At(l.DistanceM / 2)
		if want := geodesy.WGS84.EulerRadiusM(middle.LatDeg, azimuth); math.Abs(l.RadiusM-want) > 1e-3 {
			t.Errorf("%s: radius %.4f m, want %.4f m", w.name, l.RadiusM, want)
		}
		if first, last := l.arcs[0].x0, l.arcs[len(l.arcs)-1].x1; first != 0 || math.Abs(last-l.DistanceM) > 1e-9 {
			t.Errorf("%s: arcs from %v to %v m, want 0 to %v m", w.name, first, last, l.DistanceM)
		}
		for i := 1; i < len(l.arcs); i++ {
			if l.arcs[i].x0 != l.arcs[i-1].x1 {
				t.Errorf("%s: arc %d begins at %v m, the one before ends at %v m", w.name, i, l.arcs[i].x0, l.arcs[i-1].x1)
			}
		}
	}
}

// The lift is that of a parabola through both ends whose curvature is k/R: k·s²/8R in the middle.
func TestLineLift(t *testing.T) {
	l := worldLine{"", geodesy.LatLon{LatDeg: 50, LonDeg: 10}, 45, 100}.build(t, 0, 0)
	tests := []struct{ k, x, want float64 }{
		{0.143, 50e3, 0.143 * 1e10 / (8 * l.RadiusM)},
		{0.143, 0, 0},
		{0.143, l.DistanceM, 0},
		{-1, 25e3, -0.75 * 1e10 / (8 * l.RadiusM)}, // a quarter of the way: 4·¼·¾ of the lift in the middle
		{0, 40e3, 0},
	}
	for _, test := range tests {
		if got := l.LiftM(test.k, test.x); math.Abs(got-test.want) > 1e-6 {
			t.Errorf("LiftM(%v, %v m) = %v m, want %v m", test.k, test.x, got, test.want)
		}
	}
}

func TestLineRefused(t *testing.T) {
	here := geodesy.LatLon{LatDeg: 47, LonDeg: 8}
	tests := []struct {
		name     string
		from, to geodesy.LatLon
		tooClose bool
	}{
		{"one place", here, here, true},
		{"one place, a turn apart", here, geodesy.LatLon{LatDeg: 47, LonDeg: 368}, true},
		{"half a metre apart", here, geodesy.LatLon{LatDeg: 47 + 0.5/111e3, LonDeg: 8}, true},
		{"both at the pole, on other meridians", geodesy.LatLon{LatDeg: 90, LonDeg: 10}, geodesy.LatLon{LatDeg: 90, LonDeg: 100}, true},
		{"antipodes", here, geodesy.LatLon{LatDeg: -47, LonDeg: -172}, false},
		{"6,000 km apart", here, geodesy.LatLon{LatDeg: -7, LonDeg: 8}, false},
		{"no number", here, geodesy.LatLon{LatDeg: math.NaN(), LonDeg: 8}, true},
		{"latitude out of range", here, geodesy.LatLon{LatDeg: 91, LonDeg: 8}, true},
	}
	for _, test := range tests {
		l, err := NewLine(End{At: test.from, HeightM: 10}, End{At: test.to, HeightM: 20})
		if err == nil || l != nil || errors.Is(err, ErrTooClose) != test.tooClose {
			t.Errorf("%s: NewLine gives %v, %v; want an error, too close: %v", test.name, l, err, test.tooClose)
		}
	}
}

// A line that is used again must hold nothing of the one before.
func TestLineReset(t *testing.T) {
	var reused Line
	for _, w := range worldLines() {
		fresh := w.build(t, 10, 2000)
		if err := reused.Reset(fresh.From, fresh.To); err != nil {
			t.Fatal(err)
		}
		for i := range 20 {
			x := fresh.DistanceM * float64(i) / 19
			at1, c1 := fresh.At(x)
			at2, c2 := reused.At(x)
			if at1 != at2 || c1 != c2 || len(fresh.arcs) != len(reused.arcs) {
				t.Fatalf("%s: At(%v) = %v, %v when reused, %v, %v when new", w.name, x, at2, c2, at1, c1)
			}
		}
	}
}
