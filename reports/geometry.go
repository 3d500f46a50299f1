package reports

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"farstation/geodesy"
)

// pieceM is the greatest distance in metres between neighbouring points of a drawn line. A straight piece of a map in longitude
// and latitude then departs from the geodesic by less than 300 m up to 80° of latitude (about piece²·tan φ / 8R).
const pieceM = 50_000

// bbox is the box of one geometry, in degrees. XMin > XMax says that it crosses 180° of longitude (RFC 7946, section 5.2).
type bbox struct {
	XMin float64 `parquet:"xmin"`
	YMin float64 `parquet:"ymin"`
	XMax float64 `parquet:"xmax"`
	YMax float64 `parquet:"ymax"`
}

func (b bbox) crosses() bool { return b.XMin > b.XMax }

// mapPoint returns the place as a map point and its box.
func mapPoint(p geodesy.LatLon) (orb.Point, bbox, error) {
	if math.IsNaN(p.LonDeg) || math.IsInf(p.LonDeg, 0) || !(p.LatDeg >= -90 && p.LatDeg <= 90) {
		return orb.Point{}, bbox{}, fmt.Errorf("place %v, %v is not on the Earth", p.LatDeg, p.LonDeg)
	}
	lon := p.LonDeg
	if lon < -180 || lon > 180 {
		lon = math.Remainder(lon, 360)
	}
	return orb.Point{lon, p.LatDeg}, bbox{lon, p.LatDeg, lon, p.LatDeg}, nil
}

// mapLine returns the geodesic between two places as a map geometry and its box: both ends as given and points at most 50 km apart.
// It is a LineString, or a MultiLineString cut at 180° of longitude (RFC 7946, section 3.1.9); where it is cut, the point is sought
// along the geodesic itself, not between its neighbours. Within some 50 km of a pole the pieces are no longer a picture of the line.
func mapLine(from, to geodesy.LatLon) (orb.Geometry, bbox, error) {
	start, _, err := mapPoint(from)
	if err != nil {
		return nil, bbox{}, err
	}
	end, _, err := mapPoint(to)
	if err != nil {
		return nil, bbox{}, err
	}
	parts := cutLine(unrolledLine(start, end, pieceM))
	if len(parts) == 1 {
		b := parts[0].Bound()
		return parts[0], bbox{b.Min[0], b.Min[1], b.Max[0], b.Max[1]}, nil
	}
	b := parts.Bound()
	box := bbox{YMin: b.Min[1], YMax: b.Max[1]}
	for _, part := range parts {
		side := part.Bound()
		if side.Max[0] == 180 {
			box.XMin = side.Min[0]
		}
		if side.Min[0] == -180 {
			box.XMax = side.Max[0]
		}
	}
	return parts, box, nil
}

// unrolledLine returns the points of the geodesic with longitudes that run on past ±180, and a point at every odd multiple of 180°
// that it crosses. Neighbouring points are at most pieceM metres apart.
func unrolledLine(start, end orb.Point, pieceM float64) orb.LineString {
	from := geodesy.LatLon{LatDeg: start[1], LonDeg: start[0]}
	arc, geodesic := geodesy.WGS84.InverseLine(from, geodesy.LatLon{LatDeg: end[1], LonDeg: end[0]})
	pieces := max(1, math.Ceil(arc.DistanceM/pieceM))
	at := func(share float64) orb.Point {
		p, _ := geodesic.At(share * arc.DistanceM)
		return orb.Point{p.LonDeg, p.LatDeg}
	}

	points := orb.LineString{start}
	for i := 1.0; i <= pieces; i++ {
		previous, next := points[len(points)-1], end
		if i < pieces {
			next = at(i / pieces)
		}
		next[0] = nearestTurn(next[0], previous[0])
		if border, ok := borderBetween(previous[0], next[0]); ok {
			// Longitude runs one way along a geodesic, so halving finds the crossing.
			low, high := (i-1)/pieces, i/pieces
			for range 60 {
				middle := (low + high) / 2
				if (nearestTurn(at(middle)[0], previous[0]) < border) == (previous[0] < border) {
					low = middle
				} else {
					high = middle
				}
			}
			points = append(points, orb.Point{border, at(low)[1]})
		}
		points = append(points, next)
	}
	return points
}

// nearestTurn returns the longitude plus the whole turns that bring it within 180° of another.
func nearestTurn(lonDeg, otherDeg float64) float64 {
	return lonDeg + 360*math.Round((otherDeg-lonDeg)/360)
}

// borderBetween returns the odd multiple of 180° strictly between two longitudes less than a turn apart.
func borderBetween(a, b float64) (float64, bool) {
	border := 360*math.Floor((math.Max(a, b)+180)/360) - 180
	return border, border > math.Min(a, b) && border < math.Max(a, b)
}

// cutLine parts unrolled points where they pass an odd multiple of 180° and brings every part back within ±180.
func cutLine(points orb.LineString) orb.MultiLineString {
	turnOf := func(i int) float64 {
		middle := (points[i][0] + points[i+1][0]) / 2
		return 360 * math.Floor((middle+180)/360)
	}
	var parts orb.MultiLineString
	for first := 0; first < len(points)-1; {
		turn := turnOf(first)
		last := first + 1
		for last < len(points)-1 && turnOf(last) == turn {
			last++
		}
		part := make(orb.LineString, 0, last-first+1)
		for _, p := range points[first : last+1] {
			part = append(part, orb.Point{p[0] - turn, p[1]})
		}
		parts = append(parts, part)
		first = last
	}
	return parts
}

// fileExtent is the box of a whole file, kept both in −180…180 and in 0…360; the narrower of the two is the one to state.
type fileExtent struct {
	any          bool
	plain, from0 bbox
}

// add widens the extent by one box.
func (e *fileExtent) add(b bbox) {
	plain, from0 := b, b
	switch {
	case b.crosses():
		plain.XMin, plain.XMax = -180, 180
		from0.XMax += 360
	case b.XMax < 0:
		from0.XMin += 360
		from0.XMax += 360
	case b.XMin < 0: // spans the prime meridian: no narrow box in 0…360
		from0.XMin, from0.XMax = 0, 360
	}
	e.join(&fileExtent{true, plain, from0})
}

// join widens the extent by another.
func (e *fileExtent) join(other *fileExtent) {
	switch {
	case !other.any:
	case !e.any:
		*e = *other
	default:
		e.plain, e.from0 = boxAround(e.plain, other.plain), boxAround(e.from0, other.from0)
	}
}

func boxAround(a, b bbox) bbox {
	return bbox{math.Min(a.XMin, b.XMin), math.Min(a.YMin, b.YMin), math.Max(a.XMax, b.XMax), math.Max(a.YMax, b.YMax)}
}

// box returns west, south, east, north; west > east where the narrower box crosses 180° of longitude.
func (e *fileExtent) box() []float64 {
	b := e.plain
	if e.from0.XMax-e.from0.XMin < b.XMax-b.XMin {
		b = e.from0
		b.XMax -= 360
	}
	return []float64{b.XMin, b.YMin, b.XMax, b.YMax}
}
