package main

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
)

// mask holds one bit a cell in the order that package terrain reads.
type mask [180 * 360 / 8]byte

// mark sets the cell with this south-west corner; any longitude is understood.
func (m *mask) mark(latDeg, lonDeg int) {
	latDeg = min(max(latDeg, -90), 89)
	column := (lonDeg + 180) % 360
	if column < 0 {
		column += 360
	}
	cell := (latDeg+90)*360 + column
	m[cell/8] |= 1 << (cell % 8)
}

func (m *mask) count() int {
	n := 0
	for _, b := range m {
		n += bits.OnesCount8(b)
	}
	return n
}

// unwrap shifts q by whole turns so that the edge from p to q takes the short way round. The rings of world-atlas run on across
// the date line, and Antarctica's goes once around the pole.
func unwrap(p, q point) point {
	q.lon -= 360 * math.Round((q.lon-p.lon)/360)
	return q
}

// markEdges marks every cell that an edge runs through, however short the piece: the edge is cut wherever it crosses a whole
// degree, and the middle of each piece tells its cell. An area cannot enter a cell without its edge or all of the cell.
func (m *mask) markEdges(rings [][]point) {
	var cuts []float64
	for _, ring := range rings {
		for i := range len(ring) - 1 {
			p, q := ring[i], unwrap(ring[i], ring[i+1])
			cuts = append(cuts[:0], 0, 1)
			cuts = appendCuts(cuts, p.lon, q.lon)
			cuts = appendCuts(cuts, p.lat, q.lat)
			slices.Sort(cuts)
			for j := range len(cuts) - 1 {
				middle := (cuts[j] + cuts[j+1]) / 2
				m.mark(int(math.Floor(p.lat+middle*(q.lat-p.lat))), int(math.Floor(p.lon+middle*(q.lon-p.lon))))
			}
		}
	}
}

// appendCuts appends the fractions of the way from a to b at which a whole number is passed.
func appendCuts(cuts []float64, a, b float64) []float64 {
	for whole := math.Ceil(min(a, b)); whole <= max(a, b); whole++ {
		if a != b {
			cuts = append(cuts, (whole-a)/(b-a))
		}
	}
	return cuts
}

// markInsides marks every cell whose centre is land, by the even-odd rule: along the meridian through the centres, from the
// north pole, which is sea, land and sea change places at every edge. It is an error when a meridian does not end on land at
// the south pole.
func (m *mask) markInsides(rings [][]point) error {
	var crossings [360][]float64
	for _, ring := range rings {
		for i := range len(ring) - 1 {
			p, q := ring[i], unwrap(ring[i], ring[i+1])
			west, east := min(p.lon, q.lon), max(p.lon, q.lon)
			for lon := int(math.Ceil(west - 0.5)); float64(lon)+0.5 < east; lon++ {
				column := ((lon+180)%360 + 360) % 360
				lat := p.lat + (float64(lon)+0.5-p.lon)*(q.lat-p.lat)/(q.lon-p.lon)
				crossings[column] = append(crossings[column], lat)
			}
		}
	}
	for column, lats := range crossings {
		slices.Sort(lats)
		if len(lats)%2 == 0 {
			return fmt.Errorf("meridian %v° meets %d edges: the south pole is not inside the land", float64(column)-179.5, len(lats))
		}
		for lat := -90; lat < 90; lat++ {
			south, _ := slices.BinarySearch(lats, float64(lat)+0.5)
			if (len(lats)-south)%2 == 1 {
				m.mark(lat, column-180)
			}
		}
	}
	return nil
}
