package terrain

import "math"

// leastLevel is the finest level of maxima that is kept, blocks of 4 × 4 cells; those of finer ones are looked up among the posts. That
// takes a ninth of the memory of whole-metre posts.
const leastLevel = 2

// maxima is a tile's hierarchy of maxima: the greatest post of every block of 2ⁿ × 2ⁿ cells, those on its edges included, from leastLevel up
// to the block that holds the whole tile. Block (j, i) of level n holds the cells j·2ⁿ… from the south and i·2ⁿ… from the west.
type maxima struct {
	levels []maximaLevel
}

// maximaLevel is one level, row by row from the south-west corner.
type maximaLevel struct {
	columns int
	// highest is in whole metres, rounded upwards; void posts count as nothing, and Void stands where all are.
	highest []int16
	// missing tells which blocks hold cells beside void posts; nil where the tile has none.
	missing []missingCells
}

// missingCells tells whether cells of a block stand beside void posts.
type missingCells uint8

const (
	noneMissing missingCells = iota
	someMissing
	allMissing
)

// topLevel is the level whose one block holds n cells a side.
func topLevel(n int) int {
	level := leastLevel
	for n > 1<<level {
		level++
	}
	return level
}

// newMaxima builds the hierarchy of a tile.
func newMaxima(t *Tile) *maxima {
	rows, columns := blocks(t.Rows.N-1, leastLevel), blocks(t.Cols.N-1, leastLevel)
	base := maximaLevel{columns: columns, highest: make([]int16, rows*columns)}
	for i := range base.highest {
		base.highest[i] = Void
	}
	voids := false
	var line []int16
	for north := range t.Rows.N {
		line = t.wholeRow(north, line)
		row := t.Rows.N - 1 - north
		// A line of posts belongs to the cells on both sides.
		upper, lower := min(row, t.Rows.N-2)>>leastLevel*columns, max(row-1, 0)>>leastLevel*columns
		for i := range columns {
			first := i << leastLevel
			highest, lowest := line[first], line[first]
			for _, h := range line[first+1 : min(first+1<<leastLevel, len(line)-1)+1] {
				highest, lowest = max(highest, h), min(lowest, h)
			}
			voids = voids || lowest == Void
			base.highest[upper+i] = max(base.highest[upper+i], highest)
			base.highest[lower+i] = max(base.highest[lower+i], highest)
		}
	}
	if voids {
		base.missing = make([]missingCells, rows*columns)
		for j := range rows {
			for i := range columns {
				base.missing[j*columns+i] = t.missingIn(leastLevel, j, i)
			}
		}
	}
	m := &maxima{levels: []maximaLevel{base}}
	for columns > 1 || rows > 1 {
		below := &m.levels[len(m.levels)-1]
		m.levels = append(m.levels, below.coarser(rows))
		rows, columns = (rows+1)/2, (columns+1)/2
	}
	return m
}

// blocks is the number of blocks of a level that hold n cells.
func blocks(n, level int) int { return (n + 1<<level - 1) >> level }

// wholeRow returns a line of posts, counted from the north, in whole metres rounded upwards, in the memory of into where it must be made.
func (t *Tile) wholeRow(row int, into []int16) []int16 {
	first, n := row*t.Cols.N, t.Cols.N
	if t.Posts != nil {
		return t.Posts[first : first+n]
	}
	into = into[:0]
	for _, h := range t.Fine[first : first+n] {
		switch up := math.Ceil(float64(h)); {
		case math.IsNaN(up):
			into = append(into, Void)
		default:
			into = append(into, int16(min(max(up, Void+1), math.MaxInt16)))
		}
	}
	return into
}

// missingIn looks at the posts of a block for cells beside voids.
func (t *Tile) missingIn(level, j, i int) missingCells {
	known, missing := false, false
	for row := j << level; row < min((j+1)<<level, t.Rows.N-1); row++ {
		for column := i << level; column < min((i+1)<<level, t.Cols.N-1); column++ {
			whole := true
			south := (t.Rows.N-1-row)*t.Cols.N + column
			for _, index := range [4]int{south, south + 1, south - t.Cols.N, south - t.Cols.N + 1} {
				_, ok := t.PostM(index)
				whole = whole && ok
			}
			known, missing = known || whole, missing || !whole
		}
	}
	switch {
	case !missing:
		return noneMissing
	case known:
		return someMissing
	}
	return allMissing
}

// coarser returns the next level of one with the given number of rows.
func (l *maximaLevel) coarser(rows int) maximaLevel {
	up := maximaLevel{columns: (l.columns + 1) / 2}
	upRows := (rows + 1) / 2
	up.highest = make([]int16, upRows*up.columns)
	if l.missing != nil {
		up.missing = make([]missingCells, upRows*up.columns)
	}
	for j := range upRows {
		for i := range up.columns {
			highest, missing := int16(Void), missingCells(0)
			none, all := true, true
			for row := 2 * j; row < min(2*j+2, rows); row++ {
				for column := 2 * i; column < min(2*i+2, l.columns); column++ {
					highest = max(highest, l.highest[row*l.columns+column])
					if l.missing != nil {
						missing = l.missing[row*l.columns+column]
						none, all = none && missing == noneMissing, all && missing == allMissing
					}
				}
			}
			up.highest[j*up.columns+i] = highest
			if l.missing != nil && !none {
				up.missing[j*up.columns+i] = someMissing
				if all {
					up.missing[j*up.columns+i] = allMissing
				}
			}
		}
	}
	return up
}

// bytes is the memory that the levels take.
func (m *maxima) bytes() int64 {
	sum := int64(0)
	for i := range m.levels {
		sum += 2*int64(len(m.levels[i].highest)) + int64(len(m.levels[i].missing))
	}
	return sum
}

// block returns the greatest known post of a block of the tile, rounded upwards above the finest level, −Inf where all are void; and what of
// it is missing.
func (t *Tile) block(level, j, i int) (highestM float64, missing missingCells) {
	if level >= leastLevel {
		l := &t.maxima.levels[level-leastLevel]
		index := j*l.columns + i
		if l.missing != nil {
			missing = l.missing[index]
		}
		h := l.highest[index]
		if h == Void {
			return math.Inf(-1), missing
		}
		return float64(h), missing
	}
	n := t.Cols.N
	south := (t.Rows.N - 1 - j<<level) * n
	north := (t.Rows.N - 1 - min((j+1)<<level, t.Rows.N-1)) * n
	west, east := i<<level, min((i+1)<<level, n-1)
	if t.Posts != nil {
		highest, lowest := t.Posts[south+west], t.Posts[south+west]
		for row := north; row <= south; row += n {
			for _, h := range t.Posts[row+west : row+east+1] {
				highest, lowest = max(highest, h), min(lowest, h)
			}
		}
		if lowest != Void {
			return float64(highest), noneMissing
		}
	} else {
		highest := t.Fine[south+west]
		for row := north; row <= south; row += n {
			for _, h := range t.Fine[row+west : row+east+1] {
				highest = max(highest, h) // NaN where one is NaN
			}
		}
		if highest == highest {
			return float64(highest), noneMissing
		}
	}
	highestM = math.Inf(-1)
	for row := north; row <= south; row += n {
		for column := west; column <= east; column++ {
			if h, ok := t.PostM(row + column); ok {
				highestM = math.Max(highestM, h)
			}
		}
	}
	return highestM, t.missingIn(level, j, i)
}
