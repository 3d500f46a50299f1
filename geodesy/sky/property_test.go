package sky

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

func TestPlacesAreFinite(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 14))
	latitudes := []float64{90, -90, 89.9999999, 0, 1e-300, 23.4}
	for i := range 3000 {
		o := at(random.Float64()*180-90, random.Float64()*720-360)
		if i < 600 {
			o.Position.LatDeg = latitudes[i%len(latitudes)]
		}
		moment := At(time.Unix(random.Int64N(6.3e9)-2.2e9, random.Int64N(1e9)))
		for _, b := range []Body{Sun, Moon} {
			p := o.Place(b, moment)
			ok := finite(p.AzimuthRad, p.ElevationRad, p.ApparentElevationRad, p.DistanceM, p.SemidiameterRad) && p.AzimuthRad >= 0 &&
				p.AzimuthRad < 2*math.Pi && math.Abs(p.ElevationRad) <= math.Pi/2 && p.ApparentElevationRad >= p.ElevationRad
			if !ok {
				t.Fatalf("%+v.Place(%v, %v) = %+v", o, b, moment.JulianDay(), p)
			}
		}
		if limb := o.BrightLimbRad(moment); !(limb >= 0 && limb < 2*math.Pi) {
			t.Fatalf("bright limb %v", limb)
		}
	}
}

// At the pole the Sun stands as high as its declination, less its parallax.
func TestPoleSeesDeclination(t *testing.T) {
	moment := At(time.Date(2024, 5, 1, 3, 0, 0, 0, time.UTC))
	g := Sun.Geocentric(moment)
	p := at(90, 33).Place(Sun, moment)
	want := g.DeclinationRad - g.HorizontalParallaxRad*math.Cos(g.DeclinationRad)
	hold(t, "elevation at the pole (″)", p.ElevationRad/radPerArcsec, want/radPerArcsec, 0.05)
	beside := at(89.9999999, 33).Place(Sun, moment)
	hold(t, "azimuth just beside the pole", halfTurn(p.AzimuthRad-beside.AzimuthRad), 0, 1e-8)
}

// Where the Sun stands in the zenith there is no azimuth, but no NaN either.
func TestZenith(t *testing.T) {
	moment := At(time.Date(2024, 4, 1, 12, 0, 0, 0, time.UTC))
	g := Sun.Geocentric(moment)
	o := at(g.DeclinationRad/radPerDeg, -g.GreenwichHourAngleRad/radPerDeg)
	p := o.Place(Sun, moment)
	hold(t, "elevation under the Sun", p.ElevationRad/radPerDeg, 90, 2e-6) // the normal misses the centre of the Earth, hence a parallax
	if !(p.AzimuthRad >= 0 && p.AzimuthRad < 2*math.Pi) || p.ApparentElevationRad > math.Pi/2+1e-9 {
		t.Errorf("in the zenith: %+v", p)
	}
	azimuth, elevation := newStation(o).horizontal(newStation(o).up)
	if !finite(azimuth, elevation) {
		t.Errorf("straight up: azimuth %v, elevation %v", azimuth, elevation)
	}
}

func TestSeparationAndTurn(t *testing.T) {
	hold(t, "of opposites", SeparationRad(1, 0.3, 1+math.Pi, -0.3), math.Pi, 1e-12)
	hold(t, "of a hair", SeparationRad(1, 0.3, 1, 0.3+1e-9), 1e-9, 1e-15)
	hold(t, "across north", SeparationRad(0.001, 0, 2*math.Pi-0.001, 0), 0.002, 1e-12)
	if got := turn(-1e-300); got != 0 {
		t.Errorf("turn(−1e-300) = %v, want 0", got)
	}
	if got := bearing(0, 0, 0, 1); got != 0 {
		t.Errorf("bearing straight up = %v", got)
	}
	hold(t, "bearing of what stands to the right", bearing(1, 0, 1.1, 0), math.Pi/2, 1e-12)
}

// J. Meeus, Astronomical Algorithms, 2nd ed., table 10.A; 2000 from memory.
func TestDeltaT(t *testing.T) {
	for _, c := range []struct {
		year          int
		want, allowed float64
	}{
		{1900, -2.8, 0.3}, {1920, 21.1, 0.3}, {1940, 24.3, 0.5}, {1950, 29.1, 0.3}, {1960, 33.1, 0.3}, {1970, 40.2, 0.3}, {1980, 50.5, 0.3},
		{1990, 56.9, 0.3}, {2000, 63.8, 0.3},
	} {
		hold(t, "ΔT", DeltaTSeconds(time.Date(c.year, 1, 1, 0, 0, 0, 0, time.UTC)), c.want, c.allowed)
	}
	for year := 1800; year < 2300; year++ {
		jump := DeltaTSeconds(time.Date(year+1, 1, 1, 0, 0, 0, 0, time.UTC)) - DeltaTSeconds(time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC))
		if !finite(jump) || year >= 1900 && year < 2101 && math.Abs(jump) > 0.5 {
			t.Errorf("at the end of %d ΔT jumps by %.2f s", year, jump)
		}
	}
}
