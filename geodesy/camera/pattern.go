package camera

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Bearing is a thing that may stand on a photograph, by its azimuth and an elevation good to a degree or so.
type Bearing struct{ AzimuthRad, ElevationRad float64 }

// Mark is a thing on a photograph that has no name yet.
type Mark struct{ XPx, YPx float64 }

// Search says within what a pattern is sought.
type Search struct {
	// CentreXPx and CentreYPx are the principal point.
	CentreXPx, CentreYPx float64
	// FocalLowPx and FocalHighPx bound the focal length, both above 0.
	FocalLowPx, FocalHighPx float64
	// AzimuthRad and AzimuthSpanRad say where the camera looked: within the span either side; a span of π and more leaves it open.
	AzimuthRad, AzimuthSpanRad float64
	// TolerancePx is how far a mark may lie aside of its thing before it counts as none; roll, tilt and places have their part in it.
	TolerancePx float64
	// Most bounds the patterns returned.
	Most int
}

// Pattern is one way to name marks.
type Pattern struct {
	// Names holds, for each mark, the index of its bearing; −1 for none.
	Names []int
	Pose  Pose
	// Score is the sum of squares of what is left across, in tolerances, each at most 1.
	Score float64
}

// Patterns names marks by the pattern of their azimuths: every pair of bearings that the two outermost marks may be gives azimuth and focal length, and
// under those every other mark takes the nearest bearing. Elevations take no part, for the models differ in them. Patterns come back the best
// first; no two name all marks alike. Fewer than two marks have no pattern.
func Patterns(marks []Mark, bearings []Bearing, s Search) []Pattern {
	if len(marks) < 2 || len(bearings) < 2 || !(s.FocalLowPx > 0) || !(s.FocalHighPx >= s.FocalLowPx) || !(s.TolerancePx > 0) {
		return nil
	}
	order := make([]int, len(bearings))
	for i := range order {
		order[i] = i
	}
	azimuth := func(i int) float64 { return math.Mod(bearings[i].AzimuthRad+4*math.Pi, 2*math.Pi) }
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(azimuth(a), azimuth(b)), cmp.Compare(a, b)) })
	sorted := make([]float64, len(order))
	for i, b := range order {
		sorted[i] = azimuth(b)
	}
	left, right := 0, 0
	for i, m := range marks {
		if m.XPx < marks[left].XPx {
			left = i
		}
		if m.XPx > marks[right].XPx {
			right = i
		}
	}
	best := map[string]Pattern{}
	consider := func(a, b int) {
		turn := math.Mod(sorted[b]-sorted[a]+2*math.Pi, 2*math.Pi)
		focal, ok := focalOf(marks[left].XPx-s.CentreXPx, marks[right].XPx-s.CentreXPx, turn, s.FocalLowPx, s.FocalHighPx)
		if !ok {
			return
		}
		pose := Pose{FocalPx: focal, CentreXPx: s.CentreXPx, CentreYPx: s.CentreYPx, AzimuthRad: sorted[a] - math.Atan((marks[left].XPx-s.CentreXPx)/focal)}
		if math.Abs(turnRad(s.AzimuthRad, pose.AzimuthRad)) > s.AzimuthSpanRad {
			return
		}
		p := Pattern{Pose: pose, Names: make([]int, len(marks))}
		for i, m := range marks {
			towards := pose.AzimuthRad + math.Atan((m.XPx-s.CentreXPx)/focal)
			at, off := nearestAzimuth(sorted, towards)
			left := off * focal / s.TolerancePx
			if p.Names[i] = order[at]; math.Abs(left) > 1 {
				p.Names[i], left = -1, 1
			}
			p.Score += left * left
		}
		p.Names[left], p.Names[right] = order[a], order[b]
		p.tilt(marks, bearings)
		key := fmt.Sprint(p.Names)
		if known, twice := best[key]; !twice || p.Score < known.Score {
			best[key] = p
		}
	}
	// The focal length bounds the turn between the outermost marks.
	least, most := turnOf(marks[left].XPx-s.CentreXPx, marks[right].XPx-s.CentreXPx, s.FocalHighPx), turnOf(marks[left].XPx-s.CentreXPx, marks[right].XPx-s.CentreXPx, s.FocalLowPx)
	for a := range sorted {
		for step := 1; step < len(sorted); step++ {
			b := (a + step) % len(sorted)
			turn := math.Mod(sorted[b]-sorted[a]+2*math.Pi, 2*math.Pi)
			if turn > most {
				break
			}
			if turn >= least {
				consider(a, b)
			}
		}
	}
	var out []Pattern
	for _, p := range best {
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b Pattern) int { return cmp.Or(cmp.Compare(a.Score, b.Score), slices.Compare(a.Names, b.Names)) })
	return out[:min(len(out), s.Most)]
}

// turnOf is the azimuth between two pixels of a level camera.
func turnOf(x1, x2, focalPx float64) float64 { return math.Atan(x2/focalPx) - math.Atan(x1/focalPx) }

// focalOf is the focal length under which two pixels are a turn apart; false where no focal length within the bounds does it. The turn shrinks as the
// focal length grows, so it is found by halving.
func focalOf(x1, x2, turn, low, high float64) (float64, bool) {
	if turn > turnOf(x1, x2, low) || turn < turnOf(x1, x2, high) {
		return 0, false
	}
	for range 60 {
		middle := math.Sqrt(low * high)
		if turnOf(x1, x2, middle) > turn {
			low = middle
		} else {
			high = middle
		}
	}
	return math.Sqrt(low * high), true
}

// nearestAzimuth finds the azimuth of a sorted list, within 0…2π, that is nearest to one, and by how much it is off.
func nearestAzimuth(sorted []float64, azimuthRad float64) (index int, offRad float64) {
	azimuthRad = math.Mod(azimuthRad+4*math.Pi, 2*math.Pi)
	at, _ := slices.BinarySearch(sorted, azimuthRad)
	before, after := (at+len(sorted)-1)%len(sorted), at%len(sorted)
	offBefore, offAfter := turnRad(azimuthRad, sorted[before]), turnRad(azimuthRad, sorted[after])
	if math.Abs(offBefore) <= math.Abs(offAfter) {
		return before, offBefore
	}
	return after, offAfter
}

// tilt sets the pose's tilt by the mean elevation of what was named.
func (p *Pattern) tilt(marks []Mark, bearings []Bearing) {
	sum, n := 0.0, 0.0
	for i, name := range p.Names {
		if name >= 0 {
			sum += bearings[name].ElevationRad - math.Atan((p.Pose.CentreYPx-marks[i].YPx)/p.Pose.FocalPx)
			n++
		}
	}
	p.Pose.TiltRad = sum / n
}
