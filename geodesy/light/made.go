package light

import (
	"fmt"
	"math"
)

// StandardProfile returns the ICAO standard atmosphere, dry, for light of wavelengthUM (0.3 to 1.7 µm; 0 stands for GreenUM).
func StandardProfile(wavelengthUM float64) (*Profile, error) {
	p, err := NewProfile([]Level{{TemperatureK: standardK, PressureHPa: standardHPa}}, wavelengthUM)
	if err != nil {
		return nil, err
	}
	p.lowestM, p.highestM = standardLowestM, p.levels[len(p.levels)-1].heightM // what goes on from the sea is all standard
	return p, nil
}

// GradientProfile returns dry air whose temperature changes evenly with height by gradientKPerM (K/m, negative when it falls) from surfaceK and
// surfaceHPa at the sea: from 1,000 m under the sea to 11,000 m over it, or as far as it stays within 150 and 400 K. Standard air
// has −0.0065, isothermal air 0, adiabatic air AdiabaticGradientKPerM, homogeneous air HomogeneousGradientKPerM.
func GradientProfile(surfaceK, surfaceHPa, gradientKPerM, wavelengthUM float64) (*Profile, error) {
	lowM, highM := -999.0, 11000.0
	if !(surfaceK > coldestK && surfaceK < 400) {
		return nil, fmt.Errorf("light: %g K at the sea: must be over %g K and under 400 K", surfaceK, coldestK)
	}
	if gradientKPerM != 0 {
		colder, warmer := (coldestK-surfaceK)/gradientKPerM, (400-surfaceK)/gradientKPerM
		lowM, highM = math.Max(lowM, math.Min(colder, warmer)), math.Min(highM, math.Max(colder, warmer))
	}
	if !(highM-lowM > 1) {
		return nil, fmt.Errorf("light: temperature gradient %g K/m: leaves no metre of air between %g and 400 K", gradientKPerM, coldestK)
	}
	at := func(geopotential, pressureHPa float64) Level {
		return Level{HeightM: geometricM(geopotential), TemperatureK: surfaceK + gradientKPerM*geopotential, PressureHPa: pressureHPa}
	}
	levels := []Level{at(lowM, 0), at(0, surfaceHPa), at(highM, 0)}
	return NewProfile(levels, wavelengthUM)
}

const (
	// AdiabaticGradientKPerM is that of well mixed dry air, g/c_p.
	AdiabaticGradientKPerM = -adiabaticKPerM
	// HomogeneousGradientKPerM is that at which dry air is as dense above as below, g/R_d: light is straight.
	HomogeneousGradientKPerM = -hydrostaticKPerM
)

// WithInversion returns the profile with its temperature rising by riseK from bottomM to topM (negative: falling), and all air above
// warmer or colder by as much as that changes it at topM. The heights must lie in −1,000 to 80,000 m.
func (p *Profile) WithInversion(bottomM, topM, riseK float64) (*Profile, error) {
	if !(topM > bottomM) {
		return nil, fmt.Errorf("light: inversion from %g m to %g m: the top must lie above the bottom", bottomM, topM)
	}
	bottom, top := p.At(bottomM), p.At(topM)
	shiftK := bottom.TemperatureK + riseK - top.TemperatureK
	top.TemperatureK += shiftK
	top.PressureHPa = 0
	levels := []Level{bottom, top}
	for _, l := range p.levels[1 : len(p.levels)-1] {
		level := Level{HeightM: l.heightM, TemperatureK: l.temperatureK, VapourHPa: l.vapourHPa}
		switch {
		case l.heightM < bottomM:
			levels = append(levels, level)
		case l.heightM > topM:
			level.TemperatureK += shiftK
			levels = append(levels, level)
		}
	}
	warmed, err := NewProfile(levels, p.wavelengthUM)
	if err != nil {
		return nil, err
	}
	warmed.lowestM, warmed.highestM = math.Min(p.lowestM, bottomM), math.Max(p.highestM, topM)
	return warmed, nil
}
