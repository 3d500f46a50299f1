package pipeline

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/geoid"
	"farstation/geodesy/terrain"
)

// World is what a survey or a single line is computed in: settled features, terrain, geoid, and what was read to get them.
type World struct {
	Features []gazetteer.Feature // sorted by id
	Dropped  []gazetteer.Dropped
	// Merging says what became of the records of all gazetteers; NotStanding counts the features left out since they do not stand.
	Merging     gazetteer.MergeReport
	NotStanding int
	// Gone names the first of those.
	Gone []string
	// WantedCells are the cells under features that have no height for want of terrain, by their south-west corners.
	WantedCells map[[2]int]bool
	Store       *terrain.Store
	Index       *terrain.Index
	Geoid       *geoid.Grid
	Inputs      []Input
	Rejected    []InputRejected

	hintCells map[[2]int]bool // see hintCells
	hashed    []Input         // what terrainInputs gave
	unhashed  []unhashed      // the files among them that could not be read
	strict    bool
}

// Load reads gazetteers and finds terrain, and holds the first against the second. Bad files are errors; bad rows are counted.
func Load(ctx context.Context, opts Options, progress *Progress) (*World, error) {
	w := &World{strict: opts.Strict}
	var err error
	if opts.airIsFile() {
		if err := opts.LoadAir(); err != nil {
			return nil, err
		}
		w.Inputs = append(w.Inputs, opts.soundingInput())
	}
	// Terrain first: its names are checked in no time, and a wrong folder should not cost the reading of a large extract.
	if w.Index, err = terrain.Discover(opts.Terrain); err != nil {
		return nil, err
	}
	if w.Geoid, err = geoid.EGM96(); err != nil {
		return nil, err
	}
	progress.begin("read features", 0)
	if err := w.readFeatures(ctx, &opts, progress); err != nil {
		return nil, err
	}
	w.mergeFeatures()
	w.hintCells = hintCells(w.Features, w.Index)
	var cache *terrain.Cache
	if opts.CacheFolder != "" {
		if cache, err = terrain.OpenCache(opts.CacheFolder); err != nil {
			return nil, fmt.Errorf("--cache: %w", err)
		}
	}
	w.Store = terrain.NewStore(w.Index, terrain.StoreOptions{
		MemoryBytes: opts.terrainBytes(len(w.Features)), Strict: opts.Strict, Cache: cache, LandHint: func(latDeg, lonDeg int) bool { return w.hintCells[[2]int{latDeg, lonDeg}] },
	})
	heightless := map[string]geodesy.LatLon{}
	for i := range w.Features {
		if f := &w.Features[i]; math.IsNaN(f.ListedHeightM) {
			heightless[f.ID] = f.Listed
		}
	}
	spacing, err := w.postSpacingM(ctx, opts.Workers, progress)
	if err != nil {
		return nil, err
	}
	progress.begin("settle features", len(w.Features))
	if w.Features, w.Dropped, err = w.settle(ctx, &opts, spacing, progress); err != nil {
		return nil, err
	}
	if opts.Strict {
		if failed := w.Store.Unreadable(); len(failed) > 0 {
			return nil, failed[0]
		}
	}
	w.notePlaces(heightless)
	slices.SortFunc(w.Features, func(a, b gazetteer.Feature) int { return strings.Compare(a.ID, b.ID) })
	return w, nil
}

// settle holds the features against the terrain, cells side by side.
func (w *World) settle(ctx context.Context, opts *Options, postSpacingM float64, progress *Progress) ([]gazetteer.Feature, []gazetteer.Dropped, error) {
	return gazetteer.SettleAll(w.Features, w.Store, gazetteer.SettleOptions{
		AsListed: opts.AsListed, PostSpacingM: postSpacingM, TerrainSDM: opts.TerrainSDM, Covers: w.covers, Settled: progress.add,
		Run: func(n int, where func(i int) string, do func(i int) error) error {
			return sideBySide(ctx, where, opts.Workers, n, do)
		},
	})
}

// notePlaces keeps the cells of the features that were dropped for want of a height.
func (w *World) notePlaces(heightless map[string]geodesy.LatLon) {
	w.WantedCells = map[[2]int]bool{}
	for _, d := range w.Dropped {
		if at, ok := heightless[d.ID]; ok {
			w.WantedCells[cellsOf(at)[0]] = true
		}
	}
}

// hintCells are the cells that hold a feature and have no tile, by their south-west corners: islands too small for the land mask show by what
// stands on them. A feature on the edge of a tile stands on that tile's own posts and says nothing of the cell beyond.
func hintCells(features []gazetteer.Feature, index *terrain.Index) map[[2]int]bool {
	cells := make(map[[2]int]bool)
	for i := range features {
		holders := cellsOf(features[i].Listed)
		if !slices.ContainsFunc(holders, func(c [2]int) bool { return index.Has(c[0], c[1]) }) {
			cells[holders[0]] = true
		}
	}
	return cells
}

// landHint tells those cells.
func landHint(features []gazetteer.Feature, index *terrain.Index) func(latDeg, lonDeg int) bool {
	cells := hintCells(features, index)
	return func(latDeg, lonDeg int) bool { return cells[[2]int{latDeg, lonDeg}] }
}

// cellsOf returns the cells of 1° whose posts a place may stand on, by their south-west corners: one, or on whole degrees all that meet there.
// The first is the one to the north and east.
func cellsOf(at geodesy.LatLon) [][2]int {
	split := func(v float64) []int {
		at := int(math.Floor(v))
		if v == float64(at) {
			return []int{at, at - 1}
		}
		return []int{at}
	}
	var out [][2]int
	for _, lat := range split(at.LatDeg) {
		for _, lon := range split(at.LonDeg) {
			out = append(out, [2]int{min(max(lat, -90), 89), (lon+540)%360 - 180})
		}
	}
	return out
}

// postSpacingM is the widest spacing of posts among the tiles under the features, which is what may shave summits.
func (w *World) postSpacingM(ctx context.Context, workers int, progress *Progress) (float64, error) {
	seen := map[[2]int]bool{}
	var cells [][2]int
	for i := range w.Features {
		at := [2]int{int(math.Floor(w.Features[i].Listed.LatDeg)), int(math.Floor(w.Features[i].Listed.LonDeg))}
		if !seen[at] {
			seen[at] = true
			cells = append(cells, at)
		}
	}
	progress.begin("read terrain", len(cells))
	spacings := make([]float64, len(cells))
	where := func(i int) string { return "the tile of " + cellName(cells[i][0], cells[i][1]) }
	err := sideBySide(ctx, where, workers, len(cells), func(i int) error {
		spacings[i] = spacingM(w.Store, cells[i])
		progress.add(1)
		return nil
	})
	return slices.Max(append(spacings, 0)), err
}

// spacingM is the spacing of posts in a cell, in metres of latitude; 0 where it has no tile.
func spacingM(store *terrain.Store, cell [2]int) float64 {
	const metresPerDeg = 111_200 // of latitude, to 0.5 %
	if heights, _, _ := store.Heights(cell[0], cell[1]); heights.RowsPerDeg > 0 {
		return metresPerDeg / heights.RowsPerDeg
	}
	return 0
}

// lowestGroundM is the lowest ground of the region over the geoid: the base over which horizons reach. Sea counts at its level where a cell
// beside a tile has none.
func (w *World) lowestGroundM(ctx context.Context, opts *Options) (float64, error) {
	seaLevelM, cells := opts.SeaLevelM, w.Index.Cells()
	where := func(i int) string { return "the tile of " + cellName(cells[i].LatDeg, cells[i].LonDeg) }
	if err := sideBySide(ctx, where, opts.Workers, len(cells), func(i int) error {
		// What cannot be read is told below, in an order that does not depend on the goroutines.
		w.Store.Heights(cells[i].LatDeg, cells[i].LonDeg)
		return nil
	}); err != nil {
		return 0, err
	}
	lowest := math.Inf(1)
	for _, ref := range cells {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		heights, ok, err := w.Store.Heights(ref.LatDeg, ref.LonDeg)
		if err != nil {
			return 0, err
		}
		if ok {
			lowest = math.Min(lowest, heights.LowestM)
		} else if w.Store.State(ref.LatDeg, ref.LonDeg) != terrain.HasTile {
			continue
		}
		for _, beside := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			if lat := ref.LatDeg + beside[0]; lat >= -90 && lat < 90 && w.Store.State(lat, ref.LonDeg+beside[1]) != terrain.HasTile {
				lowest = math.Min(lowest, seaLevelM)
			}
		}
	}
	if math.IsInf(lowest, 1) {
		lowest = seaLevelM
	}
	return lowest, nil
}

// highestGroundM is the highest post of the region over the geoid.
func (w *World) highestGroundM() float64 {
	highest := 0.0
	for _, ref := range w.Index.Cells() {
		if m, ok := w.Store.HighestM(ref.LatDeg, ref.LonDeg); ok {
			highest = math.Max(highest, m)
		}
	}
	return highest
}

// IsTerrain tells whether the input is elevation or a geoid's grid, which have no rows.
func (in *Input) IsTerrain() bool {
	return slices.Contains([]string{terrain.FormatHGT, terrain.FormatGeoTIFF, terrain.FormatDTED, formatGeoid}, in.Format)
}

const formatGeoid = "geoid"

// settledInputs are terrainInputs at the end of all reading. They are an error where a file is no longer the one that was found, so that its
// hash may be that of other heights.
func (w *World) settledInputs() ([]Input, error) {
	inputs, err := w.terrainInputs()
	if err != nil {
		return nil, err
	}
	var unread []string
	for _, err := range w.Store.Unreadable() {
		unread = append(unread, err.Error())
	}
	for _, file := range w.Index.Files() {
		err := file.CheckUnchanged()
		if errors.Is(err, terrain.ErrGone) && slices.ContainsFunc(unread, tellsOf(file.Path)) {
			continue // nothing was read of it
		}
		if err != nil {
			return nil, err
		}
	}
	return inputs, nil
}

// unhashed is a file of terrain that could not be read for its hash.
type unhashed struct{ path, reason string }

// tellsOf tells whether the reason for which a file could not be read is that of a path.
func tellsOf(path string) func(reason string) bool {
	return func(reason string) bool { return strings.HasPrefix(reason, "terrain "+path+":") }
}

// terrainInputs describes the files of the index for the manifest, and the geoid's grids that bring their heights to EGM96. A file that cannot be
// read has no hash.
func (w *World) terrainInputs() ([]Input, error) {
	if w.hashed != nil {
		return w.hashed, nil
	}
	var inputs []Input
	grids := map[string]bool{}
	for i, file := range w.Index.Files() {
		sum, err := w.Index.SHA256(i)
		if err != nil {
			err = fmt.Errorf("terrain %s: cannot be read (%w): check the file and its permissions", file.Path, pathError(err))
			if w.strict {
				return nil, err
			}
			w.unhashed = append(w.unhashed, unhashed{file.Path, err.Error()})
		}
		words := []string{"elevation over " + file.Source.Datum + ", shows " + file.Source.Surface}
		for _, more := range []string{file.Note, file.Source.Attribution} {
			if more != "" {
				words = append(words, more)
			}
		}
		inputs = append(inputs, Input{
			Path: file.Path, Bytes: file.Bytes, SHA256: sum, Format: file.Format, Licence: file.Source.Licence, Rows: 1, Used: 1,
			Attribution: strings.Join(words, "; "),
		})
		if grid := file.Source.Geoid; grid != "" && !grids[grid] {
			grids[grid] = true
			if sum, err = hashFile(grid); err != nil {
				return nil, fmt.Errorf("geoid %s: %w", grid, err)
			}
			info, err := os.Stat(grid)
			if err != nil {
				return nil, fmt.Errorf("geoid %s: %w", grid, err)
			}
			inputs = append(inputs, Input{Path: grid, Bytes: info.Size(), SHA256: sum, Format: formatGeoid, Licence: "as its publisher states", Rows: 1, Used: 1})
		}
	}
	w.hashed = inputs
	return inputs, nil
}

func hashFile(path string) (string, error) {
	f, err := OpenRegular(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
