package pipeline

import (
	"fmt"
	"math"

	"farstation/geodesy"
)

// twin is a sightline in a second formulation, which shares with the walk the terrain and the geoid and nothing else: geodesics after
// Vincenty, places as vectors from the centre of the Earth, rays as circles through three points, angles by products of vectors.
type twin struct {
	arc        vincenty
	eye, top   geodesy.Vector
	eyeM, topM float64
	// radiusM is Euler's radius at the middle, up the ellipsoid's normal at the eye.
	radiusM float64
	up      geodesy.Vector
	k       float64
}

// The ellipsoid WGS84: semi-major axis in metres and flattening (NIMA TR8350.2).
const (
	wgs84M          = 6378137.0
	wgs84Flattening = 1 / 298.257223563
	wgs84E2         = wgs84Flattening * (2 - wgs84Flattening)
)

const radPerDeg = math.Pi / 180

func normalAt(latRad, lonRad float64) geodesy.Vector {
	return geodesy.Vector{X: math.Cos(latRad) * math.Cos(lonRad), Y: math.Cos(latRad) * math.Sin(lonRad), Z: math.Sin(latRad)}
}

// placed is a place heightM over the ellipsoid, from the centre of the Earth.
func placed(latRad, lonRad, heightM float64) geodesy.Vector {
	n := normalAt(latRad, lonRad)
	across := wgs84M / math.Sqrt(1-wgs84E2*n.Z*n.Z)
	return geodesy.Vector{X: (across + heightM) * n.X, Y: (across + heightM) * n.Y, Z: (across*(1-wgs84E2) + heightM) * n.Z}
}

func cross(a, b geodesy.Vector) geodesy.Vector {
	return geodesy.Vector{X: a.Y*b.Z - a.Z*b.Y, Y: a.Z*b.X - a.X*b.Z, Z: a.X*b.Y - a.Y*b.X}
}

// newTwin prepares the second formulation of a row, for ends eyeUndulationM and topUndulationM over the ellipsoid at the geoid.
func newTwin(l *Sightline, eyeUndulationM, topUndulationM float64) (*twin, error) {
	t := &twin{eyeM: l.EyeHeightM, topM: l.TopHeightM, k: l.KFree}
	lat1, lon1, lat2, lon2 := l.ObserverLatDeg*radPerDeg, l.ObserverLonDeg*radPerDeg, l.TargetLatDeg*radPerDeg, l.TargetLonDeg*radPerDeg
	if err := t.arc.between(lat1, lon1, lat2, lon2); err != nil {
		return nil, err
	}
	t.up = normalAt(lat1, lon1)
	t.eye, t.top = placed(lat1, lon1, l.EyeHeightM+eyeUndulationM), placed(lat2, lon2, l.TopHeightM+topUndulationM)
	lat, _, azimuth := t.arc.at(t.arc.distanceM / 2)
	w2 := 1 - wgs84E2*math.Pow(math.Sin(lat), 2)
	meridian, across := wgs84M*(1-wgs84E2)/math.Pow(w2, 1.5), wgs84M/math.Sqrt(w2)
	t.radiusM = 1 / (math.Pow(math.Cos(azimuth), 2)/meridian + math.Pow(math.Sin(azimuth), 2)/across)
	return t, nil
}

// elevation is the angle over the eye's horizontal at which a place appears: that of the straight line, and half the arc of a ray of
// curvature k/R.
func (t *twin) elevation(place geodesy.Vector) float64 {
	line := place.Sub(t.eye)
	length := line.Norm()
	return math.Asin(line.Dot(t.up)/length) + t.k*length/(2*t.radiusM)
}

// twinView is what the ground on a line gives.
type twinView struct {
	criticalK, criticalAtM          float64
	marginArcmin, marginPlaneArcmin float64
}

// twinSample is what one place of the ground gives: the curvature of the circle through eye, ground and top, 4·area over the product of the
// sides, and its elevation under either model in radians.
type twinSample struct {
	x, stepM float64
	value    [3]float64
}

// look reads the ground outside the guards: at steps of 1/400 of the distance to the nearer end, at most 10 m, then finer around every place
// that could be the greatest of its kind. known is false where the terrain has a gap.
func (t *twin) look(ground func(geodesy.LatLon) (groundM, undulationM float64, known bool), guardM float64) (view twinView, known bool) {
	s := t.arc.distanceM
	chord := t.top.Sub(t.eye)
	across := cross(t.up, chord)
	across = across.Scale(1 / (across.Norm() * chord.Norm()))
	known = true
	at := func(x, stepM float64) twinSample {
		lat, lon, _ := t.arc.at(x)
		groundM, undulationM, there := ground(geodesy.LatLon{LatDeg: lat / radPerDeg, LonDeg: lon / radPerDeg})
		known = known && there
		place := placed(lat, lon, groundM+undulationM)
		line := place.Sub(t.eye)
		return twinSample{x, stepM, [3]float64{
			2 * cross(line, chord).Dot(across) / (line.Norm() * t.top.Sub(place).Norm()), t.elevation(place), math.Atan2(groundM-t.eyeM, x),
		}}
	}
	var coarse []twinSample
	for x := guardM; x < s-guardM; {
		step := math.Min(math.Max(math.Min(x, s-x)/400, 0.1), 10)
		coarse = append(coarse, at(x, step))
		x += step
	}
	coarse = append(coarse, at(s-guardM, 10))
	if !known {
		return view, false
	}
	var best [3]twinSample
	for kind := range best {
		best[kind] = greatestOf(coarse, kind)
		least := best[kind].value[kind]
		for i, c := range coarse {
			// How much ground that rises at 45° could add in half a step.
			rise := c.stepM / 2 / c.x
			if kind == 0 {
				rise = c.stepM / (c.x * (s - c.x))
			}
			if c.value[kind]+rise < least || i > 0 && coarse[i-1].value[kind] > c.value[kind] || i+1 < len(coarse) && coarse[i+1].value[kind] > c.value[kind] {
				continue
			}
			for range 2 {
				fine := []twinSample{c}
				for d := -20; d <= 20; d++ {
					if x := c.x + float64(d)*c.stepM/20; x >= guardM && x <= s-guardM {
						fine = append(fine, at(x, c.stepM/20))
					}
				}
				c = greatestOf(fine, kind)
				c.stepM = fine[len(fine)-1].stepM
			}
			if c.value[kind] > best[kind].value[kind] {
				best[kind] = c
			}
		}
	}
	return twinView{
		criticalK: best[0].value[0] * t.radiusM, criticalAtM: best[0].x,
		marginArcmin:      (t.elevation(t.top) - best[1].value[1]) * arcminPerRad,
		marginPlaneArcmin: (math.Atan2(t.topM-t.eyeM, s) - best[2].value[2]) * arcminPerRad,
	}, known
}

func greatestOf(samples []twinSample, kind int) twinSample {
	best := samples[0]
	for _, sample := range samples {
		if sample.value[kind] > best.value[kind] {
			best = sample
		}
	}
	return best
}

// vincenty is a geodesic on WGS84, to 0.1 mm or better but near antipodes: T. Vincenty, Direct and inverse solutions of geodesics on the
// ellipsoid with application of nested equations, Survey Review 23 (1975) 88–93, equations 1 to 21.
type vincenty struct {
	distanceM, azimuthRad, endAzimuthRad float64
	lon1                                 float64
	sinU1, cosU1                         float64
	sigma1, sinAlpha, cos2Alpha          float64
	a, b                                 float64
}

const wgs84MinorM = wgs84M * (1 - wgs84Flattening)

// prepare sets what depends on the start and its azimuth alone.
func (g *vincenty) prepare(latRad, lonRad, azimuthRad float64) {
	tanU := (1 - wgs84Flattening) * math.Tan(latRad)
	g.cosU1 = 1 / math.Sqrt(1+tanU*tanU)
	g.sinU1 = tanU * g.cosU1
	g.lon1, g.azimuthRad = lonRad, azimuthRad
	g.sigma1 = math.Atan2(tanU, math.Cos(azimuthRad))
	g.sinAlpha = g.cosU1 * math.Sin(azimuthRad)
	g.cos2Alpha = 1 - g.sinAlpha*g.sinAlpha
	u2 := g.cos2Alpha * (wgs84M*wgs84M - wgs84MinorM*wgs84MinorM) / (wgs84MinorM * wgs84MinorM)
	g.a = 1 + u2/16384*(4096+u2*(-768+u2*(320-175*u2)))
	g.b = u2 / 1024 * (256 + u2*(-128+u2*(74-47*u2)))
}

// deltaSigma is equation 6.
func (g *vincenty) deltaSigma(sinSigma, cosSigma, cos2M float64) float64 {
	return g.b * sinSigma * (cos2M + g.b/4*(cosSigma*(2*cos2M*cos2M-1)-g.b/6*cos2M*(4*sinSigma*sinSigma-3)*(4*cos2M*cos2M-3)))
}

// flat is L − λ, equation 11.
func flat(sinAlpha, cos2Alpha, sigma, sinSigma, cosSigma, cos2M float64) float64 {
	c := wgs84Flattening / 16 * cos2Alpha * (4 + wgs84Flattening*(4-3*cos2Alpha))
	return (1 - c) * wgs84Flattening * sinAlpha * (sigma + c*sinSigma*(cos2M+c*cosSigma*(2*cos2M*cos2M-1)))
}

// between sets g to the geodesic between two places.
func (g *vincenty) between(lat1, lon1, lat2, lon2 float64) error {
	u1, u2 := math.Atan((1-wgs84Flattening)*math.Tan(lat1)), math.Atan((1-wgs84Flattening)*math.Tan(lat2))
	l := math.Remainder(lon2-lon1, 2*math.Pi)
	lambda := l
	for range 100 {
		x, y := math.Cos(u2)*math.Sin(lambda), math.Cos(u1)*math.Sin(u2)-math.Sin(u1)*math.Cos(u2)*math.Cos(lambda)
		sinSigma := math.Hypot(x, y)
		cosSigma := math.Sin(u1)*math.Sin(u2) + math.Cos(u1)*math.Cos(u2)*math.Cos(lambda)
		sigma := math.Atan2(sinSigma, cosSigma)
		sinAlpha := math.Cos(u1) * math.Cos(u2) * math.Sin(lambda) / sinSigma
		cos2Alpha := 1 - sinAlpha*sinAlpha
		cos2M := 0.0 // on the equator
		if cos2Alpha > 1e-15 {
			cos2M = cosSigma - 2*math.Sin(u1)*math.Sin(u2)/cos2Alpha
		}
		last := lambda
		lambda = l + flat(sinAlpha, cos2Alpha, sigma, sinSigma, cosSigma, cos2M)
		if math.Abs(lambda-last) > 1e-15 {
			continue
		}
		g.prepare(lat1, lon1, math.Atan2(x, y))
		g.endAzimuthRad = math.Atan2(math.Cos(u1)*math.Sin(lambda), -math.Sin(u1)*math.Cos(u2)+math.Cos(u1)*math.Sin(u2)*math.Cos(lambda))
		g.distanceM = wgs84MinorM * g.a * (sigma - g.deltaSigma(sinSigma, cosSigma, cos2M))
		return nil
	}
	return fmt.Errorf("the geodesic after Vincenty does not settle")
}

// at returns the place at distance x in radians, and the azimuth there.
func (g *vincenty) at(x float64) (latRad, lonRad, azimuthRad float64) {
	start := x / (wgs84MinorM * g.a)
	sigma := start
	var sinSigma, cosSigma, cos2M float64
	for range 100 {
		sinSigma, cosSigma = math.Sincos(sigma)
		cos2M = math.Cos(2*g.sigma1 + sigma)
		last := sigma
		sigma = start + g.deltaSigma(sinSigma, cosSigma, cos2M)
		if math.Abs(sigma-last) < 1e-15 {
			break
		}
	}
	sinAzimuth, cosAzimuth := math.Sincos(g.azimuthRad)
	across := g.sinU1*sinSigma - g.cosU1*cosSigma*cosAzimuth
	latRad = math.Atan2(g.sinU1*cosSigma+g.cosU1*sinSigma*cosAzimuth, (1-wgs84Flattening)*math.Hypot(g.sinAlpha, across))
	lambda := math.Atan2(sinSigma*sinAzimuth, g.cosU1*cosSigma-g.sinU1*sinSigma*cosAzimuth)
	lonRad = g.lon1 + lambda - flat(g.sinAlpha, g.cos2Alpha, sigma, sinSigma, cosSigma, cos2M)
	return latRad, lonRad, math.Atan2(g.sinAlpha, -across)
}
