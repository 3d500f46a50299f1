package reports

import (
	"fmt"
	"path/filepath"

	"farstation/pipeline"
)

// geometryRow is the part of a file row that gives the ends of a line back.
type geometryRow struct {
	Geometry []byte `parquet:"geometry"`
}

// ReadFeatures reads features.parquet.
func ReadFeatures(path string) ([]pipeline.FeatureRow, error) {
	return readRows[pipeline.FeatureRow](path)
}

// ReadSightlines reads sightlines.parquet. Both ends come from the geometry; Chunk is not kept in the file and is 0.
func ReadSightlines(path string) ([]pipeline.Sightline, error) {
	rows, err := readRows[pipeline.Sightline](path)
	if err != nil {
		return nil, err
	}
	err = readEnds(path, len(rows), func(i int, fromLatDeg, fromLonDeg, toLatDeg, toLonDeg float64) {
		rows[i].ObserverLatDeg, rows[i].ObserverLonDeg, rows[i].TargetLatDeg, rows[i].TargetLonDeg = fromLatDeg, fromLonDeg, toLatDeg, toLonDeg
	})
	return rows, err
}

// ReadAlignments reads alignments.parquet. Both ends come from the geometry; Chunk is not kept in the file and is 0.
func ReadAlignments(path string) ([]pipeline.Alignment, error) {
	rows, err := readRows[pipeline.Alignment](path)
	if err != nil {
		return nil, err
	}
	err = readEnds(path, len(rows), func(i int, fromLatDeg, fromLonDeg, toLatDeg, toLonDeg float64) {
		rows[i].ObserverLatDeg, rows[i].ObserverLonDeg, rows[i].FarLatDeg, rows[i].FarLonDeg = fromLatDeg, fromLonDeg, toLatDeg, toLonDeg
	})
	return rows, err
}

// ReadProfiles reads profiles.parquet. Line is not kept in the file and is 0.
func ReadProfiles(path string) ([]pipeline.Profile, error) {
	rows, err := readRows[profileRow](path)
	if err != nil {
		return nil, err
	}
	var profiles []pipeline.Profile
	for _, r := range rows {
		last := len(profiles) - 1
		if last < 0 || profiles[last].ObserverID != r.ObserverID || profiles[last].TargetID != r.TargetID {
			profiles = append(profiles, pipeline.Profile{ObserverID: r.ObserverID, TargetID: r.TargetID})
			last++
		}
		profiles[last].Samples = append(profiles[last].Samples, pipeline.ProfileSample{
			DistanceM: r.DistanceM, GroundM: r.GroundM, UndulationM: r.UndulationM, Source: r.Source, Missing: r.Missing,
		})
	}
	return profiles, nil
}

func readEnds(path string, rows int, set func(i int, fromLatDeg, fromLonDeg, toLatDeg, toLonDeg float64)) error {
	lines, err := readRows[geometryRow](path)
	if err != nil {
		return err
	}
	if len(lines) != rows {
		return fmt.Errorf("read %s: %d geometries for %d rows: the file is damaged", path, len(lines), rows)
	}
	for i, row := range lines {
		from, to, err := lineEnds(row.Geometry)
		if err != nil {
			return fmt.Errorf("read %s: row %d: geometry: %w", path, i, err)
		}
		set(i, from[1], from[0], to[1], to[0])
	}
	return nil
}

// readRows reads the columns that Row has; a column that the file lacks is an error, not a zero. Row must be a plain struct:
// parquet-go gives null pointers of an embedded struct back as zeros.
func readRows[Row any](path string) ([]Row, error) {
	var rows []Row
	for row, err := range rowsOf[Row](path, nil) {
		if err != nil {
			return nil, fmt.Errorf("%s: %w", filepath.Dir(path), err)
		}
		rows = append(rows, *row)
	}
	return rows, nil
}
