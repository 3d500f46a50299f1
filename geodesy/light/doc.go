// Package light holds the refraction of light along a sightline. Its measure is the refraction coefficient k: the radius of the Earth
// divided by the radius of the light ray. Light that is straight has k = 0, light that follows the sea k = 1. Some textbooks
// call half of this k (or m). Air is either of one k, or a Profile: layers of measured or made air through which a ray is traced. Haze says how
// much of a far target's contrast arrives.
package light
