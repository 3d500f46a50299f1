package pipeline

import (
	"fmt"
	"math"
)

func (v *verification) profileRules() []rowRule[Profile] {
	place := int32(0)
	// line returns the sightline that the profile being checked should be of.
	line := func() (*Sightline, error) {
		if l := v.drawn[place]; l != nil {
			return l, nil
		}
		return nil, fmt.Errorf("is profile %d, and no line that the report draws has that rank", place)
	}
	return []rowRule[Profile]{
		{"every line that the report draws has its profile, best first", func(p *Profile) error {
			place++
			l, err := line()
			if err == nil && (l.ObserverID != p.ObserverID || l.TargetID != p.TargetID) {
				err = fmt.Errorf("is profile %d, rank %d is %s → %s", place, place, l.ObserverID, l.TargetID)
			}
			return err
		}, func() error {
			if int(place) != len(v.drawn) {
				return fmt.Errorf("%d profiles for %d lines", place, len(v.drawn))
			}
			return nil
		}},
		{"profiles run from 0 to the target without a step back", func(p *Profile) error {
			l, err := line()
			if err != nil {
				return nil // found by the rule above
			}
			for i := 1; i < len(p.Samples); i++ {
				if !(p.Samples[i].DistanceM >= p.Samples[i-1].DistanceM) {
					return fmt.Errorf("distance_m %v after %v", p.Samples[i].DistanceM, p.Samples[i-1].DistanceM)
				}
			}
			if first, last := p.Samples[0].DistanceM, p.Samples[len(p.Samples)-1].DistanceM; first != 0 || math.Abs(last-l.DistanceM) > 1e-3 {
				return fmt.Errorf("runs from %v m to %v m of %v m", first, last, l.DistanceM)
			}
			return nil
		}, nil},
		{fmt.Sprintf("critical_k follows from the profile alone, to %g m of ground", profileToleranceM), func(p *Profile) error {
			l, err := line()
			if err != nil || len(p.Samples) < 2 || l.TerrainCoverage < 1 { // between posts and their stand-ins the ground is a cliff
				return nil
			}
			k, atM := profileCriticalK(p, l, v.opts.GuardM)
			if off := groundOff(k-l.CriticalK, atM, l); !(math.Abs(off) <= profileToleranceM) {
				return fmt.Errorf("critical_k %v, the profile gives %v at %.0f m: %.1f m of ground", l.CriticalK, k, atM, off)
			}
			return nil
		}, nil},
	}
}

// profileToleranceM is how far the ground of a profile, straight between its points, may depart from that of the terrain, which bends within a
// cell.
const profileToleranceM = 3.0

// groundOff turns a difference of critical refraction at distance x into metres of ground: one metre moves k_c by 2R/(x(s−x)).
func groundOff(k, x float64, l *Sightline) float64 {
	return k * x * (l.DistanceM - x) / (2 * l.RadiusM)
}

// profileCriticalK returns the critical refraction of a line and its grazing point from the profile and the row alone: on the sphere of radius R
// the chord between two ends at r₁ and r₂ from the centre, Θ apart, stands at r₁r₂ sin Θ/(r₁ sin θ + r₂ sin(Θ−θ)), and ground it touches for
// k = 2R(ground − chord)/(x(s−x)). Between points the ground is taken as straight, and looked at every 5 m.
func profileCriticalK(p *Profile, l *Sightline, guardM float64) (k, atM float64) {
	const stepM = 5
	s, r := l.DistanceM, l.RadiusM
	first, last := &p.Samples[0], &p.Samples[len(p.Samples)-1]
	r1, r2 := r+l.EyeHeightM+first.UndulationM, r+l.TopHeightM+last.UndulationM
	k = math.Inf(-1)
	at := func(a, b *ProfileSample, x float64) {
		if x < guardM || x > s-guardM {
			return
		}
		share := 0.0
		if b.DistanceM > a.DistanceM {
			share = (x - a.DistanceM) / (b.DistanceM - a.DistanceM)
		}
		ground := a.GroundM + a.UndulationM + share*(b.GroundM+b.UndulationM-a.GroundM-a.UndulationM)
		chord := r1*r2*math.Sin(s/r)/(r1*math.Sin(x/r)+r2*math.Sin((s-x)/r)) - r
		if here := 2 * r * (ground - chord) / (x * (s - x)); here >= k {
			k, atM = here, x
		}
	}
	for i := 1; i < len(p.Samples); i++ {
		a, b := &p.Samples[i-1], &p.Samples[i]
		for x := a.DistanceM; x < b.DistanceM; x += stepM {
			at(a, b, x)
		}
		at(a, b, b.DistanceM)
		for _, edge := range [2]float64{guardM, s - guardM} {
			if a.DistanceM <= edge && edge <= b.DistanceM {
				at(a, b, edge)
			}
		}
	}
	return k, atM
}
