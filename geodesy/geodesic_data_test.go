package geodesy

import (
	"bufio"
	"compress/gzip"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// geodTestLine is one line of GeodTest.dat, a set of 500,000 geodesics of WGS84 computed to 10⁻¹⁸ degrees (C. F. F. Karney, Test set
// for geodesics, 2010, doi 10.5281/zenodo.32156). Latitude and azimuth at the start and the distance are exact as printed.
type geodTestLine struct {
	lat1, azi1, lat2, lon2, azi2, s12, a12, m12 float64
}

func readGeodTest(t *testing.T, name string) (lines []geodTestLine) {
	t.Helper()
	f, err := os.Open("../testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var r io.Reader = f
	if strings.HasSuffix(name, ".gz") {
		if r, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	scanner := bufio.NewScanner(r)
	for scanner.Scan() {
		fields := strings.Fields(scanner.Text())
		if len(fields) != 10 {
			t.Fatalf("%s line %d: %d columns, want 10", name, len(lines)+1, len(fields))
		}
		var v [10]float64
		for i, text := range fields {
			if v[i], err = strconv.ParseFloat(text, 64); err != nil {
				t.Fatalf("%s line %d: %v", name, len(lines)+1, err)
			}
		}
		if v[1] != 0 {
			t.Fatalf("%s line %d: longitude of the start %v, want 0", name, len(lines)+1, v[1])
		}
		lines = append(lines, geodTestLine{v[0], v[2], v[3], v[4], v[5], v[6], v[7], v[8]})
	}
	if err := scanner.Err(); err != nil {
		t.Fatal(err)
	}
	return lines
}

// angleGap returns |a − b| in degrees, across 0 and 360 if need be.
func angleGap(a, b float64) float64 {
	d, _ := differenceDeg(a, b)
	return math.Abs(d)
}

// groundGapM returns the distance of two places that are at most metres apart, without the geodesic under test: the chord.
func groundGapM(e *Ellipsoid, p, q LatLon) float64 {
	return e.ToCartesian(p, 0).Sub(e.ToCartesian(q, 0)).Norm()
}

// worst keeps the greatest value offered and where it came from.
type worst struct {
	value float64
	index int
}

func (w *worst) offer(value float64, index int) {
	if value > w.value || math.IsNaN(value) {
		*w = worst{value, index}
	}
}

func TestGeodTest(t *testing.T) {
	for name, count := range map[string]int{"GeodTest-short.dat.gz": 10000, "GeodTest-100.dat": 100} {
		t.Run(name, func(t *testing.T) {
			lines := readGeodTest(t, name)
			if len(lines) != count {
				t.Fatalf("%d lines, want %d", len(lines), count)
			}
			var distance, reduced, arc, azimuth, far, position, end, back, along worst
			for i, l := range lines {
				from, to := LatLon{l.lat1, 0}, LatLon{l.lat2, l.lon2}
				inverse, line := WGS84.InverseLine(from, to)
				distance.offer(math.Abs(inverse.DistanceM-l.s12), i)
				// An azimuth matters by the shift it makes at the other end.
				miss := max(angleGap(inverse.AzimuthDeg, l.azi1), angleGap(inverse.EndAzimuthDeg, l.azi2))
				azimuth.offer(miss*degree*math.Abs(l.m12), i)
				// Towards a conjugate point, where the reduced length is 0, azimuth, arc and reduced length are ill-conditioned.
				if math.Abs(l.m12) > 1e6 {
					reduced.offer(math.Abs(inverse.ReducedLengthM-l.m12), i)
					arc.offer(math.Abs(inverse.ArcDeg-l.a12), i)
					far.offer(miss, i)
				}
				p, _ := line.At(inverse.DistanceM)
				along.offer(groundGapM(WGS84, p, to), i)

				p, azi := WGS84.Direct(from, l.azi1, l.s12)
				position.offer(groundGapM(WGS84, p, to), i)
				// Beside a pole the azimuth turns with the longitude.
				end.offer(angleGap(azi, l.azi2)*math.Cos(l.lat2*degree), i)
				p, _ = WGS84.Direct(to, azimuth360(l.azi2), -l.s12)
				back.offer(groundGapM(WGS84, p, from), i)
			}
			const nm = 1e-9
			for _, c := range []struct {
				what        string
				worst       worst
				unit, limit float64
				unitName    string
			}{
				{"Inverse distance", distance, nm, 15, "nm"},
				{"Inverse reduced length, where > 1000 km", reduced, nm, 15, "nm"},
				{"Inverse arc, likewise", arc, 1e-15, 300, "1e-15 deg"},
				{"Inverse azimuths times reduced length", azimuth, nm, 15, "nm"},
				{"Inverse azimuths, likewise", far, 1e-15, 500, "1e-15 deg"},
				{"InverseLine position at the end", along, nm, 15, "nm"},
				{"Direct position", position, nm, 15, "nm"},
				{"Direct position backwards", back, nm, 15, "nm"},
				{"Direct azimuth times cos latitude", end, 1e-15, 300, "1e-15 deg"},
			} {
				t.Logf("%-48s worst %8.3f %s (line %d)", c.what, c.worst.value/c.unit, c.unitName, c.worst.index+1)
				if !(c.worst.value/c.unit <= c.limit) {
					t.Errorf("%s: worst %.3f %s on line %d %+v, want ≤ %v", c.what, c.worst.value/c.unit, c.unitName, c.worst.index+1, lines[c.worst.index], c.limit)
				}
			}
		})
	}
}
