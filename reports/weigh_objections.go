package reports

import (
	"fmt"
	"math"
	"strings"

	"farstation/pipeline"
)

// weighObjection is a usual objection with the number of this photograph that answers it, or with what would.
type weighObjection struct{ Objection, Answer string }

// weighAnswers collects what a photograph has to say to the usual objections.
type weighAnswers struct {
	w     *pipeline.Weighing
	crops int
	answered,
	open []weighObjection
}

// answer takes an objection and its answer; "" where the photograph has none, and then wanted says what would.
func (a *weighAnswers) answer(objection, answer, wanted string) {
	if answer != "" {
		a.answered = append(a.answered, weighObjection{objection, answer})
	} else {
		a.open = append(a.open, weighObjection{objection, wanted})
	}
}

// weighObjections are the usual ones, each with the number of this photograph that answers it, and apart from them those that it has no number for,
// with what would answer them. A photograph without a fit answers none.
func weighObjections(w *pipeline.Weighing, crops int) (answered, open []weighObjection) {
	if w.PlaneSD == nil || w.CurvedSD == nil || w.K == nil || w.KSD == nil || w.ApparentCurvaturePerM == nil || w.ApparentCurvatureSDPerM == nil {
		return nil, nil
	}
	a := &weighAnswers{w: w, crops: crops}
	a.air()
	a.camera()
	a.things()
	a.measuring()
	a.choice()
	return a.answered, a.open
}

// air holds what is said of light and air.
func (a *weighAnswers) air() {
	w := a.w
	claimed := ""
	if p := w.Prediction; p != nil && p.Before == "yes" {
		claimed = " A claim made before the photograph, on " + p.Made + ", states its numbers with its hash."
	}
	a.answer("k was chosen afterwards.", fmt.Sprintf("The headline leaves the curvature free: k comes out as %s, with no k put in. Beside it, k was taken as %s before.%s",
		plusMinus(*w.K, *w.KSD, 3), plusMinus(w.Air.K, w.Air.KSD, 3), claimed), "")
	gradient, overturn := planeGradient(*w.K)
	bending := fmt.Sprintf("To look like this on a plane, air would have to change by %s K/m along all of every ray, %s times the gradient at which it overturns by itself.",
		decimals(gradient, 3), decimals(math.Abs(gradient/overturn), 1))
	if w.Outcome == pipeline.WeighedPlane {
		bending = fmt.Sprintf("To look like this on a curved Earth, light would have to bend by k = %s along every ray, where %s is expected.", plusMinus(*w.K, *w.KSD, 3), plusMinus(w.Air.K, w.Air.KSD, 3))
	}
	a.answer("Bending of light explains anything.", bending, "")
	a.answer("Nobody measured the air on the way.", fmt.Sprintf("The photograph did: k = %s over all rays together, each ray free to differ by %s. It is %s standard deviations from the air that was expected.",
		plusMinus(*w.K, *w.KSD, 3), decimals(w.Air.OwnSD, 2), pipeline.StrengthWords(*w.CurvedSD)), "")
	without := ""
	if f := w.WithoutLow; f != nil {
		without = fmt.Sprintf("the curvature is %s of the Earth’s, %s standard deviations from the plane’s 0", plusMinus(f.Curvature, f.CurvatureSD, 3), pipeline.StrengthWords(f.PlaneSD))
	}
	low := ""
	if w.LowRays > 0 && without != "" {
		low = fmt.Sprintf("A mirage needs the air next to ground or sea. Without the %s that run low, %s.", plural(w.LowRays, "ray", "rays"), without)
	}
	a.answer("It is a mirage.", low, "Rays known to run low and high in one frame, a structure whose top and base are both measured, or a second eye height minutes later.")
	a.answer("Light bends sideways too.", a.sideways(), "Tops whose places in the picture are predicted.")
	horizon := fmt.Sprintf("No sea horizon was measured: the result rests on %s.", plural(a.points(pipeline.PartTop), "top", "tops"))
	if a.points(pipeline.PartSeaHorizon) > 0 {
		horizon = ""
		if low != "" {
			horizon = fmt.Sprintf("Horizon points have an air of their own, k = %s. Without the rays that run low, the horizon’s among them, %s.", plusMinus(w.Air.LowK, w.Air.LowKSD, 2), without)
		}
	}
	a.answer("The horizon is only haze.", horizon, "A fit without the horizon, which needs more tops.")
}

// sideways compares how far tops stand from where the curved Earth has them, across and along the vertical.
func (a *weighAnswers) sideways() string {
	var x, y, n float64
	for frame := range a.w.Images {
		for _, p := range weighPoints(a.w, frame+1) {
			if p.curved != nil {
				x, y, n = x+(p.at.x-p.curved.x)*(p.at.x-p.curved.x), y+(p.at.y-p.curved.y)*(p.at.y-p.curved.y), n+1
			}
		}
	}
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("Sideways the points stand %s px from where the curved Earth has them (root mean square), up and down %s px. Only the vertical tells the models apart.", decimals(math.Sqrt(x/n), 2), decimals(math.Sqrt(y/n), 2))
}

// camera holds what is said of the camera and its place.
func (a *weighAnswers) camera() {
	w := a.w
	eye := a.overturn(func(input string) bool { return input == "height of the eye" || strings.HasPrefix(input, "eye height") })
	higher, tide := "", ""
	if eye != nil {
		higher = fmt.Sprintf("It would have to stand elsewhere by %s; its height is known to %s m.", pipeline.AmountWords(*eye), decimals(eye.SD, 1))
		tide = fmt.Sprintf("The level of the water only shifts the eye’s height over it, and that alone must be wrong by %s.", pipeline.AmountWords(*eye))
	}
	a.answer("The camera stood higher.", higher, "The eye’s height by two ways, with a spread, in a photograph that decides.")
	a.answer("Tide and waves were left out.", tide, "The water's level at the minute of the exposure.")
	distorted := ""
	if d := w.Distorted; d != nil {
		distorted = fmt.Sprintf("With the lens’s distortion left free too, the curvature is %s of the Earth’s, %s standard deviations from the plane’s 0.", plusMinus(d.Curvature, d.CurvatureSD, 3), pipeline.StrengthWords(d.PlaneSD))
	}
	a.answer("The lens distorts.", distorted, "More points over the width of the frame, or the same scene with the camera turned upside down.")
	var focal, roll []string
	for _, c := range w.Camera {
		words := plusMinus(c.FocalPx, c.FocalSDPx, 0) + " px"
		if c.FocalEXIFPx != nil {
			words += " (EXIF: " + decimals(*c.FocalEXIFPx, 0) + ")"
		}
		focal = append(focal, words)
		if c.RollCorrelation != nil {
			roll = append(roll, decimals(*c.RollCorrelation, 2))
		}
	}
	fitted := func(values []string, format string) string {
		if len(values) == 0 {
			return ""
		}
		return fmt.Sprintf(format, strings.Join(values, ", "))
	}
	a.answer("The focal length in EXIF is wrong, or the picture was cropped.", fitted(focal, "It is fitted from angles within the frame: %s. EXIF only starts the search."), "A fitted focal length.")
	a.answer("The camera was rolled or tilted.", fitted(roll, "Roll and tilt are fitted, not assumed; the correlation of roll and curvature is %s, and the spreads hold it."), "A fit in which roll is free.")
	level := fmt.Sprintf("A common tilt of the vertical goes into the fitted tilt; %s rest on a level or a plumb line.", plural(a.points(pipeline.PartLevel)+a.points(pipeline.PartPlumb), "point", "points"))
	a.answer("Plumb lines lean.", level, "")
}

// things holds what is said of what stands in the picture.
func (a *weighAnswers) things() {
	w := a.w
	wrong := ""
	if len(w.LeaveOneOut) > 0 {
		least, most := math.Inf(1), math.Inf(-1)
		for _, f := range w.LeaveOneOut {
			least, most = math.Min(least, f.Curvature), math.Max(most, f.Curvature)
		}
		wrong = fmt.Sprintf("With each named thing left out in turn, the curvature lies within %s…%s of the Earth’s (all: %s).", decimals(least, 3), decimals(most, 3), decimals(1-*w.K, 3))
	}
	for i := range w.Names {
		if n := &w.Names[i]; n.Used && n.RunnerUp != "" {
			wrong = strings.TrimSpace(wrong + fmt.Sprintf(" %s named by the fit: the runner-up %s raises χ² by %s.", isolated(n.Name), isolated(n.RunnerUp), decimals(n.Chi2More, 1)))
			break
		}
	}
	if w.WrongName != "" {
		wrong = strings.TrimSpace(wrong + " It may be so: " + plainName(w.WrongName) + ".")
	}
	a.answer("That is another peak.", wrong, "More named tops than the fit needs, so that each can be left out.")
	height := a.overturn(func(input string) bool { return strings.HasPrefix(input, "height of") && input != "height of the eye" })
	heights, datum := "", ""
	if height != nil {
		heights = fmt.Sprintf("The %s alone would have to be wrong by %s, %s times its standard deviation; no other height by fewer standard deviations.", plainName(height.Input), pipeline.AmountWords(*height), pipeline.StrengthWords(height.Times))
		datum = fmt.Sprintf("Levels of the sea in use differ by metres, and one common to all heights and the eye takes no part; the %s alone must be wrong by %s.", plainName(height.Input), pipeline.AmountWords(*height))
	}
	a.answer("The heights are guessed.", heights, "A photograph that decides, with the source of each height.")
	a.answer("Sea level is not one level.", datum, "The datum of each height.")
	cut := a.cutWords()
	a.answer("The terrain is wrong.", cut, "Terrain takes no part in the fit of the tops. A cut on a far face, measured, and a second terrain set would test it.")
	a.answer("Trees and new buildings make the skyline.", cut, "A cut on a far face, and the year and kind of the terrain.")
	a.answer("Perspective makes the bottoms vanish.", a.obscuredWords(), "A far hill of which a part is out of view, with terrain.")
	distances := ""
	if w.Distances != nil {
		distances = distanceWords(w.Distances)
	}
	a.answer("The distances come from a map of a globe.", distances, "Photographs of the same tops from two places or more: their distances either fit on a plane or they do not.")
}

// cutWords hold measured against predicted cuts.
func (a *weighAnswers) cutWords() string {
	for _, c := range a.w.Cuts {
		if c.MeasuredCurvedM != nil && c.CurvedM != nil {
			return fmt.Sprintf("On %s the terrain predicts the cut at %s, and %s is measured.", isolated(c.Name), metres(*c.CurvedM), metres(*c.MeasuredCurvedM))
		}
	}
	return ""
}

// obscuredWords say how large the part out of view would appear beside a pixel.
func (a *weighAnswers) obscuredWords() string {
	for i := range a.w.Sections {
		s := &a.w.Sections[i]
		if s.ObscuredHeightM == nil || s.Frame < 1 || s.Frame > len(a.w.Camera) || !(s.FarM > 0) {
			continue
		}
		px := *s.ObscuredHeightM / s.FarM * a.w.Camera[s.Frame-1].FocalPx
		return fmt.Sprintf("Of %s all below %s is out of view: seen from the camera that is up to %s and %s px of height. What perspective makes small is a pixel, not this.",
			isolated(s.Far), metres(*s.ObscuredHeightM), arcmin(*s.ObscuredHeightM/s.FarM*arcminPerRad), decimals(px, 0))
	}
	return ""
}

// measuring holds what is said of points and spreads.
func (a *weighAnswers) measuring() {
	w := a.w
	please := ""
	if a.crops > 0 {
		least, most := math.Inf(1), 0.0
		for _, r := range measuredPoints(w) {
			least, most = math.Min(least, r.SDPx), math.Max(most, r.SDPx)
		}
		please = fmt.Sprintf("%s of the picture as it was stored show where the points were set, with standard deviations of %s px at least and %s px at most.", plural(a.crops, "piece", "pieces"), decimals(least, 1), decimals(most, 1))
	}
	a.answer("The points were set to please.", please, "The pieces of the picture around each point, and a second person's measurements.")
	hashes := ""
	if w.ImageSHA256 != "" {
		hashes = "The SHA-256 of the file that was weighed begins with " + w.ImageSHA256[:min(12, len(w.ImageSHA256))] + ": whoever has the original can tell."
	}
	a.answer("The picture is edited.", hashes, "The hash of the original, and the raw file.")
	spread := "No strength above ten standard deviations is quoted, and k has a part of its own for every ray."
	if m := fittedModel(w, pipeline.ModelFree); m != nil {
		spread = fmt.Sprintf("With the curvature free, χ² is %s for %s, a probability of %s. ", decimals(m.Chi2, 1), plural(m.DOF, "degree of freedom", "degrees of freedom"), chanceWords(m.P)) + spread
	}
	a.answer("The spreads are fantasy.", spread, "")
	hand := ""
	if len(w.Sections) > 0 {
		s := &w.Sections[0]
		hand = fmt.Sprintf("By hand: (1 − %s) × (%s − %s) / (2 × %s) = %s; by so much the plane has %s higher over %s than the curved Earth, whatever their heights. Measured, it is %s lower than on the plane.",
			decimals(s.K, 3), kilometres(s.FarM), kilometres(s.NearM), kilometres(s.RadiusM), arcmin((1-s.K)*(s.FarM-s.NearM)/(2*s.RadiusM)*arcminPerRad), isolated(s.Far), isolated(s.Near),
			arcmin(60*((s.FarPlaneDeg-s.NearPlaneDeg)-(s.FarMeasuredDeg-s.NearMeasuredDeg))))
	}
	a.answer("It is a black box.", hand, "A near and a far top in one frame, whose angle can be worked out by hand; weigh.json holds every number.")
}

// choice holds what is said of the models and of the choice of the photograph.
func (a *weighAnswers) choice() {
	w := a.w
	straw := ""
	if fittedModel(w, pipeline.ModelPlane) != nil {
		straw = fmt.Sprintf("Same points, same freedom, straight light or the same air: %s and %s for the plane, %s for the curved Earth.",
			chiWords(w, pipeline.ModelPlane), chiWords(w, pipeline.ModelPlaneSameAir), chiWords(w, pipeline.ModelCurved))
	}
	a.answer("The plane is a straw man.", straw, "A fit of the plane to the same points.")
	a.answer("The curve has more that can be tuned.", fmt.Sprintf("All models have the same unknowns but for one constant. Left free, it comes out as %s of the Earth’s curvature; a plane has 0.", plusMinus(1-*w.K, *w.KSD, 3)), "")
	globe := ""
	if o := a.overturn(func(string) bool { return true }); o != nil {
		globe = fmt.Sprintf("Of all inputs the weakest is the %s: it must be wrong by %s, and the table says the same of the others.", plainName(o.Input), pipeline.AmountWords(*o))
	}
	for _, o := range w.Orders {
		if o.Agrees == w.Outcome {
			globe = strings.TrimSpace(globe + fmt.Sprintf(" Which of %s and %s stands higher needs none of them.", isolated(o.Near), isolated(o.Far)))
			break
		}
	}
	a.answer("The inputs assume a globe.", globe, "An order of tops that differs between the models, or a photograph that decides.")
	a.answer("Then give the radius.", a.radius(), "A photograph that decides for a curved Earth.")
	minute, one := "", ""
	if n := len(w.Images); n > 1 {
		one = fmt.Sprintf("%d photographs are fitted together.", n)
		minute = one + " Each has its own camera and the same curvature."
	}
	a.answer("That was a lucky minute.", minute, "A series of an hour or more from one place, every frame of it.")
	a.answer("One picture proves nothing.", one, "Photographs of other days, places and cameras in one fit.")
	line := ""
	if p := w.Prediction; p != nil && p.Searched > 0 {
		line = fmt.Sprintf("It was chosen among %s before, and %s tried.", plural(p.Searched, "line", "lines"), plural(p.Photographs, "photograph is", "photographs are"))
	}
	a.answer("That was a lucky line.", line, "A claim made before, with the number of lines searched, and the outings on which nothing was seen.")
}

// radius is the Earth's radius from the measured curvature and the k that was expected.
func (a *weighAnswers) radius() string {
	w := a.w
	if w.Outcome != pipeline.WeighedCurved || !(*w.ApparentCurvaturePerM > 0) {
		return ""
	}
	radiusM := (1 - w.Air.K) / *w.ApparentCurvaturePerM
	sd := radiusM * math.Hypot(*w.ApparentCurvatureSDPerM / *w.ApparentCurvaturePerM, w.Air.KSD/(1-w.Air.K))
	return fmt.Sprintf("With k = %s as expected, this photograph gives %s km; along its rays the ellipsoid has %s km.", plusMinus(w.Air.K, w.Air.KSD, 3), plusMinus(radiusM/1000, sd/1000, 0), decimals(w.RadiusM/1000, 0))
}

// overturn finds the weakest input of a kind; nil where nothing was decided for a curved Earth, for then nothing can be overturned.
func (a *weighAnswers) overturn(kind func(input string) bool) *pipeline.Overturn {
	if a.w.Outcome != pipeline.WeighedCurved {
		return nil
	}
	for i := range a.w.OverturnedBy {
		if kind(a.w.OverturnedBy[i].Input) {
			return &a.w.OverturnedBy[i]
		}
	}
	return nil
}

// points counts the measured points of a part.
func (a *weighAnswers) points(part pipeline.MeasuredPart) int {
	n := 0
	for _, r := range measuredPoints(a.w) {
		if r.Part == part {
			n++
		}
	}
	return n
}
