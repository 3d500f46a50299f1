package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"farstation/gazetteer"
	"farstation/geodesy/camera"
)

// Limits of the search for names.
const (
	mostPatterns = 40
	// sureChi2 is by how much the second best name must fit worse for a point to take part in a verdict: three standard deviations.
	sureChi2 = 9
	// reassignShare is how near a top must stand to a mark, in focal lengths, to be tried as its name.
	reassignShare = 0.004
	// openFocal is the factor either way within which a focal length that EXIF states is sought.
	openFocal = 1.1
)

// naming is one way to name the marks of a frame, and how well the models fit under it.
type naming struct {
	tops []int // by mark, of the reachable tops; −1 for none
	// free, curved and plane are χ² under each model; +Inf where there is no fit.
	free, curved, plane float64
	fit                 *camera.Fit
}

// nameUnnamed finds names for the tops that were measured without one. Names come from the pattern of azimuths first and from the whole fit with the
// curvature free afterwards, so that no model chooses them; what each model would choose is kept beside.
func (s *Scene) nameUnnamed(ctx context.Context) error {
	for frame := range s.Photos {
		var marks []int
		for i := range s.Points {
			if p := &s.Points[i]; p.Frame == frame && p.unnamed() {
				marks = append(marks, i)
			}
		}
		if len(marks) == 0 {
			continue
		}
		if err := s.nameFrame(ctx, frame, marks); err != nil {
			return err
		}
	}
	s.dropUnnamed()
	return nil
}

// unnamed tells the tops without a name.
func (p *MeasuredPoint) unnamed() bool { return p.Part == PartTop && (p.Name == "" || p.Name == "?") }

// dropUnnamed takes out the points that found no name, or none that is sure.
func (s *Scene) dropUnnamed() {
	var points []MeasuredPoint
	var targets []int
	for i, p := range s.Points {
		if !p.unnamed() {
			points, targets = append(points, p), append(targets, s.targetOf[i])
		}
	}
	s.Points, s.targetOf = points, targets
}

func (s *Scene) nameFrame(ctx context.Context, frame int, marks []int) error {
	tops, err := s.reachable(ctx, s.stationOf[frame], func(float64) bool { return true })
	if err != nil {
		return err
	}
	// What the curve hides and the plane shows may be on the picture, if the plane is right.
	tops = slices.DeleteFunc(tops, func(t sighted) bool {
		row := &t.trace.Row
		return t.hasGround && row.MarginPlaneArcmin <= 0 && row.Chance != nil && *row.Chance < keepChance
	})
	found, err := s.namings(ctx, frame, marks, tops)
	if err != nil {
		return err
	}
	if len(found) == 0 {
		s.note("photograph %d: %d unnamed points fit no pattern of tops from this place: name two of them, or state focal length and place better", frame+1, len(marks))
		return nil
	}
	best := found[0]
	curved, plane := found[0], found[0]
	for _, n := range found {
		if n.curved < curved.curved {
			curved = n
		}
		if n.plane < plane.plane {
			plane = n
		}
	}
	s.note("photograph %d: the names were chosen with the curvature free; those that suit the curved Earth best leave it χ² %.0f, and these %.0f; those that suit the plane best leave it %.0f, and these %.0f (a point without a name counts %d)",
		frame+1, curved.curved, best.curved, plane.plane, best.plane, 2*sureChi2)
	for m, point := range marks {
		if best.tops[m] < 0 {
			continue
		}
		named := NamedPoint{Frame: frame + 1, XPx: s.Points[point].XPx, YPx: s.Points[point].YPx, Chi2More: math.Inf(1)}
		name := func(n *naming) string {
			if n.tops[m] < 0 {
				return ""
			}
			return tops[n.tops[m]].feature.Name
		}
		feature := tops[best.tops[m]].feature
		named.ID, named.Name, named.CurvedName, named.PlaneName = feature.ID, feature.Name, name(&curved), name(&plane)
		for i := range found {
			if n := &found[i]; n.tops[m] >= 0 && n.tops[m] != best.tops[m] && n.free-best.free < named.Chi2More {
				named.RunnerUp, named.Chi2More = name(n), n.free-best.free
			}
		}
		if named.Used = named.Chi2More >= sureChi2; named.Used {
			s.Points[point].Name = feature.ID
			s.targetOf[point] = s.targetIndex(feature)
		}
		if math.IsInf(named.Chi2More, 1) {
			named.Chi2More = 0 // there is none
		}
		s.names = append(s.names, named)
	}
	return nil
}

// targetIndex is the index of a feature among the targets, to which it is added if need be.
func (s *Scene) targetIndex(f *gazetteer.Feature) int {
	index := slices.IndexFunc(s.Targets, func(t gazetteer.Feature) bool { return t.ID == f.ID })
	if index < 0 {
		index = len(s.Targets)
		s.Targets = append(s.Targets, *f)
	}
	return index
}

// namings finds the ways to name the marks of a frame, the best first.
func (s *Scene) namings(ctx context.Context, frame int, marks []int, tops []sighted) ([]naming, error) {
	photo := &s.Photos[frame]
	search := camera.Search{CentreXPx: float64(photo.WidthPx) / 2, CentreYPx: float64(photo.HeightPx) / 2, AzimuthSpanRad: math.Pi, Most: mostPatterns}
	focal := cmp.Or(s.opts.FocalPx, photo.FocalPx)
	search.FocalLowPx, search.FocalHighPx = focal/openFocal, focal*openFocal
	if focal == 0 {
		search.FocalLowPx, search.FocalHighPx = float64(photo.WidthPx), 100*float64(photo.WidthPx)
	} else if s.opts.FocalSD > 0 {
		search.FocalLowPx, search.FocalHighPx = focal*(1-3*s.opts.FocalSD), focal*(1+3*s.opts.FocalSD)
	}
	search.TolerancePx = math.Max(10, 0.002*search.FocalHighPx)
	var free []camera.Mark
	for _, i := range marks {
		free = append(free, camera.Mark{XPx: s.Points[i].XPx, YPx: s.Points[i].YPx})
	}
	station := s.stations[s.stationOf[frame]]
	bearings := make([]camera.Bearing, len(tops))
	for i := range tops {
		bearings[i] = camera.Bearing{AzimuthRad: tops[i].arc.AzimuthDeg * math.Pi / 180, ElevationRad: tops[i].elevationRad(station.EyeHeightM, 0.5)}
	}
	var starts []naming
	if fit := s.fitNamed(frame); fit != nil {
		starts = append(starts, naming{tops: s.assign(marks, tops, fit, frame), fit: fit})
	} else {
		for _, p := range camera.Patterns(free, bearings, search) {
			starts = append(starts, naming{tops: p.Names})
		}
	}
	seen := map[string]bool{}
	var found []naming
	try := func(names []int) *naming {
		key := fmt.Sprint(names)
		if seen[key] {
			return nil
		}
		seen[key] = true
		n := naming{tops: names}
		s.fitNaming(&n, marks, tops)
		if n.fit == nil {
			return nil
		}
		found = append(found, n)
		return &n
	}
	for _, start := range starts {
		names := start.tops
		for range 5 { // the fit says better which top is nearest, which may change the fit
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			n := try(names)
			if n == nil {
				break
			}
			names = s.assign(marks, tops, n.fit, frame)
		}
	}
	order := func(a, b naming) int { return cmp.Or(cmp.Compare(a.free, b.free), slices.Compare(a.tops, b.tops)) }
	slices.SortStableFunc(found, order)
	if len(found) == 0 {
		return nil, nil
	}
	// The runner-up of each point: its neighbours in the place of its own.
	best := found[0]
	for m := range marks {
		for _, other := range s.near(marks[m], tops, best.fit, frame, 3) {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			if slices.Contains(best.tops, other) {
				continue
			}
			names := slices.Clone(best.tops)
			names[m] = other
			try(names)
		}
	}
	slices.SortStableFunc(found, order)
	return found, nil
}

// fitNamed fits the points of a frame that have names; nil where they are too few.
func (s *Scene) fitNamed(frame int) *camera.Fit {
	named := 0
	for i := range s.Points {
		if s.Points[i].Frame == frame && s.targetOf[i] >= 0 && s.Points[i].onTarget() {
			named++
		}
	}
	if named < 2 {
		return nil
	}
	known := *s
	known.dropUnnamed()
	problem, _ := known.problem(allPoints)
	if fit, err := camera.Solve(problem, problem.Air.FreeCurvature()); err == nil {
		return fit
	}
	// Too little to leave the curvature open: halfway between the models, and as wide as both.
	fit, err := camera.Solve(problem, camera.Model{Curvature: 0.5, CurvatureSD: 0.5})
	if err != nil {
		return nil
	}
	return fit
}

// fitNaming fits the models under a naming, over all points of all frames that have names, with the priors on heights and places of what is named.
func (s *Scene) fitNaming(n *naming, marks []int, tops []sighted) {
	named := *s
	named.Points, named.targetOf, named.Targets = slices.Clone(s.Points), slices.Clone(s.targetOf), slices.Clone(s.Targets)
	for m, point := range marks {
		if n.tops[m] >= 0 {
			named.Points[point].Name = tops[n.tops[m]].feature.ID
			named.targetOf[point] = named.targetIndex(tops[n.tops[m]].feature)
		}
	}
	named.dropUnnamed()
	problem, _ := named.problem(allPoints)
	// A mark without a name costs what a bad one may, so that naming fewer is not fitting better.
	unnamed := 0.0
	for _, t := range n.tops {
		if t < 0 {
			unnamed += 2 * sureChi2
		}
	}
	chi2 := func(m camera.Model) (float64, *camera.Fit) {
		fit, err := camera.Solve(problem, m)
		if err != nil {
			return math.Inf(1), nil
		}
		return fit.Chi2 + unnamed, fit
	}
	if n.free, n.fit = chi2(problem.Air.FreeCurvature()); n.fit == nil {
		n.free, n.fit = chi2(camera.Model{Curvature: 0.5, CurvatureSD: 0.5})
	}
	n.curved, _ = chi2(problem.Air.Curved())
	n.plane, _ = chi2(problem.Air.Plane())
}

// assign names each mark by the top nearest to it under a fit, none twice.
func (s *Scene) assign(marks []int, tops []sighted, fit *camera.Fit, frame int) []int {
	names := make([]int, len(marks))
	taken := map[int]bool{}
	for m, point := range marks {
		names[m] = -1
		for _, t := range s.near(point, tops, fit, frame, 5) {
			if !taken[t] {
				names[m], taken[t] = t, true
				break
			}
		}
	}
	return names
}

// near returns the tops nearest to a point under a fit, at most so many; those that other points have are left out.
func (s *Scene) near(point int, tops []sighted, fit *camera.Fit, frame, most int) []int {
	p := &s.Points[point]
	pose, station := fit.Poses[frame], s.stationOf[frame]
	eyeM := s.stations[station].EyeHeightM
	if eye := fitted(fit, eyeName(station)); eye.Name != "" {
		eyeM = eye.Value
	}
	type candidate struct {
		top    int
		awayPx float64
	}
	var all []candidate
	for i := range tops {
		x, y, ok := pose.Project(tops[i].arc.AzimuthDeg*math.Pi/180, tops[i].elevationRad(eyeM, fit.Curvature))
		if !ok || s.named(frame, tops[i].feature.ID) {
			continue
		}
		if away := math.Hypot(x-p.XPx, y-p.YPx); away < reassignShare*pose.FocalPx {
			all = append(all, candidate{i, away})
		}
	}
	slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(a.awayPx, b.awayPx) })
	var out []int
	for _, c := range all[:min(len(all), most)] {
		out = append(out, c.top)
	}
	return out
}

// named tells whether a top of a feature was measured by name in a frame.
func (s *Scene) named(frame int, id string) bool {
	for i := range s.Points {
		if p := &s.Points[i]; p.Frame == frame && p.Part == PartTop && s.targetOf[i] >= 0 && s.Targets[s.targetOf[i]].ID == id {
			return true
		}
	}
	return false
}
