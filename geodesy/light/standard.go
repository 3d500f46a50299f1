package light

import "math"

// ICAO standard atmosphere (Doc 7488/3, 1993) up to 11 km: temperature falls by 6.5 K per km of geopotential height from 288.15 K, and
// pressure with it from 1013.25 hPa.
const (
	standardK, standardHPa = 288.15, 1013.25
	standardLapse          = 0.0065
	standardExponent       = 5.255876 // g₀M/(R·lapse)
	geopotentialRadiusM    = 6356766
)

// StandardAir returns temperature (K) and pressure (hPa) of the standard atmosphere at a height over the sea in metres, −5,000 to 11,000;
// heights outside count as the nearest inside.
func StandardAir(heightM float64) (temperatureK, pressureHPa float64) {
	h := math.Min(math.Max(heightM, -5000), 11019)
	geopotential := geopotentialRadiusM * h / (geopotentialRadiusM + h)
	temperatureK = standardK - standardLapse*geopotential
	return temperatureK, standardHPa * math.Pow(temperatureK/standardK, standardExponent)
}

// StandardK returns the refraction coefficient of a nearly level ray in standard air at a height over the sea: KFromGradient of its pressure,
// temperature and lapse; 0.171 at the sea, 0.136 at 3,000 m.
func StandardK(heightM float64) float64 {
	t, p := StandardAir(heightM)
	return KFromGradient(p, t, -standardLapse)
}

// MeanK weighs the refraction coefficient k(u) along a ray of the given length. For the rise of the ray at distance x the weight is
// G = u(s−x)/s before x and x(s−u)/s after; for the apparent elevation of its end, which x = 0 stands for, it is s−u.
func MeanK(lengthM, atM float64, k func(u float64) float64) float64 {
	const intervals = 64
	weight := func(u float64) float64 {
		switch {
		case atM <= 0:
			return lengthM - u
		case u < atM:
			return u * (lengthM - atM)
		default:
			return atM * (lengthM - u)
		}
	}
	sum, total := 0.0, 0.0
	for i := range intervals {
		u := lengthM * (float64(i) + 0.5) / intervals
		w := weight(u)
		sum += w * k(u)
		total += w
	}
	return sum / total
}
