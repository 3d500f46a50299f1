package pipeline

import (
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
)

// The ray caster below renders photographs for the tests and shares no formula with what judges them: it bends light step by step over an ellipsoid in
// space, or sends it straight over a plane, until it meets ground, and finds a top where the ground ends in the picture.

// vector is a place or a direction in space, in metres.
type vector [3]float64

func (v vector) plus(length float64, w vector) vector {
	return vector{v[0] + length*w[0], v[1] + length*w[1], v[2] + length*w[2]}
}
func (v vector) dot(w vector) float64 { return v[0]*w[0] + v[1]*w[1] + v[2]*w[2] }
func (v vector) cross(w vector) vector {
	return vector{v[1]*w[2] - v[2]*w[1], v[2]*w[0] - v[0]*w[2], v[0]*w[1] - v[1]*w[0]}
}
func (v vector) unit() vector { return vector{}.plus(1/math.Sqrt(v.dot(v)), v) }

// renderedWorld is what light runs over. stand tells of a point where its foot lies, which way is up there, and how high it is in metres.
type renderedWorld interface {
	stand(p vector) (foot, up vector, heightM float64)
	// foot is the place at a distance and azimuth from the camera, which stands at place.
	foot(place geodesy.LatLon, azimuthDeg, distanceM float64) vector
}

// The ellipsoid of WGS 84 (NGA.STND.0036, table 3.1).
const (
	renderedAxisM      = 6378137.0
	renderedFlattening = 1 / 298.257223563
	renderedE2         = renderedFlattening * (2 - renderedFlattening)
)

// ellipsoidWorld is the Earth, in coordinates from its centre.
type ellipsoidWorld struct{}

// stand is by B. R. Bowring, "Transformation from spatial to geographical coordinates", Survey Review 181 (1976): one step of it is good to less than a
// micrometre at heights below 10 km.
func (ellipsoidWorld) stand(p vector) (foot, up vector, heightM float64) {
	const minorM = renderedAxisM * (1 - renderedFlattening)
	out := math.Sqrt(p[0]*p[0] + p[1]*p[1])
	reduced := math.Sqrt(out*out*minorM*minorM + p[2]*p[2]*renderedAxisM*renderedAxisM)
	sine, cosine := p[2]*renderedAxisM/reduced, out*minorM/reduced
	rise := p[2] + renderedE2/(1-renderedE2)*minorM*sine*sine*sine
	run := out - renderedE2*renderedAxisM*cosine*cosine*cosine
	length := math.Sqrt(rise*rise + run*run)
	up = vector{run / length * p[0] / out, run / length * p[1] / out, rise / length}
	normalM := renderedAxisM / math.Sqrt(1-renderedE2*up[2]*up[2])
	heightM = out*run/length + p[2]*up[2] - renderedAxisM*renderedAxisM/normalM
	return p.plus(-heightM, up), up, heightM
}

func (w ellipsoidWorld) foot(place geodesy.LatLon, azimuthDeg, distanceM float64) vector {
	at, _ := geodesy.WGS84.Direct(place, azimuthDeg, distanceM)
	return w.at(at)
}

func (ellipsoidWorld) at(place geodesy.LatLon) vector {
	sinLat, cosLat := math.Sincos(place.LatDeg * math.Pi / 180)
	sinLon, cosLon := math.Sincos(place.LonDeg * math.Pi / 180)
	normalM := renderedAxisM / math.Sqrt(1-renderedE2*sinLat*sinLat)
	return vector{normalM * cosLat * cosLon, normalM * cosLat * sinLon, normalM * (1 - renderedE2) * sinLat}
}

// radiusM is that of the normal section of an azimuth (L. Euler 1760: the curvatures of meridian and prime vertical, mixed by cos² and sin²).
func (ellipsoidWorld) radiusM(latDeg, azimuthDeg float64) float64 {
	sine, cosine := math.Sincos(azimuthDeg * math.Pi / 180)
	under := 1 - renderedE2*math.Pow(math.Sin(latDeg*math.Pi/180), 2)
	meridianM, normalM := renderedAxisM*(1-renderedE2)/math.Pow(under, 1.5), renderedAxisM/math.Sqrt(under)
	return 1 / (cosine*cosine/meridianM + sine*sine/normalM)
}

// planeWorld is a plane with the camera at its origin, x to the east and y to the north.
type planeWorld struct{}

func (planeWorld) stand(p vector) (foot, up vector, heightM float64) {
	return vector{p[0], p[1], 0}, vector{0, 0, 1}, p[2]
}

func (planeWorld) foot(_ geodesy.LatLon, azimuthDeg, distanceM float64) vector {
	sine, cosine := math.Sincos(azimuthDeg * math.Pi / 180)
	return vector{distanceM * sine, distanceM * cosine, 0}
}

// hills is invented ground: a level base at height 0 and the sum of its hills.
type hills []hill

// hill rises by riseM over its foot, as riseM·(1−q)³ with q the distance as a share of reachM: steepest at the top, which is round within half a metre.
type hill struct {
	foot          vector
	riseM, reachM float64
}

const reliefTopM = 0.5 // radius of the rounding

// at tells the height of the ground over a foot, and how far away the nearest hill begins where it is level.
func (r hills) at(foot vector) (heightM, clearM float64) {
	clearM = math.Inf(1)
	for i := range r {
		h := &r[i]
		off := foot.plus(-1, h.foot)
		distanceM := math.Sqrt(off.dot(off))
		clearM = min(clearM, max(0, distanceM-h.reachM))
		if distanceM < h.reachM {
			q := 1 - (math.Sqrt(distanceM*distanceM+reliefTopM*reliefTopM)-reliefTopM)/h.reachM
			heightM += h.riseM * q * q * q
		}
	}
	return heightM, clearM
}

// near leaves the hills that come within a distance of a foot.
func (r hills) near(foot vector, withinM float64) hills {
	var out hills
	for _, h := range r {
		if off := foot.plus(-1, h.foot); off.dot(off) < (h.reachM+withinM)*(h.reachM+withinM) {
			out = append(out, h)
		}
	}
	return out
}

// caster renders what one camera shows.
type caster struct {
	world              renderedWorld
	relief             hills
	eye                vector
	ahead, right, down vector
	focalPx            float64
	widthPx, heightPx  float64
}

// aim points the camera. A roll turns it about its axis so that the right-hand side of what it shows sinks.
func (c *caster) aim(place geodesy.LatLon, eyeM, azimuthDeg, tiltDeg, rollDeg float64) {
	foot := c.world.foot(place, 0, 0)
	_, up, _ := c.world.stand(foot)
	north := vector{0, 1, 0}
	if _, plane := c.world.(planeWorld); !plane {
		north = vector{0, 0, 1}.plus(-up[2], up).unit()
	}
	east := north.cross(up)
	c.eye = foot.plus(eyeM, up)
	turn := func(a, b vector, deg float64) (vector, vector) { // a towards b
		sine, cosine := math.Sincos(deg * math.Pi / 180)
		return vector{}.plus(cosine, a).plus(sine, b), vector{}.plus(cosine, b).plus(-sine, a)
	}
	c.ahead, c.right = turn(north, east, azimuthDeg)
	c.ahead, up = turn(c.ahead, up, tiltDeg)
	c.right, up = turn(c.right, up, rollDeg)
	c.down = vector{}.plus(-1, up)
}

func (c *caster) direction(x, y float64) vector {
	return c.ahead.plus((x-c.widthPx/2)/c.focalPx, c.right).plus((y-c.heightPx/2)/c.focalPx, c.down).unit()
}

func (c *caster) pixel(to vector) (x, y float64) {
	v := to.plus(-1, c.eye)
	return c.widthPx/2 + c.focalPx*v.dot(c.right)/v.dot(c.ahead), c.heightPx/2 + c.focalPx*v.dot(c.down)/v.dot(c.ahead)
}

// meet follows the ray through a pixel, bent downwards by bendingPerM, and tells where it meets the ground within reachM, of which the first clearM are known
// to be free. On hills, which rise by less than one in one, a step is as long as the ray is high over the ground, and at least 0.1 m; over level ground, to which
// rays slope by less than one in ten, ten times as long, up to where a hill begins; and nowhere longer than 5 km.
func (c *caster) meet(ground hills, x, y, bendingPerM, clearM, reachM float64) (foot vector, met bool) {
	p, direction := c.eye, c.direction(x, y)
	for runM := 0.0; runM < reachM; {
		foot, up, heightM := c.world.stand(p)
		stepM := clearM - runM
		if stepM <= 0 {
			groundM, levelM := ground.at(foot)
			gapM := heightM - groundM
			if gapM < 0 {
				return foot, true
			}
			stepM = max(0.1, gapM, min(10*gapM, levelM))
		}
		stepM = min(stepM, 5000)
		// The ray turns towards the ground by bendingPerM a metre.
		bend := up.plus(-up.dot(direction), direction)
		p = p.plus(stepM, direction.plus(-bendingPerM*stepM/2, bend))
		direction = direction.plus(-bendingPerM*stepM, bend).unit()
		runM += stepM
	}
	return vector{}, false
}

// top finds the highest pixel at which a hill shows; false where something nearer hides it.
func (c *caster) top(at hill, bendingPerM float64) (x, y float64, shown bool) {
	_, up, _ := c.world.stand(at.foot)
	topM, _ := c.relief.at(at.foot)
	tip := at.foot.plus(topM, up)
	way := tip.plus(-1, c.eye)
	distanceM, aroundM := math.Sqrt(way.dot(way)), 0.3*at.reachM
	around := c.relief.near(at.foot, 2*aroundM)
	// edge is where the hill ends towards the sky in a column, sought within some pixels of y to a hair, and as if nothing stood before it.
	edge := func(x, y, withinPx, hairPx float64) float64 {
		above, below := y-withinPx, y+withinPx
		for below-above > hairPx {
			middle := (above + below) / 2
			if _, met := c.meet(around, x, middle, bendingPerM, distanceM-aroundM, distanceM+aroundM); met {
				below = middle
			} else {
				above = middle
			}
		}
		return below
	}
	const roughPx, finePx = 0.02, 0.0005
	// free tells whether the first ground under an edge, of all the ground there is, lies within some metres of the top.
	free := func(x, y, withinM float64) bool {
		foot, met := c.meet(c.relief, x, y, bendingPerM, 0, distanceM+aroundM)
		off := foot.plus(-1, at.foot)
		return met && off.dot(off) < withinM*withinM
	}
	x, y = c.pixel(tip) // straight; bent light lifts it by half the angle it turns through
	x, y = math.Round(x), edge(math.Round(x), y, 10+c.focalPx*math.Abs(bendingPerM)*distanceM, roughPx)
	if !free(x, y+roughPx, aroundM) {
		return 0, 0, false
	}
	startX := x
	for _, step := range []float64{-1, 1} { // column by column while it rises
		for next := edge(x+step, y, 2, roughPx); next < y; next = edge(x+step, y, 2, roughPx) {
			x, y = x+step, next
			if math.Abs(x-startX) > 30 { // a slope of another hill
				return 0, 0, false
			}
		}
	}
	// The highest place between the columns beside the highest one, by the golden section.
	const golden = 0.6180339887498949
	from, to := x-1, x+1
	left, right := to-golden*(to-from), from+golden*(to-from)
	leftY, rightY := edge(left, y, 1, finePx), edge(right, y, 1, finePx)
	for to-from > 0.1 {
		if leftY < rightY {
			to, right, rightY = right, left, leftY
			left = to - golden*(to-from)
			leftY = edge(left, y, 1, finePx)
		} else {
			from, left, leftY = left, right, rightY
			right = from + golden*(to-from)
			rightY = edge(right, y, 1, finePx)
		}
	}
	x = (from + to) / 2
	y = edge(x, y, 1, finePx)
	return x, y, free(x, y+2*finePx, 10)
}

// TestRaycastTop holds the ray caster itself against two closed forms: the straight line over a plane, and the circle over a sphere, here along the
// equator, of which the ellipsoid's section is a circle.
func TestRaycastTop(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 32))
	worst := map[bool]float64{}
	for range 40 {
		for _, plane := range []bool{false, true} {
			c := caster{world: ellipsoidWorld{}, focalPx: 10_000 + 40_000*random.Float64(), widthPx: 6000, heightPx: 4000}
			k := 0.143 + 0.05*random.NormFloat64()
			if plane {
				c.world, k = planeWorld{}, 0
			}
			eyeM, riseM, distanceM := 500+500*random.Float64(), 1500+1000*random.Float64(), 25_000+90_000*random.Float64()
			rollDeg := random.NormFloat64()
			place := geodesy.LatLon{LonDeg: 360*random.Float64() - 180}
			c.aim(place, eyeM, 90, 0, rollDeg)
			top := hill{c.world.foot(place, 90, distanceM), riseM, 3 * riseM / 0.35}
			c.relief = hills{top}
			x, y, shown := c.top(top, k/renderedAxisM)
			elevation := math.Atan2(riseM-eyeM, distanceM)
			if !plane {
				bentM, turn := renderedAxisM/(1-k), distanceM*(1-k)/renderedAxisM
				elevation = math.Atan2((bentM+riseM)*math.Cos(turn)-bentM-eyeM, (bentM+riseM)*math.Sin(turn))
			}
			sine, cosine := math.Sincos(rollDeg * math.Pi / 180)
			wantX, wantY := 3000+c.focalPx*math.Tan(elevation)*sine, 2000-c.focalPx*math.Tan(elevation)*cosine
			offPx := math.Hypot(x-wantX, y-wantY)
			// The top is round within half a metre, and a rolled camera finds the highest place of it a little aside: two centimetres at 2°.
			if !shown || offPx > 0.15 {
				t.Errorf("plane %v, k %.3f, eye %.0f m, top %.0f m, %.0f m away, roll %.2f°: at %.3f, %.3f, shown %v; want %.3f, %.3f", plane, k, eyeM, riseM, distanceM, rollDeg, x, y, shown, wantX, wantY)
			}
			worst[plane] = max(worst[plane], offPx)
		}
	}
	t.Logf("worst distance from the closed form: sphere %.3f px, plane %.3f px", worst[false], worst[true])
}
