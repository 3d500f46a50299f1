package pipeline

import "math"

// lightDays counts the days of a year with light for a line: the sun −6° to +1° high within 4° of the line's azimuth (silhouette), or 2° to
// 15° high and 30° to 90° aside of it (side light). The sun's azimuth A at height h follows from its declination δ by
// sin δ = sin φ sin h + cos φ cos h cos A; the declination by the usual sine of the year, good to a degree, which moves dates by
// days and counts by none.
func lightDays(latDeg, azimuthDeg float64) int {
	const tropic, days = 23.44, 365
	sinLat, cosLat := math.Sincos(latDeg * math.Pi / 180)
	lit := 0
	for day := range days {
		declination := tropic * math.Sin(2*math.Pi*(float64(day)-80)/days) * math.Pi / 180
		if hasLight(sinLat, cosLat, math.Sin(declination), azimuthDeg) {
			lit++
		}
	}
	return lit
}

func hasLight(sinLat, cosLat, sinDeclination, azimuthDeg float64) bool {
	for _, height := range [...]float64{-6, -4, -2, 0, 1, 2, 5, 8, 11, 15} {
		sinH, cosH := math.Sincos(height * math.Pi / 180)
		cosA := (sinDeclination - sinLat*sinH) / (cosLat * cosH)
		if !(math.Abs(cosA) <= 1) {
			continue // the sun does not stand that high that day
		}
		morning := math.Acos(cosA) * 180 / math.Pi
		for _, sun := range [2]float64{morning, 360 - morning} {
			aside := math.Abs(math.Mod(sun-azimuthDeg+540, 360) - 180)
			if height <= 1 && aside <= 4 || height >= 2 && aside >= 30 && aside <= 90 {
				return true
			}
		}
	}
	return false
}

// light is the term light of a line: 15 days of the year are enough. Whole degrees of latitude and azimuth are near enough for that.
func (t *Tracer) light(row *Sightline) float64 {
	key := [2]int{int(math.Round(row.ObserverLatDeg)), int(math.Round(row.AzimuthDeg))}
	v, known := t.lights[key]
	if !known {
		v = math.Min(float64(lightDays(float64(key[0]), float64(key[1])))/15, 1)
		t.lights[key] = v
	}
	return v
}
