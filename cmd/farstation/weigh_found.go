package main

import (
	"bytes"
	"context"
	"fmt"
	"math"

	"farstation/pipeline"
	"farstation/reports"
)

// expectedShown bounds the expected tops that are printed; weigh.json has all.
const expectedShown = 12

// writeFound prints the names found, the tops expected, and what the rest of the weighing says.
func writeFound(w *pipeline.Weighing, row func(head, format string, args ...any)) {
	for _, n := range w.Names {
		at := fmt.Sprintf("the top at %.0f, %.0f px is %s", n.XPx, n.YPx, n.Name)
		switch {
		case n.RunnerUp == "":
			row("name found", "%s; no other top comes near", at)
		case n.Used:
			row("name found", "%s; as %s it would fit worse by %.0f of χ²", at, n.RunnerUp, n.Chi2More)
		default:
			row("name not sure", "%s or %s, which fits worse by %.1f of χ²: left out of the verdict", at, n.RunnerUp, n.Chi2More)
		}
	}
	shown := 0
	for _, e := range w.Expected {
		if e.Measured || e.Verdict == pipeline.Blocked || e.CurvedXPx == nil {
			continue
		}
		if shown++; shown > expectedShown {
			continue
		}
		sees := ""
		if e.Chance != nil {
			sees = ", in view with a chance of " + chance(*e.Chance)
		}
		row("expected in frame", "%s, %s, at %.0f, %.0f px%s", e.Name, kilometres(e.DistanceM), *e.CurvedXPx, *e.CurvedYPx, sees)
	}
	if shown > expectedShown {
		row("expected in frame", "%d more", shown-expectedShown)
	}
	for _, e := range w.Expected {
		if e.Measured && e.Verdict == pipeline.Blocked {
			row("should be hidden", "%s was measured, and the curved Earth hides it behind ground %s away%s", e.Name, kilometres(*e.BehindM), at(e.Behind))
		}
	}
	if e := w.Evidence; e != nil && e.CurvedOverPlane != nil {
		row("evidence ratio", "%s (curved Earth : plane); %s", ratioWords(*e.CurvedOverPlane), e.Priors)
	}
	if d := w.Distances; d != nil {
		row("distances", "between %d places: the best map on a plane is wrong by up to %.3f km (%s to %s, %.1f km), %.3f km in the mean square", d.Places, d.MostKM, d.From, d.To, d.DistanceKM, d.RMSKM)
	}
	if p := w.Prediction; p != nil {
		for _, s := range p.Sentences {
			row("prediction", "%s", s)
		}
	}
}

func at(place string) string {
	if place == "" {
		return ""
	}
	return ", at " + place
}

// mostRatio is the decimal logarithm of the ratio that ten standard deviations make, exp(50): no more is quoted.
const mostRatio = 21

func ratioWords(log10 float64) string {
	switch {
	case log10 > mostRatio:
		return fmt.Sprintf("over 10^%d : 1", mostRatio)
	case log10 < -mostRatio:
		return fmt.Sprintf("1 : over 10^%d", mostRatio)
	case log10 >= 0:
		return fmt.Sprintf("%.3g : 1", math.Pow(10, log10))
	}
	return fmt.Sprintf("1 : %.3g", math.Pow(10, -log10))
}

// runCases weighs the cases below a folder again.
func runCases(ctx context.Context, stdio *stdio, o photographFlags) error {
	refits, err := pipeline.RefitCases(ctx, o.cases, o.Features, o.Terrain)
	if err != nil {
		return photographError(ctx, err)
	}
	changed, failed := 0, 0
	var text bytes.Buffer
	for _, r := range refits {
		switch {
		case r.Problem != "":
			failed++
			fmt.Fprintf(&text, "%s\n  not weighed: %s\n", plain(r.Case), plain(r.Problem))
			continue
		case r.Changed:
			changed++
			fmt.Fprintf(&text, "%s\n  changed: %s, now %s\n", plain(r.Case), caseVerdictWords(r.Before), caseVerdictWords(r.After))
		default:
			fmt.Fprintf(&text, "%s\n  as before: %s", plain(r.Case), caseVerdictWords(r.After))
			if before, after := strengthOf(r.Before), strengthOf(r.After); before != after {
				fmt.Fprintf(&text, "; %s standard deviations from the plane, they were %s", after, before)
			}
			text.WriteString("\n")
		}
		for _, cause := range r.Causes {
			fmt.Fprintf(&text, "  since: %s\n", plain(cause))
		}
	}
	if o.asJSON {
		text.Reset()
		if err := reports.WriteJSON(&text, refits); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(&text, "%s weighed, %d changed, %d not weighed\n", plural(len(refits)-failed, "case", "cases"), changed, failed)
	}
	if _, err := text.WriteTo(stdio.out); err != nil {
		return err
	}
	switch {
	case failed > 0:
		return fmt.Errorf("%s of %d could not be weighed", plural(failed, "case", "cases"), len(refits))
	case changed > 0:
		return statusError{statusDiffers, fmt.Errorf("%s of %d changed", plural(changed, "verdict", "verdicts"), len(refits))}
	}
	return nil
}

func caseVerdictWords(v pipeline.CaseVerdict) string {
	words := map[string]string{pipeline.WeighedCurved: "curved Earth", pipeline.WeighedPlane: "plane", pipeline.WeighedNeither: "neither model", pipeline.WeighedCannotTell: "cannot tell"}[v.Outcome]
	if v.Decides {
		words += ", " + v.Strength
	}
	return plain(words)
}

func strengthOf(v pipeline.CaseVerdict) string {
	if v.PlaneSD == nil {
		return "no"
	}
	return pipeline.StrengthWords(*v.PlaneSD)
}
