package light

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// Level is one height of a Profile.
type Level struct {
	// HeightM is the geometric height over the sea, −1,000 to 80,000 m.
	HeightM float64
	// TemperatureK is 100 to 400 K.
	TemperatureK float64
	// PressureHPa is up to 1,200 hPa, or 0 where unknown. The lowest one given counts; the rest follows from the weight of the air, since
	// pressures rounded to 1 hPa would shake k by a tenth, and those given may differ by 5 %.
	PressureHPa float64
	// VapourHPa is the partial pressure of water vapour, from 0 (dry) to half of the pressure.
	VapourHPa float64
}

// Profile is air in level layers over a sphere, as light of one wavelength meets it. Between levels temperature and vapour change linearly
// with geopotential height, and pressure follows from the temperature (hydrostatic balance); the standard atmosphere is thus exact. Below
// the lowest level the air goes on with the standard lapse, so that everything is smooth where a ray dips under it; above the highest level
// with the lapses of the standard atmosphere of those heights, to 86 km; above that is nothing. Gravity is that of 45° latitude. A Profile does
// not change and is safe for concurrent use.
type Profile struct {
	levels            []airLevel
	air               dispersion
	wavelengthUM      float64
	lowestM, highestM float64 // of the levels given
	sub               sublayers
}

// airLevel is the foot of a layer: the air there, and how it changes upwards per metre of geopotential height.
type airLevel struct {
	heightM, geopotentialM, temperatureK, pressureHPa, vapourHPa float64
	gradientKPerM, vapourHPaPerM                                 float64
	weightKPerM                                                  float64 // −d ln p/dH·T: hydrostaticKPerM for dry air
}

const (
	leastLayerM    = 0.01
	continuedDownM = -12000 // a ray at −3° from the sea would pass 11 km under it
	// The continuation upwards never gets colder than this, whatever the highest level given.
	coldestK = 150.0
)

// standardTop lists the geopotential heights at which the standard atmosphere changes its gradient, and the gradient below each
// (ICAO Doc 7488/3 to 32 km; US Standard Atmosphere 1976 above).
var standardTop = [...]struct{ geopotentialM, gradientKPerM float64 }{
	{11000, -standardLapse}, {20000, 0}, {32000, 0.001}, {47000, 0.0028}, {51000, 0}, {71000, -0.0028}, {84852, -0.002},
}

// NewProfile returns the profile through the levels, in any order, for light of wavelengthUM (0.3 to 1.7 µm; 0 stands for GreenUM). One level
// at least must give its pressure. The error names every level that cannot be, or two that stand at one height, to the centimetre, or whose air
// differs by more than 20 K or 50 hPa of vapour per metre.
func NewProfile(levels []Level, wavelengthUM float64) (*Profile, error) {
	if wavelengthUM == 0 {
		wavelengthUM = GreenUM
	}
	air, err := newDispersion(wavelengthUM, usualCO2PPM)
	if err != nil {
		return nil, err
	}
	levels = append([]Level(nil), levels...)
	sort.SliceStable(levels, func(i, j int) bool { return levels[i].HeightM < levels[j].HeightM })
	if err := checkLevels(levels); err != nil {
		return nil, err
	}
	p := &Profile{air: air, wavelengthUM: wavelengthUM, lowestM: levels[0].HeightM, highestM: levels[len(levels)-1].HeightM}
	p.levels = continued(levels)
	if err := balance(p.levels); err != nil {
		return nil, err
	}
	p.divide()
	return p, nil
}

func checkLevels(levels []Level) error {
	if len(levels) == 0 {
		return errors.New("light: profile without levels: give height and temperature of one at least")
	}
	var errs []error
	known := false
	for i, l := range levels {
		if err := l.check(); err != nil {
			errs = append(errs, fmt.Errorf("light: %w", err))
		}
		if i > 0 {
			below := levels[i-1]
			thick := l.HeightM - below.HeightM
			if thick < leastLayerM {
				errs = append(errs, fmt.Errorf("light: levels at %g m and %g m: leave one of them", below.HeightM, l.HeightM))
			} else if math.Abs(l.TemperatureK-below.TemperatureK) > steepestKPerM*thick || math.Abs(l.VapourHPa-below.VapourHPa) > steepestHPaPerM*thick {
				errs = append(errs, fmt.Errorf("light: levels at %g m and %g m: %g K and %g hPa of vapour, %g K and %g hPa: no air changes so fast",
					below.HeightM, l.HeightM, below.TemperatureK, below.VapourHPa, l.TemperatureK, l.VapourHPa))
			}
		}
		known = known || l.PressureHPa > 0
	}
	if !known {
		errs = append(errs, errors.New("light: no level has a pressure: give that of one at least"))
	}
	return errors.Join(errs...)
}

// check returns what of the level cannot be.
func (l Level) check() error {
	switch {
	case !(l.HeightM >= -1000 && l.HeightM <= 80000):
		return fmt.Errorf("level at %g m: height must be −1,000 to 80,000 m", l.HeightM)
	case !(l.TemperatureK >= 100 && l.TemperatureK <= 400):
		return fmt.Errorf("level at %g m: temperature %g K must be 100 to 400 K", l.HeightM, l.TemperatureK)
	case !(l.PressureHPa >= 0 && l.PressureHPa <= 1200):
		return fmt.Errorf("level at %g m: pressure %g hPa must be 0 (unknown) to 1,200 hPa", l.HeightM, l.PressureHPa)
	case !(l.VapourHPa >= 0 && (l.PressureHPa == 0 && l.VapourHPa < 200 || l.VapourHPa <= l.PressureHPa/2)):
		return fmt.Errorf("level at %g m: vapour pressure %g hPa must be 0 to half of the pressure", l.HeightM, l.VapourHPa)
	}
	return nil
}

// continued turns the levels into layers and adds the air below and above them.
func continued(levels []Level) []airLevel {
	var air []airLevel
	add := func(geopotential, temperatureK, pressureHPa, vapourHPa float64) {
		air = append(air, airLevel{heightM: geometricM(geopotential), geopotentialM: geopotential, temperatureK: temperatureK,
			pressureHPa: pressureHPa, vapourHPa: vapourHPa})
	}
	first := levels[0]
	add(continuedDownM, first.TemperatureK+standardLapse*(geopotentialM(first.HeightM)-continuedDownM), 0, first.VapourHPa)
	for _, l := range levels {
		add(geopotentialM(l.HeightM), l.TemperatureK, l.PressureHPa, l.VapourHPa)
		air[len(air)-1].heightM = l.HeightM // not rounded by the way there and back
	}
	for _, top := range standardTop {
		last := air[len(air)-1]
		if rise := top.geopotentialM - last.geopotentialM; rise > 1 {
			add(top.geopotentialM, math.Max(last.temperatureK+top.gradientKPerM*rise, math.Min(coldestK, last.temperatureK)), 0, 0)
		}
	}
	return air
}

// Over hot sand air falls by some 10 K in its lowest metre, half of that in the lowest tenth (common practice, no source).
const (
	steepestKPerM   = 20.0
	steepestHPaPerM = 50.0
)

// pressureToleranceRatio is how far a given pressure may stand from the one by weight: gravity by latitude makes 1.5 % at 30 km; heights in
// feet or temperatures in another unit make far more.
const pressureToleranceRatio = 0.05

// balance fills in what the layers need: gradients, and the pressures upwards and downwards from the lowest that is given.
func balance(air []airLevel) error {
	for i := range air[:len(air)-1] {
		a, b := &air[i], air[i+1]
		thick := b.geopotentialM - a.geopotentialM
		a.gradientKPerM = (b.temperatureK - a.temperatureK) / thick
		a.vapourHPaPerM = (b.vapourHPa - a.vapourHPa) / thick
	}
	anchor := 0
	for air[anchor].pressureHPa == 0 {
		anchor++
	}
	for i := anchor; i > 0; i-- {
		air[i-1].pressureHPa = weighed(air[i-1], air[i], air[i])
	}
	var errs []error
	if lowest := air[1]; lowest.pressureHPa > 1200*(1+pressureToleranceRatio) {
		errs = append(errs, fmt.Errorf("light: level at %.0f m: %g hPa at %.0f m make %.4g hPa there: check the units of height, pressure and temperature",
			lowest.heightM, air[anchor].pressureHPa, air[anchor].heightM, lowest.pressureHPa))
	}
	for i := anchor + 1; i < len(air); i++ {
		byWeight := weighed(air[i-1], air[i], air[i-1])
		if given := air[i].pressureHPa; given > 0 && math.Abs(given/byWeight-1) > pressureToleranceRatio {
			errs = append(errs, fmt.Errorf("light: level at %.0f m: pressure %g hPa, but the air below leaves %.4g hPa: check the units of height, pressure and temperature",
				air[i].heightM, given, byWeight))
		}
		air[i].pressureHPa = byWeight
	}
	for i := range air[:len(air)-1] {
		a, b := &air[i], air[i+1]
		a.weightKPerM = math.Log(a.pressureHPa/b.pressureHPa) / a.perKelvinM(b.geopotentialM-a.geopotentialM)
	}
	return errors.Join(errs...)
}

// weighed returns the pressure at the other end of the layer from low to high, from the end that is known. Vapour makes the air lighter:
// R of moist air is R/(1 − 0.378·e/p), with e/p at the middle of the layer.
func weighed(low, high, known airLevel) float64 {
	columnPerK := low.perKelvinM(high.geopotentialM - low.geopotentialM)
	if known.heightM == high.heightM {
		columnPerK = -columnPerK
	}
	other := known.pressureHPa
	for range 4 { // e/p at the other end needs the pressure sought; each round leaves a hundredth of the error
		moist := 0.378 * (low.vapourHPa + high.vapourHPa) / (known.pressureHPa + other)
		other = known.pressureHPa * math.Exp(-hydrostaticKPerM*(1-moist)*columnPerK)
	}
	return other
}

// perKelvinM returns ∫dH/T over riseM from the foot of the layer.
func (a airLevel) perKelvinM(riseM float64) float64 {
	x := a.gradientKPerM * riseM / a.temperatureK
	if math.Abs(x) < 1e-8 {
		return riseM / a.temperatureK * (1 - x/2)
	}
	return math.Log1p(x) / a.gradientKPerM
}

// at returns the air at a height inside the layer.
func (a airLevel) at(heightM float64) (temperatureK, pressureHPa, vapourHPa float64) {
	rise := geopotentialM(heightM) - a.geopotentialM
	return a.temperatureK + a.gradientKPerM*rise, a.pressureHPa * math.Exp(-a.weightKPerM*a.perKelvinM(rise)),
		math.Max(a.vapourHPa+a.vapourHPaPerM*rise, 0)
}

// layer returns the index of the layer that holds the height; a level belongs to the layer over it.
func (p *Profile) layer(heightM float64) int {
	above := sort.Search(len(p.levels), func(i int) bool { return p.levels[i].heightM > heightM })
	return min(max(above-1, 0), len(p.levels)-2)
}

// clampM holds a height within the air.
func (p *Profile) clampM(heightM float64) float64 {
	return math.Min(math.Max(heightM, p.levels[0].heightM), p.levels[len(p.levels)-1].heightM)
}

// At returns temperature, pressure and vapour pressure at a height over the sea; heights over 86 km or under −12 km count as those.
func (p *Profile) At(heightM float64) Level {
	h := p.clampM(heightM)
	t, pressure, vapour := p.levels[p.layer(h)].at(h)
	return Level{HeightM: heightM, TemperatureK: t, PressureHPa: pressure, VapourHPa: vapour}
}

// RefractivityAt returns n−1 at a height over the sea, Ciddor 1996 at the profile's wavelength; 0 over 86 km.
func (p *Profile) RefractivityAt(heightM float64) float64 {
	if heightM > p.levels[len(p.levels)-1].heightM {
		return 0
	}
	h := p.clampM(heightM)
	return p.refractivityIn(p.layer(h), h)
}

func (p *Profile) refractivityIn(layer int, heightM float64) float64 {
	return p.air.refractivity(p.levels[layer].at(heightM))
}

// meanRadiusM is the Earth of KFromGradient's constant, 503 K/hPa·K/m = 79·10⁻⁶ K/hPa times this radius; Profile's k is on it, too.
const meanRadiusM = 6371000

// KAt returns the refraction coefficient of a level ray at a height over the sea: −R/n·dn/dh with R = 6,371 km. It jumps where the
// temperature gradient does; there it is that of the air above. 0 over 86 km.
func (p *Profile) KAt(heightM float64) float64 {
	if heightM >= p.levels[len(p.levels)-1].heightM {
		return 0
	}
	h := p.clampM(heightM)
	return p.kIn(p.layer(h), h)
}

// kIn differences the refractivity over a metre inside the layer: rounding leaves 1e-9 in k, the second derivative less.
func (p *Profile) kIn(layer int, heightM float64) float64 {
	foot, top := p.levels[layer].heightM, p.levels[layer+1].heightM
	half := math.Min(0.5, (top-foot)/4)
	middle := math.Min(math.Max(heightM, foot+half), top-half)
	fall := p.refractivityIn(layer, middle-half) - p.refractivityIn(layer, middle+half)
	return meanRadiusM * fall / (2 * half) / (1 + p.refractivityIn(layer, middle))
}

// GivenM returns the lowest and the highest level that the profile was made from, in metres over the sea; beyond them the air is assumed.
func (p *Profile) GivenM() (lowestM, highestM float64) { return p.lowestM, p.highestM }
