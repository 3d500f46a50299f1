package reports

import (
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"farstation/geodesy"
)

// The inner points come from GeodSolve of GeographicLib 2.1.2: -i for azimuth and distance, the direct problem for the points, and
// halving on the distance for the latitude at 180° of longitude.
func TestMapLine(t *testing.T) {
	tests := []struct {
		name     string
		from, to geodesy.LatLon
		parts    int
		first    orb.Point   // first point drawn
		last     orb.Point   // last point drawn
		holds    []orb.Point // points that must be among those drawn
		box      bbox
	}{
		{
			"eastward across the date line", geodesy.LatLon{LatDeg: 65, LonDeg: 179}, geodesy.LatLon{LatDeg: 66, LonDeg: -178}, 2,
			orb.Point{179, 65}, orb.Point{-178, 66}, []orb.Point{{180, 65.3485600356606}, {-180, 65.3485600356606}}, bbox{179, 65, -178, 66},
		},
		{
			"the same westward", geodesy.LatLon{LatDeg: 66, LonDeg: -178}, geodesy.LatLon{LatDeg: 65, LonDeg: 179}, 2,
			orb.Point{-178, 66}, orb.Point{179, 65}, []orb.Point{{-180, 65.3485600356606}, {180, 65.3485600356606}}, bbox{179, 65, -178, 66},
		},
		{
			"the date line at 80° N", geodesy.LatLon{LatDeg: 80.2, LonDeg: 178.5}, geodesy.LatLon{LatDeg: 79.9, LonDeg: -176}, 2,
			orb.Point{178.5, 80.2}, orb.Point{-176, 79.9}, []orb.Point{{180, 80.1287582616221}}, bbox{178.5, 79.9, -176, 80.2},
		},
		{
			"308 km along 80° N", geodesy.LatLon{LatDeg: 79.5, LonDeg: 15}, geodesy.LatLon{LatDeg: 80.4, LonDeg: 30}, 1,
			orb.Point{15, 79.5}, orb.Point{30, 80.4},
			[]orb.Point{{16.971074560188192, 79.66839973776065}, {21.097551272459807, 79.96756858215025}, {27.704001926200007, 80.31389763960634}},
			bbox{15, 79.5, 30, 80.4},
		},
		{
			"from the date line eastward: not cut", geodesy.LatLon{LatDeg: 10, LonDeg: 180}, geodesy.LatLon{LatDeg: 10, LonDeg: -179.8}, 1,
			orb.Point{-180, 10}, orb.Point{-179.8, 10}, nil, bbox{-180, 10, -179.8, 10},
		},
		{
			"to the date line eastward: not cut", geodesy.LatLon{LatDeg: 10, LonDeg: 179.8}, geodesy.LatLon{LatDeg: 10, LonDeg: -180}, 1,
			orb.Point{179.8, 10}, orb.Point{180, 10}, nil, bbox{179.8, 10, 180, 10},
		},
		{
			"longitudes past a turn", geodesy.LatLon{LatDeg: 40, LonDeg: 359}, geodesy.LatLon{LatDeg: 40, LonDeg: -359.5}, 1,
			orb.Point{-1, 40}, orb.Point{0.5, 40}, nil, bbox{-1, 40, 0.5, 40.0021571},
		},
		{
			"along a meridian", geodesy.LatLon{LatDeg: -1, LonDeg: 7}, geodesy.LatLon{LatDeg: 1, LonDeg: 7}, 1,
			orb.Point{7, -1}, orb.Point{7, 1}, nil, bbox{7, -1, 7, 1},
		},
	}
	const sameDeg = 1e-9 // 0.1 mm
	near := func(a, b orb.Point) bool { return math.Abs(a[0]-b[0]) < sameDeg && math.Abs(a[1]-b[1]) < sameDeg }
	for _, test := range tests {
		geometry, box, err := mapLine(test.from, test.to)
		if err != nil {
			t.Errorf("%s: %v", test.name, err)
			continue
		}
		parts, ok := geometry.(orb.MultiLineString)
		if !ok {
			parts = orb.MultiLineString{geometry.(orb.LineString)}
		}
		if len(parts) != test.parts {
			t.Errorf("%s: %d parts, want %d: %v", test.name, len(parts), test.parts, parts)
			continue
		}
		var points orb.LineString
		for _, part := range parts {
			points = append(points, part...)
		}
		if !near(points[0], test.first) || !near(points[len(points)-1], test.last) {
			t.Errorf("%s: drawn from %v to %v, want %v to %v", test.name, points[0], points[len(points)-1], test.first, test.last)
		}
		for _, want := range test.holds {
			if !slices.ContainsFunc(points, func(p orb.Point) bool { return near(p, want) }) {
				t.Errorf("%s: no point %v among %v", test.name, want, points)
			}
		}
		for i := 1; i < len(points); i++ {
			d := geodesy.WGS84.Inverse(geodesy.LatLon{LatDeg: points[i-1][1], LonDeg: points[i-1][0]}, geodesy.LatLon{LatDeg: points[i][1], LonDeg: points[i][0]}).DistanceM
			if d > pieceM+0.001 {
				t.Errorf("%s: %v and %v are %.3f m apart, want at most %d", test.name, points[i-1], points[i], d, pieceM)
			}
		}
		for i, got := range []float64{box.XMin, box.YMin, box.XMax, box.YMax} {
			if want := []float64{test.box.XMin, test.box.YMin, test.box.XMax, test.box.YMax}[i]; math.Abs(got-want) > 1e-7 {
				t.Errorf("%s: box %v, want %v", test.name, box, test.box)
				break
			}
		}
	}
}

// Half-way between two drawn points the map's straight piece must stay as near to the geodesic as the comment at pieceM says.
func TestMapLineFollowsGeodesic(t *testing.T) {
	from, to := geodesy.LatLon{LatDeg: 80, LonDeg: 10}, geodesy.LatLon{LatDeg: 80, LonDeg: 25}
	geometry, _, err := mapLine(from, to)
	if err != nil {
		t.Fatal(err)
	}
	points := geometry.(orb.LineString)
	_, geodesic := geodesy.WGS84.InverseLine(from, to)
	greatest, total := 0.0, 0.0
	for i := 1; i < len(points); i++ {
		a := geodesy.LatLon{LatDeg: points[i-1][1], LonDeg: points[i-1][0]}
		b := geodesy.LatLon{LatDeg: points[i][1], LonDeg: points[i][0]}
		length := geodesy.WGS84.Inverse(a, b).DistanceM
		on, _ := geodesic.At(total + length/2)
		drawn := geodesy.LatLon{LatDeg: (a.LatDeg + b.LatDeg) / 2, LonDeg: (a.LonDeg + b.LonDeg) / 2}
		greatest = math.Max(greatest, geodesy.WGS84.Inverse(on, drawn).DistanceM)
		total += length
	}
	if greatest > 300 || greatest < 100 {
		t.Errorf("the drawn line departs by %.0f m from the geodesic at 80° N, want 100 to 300 m", greatest)
	}
}

func TestMapLineRefusesPlacesOffTheEarth(t *testing.T) {
	good := geodesy.LatLon{LatDeg: 1, LonDeg: 2}
	for _, bad := range []geodesy.LatLon{{LatDeg: 90.1}, {LatDeg: math.NaN()}, {LonDeg: math.NaN()}, {LonDeg: math.Inf(1)}} {
		if _, _, err := mapLine(bad, good); err == nil {
			t.Errorf("mapLine(%v, %v) gives no error", bad, good)
		}
		if _, _, err := mapLine(good, bad); err == nil {
			t.Errorf("mapLine(%v, %v) gives no error", good, bad)
		}
	}
}

func TestFileExtent(t *testing.T) {
	tests := []struct {
		name  string
		boxes []bbox
		want  []float64
	}{
		{"Fiji of RFC 7946, section 5.2", []bbox{{177, -20, 177, -20}, {-178, -16, -178, -16}}, []float64{177, -20, -178, -16}},
		{"a line across and points on both sides", []bbox{{179, 1, -179, 2}, {170, 0, 170, 0}, {-175, 3, -175, 3}}, []float64{170, 0, -175, 3}},
		{"either side of the prime meridian", []bbox{{-3, 50, -2, 51}, {1, 49, 4, 52}}, []float64{-3, 49, 4, 52}},
		{"across the prime meridian and the date line", []bbox{{-1, 5, 1, 6}, {179, 0, -179, 2}}, []float64{-180, 0, 180, 6}},
		{"west only", []bbox{{-120, 30, -110, 40}}, []float64{-120, 30, -110, 40}},
	}
	for _, test := range tests {
		var e fileExtent
		for _, b := range test.boxes {
			e.add(b)
		}
		if got := e.box(); !slices.Equal(got, test.want) {
			t.Errorf("%s: box %v, want %v", test.name, got, test.want)
		}
	}
}
