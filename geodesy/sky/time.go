package sky

import (
	"errors"
	"fmt"
	"math"
	"time"
)

const (
	radPerDeg    = math.Pi / 180
	radPerArcsec = radPerDeg / 3600
	secondsPerD  = 86400
	j2000Unix    = 946728000 // 2000-01-01 12:00, Julian day 2451545
	j2000Day     = 2451545
	centuryD     = 36525
)

// ErrDates is returned for dates outside 1900 to 2100, for which neither ΔT nor the series are vouched for.
var ErrDates = errors.New("sky: outside the years 1900 to 2100")

// Instant is a moment in universal time, which turns the Earth, and in terrestrial time, in which Sun and Moon move.
type Instant struct {
	utDays, ttDays float64 // since J2000.0, 2000-01-01 12:00 of either scale
}

// At returns the instant of a UTC time, with ΔT after DeltaTSeconds.
func At(t time.Time) Instant {
	return AtDeltaT(t, DeltaTSeconds(t))
}

// AtDeltaT returns the instant of a UTC time with a given ΔT = TT − UT in seconds.
func AtDeltaT(t time.Time, deltaTSeconds float64) Instant {
	ut := (float64(t.Unix()-j2000Unix) + float64(t.Nanosecond())/1e9) / secondsPerD
	return Instant{ut, ut + deltaTSeconds/secondsPerD}
}

// JulianDay returns the Julian day of universal time, good to 0.04 ms.
func (i Instant) JulianDay() float64 { return j2000Day + i.utDays }

// centuries returns Julian centuries of terrestrial time since J2000.0.
func (i Instant) centuries() float64 { return i.ttDays / centuryD }

// DeltaTSeconds returns ΔT = TT − UT in seconds by the polynomials of F. Espenak and J. Meeus, Five Millennium Canon of Solar Eclipses
// (NASA/TP-2006-214141). From 1900 to 2005 they follow the observations within a second. Later they are a forecast: 5.5 s too large in
// 2025, by some tens of seconds uncertain in 2100. A second of ΔT moves the Moon by 0.5″ among the stars, the Sun by 0.04″.
func DeltaTSeconds(t time.Time) float64 {
	utc := t.UTC()
	year := float64(utc.Year()) + (float64(utc.YearDay())-0.5)/365.25
	switch {
	case year < 1900 || year >= 2150:
		u := (year - 1820) / 100
		return -20 + 32*u*u
	case year < 1920:
		return polynomial(year-1900, -2.79, 1.494119, -0.0598939, 0.0061966, -0.000197)
	case year < 1941:
		return polynomial(year-1920, 21.20, 0.84493, -0.076100, 0.0020936)
	case year < 1961:
		return polynomial(year-1950, 29.07, 0.407, -1./233, 1./2547)
	case year < 1986:
		return polynomial(year-1975, 45.45, 1.067, -1./260, -1./718)
	case year < 2005:
		return polynomial(year-2000, 63.86, 0.3345, -0.060374, 0.0017275, 0.000651814, 0.00002373599)
	case year < 2050:
		return polynomial(year-2000, 62.92, 0.32217, 0.005589)
	default:
		u := (year - 1820) / 100
		return -20 + 32*u*u - 0.5628*(2150-year)
	}
}

// checkDates returns ErrDates for a stretch of time that leaves 1900 to 2100, and an error for one that is empty.
func checkDates(from, to time.Time) error {
	first, end := time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2101, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, t := range []time.Time{from, to} {
		if t.Before(first) || t.After(end) {
			return fmt.Errorf("%s: %w", t.Format(time.RFC3339), ErrDates)
		}
	}
	if !from.Before(to) {
		return fmt.Errorf("sky: nothing between %s and %s: give a later end", from.Format(time.RFC3339), to.Format(time.RFC3339))
	}
	return nil
}

// later returns the instant some seconds after t.
func later(t time.Time, seconds float64) time.Time {
	return t.Add(time.Duration(math.Round(seconds * 1e9)))
}

// polynomial returns c₀ + c₁x + c₂x² + …
func polynomial(x float64, c ...float64) float64 {
	sum := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		sum = sum*x + c[i]
	}
	return sum
}
