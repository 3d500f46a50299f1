package camera

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
)

// TestTienstraOnPlane: from any place, in or out of the triangle, whichever way round it is named, the closed form finds the place again.
func TestTienstraOnPlane(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for range 10_000 {
		var points [3]plan
		for i := range points {
			points[i] = plan{1000 * random.NormFloat64(), 1000 * random.NormFloat64()}
		}
		place := plan{1500 * random.NormFloat64(), 1500 * random.NormFloat64()}
		var directions [3]float64
		turn := 7 * random.Float64()
		for i, p := range points {
			directions[i] = p.less(place).azimuthRad() + turn
		}
		got, ok := resectOnPlane(points, directions)
		at := []plan{points[0].less(place), points[1].less(place), points[2].less(place)}
		if offCircle(at) < 1e-3 {
			continue
		}
		if off := got.less(place).length(); !ok || off > 1e-3 {
			t.Fatalf("points %v, place %v: found %v, %v (off circle %v)", points, place, got, ok, offCircle(at))
		}
	}
}

// resectionScene sights n places from one, with noise.
func resectionScene(random *rand.Rand, n int, sdRad float64) (geodesy.LatLon, []Sight) {
	place := geodesy.LatLon{LatDeg: 120*random.Float64() - 60, LonDeg: 360*random.Float64() - 180}
	turn := 2 * math.Pi * random.Float64()
	var sights []Sight
	for range n {
		target, _ := geodesy.WGS84.Direct(place, 360*random.Float64(), 5000+80_000*random.Float64())
		azimuth := geodesy.WGS84.Inverse(place, target).AzimuthDeg * math.Pi / 180
		sights = append(sights, Sight{target, azimuth - turn + sdRad*random.NormFloat64(), sdRad})
	}
	return place, sights
}

// TestResectIsCalibrated: the place lies within the 95 % ellipse (χ² of two degrees below 5.991) in 95 % of draws.
func TestResectIsCalibrated(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 9))
	inside, tried := 0, 0
	for range 1000 {
		place, sights := resectionScene(random, 5, 20.0/206265)
		r, err := Resect(sights)
		if err != nil {
			continue
		}
		tried++
		if offInEllipse(r, place) < 5.991 {
			inside++
		}
	}
	if share := float64(inside) / float64(tried); tried < 950 || math.Abs(share-0.95) > 0.02 {
		t.Errorf("%d of %d places lie within their 95 %% ellipses, want 95 ± 2 %%, of 950 or more", inside, tried)
	}
}

func TestResectRefuses(t *testing.T) {
	centre := geodesy.LatLon{LatDeg: 52, LonDeg: 7}
	onCircle := func(azimuthDeg float64) geodesy.LatLon {
		p, _ := geodesy.WGS84.Direct(centre, azimuthDeg, 20_000)
		return p
	}
	sightsFrom := func(place geodesy.LatLon, targets ...geodesy.LatLon) []Sight {
		var sights []Sight
		for _, target := range targets {
			sights = append(sights, Sight{target, geodesy.WGS84.Inverse(place, target).AzimuthDeg * math.Pi / 180, 20.0 / 206265})
		}
		return sights
	}
	inLine := func(km float64) geodesy.LatLon {
		p, _ := geodesy.WGS84.Direct(centre, 30, km*1000)
		return p
	}
	for _, test := range []struct {
		name   string
		sights []Sight
		want   error
	}{
		{"two sights", sightsFrom(centre, onCircle(0), onCircle(90)), ErrTooFew},
		{"danger circle", sightsFrom(onCircle(200), onCircle(0), onCircle(40), onCircle(100)), ErrDangerCircle},
		{"danger circle, four", sightsFrom(onCircle(200), onCircle(0), onCircle(40), onCircle(100), onCircle(310)), ErrDangerCircle},
		{"all targets in the line of sight", sightsFrom(centre, inLine(10), inLine(20), inLine(30)), nil},
	} {
		r, err := Resect(test.sights)
		if err == nil || test.want != nil && !errors.Is(err, test.want) {
			t.Errorf("%s: %+v, %v; want %v", test.name, r, err, test.want)
		}
	}
}
