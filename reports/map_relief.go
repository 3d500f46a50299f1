package reports

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"

	"farstation/geodesy"
	"farstation/pipeline"
)

// reliefGreys is how many greys shade the land; with the sea, which is transparent, they fit into four bits.
const reliefGreys = 15

// hillshade returns a PNG of the ground lit from the north-west, 45° high, as maps have it: the slope by third-order finite differences over
// the eight neighbours (Horn 1981, Hill shading and the reflectance map, Proceedings of the IEEE 69), the light by the cosine of its angle of
// incidence. Slopes are steepened so that the land shows relief at any scale of the map. Sea and missing terrain are transparent.
func hillshade(g *pipeline.ReliefGrid) ([]byte, error) {
	if g.Columns < 1 || g.Rows < 1 || len(g.HeightM) != g.Columns*g.Rows {
		return nil, fmt.Errorf("relief: %d heights do not fill %d columns and %d rows", len(g.HeightM), g.Columns, g.Rows)
	}
	picture := image.NewPaletted(image.Rect(0, 0, g.Columns, g.Rows), reliefPalette())
	// The ground goes on level where it is not known, or missing tiles would look like cliffs.
	height := func(column, row int, otherwise float64) float64 {
		column, row = min(max(column, 0), g.Columns-1), min(max(row, 0), g.Rows-1)
		if h := g.HeightM[row*g.Columns+column]; h != pipeline.NoGround {
			return float64(h)
		}
		return otherwise
	}
	north := pipeline.NorthingDeg(g.NorthDeg)
	stepDeg := (g.EastDeg - g.WestDeg) / float64(g.Columns)
	metresPerDeg := geodesy.WGS84.MeridianRadiusM(45) * math.Pi / 180
	// A cell of 100 m needs no help; the broader the cells, the gentler all slopes between them.
	steeper := math.Max(1, math.Pow(stepDeg*metresPerDeg/100, 0.6))
	for row := range g.Rows {
		cellM := stepDeg * metresPerDeg * math.Cos(pipeline.LatitudeOfNorthingDeg(north-(float64(row)+0.5)*stepDeg)*math.Pi/180)
		for column := range g.Columns {
			own := float64(g.HeightM[row*g.Columns+column])
			if own == pipeline.NoGround {
				continue // 0 of the palette
			}
			at := func(right, down int) float64 { return height(column+right, row+down, own) }
			east := (at(1, -1) + 2*at(1, 0) + at(1, 1) - at(-1, -1) - 2*at(-1, 0) - at(-1, 1)) / (8 * cellM) * steeper
			down := (at(-1, 1) + 2*at(0, 1) + at(1, 1) - at(-1, -1) - 2*at(0, -1) - at(1, -1)) / (8 * cellM) * steeper
			// Light comes from (−1, −1, √2)/2 in eastward, southward, upward.
			light := (east/2 + down/2 + math.Sqrt2/2) / math.Sqrt(1+east*east+down*down)
			grey := int(math.Round(math.Max(0, math.Min(1, light)) * (reliefGreys - 1)))
			picture.SetColorIndex(column, row, uint8(1+grey))
		}
	}
	var out bytes.Buffer
	encoder := png.Encoder{CompressionLevel: png.BestCompression}
	if err := encoder.Encode(&out, picture); err != nil {
		return nil, fmt.Errorf("relief: %w", err)
	}
	return out.Bytes(), nil
}

// reliefPalette is nothing for the sea, then the colours of the land from shade to light; level ground comes out as the land of a map without
// relief does.
func reliefPalette() color.Palette {
	p := color.Palette{color.NRGBA{}}
	for i := range reliefGreys {
		v := float64(i) / (reliefGreys - 1)
		p = append(p, color.NRGBA{uint8(70 + 178*v), uint8(66 + 176*v), uint8(58 + 170*v), 255})
	}
	return p
}
