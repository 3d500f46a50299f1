package scenery

import (
	"image"
	"image/color"
	"math"
	"sort"
)

// colour is red, green and blue, 0…1.
type colour [3]float64

func (a colour) mix(b colour, share float64) colour {
	for i := range a {
		a[i] += share * (b[i] - a[i])
	}
	return a
}

// The colours are chosen by eye.
var (
	skyLow, skyHigh = colour{0.875, 0.893, 0.900}, colour{0.62, 0.74, 0.87}
	water           = colour{0.13, 0.25, 0.33}
	forest          = colour{0.22, 0.29, 0.17}
	scrub           = colour{0.42, 0.39, 0.27}
	rock            = colour{0.45, 0.40, 0.36}
	darkPaint       = colour{0.16, 0.15, 0.16}
	lightPaint      = colour{0.97, 0.96, 0.93}
)

func sky(elevation float64) colour {
	return skyLow.mix(skyHigh, math.Max(0, 1-math.Exp(-elevation/(2.5*degree))))
}

// Clean air dims by 0.012 per km at the sea and thins with a scale height of 8 km, haze by 0.003 per km with 1.5 km; blue light is dimmed more than
// red (common practice, no source).
const (
	airPerM, airScaleM   = 0.012e-3, 8000
	hazePerM, hazeScaleM = 0.003e-3, 1500
)

var dimming = colour{0.78, 1, 1.3}

// throughAir is a colour seen over a distance, from the eye to a height over the sea.
func (v *viewer) throughAir(c colour, heightM, distanceM float64) colour {
	mean := math.Max(0, (v.scene.Camera.EyeM+heightM)/2)
	depth := distanceM * (airPerM*math.Exp(-mean/airScaleM) + hazePerM*math.Exp(-mean/hazeScaleM))
	for i := range c {
		left := math.Exp(-depth * dimming[i])
		c[i] = left*c[i] + (1-left)*skyLow[i]
	}
	return c
}

// colourOf is the colour of the ground at a place, as the camera sees it.
func (v *viewer) colourOf(latDeg, lonDeg, groundM, distanceM float64) colour {
	s := v.scene
	if groundM <= 0 {
		// The flatter the look, the more of the sky the water mirrors.
		return v.throughAir(water.mix(skyLow, 0.1+0.25*math.Exp(-s.Camera.EyeM/distanceM/0.012)), 0, distanceM)
	}
	const halfM = 90
	halfLat := halfM / 111e3
	halfLon := halfLat / math.Cos(latDeg*degree)
	east := (s.HeightM(latDeg, lonDeg+halfLon) - s.HeightM(latDeg, lonDeg-halfLon)) / (2 * halfM)
	north := (s.HeightM(latDeg+halfLat, lonDeg) - s.HeightM(latDeg-halfLat, lonDeg)) / (2 * halfM)
	sinSun, cosSun := math.Sincos(s.SunElevationDeg * degree)
	towardsEast, towardsNorth := math.Sincos(s.SunAzimuthDeg * degree)
	lit := math.Max(0, sinSun-cosSun*(east*towardsEast+north*towardsNorth)) / math.Sqrt(1+east*east+north*north)
	paint := forest.mix(scrub, math.Min(1, groundM/1200))
	if groundM > 1200 {
		paint = scrub.mix(rock, math.Min(1, (groundM-1200)/900))
	}
	return v.throughAir(colour{}.mix(paint, 0.35+1.3*lit), groundM, distanceM)
}

// bar is a structure as the eye sees it.
type bar struct {
	azimuth, base, top, halfWidth, distanceM float64
	colour                                   colour
}

func (v *viewer) bars() []bar {
	var bars []bar
	for _, s := range v.scene.Structures {
		undulationM := v.scene.UndulationM(s.LatDeg, s.LonDeg)
		var b bar
		b.azimuth, b.base, b.distanceM = v.direction(s.LatDeg, s.LonDeg, s.GroundM+undulationM)
		_, b.top, _ = v.direction(s.LatDeg, s.LonDeg, s.GroundM+s.HeightM+undulationM)
		b.halfWidth = s.WidthM / 2 / b.distanceM
		b.colour = darkPaint
		if s.Light {
			b.colour = lightPaint
		}
		b.colour = v.throughAir(b.colour, s.GroundM+s.HeightM/2, b.distanceM)
		bars = append(bars, b)
	}
	return bars
}

const (
	// Each pixel is the mean of across × down samples; azimuths are cast every half pixel.
	across, down    = 2, 4
	columnsPerPixel = 2
	// stripPx is drawn at a time, so that profiles are not held for the whole picture.
	stripPx = 100
)

// Draw draws the columns of the picture from left to right, the latter left out; the picture's corner stays at 0, 0.
func (s *Scene) Draw(left, right int) *image.RGBA {
	picture := image.NewRGBA(image.Rect(left, 0, right, s.Camera.HeightPx))
	v := s.viewer()
	for from := left; from < right; from += stripPx {
		v.strip(picture, from, min(from+stripPx, right))
	}
	return picture
}

func (v *viewer) strip(picture *image.RGBA, left, right int) {
	c := &v.scene.Camera
	// The strip's corners bound its azimuths.
	low, high := math.Inf(1), math.Inf(-1)
	for _, x := range [...]int{left, right} {
		for _, y := range [...]int{0, c.HeightPx} {
			azimuth, _ := c.ray(float64(x), float64(y))
			low, high = math.Min(low, azimuth), math.Max(high, azimuth)
		}
	}
	// Azimuths are whole multiples of the spacing, so that strips meet.
	spacing := 1 / (columnsPerPixel * c.FocalPx)
	first := int(math.Floor(low/spacing)) - 1
	profiles := make([][]spot, int(high/spacing)+2-first)
	for i := range profiles {
		profiles[i] = v.profile(float64(first+i)*spacing, nil)
	}
	bars := v.bars()
	for y := range c.HeightPx {
		for x := left; x < right; x++ {
			var sum colour
			for sample := range across * down {
				azimuth, elevation := c.ray(float64(x)+(float64(sample%across)+0.5)/across, float64(y)+(float64(sample/across)+0.5)/down)
				seen := look(profiles[int(math.Round(azimuth/spacing))-first], bars, azimuth, elevation)
				for i := range sum {
					sum[i] += seen[i] / (across * down)
				}
			}
			picture.SetRGBA(x, y, color.RGBA{byte(255*sum[0] + 0.5), byte(255*sum[1] + 0.5), byte(255*sum[2] + 0.5), 255})
		}
	}
}

// look is the colour in one direction.
func look(profile []spot, bars []bar, azimuth, elevation float64) colour {
	seen, distanceM := sky(elevation), math.Inf(1)
	if i := sort.Search(len(profile), func(i int) bool { return profile[i].elevation >= elevation }); i < len(profile) {
		seen, distanceM = profile[i].colour, profile[i].distanceM
	}
	for _, b := range bars {
		if b.distanceM < distanceM && elevation >= b.base && elevation <= b.top && math.Abs(math.Remainder(azimuth-b.azimuth, 2*math.Pi)) <= b.halfWidth {
			seen, distanceM = b.colour, b.distanceM
		}
	}
	return seen
}
