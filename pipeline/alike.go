package pipeline

import (
	"math"

	"farstation/geodesy"
)

// alikeGroups finds the ranked line that another one is alike: both ends within max(2 km, 2 % of the distance), same kind of target.
// Representatives are filed under the 10 km cube of their observer, so that only 27 cubes are looked at.
type alikeGroups struct {
	cubes map[cube][]representative
}

type cube [3]int32

type representative struct {
	line             int
	observer, target geodesy.Vector
	kind             string
}

const (
	alikeLeastM = 2000
	alikeShare  = 0.02
	cubeM       = 10e3
)

func newAlikeGroups() *alikeGroups { return &alikeGroups{cubes: map[cube][]representative{}} }

func ends(s *Sightline) (observer, target geodesy.Vector) {
	return geodesy.WGS84.ToCartesian(geodesy.LatLon{LatDeg: s.ObserverLatDeg, LonDeg: s.ObserverLonDeg}, 0),
		geodesy.WGS84.ToCartesian(geodesy.LatLon{LatDeg: s.TargetLatDeg, LonDeg: s.TargetLonDeg}, 0)
}

func cubeOf(v geodesy.Vector) cube {
	return cube{int32(math.Floor(v.X / cubeM)), int32(math.Floor(v.Y / cubeM)), int32(math.Floor(v.Z / cubeM))}
}

// find returns the first filed representative that s is alike. Beyond 500 km the limit of 2 % would leave the neighbouring cubes; it
// stays at 10 km there.
func (g *alikeGroups) find(s *Sightline, lines []Sightline) (index int, found bool) {
	observer, target := ends(s)
	limit := math.Min(math.Max(alikeLeastM, alikeShare*s.DistanceM), cubeM)
	c := cubeOf(observer)
	best := -1
	for dx := int32(-1); dx <= 1; dx++ {
		for dy := int32(-1); dy <= 1; dy++ {
			for dz := int32(-1); dz <= 1; dz++ {
				filed := g.cubes[cube{c[0] + dx, c[1] + dy, c[2] + dz}]
				for i := range filed {
					r := &filed[i]
					// Most are told apart by one coordinate.
					if math.Abs(r.target.X-target.X) > limit || math.Abs(r.target.Y-target.Y) > limit || r.kind != s.TargetKind || r.observer.Sub(observer).Norm() > limit || r.target.Sub(target).Norm() > limit {
						continue
					}
					if best < 0 || *lines[r.line].Rank < *lines[best].Rank {
						best = r.line
					}
				}
			}
		}
	}
	return best, best >= 0
}

func (g *alikeGroups) add(s *Sightline, index int) {
	observer, target := ends(s)
	c := cubeOf(observer)
	g.cubes[c] = append(g.cubes[c], representative{line: index, observer: observer, target: target, kind: s.TargetKind})
}
