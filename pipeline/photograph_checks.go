package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"farstation/geodesy"
	"farstation/geodesy/camera"
)

// TopOrder is two tops of which the models say differently which stands higher on the picture.
type TopOrder struct {
	Frame int    `json:"frame"`
	Near  string `json:"near"`
	Far   string `json:"far"`
	// The elevation of the far top less that of the near one, predicted and measured, in minutes of arc.
	CurvedArcmin   float64 `json:"curved_arcmin"`
	PlaneArcmin    float64 `json:"plane_arcmin"`
	MeasuredArcmin float64 `json:"measured_arcmin"`
	// Agrees is the model whose order is the measured one.
	Agrees string `json:"agrees"`
}

// WeighedTop is one measured top in the key figure: its depression below where the plane has it, corrected for all heights, against distance.
type WeighedTop struct {
	Name       string       `json:"name"`
	Part       MeasuredPart `json:"part"`
	Frame      int          `json:"frame"`
	DistanceM  float64      `json:"distance_m"`
	XPx        float64      `json:"x_px"`
	YPx        float64      `json:"y_px"`
	SDPx       float64      `json:"sd_px"`
	Low        bool         `json:"low"`
	Depression float64      `json:"depression_arcmin"`
	// DepressionSD holds the point's and the height's spread.
	DepressionSD float64 `json:"depression_sd_arcmin"`
}

// CutCompared is the foot in view on a target's face, measured and predicted under each model, as heights over the geoid.
type CutCompared struct {
	Name            string   `json:"name"`
	MeasuredCurvedM *float64 `json:"measured_curved_m"`
	CurvedM         *float64 `json:"predicted_curved_m"`
	MeasuredPlaneM  *float64 `json:"measured_plane_m"`
	PlaneM          *float64 `json:"predicted_plane_m"`
}

// AbsentThing was looked for and not seen.
type AbsentThing struct {
	Name string `json:"name"`
	// Chance is that of its top being in view under the curved model, MarginPlaneArcmin by how much the plane shows it; null without terrain.
	Chance            *float64 `json:"chance_curved"`
	MarginPlaneArcmin *float64 `json:"margin_plane_arcmin"`
}

// overturns lists by how much each input alone must be wrong for the curvature to be 0, the weakest first.
func (s *Scene) overturns(free *camera.Fit) []Overturn {
	out := []Overturn{}
	for _, p := range free.Parameters {
		amount, sd, unit := p.BreakEven, p.PriorSD, "m"
		switch {
		case strings.HasPrefix(p.Name, "own k"):
			unit = ""
		case strings.HasPrefix(p.Name, "focal"), strings.HasPrefix(p.Name, "roll"):
			// Free, so that no prior can be wrong: what it would have to be instead of what was fitted.
			r, ok := free.Correlation(p.Name, "curvature")
			if !ok || !math.IsInf(p.PriorSD, 1) {
				break
			}
			amount, sd, unit = -free.Curvature*p.SD/(r*free.CurvatureSD), p.SD, "%"
			factor := 100.0
			if strings.HasPrefix(p.Name, "roll") {
				factor, unit = 180/math.Pi*60, "′"
			}
			amount, sd = amount*factor, sd*factor
		}
		if math.IsNaN(amount) || math.IsInf(amount, 0) || !(sd > 0) || math.IsInf(sd, 1) {
			continue
		}
		out = append(out, Overturn{Input: s.readable(p.Name), Amount: amount, Unit: unit, SD: sd, Times: math.Abs(amount) / sd})
	}
	slices.SortStableFunc(out, func(a, b Overturn) int { return cmp.Compare(a.Times, b.Times) })
	return out[:min(len(out), 20)]
}

var numbered = regexp.MustCompile(`target (\d+)`)

// readable puts names in the place of a fit's numbers.
func (s *Scene) readable(text string) string {
	text = numbered.ReplaceAllStringFunc(text, func(word string) string {
		n, err := strconv.Atoi(strings.TrimPrefix(word, "target "))
		if err != nil || n < 1 || n > len(s.Targets) {
			return word
		}
		return s.Targets[n-1].Name
	})
	text = strings.ReplaceAll(text, "own k towards", "k of the ray to")
	if len(s.Photos) == 1 {
		text = strings.NewReplacer(" of frame 1", "", " in frame 1", "").Replace(text)
	}
	if len(s.stations) == 1 {
		text = strings.NewReplacer("eye height of station 1", "height of the eye", " of station 1", " of the camera").Replace(text)
	}
	return strings.TrimPrefix(text, "camera: ")
}

// tops puts every measured top into the key figure, by the camera of the fit with the curvature free.
func (s *Scene) tops(free *camera.Fit) []WeighedTop {
	out := []WeighedTop{}
	for i := range s.Points {
		p := &s.Points[i]
		target := s.targetOf[i]
		if !p.onTarget() {
			continue
		}
		distanceM, _ := s.ray(i)
		pose := free.Poses[p.Frame]
		_, elevation := pose.Direction(p.XPx, p.YPx)
		eyeM := s.stations[s.stationOf[p.Frame]].EyeHeightM
		plane := geodesy.PlaneElevationRad(eyeM, s.heightM(p, target), distanceM)
		out = append(out, WeighedTop{
			Name: s.nameOf(i), Part: p.Part, Frame: p.Frame + 1, DistanceM: distanceM, XPx: p.XPx, YPx: p.YPx, SDPx: p.SDPx, Low: s.low(i),
			Depression:   (plane - elevation) * arcminPerRad,
			DepressionSD: math.Hypot(p.SDPx/pose.FocalPx, s.opts.topSDM(&s.Targets[target])/distanceM) * arcminPerRad,
		})
	}
	return out
}

// mostOrders bounds the list of tops whose order differs.
const mostOrders = 10

// orders finds the tops whose order differs between the models, both orders being three standard deviations or more from level, and the measured one
// three of the measured places; the widest first.
func (s *Scene) orders(w *Weighing, free *camera.Fit) []TopOrder {
	out := []TopOrder{}
	for i := range s.Points {
		for j := range s.Points {
			near, far := &s.Points[i], &s.Points[j]
			if near.Part != PartTop || far.Part != PartTop || near.Frame != far.Frame || s.targetOf[i] == s.targetOf[j] {
				continue
			}
			nearM, nearRadiusM := s.ray(i)
			farM, farRadiusM := s.ray(j)
			if nearM >= farM {
				continue
			}
			eyeM := s.stations[s.stationOf[near.Frame]].EyeHeightM
			nearTopM, farTopM := s.heightM(near, s.targetOf[i]), s.heightM(far, s.targetOf[j])
			curved := geodesy.ApparentElevationRad(eyeM, farTopM, farM, farRadiusM, w.Air.K) - geodesy.ApparentElevationRad(eyeM, nearTopM, nearM, nearRadiusM, w.Air.K)
			plane := geodesy.PlaneElevationRad(eyeM, farTopM, farM) - geodesy.PlaneElevationRad(eyeM, nearTopM, nearM)
			pose := free.Poses[near.Frame]
			_, nearElevation := pose.Direction(near.XPx, near.YPx)
			_, farElevation := pose.Direction(far.XPx, far.YPx)
			measured := farElevation - nearElevation
			nearSD, farSD := s.opts.topSDM(&s.Targets[s.targetOf[i]])/nearM, s.opts.topSDM(&s.Targets[s.targetOf[j]])/farM
			sd := math.Hypot(math.Hypot(nearSD, farSD), math.Hypot(near.SDPx, far.SDPx)/pose.FocalPx)
			sd = math.Hypot(sd, (1/nearM-1/farM)*s.stations[s.stationOf[near.Frame]].EyeSDM)
			sd = math.Hypot(sd, math.Hypot((farM-nearM)*w.Air.KSD, math.Hypot(farM, nearM)*w.Air.OwnSD)/(2*w.RadiusM))
			if curved*plane >= 0 || math.Min(math.Abs(curved), math.Abs(plane)) < refutedSD*sd || math.Abs(measured)*pose.FocalPx < refutedSD*math.Hypot(near.SDPx, far.SDPx) {
				continue
			}
			order := TopOrder{Frame: near.Frame + 1, Near: s.nameOf(i), Far: s.nameOf(j), CurvedArcmin: curved * arcminPerRad, PlaneArcmin: plane * arcminPerRad,
				MeasuredArcmin: measured * arcminPerRad, Agrees: ModelPlane}
			if measured*curved > 0 {
				order.Agrees = ModelCurved
			}
			out = append(out, order)
		}
	}
	width := func(o TopOrder) float64 { return math.Min(math.Abs(o.CurvedArcmin), math.Abs(o.PlaneArcmin)) }
	slices.SortStableFunc(out, func(a, b TopOrder) int { return cmp.Compare(width(b), width(a)) })
	return out[:min(len(out), mostOrders)]
}

// checkInputs tells what one input, wrong for all points alike, explains a fit that is improbable: "" for none.
func (s *Scene) checkInputs() string {
	inFeet, freeFocal := allPoints, allPoints
	inFeet.feet, freeFocal.freeFocal = true, true
	if fit := s.freeCurvature("in feet", inFeet); fit != nil && fit.DOF > 0 && fit.P > probableP {
		return fmt.Sprintf("the heights of the features look like feet that are listed as metres: taken so, the fit has the probability %.2g", fit.P)
	}
	if s.opts.FocalSD > 0 {
		if fit := s.freeCurvature("focal length free", freeFocal); fit != nil && fit.DOF > 0 && fit.P > probableP {
			return fmt.Sprintf("the focal length that is stated, %.6g px, looks wrong: left free, the fit has the probability %.2g", s.opts.FocalPx, fit.P)
		}
	}
	return ""
}

// checkTwice refuses a picture that is given twice with the same points, which would count as evidence twice, and notes one with points of its own.
func (s *Scene) checkTwice() error {
	for i := range s.Photos {
		for j := range i {
			if s.Photos[i].SHA256 != s.Photos[j].SHA256 {
				continue
			}
			same := func(frame int) (out []MeasuredPoint) {
				for _, p := range s.Points {
					if p.Frame == frame {
						p.Frame, p.File, p.Line = 0, "", 0
						out = append(out, p)
					}
				}
				return out
			}
			if slices.Equal(same(i), same(j)) {
				return fmt.Errorf("photographs %d and %d, %s and %s, are one picture with the same points: give it once", j+1, i+1, s.Photos[j].Path, s.Photos[i].Path)
			}
			s.note("photographs %d and %d are one picture, measured twice: the air on the way was the same, and counts as two, so that the spread is too small", j+1, i+1)
		}
	}
	return nil
}

// checkNames leaves out each target in turn: what share of the evidence it holds, and whether one wrong name, or two that are exchanged, or an input that
// is wrong for all, explain a fit that is improbable.
func (s *Scene) checkNames(ctx context.Context, w *Weighing) error {
	free := w.model(ModelFree)
	improbable := !free.Fitted || free.P < improbableP
	best, bestP := -1, probableP
	var suspects []string
	for target := range s.Targets {
		if err := ctx.Err(); err != nil {
			return err
		}
		sel := allPoints
		sel.without = target
		without := s.freeCurvature("without "+s.Targets[target].Name, sel)
		if without == nil || !s.measured(target) {
			continue
		}
		if free.Fitted {
			without.Share = math.Max(0, 1-square(*w.KSD/without.CurvatureSD))
		}
		w.LeaveOneOut = append(w.LeaveOneOut, *without)
		// With nothing left over, any points fit.
		if without.DOF > 0 && without.P > probableP {
			suspects = append(suspects, s.Targets[target].Name)
		}
		if without.DOF > 0 && without.P > bestP {
			best, bestP = target, without.P
		}
	}
	if !improbable {
		return nil
	}
	if w.WrongName = s.checkInputs(); w.WrongName != "" {
		return nil
	}
	if a, b, p, err := s.exchanged(ctx); err != nil {
		return err
	} else if p > bestP {
		w.WrongName = fmt.Sprintf("the names of %s and %s look exchanged: the other way round the fit has the probability %.2g", s.Targets[a].Name, s.Targets[b].Name, p)
		return nil
	}
	switch {
	case len(suspects) > 1:
		w.WrongName = fmt.Sprintf("one of %s looks wrongly named, measured or listed: without any one of them the rest fits, and the points cannot say which it is", strings.Join(suspects, ", "))
	case best >= 0:
		w.WrongName = fmt.Sprintf("%s looks wrongly named, measured or listed: without it the fit has the probability %.2g", s.Targets[best].Name, bestP)
	}
	return nil
}

// measured tells whether a fit takes points of a target.
func (s *Scene) measured(target int) bool {
	for i := range s.Points {
		if s.targetOf[i] == target && s.Points[i].onTarget() {
			return true
		}
	}
	return false
}

// mostExchanged bounds the number of targets of which all pairs are exchanged.
const mostExchanged = 20

// exchanged finds the two targets whose names, exchanged, make the fit most probable.
func (s *Scene) exchanged(ctx context.Context) (a, b int, p float64, err error) {
	if len(s.Targets) > mostExchanged {
		return -1, -1, 0, nil
	}
	for i := range s.Targets {
		for j := range i {
			if err := ctx.Err(); err != nil {
				return -1, -1, 0, err
			}
			sel := allPoints
			sel.swapped = [2]int{j, i}
			if fit := s.freeCurvature("exchanged", sel); fit != nil && fit.DOF > 0 && fit.P > p {
				a, b, p = j, i, fit.P
			}
		}
	}
	return a, b, p, nil
}

// compare holds cuts and absent things against what each model predicts of them.
func (s *Scene) compare(w *Weighing) {
	for i := range s.Points {
		p := &s.Points[i]
		if p.Part != PartCut && p.Part != PartAbsent {
			continue
		}
		line := s.lines[[2]int{s.stationOf[p.Frame], s.targetOf[i]}]
		if p.Part == PartAbsent {
			thing := AbsentThing{Name: s.nameOf(i)}
			if line != nil {
				thing.Chance, thing.MarginPlaneArcmin = line.Row.Chance, pointer(line.Row.MarginPlaneArcmin)
			}
			w.Absent = append(w.Absent, thing)
			continue
		}
		cut := CutCompared{Name: s.nameOf(i)}
		if line != nil {
			cut.CurvedM, cut.PlaneM = line.Row.ObscuredHeightM, line.Row.ObscuredHeightPlaneM
		}
		distanceM, radiusM := s.ray(i)
		if line != nil && line.Row.FootDistanceM != nil {
			distanceM = *line.Row.FootDistanceM
		}
		undulationM := s.world.Geoid.UndulationM(s.Targets[s.targetOf[i]].At)
		eyeM := s.stations[s.stationOf[p.Frame]].EyeHeightM
		if m := w.model(ModelCurved); m.Fitted {
			_, elevation := m.fit.Poses[p.Frame].Direction(p.XPx, p.YPx)
			cut.MeasuredCurvedM = pointer(geodesy.HeightAtElevationM(elevation, eyeM, distanceM, radiusM, 1-m.fit.Curvature) - undulationM)
		}
		if m := w.model(ModelPlane); m.Fitted {
			_, elevation := m.fit.Poses[p.Frame].Direction(p.XPx, p.YPx)
			cut.MeasuredPlaneM = pointer(eyeM + distanceM*math.Tan(elevation) - undulationM)
		}
		w.Cuts = append(w.Cuts, cut)
	}
}
