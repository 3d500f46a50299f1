package reports

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"path/filepath"
	"reflect"
	"slices"

	"github.com/parquet-go/parquet-go"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkb"

	"farstation/pipeline"
)

// lineEndsDeg are the ends of a row's geometry.
type lineEndsDeg struct{ fromLat, fromLon, toLat, toLon float64 }

// rowsOf reads a table in batches, the ends of its geometries where set is given. Any fault ends it with an error that names the file.
func rowsOf[Row any](path string, set func(*Row, *lineEndsDeg)) iter.Seq2[*Row, error] {
	return func(yield func(*Row, error) bool) {
		file, closeFile, err := openTable(path)
		if err != nil {
			yield(nil, err)
			return
		}
		defer closeFile()
		if err := hasColumns(file, path, columnsOf(reflect.TypeFor[Row]())); err != nil {
			yield(nil, err)
			return
		}
		var shapes *batches[geometryRow]
		if set != nil {
			shapes = newBatches[geometryRow](file)
			defer shapes.reader.Close()
		}
		rows := newBatches[Row](file)
		defer rows.reader.Close()
		for i := 0; ; i++ {
			row, err := rows.next()
			if err == io.EOF {
				return
			}
			if err == nil && set != nil {
				err = setEnds(shapes, row, set)
			}
			if err != nil {
				yield(nil, fmt.Errorf("read %s: row %d: %w", filepath.Base(path), i+1, err))
				return
			}
			if !yield(row, nil) {
				return
			}
		}
	}
}

func setEnds[Row any](shapes *batches[geometryRow], row *Row, set func(*Row, *lineEndsDeg)) error {
	shape, err := shapes.next()
	if err != nil {
		return err
	}
	from, to, err := lineEnds(shape.Geometry)
	if err != nil {
		return fmt.Errorf("geometry: %w", err)
	}
	set(row, &lineEndsDeg{from[1], from[0], to[1], to[0]})
	return nil
}

// batches reads rows one by one, batchRows at a time.
type batches[Row any] struct {
	reader *parquet.GenericReader[Row]
	batch  []Row
	at, n  int
	err    error
}

func newBatches[Row any](file *parquet.File) *batches[Row] {
	return &batches[Row]{reader: parquet.NewGenericReader[Row](file), batch: make([]Row, batchRows)}
}

// next returns the next row, which lives until the next batch, or io.EOF after the last.
func (b *batches[Row]) next() (row *Row, err error) {
	defer func() {
		// Damaged pages make the decoder panic in places.
		if fault := recover(); fault != nil {
			row, err = nil, fmt.Errorf("damaged: %v", fault)
		}
	}()
	if b.at == b.n {
		if b.err != nil {
			return nil, b.err
		}
		clear(b.batch) // a null leaves what stood there
		b.at = 0
		if b.n, b.err = b.reader.Read(b.batch); b.n == 0 {
			if b.err == nil {
				b.err = io.ErrNoProgress
			}
			return nil, b.err
		}
	}
	b.at++
	return &b.batch[b.at-1], nil
}

func openTable(path string) (file *parquet.File, closeFile func(), err error) {
	name := filepath.Base(path)
	reader, err := pipeline.OpenRegular(path)
	if err != nil {
		return nil, nil, fmt.Errorf("read %s: %w", name, reason(err))
	}
	defer func() {
		if fault := recover(); fault != nil {
			err = fmt.Errorf("read %s: damaged: %v", name, fault)
		}
		if err != nil {
			err = errors.Join(err, reader.Close())
		}
	}()
	status, err := reader.Stat()
	if err != nil {
		return nil, nil, err
	}
	if err = checkFoot(reader, status.Size()); err == nil {
		file, err = parquet.OpenFile(reader, status.Size())
	}
	if err != nil {
		return nil, nil, fmt.Errorf("read %s: %w", name, err)
	}
	return file, func() { reader.Close() }, nil
}

// checkFoot wants the foot of a file to lie within it (Apache Parquet, File Format: magic, rows, foot, its length in 4 bytes, magic). The library
// asks for as much memory as that length says, up to 4 GiB, before it looks.
func checkFoot(file io.ReaderAt, size int64) error {
	var end [8]byte
	if _, err := file.ReadAt(end[:], max(size-int64(len(end)), 0)); err != nil && err != io.EOF {
		return err
	}
	if length := int64(binary.LittleEndian.Uint32(end[:])); size < parquetFrameBytes || length > size-parquetFrameBytes {
		return fmt.Errorf("no Parquet file, or damaged: its foot is to have %d bytes, the file has %d", length, size)
	}
	return nil
}

// parquetFrameBytes are those of a file around rows and foot.
const parquetFrameBytes = 4 + 4 + 4

// hasColumns wants columns of these names in a file; their types are another rule.
func hasColumns(file *parquet.File, path string, columns []Column) error {
	for _, column := range columns {
		if _, ok := file.Schema().Lookup(column.Name); !ok && column.Type != "group" {
			return fmt.Errorf("read %s: column %s is missing: it is another table, or of another version", filepath.Base(path), column.Name)
		}
	}
	return nil
}

// checkSchemas holds the tables against the data dictionary: the same columns in the same order, their types, and whether they may be null. A
// column that may not be null is required in the file, which then cannot hold one.
func checkSchemas(ctx context.Context, dir string) (string, error) {
	columns := 0
	for _, table := range Dictionary() {
		if filepath.Ext(table.File) != ".parquet" {
			continue
		}
		if err := ctx.Err(); err != nil {
			return "", err
		}
		file, closeFile, err := openTable(filepath.Join(dir, table.File))
		if err != nil {
			return "", err
		}
		fields := file.Schema().Fields()
		closeFile()
		for i := range max(len(fields), len(table.Columns)) {
			switch {
			case i >= len(fields):
				return "", fmt.Errorf("%s: column %s is missing", table.File, table.Columns[i].Name)
			case i >= len(table.Columns):
				return "", fmt.Errorf("%s: column %s is not in the dictionary", table.File, fields[i].Name())
			}
			is := Column{Name: fields[i].Name(), Type: fileType(fields[i]), Nullable: fields[i].Optional()}
			if want := table.Columns[i]; is.Name != want.Name || is.Type != want.Type || is.Nullable != want.Nullable || fields[i].Repeated() {
				return "", fmt.Errorf("%s: column %d is %s (%s, null %s), the dictionary has %s (%s, null %s)", table.File, i+1,
					is.Name, is.Type, nullWord(is.Nullable), want.Name, want.Type, nullWord(want.Nullable))
			}
			columns++
		}
	}
	return fmt.Sprintf("%d columns", columns), nil
}

// fileType is the type of a column in the words of the dictionary.
func fileType(node parquet.Node) string {
	if !node.Leaf() {
		return "group"
	}
	switch node.Type().Kind() {
	case parquet.Double:
		return "double"
	case parquet.Boolean:
		return "boolean"
	case parquet.Int32:
		return "int32"
	case parquet.ByteArray:
		if parquet.EqualTypes(node.Type(), parquet.String().Type()) {
			return "string"
		}
		return "binary"
	}
	return node.Type().String()
}

// boxedRow is the part of a file row that its geometry fills.
type boxedRow struct {
	Geometry []byte `parquet:"geometry"`
	BBox     bbox   `parquet:"bbox"`
}

// checkGeo holds the geometry columns against GeoParquet 1.1.0: metadata, encoding, types, covering columns, boxes. A box holds every point of
// its geometry and no more.
func checkGeo(ctx context.Context, dir string) (string, error) {
	total := 0
	for _, name := range []string{featuresFile, sightlinesFile, alignmentsFile} {
		n, err := checkGeoFile(ctx, filepath.Join(dir, name))
		if err != nil {
			return "", fmt.Errorf("%s: %w", name, err)
		}
		total += n
	}
	return fmt.Sprintf("%d geometries", total), nil
}

func checkGeoFile(ctx context.Context, path string) (rows int, err error) {
	file, closeFile, err := openTable(path)
	if err != nil {
		return 0, err
	}
	defer closeFile()
	text, ok := file.Lookup(geoKey)
	if !ok {
		return 0, errors.New("the file has no geo metadata")
	}
	var meta geoMetadata
	if err := json.Unmarshal([]byte(text), &meta); err != nil {
		return 0, fmt.Errorf("geo metadata: %w", err)
	}
	column := meta.Columns[geometryColumn]
	if meta.Version != "1.1.0" || meta.PrimaryColumn != geometryColumn || column.Encoding != "WKB" {
		return 0, fmt.Errorf("geo metadata has version %q, primary column %q, encoding %q", meta.Version, meta.PrimaryColumn, column.Encoding)
	}
	if err := hasColumns(file, path, []Column{{Name: geometryColumn}}); err != nil {
		return 0, err
	}
	for _, corner := range [][]string{{bboxColumn, "xmin"}, {bboxColumn, "ymin"}, {bboxColumn, "xmax"}, {bboxColumn, "ymax"}} {
		if leaf, ok := file.Schema().Lookup(corner...); !ok || fileType(leaf.Node) != "double" {
			return 0, fmt.Errorf("column %s.%s of the box is missing", corner[0], corner[1])
		}
	}
	var extent fileExtent
	crossed := false
	shapes := newBatches[boxedRow](file)
	defer shapes.reader.Close()
	for ; ; rows++ {
		row, err := shapes.next()
		if err == io.EOF {
			break
		}
		if err = errors.Join(err, ctx.Err()); err != nil {
			return 0, err
		}
		geometry, err := wkb.Unmarshal(row.Geometry)
		if err != nil {
			return 0, fmt.Errorf("row %d: geometry: %w", rows+1, err)
		}
		if kind := geometry.GeoJSONType(); !slices.Contains(column.GeometryTypes, kind) {
			return 0, fmt.Errorf("row %d: a %s, the metadata has %v", rows+1, kind, column.GeometryTypes)
		}
		if want := boxOf(geometry); row.BBox != want {
			return 0, fmt.Errorf("row %d: box %v, the geometry's is %v", rows+1, row.BBox, want)
		}
		extent.add(row.BBox)
		crossed = crossed || row.BBox.crosses()
	}
	if rows > 0 && !slices.Equal(column.BBox, extent.box()) {
		return 0, fmt.Errorf("metadata has box %v, the rows' is %v", column.BBox, extent.box())
	}
	if _, covered := column.Covering[bboxColumn]; covered == crossed {
		return 0, fmt.Errorf("covering declared: %v, a geometry crosses 180°: %v", covered, crossed)
	}
	return rows, nil
}

// boxOf is the box of a geometry; parts on either side of 180° make one that crosses it.
func boxOf(geometry orb.Geometry) bbox {
	b := geometry.Bound()
	parts, many := geometry.(orb.MultiLineString)
	if !many {
		return bbox{b.Min[0], b.Min[1], b.Max[0], b.Max[1]}
	}
	box := bbox{XMin: math.Inf(1), YMin: b.Min[1], XMax: math.Inf(-1), YMax: b.Max[1]}
	for _, part := range parts {
		if side := part.Bound(); side.Max[0] == 180 {
			box.XMin = min(box.XMin, side.Min[0])
		} else {
			box.XMax = max(box.XMax, side.Max[0])
		}
	}
	return box
}

// sample is a row without the names of its line.
func (r *profileRow) sample() pipeline.ProfileSample {
	return pipeline.ProfileSample{DistanceM: r.DistanceM, GroundM: r.GroundM, UndulationM: r.UndulationM, Source: r.Source, Missing: r.Missing}
}
