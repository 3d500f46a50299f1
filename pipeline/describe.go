package pipeline

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy/terrain"
)

// Version of the program, as run.json and --version state it.
const Version = "0.1.0"

// featureRows turns features into rows, in order. They are spilled, for the world need not outlive them.
func featureRows(world *World, s *spill) (Groups[FeatureRow], error) {
	var blocks []rowBlock
	var rows []FeatureRow
	for features := range slices.Chunk(world.Features, blockRows) {
		rows = rows[:0]
		for i := range features {
			rows = append(rows, featureRow(&features[i], world.Geoid.UndulationM(features[i].At)))
		}
		block, err := addRows(s, rows)
		if err != nil {
			return nil, err
		}
		blocks = append(blocks, rowBlock{block, len(rows)})
	}
	return groupsOf(groupsOfBlocks(blocks), func(g *rowGroup) ([]FeatureRow, error) { return rowsOfGroup[FeatureRow](s, g) }), nil
}

func featureRow(f *gazetteer.Feature, undulationM float64) FeatureRow {
	known := func(v float64) *float64 {
		if math.IsNaN(v) {
			return nil
		}
		return pointer(v)
	}
	return FeatureRow{
		FeatureID: f.ID, Name: f.Name, OtherNames: strings.Join(f.OtherNames, "|"), Kind: string(f.Kind),
		LatitudeDeg: f.At.LatDeg, LongitudeDeg: f.At.LonDeg, ListedLatitudeDeg: f.Listed.LatDeg, ListedLongitudeDeg: f.Listed.LonDeg,
		MovedM: f.MovedM, GroundHeightM: f.GroundHeightM, ListedHeightM: known(f.ListedHeightM), TerrainHeightM: known(f.TerrainHeightM),
		StructureHeightM: f.StructureHeightM, GroundHeightSDM: f.GroundHeightSDM, StructureHeightSDM: f.StructureHeightSDM,
		PositionSDM: f.PositionSDM, HeightSource: f.HeightSource, Doubts: strings.Join(f.Doubts, ","),
		Sources: strings.Join(f.Sources, ","), UndulationM: undulationM,
	}
}

// profiles walks the ranked lines that the report draws once more. Profiles come best first.
func profiles(opts *Options, world *World, lines []Sightline) ([]Profile, error) {
	byRank := map[int32]int{}
	for i := range lines {
		if r := lines[i].Rank; r != nil && int(*r) <= opts.Top {
			byRank[*r] = i
		}
	}
	walker := terrain.NewWalker(world.Store, world.Geoid, opts.SeaLevelM)
	var out []Profile
	for r := int32(1); int(r) <= len(byRank); r++ {
		index := byRank[r]
		line := &lines[index]
		from, to := &world.Features[world.find(line.ObserverID)], &world.Features[world.find(line.TargetID)]
		l, err := terrain.NewLine(
			terrain.End{At: from.At, HeightM: line.EyeHeightM, UndulationM: world.Geoid.UndulationM(from.At)},
			terrain.End{At: to.At, HeightM: line.TopHeightM, UndulationM: world.Geoid.UndulationM(to.At)})
		if err != nil {
			return nil, fmt.Errorf("profile of %s to %s: %w", line.ObserverID, line.TargetID, err)
		}
		profile, err := Walk(walker, l)
		if err != nil {
			return nil, fmt.Errorf("profile of %s to %s: %w", line.ObserverID, line.TargetID, err)
		}
		profile.ObserverID, profile.TargetID, profile.Line = line.ObserverID, line.TargetID, index
		out = append(out, profile)
	}
	return out, nil
}

// sameCrossingM is how near two crossings are one.
const sameCrossingM = 1e-6

// Walk returns the ground along a line, at every crossing of a grid line of the terrain, gaps filled high.
func Walk(walker *terrain.Walker, l *terrain.Line) (Profile, error) {
	var p Profile
	sample := func(piece *terrain.Piece, t float64) {
		s := ProfileSample{
			DistanceM: piece.X + t, GroundM: piece.GroundAt(t), UndulationM: piece.N[0] + piece.N[1]*t, Source: "sea", Missing: piece.Missing,
		}
		if piece.Tile != nil {
			s.Source = piece.Tile.Name
		} else if piece.Missing {
			s.Source = "gap"
		}
		p.Samples = append(p.Samples, s)
	}
	var last terrain.Piece
	walker.Walk(l, terrain.FillHigh, 0, l.DistanceM, func(piece *terrain.Piece) bool {
		sample(piece, 0)
		last = *piece
		return true
	})
	if err := walker.Err(); err != nil {
		return p, err
	}
	sample(&last, last.W)
	// A line that begins on a grid line may have its first crossing a nanometre on.
	if first := &p.Samples[0]; first.DistanceM < sameCrossingM {
		first.DistanceM = 0
	}
	return p, nil
}

// describe fills the manifest but for its timings. What the lines met of missing terrain is what the store knows of this run's walks, and what
// records that were taken over know of theirs.
func (r *Result) describe(opts *Options, world *World, traced *traced) error {
	m := &r.Manifest
	m.Version = Version
	m.AirNotes = opts.AirNotes()
	m.Counts = traced.counts
	m.Counts.Dropped = len(world.Dropped)
	m.Counts.Read, m.Counts.Merged, m.Counts.NotStanding = world.Merging.Records, world.Merging.MergedRecords, world.NotStanding
	m.Counts.SourcesDisagree, m.SourcesDisagree = world.Merging.Disagreeing, world.Merging.Disagreements
	m.Rejected, m.NotStanding = world.Rejected, world.Gone
	for _, d := range world.Dropped {
		m.Dropped = append(m.Dropped, fmt.Sprintf("%s (%s): %s", d.ID, d.Name, d.Reason))
		if len(m.Dropped) == 20 {
			break
		}
	}
	tiles, err := world.settledInputs()
	if err != nil {
		return err
	}
	m.Inputs = append(append([]Input{}, world.Inputs...), tiles...)
	m.LicenceNote = licenceNote(world.Inputs)
	m.Terrain = TerrainSummary{Tiles: world.Index.Len(), MissingLandCells: []string{}, Unreadable: world.unreadable(), Notes: world.Index.Notes()}
	traced.met.Add(world.Store.Met())
	met := traced.met.Met()
	m.Terrain.VoidSamplesMet, m.Terrain.MissingLandCells = len(met.Voids), world.missingLandCells(met.Gaps)
	m.Terrain.RefusedSamples = world.Store.Refused()
	m.Parameters, err = opts.parameters()
	return err
}

// unreadable names the terrain files that could not be read, with the reasons.
func (w *World) unreadable() []string {
	reasons := []string{}
	for _, err := range w.Store.Unreadable() {
		reasons = append(reasons, err.Error())
	}
	for _, file := range w.unhashed { // they may lie under files that were asked first
		if !slices.ContainsFunc(reasons, tellsOf(file.path)) {
			reasons = append(reasons, file.reason)
		}
	}
	return reasons
}

// missingLandCells names the cells of land without a readable tile, by their south-west corners: those that lines met, and those that hold a
// feature.
func (w *World) missingLandCells(met [][2]int) []string {
	missing := map[string]bool{}
	for _, c := range met {
		missing[cellName(c[0], c[1])] = true
	}
	for i := range w.Features {
		at := w.Features[i].Listed
		if c := cellsOf(at)[0]; !w.covers(at) && w.Store.State(c[0], c[1]) == terrain.Gap {
			missing[cellName(c[0], c[1])] = true
		}
	}
	return append([]string{}, slices.Sorted(maps.Keys(missing))...)
}

// cellName is the name of a cell of 1° by its south-west corner: N55W004.
func cellName(lat, lon int) string {
	ns, ew := 'N', 'E'
	if lat < 0 {
		ns, lat = 'S', -lat
	}
	if lon < 0 {
		ew, lon = 'W', -lon
	}
	return fmt.Sprintf("%c%02d%c%03d", ns, lat, ew, lon)
}

// parameters are the options that the result depends on, as run.json states them.
func (o *Options) parameters() (map[string]any, error) {
	text, err := json.Marshal(o)
	if err != nil {
		return nil, fmt.Errorf("parameters: %w", err)
	}
	var p map[string]any
	if err := json.Unmarshal(text, &p); err != nil {
		return nil, fmt.Errorf("parameters: %w", err)
	}
	p["weights"] = o.EffectiveWeights()
	return p, nil
}
