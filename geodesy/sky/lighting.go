package sky

import (
	"fmt"
	"math"
	"time"
)

// Lighting is how the Sun lights a target for an observer.
type Lighting int

// The kinds of light that are worth a photograph; anything else is Unlit.
const (
	Unlit      Lighting = iota
	FrontLight          // the Sun behind the camera
	SideLight           // the Sun beside the line
	Silhouette          // the Sun or its afterglow behind the target's skyline
)

func (l Lighting) String() string {
	switch l {
	case FrontLight:
		return "sun behind the camera"
	case SideLight:
		return "sun beside the line"
	case Silhouette:
		return "sun behind the skyline"
	}
	return "none of the three"
}

// Bounds of the kinds of light, in degrees: common practice, no source.
const (
	lowLightDeg       = 2.  // under it the ground between lies in shade
	sideHighestDeg    = 15. // above it shadows are short
	sideFromDeg       = 30.
	sideToDeg         = 90.
	silhouetteFromDeg = -6. // the end of civil twilight
	silhouetteOverDeg = 1.  // above the top; higher, the disc outshines the skyline
)

// LightingOf names the light on a target whose top appears at an azimuth and elevation. Front light: more than 90° from the line and
// 2° high. Side light: 30° to 90° from the line, 2° to 15° high. Silhouette: within 30° of the line, from 6° under the horizontal
// to 1° over the top. Elevations are the apparent ones.
func LightingOf(sun Place, targetAzimuthRad, targetElevationRad float64) Lighting {
	fromLine := math.Abs(halfTurn(sun.AzimuthRad-targetAzimuthRad)) / radPerDeg
	high := sun.ApparentElevationRad / radPerDeg
	switch {
	case fromLine > sideToDeg && high >= lowLightDeg:
		return FrontLight
	case fromLine >= sideFromDeg && fromLine <= sideToDeg && high >= lowLightDeg && high <= sideHighestDeg:
		return SideLight
	case fromLine < sideFromDeg && high >= silhouetteFromDeg && high <= targetElevationRad/radPerDeg+silhouetteOverDeg:
		return Silhouette
	}
	return Unlit
}

// Window is a stretch of time of one light.
type Window struct {
	Lighting Lighting
	From, To time.Time
}

// Windows returns the stretches of front light, side light and silhouette on a target from one instant to another, in order, their ends
// to a second. It looks every five minutes: shorter stretches may be missed. When the Sun comes near the line, Passes tells.
// Errors: an observer that is nowhere, ErrDates.
func Windows(o Observer, targetAzimuthRad, targetElevationRad float64, from, to time.Time) ([]Window, error) {
	if err := o.check(); err != nil {
		return nil, fmt.Errorf("windows of light: %w", err)
	}
	if err := checkDates(from, to); err != nil {
		return nil, fmt.Errorf("windows of light: %w", err)
	}
	eye := newStation(o)
	light := func(t time.Time) Lighting {
		p := eye.place(Sun, At(t))
		p.ApparentElevationRad = p.ElevationRad + o.lift(p.ElevationRad)
		return LightingOf(p, targetAzimuthRad, targetElevationRad)
	}
	var windows []Window
	since, now := from, light(from)
	change := func(at time.Time, next Lighting) {
		if now != Unlit {
			windows = append(windows, Window{now, since, at})
		}
		since, now = at, next
	}
	const every = 5 * time.Minute
	for t := from; t.Before(to); {
		end := t.Add(every)
		if end.After(to) {
			end = to
		}
		if light(end) != now { // go on from the change, for there may be another
			end = switchAfter(light, t, end, now)
			change(end, light(end))
		}
		t = end
	}
	change(to, Unlit)
	return windows, nil
}

// switchAfter returns the first second after which the light is no longer the one at from, by halving; the light at to is another one.
func switchAfter(light func(time.Time) Lighting, from, to time.Time, now Lighting) time.Time {
	for to.Sub(from) > time.Second {
		middle := from.Add(to.Sub(from) / 2)
		if light(middle) == now {
			from = middle
		} else {
			to = middle
		}
	}
	return to
}
