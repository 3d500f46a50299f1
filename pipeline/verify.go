package pipeline

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"slices"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy"
)

// The results of a rule.
const (
	Passed  = "passed"
	Failed  = "failed"
	Skipped = "skipped"
)

// Finding is what one rule of a verification found. Reason says why a rule failed or was skipped, or what a passed one went over.
type Finding struct {
	Title  string `json:"title"`
	Result string `json:"result"`
	Reason string `json:"reason"`
}

// ErrSkipped marks a rule that could not be applied, which is no fault of the run.
var ErrSkipped = errors.New("skipped")

// NewFinding is the finding of a rule that ended with err and, where it passed, has note to say.
func NewFinding(title, note string, err error) Finding {
	switch {
	case err == nil:
		return Finding{title, Passed, note}
	case errors.Is(err, ErrSkipped):
		return Finding{title, Skipped, strings.TrimPrefix(err.Error(), ErrSkipped.Error()+": ")}
	default:
		return Finding{title, Failed, err.Error()}
	}
}

// Tables gives the tables of a run row by row, in file order, as often as they are asked for. A row lives until the next one.
type Tables struct {
	Features   iter.Seq2[*FeatureRow, error]
	Sightlines iter.Seq2[*Sightline, error]
	Alignments iter.Seq2[*Alignment, error]
	Profiles   iter.Seq2[*Profile, error]
}

// rowRule is one thing that must hold of every row of a table, and of the table once all rows were seen. Both functions may be nil.
type rowRule[Row any] struct {
	title string
	check func(*Row) error
	end   func() error
}

// applyRules holds every row against every rule, in one pass. A table that cannot be read fails them all.
func applyRules[Row any](ctx context.Context, rows iter.Seq2[*Row, error], name func(*Row) string, rules []rowRule[Row]) ([]Finding, error) {
	first := make([]error, len(rules))
	faults := make([]int, len(rules))
	count := 0
	for row, err := range rows {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err != nil {
			for i := range rules {
				first[i], faults[i] = err, 1
			}
			break
		}
		count++
		for i, rule := range rules {
			if rule.check == nil {
				continue
			}
			if err := rule.check(row); err != nil {
				if faults[i]++; first[i] == nil {
					first[i] = fmt.Errorf("row %d, %s: %w", count, name(row), err)
				}
			}
		}
	}
	findings := make([]Finding, len(rules))
	for i, rule := range rules {
		if first[i] == nil && rule.end != nil {
			first[i] = rule.end()
		}
		if faults[i] > 1 {
			first[i] = fmt.Errorf("%w (and %d rows more)", first[i], faults[i]-1)
		}
		findings[i] = NewFinding(rule.title, fmt.Sprintf("%d rows", count), first[i])
	}
	return findings, nil
}

// verification is what the rules of a run know of it. Features are held in memory, and of each sightline what alignments must agree with.
type verification struct {
	manifest *Manifest
	opts     Options
	features []gazetteer.Feature
	index    map[string]int32
	chunk    map[int32]int // of each observer
	lines    map[lineKey]*lineFacts
	counts   Counts
	ranked   map[int32]bool
	drawn    map[int32]*Sightline // of ranks up to Top
}

// lineKey is a sightline by the places of its ends in features.
type lineKey struct{ observer, target int32 }

// lineFacts is what alignments must agree with.
type lineFacts struct {
	distanceM, azimuthDeg, elevationDeg, criticalK, chance float64
	verdict                                                Verdict
	// alignments and bestNear are what the row says, counted and best what the alignments give.
	alignments, counted int32
	bestNear            string
	best                float64
	bestIDs             []string
}

// OptionsOf returns the options that the parameters of a run.json state.
func OptionsOf(m *Manifest) (Options, error) {
	opts := DefaultOptions()
	text, err := json.Marshal(m.Parameters)
	if err == nil {
		err = json.Unmarshal(text, &opts)
	}
	if err != nil {
		return opts, fmt.Errorf("parameters of run.json: %w", err)
	}
	return opts, errors.Join(opts.LoadAir(), opts.Validate())
}

// VerifyTables holds the tables of a run against each other, against its parameters, and against a sample of up to sample sightlines
// computed again, spread over the table. The error is that of ctx; all else is a finding.
func VerifyTables(ctx context.Context, m *Manifest, tables *Tables, sample int) ([]Finding, error) {
	v := &verification{manifest: m, index: map[string]int32{}, lines: map[lineKey]*lineFacts{}, ranked: map[int32]bool{}, drawn: map[int32]*Sightline{}}
	var err error
	v.opts, err = OptionsOf(m)
	findings := []Finding{NewFinding("the parameters are those of a survey", "", err)}
	if err != nil {
		return findings, nil
	}
	ground, groundErr := inputsUnchanged(ctx, m)
	findings = append(findings, ground...)

	steps := []func() ([]Finding, error){
		func() ([]Finding, error) {
			return applyRules(ctx, tables.Features, func(f *FeatureRow) string { return f.FeatureID }, v.featureRules())
		},
		func() ([]Finding, error) {
			v.orderObservers()
			return applyRules(ctx, tables.Sightlines, func(s *Sightline) string { return s.ObserverID + " → " + s.TargetID }, v.sightlineRules())
		},
		func() ([]Finding, error) {
			return applyRules(ctx, tables.Alignments, func(a *Alignment) string { return a.ObserverID + " → " + a.NearID + ", " + a.FarID }, v.alignmentRules())
		},
		func() ([]Finding, error) {
			return applyRules(ctx, tables.Profiles, func(p *Profile) string { return p.ObserverID + " → " + p.TargetID }, v.profileRules())
		},
		func() ([]Finding, error) {
			return []Finding{NewFinding("the counts of run.json are those of the tables", "", v.checkCounts())}, nil
		},
		func() ([]Finding, error) { return v.recompute(ctx, tables, sample, groundErr) },
	}
	for _, step := range steps {
		found, err := step()
		if err != nil {
			return nil, err
		}
		findings = append(findings, found...)
	}
	return findings, nil
}

// inputsUnchanged holds every input of a run against its size and SHA-256. The error says why nothing can be computed from the terrain again.
func inputsUnchanged(ctx context.Context, m *Manifest) (findings []Finding, ground error) {
	var missing, changed []string
	for _, in := range m.Inputs {
		if ctx.Err() != nil {
			break
		}
		isTerrain := !slices.Contains(featurePaths(m), in.Path)
		fault := ""
		info, err := os.Stat(in.Path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			missing = append(missing, in.Path)
			if isTerrain && ground == nil {
				ground = fmt.Errorf("%w: terrain %s is not there: run it where the survey ran, with its terrain", ErrSkipped, in.Path)
			}
			continue
		case err != nil:
			fault = err.Error()
		case info.Size() != in.Bytes:
			fault = fmt.Sprintf("%s has %d bytes, run.json says %d", in.Path, info.Size(), in.Bytes)
		default:
			sum, err := hashFile(in.Path)
			if err != nil && in.SHA256 != "" { // else it could not be read then
				fault = err.Error()
			} else if err == nil && sum != in.SHA256 {
				fault = fmt.Sprintf("%s has SHA-256 %s, run.json says %s", in.Path, sum, in.SHA256)
			}
		}
		if fault != "" {
			changed = append(changed, fault)
			if isTerrain && ground == nil {
				ground = fmt.Errorf("%w: terrain %s is not that of the run", ErrSkipped, in.Path)
			}
		}
	}
	var err error
	switch {
	case len(changed) > 0:
		err = errors.New(strings.Join(changed, "; "))
	case len(missing) > 0:
		err = fmt.Errorf("%w: not at the place that run.json states (relative paths are taken from here): %s", ErrSkipped, shortList(missing))
	}
	return []Finding{NewFinding("every input has the size and SHA-256 that run.json states", fmt.Sprintf("%d files", len(m.Inputs)), err)}, ground
}

func featurePaths(m *Manifest) []string {
	opts, _ := OptionsOf(m)
	return opts.Features
}

// shortList names the first five of a list.
func shortList(names []string) string {
	const most = 5
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}

// feature turns a row back into the feature that it was made of.
func (r *FeatureRow) feature() gazetteer.Feature {
	split := func(text, separator string) []string {
		if text == "" {
			return nil
		}
		return strings.Split(text, separator)
	}
	return gazetteer.Feature{
		ID: r.FeatureID, Name: r.Name, OtherNames: split(r.OtherNames, "|"), Kind: gazetteer.Kind(r.Kind),
		At:     geodesy.LatLon{LatDeg: r.LatitudeDeg, LonDeg: r.LongitudeDeg},
		Listed: geodesy.LatLon{LatDeg: r.ListedLatitudeDeg, LonDeg: r.ListedLongitudeDeg}, MovedM: r.MovedM,
		GroundHeightM: r.GroundHeightM, ListedHeightM: orNaN(r.ListedHeightM), TerrainHeightM: orNaN(r.TerrainHeightM), HeightSource: r.HeightSource,
		StructureHeightM: r.StructureHeightM, GroundHeightSDM: r.GroundHeightSDM, StructureHeightSDM: r.StructureHeightSDM,
		PositionSDM: r.PositionSDM, Doubts: split(r.Doubts, ","), Sources: split(r.Sources, ","),
	}
}
