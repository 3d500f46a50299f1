package pipeline

import (
	"bytes"
	"errors"
	"image"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farstation/geodesy/geoid"
)

// renderMade renders the scene of a made photograph by the ray caster: the same camera and tops, of which those that show are measured.
func renderMade(m *madePhotograph, grid *geoid.Grid) renderedPhotograph {
	p := renderedPhotograph{place: m.place, eyeM: m.eyeM, k: 1 - m.curvature, focalPx: m.focalPx, aimDeg: m.azimuthDeg, tiltDeg: m.tiltDeg, rollDeg: m.rollDeg}
	var scene []renderedHill
	for _, top := range m.tops {
		scene = append(scene, renderedHill{top.offDeg, top.distance, top.heightM, 0.6})
	}
	p.render(m.random, grid, scene)
	return p
}

// lyingPicture is a picture of which EXIF states a 35 mm equivalent of 195 mm. On 6000 × 4000 pixels that is 195/43.27 of their diagonal (CIPA DCG-001),
// 32,500 px, and the true focal length is 1.6 times as long.
func lyingPicture(t *testing.T) string {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, renderedWidthPx, renderedHeightPx)), nil); err != nil {
		t.Fatal(err)
	}
	exif := exifSegment(nil, []exifEntry{{tag: 0xa405, kind: exifShort, values: []uint32{195}}}, nil)
	path := filepath.Join(t.TempDir(), "lying.jpg")
	if err := os.WriteFile(path, append(append(bytes.Clone(b.Bytes()[:2]), exif...), b.Bytes()[2:]...), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestRenderedSpoilt: rendered photographs that decide nothing, or that something is wrong with, say what; and where nothing stands against it, the place is
// found and lies within its ellipse.
func TestRenderedSpoilt(t *testing.T) {
	grid, err := geoid.EGM96()
	if err != nil {
		t.Fatal(err)
	}
	picture, lying := emptyPicture(t), lyingPicture(t)
	const focalPx = 52_000
	first := func(n int) func(*renderedPhotograph) { return func(p *renderedPhotograph) { p.tops = p.tops[:n] } }
	eachTop := func(to func(top *renderedTop)) func(*renderedPhotograph) {
		return func(p *renderedPhotograph) {
			for i := range p.tops {
				to(&p.tops[i])
			}
		}
	}
	exchanged := func(p *renderedPhotograph) {
		p.tops[1].xPx, p.tops[1].yPx, p.tops[4].xPx, p.tops[4].yPx = p.tops[4].xPx, p.tops[4].yPx, p.tops[1].xPx, p.tops[1].yPx
	}
	lies := func(o *PhotographOptions) { o.Photos = []string{lying} }
	onCircle := func(heightM func(m *madePhotograph, i int) float64) func(*madePhotograph) {
		return func(m *madePhotograph) {
			m.focalPx = 4000
			for i := range m.tops {
				top := &m.tops[i]
				top.offDeg *= 12
				top.distance, top.heightM = 60_000*math.Cos(top.offDeg*math.Pi/180), heightM(m, i)
			}
		}
	}
	for _, test := range []struct {
		name    string
		scene   func(*madePhotograph)
		spoil   func(*renderedPhotograph)
		options func(*PhotographOptions)
		outcome string
		weighed string // somewhere in sentences and notes
		// resected is in the error where noPlace, or else in the notes.
		noPlace  bool
		resected string
		astray   bool // a place is found, and is not the right one
	}{
		{name: "as it is", outcome: WeighedCurved, weighed: "over 10"},
		{name: "on a plane", scene: func(m *madePhotograph) { m.curvature = 0 }, outcome: WeighedPlane, weighed: "where a plane with straight light has them",
			resected: "even the best place is improbable"},
		{name: "one point", spoil: first(1), outcome: WeighedCannotTell, weighed: "2 measurements, 5 unknowns", noPlace: true, resected: "1 named features, a resection takes three"},
		{name: "two points", spoil: first(2), outcome: WeighedCannotTell, weighed: "4 measurements, 5 unknowns", noPlace: true, resected: "2 named features, a resection takes three"},
		{name: "three points without focal length", spoil: first(3), outcome: WeighedCurved, noPlace: true, resected: "measure a fourth"},
		{name: "three points with a focal length", spoil: first(3), options: func(o *PhotographOptions) { o.FocalPx = focalPx }, outcome: WeighedCurved, resected: "three named features leave nothing over"},
		{name: "three points, EXIF lies by 1.6", spoil: first(3), options: lies, outcome: WeighedCurved, noPlace: true, resected: "too weak"},
		{name: "four points, EXIF lies by 1.6", spoil: first(4), options: lies, outcome: WeighedCurved},
		{name: "EXIF lies by 1.6", options: lies, outcome: WeighedCurved, weighed: "1.60 times what EXIF says"},
		{name: "a stated focal length lies by 1.6", options: func(o *PhotographOptions) { o.FocalPx, o.FocalSD = focalPx/1.6, 0.02 }, outcome: WeighedNeither,
			weighed: "focal length that is stated, 32500 px, looks wrong", noPlace: true, resected: "too weak"},
		{name: "names exchanged", spoil: exchanged, outcome: WeighedNeither, weighed: "names of Hill B and Hill E look exchanged", noPlace: true, resected: "a name is wrong"},
		{name: "upside down", spoil: eachTop(func(top *renderedTop) { top.xPx, top.yPx = renderedWidthPx-top.xPx, renderedHeightPx-top.yPx }),
			outcome: WeighedCurved, weighed: "upside down", resected: "upside down"},
		{name: "y upwards", spoil: eachTop(func(top *renderedTop) { top.yPx = renderedHeightPx - top.yPx }), outcome: WeighedNeither, weighed: "y that counts upwards",
			resected: "y that counts upwards", astray: true},
		{name: "heights in feet", spoil: eachTop(func(top *renderedTop) { top.listedM /= 0.3048 }), outcome: WeighedNeither, weighed: "look like feet",
			resected: "a wrong height", astray: true},
		{name: "all at one distance", scene: func(m *madePhotograph) {
			m.focalPx = 12_000
			for i := range m.tops {
				m.tops[i].offDeg, m.tops[i].distance, m.tops[i].heightM = 4*m.tops[i].offDeg, 60_000, 900+100*float64(i)
			}
		}, outcome: WeighedCannotTell, weighed: "distances that differ"},
		{name: "all in one line", scene: func(m *madePhotograph) {
			for i := range m.tops {
				m.tops[i].offDeg = 0
			}
		}, options: func(o *PhotographOptions) { o.FocalPx = focalPx }, outcome: WeighedCurved, noPlace: true, resected: "on the circle through what it sights"},
		{name: "danger circle", scene: onCircle(func(m *madePhotograph, i int) float64 { return m.tops[i].heightM }), outcome: WeighedCannotTell, resected: "the place stands on the heights alone"},
		{name: "danger circle, all at the eye's height", scene: onCircle(func(m *madePhotograph, _ int) float64 { return m.eyeM }), outcome: WeighedCannotTell, noPlace: true,
			resected: "on one circle with the camera"},
	} {
		m := newMadePhotograph(3, 0.857)
		if test.scene != nil {
			test.scene(m)
		}
		p := renderMade(m, grid)
		if len(p.tops) < 3 {
			t.Fatalf("%s: %d tops show", test.name, len(p.tops))
		}
		if test.spoil != nil {
			test.spoil(&p)
		}
		o, err := p.options(t.TempDir(), picture)
		if err != nil {
			t.Fatal(err)
		}
		if test.options != nil {
			test.options(&o)
		}
		w, err := Weigh(t.Context(), o)
		if err != nil {
			t.Errorf("%s: %v", test.name, err)
			continue
		}
		if said := strings.Join(append(w.Sentences, w.Notes...), "\n"); w.Outcome != test.outcome || !strings.Contains(said, test.weighed) {
			t.Errorf("%s: outcome %s (want %s), said %q, want %q in it", test.name, w.Outcome, test.outcome, said, test.weighed)
		}
		o.Cameras = nil
		r, err := Resect(t.Context(), o)
		switch {
		case test.noPlace:
			if !errors.Is(err, ErrNoPlace) || !strings.Contains(err.Error(), test.resected) {
				t.Errorf("%s: resected to %+v, error %v; want one with %q", test.name, r, err, test.resected)
			}
		case err != nil:
			t.Errorf("%s: resection: %v", test.name, err)
		case !strings.Contains(strings.Join(r.Notes, "\n"), test.resected), inEllipse(r.Places[0], p.place) == test.astray:
			t.Errorf("%s: resected to %+v, which is in the ellipse: %v; notes %q, want %q in them", test.name, r.Places[0], inEllipse(r.Places[0], p.place), r.Notes, test.resected)
		}
	}
}
