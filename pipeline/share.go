package pipeline

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"farstation/geodesy/terrain"
)

// Part is one of several parts that a survey is split into: Share, from 1, of Of.
type Part struct{ Share, Of int }

// mostShares bounds the number of parts.
const mostShares = 1_000_000

// ParsePart reads I/N.
func ParsePart(text string) (Part, error) {
	share, of, _ := strings.Cut(text, "/")
	i, err := strconv.Atoi(share)
	n, errOf := strconv.Atoi(of)
	if err = errors.Join(err, errOf); err != nil || i < 1 || n < i || n > mostShares {
		return Part{}, fmt.Errorf("share %q: want I/N with I from 1 to N, such as 3/16", text)
	}
	return Part{i, n}, nil
}

func (p Part) String() string { return fmt.Sprintf("%d/%d", p.Share, p.Of) }

// chunks returns the first chunk of the part and the one after its last. Parts are as equal as they can be, and run along the Hilbert curve, so
// that each needs little of the terrain.
func (p Part) chunks(n int) (first, end int) {
	return (p.Share - 1) * n / p.Of, p.Share * n / p.Of
}

// Share is one part of a survey as its manifest describes it, share.json.
type Share struct {
	Version string `json:"farstation_version"`
	// Build is the program that made it; see Build.
	Build string `json:"build"`
	Share int    `json:"share"`
	Of    int    `json:"of"`
	// Chunks of observers in the whole survey, and observers in this share; Traced counts the share's lines.
	Chunks    int `json:"chunks"`
	Observers int `json:"observers"`
	Traced    int `json:"traced"`
	// Options are those of the survey, Feet whether its texts have feet beside metres.
	Options Options `json:"options"`
	Feet    bool    `json:"feet"`
	Inputs  []Input `json:"inputs"`
	// Unreadable are terrain files that could not be read.
	Unreadable []string `json:"unreadable"`
	// PeakMemory is what run.json has of this name.
	PeakMemory int64 `json:"peak_memory_bytes"`

	// Records are the share's rows, for writing.
	Records *Records `json:"-"`
	// Reuse says what was taken over; nil where nothing was to be.
	Reuse *Reuse `json:"-"`
	// Reads says how often terrain was read.
	Reads terrain.Reads `json:"-"`
}

// Close gives up what the records are written from.
func (s *Share) Close() error {
	if s.Records == nil {
		return nil
	}
	return s.Records.spill.Close()
}

// Part is the part that the share is.
func (s *Share) Part() Part { return Part{s.Share, s.Of} }

// TraceShare runs one part of a survey: it traces the part's observers and leaves rows, ranking and report to Gather. Before are the records of
// an earlier run, as for SurveySince, or nil.
func TraceShare(ctx context.Context, opts Options, part Part, before *RecordsFile, progress *Progress) (_ *Share, err error) {
	j, err := begin(ctx, opts, progress)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			j.spill.Close()
		}
	}()
	e, reuse, err := j.earlier(before)
	if err != nil {
		return nil, err
	}
	traced, err := j.traceAll(ctx, e, part, progress)
	if err != nil {
		return nil, err
	}
	inputs, err := j.inputs()
	if err != nil {
		return nil, err
	}
	s := &Share{
		Version: Version, Build: j.build, Share: part.Share, Of: part.Of, Chunks: len(j.plan.chunks), Observers: traced.counts.Observers,
		Traced: traced.counts.Traced, Options: opts, Inputs: inputs, Unreadable: j.world.unreadable(), Records: j.records(traced), Reuse: reuse, Reads: j.world.Store.Reads(),
	}
	if reuse != nil {
		reuse.Whole, reuse.Partly, reuse.Anew = traced.whole, traced.partly, traced.anew
	}
	return s, nil
}

// inputs are the files that were read.
func (j *job) inputs() ([]Input, error) {
	tiles, err := j.world.settledInputs()
	if err != nil {
		return nil, err
	}
	return append(append([]Input{}, j.world.Inputs...), tiles...), nil
}
