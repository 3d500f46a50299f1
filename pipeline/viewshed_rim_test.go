package pipeline

import (
	"math"
	"slices"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// rims holds, for the lines whose grazing point is no end's own ground, the least height in view of three makings against each other: GDAL's,
// that of samples of its raster on its map and sphere, and ours. Unlike a yes or no, a height in metres feels the k and the shape of the
// Earth on every line. Differences are taken back from the target to the grazing point, where they are those of the ground.
type rims struct {
	cellM                                              int
	oursOverSamples, engineOverSamples, oursOverEngine []float64
}

// sampledRimM is the least height in view at the end of a line over samples of the engine's raster.
func (o *outlook) sampledRimM(from, to mapPlace, eyeM float64) float64 {
	distanceM := math.Hypot(to.eastM-from.eastM, to.northM-from.northM)
	fallM := func(x float64) float64 { return (1 - engineK) * x * x / (2 * geodesy.WGS84.SemiMajorM()) }
	steepest := math.Inf(-1)
	o.samples(from, to, func(share, groundM float64) {
		x := share * distanceM
		steepest = math.Max(steepest, (groundM-fallM(x)-eyeM)/x)
	})
	return eyeM + steepest*distanceM + fallM(distanceM)
}

// add holds the three against each other for one line, from the same height of the eye and between the same middles of cells.
func (r *rims) add(t testing.TB, o *outlook, target *gazetteer.Feature, engineM float64) {
	t.Helper()
	from, to := o.ground.middle(o.places[o.observer.ID]), o.ground.middle(o.places[target.ID])
	opts := DefaultOptions()
	eyeM, topM := opts.eyeHeightM(o.observer), topHeightM(target)
	eyeAt, topAt := o.middles[o.observer.ID], o.middles[target.ID]
	grazing := o.walked(t, eyeAt, topAt, eyeM, topM, o.ground.size)
	if grazing.nearEnd() || engineM <= 0 {
		return
	}
	section, err := o.walker.Section(o.line(t, eyeAt, topAt, eyeM, topM), terrain.FillSea, o.ground.size, nil)
	if err != nil {
		t.Fatal(err)
	}
	oursM, sampledM := section.View(terrain.Model{K: engineK}).RimM, o.sampledRimM(from, to, eyeM)
	back := grazing.atM / grazing.distanceM
	r.oursOverSamples = append(r.oursOverSamples, back*(oursM-sampledM))
	r.engineOverSamples = append(r.engineOverSamples, back*(engineM-sampledM))
	r.oursOverEngine = append(r.oursOverEngine, back*(oursM-engineM))
}

// middleAndSpread are the 5th, 50th and 95th hundredth of values.
func middleAndSpread(values []float64) (low, middle, high float64) {
	slices.Sort(values)
	at := func(share float64) float64 { return values[int(share*float64(len(values)-1))] }
	return at(0.05), at(0.5), at(0.95)
}

// check bounds the differences. Half-cell samples of resampled ground can only miss crests, so ours are mostly the higher ones; GDAL's own
// spread is its approximation's and has no bound but for the median, which shows that the samples are of the same model.
func (r *rims) check(t *testing.T) {
	t.Helper()
	most := map[int]struct{ middle, low, high float64 }{
		// Measured with GDAL 3.6.2 for Broad Law alone and for 20 observers.
		90: {middle: 2.5, low: -1, high: 11},  // 1.37, 1.56; −0.03, 0.01; 6.0, 8.1
		30: {middle: 0.6, low: -1.2, high: 3}, // 0.24, 0.28; −0.5, −0.7; 1.5, 2.0
	}[r.cellM]
	inf := math.Inf(1)
	for _, c := range []struct {
		what              string
		values            []float64
		middle, low, high float64
	}{
		{"ours over samples", r.oursOverSamples, most.middle, most.low, most.high},
		{"GDAL's over samples", r.engineOverSamples, 0.1, -inf, inf},
		{"ours over GDAL's", r.oursOverEngine, most.middle, -inf, inf},
	} {
		low, middle, high := middleAndSpread(c.values)
		t.Logf("least height in view, taken back to the grazing point, %d m, %d lines, %s: median %.2f m, 5 %% to 95 %% %.2f to %.2f m", r.cellM, len(c.values), c.what, middle, low, high)
		if len(c.values) < 1000 || math.Abs(middle) > c.middle || low < c.low || high > c.high {
			t.Errorf("%s: want 1000 lines, a median within %v m, and 5 %% to 95 %% within %v to %v m", c.what, c.middle, c.low, c.high)
		}
	}
}
