package sky

import (
	"fmt"
	"math"
	"time"
)

// Illumination is how the Moon is lit, seen from the centre of the Earth; angles in radians.
type Illumination struct {
	Fraction      float64 // of the disc, 0…1
	PhaseAngleRad float64 // Sun–Moon–Earth, 0 at full Moon
	BrightLimbRad float64 // position angle of the middle of the bright limb, from celestial north through east
}

// MoonIllumination returns how the Moon is lit (Meeus, Astronomical Algorithms, 2nd ed., 48.1, 48.2, 48.3, 48.5).
func MoonIllumination(at Instant) Illumination {
	moon, sun := Moon.Geocentric(at), Sun.Geocentric(at)
	elongation := SeparationRad(moon.RightAscensionRad, moon.DeclinationRad, sun.RightAscensionRad, sun.DeclinationRad)
	s, c := math.Sincos(elongation)
	i := math.Atan2(sun.DistanceM*s, moon.DistanceM-sun.DistanceM*c)
	return Illumination{
		Fraction:      (1 + math.Cos(i)) / 2,
		PhaseAngleRad: i,
		BrightLimbRad: bearing(moon.RightAscensionRad, moon.DeclinationRad, sun.RightAscensionRad, sun.DeclinationRad),
	}
}

// BrightLimbRad returns where the bright limb of the Moon points for the observer: the angle from straight up towards growing azimuth
// (clockwise for somebody who faces the Moon), 0 to 2π, without refraction.
func (o Observer) BrightLimbRad(at Instant) float64 {
	s := newStation(o)
	moon, sun := s.place(Moon, at), s.place(Sun, at)
	return bearing(moon.AzimuthRad, moon.ElevationRad, sun.AzimuthRad, sun.ElevationRad)
}

// Quarter is one of the four principal phases.
type Quarter int

// The principal phases in their order.
const (
	NewMoon Quarter = iota
	FirstQuarter
	FullMoon
	LastQuarter
)

func (q Quarter) String() string {
	names := [...]string{"new moon", "first quarter", "full moon", "last quarter"}
	if q < 0 || int(q) >= len(names) {
		return fmt.Sprintf("Quarter(%d)", int(q))
	}
	return names[q]
}

// QuarterInstant is when a principal phase falls.
type QuarterInstant struct {
	Quarter Quarter
	Time    time.Time
}

// Quarters returns the principal phases from one instant to another, in order: when the apparent longitudes of Moon and Sun differ by
// 0°, 90°, 180° and 270° (Meeus, chapter 49), good to half a minute: the Moon's 10″ are 20 s. Times are in from's time zone. Errors: ErrDates.
func Quarters(from, to time.Time) ([]QuarterInstant, error) {
	if err := checkDates(from, to); err != nil {
		return nil, fmt.Errorf("phases of the moon: %w", err)
	}
	ahead := func(s float64) float64 {
		at := At(later(from, s))
		return turn(Moon.Geocentric(at).LongitudeRad - Sun.Geocentric(at).LongitudeRad)
	}
	var out []QuarterInstant
	lengthS := to.Sub(from).Seconds()
	last := ahead(0)
	for s := 0.0; s < lengthS; s += secondsPerD {
		next := ahead(s + secondsPerD) // 11 to 15 degrees more
		quarter := Quarter(math.Floor(next / (math.Pi / 2)))
		if quarter != Quarter(math.Floor(last/(math.Pi/2))) {
			past := func(x float64) float64 { return halfTurn(ahead(x) - float64(quarter)*math.Pi/2) }
			at := root(past, point{s, past(s)}, point{s + secondsPerD, past(s + secondsPerD)}, timeEnoughS)
			if at < lengthS {
				out = append(out, QuarterInstant{quarter, later(from, at)})
			}
		}
		last = next
	}
	return out, nil
}
