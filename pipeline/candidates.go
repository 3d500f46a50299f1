package pipeline

import (
	"math"
	"slices"

	"farstation/geodesy"
)

// End is one end of possible sightlines: a feature's top or an observer's eye, as far as the search for candidates goes.
type End struct {
	At geodesy.LatLon
	// ReachM is how far the end sees over bare ground at the base height, 0 or more: HorizonReachM of its height.
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
	// boundSlackM covers what a TargetTree rounds off: places to float32, by 0.25 m on each axis, hence 0.44 m in all; reaches likewise, by
	// 0.5 m up to 16,000 km, and past that no chord is as long; Earth-centred coordinates and the geodesic, below a micrometre.
	boundSlackM = 1.0
	// longestBoundedM is up to where sureChordM bounds the geodesic by the chord.
	longestBoundedM = 5e6
	// longestGeodesicM is more than any geodesic: half a meridian is 20,003,931.5 m. The rest covers the rounding of such reaches.
	longestGeodesicM = 2.001e7
	// leafSize is the number of targets up to which a plain scan beats going down.
	leafSize = 16
)

// TargetTree finds the targets that are candidates for an observer without looking at every pair. It is a median-split tree over
// the targets' places on the ellipsoid (Earth-centred coordinates) and their reach; each node knows its bounding box and the
// least and greatest reach within, passes over all its targets where all are surely out, and takes all where all are surely in.
// It is not changed after it is built and is safe for concurrent use.
//
// Why no pair is missed and none is let in: let s be the length of the geodesic and c the length of the straight chord.
//
//   - c ≤ s, because nothing is shorter than a straight line. Therefore c > reach + reach, or c > max, excludes a pair, and so
//     does the distance to a node's box when the node's greatest reach is put in.
//   - s ≤ 2a·asin(c/2b): divide coordinates by (a, a, b); the ellipsoid becomes the unit sphere, chords grow by at most 1/b, and
//     mapping the great circle back lengthens it by at most a. Therefore c ≤ 5,000 km gives s ≤ 5,200 km < πρ, with ρ the least
//     radius of curvature.
//   - c ≥ 2ρ·sin(s/2ρ) for s ≤ πρ, by Schur's comparison theorem (A. Schur, Math. Annalen 83, 1921): a geodesic's curvature in
//     space is the normal curvature, at most 1/ρ. As sin x ≥ x − x³/6, a chord c ≤ d − d³/(24ρ²) gives s ≤ d, for d ≤ 5,000 km.
//     d − d³/(24ρ²) grows with d that far, so what holds for the farthest corner of a node's box and the least reach in it holds
//     for every target in it.
//
// Chords are those to rounded places, hence boundSlackM. Only pairs between the two bounds (132 m apart at 500 km, 3 m at 100 km) need
// the geodesic itself, and that is taken between the places as given.
type TargetTree struct {
	ends     []End
	distance func(from, to geodesy.LatLon) float64
	points   []treePoint
	nodes    []treeNode
}

// treePoint is one target: place on the ellipsoid and reach, in metres, as four axes to split along.
type treePoint struct {
	axis  [4]float32
	index int32
}

// treeNode covers points[first:last]. Its children are the next node and the node at right; a leaf has right 0.
type treeNode struct {
	low, high   [4]float32 // bounding box; low[3] and high[3] are the least and greatest reach
	first, last int32
	right       int32
}

// NewTargetTree builds the tree over the targets, which must not be changed afterwards and be fewer than 2³¹. distance gives the length
// of the geodesic between two places in metres, to a millimetre or better; it is called from whichever goroutine queries.
func NewTargetTree(targets []End, distance func(from, to geodesy.LatLon) float64) *TargetTree {
	t := &TargetTree{ends: targets, distance: distance, points: make([]treePoint, len(targets))}
	for i, end := range targets {
		p := geodesy.WGS84.ToCartesian(end.At, 0)
		t.points[i] = treePoint{axis: [4]float32{float32(p.X), float32(p.Y), float32(p.Z), float32(end.ReachM)}, index: int32(i)}
	}
	if len(targets) > 0 {
		t.nodes = make([]treeNode, 0, countNodes(len(targets)))
		t.build(0, len(targets))
	}
	return t
}

// countNodes returns how many nodes build makes over some points.
func countNodes(points int) int {
	if points <= leafSize {
		return 1
	}
	return 1 + countNodes(points/2) + countNodes(points-points/2)
}

// build appends the node over points[first:last] and all below it.
func (t *TargetTree) build(first, last int) {
	node := treeNode{low: t.points[first].axis, high: t.points[first].axis, first: int32(first), last: int32(last)}
	for _, p := range t.points[first+1 : last] {
		for a, v := range p.axis {
			// A NaN makes both bounds NaN, and no bound that is NaN passes over a node or takes it.
			node.low[a] = min(node.low[a], v)
			node.high[a] = max(node.high[a], v)
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
	middle := first + (last-first)/2
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
// returns it; given an out with room for twice as many it does not allocate.
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
	return ascending(q.out, len(t.ends))
}

// query is one observer's search. Chords below √tooNear surely lie under the least distance, from √sureFar on surely not.
type query struct {
	observer         End
	at               geodesy.Vector
	minM, maxM       float64
	tooNear, sureFar float64
	out              []int32
}

// visit finds the candidates among the targets of a node.
func (t *TargetTree) visit(index int32, q *query) {
	for {
		node := &t.nodes[index]
		nearest, farthest := node.chords(&q.at)
		if farthest < q.tooNear || nearest > q.surelyOut(float64(node.high[3])) {
			return
		}
		if nearest >= q.sureFar && farthest <= q.surelyIn(float64(node.low[3])) {
			for i := range t.points[node.first:node.last] {
				q.out = append(q.out, t.points[int(node.first)+i].index)
			}
			return
		}
		if node.right == 0 {
			t.scan(t.points[node.first:node.last], q)
			return
		}
		t.visit(index+1, q)
		index = node.right
	}
}

// scan finds the candidates among some targets one by one.
func (t *TargetTree) scan(points []treePoint, q *query) {
	for i := range points {
		p := &points[i]
		chord := square(float64(p.axis[0])-q.at.X) + square(float64(p.axis[1])-q.at.Y) + square(float64(p.axis[2])-q.at.Z)
		reachM := float64(p.axis[3])
		if chord < q.tooNear || chord > q.surelyOut(reachM) {
			continue
		}
		if chord < q.sureFar || !(chord <= q.surelyIn(reachM)) {
			target := t.ends[p.index]
			if !IsCandidate(q.observer, target, t.distance(q.observer.At, target.At), q.minM, q.maxM) {
				continue
			}
		}
		q.out = append(q.out, p.index)
	}
}

// chords returns the squares of the least and the greatest straight distance from a place to the node's box.
func (n *treeNode) chords(at *geodesy.Vector) (nearest, farthest float64) {
	for a, v := range [3]float64{at.X, at.Y, at.Z} {
		below, above := float64(n.low[a])-v, v-float64(n.high[a])
		nearest += square(max(below, above, 0))
		farthest += square(max(-below, -above))
	}
	return nearest, farthest
}

// surelyOut and surelyIn return the square of a chord past which a target of a reach lies too far, and of one up to which it does not.
func (q *query) surelyOut(reachM float64) float64 {
	return square(greatestDistanceM(q.observer, reachM, q.maxM) + boundSlackM)
}

func (q *query) surelyIn(reachM float64) float64 {
	return square(max(sureChordM(greatestDistanceM(q.observer, reachM, q.maxM))-boundSlackM, 0))
}

// sureChordM returns a chord no geodesic of distanceM or more can have; past longestBoundedM that of this distance, and +Inf where no
// geodesic is as long.
func sureChordM(distanceM float64) float64 {
	if distanceM >= longestGeodesicM {
		return math.Inf(1)
	}
	d := min(distanceM, longestBoundedM)
	return d - d*d*d/(24*smallestRadiusM*smallestRadiusM)
}

func square(v float64) float64 { return v * v }

// ascending sorts indices below n by their digits to base 2048, the least first (D. E. Knuth, The Art of Computer Programming, vol. 3, section 5.2.5). It
// uses the room behind them.
func ascending(indices []int32, n int) []int32 {
	if len(indices) < 256 {
		slices.Sort(indices)
		return indices
	}
	indices = slices.Grow(indices, len(indices))
	from, to := indices, indices[len(indices):2*len(indices)]
	for shift := 0; (n-1)>>shift > 0; shift += 11 {
		var starts [2048]int32
		for _, v := range from {
			starts[v>>shift&2047]++
		}
		sum := int32(0)
		for digit, count := range starts {
			starts[digit] = sum
			sum += count
		}
		for _, v := range from {
			digit := v >> shift & 2047
			to[starts[digit]] = v
			starts[digit]++
		}
		from, to = to, from
	}
	copy(indices, from)
	return indices
}
