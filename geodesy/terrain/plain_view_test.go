package terrain

import (
	"math"

	"farstation/geodesy"
)

// The slow twin of what a section tells: every piece is looked at, one after the other.

func (s *Section) plainView(m Model) View {
	l := s.Line
	v := View{ElevationRad: s.elevation(m)}
	v.FootM, v.FrontM, v.ObscuredM = math.NaN(), math.NaN(), math.NaN()
	inner, outer, cutEnd := s.GuardM, l.DistanceM-s.GuardM, cutShare*l.DistanceM

	level := math.Inf(-1) // F
	rim, rimAt, cut := math.Inf(-1), 0.0, math.Inf(-1)
	hidden, hiddenFrom := false, 0.0
	footRise := math.NaN()
	longEnough := func(from, to float64) bool { return to-from > math.Max(leastCutM, leastCutShare*l.DistanceM) }
	counts := func(from, to float64) bool { return to > s.BaseAtM && longEnough(from, to) }
	for i := range s.Pieces {
		p := &s.Pieces[i]
		lo := math.Max(0, inner-p.X)
		if lo >= p.W || s.leftOut(p) {
			continue
		}
		f := s.rise(p, m)
		stops := [4]float64{lo}
		n := 1
		stationary, roots := f.stationary()
		for _, t := range stationary[:roots] {
			if t > lo {
				stops[n] = t
				n++
			}
		}
		stops[n] = p.W
		n++

		// The greatest rise outside the guards, and nearer than 95 %.
		if p.X+lo < outer {
			if t, r := f.greatest(lo, math.Min(p.W, outer-p.X)); r >= rim {
				rim, rimAt = r, p.X+t
			}
		}
		if p.X+lo < cutEnd {
			if _, r := f.greatest(lo, math.Min(p.W, cutEnd-p.X)); r > cut {
				cut = r
			}
		}
		for j := range n - 1 {
			a, b := stops[j], stops[j+1]
			ra, rb := f.at(a), f.at(b)
			switch {
			case !hidden && ra < level: // a step down at a tile's edge
				hidden, hiddenFrom = true, p.X+a
			case ra > level:
				if hidden && counts(hiddenFrom, p.X+a) { // a step up at a tile's edge
					v.Obscured, v.FrontM, v.FootM, v.ObscuredM, footRise = true, hiddenFrom, p.X+a, p.GroundAt(a), level
				}
				hidden, level = false, ra
			}
			if hidden {
				if rb < level {
					continue
				}
				t := f.crossing(level, a, b)
				if counts(hiddenFrom, p.X+t) {
					v.Obscured, v.FrontM, v.FootM, v.ObscuredM, footRise = true, hiddenFrom, p.X+t, p.GroundAt(t), level
				}
				hidden, level = false, rb
				continue
			}
			if rb >= level {
				level = rb
			} else {
				hidden, hiddenFrom = true, p.X+a
			}
		}
	}
	v.CutM, v.RimM = s.carried(cut, m), s.carried(rim, m)

	blocked := rim > math.Tan(v.ElevationRad)
	if !m.Plane {
		blocked = m.K < s.CriticalK // one rule with the verdict
	}
	switch {
	case blocked:
		// The top itself is out of view: the front is what it is behind, whatever the stretch's length.
		v.Obscured, v.FrontM, v.FootM, v.ObscuredM, footRise = true, rimAt, l.DistanceM, v.RimM, rim
	case hidden && longEnough(hiddenFrom, l.DistanceM):
		v.Obscured, v.FrontM, v.FootM, v.ObscuredM, footRise = true, hiddenFrom, l.DistanceM, s.carried(level, m), level
	}

	f := s.rise(&s.base, m)
	v.BaseRad = math.Atan(f.at(s.baseT))
	v.FootRad, v.PartInView = v.BaseRad, 1
	if v.Obscured {
		v.FootRad = math.Atan(footRise)
		v.PartInView = math.Min(math.Max((v.ElevationRad-v.FootRad)/(v.ElevationRad-v.BaseRad), 0), 1)
		if blocked || math.IsNaN(v.PartInView) {
			v.PartInView = 0
		}
	}
	return v
}

func (s *Section) plainMargin(m Model) (marginRad, atM float64) {
	rise := math.Inf(-1)
	for i := range s.Pieces {
		p := &s.Pieces[i]
		lo, hi := math.Max(0, s.GuardM-p.X), math.Min(p.W, s.Line.DistanceM-s.GuardM-p.X)
		if lo >= hi {
			continue
		}
		var f quotient
		if m.Plane {
			f = s.rise(p, m)
		} else {
			f = s.under(p, m.K)
		}
		if t, r := f.greatest(lo, hi); r >= rise {
			rise, atM = r, p.X+t
		}
	}
	if m.Plane {
		return s.elevation(m) - math.Atan(rise), atM
	}
	return -math.Atan(rise), atM
}

func (s *Section) plainCritical() float64 {
	least := math.Inf(1)
	for i := range s.Pieces {
		p := &s.Pieces[i]
		if lo, hi := math.Max(0, s.GuardM-p.X), math.Min(p.W, s.Line.DistanceM-s.GuardM-p.X); lo < hi && !s.leftOut(p) {
			f := s.Line.bearing(p)
			_, q := f.least(lo, hi)
			least = math.Min(least, q)
		}
	}
	return -least
}

func (s *Section) plainBase() {
	from := s.baseFromM()
	s.BaseM = math.Inf(1)
	for i := range s.Pieces {
		p := &s.Pieces[i]
		lo := math.Max(0, from-p.X)
		if lo >= p.W || s.leftOut(p) {
			continue
		}
		ground := quotient{p: p.G, q: [3]float64{1, 0, 0}, w: p.W}
		// A micrometre of rounding must not decide which of equal heights is the last.
		if t, g := ground.least(lo, p.W); g <= s.BaseM+1e-6 {
			s.BaseM, s.BaseAtM, s.base, s.baseT = math.Min(g, s.BaseM), p.X+t, *p, t
		}
	}
}

func (w *Walker) plainBackdrop(l *Line, k, guardM, highestM float64) (Backdrop, error) {
	b := Backdrop{Known: true, AboveRad: math.Inf(-1)}
	eye := l.From.HeightM + l.From.UndulationM
	top := geodesy.ApparentElevationRad(eye, l.To.HeightM+l.To.UndulationM, l.DistanceM, l.RadiusM, k)
	highest := math.Tan(-math.Pi / 4)
	// A summit's own far side is no backdrop.
	for from := l.DistanceM + math.Max(guardM, ownFarSideM); from < backdropFarM; from += backdropStepM {
		// 100 m for the geoid's slope: the ray only needs to be above all ground, not exactly so.
		if h := geodesy.HeightAtElevationM(math.Max(top, math.Atan(highest)), eye, from, l.RadiusM, k); h-l.From.UndulationM > highestM+100 {
			break
		}
		to := from + backdropStepM
		end, _ := geodesy.WGS84.Direct(l.From.At, l.AzimuthDeg, to)
		behind, err := NewLine(l.From, End{At: end, HeightM: l.To.HeightM, UndulationM: w.geoid.UndulationM(end)})
		if err != nil {
			return b, err
		}
		// The sphere stays that of the line, so that nothing jumps at the target.
		behind.RadiusM = l.RadiusM
		section := Section{Line: behind, GuardM: guardM}
		w.Walk(behind, FillSea, from, to, func(p *Piece) bool {
			if p.Missing {
				b.Known = false
			}
			f := section.rise(p, Model{K: k})
			if t, rise := f.greatest(0, p.W); rise > highest {
				highest, b.AtM = rise, p.X+t
			}
			return true
		})
		if w.err != nil {
			return b, w.err
		}
	}
	b.AboveRad = math.Atan(highest) - top
	if b.AboveRad > 0 {
		b.Known = true // whatever is missing, ground stands behind
	}
	return b, nil
}
