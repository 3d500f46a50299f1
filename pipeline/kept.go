package pipeline

import (
	"context"
	"fmt"
	"sync/atomic"

	"golang.org/x/sync/errgroup"
)

// blockRows is the number of rows that are spilled together.
const blockRows = 4096

// rowBlock is some rows of a table, spilled.
type rowBlock struct {
	blockAt
	rows int
}

// rowGroup is some blocks that follow each other; first is the number of their first row in the table.
type rowGroup struct {
	blocks []rowBlock
	first  int64
	rows   int
}

// groupsOfBlocks puts blocks together to groups of about groupRows rows.
func groupsOfBlocks(blocks []rowBlock) []rowGroup {
	var groups []rowGroup
	at := int64(0)
	for _, b := range blocks {
		if len(groups) == 0 || groups[len(groups)-1].rows >= groupRows {
			groups = append(groups, rowGroup{first: at})
		}
		g := &groups[len(groups)-1]
		g.blocks, g.rows = append(g.blocks, b), g.rows+b.rows
		at += int64(b.rows)
	}
	return groups
}

// rowsOfGroup reads a group.
func rowsOfGroup[Row any](s *spill, g *rowGroup) ([]Row, error) {
	all := make([]Row, 0, g.rows)
	for _, b := range g.blocks {
		rows, err := readRows[Row](s, b.blockAt)
		if err != nil {
			return nil, err
		}
		all = append(all, rows...)
	}
	return all, nil
}

// keptLine is a kept line with the features at its ends.
type keptLine struct {
	Sightline
	Observer, Target int32
}

// keptLines are the kept lines of a survey in a spill, in the order of their table, and what the whole region decides about them.
type keptLines struct {
	*spill
	opts   *Options
	groups []rowGroup
	// seers counts, by feature, the observers that have a listed line in view to it; observers are all of the region.
	seers     []int32
	observers int
	// places are known once the lines are ranked, by row.
	places []rankPlace
}

// rankPlace is a line's place in the ranking, 0 for none, and how many lines were found to be alike it.
type rankPlace struct{ rank, alike int32 }

// group makes the finished rows of a group.
func (k *keptLines) group(g *rowGroup) ([]Sightline, error) {
	lines, err := k.scored(g)
	if err != nil {
		return nil, err
	}
	rows := make([]Sightline, len(lines))
	for i := range lines {
		rows[i] = lines[i].Sightline
		if p := k.places[g.first+int64(i)]; p.rank > 0 {
			rows[i].Rank, rows[i].AlikeCount = pointer(p.rank), 1+p.alike
		}
	}
	return rows, nil
}

// scored reads a group and finishes its scores.
func (k *keptLines) scored(g *rowGroup) ([]keptLine, error) {
	lines, err := rowsOfGroup[keptLine](k.spill, g)
	if err != nil {
		return nil, err
	}
	for i := range lines {
		finishScore(k.opts, &lines[i].Sightline, int(k.seers[lines[i].Target]), k.observers)
	}
	return lines, nil
}

func (k *keptLines) table() Groups[Sightline] {
	return groupsOf(k.groups, k.group)
}

func groupsOf[Row any](groups []rowGroup, rows func(*rowGroup) ([]Row, error)) Groups[Row] {
	table := make(Groups[Row], len(groups))
	for i := range groups {
		table[i] = func() ([]Row, error) { return rows(&groups[i]) }
	}
	return table
}

// keptAlignments are the alignments of a survey in a spill, in the order of their table.
type keptAlignments struct {
	*spill
	groups []rowGroup
	ranks  []int32 // by row, once they are ranked
}

func (k *keptAlignments) group(g *rowGroup) ([]Alignment, error) {
	rows, err := rowsOfGroup[Alignment](k.spill, g)
	for i := range rows {
		rows[i].Rank = pointer(k.ranks[g.first+int64(i)])
	}
	return rows, err
}

func (k *keptAlignments) table() Groups[Alignment] { return groupsOf(k.groups, k.group) }

// rowGroupName names a group of rows in a panic.
func rowGroupName(i int) string { return fmt.Sprintf("row group %d", i) }

// sideBySide calls do for 0…n−1 on some goroutines, until one fails. where says what a call is at, for a panic.
func sideBySide(ctx context.Context, where func(i int) string, workers, n int, do func(i int) error) error {
	group, ctx := errgroup.WithContext(ctx)
	var next atomic.Int64
	for range min(max(workers, 1), n) {
		group.Go(func() error {
			i := 0
			return Guard(func() string { return where(i) }, func() error {
				for {
					if i = int(next.Add(1)) - 1; i >= n {
						return nil
					}
					if err := ctx.Err(); err != nil {
						return err
					}
					if err := do(i); err != nil {
						return err
					}
				}
			})
		})
	}
	return group.Wait()
}
