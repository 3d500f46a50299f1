package sky

import (
	"fmt"
	"math"
	"time"
)

// Pass is a stretch of time during which a body's centre stays within an angle of a direction.
type Pass struct {
	From, To      time.Time
	Closest       time.Time
	SeparationRad float64 // at Closest
	// SecondsPerElevationRad is by how much Closest moves when the direction, or all that is seen, is lifted by a radian: times the
	// spread of the elevation it is the spread in time. It is 0 where the body stands still.
	SecondsPerElevationRad float64
}

// Passes returns when the body comes within withinRad of a direction given by azimuth and apparent elevation (the top of a target as
// seen), from one instant to another, in order. A stretch that began before from or lasts past to is cut there. Passes of less than about a
// second may be missed. Within the diameter of the body, 0.25°, its disc stands behind the direction; within 10° no optical finder
// may be used on the Sun. All turns on the observer's Refraction: near the horizontal give one that is traced. Errors: an observer
// that is nowhere, an angle that is none, ErrDates.
func Passes(b Body, o Observer, targetAzimuthRad, targetElevationRad float64, from, to time.Time, withinRad float64) ([]Pass, error) {
	fail := func(err error) ([]Pass, error) { return nil, fmt.Errorf("passes of the %v: %w", b, err) }
	if err := o.check(); err != nil {
		return fail(err)
	}
	if err := checkDates(from, to); err != nil {
		return fail(err)
	}
	if !(math.Abs(targetElevationRad) <= math.Pi/2) || math.IsNaN(targetAzimuthRad) || math.IsInf(targetAzimuthRad, 0) || !(withinRad > 0) {
		return fail(fmt.Errorf("sky: azimuth %g, elevation %g, within %g rad is no direction", targetAzimuthRad, targetElevationRad, withinRad))
	}
	eye := newStation(o)
	seen := func(s float64) (azimuthRad, elevationRad float64) {
		p := eye.place(b, At(later(from, s)))
		return p.AzimuthRad, p.ElevationRad + o.lift(p.ElevationRad)
	}
	away := func(s float64) float64 {
		azimuth, elevation := seen(s)
		return SeparationRad(azimuth, elevation, targetAzimuthRad, targetElevationRad)
	}
	lengthS := to.Sub(from).Seconds()
	outside := func(s float64) float64 { return away(s) - withinRad }
	points := sample(outside, samplesOver(lengthS))
	var passes []Pass
	add := func(enterS, leaveS float64) {
		enterS, leaveS = max(enterS, 0), min(leaveS, lengthS)
		if enterS >= leaveS {
			return
		}
		s := closest(away, enterS, leaveS)
		passes = append(passes, Pass{later(from, enterS), later(from, leaveS), later(from, s), away(s), slowness(seen, s)})
	}
	entered, inside := points[0].s, !positive(points[0])
	for _, c := range crossings(outside, points) {
		if inside = !c.rising; inside {
			entered = c.s
		} else {
			add(entered, c.s)
		}
	}
	if inside {
		add(entered, lengthS)
	}
	return passes, nil
}

// closest returns where a separation is least between two seconds.
func closest(away func(s float64) float64, fromS, toS float64) float64 {
	pieces := math.Ceil((toS - fromS) / stepS)
	best := point{fromS, away(fromS)}
	for i := 1.0; i <= pieces; i++ {
		s := fromS + (toS-fromS)*i/pieces
		if value := away(s); value < best.value {
			best = point{s, value}
		}
	}
	width := (toS - fromS) / pieces
	if p := least(away, 1, max(fromS, best.s-width), min(toS, best.s+width), false); p.value < best.value {
		best = p
	}
	return best.s
}

// slowness returns the seconds by which the closest approach moves for each radian that the target is lifted: the elevation's share of
// the body's apparent motion, over its square.
func slowness(seen func(s float64) (azimuthRad, elevationRad float64), s float64) float64 {
	const halfS = 5
	a0, e0 := seen(s - halfS)
	a1, e1 := seen(s + halfS)
	across := halfTurn(a1-a0) * math.Cos((e0+e1)/2) / (2 * halfS)
	up := (e1 - e0) / (2 * halfS)
	if speed2 := across*across + up*up; speed2 > 0 {
		return up / speed2
	}
	return 0
}
