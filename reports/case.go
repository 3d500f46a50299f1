package reports

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"

	"farstation/pipeline"
)

// The files of a case besides its photographs and tables of points.
const (
	caseFeaturesFile = "features.csv"
	caseProfilesFile = "profiles.csv"
	caseClaimFile    = "claim.json"
)

// WriteCase writes a new folder with all that a weighing stands on: the photographs as they are, the points, features and profiles that were used, the
// claim, weigh.json, weigh.html and the record case.json that it can be weighed again from. It is complete or absent: written beside its place and
// renamed. A folder that exists is an error.
func WriteCase(ctx context.Context, dir string, w *pipeline.Weighing) error {
	record := w.Record
	files := []File{
		{weighJSONFile, func(out io.Writer) error { return WriteJSON(out, w) }},
		{weighPageFile, func(out io.Writer) error { return WriteWeighPage(out, w) }},
		{pipeline.CaseFile, func(out io.Writer) error { return WriteJSON(out, record) }},
		{caseFeaturesFile, func(out io.Writer) error { _, err := io.WriteString(out, record.CaseFeatures()); return err }},
	}
	if len(record.Profiles) > 0 {
		files = append(files, File{caseProfilesFile, func(out io.Writer) error { return writeCaseProfiles(out, record.Profiles) }})
	}
	for i := range record.Photos {
		files = append(files, copied(record.Photos[i].File, record.Photos[i].Source), copied(record.Points[i].File, record.Points[i].Source))
	}
	if w.Prediction != nil {
		files = append(files, copied(caseClaimFile, w.Prediction.Path))
	}
	return WriteNewFolder(ctx, dir, files)
}

// copied is a file with the bytes of another.
func copied(name, from string) File {
	return File{name, func(out io.Writer) error {
		in, err := os.Open(from)
		if err != nil {
			return err
		}
		_, err = io.Copy(out, in)
		return errors.Join(err, in.Close())
	}}
}

func writeCaseProfiles(out io.Writer, profiles []pipeline.Profile) error {
	table := csv.NewWriter(out)
	if err := table.Write([]string{"observer_id", "target_id", "distance_m", "ground_m", "undulation_m", "source", "missing"}); err != nil {
		return err
	}
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', 3, 64) }
	for _, p := range profiles {
		for _, s := range p.Samples {
			if err := table.Write([]string{csvInert(p.ObserverID), csvInert(p.TargetID), number(s.DistanceM), number(s.GroundM), number(s.UndulationM), csvInert(s.Source), strconv.FormatBool(s.Missing)}); err != nil {
				return err
			}
		}
	}
	table.Flush()
	return table.Error()
}

// WriteNewFolder writes a folder of files that must not exist yet, complete or not at all: the files are written to a folder beside it, brought
// to disk and renamed. When ctx is cancelled, what was written is removed.
func WriteNewFolder(ctx context.Context, dir string, files []File) (err error) {
	if err := CheckOut(dir, false); err != nil {
		return err
	}
	place, err := placeOf(dir)
	if err != nil {
		return err
	}
	fail := func(err error) error { return fmt.Errorf("folder %s: %w", dir, reason(err)) }
	if err := os.MkdirAll(place.parent, 0o777); err != nil {
		return fail(err)
	}
	part, err := place.makeBeside(partWord)
	if err != nil {
		return fail(err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(part))
		}
	}()
	for _, file := range files {
		if _, err := writeFile(ctx, part, file); err != nil {
			return fail(err)
		}
	}
	if err := errors.Join(syncFolder(part), ctx.Err()); err != nil {
		return fail(err)
	}
	if err := place.commit(part, false); err != nil {
		return fail(err)
	}
	return nil
}
