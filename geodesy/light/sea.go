package light

import (
	"fmt"
	"math"

	"farstation/geodesy"
)

// SeaHorizon returns the dip of the sea horizon, in radians, and its distance along the sea, for an eye at eyeM through the profile, over
// water at seaM (0, the tide, or the level of a lake; heights over the geoid) on a sphere of radiusM: the ray that leaves the water level and
// meets the eye. It returns geodesy.ErrBelowSea for an eye under the water and geodesy.ErrNoHorizon where ducting under the eye lets no such ray
// through: n·r is nowhere to fall below its value at the water.
func (p *Profile) SeaHorizon(eyeM, seaM, radiusM float64) (dipRad, distanceM float64, err error) {
	if !(eyeM >= seaM) {
		return 0, 0, fmt.Errorf("light: sea horizon at %g m over water at %g m: %w", eyeM, seaM, geodesy.ErrBelowSea)
	}
	if eyeM == seaM {
		return 0, 0, nil
	}
	r := p.start(seaM, 0, radiusM)
	r.ceilingM = eyeM
	for r.heightM < eyeM {
		if r.sublayer >= len(r.air.logRatio) {
			return 0, 0, fmt.Errorf("light: sea horizon at %g m: no air above %.0f m", eyeM, r.heightM)
		}
		a := r.straightness(r.sublayer)
		if r.sin == 0 && a <= 0 || !r.cross(a, math.Inf(1)) || r.turns > 0 {
			return 0, 0, fmt.Errorf("light: sea horizon at %g m, ducting over %.0f m: %w", eyeM, r.heightM, geodesy.ErrNoHorizon)
		}
	}
	return math.Atan2(r.sin, r.cos), r.thetaRad * radiusM, nil
}

// SeaObscuredM returns the height, in metres over the geoid, up to which the sea cuts off what stands distanceM away: that of the ray
// of SeaHorizon where it has gone on past the horizon; seaM inside it. It is for a single image: where inversions show what lies lower
// by other rays, see Rays. Errors are those of SeaHorizon.
func (p *Profile) SeaObscuredM(eyeM, distanceM, seaM, radiusM float64) (float64, error) {
	_, horizonM, err := p.SeaHorizon(eyeM, seaM, radiusM)
	if err != nil {
		return 0, err
	}
	if distanceM <= horizonM {
		return seaM, nil
	}
	return p.follow(seaM, 0, distanceM-horizonM, radiusM).HeightM, nil
}
