package reports

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"sync"

	"github.com/parquet-go/parquet-go"

	"farstation/geodesy"
	"farstation/pipeline"
)

// batchRows is the number of rows handed to the encoder at once.
const batchRows = 128

// createdBy is fixed, so that the same rows give the same bytes whatever the build. Readers take it apart: "name version x (build y)".
const createdBy = "farstation version 1 (build parquet-go)"

// The rows as they stand in the files: parquet-go lifts the columns of the embedded row to the top.
type (
	featureFileRow struct {
		pipeline.FeatureRow
		Geometry []byte `parquet:"geometry"`
		BBox     bbox   `parquet:"bbox"`
	}
	sightlineFileRow struct {
		pipeline.Sightline
		Geometry []byte `parquet:"geometry"`
		BBox     bbox   `parquet:"bbox"`
	}
	alignmentFileRow struct {
		pipeline.Alignment
		Geometry []byte `parquet:"geometry"`
		BBox     bbox   `parquet:"bbox"`
	}
)

// profileRow is one row of profiles.parquet.
type profileRow struct {
	ObserverID  string  `parquet:"observer_id,dict" unit:"" doc:"feature_id of the observer"`
	TargetID    string  `parquet:"target_id,dict" unit:"" doc:"feature_id of the target"`
	DistanceM   float64 `parquet:"distance_m" unit:"m" doc:"distance from the observer along the line"`
	GroundM     float64 `parquet:"ground_m" unit:"m" doc:"height of the ground over the geoid"`
	UndulationM float64 `parquet:"undulation_m" unit:"m" doc:"height of the EGM96 geoid over the ellipsoid"`
	Source      string  `parquet:"source,dict" unit:"" doc:"terrain file the ground comes from; sea where no tile is needed"`
	Missing     bool    `parquet:"missing" unit:"" doc:"terrain is missing here; ground_m is what the gap was filled with"`
}

// parquetTable says how rows of one kind become a file.
type parquetTable[Row, FileRow any] struct {
	file    string
	sorting []string
	// ordered tells whether rows in the order of compare are in that of the sorting columns too.
	ordered bool
	// compare orders rows as the file must have them; two equal rows are one row too many.
	compare func(a, b *Row) int
	// compareColumns orders rows by the sorting columns alone.
	compareColumns func(a, b *Row) int
	name           func(*Row) string
	// fileRow returns the row as it stands in the file.
	fileRow func(*Row, *geometries) (FileRow, error)
	// emptyGeometry is the geometry type to state for a file without rows; empty for a table without geometry.
	emptyGeometry string
}

// WriteFeatures writes features.parquet. Rows must be sorted by FeatureID, each once.
func WriteFeatures(w io.Writer, groups pipeline.Groups[pipeline.FeatureRow], workers int) error {
	byID := func(a, b *pipeline.FeatureRow) int { return cmp.Compare(a.FeatureID, b.FeatureID) }
	return writeTable(w, groups, workers, parquetTable[pipeline.FeatureRow, featureFileRow]{
		file:           featuresFile,
		sorting:        []string{"feature_id"},
		ordered:        true,
		compare:        byID,
		compareColumns: byID,
		name:           func(r *pipeline.FeatureRow) string { return r.FeatureID },
		fileRow: func(r *pipeline.FeatureRow, g *geometries) (featureFileRow, error) {
			at, box, err := mapPoint(geodesy.LatLon{LatDeg: r.LatitudeDeg, LonDeg: r.LongitudeDeg})
			if err != nil {
				return featureFileRow{}, err
			}
			encoded, err := g.add(at, box)
			return featureFileRow{*r, encoded, box}, err
		},
		emptyGeometry: "Point",
	})
}

// WriteSightlines writes sightlines.parquet. Rows must be sorted by Chunk, ObserverID, TargetID, each once.
func WriteSightlines(w io.Writer, groups pipeline.Groups[pipeline.Sightline], workers int) error {
	byIDs := func(a, b *pipeline.Sightline) int {
		return cmp.Or(cmp.Compare(a.ObserverID, b.ObserverID), cmp.Compare(a.TargetID, b.TargetID))
	}
	return writeTable(w, groups, workers, parquetTable[pipeline.Sightline, sightlineFileRow]{
		file:           sightlinesFile,
		sorting:        []string{"observer_id", "target_id"},
		compare:        func(a, b *pipeline.Sightline) int { return cmp.Or(cmp.Compare(a.Chunk, b.Chunk), byIDs(a, b)) },
		compareColumns: byIDs,
		name:           func(r *pipeline.Sightline) string { return r.ObserverID + " → " + r.TargetID },
		fileRow: func(r *pipeline.Sightline, g *geometries) (sightlineFileRow, error) {
			encoded, box, err := encodeLine(g, r.ObserverLatDeg, r.ObserverLonDeg, r.TargetLatDeg, r.TargetLonDeg)
			return sightlineFileRow{*r, encoded, box}, err
		},
		emptyGeometry: "LineString",
	})
}

// WriteAlignments writes alignments.parquet. Rows must be sorted by ObserverID, NearID, FarID, Case, each once.
func WriteAlignments(w io.Writer, groups pipeline.Groups[pipeline.Alignment], workers int) error {
	byIDs := func(a, b *pipeline.Alignment) int {
		return cmp.Or(cmp.Compare(a.ObserverID, b.ObserverID), cmp.Compare(a.NearID, b.NearID), cmp.Compare(a.FarID, b.FarID))
	}
	return writeTable(w, groups, workers, parquetTable[pipeline.Alignment, alignmentFileRow]{
		file:    alignmentsFile,
		sorting: []string{"observer_id", "near_id", "far_id"},
		ordered: true,
		compare: func(a, b *pipeline.Alignment) int {
			return cmp.Or(byIDs(a, b), cmp.Compare(a.Case, b.Case))
		},
		compareColumns: byIDs,
		name:           func(r *pipeline.Alignment) string { return r.ObserverID + " → " + r.NearID + ", " + r.FarID },
		fileRow: func(r *pipeline.Alignment, g *geometries) (alignmentFileRow, error) {
			encoded, box, err := encodeLine(g, r.ObserverLatDeg, r.ObserverLonDeg, r.FarLatDeg, r.FarLonDeg)
			return alignmentFileRow{*r, encoded, box}, err
		},
		emptyGeometry: "LineString",
	})
}

// WriteProfiles writes profiles.parquet: the samples of every profile, in the order given.
func WriteProfiles(w io.Writer, profiles []pipeline.Profile) error {
	var rows []profileRow
	for _, p := range profiles {
		for _, s := range p.Samples {
			rows = append(rows, profileRow{p.ObserverID, p.TargetID, s.DistanceM, s.GroundM, s.UndulationM, s.Source, s.Missing})
		}
	}
	return writeTable(w, pipeline.GroupsOf(rows), 1, parquetTable[profileRow, profileRow]{
		file: profilesFile,
		name: func(r *profileRow) string {
			return fmt.Sprintf("%s → %s at %.1f m", r.ObserverID, r.TargetID, r.DistanceM)
		},
		fileRow: func(r *profileRow, _ *geometries) (profileRow, error) { return *r, nil },
	})
}

func encodeLine(g *geometries, fromLatDeg, fromLonDeg, toLatDeg, toLonDeg float64) ([]byte, bbox, error) {
	geometry, box, err := mapLine(geodesy.LatLon{LatDeg: fromLatDeg, LonDeg: fromLonDeg}, geodesy.LatLon{LatDeg: toLatDeg, LonDeg: toLonDeg})
	if err != nil {
		return nil, bbox{}, err
	}
	encoded, err := g.add(geometry, box)
	return encoded, box, err
}

// writeTable checks order and numbers and writes the file: zstd, statistics for every column but the geometry, a row group for each group of
// rows. Groups are made and packed by workers, each to a file of its own in memory, and copied from there in their order. The same rows give
// the same bytes, however many workers there are.
func writeTable[Row, FileRow any](w io.Writer, groups pipeline.Groups[Row], workers int, t parquetTable[Row, FileRow]) error {
	// A reader compares options before it copies a group as it is: those of the groups are those of the file.
	options := []parquet.WriterOption{
		&parquet.WriterConfig{CreatedBy: createdBy},
		parquet.Compression(&parquet.Zstd),
		parquet.SkipPageBounds(geometryColumn), // the least of encoded geometries means nothing
	}
	// A group cannot claim for itself to be sorted (parquet-go 0.32 drops that of a copied group): the file claims it for all or none.
	if t.ordered {
		options = append(options, t.sorted())
	}
	numbers := floatColumns(reflect.TypeFor[Row]())
	buffers := sync.Pool{New: func() any { return &bytes.Buffer{} }}
	var writer *parquet.GenericWriter[FileRow]
	var geo geometries
	written := 0
	var last *Row
	err := inOrder(workers, len(groups), func(i int) (*packedGroup[Row], error) {
		rows, err := groups[i]()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", t.file, err)
		}
		return t.pack(rows, numbers, options, len(groups) == 1, buffers.Get().(*bytes.Buffer))
	}, func(g *packedGroup[Row]) error {
		defer buffers.Put(g.content)
		if g.rows == 0 {
			return nil
		}
		if t.compare != nil && last != nil {
			if err := t.inOrder(last, &g.first, written); err != nil {
				return err
			}
		}
		if g.fault != nil {
			return g.fault(written)
		}
		last, written = &g.last, written+g.rows
		geo.join(&g.geo)
		file, err := parquet.OpenFile(bytes.NewReader(g.content.Bytes()), int64(g.content.Len()))
		if err != nil {
			return fmt.Errorf("%s: %w", t.file, err)
		}
		if writer == nil {
			writer = parquet.NewGenericWriter[FileRow](w, g.options...)
		}
		for _, group := range file.RowGroups() {
			if _, err := writer.WriteRowGroup(group); err != nil {
				return fmt.Errorf("%s: %w", t.file, err)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if writer == nil {
		writer = parquet.NewGenericWriter[FileRow](w, options...)
	}
	if t.emptyGeometry != "" {
		metadata, err := geo.metadata(t.emptyGeometry)
		if err != nil {
			return fmt.Errorf("%s: metadata: %w", t.file, err)
		}
		writer.SetKeyValueMetadata(geoKey, metadata)
	}
	if err := writer.Close(); err != nil {
		return fmt.Errorf("%s: %w", t.file, err)
	}
	return nil
}

// packedGroup is a group of rows as a file of Parquet with one row group.
type packedGroup[Row any] struct {
	content     *bytes.Buffer
	options     []parquet.WriterOption
	rows        int
	first, last Row
	geo         geometries
	// fault is what is wrong with a row, told by the number of the group's first row in the table; nil for nothing.
	fault func(firstRow int) error
}

// sorted is the claim that rows are in the order of the sorting columns.
func (t *parquetTable[Row, FileRow]) sorted() parquet.WriterOption {
	var columns []parquet.SortingColumn
	for _, name := range t.sorting {
		columns = append(columns, parquet.Ascending(name))
	}
	return parquet.SortingWriterConfig(parquet.SortingColumns(columns...))
}

// pack packs a group of rows into a buffer; only tells whether there is no other.
func (t *parquetTable[Row, FileRow]) pack(rows []Row, numbers floatColumnSet, options []parquet.WriterOption, only bool, into *bytes.Buffer) (*packedGroup[Row], error) {
	into.Reset()
	g := &packedGroup[Row]{rows: len(rows), content: into}
	if len(rows) == 0 {
		return g, nil
	}
	g.first, g.last = rows[0], rows[len(rows)-1]
	var sorted bool
	if sorted, g.fault = t.check(rows); g.fault != nil {
		return g, nil
	}
	if sorted && only && !t.ordered {
		options = append(slices.Clone(options), t.sorted())
	}
	g.options = options
	writer := parquet.NewGenericWriter[FileRow](into, options...)
	batch := make([]FileRow, 0, min(batchRows, len(rows)))
	for i := range rows {
		err := numbers.check(reflect.ValueOf(&rows[i]).Elem())
		var row FileRow
		if err == nil {
			row, err = t.fileRow(&rows[i], &g.geo)
		}
		if err != nil {
			g.fault = func(firstRow int) error {
				return fmt.Errorf("%s: row %d, %s: %w", t.file, firstRow+i, t.name(&rows[i]), err)
			}
			return g, nil
		}
		batch = append(batch, row)
		if len(batch) == batchRows || i == len(rows)-1 {
			if _, err := writer.Write(batch); err != nil {
				return nil, fmt.Errorf("%s: %w", t.file, err)
			}
			batch = batch[:0]
		}
	}
	if err := writer.Close(); err != nil {
		return nil, fmt.Errorf("%s: %w", t.file, err)
	}
	return g, nil
}

// check holds the rows of a group against the table's order. It returns whether the sorting columns are in order as well: chunks follow each
// other along a curve, so a group of several chunks must not claim it.
func (t *parquetTable[Row, FileRow]) check(rows []Row) (sorted bool, fault func(firstRow int) error) {
	if t.compare == nil {
		return false, nil
	}
	sorted = true
	for i := 1; i < len(rows); i++ {
		previous, row := &rows[i-1], &rows[i]
		if t.compare(previous, row) >= 0 {
			return false, func(firstRow int) error { return t.inOrder(previous, row, firstRow+i) }
		}
		sorted = sorted && t.compareColumns(previous, row) <= 0
	}
	return sorted, nil
}

// inOrder tells whether a row, given with its number in the table, stands rightly after the one before.
func (t *parquetTable[Row, FileRow]) inOrder(previous, row *Row, number int) error {
	switch order := t.compare(previous, row); {
	case order == 0:
		return fmt.Errorf("%s: row %d, %s, stands there twice", t.file, number, t.name(row))
	case order > 0:
		return fmt.Errorf("%s: row %d, %s, is out of order after %s", t.file, number, t.name(row), t.name(previous))
	}
	return nil
}

// floatColumn is a column of doubles: the field's index and the column's name.
type floatColumn struct {
	index int
	name  string
}

type floatColumnSet []floatColumn

func floatColumns(row reflect.Type) floatColumnSet {
	var set floatColumnSet
	for i := range row.NumField() {
		field := row.Field(i)
		t := field.Type
		if t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		if name, _, ok := columnTag(field); ok && t.Kind() == reflect.Float64 {
			set = append(set, floatColumn{i, name})
		}
	}
	return set
}

// check refuses numbers that are not finite: what has no value is null, and text formats have no word for the rest.
func (set floatColumnSet) check(row reflect.Value) error {
	for _, column := range set {
		value := row.Field(column.index)
		if value.Kind() == reflect.Pointer {
			if value.IsNil() {
				continue
			}
			value = value.Elem()
		}
		if v := value.Float(); math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%s is %v, which no column may hold", column.name, v)
		}
	}
	return nil
}
