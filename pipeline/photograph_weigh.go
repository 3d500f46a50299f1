package pipeline

import (
	"context"
	"fmt"
	"math"

	"farstation/geodesy"
	"farstation/geodesy/camera"
)

// The outcomes of weighing.
const (
	WeighedCurved     = "curved"
	WeighedPlane      = "plane"
	WeighedNeither    = "neither"
	WeighedCannotTell = "cannot_tell"
)

// ModelFree is the model whose curvature is left to the photograph; the others that are fitted have the names of a claim's.
const ModelFree = "free_curvature"

// A model stands while its probability is above improbableP and the free curvature within refutedSD of its own; no strength above mostSD is quoted,
// for spreads are not known to such a height. Without one wrong name a fit is to be probable again: above probableP.
const (
	improbableP = 0.001
	probableP   = 0.01
	refutedSD   = 3
	mostSD      = 10
)

// distortionSD is the standard deviation of the lens's distortion where it is let free; long lenses have a few hundredths or less. Our judgement, no
// source.
const distortionSD = 0.1

// ModelFit is the best fit of one model. Fitted is false where there is none, and Problem says why.
type ModelFit struct {
	Name      string          `json:"name"`
	Chi2      float64         `json:"chi2"`
	DOF       int             `json:"dof"`
	P         float64         `json:"p"`
	Residuals []PointResidual `json:"residuals"`
	Fitted    bool            `json:"fitted"`
	Problem   string          `json:"problem,omitempty"`

	fit *camera.Fit
}

// PointResidual is measured less predicted of one point.
type PointResidual struct {
	Name   string       `json:"name"`
	Part   MeasuredPart `json:"part"`
	Frame  int          `json:"frame"` // from 1
	XPx    float64      `json:"x_px"`
	YPx    float64      `json:"y_px"`
	Arcmin float64      `json:"arcmin"`
	// AtXPx and AtYPx are where the point was measured, and SDPx its standard deviation each way.
	AtXPx float64 `json:"at_x_px"`
	AtYPx float64 `json:"at_y_px"`
	SDPx  float64 `json:"sd_px"`
}

// CurvatureFit is the free curvature of some of the points: its ratio to the Earth's, c = 1 − k.
type CurvatureFit struct {
	Name        string  `json:"name"`
	Curvature   float64 `json:"curvature"`
	CurvatureSD float64 `json:"curvature_sd"`
	PlaneSD     float64 `json:"plane_sd"`
	Chi2        float64 `json:"chi2"`
	DOF         int     `json:"dof"`
	P           float64 `json:"p"`
	// Share is the share of the evidence that was left out with the points.
	Share float64 `json:"share"`
}

// Overturn is by how much one input alone must be wrong for the curvature to come out as 0.
type Overturn struct {
	Input  string  `json:"input"`
	Amount float64 `json:"amount"`
	Unit   string  `json:"unit"`
	// SD is the standard deviation of the input in the same unit, and Times how many of them the amount is.
	SD    float64 `json:"sd"`
	Times float64 `json:"times_sd"`
}

// FrameCamera is the camera of one photograph as it was fitted with the curvature free.
type FrameCamera struct {
	Frame        int      `json:"frame"`
	LatitudeDeg  float64  `json:"latitude_deg"`
	LongitudeDeg float64  `json:"longitude_deg"`
	EyeHeightM   float64  `json:"eye_height_m"` // over the geoid
	EyeHeightSDM float64  `json:"eye_height_sd_m"`
	AzimuthDeg   float64  `json:"azimuth_deg"`
	TiltDeg      float64  `json:"tilt_deg"`
	RollDeg      float64  `json:"roll_deg"`
	FocalPx      float64  `json:"focal_px"`
	FocalSDPx    float64  `json:"focal_sd_px"`
	FocalEXIFPx  *float64 `json:"focal_px_exif"`
	// RollCorrelation is the correlation of roll and curvature, near ±1 where a rolled camera could look like curvature.
	RollCorrelation *float64 `json:"roll_curvature_correlation"`
}

// Weighing is the verdict on photographs, and what it stands on. Numbers that do not exist are null.
type Weighing struct {
	ImageSHA256 string        `json:"image_sha256"`
	Images      []Photograph  `json:"images"`
	Decides     bool          `json:"decides"`
	Outcome     string        `json:"outcome"`
	Sentences   []string      `json:"sentences"`
	Strength    string        `json:"strength"`
	Camera      []FrameCamera `json:"camera"`
	Models      []ModelFit    `json:"models"`

	ApparentCurvaturePerM   *float64 `json:"apparent_curvature_per_m"`
	ApparentCurvatureSDPerM *float64 `json:"apparent_curvature_sd_per_m"`
	RadiusM                 float64  `json:"radius_m"` // Euler's, mean over the rays
	K                       *float64 `json:"k"`
	KSD                     *float64 `json:"k_sd"`
	// PlaneSD is how many standard deviations the curvature is from the plane's 0, CurvedSD how many from that of the Earth in expected air.
	PlaneSD  *float64 `json:"plane_sd"`
	CurvedSD *float64 `json:"curved_sd"`

	OverturnedBy []Overturn     `json:"overturned_by"`
	Orders       []TopOrder     `json:"orders"`
	WithoutLow   *CurvatureFit  `json:"without_low_rays"`
	LowRays      int            `json:"low_rays"`
	Distorted    *CurvatureFit  `json:"with_distortion"`
	LeaveOneOut  []CurvatureFit `json:"leave_one_out"`
	WrongName    string         `json:"wrong_name,omitempty"`
	Tops         []WeighedTop   `json:"tops"`
	Cuts         []CutCompared  `json:"cuts"`
	Absent       []AbsentThing  `json:"absent"`
	// Names are the points that had none, with the names that fit best.
	Names []NamedPoint `json:"names"`
	// Expected are the tops that should stand within the frames, the nearest first, and Hidden counts those that ground hides and are not listed.
	Expected []ExpectedTop    `json:"expected"`
	Hidden   int              `json:"hidden"`
	Sections []WeighedSection `json:"sections"`
	Evidence *EvidenceRatio   `json:"evidence"`
	// Distances tells by how much the distances between the places of the photographs and what they show cannot stand on a plane; null for one place.
	Distances  *PlaneDistances     `json:"distances_on_plane"`
	Prediction *PredictionCompared `json:"prediction"`
	Air        camera.Air          `json:"air"`
	Notes      []string            `json:"notes"`
	Rejected   []InputRejected     `json:"rejected"`

	// Record is what the weighing started from.
	Record *CaseRecord `json:"-"`
}

// Weigh fits the models to the photographs of a scene, and says what they decide. Points that decide nothing are an answer, not an error.
func Weigh(ctx context.Context, opts PhotographOptions) (*Weighing, error) {
	s, err := LoadScene(ctx, opts)
	if err != nil {
		return nil, err
	}
	if err := s.place(); err != nil {
		return nil, err
	}
	if err := s.nameUnnamed(ctx); err != nil {
		return nil, err
	}
	if err := s.predict(); err != nil {
		return nil, err
	}
	return s.weigh(ctx)
}

func (s *Scene) weigh(ctx context.Context) (*Weighing, error) {
	w := &Weighing{
		ImageSHA256: s.Photos[0].SHA256, Images: s.Photos, Rejected: s.Rejected, OverturnedBy: []Overturn{}, Orders: []TopOrder{}, LeaveOneOut: []CurvatureFit{},
		Tops: []WeighedTop{}, Cuts: []CutCompared{}, Absent: []AbsentThing{}, Camera: []FrameCamera{}, Notes: []string{}, Expected: []ExpectedTop{},
		Names: append([]NamedPoint{}, s.names...),
	}
	problem, index := s.problem(allPoints)
	w.Air = problem.Air
	for _, m := range []struct {
		name  string
		model camera.Model
	}{
		{ModelFree, w.Air.FreeCurvature()}, {ModelCurved, w.Air.Curved()}, {ModelPlane, w.Air.Plane()}, {ModelPlaneSameAir, w.Air.PlaneSameAir()},
	} {
		w.Models = append(w.Models, s.fitModel(m.name, problem, index, m.model))
	}
	w.RadiusM = s.meanRadiusM()
	if free := w.model(ModelFree).fit; free != nil {
		s.describe(w, free)
	}
	err := s.checkNames(ctx, w)
	if err != nil {
		return nil, err
	}
	s.compare(w)
	if err := s.expect(ctx, w); err != nil {
		return nil, err
	}
	s.weighEvidence(w)
	w.Sections, w.Distances = s.sections(w), s.distancesOnPlane()
	s.decide(w)
	if w.Outcome != WeighedCurved {
		w.OverturnedBy = []Overturn{} // they say what would make the curvature 0
	}
	for i := range s.Photos {
		if _, stands := s.start(i, problem); stands != upright {
			s.note("photograph %d: %s", i+1, standWords[stands])
		}
	}
	if w.Prediction, err = s.comparePrediction(w); err != nil {
		return nil, err
	}
	w.Notes = append(w.Notes, s.Notes...)
	if w.Record, err = s.record(w); err != nil {
		return nil, err
	}
	return w, nil
}

var standWords = map[handedness]string{
	turned:   "the points fit a picture that stands upside down: it is fitted so; turn it if that was not meant",
	mirrored: "the points fit a mirrored picture, or y that counts upwards: y counts downwards from the upper edge; this fit means nothing",
}

func (w *Weighing) model(name string) *ModelFit {
	for i := range w.Models {
		if w.Models[i].Name == name {
			return &w.Models[i]
		}
	}
	return nil
}

// fitModel fits one model; a fit that fails is told, not returned.
func (s *Scene) fitModel(name string, problem *camera.Problem, index []int, model camera.Model) ModelFit {
	m := ModelFit{Name: name, Residuals: []PointResidual{}}
	fit, err := camera.Solve(problem, model)
	if err != nil {
		m.Problem = s.readable(err.Error())
		return m
	}
	m.Fitted, m.fit, m.Chi2, m.DOF, m.P = true, fit, fit.Chi2, fit.DOF, fit.P
	for i, r := range fit.Residuals {
		p := &s.Points[index[i]]
		m.Residuals = append(m.Residuals, PointResidual{s.nameOf(index[i]), p.Part, p.Frame + 1, r.XPx, r.YPx, r.Arcmin, p.XPx, p.YPx, p.SDPx})
	}
	return m
}

// nameOf is the name of what a point shows.
func (s *Scene) nameOf(i int) string {
	if target := s.targetOf[i]; target >= 0 {
		return s.Targets[target].Name
	}
	return s.Points[i].Name
}

// meanRadiusM is the mean of Euler's radius over the rays, that of the station without any.
func (s *Scene) meanRadiusM() float64 {
	sum, n := 0.0, 0
	for i := range s.Points {
		if target := s.targetOf[i]; target >= 0 && s.Points[i].onTarget() {
			_, radiusM := s.ray(i)
			sum += radiusM
			n++
		}
	}
	if n == 0 {
		return geodesy.WGS84.EulerRadiusM(s.stations[0].Place.LatDeg, 45)
	}
	return sum / float64(n)
}

// ray returns the distance to a point's target, and Euler's radius on the way.
func (s *Scene) ray(i int) (distanceM, radiusM float64) {
	from, to := s.stations[s.stationOf[s.Points[i].Frame]].Place, s.Targets[s.targetOf[i]].At
	arc := geodesy.WGS84.Inverse(from, to)
	return arc.DistanceM, geodesy.WGS84.EulerRadiusM((from.LatDeg+to.LatDeg)/2, (arc.AzimuthDeg+arc.EndAzimuthDeg)/2)
}

// describe tells what the fit with the curvature free found.
func (s *Scene) describe(w *Weighing, free *camera.Fit) {
	c, sd := free.Curvature, free.CurvatureSD
	w.ApparentCurvaturePerM, w.ApparentCurvatureSDPerM = pointer(c/w.RadiusM), pointer(sd/w.RadiusM)
	w.K, w.KSD = pointer(1-c), pointer(sd)
	w.PlaneSD = pointer(c / sd)
	w.CurvedSD = pointer((c - (1 - w.Air.K)) / math.Hypot(sd, w.Air.KSD))
	for i, pose := range free.Poses {
		station := s.stationOf[i]
		at := s.stations[station]
		of := func(what string) camera.Parameter {
			return fitted(free, fmt.Sprintf("%s of station %d", what, station+1))
		}
		place := moved(at.Place, of("easting").Value, of("northing").Value)
		eye := of("eye height")
		if eye.Name == "" {
			eye.Value = at.EyeHeightM
		}
		f := FrameCamera{
			Frame: i + 1, LatitudeDeg: place.LatDeg, LongitudeDeg: place.LonDeg,
			EyeHeightM: eye.Value - s.world.Geoid.UndulationM(at.Place), EyeHeightSDM: eye.SD,
			AzimuthDeg: math.Mod(pose.AzimuthRad*180/math.Pi+720, 360), TiltDeg: pose.TiltRad * 180 / math.Pi,
			RollDeg: math.Remainder(pose.RollRad*180/math.Pi, 360),
			FocalPx: pose.FocalPx, FocalSDPx: fitted(free, fmt.Sprintf("focal length of frame %d", i+1)).SD * pose.FocalPx,
		}
		if exif := s.Photos[i].FocalPx; exif > 0 {
			f.FocalEXIFPx = pointer(exif)
			if ratio := pose.FocalPx / exif; math.Abs(math.Log(ratio)) > 0.05 && f.FocalSDPx < 0.02*pose.FocalPx {
				s.note("photograph %d: the focal length is %.2f times what EXIF says: a crop, a resize or a wrong entry; it does not matter, for the fit leaves it free", i+1, ratio)
			}
		}
		if r, ok := free.Correlation(fmt.Sprintf("roll of frame %d", i+1), "curvature"); ok {
			f.RollCorrelation = pointer(r)
		}
		w.Camera = append(w.Camera, f)
	}
	w.OverturnedBy = s.overturns(free)
	w.Tops = s.tops(free)
	w.Orders = s.orders(w, free)
	distorted := allPoints
	distorted.distortionSD = distortionSD
	w.Distorted = s.freeCurvature("lens distortion free", distorted)
	noLow := allPoints
	noLow.noLow = true
	for i := range s.Points {
		if s.Points[i].Part != PartAbsent && s.Points[i].Part != PartCut && s.low(i) {
			w.LowRays++
		}
	}
	if w.LowRays > 0 {
		w.WithoutLow = s.freeCurvature("without rays that run low", noLow)
	}
}

// moved is a place moved by metres east and north.
func moved(place geodesy.LatLon, eastM, northM float64) geodesy.LatLon {
	to, _ := geodesy.WGS84.Direct(place, math.Atan2(eastM, northM)*180/math.Pi, math.Hypot(eastM, northM))
	return to
}

// freeCurvature fits the free curvature to a selection; nil where that fails.
func (s *Scene) freeCurvature(name string, sel selection) *CurvatureFit {
	problem, _ := s.problem(sel)
	fit, err := camera.Solve(problem, problem.Air.FreeCurvature())
	if err != nil {
		return nil
	}
	return &CurvatureFit{Name: name, Curvature: fit.Curvature, CurvatureSD: fit.CurvatureSD, PlaneSD: fit.Curvature / fit.CurvatureSD, Chi2: fit.Chi2, DOF: fit.DOF, P: fit.P}
}
