package sky

import (
	"errors"
	"math"
	"testing"
	"time"
)

// A made case: the Sun goes down behind a far top. The slow twin looks at every second.
func TestPassesAgainstScan(t *testing.T) {
	cases := []struct {
		name                    string
		b                       Body
		o                       Observer
		through                 time.Time // when the body is put near the direction
		offAzimuthDeg, offUpDeg float64   // direction less the body then
		withinDeg               float64
		wantPasses              int
	}{
		{"sunset behind a top", Sun, at(44, 7), time.Date(2027, 2, 9, 16, 30, 0, 0, time.UTC), 0.05, -0.1, 0.25, 1},
		{"moonrise behind a top", Moon, at(55.5, -2.7), time.Date(2026, 11, 24, 16, 20, 0, 0, time.UTC), -0.1, 0.05, 0.25, 1},
		{"just missed", Sun, at(44, 7), time.Date(2027, 2, 9, 16, 30, 0, 0, time.UTC), 0.4, 0.4, 0.25, 0},
		{"grazed", Sun, at(-33, 151), time.Date(2030, 6, 1, 21, 10, 0, 0, time.UTC), 0.17, 0.17, 0.25, 1},
		{"within 10°, low in the arctic", Sun, at(69, 20), time.Date(2030, 5, 25, 22, 30, 0, 0, time.UTC), 0.5, 1, 10, 1},
	}
	for _, c := range cases {
		p := c.o.Place(c.b, At(c.through))
		azimuth, elevation := p.AzimuthRad+c.offAzimuthDeg*radPerDeg, p.ApparentElevationRad+c.offUpDeg*radPerDeg
		from, to := c.through.Add(-6*time.Hour), c.through.Add(7*time.Hour)
		got, err := Passes(c.b, c.o, azimuth, elevation, from, to, c.withinDeg*radPerDeg)
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != c.wantPasses {
			t.Errorf("%s: passes %+v, want %d", c.name, got, c.wantPasses)
			continue
		}
		least, closest := math.Inf(1), 0
		var inside []int
		for s := range int(to.Sub(from).Seconds()) {
			p := c.o.Place(c.b, At(from.Add(time.Duration(s)*time.Second)))
			d := SeparationRad(p.AzimuthRad, p.ApparentElevationRad, azimuth, elevation)
			if d < least {
				least, closest = d, s
			}
			if d < c.withinDeg*radPerDeg {
				inside = append(inside, s)
			}
		}
		if c.wantPasses == 0 {
			if len(inside) != 0 {
				t.Errorf("%s: the scan finds %d s inside", c.name, len(inside))
			}
			continue
		}
		pass := got[0]
		t.Logf("%s: %s to %s, closest %s at %.4f°, %.1f s a minute of arc", c.name, pass.From.Format(time.TimeOnly), pass.To.Format(time.TimeOnly),
			pass.Closest.Format("15:04:05.0"), pass.SeparationRad/radPerDeg, pass.SecondsPerElevationRad*radPerDeg/60)
		hold(t, c.name+": closest (s)", pass.Closest.Sub(from).Seconds(), float64(closest), 1)
		hold(t, c.name+": separation (″)", pass.SeparationRad/radPerArcsec, least/radPerArcsec, 0.2)
		hold(t, c.name+": from (s)", pass.From.Sub(from).Seconds(), float64(inside[0])-0.5, 0.6)
		hold(t, c.name+": to (s)", pass.To.Sub(from).Seconds(), float64(inside[len(inside)-1])+0.5, 0.6)

		lifted, err := Passes(c.b, c.o, azimuth, elevation+radPerDeg/600, from, to, c.withinDeg*1.2*radPerDeg)
		if err != nil || len(lifted) != 1 {
			t.Fatalf("%s, lifted: %+v, %v", c.name, lifted, err)
		}
		moved := lifted[0].Closest.Sub(pass.Closest).Seconds()
		hold(t, c.name+": seconds that 0.1′ moves it", moved, pass.SecondsPerElevationRad*radPerDeg/600, 0.6)
	}
}

// Where the Sun passed on one evening about the equinox it passes the next days beside, by its daily change of declination: 23.7′ in March
// (Nautical Almanac, from memory).
func TestPassesOfDays(t *testing.T) {
	o := at(45, 10)
	o.Refraction = NoRefraction
	through := time.Date(2025, 3, 20, 17, 20, 0, 0, time.UTC)
	p := o.Place(Sun, At(through))
	got, err := Passes(Sun, o, p.AzimuthRad, p.ElevationRad, through.AddDate(0, 0, -5), through.AddDate(0, 0, 5), 1.4*radPerDeg)
	if err != nil || len(got) != 7 {
		t.Fatalf("passes over ten days: %+v, %v", got, err)
	}
	hold(t, "closest", got[3].Closest.Sub(through).Seconds(), 0, 1)
	for i, pass := range got {
		hold(t, "separation (′)", pass.SeparationRad/radPerArcmin, math.Abs(float64(i-3))*23.7, 0.3)
	}
}

func TestPassesWithoutEnd(t *testing.T) {
	from := time.Date(2025, 6, 20, 3, 0, 0, 0, time.UTC)
	to := from.AddDate(0, 0, 3)
	got, err := Passes(Sun, at(80, 0), 0, math.Pi/2, from, to, 80*radPerDeg) // never 80° from the zenith in the polar day
	if err != nil || len(got) != 1 || !got[0].From.Equal(from) || !got[0].To.Equal(to) {
		t.Errorf("all the time: %+v, %v", got, err)
	}
	short, err := Passes(Sun, at(80, 0), 0, math.Pi/2, from, from.Add(time.Second), 80*radPerDeg)
	if err != nil || len(short) != 1 {
		t.Errorf("one second: %+v, %v", short, err)
	}
	if none, err := Passes(Sun, at(80, 0), 0, -math.Pi/2, from, to, 80*radPerDeg); err != nil || len(none) != 0 {
		t.Errorf("near the nadir in the polar day: %+v, %v", none, err)
	}
}

func TestPassesRefuses(t *testing.T) {
	from := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	to := from.AddDate(0, 0, 1)
	for _, c := range []struct{ azimuth, elevation, within float64 }{{math.NaN(), 0, 1}, {0, 2, 1}, {0, math.NaN(), 1}, {0, 0, 0}, {0, 0, math.NaN()}} {
		if _, err := Passes(Sun, at(0, 0), c.azimuth, c.elevation, from, to, c.within); err == nil {
			t.Errorf("Passes(%v): no error", c)
		}
	}
	if _, err := Passes(Sun, at(0, 0), 0, 0, from.AddDate(200, 0, 0), to.AddDate(200, 0, 0), 1); !errors.Is(err, ErrDates) {
		t.Errorf("Passes in 2225: %v, want ErrDates", err)
	}
	if _, err := Passes(Sun, at(0, 0), 0, 0, to, from, 1); err == nil {
		t.Error("Passes backwards: no error")
	}
}

func BenchmarkPassesOfAYear(b *testing.B) {
	from := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	for b.Loop() {
		if _, err := Passes(Sun, at(45, 10), 4, 0, from, from.AddDate(1, 0, 0), 0.25*radPerDeg); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDaysOfAMonth(b *testing.B) {
	from := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	for b.Loop() {
		if _, err := Days(Sun, at(45, 10), DefaultHorizon(), from, 30); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPlace(b *testing.B) {
	o, moment := at(45, 10), At(time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC))
	for _, body := range []Body{Sun, Moon} {
		b.Run(body.String(), func(b *testing.B) {
			for b.Loop() {
				o.Place(body, moment)
			}
		})
	}
}
