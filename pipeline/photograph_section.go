package pipeline

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"farstation/geodesy"
)

// mostSections bounds the sections that are drawn of a photograph.
const mostSections = 2

// sections chooses what to draw: pairs whose order differs, or else the nearest and the farthest top of each frame.
func (s *Scene) sections(w *Weighing) []WeighedSection {
	out := []WeighedSection{}
	free := w.model(ModelFree)
	if !free.Fitted {
		return out
	}
	for frame := range s.Photos {
		near, far := -1, -1
		for _, o := range w.Orders {
			if o.Frame == frame+1 && o.Agrees == w.bestFit() {
				near, far = s.topNamed(frame, o.Near), s.topNamed(frame, o.Far)
				break
			}
		}
		if near < 0 || far < 0 {
			near, far = s.extremes(frame)
		}
		if near >= 0 && far >= 0 && near != far && len(out) < mostSections {
			out = append(out, s.section(w, near, far))
		}
	}
	return out
}

// bestFit is the model with the lesser χ² of curved and plane.
func (w *Weighing) bestFit() string {
	curved, plane := w.model(ModelCurved), w.model(ModelPlane)
	if curved.Fitted && (!plane.Fitted || curved.Chi2 <= plane.Chi2) {
		return ModelCurved
	}
	return ModelPlane
}

// topNamed is the measured top of a frame with a name, −1 for none.
func (s *Scene) topNamed(frame int, name string) int {
	for i := range s.Points {
		if p := &s.Points[i]; p.Frame == frame && p.Part == PartTop && s.nameOf(i) == name {
			return i
		}
	}
	return -1
}

// extremes are the nearest and the farthest measured top of a frame.
func (s *Scene) extremes(frame int) (near, far int) {
	var tops []int
	for i := range s.Points {
		if p := &s.Points[i]; p.Frame == frame && p.Part == PartTop && s.targetOf[i] >= 0 {
			tops = append(tops, i)
		}
	}
	if len(tops) < 2 {
		return -1, -1
	}
	slices.SortStableFunc(tops, func(a, b int) int {
		aM, _ := s.ray(a)
		bM, _ := s.ray(b)
		return cmp.Compare(aM, bM)
	})
	return tops[0], tops[len(tops)-1]
}

func (s *Scene) section(w *Weighing, near, far int) WeighedSection {
	frame := s.Points[near].Frame
	station := s.stationOf[frame]
	nearM, nearRadiusM := s.ray(near)
	farM, farRadiusM := s.ray(far)
	undulationM := func(i int) float64 { return s.world.Geoid.UndulationM(s.Targets[s.targetOf[i]].At) }
	eyeM := s.stations[station].EyeHeightM
	nearTopM, farTopM := s.heightM(&s.Points[near], s.targetOf[near]), s.heightM(&s.Points[far], s.targetOf[far])
	const degrees = 180 / math.Pi
	q := WeighedSection{
		Frame: frame + 1, Near: s.nameOf(near), Far: s.nameOf(far), EyeHeightM: eyeM - s.world.Geoid.UndulationM(s.stations[station].Place),
		NearM: nearM, FarM: farM, NearTopM: nearTopM - undulationM(near), FarTopM: farTopM - undulationM(far), RadiusM: farRadiusM, K: w.Air.K,
		NearCurvedDeg: geodesy.ApparentElevationRad(eyeM, nearTopM, nearM, nearRadiusM, w.Air.K) * degrees,
		FarCurvedDeg:  geodesy.ApparentElevationRad(eyeM, farTopM, farM, farRadiusM, w.Air.K) * degrees,
		NearPlaneDeg:  geodesy.PlaneElevationRad(eyeM, nearTopM, nearM) * degrees, FarPlaneDeg: geodesy.PlaneElevationRad(eyeM, farTopM, farM) * degrees,
		DistanceM: []float64{}, GroundM: []float64{},
	}
	pose := w.model(ModelFree).fit.Poses[frame]
	_, nearElevation := pose.Direction(s.Points[near].XPx, s.Points[near].YPx)
	_, farElevation := pose.Direction(s.Points[far].XPx, s.Points[far].YPx)
	q.NearMeasuredDeg, q.FarMeasuredDeg = nearElevation*degrees, farElevation*degrees
	line := s.lines[[2]int{station, s.targetOf[far]}]
	if line == nil {
		return q
	}
	row := &line.Row
	q.FrontM, q.FootM, q.ObscuredHeightM, q.ObscuredHeightPlaneM = row.FrontDistanceM, row.FootDistanceM, row.ObscuredHeightM, row.ObscuredHeightPlaneM
	q.SeaObscuredHeightM, q.PartInView, q.PartInViewPlane = row.SeaObscuredHeightM, row.PartInView, row.PartInViewPlane
	// No drawing shows more than a few points a pixel: of each stretch the highest.
	samples := line.Profile.Samples
	step := max(1, len(samples)/mostSectionPosts)
	for i := 0; i < len(samples); i += step {
		highest := samples[i]
		for _, sample := range samples[i:min(i+step, len(samples))] {
			if sample.GroundM > highest.GroundM {
				highest = sample
			}
		}
		if !math.IsNaN(highest.GroundM) {
			q.DistanceM, q.GroundM = append(q.DistanceM, highest.DistanceM), append(q.GroundM, highest.GroundM)
		}
	}
	return q
}

const mostSectionPosts = 1500

// weighEvidence compares the models over all that their priors allow.
func (s *Scene) weighEvidence(w *Weighing) {
	curved, plane, sameAir := w.model(ModelCurved), w.model(ModelPlane), w.model(ModelPlaneSameAir)
	if !curved.Fitted || curved.P < improbableP && (!plane.Fitted || plane.P < improbableP) {
		return // of two that do not fit, the better is not made probable by the worse
	}
	ratio := func(m *ModelFit) *float64 {
		if !m.Fitted {
			return nil
		}
		return pointer((curved.fit.LogEvidence - m.fit.LogEvidence) / math.Ln10)
	}
	w.Evidence = &EvidenceRatio{CurvedOverPlane: ratio(plane), CurvedOverSameAir: ratio(sameAir), Priors: fmt.Sprintf(
		"curved Earth: k = %.3f ± %.3f; plane with straight light: curvature 0; plane in the same air: light bends by k = %.3f ± %.3f; the same spreads of eye, heights, places and of each ray's own k (%.3g) for all",
		w.Air.K, w.Air.KSD, w.Air.K, w.Air.KSD, w.Air.OwnSD)}
}

// distancesOnPlane lays the places of photographs and targets out on a plane so that their distances agree with the geodesics' as well as they can
// (least squares by majorization: J. de Leeuw 1977); nil for photographs from one place.
func (s *Scene) distancesOnPlane() *PlaneDistances {
	if len(s.stations) < 2 || len(s.Targets) == 0 {
		return nil
	}
	type place struct {
		name string
		at   geodesy.LatLon
	}
	var places []place
	for i := range s.stations {
		places = append(places, place{fmt.Sprintf("camera %d", i+1), s.stations[i].Place})
	}
	for i := range s.Targets {
		places = append(places, place{s.Targets[i].Name, s.Targets[i].At})
	}
	places = places[:min(len(places), mostPlanePlaces)]
	n := len(places)
	want := make([][]float64, n)
	east, north := make([]float64, n), make([]float64, n)
	for i := range places {
		want[i] = make([]float64, n)
		for j := range places {
			if i != j {
				want[i][j] = geodesy.WGS84.Inverse(places[i].at, places[j].at).DistanceM
			}
		}
		arc := geodesy.WGS84.Inverse(places[0].at, places[i].at)
		sine, cosine := math.Sincos(arc.AzimuthDeg * math.Pi / 180)
		east[i], north[i] = arc.DistanceM*sine, arc.DistanceM*cosine
	}
	for range 500 {
		nextEast, nextNorth := make([]float64, n), make([]float64, n)
		for i := range n {
			for j := range n {
				if i == j {
					continue
				}
				dx, dy := east[i]-east[j], north[i]-north[j]
				stretch := 0.0
				if length := math.Hypot(dx, dy); length > 0 {
					stretch = want[i][j] / length
				}
				nextEast[i] += (east[j] + stretch*dx) / float64(n-1)
				nextNorth[i] += (north[j] + stretch*dy) / float64(n-1)
			}
		}
		east, north = nextEast, nextNorth
	}
	d := &PlaneDistances{Places: n}
	pairs := 0
	for i := range n {
		for j := range i {
			off := (math.Hypot(east[i]-east[j], north[i]-north[j]) - want[i][j]) / 1000
			d.RMSKM += off * off
			pairs++
			if math.Abs(off) >= d.MostKM {
				d.MostKM, d.From, d.To, d.DistanceKM = math.Abs(off), places[j].name, places[i].name, want[i][j]/1000
			}
		}
	}
	d.RMSKM = math.Sqrt(d.RMSKM / float64(pairs))
	return d
}

// mostPlanePlaces bounds the places that are laid out on a plane.
const mostPlanePlaces = 60
