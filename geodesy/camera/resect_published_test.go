package camera

import (
	"math"
	"testing"

	"farstation/geodesy"
)

func dms(degrees, minutes, seconds float64) float64 {
	return (degrees + minutes/60 + seconds/3600) * math.Pi / 180
}

// publishedResection is one worked example: three known points in the clockwise order in which they are seen, the angles between the first and the
// second and between the second and the third, and the printed answer, in metres.
type publishedResection struct {
	source string
	points [3]plan
	angles [2]float64
	answer plan
	// printedM is half a unit of the answer's last printed digit.
	printedM float64
}

var publishedResections = []publishedResection{
	{
		// The angles are printed as A-L-M 145°00′00″, A-L-B 85°00′00″, M-L-B 130°00′00″, the answer as Y = 303.913, X = 310.678 (mean of two ways, which
		// differ by 1 mm). Y stands for east here and X for north, as the printed directions have it.
		"University of the Witwatersrand, MINN2016A Engineering Surveying, module 7, Resection (2), example 1 (Scribd 865156707)",
		[3]plan{{294.678, 553.630}, {430.659, 143.556}, {172.268, 191.406}}, // M, A, B
		[2]float64{dms(145, 0, 0), dms(85, 0, 0)},
		plan{303.913, 310.678}, 0.0005,
	},
	{
		// Points and angles (109°30′45″, 115°05′20″, written as decimals to 1e-4°) are those of the notes; the answer is what the library's Cassini, Collins,
		// Pierlot and Tienstra print.
		"R. Burtch, Three Point Resection Problem, Ferris State University, SURE 215, p. 175 ff.; answer in PyGeodesy, test/testResections.py",
		[3]plan{{1000, 5300}, {2200, 6300}, {3100, 5000}},
		[2]float64{dms(109.5125, 0, 0), dms(115.0889, 0, 0)},
		plan{2128.3903, 5578.1443}, 0.00005,
	},
	{
		"the same points with angles of 109.3° and 115.1°, PyGeodesy, test/testResections.py",
		[3]plan{{1000, 5300}, {2200, 6300}, {3100, 5000}},
		[2]float64{dms(109.3, 0, 0), dms(115.1, 0, 0)},
		plan{2129.3018, 5575.8016}, 0.00005,
	},
	{
		// Printed there without the name of the book; the northing of B, there 24 364.73, is a slip that its own answer contradicts by 11 m. 24 343.45, from
		// memory, no source, gives the printed answer in both coordinates.
		"exercise with angles to 0.1″, askfilo.com 3437363839353437: A, B, C, APB 61°41′46.6″, BPC 74°14′58.1″",
		[3]plan{{1234.96, 17594.48}, {7994.42, 24343.45}, {17913.83, 21364.73}},
		[2]float64{dms(61, 41, 46.6), dms(74, 14, 58.1)},
		plan{11039.67, 16286.43}, 0.005,
	},
}

func (p publishedResection) directions() [3]float64 {
	return [3]float64{0, p.angles[0], p.angles[0] + p.angles[1]}
}

// TestPublishedResections: the closed form gives the printed place to its last digit, and from there the printed angles to 0.1″.
func TestPublishedResections(t *testing.T) {
	for _, test := range publishedResections {
		got, ok := resectOnPlane(test.points, test.directions())
		if off := got.less(test.answer); !ok || math.Abs(off.east) > test.printedM || math.Abs(off.north) > test.printedM {
			t.Errorf("resectOnPlane: %.5f %.5f, %v, want %.5f %.5f ± %g m (%s)", got.east, got.north, ok, test.answer.east, test.answer.north, test.printedM, test.source)
		}
		var azimuths [3]float64
		for i, p := range test.points {
			azimuths[i] = p.less(got).azimuthRad()
		}
		for i, want := range test.angles {
			if offArcsec := turnRad(want, azimuths[i+1]-azimuths[i]) * 180 / math.Pi * 3600; math.Abs(offArcsec) > 0.1 {
				t.Errorf("angle %d from the place found is off by %.3f″, want less than 0.1″ (%s)", i+1, offArcsec, test.source)
			}
		}
	}
}

// TestPrintedDirections: the first example also prints azimuth and distance to the place found, to 1″ and 1 mm. The azimuth of 1 mm at 200 m is 1″.
func TestPrintedDirections(t *testing.T) {
	example := publishedResections[0]
	got, _ := resectOnPlane(example.points, example.directions())
	for _, row := range []struct {
		name       string
		from       plan
		azimuthRad float64
		distanceM  float64
	}{
		{"A→L", example.points[1], dms(322, 49, 23), 209.748},
		{"B→L", example.points[2], dms(47, 49, 23), 177.640},
	} {
		leg := got.less(row.from)
		if off := math.Abs(turnRad(row.azimuthRad, leg.azimuthRad())) * 180 / math.Pi * 3600; off > 1 || math.Abs(leg.length()-row.distanceM) > 0.001 {
			t.Errorf("%s: azimuth off by %.2f″, distance %.4f m, want 1″ and %.3f m", row.name, off, leg.length(), row.distanceM)
		}
	}
}

// TestPublishedResectionsOnEarth lays each example out on the Earth about its printed answer, so that azimuths and distances from there are those
// of the plane, and has the printed angles resected.
func TestPublishedResectionsOnEarth(t *testing.T) {
	answer := geodesy.LatLon{LatDeg: 54, LonDeg: 10}
	for _, test := range publishedResections {
		var sights []Sight
		directions := test.directions()
		for i, p := range test.points {
			leg := p.less(test.answer)
			target, _ := geodesy.WGS84.Direct(answer, leg.azimuthRad()*180/math.Pi, leg.length())
			sights = append(sights, Sight{target, directions[i], 1.0 / 206265})
		}
		got, err := Resect(sights)
		// The printed answer is off by its rounding each way.
		if off := geodesy.WGS84.Inverse(answer, got.Place).DistanceM; err != nil || off > test.printedM*math.Sqrt2+1e-6 {
			t.Errorf("Resect: %.5f m from the printed place, %v, want at most %.5f m (%s)", off, err, test.printedM*math.Sqrt2, test.source)
		}
	}
}
