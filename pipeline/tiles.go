package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// TileNeeds says which cells of terrain a survey or an area needs, and what serves them.
type TileNeeds struct {
	// Features, Dropped (no usable height), Rejected (rows), Observers, Targets and Lines (candidates, listed or near tops) are counts; all
	// are 0 where an area alone was asked for.
	Features  int   `json:"features"`
	Dropped   int   `json:"dropped"`
	Rejected  int   `json:"rejected_rows"`
	Observers int   `json:"observers"`
	Targets   int   `json:"targets"`
	Lines     int64 `json:"lines"`
	// Cells are those that lines cross, the most crossed first, else by latitude and longitude; or all cells of the area.
	Cells []TileNeed `json:"cells"`
	// Unreadable are the errors of tiles that cannot be read, whose cells are missing.
	Unreadable []string `json:"unreadable"`
}

// TileNeed is one cell of 1° × 1°.
type TileNeed struct {
	// Cell is the cell's name by its south-west corner, N55W004; LatDeg and LonDeg are that corner (−90…89, −180…179).
	Cell   string `json:"cell"`
	LatDeg int    `json:"latitude_deg"`
	LonDeg int    `json:"longitude_deg"`
	// Lines is the number of candidates that cross the cell; nil where an area alone was asked for.
	Lines *int64 `json:"lines"`
	// State is CellServed, CellSea or CellMissing.
	State string `json:"state"`
	// Files are those that serve the cell, the first to be asked first, or that should and cannot be read.
	Files []string `json:"files"`
}

// The states of a TileNeed.
const (
	CellServed  = "served"  // a tile can be read
	CellSea     = "sea"     // no tile and no land
	CellMissing = "missing" // land without a tile that can be read
)

// Tiles tells which cells of terrain the candidate lines of a survey with the same options cross, found by the rule of the survey; or,
// without features, the cells of the area. Terrain may be lacking or empty: the lowest ground is then the sea, heights are those listed, and
// features that list none are dropped. Only counts by cell are held, however many lines there are.
func Tiles(ctx context.Context, opts Options, progress *Progress) (*TileNeeds, error) {
	if err := opts.validateTiles(); err != nil {
		return nil, err
	}
	world, err := Load(ctx, opts, progress)
	if err != nil {
		return nil, err
	}
	needs := &TileNeeds{Cells: []TileNeed{}, Features: len(world.Features), Dropped: len(world.Dropped), Unreadable: []string{}}
	for _, in := range world.Inputs {
		needs.Rejected += in.Rejected
	}
	var crossed map[[2]int]int64
	if len(opts.Features) > 0 {
		if crossed, err = needs.countLines(ctx, &opts, world, progress); err != nil {
			return nil, err
		}
	} else {
		crossed = opts.Area.cells()
	}
	for at := range world.WantedCells {
		if _, ok := crossed[at]; !ok {
			crossed[at] = 0 // no line is known yet: the terrain under its features comes first
		}
	}
	files := tileFiles(world.Index)
	progress.begin("look for tiles", len(crossed))
	for at, lines := range crossed {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		need := TileNeed{Cell: cellName(at[0], at[1]), LatDeg: at[0], LonDeg: at[1], State: CellMissing, Files: append([]string{}, files[at]...)}
		if len(opts.Features) > 0 {
			need.Lines = &lines
		}
		switch world.Store.State(at[0], at[1]) {
		case terrain.HasTile:
			need.State = CellServed
		case terrain.Sea:
			need.State = CellSea
		}
		needs.Cells = append(needs.Cells, need)
		progress.add(1)
	}
	slices.SortFunc(needs.Cells, func(a, b TileNeed) int {
		byLines := 0
		if a.Lines != nil {
			byLines = cmp.Compare(*b.Lines, *a.Lines)
		}
		return cmp.Or(byLines, cmp.Compare(a.LatDeg, b.LatDeg), cmp.Compare(a.LonDeg, b.LonDeg))
	})
	failed := world.Store.Unreadable()
	for _, err := range failed {
		needs.Unreadable = append(needs.Unreadable, err.Error())
	}
	if opts.Strict && len(failed) > 0 {
		return nil, failed[0]
	}
	return needs, nil
}

// validateTiles is Validate for Tiles, which needs features or an area, and no terrain.
func (o *Options) validateTiles() error {
	complete := *o
	if len(complete.Terrain) == 0 {
		complete.Terrain = []terrain.Source{{Path: "none"}}
	}
	if len(complete.Features) == 0 && complete.Area != nil {
		complete.Features = []string{"none"}
	}
	return complete.Validate()
}

// tileFiles maps the south-west corner of each cell that has terrain to its files, the first to be asked first.
func tileFiles(index *terrain.Index) map[[2]int][]string {
	all := index.Files()
	files := map[[2]int][]string{}
	for _, cell := range index.Cells() {
		for _, i := range cell.Files {
			at := [2]int{cell.LatDeg, cell.LonDeg}
			files[at] = append(files[at], all[i].Path)
		}
	}
	return files
}

// cells returns every cell that the area holds a part of, with a count of 0. An area without width or height on a whole degree is in the
// cell to its east or north.
func (a *Area) cells() map[[2]int]int64 {
	west, east := a.West, a.East
	if west > east {
		east += 360
	}
	cells := map[[2]int]int64{}
	firstLat, lastLat := degreesOf(a.South, a.North)
	firstLon, lastLon := degreesOf(west, east)
	for lat := min(firstLat, 89); lat <= min(lastLat, 89); lat++ {
		for lon := firstLon; lon <= lastLon; lon++ {
			cells[[2]int{lat, wrapDeg(lon)}] = 0
		}
	}
	return cells
}

// degreesOf returns the whole degrees from which cells hold a part of the span between two values, low ≤ high. A span that ends on a whole
// degree does not reach beyond; one without length lies in the cell above.
func degreesOf(low, high float64) (first, last int) {
	first = int(math.Floor(low))
	return first, max(first, int(math.Ceil(high))-1)
}

func wrapDeg(lonDeg int) int { return ((lonDeg+180)%360+360)%360 - 180 }

// tally counts lines by cell: row by row from the south pole, each from 180° W.
type tally struct {
	lines [180 * 360]int64
	total int64
}

// countLines counts the candidate lines by the cells that they cross, on opts.Workers goroutines.
func (n *TileNeeds) countLines(ctx context.Context, opts *Options, world *World, progress *Progress) (map[[2]int]int64, error) {
	progress.begin("find the lowest ground", 0)
	plan, err := newPlan(ctx, opts, world)
	if err != nil {
		return nil, err
	}
	n.Targets = len(plan.targets)
	for _, chunk := range plan.chunks {
		n.Observers += len(chunk)
	}
	progress.begin("count the lines of observers", n.Observers)
	crossed := map[[2]int]int64{}
	var mu sync.Mutex // guards crossed and n.Lines
	group, ctx := errgroup.WithContext(ctx)
	var next atomic.Int64
	for range min(max(opts.Workers, 1), max(len(plan.chunks), 1)) {
		group.Go(func() error {
			own, i := new(tally), 0
			err := Guard(func() string { return fmt.Sprintf("the lines of chunk %d", i) }, func() error {
				for i = int(next.Add(1)) - 1; i < len(plan.chunks); i = int(next.Add(1)) - 1 {
					if err := own.add(ctx, opts, world, plan, plan.chunks[i], progress); err != nil {
						return err
					}
				}
				return nil
			})
			if err != nil {
				return err
			}
			mu.Lock()
			defer mu.Unlock()
			n.Lines += own.total
			for at, lines := range own.lines {
				if lines > 0 {
					crossed[[2]int{at/360 - 90, at%360 - 180}] += lines
				}
			}
			return nil
		})
	}
	return crossed, group.Wait()
}

// add counts the lines of one chunk of observers.
func (t *tally) add(ctx context.Context, opts *Options, world *World, plan *plan, chunk []int, progress *Progress) error {
	visit := func(latDeg, lonDeg int) { t.lines[(latDeg+90)*360+lonDeg+180]++ }
	var candidates []int32
	for _, at := range chunk {
		if err := ctx.Err(); err != nil {
			return err
		}
		candidates = plan.tree.Within(plan.eyes[at], opts.leastTracedM(), opts.MaxDistanceKM*1000, candidates)
		for _, c := range candidates {
			crossedCells(world.Features[at].At, world.Features[plan.targets[c]].At, world.Index.Has, visit)
		}
		t.total += int64(len(candidates))
		progress.add(1)
	}
	return nil
}

// touchM is the length of a line in the cells between two meridians below which it only touches them. A line over a pole goes through all
// meridians there at once; places on a geodesic are good to 15 nm.
const touchM = 1e-6

// crossedCells calls visit once for each cell of 1° × 1° that the shortest geodesic between two places crosses, by its south-west corner
// (−90…89, −180…179). The geodesic must be shorter than 5,000 km. A line along a cell's edge is in the cell to its north or east, or in the
// other one if only that has a tile: posts on the edge belong to both. Cells that a line only touches in a point do not count.
//
// It knows no step. Along a geodesic longitude goes one way only (Clairaut: cos β·sin α is constant), hence the path is cut at each whole
// meridian. Latitude turns at most once in less than half a way round, where the azimuth is due east or west, and so the rows between two
// meridians are those between the latitudes at both, and at the turn if it lies between.
func crossedCells(from, to geodesy.LatLon, has func(latDeg, lonDeg int) bool, visit func(latDeg, lonDeg int)) {
	width := math.Remainder(to.LonDeg-from.LonDeg, 360)
	if width < 0 {
		from, to, width = to, from, -width
	}
	// From west to east; the end's longitude is kept to the bit.
	westDeg := from.LonDeg
	eastDeg := to.LonDeg + 360*math.Round((westDeg+width-to.LonDeg)/360)
	first, last := degreesOf(westDeg, eastDeg)
	rows := func(column int, low, high float64) {
		firstRow, lastRow := degreesOf(low, high)
		for row := firstRow; row <= min(lastRow, 89); row++ {
			row, lon := row, wrapDeg(column)
			if before := wrapDeg(lon - 1); westDeg == eastDeg && westDeg == math.Floor(westDeg) && !has(row, lon) && has(row, before) {
				lon = before
			}
			if low == high && low == math.Floor(low) && row > -90 && !has(row, lon) && has(row-1, lon) {
				row--
			}
			visit(row, lon)
		}
	}
	low, high := min(from.LatDeg, to.LatDeg), max(from.LatDeg, to.LatDeg)
	firstRow, lastRow := degreesOf(low, high)
	if (first == last || firstRow == lastRow) && !mayBulge(low, high, width) {
		for column := first; column <= last; column++ {
			rows(column, low, high)
		}
		return
	}

	route, line := geodesy.WGS84.InverseLine(from, to)
	turnDeg := turnLatDeg(from.LatDeg, route.AzimuthDeg)
	x, lat, heading := 0.0, from.LatDeg, northward(route.AzimuthDeg)
	for column := first; column <= last; column++ {
		nextX, nextLat, nextHeading := route.DistanceM, to.LatDeg, northward(route.EndAzimuthDeg)
		if column < last {
			var p geodesy.LatLon
			var azimuthDeg float64
			nextX, p, azimuthDeg = meridianCrossing(&line, westDeg, float64(column+1)-westDeg, x, route.DistanceM)
			nextLat, nextHeading = p.LatDeg, northward(azimuthDeg)
		}
		if nextX-x > touchM {
			low, high := min(lat, nextLat), max(lat, nextLat)
			switch {
			case heading > 0 && nextHeading < 0:
				high = max(high, turnDeg)
			case heading < 0 && nextHeading > 0:
				low = min(low, -turnDeg)
			}
			rows(column, low, high)
		}
		x, lat, heading = nextX, nextLat, nextHeading
	}
}

// northward is 1 for an azimuth that leads north, −1 for one that leads south, 0 for due east and west.
func northward(azimuthDeg float64) int {
	return cmp.Compare(math.Abs(math.Remainder(azimuthDeg, 360)), 90) * -1
}

// turnLatDeg is the latitude, 0…90, of the turning points of the geodesic that leaves a latitude in an azimuth: cos β₀ = sin α·cos β in reduced
// latitudes, tan β = (1−f)·tan φ (Karney 2013, equation 5).
func turnLatDeg(latDeg, azimuthDeg float64) float64 {
	const rad = math.Pi / 180
	polar := 1 - geodesy.WGS84.Flattening()
	sinLat, cosLat := math.Sincos(latDeg * rad)
	sinB, cosB := polar*sinLat, cosLat
	norm := math.Hypot(sinB, cosB)
	sinAz, cosAz := math.Sincos(azimuthDeg * rad)
	sinTurn, cosTurn := math.Hypot(cosAz, sinAz*sinB/norm), math.Abs(sinAz)*cosB/norm
	return math.Atan2(sinTurn, polar*cosTurn) / rad
}

// mayBulge tells whether a geodesic between two places widthDeg of longitude apart, low and high the latitudes of its ends, may reach
// polewards into another row of cells. On the auxiliary sphere a great circle between two places reaches at most β₀ with
// tan β₀ = tan β / cos(ω/2), for β the latitude of the end nearer the pole; tan β is tan φ times a constant, and the sphere's difference of longitude ω is
// at most widthDeg/(1−f), for Karney's λ = ω − f·sin α₀·I₃ has I₃ ≤ σ and σ·sin α₀ ≤ ω (Karney 2013, equations 8 and 23).
func mayBulge(low, high, widthDeg float64) bool {
	const rad = math.Pi / 180
	shrink := math.Cos(widthDeg / 2 * 1.01 * rad)
	beyond := func(latDeg float64) bool {
		return latDeg > 0 && math.Tan(math.Ceil(latDeg)*rad)*shrink < math.Tan(latDeg*rad)
	}
	return beyond(high) || beyond(-low)
}

// meridianCrossing returns where a line that starts at the longitude westDeg and runs eastwards has gained gainDeg of longitude, between the
// distances lowM and highM, by Newton's method within a bracket.
func meridianCrossing(line *geodesy.Line, westDeg, gainDeg, lowM, highM float64) (xM float64, p geodesy.LatLon, azimuthDeg float64) {
	const degPerRad = 180 / math.Pi
	xM = lowM
	for range 100 {
		p, azimuthDeg = line.At(xM)
		gained := math.Remainder(p.LonDeg-westDeg, 360)
		if gained < -90 { // half a turn, over a pole
			gained += 360
		}
		if gained < gainDeg {
			lowM = xM
		} else {
			highM = xM
		}
		sinAz := math.Sin(azimuthDeg / degPerRad)
		degPerM := sinAz / (geodesy.WGS84.PrimeVerticalRadiusM(p.LatDeg) * math.Cos(p.LatDeg/degPerRad)) * degPerRad
		next := xM + (gainDeg-gained)/degPerM
		if !(next >= lowM && next <= highM) { // also NaN
			next = (lowM + highM) / 2
		}
		if math.Abs(next-xM) < touchM/10 {
			break
		}
		xM = next
	}
	return xM, p, azimuthDeg
}
