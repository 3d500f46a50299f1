package pipeline

import (
	"context"
	"slices"
	"sync"

	"farstation/gazetteer"
)

// ranking is what ranking gave besides the places of rows: how many there are, and the ranked lines in the order of rank.
type ranking struct {
	ranked  int
	buckets *rankBuckets
}

// rankLines sets the places of lines, best first. Lines alike a better one get none: they are counted with it.
func (j *job) rankLines(ctx context.Context, k *keptLines, progress *Progress) (*ranking, error) {
	order := newRankOrder(k.spill)
	err := sideBySide(ctx, rowGroupName, j.opts.Workers, len(k.groups), func(i int) error {
		g := &k.groups[i]
		lines, err := k.scored(g)
		if err != nil {
			return err
		}
		keys := make([]rankKey, 0, len(lines))
		for i := range lines {
			l := &lines[i]
			if value := l.rankValue(j.opts); value != nil && l.Verdict != Blocked {
				keys = append(keys, rankKey{score: *value, second: l.CriticalK, row: g.first + int64(i), distanceM: l.DistanceM, observer: l.Observer, target: l.Target})
			}
		}
		progress.add(len(lines))
		return order.add(keys)
	})
	if err != nil {
		return nil, err
	}
	rows := int64(0)
	for i := range k.groups {
		rows += int64(k.groups[i].rows)
	}
	k.places = make([]rankPlace, rows)
	r := &ranking{}
	if r.ranked, err = placeLines(ctx, order, j.world.Features, k.places); err != nil {
		return nil, err
	}
	r.buckets = newRankBuckets(k.spill, r.ranked)
	return r, sideBySide(ctx, rowGroupName, j.opts.Workers, len(k.groups), func(i int) error {
		rows, err := k.group(&k.groups[i])
		if err != nil {
			return err
		}
		return r.buckets.add(rows)
	})
}

// placeLines gives lines their places, by row, in order, and those alike a better one to that, and returns how many places there are.
func placeLines(ctx context.Context, order *rankOrder, features []gazetteer.Feature, places []rankPlace) (ranked int, err error) {
	groups := newAlikeGroups(features)
	for key, err := range order.sorted() {
		if err != nil {
			return 0, err
		}
		if ranked%1024 == 0 && ctx.Err() != nil {
			return 0, ctx.Err()
		}
		if row, alike := groups.find(&key); alike {
			places[row].alike++
			continue
		}
		ranked++
		places[key.row].rank = int32(ranked)
		groups.add(&key, int32(ranked))
	}
	return ranked, nil
}

// rankValue is the score that ranks a line; nil where it has none.
func (s *Sightline) rankValue(opts *Options) *float64 {
	if opts.RankForPicture {
		return s.ScorePicture
	}
	return s.ScoreTest
}

// rankBuckets hold ranked lines by ranges of rank, for reading in the order of rank.
type rankBuckets struct {
	spill  *spill
	ranked int

	mu     sync.Mutex
	blocks [][]blockAt // by bucket
}

func newRankBuckets(s *spill, ranked int) *rankBuckets {
	return &rankBuckets{spill: s, ranked: ranked, blocks: make([][]blockAt, (ranked+groupRows-1)/groupRows)}
}

// add takes up the rows that have a rank. It may be called on several goroutines at once.
func (b *rankBuckets) add(rows []Sightline) error {
	rows = slices.DeleteFunc(rows, func(s Sightline) bool { return s.Rank == nil })
	slices.SortFunc(rows, func(x, y Sightline) int { return int(*x.Rank) - int(*y.Rank) })
	for len(rows) > 0 {
		bucket := int(*rows[0].Rank-1) / groupRows
		n := slices.IndexFunc(rows, func(s Sightline) bool { return int(*s.Rank-1)/groupRows != bucket })
		if n < 0 {
			n = len(rows)
		}
		at, err := addRows(b.spill, rows[:n])
		if err != nil {
			return err
		}
		b.mu.Lock()
		b.blocks[bucket] = append(b.blocks[bucket], at)
		b.mu.Unlock()
		rows = rows[n:]
	}
	return nil
}

// table returns the ranked lines, best first.
func (b *rankBuckets) table() Groups[Sightline] {
	table := make(Groups[Sightline], len(b.blocks))
	for i := range b.blocks {
		table[i] = func() ([]Sightline, error) {
			rows := make([]Sightline, min(b.ranked-i*groupRows, groupRows))
			for _, at := range b.blocks[i] {
				part, err := readRows[Sightline](b.spill, at)
				if err != nil {
					return nil, err
				}
				for _, row := range part {
					rows[int(*row.Rank-1)%groupRows] = row
				}
			}
			return rows, nil
		}
	}
	return table
}

// rankAlignments sets the places of alignments, best first.
func rankAlignments(ctx context.Context, k *keptAlignments, workers int) error {
	order := newRankOrder(k.spill)
	rows := int64(0)
	for i := range k.groups {
		rows += int64(k.groups[i].rows)
	}
	err := sideBySide(ctx, rowGroupName, workers, len(k.groups), func(i int) error {
		g := &k.groups[i]
		alignments, err := rowsOfGroup[Alignment](k.spill, g)
		if err != nil {
			return err
		}
		keys := make([]rankKey, len(alignments))
		for i := range alignments {
			keys[i] = rankKey{score: alignments[i].Score, second: -alignments[i].EvidenceSD, row: g.first + int64(i)}
		}
		return order.add(keys)
	})
	if err != nil {
		return err
	}
	k.ranks = make([]int32, rows)
	rank := int32(0)
	for key, err := range order.sorted() {
		if err != nil {
			return err
		}
		rank++
		k.ranks[key.row] = rank
	}
	return nil
}

// mostShown is the number of ranked lines, of undecided ones and of alignments that Shown holds.
const mostShown = 10_000

// Shown are the rows of a survey that reports show.
type Shown struct {
	// Sightlines are the best ranked ones, best first; then the first that are undecided, as they stand in their table; then those far
	// lines of Alignments, and those that are not ranked because they are alike another, that are not among the former.
	Sightlines []Sightline
	// Alignments are the best, best first, and those whose far line is drawn.
	Alignments []Alignment
	// Ranked, RankedAlignments and Verdicts count all rows.
	Ranked, RankedAlignments int
	Verdicts                 map[Verdict]int
}

// endIDs are the ids of a line's ends.
type endIDs struct{ observer, target string }

// show picks the rows that reports show out of all. drawn is the number of ranked lines that are drawn.
func show(ctx context.Context, lines, ranked Groups[Sightline], alignments Groups[Alignment], drawn, workers int) (*Shown, error) {
	s := &Shown{Verdicts: map[Verdict]int{}}
	for row, err := range ranked.All() {
		if err != nil {
			return nil, err
		}
		if len(s.Sightlines) == max(mostShown, drawn) {
			break
		}
		s.Sightlines = append(s.Sightlines, *row)
	}
	drawnLines := map[endIDs]bool{}
	for i := range s.Sightlines[:min(drawn, len(s.Sightlines))] {
		drawnLines[endIDs{s.Sightlines[i].ObserverID, s.Sightlines[i].TargetID}] = true
	}
	far := map[endIDs]bool{}
	shownAlignments := make([][]Alignment, len(alignments))
	counts := make([]int, len(alignments))
	if err := sideBySide(ctx, rowGroupName, workers, len(alignments), func(i int) error {
		rows, err := alignments[i]()
		for k := range rows {
			a := &rows[k]
			if a.Rank == nil {
				continue
			}
			counts[i]++
			if int(*a.Rank) <= mostShown || drawnLines[endIDs{a.ObserverID, a.FarID}] {
				shownAlignments[i] = append(shownAlignments[i], *a)
			}
		}
		return err
	}); err != nil {
		return nil, err
	}
	s.Alignments = slices.Concat(shownAlignments...)
	slices.SortFunc(s.Alignments, func(a, b Alignment) int { return int(*a.Rank) - int(*b.Rank) })
	for i := range s.Alignments {
		far[endIDs{s.Alignments[i].ObserverID, s.Alignments[i].FarID}] = true
	}
	for i := range counts {
		s.RankedAlignments += counts[i]
	}

	type part struct {
		undecided, far []Sightline
		verdicts       map[Verdict]int
		ranked         int
	}
	parts := make([]part, len(lines))
	if err := sideBySide(ctx, rowGroupName, workers, len(lines), func(i int) error {
		rows, err := lines[i]()
		p := part{verdicts: map[Verdict]int{}}
		for k := range rows {
			row := &rows[k]
			p.verdicts[row.Verdict]++
			if row.Rank != nil {
				p.ranked++
				if int(*row.Rank) <= max(mostShown, drawn) {
					continue
				}
			}
			switch {
			case row.Verdict == Undecided && len(p.undecided) < mostShown:
				p.undecided = append(p.undecided, *row)
			case far[endIDs{row.ObserverID, row.TargetID}]:
				p.far = append(p.far, *row)
			}
		}
		parts[i] = p
		return err
	}); err != nil {
		return nil, err
	}
	left := mostShown
	var others []Sightline
	for _, p := range parts {
		n := min(left, len(p.undecided))
		s.Sightlines = append(s.Sightlines, p.undecided[:n]...)
		left -= n
		others = append(others, p.far...)
		for v, n := range p.verdicts {
			s.Verdicts[v] += n
		}
		s.Ranked += p.ranked
	}
	s.Sightlines = append(s.Sightlines, others...)
	return s, nil
}

// ShownOf picks out of rows that are in memory, in the order of their tables.
func ShownOf(lines []Sightline, alignments []Alignment) Shown {
	ranked := slices.DeleteFunc(slices.Clone(lines), func(s Sightline) bool { return s.Rank == nil })
	slices.SortStableFunc(ranked, func(a, b Sightline) int { return int(*a.Rank) - int(*b.Rank) })
	// Rows in memory cannot fail to be read.
	s, _ := show(context.Background(), GroupsOf(lines), GroupsOf(ranked), GroupsOf(alignments), len(ranked), 1)
	return *s
}
