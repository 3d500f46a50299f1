package reports

import (
	"fmt"
	"math"
	"strings"

	"farstation/pipeline"
)

// sheetFacts collects name and value of what exists.
type sheetFacts []htmlPair

func (f *sheetFacts) say(name, format string, args ...any) {
	*f = append(*f, htmlPair{name, fmt.Sprintf(format, args...)})
}

func (f *sheetFacts) add(name string, v *float64, write func(float64) string) {
	if v != nil {
		*f = append(*f, htmlPair{name, write(*v)})
	}
}

func wholePixels(v float64) string { return decimals(v, 0) + "\u00a0px" }

func millimetres(v float64) string { return decimals(v, 0) + "\u00a0mm" }

func outingStand(o *pipeline.Outing) sheetFacts {
	s := &o.Stand
	var f sheetFacts
	f.say("latitude, longitude (WGS84)", "%s°, %s°", decimals(s.LatitudeDeg, 6), decimals(s.LongitudeDeg, 6))
	f.say("in degrees and minutes", "%s, %s", sexagesimal(s.LatitudeDeg, "N", "S"), sexagesimal(s.LongitudeDeg, "E", "W"))
	f.say("look towards", "%s° from true north", decimals(o.Line.AzimuthDeg, 2))
	f.say("ground over the geoid", "%s\u00a0m", plusMinus(s.GroundM, s.GroundSDM, 0))
	f.say("eye over the geoid", "%s\u00a0m (%s\u00a0m over ground)", decimals(s.EyeHeightM, 1), decimals(s.EyeHeightM-s.GroundM, 1))
	f.add("aside, to turn the tops by 1′", s.AsideMPerArcmin, func(v float64) string { return decimals(math.Abs(v), 1) + "\u00a0m" })
	f.add("up, to part the tops by 1′ more", s.UpMPerArcmin, func(v float64) string {
		if v < 0 {
			return metres(-v) + " down"
		}
		return metres(v)
	})
	f.add("exactly in line", s.InLineRightM, func(v float64) string {
		if v < 0 {
			return metres(-v) + " to the left"
		}
		return metres(v) + " to the right"
	})
	var lost []string
	for _, side := range []struct {
		asideM *float64
		words  string
	}{{s.LostLeftM, " left"}, {s.LostRightM, " right"}} {
		if side.asideM != nil {
			lost = append(lost, metres(*side.asideM)+side.words)
		}
	}
	if len(lost) > 0 {
		f.say("alignment lost after", "%s", strings.Join(lost, ", "))
	}
	if low, high := s.MarginLowArcmin, s.MarginHighArcmin; s.MarginArcmin != nil && low != nil && high != nil {
		f.say("top over all ground; eye 1 m lower, higher", "%s; %s, %s", decimals(*s.MarginArcmin, 2)+"′", decimals(*low, 2)+"′", decimals(*high, 2)+"′")
	}
	if s.Drawn != nil {
		f.say("random draws that show the top", "%s\u00a0%% of %d", decimals(100**s.Drawn, 1), s.Draws)
	}
	return f
}

// sexagesimal writes an angle in degrees and minutes to a thousandth, 2 m at most.
func sexagesimal(deg float64, plus, minus string) string {
	side := plus
	if deg < 0 {
		side, deg = minus, -deg
	}
	// Whole thousandths of a minute first, so that 59.9996′ is not written as 60.
	thousandths := int(math.Round(deg * 60_000))
	return fmt.Sprintf("%d°\u00a0%06.3f′\u00a0%s", thousandths/60_000, float64(thousandths%60_000)/1000, side)
}

func outingLens(o *pipeline.Outing) sheetFacts {
	l := &o.Lens
	way := "across"
	if o.Frame.Upright {
		way = "upright"
	}
	var f sheetFacts
	f.say("sensor, pixel", "%s × %s mm, %s µm", decimals(l.SensorWidthMM, 1), decimals(l.SensorHeightMM, 1), decimals(l.PixelUM, 2))
	f.say("lens", "%s at f/%s, held %s", millimetres(l.FocalMM), decimals(l.ApertureF, 1), way)
	f.say("frame; one pixel", "%s° × %s°; %s″", decimals(o.Frame.WidthDeg, 2), decimals(o.Frame.HeightDeg, 2), decimals(l.ArcsecPerPx, 2))
	f.say("diffraction; shimmer", "%s px; %s px", decimals(l.DiffractionPx, 1), decimals(l.ShimmerPx, 1))
	f.add("between the models", l.GapPx, wholePixels)
	f.add("part of the target that the curve cuts off", l.ObscuredPx, wholePixels)
	f.add("structure of the target, its height", l.StructurePx, wholePixels)
	f.add("measuring costs little from", l.NeededFocalMM, millimetres)
	f.add("one frame holds all up to", l.LongestFocalMM, millimetres)
	return f
}

func outingAir(o *pipeline.Outing) sheetFacts {
	a := &o.Air
	var f sheetFacts
	f.say("visual range needed, at sea level", "%s\u00a0km, for a line of %s", decimals(a.VisualRangeNeededKM, 0), kilometres(o.Line.DistanceM))
	f.say(fmt.Sprintf("contrast left in a visual range of %s\u00a0km", decimals(a.VisualRangeKM, 0)), "%s\u00a0%%; the eye needs 2\u00a0%%", decimals(100*a.Contrast, 1))
	if o.Stand.EyeHeightM > 0 || o.Line.TopHeightM > 0 {
		f.say("cloud must stand clear of", "%s at the eye, %s at the top", metres(o.Stand.EyeHeightM), metres(o.Line.TopHeightM))
	}
	return f
}

func outingTide(o *pipeline.Outing) sheetFacts {
	t := o.Tide
	if t == nil {
		return nil
	}
	var f sheetFacts
	f.say("sea over the geoid, as reckoned with", "%s\u00a0m", plusMinus(t.SeaLevelM, t.SeaLevelSDM, 1))
	f.say("1 m more water: top over all ground", "%s", signed(t.MarginPerMArcmin, 2, "′"))
	f.add("1 m more water: obscured height", t.ObscuredPerMM, func(v float64) string { return signed(v, 1, "\u00a0m") })
	f.add("1 m more water: dip of the sea horizon", t.DipPerMArcmin, func(v float64) string { return signed(v, 2, "′") })
	return f
}

// expectedKs are the customary values of k, each as a phrase.
func expectedKs(o *pipeline.Outing) []pipeline.OutingK {
	var out []pipeline.OutingK
	for _, k := range o.Air.Expected {
		out = append(out, pipeline.OutingK{When: plainNote(k.When), K: plainNote(k.K), Source: plainNote(k.Source)})
	}
	return out
}

// signed writes a change, its sign always.
func signed(v float64, n int, unit string) string {
	text := decimals(v, n) + unit
	if v > 0 {
		return "+" + text
	}
	return text
}
