// Package sky computes where the Sun and the Moon stand for an observer, when they rise, set and cross the meridian, how bright the
// twilight and the Moon are, and when either stands behind a target. It is pure computation, for the years 1900 to 2100.
//
// Directions refer to the normal of the WGS84 ellipsoid; the deflection of the vertical, polar motion and the diurnal aberration (0.3″)
// are left out. UTC is taken as UT1, from which it is kept within 0.9 s: as much as 13.5″ of the Earth's turn.
package sky
