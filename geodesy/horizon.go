package geodesy

import (
	"errors"
	"fmt"
	"math"
)

var (
	// ErrBelowSea is returned where an eye or a top lies below the sea and so has no sea horizon.
	ErrBelowSea = errors.New("geodesy: below the sea")
	// ErrNoHorizon is returned for k of 1 and more, where light follows the sea or bends more than it and no horizon forms.
	ErrNoHorizon = errors.New("geodesy: no sea horizon at a refraction coefficient of 1 or more")
)

// The functions of this file work on a smooth sphere of radiusM > 0 under light of constant refraction coefficient k. They straighten
// the ray by taking the sphere of radius R' = R/(1−k), and write everything in its curvature (1−k)/R, which is 0 at k = 1 and
// negative beyond (a bowl), so that every k is computed by one formula without the difference of two large radii.

// ApparentCurvaturePerM returns (1−k)/R per metre, the curvature of the sea as seen along the light: what a photograph measures.
func ApparentCurvaturePerM(radiusM, k float64) float64 {
	return (1 - k) / radiusM
}

// ApparentElevationRad returns the angle, in radians, over the eye's horizontal at which a top appears under the curved model:
// tan ε = ((R'+h₂)cos θ − (R'+h₁)) / ((R'+h₂) sin θ), θ = s/R'. This is the triangle of eye, top and centre on the sphere of
// effective radius (A. T. Young, "altitudes of distant objects", which also says where it ends: when heights differ by much of the
// 8 km over which air thins). Heights are metres over the sphere, distanceM > 0 along it and less than half its circumference; k is any finite
// number. At distance 0 it is ±π/2, or 0 where both heights agree.
func ApparentElevationRad(eyeM, topM, distanceM, radiusM, k float64) float64 {
	curvature := ApparentCurvaturePerM(radiusM, k)
	theta := curvature * distanceM
	scale := 1 + curvature*topM // (R'+h₂)/R'
	half := sinc(theta / 2)
	fall := scale * theta * distanceM / 2 * half * half // (R'+h₂)(1−cos θ)
	return math.Atan2(topM-eyeM-fall, scale*distanceM*sinc(theta))
}

// HeightAtElevationM returns the height, in metres over the sphere, of what appears at elevationRad (between −π/2 and π/2) at the
// given distance: the inverse of ApparentElevationRad in topM. It is infinite where a ray of that elevation never stands over a
// point so far away.
func HeightAtElevationM(elevationRad, eyeM, distanceM, radiusM, k float64) float64 {
	curvature := ApparentCurvaturePerM(radiusM, k)
	theta := curvature * distanceM
	down := math.Cos(elevationRad + theta)
	if down <= 0 {
		return math.Inf(sign(elevationRad + theta))
	}
	// R'+h₂ = (R'+h₁)·cos ε / cos(ε+θ) by the law of sines; h₁ is taken off both sides before anything is rounded.
	return eyeM + (1+curvature*eyeM)*distanceM*sinc(theta/2)*math.Sin(elevationRad+theta/2)/down
}

// SeaHorizon returns the dip of the sea horizon, in radians, and its distance along the sea, for an eye eyeM ≥ 0 over the sea and
// k < 1: dip = acos(R'/(R'+h)), distance R'·dip (Bowditch, Pub. No. 9, explanation of tables 12 and 13; exact on the sphere).
// It returns ErrBelowSea for an eye below the sea and ErrNoHorizon for k ≥ 1.
func SeaHorizon(eyeM, radiusM, k float64) (dipRad, distanceM float64, err error) {
	if eyeM < 0 {
		return 0, 0, fmt.Errorf("sea horizon at a height of %g m: %w", eyeM, ErrBelowSea)
	}
	if k >= 1 {
		return 0, 0, fmt.Errorf("sea horizon with k = %g: %w", k, ErrNoHorizon)
	}
	curvature := ApparentCurvaturePerM(radiusM, k)
	// acos(1/(1+x)) loses half its digits for a small x; the half-angle form keeps them.
	x := curvature * eyeM
	dipRad = 2 * math.Atan(math.Sqrt(x/(2+x)))
	return dipRad, dipRad / curvature, nil
}

// SeaObscuredM returns the height, in metres over the sea, up to which the sea alone cuts off what stands distanceM away:
// R'(sec(θ−dip)−1) past the sea horizon, 0 inside it. With k ≥ 1 there is no horizon and the sea cuts off nothing: 0. It is
// infinite from a quarter of the effective sphere past the horizon on. It returns ErrBelowSea for an eye below the sea.
func SeaObscuredM(eyeM, distanceM, radiusM, k float64) (float64, error) {
	_, horizonM, err := SeaHorizon(eyeM, radiusM, k)
	if errors.Is(err, ErrNoHorizon) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	return HeightAtElevationM(0, 0, max(0, distanceM-horizonM), radiusM, k), nil
}

// GeographicRangeM returns the distance, in metres along the sea, at which a top comes over the sea horizon of an eye: the sum of
// the two horizon distances (Bowditch, Pub. No. 9, table 13). Errors are those of SeaHorizon.
func GeographicRangeM(eyeM, topM, radiusM, k float64) (float64, error) {
	_, eyeHorizonM, err := SeaHorizon(eyeM, radiusM, k)
	if err != nil {
		return 0, fmt.Errorf("geographic range, eye: %w", err)
	}
	_, topHorizonM, err := SeaHorizon(topM, radiusM, k)
	if err != nil {
		return 0, fmt.Errorf("geographic range, top: %w", err)
	}
	return eyeHorizonM + topHorizonM, nil
}

// DipShortOfHorizonRad returns the depression, in radians under the eye's horizontal, of a waterline nearer than the sea horizon
// (Bowditch, Pub. No. 9, table 14). It is least, and equal to the dip, at the horizon; past it the sea itself is in the way and
// the value has no meaning.
func DipShortOfHorizonRad(eyeM, distanceM, radiusM, k float64) float64 {
	return -ApparentElevationRad(eyeM, 0, distanceM, radiusM, k)
}

// ClearanceOverSeaM returns the least height, in metres over the sea, of the ray between eye and top; negative where the sea cuts
// it. Exact on the sphere, any finite k.
func ClearanceOverSeaM(eyeM, topM, distanceM, radiusM, k float64) float64 {
	elevationRad := ApparentElevationRad(eyeM, topM, distanceM, radiusM, k)
	if elevationRad >= 0 || ApparentElevationRad(topM, eyeM, distanceM, radiusM, k) >= 0 {
		return min(eyeM, topM)
	}
	// Both ends look down, so the curvature is positive and the ray is level somewhere between: there R'+h = (R'+h₁)cos ε.
	curvature := ApparentCurvaturePerM(radiusM, k)
	half := math.Sin(elevationRad / 2)
	return eyeM - (1+curvature*eyeM)*2*half*half/curvature
}

// CurvatureAndRefractionM returns the surveyor's correction c = (1−k)d²/(2R), in metres: how far a level surface falls under the
// sight at distanceM, less what refraction gives back (Ghilani & Wolf, Elementary Surveying, ch. 4). First order: for a level sight
// it is 0.05 m short of the exact R'(sec θ−1) at 100 km and 4.3 m at 300 km (k = 0.13); steep sights differ more.
func CurvatureAndRefractionM(distanceM, radiusM, k float64) float64 {
	return ApparentCurvaturePerM(radiusM, k) * distanceM * distanceM / 2
}

// LineHeightM returns the height, in metres over the sea, of the line between two stations where it passes an obstruction, with
// the distances from the obstruction to either station: the straight slope less (1−k)·d₁·d₂/(2R) (US Army Engineer School,
// subcourse EN0593, Surveying III, lesson 2). First order, as CurvatureAndRefractionM; the two distances may not both be 0.
func LineHeightM(fromM, toM, fromDistanceM, toDistanceM, radiusM, k float64) float64 {
	slope := (toM - fromM) / (fromDistanceM + toDistanceM)
	return fromM + slope*fromDistanceM - ApparentCurvaturePerM(radiusM, k)*fromDistanceM*toDistanceM/2
}

// sinc returns sin x / x, 1 at 0.
func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(x) / x
}

func sign(x float64) int {
	if x < 0 {
		return -1
	}
	return 1
}
