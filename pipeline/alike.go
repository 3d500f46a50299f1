package pipeline

import (
	"math"

	"farstation/gazetteer"
	"farstation/geodesy"
)

// alikeGroups finds the ranked line that another one is alike: both ends within max(2 km, 2 % of the distance), same kind of target.
// Representatives are filed under the 10 km cube of their observer, so that only 27 cubes are looked at.
type alikeGroups struct {
	features []gazetteer.Feature
	at       []geodesy.Vector // by feature
	cubes    map[cube][]representative
}

type cube [3]int32

// representative is a ranked line: the number of its row, its rank, the features at its ends.
type representative struct {
	row              int64
	rank             int32
	observer, target int32
}

const (
	alikeLeastM = 2000
	alikeShare  = 0.02
	cubeM       = 10e3
)

func newAlikeGroups(features []gazetteer.Feature) *alikeGroups {
	g := &alikeGroups{features: features, at: make([]geodesy.Vector, len(features)), cubes: map[cube][]representative{}}
	for i := range features {
		g.at[i] = geodesy.WGS84.ToCartesian(features[i].At, 0)
	}
	return g
}

func cubeOf(v geodesy.Vector) cube {
	return cube{int32(math.Floor(v.X / cubeM)), int32(math.Floor(v.Y / cubeM)), int32(math.Floor(v.Z / cubeM))}
}

// find returns the row of the first filed representative that a line is alike. Beyond 500 km the limit of 2 % would leave the neighbouring
// cubes; it stays at 10 km there.
func (g *alikeGroups) find(line *rankKey) (row int64, found bool) {
	observer, target, kind := g.at[line.observer], g.at[line.target], g.features[line.target].Kind
	limit := math.Min(math.Max(alikeLeastM, alikeShare*line.distanceM), cubeM)
	c := cubeOf(observer)
	var best *representative
	for dx := int32(-1); dx <= 1; dx++ {
		for dy := int32(-1); dy <= 1; dy++ {
			for dz := int32(-1); dz <= 1; dz++ {
				filed := g.cubes[cube{c[0] + dx, c[1] + dy, c[2] + dz}]
				for i := range filed {
					r := &filed[i]
					// Most are told apart by one coordinate.
					at := &g.at[r.target]
					if math.Abs(at.X-target.X) > limit || math.Abs(at.Y-target.Y) > limit || g.features[r.target].Kind != kind ||
						g.at[r.observer].Sub(observer).Norm() > limit || at.Sub(target).Norm() > limit {
						continue
					}
					if best == nil || r.rank < best.rank {
						best = r
					}
				}
			}
		}
	}
	if best == nil {
		return 0, false
	}
	return best.row, true
}

func (g *alikeGroups) add(line *rankKey, rank int32) {
	c := cubeOf(g.at[line.observer])
	g.cubes[c] = append(g.cubes[c], representative{row: line.row, rank: rank, observer: line.observer, target: line.target})
}
