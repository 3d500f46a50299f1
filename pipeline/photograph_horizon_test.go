package pipeline

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// TestWeighHorizon: of a sea horizon against the camera's own level each model has its chance, and air that is known too badly leaves the picture undecided. The dip
// is √(2h(1−k)/R), with R = 6371 km (common practice, no source).
func TestWeighHorizon(t *testing.T) {
	const eyeM, focalPx = 100, 20_000
	for _, test := range []struct {
		name          string
		curvature     float64
		lowKSD        float64
		outcome       string
		planeSD, chi2 float64 // of the curvature from 0, of the plane: by hand
	}{
		// The ray's own k has to be wrong by all of the curvature: (0.83/0.15)².
		{"curved", 0.83, 0.15, WeighedCurved, 0.83 / 0.15, (0.83 - 0.027) / 0.15 * (0.83 - 0.027) / 0.15},
		{"plane", 0, 0.15, WeighedPlane, 0, 0},
		{"air that is hardly known", 0.83, 1, WeighedCannotTell, 0.83, 0.8 * 0.8},
	} {
		t.Run(test.name, func(t *testing.T) {
			m := newMadePhotograph(7, 0)
			m.eyeM = eyeM
			horizonPx := 800 + focalPx*math.Sqrt(2*eyeM*test.curvature/6.371e6)
			m.edit = func([]string) []string {
				rows := []string{"a,level,1000,800,0.5", "b,level,5000,800,0.5"}
				for i, offPx := range []float64{0.2, -0.3, 0.1} {
					rows = append(rows, fmt.Sprintf(",sea_horizon,%d,%.2f,0.5", 1000+2000*i, horizonPx+offPx))
				}
				return rows
			}
			o := m.write(t)
			o.FocalPx, o.FocalSD, o.LowKSD = focalPx, 0.001, test.lowKSD
			o.Cameras[0].EyeHeightM = eyeM
			w, err := Weigh(t.Context(), o)
			if err != nil {
				t.Fatal(err)
			}
			plane := w.model(ModelPlane)
			if w.Outcome != test.outcome || w.PlaneSD == nil || math.Abs(*w.PlaneSD-test.planeSD) > 0.35 || math.Abs(plane.Chi2-test.chi2) > 4 {
				t.Errorf("%s, plane at %v standard deviations with χ² %.2f, want %s, %.1f and %.1f: %q", w.Outcome, w.PlaneSD, plane.Chi2, test.outcome, test.planeSD, test.chi2, w.Sentences)
			}
		})
	}
}

// TestWeighHorizonBesideTops: among tops the horizon's own air gives every model the same way out, which costs the plane (0.83/0.15)² and no more.
func TestWeighHorizonBesideTops(t *testing.T) {
	for _, withHorizon := range []bool{true, false} {
		m := newMadePhotograph(7, 0.857)
		m.rollDeg, m.tiltDeg = 0, 0
		m.edit = func(rows []string) []string {
			if !withHorizon {
				return rows
			}
			yPx := 800 + m.focalPx*math.Sqrt(2*m.eyeM*0.83/6.371e6)
			return append(rows, fmt.Sprintf(",sea_horizon,1000,%.1f,0.5", yPx), fmt.Sprintf(",sea_horizon,5000,%.1f,0.5", yPx))
		}
		w, err := Weigh(t.Context(), m.write(t))
		if err != nil {
			t.Fatal(err)
		}
		// By hand: 1217 from the tops alone, and some 31 for the horizon.
		if chi2 := w.model(ModelPlane).Chi2; w.Outcome != WeighedCurved || math.Abs(chi2-1217) > 60 {
			t.Errorf("horizon %v: %s, the plane's χ² is %.0f, want about 1217", withHorizon, w.Outcome, chi2)
		}
	}
}

// TestWeighWords: a name that begins with a letter of two bytes stays whole, and what stands higher is said to.
func TestWeighWords(t *testing.T) {
	m := newMadePhotograph(7, 0)
	w, err := Weigh(t.Context(), m.write(t))
	if err != nil {
		t.Fatal(err)
	}
	if text := strings.Join(w.Sentences, " "); !strings.Contains(text, "15 ± 19 m higher than a plane") || !strings.Contains(text, "it would need k = 1.019 ± 0.024") {
		t.Errorf("sentences are %q, want what stands higher, and the k of a curved Earth", text)
	}
	m = newMadePhotograph(7, 0.857)
	m.tops[6].name = "Ätran"
	m.edit = func(rows []string) []string {
		rows[len(rows)-1] = "Ätran,top,900,400,0.5"
		return rows
	}
	if w, err = Weigh(t.Context(), m.write(t)); err != nil {
		t.Fatal(err)
	}
	if text := strings.Join(w.Sentences, " "); !strings.Contains(text, " Ätran looks wrongly named") {
		t.Errorf("sentences are %q, want Ätran", text)
	}
}
