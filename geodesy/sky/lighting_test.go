package sky

import (
	"testing"
	"time"
)

func TestLightingOf(t *testing.T) {
	for _, c := range []struct {
		sunAzimuthDeg, sunUpDeg, targetAzimuthDeg float64
		want                                      Lighting
	}{
		{90, 20, 270, FrontLight},
		{90, 1.9, 270, Unlit},
		{349.9, 10, 20, SideLight}, // 30.1° off, across north
		{350.1, 10, 20, Unlit},     // ahead and high
		{109.9, 15.1, 20, Unlit},   // beside and high
		{109.9, 14.9, 20, SideLight},
		{110.1, 14.9, 20, FrontLight},
		{110.1, 60, 20, FrontLight},
		{350.1, 0.5, 20, Silhouette},
		{20, 1.4, 20, Silhouette}, // the top stands 0.5° high
		{20, 1.6, 20, Unlit},
		{20, -5.9, 20, Silhouette},
		{20, -6.1, 20, Unlit},
		{200, -3, 20, Unlit},
	} {
		sun := Place{AzimuthRad: c.sunAzimuthDeg * radPerDeg, ApparentElevationRad: c.sunUpDeg * radPerDeg}
		if got := LightingOf(sun, c.targetAzimuthDeg*radPerDeg, 0.5*radPerDeg); got != c.want {
			t.Errorf("sun at %v°, %v° high, target at %v°: %v, want %v", c.sunAzimuthDeg, c.sunUpDeg, c.targetAzimuthDeg, got, c.want)
		}
	}
}

// The slow twin looks every ten seconds.
func TestWindowsAgainstScan(t *testing.T) {
	from := time.Date(2026, 9, 2, 0, 0, 0, 0, time.UTC)
	to := from.AddDate(0, 0, 2)
	for _, o := range []Observer{at(56, -3), at(70, 20), at(-20, 30)} {
		for _, azimuthDeg := range []float64{5, 95, 265} {
			got, err := Windows(o, azimuthDeg*radPerDeg, 0, from, to)
			if err != nil {
				t.Fatal(err)
			}
			kinds := map[Lighting]bool{}
			for _, w := range got {
				kinds[w.Lighting] = true
				if w.Lighting == Unlit || !w.From.Before(w.To) {
					t.Errorf("window %+v", w)
				}
			}
			if len(kinds) == 0 {
				t.Errorf("azimuth %v° from %v: no light in two days", azimuthDeg, o.Position)
			}
			next := 0
			for at := from; at.Before(to); at = at.Add(10 * time.Second) {
				for next < len(got) && !got[next].To.After(at) {
					next++
				}
				want := LightingOf(o.Place(Sun, At(at)), azimuthDeg*radPerDeg, 0)
				have := Unlit
				if next < len(got) && !at.Before(got[next].From) {
					have = got[next].Lighting
				}
				nearEdge := next < len(got) && (at.Sub(got[next].From).Abs() <= time.Second || at.Sub(got[next].To).Abs() <= time.Second) ||
					next > 0 && at.Sub(got[next-1].To).Abs() <= time.Second
				if have != want && !nearEdge {
					t.Fatalf("azimuth %v° from %v at %v: %v, the scan has %v", azimuthDeg, o.Position, at, have, want)
				}
			}
		}
	}
}

func TestWindowsRefuses(t *testing.T) {
	from := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	if _, err := Windows(at(99, 0), 0, 0, from, from.AddDate(0, 0, 1)); err == nil {
		t.Error("Windows at latitude 99: no error")
	}
	if _, err := Windows(at(9, 0), 0, 0, from, from); err == nil {
		t.Error("Windows of no time: no error")
	}
}
