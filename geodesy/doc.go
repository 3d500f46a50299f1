// Package geodesy holds the geometry of a sightline: the ellipsoid and its radii of curvature, geodesics, Earth-centred
// coordinates, and what a curved Earth and a plane each predict for an eye and a top. It computes and does no input or output;
// nothing here knows of gazetteers, terrain files or reports. Child packages hold the geoid, light and terrain.
package geodesy
