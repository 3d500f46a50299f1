package light

import (
	"fmt"
	"math"
)

const (
	// GreenUM is the wavelength, in micrometres, at which the eye by day is keenest (CIE 1924: 0.555); Profile uses it unless told.
	GreenUM = 0.555
	// usualCO2PPM is the carbon dioxide of a Profile; 100 ppm more raise the refractivity by 0.005 %.
	usualCO2PPM = 420.0

	minWavelengthUM, maxWavelengthUM = 0.3, 1.7
)

// dispersion is the refractivity of air and of water vapour at one wavelength, per pascal and kelvin: n−1 = (air·(p−e) + vapour·e)/(Z·T).
type dispersion struct{ air, vapour float64 }

// newDispersion sets up Ciddor 1996, equations 1 to 3, with the densities of equations 4 and 5 written out: the molar mass of air cancels
// between the air at hand and the reference air of 15 °C, 101,325 Pa.
func newDispersion(wavelengthUM, co2PPM float64) (dispersion, error) {
	if !(wavelengthUM >= minWavelengthUM && wavelengthUM <= maxWavelengthUM) {
		return dispersion{}, fmt.Errorf("light: wavelength %g µm: must be %g to %g µm", wavelengthUM, minWavelengthUM, maxWavelengthUM)
	}
	if !(co2PPM >= 0 && co2PPM <= 2000) {
		return dispersion{}, fmt.Errorf("light: carbon dioxide %g ppm: must be 0 to 2000 ppm", co2PPM)
	}
	const (
		referenceK, referencePa, referenceZ = 288.15, 101325.0, 0.9995922115
		vapourDensity                       = 0.00985938 // kg/m³ of pure vapour at 20 °C, 1,333 Pa
		vapourMolarMass, gasConstant        = 0.018015, 8.314510
	)
	s := 1 / (wavelengthUM * wavelengthUM)
	air := 1e-8 * (5792105/(238.0185-s) + 167917/(57.362-s)) * (1 + 0.534e-6*(co2PPM-450))
	vapour := 1.022e-8 * (295.235 + s*(2.6422+s*(-0.032380+s*0.004028)))
	return dispersion{
		air:    air * referenceZ * referenceK / referencePa,
		vapour: vapour * vapourMolarMass / (gasConstant * vapourDensity),
	}, nil
}

// refractivity returns n−1 with the compressibility Z of moist air (BIPM 1981/91, Ciddor 1996, appendix A).
func (d dispersion) refractivity(temperatureK, pressureHPa, vapourHPa float64) float64 {
	pressurePa, vapourPa := pressureHPa*100, vapourHPa*100
	t, x := temperatureK-273.15, vapourHPa/pressureHPa
	perK := pressurePa / temperatureK
	z := 1 - perK*(1.58123e-6+t*(-2.9331e-8+t*1.1043e-10)+(5.707e-6-2.051e-8*t)*x+(1.9898e-4-2.376e-6*t)*x*x) +
		perK*perK*(1.83e-11-0.765e-8*x*x)
	return (d.air*(pressurePa-vapourPa) + d.vapour*vapourPa) / (z * temperatureK)
}

// Refractivity returns n−1 of air for light of wavelengthUM (0.3 to 1.7 µm, in vacuum), temperatureK, pressureHPa > 0, the partial pressure
// vapourHPa of water vapour (0 is dry) and co2PPM of carbon dioxide; it is the phase index, which bends light. Stated by the source for
// −40…100 °C, 800…1200 hPa, to 2–5·10⁻⁸; at lower pressure the absolute error falls with it. Source: P. E. Ciddor, Applied Optics 35 (1996) 1566.
func Refractivity(wavelengthUM, temperatureK, pressureHPa, vapourHPa, co2PPM float64) (float64, error) {
	d, err := newDispersion(wavelengthUM, co2PPM)
	if err != nil {
		return 0, err
	}
	if !(temperatureK > 0 && pressureHPa > 0 && vapourHPa >= 0 && vapourHPa <= pressureHPa) {
		return 0, fmt.Errorf("light: air of %g K, %g hPa with %g hPa of vapour: need T > 0, p > 0 and vapour from 0 to p", temperatureK, pressureHPa, vapourHPa)
	}
	return d.refractivity(temperatureK, pressureHPa, vapourHPa), nil
}

// SaturationHPa returns the pressure of saturated water vapour, in hPa, at temperatureK: over water from 0 °C on (Ciddor 1996, after Davis
// 1992), over ice below (W. Wagner, A. Saul and A. Pruß 1994, as the NIST refractive index tool uses it; constants from memory).
func SaturationHPa(temperatureK float64) float64 {
	if temperatureK >= 273.15 {
		return 0.01 * math.Exp(temperatureK*(1.2378847e-5*temperatureK-1.9121316e-2)+33.93711047-6.3431645e3/temperatureK)
	}
	ratio := temperatureK / 273.16
	return 6.11657 * math.Exp(-13.928169*(1-math.Pow(ratio, -1.5))+34.7078238*(1-math.Pow(ratio, -1.25)))
}

// VapourHPa returns the partial pressure of water vapour, in hPa, in air of temperatureK and pressureHPa at a relative humidity of 0…1,
// with the enhancement factor of moist air (Ciddor 1996, appendix A).
func VapourHPa(temperatureK, pressureHPa, relativeHumidity float64) float64 {
	t := temperatureK - 273.15
	return (1.00062 + 3.14e-6*pressureHPa + 5.6e-7*t*t) * relativeHumidity * SaturationHPa(temperatureK)
}
