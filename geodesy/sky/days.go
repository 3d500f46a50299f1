package sky

import (
	"fmt"
	"math"
	"time"
)

// Horizon is what a body's upper limb must pass to rise or set; both in radians.
type Horizon struct {
	RefractionRad float64 // lift of what appears on it
	DipRad        float64 // how far it lies below the observer's horizontal
}

// DefaultHorizon is the customary one: refraction of 34′ (Meeus, Astronomical Algorithms, chapter 15), no dip.
func DefaultHorizon() Horizon { return Horizon{RefractionRad: 34. / 60 * radPerDeg} }

// State tells what a body did over a day.
type State int

// The states of a day. A body that never sets, a polar night and a day without moonrise are results, not errors.
const (
	RisesAndSets State = iota
	OnlyRises          // no setting that day
	OnlySets           // no rising that day
	StaysAbove         // does not set
	StaysBelow         // does not rise
)

func (s State) String() string {
	switch s {
	case RisesAndSets:
		return "rises and sets"
	case OnlyRises:
		return "rises, no setting that day"
	case OnlySets:
		return "sets, no rising that day"
	case StaysAbove:
		return "above all day"
	case StaysBelow:
		return "below all day"
	}
	return fmt.Sprintf("State(%d)", int(s))
}

// Crossings are the instants of a day at which an elevation is passed upwards and downwards. There may be two of a kind: in high
// latitudes, where the Sun can set just after midnight and again just before the next.
type Crossings struct {
	State       State
	Rises, Sets []time.Time
}

// Day is what a body does between two midnights.
type Day struct {
	From, To time.Time // 23 or 25 hours apart where clocks change
	Limb     Crossings // of the upper limb over the Horizon
	Transits []time.Time
	// Twilights of the Sun: its centre 6°, 12° and 18° under the horizontal, without refraction. Zero for the Moon.
	Civil, Nautical, Astronomical Crossings
}

// Days returns what the body does on some days in a row, from the date of first in first's own time zone on. Transits are the upper
// ones, through the meridian. Instants hold to about 1 s where the body crosses the horizon steeply and the air is the one assumed; the
// air alone shifts them by tens of seconds from day to day (1′ of refraction is 4 s and more). The observer's Refraction is not used.
// Errors: an observer that is nowhere, a horizon that is none, no days, ErrDates.
func Days(b Body, o Observer, h Horizon, first time.Time, days int) ([]Day, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	if !(math.Abs(h.RefractionRad+h.DipRad) < math.Pi/2) {
		return nil, fmt.Errorf("sky: no horizon at a refraction of %g and a dip of %g rad", h.RefractionRad, h.DipRad)
	}
	midnight := func(day int) time.Time {
		return time.Date(first.Year(), first.Month(), first.Day()+day, 0, 0, 0, 0, first.Location())
	}
	start, end := midnight(0), midnight(days)
	if err := checkDates(start, end); err != nil {
		return nil, fmt.Errorf("days of the %v: %w", b, err)
	}
	out := make([]Day, days)
	for i := range out {
		out[i] = Day{From: midnight(i), To: midnight(i + 1)}
	}
	walk := newDayWalk(b, o, start, end)
	limb := func(p Place) float64 { return p.ElevationRad + p.SemidiameterRad + h.RefractionRad + h.DipRad }
	walk.fill(out, limb, func(d *Day) *Crossings { return &d.Limb })
	if b == Sun {
		under := func(deg float64) func(Place) float64 {
			return func(p Place) float64 { return p.ElevationRad + deg*radPerDeg }
		}
		walk.fill(out, under(6), func(d *Day) *Crossings { return &d.Civil })
		walk.fill(out, under(12), func(d *Day) *Crossings { return &d.Nautical })
		walk.fill(out, under(18), func(d *Day) *Crossings { return &d.Astronomical })
	}
	east := func(p Place) float64 { return math.Sin(p.AzimuthRad) * math.Cos(p.ElevationRad) }
	for _, c := range walk.crossings(east) {
		// The body crosses the meridian westwards above the pole, eastwards below it.
		if t := later(start, c.s); !c.rising {
			if d := dayOf(out, t); d != nil {
				d.Transits = append(d.Transits, t)
			}
		}
	}
	return out, nil
}

// dayWalk holds the hourly places that all elevations of a run of days share.
type dayWalk struct {
	start time.Time
	place func(s float64) Place
	at    []float64
	hours []Place
}

func newDayWalk(b Body, o Observer, start, end time.Time) dayWalk {
	eye := newStation(o)
	w := dayWalk{start: start, at: samplesOver(end.Sub(start).Seconds())}
	w.place = func(s float64) Place { return eye.place(b, At(later(start, s))) }
	for _, s := range w.at {
		w.hours = append(w.hours, w.place(s))
	}
	return w
}

func (w dayWalk) crossings(over func(Place) float64) []crossing {
	points := make([]point, len(w.hours))
	for i, p := range w.hours {
		points[i] = point{w.at[i], over(p)}
	}
	return crossings(func(s float64) float64 { return over(w.place(s)) }, points)
}

// fill sorts the crossings of one elevation into the days and names each day's state.
func (w dayWalk) fill(days []Day, over func(Place) float64, of func(*Day) *Crossings) {
	for _, c := range w.crossings(over) {
		t := later(w.start, c.s)
		d := dayOf(days, t)
		if d == nil {
			continue
		}
		if to := of(d); c.rising {
			to.Rises = append(to.Rises, t)
		} else {
			to.Sets = append(to.Sets, t)
		}
	}
	for i := range days {
		c := of(&days[i])
		switch {
		case len(c.Rises) > 0 && len(c.Sets) > 0:
			c.State = RisesAndSets
		case len(c.Rises) > 0:
			c.State = OnlyRises
		case len(c.Sets) > 0:
			c.State = OnlySets
		case over(w.place(days[i].From.Sub(w.start).Seconds())) >= 0:
			c.State = StaysAbove
		default:
			c.State = StaysBelow
		}
	}
}

// dayOf returns the day that an instant falls into, nil outside all.
func dayOf(days []Day, t time.Time) *Day {
	for i := range days {
		if !t.Before(days[i].From) && t.Before(days[i].To) {
			return &days[i]
		}
	}
	return nil
}
