// Package scenery draws what a camera sees of a landscape: sea, land, thin structures and haze, by casting rays over a field of heights. The demo's
// photograph is made with it. It shares no formula with the packages that judge photographs, so that it can be held against them: places are
// Earth-centred coordinates, a ray is the arc of a circle, and nothing of the program is imported.
package scenery

import "math"

// Scene is a landscape, the air over it, and the camera before it.
type Scene struct {
	Camera Camera
	// HeightM is the ground at a place in metres over the sea, 0 on it; UndulationM the height of the sea over the WGS84 ellipsoid.
	HeightM, UndulationM func(latDeg, lonDeg float64) float64
	// K is the refraction coefficient, radius of the Earth over radius of the ray, for every ray of the picture; below 1.
	K float64
	// Plane draws the same landscape on a plane instead, each place at its distance and azimuth from the camera, with straight light: K is not used.
	Plane      bool
	Structures []Structure
	// SunAzimuthDeg and SunElevationDeg say where the light falls from.
	SunAzimuthDeg, SunElevationDeg float64
	// ReachM is how far rays are followed, in metres.
	ReachM float64
}

// Camera is a pinhole: pixels count from the upper left corner, x to the right and y downwards, and the axis meets the middle of the picture.
type Camera struct {
	LatDeg, LonDeg float64
	// EyeM is the height of the lens over the sea in metres.
	EyeM float64
	// AzimuthDeg and TiltDeg are where the axis points; RollDeg lifts the camera's right side, so that the horizon
	// falls to the right in the picture.
	AzimuthDeg, TiltDeg, RollDeg float64
	FocalPx                      float64
	WidthPx, HeightPx            int
}

// Structure is a thin upright thing: a bar from the ground at GroundM over the sea to HeightM above that, WidthM wide.
type Structure struct {
	LatDeg, LonDeg           float64
	GroundM, HeightM, WidthM float64
	// Light ones are white, others dark.
	Light bool
}

// WGS84 (NIMA TR8350.2, table 3.1).
const (
	semiMajorM   = 6378137.0
	flattening   = 1 / 298.257223563
	eccentricity = flattening * (2 - flattening) // squared
)

const degree = math.Pi / 180

type vector [3]float64

func (a vector) plus(b vector, times float64) vector {
	return vector{a[0] + times*b[0], a[1] + times*b[1], a[2] + times*b[2]}
}

func (a vector) dot(b vector) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// earthCentred is the point at a height over the ellipsoid (B. Hofmann-Wellenhof, H. Moritz 2006, Physical Geodesy, eq. 5-27).
func earthCentred(latDeg, lonDeg, heightM float64) vector {
	sinLat, cosLat := math.Sincos(latDeg * degree)
	sinLon, cosLon := math.Sincos(lonDeg * degree)
	n := semiMajorM / math.Sqrt(1-eccentricity*sinLat*sinLat)
	return vector{(n + heightM) * cosLat * cosLon, (n + heightM) * cosLat * sinLon, (n*(1-eccentricity) + heightM) * sinLat}
}

// geographic is the place below a point near the ellipsoid, by iteration; four rounds leave less than 1e-11°.
func geographic(p vector) (latDeg, lonDeg float64) {
	axis := math.Hypot(p[0], p[1])
	lat := math.Atan2(p[2], axis*(1-eccentricity))
	for range 4 {
		sinLat, cosLat := math.Sincos(lat)
		n := semiMajorM / math.Sqrt(1-eccentricity*sinLat*sinLat)
		heightM := axis/cosLat - n
		lat = math.Atan2(p[2], axis*(1-eccentricity*n/(n+heightM)))
	}
	return lat / degree, math.Atan2(p[1], p[0]) / degree
}

// viewer is the camera's eye with its own east, north and up.
type viewer struct {
	scene           *Scene
	eye             vector
	east, north, up vector
	// eyeM is the height of the eye over the ellipsoid.
	eyeM float64
}

func (s *Scene) viewer() viewer {
	c := &s.Camera
	sinLat, cosLat := math.Sincos(c.LatDeg * degree)
	sinLon, cosLon := math.Sincos(c.LonDeg * degree)
	v := viewer{
		scene: s, eyeM: c.EyeM + s.UndulationM(c.LatDeg, c.LonDeg),
		east:  vector{-sinLon, cosLon, 0},
		north: vector{-sinLat * cosLon, -sinLat * sinLon, cosLat},
		up:    vector{cosLat * cosLon, cosLat * sinLon, sinLat},
	}
	v.eye = earthCentred(c.LatDeg, c.LonDeg, v.eyeM)
	return v
}

// radiusM is the ellipsoid's radius of curvature at the camera in an azimuth (L. Euler 1767).
func (v *viewer) radiusM(azimuth float64) float64 {
	sinLat := math.Sin(v.scene.Camera.LatDeg * degree)
	w := 1 - eccentricity*sinLat*sinLat
	n, m := semiMajorM/math.Sqrt(w), semiMajorM*(1-eccentricity)/math.Pow(w, 1.5)
	sin, cos := math.Sincos(azimuth)
	return 1 / (cos*cos/m + sin*sin/n)
}

// direction is where light from a point over the ellipsoid reaches the eye from, in radians, and the distance in metres along the surface.
func (v *viewer) direction(latDeg, lonDeg, heightM float64) (azimuth, elevation, distanceM float64) {
	away := earthCentred(latDeg, lonDeg, heightM).plus(v.eye, -1)
	e, n, u := away.dot(v.east), away.dot(v.north), away.dot(v.up)
	azimuth = math.Atan2(e, n)
	radiusM := v.radiusM(azimuth)
	level := math.Hypot(e, n)
	distanceM = radiusM * math.Atan2(level, radiusM+v.eyeM+u)
	if v.scene.Plane {
		return azimuth, math.Atan2(heightM-v.eyeM, distanceM), distanceM
	}
	return azimuth, math.Atan2(u, level) + v.bent(math.Hypot(level, u), radiusM), distanceM
}

// bent is the angle between the chord of a ray and its end: that of an arc of the curvature k/R, exactly.
func (v *viewer) bent(chordM, radiusM float64) float64 {
	return math.Asin(chordM * v.scene.K / (2 * radiusM))
}

// ray is the direction that a point of the picture looks in.
func (c *Camera) ray(x, y float64) (azimuth, elevation float64) {
	sinRoll, cosRoll := math.Sincos(c.RollDeg * degree)
	sinTilt, cosTilt := math.Sincos(c.TiltDeg * degree)
	x, y = (x-float64(c.WidthPx)/2)/c.FocalPx, (float64(c.HeightPx)/2-y)/c.FocalPx
	right, above := x*cosRoll-y*sinRoll, x*sinRoll+y*cosRoll
	ahead, up := cosTilt-above*sinTilt, sinTilt+above*cosTilt
	return c.AzimuthDeg*degree + math.Atan2(right, ahead), math.Atan2(up, math.Hypot(right, ahead))
}

// pixel is the point of the picture that a direction falls on.
func (c *Camera) pixel(azimuth, elevation float64) (x, y float64) {
	sinRoll, cosRoll := math.Sincos(c.RollDeg * degree)
	sinTilt, cosTilt := math.Sincos(c.TiltDeg * degree)
	sinTurn, cosTurn := math.Sincos(azimuth - c.AzimuthDeg*degree)
	right, ahead, up := math.Cos(elevation)*sinTurn, math.Cos(elevation)*cosTurn, math.Sin(elevation)
	ahead, up = ahead*cosTilt+up*sinTilt, up*cosTilt-ahead*sinTilt
	right, up = right*cosRoll+up*sinRoll, up*cosRoll-right*sinRoll
	return float64(c.WidthPx)/2 + c.FocalPx*right/ahead, float64(c.HeightPx)/2 - c.FocalPx*up/ahead
}

// Pixel is the point of the picture where something at heightM metres over the sea falls, whether or not it is in view.
func (s *Scene) Pixel(latDeg, lonDeg, heightM float64) (x, y float64) {
	v := s.viewer()
	azimuth, elevation, _ := v.direction(latDeg, lonDeg, heightM+s.UndulationM(latDeg, lonDeg))
	return s.Camera.pixel(azimuth, elevation)
}
