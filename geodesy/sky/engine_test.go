package sky

import (
	"bufio"
	"bytes"
	"math"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"farstation/geodesy"
)

// engineScript prints, for drawn instants and places, what npm's astronomy-engine (NOVAS, VSOP87 and its own lunar theory) computes: Unix
// milliseconds, latitude, longitude, azimuth and geometric elevation of Sun and Moon in degrees, the next rise and set of the Sun and the
// next moonrise within a day ("-" where there is none).
const engineScript = `
const A = require('astronomy-engine');
let state = 20240229;
const draw = () => (state = (state * 1103515245 + 12345) % 2147483648) / 2147483648;
const first = Date.UTC(1950, 0, 1), last = Date.UTC(2100, 0, 1), lines = [];
for (let i = 0; i < 10000; i++) {
  const t = new Date(Math.floor(first + draw() * (last - first)));
  const o = new A.Observer(draw() * 130 - 60, draw() * 360 - 180, 0);
  const row = [t.getTime(), o.latitude, o.longitude];
  for (const b of [A.Body.Sun, A.Body.Moon]) {
    const e = A.Equator(b, t, o, true, true), h = A.Horizon(t, o, e.ra, e.dec);
    row.push(h.azimuth, h.altitude);
  }
  for (const [b, d] of [[A.Body.Sun, 1], [A.Body.Sun, -1], [A.Body.Moon, 1]]) {
    const s = A.SearchRiseSet(b, o, d, t, 1);
    row.push(s ? s.date.getTime() : '-');
  }
  lines.push(row.join(' '));
}
console.log(lines.join('\n'));`

// engine returns the rows of engineScript.
func engine(t *testing.T) [][]string {
	t.Helper()
	missing := t.Skip
	if os.Getenv("CI") == "true" {
		missing = t.Fatal
	}
	node, err := exec.LookPath("node")
	if err != nil {
		missing("node is not installed: Sun and Moon are not held against astronomy-engine")
	}
	command := exec.Command(node, "-e", engineScript)
	if folder := os.Getenv("FARSTATION_NODE_MODULES"); folder != "" {
		command.Env = append(os.Environ(), "NODE_PATH="+folder)
	}
	var problems bytes.Buffer
	command.Stderr = &problems
	out, err := command.Output()
	if strings.Contains(problems.String(), "MODULE_NOT_FOUND") {
		missing("node does not find astronomy-engine: install it with npm and name its node_modules folder in FARSTATION_NODE_MODULES")
	}
	if err != nil {
		t.Fatalf("astronomy-engine: %v\n%.2000s", err, problems.String())
	}
	var rows [][]string
	for lines := bufio.NewScanner(bytes.NewReader(out)); lines.Scan(); {
		rows = append(rows, strings.Fields(lines.Text()))
	}
	if len(rows) != 10000 {
		t.Fatalf("astronomy-engine gave %d rows, want 10000", len(rows))
	}
	return rows
}

// 10,000 instants from 1950 to 2100, latitudes −60° to 70°: both programs take the same ΔT, so theirs is not under test.
func TestAgainstAstronomyEngine(t *testing.T) {
	var sun, moon, rise, moonrise, grazing float64
	var compared, flat, lost int
	for _, row := range engine(t) {
		number := make([]float64, len(row))
		for i, field := range row {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				v = math.NaN()
			}
			number[i] = v
		}
		at := time.UnixMilli(int64(number[0])).UTC()
		o := Observer{Position: geodesy.LatLon{LatDeg: number[1], LonDeg: number[2]}, Refraction: NoRefraction}
		off := func(b Body, from int) float64 {
			p := o.Place(b, At(at))
			return SeparationRad(p.AzimuthRad, p.ElevationRad, number[from]*radPerDeg, number[from+1]*radPerDeg) / radPerDeg
		}
		sun, moon = max(sun, off(Sun, 3)), max(moon, off(Moon, 5))

		for column, body := range map[int]Body{7: Sun, 8: Sun, 9: Moon} {
			walk := newDayWalk(body, o, at, at.Add(24*time.Hour))
			limb := func(p Place) float64 { return p.ElevationRad + p.SemidiameterRad + DefaultHorizon().RefractionRad }
			want := (number[column] - number[0]) / 1000
			difference := math.NaN()
			found := false
			for _, c := range walk.crossings(limb) {
				if c.rising == (column == 8) {
					continue
				}
				found = found || c.s >= 0 && c.s <= secondsPerD
				if !(math.Abs(c.s-want) > math.Abs(difference)) {
					difference = c.s - want
				}
			}
			if math.IsNaN(want) || math.IsNaN(difference) {
				if found || !math.IsNaN(want) {
					lost++
				}
				continue
			}
			steep := math.Abs(limb(walk.place(want+30))-limb(walk.place(want-30))) / radPerDeg * 60 // degrees an hour
			switch {
			case steep < 3:
				flat++
				grazing = max(grazing, math.Abs(difference))
			case body == Moon:
				moonrise = max(moonrise, math.Abs(difference))
			default:
				rise = max(rise, math.Abs(difference))
				compared++
			}
		}
	}
	t.Logf("largest differences: Sun %.5f°, Moon %.5f°; rise and set of the Sun %.2f s in %d, moonrise %.2f s", sun, moon, rise, compared, moonrise)
	t.Logf("where the limb climbs less than 3° an hour: %.0f s in %d; found by one program alone: %d", grazing, flat, lost)
	for _, c := range []struct {
		what       string
		got, limit float64
	}{{"Sun (°)", sun, 0.001}, {"Moon (°)", moon, 0.006}, {"rise and set of the Sun (s)", rise, 1}, {"moonrise (s)", moonrise, 3}} {
		if !(c.got <= c.limit) {
			t.Errorf("%s is off by up to %.5f, want no more than %g", c.what, c.got, c.limit)
		}
	}
	if lost > flat/100 {
		t.Errorf("%d risings and settings found by one program alone", lost)
	}
}
