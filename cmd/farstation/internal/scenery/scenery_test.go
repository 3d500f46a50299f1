package scenery

import (
	"image"
	"image/color"
	"math"
	"testing"

	"farstation/geodesy"
)

func flatSea(float64, float64) float64 { return 0 }

// seaScene is open sea from 100 m up, with the axis level.
func seaScene(k float64, plane bool) *Scene {
	return &Scene{
		Camera:  Camera{LatDeg: 50, LonDeg: 10, EyeM: 100, AzimuthDeg: 30, FocalPx: 20_000, WidthPx: 20, HeightPx: 400},
		HeightM: flatSea, UndulationM: flatSea, K: k, Plane: plane, ReachM: 150e3,
	}
}

// Earth-centred coordinates are those of the program's geodesy, which is held against published values, and go back.
func TestEarthCentred(t *testing.T) {
	for _, p := range []struct{ latDeg, lonDeg, heightM float64 }{{0, 0, 0}, {-32.975, -122.74, 166}, {51.5, 179.9, -400}, {78.2, 15.6, 8850}} {
		got := earthCentred(p.latDeg, p.lonDeg, p.heightM)
		want := geodesy.WGS84.ToCartesian(geodesy.LatLon{LatDeg: p.latDeg, LonDeg: p.lonDeg}, p.heightM)
		if off := math.Hypot(math.Hypot(got[0]-want.X, got[1]-want.Y), got[2]-want.Z); off > 1e-6 {
			t.Errorf("earthCentred(%v) is %.9f m from geodesy's", p, off)
		}
		latDeg, lonDeg := geographic(got)
		if math.Abs(latDeg-p.latDeg) > 1e-11 || math.Abs(lonDeg-p.lonDeg) > 1e-11 {
			t.Errorf("geographic of %v is %.13f, %.13f", p, latDeg, lonDeg)
		}
	}
}

// horizonRow finds the sea horizon in a drawn picture.
func horizonRow(t *testing.T, s *Scene) float64 {
	t.Helper()
	row, change := Edge(s.Draw(0, 3), 1, s.Camera.HeightPx/2, s.Camera.HeightPx/2-3)
	if change < 5 {
		t.Fatalf("the horizon changes the picture by %.1f of 255, want an edge", change)
	}
	return row
}

// The dip of the sea horizon from 100 m is 1.76′ √100 = 17.6′ (The Nautical Almanac, altitude correction tables; from memory), which
// is the exact formula with k = 0.165; without refraction it is 1.926′ √100 = 19.3′ (acos(R/(R+h)), mean sphere; from memory).
func TestDipOfTheSeaHorizon(t *testing.T) {
	for _, test := range []struct {
		k, dipArcmin float64
	}{{0.165, 17.6}, {0, 19.26}} {
		s := seaScene(test.k, false)
		got := math.Atan((horizonRow(t, s)-200)/s.Camera.FocalPx) / degree * 60
		if math.Abs(got-test.dipArcmin) > 0.1 {
			t.Errorf("k = %v: the sea horizon is drawn %.2f′ below level, want %.2f′", test.k, got, test.dipArcmin)
		}
	}
}

// On a plane the sea ends where rays end: 100 m below the eye at 150 km.
func TestSeaOnAPlane(t *testing.T) {
	s := seaScene(0.16, true)
	if got, want := horizonRow(t, s), 200+s.Camera.FocalPx*100/150e3; math.Abs(got-want) > 0.3 {
		t.Errorf("the end of the sea is drawn at row %.2f, want %.2f", got, want)
	}
}

// What is drawn lies where Pixel says: a tower on a low islet, 40 km away, under a rolled and tilted camera, on either Earth.
func TestDrawnWherePixelSays(t *testing.T) {
	for _, plane := range []bool{false, true} {
		s := seaScene(0.16, plane)
		s.Camera.RollDeg, s.Camera.TiltDeg, s.Camera.WidthPx = 1.5, 0.2, 400
		at, _ := geodesy.WGS84.Direct(geodesy.LatLon{LatDeg: 50, LonDeg: 10}, 30.2, 40e3)
		s.Structures = []Structure{{LatDeg: at.LatDeg, LonDeg: at.LonDeg, HeightM: 300, WidthM: 8}}
		x, y := s.Pixel(at.LatDeg, at.LonDeg, 300)
		gotX, gotY := Top(s.Draw(int(x)-8, int(x)+9), x, y, 8, 6)
		if math.Abs(gotX-x) > 1.5 || math.Abs(gotY-y) > 0.3 { // the tower is 4 px wide
			t.Errorf("plane %v: the top is drawn at %.2f, %.2f, want %.2f, %.2f", plane, gotX, gotY, x, y)
		}
	}
}

func TestRayAndPixelAreInverse(t *testing.T) {
	c := Camera{AzimuthDeg: 359, TiltDeg: -3, RollDeg: 12, FocalPx: 3000, WidthPx: 4000, HeightPx: 3000}
	for _, p := range [][2]float64{{2000, 1500}, {0, 0}, {4000, 10}, {1234.5, 2999}} {
		azimuth, elevation := c.ray(p[0], p[1])
		if x, y := c.pixel(azimuth, elevation); math.Abs(x-p[0]) > 1e-8 || math.Abs(y-p[1]) > 1e-8 {
			t.Errorf("pixel of the ray at %v is %v, %v", p, x, y)
		}
	}
	_, left := c.ray(0, 1500)
	_, right := c.ray(4000, 1500)
	if right <= left {
		t.Errorf("rolled by %v°, the right side looks %.4f up and the left %.4f, want the right higher", c.RollDeg, right, left)
	}
}

// An edge at a known place comes back to a third of a pixel, whether it brightens or darkens.
func TestEdge(t *testing.T) {
	for _, test := range []struct {
		above, below byte
		at           float64
	}{{200, 80, 20.25}, {80, 200, 19.6}, {100, 90, 21}} {
		picture := image.NewRGBA(image.Rect(10, 0, 12, 40))
		for y := range 40 {
			share := math.Max(0, math.Min(1, test.at-float64(y))) // of the row, above the edge
			v := byte(math.Round(share*float64(test.above) + (1-share)*float64(test.below)))
			picture.SetRGBA(11, y, color.RGBA{v, v, v, 255})
		}
		got, change := Edge(picture, 11, 20, 8)
		if math.Abs(got-test.at) > 0.3 || math.Abs(change-math.Abs(float64(test.above)-float64(test.below))) > 1 {
			t.Errorf("Edge between %d and %d at %v: row %.3f, change %.0f", test.above, test.below, test.at, got, change)
		}
	}
	if row, change := Edge(image.NewRGBA(image.Rect(0, 0, 5, 40)), 2, 20, 8); !math.IsNaN(row) || change != 0 {
		t.Errorf("Edge in an empty picture: row %v, change %v, want none", row, change)
	}
}
