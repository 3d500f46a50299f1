package pipeline

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/geoid"
)

// madePhotograph is a photograph of an invented scene: tops at places of their own, projected by the test's own formulas, and no pixels.
type madePhotograph struct {
	place                          geodesy.LatLon
	eyeM                           float64 // over the geoid
	curvature                      float64 // 1 − k, 0 for a plane
	azimuthDeg, tiltDeg, rollDeg   float64
	focalPx                        float64
	widthPx, heightPx              int
	noisePx                        float64
	tops                           []madeTop
	random                         *rand.Rand
	listedHeightSDM, pixelSDStated float64
	ownKSD                         float64
	// listedInFeet is the top whose height the gazetteer lists in feet.
	listedInFeet string
	// decoys are further features, all round, that are not on the picture or were not measured.
	decoys int
	// edit changes the rows of points before they are written.
	edit func(rows []string) []string
}

type madeTop struct {
	name             string
	offDeg, distance float64
	heightM          float64
	base             bool // an 80 m structure, of which the base is measured too
}

// newMadePhotograph has tops from 12 to 130 km in a frame 6° wide.
func newMadePhotograph(seed uint64, curvature float64) *madePhotograph {
	return &madePhotograph{
		place: madePlace, eyeM: 640, curvature: curvature, azimuthDeg: 74, tiltDeg: 0.05, rollDeg: 0.7, focalPx: 52_000,
		widthPx: 6000, heightPx: 1600, noisePx: 0.5, random: rand.New(rand.NewPCG(seed, 1)), listedHeightSDM: 3, pixelSDStated: 0.5, ownKSD: 0.02,
		tops: []madeTop{ // farther and nearer ones all over the width, or roll could look like curvature
			{"Hallowfell", -2.6, 88_000, 1420, false}, {"Ulvey Hill", -1.7, 31_000, 760, false}, {"Dunmorrow", -0.9, 109_000, 1730, false},
			{"Skarn Knoll", -0.2, 12_000, 655, false}, {"Far Tellan", 0.8, 131_000, 2210, false}, {"Mast of Orrin", 1.7, 44_000, 830, true},
			{"Braven", 2.6, 67_000, 1150, false},
		},
	}
}

// write leaves gazetteer, picture and points in a folder and returns options that judge them.
func (m *madePhotograph) write(t testing.TB) PhotographOptions {
	t.Helper()
	dir := t.TempDir()
	grid, err := geoid.EGM96()
	if err != nil {
		t.Fatal(err)
	}
	var features strings.Builder
	var rows []string
	features.WriteString("id,name,kind,lat,lon,ele,structure_height_m,ground_height_sd_m,structure_height_sd_m,position_sd_m\n")
	for i, top := range m.tops {
		at, end := geodesy.WGS84.Direct(m.place, m.azimuthDeg+top.offDeg, top.distance)
		radiusM := geodesy.WGS84.EulerRadiusM((m.place.LatDeg+at.LatDeg)/2, (m.azimuthDeg+top.offDeg+end)/2)
		structureM, kind := 0.0, "peak"
		if top.base {
			structureM, kind = 80, "mast"
		}
		listedM := top.heightM + m.listedHeightSDM*m.random.NormFloat64()
		if top.name == m.listedInFeet {
			listedM /= 0.3048
		}
		listed := m.beside(at)
		fmt.Fprintf(&features, "m%d,%s,%s,%.9f,%.9f,%.3f,%g,%g,0,%d\n", i, top.name, kind, listed.LatDeg, listed.LonDeg, listedM, structureM, math.Max(m.listedHeightSDM, 1), madePlaceSDM)
		own := m.ownKSD * m.random.NormFloat64()
		point := func(part string, heightM float64) {
			eyeM, topM := m.eyeM+grid.UndulationM(m.place), heightM+grid.UndulationM(at)
			along, up := top.distance, topM-eyeM
			if c := m.curvature - own; c != 0 {
				bent := radiusM / c
				theta := top.distance / bent
				along, up = (bent+topM)*math.Sin(theta), (bent+topM)*math.Cos(theta)-bent-eyeM
			}
			x, y := m.pixel(top.offDeg*math.Pi/180, math.Atan2(up, along))
			rows = append(rows, fmt.Sprintf("%s,%s,%.3f,%.3f,%g", top.name, part, x+m.noisePx*m.random.NormFloat64(), y+m.noisePx*m.random.NormFloat64(), m.pixelSDStated))
		}
		point("top", top.heightM+structureM)
		if top.base {
			point("base", top.heightM)
		}
	}
	for i := range m.decoys {
		at, _ := geodesy.WGS84.Direct(m.place, 360*m.random.Float64(), 5_000+140_000*m.random.Float64())
		fmt.Fprintf(&features, "d%d,Decoy %d,peak,%.9f,%.9f,%.3f,0,3,0,%d\n", i, i, at.LatDeg, at.LonDeg, 300+1500*m.random.Float64(), madePlaceSDM)
	}
	if m.edit != nil {
		rows = m.edit(rows)
	}
	points := "name_or_id,part,x_px,y_px,sd_px\n" + strings.Join(rows, "\n") + "\n"
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	picture, err := os.Create(filepath.Join(dir, "made.png"))
	if err != nil {
		t.Fatal(err)
	}
	defer picture.Close()
	if err := png.Encode(picture, image.NewPaletted(image.Rect(0, 0, m.widthPx, m.heightPx), color.Palette{color.White})); err != nil {
		t.Fatal(err)
	}
	o := PhotographOptions{Options: DefaultOptions(), Photos: []string{picture.Name()}, PointFiles: []string{write("points.csv", points)},
		Cameras: []CameraPlace{{m.beside(m.place), m.eyeM + typedHeightSDM*m.random.NormFloat64()}}, CameraSDM: madePlaceSDM}
	o.Features, o.AsListed = []string{write("features.csv", features.String())}, true
	return o
}

// pixel projects a direction, its azimuth counted from the camera's, by turning it: tilt, then roll.
func (m *madePhotograph) pixel(turn, elevation float64) (x, y float64) {
	tilt, roll := m.tiltDeg*math.Pi/180, m.rollDeg*math.Pi/180
	right, ahead, up := math.Cos(elevation)*math.Sin(turn), math.Cos(elevation)*math.Cos(turn), math.Sin(elevation)
	ahead, up = ahead*math.Cos(tilt)+up*math.Sin(tilt), up*math.Cos(tilt)-ahead*math.Sin(tilt)
	right, up = right*math.Cos(roll)+up*math.Sin(roll), up*math.Cos(roll)-right*math.Sin(roll)
	return float64(m.widthPx)/2 + m.focalPx*right/ahead, float64(m.heightPx)/2 - m.focalPx*up/ahead
}

// madePlaceSDM is the spread of the places that are stated.
const madePlaceSDM = 5

// beside is a place as it is stated.
func (m *madePhotograph) beside(at geodesy.LatLon) geodesy.LatLon {
	at, _ = geodesy.WGS84.Direct(at, 0, madePlaceSDM*m.random.NormFloat64())
	at, _ = geodesy.WGS84.Direct(at, 90, madePlaceSDM*m.random.NormFloat64())
	return at
}
