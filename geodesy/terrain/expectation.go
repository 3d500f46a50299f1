package terrain

import (
	"math"
	"slices"
	"sort"
)

// log Φ in steps of 1/logCDFSteps from −logCDFReach to logCDFReach; linear in between it is good to 1e-5.
const (
	logCDFReach = 8
	logCDFSteps = 128
)

var logCDFTable = func() (table [2*logCDFReach*logCDFSteps + 2]float64) {
	for i := range table {
		table[i] = math.Log(0.5 * math.Erfc(-(float64(i)/logCDFSteps-logCDFReach)/math.Sqrt2))
	}
	return table
}()

// logCDF is the logarithm of Φ, −Inf below the table.
func logCDF(z float64) float64 {
	if !(z > -logCDFReach) {
		return math.Inf(-1)
	}
	if z >= logCDFReach {
		return 0
	}
	f := (z + logCDFReach) * logCDFSteps
	i := int(f)
	return logCDFTable[i] + (f-float64(i))*(logCDFTable[i+1]-logCDFTable[i])
}

// chanceNodes are equally likely values of the four things that the chance is averaged over, in standard deviations. The first runs
// through its quantiles, since a line whose front is the sea has a chance that jumps with it; the others follow the fractional parts
// of multiples of √2, √3 and √5 (Richtmyer 1951).
var chanceNodes = func() (nodes [128][4]float64) {
	quantile := func(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*(p-math.Floor(p))-1) }
	for i := range nodes {
		n := float64(i) + 0.5
		nodes[i] = [4]float64{quantile(n / float64(len(nodes))), quantile(n * math.Sqrt2), quantile(n * math.Sqrt(3)), quantile(n * math.Sqrt(5))}
	}
	return nodes
}()

// otherReach bounds the nodes across the first axis, in standard deviations from the mean.
var otherReach = func() float64 {
	most := 0.0
	for _, n := range chanceNodes {
		most = max(most, math.Sqrt(sq(n[1])+sq(n[2])+sq(n[3])))
	}
	return most
}()

// axes are four axes of which the first points along a direction: its reflection in the plane half-way between it and the first axis. Independent
// normal variables stay so.
type axes struct {
	across [4]float64
	size   float64
}

func axesAlong(d *[4]float64) axes {
	a := axes{across: [4]float64{d[0] - math.Sqrt(sumSq(d)), d[1], d[2], d[3]}}
	a.size = sumSq(&a.across)
	return a
}

// turn returns v in the axes.
func (a axes) turn(v *[4]float64) [4]float64 {
	if a.size == 0 {
		return *v
	}
	dot := 2 * (v[0]*a.across[0] + v[1]*a.across[1] + v[2]*a.across[2] + v[3]*a.across[3]) / a.size
	return [4]float64{v[0] - dot*a.across[0], v[1] - dot*a.across[1], v[2] - dot*a.across[2], v[3] - dot*a.across[3]}
}

const (
	// surelyClear is the z from which on a point is taken as clear: 1 − Φ is 3e-6 there.
	surelyClear = 4.5
	// surelyBlocked is the logarithm of a chance that is taken for none.
	surelyBlocked = -10
	// nodeReach bounds the nodes, in standard deviations from the mean.
	nodeReach = 4.0
)

// hurdle is a risk point in units of its ground's spread.
type hurdle struct {
	clear  float64
	moves  [4]float64
	weight float64
}

func newHurdle(p *riskPoint, a *axes) hurdle {
	h := hurdle{clear: p.clearM / p.groundSDM, moves: a.turn(&p.moves), weight: p.weight}
	for j := range h.moves {
		h.moves[j] /= p.groundSDM
	}
	return h
}

func (h *hurdle) at(n *[4]float64) float64 {
	return h.clear + n[0]*h.moves[0] + n[1]*h.moves[1] + n[2]*h.moves[2] + n[3]*h.moves[3]
}

// bothWays is at for a node and for one with the end heights exchanged.
func (h *hurdle) bothWays(n *[4]float64) (z, exchanged float64) {
	same := h.clear + n[0]*h.moves[0] + n[1]*h.moves[1]
	return same + n[2]*h.moves[2] + n[3]*h.moves[3], same + n[3]*h.moves[2] + n[2]*h.moves[3]
}

// surelyOver tells whether the hurdle is over a z at node i and at all that follow.
func (h *hurdle) surelyOver(z float64, i int) bool {
	m := &h.moves
	rest := otherReach * math.Sqrt(sq(m[1])+sq(m[2])+sq(m[3]))
	rounding := 1e-9 * (math.Abs(h.clear) + nodeReach*math.Abs(m[0]) + rest)
	if m[0] < 0 {
		i = len(chanceNodes) - 1
	}
	return h.clear+chanceNodes[i][0]*m[0]-rest-rounding >= z
}

// stretchOfRisk is a stretch of hurdles.
type stretchOfRisk struct {
	hurdles []hurdle
	place   int
	// opensTo is the node from which on the stretch is as good as clear.
	opensTo int
	sea     bool
	follows bool // it is beside the stretch before it
}

// expectation averages the chance over k and both end heights. The axes are turned so that the first moves the riskiest point alone: what
// is left to the others is only how much the points differ.
func (s *Section) expectation(points []riskPoint, riskiest *riskPoint) float64 {
	if len(points) == 0 {
		return 1
	}
	along := axesAlong(&riskiest.moves)
	worst := newHurdle(riskiest, &along)
	firstNode := 0
	for firstNode < len(chanceNodes) && logCDF(worst.at(&chanceNodes[firstNode])) < surelyBlocked {
		firstNode++
	}
	s.hurdles, s.risks = s.hurdles[:0], s.risks[:0]
	for from, place := 0, 0; from < len(points); place++ {
		first := len(s.hurdles)
		opensTo, to := firstNode, from
		limit := surelyClear
		if points[from].sea {
			limit = logCDFReach
		}
		for ; to < len(points) && points[to].stretch == points[from].stretch && points[to].sea == points[from].sea; to++ {
			h := newHurdle(&points[to], &along)
			s.hurdles = append(s.hurdles, h)
			if opensTo < len(chanceNodes) && !h.surelyOver(limit, opensTo) {
				opensTo += 1 + sort.Search(len(chanceNodes)-opensTo-1, func(i int) bool { return h.surelyOver(limit, opensTo+1+i) })
			}
		}
		if opensTo <= firstNode {
			s.hurdles = s.hurdles[:first]
		} else {
			n := envelope(s.hurdles[first:])
			s.hurdles = s.hurdles[:first+n]
			s.risks = append(s.risks, stretchOfRisk{
				hurdles: s.hurdles[first : first+n : first+n], place: place, opensTo: opensTo, sea: points[from].sea,
				follows: from > 0 && points[from-1].stretch == points[from].stretch-1 && !points[from-1].sea && !points[from].sea,
			})
		}
		from = to
	}
	sum, closes := 0.0, firstNode
	for i := firstNode; i < len(chanceNodes); i++ {
		n := &chanceNodes[i]
		if logCDF(worst.at(n)) < surelyBlocked {
			continue
		}
		if i >= closes {
			s.risks = slices.DeleteFunc(s.risks, func(r stretchOfRisk) bool { return r.opensTo <= i })
			closes = len(chanceNodes)
			for j := range s.risks {
				closes = min(closes, s.risks[j].opensTo)
			}
		}
		// Each node also with the end heights exchanged, so that a line and its reverse have one chance.
		sum += clearBothWays(s.risks, n)
	}
	return min(sum/float64(2*len(chanceNodes)), 1)
}

// envelope moves to the front the hurdles of a stretch that are the least for some value along the first axis, and returns their number.
// The points of a stretch differ by little along the others.
func envelope(hurdles []hurdle) int {
	n := 0
	for at := -nodeReach; ; n++ {
		// The least at this place, and of equals the one that falls behind the others from here on.
		least := n
		for i := n + 1; i < len(hurdles); i++ {
			a, b := hurdles[i].clear+at*hurdles[i].moves[0], hurdles[least].clear+at*hurdles[least].moves[0]
			if a < b || a == b && hurdles[i].moves[0] < hurdles[least].moves[0] {
				least = i
			}
		}
		hurdles[n], hurdles[least] = hurdles[least], hurdles[n]
		// Where the next takes over.
		next := nodeReach
		for i := n + 1; i < len(hurdles); i++ {
			if fall := hurdles[n].moves[0] - hurdles[i].moves[0]; fall > 0 {
				next = min(next, (hurdles[i].clear-hurdles[n].clear)/fall)
			}
		}
		if next >= nodeReach {
			return n + 1
		}
		at = next
	}
}

// clearing sums up the logarithm of the chance that no hurdle is met.
type clearing struct {
	sum, sea float64
	before   float64 // log Φ of the stretch before
}

// add takes a stretch for the z of its riskiest hurdle, and tells whether something is left of the chance.
func (c *clearing) add(r *stretchOfRisk, z float64, follows bool) (open bool) {
	if r.sea {
		c.sea = min(c.sea, z)
		return true
	}
	if z >= surelyClear {
		c.before = 0
		return true
	}
	if !follows {
		c.before = 0
	}
	here := 0.0
	if z < surelyClear { // not NaN
		here = logCDF(z)
	}
	c.sum += here - (1-r.hurdles[0].weight)*max(c.before, here)
	c.before = here
	return !(c.sum < surelyBlocked)
}

// chance returns the chance of what was added.
func (c *clearing) chance() float64 {
	if c.sum < surelyBlocked {
		return math.Exp(c.sum)
	}
	return math.Exp(c.sum + logCDF(c.sea))
}

// clearBothWays is the sum of the chances that no hurdle is met, for given k and end heights, and for the end heights exchanged. Stretches that
// are clear at this node may be left out.
func clearBothWays(risks []stretchOfRisk, n *[4]float64) float64 {
	one := clearing{sea: math.Inf(1)}
	other := one
	oneOpen, otherOpen := true, true
	place := -1
	for i := range risks {
		r := &risks[i]
		z, exchanged := math.Inf(1), math.Inf(1)
		for j := range r.hurdles {
			a, b := r.hurdles[j].bothWays(n)
			z, exchanged = min(z, a), min(exchanged, b)
		}
		follows := r.follows && place == r.place-1
		oneOpen = oneOpen && one.add(r, z, follows)
		otherOpen = otherOpen && other.add(r, exchanged, follows)
		if !oneOpen && !otherOpen {
			break
		}
		if !r.sea {
			place = r.place
		}
	}
	return one.chance() + other.chance()
}
