package reports

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/camera"
	"farstation/pipeline"
)

// The camera of the made photograph: a long lens over a sea with islands, all names and places invented.
const (
	madeWidth, madeHeight = 2400, 1600
	madeFocalPx           = 30_000.0
	madeEyeM              = 620.0
	madeK                 = 0.143
)

type madeTop struct {
	name                 string
	xPx, distanceM, topM float64
	measured             bool
	verdict              pipeline.Verdict
}

func madeTops() []madeTop {
	return []madeTop{
		{"Hollin Stack", 300, 31_000, 540, true, pipeline.Direct}, {"<b>Braven</b>", 620, 58_000, 980, true, pipeline.Direct},
		{"Ulvey\u202e Hill", 910, 44_000, 702, true, pipeline.Direct}, {"Great Ansel", 1290, 97_000, 1_730, true, pipeline.Refracted},
		{"Mount Ómbrivel", 1340, 126_000, 2_190, true, pipeline.Refracted}, {"Tarn Pike", 1700, 73_000, 1_115, true, pipeline.Direct},
		{"Keld Beacon", 2210, 39_000, 655, true, pipeline.Direct},
		{"Little Ansel", 1265, 95_000, 1_650, false, pipeline.Refracted}, {"Carrow", 1360, 88_000, 1_400, false, pipeline.Refracted}, {"Sorrel Knott", 1375, 91_000, 1_450, false, pipeline.Direct},
		{"Low Fell", 500, 66_000, 210, false, pipeline.Blocked}, {"A hill with a name so long that it has to be cut somewhere before its end", 2100, 62_000, 900, false, pipeline.Direct},
		{"تلة الريح", 1900, 60_000, 850, false, pipeline.Direct}, {"Skerry Light", 760, 70_000, 80, false, pipeline.Looming},
	}
}

// rows of the made picture under both models; the plane's camera is tilted so that it errs as little as it can.
func madeRows() (curved, plane []float64) {
	mean, n := 0.0, 0.0
	row := func(elevation float64) float64 { return madeHeight/2 - madeFocalPx*math.Tan(elevation) }
	for _, top := range madeTops() {
		c := row(geodesy.ApparentElevationRad(madeEyeM, top.topM, top.distanceM, madeRadiusM, madeK))
		p := row(geodesy.PlaneElevationRad(madeEyeM, top.topM, top.distanceM))
		curved, plane = append(curved, c), append(plane, p)
		if top.measured {
			mean, n = mean+c-p, n+1
		}
	}
	for i := range plane {
		plane[i] += mean / n
	}
	return curved, plane
}

// madePhotograph writes a picture of blocks of hills against a pale sky, farther ones paler.
func madePhotograph(t testing.TB) pipeline.Photograph {
	t.Helper()
	curved, _ := madeRows()
	picture := image.NewRGBA(image.Rect(0, 0, madeWidth, madeHeight))
	seaRow := madeHeight/2 + madeFocalPx*math.Sqrt(2*madeEyeM*(1-madeK)/madeRadiusM)
	tops, slopes := madeTops(), make([]float64, len(curved))
	for x := range madeWidth {
		for i, top := range tops {
			slopes[i] = curved[i] + 0.35*math.Abs(float64(x)-top.xPx) + 3*math.Sin(float64(x)/7+top.xPx)
		}
		for y := range madeHeight {
			c := color.RGBA{uint8(170 + y/40), uint8(190 + y/50), 220, 255}
			if float64(y) > seaRow {
				c = color.RGBA{96, 118, 138, 255}
			}
			nearest := math.Inf(1)
			for i, top := range tops {
				if float64(y) >= slopes[i] && top.distanceM < nearest && float64(y) < seaRow+600-top.distanceM/200 {
					nearest = top.distanceM
					haze := uint8(70 + top.distanceM/1000)
					c = color.RGBA{haze, haze + 10, haze + 25, 255}
				}
			}
			picture.SetRGBA(x, y, c)
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, picture, nil); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "a&<b>.jpg")
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(b.Bytes())
	return pipeline.Photograph{Path: path, SHA256: hex.EncodeToString(sum[:]), Bytes: int64(b.Len()), Format: "jpeg", WidthPx: madeWidth, HeightPx: madeHeight, Notes: []string{}}
}

// drawnWeighing is a weighing with all that a page can show, its numbers those of the made photograph.
func drawnWeighing(t testing.TB) *pipeline.Weighing {
	t.Helper()
	w := madeWeighing()
	w.Images = []pipeline.Photograph{madePhotograph(t)}
	w.ImageSHA256 = w.Images[0].SHA256
	curved, plane := madeRows()
	fits := map[string]*pipeline.ModelFit{}
	for _, name := range []string{pipeline.ModelFree, pipeline.ModelCurved, pipeline.ModelPlane, pipeline.ModelPlaneSameAir} {
		fits[name] = &pipeline.ModelFit{Name: name, Fitted: true, DOF: 8, Chi2: 7.3, P: 0.5, Residuals: []pipeline.PointResidual{}}
	}
	fits[pipeline.ModelPlane].Chi2, fits[pipeline.ModelPlane].P = 4210, 0
	w.Tops, w.Expected = nil, nil
	for i, top := range madeTops() {
		x, noise := top.xPx+0.3, 0.6*math.Sin(float64(7*i))
		if top.measured {
			for name, fit := range fits {
				r := pipeline.PointResidual{Name: top.name, Part: pipeline.PartTop, Frame: 1, XPx: 0.3, YPx: noise, AtXPx: x, AtYPx: curved[i] + noise, SDPx: 0.8}
				if name == pipeline.ModelPlane || name == pipeline.ModelPlaneSameAir {
					r.YPx *= 3 // its fit moves heights and leaves little
				}
				fit.Residuals = append(fit.Residuals, r)
			}
			depression := top.distanceM * (1 - madeK) / (2 * madeRadiusM) * arcminPerRad
			w.Tops = append(w.Tops, pipeline.WeighedTop{Name: top.name, Part: pipeline.PartTop, Frame: 1, DistanceM: top.distanceM, Depression: depression + noise/10, DepressionSD: 0.3, XPx: x, YPx: curved[i]})
		}
		e := pipeline.ExpectedTop{Frame: 1, ID: top.name, Name: top.name, Kind: "peak", DistanceM: top.distanceM, AzimuthDeg: 181 + x/madeFocalPx*57.3, Verdict: top.verdict, Measured: top.measured,
			CurvedXPx: pointer(top.xPx), CurvedYPx: pointer(curved[i]), PlaneXPx: pointer(top.xPx), PlaneYPx: pointer(plane[i]), PlaneShows: pointer(true), Chance: pointer(0.97)}
		if top.verdict == pipeline.Blocked {
			e.BehindM, e.Behind, e.Chance = pointer(41_000.0), "<b>Braven</b>", pointer(0.0)
		}
		w.Expected = append(w.Expected, e)
	}
	w.Models = nil
	for _, name := range []string{pipeline.ModelFree, pipeline.ModelCurved, pipeline.ModelPlane, pipeline.ModelPlaneSameAir} {
		w.Models = append(w.Models, *fits[name])
	}
	w.Hidden = 23
	w.Air = camera.Air{K: madeK, KSD: 0.04, OwnSD: 0.02, LowK: 0.17, LowKSD: 0.15}
	w.Camera = []pipeline.FrameCamera{{Frame: 1, EyeHeightM: madeEyeM, AzimuthDeg: 183.2, FocalPx: madeFocalPx, FocalSDPx: 40, RollCorrelation: pointer(0.31)}}
	w.LeaveOneOut = []pipeline.CurvatureFit{{Name: "Great Ansel", Curvature: 0.84, CurvatureSD: 0.03, PlaneSD: 28, P: 0.4, Share: 0.3}, {Name: "Tarn Pike", Curvature: 0.87, CurvatureSD: 0.03, PlaneSD: 29, P: 0.5, Share: 0.1}}
	w.OverturnedBy = append(w.OverturnedBy, pipeline.Overturn{Input: "height of <b>Braven</b>", Amount: 310, Unit: "m", SD: 3, Times: 103})
	w.Distorted, w.LowRays = &pipeline.CurvatureFit{Curvature: 0.85, CurvatureSD: 0.05, PlaneSD: 17}, 2
	w.WithoutLow = &pipeline.CurvatureFit{Curvature: 0.86, CurvatureSD: 0.03, PlaneSD: 28}
	w.Names = []pipeline.NamedPoint{{Frame: 1, XPx: 620, YPx: 700, Name: "<b>Braven</b>", RunnerUp: "Ulvey\u202e Hill", Chi2More: 44.2, Used: true, CurvedName: "<b>Braven</b>", PlaneName: "Tarn Pike"}}
	w.Evidence = &pipeline.EvidenceRatio{CurvedOverPlane: pointer(912.0), CurvedOverSameAir: pointer(1020.0), Priors: "k 0.143 ± 0.04"}
	w.Distances = &pipeline.PlaneDistances{Places: 9, RMSKM: 0.012, MostKM: 0.034, From: "the camera", To: "Great Ansel", DistanceKM: 97}
	w.Prediction = &pipeline.PredictionCompared{Path: "claim.json", SHA256: "00ff", ID: "ansel<i>", Made: "2031-05-02", Taken: "2031-05-09 18:20", Before: "yes", Quantity: "angle of Great Ansel over <b>Braven</b>", Rule: "below 2.5′ refutes the plane",
		ThresholdArcmin: pointer(2.5), MeasuredArcmin: pointer(-1.2), MeasuredSDArcmin: pointer(0.2), CurvedArcmin: pointer(-1.1), PlaneArcmin: pointer(3.7), Refuted: pipeline.ModelPlane, Searched: 4120, Photographs: 1,
		Sentences: []string{"The claim stands."}}
	w.Cuts = []pipeline.CutCompared{{Name: "Great Ansel", MeasuredCurvedM: pointer(1_380.0), CurvedM: pointer(1_396.0), MeasuredPlaneM: pointer(1_352.0), PlaneM: pointer(1_160.0)}}
	w.Sections = []pipeline.WeighedSection{madeSection()}
	return w
}

// madeSection goes from the camera over Braven to Great Ansel, over a sea with a low shore.
func madeSection() pipeline.WeighedSection {
	s := pipeline.WeighedSection{Frame: 1, Near: "<b>Braven</b>", Far: "Great Ansel", EyeHeightM: madeEyeM, NearM: 58_000, NearTopM: 980, FarM: 97_000, FarTopM: 1_730, RadiusM: madeRadiusM, K: madeK}
	degrees := func(rad float64) float64 { return rad * 180 / math.Pi }
	s.NearCurvedDeg = degrees(geodesy.ApparentElevationRad(madeEyeM, s.NearTopM, s.NearM, madeRadiusM, madeK))
	s.FarCurvedDeg = degrees(geodesy.ApparentElevationRad(madeEyeM, s.FarTopM, s.FarM, madeRadiusM, madeK))
	s.NearPlaneDeg, s.FarPlaneDeg = degrees(geodesy.PlaneElevationRad(madeEyeM, s.NearTopM, s.NearM)), degrees(geodesy.PlaneElevationRad(madeEyeM, s.FarTopM, s.FarM))
	s.NearMeasuredDeg, s.FarMeasuredDeg = s.NearCurvedDeg+0.0002, s.FarCurvedDeg-0.0004
	hill := func(x, at, top, width float64) float64 { return top * math.Exp(-(x-at)*(x-at)/(2*width*width)) }
	for i := range 486 {
		x := float64(i) * 200
		s.DistanceM = append(s.DistanceM, x)
		s.GroundM = append(s.GroundM, math.Max(0, hill(x, 0, 640, 1500)+hill(x, 58_000, 970, 2500)+hill(x, 97_000, 1_725, 5000)-20))
	}
	// The foot in view is where light over the front meets the far hill, under each model.
	front := 290
	foot := func(elevation func(heightM, distanceM float64) float64) int {
		cut := elevation(s.GroundM[front], s.DistanceM[front])
		for i := front + 20; i < len(s.GroundM); i++ {
			if elevation(s.GroundM[i], s.DistanceM[i]) > cut {
				return i
			}
		}
		return front
	}
	curved := foot(func(h, d float64) float64 { return geodesy.ApparentElevationRad(madeEyeM, h, d, madeRadiusM, madeK) })
	plane := foot(func(h, d float64) float64 { return geodesy.PlaneElevationRad(madeEyeM, h, d) })
	s.FrontM, s.FootM, s.ObscuredHeightM, s.ObscuredHeightPlaneM = pointer(s.DistanceM[front]), pointer(s.DistanceM[curved]), pointer(s.GroundM[curved]), pointer(s.GroundM[plane])
	s.PartInView, s.PartInViewPlane = pointer(0.2), pointer(0.33)
	return s
}
