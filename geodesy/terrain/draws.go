package terrain

import (
	"math"
	"math/rand/v2"
)

// drawPoint is one place of the profile at which a draw is held against the ray. All terms are heights in metres at x.
type drawPoint struct {
	clearM            float64 // chord less ground, at nominal heights and k = 0
	freeM, lowM       float64 // lift of the ray per unit of k in free air and in low air
	eyeLift, topLift  float64
	seaSDM, groundSDM float64 // one of the two is 0
	post              int     // the post before x; the error of the ground is linear from there to the next post
	share             float64
}

// Draw is the slow twin of Odds: the share of n draws in which no ground outside the guards cuts off the top. One draw takes
//
//   - k of free air and k of low air, each point having its own G-weighted mix of the two,
//   - both end heights, each reaching the chord at x by its share (1−x/s) or x/s, and one level for all the sea,
//   - terrain errors at posts one spacing apart along the line, correlated by exp(−d/CorrelationM), linear between posts,
//
// and looks at both ends of every piece, at the stationary points of q and at the posts. The same seed gives the same share.
func (s *Section) Draw(spreads Spreads, n int, seed uint64) (share float64) {
	points, posts := s.drawPoints(spreads)
	points, follows := nearPoints(points, posts, spreads)
	random := rand.New(rand.NewPCG(seed, 0))
	errors := make([]float64, len(follows))
	clear := 0
	for range n {
		kFree := spreads.K + spreads.KSD*random.NormFloat64()
		kLow := spreads.LowK + spreads.LowKSD*random.NormFloat64()
		eye := spreads.EyeSDM * random.NormFloat64()
		top := spreads.TopSDM * random.NormFloat64()
		sea := random.NormFloat64()
		// An exponential correlation makes a chain: a post's error depends on that of the post before it alone.
		last := 0.0
		for i, correlation := range follows {
			last = correlation*last + math.Sqrt(1-correlation*correlation)*random.NormFloat64()
			errors[i] = last
		}
		inView := true
		for i := range points {
			p := &points[i]
			height := p.clearM + p.freeM*kFree + p.lowM*kLow + p.eyeLift*eye + p.topLift*top - p.seaSDM*sea
			if p.groundSDM > 0 {
				height -= p.groundSDM * (errors[p.post] + p.share*(errors[p.post+1]-errors[p.post]))
			}
			if height < 0 {
				inView = false
				break
			}
		}
		if inView {
			clear++
		}
	}
	return float64(clear) / float64(n)
}

// drawPoints returns the places to look at, and the distances of the posts.
func (s *Section) drawPoints(spreads Spreads) (points []drawPoint, posts []float64) {
	l := s.Line
	length := l.DistanceM
	low := s.lowAir(spreads)
	for i := range s.Pieces {
		p := &s.Pieces[i]
		lo, hi := math.Max(0, s.GuardM-p.X), math.Min(p.W, length-s.GuardM-p.X)
		if lo >= hi {
			continue
		}
		sea := p.sea()
		low := low.beside(i)
		add := func(t float64) {
			x := p.X + t
			share := low.share(t, x, length)
			lift := l.LiftM(1, x)
			point := drawPoint{
				clearM: p.ChordAt(t) - p.GroundAt(t) - p.N[0] - p.N[1]*t,
				freeM:  (1 - share) * lift, lowM: share * lift,
				eyeLift: 1 - x/length, topLift: x / length,
			}
			if sea {
				point.seaSDM = spreads.SeaSDM
			} else {
				point.groundSDM = spreads.ground(p)
				point.post = len(posts) - 2
				for point.post > 0 && posts[point.post] > x {
					point.post--
				}
				point.share = (x - posts[point.post]) / (posts[point.post+1] - posts[point.post])
			}
			points = append(points, point)
		}
		if !sea {
			if len(posts) == 0 || posts[len(posts)-1] < p.X {
				posts = append(posts, p.X) // the first, or the first past a stretch of sea
			}
			for posts[len(posts)-1] < p.X+p.W {
				posts = append(posts, posts[len(posts)-1]+p.SpacingM)
			}
			for j := len(posts) - 1; j >= 0 && posts[j] > p.X+lo; j-- {
				if posts[j] < p.X+hi {
					add(posts[j] - p.X)
				}
			}
		}
		f := l.bearing(p)
		stationary, n := f.stationary()
		for _, t := range stationary[:n] {
			if t > lo && t < hi {
				add(t)
			}
		}
		add(lo)
		add(hi)
	}
	return points, posts
}

// nearPoints leaves out the places that no draw will bring near the ray, by eight times the sum of all spreads, and the posts that no
// place needs. It returns for each post left its correlation with the one before it.
func nearPoints(points []drawPoint, posts []float64, spreads Spreads) (near []drawPoint, follows []float64) {
	needed := make([]bool, len(posts))
	for _, p := range points {
		height := p.clearM + p.freeM*spreads.K + p.lowM*spreads.LowK
		spread := p.freeM*spreads.KSD + p.lowM*spreads.LowKSD + p.eyeLift*spreads.EyeSDM + p.topLift*spreads.TopSDM + p.seaSDM + p.groundSDM
		if height > 8*spread {
			continue
		}
		near = append(near, p)
		if p.groundSDM > 0 {
			needed[p.post], needed[p.post+1] = true, true
		}
	}
	index := make([]int, len(posts))
	last := math.Inf(-1)
	for i, x := range posts {
		if needed[i] {
			index[i] = len(follows)
			follows = append(follows, math.Exp((last-x)/math.Max(spreads.CorrelationM, 1e-3)))
			last = x
		}
	}
	for i := range near {
		if near[i].groundSDM > 0 {
			near[i].post = index[near[i].post]
		}
	}
	return near, follows
}
