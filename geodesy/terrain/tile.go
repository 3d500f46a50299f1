package terrain

// Source is one elevation tile, or a folder of them that is searched downwards, as a user names it.
type Source struct {
	Path string `json:"path"`
	// Datum of the heights: "egm96" (default), "egm2008" or "ellipsoid".
	Datum string `json:"datum"`
	// Surface is "ground" (default) or "top" (tree tops and roofs).
	Surface string `json:"surface"`
}

// Void marks a post without a height.
const Void = -32768

// Tile is one tile of 1° × 1°: N × N posts, edges included, so that neighbours share their edge posts. Heights are whole
// metres over the geoid, Void where there is none. A Tile is not changed after it is decoded.
type Tile struct {
	// Name is the file as the user would know it, for messages and profiles.
	Name string
	// LatDeg and LonDeg are the tile's south-west corner in whole degrees (−90…89, −180…179).
	LatDeg, LonDeg int
	// N is the number of posts a side: 1201 (3″) or 3601 (1″).
	N int
	// Posts holds the heights row by row from the north-west corner, north to south, west to east.
	Posts []int16
}
