package terrain

import (
	"math"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/geoid"
)

// seaWalker has no tile at all, so open sea wherever the built-in mask has no land, and no undulation, which handbook formulas do not know.
func seaWalker(tb testing.TB) *Walker {
	tb.Helper()
	return NewWalker(NewStore(&Index{}, StoreOptions{}), geoid.Ellipsoid(), 0)
}

func seaLine(tb testing.TB, w *Walker, from geodesy.LatLon, azimuthDeg, distanceM, eyeM, topM float64) *Line {
	tb.Helper()
	to, _ := geodesy.WGS84.Direct(from, azimuthDeg, distanceM)
	l, err := NewLine(w.end(from, eyeM), w.end(to, topM))
	if err != nil {
		tb.Fatal(err)
	}
	return l
}

// Over plain sea the height cut off must be the handbook's R'(sec(θ−dip) − 1), on the sphere of Euler's radius.
func TestSeaAgainstHandbook(t *testing.T) {
	w := seaWalker(t)
	var worst float64
	for _, from := range []geodesy.LatLon{{LatDeg: -30, LonDeg: -120}, {LatDeg: 0.5, LonDeg: -140}, {LatDeg: 45, LonDeg: -38}, {LatDeg: -58, LonDeg: -130}} {
		for _, azimuthDeg := range []float64{0, 37, 90, 200, 300} {
			for _, eyeM := range []float64{2, 30, 400} {
				for _, km := range []float64{20, 50, 100, 150, 200, 250, 300} {
					for _, k := range []float64{0, 0.143, 0.223} {
						l := seaLine(t, w, from, azimuthDeg, km*1000, eyeM, 6000)
						_, horizonM, err := geodesy.SeaHorizon(eyeM, l.RadiusM, k)
						if err != nil {
							t.Fatal(err)
						}
						if horizonM > 0.9*l.DistanceM {
							continue
						}
						want, err := geodesy.SeaObscuredM(eyeM, l.DistanceM, l.RadiusM, k)
						if err != nil {
							t.Fatal(err)
						}
						section, err := w.Section(l, FillSea, 200, nil)
						if err != nil {
							t.Fatal(err)
						}
						got := section.View(Model{K: k}).CutM
						worst = math.Max(worst, math.Abs(got-want))
						if math.Abs(got-want) > 0.5 {
							t.Errorf("from %v, azimuth %v°, %v km, eye %v m, k %v: cut height %.2f m, R'(sec(θ−dip)−1) = %.2f m", from, azimuthDeg, km, eyeM, k, got, want)
						}
					}
				}
			}
		}
	}
	t.Logf("worst %.3f m", worst)
}
