package pipeline

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"farstation/geodesy"
)

// decide says which model stands, and how strongly. A model stands while its own fit is not improbable and the free curvature not more than three
// standard deviations from its own; a photograph decides when one stands and the other does not.
func (s *Scene) decide(w *Weighing) {
	free, curved, plane := w.model(ModelFree), w.model(ModelCurved), w.model(ModelPlane)
	w.Outcome, w.Strength = WeighedCannotTell, "none"
	say := func(format string, args ...any) { w.Sentences = append(w.Sentences, fmt.Sprintf(format, args...)) }
	if !free.Fitted {
		say("This picture could not be weighed: %s. That is a failure of the fit, and says nothing of either model.", free.Problem)
		say("%s", s.wantedWords())
		s.sayWrongName(w)
		return
	}
	for _, m := range []*ModelFit{curved, plane} {
		if !m.Fitted { // what was not fitted was not refuted
			say("This picture could not be weighed: no fit was found for the %s: %s. That is a failure of the fit, and says nothing of either model.", modelWords[m.Name], m.Problem)
			say("%s", s.wantedWords())
			s.sayWrongName(w)
			return
		}
	}
	if free.P < improbableP && curved.P < improbableP && plane.P < improbableP {
		w.Outcome = WeighedNeither
		say("Neither model fits what was measured, whatever the curvature: look at the inputs (probability of the best fit %s).", probability(math.Max(free.P, math.Max(curved.P, plane.P))))
		s.sayWrongName(w)
		say("No verdict stands on such a fit.")
		return
	}
	curvedStands := curved.P >= improbableP && math.Abs(*w.CurvedSD) < refutedSD
	planeStands := plane.P >= improbableP && math.Abs(*w.PlaneSD) < refutedSD
	fall, lower := fallM(*w.ApparentCurvaturePerM), "lower"
	if fall < 0 {
		fall, lower = -fall, "higher"
	}
	stands := fmt.Sprintf("what stands 100 km away appears %s m %s than a plane would have it", plusMinusWords(fall, fallM(*w.ApparentCurvatureSDPerM), 0), lower)
	switch {
	case curvedStands && math.Abs(*w.PlaneSD) >= refutedSD:
		w.Outcome, w.Decides = WeighedCurved, true
		say("The points measured on this photograph lie where a curved Earth with bending light has them: %s.", stands)
		say("That is %s standard deviations from a plane with straight light, which leaves residuals of a probability of %s; the air that the curved Earth needs, k = %s, is %s.",
			StrengthWords(*w.PlaneSD), probability(plane.P), plusMinusWords(*w.K, *w.KSD, 3), s.airWords(w))
	case planeStands && math.Abs(*w.CurvedSD) >= refutedSD:
		w.Outcome, w.Decides = WeighedPlane, true
		say("The points measured on this photograph lie where a plane with straight light has them: %s.", stands)
		say("A curved Earth in ordinary air (k = %.3f ± %.3f) is %s standard deviations away, and leaves residuals of a probability of %s; it would need k = %s.",
			w.Air.K, w.Air.KSD, StrengthWords(*w.CurvedSD), probability(curved.P), plusMinusWords(*w.K, *w.KSD, 3))
	case curvedStands || planeStands:
		reason := "both models fit what was measured"
		if curvedStands != planeStands {
			reason = "its points fit one model badly, but not by their curvature"
		}
		say("This picture cannot tell: %s.", reason)
		say("Its apparent curvature, %s of the Earth's, is %s standard deviations from the plane's 0, and three are asked for.",
			plusMinusWords(1-*w.K, *w.KSD, 2), StrengthWords(*w.PlaneSD))
		say("%s", s.wantedWords())
		return
	default:
		w.Outcome = WeighedNeither
		say("Neither model fits what was measured: look at the inputs.")
		say("The apparent curvature that fits best, %s of the Earth's, is %s standard deviations from the plane's 0 and %s from that of a curved Earth in ordinary air, which would need k = %s.",
			plusMinusWords(1-*w.K, *w.KSD, 3), StrengthWords(*w.PlaneSD), StrengthWords(*w.CurvedSD), plusMinusWords(*w.K, *w.KSD, 3))
		nearer := "curved Earth"
		if math.Abs(*w.PlaneSD) < math.Abs(*w.CurvedSD) {
			nearer = "plane"
		}
		say("Of the two the %s is the nearer; a wrong input or extraordinary air would explain it.", nearer)
		s.sayWrongName(w)
		return
	}
	w.Strength = s.strength(w)
	if len(w.OverturnedBy) > 0 && w.Outcome == WeighedCurved {
		o := w.OverturnedBy[0]
		say("What could overturn it most easily is the %s: it would have to be wrong by %s, %s times its standard deviation.", o.Input, AmountWords(o), StrengthWords(o.Times))
	} else {
		say("It stands on %d points of %d named things, weighed with the same freedom for both models.", len(free.Residuals), len(s.Targets))
	}
}

func (s *Scene) sayWrongName(w *Weighing) {
	if w.WrongName != "" {
		_, size := utf8.DecodeRuneInString(w.WrongName)
		w.Sentences = append(w.Sentences, strings.ToUpper(w.WrongName[:size])+w.WrongName[size:]+".")
	}
}

// wantedWords say what would make a photograph decide.
func (s *Scene) wantedWords() string {
	return "Measure more named tops, at distances that differ as much as they can and spread over the width of the picture."
}

// fallM is by how much a curvature takes away from the height of what stands 100 km away.
func fallM(curvaturePerM float64) float64 { return curvaturePerM * 1e10 / 2 }

// StrengthWords writes a number of standard deviations, without its sign, and none past ten.
func StrengthWords(sd float64) string {
	if math.Abs(sd) > mostSD {
		return fmt.Sprintf("over %d", mostSD)
	}
	return fmt.Sprintf("%.1f", math.Abs(sd))
}

// AmountWords writes an amount with its unit.
func AmountWords(o Overturn) string {
	amount, digits := math.Abs(o.Amount), 0
	for v := amount; v < 100 && digits < 3; v *= 10 {
		digits++
	}
	text := strconv.FormatFloat(amount, 'f', digits, 64)
	if o.Unit == "" || o.Unit == "′" {
		return text + o.Unit
	}
	return text + " " + o.Unit
}

func probability(p float64) string {
	if p < improbableP {
		return fmt.Sprintf("below %g", improbableP)
	}
	return fmt.Sprintf("%.2g", p)
}

func plusMinusWords(v, sd float64, decimals int) string {
	return fmt.Sprintf("%.*f ± %.*f", decimals, v, decimals, sd)
}

// airWords tell whether the fitted k is what air usually does.
func (s *Scene) airWords(w *Weighing) string {
	if math.Abs(*w.CurvedSD) < 2 {
		return "ordinary"
	}
	return "unusual, though not beyond what the spread allows"
}

// strength ranks what the verdict stands on, from what needs no measuring to what needs most.
func (s *Scene) strength(w *Weighing) string {
	for _, o := range w.Orders {
		if o.Agrees == w.Outcome {
			return "the order of tops differs"
		}
	}
	switch {
	case s.nearRuler():
		return "separation of tops with a near structure as ruler"
	case len(s.Targets) > 2:
		return "many tops in one frame"
	}
	return "few tops with horizon or level"
}

// nearRuler tells whether top and base of one structure were measured, and a farther top within a quarter of a degree beside it.
func (s *Scene) nearRuler() bool {
	const besideDeg = 0.25
	azimuthDeg := func(i int) float64 {
		return geodesy.WGS84.Inverse(s.stations[s.stationOf[s.Points[i].Frame]].Place, s.Targets[s.targetOf[i]].At).AzimuthDeg
	}
	for i := range s.Points {
		for j := range s.Points {
			top, base := &s.Points[i], &s.Points[j]
			if top.Part != PartTop || base.Part != PartBase || s.targetOf[i] != s.targetOf[j] || s.Targets[s.targetOf[i]].StructureHeightM == 0 {
				continue
			}
			nearM, _ := s.ray(i)
			for f := range s.Points {
				if far := &s.Points[f]; far.Part == PartTop && far.Frame == top.Frame && s.targetOf[f] != s.targetOf[i] {
					farM, _ := s.ray(f)
					if farM > nearM && math.Abs(math.Remainder(azimuthDeg(f)-azimuthDeg(i), 360)) < besideDeg {
						return true
					}
				}
			}
		}
	}
	return false
}
