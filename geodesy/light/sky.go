package light

import (
	"fmt"
	"math"
)

// SkyRefraction returns by how much a body in the sky seen at apparent elevationRad over the horizontal of an eye at eyeM stands higher than
// it is: the ray is traced through the profile out of the air, on a sphere of radiusM. From −3° to 90° it holds whatever the air; the ray's lowest
// height over the sea comes with it, since sea or ground there hide the sky. It returns an error where the ray does not leave the air:
// caught in a duct, or lower than −12 km.
func (p *Profile) SkyRefraction(eyeM, elevationRad, radiusM float64) (refractionRad, lowestM float64, err error) {
	r := p.start(eyeM, elevationRad, radiusM)
	switch leaves := r.run(math.Inf(1)); {
	case !leaves:
		return 0, r.lowestM, fmt.Errorf("light: ray at %.4f° from %g m never leaves the air: ducting at %.0f to %.0f m", elevationRad*180/math.Pi, eyeM, r.lowestM, r.highestM)
	case r.sublayer < 0:
		return 0, r.lowestM, fmt.Errorf("light: ray at %.4f° from %g m goes under %.0f m", elevationRad*180/math.Pi, eyeM, r.air.boundM[0])
	}
	return r.bendRad, r.lowestM, nil
}

// SkyApparentRad returns the apparent elevation of a body whose elevation without air is trueRad, −4° to 90°: the inverse of SkyRefraction,
// to 1e-9 rad. Where ducting gives several, it is one of them. It returns an error where none is found between −3.5° and 90°.
func (p *Profile) SkyApparentRad(eyeM, trueRad, radiusM float64) (float64, error) {
	const lowestRad = -3.5 * math.Pi / 180
	// Rays that never leave the air, and those from under it, count as coming from below everything.
	over := func(apparentRad float64) float64 {
		refraction, _, err := p.SkyRefraction(eyeM, apparentRad, radiusM)
		if err != nil {
			return math.Inf(-1)
		}
		return apparentRad - refraction - trueRad
	}
	low, high := math.Max(trueRad-1e-4, lowestRad), math.Min(trueRad+0.03, math.Pi/2)
	if over(low) > 0 || over(high) < 0 {
		return 0, fmt.Errorf("light: no apparent elevation from %.4f° to %.4f° shows a body at %.4f°", low*180/math.Pi, high*180/math.Pi, trueRad*180/math.Pi)
	}
	for high-low > 1e-9 {
		middle := (low + high) / 2
		if over(middle) < 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2, nil
}
