package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"farstation/geodesy/terrain"
	"farstation/pipeline"
)

const (
	bestShown       = 5
	alignmentsShown = 3
	rejectedShown   = 3
)

// summarise says on w what a survey found, ending with the best sightlines and where the report lies.
func summarise(w io.Writer, result *pipeline.Result, reportPath string) {
	m := &result.Manifest
	printf := func(format string, args ...any) { fmt.Fprint(w, plain(fmt.Sprintf(format, args...)), "\n") }
	for i := range m.Inputs {
		if in := &m.Inputs[i]; !in.IsTerrain() {
			printf("Features %s: %s read, %s used, %s of other kinds, %s rejected", in.Path, plural(in.Rows, "row", "rows"), count(in.Used),
				count(in.Rows-in.Used-in.Rejected), count(in.Rejected))
			for _, line := range rejectedLines(m.Rejected, in) {
				printf("  %s", line)
			}
		}
	}
	for _, line := range mergingLines(m) {
		printf("%s", line)
	}
	if m.Counts.Dropped > 0 {
		printf("Dropped: %s without a usable height", plural(m.Counts.Dropped, "feature", "features"))
		for i, line := range m.Dropped {
			if i == rejectedShown {
				printf("  and %s more, the first 20 of them in run.json", count(m.Counts.Dropped-i))
				break
			}
			printf("  %s", line)
		}
	}
	printf("Terrain: %s", terrainWords(&m.Terrain))
	for _, line := range readsLines(&result.Reads) {
		printf("%s", line)
	}
	for _, note := range m.AirNotes {
		printf("Air: %s", note)
	}
	for _, note := range m.Terrain.Notes {
		printf("  %s", note)
	}
	if m.LicenceNote != "" {
		printf("Licence: %s", m.LicenceNote)
	}
	if result.Reuse != nil {
		printf("%s", reuseWords(result.Reuse))
	}
	c := &m.Counts
	printf("Pairs: %s, %s; %s may see each other over their sea horizons and were traced, besides %s nearer than the least distance",
		plural(c.Observers, "observer", "observers"), plural(c.Targets, "target", "targets"), plural(c.Candidates, "pair", "pairs"), count(c.NearCandidates))
	var verdicts []string
	for _, v := range []pipeline.Verdict{pipeline.Direct, pipeline.Refracted, pipeline.Looming, pipeline.Blocked, pipeline.Undecided} {
		verdicts = append(verdicts, fmt.Sprintf("%s %s", v, count(c.Verdicts[v])))
	}
	printf("Verdicts: %s", strings.Join(verdicts, ", "))
	printf("Kept: %s, %s", plural(c.Kept, "sightline", "sightlines"), plural(c.Alignments, "alignment", "alignments"))
	if c.AlignmentsLeftOut > 0 {
		printf("Left out: %s with less evidence, of observers that have more than 50,000", plural(c.AlignmentsLeftOut, "alignment", "alignments"))
	}
	if hint := emptyHint(c); hint != "" {
		printf("%s", hint)
	}
	best := bestLines(result)
	if len(best) > 0 {
		printf("")
		printf("Best sightlines:")
	}
	for _, l := range best {
		for _, line := range lineWords(l) {
			printf("%s", line)
		}
	}
	pairs := bestAlignments(result)
	if len(pairs) > 0 {
		printf("")
		printf("Best alignments:")
	}
	for _, a := range pairs {
		for _, line := range alignmentWords(a) {
			printf("%s", line)
		}
	}
	printf("")
	printf("Report: %s", reportPath)
}

// mergingLines says what became of records that are no feature of their own.
func mergingLines(m *pipeline.Manifest) []string {
	var lines []string
	c := &m.Counts
	if c.Merged > 0 {
		lines = append(lines, fmt.Sprintf("Merged: %s, %s into one that lists the same thing", plural(c.Read, "record", "records"), count(c.Merged)))
	}
	if c.NotStanding > 0 {
		lines = append(lines, fmt.Sprintf("Not standing: %s left out, gone or not yet built", plural(c.NotStanding, "feature", "features")))
	}
	if c.SourcesDisagree > 0 {
		lines = append(lines, fmt.Sprintf("Heights: sources disagree on %s, the first 20 of them in run.json", plural(c.SourcesDisagree, "feature", "features")))
	}
	return lines
}

// rejectedLines names the first rejected rows of an input.
func rejectedLines(rejected []pipeline.InputRejected, in *pipeline.Input) []string {
	var lines []string
	for _, r := range rejected {
		if r.Path != in.Path {
			continue
		}
		for i, row := range r.Rows {
			if i == rejectedShown {
				return append(lines, fmt.Sprintf("and %s more, the first 20 rejected rows in run.json", count(in.Rejected-i)))
			}
			lines = append(lines, fmt.Sprintf("%s line %d: %s", in.Path, row.Line, row.Reason))
		}
	}
	return lines
}

// reuseWords says what was taken over from an earlier run.
func reuseWords(r *pipeline.Reuse) string {
	if r.Why != "" {
		return "Reused: nothing; " + r.Why
	}
	return fmt.Sprintf("Reused: %s as they were, %s in part; %s traced anew", plural(r.Whole, "observer", "observers"), count(r.Partly), count(r.Anew))
}

// readsLines says what the cache gave, or what it might have spared.
func readsLines(r *terrain.Reads) []string {
	// A tile that is read a few times costs little beside the tracing.
	const often = 4
	switch {
	case r.Cache == nil && r.Decoded > often*r.Cells:
		return []string{fmt.Sprintf("Terrain was read %s for %s, for want of memory: more --memory spares that, or --cache DIR", plural(r.Decoded, "time", "times"), plural(r.Cells, "tile", "tiles"))}
	case r.Cache == nil:
		return nil
	}
	lines := []string{fmt.Sprintf("Cache: %s found, %s added", plural(r.Cache.Found, "tile", "tiles"), count(r.Cache.Added))}
	if r.Cache.Err != nil {
		lines = append(lines, "  "+r.Cache.Err.Error())
	}
	return lines
}

func terrainWords(t *pipeline.TerrainSummary) string {
	text := plural(t.Tiles, "tile", "tiles")
	if n := len(t.Unreadable); n > 0 {
		text += fmt.Sprintf(", %s of them not readable", count(n))
	}
	if n := len(t.MissingLandCells); n > 0 {
		shown := t.MissingLandCells[:min(n, 8)]
		more := ""
		if n > len(shown) {
			more = " and " + count(n-len(shown)) + " more"
		}
		hold := "hold"
		if len(shown) == 1 && more == "" {
			hold = "holds"
		}
		text += fmt.Sprintf("; none for %s%s, which %s land: lines across them may be undecided", strings.Join(shown, ", "), more, hold)
	}
	return text
}

// emptyHint says what to change when a survey found nothing.
func emptyHint(c *pipeline.Counts) string {
	switch {
	case c.Features == 0:
		return "No feature was left to survey: see what was rejected above."
	case c.Observers == 0:
		return "No observer: no feature inside the area is of a kind that looks (peak, hill, volcano, viewpoint, unless --observer-kinds says otherwise; a row of a CSV without a kind is a place)."
	case c.Targets == 0:
		return "No target: no feature is of the kinds in --target-kinds."
	case c.Candidates == 0:
		return noPair(c)
	case c.Kept == 0:
		return "No sightline was likely enough to be kept; --keep all keeps every pair."
	default:
		return ""
	}
}

// bestLines returns the sightlines of the first places, best first.
func bestLines(result *pipeline.Result) []*pipeline.Sightline {
	var best []*pipeline.Sightline
	for i := range result.Shown.Sightlines {
		if l := &result.Shown.Sightlines[i]; l.Rank != nil && *l.Rank <= bestShown {
			best = append(best, l)
		}
	}
	slices.SortFunc(best, func(a, b *pipeline.Sightline) int { return cmp.Compare(*a.Rank, *b.Rank) })
	return best
}

// bestAlignments returns the alignments of the first places, best first.
func bestAlignments(result *pipeline.Result) []*pipeline.Alignment {
	var best []*pipeline.Alignment
	for i := range result.Shown.Alignments {
		if a := &result.Shown.Alignments[i]; a.Rank != nil && *a.Rank <= alignmentsShown {
			best = append(best, a)
		}
	}
	slices.SortFunc(best, func(a, b *pipeline.Alignment) int { return cmp.Compare(*a.Rank, *b.Rank) })
	return best
}

// lineWords says in words what a ranked sightline promises.
func lineWords(l *pipeline.Sightline) []string {
	lines := []string{
		fmt.Sprintf("%d. From %s (%s) to %s (%s), %s away at azimuth %s:", *l.Rank, l.ObserverName, l.ObserverKind, l.TargetName, l.TargetKind,
			kilometres(l.DistanceM), degrees(l.AzimuthDeg)),
		fmt.Sprintf("   %s, %s; chance %s;", l.Verdict, verdictWords(l.Verdict), chance(*l.Chance)),
		fmt.Sprintf("   %s.", obscuredWords(l)),
	}
	return append(lines, doubtLines(l.Doubts)...)
}

// alignmentWords says in words what a ranked alignment promises.
func alignmentWords(a *pipeline.Alignment) []string {
	lines := []string{fmt.Sprintf("%d. From %s: %s, %s away, and %s, %s away, %s apart in azimuth:", *a.Rank, a.ObserverName, a.NearName, kilometres(a.NearDistanceM),
		a.FarName, kilometres(a.FarDistanceM), arcmin(math.Abs(a.AzimuthDifferenceArcmin)))}
	switch a.Case {
	case pipeline.NearMissingFarSeen:
		lines = append(lines, fmt.Sprintf("   under the curve %s is out of view while the farther %s shows; on the plane both show; chance %s.", a.NearName, a.FarName, chance(a.Chance)))
	case pipeline.FarBehindNear:
		lines = append(lines, fmt.Sprintf("   under the curve %s is hidden behind %s; on the plane it shows over it; chance %s.", a.FarName, a.NearName, chance(a.Chance)))
	default:
		lines = append(lines, fmt.Sprintf("   under the curve %s stands %s (± %s) %s, on the plane %s; chance %s that both show.", a.FarName,
			separated(a.SeparationArcmin), arcmin(a.SeparationSDArcmin), a.NearName, separated(a.SeparationPlaneArcmin), chance(a.Chance)))
	}
	return append(lines, doubtLines(a.Doubts)...)
}

func doubtLines(codes string) []string {
	if codes == "" {
		return nil
	}
	return []string{fmt.Sprintf("   Doubts: %s (\"farstation schema\" explains them).", strings.ReplaceAll(codes, ",", ", "))}
}

// noPair says why no pair was a candidate.
func noPair(c *pipeline.Counts) string {
	switch {
	case c.Features < 2 && c.Dropped > 0:
		return fmt.Sprintf("No pair: %s left out, mostly for want of a height: give terrain (\"farstation tiles\" says which tiles), or heights.", plural(c.Dropped, "feature was", "features were"))
	case c.NearCandidates > 0:
		return fmt.Sprintf("No pair: all %d pairs that may see each other are nearer than --min-distance-km.", c.NearCandidates)
	}
	return "No pair: no two features within --min-distance-km and --max-distance-km stand high enough to see each other."
}
