package terrain

import (
	"bufio"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/geoid"
)

// hill is a named summit of the Borders, as its gazetteer lists it.
type hill struct {
	name    string
	at      geodesy.LatLon
	heightM float64
}

const testdata = "../../testdata/"

func bordersHills(tb testing.TB) []hill {
	tb.Helper()
	file, err := os.Open(testdata + "dobih_slice_geonames_layout.tsv")
	if err != nil {
		tb.Fatal(err)
	}
	defer file.Close()
	var hills []hill
	for scanner := bufio.NewScanner(file); scanner.Scan(); {
		f := strings.Split(scanner.Text(), "\t")
		lat, err1 := strconv.ParseFloat(f[4], 64)
		lon, err2 := strconv.ParseFloat(f[5], 64)
		height, err3 := strconv.ParseFloat(f[15], 64)
		if err := errors.Join(err1, err2, err3); err != nil {
			tb.Fatal(err)
		}
		hills = append(hills, hill{f[1], geodesy.LatLon{LatDeg: lat, LonDeg: lon}, height})
	}
	return hills
}

func bordersWalker(tb testing.TB) *Walker {
	tb.Helper()
	return fileWalker(tb, testdata+"N55W003.hgt.zip", testdata+"N55W004.hgt.zip")
}

func fileWalker(tb testing.TB, paths ...string) *Walker {
	tb.Helper()
	var sources []Source
	for _, p := range paths {
		sources = append(sources, Source{Path: p})
	}
	index, err := Discover(sources)
	if err != nil {
		tb.Fatal(err)
	}
	grid, err := geoid.EGM96()
	if err != nil {
		tb.Fatal(err)
	}
	return NewWalker(NewStore(index, StoreOptions{MemoryBytes: 1 << 30}), grid, 0)
}

func (w *Walker) end(at geodesy.LatLon, heightM float64) End {
	return End{At: at, HeightM: heightM, UndulationM: w.geoid.UndulationM(at)}
}

// randomLines draws lines between hills at least minKM apart, from a fixed seed.
func randomLines(tb testing.TB, w *Walker, hills []hill, n int, minKM float64) []*Line {
	tb.Helper()
	random := rand.New(rand.NewPCG(20, 26))
	var lines []*Line
	for len(lines) < n {
		a, b := hills[random.IntN(len(hills))], hills[random.IntN(len(hills))]
		if geodesy.WGS84.Inverse(a.at, b.at).DistanceM < minKM*1000 {
			continue
		}
		l, err := NewLine(w.end(a.at, a.heightM+2), w.end(b.at, b.heightM))
		if err != nil {
			tb.Fatal(err)
		}
		lines = append(lines, l)
	}
	return lines
}

// twin is the slow twin: it walks along the straight chord itself in Earth-centred coordinates, asks the ellipsoid where each point
// stands and the geodesic how far that is, and reads the ground there. It shares no polynomial, cell or parabola with the walk.
type twin struct {
	w      *Walker
	l      *Line
	p1, p2 geodesy.Vector
}

func newTwin(w *Walker, l *Line) *twin {
	return &twin{w, l,
		geodesy.WGS84.ToCartesian(l.From.At, l.From.HeightM+l.From.UndulationM),
		geodesy.WGS84.ToCartesian(l.To.At, l.To.HeightM+l.To.UndulationM)}
}

// at returns distance, chord's height over the ellipsoid and ground over the geoid and the ellipsoid at the share t of the chord.
func (t *twin) at(share float64) (x, chordM, groundM, groundEllipsoidalM float64, ok bool) {
	at, h := geodesy.WGS84.ToGeodetic(t.p1.Add(t.p2.Sub(t.p1).Scale(share)))
	x = geodesy.WGS84.Inverse(t.l.From.At, at).DistanceM
	ground, ok := t.w.store.HeightM(at)
	return x, h, ground, ground + t.w.geoid.UndulationM(at), ok
}

// criticalK samples every stepM, then every 0.25 m around the extreme.
func (t *twin) criticalK(guardM, stepM float64) (k float64, ok bool) {
	s := t.l.DistanceM
	least, at := math.Inf(1), 0.0
	sample := func(share float64) bool {
		x, chord, _, ground, ok := t.at(share)
		if !ok {
			return false
		}
		if x < guardM || x > s-guardM {
			return true
		}
		if q := 2 * t.l.RadiusM * (chord - ground) / (x * (s - x)); q < least {
			least, at = q, share
		}
		return true
	}
	for share := guardM / s / 2; share < 1; share += stepM / s {
		if !sample(share) {
			return 0, false
		}
	}
	for centre, d := at, -2*stepM; d <= 2*stepM; d += 0.25 {
		if !sample(centre + d/s) {
			return 0, false
		}
	}
	return -least, true
}

// lineCount is how many lines a comparison with the twin takes: all of them where CI asks for it, a share for a quick run.
func lineCount(all int) int {
	if os.Getenv("CI") == "true" {
		return all
	}
	return all / 10
}

// The walk is exact within each cell, so sampling can only come out less extreme.
func TestCriticalAgainstTwin(t *testing.T) {
	w := bordersWalker(t)
	var worst, deepest float64
	compared := 0
	for _, guardM := range []float64{200, 1000} {
		for _, l := range randomLines(t, w, bordersHills(t), lineCount(500)/2, 30) {
			c, err := w.Critical(l, FillSea, guardM, math.Inf(1))
			if err != nil {
				t.Fatal(err)
			}
			k, ok := newTwin(w, l).criticalK(guardM, 2)
			if !ok {
				continue // a void: the twin has no fill
			}
			compared++
			relative := (c.K - k) / math.Max(1, math.Abs(k))
			worst, deepest = math.Max(worst, relative), math.Min(deepest, relative)
			// 20 µm of ground at the edge of the guard is 1e-5 in k: the chord's foot strays that far from the geodesic on a slope.
			if relative < -1e-5 || relative > 0.001 {
				t.Errorf("Critical(%.1f km from %v to %v, guard %v m).K = %.6f at %.1f m, twin has %.6f", l.DistanceM/1000, l.From.At, l.To.At, guardM, c.K, c.AtM, k)
			}
		}
	}
	if compared < lineCount(500)*9/10 {
		t.Errorf("only %d lines were compared", compared)
	}
	t.Logf("%d lines: walk minus twin, relative to max(1, |k_c|): greatest %.1e, least %.1e", compared, worst, deepest)
}

// An exact ray comparison: for a trial k, is the ray over all the ground? Bisection must find k_c.
func TestCriticalAgainstBisection(t *testing.T) {
	w := bordersWalker(t)
	for _, l := range randomLines(t, w, bordersHills(t), lineCount(200), 30) {
		c, err := w.Critical(l, FillSea, 200, math.Inf(1))
		if err != nil {
			t.Fatal(err)
		}
		section, err := w.Section(l, FillSea, 200, nil)
		if err != nil {
			t.Fatal(err)
		}
		lo, hi := -50.0, 50.0
		for range 60 {
			k := (lo + hi) / 2
			if margin, _ := section.Margin(Model{K: k}); margin >= 0 {
				hi = k
			} else {
				lo = k
			}
		}
		if math.Abs(hi-c.K) > 1e-6*math.Max(1, math.Abs(c.K)) {
			t.Errorf("%.1f km from %v to %v: bisection of the margin gives k_c %.8f, the walk %.8f", l.DistanceM/1000, l.From.At, l.To.At, hi, c.K)
		}
	}
}

// view finds front and foot by dense samples of the apparent elevation, from the exact angles at the eye.
func (t *twin) obscured(m Model, guardM, stepM, baseAtM float64) (obscuredM float64, obscured bool) {
	s := t.l.DistanceM
	up := verticalAt(t.l.From.At)
	elevation := func(x, groundEllipsoidalM, groundM float64, at geodesy.LatLon) float64 {
		if m.Plane {
			return math.Atan((groundM - t.l.From.HeightM) / x)
		}
		v := geodesy.WGS84.ToCartesian(at, groundEllipsoidalM).Sub(t.p1)
		// An arc of curvature k/R is tilted at its end against its chord by half its angle.
		return math.Asin(v.Dot(up)/v.Norm()) + m.K*v.Norm()/(2*t.l.RadiusM)
	}
	level, levelAt := math.Inf(-1), 0.0
	hidden := false
	_, line := geodesy.WGS84.InverseLine(t.l.From.At, t.l.To.At)
	sample := func(x float64) (groundM, e float64, ok bool) {
		at, _ := line.At(x)
		ground, ok := t.w.store.HeightM(at)
		return ground, elevation(x, ground+t.w.geoid.UndulationM(at), ground, at), ok
	}
	for x := guardM; x <= s; x += stepM {
		ground, e, ok := sample(x)
		if !ok {
			return 0, false
		}
		if e < level {
			hidden = true
			continue
		}
		if hidden && x > baseAtM && x-levelAt > math.Max(500, 0.01*s) {
			// Closer samples, since the ground may rise by metres between two.
			foot := ground
			for closer := x - stepM; closer < x; closer += 0.1 {
				if g, e, ok := sample(closer); ok && e >= level {
					foot = g
					break
				}
			}
			obscuredM, obscured = foot, true
		}
		hidden, level, levelAt = false, e, x
	}
	return obscuredM, obscured
}

func verticalAt(p geodesy.LatLon) geodesy.Vector {
	return geodesy.WGS84.ToCartesian(p, 1).Sub(geodesy.WGS84.ToCartesian(p, 0))
}

func TestObscuredAgainstTwin(t *testing.T) {
	w := bordersWalker(t)
	var differences []float64
	both, onlyOne := 0, 0
	for _, l := range randomLines(t, w, bordersHills(t), lineCount(5000), 30) {
		section, err := w.Section(l, FillSea, 200, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range []Model{{K: 0.143}, {K: 0}, {Plane: true}} {
			view := section.View(m)
			if margin, _ := section.Margin(m); margin < 0 || view.FootM == l.DistanceM {
				continue
			}
			height, obscured := newTwin(w, l).obscured(m, 200, 5, section.BaseAtM)
			switch {
			case obscured && view.Obscured:
				both++
				differences = append(differences, math.Abs(height-view.ObscuredM))
			case obscured != view.Obscured:
				onlyOne++
			}
		}
	}
	slices.Sort(differences)
	if both < 50 {
		t.Fatalf("only %d obscured heights were compared", both)
	}
	at95 := differences[len(differences)*95/100]
	t.Logf("%d obscured heights: 95 %% within %.3f m of the twin, greatest %.1f m; %d lines obscured in one only", both, at95, differences[len(differences)-1], onlyOne)
	if at95 > 1 {
		t.Errorf("95 %% of obscured heights lie within %.2f m of the twin, want 1 m", at95)
	}
	if onlyOne*50 > both {
		t.Errorf("%d of %d lines are obscured in one of the two only", onlyOne, both)
	}
}
