package pipeline

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// madeFeature stands over a sea made of tiles at 0 m, at an azimuth and distance from the one observer.
type madeFeature struct {
	id, kind              string
	azimuthDeg, km        float64
	groundM, structureM   float64
	groundSDM, positionSD float64
}

// madeEye is where the observer of a made survey stands, in the South Pacific.
var madeEye = geodesy.LatLon{LatDeg: -29.5, LonDeg: -119.8}

// ridgeLonDeg is the meridian of the ridge of a made survey, 24.24 km east of the eye.
const ridgeLonDeg = -119.55

// madeSurvey surveys made features as listed, over tiles that are sea but for a ridge ridgeM high along a meridian, if it is not 0. The
// observer is a viewpoint named "eye" whose eye stands eyeM over the sea.
func madeSurvey(t *testing.T, eyeM float64, ridgeM int16, features ...madeFeature) *held {
	t.Helper()
	dir := t.TempDir()
	for lon := -121; lon <= -118; lon++ {
		tile := make([]byte, 2*61*61)
		for i := range 61 * 61 {
			if math.Abs(float64(lon)+float64(i%61)/60-ridgeLonDeg) < 1e-6 {
				binary.BigEndian.PutUint16(tile[2*i:], uint16(ridgeM))
			}
		}
		for lat := -31; lat <= -29; lat++ {
			if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("S%02dW%03d.hgt", -lat, -lon)), tile, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	var csv strings.Builder
	csv.WriteString("id,name,kind,lat,lon,ele,structure_height_m,ground_height_sd_m,structure_height_sd_m,position_sd_m\n")
	row := func(f madeFeature, at geodesy.LatLon) {
		fmt.Fprintf(&csv, "%s,%s,%s,%.12f,%.12f,%g,%g,%g,0,%g\n", f.id, strings.ToUpper(f.id), f.kind, at.LatDeg, at.LonDeg, f.groundM, f.structureM, f.groundSDM, f.positionSD)
	}
	row(madeFeature{id: "eye", kind: "viewpoint", groundM: eyeM - 2, groundSDM: 2, positionSD: 5}, madeEye)
	for _, f := range features {
		at, _ := geodesy.WGS84.Direct(madeEye, f.azimuthDeg, f.km*1000)
		row(f, at)
	}
	list := filepath.Join(dir, "made.csv")
	if err := os.WriteFile(list, []byte(csv.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	opts := DefaultOptions()
	opts.Features, opts.Terrain = []string{list}, []terrain.Source{{Path: dir}}
	opts.ObserverKinds = []gazetteer.Kind{gazetteer.Viewpoint}
	opts.AsListed, opts.Workers = true, 1
	opts.TerrainSDM = 3 // the default grows with the spacing of posts, 1.8 km here
	r, err := heldSurvey(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Manifest.Rejected) > 0 || r.Manifest.Counts.Features != len(features)+1 {
		t.Fatalf("%+v", r.Manifest)
	}
	checkResult(t, &opts, r)
	return r
}
