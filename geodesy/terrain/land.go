package terrain

import _ "embed"

// landCells holds one bit a cell, row by row from the south pole, each row from 180° W eastwards; the lowest bit of a byte
// comes first.
//
// It was made from Natural Earth 4.1.0, 1:10m land (public domain, naturalearthdata.com), as the npm package world-atlas 2.0.2
// holds it (land-10m.json, 3,086,715 bytes, SHA-256 9b9f584709c119d63fbadf484ce425260497697b7166be7a2fe360e8c0b171a8), with
//
//	npm pack world-atlas@2.0.2 && tar xzf world-atlas-2.0.2.tgz
//	go run ./geodesy/terrain/internal/landcells --land package/land-10m.json --out geodesy/terrain/land_cells.bin
//
// which leaves out the square that Natural Earth draws around 0° N 0° E, where there is no land.
//
//go:embed land_cells.bin
var landCells string

// LandCell tells whether the 1° × 1° cell with this south-west corner, in whole degrees, holds any land of Natural Earth's
// 1:10m map. Coasts, lakes and islands count; ice shelves and the Caspian Sea do not, and the smallest islands are
// not on the map: of the 14,042 tiles of SRTM at 3″ that the library srtm.py 0.3.7 lists, 292 have no land here.
// Any longitude is understood; there is no land at latitudes outside −90…89.
func LandCell(latDeg, lonDeg int) bool {
	if latDeg < -90 || latDeg > 89 {
		return false
	}
	column := (lonDeg + 180) % 360
	if column < 0 {
		column += 360
	}
	cell := (latDeg+90)*360 + column
	return landCells[cell/8]>>(cell%8)&1 == 1
}
