package pipeline

import (
	"cmp"
	"slices"

	"farstation/gazetteer"
	"farstation/geodesy"
)

// hilbertOrder of the curve over the whole globe: 2^16 steps a side are 600 m at the equator.
const hilbertOrder = 16

// hilbert returns how far along the Hilbert curve a place lies, so that places near each other on the curve look over the same terrain
// (D. Hilbert, Math. Annalen 38, 1891; the loop turns each quadrant as the curve does).
func hilbert(p geodesy.LatLon) uint32 {
	const side = 1 << hilbertOrder
	step := func(v, span float64) uint32 {
		return uint32(min(max(v/span*side, 0), side-1))
	}
	x, y := step(p.LonDeg+180, 360), step(p.LatDeg+90, 180)
	var d uint32
	for s := uint32(side / 2); s > 0; s /= 2 {
		var rx, ry uint32
		if x&s != 0 {
			rx = 1
		}
		if y&s != 0 {
			ry = 1
		}
		d += s * s * ((3 * rx) ^ ry)
		if ry == 0 {
			if rx == 1 {
				x, y = side-1-x, side-1-y
			}
			x, y = y, x
		}
	}
	return d
}

// chunkSize is the number of observers that are traced and committed together.
const chunkSize = 16

// chunks orders observers, given by their indices into features, along the Hilbert curve and cuts them into chunks; within a chunk
// they stand by id.
func chunks(features []gazetteer.Feature, observers []int) [][]int {
	ordered := slices.Clone(observers)
	slices.SortFunc(ordered, func(a, b int) int {
		return cmp.Or(cmp.Compare(hilbert(features[a].At), hilbert(features[b].At)), cmp.Compare(features[a].ID, features[b].ID))
	})
	var out [][]int
	for chunk := range slices.Chunk(ordered, chunkSize) {
		chunk = slices.Clone(chunk)
		slices.SortFunc(chunk, func(a, b int) int { return cmp.Compare(features[a].ID, features[b].ID) })
		out = append(out, chunk)
	}
	return out
}
