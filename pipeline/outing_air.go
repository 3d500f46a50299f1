package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"farstation/geodesy"
	"farstation/geodesy/light"
	"farstation/geodesy/terrain"
)

// customary marks numbers that everybody uses and nobody traces.
const customary = "common practice, no source"

// expectedK lists what k is to be expected by air, hour and season: worked out from a temperature gradient at the sea, or measured, with its source.
func expectedK() []OutingK {
	const seaHPa, seaK = 1013.25, 288.15
	of := func(gradientKPerM float64) string {
		return fmt.Sprintf("%.3f", light.KFromGradient(seaHPa, seaK, gradientKPerM))
	}
	return []OutingK{
		{"free air, more than 200 m over ground and sea", "0.13…0.17", customary},
		{"the standard atmosphere at the sea and at 3,000 m", fmt.Sprintf("%.3f and %.3f", light.StandardK(0), light.StandardK(3000)), "worked out from its pressure and temperature (ICAO Doc 7488)"},
		{"well mixed air of an afternoon, at the sea", of(-0.0098), "worked out: temperature falls by 9.8 K per km"},
		{"air of one temperature, at the sea", of(0), "worked out: no change with height"},
		{"an inversion of 5 K in 100 m, at the sea", of(0.05), "worked out; it holds inside the inversion alone"},
		{"lines of 4 to 23 km over land, by day and by night", "0.10 and 0.34", "reciprocal zenith angles, abstract of an IAU symposium"},
		{"1.8 m over grass", "−4…+16; swings of 1 to 1.5 within 10 to 30 minutes in sunshine, of 0.5 under cloud", "Hirt et al. 2010, J. Geophys. Res. 115, D21102"},
		{"by the hour: greatest near 3 in the morning, least from 10 to 16 hours, changing fast 1 hour before sunrise and 1 hour after sunset", "not stated", "McCaw, MNRAS, November 1907, p. 567"},
		{"cold air over warm water (autumn)", "below 0 in the lowest metres", customary},
		{"warm air over cold water (spring)", "0.3 and more, looming", customary},
	}
}

// kRow are the refraction coefficients of the table of an outing, besides the line's own.
func kRow(own float64) []float64 {
	row := []float64{-0.2, -0.1, 0, 0.1, 0.2, 0.3, 0.4, 0.5}
	if !slices.ContainsFunc(row, func(k float64) bool { return math.Abs(k-own) < 0.001 }) {
		row = append(row, own)
	}
	slices.Sort(row)
	return row
}

// fillAir fills the air that the line needs, and what it shows at a row of k; and the tide, where the line meets the sea.
func (p *planner) fillAir(context.Context) error {
	l := &p.out.Line
	a := &p.out.Air
	*a = OutingAir{VisualRangeNeededKM: l.VisualRangeNeededKM, Contrast: l.Contrast, VisualRangeKM: p.opts.VisualRangeKM, ByK: []OutingAtK{}, Expected: expectedK()}
	g, err := p.tracer.glance(p.observer, p.far)
	if err != nil {
		return err
	}
	if !g.judged {
		return fmt.Errorf("%w", ErrEndsTooClose)
	}
	section := &p.tracer.section
	for _, k := range kRow(l.KFree) {
		margin, _ := section.Margin(terrain.Model{K: k})
		at := OutingAtK{K: k, MarginArcmin: margin * arcminPerRad}
		if l.Verdict != Undecided {
			view := section.View(terrain.Model{K: k})
			if view.Obscured {
				at.ObscuredHeightM = pointer(view.ObscuredM)
			}
			at.PartInView = pointer(view.PartInView)
			if margin < 0 {
				at.PartInView = pointer(0.)
			}
		}
		if p.near != nil {
			at.SeparationArcmin = pointer((p.elevationRad(p.far, 0, k) - p.elevationRad(p.near, 0, k)) * arcminPerRad)
		}
		a.ByK = append(a.ByK, at)
	}
	p.fillTide(section)
	if section.Missing() {
		p.note("Terrain is missing on the line: margins of this sheet have it filled high.")
	}
	if top, needed := p.out.Target.TopHeightM, math.Max(l.EyeHeightM, l.TopHeightM); top > 0 {
		p.note("Clouds are not predicted: a base below %.0f m hides the top or the eye, and a sea of cloud between hides the line; every chance is of geometry alone.", needed)
	}
	return nil
}

// fillTide fills what a metre more of water does, by raising every stretch of sea under the line; left out where there is none.
func (p *planner) fillTide(section *terrain.Section) {
	const moreM = 1
	level := p.opts.SeaLevelM
	l, k := &p.out.Line, p.out.Line.KFree
	before, _ := section.Margin(terrain.Model{K: k})
	low := section.View(terrain.Model{K: k})
	raised, met := section.WithGround(func(piece *terrain.Piece) bool {
		if !isSea(piece, level) {
			return false
		}
		piece.G[0] += moreM
		return true
	})
	if !met {
		return
	}
	t := &OutingTide{SeaLevelM: level, SeaLevelSDM: p.opts.SeaLevelSDM}
	after, _ := raised.Margin(terrain.Model{K: k})
	t.MarginPerMArcmin = (after - before) * arcminPerRad / moreM
	if high := raised.View(terrain.Model{K: k}); low.Obscured && high.Obscured && l.Verdict != Undecided {
		t.ObscuredPerMM = pointer((high.ObscuredM - low.ObscuredM) / moreM)
	}
	dip := func(levelM float64) (float64, error) {
		rad, _, err := geodesy.SeaHorizon(l.EyeHeightM-levelM, l.RadiusM, k)
		return rad * arcminPerRad, err
	}
	dipLow, errLow := dip(level)
	dipHigh, errHigh := dip(level + moreM)
	if cmp.Or(errLow, errHigh) == nil {
		t.DipPerMArcmin = pointer((dipHigh - dipLow) / moreM)
	}
	p.out.Tide = t
	if run := p.run.opts.SeaLevelM; run != level {
		p.note("The claim and the line are the run's, for a sea at %g m over the geoid; this sheet's tide is for %g m.", run, level)
	}
}
