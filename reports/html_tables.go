package reports

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"farstation/pipeline"
)

// tableNameLetters is how much of a name a table shows.
const tableNameLetters = 48

// The roles of columns that the page's script knows.
const (
	roleName     = "name"
	roleHead     = "head" // the name that heads the row
	roleDistance = "distance"
	roleVerdict  = "verdict"
	roleCase     = "case"
)

// lineID names the section that draws a line; empty for none.
func lineID(section int) string {
	if section == 0 {
		return ""
	}
	return "line-" + strconv.Itoa(section)
}

// ranked returns the indices of the rows that have a rank, best first.
func ranked(n int, rank func(int) *int32) []int {
	var out []int
	for i := range n {
		if rank(i) != nil {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(*rank(a), *rank(b)) })
	return out
}

func rankedSightlines(result *pipeline.Result) []int {
	return ranked(len(result.Shown.Sightlines), func(i int) *int32 { return result.Shown.Sightlines[i].Rank })
}

func rankedAlignments(result *pipeline.Result) []int {
	return ranked(len(result.Shown.Alignments), func(i int) *int32 { return result.Shown.Alignments[i].Rank })
}

// shorten cuts rows to the table's size and says so; of is the number of all such rows of the run.
func shorten(rows []int, of int, opts HTMLOptions, file string) ([]int, string) {
	rows = rows[:min(opts.TableRows, len(rows), of)]
	if len(rows) == of {
		return rows, ""
	}
	return rows, fmt.Sprintf("The best %s of %s are shown; all stand in %s.", decimals(float64(len(rows)), 0), decimals(float64(of), 0), file)
}

func numberCell(text string, sortBy float64) htmlTableCell {
	return htmlTableCell{htmlCell: valueCell(text, sortBy), Numeric: true}
}

func optionalCell(v *float64, write func(float64) string, why string) htmlTableCell {
	return htmlTableCell{htmlCell: optional(v, write, why), Numeric: true}
}

func textCell(s string) htmlTableCell { return htmlTableCell{htmlCell: htmlCell{Text: s, Sort: s}} }

func nameCell(name string) htmlTableCell {
	return htmlTableCell{htmlCell: htmlCell{Sort: plainName(name)}, HTML: htmlName(name, tableNameLetters)}
}

// doubtCell lists the codes of a row, or says that there are none.
func doubtCell(codes string) htmlTableCell {
	if codes == "" {
		return textCell("none")
	}
	return textCell(strings.ReplaceAll(codes, ",", ", "))
}

func sightlineTable(result *pipeline.Result, m *dataMaker, sections map[int]int, opts HTMLOptions) htmlTable {
	rows, note := shorten(rankedSightlines(result), result.Shown.Ranked, opts, "sightlines.parquet")
	t := htmlTable{
		ID: "sightlines", Caption: "Sightlines, best first",
		Cut: note,
		Columns: []htmlColumn{
			{Head: "rank", Numeric: true},
			{Head: "observer", Role: roleName}, {Head: "target", Role: roleHead},
			{Head: "distance, km", Role: roleDistance, Numeric: true},
			{Head: "azimuth, °", Title: "at the observer, from north eastward", Numeric: true},
			{Head: "verdict", Role: roleVerdict},
			{Head: "critical refraction", Title: "k_c: the k at which the top just grazes; the lower, the surer", Numeric: true},
			{Head: "chance", Title: "that no ground cuts off the top; says nothing of haze", Numeric: true},
			{Head: "obscured height, m", Title: "all that lies lower is cut off from view, at k", Numeric: true},
			{Head: "score", Title: "0 to 100", Numeric: true},
			{Head: "alike", Title: "lines alike this one, itself included", Numeric: true},
			{Head: "doubts"},
		},
	}
	for _, i := range rows {
		l := &result.Shown.Sightlines[i]
		target := nameCell(l.TargetName)
		target.RowHead, target.Link = true, lineID(sections[i])
		t.line(m, l, sections[i])
		t.Rows = append(t.Rows, []htmlTableCell{
			numberCell(fmt.Sprint(*l.Rank), float64(*l.Rank)), nameCell(l.ObserverName), target,
			numberCell(decimals(l.DistanceM/1000, 1), l.DistanceM),
			numberCell(decimals(l.AzimuthDeg, 1), l.AzimuthDeg),
			textCell(string(l.Verdict)),
			numberCell(decimals(l.CriticalK, 3), l.CriticalK),
			optionalCell(l.Chance, chanceWords, "undecided: terrain is missing"),
			optionalCell(l.ObscuredHeightM, atDecimals(0), whyNotObscured(l)),
			optionalCell(score(l, opts), atDecimals(1), "not scored"),
			numberCell(fmt.Sprint(l.AlikeCount), float64(l.AlikeCount)),
			doubtCell(l.Doubts),
		})
	}
	t.finish()
	return t
}

// score is the one that ranks.
func score(l *pipeline.Sightline, opts HTMLOptions) *float64 {
	if opts.RankForPicture {
		return l.ScorePicture
	}
	return l.ScoreTest
}

// whyNotObscured says why a line has no obscured height.
func whyNotObscured(l *pipeline.Sightline) string {
	switch {
	case l.Verdict == pipeline.Undecided:
		return "undecided: terrain is missing"
	case l.MarginArcmin <= 0:
		return "the top itself is out of view"
	}
	return "nothing of the target is cut off"
}

func undecidedTable(result *pipeline.Result, m *dataMaker, sections map[int]int, opts HTMLOptions) htmlTable {
	var rows []int
	for i := range result.Shown.Sightlines {
		if result.Shown.Sightlines[i].Verdict == pipeline.Undecided {
			rows = append(rows, i)
		}
	}
	rows, note := shorten(rows, result.Shown.Verdicts[pipeline.Undecided], opts, "sightlines.parquet")
	t := htmlTable{
		ID: "undecided", Caption: "Undecided sightlines: terrain is missing and matters",
		Cut: strings.Replace(note, "The best", "The first", 1),
		Columns: []htmlColumn{
			{Head: "observer", Role: roleName}, {Head: "target", Role: roleHead},
			{Head: "distance, km", Role: roleDistance, Numeric: true},
			{Head: "terrain missing at, km", Title: "distance from the observer", Numeric: true},
			{Head: "terrain there, %", Title: "share of the line with terrain, sea included", Numeric: true},
			{Head: "chance, gap filled high", Numeric: true},
			{Head: "chance, gap as sea", Numeric: true},
		},
	}
	for _, i := range rows {
		l := &result.Shown.Sightlines[i]
		target := nameCell(l.TargetName)
		target.RowHead, target.Link = true, lineID(sections[i])
		t.line(m, l, sections[i])
		t.Rows = append(t.Rows, []htmlTableCell{
			nameCell(l.ObserverName), target,
			numberCell(decimals(l.DistanceM/1000, 1), l.DistanceM),
			optionalCell(l.UndecidedAtM, func(m float64) string { return decimals(m/1000, 1) }, "the row does not say where"),
			numberCell(decimals(100*l.TerrainCoverage, 1), l.TerrainCoverage),
			numberCell(chanceWords(l.ChanceLow), l.ChanceLow),
			numberCell(chanceWords(l.ChanceHigh), l.ChanceHigh),
		})
	}
	t.finish()
	return t
}

func alignmentTable(result *pipeline.Result, m *dataMaker, opts HTMLOptions) htmlTable {
	rows, note := shorten(rankedAlignments(result), result.Shown.RankedAlignments, opts, "alignments.parquet")
	t := htmlTable{
		ID: "alignments", Caption: "Alignments, best first",
		Cut: note,
		Columns: []htmlColumn{
			{Head: "rank", Numeric: true},
			{Head: "near top", Role: roleName}, {Head: "km", Title: "from the observer to the near top", Numeric: true},
			{Head: "far top", Role: roleHead}, {Head: "km", Title: "from the observer to the far top", Role: roleDistance, Numeric: true},
			{Head: "observer", Role: roleName},
			{Head: "case", Role: roleCase},
			{Head: "separation curved, ′", Title: "far top above near top in apparent elevation, at k, with its standard deviation", Numeric: true},
			{Head: "separation plane, ′", Title: "the same on the plane, light straight", Numeric: true},
			{Head: "order", Title: "of the two tops by height in the frame, under both models"},
			{Head: "evidence, sd", Title: "difference between the models over the standard deviation of the separation", Numeric: true},
			{Head: "chance", Title: "that the alignment shows what its case says", Numeric: true},
			{Head: "score", Title: "0 to 100", Numeric: true},
			{Head: "doubts"},
		},
	}
	for _, i := range rows {
		a := &result.Shown.Alignments[i]
		far := nameCell(a.FarName)
		far.RowHead = true
		t.alignment(m, a)
		t.Rows = append(t.Rows, []htmlTableCell{
			numberCell(fmt.Sprint(*a.Rank), float64(*a.Rank)),
			nameCell(a.NearName), numberCell(decimals(a.NearDistanceM/1000, 1), a.NearDistanceM),
			far, numberCell(decimals(a.FarDistanceM/1000, 1), a.FarDistanceM), nameCell(a.ObserverName),
			textCell(caseWords(a.Case) + middleWords(a.MiddleIDs)),
			numberCell(plusMinus(a.SeparationArcmin, a.SeparationSDArcmin, 1), a.SeparationArcmin),
			numberCell(decimals(a.SeparationPlaneArcmin, 1), a.SeparationPlaneArcmin),
			textCell(orderWords(a.OrderCurved, a.OrderPlane)),
			numberCell(decimals(a.EvidenceSD, 1), a.EvidenceSD),
			numberCell(chanceWords(a.Chance), a.Chance),
			numberCell(decimals(a.Score, 1), a.Score),
			doubtCell(a.Doubts),
		})
	}
	t.finish()
	return t
}

func caseWords(c pipeline.Case) string {
	switch c {
	case pipeline.BothInView:
		return "both in view"
	case pipeline.FarBehindNear:
		return "far behind near"
	case pipeline.NearMissingFarSeen:
		return "near cut off, far seen"
	}
	return strings.ReplaceAll(string(c), "_", " ")
}

// middleWords says how many more tops stand in line between the two.
func middleWords(ids string) string {
	if ids == "" {
		return ""
	}
	return fmt.Sprintf("; %d more in line between", strings.Count(ids, ",")+1)
}

// orderWords says whether the models put the two tops in the same order.
func orderWords(curved, plane string) string {
	if curved == plane {
		return "same"
	}
	return "differs"
}
