package pipeline

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/camera"
	"farstation/geodesy/terrain"
)

// PhotographOptions are what photographs are judged with; of Options, features, terrain, air, heights and sea count.
type PhotographOptions struct {
	Options
	// Photos and PointFiles are pictures and the tables of points measured on them, one to one.
	Photos, PointFiles []string
	// Cameras are where they were taken: none (EXIF tells), one for all, or one each. CameraSDM is their standard deviation each way in metres;
	// 0 takes 10 m where a place is typed and 50 m where EXIF tells it.
	Cameras   []CameraPlace
	CameraSDM float64
	// FocalPx starts the search for the focal length, 0 takes what EXIF says; FocalSD is its relative standard deviation, 0 leaves it free.
	FocalPx, FocalSD float64
	// Prediction is the path of a claim made beforehand, "" for none.
	Prediction string
	// Tried is how many photographs were taken for this test, those that showed nothing included; 0 for those that are weighed.
	Tried int
}

// CameraPlace is where a lens was: its height over the geoid is NaN where the terrain tells it.
type CameraPlace struct {
	At         geodesy.LatLon
	EyeHeightM float64
}

// exifPlaceSDM is the spread of a place that EXIF tells, in metres. Our judgement, no source: a receiver's fix may be minutes old.
const exifPlaceSDM = 50

// lowRayM is the length of low air on a ray from which on it has its own k.
const lowRayM = 5000

// Scene is what was measured on photographs, with all that is known beside it.
type Scene struct {
	Photos   []Photograph
	Points   []MeasuredPoint
	Rejected []InputRejected
	Notes    []string
	Targets  []gazetteer.Feature

	opts     PhotographOptions
	world    *World
	targetOf []int // by point; −1 for none
	stations []camera.Station
	// observers are the stations as features, stationOf the station of a photograph.
	observers []gazetteer.Feature
	stationOf []int
	// lines are the predictions from station to target, nil where there is none.
	lines map[[2]int]*LinePrediction
	names []NamedPoint
	// reliefM is how uncertain the ground is under an open place, besides its own spread.
	reliefM float64
}

func (s *Scene) note(format string, args ...any) {
	s.Notes = append(s.Notes, fmt.Sprintf(format, args...))
}

// Validate says all that is wrong with the options.
func (o *PhotographOptions) Validate() error {
	var wrong []error
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Errorf(format, args...)) }
	if len(o.Photos) == 0 {
		say("no --photo: name a JPEG or PNG file")
	}
	if len(o.Photos) != len(o.PointFiles) {
		say("%d --photo and %d --points: give one table of points for each photograph, in the same order", len(o.Photos), len(o.PointFiles))
	}
	if len(o.Cameras) > 1 && len(o.Cameras) != len(o.Photos) {
		say("%d --camera for %d photographs: give one for all, or one each", len(o.Cameras), len(o.Photos))
	}
	for _, flag := range []struct {
		name  string
		value float64
	}{{"camera-sd-m", o.CameraSDM}, {"focal-px", o.FocalPx}, {"focal-sd-percent", 100 * o.FocalSD}} {
		if !(flag.value >= 0 && flag.value <= 1e7) {
			say("--%s %v: must lie within 0…10000000", flag.name, flag.value)
		}
	}
	for i, c := range o.Cameras {
		if !(math.Abs(c.At.LatDeg) <= 90 && math.Abs(c.At.LonDeg) <= 360) || !math.IsNaN(c.EyeHeightM) && !(c.EyeHeightM >= -500 && c.EyeHeightM <= 12_000) {
			say("camera %d at %g,%g,%g: want degrees of latitude and longitude, and an eye within -500…12000 m", i+1, c.At.LatDeg, c.At.LonDeg, c.EyeHeightM)
		}
	}
	if o.FocalSD > 0 && o.FocalPx == 0 {
		say("--focal-sd-percent without --focal-px: what EXIF says is not trusted, so say which focal length it belongs to")
	}
	if o.Air != AirConstant {
		say("air %q: a photograph is judged with one k and its spread: leave --air constant", o.Air)
	}
	if len(o.Features) == 0 {
		say("no --features: the names of the points are sought in a gazetteer")
	}
	if len(wrong) > 0 {
		return errors.Join(wrong...)
	}
	rest := o.Options
	if len(rest.Terrain) == 0 { // a photograph can do without
		rest.Terrain = []terrain.Source{{Path: "none"}}
	}
	return rest.Validate()
}

// LoadScene reads photographs, points, gazetteers and terrain, and finds the features that the points name.
func LoadScene(ctx context.Context, opts PhotographOptions) (*Scene, error) {
	if err := opts.Validate(); err != nil {
		return nil, err
	}
	s := &Scene{opts: opts, lines: map[[2]int]*LinePrediction{}}
	for i, path := range opts.Photos {
		photo, err := ReadPhotograph(path)
		if err != nil {
			return nil, err
		}
		s.Photos = append(s.Photos, photo)
		points, rejected, err := ReadPointsFile(opts.PointFiles[i], i, len(opts.Photos))
		if err != nil {
			return nil, err
		}
		s.Points = append(s.Points, points...)
		if len(rejected) > 0 {
			s.Rejected = append(s.Rejected, InputRejected{Path: opts.PointFiles[i], Rows: rejected})
		}
	}
	if err := s.checkTwice(); err != nil {
		return nil, err
	}
	s.checkPlaces()
	if len(s.Points) == 0 {
		return nil, fmt.Errorf("points: no row can be used%s", s.firstRejection())
	}
	var err error
	if s.world, err = Load(ctx, opts.Options, nil); err != nil {
		return nil, err
	}
	if err := s.nameTargets(); err != nil {
		return nil, err
	}
	return s, nil
}

func (s *Scene) firstRejection() string {
	for _, r := range s.Rejected {
		return fmt.Sprintf(": %s line %d: %s", r.Path, r.Rows[0].Line, r.Rows[0].Reason)
	}
	return ""
}

// checkPlaces takes out the points that lie outside their pictures, and plumb lines that are none.
func (s *Scene) checkPlaces() {
	s.Points = slices.DeleteFunc(s.Points, func(p MeasuredPoint) bool {
		photo := &s.Photos[p.Frame]
		if p.Part == PartAbsent || p.XPx >= 0 && p.YPx >= 0 && p.XPx <= float64(photo.WidthPx) && p.YPx <= float64(photo.HeightPx) {
			return false
		}
		s.reject(&p, fmt.Sprintf("%s %s at %g, %g lies outside the picture of %d × %d pixels", p.Name, p.Part, p.XPx, p.YPx, photo.WidthPx, photo.HeightPx))
		return true
	})
	type line struct {
		frame int
		name  string
	}
	ends := map[line][]MeasuredPoint{}
	for _, p := range s.Points {
		if p.Part == PartPlumb {
			ends[line{p.Frame, p.Name}] = append(ends[line{p.Frame, p.Name}], p)
		}
	}
	s.Points = slices.DeleteFunc(s.Points, func(p MeasuredPoint) bool {
		if of := ends[line{p.Frame, p.Name}]; p.Part != PartPlumb || len(of) == 2 && (of[0].XPx != of[1].XPx || of[0].YPx != of[1].YPx) {
			return false
		}
		s.reject(&p, fmt.Sprintf("plumb line %s: want two ends in two places with this name, have %d", p.Name, len(ends[line{p.Frame, p.Name}])))
		return true
	})
}

// reject counts a point among the rows that cannot be used.
func (s *Scene) reject(p *MeasuredPoint, reason string) {
	row := gazetteer.Rejected{Line: p.Line, Reason: reason}
	if i := slices.IndexFunc(s.Rejected, func(r InputRejected) bool { return r.Path == p.File }); i >= 0 {
		s.Rejected[i].Rows = append(s.Rejected[i].Rows, row)
	} else {
		s.Rejected = append(s.Rejected, InputRejected{Path: p.File, Rows: []gazetteer.Rejected{row}})
	}
}

// nameTargets finds the feature of every point that has one.
func (s *Scene) nameTargets() error {
	known := map[string]int{}
	var wrong []error
	for i := range s.Points {
		p := &s.Points[i]
		s.targetOf = append(s.targetOf, -1)
		if slices.Contains([]MeasuredPart{PartSeaHorizon, PartLevel, PartPlumb, PartSun, PartMoon}, p.Part) || p.unnamed() {
			continue
		}
		found := s.world.Find(p.Name)
		if len(found) != 1 {
			wrong = append(wrong, fmt.Errorf("%s line %d: %s", p.File, p.Line, s.namelessWords(p.Name, found)))
			continue
		}
		if p.Part == PartBase && found[0].StructureHeightM == 0 {
			wrong = append(wrong, fmt.Errorf("%s line %d: %s has no structure whose base could be measured, by what the gazetteer lists: leave the row out, or list its structure_height_m", p.File, p.Line, p.Name))
			continue
		}
		index, seen := known[found[0].ID]
		if !seen {
			index = len(s.Targets)
			known[found[0].ID] = index
			s.Targets = append(s.Targets, *found[0])
		}
		s.targetOf[i] = index
		for j := range i {
			if other := &s.Points[j]; s.targetOf[j] == index && other.Frame == p.Frame && other.Part == p.Part && other.HeightM == p.HeightM {
				s.note("%s %s is measured twice in one photograph: it counts as two measurements", p.Name, p.Part)
				break
			}
		}
	}
	return errors.Join(wrong...)
}

func (s *Scene) namelessWords(name string, found []*gazetteer.Feature) string {
	list := func(features []*gazetteer.Feature) string {
		var words []string
		for _, f := range features[:min(len(features), 10)] {
			words = append(words, fmt.Sprintf("%s (%s, %s at %.4f,%.4f)", f.ID, f.Name, f.Kind, f.At.LatDeg, f.At.LonDeg))
		}
		return strings.Join(words, "; ")
	}
	if len(found) > 1 {
		return fmt.Sprintf("%d features are named %q; give the id of one: %s", len(found), name, list(found))
	}
	if like := s.world.FindLike(name, 10); len(like) > 0 {
		return fmt.Sprintf("no usable feature is named %q: did you mean %s?", name, list(like))
	}
	return fmt.Sprintf("no usable feature has the name or id %q: check the spelling", name)
}

// place says where each photograph was taken.
func (s *Scene) place() error {
	var places []CameraPlace // by station
	for i := range s.Photos {
		sdM := s.opts.CameraSDM
		var at CameraPlace
		switch {
		case len(s.opts.Cameras) > 0:
			at = s.opts.Cameras[min(i, len(s.opts.Cameras)-1)]
			if sdM == 0 {
				sdM = typedPlaceSDM
			}
		case s.Photos[i].Place != nil:
			at = CameraPlace{*s.Photos[i].Place, math.NaN()}
			if sdM == 0 {
				sdM = exifPlaceSDM
			}
			s.note("the place of photograph %d is that of its EXIF, taken as good to %g m; how old it was at the exposure is not known", i+1, sdM)
		default:
			return fmt.Errorf("photograph %s: where was it taken? EXIF has no position: give --camera LAT,LON or LAT,LON,EYE_HEIGHT, or find the place with resect", s.Photos[i].Path)
		}
		known := slices.IndexFunc(places, func(p CameraPlace) bool {
			return p.At == at.At && (p.EyeHeightM == at.EyeHeightM || math.IsNaN(p.EyeHeightM) && math.IsNaN(at.EyeHeightM))
		})
		if known < 0 {
			known = len(places)
			places = append(places, at)
			if err := s.addStation(at, sdM); err != nil {
				return err
			}
		}
		s.stationOf = append(s.stationOf, known)
	}
	return nil
}

// addStation adds a place that photographs were taken from, with the height of its lens.
func (s *Scene) addStation(at CameraPlace, sdM float64) error {
	groundM := math.NaN()
	if !math.IsNaN(at.EyeHeightM) {
		groundM = at.EyeHeightM - s.opts.EyeHeightM
	}
	observer, err := s.world.FeatureAt(s.opts.Options, "camera", at.At, groundM)
	if err != nil {
		return fmt.Errorf("camera at %.5f,%.5f: %w: give its height as LAT,LON,EYE_HEIGHT, or terrain that covers it", at.At.LatDeg, at.At.LonDeg, err)
	}
	undulationM := s.world.Geoid.UndulationM(at.At)
	s.observers = append(s.observers, observer)
	s.stations = append(s.stations, camera.Station{
		Place: at.At, PlaceSDM: sdM,
		EyeHeightM: s.opts.eyeHeightM(&observer) + undulationM, EyeSDM: s.opts.eyeSDM(&observer),
		SeaHeightM: s.opts.SeaLevelM + undulationM, SeaSDM: s.opts.SeaLevelSDM,
	})
	return nil
}

// predict traces the lines from stations to what was measured from them.
func (s *Scene) predict() error {
	if s.world.Index.Len() == 0 {
		s.note("no terrain: whether rays run low, and what cuts off what, is not known")
		return nil
	}
	for i, p := range s.Points {
		station, target := s.stationOf[p.Frame], s.targetOf[i]
		key := [2]int{station, target}
		if target < 0 || s.lines[key] != nil {
			continue
		}
		line, err := s.world.PredictLine(s.opts.Options, &s.observers[station], &s.Targets[target])
		if errors.Is(err, ErrEndsTooClose) {
			continue
		}
		if err != nil {
			return err
		}
		s.lines[key] = line
	}
	return nil
}

// low tells the points whose rays run through low air for long.
func (s *Scene) low(i int) bool {
	if s.Points[i].Part == PartSeaHorizon {
		return true
	}
	line := s.lines[[2]int{s.stationOf[s.Points[i].Frame], s.targetOf[i]}]
	return line != nil && line.LowM > lowRayM
}

// heightM is the height of a point of a target over the ellipsoid.
func (s *Scene) heightM(p *MeasuredPoint, target int) float64 {
	f := &s.Targets[target]
	heightM := f.GroundHeightM + s.world.Geoid.UndulationM(f.At)
	switch p.Part {
	case PartTop:
		heightM += f.StructureHeightM
	case PartHeight:
		heightM += p.HeightM
	}
	return heightM
}

// FeatureNames returns the names of the features of the options, sorted; of a name that several have, their ids.
func FeatureNames(ctx context.Context, opts PhotographOptions) ([]string, error) {
	world, err := Load(ctx, opts.Options, nil)
	if err != nil {
		return nil, err
	}
	holders := map[string]int{} // of a name, whatever the case of its letters
	for i := range world.Features {
		f := &world.Features[i]
		own := map[string]bool{strings.ToLower(f.Name): true}
		for _, name := range f.OtherNames {
			own[strings.ToLower(name)] = true
		}
		for name := range own {
			holders[name]++
		}
	}
	var names []string
	for i := range world.Features {
		if f := &world.Features[i]; holders[strings.ToLower(f.Name)] == 1 {
			names = append(names, f.Name)
		} else {
			names = append(names, f.ID)
		}
	}
	slices.Sort(names)
	return names, nil
}
