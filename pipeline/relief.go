package pipeline

import (
	"context"
	"math"
	"slices"

	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// MapBox is the part of the Earth that a map of the run shows, in degrees. WestDeg lies within −180…180 and EastDeg is greater, past 180
// where the box crosses the date line.
type MapBox struct{ WestDeg, SouthDeg, EastDeg, NorthDeg float64 }

// mapEdgeDeg is the greatest latitude of a map in Mercator's projection; past it nothing is drawn to any sensible scale.
const mapEdgeDeg = 84

// NorthingDeg is the northing of a latitude in Mercator's projection on the sphere, in degrees of longitude at the equator: ln tan(45° + φ/2),
// Snyder 1987, equation 7-2. Latitudes past 84° either way are taken as 84°.
func NorthingDeg(latDeg float64) float64 {
	latDeg = math.Max(-mapEdgeDeg, math.Min(mapEdgeDeg, latDeg))
	return math.Asinh(math.Tan(latDeg*math.Pi/180)) * 180 / math.Pi
}

// LatitudeOfNorthingDeg is the inverse of NorthingDeg.
func LatitudeOfNorthingDeg(northingDeg float64) float64 {
	return math.Atan(math.Sinh(northingDeg*math.Pi/180)) * 180 / math.Pi
}

// BoxAround is the box around places, with a margin and no narrower or flatter than a page shows well; false for no place. Of the boxes that
// hold them all it is the one that spans the fewest degrees of longitude.
func BoxAround(places []geodesy.LatLon) (MapBox, bool) {
	if len(places) == 0 {
		return MapBox{}, false
	}
	var lons []float64
	south, north := math.Inf(1), math.Inf(-1)
	for _, p := range places {
		lons = append(lons, p.LonDeg)
		south, north = math.Min(south, NorthingDeg(p.LatDeg)), math.Max(north, NorthingDeg(p.LatDeg))
	}
	slices.Sort(lons)
	// The box begins after the widest gap between neighbouring longitudes.
	west, width := lons[0], lons[len(lons)-1]-lons[0]
	for i := 1; i < len(lons); i++ {
		if w := lons[i-1] + 360 - lons[i]; w < width {
			west, width = lons[i], w
		}
	}
	const leastDeg, margin, broadest, tallest = 0.2, 0.12, 2.5, 2
	height := math.Max(north-south, leastDeg)
	wide := math.Max(width, leastDeg)
	pad := margin * math.Max(wide, height)
	wide, height = wide+2*pad, height+2*pad
	if wide > broadest*height {
		height = wide / broadest
	}
	if wide < tallest*height {
		wide = tallest * height
	}
	wide = math.Min(wide, 360)
	middleX, middleY := west+width/2, (south+north)/2
	box := MapBox{
		WestDeg: middleX - wide/2, EastDeg: middleX + wide/2,
		SouthDeg: LatitudeOfNorthingDeg(middleY - height/2), NorthDeg: LatitudeOfNorthingDeg(middleY + height/2),
	}
	box.SouthDeg, box.NorthDeg = math.Max(box.SouthDeg, -mapEdgeDeg), math.Min(box.NorthDeg, mapEdgeDeg)
	for box.WestDeg < -180 {
		box.WestDeg, box.EastDeg = box.WestDeg+360, box.EastDeg+360
	}
	for box.WestDeg >= 180 {
		box.WestDeg, box.EastDeg = box.WestDeg-360, box.EastDeg-360
	}
	return box, true
}

// DrawnBox is the box around the sightlines and the alignments that are drawn: those of the first ranks, top of each.
func (r *Result) DrawnBox(top int) (MapBox, bool) {
	var places []geodesy.LatLon
	add := func(rank *int32, latDeg, lonDeg, otherLatDeg, otherLonDeg float64) {
		if rank != nil && int(*rank) <= top {
			places = append(places, geodesy.LatLon{LatDeg: latDeg, LonDeg: lonDeg}, geodesy.LatLon{LatDeg: otherLatDeg, LonDeg: otherLonDeg})
		}
	}
	for i := range r.Shown.Sightlines {
		l := &r.Shown.Sightlines[i]
		add(l.Rank, l.ObserverLatDeg, l.ObserverLonDeg, l.TargetLatDeg, l.TargetLonDeg)
	}
	for i := range r.Shown.Alignments {
		a := &r.Shown.Alignments[i]
		add(a.Rank, a.ObserverLatDeg, a.ObserverLonDeg, a.FarLatDeg, a.FarLonDeg)
	}
	return BoxAround(places)
}

// ReliefGrid is the ground of a map's box: heights in metres over the geoid from the north-west corner on, row by row, each the mean of four
// places within its cell. Columns are equally spaced in longitude and rows by the same step in NorthingDeg, so that cells are square on
// the map. Sea and missing terrain are NoGround.
type ReliefGrid struct {
	MapBox
	Columns, Rows int
	HeightM       []int16
}

// NoGround stands for sea and missing terrain in a ReliefGrid.
const NoGround = math.MinInt16

// Ground finer than a cell of the map only blurs it, and a map of half the world would read every tile for a few cells each.
const (
	reliefCells = 560 // along the longer side
	reliefTiles = 400 // the most that are read
)

// relief samples the terrain of a box, one tile after another; nil where the box has no terrain, or too much of it.
func relief(ctx context.Context, store *terrain.Store, box MapBox) (*ReliefGrid, error) {
	top, bottom := NorthingDeg(box.NorthDeg), NorthingDeg(box.SouthDeg)
	stepDeg := math.Max(box.EastDeg-box.WestDeg, top-bottom) / reliefCells
	g := &ReliefGrid{MapBox: box, Columns: max(1, int((box.EastDeg-box.WestDeg)/stepDeg+0.5)), Rows: max(1, int((top-bottom)/stepDeg+0.5))}
	g.HeightM = make([]int16, g.Columns*g.Rows)
	place := func(column, row float64) geodesy.LatLon {
		return geodesy.LatLon{LatDeg: LatitudeOfNorthingDeg(top - row*stepDeg), LonDeg: math.Remainder(box.WestDeg+column*stepDeg, 360)}
	}
	cells := map[[2]int][]int{} // of the grid, by tile
	var tiles [][2]int
	for i := range g.HeightM {
		g.HeightM[i] = NoGround
		p := place(float64(i%g.Columns)+0.5, float64(i/g.Columns)+0.5)
		tile := [2]int{int(math.Floor(p.LatDeg)), int(math.Floor(p.LonDeg))}
		if cells[tile] == nil {
			tiles = append(tiles, tile)
		}
		cells[tile] = append(cells[tile], i)
	}
	if len(tiles) > reliefTiles {
		return nil, nil
	}
	anyGround := false
	for _, tile := range tiles {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if store.State(tile[0], tile[1]) != terrain.HasTile {
			continue
		}
		for _, i := range cells[tile] {
			sum, known := 0.0, 0
			for _, at := range [4][2]float64{{0.25, 0.25}, {0.75, 0.25}, {0.25, 0.75}, {0.75, 0.75}} {
				if m, ok := store.HeightM(place(float64(i%g.Columns)+at[0], float64(i/g.Columns)+at[1])); ok && m != 0 {
					sum, known = sum+m, known+1
				}
			}
			if known >= 2 {
				g.HeightM[i], anyGround = int16(math.Round(sum/float64(known))), true
			}
		}
	}
	if !anyGround {
		return nil, nil
	}
	return g, nil
}
