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
	// K is the refraction coefficient of free air on this line: that of the options, or of the air that they name.
	K float64
	// EyeSDM and TopSDM are the standard deviations of the heights of the two ends, in metres.
	EyeSDM, TopSDM float64
	// ObserverUndulationM and TargetUndulationM are the heights of the geoid over the ellipsoid at the two ends.
	ObserverUndulationM, TargetUndulationM float64
	// Profile is the ground along the line; its Line is 0.
	Profile Profile
	// BreakEvens tells by how much each input alone must be wrong for the plane to fit what the curved model predicts of the angle of
	// the top over its front; AllSD in how many standard deviations all but k must be wrong at once. None where there is no claim.
	BreakEvens []BreakEven
	AllSD      float64
	// LowM is the length of the ray within the low height of sea or ground.
	LowM float64
}

// DrawLine draws the whole profile of one pair n times at random, k, heights and terrain, and returns the share of draws that show the top: the
// slow twin of its chance. The same seed gives the same share. Gaps in the terrain are filled high.
func (w *World) DrawLine(opts Options, observer, target *gazetteer.Feature, n int, seed uint64) (float64, error) {
	opts.KeepAll = true
	tracer := NewTracer(opts, w.Store, w.Geoid)
	if _, err := tracer.Trace(observer, target, false); err != nil {
		return 0, err
	}
	section, err := tracer.walker.Section(&tracer.line, terrain.FillHigh, opts.GuardM, nil)
	if err != nil {
		return 0, fmt.Errorf("line from %s to %s: %w", observer.ID, target.ID, err)
	}
	spreads := opts.spreads(observer, target)
	spreads.K = tracer.k
	return section.Draw(spreads, n, seed), nil
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
		Row: trace.Row, K: tracer.k, LowM: tracer.lowM, EyeSDM: trace.EyeSDM, TopSDM: trace.TopSDM,
		ObserverUndulationM: w.Geoid.UndulationM(observer.At), TargetUndulationM: w.Geoid.UndulationM(target.At),
	}
	if front := p.Row.FrontDistanceM; front != nil {
		_, frontSDM := tracer.section.GroundAt(*front, opts.spreads(observer, target))
		ofLine := opts
		ofLine.K = p.K
		p.BreakEvens, p.AllSD = LineBreakEvens(&ofLine, &p.Row, p.EyeSDM, p.TopSDM, observer.PositionSDM, target.PositionSDM, frontSDM)
	}
	line, err := terrain.NewLine(
		terrain.End{At: observer.At, HeightM: p.Row.EyeHeightM, UndulationM: p.ObserverUndulationM},
		terrain.End{At: target.At, HeightM: p.Row.TopHeightM, UndulationM: p.TargetUndulationM})
	if err == nil {
		p.Profile, err = Walk(terrain.NewWalker(w.Store, w.Geoid, opts.SeaLevelM), line)
	}
	if err != nil {
		return nil, fmt.Errorf("profile of %s to %s: %w", observer.ID, target.ID, err)
	}
	p.Profile.ObserverID, p.Profile.TargetID = observer.ID, target.ID
	return p, nil
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
	return spacingM(w.Store, [2]int{int(math.Floor(at.LatDeg)), int(math.Floor(at.LonDeg))})
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
