package pipeline

import (
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// TestResectOnASummit: a camera on a steep hill is found, though the ground falls away by more than its height is known where the first guess lies. The tile
// has a cone under the camera, 600 m high and 3 km wide.
func TestResectOnASummit(t *testing.T) {
	const n, footM, riseM, halfM = 1201, 38, 600, 1500.0
	found := 0
	for seed := range uint64(6) {
		m := newMadePhotograph(90+seed, 1-0.143)
		raw := make([]byte, 0, 2*n*n)
		for i := range n {
			for j := range n {
				at := geodesy.LatLon{LatDeg: -32 - float64(i)/(n-1), LonDeg: -124 + float64(j)/(n-1)}
				east, north := (at.LonDeg-m.place.LonDeg)*94_000, (at.LatDeg-m.place.LatDeg)*110_900
				h := footM + riseM*math.Max(0, 1-math.Hypot(east, north)/halfM)
				raw = binary.BigEndian.AppendUint16(raw, uint16(math.Round(h)))
			}
		}
		path := filepath.Join(t.TempDir(), "S33W124.hgt")
		if err := os.WriteFile(path, raw, 0o644); err != nil {
			t.Fatal(err)
		}
		o := m.write(t)
		o.Terrain = []terrain.Source{{Path: path}}
		o.FocalPx, o.FocalSD = m.focalPx*1.005, 0.01
		r, err := Resect(t.Context(), o)
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			continue
		}
		best := r.Places[0]
		away := geodesy.WGS84.Inverse(m.place, geodesy.LatLon{LatDeg: best.LatitudeDeg, LonDeg: best.LongitudeDeg})
		if best.P > 0.01 && away.DistanceM < 3*best.SemiMajorM && math.Abs(best.EyeHeightM-m.eyeM) < 5*best.EyeHeightSDM {
			found++
		} else {
			t.Logf("seed %d: %.0f m away, ellipse %.0f × %.0f m, eye %.0f ± %.0f m, probability %.3g", seed, away.DistanceM, best.SemiMajorM, best.SemiMinorM, best.EyeHeightM, best.EyeHeightSDM, best.P)
		}
	}
	if found < 6 {
		t.Errorf("%d of 6 places found", found)
	}
}

// TestPositionLines: of two tops in line, the nearer before the farther, the line of position is as sharp as s_n·s_f/(s_f − s_n) times the spread of their
// turn, and the turn is the one that was drawn.
func TestPositionLines(t *testing.T) {
	m := newMadePhotograph(77, 1-0.143)
	m.tops = append(m.tops, madeTop{"Before Dunmorrow", -0.95, 22_000, 700, false})
	o := m.write(t)
	o.FocalPx, o.FocalSD = m.focalPx, 0.01
	r, err := Resect(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range r.Lines {
		if l.Near != "Before Dunmorrow" || l.Far != "Dunmorrow" {
			continue
		}
		// Five metres each of both places, half a pixel at each end.
		sd := math.Hypot(math.Hypot(0.5, 0.5)/m.focalPx, math.Hypot(5.0/22_000, 5.0/109_000))
		if want := sd * 22_000 * 109_000 / (109_000 - 22_000); math.Abs(l.AcrossM/want-1) > 0.03 || math.Abs(l.TurnArcmin-0.05*60) > 4*l.TurnSDArcmin {
			t.Errorf("sharp to %.2f m, want %.2f m; turned by %.2f′ ± %.2f′, want 3′", l.AcrossM, want, l.TurnArcmin, l.TurnSDArcmin)
		}
		return
	}
	t.Errorf("no line of Before Dunmorrow and Dunmorrow among %+v", r.Lines)
}
