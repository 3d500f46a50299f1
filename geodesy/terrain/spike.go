package terrain

import "math"

// A spike is a post that stands out as no summit does: by more than spikeRise times the post spacing over the highest of its neighbours, and
// by more than spikeShare times all that the neighbours differ by.
const (
	spikeLeastM = 100
	spikeRise   = 1.5
	spikeShare  = 1.0
)

// Spike tells whether a post is a single-post spike, by its index, as noise of the sensor or a damaged file leaves them: it stands above all of
// its known neighbours, eight inside a tile, by more than 100 m, by more than one and a half times the post spacing along the meridian, and by
// more than the difference between the highest and the lowest of them. Posts with fewer than three known neighbours are not judged. (The
// sharpest single post of ten real tiles, of the Alps, Andes and Rocky Mountains among them, stands 129 m above its neighbours, at 3″ with 139 m
// asked for.)
func (t *Tile) Spike(index int) bool {
	h, ok := t.PostM(index)
	if !ok {
		return false
	}
	const metresPerDeg = 111_200 // of latitude, to 0.5 %
	least := math.Max(spikeLeastM, spikeRise*metresPerDeg/t.Rows.PerDeg)
	row, col := index/t.Cols.N, index%t.Cols.N
	highest, lowest, known := math.Inf(-1), math.Inf(1), 0
	for r := max(row-1, 0); r <= min(row+1, t.Rows.N-1); r++ {
		for c := max(col-1, 0); c <= min(col+1, t.Cols.N-1); c++ {
			if r == row && c == col {
				continue
			}
			if m, ok := t.PostM(r*t.Cols.N + c); ok {
				if h-m <= least {
					return false
				}
				highest, lowest = math.Max(highest, m), math.Min(lowest, m)
				known++
			}
		}
	}
	return known >= 3 && h-highest > spikeShare*(highest-lowest)
}

// spike tells whether a corner of the piece's cell is a spike.
func (p *Piece) spike() bool {
	// A spike makes a cell steeper than this.
	return p.Slope > 0.9*spikeRise && p.Tile != nil && p.Tile.spikeBeside(int(p.corner))
}

// spikeBeside tells whether a post of the cell with this south-western post is a spike.
func (t *Tile) spikeBeside(corner int) bool {
	return t.Spike(corner) || t.Spike(corner+1) || t.Spike(corner-t.Cols.N) || t.Spike(corner-t.Cols.N+1)
}
