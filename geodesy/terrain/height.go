package terrain

import (
	"math"

	"farstation/geodesy"
)

// HeightM returns the height of the ground in metres over the geoid, bilinear between the four posts around the place. Sea is
// 0. It is false in a gap and beside a void post; a post that the place lies in line with, and that thus has no weight, is not asked for.
// On an edge or corner every tile that shares it may answer, so the value does not depend on which of them are there.
func (s *Store) HeightM(p geodesy.LatLon) (heightM float64, ok bool) {
	if !inRange(p) {
		return 0, false
	}
	lonDeg := normalLonDeg(p.LonDeg)
	south, west := math.Floor(p.LatDeg), math.Floor(lonDeg)
	allSea := true
	for down := 0; down <= 1; down++ {
		if down == 1 && p.LatDeg != south {
			break
		}
		for left := 0; left <= 1; left++ {
			if left == 1 && lonDeg != west {
				break
			}
			cellLatDeg, cellLonDeg := int(south)-down, int(west)-left
			tile, _ := s.Tile(cellLatDeg, cellLonDeg)
			if tile == nil {
				allSea = allSea && s.State(cellLatDeg, cellLonDeg) == Sea
				continue
			}
			allSea = false
			if heightM, ok = tile.heightM(float64(cellLatDeg+1)-p.LatDeg, lonDeg-float64(cellLonDeg)); ok {
				return heightM, true
			}
		}
	}
	return 0, allSea
}

// heightM interpolates at a place given in degrees south and east of the tile's north-west corner, 0…1.
func (t *Tile) heightM(southDeg, eastDeg float64) (heightM float64, ok bool) {
	row, south := t.Rows.between(southDeg)
	column, east := t.Cols.between(eastDeg)
	for i, weight := range [4]float64{(1 - south) * (1 - east), (1 - south) * east, south * (1 - east), south * east} {
		if weight == 0 {
			continue
		}
		post, known := t.PostM((row+i/2)*t.Cols.N + column + i%2)
		if !known {
			return 0, false
		}
		heightM += float64(weight * post)
	}
	return heightM, true
}

// HighestWithin returns the highest post within radiusM (in metres, up to 5 km, measured straight) of a place, and where it
// is: of equally high ones the nearest (to the millimetre), then the northernmost, then the westernmost. Posts of all readable tiles
// around count; sea, gaps and voids are passed over. It is false where no post lies within the radius, which a radius below half the
// distance between posts makes likely.
func (s *Store) HighestWithin(p geodesy.LatLon, radiusM float64) (at geodesy.LatLon, heightM float64, ok bool) {
	if !inRange(p) || !(radiusM >= 0) {
		return geodesy.LatLon{}, 0, false
	}
	centre := newParallel(p.LatDeg)
	lonDeg := normalLonDeg(p.LonDeg)
	// The window errs on the wide side: the meridian is nowhere more curved than at the equator. Each post's distance is then measured.
	const spareDeg = 1e-6
	reachDeg := radiusM/geodesy.WGS84.MeridianRadiusM(0)*180/math.Pi + spareDeg
	northDeg, southDeg := min(p.LatDeg+reachDeg, 90), max(p.LatDeg-reachDeg, -90)
	// The meridians spread most, in degrees, on the parallel nearest a pole.
	sideDeg := halfWidthDeg(radiusM*radiusM, 4*centre.axisM*min(newParallel(northDeg).axisM, newParallel(southDeg).axisM)) + spareDeg
	firstCell, lastCell := int(math.Floor(lonDeg-sideDeg)), int(math.Floor(lonDeg+sideDeg))
	if lastCell-firstCell >= 360 {
		lastCell = firstCell + 359
	}

	var best summit
	for cellLatDeg := int(math.Floor(southDeg)); cellLatDeg <= min(int(math.Floor(northDeg)), 89); cellLatDeg++ {
		for cellLonDeg := firstCell; cellLonDeg <= lastCell; cellLonDeg++ {
			tile, _ := s.Tile(cellLatDeg, cellLonDeg)
			if tile == nil {
				continue
			}
			firstRow, lastRow := tile.Rows.within(float64(cellLatDeg+1)-northDeg, float64(cellLatDeg+1)-southDeg)
			for row := firstRow; row <= lastRow; row++ {
				best.searchRow(tile, row, float64(cellLatDeg+1)-tile.Rows.at(row), lonDeg-float64(cellLonDeg), centre, radiusM)
			}
		}
	}
	return geodesy.LatLon{LatDeg: best.latDeg, LonDeg: normalLonDeg(lonDeg + best.eastDeg)}, best.heightM, best.ok
}

// summit is the highest post so far, eastDeg counted from the place searched around.
type summit struct {
	ok              bool
	heightM         float64
	distanceMM      float64
	latDeg, eastDeg float64
}

// searchRow looks through one row of a tile's posts; centreEastDeg is the place's longitude from the row's first post.
func (b *summit) searchRow(tile *Tile, row int, latDeg, centreEastDeg float64, centre parallel, radiusM float64) {
	here := newParallel(latDeg)
	// Squared chord between two places: meridian part + 4·ρ₁ρ₂·sin²(Δλ/2), exact and without cancellation.
	outM, northM := here.axisM-centre.axisM, here.northM-centre.northM
	meridian := float64(outM*outM) + float64(northM*northM)
	spread := 4 * here.axisM * centre.axisM
	if meridian > radiusM*radiusM {
		return
	}
	sideDeg := halfWidthDeg(radiusM*radiusM-meridian, spread)
	first, last := tile.Cols.within(centreEastDeg-sideDeg, centreEastDeg+sideDeg)
	for column := max(first-1, 0); column <= min(last+1, tile.Cols.N-1); column++ {
		height, known := tile.PostM(row*tile.Cols.N + column)
		if !known || b.ok && height < b.heightM {
			continue
		}
		eastDeg := tile.Cols.at(column) - centreEastDeg
		sine := math.Sin(eastDeg * math.Pi / 360)
		distanceM := math.Sqrt(meridian + float64(spread*sine*sine))
		if distanceM > radiusM {
			continue
		}
		candidate := summit{true, height, math.Round(distanceM * 1000), latDeg, eastDeg}
		if !b.ok || candidate.before(*b) {
			*b = candidate
		}
	}
}

func (b summit) before(other summit) bool {
	switch {
	case b.heightM != other.heightM:
		return b.heightM > other.heightM
	case b.distanceMM != other.distanceMM:
		return b.distanceMM < other.distanceMM
	case b.latDeg != other.latDeg:
		return b.latDeg > other.latDeg
	}
	return b.eastDeg < other.eastDeg
}

// parallel is a circle of latitude: its distance from the Earth's axis and from the plane of the equator.
type parallel struct{ axisM, northM float64 }

func newParallel(latDeg float64) parallel {
	v := geodesy.WGS84.ToCartesian(geodesy.LatLon{LatDeg: latDeg}, 0)
	return parallel{v.X, v.Z}
}

// halfWidthDeg solves spread·sin²(Δλ/2) = rest for Δλ, 180 where every meridian is near enough.
func halfWidthDeg(rest, spread float64) float64 {
	if rest >= spread {
		return 180
	}
	return 2 * math.Asin(math.Sqrt(rest/spread)) * 180 / math.Pi
}

// normalLonDeg brings a longitude to −180 ≤ λ < 180, exactly.
func normalLonDeg(lonDeg float64) float64 {
	if lonDeg >= -180 && lonDeg < 180 {
		return lonDeg
	}
	lonDeg = math.Mod(lonDeg, 360)
	if lonDeg >= 180 {
		return lonDeg - 360
	}
	if lonDeg < -180 {
		return lonDeg + 360
	}
	return lonDeg
}

func inRange(p geodesy.LatLon) bool {
	return p.LatDeg >= -90 && p.LatDeg <= 90 && !math.IsNaN(p.LonDeg) && !math.IsInf(p.LonDeg, 0)
}
