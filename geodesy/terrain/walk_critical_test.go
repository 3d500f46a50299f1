package terrain

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/geoid"
)

// q(x) is the same from either end, so a line and its reverse have one k_c and one grazing point.
func TestCriticalFromEitherEnd(t *testing.T) {
	w := bordersWalker(t)
	var worst float64
	for _, l := range randomLines(t, w, bordersHills(t), lineCount(1000), 30) {
		height := math.Max(l.From.HeightM, l.To.HeightM)
		for _, heights := range [][2]float64{{height, height}, {l.From.HeightM, l.To.HeightM}} {
			from, to := l.From, l.To
			from.HeightM, to.HeightM = heights[0], heights[1]
			there, err1 := NewLine(from, to)
			back, err2 := NewLine(to, from)
			if err := errors.Join(err1, err2); err != nil {
				t.Fatal(err)
			}
			a, err1 := w.Critical(there, FillSea, 200, math.Inf(1))
			b, err2 := w.Critical(back, FillSea, 200, math.Inf(1))
			if err := errors.Join(err1, err2); err != nil {
				t.Fatal(err)
			}
			relative := math.Abs(a.K-b.K) / math.Max(1, math.Abs(a.K))
			worst = math.Max(worst, relative)
			if relative > 1e-9 || math.Abs(a.AtM+b.AtM-l.DistanceM) > 0.01 || math.Abs(a.KBeyond1km-b.KBeyond1km) > 1e-9*math.Max(1, math.Abs(a.KBeyond1km)) {
				t.Errorf("%v to %v, %v m: k_c %.12f at %.3f m, from the other end %.12f at %.3f of %.3f m", from.At, to.At, heights, a.K, a.AtM, b.K, b.AtM, l.DistanceM)
			}
		}
	}
	t.Logf("worst relative difference %.1e", worst)
}

// Raising ground never lowers k_c, and lowering it never raises k_c.
func TestCriticalWithRaisedGround(t *testing.T) {
	random := rand.New(rand.NewPCG(12, 1))
	w := bordersWalker(t)
	lines := randomLines(t, w, bordersHills(t), lineCount(300), 30)
	for _, sign := range []int{1, -1} {
		files := map[string][]byte{}
		for _, name := range []string{"N55W003", "N55W004"} {
			posts := readSample(t, name).Posts
			raised := make([]int16, len(posts))
			for i, h := range posts {
				// Blocks of posts, so that whole ridges rise, and single ones.
				if h != Void && (i/40%7 == 0 || random.IntN(50) == 0) {
					h += int16(sign * random.IntN(40))
				}
				raised[i] = h
			}
			files[name+".hgt"] = encode(raised)
		}
		other := madeWalker(t, files, StoreOptions{}, w.geoid)
		changed := 0
		for _, l := range lines {
			before, err1 := w.Critical(l, FillSea, 200, math.Inf(1))
			after, err2 := other.Critical(l, FillSea, 200, math.Inf(1))
			if err := errors.Join(err1, err2); err != nil {
				t.Fatal(err)
			}
			difference := float64(sign) * (after.K - before.K)
			if difference < -1e-12*math.Max(1, math.Abs(before.K)) {
				t.Errorf("%v to %v: ground changed by %+d × 0…40 m takes k_c from %.9f to %.9f", l.From.At, l.To.At, sign, before.K, after.K)
			}
			if difference > 1e-6 {
				changed++
			}
		}
		if changed < len(lines)/4 {
			t.Errorf("only %d of %d lines changed", changed, len(lines))
		}
	}
}

// The walk that may stop early says the same as the one to the end: stopped only above the bound, and then with a lower bound of k_c.
func TestCriticalStopsEarly(t *testing.T) {
	w := bordersWalker(t)
	stopped, walked := 0, 0
	for _, l := range randomLines(t, w, bordersHills(t), lineCount(2000), 30) {
		full, err := w.Critical(l, FillSea, 200, math.Inf(1))
		if err != nil {
			t.Fatal(err)
		}
		for _, bound := range []float64{-0.5, 0, 0.143, 0.343} {
			early, err := w.Critical(l, FillSea, 200, bound)
			if err != nil {
				t.Fatal(err)
			}
			switch {
			case early.Stopped && !(early.K > bound && early.K <= full.K+1e-6*math.Max(1, math.Abs(full.K))):
				t.Errorf("%v to %v, bound %v: stopped at k_c ≥ %.9f, but it is %.9f", l.From.At, l.To.At, bound, early.K, full.K)
			case !early.Stopped && (early.K != full.K || early.AtM != full.AtM || early.K > bound):
				t.Errorf("%v to %v, bound %v: walked to the end, k_c %.9f at %.3f m, but without a bound %.9f at %.3f m", l.From.At, l.To.At, bound, early.K, early.AtM, full.K, full.AtM)
			}
			if early.Stopped {
				stopped++
			} else {
				walked++
			}
		}
	}
	if stopped == 0 || walked == 0 {
		t.Errorf("%d stopped, %d walked: want both", stopped, walked)
	}
}

func TestCriticalRefusesShortLines(t *testing.T) {
	w := seaWalker(t)
	from := geodesy.LatLon{LatDeg: -30, LonDeg: -120}
	tests := []struct {
		lengthM, guardM float64
		tooClose        bool
	}{{400, 200, true}, {399, 200, true}, {401, 200, false}, {1500, 1000, true}, {30000, 0, false}}
	for _, test := range tests {
		l := seaLine(t, w, from, 45, test.lengthM-1e-6, 10, 10)
		_, err1 := w.Critical(l, FillSea, test.guardM, math.Inf(1))
		_, err2 := w.Section(l, FillSea, test.guardM, nil)
		if errors.Is(err1, ErrTooClose) != test.tooClose || errors.Is(err2, ErrTooClose) != test.tooClose {
			t.Errorf("%v m long, guard %v m: Critical gives %v, Section %v; want too close: %v", test.lengthM, test.guardM, err1, err2, test.tooClose)
		}
	}
	// Shorter than 2 km there is no ground beyond 1 km of both ends.
	for lengthM, want := range map[float64]bool{1990: true, 2010: false} {
		c, err := w.Critical(seaLine(t, w, from, 45, lengthM, 10, 10), FillSea, 200, math.Inf(1))
		if err != nil || math.IsNaN(c.KBeyond1km) != want {
			t.Errorf("%v m long: k_c beyond 1 km is %v (%v)", lengthM, c.KBeyond1km, err)
		}
	}
}

// Over open sea between two ends at one height h, the ray that grazes half-way has chord less sea h − s²/8R there: k_c = 1 − 8Rh/s².
func TestCriticalOverSeaByHand(t *testing.T) {
	w := seaWalker(t)
	tests := []struct{ km, heightM float64 }{{50, 20}, {100, 100}, {100, 200}, {200, 600}, {300, 1000}}
	for _, test := range tests {
		l := seaLine(t, w, geodesy.LatLon{LatDeg: -35, LonDeg: -125}, 60, test.km*1000, test.heightM, test.heightM)
		c, err := w.Critical(l, FillSea, 200, math.Inf(1))
		if err != nil {
			t.Fatal(err)
		}
		want := 1 - 8*l.RadiusM*test.heightM/(l.DistanceM*l.DistanceM)
		if math.Abs(c.K-want) > 1e-3 || math.Abs(c.AtM-l.DistanceM/2) > 2000 {
			t.Errorf("%v km of sea between two heights of %v m: k_c %.5f at %.0f m, want %.5f half-way", test.km, test.heightM, c.K, c.AtM, want)
		}
	}
}

// More refraction shows more: the cut height falls with k without exception. The obscured height falls too, but for stretches whose
// length passes a threshold.
func TestViewFallsWithK(t *testing.T) {
	w := bordersWalker(t)
	lines, steps, jumps := 0, 0, 0
	for _, l := range randomLines(t, w, bordersHills(t), lineCount(6000), 30) {
		section, err := w.Section(l, FillSea, 200, nil)
		if err != nil {
			t.Fatal(err)
		}
		if section.CriticalK > 0.3 {
			continue // most are, and their obscured height is the rim at every k
		}
		lines++
		before := section.View(Model{K: -0.3})
		for i := 1; i <= 40; i++ {
			k := -0.3 + 0.02*float64(i)
			v := section.View(Model{K: k})
			if v.CutM >= before.CutM || v.RimM >= before.RimM || v.ElevationRad <= before.ElevationRad {
				t.Errorf("%v to %v: from k %.2f to %.2f cut height goes from %.4f to %.4f m, rim from %.4f to %.4f m, elevation from %.6f to %.6f rad",
					l.From.At, l.To.At, k-0.02, k, before.CutM, v.CutM, before.RimM, v.RimM, before.ElevationRad, v.ElevationRad)
			}
			if v.Obscured {
				steps++
				if !before.Obscured || v.ObscuredM > before.ObscuredM+1e-6 {
					jumps++
				}
			}
			before = v
		}
	}
	t.Logf("%d lines, %d steps of 0.02 in k: the obscured height rose at %d", lines, steps, jumps)
	if lines < 20 || steps < 500 || jumps*100 > steps {
		t.Errorf("the obscured height of %d lines rose at %d of %d steps in k, want at most one in a hundred", lines, jumps, steps)
	}
}

// The verdict's one rule: the top is in view at k exactly when k ≥ k_c, by margin and by view.
func TestViewAgreesWithCritical(t *testing.T) {
	w := bordersWalker(t)
	for _, l := range randomLines(t, w, bordersHills(t), lineCount(1000), 30) {
		section, err := w.Section(l, FillSea, 200, nil)
		if err != nil {
			t.Fatal(err)
		}
		critical, err := w.Critical(l, FillSea, 200, math.Inf(1))
		if err != nil {
			t.Fatal(err)
		}
		kc := section.CriticalK
		// The walk between the guards begins inside a cell, whose path it then takes for straight from there on: 0.1 mm of ground.
		if math.Abs(kc-critical.K) > 2e-5*math.Max(1, math.Abs(kc)) {
			t.Errorf("%v to %v: k_c of the section %.10f, of the walk %.10f", l.From.At, l.To.At, kc, critical.K)
		}
		for _, off := range []float64{-0.1, -1e-4, 1e-4, 0.1} {
			v := section.View(Model{K: kc + off})
			margin, _ := section.Margin(Model{K: kc + off})
			// The angles of foot and top know Euler's radius, not the chord, and may differ by a second of arc at the very edge.
			edge := off > 0 && off < 1e-3
			if (margin >= 0) != (off > 0) || !edge && (v.PartInView == 0) != (off < 0) || off < 0 && !v.Obscured {
				t.Errorf("%v to %v at k_c%+v: margin %.3g rad, part in view %.4f, obscured %v", l.From.At, l.To.At, off, margin, v.PartInView, v.Obscured)
			}
			if !(v.PartInView >= 0 && v.PartInView <= 1) {
				t.Errorf("%v to %v at k_c%+v: part in view %v", l.From.At, l.To.At, off, v.PartInView)
			}
		}
	}
}

// The plane is the curved model at k = 1 but for the geoid and for distances that grow with height: held against the straight chord in
// Earth-centred coordinates, whose ray of k = 1 starts s/2R higher, its elevation is off by Δh(h₁+h₂)/(2Rs).
func TestPlaneIsNearlyCurvedAtOne(t *testing.T) {
	w := seaWalker(t)
	const arcsec = math.Pi / 180 / 3600
	tests := []struct {
		km, eyeM, topM float64
		limitArcsec    float64
	}{
		// Up to 1,500 m within 1″ from 50 to 300 km; up to 4,500 m within 6.6″ at 50 km, 2″ at 300 km.
		{50, 10, 1500, 1}, {100, 10, 1500, 1}, {200, 10, 1500, 1}, {300, 10, 1500, 1}, {50, 1500, 1500, 1},
		{50, 0, 4500, 6.6}, {100, 0, 4500, 3.5}, {200, 0, 4500, 2}, {300, 0, 4500, 2}, {300, 4500, 1500, 2},
	}
	for _, test := range tests {
		l := seaLine(t, w, geodesy.LatLon{LatDeg: -40, LonDeg: -120}, 70, test.km*1000, test.eyeM, test.topM)
		section, err := w.Section(l, FillSea, 200, nil)
		if err != nil {
			t.Fatal(err)
		}
		plane, curved := section.View(Model{Plane: true}), section.View(Model{K: 1})
		if math.Abs(plane.ElevationRad-curved.ElevationRad) > 1e-12 || math.Abs(plane.CutM-curved.CutM) > 1e-6 || plane.Obscured != curved.Obscured {
			t.Errorf("%v km, %v to %v m: plane %+v, curved at k = 1 without a geoid %+v", test.km, test.eyeM, test.topM, plane, curved)
		}
		p1 := geodesy.WGS84.ToCartesian(l.From.At, test.eyeM)
		chord := geodesy.WGS84.ToCartesian(l.To.At, test.topM).Sub(p1)
		exact := math.Asin(chord.Dot(verticalAt(l.From.At))/chord.Norm()) + l.DistanceM/(2*l.RadiusM)
		difference := plane.ElevationRad - exact
		first := (test.topM - test.eyeM) * (test.eyeM + test.topM) / (2 * l.RadiusM * l.DistanceM)
		t.Logf("%3.0f km, %4.0f to %4.0f m: plane is %+.2f″ off, Δh(h₁+h₂)/2Rs = %+.2f″", test.km, test.eyeM, test.topM, difference/arcsec, first/arcsec)
		if math.Abs(difference) > test.limitArcsec*arcsec {
			t.Errorf("%v km, %v to %v m: plane is %.2f″ off the chord's ray at k = 1, want %v″ at most", test.km, test.eyeM, test.topM, difference/arcsec, test.limitArcsec)
		}
	}
}

// Under rough ground the same: without a geoid views agree to rounding, and margins, of which the curved one is measured along the
// chord, to seconds.
func TestPlaneIsNearlyCurvedAtOneOnBorders(t *testing.T) {
	w := bordersWalker(t)
	w.geoid, w.cell = geoid.Ellipsoid(), geoid.Ellipsoid().Cell(0, 0)
	const arcsec = math.Pi / 180 / 3600
	var worst float64
	obscured := 0
	for _, l := range randomLines(t, w, bordersHills(t), lineCount(500), 30) {
		section, err := w.Section(l, FillSea, 200, nil)
		if err != nil {
			t.Fatal(err)
		}
		plane, curved := section.View(Model{Plane: true}), section.View(Model{K: 1})
		if plane.Obscured && curved.Obscured {
			obscured++
			if math.Abs(plane.ObscuredM-curved.ObscuredM) > 1e-3 || math.Abs(plane.CutM-curved.CutM) > 1e-6 || math.Abs(plane.PartInView-curved.PartInView) > 1e-6 {
				t.Errorf("%v to %v: plane %+v, curved at k = 1 %+v", l.From.At, l.To.At, plane, curved)
			}
		}
		margin1, at1 := section.Margin(Model{Plane: true})
		margin2, at2 := section.Margin(Model{K: 1})
		worst = math.Max(worst, math.Abs(margin1-margin2)/arcsec)
		if math.Abs(margin1-margin2) > 5*arcsec+1e-3*math.Abs(margin1) {
			t.Errorf("%v to %v: margin on the plane %.2f″ at %.0f m, curved at k = 1 %.2f″ at %.0f m", l.From.At, l.To.At, margin1/arcsec, at1, margin2/arcsec, at2)
		}
	}
	t.Logf("%d obscured heights; worst difference of margins %.2f″", obscured, worst)
}

// The quick look that says what the plane hides must never hide what the whole walk shows.
func TestPlaneShowsMissesNothing(t *testing.T) {
	w := bordersWalker(t)
	shown, spared := 0, 0
	for _, l := range randomLines(t, w, bordersHills(t), lineCount(2000), 10) {
		section, err := w.Section(l, FillSea, 200, nil)
		if err != nil {
			t.Fatal(err)
		}
		margin, _ := section.Margin(Model{Plane: true})
		quick := w.PlaneShows(l, 200)
		if margin > 0 {
			shown++
			if !quick {
				t.Errorf("%v to %v: the plane shows the top by %.3g rad, the quick look says it does not", l.From.At, l.To.At, margin)
			}
		} else if !quick {
			spared++
		}
	}
	if shown == 0 || spared == 0 {
		t.Errorf("%d shown, %d spared a walk: want both", shown, spared)
	}
}

// Lines to, from and over a pole end, and cover their length but for a metre beside the pole.
func TestWalkAtThePoles(t *testing.T) {
	w := seaWalker(t)
	ends := []geodesy.LatLon{{LatDeg: 90}, {LatDeg: 90, LonDeg: 77}, {LatDeg: 89.3, LonDeg: 10}, {LatDeg: 89.3, LonDeg: -170}, {LatDeg: 89.5, LonDeg: 180},
		{LatDeg: 89.5, LonDeg: -180}, {LatDeg: 89, LonDeg: 90}, {LatDeg: 89}, {LatDeg: 89.9999, LonDeg: 3}, {LatDeg: 89.7, LonDeg: -176.9999}}
	for _, sign := range []float64{1, -1} {
		for i, from := range ends {
			for j, to := range ends {
				from, to := geodesy.LatLon{LatDeg: sign * from.LatDeg, LonDeg: from.LonDeg}, geodesy.LatLon{LatDeg: sign * to.LatDeg, LonDeg: to.LonDeg}
				if i == j || geodesy.WGS84.Inverse(from, to).DistanceM < 2000 {
					continue
				}
				l, err := NewLine(w.end(from, 500), w.end(to, 900))
				if err != nil {
					t.Fatal(err)
				}
				length, last := 0.0, 0.0
				w.Walk(l, FillSea, 0, l.DistanceM, func(p *Piece) bool {
					length += p.W
					if p.X < last-1e-6 {
						t.Errorf("%v to %v: a piece at %.3f m after one that ends at %.3f m", from, to, p.X, last)
						return false
					}
					last = p.X + p.W
					return true
				})
				if math.Abs(length-l.DistanceM) > 1 {
					t.Errorf("%v to %v: pieces cover %.3f of %.3f m", from, to, length, l.DistanceM)
				}
			}
		}
	}
}
