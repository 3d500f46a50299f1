package pipeline

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// LinePrediction is one pair in full.
type LinePrediction struct {
	// Row is the row that a survey would write, but for scores, rank and alignments, which it leaves empty.
	Row Sightline
	// EyeSDM and TopSDM are the standard deviations of the heights of the two ends, in metres.
	EyeSDM, TopSDM float64
	// ObserverUndulationM and TargetUndulationM are the heights of the geoid over the ellipsoid at the two ends.
	ObserverUndulationM, TargetUndulationM float64
	// FrontSDM is the standard deviation of the ground at the front, in metres; 0 where the line has no front.
	FrontSDM float64
	// Profile is the ground along the line; its Line is 0.
	Profile Profile
}

// ErrEndsTooClose marks a pair with no ground outside the guards of its ends, of which nothing can be said.
var ErrEndsTooClose = errors.New("the two ends are too close together")

// ValidateLine is Validate for a single line, which needs no gazetteer: both ends may be given as places.
func (o *Options) ValidateLine() error {
	withFeatures := *o
	withFeatures.Features = []string{"places"}
	return withFeatures.Validate()
}

// PredictLine predicts one pair whatever its length and verdict: distances of Options and KeepAll do not apply. It returns
// ErrEndsTooClose for ends that are closer than twice the guard, and an error for ends farther apart than any sightline.
func (w *World) PredictLine(opts Options, observer, target *gazetteer.Feature) (*LinePrediction, error) {
	opts.KeepAll = true
	tracer := NewTracer(opts, w.Store, w.Geoid)
	trace, err := tracer.Trace(observer, target, true)
	if err != nil {
		return nil, err
	}
	if !trace.Judged {
		apartM := geodesy.WGS84.Inverse(observer.At, target.At).DistanceM
		return nil, fmt.Errorf("line from %s to %s: %w: %.0f m apart, with a guard of %g m at either end: choose ends farther apart, or a smaller guard",
			observer.ID, target.ID, ErrEndsTooClose, apartM, opts.GuardM)
	}
	p := &LinePrediction{
		Row: trace.Row, EyeSDM: trace.EyeSDM, TopSDM: trace.TopSDM,
		ObserverUndulationM: w.Geoid.UndulationM(observer.At), TargetUndulationM: w.Geoid.UndulationM(target.At),
	}
	line, err := terrain.NewLine(
		terrain.End{At: observer.At, HeightM: p.Row.EyeHeightM, UndulationM: p.ObserverUndulationM},
		terrain.End{At: target.At, HeightM: p.Row.TopHeightM, UndulationM: p.TargetUndulationM})
	walker := terrain.NewWalker(w.Store, w.Geoid, opts.SeaLevelM)
	if err == nil {
		p.Profile, err = Walk(walker, line)
	}
	if err != nil {
		return nil, fmt.Errorf("profile of %s to %s: %w", observer.ID, target.ID, err)
	}
	p.Profile.ObserverID, p.Profile.TargetID = observer.ID, target.ID
	if front := p.Row.FrontDistanceM; front != nil {
		walker.Walk(line, terrain.FillHigh, *front, line.DistanceM, func(piece *terrain.Piece) bool {
			p.FrontSDM = opts.groundAtSDM(piece)
			return false
		})
	}
	return p, nil
}

// groundAtSDM is the standard deviation of the ground of a piece, as chances take it.
func (o *Options) groundAtSDM(p *terrain.Piece) float64 {
	switch {
	case p.Tile == nil && !p.Missing:
		return o.SeaLevelSDM
	case o.TerrainSDM > 0:
		return o.TerrainSDM
	default:
		return terrain.PostSDM(p)
	}
}

// Spreads of what a person types in place of a gazetteer, in metres. Our judgement, no source: a place read off a satellite receiver or
// a large-scale map, and a ground height as a CSV lists it.
const (
	typedPlaceSDM  = 10
	typedHeightSDM = 3
)

// FeatureAt returns a feature for a place that no gazetteer lists. It stands exactly there, on groundM metres over the geoid; NaN takes
// the ground of the terrain, and it is an error when there is none.
func (w *World) FeatureAt(opts Options, id string, at geodesy.LatLon, groundM float64) (gazetteer.Feature, error) {
	f := gazetteer.Feature{
		ID: id, Name: fmt.Sprintf("%.5f, %.5f", at.LatDeg, at.LonDeg), Kind: gazetteer.Place, At: at, Listed: at,
		GroundHeightM: groundM, ListedHeightM: groundM, TerrainHeightM: math.NaN(), HeightSource: gazetteer.HeightListed,
		GroundHeightSDM: typedHeightSDM, PositionSDM: typedPlaceSDM, Sources: []string{id},
	}
	err := gazetteer.Settle(&f, w.Store, gazetteer.SettleOptions{AsListed: true, PostSpacingM: w.spacingAtM(at), TerrainSDM: opts.TerrainSDM})
	return f, err
}

// spacingAtM is the spacing of posts at a place, in metres of latitude; 0 where there is no tile.
func (w *World) spacingAtM(at geodesy.LatLon) float64 {
	here := World{Features: []gazetteer.Feature{{Listed: at}}, Store: w.Store}
	return here.postSpacingM()
}

// Find returns the features that a text names: the one whose id it is, or else all that have it among their names, whatever the case
// of its letters. They come sorted by id.
func (w *World) Find(text string) []*gazetteer.Feature {
	var named []*gazetteer.Feature
	for i := range w.Features {
		f := &w.Features[i]
		if f.ID == text {
			return []*gazetteer.Feature{f}
		}
		is := func(name string) bool { return strings.EqualFold(name, text) }
		if is(f.Name) || slices.ContainsFunc(f.OtherNames, is) {
			named = append(named, f)
		}
	}
	return named
}

// FindLike returns the first most features whose id or names hold a text, whatever the case of its letters: what a person may have meant.
func (w *World) FindLike(text string, most int) []*gazetteer.Feature {
	var like []*gazetteer.Feature
	text = strings.ToLower(text)
	for i := range w.Features {
		if len(like) == most {
			break
		}
		f := &w.Features[i]
		holds := func(name string) bool { return strings.Contains(strings.ToLower(name), text) }
		if holds(f.ID) || holds(f.Name) || slices.ContainsFunc(f.OtherNames, holds) {
			like = append(like, f)
		}
	}
	return like
}

// Claim is what a photograph of a lone line can decide without a level: the angle from the front up to the top, under each model, in
// minutes of arc, with its standard deviation.
type Claim struct {
	CurvedArcmin, CurvedSDArcmin float64
	PlaneArcmin, PlaneSDArcmin   float64
}

// claimSpreads is how many standard deviations from its value a measured angle refutes a model.
const claimSpreads = 3

// Claim judges the line with its front in the place of an alignment's near top, x away: between the models the angle differs by
// (1−k)(s−x)/(2R). Its spread is that of the heights of top, front and eye, σ_t/s, σ_x/x and (1/x−1/s)σ_e, and under the curved model that
// of k, in a part that both rays share and one of each ray's own. ok is false where the top is out of view, nothing is cut off below
// it, or the line is undecided.
func (p *LinePrediction) Claim(o *Options) (claim Claim, ok bool) {
	l := &p.Row
	if l.FrontDistanceM == nil || l.FootDistanceM == nil || l.ObscuredHeightM == nil || l.Verdict == Undecided || !(l.MarginArcmin > 0) {
		return Claim{}, false
	}
	s, x := l.DistanceM, *l.FrontDistanceM
	perK := (s - x) / (2 * l.RadiusM)
	top := geodesy.ApparentElevationRad(l.EyeHeightM, l.TopHeightM, s, l.RadiusM, o.K)
	// Front and foot lie on one ray.
	front := geodesy.ApparentElevationRad(l.EyeHeightM, *l.ObscuredHeightM, *l.FootDistanceM, l.RadiusM, o.K)
	heights := math.Sqrt(square(p.TopSDM/s) + square(p.FrontSDM/x) + square((1/x-1/s)*p.EyeSDM))
	// Rays that run low are less certain than the free air of the options.
	kSD := math.Max(o.KSD, l.KSD)
	own := math.Min(o.KOwnSD, kSD)
	air := math.Hypot(math.Sqrt(square(kSD)-square(own))*perK, own*math.Hypot(s, x)/(2*l.RadiusM))
	claim = Claim{
		CurvedArcmin: (top - front) * arcminPerRad, CurvedSDArcmin: math.Hypot(heights, air) * arcminPerRad,
		PlaneArcmin: (top - front + (1-o.K)*perK) * arcminPerRad, PlaneSDArcmin: heights * arcminPerRad,
	}
	return claim, claim.CurvedArcmin > 0
}

// Thresholds returns the angle above which the curved model is refuted and the one below which the plane is, three standard deviations
// from each; decides is false where the bands of the two models overlap.
func (c Claim) Thresholds() (curvedRefutedAbove, planeRefutedBelow float64, decides bool) {
	curvedRefutedAbove = c.CurvedArcmin + claimSpreads*c.CurvedSDArcmin
	planeRefutedBelow = c.PlaneArcmin - claimSpreads*c.PlaneSDArcmin
	return curvedRefutedAbove, planeRefutedBelow, curvedRefutedAbove < planeRefutedBelow
}
