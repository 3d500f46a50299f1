package camera

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"farstation/geodesy"
)

// ErrDangerCircle is returned where the station and what it sights lie on one circle, from which the angles say nothing of where on it.
var ErrDangerCircle = errors.New("camera: the station lies on the circle through what it sights")

// ErrWeak is returned where the angles leave the place open by more than a tenth of the distance to the nearest target.
var ErrWeak = errors.New("camera: the angles are too weak to tell a place")

// Sight is a horizontal direction from an unknown place towards a known one.
type Sight struct {
	Place geodesy.LatLon
	// DirectionRad is clockwise from any mark, the same for all sights of a station; SDRad is its standard deviation, above 0.
	DirectionRad, SDRad float64
}

// Resection is where a station stands by its sights.
type Resection struct {
	Place geodesy.LatLon
	// OrientationRad is the azimuth of the mark that directions count from, 0…2π; 0 where there are no sights.
	OrientationRad float64
	// SemiMajorM, SemiMinorM and MajorAzimuthDeg (0…180) are the ellipse of one standard deviation.
	SemiMajorM, SemiMinorM, MajorAzimuthDeg float64
	// ResidualsRad are measured less computed, by sight, and Lines what became of each coincidence.
	ResidualsRad []float64
	Lines        []Line
	// Chi2 is the sum of their squares in standard deviations, DOF the number of sights and coincidences less 3, less 2 without sights.
	Chi2 float64
	DOF  int
	// Others are further places, those that fit better first. Three sights have none; two sights and a coincidence may have one that fits as well.
	Others []geodesy.LatLon
}

// plan is a place in metres on a plane.
type plan struct{ east, north float64 }

func (a plan) less(b plan) plan        { return plan{a.east - b.east, a.north - b.north} }
func (a plan) cross(b plan) float64    { return a.east*b.north - a.north*b.east }
func (a plan) dot(b plan) float64      { return a.east*b.east + a.north*b.north }
func (a plan) length() float64         { return math.Hypot(a.east, a.north) }
func (a plan) azimuthRad() float64     { return math.Atan2(a.east, a.north) }
func turnRad(from, to float64) float64 { return math.Remainder(to-from, 2*math.Pi) }

// resectOnPlane finds the place from which three points lie at three directions (clockwise), by Tienstra's formula: the place is the mean of the
// points weighted by 1/(cot A − cot α), with A the angle of the triangle at a point and α the angle between the sights to the other two
// (J. M. Tienstra; C. F. F. Porta and F. Thomas, "Concise proof of Tienstra's formula", J. Surv. Eng. 2009). It is false on the danger circle.
func resectOnPlane(points [3]plan, directions [3]float64) (plan, bool) {
	var sum, weights float64
	var place plan
	for i := range 3 {
		b, c := points[(i+1)%3], points[(i+2)%3]
		toB, toC := b.less(points[i]), c.less(points[i])
		// Signed, so that it makes no difference which way round the points are named: angles count clockwise.
		cross := -toB.cross(toC)
		if cross == 0 {
			return plan{}, false
		}
		sine, cosine := math.Sincos(directions[(i+2)%3] - directions[(i+1)%3])
		// 1/(cot A − cot α), free of infinities where α is 0 or π.
		denominator := toB.dot(toC)*sine - cosine*cross
		if denominator == 0 {
			return plan{}, false
		}
		weight := sine * cross / denominator
		place.east += weight * points[i].east
		place.north += weight * points[i].north
		weights += weight
		sum += math.Abs(weight)
	}
	if !(math.Abs(weights) > 1e-9*sum) {
		return plan{}, false
	}
	place.east, place.north = place.east/weights, place.north/weights
	return place, !math.IsNaN(place.east+place.north) && !math.IsInf(place.east+place.north, 0)
}

// mostTriples bounds how many triples of sights a resection starts from.
const mostTriples = 56

// triples are the places that three sights alone give.
func (c chart) triples(sights []Sight) []plan {
	var starts []plan
	triples := 0
	for i := range sights {
		for j := i + 1; j < len(sights); j++ {
			for k := j + 1; k < len(sights) && triples < mostTriples; k++ {
				triples++
				start, ok := resectOnPlane([3]plan{c.at[i], c.at[j], c.at[k]}, [3]float64{sights[i].DirectionRad, sights[j].DirectionRad, sights[k].DirectionRad})
				if ok {
					starts = append(starts, start)
				}
			}
		}
	}
	return starts
}

// Resect finds the place that directions to three or more known places were taken from: ResectWith without coincidences.
func Resect(sights []Sight) (Resection, error) { return ResectWith(sights, nil) }

// ResectWith finds the place that directions to known places were taken from and that known places were seen in line from: three sights, two coincidences, or
// two sights and a coincidence are the least. Every three sights, every two lines and every line with two sights give a start in closed form, on the
// plane that touches the Earth amid the places; least squares over the azimuths of geodesics, with the orientation left free, gives the answer. The
// error wraps ErrTooFew, ErrDangerCircle or ErrWeak.
func ResectWith(sights []Sight, coincidences []Coincidence) (Resection, error) {
	if max(len(sights)-1, 0)+len(coincidences) < 2 {
		return Resection{}, fmt.Errorf("%w: %d sights and %d coincidences; a resection takes three sights, two coincidences, or two sights and a coincidence",
			ErrTooFew, len(sights), len(coincidences))
	}
	for i, s := range sights {
		if !(s.SDRad > 0) || math.IsNaN(s.DirectionRad) || math.IsInf(s.DirectionRad, 0) {
			return Resection{}, fmt.Errorf("camera: sight %d: direction %v, spread %v: want a number and a spread above 0", i+1, s.DirectionRad, s.SDRad)
		}
	}
	for i, c := range coincidences {
		if err := c.check(); err != nil {
			return Resection{}, fmt.Errorf("camera: coincidence %d: %w", i+1, err)
		}
	}
	chart := newChart(places(sights, coincidences))
	var found []Resection
	var failure error
	for _, start := range append(chart.triples(sights), chart.lines(sights, coincidences)...) {
		if start.length() > 20*chart.reachM {
			continue
		}
		result, err := refine(sights, coincidences, chart.place(start))
		if err == nil {
			err = inOrder(result.Place, coincidences)
		}
		if err != nil {
			if weak := result.trust(sights, coincidences); errors.Is(err, ErrNoConvergence) && weak != nil {
				err = weak // nothing to converge to
			}
			failure = cmp.Or(failure, err)
			continue
		}
		known := slices.ContainsFunc(found, func(r Resection) bool { return geodesy.WGS84.Inverse(r.Place, result.Place).DistanceM < 1 })
		if !known {
			found = append(found, result)
		}
	}
	if len(found) == 0 {
		open := ErrDangerCircle
		if len(coincidences) > 0 {
			open = ErrWeak
		}
		return Resection{}, cmp.Or(failure, open)
	}
	// Places without anything left over fit alike, whatever the last digits of χ² say: they keep the order of their starts.
	slices.SortStableFunc(found, func(a, b Resection) int { return cmp.Compare(math.Round(a.Chi2*1e6), math.Round(b.Chi2*1e6)) })
	best := found[0]
	for _, other := range found[1:] {
		best.Others = append(best.Others, other.Place)
	}
	return best, best.trust(sights, coincidences)
}

// places are those that a station sees: by sight, then the near and the far one of each coincidence.
func places(sights []Sight, coincidences []Coincidence) []geodesy.LatLon {
	var all []geodesy.LatLon
	for _, s := range sights {
		all = append(all, s.Place)
	}
	for _, c := range coincidences {
		all = append(all, c.Near, c.Far)
	}
	return all
}

// trust refuses an answer that the angles do not support.
func (r *Resection) trust(sights []Sight, coincidences []Coincidence) error {
	nearestM := math.Inf(1)
	var at []plan
	for _, place := range places(sights, coincidences) {
		arc := geodesy.WGS84.Inverse(r.Place, place)
		nearestM = math.Min(nearestM, arc.DistanceM)
		sine, cosine := math.Sincos(arc.AzimuthDeg * math.Pi / 180)
		at = append(at, plan{arc.DistanceM * sine, arc.DistanceM * cosine})
	}
	if r.SemiMajorM <= 0.1*nearestM {
		return nil
	}
	if share := offCircle(at); len(coincidences) == 0 && share < 0.02 {
		return fmt.Errorf("%w, within %.1f %% of its radius: the place is open by %.0f m along it", ErrDangerCircle, 100*share, r.SemiMajorM)
	}
	return fmt.Errorf("%w: it is open by %.0f m, and the nearest target is %.0f m away", ErrWeak, r.SemiMajorM, nearestM)
}

// offCircle is the greatest distance of any point from the circle through the origin that fits them best, as a share of its radius. A circle
// through the origin is e² + n² = 2(ae + bn): linear in its centre.
func offCircle(points []plan) float64 {
	var ee, en, nn, e, n float64
	for _, p := range points {
		q := p.dot(p) / 2
		ee, en, nn, e, n = ee+p.east*p.east, en+p.east*p.north, nn+p.north*p.north, e+p.east*q, n+p.north*q
	}
	determinant := ee*nn - en*en
	if !(determinant > 1e-12*ee*nn) {
		return math.Inf(1) // all in one line: a circle without end
	}
	centre := plan{(e*nn - n*en) / determinant, (n*ee - e*en) / determinant}
	worst := 0.0
	for _, p := range points {
		worst = math.Max(worst, math.Abs(p.less(centre).length()-centre.length()))
	}
	return worst / centre.length()
}

// refine finds the place by least squares from a start. Places move in metres east and north of the last.
func refine(sights []Sight, coincidences []Coincidence, start geodesy.LatLon) (Resection, error) {
	r := Resection{Place: start, DOF: len(sights) + len(coincidences) - 2}
	if len(sights) > 0 {
		r.DOF--
	}
	for range 50 {
		var sums normalEquations
		nearestM := math.Inf(1)
		seen := make([]bearing, len(sights))
		sine, cosine := 0.0, 0.0
		for i, s := range sights {
			seen[i] = bearingTo(r.Place, s.Place)
			nearestM = math.Min(nearestM, seen[i].distanceM)
			// The orientation is the weighted mean of azimuth less direction, as on a circle.
			weight := 1 / (s.SDRad * s.SDRad)
			sine += weight * math.Sin(seen[i].azimuthRad-s.DirectionRad)
			cosine += weight * math.Cos(seen[i].azimuthRad-s.DirectionRad)
		}
		r.OrientationRad = math.Mod(math.Atan2(sine, cosine)+2*math.Pi, 2*math.Pi)
		r.ResidualsRad, r.Lines = r.ResidualsRad[:0], r.Lines[:0]
		for i, s := range sights {
			residual := turnRad(seen[i].azimuthRad, s.DirectionRad+r.OrientationRad)
			r.ResidualsRad = append(r.ResidualsRad, residual)
			// The mark turns with the orientation.
			sums.add([3]float64{seen[i].slope.east, seen[i].slope.north, -1}, residual, s.SDRad)
		}
		for _, c := range coincidences {
			near, far := bearingTo(r.Place, c.Near), bearingTo(r.Place, c.Far)
			nearestM = math.Min(nearestM, math.Min(near.distanceM, far.distanceM))
			residual := turnRad(far.azimuthRad-near.azimuthRad, c.TurnRad)
			slope := far.slope.less(near.slope)
			r.Lines = append(r.Lines, Line{ResidualRad: residual, AcrossM: c.SDRad / slope.length()})
			sums.add([3]float64{slope.east, slope.north, 0}, residual, c.SDRad)
		}
		r.Chi2 = sums.chi2
		if !(nearestM > 1) {
			return r, fmt.Errorf("%w: the place falls upon a target", ErrWeak)
		}
		ee, en, nn, ge, gn := sums.withoutOrientation()
		determinant := ee*nn - en*en
		if !(determinant > 1e-14*ee*nn) {
			open := ErrDangerCircle
			if len(coincidences) > 0 {
				open = ErrWeak
			}
			return r, fmt.Errorf("%w: the angles do not change along one direction", open)
		}
		stepE, stepN := (nn*ge-en*gn)/determinant, (ee*gn-en*ge)/determinant
		r.SemiMajorM, r.SemiMinorM, r.MajorAzimuthDeg = Ellipse(nn/determinant, -en/determinant, ee/determinant)
		length := math.Hypot(stepE, stepN)
		if length > nearestM/2 { // the angles bend: no further than they can be trusted
			stepE, stepN = stepE*nearestM/2/length, stepN*nearestM/2/length
		}
		if length < 1e-6 {
			return r, nil
		}
		r.Place, _ = geodesy.WGS84.Direct(r.Place, plan{stepE, stepN}.azimuthRad()*180/math.Pi, math.Hypot(stepE, stepN))
	}
	return r, fmt.Errorf("%w within 50 steps", ErrNoConvergence)
}

// bearing is a known place as seen from another.
type bearing struct {
	azimuthRad, distanceM float64
	// slope is how the azimuth turns, in radians a metre, with a step towards the east, −cos/s, and towards the north, sin/s.
	slope plan
}

func bearingTo(from, to geodesy.LatLon) bearing {
	arc := geodesy.WGS84.Inverse(from, to)
	azimuthRad := arc.AzimuthDeg * math.Pi / 180
	sine, cosine := math.Sincos(azimuthRad)
	return bearing{azimuthRad, arc.DistanceM, plan{-cosine / arc.DistanceM, sine / arc.DistanceM}}
}

// normalEquations are those of easting, northing and orientation.
type normalEquations struct {
	n    [3][3]float64
	g    [3]float64
	chi2 float64
}

func (e *normalEquations) add(row [3]float64, residual, sd float64) {
	e.chi2 += residual * residual / (sd * sd)
	for a := range 3 {
		e.g[a] += row[a] * residual / (sd * sd)
		for b := range 3 {
			e.n[a][b] += row[a] * row[b] / (sd * sd)
		}
	}
}

// withoutOrientation eliminates the orientation, where anything depends on it.
func (e *normalEquations) withoutOrientation() (ee, en, nn, ge, gn float64) {
	n, g := &e.n, &e.g
	if n[2][2] == 0 {
		return n[0][0], n[0][1], n[1][1], g[0], g[1]
	}
	ee, en, nn = n[0][0]-n[0][2]*n[2][0]/n[2][2], n[0][1]-n[0][2]*n[2][1]/n[2][2], n[1][1]-n[1][2]*n[2][1]/n[2][2]
	return ee, en, nn, g[0] - n[0][2]*g[2]/n[2][2], g[1] - n[1][2]*g[2]/n[2][2]
}

// Ellipse returns the ellipse of one standard deviation from variances and covariance of easting and northing: its half axes, and the azimuth of
// the longer one, 0…180°.
func Ellipse(ee, en, nn float64) (semiMajor, semiMinor, majorAzimuthDeg float64) {
	mean, half := (ee+nn)/2, math.Hypot((ee-nn)/2, en)
	return math.Sqrt(mean + half), math.Sqrt(math.Max(mean-half, 0)), math.Mod(math.Atan2(2*en, nn-ee)/2*180/math.Pi+180, 180)
}

// chart is the plane that touches the Earth amid known places, distances and azimuths from there kept.
type chart struct {
	centre geodesy.LatLon
	at     []plan
	reachM float64
}

func newChart(places []geodesy.LatLon) chart {
	c := chart{centre: places[0]}
	var sum plan
	for _, place := range places {
		p := c.plan(place)
		sum.east, sum.north = sum.east+p.east, sum.north+p.north
	}
	n := float64(len(places))
	c.centre = c.place(plan{sum.east / n, sum.north / n})
	for _, place := range places {
		p := c.plan(place)
		c.at = append(c.at, p)
		c.reachM = math.Max(c.reachM, p.length())
	}
	return c
}

func (c chart) plan(p geodesy.LatLon) plan {
	arc := geodesy.WGS84.Inverse(c.centre, p)
	sine, cosine := math.Sincos(arc.AzimuthDeg * math.Pi / 180)
	return plan{arc.DistanceM * sine, arc.DistanceM * cosine}
}

func (c chart) place(p plan) geodesy.LatLon {
	at, _ := geodesy.WGS84.Direct(c.centre, p.azimuthRad()*180/math.Pi, p.length())
	return at
}
