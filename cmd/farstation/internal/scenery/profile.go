package scenery

import "math"

const (
	// firstM is how near rays start; knotM the spacing of places that are computed, between which all is linear, which is good to
	// 5 mm, the square of the spacing over 8 radii.
	firstM, knotM = 50, 500
	// landStepM and seaStepM are the longest steps along a ray, from land and from water. The ground of the demo is bilinear between posts 6″
	// apart; with these steps the tops of its photograph are drawn within 0.3 pixels of where they project.
	landStepM, seaStepM = 12, 60
)

// spot is a place of the ground that is in view, with its colour as the camera sees it.
type spot struct {
	elevation, distanceM float64
	colour               colour
}

// knot is a place of the ellipsoid as the eye sees it: level and height in the eye's own frame, and the normal there.
type knot struct {
	latDeg, lonDeg, undulationM      float64
	levelM, heightM, normalX, normal float64
}

// knots are places of the ellipsoid every knotM in an azimuth.
func (v *viewer) knots(azimuth float64) []knot {
	c := &v.scene.Camera
	sin, cos := math.Sincos(azimuth)
	ahead := vector{}.plus(v.east, sin).plus(v.north, cos)
	radiusM := v.radiusM(azimuth)
	below := earthCentred(c.LatDeg, c.LonDeg, 0)
	var knots []knot
	for i := 0; float64(i-1)*knotM < v.scene.ReachM; i++ {
		angle := float64(i) * knotM / radiusM
		near := below.plus(ahead, radiusM*math.Sin(angle)).plus(v.up, -2*radiusM*math.Pow(math.Sin(angle/2), 2))
		var k knot
		k.latDeg, k.lonDeg = geographic(near)
		k.undulationM = v.scene.UndulationM(k.latDeg, k.lonDeg)
		ground := earthCentred(k.latDeg, k.lonDeg, 0)
		normal := earthCentred(k.latDeg, k.lonDeg, 1).plus(ground, -1)
		ground = ground.plus(v.eye, -1)
		k.levelM, k.heightM = ground.dot(ahead), ground.dot(v.up)
		k.normalX, k.normal = normal.dot(ahead), normal.dot(v.up)
		knots = append(knots, k)
	}
	return knots
}

// profile lists the ground in view in an azimuth, upwards: what hides behind nearer ground is left out.
func (v *viewer) profile(azimuth float64, spots []spot) []spot {
	s := v.scene
	knots := v.knots(azimuth)
	radiusM := v.radiusM(azimuth)
	pixel := 1 / s.Camera.FocalPx
	highest := math.Inf(-1)
	spots = spots[:0]
	// Steps near the camera are those of a fifth of a pixel on level ground.
	near := 0.2 * pixel / math.Max(1, s.Camera.EyeM)
	for x, stepM := float64(firstM), 0.0; x < s.ReachM; x += math.Max(0.5, math.Min(stepM, near*x*x)) {
		i := int(x / knotM)
		a, b := &knots[i], &knots[i+1]
		t := x/knotM - float64(i)
		between := func(p, q float64) float64 { return p + t*(q-p) }
		latDeg, lonDeg := between(a.latDeg, b.latDeg), between(a.lonDeg, b.lonDeg)
		groundM := s.HeightM(latDeg, lonDeg)
		if stepM = landStepM; groundM <= 0 {
			stepM = seaStepM
		}
		overM := groundM + between(a.undulationM, b.undulationM)
		var elevation float64
		if s.Plane {
			elevation = math.Atan2(overM-v.eyeM, x)
		} else {
			level, up := between(a.levelM, b.levelM)+overM*between(a.normalX, b.normalX), between(a.heightM, b.heightM)+overM*between(a.normal, b.normal)
			elevation = math.Atan2(up, level) + v.bent(math.Hypot(level, up), radiusM)
		}
		if elevation <= highest {
			continue
		}
		highest = elevation
		n := len(spots)
		if n > 1 && elevation-spots[n-2].elevation < 0.2*pixel && x-spots[n-2].distanceM < 0.01*x {
			spots = spots[:n-1]
		}
		spots = append(spots, spot{elevation, x, v.colourOf(latDeg, lonDeg, groundM, x)})
	}
	return spots
}
