package reports

import (
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// figureLabel is a text over a plot, with a leader down to its mark.
type figureLabel struct {
	x, y  float64 // of the mark
	shown string
	full  string
	// left, width and lane are where placeLabels put it; lane 0 is next to the plot.
	left, width float64
	lane        int
}

// anchored returns where the text is anchored in its box: on the side of its leader, else in the middle, since widths are estimates.
func (l figureLabel) anchored() (x float64, anchor string) {
	switch {
	case l.left >= l.x || l.left <= 0:
		return l.left, "start"
	case l.left+l.width <= l.x || l.left+l.width >= figureWidth:
		return l.left + l.width, "end"
	}
	return l.left + l.width/2, "middle"
}

// placeLabels finds each label a lane and a place in it, so that boxes meet neither each other nor the leaders of labels above
// them. The last two labels, those of the line's ends, go into the upper lanes; the others are tried in every order, and the order
// that takes the fewest lanes wins, the earliest of equals. It returns the number of lanes used.
func placeLabels(labels []figureLabel, left, right float64) int {
	for i := range labels {
		labels[i].width = textWidth(labels[i].shown, figureTextSize)
	}
	order := make([]int, len(labels))
	for i := range order {
		order[i] = i
	}
	best, least := slices.Clone(labels), math.MaxInt
	inner := max(0, len(order)-2)
	for _, shift := range []float64{0, -1, 1} {
		permute(order[:inner], func() {
			tried := slices.Clone(labels)
			if cost := placeInOrder(tried, order, shift, left, right); cost < least {
				best, least = tried, cost
			}
		})
	}
	copy(labels, best)
	lanes := 0
	for _, l := range labels {
		lanes = max(lanes, l.lane+1)
	}
	return lanes
}

// permute calls visit with every order of items, the given one first.
func permute(items []int, visit func()) {
	if len(items) <= 1 {
		visit()
		return
	}
	for i := range items {
		moved := items[i]
		copy(items[1:i+1], items[:i])
		items[0] = moved
		permute(items[1:], visit)
		copy(items[:i], items[1:i+1])
		items[i] = moved
	}
}

// placeInOrder gives each label in turn the lowest lane that it fits, the places left (shift −1), over (0) or right of its leader
// first. One that fits nowhere takes a lane of its own, its leader crossing what is below. The cost is the number of lanes, and
// much more for each such label.
func placeInOrder(labels []figureLabel, order []int, shift, left, right float64) (cost int) {
	lanes := 0
	for n, i := range order {
		l := &labels[i]
		w := l.width
		starts := []float64{l.x - w/2 + shift*(w/2+4), l.x - w/2, l.x - w/4, l.x - 3*w/4, l.x + 4, l.x - w - 4}
		fits := false
		for lane := 0; lane <= n && !fits; lane++ {
			for _, start := range starts {
				l.lane, l.left = lane, math.Max(left, math.Min(start, right-w))
				if fits = labelFits(*l, labels, order[:n]); fits {
					break
				}
			}
		}
		if !fits {
			l.lane, l.left = lanes, math.Max(left, math.Min(l.x-w/2, right-w))
			cost += 100
		}
		lanes = max(lanes, l.lane+1)
	}
	return cost + lanes
}

func labelFits(l figureLabel, labels []figureLabel, placed []int) bool {
	const gap = 7.0
	crosses := func(box figureLabel, leader float64) bool {
		return leader > box.left-gap/2 && leader < box.left+box.width+gap/2
	}
	for _, i := range placed {
		p := labels[i]
		switch {
		case p.lane == l.lane && l.left < p.left+p.width+gap && p.left < l.left+l.width+gap,
			p.lane > l.lane && crosses(l, p.x),
			p.lane < l.lane && crosses(p, l.x):
			return false
		}
	}
	return true
}

// spreadApart moves heights (downwards positive) apart to at least gap, inside lo…hi as far as that goes, and keeps their order.
func spreadApart(ys []float64, gap, lo, hi float64) []float64 {
	order := make([]int, len(ys))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return ys[order[a]] < ys[order[b]] })
	out := make([]float64, len(ys))
	at := lo
	for _, i := range order {
		out[i] = math.Max(ys[i], at)
		at = out[i] + gap
	}
	at = hi
	for j := len(order) - 1; j >= 0; j-- {
		i := order[j]
		out[i] = math.Min(out[i], at)
		at = out[i] - gap
	}
	return out
}

// roundTicks returns round values within lo…hi, about n of them, at 1, 2 or 5 times a power of ten.
func roundTicks(lo, hi float64, n int) []float64 {
	if !(hi > lo) {
		return []float64{lo}
	}
	raw := (hi - lo) / float64(n)
	step := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, f := range []float64{1, 2, 5, 10} {
		if f*step >= raw {
			step *= f
			break
		}
	}
	var out []float64
	for i := math.Ceil(lo / step); i*step <= hi; i++ {
		out = append(out, i*step+0) // −0 becomes 0
	}
	return out
}

// tickText writes a tick's value, which is round by its making, without needless decimals.
func tickText(v float64) string {
	return strings.Replace(strconv.FormatFloat(math.Round(v*1000)/1000+0, 'f', -1, 64), "-", "−", 1)
}

// legendItem is one entry under a figure: a swatch of a line or fill class, or a mark, and its meaning.
type legendItem struct {
	line, fill, mark string
	hatch, cross     bool
	words            string
}

// legend writes the entries from y downwards in as many rows as they need and returns the y after them.
func (c *canvas) legend(items []legendItem, left, right, y float64) float64 {
	x := left
	for _, item := range items {
		w := 38 + textWidth(item.words, figureTextSize) + 14
		if x > left && x+w > right {
			x, y = left, y+19
		}
		switch {
		case item.mark != "":
			c.mark(item.mark, x+16, y-4)
		case item.hatch:
			c.hatched(x, y-11, 30, 12)
		case item.cross:
			c.crossed(x, y-11, 30, 12)
		case item.fill != "":
			c.rect(item.fill, x, y-11, 30, 12)
		default:
			c.path(item.line, "M"+coord(x)+" "+coord(y-4)+"h30")
		}
		c.text(x+36, y, "", "start", item.words, "")
		x += w
	}
	return y + 19
}

// plotPoint is a place in the drawing.
type plotPoint struct{ x, y float64 }

// pathThrough writes points as an SVG path on a grid of a tenth of a unit, each point by its step from the one before, which is
// shorter than by its place.
func pathThrough(points []plotPoint) string {
	var b strings.Builder
	before := plotPoint{}
	for i, p := range points {
		at := plotPoint{math.Round(10 * p.x), math.Round(10 * p.y)}
		command := "l"
		if i == 0 {
			command = "M"
		}
		dx, dy := coord((at.x-before.x)/10), coord((at.y-before.y)/10)
		if !strings.HasPrefix(dy, "-") {
			dy = " " + dy
		}
		b.WriteString(command + dx + dy)
		before = at
	}
	return b.String()
}

// thinned leaves out points that lie within tolerance of the straight line between those that stay (Douglas and Peucker, 1973, with
// the distance measured upright, as in a graph).
func thinned(points []plotPoint, tolerance float64) []plotPoint {
	if len(points) < 3 {
		return points
	}
	first, last := points[0], points[len(points)-1]
	worst, at := tolerance, 0
	for i, p := range points[1 : len(points)-1] {
		line := first.y
		if last.x > first.x {
			line += (last.y - first.y) * (p.x - first.x) / (last.x - first.x)
		}
		if d := math.Abs(p.y - line); d > worst {
			worst, at = d, i+1
		}
	}
	if at == 0 {
		return []plotPoint{first, last}
	}
	left := thinned(points[:at+1], tolerance)
	return append(left[:len(left)-1:len(left)-1], thinned(points[at:], tolerance)...)
}
