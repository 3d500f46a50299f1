package reports

import (
	"encoding/json"
	"fmt"
	"html/template"
	"maps"
	"slices"
	"strings"

	"farstation/pipeline"
)

// htmlSummary is the first paragraph and the count of each verdict.
type htmlSummary struct {
	Words    template.HTML
	Best     template.HTML
	Marked   template.HTML // what is to be doubted of the best line
	Verdicts []htmlVerdict
}

type htmlVerdict struct{ Name, Count, Meaning string }

func newHTMLSummary(result *pipeline.Result, opts HTMLOptions) htmlSummary {
	counts := result.Manifest.Counts
	features := counts.Features
	words := htmlf("%s were read.", plural(features, "feature", "features"))
	if counts.Candidates > 0 {
		words = htmlf("%s were read; %s may see each other over their sea horizons, and %s traced over the terrain, near tops and tops that should be missing among them.",
			plural(features, "feature", "features"), plural(counts.Candidates, "pair", "pairs"), wereCount(counts.Traced))
	}
	words += htmlf(" This run lists %s and %s.",
		plural(listedLines(result), "sightline", "sightlines"), plural(result.Shown.RankedAlignments, "alignment", "alignments"))
	s := htmlSummary{Words: words}
	for _, v := range []struct {
		verdict pipeline.Verdict
		meaning string
	}{
		{pipeline.Direct, "in view without any bending of light"},
		{pipeline.Refracted, "in view with the usual bending, " + decimals(opts.K, 3) + ", or less"},
		{pipeline.Looming, "in view only with more bending than usual, up to " + decimals(opts.K+3*opts.KSD, 3)},
		{pipeline.Blocked, "out of view at all of that"},
		{pipeline.Undecided, "terrain is missing and matters"},
	} {
		s.Verdicts = append(s.Verdicts, htmlVerdict{string(v.verdict), decimals(float64(result.Shown.Verdicts[v.verdict]), 0), v.meaning})
	}
	if order := rankedSightlines(result); len(order) > 0 {
		best := &result.Shown.Sightlines[order[0]]
		s.Best, _ = claimOf(best, opts)
		if best.Doubts != "" {
			s.Marked = htmlf("It is doubted: %s.", doubtWords(best.Doubts, opts.Doubts))
		}
	}
	return s
}

// listedLines is the number of sightlines of the run.
func listedLines(result *pipeline.Result) int {
	n := 0
	for _, of := range result.Shown.Verdicts {
		n += of
	}
	return n
}

func wereCount(n int) string {
	if n == 1 {
		return "1 was"
	}
	return decimals(float64(n), 0) + " were"
}

// htmlMethod holds the numbers that the page on the method states.
type htmlMethod struct {
	K, KSD, LowK, HighK, MostK, GuardM string
	Gradient, Overturn, Times          string
	Ranking                            string
}

func newHTMLMethod(opts HTMLOptions) htmlMethod {
	gradient, overturn := planeGradient(opts.K)
	m := htmlMethod{
		K: decimals(opts.K, 3), KSD: decimals(opts.KSD, 3),
		LowK: decimals(opts.K-2*opts.KSD, 3), HighK: decimals(opts.K+2*opts.KSD, 3), MostK: decimals(opts.K+3*opts.KSD, 3),
		GuardM:   metres(opts.GuardM),
		Gradient: decimals(gradient, 3), Overturn: decimals(overturn, 3), Times: decimals(gradient/overturn, 1),
		Ranking: "as a test of the models",
	}
	if opts.RankForPicture {
		m.Ranking = "as a picture"
	}
	return m
}

// htmlManifest is what run.json holds, without dates, durations and what depends on the machine.
type htmlManifest struct {
	Version    string
	Parameters []htmlPair
	Counts     []htmlPair
	Inputs     []pipeline.Input
	// LicenceNote says what the licences of the inputs ask of whoever passes the result on.
	LicenceNote string
	Rejected    []htmlRejected
	Tiles       string
	Voids       string
	Missing     []string
	Unreadable  []string
}

type htmlPair struct{ Name, Value string }

type htmlRejected struct {
	Path   string
	Line   int
	Reason string
}

func newHTMLManifest(m *pipeline.Manifest) htmlManifest {
	count := func(n int) string { return decimals(float64(n), 0) }
	out := htmlManifest{
		Version: m.Version, Inputs: m.Inputs, LicenceNote: m.LicenceNote,
		Tiles: count(m.Terrain.Tiles), Voids: count(m.Terrain.VoidSamplesMet),
		Missing: m.Terrain.MissingLandCells, Unreadable: m.Terrain.Unreadable,
		Counts: []htmlPair{
			{"records read", count(m.Counts.Read)}, {"records merged into others", count(m.Counts.Merged)}, {"features not standing, left out", count(m.Counts.NotStanding)},
			{"features whose sources disagree on heights", count(m.Counts.SourcesDisagree)}, {"features", count(m.Counts.Features)}, {"observers", count(m.Counts.Observers)}, {"targets", count(m.Counts.Targets)},
			{"candidate pairs", count(m.Counts.Candidates)}, {"lines traced, near ones too", count(m.Counts.Traced)},
			{"sightlines kept", count(m.Counts.Kept)}, {"alignments", count(m.Counts.Alignments)},
		},
	}
	for _, name := range slices.Sorted(maps.Keys(m.Parameters)) {
		if ofMachine(name) {
			continue
		}
		// A parameter is a plain value read from a flag; one that JSON cannot hold is shown as Go prints it.
		text, err := json.Marshal(m.Parameters[name])
		if err != nil {
			text = fmt.Append(nil, m.Parameters[name])
		}
		out.Parameters = append(out.Parameters, htmlPair{strings.ReplaceAll(name, "_", " "), string(text)})
	}
	for _, input := range m.Rejected {
		for _, r := range input.Rows {
			out.Rejected = append(out.Rejected, htmlRejected{input.Path, r.Line, r.Reason})
		}
	}
	return out
}

// ofMachine tells the parameters that the result does not depend on; with them the report's bytes would differ between machines.
func ofMachine(parameter string) bool {
	switch strings.Map(func(r rune) rune {
		if r == '_' || r == '-' {
			return -1
		}
		return r
	}, strings.ToLower(parameter)) {
	case "workers", "memory", "memorybytes", "out", "replace", "quiet", "log":
		return true
	}
	return false
}

// Bytes are written out here because a template has no way to put spaces between thousands.
func (htmlManifest) Size(n int64) string { return decimals(float64(n), 0) }

// Count writes a whole number likewise.
func (htmlManifest) Count(n int) string { return decimals(float64(n), 0) }
