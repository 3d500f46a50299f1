package pipeline

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"farstation/geodesy"
	"farstation/geodesy/camera"
)

// ResectedPlace is a place that a photograph may have been taken from.
type ResectedPlace struct {
	LatitudeDeg  float64 `json:"latitude_deg"`
	LongitudeDeg float64 `json:"longitude_deg"`
	// The ellipse of one standard deviation.
	SemiMajorM      float64 `json:"semi_major_m"`
	SemiMinorM      float64 `json:"semi_minor_m"`
	MajorAzimuthDeg float64 `json:"major_azimuth_deg"`
	EyeHeightM      float64 `json:"eye_height_m"` // over the geoid
	EyeHeightSDM    float64 `json:"eye_height_sd_m"`
	// GroundM is the terrain there, null where there is none.
	GroundM    *float64        `json:"ground_height_m"`
	AzimuthDeg float64         `json:"azimuth_deg"`
	FocalPx    float64         `json:"focal_px"`
	Chi2       float64         `json:"chi2"`
	DOF        int             `json:"dof"`
	P          float64         `json:"p"`
	Residuals  []PointResidual `json:"residuals"`
}

// Resected is the answer of a resection: places ranked by their χ², the best first.
type Resected struct {
	ImageSHA256 string          `json:"image_sha256"`
	Places      []ResectedPlace `json:"places"`
	// PlaneApartM is how far the place that the plane asks for lies from the best, null where the plane finds none.
	PlaneApartM *float64 `json:"plane_apart_m"`
	// Lines are the near tops that stand before far ones, which pin the place across their lines.
	Lines    []PositionLine  `json:"lines_of_position"`
	Notes    []string        `json:"notes"`
	Rejected []InputRejected `json:"rejected"`
}

// ErrNoPlace marks points that tell no place.
var ErrNoPlace = errors.New("the points tell no place")

// openEyeSDM is the standard deviation of the eye's height where no terrain tells it, about the lowest of the targets: as good as none.
const openEyeSDM = 2000

// terrainEyeSDM is the least one where terrain tells it: its place is open too, and ground slopes.
const terrainEyeSDM = 10

// leastTurned is how many named features a picture must show for places to be sought from which it stands upside down, where upright it fits none: fewer
// fit such a place by chance.
const leastTurned = 5

// Resect finds where one photograph was taken, from the horizontal angles between three or more named features: closed form for a start, then the
// whole camera with the place left open, and the height by the terrain. Weak geometry is an error that wraps ErrNoPlace, not an answer.
func Resect(ctx context.Context, opts PhotographOptions) (*Resected, error) {
	if len(opts.Photos) > 1 {
		return nil, errors.New("one photograph at a time: each has a place of its own")
	}
	s, err := LoadScene(ctx, opts)
	if err != nil {
		return nil, err
	}
	if n := len(s.Points); n > 0 {
		if s.dropUnnamed(); len(s.Points) < n {
			s.note("%d points without a name are left out: names are sought from a place, and the place is sought here", n-len(s.Points))
		}
	}
	r := &Resected{ImageSHA256: s.Photos[0].SHA256, Rejected: s.Rejected, Places: []ResectedPlace{}, Notes: []string{}}
	var failure error
	focalPx := s.opts.FocalPx
	for _, turned := range []bool{false, true} {
		s.opts.FocalPx = focalPx
		failure = cmp.Or(failure, s.addPlaces(ctx, r, turned))
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		slices.SortStableFunc(r.Places, func(a, b ResectedPlace) int { return cmp.Compare(a.Chi2, b.Chi2) })
		if len(s.namedPoints()) < leastTurned || len(r.Places) > 0 && r.Places[0].P >= improbableP {
			break
		}
	}
	if len(r.Places) == 0 {
		return nil, failure
	}
	best := r.Places[0]
	if best.P < improbableP {
		s.note("even the best place is improbable (%s): a wrong name, two that are exchanged, a wrong height, y that counts upwards, or a camera unlike a pinhole", probability(best.P))
	}
	if best.DOF < 1 {
		s.note("nothing is left over to check the answer with: measure one more named top")
	}
	s.setOpenStation(geodesy.LatLon{LatDeg: best.LatitudeDeg, LonDeg: best.LongitudeDeg}, &best.EyeHeightM)
	problem, _ := s.problem(allPoints)
	if _, stands := s.start(0, problem); stands != upright {
		s.note("%s", standWords[stands])
	} else if _, err := camera.Resect(s.sights(s.namedPoints(), best.FocalPx)); errors.Is(err, camera.ErrDangerCircle) {
		s.note("the camera and the features lie on one circle, from which horizontal angles say nothing of where on it: the place stands on the heights alone")
	}
	r.Lines = []PositionLine{}
	if fit, err := camera.Solve(problem, problem.Air.Curved()); err == nil {
		r.Lines = s.positionLines(fit.Poses[0])
	}
	if plane, err := camera.Solve(problem, problem.Air.Plane()); err == nil {
		r.PlaneApartM = pointer(math.Hypot(fitted(plane, "easting of station 1").Value, fitted(plane, "northing of station 1").Value))
	}
	r.Notes = append(r.Notes, s.Notes...)
	return r, nil
}

// addPlaces adds the places that a search finds, of a picture that stands upright or upside down.
func (s *Scene) addPlaces(ctx context.Context, r *Resected, turned bool) error {
	starts, err := s.resectStarts(turned)
	if err != nil {
		return err
	}
	var failure error
	for _, start := range starts {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		place, err := s.fitPlace(start)
		if err != nil {
			failure = cmp.Or(failure, err)
			continue
		}
		at := geodesy.LatLon{LatDeg: place.LatitudeDeg, LonDeg: place.LongitudeDeg}
		if !slices.ContainsFunc(r.Places, func(p ResectedPlace) bool {
			return geodesy.WGS84.Inverse(at, geodesy.LatLon{LatDeg: p.LatitudeDeg, LonDeg: p.LongitudeDeg}).DistanceM < 3*(p.SemiMajorM+place.SemiMajorM)
		}) {
			r.Places = append(r.Places, place)
		}
	}
	return failure
}

// resectStart is where a search for the whole camera starts.
type resectStart struct {
	place   geodesy.LatLon
	focalPx float64
	chi2    float64
}

// resectStarts resects by the horizontal angles that pixels have under a focal length: the one that is given, or else, with four or more named
// features, all of a range.
func (s *Scene) resectStarts(turned bool) ([]resectStart, error) {
	photo := &s.Photos[0]
	points := s.namedPoints()
	if len(points) < 3 {
		return nil, fmt.Errorf("%w: %d named features, a resection takes three, and four where the focal length is not known", ErrNoPlace, len(points))
	}
	points = s.spreadOut(points)
	focalPx := s.opts.FocalPx
	if focalPx == 0 {
		focalPx = photo.FocalPx
	}
	var failure error
	try := func(focal float64) (resectStart, bool) {
		sights := s.sights(points, focal)
		for i := range sights {
			if turned {
				sights[i].DirectionRad = -sights[i].DirectionRad
			}
		}
		r, err := camera.Resect(sights)
		if err != nil && r.Place == (geodesy.LatLon{}) {
			failure = cmp.Or(failure, err)
			return resectStart{}, false
		}
		if err != nil {
			failure = cmp.Or(failure, err)
		}
		return resectStart{r.Place, focal, r.Chi2}, true
	}
	if len(points) == 3 {
		if s.opts.FocalSD == 0 {
			s.opts.FocalPx, s.opts.FocalSD = focalPx, threeFocalSD
			s.note("three named features leave nothing over for the focal length: it is taken as good to %g %%", 100*threeFocalSD)
		}
		if focalPx == 0 {
			return nil, fmt.Errorf("%w: three named features and no focal length: give --focal-px, or measure a fourth", ErrNoPlace)
		}
		start, ok := try(focalPx)
		if !ok {
			return nil, fmt.Errorf("%w: %w", ErrNoPlace, failure)
		}
		return []resectStart{start}, nil
	}
	var all []resectStart
	if focalPx > 0 {
		if start, ok := try(focalPx); ok {
			all = append(all, start)
		}
	}
	// From a field of 90° to one of half a degree, in steps of 8 %, from which the fit of the whole camera finds its way; where the focal length is
	// stated, no farther from that than it may be off.
	from, to := float64(photo.WidthPx)/2, 120*float64(photo.WidthPx)
	if s.opts.FocalSD > 0 {
		from, to = focalPx*math.Exp(-refutedSD*s.opts.FocalSD), focalPx*math.Exp(refutedSD*s.opts.FocalSD)
	}
	for focal := from; focal < to; focal *= 1.08 {
		if start, ok := try(focal); ok {
			all = append(all, start)
		}
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("%w: %w", ErrNoPlace, failure)
	}
	slices.SortStableFunc(all, func(a, b resectStart) int { return cmp.Compare(a.chi2, b.chi2) })
	// The best of each neighbourhood of focal lengths.
	var starts []resectStart
	for _, start := range all {
		near := slices.ContainsFunc(starts, func(o resectStart) bool { return math.Abs(math.Log(o.focalPx/start.focalPx)) < 0.15 })
		if !near && len(starts) < mostStarts && start.chi2 <= 10*all[0].chi2+100 { // the start knows no roll
			starts = append(starts, start)
		}
	}
	return starts, nil
}

// namedPoints are the points on targets, one a target.
func (s *Scene) namedPoints() []int {
	var points []int
	for i := range s.Points {
		if s.Points[i].onTarget() && !slices.ContainsFunc(points, func(j int) bool { return s.targetOf[j] == s.targetOf[i] }) {
			points = append(points, i)
		}
	}
	return points
}

// sights are the horizontal angles of points on a picture that was taken by a pinhole held level: roll and tilt move them by less than a start minds.
func (s *Scene) sights(points []int, focalPx float64) []camera.Sight {
	var sights []camera.Sight
	for _, i := range points {
		p := &s.Points[i]
		direction := math.Atan((p.XPx - float64(s.Photos[0].WidthPx)/2) / focalPx)
		sights = append(sights, camera.Sight{Place: s.Targets[s.targetOf[i]].At, DirectionRad: direction, SDRad: p.SDPx / focalPx})
	}
	return sights
}

// mostStartSights bounds the features that starts are sought by: the number of triples grows with its third power.
const mostStartSights = 6

// spreadOut takes mostStartSights of the points, evenly from left to right.
func (s *Scene) spreadOut(points []int) []int {
	if len(points) <= mostStartSights {
		return points
	}
	points = slices.Clone(points)
	slices.SortStableFunc(points, func(a, b int) int { return cmp.Compare(s.Points[a].XPx, s.Points[b].XPx) })
	var out []int
	for i := range mostStartSights {
		out = append(out, points[i*(len(points)-1)/(mostStartSights-1)])
	}
	return out
}

// threeFocalSD is the relative standard deviation of a focal length that three named features cannot tell. Our judgement, no source: what a lens's
// name is worth.
const threeFocalSD = 0.02

// mostStarts bounds the places from which the whole camera is sought.
const mostStarts = 8

// setOpenStation puts the one station at a place, left open, with the height of the terrain there unless one is given.
func (s *Scene) setOpenStation(at geodesy.LatLon, eyeHeightM *float64) (groundM *float64) {
	undulationM := s.world.Geoid.UndulationM(at)
	lowestM := math.Inf(1)
	for i := range s.Targets {
		lowestM = math.Min(lowestM, s.Targets[i].GroundHeightM)
	}
	station := camera.Station{Place: at, PlaceSDM: math.Inf(1), EyeHeightM: lowestM + undulationM, EyeSDM: openEyeSDM, SeaHeightM: s.opts.SeaLevelM + undulationM, SeaSDM: s.opts.SeaLevelSDM}
	if h, ok := s.world.Store.HeightM(at); ok && s.world.covers(at) {
		groundM = pointer(h)
		station.EyeSDM = math.Max(terrainEyeSDM, s.opts.TerrainSDM)
		station.EyeHeightM = h + s.opts.EyeHeightM + undulationM
	}
	if s.reliefM > 0 {
		station.EyeSDM = math.Hypot(station.EyeSDM, s.reliefM)
	}
	if eyeHeightM != nil {
		station.EyeHeightM = *eyeHeightM + undulationM
	}
	s.stations, s.stationOf = []camera.Station{station}, []int{0}
	return groundM
}

// fitPlace fits the whole camera with its place left open, from a start. The terrain gives the height, and is asked again where the place has moved to.
func (s *Scene) fitPlace(start resectStart) (ResectedPlace, error) {
	at := start.place
	if s.opts.FocalSD == 0 { // else it is what the prior stands at
		s.opts.FocalPx = start.focalPx
	}
	var result ResectedPlace
	// While the place is open, so is the ground under it: the eye is as uncertain as the ground is uneven where the place may be. A height that is
	// taken for sure too early pulls the place down the slope.
	s.reliefM = openEyeSDM
	defer func() { s.reliefM = 0 }()
	for step := range mostGroundSteps {
		groundM := s.setOpenStation(at, nil)
		problem, index := s.problem(allPoints)
		m := s.fitModel(ModelCurved, problem, index, problem.Air.Curved())
		if !m.Fitted && step == 0 && groundM != nil {
			s.reliefM = 0 // too little is measured to leave the height open
			groundM = s.setOpenStation(at, nil)
			problem, index = s.problem(allPoints)
			m = s.fitModel(ModelCurved, problem, index, problem.Air.Curved())
		}
		if !m.Fitted {
			return result, fmt.Errorf("%w: %s: a name is wrong, or the points leave the place open, being close together or on one circle with the camera", ErrNoPlace, m.Problem)
		}
		fit := m.fit
		east, north, eye := fitted(fit, "easting of station 1"), fitted(fit, "northing of station 1"), fitted(fit, "eye height of station 1")
		at = moved(at, east.Value, north.Value)
		result = ResectedPlace{
			LatitudeDeg: at.LatDeg, LongitudeDeg: at.LonDeg, EyeHeightM: eye.Value - s.world.Geoid.UndulationM(at), EyeHeightSDM: eye.SD, GroundM: groundM,
			AzimuthDeg: math.Mod(fit.Poses[0].AzimuthRad*180/math.Pi+720, 360), FocalPx: fit.Poses[0].FocalPx,
			Chi2: fit.Chi2, DOF: fit.DOF, P: fit.P, Residuals: m.Residuals,
		}
		r, _ := fit.Correlation("easting of station 1", "northing of station 1")
		result.SemiMajorM, result.SemiMinorM, result.MajorAzimuthDeg = camera.Ellipse(square(east.SD), r*east.SD*north.SD, square(north.SD))
		before := s.reliefM
		s.reliefM = s.reliefAround(at, &result)
		if math.Hypot(east.Value, north.Value) < 1 && math.Abs(s.reliefM-before) <= 1+0.05*before {
			break
		}
	}
	nearestM := math.Inf(1)
	for i := range s.Targets {
		nearestM = math.Min(nearestM, geodesy.WGS84.Inverse(at, s.Targets[i].At).DistanceM)
	}
	if result.SemiMajorM > 0.1*nearestM {
		return result, fmt.Errorf("%w: the best one, near %.4f,%.4f, is open by %.0f m, and the nearest target is %.0f m away: measure tops that lie farther apart, or nearer ones",
			ErrNoPlace, at.LatDeg, at.LonDeg, result.SemiMajorM, nearestM)
	}
	return result, nil
}

// mostGroundSteps bounds how often the terrain is asked again; mostReliefM how far along its ellipse.
const (
	mostGroundSteps = 12
	mostReliefM     = 5000
)

// reliefAround is how uneven the ground is along the ellipse of a place: the root mean square height over that of its middle.
func (s *Scene) reliefAround(at geodesy.LatLon, place *ResectedPlace) float64 {
	middleM, ok := s.world.Store.HeightM(at)
	if !ok || !s.world.covers(at) {
		return 0
	}
	sum, n := 0.0, 0.0
	for _, along := range []float64{-1, -0.5, 0.5, 1} {
		p, _ := geodesy.WGS84.Direct(at, place.MajorAzimuthDeg, along*math.Min(place.SemiMajorM, mostReliefM))
		if h, ok := s.world.Store.HeightM(p); ok {
			sum += square(h - middleM)
			n++
		}
	}
	return math.Sqrt(sum / math.Max(n, 1))
}

// fitted is a parameter of a fit by its name; zero where it is not one.
func fitted(fit *camera.Fit, name string) camera.Parameter {
	if i := slices.IndexFunc(fit.Parameters, func(p camera.Parameter) bool { return p.Name == name }); i >= 0 {
		return fit.Parameters[i]
	}
	return camera.Parameter{}
}
