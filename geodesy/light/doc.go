// Package light holds the refraction of light along a sightline, given as the refraction coefficient k: the radius of the Earth
// divided by the radius of the light ray. Light that is straight has k = 0, light that follows the sea k = 1. Some textbooks
// call half of this k (or m).
package light
