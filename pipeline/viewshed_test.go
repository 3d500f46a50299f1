package pipeline

import (
	"flag"
	"math"
	"os"
	"path/filepath"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

var viewshedObservers = flag.Int("viewshed-observers", 0, "compare viewsheds of this many observers, with every engine on every mosaic")

// The causes of an answer that differs from an engine's, in the order in which the walk is brought towards the engine.
const (
	causeTop    = "height of the top in the raster"
	causeEye    = "height of the eye's ground in the raster"
	causeOwn    = "ground within 200 m of an end"
	causePlace  = "ends in the middles of cells"
	causeRaster = "ground resampled"
	causeMap    = "sphere and scale of the map"
	causeEngine = "the engine's own approximation"
)

var viewshedCauses = []string{causeTop, causeEye, causeOwn, causePlace, causeRaster, causeMap, causeEngine}

// grazeK is how near to the k of both k_c may lie for a line to count as a graze.
const grazeK = 0.02

// outlook compares the lines of one observer with an engine's viewshed.
type outlook struct {
	world    *World
	walker   *terrain.Walker
	ground   *grid
	places   map[string]mapPlace       // of features, by id
	middles  map[string]geodesy.LatLon // of their cells
	observer *gazetteer.Feature
	// raised is set where the engine was given the listed heights of both ends.
	raised bool
}

// sight is one line brought some way towards an engine: its k_c, and where it grazes.
type sight struct{ k, atM, distanceM float64 }

func (s sight) open() bool { return s.k <= engineK }

// nearEnd tells whether the grazing point is an end's own ground.
func (s sight) nearEnd() bool { return math.Min(s.atM, s.distanceM-s.atM) < ownGroundM }

// line is a line between two places.
func (o *outlook) line(t testing.TB, eyeAt, topAt geodesy.LatLon, eyeM, topM float64) *terrain.Line {
	t.Helper()
	end := func(at geodesy.LatLon, heightM float64) terrain.End {
		return terrain.End{At: at, HeightM: heightM, UndulationM: o.world.Geoid.UndulationM(at)}
	}
	line, err := terrain.NewLine(end(eyeAt, eyeM), end(topAt, topM))
	if err != nil {
		t.Fatal(err)
	}
	return line
}

// walked is the k_c of the walk over our terrain.
func (o *outlook) walked(t testing.TB, eyeAt, topAt geodesy.LatLon, eyeM, topM, guardM float64) sight {
	t.Helper()
	line := o.line(t, eyeAt, topAt, eyeM, topM)
	c, err := o.walker.Critical(line, terrain.FillSea, guardM, math.Inf(1))
	if err != nil {
		t.Fatal(err)
	}
	return sight{c.K, c.AtM, line.DistanceM}
}

// samples calls f with share of the way and ground of the engine's raster, every half cell from the middle of one cell to that of another. The
// cells of the ends themselves are left out.
func (o *outlook) samples(from, to mapPlace, f func(share, groundM float64)) {
	east, north := to.eastM-from.eastM, to.northM-from.northM
	n := int(math.Round(2 * math.Max(math.Abs(east), math.Abs(north)) / o.ground.size))
	for i := 2; i <= n-2; i++ {
		share := float64(i) / float64(n)
		f(share, o.ground.between(mapPlace{from.eastM + east*share, from.northM + north*share}))
	}
}

// sampled is the k_c over the engine's raster, as for a line of distanceM on a sphere of radiusM: clear(x) = chord − ground −
// (1−k)·x(s−x)/2R.
func (o *outlook) sampled(from, to mapPlace, eyeM, topM, distanceM, radiusM float64) sight {
	s := sight{k: math.Inf(-1), distanceM: distanceM}
	o.samples(from, to, func(share, groundM float64) {
		clearM := eyeM + (topM-eyeM)*share - groundM
		if k := 1 - 2*radiusM*clearM/(distanceM*distanceM*share*(1-share)); k > s.k {
			s.k, s.atM = k, share*distanceM
		}
	})
	return s
}

// ours is our own answer with a guard: the default, or the one cell that engines leave out.
func (o *outlook) ours(t testing.TB, target *gazetteer.Feature, guardM float64) sight {
	t.Helper()
	opts := DefaultOptions()
	return o.walked(t, o.observer.At, target.At, opts.eyeHeightM(o.observer), topHeightM(target), guardM)
}

// towards brings our line towards the engine, one thing after another, and returns what each left: one sight for each cause but the last.
func (o *outlook) towards(t testing.TB, target *gazetteer.Feature) []sight {
	t.Helper()
	opts := DefaultOptions()
	from, to := o.places[o.observer.ID], o.places[target.ID]
	eyeM, topM := opts.eyeHeightM(o.observer), topHeightM(target)
	rasterEyeM, rasterTopM := o.ground.at(from)+opts.EyeHeightM, o.ground.at(to)
	if o.raised {
		rasterEyeM, rasterTopM = eyeM, topM
	}
	eyeAt, topAt := o.middles[o.observer.ID], o.middles[target.ID]
	from, to = o.ground.middle(from), o.ground.middle(to)
	route, line := geodesy.WGS84.InverseLine(eyeAt, topAt)
	middle, azimuthDeg := line.At(route.DistanceM / 2)
	euler := geodesy.WGS84.EulerRadiusM(middle.LatDeg, azimuthDeg)
	return []sight{
		o.walked(t, o.observer.At, target.At, eyeM, rasterTopM, opts.GuardM),
		o.walked(t, o.observer.At, target.At, rasterEyeM, rasterTopM, opts.GuardM),
		o.walked(t, o.observer.At, target.At, rasterEyeM, rasterTopM, o.ground.size),
		o.walked(t, eyeAt, topAt, rasterEyeM, rasterTopM, o.ground.size),
		o.sampled(from, to, rasterEyeM, rasterTopM, route.DistanceM, euler),
		o.sampled(from, to, rasterEyeM, rasterTopM, math.Hypot(to.eastM-from.eastM, to.northM-from.northM), geodesy.WGS84.SemiMajorM()),
	}
}

// cause names the change after which the answer stays the engine's, and the grazing point that decides it.
func cause(ours sight, steps []sight, engineOpen bool) (name string, blocks sight) {
	answers := append([]sight{ours}, steps...)
	last := len(answers) - 1
	for last >= 0 && answers[last].open() == engineOpen {
		last--
	}
	blocks = answers[last]
	if blocks.open() && last+1 < len(answers) {
		blocks = answers[last+1]
	}
	return viewshedCauses[last], blocks
}

// viewshedWorld is the Borders as a survey with default options has them.
func viewshedWorld(t testing.TB) *World {
	t.Helper()
	opts := hillOptions()
	opts.AsListed = false
	world, err := Load(t.Context(), opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	return world
}

// viewshedEyes are n observers: Broad Law, the highest, then others of 600 m and more, spread over the list.
func viewshedEyes(t testing.TB, w *World, n int) []*gazetteer.Feature {
	eyes := []*gazetteer.Feature{highest(t, w, "Broad Law")}
	var high []*gazetteer.Feature
	for i := range w.Features {
		if f := &w.Features[i]; f.GroundHeightM >= 600 && f.ID != eyes[0].ID {
			high = append(high, f)
		}
	}
	for i := 1; i < n; i++ {
		eyes = append(eyes, high[(i-1)*len(high)/max(n-1, 1)])
	}
	return eyes
}

// viewshedTargets are the tops from 1 km away to where the engines still look.
func viewshedTargets(w *World, eye *gazetteer.Feature) []*gazetteer.Feature {
	var targets []*gazetteer.Feature
	for i := range w.Features {
		f := &w.Features[i]
		if s := geodesy.WGS84.Inverse(eye.At, f.At).DistanceM; s >= ownGroundM && s <= viewshedReachM {
			targets = append(targets, f)
		}
	}
	return targets
}

func onMap(t testing.TB, features []gazetteer.Feature) map[string]mapPlace {
	pairs := make([][2]float64, len(features))
	for i := range features {
		pairs[i] = [2]float64{features[i].At.LonDeg, features[i].At.LatDeg}
	}
	places := map[string]mapPlace{}
	for i, p := range transform(t, "EPSG:4326", bordersMap, pairs) {
		places[features[i].ID] = mapPlace{p[0], p[1]}
	}
	return places
}

func middlesOf(t testing.TB, g *grid, features []gazetteer.Feature, places map[string]mapPlace) map[string]geodesy.LatLon {
	pairs := make([][2]float64, len(features))
	for i := range features {
		m := g.middle(places[features[i].ID])
		pairs[i] = [2]float64{m.eastM, m.northM}
	}
	middles := map[string]geodesy.LatLon{}
	for i, p := range transform(t, bordersMap, "EPSG:4326", pairs) {
		middles[features[i].ID] = geodesy.LatLon{LatDeg: p[1], LonDeg: p[0]}
	}
	return middles
}

// TestViewsheds holds our lines against the viewsheds of two general-purpose engines over one mosaic of the same tiles, and names the cause of
// every answer that differs: our line is brought towards the engine one thing at a time, until the answer is the engine's for good.
func TestViewsheds(t *testing.T) {
	needEngine(t)
	world := viewshedWorld(t)
	count := max(*viewshedObservers, 1)
	if os.Getenv("CI") == "true" {
		count = max(count, 3)
	}
	opts := DefaultOptions()
	folder := t.TempDir()
	places := onMap(t, world.Features)
	mosaics := map[int]string{90: mosaic(t, folder, 90), 30: mosaic(t, folder, 30)}
	location := newGrass(t, folder, mosaics[90], mosaics[30])
	if location == nil {
		t.Log("GRASS is not installed: no comparison with r.viewshed")
	}
	for _, cellM := range []int{90, 30} {
		path := mosaics[cellM]
		ground := readGrid(t, path)
		o := outlook{world: world, walker: terrain.NewWalker(world.Store, world.Geoid, 0), ground: ground, places: places, middles: middlesOf(t, ground, world.Features, places)}
		plain, raised := newAgreement("gdal_viewshed", cellM), newAgreement("gdal_viewshed, listed heights", cellM)
		swept := newAgreement("r.viewshed", cellM)
		all, rims := []*agreement{plain, raised}, &rims{cellM: cellM}
		withGrass := location != nil && (cellM == 90 || *viewshedObservers > 0)
		if withGrass {
			location.region(t, path)
			all = append(all, swept)
		}
		for n, eye := range viewshedEyes(t, world, count) {
			o.observer = eye
			at, eyeM := places[eye.ID], opts.EyeHeightM
			targets := viewshedTargets(world, eye)
			compare := func(a *agreement, raised bool, open func(f *gazetteer.Feature, v float64) bool, seen *grid) {
				a.observers++
				o.raised = raised
				for _, f := range targets {
					v := seen.at(places[f.ID])
					a.add(t, &o, f, open(f, v))
					if raised {
						rims.add(t, &o, f, v)
					}
				}
			}
			out := filepath.Join(folder, "seen.img")
			gdalViewshed(t, path, out, "NORMAL", at, eyeM, engineReachM)
			compare(plain, false, func(_ *gazetteer.Feature, v float64) bool { return v == 255 }, readGrid(t, out))
			gdalViewshed(t, path, out, "DEM", at, opts.eyeHeightM(eye)-ground.at(at), engineReachM)
			compare(raised, true, func(f *gazetteer.Feature, leastM float64) bool { return topHeightM(f) >= leastM }, readGrid(t, out))
			if withGrass && (n == 0 || *viewshedObservers > 0) {
				location.viewshed(t, path, at, eyeM, engineReachM)
				compare(swept, false, func(_ *gazetteer.Feature, v float64) bool { return v == 1 }, location.seen(t, ground))
			}
		}
		for _, a := range all {
			t.Log(a)
			a.check(t)
		}
		rims.check(t)
	}
}
