package reports

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"iter"
	"path/filepath"
	"strconv"
	"strings"

	"farstation/pipeline"
)

// ClaimInput is what a run folder holds of the line that a claim is about.
type ClaimInput struct {
	pipeline.ClaimRun
	// Line is the sightline, nil for an alignment; Alignment the other way round.
	Line      *pipeline.Sightline
	Alignment *pipeline.Alignment
	// Profile is the ground along the sightline, nil where the run does not hold it.
	Profile *pipeline.Profile
}

// ReadClaimInput finds a sightline or an alignment in a run folder, by its id (pipeline.LineID, pipeline.AlignmentID) or its rank; the other
// of the two is empty.
func ReadClaimInput(dir, line, alignment string) (*ClaimInput, error) {
	run, err := readRun(dir)
	if err != nil {
		return nil, err
	}
	sum, err := RunSHA256(dir)
	if err != nil {
		return nil, err
	}
	in := &ClaimInput{ClaimRun: pipeline.ClaimRun{Manifest: &run.Manifest, SHA256: sum, Features: map[string]pipeline.FeatureRow{}}}
	tables, ends := tablesOf(dir), []string{}
	if line != "" {
		in.Line, err = findRow(tables.Sightlines, line, "sightline", pipeline.LineID, func(l *pipeline.Sightline) *int32 { return l.Rank })
		if err == nil {
			ends = []string{in.Line.ObserverID, in.Line.TargetID}
		}
	} else {
		in.Alignment, err = findRow(tables.Alignments, alignment, "alignment", pipeline.AlignmentID, func(a *pipeline.Alignment) *int32 { return a.Rank })
		if err == nil {
			ends = []string{in.Alignment.ObserverID, in.Alignment.NearID, in.Alignment.FarID}
		}
	}
	if err != nil {
		return nil, fmt.Errorf("run folder %s: %w", dir, err)
	}
	for feature, err := range tables.Features {
		if err != nil {
			return nil, fmt.Errorf("run folder %s: %w", dir, err)
		}
		for _, id := range ends {
			if feature.FeatureID == id {
				in.Features[id] = *feature
			}
		}
	}
	if in.Line == nil {
		return in, nil
	}
	for profile, err := range tables.Profiles {
		if err != nil {
			return nil, fmt.Errorf("run folder %s: %w", dir, err)
		}
		if profile.ObserverID == in.Line.ObserverID && profile.TargetID == in.Line.TargetID {
			in.Profile = profile
			break
		}
	}
	return in, nil
}

// Claim makes the claim.
func (in *ClaimInput) Claim() (*pipeline.Claim, error) {
	if in.Line != nil {
		return in.NewSightlineClaim(in.Line)
	}
	return in.NewAlignmentClaim(in.Alignment)
}

// RunSHA256 is the SHA-256 of a run's run.json, in hexadecimal.
func RunSHA256(dir string) (string, error) {
	text, err := pipeline.ReadRegular(filepath.Join(dir, manifestFile), mostManifestBytes)
	if err != nil {
		return "", fmt.Errorf("run folder %s: %w", dir, reason(err))
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:]), nil
}

// findRow returns the row that has an id, or a rank.
func findRow[Row any](rows iter.Seq2[*Row, error], wanted, what string, id func(*Row) string, rank func(*Row) *int32) (*Row, error) {
	number, notNumber := strconv.Atoi(strings.TrimPrefix(wanted, "#"))
	for row, err := range rows {
		if err != nil {
			return nil, err
		}
		r := rank(row)
		if id(row) == wanted || notNumber == nil && r != nil && int(*r) == number {
			found := *row
			return &found, nil
		}
	}
	parts := map[string]string{"sightline": "observer_id>target_id", "alignment": "observer_id>near_id>far_id"}
	return nil, fmt.Errorf("it has no %s %s: give the ids of its ends, %q, or its rank in the report", what, wanted, parts[what])
}
