package geoid

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farstation/geodesy"
)

// madeUndulation is a made geoid that is linear in latitude and between the nodes of a grid of 30° in longitude.
func madeUndulation(latDeg, lonDeg float64) float64 {
	node := math.Floor(lonDeg / 30)
	share := lonDeg/30 - node
	at := func(n float64) float64 { return 40 * math.Sin(n*math.Pi/6) }
	return 0.2*latDeg + (1-share)*at(node) + share*at(node+1)
}

func gtx(rows, columns int, south, west, step float64, h func(lat, lon float64) float32) []byte {
	var b bytes.Buffer
	binary.Write(&b, binary.BigEndian, []float64{south, west, step, step})
	binary.Write(&b, binary.BigEndian, []int32{int32(rows), int32(columns)})
	for r := range rows {
		for c := range columns {
			binary.Write(&b, binary.BigEndian, h(south+float64(r)*step, west+float64(c)*step))
		}
	}
	return b.Bytes()
}

func greyMap(comments string, rows, columns int, step, offset, scale float64) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "P5\n%s%d %d\n65535\n", comments, columns, rows)
	for r := range rows {
		for c := range columns {
			binary.Write(&b, binary.BigEndian, uint16(math.Round((madeUndulation(90-float64(r)*step, float64(c)*step)-offset)/scale)))
		}
	}
	return b.Bytes()
}

func TestReadModel(t *testing.T) {
	made := func(lat, lon float64) float32 { return float32(madeUndulation(lat, lon)) }
	files := map[string]struct {
		data       []byte
		toleranceM float64
	}{
		"around.gtx":   {gtx(19, 36, -90, 0, 10, made), 1e-5},
		"from180.gtx":  {gtx(19, 36, -90, -180, 10, made), 1e-5},
		"repeated.gtx": {gtx(19, 37, -90, -180, 10, made), 1e-5},
		"made.pgm":     {greyMap("# Description made\n# Offset -108\n# Scale 0.003\n# Origin 90N 0E\n", 19, 36, 10, -108, 0.003), 0.0016},
	}
	for name, file := range files {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, file.data, 0o644); err != nil {
			t.Fatal(err)
		}
		m, err := ReadModel(path)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for lat := -90.0; lat <= 90; lat += 7.5 {
			for lon := -185.0; lon <= 365; lon += 2.5 {
				want := madeUndulation(lat, lon)
				if got := m.UndulationM(geodesy.LatLon{LatDeg: lat, LonDeg: lon}); !(math.Abs(got-want) <= file.toleranceM) {
					t.Fatalf("%s: undulation at %v, %v is %.5f m, want %.5f", name, lat, lon, got, want)
				}
			}
		}
	}
}

func TestReadModelRefuses(t *testing.T) {
	flat := func(lat, lon float64) float32 { return 1 }
	good := gtx(19, 36, -90, 0, 10, flat)
	for name, test := range map[string]struct {
		data []byte
		want string
	}{
		"empty":      {nil, "0 bytes are no geoid grid"},
		"text":       {[]byte(strings.Repeat("latitude longitude ", 10)), "want GTX or a grey map"},
		"cut":        {good[:len(good)-1], "download it again"},
		"regional":   {gtx(19, 20, -90, 0, 10, flat), "do not go around the Earth"},
		"half":       {gtx(10, 36, 0, 0, 10, flat), "not from pole to pole"},
		"null nodes": {gtx(19, 36, -90, 0, 10, func(lat, lon float64) float32 { return -888.8 }), "no geoid of the Earth"},
		"NaN":        {gtx(19, 36, -90, 0, 10, func(lat, lon float64) float32 { return float32(math.NaN()) }), "no geoid of the Earth"},
		"no scale":   {greyMap("# Offset -108\n", 19, 36, 10, -108, 0.003), "the comments Offset and Scale"},
		"cut map":    {greyMap("# Offset -108\n# Scale 0.003\n", 19, 36, 10, -108, 0.003)[:500], "download it again"},
		"cut header": {[]byte("P5\n# Offset"), "cut off"},
	} {
		path := filepath.Join(t.TempDir(), "grid")
		if err := os.WriteFile(path, test.data, 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadModel(path); err == nil || !strings.Contains(err.Error(), test.want) || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: error %v, want one that names the file and says %q", name, err, test.want)
		}
	}
	if _, err := ReadModel(filepath.Join(t.TempDir(), "absent")); err == nil {
		t.Error("a file that is not there was read")
	}
}
