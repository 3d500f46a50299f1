package pipeline

import (
	"context"
	"fmt"
	"math"

	"farstation/geodesy"
)

const (
	arcsecPerRad = 60 * arcminPerRad
	// greenUM is the wavelength that diffraction is stated for, in µm.
	greenUM = 0.55
	// measurePx and shimmerArcsec are what measuring a point costs: our judgement of careful clicking, and the seeing of a day over land
	// (common practice, no source).
	measurePx, shimmerArcsec = 2, 5
	// innerShare is the part of the frame, each way, that what is to be measured should keep to: lenses are worst at the edges (common practice,
	// no source).
	innerShare = 0.9
)

// arcsecPerPx is the angle of one pixel, 206.265″·p/f with the pitch in µm and the focal length in mm, at the centre of the frame.
func arcsecPerPx(pixelUM, focalMM float64) float64 {
	return arcsecPerRad * pixelUM / 1000 / focalMM
}

// angleOfViewDeg is 2·atan(w/2f).
func angleOfViewDeg(sideMM, focalMM float64) float64 {
	return 2 * math.Atan(sideMM/2/focalMM) * 180 / math.Pi
}

// focalToHoldMM is the longest focal length at which an angle stays within the inner part of a side of the sensor; +Inf for no angle.
func focalToHoldMM(sideMM, angleRad float64) float64 {
	return innerShare * sideMM / 2 / math.Tan(angleRad/2)
}

// diffractionPx is the radius of the Airy disc, 1.22·λ·N (Rayleigh), in pixels.
func diffractionPx(apertureF, pixelUM float64) float64 {
	return 1.22 * greenUM * apertureF / pixelUM
}

// neededFocalMM is the focal length from which on measuring, 2 pixels and 5″ of shimmer together, costs less than a third of a spread. ok is
// false where the shimmer alone costs as much.
func neededFocalMM(spreadArcsec, pixelUM float64) (focalMM float64, ok bool) {
	left := square(spreadArcsec/3) - square(shimmerArcsec)
	if left <= 0 {
		return 0, false
	}
	return arcsecPerPx(pixelUM, 1) * measurePx / math.Sqrt(left), true
}

// span is the box of directions that a frame must hold: azimuths from the far top's, elevations under both models, in radians.
type span struct {
	left, right, bottom, top float64
	// low is what stands below the tops.
	low string
}

func (s *span) add(azimuthRad float64, elevationsRad ...float64) {
	s.left, s.right = math.Min(s.left, azimuthRad), math.Max(s.right, azimuthRad)
	for _, e := range elevationsRad {
		s.bottom, s.top = math.Min(s.bottom, e), math.Max(s.top, e)
	}
}

// wanted is the span of near top, far top and sea horizon, or where no sea is met, front.
func (p *planner) wanted() span {
	l := &p.out.Line
	const rad = math.Pi / 180
	s := span{bottom: math.Inf(1), top: math.Inf(-1), low: "nothing else"}
	s.add(0, l.ElevationDeg*rad, l.ElevationPlaneDeg*rad)
	if p.near != nil {
		arc := geodesy.WGS84.Inverse(p.observer.At, p.near.At)
		s.add(math.Remainder(arc.AzimuthDeg-l.AzimuthDeg, 360)*rad, p.elevationRad(p.near, 0, l.KFree), p.planeRad(p.near))
	}
	switch {
	case l.DipArcmin != nil:
		s.add(0, -*l.DipArcmin/arcminPerRad, 0)
		s.low = "the sea horizon"
	case l.FrontDistanceM != nil && l.FrontHeightM != nil:
		s.add(0, geodesy.ApparentElevationRad(l.EyeHeightM, *l.FrontHeightM, *l.FrontDistanceM, l.RadiusM, l.KFree),
			geodesy.PlaneElevationRad(l.EyeHeightM, *l.FrontHeightM, *l.FrontDistanceM))
		s.low = "the front"
	}
	return s
}

// fillLens fills what a lens makes of the line, and whether the camera is held upright.
func (p *planner) fillLens(context.Context) error {
	l, ask := &p.out.Line, p.ask
	scale := arcsecPerPx(ask.PixelUM, ask.FocalMM)
	lens := OutingLens{
		SensorWidthMM: ask.SensorWidthMM, SensorHeightMM: ask.SensorHeightMM, PixelUM: ask.PixelUM, FocalMM: ask.FocalMM, ApertureF: ask.ApertureF,
		ArcsecPerPx: scale, DiffractionPx: diffractionPx(ask.ApertureF, ask.PixelUM), ShimmerPx: shimmerArcsec / scale,
	}
	spreadArcsec := 0.0
	front, hasFront := NewFrontAngle(l, l.KFree)
	switch a := p.out.Alignment; {
	case a != nil:
		lens.GapPx = pointer(math.Abs(a.ModelGapArcmin) * 60 / scale)
		if a.Case == BothInView { // the others are decided by a look
			spreadArcsec = a.SeparationSDArcmin * 60
		}
	case hasFront:
		lens.GapPx, spreadArcsec = pointer((front.PlaneArcmin-front.CurvedArcmin)*60/scale), front.CurvedSDArcmin*60
	}
	if l.ObscuredHeightM != nil && l.FootDistanceM != nil {
		lens.ObscuredPx = pointer(math.Max(*l.ObscuredHeightM-l.BaseHeightM, 0) / *l.FootDistanceM * arcsecPerRad / scale)
	}
	if h := p.far.StructureHeightM; h > 0 {
		lens.StructurePx = pointer(h / l.DistanceM * arcsecPerRad / scale)
	}
	binds := "there is nothing to measure: the line is decided by a look, or not at all"
	if spreadArcsec > 0 {
		if needed, ok := neededFocalMM(spreadArcsec, ask.PixelUM); ok {
			lens.NeededFocalMM = &needed
			binds = fmt.Sprintf("the pixels bind: from %.0f mm on they cost less than a third of the spread of the angle, %.0f″", needed, spreadArcsec)
		} else {
			binds = fmt.Sprintf("the shimmer binds: a third of the spread of the angle, %.0f″, is no more than the shimmer of one exposure; take the mean of many", spreadArcsec)
		}
	}
	wanted := p.wanted()
	wideRad, highRad := wanted.right-wanted.left, wanted.top-wanted.bottom
	hold := func(widthMM, heightMM float64) (focalMM float64, side string) {
		byWidth, byHeight := focalToHoldMM(widthMM, wideRad), focalToHoldMM(heightMM, highRad)
		if byWidth < byHeight {
			return byWidth, "width"
		}
		return byHeight, "height"
	}
	across, side := hold(ask.SensorWidthMM, ask.SensorHeightMM)
	upright, uprightSide := hold(ask.SensorHeightMM, ask.SensorWidthMM)
	p.out.Frame.Upright = across < ask.FocalMM && upright > across
	longest := math.Max(across, upright)
	if upright > across {
		side = uprightSide + " of the frame held upright"
	} else {
		side += " of the frame held across"
	}
	if !math.IsInf(longest, 1) {
		lens.LongestFocalMM = &longest
		binds += fmt.Sprintf("; up to %.0f mm the %s holds the tops under both models, and %s", longest, side, wanted.low)
		if lens.NeededFocalMM != nil && *lens.NeededFocalMM > longest {
			binds += "; no one frame does both: take two, with something in common"
		}
	}
	lens.Binds = binds
	p.out.Lens = lens
	return nil
}
