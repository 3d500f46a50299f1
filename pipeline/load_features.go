package pipeline

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// readFeatures reads all gazetteers. A row whose id another file has already is rejected: it is the same record.
func (w *World) readFeatures(ctx context.Context, opts *Options, progress *Progress) error {
	type known struct {
		path, name string
		at         geodesy.LatLon
	}
	first := map[string]known{} // by id
	for _, path := range opts.Features {
		repeated := 0
		var rows []gazetteer.Rejected
		report, err := gazetteer.ReadFile(ctx, path, gazetteer.ReadOptions{AsListed: opts.AsListed}, func(f gazetteer.Feature) error {
			progress.add(1)
			if other, taken := first[f.ID]; taken {
				if madeByHand(f.ID) && geodesy.WGS84.Inverse(f.Listed, other.at).DistanceM > sameThingM {
					return fmt.Errorf("id %s is %s in %s and another thing, %s, here: make the ids differ, with a prefix for each file", f.ID, other.name, other.path, f.Name)
				}
				repeated++
				if len(rows) < 20 {
					rows = append(rows, gazetteer.Rejected{Line: f.Line, Reason: fmt.Sprintf("id %s stands in %s already", f.ID, other.path)})
				}
				return nil
			}
			first[f.ID] = known{path, f.Name, f.Listed}
			w.Features = append(w.Features, f)
			return nil
		})
		if err != nil {
			return err
		}
		terms := opts.FeatureTerms[path].or(Terms{report.Licence, report.Attribution})
		w.Inputs = append(w.Inputs, Input{
			Path: path, Bytes: report.Bytes, SHA256: report.SHA256, Format: report.Format, Licence: terms.Licence,
			Attribution: terms.Attribution, Rows: report.Rows, Used: report.Used - repeated, Rejected: report.RejectedRows + repeated,
		})
		if rows = append(slices.Clone(report.Rejected), rows...); len(rows) > 0 {
			w.Rejected = append(w.Rejected, InputRejected{Path: path, Rows: rows[:min(len(rows), 20)]})
		}
	}
	return nil
}

// sameThingM is how far apart two rows of one id may lie and still be one thing, in metres.
const sameThingM = 1000

// madeByHand tells ids that the makers of files choose, so that two files may give one id to two things.
func madeByHand(id string) bool {
	return strings.HasPrefix(id, "csv:") || strings.HasPrefix(id, "geojson:")
}

// mergeFeatures makes one feature of the records of one thing, and leaves out what stands no longer, or not yet.
func (w *World) mergeFeatures() {
	w.Features, w.Merging = gazetteer.Merge(w.Features)
	w.Features = slices.DeleteFunc(w.Features, func(f gazetteer.Feature) bool {
		if f.Stands() {
			return false
		}
		if w.NotStanding++; len(w.Gone) < maxGoneListed {
			w.Gone = append(w.Gone, gone(&f))
		}
		return true
	})
}

// maxGoneListed bounds how many features that do not stand are named.
const maxGoneListed = 1000

// gone names a feature that does not stand, with what its record has of its dates.
func gone(f *gazetteer.Feature) string {
	text := fmt.Sprintf("%s (%s, %s)", f.ID, f.Name, f.Kind)
	if f.StartDate != "" {
		text += ", from " + f.StartDate
	}
	if f.EndDate != "" {
		text += ", until " + f.EndDate
	}
	return text
}

// covers tells whether a readable tile covers a place.
func (w *World) covers(at geodesy.LatLon) bool {
	return slices.ContainsFunc(cellsOf(at), func(c [2]int) bool { return w.Store.State(c[0], c[1]) == terrain.HasTile })
}
