package light

import (
	"fmt"
	"math"

	"farstation/geodesy"
)

const maxDistanceM = 2e6

// Ray is a ray of light through a Profile, from an eye to a point distanceM along the sphere.
type Ray struct {
	// ElevationRad is the apparent elevation at the eye; ArrivalRad the elevation in which the ray leaves the point, away from the eye.
	ElevationRad, ArrivalRad float64
	// HeightM is the height over the sea at the end, infinite where the ray never stands over a point so far away.
	HeightM float64
	// LowestM and HighestM are the extreme heights over the sea on the way.
	LowestM, HighestM float64
	// BendRad is the angle by which the ray turned downwards on the way.
	BendRad float64
	// K is the equivalent refraction coefficient: constant, it would give the same end the same apparent elevation
	// (geodesy.ApparentElevationRad; on steep lines that relation stretches heights, and its k with them). NaN for an infinite height.
	K float64
	// GreatestK is the greatest of the layers on the way.
	GreatestK float64
}

// Follow returns the ray that leaves an eye at eyeM (−12,000 to 86,000 m) at elevationRad, between −π/2 and π/2, after distanceM (up to
// 2,000 km) along a sphere of radiusM. Ground and sea do not stop it: see LowestM.
func (p *Profile) Follow(eyeM, elevationRad, distanceM, radiusM float64) Ray {
	r := p.follow(eyeM, elevationRad, distanceM, radiusM)
	r.K = equivalentK(elevationRad, eyeM, r.HeightM, distanceM, radiusM)
	return r
}

func (p *Profile) follow(eyeM, elevationRad, distanceM, radiusM float64) Ray {
	r := p.start(eyeM, elevationRad, radiusM)
	r.run(distanceM / radiusM)
	return Ray{ElevationRad: elevationRad, ArrivalRad: math.Atan2(r.sin, r.cos), HeightM: r.heightM,
		LowestM: r.lowestM, HighestM: r.highestM, BendRad: r.bendRad, GreatestK: r.greatestK}
}

// equivalentK solves geodesy.ApparentElevationRad for k by secants; the elevation grows with k all but linearly. NaN for a topM that is not finite.
func equivalentK(elevationRad, eyeM, topM, distanceM, radiusM float64) float64 {
	over := func(k float64) float64 {
		return geodesy.ApparentElevationRad(eyeM, topM, distanceM, radiusM, k) - elevationRad
	}
	last, k := 0.0, 0.1
	lastOver, kOver := over(last), over(k)
	for range 30 {
		next := k - kOver*(k-last)/(kOver-lastOver)
		if math.IsNaN(next) && kOver == lastOver {
			break
		}
		last, lastOver, k, kOver = k, kOver, next, over(next)
		if !(math.Abs(k-last) > 1e-11) {
			break
		}
	}
	return k
}

// Point is a place on a ray.
type Point struct {
	DistanceM, HeightM, ElevationRad float64
	// K is the refraction coefficient of the air there.
	K float64
}

// Along returns points ≥ 2 places evenly along the ray of Follow, from the eye to distanceM.
func (p *Profile) Along(eyeM, elevationRad, distanceM, radiusM float64, points int) []Point {
	out := make([]Point, points)
	r := p.start(eyeM, elevationRad, radiusM)
	for i := range out {
		x := distanceM * float64(i) / float64(points-1)
		r.run(x / radiusM)
		out[i] = Point{DistanceM: x, HeightM: r.heightM, ElevationRad: math.Atan2(r.sin, r.cos), K: p.KAt(r.heightM)}
	}
	return out
}

// EquivalentK returns the constant refraction coefficient under which a top at topM appears as high over the horizontal of an eye at eyeM as
// it does through the profile, distanceM away on a sphere of radiusM (limits as for Follow). Where several rays meet the top, the uppermost
// that stays over the profile's lowest level counts: it shows the top upright; where all dip under that level, the uppermost of all, through
// the air assumed there. It returns an error for values outside the limits.
func (p *Profile) EquivalentK(eyeM, topM, distanceM, radiusM float64) (float64, error) {
	rays, err := p.Rays(eyeM, topM, distanceM, radiusM, math.Inf(-1))
	if err != nil {
		return 0, err
	}
	if len(rays) == 0 {
		return 0, fmt.Errorf("light: no ray from %g m to %g m over %g m found", eyeM, topM, distanceM)
	}
	best := rays[len(rays)-1]
	for _, r := range rays {
		if r.LowestM >= math.Min(p.lowestM, math.Min(eyeM, topM)) {
			best = r
		}
	}
	return best.K, nil
}

// Rays returns every ray from an eye at eyeM to a top at topM, distanceM away on a sphere of radiusM, that stays at or over floorM (−Inf
// keeps all), by rising apparent elevation. In most air it is one; a duct or an inversion can make three and more (images of one top over each other)
// or none. Rays nearer to each other than a thousandth of the angle by which the air between may turn them can be missed, in
// pairs. It returns an error for values outside the limits of Follow.
func (p *Profile) Rays(eyeM, topM, distanceM, radiusM, floorM float64) ([]Ray, error) {
	lowM, highM := p.levels[0].heightM, p.levels[len(p.levels)-1].heightM
	for _, h := range []float64{eyeM, topM} {
		if !(h >= lowM && h <= highM) {
			return nil, fmt.Errorf("light: height %g m: must be %.0f to %.0f m", h, lowM, highM)
		}
	}
	if !(distanceM > 0 && distanceM <= maxDistanceM) || !(radiusM > 1e6 && radiusM < 1e8) {
		return nil, fmt.Errorf("light: %g m on a sphere of %g m: distance must be over 0, at most %g m, the radius the Earth's", distanceM, radiusM, maxDistanceM)
	}
	s := search{air: p, eyeM: eyeM, topM: topM, distanceM: distanceM, radiusM: radiusM}
	reach := p.reach(eyeM, topM, distanceM, radiusM)
	if !reach.single || !s.alone(p.KAt((eyeM+topM)/2)) {
		s.scan(reach)
	}
	kept := s.found[:0]
	for _, r := range s.found {
		if r.LowestM >= floorM {
			r.K = equivalentK(r.ElevationRad, eyeM, topM, distanceM, radiusM)
			kept = append(kept, r)
		}
	}
	return kept, nil
}

// reach bounds the air that a ray between the two ends can meet. With the extreme k of a stretch of air that surely holds the ray, it stays
// under its chord, or over it, by at most |1−k|·s²/(8R); that is a smaller stretch, and so on from all air down.
func (p *Profile) reach(eyeM, topM, distanceM, radiusM float64) reach {
	sag := distanceM * distanceM / (8 * radiusM)
	r := p.sub.whole
	for range 4 {
		next := p.sub.between(math.Min(eyeM, topM)-sag*math.Max(1-r.leastK, 0), math.Max(eyeM, topM)+sag*math.Max(r.greatestK-1, 0))
		if next == r {
			break
		}
		r = next
	}
	return r
}
