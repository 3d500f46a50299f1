package camera

import (
	"errors"
	"fmt"
	"math"

	"farstation/geodesy"
)

// Coincidence is two known places that are seen in line from an unknown one, or nearly: the station stands on the line from the far one through the
// near one, prolonged.
type Coincidence struct {
	Near, Far geodesy.LatLon
	// TurnRad is the azimuth of the far place less that of the near one, 0 where they are exactly in line; within ±0.1. SDRad is its standard deviation,
	// above 0.
	TurnRad, SDRad float64
}

// Line is what became of a coincidence in a resection.
type Line struct {
	// ResidualRad is measured less computed.
	ResidualRad float64
	// AcrossM is how sharp a line of position the coincidence is: the distance across it that turns the far place against the near one by one standard
	// deviation, SDRad·s_n·s_f/(s_f − s_n) for places exactly in line at s_n and s_f.
	AcrossM float64
}

// mostTurnRad is how far two places may stand apart and still make a line: 5.7°, more than any telephoto field. Two sights serve for more.
const mostTurnRad = 0.1

// mostPairs bounds how many pairs of lines, and of sights with a line, a resection starts from.
const mostPairs = 56

func (c Coincidence) check() error {
	switch {
	case !(c.SDRad > 0) || math.IsInf(c.SDRad, 0):
		return fmt.Errorf("spread %v: must be above 0", c.SDRad)
	case !(math.Abs(c.TurnRad) <= mostTurnRad):
		return fmt.Errorf("the places stand %v rad apart: at most %v make a line, give two sights instead", c.TurnRad, mostTurnRad)
	case !(geodesy.WGS84.Inverse(c.Near, c.Far).DistanceM > 1):
		return errors.New("near and far are one place")
	}
	return nil
}

// inOrder refuses a place from which a far place is nearer than its near one: the other half of the line.
func inOrder(at geodesy.LatLon, coincidences []Coincidence) error {
	for i, c := range coincidences {
		if !(geodesy.WGS84.Inverse(at, c.Near).DistanceM < geodesy.WGS84.Inverse(at, c.Far).DistanceM) {
			return fmt.Errorf("%w: the far place of coincidence %d would be the nearer one", ErrWeak, i+1)
		}
	}
	return nil
}

// halfLine is half a line on the plane: from a place on, along a direction of length 1.
type halfLine struct{ from, along plan }

func (r halfLine) at(m float64) plan {
	return plan{r.from.east + m*r.along.east, r.from.north + m*r.along.north}
}

// cross returns where two halfLines meet; false where they do not.
func (r halfLine) cross(o halfLine) (plan, bool) {
	sine := r.along.cross(o.along)
	between := o.from.less(r.from)
	m, n := between.cross(o.along)/sine, between.cross(r.along)/sine
	if !(m > 0 && n > 0) || math.IsInf(m+n, 0) {
		return plan{}, false
	}
	return r.at(m), true
}

// under returns the places on the line from which the second of two points lies clockwise of the first by an angle. They lie on the circle through both
// that the angle spans (Euclid III.21): with the points seen from there at a and b, (a·b) sin + (a×b) cos = 0, a quadratic in the distance along the line.
func (r halfLine) under(first, second plan, angleRad float64) []plan {
	a, b := first.less(r.from), second.less(r.from)
	sine, cosine := math.Sincos(angleRad)
	square := sine
	linear := -sine*(r.along.dot(a)+r.along.dot(b)) - cosine*r.along.cross(b.less(a))
	constant := sine*a.dot(b) + cosine*a.cross(b)
	// The sum of two numbers of one sign, so that no digits are lost where an angle is small.
	sum := linear + math.Copysign(math.Sqrt(math.Max(linear*linear-4*square*constant, 0)), linear)
	var found []plan
	for _, m := range []float64{-sum / 2 / square, -2 * constant / sum} {
		seen := first.less(r.at(m)).dot(second.less(r.at(m)))*cosine - first.less(r.at(m)).cross(second.less(r.at(m)))*sine
		if m > 0 && !math.IsInf(m, 0) && seen > 0 { // and not by the angle and half a turn
			found = append(found, r.at(m))
		}
	}
	return found
}

// lines are the places that coincidences give, taken as exactly in line: two of them, or one with two sights.
func (c chart) lines(sights []Sight, coincidences []Coincidence) []plan {
	halves := make([]halfLine, len(coincidences))
	for i := range coincidences {
		near, far := c.at[len(sights)+2*i], c.at[len(sights)+2*i+1]
		away := near.less(far)
		halves[i] = halfLine{near, plan{away.east / away.length(), away.north / away.length()}}
	}
	var starts []plan
	pairs := 0
	for i, r := range halves {
		for j := i + 1; j < len(halves) && pairs < mostPairs; j++ {
			pairs++
			if start, ok := r.cross(halves[j]); ok {
				starts = append(starts, start)
			}
		}
	}
	pairs = 0
	for _, r := range halves {
		for i := range sights {
			for j := i + 1; j < len(sights) && pairs < mostPairs; j++ {
				pairs++
				starts = append(starts, r.under(c.at[i], c.at[j], sights[j].DirectionRad-sights[i].DirectionRad)...)
			}
		}
	}
	return starts
}
