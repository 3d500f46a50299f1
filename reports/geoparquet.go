package reports

import (
	"encoding/json"
	"fmt"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkb"
)

// The columns that GeoParquet files add to their rows, and the key of the file's metadata.
const (
	geometryColumn = "geometry"
	bboxColumn     = "bbox"
	geoKey         = "geo"
)

// geoMetadata is the file metadata of GeoParquet 1.1.0. The reference system is left out, which means longitude and latitude on
// WGS84 (OGC:CRS84); edges are planar by default, and lines have enough points for that.
type geoMetadata struct {
	Version       string                     `json:"version"`
	PrimaryColumn string                     `json:"primary_column"`
	Columns       map[string]geoColumnFields `json:"columns"`
}

type geoColumnFields struct {
	Encoding      string                  `json:"encoding"`
	GeometryTypes []string                `json:"geometry_types"`
	BBox          []float64               `json:"bbox,omitempty"`
	Covering      map[string]coveringBBox `json:"covering,omitempty"`
}

// coveringBBox names the columns of the rows' boxes, as paths.
type coveringBBox struct {
	XMin []string `json:"xmin"`
	YMin []string `json:"ymin"`
	XMax []string `json:"xmax"`
	YMax []string `json:"ymax"`
}

// geometries gathers, row by row, what the file metadata says of the geometry column.
type geometries struct {
	types   []string
	extent  fileExtent
	crossed bool
}

// add encodes one geometry and takes it into the metadata.
func (g *geometries) add(geometry orb.Geometry, box bbox) ([]byte, error) {
	if kind := geometry.GeoJSONType(); !slices.Contains(g.types, kind) {
		g.types = append(g.types, kind)
	}
	g.extent.add(box)
	g.crossed = g.crossed || box.crosses()
	return wkb.Marshal(geometry)
}

// join takes up what others found.
func (g *geometries) join(other *geometries) {
	for _, kind := range other.types {
		if !slices.Contains(g.types, kind) {
			g.types = append(g.types, kind)
		}
	}
	g.extent.join(&other.extent)
	g.crossed = g.crossed || other.crossed
}

// metadata returns the value of the geo key. The rows' boxes are declared as a covering, for readers that pass over row groups by
// them, unless one crosses 180° of longitude: GeoParquet 1.1.0 rules the method out there, and such a reader would miss the row.
func (g *geometries) metadata(kindOfEmpty string) (string, error) {
	column := geoColumnFields{Encoding: "WKB", GeometryTypes: slices.Sorted(slices.Values(g.types))}
	if g.extent.any {
		column.BBox = g.extent.box()
	} else {
		column.GeometryTypes = []string{kindOfEmpty}
	}
	if !g.crossed {
		column.Covering = map[string]coveringBBox{bboxColumn: {
			[]string{bboxColumn, "xmin"}, []string{bboxColumn, "ymin"}, []string{bboxColumn, "xmax"}, []string{bboxColumn, "ymax"},
		}}
	}
	text, err := json.Marshal(geoMetadata{Version: "1.1.0", PrimaryColumn: geometryColumn, Columns: map[string]geoColumnFields{geometryColumn: column}})
	return string(text), err
}

// lineEnds returns the first and last point of an encoded line.
func lineEnds(encoded []byte) (first, last orb.Point, err error) {
	geometry, err := wkb.Unmarshal(encoded)
	if err != nil {
		return first, last, err
	}
	var parts orb.MultiLineString
	switch g := geometry.(type) {
	case orb.LineString:
		parts = orb.MultiLineString{g}
	case orb.MultiLineString:
		parts = g
	}
	if len(parts) == 0 || len(parts[0]) == 0 || len(parts[len(parts)-1]) == 0 {
		return first, last, fmt.Errorf("a %s without points is no line", geometry.GeoJSONType())
	}
	end := parts[len(parts)-1]
	return parts[0][0], end[len(end)-1], nil
}
