package gazetteer

import (
	"errors"
	"math"
	"strconv"
	"strings"
)

const (
	// plainPlaceSDM is the spread of a place given to four decimals or better. Our judgement, no source.
	plainPlaceSDM = 30
	// metresPerDegree is a degree of latitude: 60 international nautical miles of 1852 m.
	metresPerDegree = 60 * 1852
)

// coordinate is a latitude or longitude in degrees, with the number of decimals it is given to.
type coordinate struct {
	deg      float64
	decimals int
}

var errNotDegrees = errors.New("not decimal degrees")

// parseCoordinate reads decimal degrees. A single comma is a decimal comma: a coordinate has no thousands. Exponents are
// read because software writes −0.00005 as -5e-05.
func parseCoordinate(text string) (coordinate, error) {
	text = strings.TrimSpace(text)
	if minus, ok := strings.CutPrefix(text, "\u2212"); ok {
		text = "-" + minus
	}
	if strings.Count(text, ",") == 1 && !strings.Contains(text, ".") {
		text = strings.Replace(text, ",", ".", 1)
	}
	for i := range len(text) {
		if c := text[i]; (c < '0' || c > '9') && strings.IndexByte("+-.eE", c) < 0 {
			return coordinate{}, errNotDegrees
		}
	}
	deg, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return coordinate{}, errNotDegrees
	}
	decimals := 0
	if point := strings.IndexByte(text, '.'); point >= 0 {
		decimals = len(text) - point - 1
	}
	if strings.ContainsAny(text, "eE") {
		decimals = 15 // a float printed in full
	}
	return coordinate{deg, decimals}, nil
}

// placeSpread returns the spread of a place each way, in metres, from the decimals it is given to, and the doubt that goes with
// it, if any. Trailing zeros are often cut off, so the finer of the two coordinates counts. A rounding to u leaves u/√12 (the
// standard deviation of a uniform error): 535 m of latitude for a minute of arc, 321 m for two decimals.
func placeSpread(lat, lon coordinate) (sdM float64, doubt string) {
	decimals := max(lat.decimals, lon.decimals)
	roundingM := math.Pow10(-decimals) * metresPerDegree
	if wholeMinutes(lat, lon, decimals) {
		roundingM, doubt = 1852, DoubtPlaceToTheMinute
	} else if decimals <= 1 {
		doubt = DoubtPlaceRough
	} else if decimals >= 4 {
		roundingM = 0
	}
	return math.Hypot(plainPlaceSDM, roundingM/math.Sqrt(12)), doubt
}

// wholeMinutes tells places that were rounded to a minute of arc before they were written as decimal degrees. One coordinate is
// a whole minute by chance once in 170 (four decimals) or 830 (five), both hardly ever. Three decimals are too coarse to tell, two only
// where they are exact multiples of 0.05°.
func wholeMinutes(lat, lon coordinate, decimals int) bool {
	toleranceDeg := 1e-9
	switch {
	case decimals >= 5:
		toleranceDeg = 1e-5
	case decimals == 4:
		toleranceDeg = 0.5e-4 + 1e-9
	case decimals != 2:
		return false
	}
	off := func(deg float64) float64 { return math.Abs(deg - math.Round(deg*60)/60) }
	return off(lat.deg) <= toleranceDeg && off(lon.deg) <= toleranceDeg
}
