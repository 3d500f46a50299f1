package scenery

import (
	"image"
	"math"
)

// Edge finds where the picture changes most in one column, within reach pixels of y: the row where half of the change is passed, and how great it is
// (0…255, the mean of the colours). This is how a point is measured by hand, but without the hand's error.
func Edge(picture *image.RGBA, x, y, reach int) (row, change float64) {
	const half = 2 // rows either way that count as one side of an edge
	bounds := picture.Bounds()
	best, sign := -1, 0.0
	for at := max(y-reach, bounds.Min.Y+half); at <= min(y+reach, bounds.Max.Y-half-1); at++ {
		if step := lightness(picture, x, at+half) - lightness(picture, x, at-half); math.Abs(step) > change {
			best, change, sign = at, math.Abs(step), math.Copysign(1, step)
		}
	}
	if best < 0 {
		return math.NaN(), 0
	}
	// A row's value counts for its middle.
	middle := lightness(picture, x, best-half) + sign*change/2
	for at := best - half; at < best+half; at++ {
		a, b := lightness(picture, x, at), lightness(picture, x, at+1)
		if sign*(middle-a) >= 0 && sign*(b-middle) > 0 {
			return float64(at) + 0.5 + (middle-a)/(b-a), change
		}
	}
	return math.NaN(), 0
}

// Top finds the highest point of an outline within acrossPx columns and reach rows of a place: the middle of the columns that reach within a tenth of
// a pixel of the highest. Columns whose change is less than half of the greatest do not belong to the outline.
func Top(picture *image.RGBA, x, y float64, acrossPx, reach int) (topX, topY float64) {
	left, right := int(x)-acrossPx, int(x)+acrossPx
	rows, changes := map[int]float64{}, map[int]float64{}
	greatest := 0.0
	for column := left; column <= right; column++ {
		rows[column], changes[column] = Edge(picture, column, int(y), reach)
		greatest = math.Max(greatest, changes[column])
	}
	topY = math.Inf(1)
	for column := left; column <= right; column++ {
		if changes[column] >= greatest/2 {
			topY = math.Min(topY, rows[column])
		}
	}
	n := 0.0
	for column := left; column <= right; column++ {
		if changes[column] >= greatest/2 && rows[column] <= topY+0.1 {
			topX += float64(column) + 0.5
			n++
		}
	}
	return topX / n, topY
}

func lightness(picture *image.RGBA, x, y int) float64 {
	c := picture.RGBAAt(x, y)
	return (float64(c.R) + float64(c.G) + float64(c.B)) / 3
}
