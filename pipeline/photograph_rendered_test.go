package pipeline

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/stat/distuv"

	"farstation/geodesy"
	"farstation/geodesy/geoid"
)

// The spreads that rendered photographs are drawn with, and that are stated to what judges them; k and its spreads are those of the options, heights of the
// eye have typedHeightSDM and places madePlaceSDM.
const (
	renderedPixelSD   = 0.5
	renderedHeightSDM = 3.0
	renderedFocalSD   = 0.03
	renderedWidthPx   = 6000
	renderedHeightPx  = 4000
	renderedMostTops  = 9
	renderedLeastTops = 6
)

// renderedPhotograph is a photograph of invented hills that the ray caster rendered: what is true of it, and what is stated.
type renderedPhotograph struct {
	place                    geodesy.LatLon
	eyeM                     float64 // over the ellipsoid
	k                        float64 // the part that all rays share; 1 on the plane, where the curvature 1 − k is 0
	focalPx                  float64
	aimDeg, tiltDeg, rollDeg float64

	camera CameraPlace // as stated
	// statedFocalPx is good to renderedFocalSD, and told to the resection of three photographs in four.
	statedFocalPx float64
	tops          []renderedTop
}

type renderedTop struct {
	name     string
	xPx, yPx float64 // measured
	listed   geodesy.LatLon
	listedM  float64 // over the geoid
}

// renderPhotograph draws camera, hills and air at random, and measures the tops that show.
func renderPhotograph(random *rand.Rand, grid *geoid.Grid, plane bool) renderedPhotograph {
	for {
		if p := tryToRender(random, grid, plane); len(p.tops) >= renderedLeastTops {
			return p
		}
	}
}

// renderedHill is a hill of a scene: where it stands as the camera sees it, how high it rises over the level ground, and how steep its top is.
type renderedHill struct{ offDeg, distanceM, riseM, slope float64 }

func tryToRender(random *rand.Rand, grid *geoid.Grid, plane bool) renderedPhotograph {
	o := DefaultOptions()
	within := func(from, to float64) float64 { return from + (to-from)*random.Float64() }
	p := renderedPhotograph{
		place: geodesy.LatLon{LatDeg: within(-60, 60), LonDeg: within(-180, 180)}, eyeM: within(300, 1500), focalPx: 10_000 * math.Exp(within(0, math.Log(5))),
		aimDeg: within(0, 360), tiltDeg: 0.3 * random.NormFloat64(), rollDeg: random.NormFloat64(), k: o.K + o.KSD*random.NormFloat64(),
	}
	if plane {
		p.k = 1
	}
	halfFieldDeg := math.Atan(renderedWidthPx/2/p.focalPx) * 180 / math.Pi
	var scene []renderedHill
	for range 14 {
		far := within(0, 1)
		distanceM := 10_000 * math.Pow(14, far)
		// Farther ones appear higher, or nearer ones would hide them, under either model: the curved one takes up to 8 cm/km² from its tops.
		riseM := p.eyeM + distanceM*(within(-0.012, -0.004)+0.014*far) + distanceM*distanceM*within(0, 7e-8)
		h := renderedHill{halfFieldDeg * within(-0.95, 0.95), distanceM, riseM, within(0.4, 0.7)}
		if riseM > 150 && riseM < 4000 && h.reachM() < 0.9*distanceM { // no hill reaches the camera
			scene = append(scene, h)
		}
	}
	p.render(random, grid, scene)
	return p
}

func (h renderedHill) reachM() float64 { return 3 * h.riseM / h.slope }

// render measures, on the photograph of a scene, the tops that show, and draws what the gazetteer and the photographer say.
func (p *renderedPhotograph) render(random *rand.Rand, grid *geoid.Grid, scene []renderedHill) {
	earth := ellipsoidWorld{}
	c := caster{world: earth, focalPx: p.focalPx, widthPx: renderedWidthPx, heightPx: renderedHeightPx}
	if p.k == 1 {
		c.world = planeWorld{}
	}
	c.aim(p.place, p.eyeM, p.aimDeg, p.tiltDeg, p.rollDeg)
	for _, h := range append(scene, renderedHill{0, 0, p.eyeM - 2, 0.5}) { // the last is that on which the camera stands
		c.relief = append(c.relief, hill{c.world.foot(p.place, p.aimDeg+h.offDeg, h.distanceM), h.riseM, h.reachM()})
	}
	for i, h := range scene {
		if len(p.tops) == renderedMostTops {
			break
		}
		bendingPerM := 0.0
		if p.k != 1 {
			bendingPerM = (p.k + DefaultOptions().KOwnSD*random.NormFloat64()) / earth.radiusM(p.place.LatDeg, p.aimDeg+h.offDeg)
		}
		x, y, shown := c.top(c.relief[i], bendingPerM)
		x, y = x+renderedPixelSD*random.NormFloat64(), y+renderedPixelSD*random.NormFloat64()
		if !shown || !(x >= 0 && y >= 0 && x <= renderedWidthPx && y <= renderedHeightPx) {
			continue
		}
		at, _ := geodesy.WGS84.Direct(p.place, p.aimDeg+h.offDeg, h.distanceM)
		topM, _ := c.relief.at(c.relief[i].foot)
		p.tops = append(p.tops, renderedTop{
			name: fmt.Sprintf("Hill %c", 'A'+i), xPx: x, yPx: y,
			listed: besidePlace(random, at), listedM: topM - grid.UndulationM(at) + renderedHeightSDM*random.NormFloat64(),
		})
	}
	p.statedFocalPx = p.focalPx * math.Exp(renderedFocalSD*random.NormFloat64())
	p.camera = CameraPlace{besidePlace(random, p.place), p.eyeM - grid.UndulationM(p.place) + typedHeightSDM*random.NormFloat64()}
}

// besidePlace is a place as it is stated.
func besidePlace(random *rand.Rand, at geodesy.LatLon) geodesy.LatLon {
	m := madePhotograph{random: random}
	return m.beside(at)
}

// options writes gazetteer and points into a folder, and returns options that judge them. The picture itself lends nothing but its size.
func (p *renderedPhotograph) options(dir, picture string) (PhotographOptions, error) {
	features, points := "id,name,kind,lat,lon,ele,ground_height_sd_m,position_sd_m\n", "name_or_id,part,x_px,y_px,sd_px\n"
	for i, top := range p.tops {
		features += fmt.Sprintf("r%d,%s,peak,%.9f,%.9f,%.3f,%g,%d\n", i, top.name, top.listed.LatDeg, top.listed.LonDeg, top.listedM, renderedHeightSDM, madePlaceSDM)
		points += fmt.Sprintf("%s,top,%.3f,%.3f,%g\n", top.name, top.xPx, top.yPx, renderedPixelSD)
	}
	o := PhotographOptions{Options: DefaultOptions(), Photos: []string{picture}, PointFiles: []string{filepath.Join(dir, "points.csv")}, Cameras: []CameraPlace{p.camera}, CameraSDM: madePlaceSDM}
	o.Features, o.AsListed = []string{filepath.Join(dir, "features.csv")}, true
	if err := os.WriteFile(o.Features[0], []byte(features), 0o644); err != nil {
		return o, err
	}
	return o, os.WriteFile(o.PointFiles[0], []byte(points), 0o644)
}

// emptyPicture writes a picture of the size that all are rendered in.
func emptyPicture(t *testing.T) string {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, renderedWidthPx, renderedHeightPx))); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "rendered.png")
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// judged is a rendered photograph with what was said of it.
type judged struct {
	renderedPhotograph
	weighing *Weighing
	resected *Resected
	err      error // of the resection
}

// judgeRendered renders photographs, weighs them and, on the Earth, resects them: without a word of the place, and of one in four without the focal length.
func judgeRendered(t *testing.T, photographs int, plane bool) []judged {
	t.Helper()
	grid, err := geoid.EGM96()
	if err != nil {
		t.Fatal(err)
	}
	picture, dir := emptyPicture(t), t.TempDir()
	all := make([]judged, photographs)
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i := range all {
		group.Go(func() error {
			own := filepath.Join(dir, fmt.Sprint(i))
			if err := os.Mkdir(own, 0o755); err != nil {
				return err
			}
			j := &all[i]
			j.renderedPhotograph = renderPhotograph(rand.New(rand.NewPCG(uint64(i), 40)), grid, plane)
			o, err := j.options(own, picture)
			if err != nil {
				return err
			}
			if j.weighing, err = Weigh(t.Context(), o); err != nil || plane {
				return err
			}
			o.Cameras = nil
			if i%4 != 0 {
				o.FocalPx, o.FocalSD = j.statedFocalPx, renderedFocalSD
			}
			if j.resected, j.err = Resect(t.Context(), o); errors.Is(j.err, ErrNoPlace) {
				return nil
			}
			return j.err
		})
	}
	if err := group.Wait(); err != nil {
		t.Fatal(err)
	}
	return all
}

// renderedPhotographs is how many photographs the tests of this file judge.
func renderedPhotographs() int {
	if testing.Short() {
		return 60
	}
	return 1000
}

// TestWeighRendered: of photographs that the ray caster rendered, in air, light and place drawn at random, the curvature comes back without bias and within its
// stated spread, the model is the right one, and the place lies within its ellipse.
func TestWeighRendered(t *testing.T) {
	for _, plane := range []bool{false, true} {
		photographs := renderedPhotographs()
		if plane {
			photographs /= 4 // where there is no air to draw
		}
		n := float64(photographs)
		right, name := WeighedCurved, "on the Earth"
		if plane {
			right, name = WeighedPlane, "on a plane"
		}
		var sum, squares, chi2, dof float64
		outcomes := map[string]int{}
		strong, furthest := 0, 0.0
		var found, inside [2]int
		for i, j := range judgeRendered(t, photographs, plane) {
			w := j.weighing
			free := w.model(ModelFree)
			if !free.Fitted {
				t.Fatalf("%s: photograph %d of %d tops: %q", name, i, len(j.tops), w.Sentences)
			}
			z := (*w.K - j.k) / *w.KSD
			sum, squares, chi2, dof = sum+z, squares+z*z, chi2+free.Chi2, dof+float64(free.DOF)
			outcomes[w.Outcome]++
			strength := *w.PlaneSD
			if plane {
				strength = *w.CurvedSD
				furthest = max(furthest, math.Abs(*w.PlaneSD))
			}
			if math.Abs(strength) > 5 {
				strong++
			}
			if w.Decides && w.Outcome != right { // at any strength, not at 5 standard deviations alone
				t.Errorf("%s: photograph %d: %q", name, i, w.Sentences)
			}
			if j.resected != nil {
				found[min(i%4, 1)]++
				if inEllipse(j.resected.Places[0], j.place) {
					inside[min(i%4, 1)]++
				}
			}
		}
		t.Logf("%s: %d photographs: z of k has mean %.3f, squares add up to %.1f; χ² %.0f of %.0f degrees of freedom; outcomes %v, %d stronger than 5, furthest from the plane %.2f; "+
			"places without and with the focal length: %v found, %v inside", name, photographs, sum/n, squares, chi2, dof, outcomes, strong, furthest, found, inside)
		bound := func(what string, v, low, high float64) {
			if !(v >= low && v <= high) {
				t.Errorf("%s: %s %.3f, want %.3f…%.3f", name, what, v, low, high)
			}
		}
		// 99.8 % of draws lie between. Light that is straight has no k of each ray's own, which the spreads allow for: on a plane they are too wide.
		bound("mean z of k", sum/n, -3/math.Sqrt(n), 3/math.Sqrt(n))
		ofK, ofFit := distuv.ChiSquared{K: n}, distuv.ChiSquared{K: dof}
		low, lowFit := ofK.Quantile(0.001), ofFit.Quantile(0.001)
		if plane {
			low, lowFit = 0, 0
		}
		bound("sum of squares of z of k", squares, low, ofK.Quantile(0.999))
		bound("sum of χ²", chi2, lowFit, ofFit.Quantile(0.999))
		// Three standard deviations and a probability below 0.001 are passed by chance in 0.4 % of draws.
		chance := 0.004 * n
		bound("photographs that neither model fits", float64(outcomes[WeighedNeither]), 0, chance+3*math.Sqrt(chance)+1)
		bound("strong photographs", float64(strong), 0.95*n, n)
		if plane {
			bound("the farthest from the plane in standard deviations", furthest, 0, 5)
			continue
		}
		bound("photographs that were given a place", float64(found[0]+found[1]), 0.98*n, n)
		// ± 2 %, or three standard deviations of the share where fewer are drawn.
		share := float64(inside[0]+inside[1]) / float64(found[0]+found[1])
		within := math.Max(0.02, 3*math.Sqrt(0.95*0.05/n))
		bound("share of places inside their 95 % ellipses", share, 0.95-within, 0.95+within)
	}
}
