package light

import "math"

// ICAO standard atmosphere (Doc 7488/3, 1993): temperature falls by 6.5 K per km of geopotential height from 288.15 K, and pressure with it
// from 1013.25 hPa.
const (
	standardK, standardHPa = 288.15, 1013.25
	standardLapse          = 0.0065
	standardExponent       = 5.255876 // g₀M/(R·lapse)
	geopotentialRadiusM    = 6356766
	dryAirJPerKgK          = 287.05287
	// hydrostaticKPerM is g₀/R of dry air: pressure falls by this fraction, times 1 K/T, per metre of geopotential height.
	hydrostaticKPerM = 9.80665 / dryAirJPerKgK
	// adiabaticKPerM is g₀/c_p of dry air with c_p = 3.5 R.
	adiabaticKPerM = hydrostaticKPerM / 3.5
)

const (
	standardLowestM, standardHighestM = -5000, 32162
	tropopauseM, upperTropopauseM     = 11000, 20000 // geopotential
	upperLapse                        = -0.001       // over upperTropopauseM, to 32,000 m
)

// geopotentialM converts a height over the sea to the geopotential height of the standard atmosphere; geometricM is its inverse.
func geopotentialM(heightM float64) float64 {
	return geopotentialRadiusM * heightM / (geopotentialRadiusM + heightM)
}

func geometricM(geopotentialM float64) float64 {
	return geopotentialRadiusM * geopotentialM / (geopotentialRadiusM - geopotentialM)
}

// StandardAir returns temperature (K) and pressure (hPa) of the standard atmosphere at a height over the sea in metres, −5,000 to 32,162
// (32,000 m geopotential); heights outside count as the nearest inside.
func StandardAir(heightM float64) (temperatureK, pressureHPa float64) {
	geopotential := geopotentialM(math.Min(math.Max(heightM, standardLowestM), standardHighestM))
	below := math.Min(geopotential, tropopauseM)
	temperatureK = standardK - standardLapse*below
	pressureHPa = standardHPa * math.Pow(temperatureK/standardK, standardExponent)
	if geopotential > tropopauseM {
		pressureHPa *= math.Exp(-hydrostaticKPerM * (math.Min(geopotential, upperTropopauseM) - tropopauseM) / temperatureK)
	}
	if geopotential > upperTropopauseM {
		base := temperatureK
		temperatureK -= upperLapse * (geopotential - upperTropopauseM)
		pressureHPa *= math.Pow(temperatureK/base, hydrostaticKPerM/upperLapse)
	}
	return temperatureK, pressureHPa
}

// StandardDensity returns the density of the standard atmosphere in kg/m³; heights as for StandardAir.
func StandardDensity(heightM float64) float64 {
	temperatureK, pressureHPa := StandardAir(heightM)
	return pressureHPa * 100 / (dryAirJPerKgK * temperatureK)
}

// StandardK returns the refraction coefficient of a nearly level ray in standard air at a height over the sea: KFromGradient of its pressure,
// temperature and lapse; 0.171 at the sea, 0.136 at 3,000 m.
func StandardK(heightM float64) float64 {
	t, p := StandardAir(heightM)
	lapse := standardLapse
	switch geopotential := geopotentialM(heightM); {
	case geopotential > upperTropopauseM:
		lapse = upperLapse
	case geopotential > tropopauseM:
		lapse = 0
	}
	return KFromGradient(p, t, -lapse)
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
