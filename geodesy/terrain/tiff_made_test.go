package terrain

import (
	"bytes"
	"encoding/binary"
	"math"
)

// madeRaster is a GeoTIFF to be written by a test: posts at west + column·lonStep, north − row·latStep degrees.
type madeRaster struct {
	west, north, lonStep, latStep float64
	rows, cols                    int
	// area places the raster by the edge of its first pixel, as most sets do, not by its middle.
	area         bool
	verticalEPSG int
	whole        bool // int16 instead of float32; NaN becomes −32768, stated as the mark of no data
	height       func(latDeg, lonDeg float64) float64
}

// madeBy makes a raster of posts from one place to another, with so many posts a degree and the first post shift posts into it.
func madeBy(westDeg, southDeg, eastDeg, northDeg, perLat, perLon, shift float64, height func(latDeg, lonDeg float64) float64) madeRaster {
	return madeRaster{
		west: westDeg + shift/perLon, north: northDeg - shift/perLat, lonStep: 1 / perLon, latStep: 1 / perLat,
		rows: int(math.Round((northDeg - southDeg) * perLat)), cols: int(math.Round((eastDeg - westDeg) * perLon)), height: height,
	}
}

// bytes writes an uncompressed GeoTIFF of one strip a row, little-endian (TIFF 6.0; OGC GeoTIFF 1.1 for the keys).
func (m madeRaster) bytes() []byte {
	bits, format := 32, 3
	if m.whole {
		bits, format = 16, 2
	}
	rasterType, west, north := 2, m.west, m.north
	if m.area {
		rasterType, west, north = 1, m.west-m.lonStep/2, m.north+m.latStep/2
	}
	keys := []uint16{1, 1, 0, 0, 1024, 0, 1, 2, 1025, 0, 1, uint16(rasterType), 2048, 0, 1, 4326}
	if m.verticalEPSG > 0 {
		keys = append(keys, 4096, 0, 1, uint16(m.verticalEPSG))
	}
	keys[3] = uint16(len(keys)/4 - 1)
	rowBytes := uint32(m.cols * bits / 8)
	offsets, counts := make([]uint32, m.rows), make([]uint32, m.rows)
	type entry struct {
		tag, kind uint16
		count     int
		value     any
	}
	entries := []entry{
		{256, 4, 1, uint32(m.cols)}, {257, 4, 1, uint32(m.rows)}, {258, 3, 1, uint16(bits)}, {259, 3, 1, uint16(1)}, {262, 3, 1, uint16(1)},
		{273, 4, m.rows, offsets}, {277, 3, 1, uint16(1)}, {278, 3, 1, uint16(1)}, {279, 4, m.rows, counts}, {339, 3, 1, uint16(format)},
		{33550, 12, 3, []float64{m.lonStep, m.latStep, 0}}, {33922, 12, 6, []float64{0, 0, 0, west, north, 0}}, {34735, 3, len(keys), keys},
	}
	if m.whole {
		entries = append(entries, entry{42113, 2, 7, []byte("-32768\x00")})
	}
	size := func(e entry) int { return binary.Size(e.value) }
	place := 8 + 2 + 12*len(entries) + 4
	dataStart := place
	for _, e := range entries {
		if size(e) > 4 {
			dataStart += size(e) + size(e)%2
		}
	}
	for r := range offsets {
		offsets[r], counts[r] = uint32(dataStart)+uint32(r)*rowBytes, rowBytes
	}
	var head, tail bytes.Buffer
	head.WriteString("II*\x00")
	put := func(b *bytes.Buffer, v any) { binary.Write(b, binary.LittleEndian, v) }
	put(&head, uint32(8))
	put(&head, uint16(len(entries)))
	for _, e := range entries {
		put(&head, e.tag)
		put(&head, e.kind)
		put(&head, uint32(e.count))
		if size(e) <= 4 {
			put(&head, e.value)
			head.Write(make([]byte, 4-size(e)))
			continue
		}
		put(&head, uint32(place+tail.Len()))
		put(&tail, e.value)
		tail.Write(make([]byte, size(e)%2))
	}
	put(&head, uint32(0))
	head.Write(tail.Bytes())
	for r := range m.rows {
		for c := range m.cols {
			h := m.height(m.north-float64(r)*m.latStep, m.west+float64(c)*m.lonStep)
			switch {
			case !m.whole:
				put(&head, float32(h))
			case math.IsNaN(h):
				put(&head, int16(Void))
			default:
				put(&head, int16(h))
			}
		}
	}
	return head.Bytes()
}

// scattered is a height in whole metres, 0…999, that differs from post to post, known at any place that is a post of the lattice.
func scattered(perLat, perLon, shift float64) func(latDeg, lonDeg float64) float64 {
	return func(latDeg, lonDeg float64) float64 {
		row := math.Round((90-latDeg)*perLat - shift)
		col := math.Round(math.Mod(lonDeg+360, 360)*perLon - shift)
		return math.Mod(math.Floor(row*7919+col*104729+math.Mod(row*col, 8191)*31), 1000)
	}
}

// bilinearOf interpolates between the posts of an endless mosaic.
func bilinearOf(perLat, perLon, shift float64, height func(latDeg, lonDeg float64) float64, latDeg, lonDeg float64) float64 {
	v, u := (90-latDeg)*perLat-shift, lonDeg*perLon-shift
	row, col := math.Floor(v), math.Floor(u)
	y, x := v-row, u-col
	post := func(row, col float64) float64 { return height(90-(row+shift)/perLat, (col+shift)/perLon) }
	return (1-y)*((1-x)*post(row, col)+x*post(row, col+1)) + y*((1-x)*post(row+1, col)+x*post(row+1, col+1))
}
