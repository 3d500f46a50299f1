package sky

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"
	_ "time/tzdata"

	"farstation/geodesy"
)

func at(lat, lon float64) Observer {
	return Observer{Position: geodesy.LatLon{LatDeg: lat, LonDeg: lon}}
}

func days(t *testing.T, b Body, o Observer, first time.Time, count int) []Day {
	t.Helper()
	got, err := Days(b, o, DefaultHorizon(), first, count)
	if err != nil {
		t.Fatalf("Days(%v, %v, %v): %v", b, o.Position, first, err)
	}
	return got
}

// Noon and midnight elevations follow from latitude and declination: 90° − |φ − δ| and |φ + δ| − 90°, δ = ±23.44° at the solstices.
func TestStatesOfADay(t *testing.T) {
	date := func(month time.Month, day int) time.Time { return time.Date(2024, month, day, 0, 0, 0, 0, time.UTC) }
	cases := []struct {
		name                              string
		o                                 Observer
		first                             time.Time
		limb, civil, nautical, astronomic State
	}{
		{"polar day", at(78, 15), date(6, 21), StaysAbove, StaysAbove, StaysAbove, StaysAbove},
		{"polar night with twilight at noon", at(70, 25), date(12, 21), StaysBelow, RisesAndSets, RisesAndSets, RisesAndSets},
		{"deep polar night, −17.4° at noon", at(84, 15), date(12, 21), StaysBelow, StaysBelow, StaysBelow, RisesAndSets},
		{"white night, −5.6° at midnight", at(61, 25), date(6, 21), RisesAndSets, StaysAbove, StaysAbove, StaysAbove},
		{"summer of 52° north", at(52, 0), date(6, 21), RisesAndSets, RisesAndSets, RisesAndSets, StaysAbove},
		{"equator", at(0, 0), date(3, 20), RisesAndSets, RisesAndSets, RisesAndSets, RisesAndSets},
		{"polar night of the south, −11.4° at noon", at(-78, 0), date(6, 21), StaysBelow, StaysBelow, RisesAndSets, RisesAndSets},
		{"south pole in December", at(-90, 0), date(12, 21), StaysAbove, StaysAbove, StaysAbove, StaysAbove},
	}
	for _, c := range cases {
		d := days(t, Sun, c.o, c.first, 1)[0]
		got := [...]State{d.Limb.State, d.Civil.State, d.Nautical.State, d.Astronomical.State}
		if want := [...]State{c.limb, c.civil, c.nautical, c.astronomic}; got != want {
			t.Errorf("%s: Days(sun, %v, %s): states %v, want %v", c.name, c.o.Position, c.first.Format(time.DateOnly), got, want)
		}
	}
}

// At the pole there is one rising and one setting of the Sun a year, and the Moon does both once a month.
func TestPoleRisesOnce(t *testing.T) {
	first := time.Date(2023, 1, 1, 0, 0, 0, 0, time.UTC)
	var rises, sets []time.Time
	for _, d := range days(t, Sun, at(90, 0), first, 365) {
		rises, sets = append(rises, d.Limb.Rises...), append(sets, d.Limb.Sets...)
	}
	if len(rises) != 1 || len(sets) != 1 || rises[0].Month() != time.March || sets[0].Month() != time.September {
		t.Errorf("at the pole the Sun rises %v and sets %v", rises, sets)
	}
	rises = nil
	for _, d := range days(t, Moon, at(-90, 0), first, 273) { // ten tropical months of 27.3 days
		rises = append(rises, d.Limb.Rises...)
	}
	if len(rises) != 10 {
		t.Errorf("at the pole the Moon rises %d times in ten months", len(rises))
	}
}

// The Moon comes up 50 minutes later from day to day: once a month no moonrise falls into a day, and once no moonset.
func TestDayWithoutMoonrise(t *testing.T) {
	count := map[State]int{}
	for _, d := range days(t, Moon, at(48, 11), time.Date(2024, 5, 1, 0, 0, 0, 0, time.UTC), 300) {
		count[d.Limb.State]++
		if d.Limb.State == OnlySets && len(d.Limb.Rises) != 0 || d.Civil.Rises != nil {
			t.Errorf("%+v", d)
		}
	}
	once := func(n int) bool { return n == 10 || n == 11 } // 300 days are 10.2 months of 29.53 days
	if !once(count[OnlySets]) || !once(count[OnlyRises]) || count[StaysAbove]+count[StaysBelow] != 0 {
		t.Errorf("300 days of the Moon: %v", count)
	}
}

func TestClocksChange(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	got := days(t, Sun, at(52.5, 13.4), time.Date(2024, 3, 30, 15, 0, 0, 0, berlin), 3)
	var hours []float64
	for i, d := range got {
		hours = append(hours, d.To.Sub(d.From).Hours())
		if len(d.Limb.Rises) != 1 || d.Limb.Rises[0].Day() != d.From.Day() || d.Limb.Rises[0].Location() != berlin {
			t.Errorf("day %d: %+v", i, d.Limb)
		}
	}
	if !slices.Equal(hours, []float64{24, 23, 24}) {
		t.Errorf("lengths of the days round 2024-03-31 in Berlin: %v h", hours)
	}
	// The Sun rises some two minutes earlier, and an hour less that by the clock later.
	a, b := got[0].Limb.Rises[0], got[1].Limb.Rises[0]
	hold(t, "minutes of real time", b.Sub(a).Minutes(), 24*60-2.5, 1)
	hold(t, "minutes of the clock", float64((b.Hour()-a.Hour())*60+b.Minute()-a.Minute()), 60-2.5, 2)
}

func TestDateLine(t *testing.T) {
	first := time.Date(2024, 7, 1, 0, 0, 0, 0, time.UTC)
	east, west := days(t, Moon, at(-17, 180), first, 3), days(t, Moon, at(-17, -180), first, 3)
	turned := days(t, Moon, at(-17, 540), first, 3)
	for i := range east {
		for _, other := range []Day{west[i], turned[i]} {
			if len(east[i].Limb.Rises) != len(other.Limb.Rises) || len(east[i].Transits) != len(other.Transits) {
				t.Fatalf("%+v, %+v", east[i], other)
			}
			for j, rise := range east[i].Limb.Rises {
				if d := rise.Sub(other.Limb.Rises[j]); d.Abs() > 10*time.Millisecond {
					t.Errorf("the same place on the date line: risings %v apart", d)
				}
			}
		}
	}
}

// Dip brings the rising forward: on the equator at the equinox by 4 s for each arc minute.
func TestDip(t *testing.T) {
	first := time.Date(2024, 3, 20, 0, 0, 0, 0, time.UTC)
	low := days(t, Sun, at(0, 0), first, 1)[0]
	h := DefaultHorizon()
	h.DipRad = 60. / 60 * radPerDeg
	high, err := Days(Sun, at(0, 0), h, first, 1)
	if err != nil {
		t.Fatal(err)
	}
	hold(t, "seconds won by 1° of dip", low.Limb.Rises[0].Sub(high[0].Limb.Rises[0]).Seconds(), 240, 1)
}

// The slow twin looks every ten seconds.
func TestDaysAgainstScan(t *testing.T) {
	cases := []struct {
		b     Body
		o     Observer
		first time.Time
	}{
		{Sun, at(47, 11), time.Date(2031, 2, 3, 0, 0, 0, 0, time.UTC)},
		{Moon, at(47, 11), time.Date(2031, 2, 3, 0, 0, 0, 0, time.UTC)},
		{Moon, at(-34, 151), time.Date(1962, 8, 30, 0, 0, 0, 0, time.UTC)},
		{Sun, at(65.72, 24), time.Date(2024, 6, 14, 0, 0, 0, 0, time.FixedZone("", 3*3600))}, // grazes the horizon at midnight
		{Sun, at(65.72, 24), time.Date(2024, 7, 12, 0, 0, 0, 0, time.FixedZone("", 3*3600))}, // sets 8 s after midnight, and before the next
		{Sun, at(67.4, 24), time.Date(2024, 12, 4, 0, 0, 0, 0, time.UTC)},                    // grazes it at noon
		{Moon, at(61.5, -150), time.Date(2025, 1, 8, 0, 0, 0, 0, time.UTC)},                  // major standstill
		{Sun, at(89.5, 0), time.Date(2024, 3, 16, 0, 0, 0, 0, time.UTC)},
	}
	twoSets := false
	for _, c := range cases {
		const count, everyS = 4, 10
		got := days(t, c.b, c.o, c.first, count)
		var found []time.Time
		for _, d := range got {
			found = append(found, d.Limb.Rises...)
			found = append(found, d.Limb.Sets...)
			twoSets = twoSets || len(d.Limb.Sets) == 2
		}
		slices.SortFunc(found, time.Time.Compare)
		var scanned []time.Time
		over := func(i int) bool {
			p := c.o.Place(c.b, At(c.first.Add(time.Duration(i)*everyS*time.Second)))
			return p.ElevationRad+p.SemidiameterRad+34./60*radPerDeg >= 0
		}
		last := over(0)
		for i := 1; i <= count*secondsPerD/everyS; i++ {
			now := over(i)
			if now != last {
				scanned = append(scanned, c.first.Add(time.Duration(i)*everyS*time.Second))
			}
			last = now
		}
		if len(found) != len(scanned) {
			t.Errorf("%v from %v at %v: found %v, scan %v", c.b, c.first, c.o.Position, found, scanned)
			continue
		}
		for i, f := range found {
			if early := scanned[i].Sub(f).Seconds(); early < -0.2 || early > everyS+0.2 {
				t.Errorf("%v at %v: crossing %v, scan %v", c.b, c.o.Position, f, scanned[i])
			}
		}
	}
	if !twoSets {
		t.Error("no case has two sunsets in a day")
	}
}

// A pair of crossings 30 s apart between two hourly samples is found.
func TestCrossingsBetweenSamples(t *testing.T) {
	const topS, halfS = 3 * 3600 * 1.37, 15
	f := func(s float64) float64 { return 1e-9 * (halfS*halfS - (s-topS)*(s-topS)) }
	got := crossings(f, sample(f, samplesOver(8*3600)))
	if len(got) != 2 || !got[0].rising || got[1].rising {
		t.Fatalf("crossings: %+v", got)
	}
	hold(t, "first", got[0].s, topS-halfS, 0.3)
	hold(t, "second", got[1].s, topS+halfS, 0.3)
}

func TestDaysRefuses(t *testing.T) {
	first := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)
	if _, err := Days(Sun, at(0, 0), DefaultHorizon(), first.AddDate(-125, 0, 0), 1); !errors.Is(err, ErrDates) {
		t.Errorf("Days in 1899: %v, want ErrDates", err)
	}
	if _, err := Days(Sun, at(0, 0), DefaultHorizon(), time.Date(2100, 12, 31, 0, 0, 0, 0, time.UTC), 2); !errors.Is(err, ErrDates) {
		t.Errorf("Days into 2101: %v, want ErrDates", err)
	}
	if _, err := Days(Sun, at(0, 0), DefaultHorizon(), time.Date(2100, 12, 31, 0, 0, 0, 0, time.UTC), 1); err != nil {
		t.Errorf("the last day of 2100: %v", err)
	}
	for _, o := range []Observer{at(91, 0), at(math.NaN(), 0), at(0, math.Inf(1)), {HeightM: math.NaN()}} {
		if _, err := Days(Sun, o, DefaultHorizon(), first, 1); err == nil {
			t.Errorf("Days for %+v: no error", o)
		}
	}
	for _, count := range []int{0, -1} {
		if _, err := Days(Sun, at(0, 0), DefaultHorizon(), first, count); err == nil {
			t.Errorf("%d days: no error", count)
		}
	}
	if _, err := Days(Sun, at(0, 0), Horizon{DipRad: math.NaN()}, first, 1); err == nil {
		t.Error("no dip: no error")
	}
	if _, err := Quarters(first, first); err == nil {
		t.Error("Quarters of no time: no error")
	}
}
