package gazetteer

import (
	"math"

	"farstation/geodesy"
)

// summitIndex finds listed summits near a spot. Its cells are cubes in Earth-centred space: poles and date line are like any place.
type summitIndex map[[3]int32][]geodesy.LatLon

// summitCubeM is the side of a cube: spots are at most furthestMoveM from home and one spacing of posts more, so whoever is nearer than
// home is in the spot's cube or one that touches it.
const summitCubeM = 2 * furthestMoveM

func newSummitIndex(features []Feature) summitIndex {
	index := summitIndex{}
	for i := range features {
		if features[i].Kind.isSummit() {
			cube := cubeOf(features[i].Listed)
			index[cube] = append(index[cube], features[i].Listed)
		}
	}
	return index
}

func cubeOf(p geodesy.LatLon) [3]int32 {
	v := geodesy.WGS84.ToCartesian(p, 0)
	return [3]int32{int32(math.Floor(v.X / summitCubeM)), int32(math.Floor(v.Y / summitCubeM)), int32(math.Floor(v.Z / summitCubeM))}
}

// nearerThan tells whether any summit stands nearer to spot than home, which is itself in the index and no nearer than itself.
func (index summitIndex) nearerThan(spot, home geodesy.LatLon) bool {
	homeM := apartM(spot, home)
	middle := cubeOf(spot)
	for x := middle[0] - 1; x <= middle[0]+1; x++ {
		for y := middle[1] - 1; y <= middle[1]+1; y++ {
			for z := middle[2] - 1; z <= middle[2]+1; z++ {
				for _, other := range index[[3]int32{x, y, z}] {
					if apartM(spot, other) < homeM {
						return true
					}
				}
			}
		}
	}
	return false
}
