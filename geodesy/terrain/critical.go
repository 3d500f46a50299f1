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

// Critical finds the critical refraction of a line. For every point of the profile outside the guards, q(x) = 2R·(chord(x) −
// ground(x)) / (x(s−x)) is the curvature that the ray can bear before that point touches it, and k_c = −min q. The walk ends early
// once k_c without spikes is past stopAbove; +Inf walks to the end. Lines with no ground outside the guards are ErrTooClose.
func (w *Walker) Critical(l *Line, fill Fill, guardM, stopAbove float64) (Critical, error) {
	s := l.DistanceM
	c := Critical{K: math.Inf(-1), WithoutSpikesK: math.Inf(-1), KBeyond1km: math.NaN(), FirstMissingM: math.NaN()}
	if s <= 2*guardM {
		return c, ErrTooClose
	}
	if k := w.probe(l, guardM, stopAbove); k > stopAbove {
		c.K, c.WithoutSpikesK, c.Stopped = k, k, true
		return c, nil
	}
	inner := math.Max(guardM, 1000)
	beyond := math.Inf(1)
	least, sureLeast := math.Inf(1), math.Inf(1)
	w.Walk(l, fill, guardM, s-guardM, func(p *Piece) bool {
		if p.Missing {
			if math.IsNaN(c.FirstMissingM) {
				c.FirstMissingM = p.X
			}
			c.MissingM += p.W
		}
		f := l.bearing(p)
		t, q := f.least(0, p.W)
		if q <= least {
			least = q
			c.AtM, c.GroundM, c.Missing = p.X+t, p.GroundAt(t), p.Missing
			c.OnTops = p.Tile != nil && p.Tile.Surface == SurfaceTop
		}
		if q < sureLeast && !p.spike() {
			sureLeast = q
		}
		if p.X >= inner && p.X+p.W <= s-inner {
			beyond = math.Min(beyond, q)
		} else if lo, hi := math.Max(0, inner-p.X), math.Min(p.W, s-inner-p.X); lo < hi {
			_, q := f.least(lo, hi)
			beyond = math.Min(beyond, q)
		}
		if -sureLeast > stopAbove {
			c.Stopped = true
			return false
		}
		return true
	})
	if w.err != nil {
		return c, w.err
	}
	c.K, c.WithoutSpikesK = -least, -sureLeast
	if !math.IsInf(beyond, 1) {
		c.KBeyond1km = -beyond
	}
	return c, nil
}

// probes is the number of places that are tried before a walk.
const probes = 31

// probe looks at a few places of a line, the middle first, for ground that alone lifts k_c past stopAbove: most lines between hills are
// blocked by far, and need no walk to tell. It returns the k_c of the ground that did, or −Inf. Places without terrain tell nothing.
func (w *Walker) probe(l *Line, guardM, stopAbove float64) float64 {
	if math.IsInf(stopAbove, 1) {
		return math.Inf(-1)
	}
	s := l.DistanceM
	for step := 1; step <= probes; step = 2*step + 1 {
		// Odd multiples of 1/(step+1): halves, then quarters, eighths …
		for i := 1; i <= step; i += 2 {
			x := guardM + (s-2*guardM)*float64(i)/float64(step+1)
			at, chordM := l.At(x)
			ground, ok := w.store.HeightM(at)
			if !ok {
				continue
			}
			if k := 2 * l.RadiusM * (ground + w.geoid.UndulationM(at) - chordM) / (x * (s - x)); k > stopAbove && !w.store.besideSpike(at) {
				return k
			}
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
