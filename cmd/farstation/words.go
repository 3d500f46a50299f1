package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"farstation/pipeline"
)

// Numbers as a terminal shows them.

// count writes a whole number with commas between thousands.
func count[N int | int32 | int64](n N) string { return decimals(float64(n), 0) }

// plural writes a count with its word.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return count(n) + " " + many
}

// decimals writes v with n decimals, and commas between thousands from 10,000 on.
func decimals(v float64, n int) string {
	text := strconv.FormatFloat(math.Abs(v), 'f', n, 64)
	whole, fraction, _ := strings.Cut(text, ".")
	if len(whole) > 4 {
		for at := len(whole) - 3; at > 0; at -= 3 {
			whole = whole[:at] + "," + whole[at:]
		}
	}
	if fraction != "" {
		whole += "." + fraction
	}
	if v < 0 && strings.ContainsAny(text, "123456789") {
		return "-" + whole
	}
	return whole
}

func kilometres(m float64) string      { return decimals(m/1000, 1) + " km" }
func metres(m float64) string          { return decimals(m, 0) + " m" }
func arcmin(v float64) string          { return decimals(v, 1) + "′" }
func degrees(v float64) string         { return decimals(v, 2) + "°" }
func percent(v float64) string         { return decimals(100*v, 0) + " %" }
func coefficient(v float64) string     { return decimals(v, 3) }
func plusMinus(text, sd string) string { return text + " ± " + sd }

// chance writes a probability, never rounded to a certainty.
func chance(p float64) string {
	switch {
	case p < 0.005:
		return "below 0.01"
	case p > 0.995:
		return "above 0.99"
	}
	return decimals(p, 2)
}

// separated says where a far top stands against a near one.
func separated(arcminutes float64) string {
	if arcminutes < 0 {
		return arcmin(-arcminutes) + " below"
	}
	return arcmin(arcminutes) + " above"
}

// verdictWords explains a verdict.
func verdictWords(v pipeline.Verdict) string {
	switch v {
	case pipeline.Direct:
		return "in view without any bending of light"
	case pipeline.Refracted:
		return "in view with the usual bending of light"
	case pipeline.Looming:
		return "in view only when light bends more than usual"
	case pipeline.Blocked:
		return "out of view"
	default:
		return "terrain is missing where it decides"
	}
}

// obscuredWords says what of a target each model cuts off.
func obscuredWords(l *pipeline.Sightline) string {
	if l.Verdict == pipeline.Undecided || l.PartInView == nil || l.PartInViewPlane == nil {
		return "what is cut off is undecided"
	}
	cut := func(heightM *float64, part float64) string {
		switch {
		case heightM == nil:
			return "nothing is cut off"
		case part == 0:
			return "all of it is cut off"
		case part < 0.005:
			return "next to all of it is cut off"
		case part >= 0.995:
			return "next to nothing is cut off"
		}
		return fmt.Sprintf("all below %s is cut off, which leaves %s of its rise in view", metres(*heightM), percent(part))
	}
	return fmt.Sprintf("under the curve %s; on the plane %s", cut(l.ObscuredHeightM, *l.PartInView), cut(l.ObscuredHeightPlaneM, *l.PartInViewPlane))
}
