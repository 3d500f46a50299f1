package terrain

import "math"

// patch is the part of a raster that one cell needs.
type patch struct {
	file             int // in the index
	turnDeg          float64
	lat, lon         span
	row, col         int // of the first post
	rows, cols       int
	values           []float32 // nil until read
	refused          int
	failed, usedHere bool
}

// post returns the height of a post by its row and column in the raster, NaN where it is void or not in the patch.
func (p *patch) post(row, col int) float64 {
	if r, c := row-p.row, col-p.col; r >= 0 && r < p.rows && c >= 0 && c < p.cols {
		return float64(p.values[r*p.cols+c])
	}
	return math.NaN()
}

// covers tells whether the raster has this post.
func (p *patch) covers(row, col int) bool {
	return row >= 0 && row < p.lat.n && col >= 0 && col < p.lon.n
}

// place returns a place in degrees south of the equator and east in posts of the raster; false where it lies farther than reach posts outside.
func (p *patch) place(southDeg, lonDeg, reach float64) (v, u float64, ok bool) {
	v, u = p.lat.post(southDeg), p.lon.post(lonDeg+p.turnDeg)
	lastRow, lastCol := float64(p.lat.n-1), float64(p.lon.n-1)
	ok = v >= -reach && v <= lastRow+reach && u >= -reach && u <= lastCol+reach
	return min(max(v, 0), lastRow), min(max(u, 0), lastCol), ok
}

// bilinear interpolates between posts at a place in posts; posts without weight are not asked for. Its order is that of rows and columns, so
// that both sides of a seam compute the same bits.
func bilinear(v, u float64, post func(row, col int) float64) float64 {
	row, col := int(math.Floor(v)), int(math.Floor(u))
	south, east := v-float64(row), u-float64(col)
	line := func(row int) float64 {
		h := post(row, col)
		if east > 0 {
			h = float64((1-east)*h) + float64(east*post(row, col+1))
		}
		return h
	}
	h := line(row)
	if south > 0 {
		h = float64((1-south)*h) + float64(south*line(row+1))
	}
	return h
}

// turnedAway tells whether the patch touches the cell's edges only, as the far side of a raster that goes around the Earth does.
func (p *patch) turnedAway(at cell) bool {
	_, rows := p.lat.inside(-int(at.latDeg) - 1)
	_, cols := p.lon.inside(int(at.lonDeg) + int(p.turnDeg))
	return rows == 0 || cols == 0
}

// share is how much of a cell's posts the patch covers, 0…1.
func (p *patch) share(at cell) float64 {
	_, rows := p.lat.inside(-int(at.latDeg) - 1)
	_, cols := p.lon.inside(int(at.lonDeg) + int(p.turnDeg))
	return math.Min(float64(rows+1)/p.lat.perDeg, 1) * math.Min(float64(cols+1)/p.lon.perDeg, 1)
}

// inside returns the posts strictly inside a cell of 1° that begins at a whole degree.
func (s span) inside(degree int) (first, n int) {
	const spare = 1e-3
	return s.window(float64(degree)+spare/s.perDeg, float64(degree+1)-spare/s.perDeg)
}

// readPatch reads a window of a raster by rows of blocks, as metres over EGM96; NaN where there is no height.
func (r *raster) readPatch(p *patch, shiftM func(latDeg, lonDeg float64) float64) error {
	p.values = make([]float32, p.rows*p.cols)
	const leastRows = 64
	step := max(r.blockRows, 1)
	step *= (leastRows + step - 1) / step
	var buffer []float64
	for row := p.row; row < p.row+p.rows; {
		rows := min(step-row%step, p.row+p.rows-row)
		if len(buffer) < rows*p.cols {
			buffer = make([]float64, rows*p.cols)
		}
		if err := r.ReadWindow(p.col, row, p.cols, rows, buffer[:rows*p.cols]); err != nil {
			return err
		}
		for i, h := range buffer[:rows*p.cols] {
			if !(h >= lowestPostM && h <= highestPostM) {
				if !math.IsNaN(h) && !voidMark(h) {
					p.refused++
				}
				h = math.NaN()
			} else if shiftM != nil {
				h += shiftM(-r.lat.deg(float64(row+i/p.cols)), r.lon.deg(float64(p.col+i%p.cols)))
			}
			p.values[(row-p.row)*p.cols+i] = float32(h)
		}
		row += rows
	}
	return nil
}
