package reports

import (
	"context"
	"fmt"
	"io"

	"farstation/geodesy/terrain"
	"farstation/pipeline"
)

// OpenOutingRun opens a run folder to plan outings from; terrain stands in for the run's where it is given. made is the day of the outings' claims
// and kSource says where k is from, as ClaimRun has them.
func OpenOutingRun(dir string, sources []terrain.Source, made, kSource string) (*pipeline.OutingRun, error) {
	run, err := readRun(dir)
	if err != nil {
		return nil, err
	}
	sum, err := RunSHA256(dir)
	if err != nil {
		return nil, err
	}
	planned, err := pipeline.NewOutingRun(pipeline.ClaimRun{Manifest: &run.Manifest, SHA256: sum, Made: made, KSource: kSource}, tablesOf(dir), sources)
	if err != nil {
		return nil, fmt.Errorf("run folder %s: %w", dir, err)
	}
	return planned, nil
}

// The files of an outing folder; those of one outing carry its number.
const (
	outingJSONFile = "outing.json"
	outingGPXFile  = "places.gpx"
)

// WriteOutings writes a new folder: outing.json with all outings, places.gpx, and for each its page outing-N.html and, where something is
// claimed, claim-N.json, from 1. It is complete or absent.
func WriteOutings(ctx context.Context, dir string, outings []pipeline.Outing) error {
	files := []File{
		{outingJSONFile, func(w io.Writer) error { return WriteJSON(w, outings) }},
		{outingGPXFile, func(w io.Writer) error { return WriteOutingGPX(w, outings) }},
	}
	for i := range outings {
		o := &outings[i]
		files = append(files, File{fmt.Sprintf("outing-%d.html", i+1), func(w io.Writer) error { return WriteOutingPage(w, o) }})
		if o.Claim == nil {
			continue
		}
		text, err := o.Claim.Encode()
		if err != nil {
			return err
		}
		files = append(files, File{fmt.Sprintf("claim-%d.json", i+1), func(w io.Writer) error { _, err := w.Write(text); return err }})
	}
	return WriteNewFolder(ctx, dir, files)
}
