package pipeline

import (
	"bytes"
	"context"
)

// held is a result with its tables in memory.
type held struct {
	*Result
	Features   []FeatureRow
	Sightlines []Sightline
	Alignments []Alignment
	Ranked     []Sightline
	records    []byte
}

func hold(r *Result) (*held, error) {
	h := &held{Result: r}
	var err error
	if h.Features, err = r.Features.Rows(); err != nil {
		return nil, err
	}
	if h.Sightlines, err = r.Sightlines.Rows(); err != nil {
		return nil, err
	}
	if h.Alignments, err = r.Alignments.Rows(); err != nil {
		return nil, err
	}
	if h.Ranked, err = r.Ranked.Rows(); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = r.Records.Write(&b)
	h.records = b.Bytes()
	return h, err
}

// heldSurvey is Survey with its tables in memory.
func heldSurvey(ctx context.Context, opts Options, progress *Progress) (*held, error) {
	r, err := Survey(ctx, opts, progress)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return hold(r)
}
