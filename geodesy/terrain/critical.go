package terrain

import "math"

// Critical is what one walk says of a line at every refraction at once.
type Critical struct {
	// K is the critical refraction k_c: the top is in view when k > K. AtM is the distance of the grazing point, GroundM the height
	// of its ground over the geoid, Missing whether that ground is a stand-in for missing terrain.
	K, AtM, GroundM float64
	Missing         bool
	// OnTops says that the grazing point lies on a surface of tree tops and roofs.
	OnTops bool
	// WithoutSpikesK is k_c of the ground but for the cells of single-post spikes. It is less than K where a spike alone makes the grazing
	// point.
	WithoutSpikesK float64
	// KBeyond1km is k_c of the ground farther than 1 km from both ends, NaN where there is none.
	KBeyond1km float64
	// MissingM is the length of the line without terrain, FirstMissingM the distance where it begins first; NaN where none is.
	MissingM, FirstMissingM float64
	// Stopped is set where the walk ended early because K had passed the bound; K is then a lower bound.
	Stopped bool
}

// tally is what pieces, in any order, have told of a line so far.
type tally struct {
	Critical
	line *Line
	// innerM is how far from both ends ground counts as beyond 1 km.
	innerM float64
	// least is the least q, of the piece at leastX; sure that of pieces without spikes, beyond that of ground beyond 1 km.
	least, sure, beyond float64
	leastX              float64
}

func newTally(l *Line, guardM float64) tally {
	inf := math.Inf(1)
	return tally{
		Critical: Critical{KBeyond1km: math.NaN(), FirstMissingM: math.NaN()},
		line:     l, innerM: math.Max(guardM, 1000), least: inf, sure: inf, beyond: inf, leastX: -inf,
	}
}

// take adds a piece but for its length without terrain.
func (c *tally) take(p *Piece) {
	f := c.line.bearing(p)
	t, q := f.least(0, p.W)
	if q < c.least || q == c.least && p.X >= c.leastX {
		c.least, c.leastX = q, p.X
		c.AtM, c.GroundM, c.Missing = p.X+t, p.GroundAt(t), p.Missing
		c.OnTops = p.Tile != nil && p.Tile.Surface == SurfaceTop
	}
	if q < c.sure && !p.spike() {
		c.sure = q
	}
	far := c.line.DistanceM - c.innerM
	if p.X >= c.innerM && p.X+p.W <= far {
		c.beyond = math.Min(c.beyond, q)
	} else if lo, hi := math.Max(0, c.innerM-p.X), math.Min(p.W, far-p.X); lo < hi {
		_, q := f.least(lo, hi)
		c.beyond = math.Min(c.beyond, q)
	}
}

// addMissing adds a length without terrain; these come in order.
func (c *tally) addMissing(x, lengthM float64) {
	if math.IsNaN(c.FirstMissingM) {
		c.FirstMissingM = x
	}
	c.MissingM += lengthM
}

// bound returns the q above which ground between two distances tells nothing new.
func (c *tally) bound(from, to float64) float64 {
	if far := c.line.DistanceM - c.innerM; c.innerM < far && from < far && to > c.innerM {
		return math.Max(c.sure, c.beyond)
	}
	return c.sure
}

// sureK is k_c without spikes so far.
func (c *tally) sureK() float64 { return -c.sure }

// critical returns what was found when all pieces are known.
func (c *tally) critical() Critical {
	c.K, c.WithoutSpikesK = -c.least, -c.sure
	if !math.IsInf(c.beyond, 1) {
		c.KBeyond1km = -c.beyond
	}
	return c.Critical
}

// stopped is the answer for a line whose k_c without spikes is at least k, which is past the bound.
func stopped(k float64) Critical {
	return Critical{K: k, WithoutSpikesK: k, KBeyond1km: math.NaN(), FirstMissingM: math.NaN(), Stopped: true}
}

// Critical finds the critical refraction of a line. For every point of the profile outside the guards, q(x) = 2R·(chord(x) −
// ground(x)) / (x(s−x)) is the curvature that the ray can bear before that point touches it, and k_c = −min q. It ends early,
// with a lower bound alone, where k_c without spikes is past stopAbove; +Inf asks for the whole line. Lines with no ground outside the
// guards are ErrTooClose.
//
// The answer is that of the plain walk over all cells, to the bit.
func (w *Walker) Critical(l *Line, fill Fill, guardM, stopAbove float64) (Critical, error) {
	if l.DistanceM <= 2*guardM {
		return Critical{}, ErrTooClose
	}
	s := &w.search
	s.walker, s.line, s.fill, s.stopAbove, s.found = w, l, fill, stopAbove, newTally(l, guardM)
	defer s.end()
	if k := s.glance(guardM); k > stopAbove {
		return stopped(k), w.err
	}
	if !s.begin(guardM, l.DistanceM-guardM) {
		return w.criticalPlain(l, fill, guardM, stopAbove)
	}
	if w.err != nil {
		return Critical{}, w.err
	}
	if k := s.probe(guardM); k > stopAbove {
		return stopped(k), nil
	}
	if !s.run() {
		return stopped(s.found.sureK()), nil
	}
	s.account()
	if w.err != nil {
		return Critical{}, w.err
	}
	return s.found.critical(), nil
}

// criticalPlain is Critical by the plain walk over all cells.
func (w *Walker) criticalPlain(l *Line, fill Fill, guardM, stopAbove float64) (Critical, error) {
	if l.DistanceM <= 2*guardM {
		return Critical{}, ErrTooClose
	}
	found := newTally(l, guardM)
	w.Walk(l, fill, guardM, l.DistanceM-guardM, func(p *Piece) bool {
		if p.Missing {
			found.addMissing(p.X, p.W)
		}
		found.take(p)
		return !(found.sureK() > stopAbove)
	})
	if w.err != nil {
		return Critical{}, w.err
	}
	if k := found.sureK(); k > stopAbove {
		return stopped(k), nil
	}
	return found.critical(), nil
}

// probeMarginM covers by how much ground at a place of the line may differ from that of its piece, which runs straight across its cell: the line bends
// aside by up to 6 cm in a cell of one minute, and slopes may be steep.
const probeMarginM = 0.25

// probes is the number of places that are tried before a search.
const probes = 31

// probe looks at a few places of a line, the middle first, for ground that alone lifts k_c past stopAbove: most lines between hills are
// blocked by far, and need no search to tell. It returns a lower bound of the k_c of the ground that did, or −Inf. Places without terrain
// tell nothing.
func (s *search) probe(guardM float64) float64 {
	if math.IsInf(s.stopAbove, 1) {
		return math.Inf(-1)
	}
	length := s.line.DistanceM - 2*guardM
	for step := 1; step <= probes; step = 2*step + 1 {
		// Odd multiples of 1/(step+1): halves, then quarters, eighths …
		for i := 1; i <= step; i += 2 {
			x := guardM + length*float64(i)/float64(step+1)
			r := s.stretchAt(x)
			p := s.point(r.arc, x)
			ground, corner, ok := r.groundAt(&p, s.walker.seaLevelM)
			if !ok {
				continue
			}
			k := (ground - probeMarginM - p.clear) / p.lift
			if k > s.stopAbove && (r.tile == nil || !r.tile.spikeBeside(corner)) {
				return k
			}
		}
	}
	return math.Inf(-1)
}

// glance is probe for the first few places, before the line is laid out into stretches: most lines are blocked in their middle, and in mountains by
// the ground around their ends.
func (s *search) glance(guardM float64) float64 {
	if math.IsInf(s.stopAbove, 1) {
		return math.Inf(-1)
	}
	length := s.line.DistanceM - 2*guardM
	for _, share := range [5]float64{0.5, 0.02, 0.98, 0.25, 0.75} {
		x := guardM + length*share
		at, chordM := s.line.At(x)
		if math.Abs(at.LatDeg) > farNorthDeg {
			continue
		}
		r := stretch{}
		r.lat.degree, r.lon.degree = int(math.Floor(at.LatDeg)), int(math.Floor(at.LonDeg))
		r.tile, r.state = s.walker.tile(r.lat.degree, r.lon.degree)
		r.setLattices()
		p := point{place: place{x: x, lat: at.LatDeg, lon: at.LonDeg}}
		ground, corner, ok := r.groundAt(&p, s.walker.seaLevelM)
		if !ok {
			continue
		}
		k := 2 * s.line.RadiusM * (ground + s.walker.geoid.UndulationM(at) - probeMarginM - chordM) / (x * (s.line.DistanceM - x))
		if k > s.stopAbove && (r.tile == nil || !r.tile.spikeBeside(corner)) {
			return k
		}
	}
	return math.Inf(-1)
}

// bearing is q(x) over a piece as a quotient.
func (l *Line) bearing(p *Piece) quotient {
	g := p.gap()
	r := 2 * l.RadiusM
	return quotient{
		p: [3]float64{r * g[0], r * g[1], r * g[2]},
		q: [3]float64{p.X * (l.DistanceM - p.X), l.DistanceM - 2*p.X, -1},
		w: p.W,
	}
}

// least returns the place and value of the least v on [lo, hi], the last of equals.
func (f *quotient) least(lo, hi float64) (t, v float64) {
	t, v = lo, f.at(lo)
	stationary, n := f.stationary()
	for _, r := range stationary[:n] {
		if r > lo && r < hi {
			if value := f.at(r); value <= v {
				t, v = r, value
			}
		}
	}
	if value := f.at(hi); value <= v {
		t, v = hi, value
	}
	return t, v
}

// PlaneShows looks at a few places of a line for ground that on the plane stands before the top, and tells whether none was found: a cheap
// test before a walk, which alone can say that the plane shows the top.
func (w *Walker) PlaneShows(l *Line, guardM float64) bool {
	s := l.DistanceM
	slope := (l.To.HeightM - l.From.HeightM) / s
	for step := 1; step <= probes; step = 2*step + 1 {
		for i := 1; i <= step; i += 2 {
			x := guardM + (s-2*guardM)*float64(i)/float64(step+1)
			at, _ := l.At(x)
			if ground, ok := w.store.HeightM(at); ok && ground > l.From.HeightM+slope*x {
				return false
			}
		}
	}
	return true
}
