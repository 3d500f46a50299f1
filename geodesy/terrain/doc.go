// Package terrain holds elevation: tiles and how they are decoded, the store that finds the tile under a place, and the walk along
// a sightline that finds what the ground lets through. It knows no gazetteer and no report.
package terrain
