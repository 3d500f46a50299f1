package geodesy

import (
	"bufio"
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"testing"
)

// requireCommand returns the path of an outside program. Continuous integration must have it, a user's machine may lack it.
func requireCommand(t *testing.T, name, debianPackage string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		message := fmt.Sprintf("%s is not installed (Debian package %s): %v", name, debianPackage, err)
		if os.Getenv("CI") == "true" {
			t.Fatal(message)
		}
		t.Skip(message)
	}
	return path
}

// TestAgainstGeodSolve compares with GeographicLib's command, which errs by up to 15 nm itself.
func TestAgainstGeodSolve(t *testing.T) {
	command := requireCommand(t, "GeodSolve", "geographiclib-tools")
	for _, c := range []struct {
		name      string
		ellipsoid *Ellipsoid
		count     int
	}{
		{"WGS84", WGS84, 100000},
		{"prolate", NewEllipsoid(6.4e6, -1/300.0), 20000},
		{"flattening 1/150", NewEllipsoid(6.4e6, 1/150.0), 20000},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(1, 2))
			pairs := make([][2]LatLon, c.count)
			var input bytes.Buffer
			for i := range pairs {
				from, to := randomPlace(r), randomPlace(r)
				switch i % 4 {
				case 0: // next to the antipode
					to = LatLon{max(-90, min(90, -from.LatDeg+2*(r.Float64()-0.5))), from.LonDeg + 180 + 2*(r.Float64()-0.5)}
				case 1: // down to millimetres
					size := math.Exp(-16 * r.Float64())
					to = LatLon{max(-90, min(90, from.LatDeg+size*(r.Float64()-0.5))), from.LonDeg + size*(r.Float64()-0.5)}
				}
				pairs[i] = [2]LatLon{from, to}
				for _, v := range []float64{from.LatDeg, from.LonDeg, to.LatDeg, to.LonDeg} {
					fmt.Fprintf(&input, "%s ", strconv.FormatFloat(v, 'f', -1, 64)) // GeodSolve reads no exponents
				}
				input.WriteByte('\n')
			}
			run := exec.Command(command, "-i", "-f", "-p", "10", "-e", fmt.Sprintf("%.17g", c.ellipsoid.SemiMajorM()), fmt.Sprintf("%.17g", c.ellipsoid.Flattening()))
			run.Stdin = &input
			output, err := run.Output()
			if err != nil {
				t.Fatalf("%v: %v", run, err)
			}
			var distance, azimuth, reduced, arc worst
			scanner := bufio.NewScanner(bytes.NewReader(output))
			for i, pair := range pairs {
				if !scanner.Scan() {
					t.Fatalf("GeodSolve answered %d of %d lines", i, len(pairs))
				}
				var lat1, lon1, azi1, lat2, lon2, azi2, s12, a12, m12 float64
				if _, err := fmt.Sscan(scanner.Text(), &lat1, &lon1, &azi1, &lat2, &lon2, &azi2, &s12, &a12, &m12); err != nil {
					t.Fatalf("GeodSolve line %q: %v", scanner.Text(), err)
				}
				got := c.ellipsoid.Inverse(pair[0], pair[1])
				distance.offer(math.Abs(got.DistanceM-s12), i)
				azimuth.offer(max(angleGap(got.AzimuthDeg, azi1), angleGap(got.EndAzimuthDeg, azi2))*degree*math.Abs(m12), i)
				if m12 > 1e6 || s12 < 1e6 {
					reduced.offer(math.Abs(got.ReducedLengthM-m12), i)
					arc.offer(math.Abs(got.ArcDeg-a12)*degree*c.ellipsoid.SemiMajorM(), i)
				}
			}
			for _, w := range []struct {
				what    string
				worst   worst
				limitNm float64
			}{{"distance", distance, 20}, {"azimuths times reduced length", azimuth, 20}, {"reduced length", reduced, 20}, {"arc times radius", arc, 20}} {
				t.Logf("%d pairs, %s: worst difference %.2f nm", c.count, w.what, w.worst.value*1e9)
				if !(w.worst.value*1e9 <= w.limitNm) {
					i := w.worst.index
					t.Errorf("%s: pair %d %v differs by %.2f nm, want ≤ %v nm (%+v)", w.what, i, pairs[i], w.worst.value*1e9, w.limitNm, c.ellipsoid.Inverse(pairs[i][0], pairs[i][1]))
				}
			}
		})
	}
}
