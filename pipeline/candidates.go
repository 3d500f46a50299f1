package pipeline

import (
	"math"
	"slices"

	"farstation/geodesy"
)

// End is one end of possible sightlines: a feature's top or an observer's eye, as far as the search for candidates goes.
type End struct {
	At geodesy.LatLon
	// ReachM is how far the end sees over bare ground at the base height: HorizonReachM of its height.
	ReachM float64
}

// NewEnd returns the end at a place whose eye or top stands heightM over the geoid (standard deviation heightSDM), over ground
// nowhere lower than baseM, when refraction is as strong as kMax. The height is raised by three standard deviations, so that no
// pair is lost to an error of a listed height.
func NewEnd(at geodesy.LatLon, heightM, heightSDM, baseM, kMax float64) End {
	return End{At: at, ReachM: HorizonReachM(heightM+3*heightSDM-baseM, kMax)}
}

// HorizonReachM returns the distance in metres of the sea horizon of an eye or top heightAboveBaseM metres over a smooth surface,
// for the refraction coefficient kMax: R'·acos(R'/(R'+h)) with R' = R/(1−kMax), exact on the sphere (Bowditch, American Practical
// Navigator, chapter on the horizon). R is the largest radius of curvature of the ellipsoid, hence the result is an upper bound
// at every latitude and in every azimuth. Heights below the base count as 0. For kMax ≥ 1 there is no horizon: +Inf.
func HorizonReachM(heightAboveBaseM, kMax float64) float64 {
	if kMax >= 1 {
		return math.Inf(1)
	}
	h := math.Max(heightAboveBaseM, 0)
	r := largestRadiusM / (1 - kMax)
	return r * math.Atan2(math.Sqrt(h*(2*r+h)), r) // the same angle as acos(r/(r+h)), without its loss of digits for small h
}

// IsCandidate reports whether two ends distanceM apart along the geodesic are a candidate: their sea horizons meet, give or take
// a metre, and the distance lies within minM…maxM (maxM 0 = no bound). Ends less than a metre apart are one place, no pair.
func IsCandidate(observer, target End, distanceM, minM, maxM float64) bool {
	return distanceM >= leastDistanceM(minM) && distanceM <= greatestDistanceM(observer, target.ReachM, maxM)
}

func leastDistanceM(minM float64) float64 { return math.Max(minM, samePlaceM) }

func greatestDistanceM(observer End, targetReachM, maxM float64) float64 {
	reachM := observer.ReachM + targetReachM + samePlaceM
	if maxM > 0 && maxM < reachM {
		return maxM
	}
	return reachM
}

const (
	// samePlaceM is how near two ends are one place, and the allowance of the rule for where horizons meet.
	samePlaceM = 1.0
	// Greatest and least radius of curvature of WGS84: a²/b at the poles, b²/a along the meridian at the equator
	// (a = 6378137 m, f = 1/298.257223563), rounded up and down.
	largestRadiusM  = 6399594.0
	smallestRadiusM = 6335439.0
	// boundSlackM covers the rounding of Earth-centred coordinates and of the geodesic, both below a micrometre.
	boundSlackM = 1e-3
	// longestBoundedM is up to where sureChordM is used.
	longestBoundedM = 5e6
	// leafSize is the number of ends below which a plain scan beats going down.
	leafSize = 12
)

// TargetTree finds the targets that are candidates for an observer without looking at every pair. It is a median-split tree over
// the targets' places on the ellipsoid (Earth-centred coordinates) and their reach; each node knows its bounding box and the
// greatest reach within. It is not changed after it is built and is safe for concurrent use.
//
// Why no pair is missed: let s be the length of the geodesic and c the length of the straight chord.
//
//   - c ≤ s, because nothing is shorter than a straight line. Therefore c > reach + reach, or c > max, excludes a pair, and so
//     does the distance to a node's box when the node's greatest reach is put in.
//   - s ≤ 2a·asin(c/2b): divide coordinates by (a, a, b); the ellipsoid becomes the unit sphere, chords grow by at most 1/b, and
//     mapping the great circle back lengthens it by at most a. Therefore c ≤ 5,000 km gives s ≤ 5,200 km < πρ, with ρ the least
//     radius of curvature.
//   - c ≥ 2ρ·sin(s/2ρ) for s ≤ πρ, by Schur's comparison theorem (A. Schur, Math. Annalen 83, 1921): a geodesic's curvature in
//     space is the normal curvature, at most 1/ρ. As sin x ≥ x − x³/6, a chord c ≤ d − d³/(24ρ²) gives s ≤ d, for d ≤ 5,000 km.
//
// Only pairs between the two bounds (128 m apart at 500 km) need the geodesic itself.
type TargetTree struct {
	ends     []End
	distance func(from, to geodesy.LatLon) float64
	points   []treePoint
	nodes    []treeNode
}

// treePoint is one target: place on the ellipsoid and reach, in metres, as four axes to split along.
type treePoint struct {
	axis  [4]float64
	index int32
}

// treeNode covers points[first:last]. Its children are the next node and the node at right; a leaf has right 0.
type treeNode struct {
	low, high   [4]float64 // bounding box; high[3] is the greatest reach
	first, last int32
	right       int32
}

// NewTargetTree builds the tree over the targets, which must not be changed afterwards. distance gives the length of the geodesic
// between two places in metres, to a millimetre or better; it is called from whichever goroutine queries.
func NewTargetTree(targets []End, distance func(from, to geodesy.LatLon) float64) *TargetTree {
	t := &TargetTree{ends: targets, distance: distance, points: make([]treePoint, len(targets))}
	for i, end := range targets {
		p := geodesy.WGS84.ToCartesian(end.At, 0)
		t.points[i] = treePoint{axis: [4]float64{p.X, p.Y, p.Z, end.ReachM}, index: int32(i)}
	}
	if len(targets) > 0 {
		t.build(0, len(targets))
	}
	return t
}

// build appends the node over points[first:last] and all below it.
func (t *TargetTree) build(first, last int) {
	node := treeNode{low: t.points[first].axis, high: t.points[first].axis, first: int32(first), last: int32(last)}
	for _, p := range t.points[first+1 : last] {
		for a, v := range p.axis {
			node.low[a] = math.Min(node.low[a], v)
			node.high[a] = math.Max(node.high[a], v)
		}
	}
	at := len(t.nodes)
	t.nodes = append(t.nodes, node)
	if last-first <= leafSize {
		return
	}
	widest := 0
	for a := range node.low {
		// Reach counts as an axis, for a low hill beside a high peak must not inherit its reach.
		if node.high[a]-node.low[a] > node.high[widest]-node.low[widest] {
			widest = a
		}
	}
	middle := (first + last) / 2
	selectMiddle(t.points[first:last], middle-first, widest)
	t.build(first, middle)
	t.nodes[at].right = int32(len(t.nodes))
	t.build(middle, last)
}

// selectMiddle reorders points so that along the axis none before middle is greater than any from middle on (Hoare 1961).
func selectMiddle(points []treePoint, middle, axis int) {
	for lo, hi := 0, len(points)-1; lo < hi; {
		pivot := points[(lo+hi)/2].axis[axis]
		i, j := lo, hi
		for i <= j {
			for points[i].axis[axis] < pivot {
				i++
			}
			for points[j].axis[axis] > pivot {
				j--
			}
			if i <= j {
				points[i], points[j] = points[j], points[i]
				i++
				j--
			}
		}
		if middle <= j {
			hi = j
		} else if middle >= i {
			lo = i
		} else {
			return
		}
	}
}

// Within appends to out[:0] the indices of all targets that are candidates for the observer by IsCandidate, ascending, and
// returns it; given a large enough out it does not allocate.
func (t *TargetTree) Within(observer End, minM, maxM float64, out []int32) []int32 {
	out = out[:0]
	if len(t.nodes) == 0 {
		return out
	}
	q := query{
		observer: observer, at: geodesy.WGS84.ToCartesian(observer.At, 0), minM: minM, maxM: maxM, out: out,
		tooNear: square(max(sureChordM(leastDistanceM(minM))-boundSlackM, 0)),
		sureFar: square(leastDistanceM(minM) + boundSlackM),
	}
	t.visit(0, &q)
	slices.Sort(q.out)
	return q.out
}

// query is one observer's search. Chords below √tooNear surely lie under the least distance, from √sureFar on surely not.
type query struct {
	observer         End
	at               geodesy.Vector
	minM, maxM       float64
	tooNear, sureFar float64
	out              []int32
}

func (t *TargetTree) visit(index int32, q *query) {
	node := &t.nodes[index]
	at := [3]float64{q.at.X, q.at.Y, q.at.Z}
	var nearest, farthest float64
	for a, v := range at {
		below, above := node.low[a]-v, v-node.high[a]
		nearest += square(max(below, above, 0))
		farthest += square(max(-below, -above))
	}
	if farthest < q.tooNear || nearest > square(greatestDistanceM(q.observer, node.high[3], q.maxM)+boundSlackM) {
		return
	}
	if node.right != 0 {
		t.visit(index+1, q)
		t.visit(node.right, q)
		return
	}
	for i := node.first; i < node.last; i++ {
		p := &t.points[i]
		chord := square(p.axis[0]-at[0]) + square(p.axis[1]-at[1]) + square(p.axis[2]-at[2])
		greatest := greatestDistanceM(q.observer, p.axis[3], q.maxM)
		if chord < q.tooNear || chord > square(greatest+boundSlackM) {
			continue
		}
		sure := chord >= q.sureFar && chord <= square(max(sureChordM(greatest)-boundSlackM, 0))
		target := t.ends[p.index]
		if sure || IsCandidate(q.observer, target, t.distance(q.observer.At, target.At), q.minM, q.maxM) {
			q.out = append(q.out, p.index)
		}
	}
}

// sureChordM returns a chord no geodesic of distanceM or more can have; 0, which says nothing, past longestBoundedM.
func sureChordM(distanceM float64) float64 {
	if distanceM > longestBoundedM {
		return 0
	}
	return distanceM - distanceM*distanceM*distanceM/(24*smallestRadiusM*smallestRadiusM)
}

func square(v float64) float64 { return v * v }
