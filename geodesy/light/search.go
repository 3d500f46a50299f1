package light

import (
	"math"

	"farstation/geodesy"
)

// search looks for the rays that meet a top, as zeros of the height by which a ray passes over it, a function of the tangent of its apparent
// elevation, in which straight rays are linear.
type search struct {
	air                            *Profile
	eyeM, topM, distanceM, radiusM float64
	found                          []Ray
}

// node is a ray tried: tangent of its elevation, and height over the top.
type node struct {
	tan, overM float64
	ray        Ray
}

const (
	nearEnoughM   = 1e-5
	jumpM         = 0.01 // a sign change that leaves more than this is no ray, but where rays part at the top of a duct
	maxIterations = 60
	firstNodes    = 64
	maxHalvings   = 9
	leastHalvings = 1
)

func (s *search) try(tan float64) node {
	r := s.air.follow(s.eyeM, math.Atan(tan), s.distanceM, s.radiusM)
	return node{tan, r.HeightM - s.topM, r}
}

func (s *search) tanAt(k float64) float64 {
	return math.Tan(geodesy.ApparentElevationRad(s.eyeM, s.topM, s.distanceM, s.radiusM, k))
}

// alone finds the ray by secants from the elevation for a constant k, where it is known that there is one only; false if that fails.
func (s *search) alone(k float64) bool {
	last := s.try(s.tanAt(k))
	next := s.try(last.tan - last.overM/s.distanceM)
	for range 12 {
		if math.Abs(next.overM) <= nearEnoughM {
			s.found = append(s.found, next.ray)
			return true
		}
		slope := (next.overM - last.overM) / (next.tan - last.tan)
		if !(slope > 0) {
			return false
		}
		last, next = next, s.try(next.tan-next.overM/slope)
	}
	return false
}

// scan finds all rays. Air of least k and greatest k all the way makes the extreme elevations; between them the height is sampled evenly,
// and halved on wherever it comes near the top's, so that a fold in it does not slip through.
func (s *search) scan(r reach) {
	low, high := s.tanAt(r.leastK), s.tanAt(r.greatestK)
	spare := 0.01*(high-low) + 1e-7
	low, high = low-spare, high+spare
	last := s.try(low)
	for i := 1; i <= firstNodes; i++ {
		next := s.try(low + (high-low)*float64(i)/firstNodes)
		s.halve(last, next, 0)
		last = next
	}
}

func (s *search) halve(a, b node, depth int) {
	if depth == maxHalvings {
		s.keep(a, b)
		return
	}
	middle := s.try((a.tan + b.tan) / 2)
	low := math.Min(a.overM, math.Min(middle.overM, b.overM))
	high := math.Max(a.overM, math.Max(middle.overM, b.overM))
	spread := high - low + 2*math.Abs(a.overM-2*middle.overM+b.overM)
	near := low-spread <= 0 && high+spread >= 0
	if depth < leastHalvings || near && !straight(a, middle, b) {
		s.halve(a, middle, depth+1)
		s.halve(middle, b, depth+1)
		return
	}
	s.keep(a, middle)
	s.keep(middle, b)
}

// straight tells whether the height over three nodes is so nearly linear that it has no fold between them.
func straight(a, middle, b node) bool {
	return math.Abs(a.overM-2*middle.overM+b.overM) < 0.02*math.Abs(b.overM-a.overM)
}

// keep adds the ray between two nodes on either side of the top; a zero at the first node belongs to the interval before.
func (s *search) keep(a, b node) {
	if math.IsNaN(a.overM+b.overM) || (a.overM > 0) == (b.overM > 0) {
		return
	}
	for range maxIterations {
		tan := a.tan - a.overM*(b.tan-a.tan)/(b.overM-a.overM)
		// Secants between nodes of very unlike heights creep: halve then.
		if ratio := math.Abs(a.overM / b.overM); !(ratio > 0.05 && ratio < 20) {
			tan = (a.tan + b.tan) / 2
		}
		middle := s.try(tan)
		if math.Abs(middle.overM) <= nearEnoughM {
			a = middle
			break
		}
		if middle.tan == a.tan || middle.tan == b.tan {
			break
		}
		if (middle.overM > 0) == (a.overM > 0) {
			a = middle
		} else {
			b = middle
		}
	}
	if math.Abs(b.overM) < math.Abs(a.overM) {
		a = b
	}
	if math.Abs(a.overM) <= jumpM {
		s.found = append(s.found, a.ray)
	}
}
