package reports

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"reflect"

	"github.com/parquet-go/parquet-go"

	"farstation/geodesy"
	"farstation/pipeline"
)

// rowGroupRows bounds the rows of a row group, and with them the memory that writing takes.
const rowGroupRows = 64 << 10

// batchRows is the number of rows handed to the encoder at once.
const batchRows = 1024

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
	rows, err := groups.Rows()
	if err != nil {
		return err
	}
	byID := func(a, b *pipeline.FeatureRow) int { return cmp.Compare(a.FeatureID, b.FeatureID) }
	return writeTable(w, rows, parquetTable[pipeline.FeatureRow, featureFileRow]{
		file:           featuresFile,
		sorting:        []string{"feature_id"},
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
	rows, err := groups.Rows()
	if err != nil {
		return err
	}
	byIDs := func(a, b *pipeline.Sightline) int {
		return cmp.Or(cmp.Compare(a.ObserverID, b.ObserverID), cmp.Compare(a.TargetID, b.TargetID))
	}
	return writeTable(w, rows, parquetTable[pipeline.Sightline, sightlineFileRow]{
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
	rows, err := groups.Rows()
	if err != nil {
		return err
	}
	byIDs := func(a, b *pipeline.Alignment) int {
		return cmp.Or(cmp.Compare(a.ObserverID, b.ObserverID), cmp.Compare(a.NearID, b.NearID), cmp.Compare(a.FarID, b.FarID))
	}
	return writeTable(w, rows, parquetTable[pipeline.Alignment, alignmentFileRow]{
		file:    alignmentsFile,
		sorting: []string{"observer_id", "near_id", "far_id"},
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
	return writeTable(w, rows, parquetTable[profileRow, profileRow]{
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

// writeTable checks order and numbers and writes the file: zstd, statistics for every column but the geometry, row groups of
// rowGroupRows. The same rows give the same bytes.
func writeTable[Row, FileRow any](w io.Writer, rows []Row, t parquetTable[Row, FileRow]) error {
	options := []parquet.WriterOption{
		&parquet.WriterConfig{CreatedBy: createdBy},
		parquet.Compression(&parquet.Zstd),
		parquet.MaxRowsPerRowGroup(rowGroupRows),
		parquet.SkipPageBounds(geometryColumn), // the least of encoded geometries means nothing
	}
	if sorted, err := t.check(rows); err != nil {
		return err
	} else if sorted {
		var columns []parquet.SortingColumn
		for _, name := range t.sorting {
			columns = append(columns, parquet.Ascending(name))
		}
		options = append(options, parquet.SortingWriterConfig(parquet.SortingColumns(columns...)))
	}

	writer := parquet.NewGenericWriter[FileRow](w, options...)
	numbers := floatColumns(reflect.TypeFor[Row]())
	var geo geometries
	batch := make([]FileRow, 0, min(batchRows, len(rows)))
	for i := range rows {
		if err := numbers.check(reflect.ValueOf(&rows[i]).Elem()); err != nil {
			return fmt.Errorf("%s: row %d, %s: %w", t.file, i, t.name(&rows[i]), err)
		}
		row, err := t.fileRow(&rows[i], &geo)
		if err != nil {
			return fmt.Errorf("%s: row %d, %s: %w", t.file, i, t.name(&rows[i]), err)
		}
		batch = append(batch, row)
		if len(batch) == batchRows || i == len(rows)-1 {
			if _, err := writer.Write(batch); err != nil {
				return fmt.Errorf("%s: %w", t.file, err)
			}
			batch = batch[:0]
		}
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

// check holds the rows against the table's order. It returns whether the sorting columns are in order within every row group as
// well: chunks follow each other along a curve, so a row group of several chunks must not claim it.
func (t *parquetTable[Row, FileRow]) check(rows []Row) (sorted bool, err error) {
	if t.compare == nil {
		return false, nil
	}
	sorted = true
	for i := 1; i < len(rows); i++ {
		previous, row := &rows[i-1], &rows[i]
		switch order := t.compare(previous, row); {
		case order == 0:
			return false, fmt.Errorf("%s: row %d, %s, stands there twice", t.file, i, t.name(row))
		case order > 0:
			return false, fmt.Errorf("%s: row %d, %s, is out of order after %s", t.file, i, t.name(row), t.name(previous))
		}
		if i%rowGroupRows != 0 && t.compareColumns(previous, row) > 0 {
			sorted = false
		}
	}
	return sorted, nil
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
