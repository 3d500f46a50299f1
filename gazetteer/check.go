package gazetteer

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"farstation/geodesy"
)

// Ground is the terrain that features are held against. Heights are metres over the geoid.
type Ground interface {
	// HeightM is the height of the ground, false where it is not known.
	HeightM(p geodesy.LatLon) (float64, bool)
	// HighestWithin is the highest post within a radius, false where there is none.
	HighestWithin(p geodesy.LatLon, radiusM float64) (at geodesy.LatLon, heightM float64, ok bool)
}

// SettleOptions say how features are held against terrain. The zero value is the default.
type SettleOptions struct {
	// AsListed keeps places and heights exactly as listed, unchecked; a missing height still comes from the terrain.
	AsListed bool
	// PostSpacingM is the distance between posts, in metres; default 93 (3″ of latitude).
	PostSpacingM float64
	// TerrainSDM replaces the spread of heights taken from terrain, in metres; 0 leaves it to grow with slope and spacing.
	TerrainSDM float64
	// Covers tells whether a tile covers a place, so that a height that is not known there is a void of it; nil says that none does.
	Covers func(p geodesy.LatLon) bool
	// Neighbours are the listed places of other summits, for Settle. SettleAll finds them itself.
	Neighbours []geodesy.LatLon
	// Run, for SettleAll, calls do for each of 0…n−1, on as many goroutines as it likes, until a call fails or it is cancelled; nil calls
	// one after another. No two calls read the same tile for most of their features. where says what a call is at, for messages.
	Run func(n int, where func(i int) string, do func(i int) error) error
	// Settled is told by those goroutines how many features more are settled; may be nil.
	Settled func(features int)
}

// Dropped is a feature that cannot be used, and why.
type Dropped struct {
	ID, Name string
	Line     int
	Reason   string
}

const (
	// A summit may be moved twice the spread of its place, this far at most, in metres.
	furthestMoveM = 1000
	// From this far on a move is a doubt, in metres.
	notableMoveM = 100
	// slackM is what heights on both sides may differ without anybody being wrong, besides three spreads. Our judgement: 95 % of 1,492
	// hills of the Scottish Borders differ by less.
	slackM = 15
	// A summit between posts stands up to 0.71 of their spacing from the nearest, half a cell's diagonal, and a 3″ post that is
	// the mean of nine 1″ posts takes another 0.38: the mean distance from the middle of a square of side 1. Slope times this is
	// what terrain may shave off. (Finsteraarhorn: listed 4274 m, highest 3″ post 4173 m.)
	shavedSpacings = 1.1
	// Spread of terrain: 5 m on flat land (Rodríguez et al. 2006: 8 to 9 m at 90 %, absolute, divided by 1.645), and the rise over
	// 0.4 of the spacing besides (our judgement).
	flatTerrainSDM, terrainSDSpacings = 5, 0.4
)

// Settle gives a feature its place, its ground height and the doubts that come with them, from Listed and ListedHeightM.
//
// A peak, hill or volcano goes to the highest post within twice the spread of its place (at least one spacing of posts, at most
// 1 km). It does not go where another listed summit is nearer than itself, nor onto ground that its listed height denies where nearer
// ground agrees with it: the circle is drawn in, step by step, until neither is so.
//
// A listed height is believed down to 15 m and three spreads below the terrain, and as far above it, plus what terrain shaves off: the
// local slope times 1.1 spacings. A needle within that keeps its height. Other kinds stand where they are listed, and the slope times two
// spreads of their place is granted both ways. Beyond, the terrain's word is taken.
//
// The error says that a feature has a height neither listed nor from terrain and cannot be used.
func Settle(f *Feature, ground Ground, opts SettleOptions) error {
	return newSettler(ground, opts, func(spot geodesy.LatLon) bool {
		ownM := apartM(spot, f.Listed)
		return slices.ContainsFunc(opts.Neighbours, func(other geodesy.LatLon) bool { return apartM(spot, other) < ownM })
	}).settle(f)
}

// SettleAll settles every feature beside the others and marks summits that end up on one spot. It changes features in place
// and returns those that can be used, in their order, and those that cannot. The order of features changes nothing but the order
// of the results. The error is that of opts.Run.
func SettleAll(features []Feature, ground Ground, opts SettleOptions) ([]Feature, []Dropped, error) {
	neighbours := newSummitIndex(features)
	problems := make([]error, len(features))
	cells := byCell(features)
	where := func(cell int) string {
		return "the settling of " + features[cells[cell][0]].ID + " and what is beside it"
	}
	settleCell := func(cell int) error {
		for _, i := range cells[cell] {
			s := newSettler(ground, opts, func(spot geodesy.LatLon) bool { return neighbours.nearerThan(spot, features[i].Listed) })
			problems[i] = s.settle(&features[i])
		}
		if opts.Settled != nil {
			opts.Settled(len(cells[cell]))
		}
		return nil
	}
	run := opts.Run
	if run == nil {
		run = oneAfterAnother
	}
	if err := run(len(cells), where, settleCell); err != nil {
		return nil, nil, err
	}
	var dropped []Dropped
	kept := features[:0]
	for i, f := range features {
		if problems[i] != nil {
			dropped = append(dropped, Dropped{ID: f.ID, Name: f.Name, Line: f.Line, Reason: problems[i].Error()})
			continue
		}
		kept = append(kept, f)
	}
	markShared(kept)
	return kept, dropped, nil
}

func oneAfterAnother(n int, _ func(int) string, do func(i int) error) error {
	for i := range n {
		if err := do(i); err != nil {
			return err
		}
	}
	return nil
}

// byCell returns the indices of the features of each degree cell, cell beside cell, so that terrain is read tile by tile.
func byCell(features []Feature) [][]int32 {
	order := make([]int32, len(features))
	for i := range order {
		order[i] = int32(i)
	}
	compare := func(i, j int32) int {
		a, b := features[i].Listed, features[j].Listed
		return cmp.Or(cmp.Compare(math.Floor(a.LatDeg), math.Floor(b.LatDeg)), cmp.Compare(math.Floor(a.LonDeg), math.Floor(b.LonDeg)))
	}
	slices.SortStableFunc(order, compare)
	var cells [][]int32
	for first := 0; first < len(order); {
		end := first + 1
		for end < len(order) && compare(order[first], order[end]) == 0 {
			end++
		}
		cells = append(cells, order[first:end])
		first = end
	}
	return cells
}

// markShared doubts summits that stand on the same spot, to a centimetre.
func markShared(features []Feature) {
	type spot struct{ lat, lon int64 }
	first := map[spot]int{}
	for i := range features {
		if !features[i].Kind.isSummit() {
			continue
		}
		at := spot{int64(math.Round(features[i].At.LatDeg * 1e7)), int64(math.Round(features[i].At.LonDeg * 1e7))}
		j, taken := first[at]
		if !taken {
			first[at] = i
			continue
		}
		features[i].doubt(DoubtSharesSummit)
		features[j].doubt(DoubtSharesSummit)
	}
}

// settler holds one feature against terrain.
type settler struct {
	ground Ground
	opts   SettleOptions
	// foreign tells a spot that is nearer to another summit's listed place than to the feature's own.
	foreign func(spot geodesy.LatLon) bool
}

func newSettler(ground Ground, opts SettleOptions, foreign func(geodesy.LatLon) bool) *settler {
	if opts.PostSpacingM <= 0 {
		opts.PostSpacingM = 93
	}
	return &settler{ground: ground, opts: opts, foreign: foreign}
}

func (s *settler) settle(f *Feature) error {
	f.At, f.MovedM = f.Listed, 0
	f.GroundHeightM, f.TerrainHeightM, f.HeightSource = f.ListedHeightM, math.NaN(), HeightListed
	terrainM, known := s.heightM(f.Listed)
	listed := !math.IsNaN(f.ListedHeightM)
	switch {
	case !known && !listed:
		return fmt.Errorf("no height: none is listed and there is no terrain at %.5f, %.5f", f.Listed.LatDeg, f.Listed.LonDeg)
	case !known && f.Kind.isSummit() && s.opts.Covers != nil && s.opts.Covers(f.Listed):
		f.doubt(DoubtSummitOnVoid)
		return nil
	case !known:
		f.doubt(DoubtHeightUnchecked)
		return nil
	}
	if f.Kind.isSummit() && !s.opts.AsListed {
		terrainM = s.climb(f, terrainM)
	}
	f.TerrainHeightM = terrainM
	slope := s.slope(f.At, terrainM)
	if !listed {
		f.doubt(DoubtHeightFromTerrain)
		s.takeTerrain(f, slope)
		return nil
	}
	if s.opts.AsListed {
		return nil
	}
	belowM := heightSlackM(f)
	aboveM := belowM + shavedSpacings*slope*s.opts.PostSpacingM
	if !f.Kind.isSummit() {
		placeM := 2 * slope * min(f.PositionSDM, furthestMoveM)
		belowM, aboveM = belowM+placeM, belowM+placeM
	}
	fits := func(heightM float64) bool { return heightM >= terrainM-belowM && heightM <= terrainM+aboveM }
	if fits(f.ListedHeightM) {
		return nil
	}
	// A low rock that terrain misses fits in feet by accident; three times over the limit is no accident.
	if f.ListedHeightM-terrainM > 3*aboveM && fits(f.ListedHeightM*metresPerFoot) {
		f.doubt(DoubtFeetAsMetres)
	} else {
		f.doubt(DoubtHeightContradictsTerrain)
	}
	s.takeTerrain(f, slope)
	return nil
}

// heightSlackM is how far a listed height and even ground may differ, in metres.
func heightSlackM(f *Feature) float64 { return slackM + 3*f.GroundHeightSDM }

// climb moves a summit to its highest ground and returns the height there.
func (s *settler) climb(f *Feature, hereM float64) float64 {
	type spot struct {
		at      geodesy.LatLon
		heightM float64
	}
	ceilingM := math.Inf(1)
	if !math.IsNaN(f.ListedHeightM) {
		ceilingM = f.ListedHeightM + heightSlackM(f)
	}
	here := spot{f.Listed, hereM}
	best, found := here, false
	radiusM := max(min(2*f.PositionSDM, furthestMoveM), s.opts.PostSpacingM)
	for {
		at, heightM, ok := s.ground.HighestWithin(f.Listed, radiusM)
		if !ok || heightM <= hereM {
			break // nor is there any higher ground nearer
		}
		if !s.foreign(at) {
			if heightM <= ceilingM {
				best, found = spot{at, heightM}, true
				break
			}
			if !found {
				best, found = spot{at, heightM}, true
			}
		}
		if radiusM == s.opts.PostSpacingM {
			break
		}
		radiusM = max(0.75*radiusM, s.opts.PostSpacingM)
	}
	if best.heightM > ceilingM && hereM <= ceilingM {
		best = here
	}
	if best.at != f.Listed {
		f.At = best.at
		f.MovedM = apartM(f.Listed, best.at)
	}
	if f.MovedM > notableMoveM {
		f.doubt(DoubtMoved)
	}
	return best.heightM
}

func (s *settler) takeTerrain(f *Feature, slope float64) {
	f.GroundHeightM, f.HeightSource = f.TerrainHeightM, HeightTerrain
	f.GroundHeightSDM = s.opts.TerrainSDM
	if s.opts.TerrainSDM > 0 {
		return
	}
	f.GroundHeightSDM = math.Hypot(flatTerrainSDM, terrainSDSpacings*slope*s.opts.PostSpacingM)
	if !f.Kind.isSummit() { // a summit was sought and found, a foot on a slope lies where it lies
		f.GroundHeightSDM = math.Hypot(f.GroundHeightSDM, slope*f.PositionSDM)
	}
}

// slope is the steepest of the straight slopes, up or down, from a place to eight points two spacings away, as rise over run.
// Points without terrain do not count.
func (s *settler) slope(at geodesy.LatLon, heightM float64) float64 {
	steepest, runM := 0.0, 2*s.opts.PostSpacingM
	for direction := range 8 {
		p, _ := geodesy.WGS84.Direct(at, float64(45*direction), runM)
		pointM, ok := s.heightM(p)
		if !ok {
			continue
		}
		steepest = max(steepest, math.Abs(heightM-pointM)/runM)
	}
	return steepest
}

func (s *settler) heightM(p geodesy.LatLon) (float64, bool) {
	if s.ground == nil {
		return 0, false
	}
	return s.ground.HeightM(p)
}

// apartM is the length of the geodesic between two places.
func apartM(a, b geodesy.LatLon) float64 { return geodesy.WGS84.Inverse(a, b).DistanceM }
