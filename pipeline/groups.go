package pipeline

import "iter"

// Groups are the rows of a table in its order, group by group. A call makes the rows of one group anew, so that a table need not fit into
// memory; calls may run on several goroutines at once, and always give the same rows.
type Groups[Row any] []func() ([]Row, error)

// groupRows is about how many rows a group holds.
const groupRows = 16 << 10

// GroupsOf are rows that are in memory, as groups.
func GroupsOf[Row any](rows []Row) Groups[Row] {
	var groups Groups[Row]
	for len(rows) > 0 {
		n := min(len(rows), groupRows)
		group := rows[:n:n]
		groups = append(groups, func() ([]Row, error) { return group, nil })
		rows = rows[n:]
	}
	return groups
}

// All returns the rows one after another. A row is valid until the next. After an error there are no more.
func (g Groups[Row]) All() iter.Seq2[*Row, error] {
	return func(yield func(*Row, error) bool) {
		for _, rowsOf := range g {
			rows, err := rowsOf()
			if err != nil {
				yield(nil, err)
				return
			}
			for i := range rows {
				if !yield(&rows[i], nil) {
					return
				}
			}
		}
	}
}

// Rows reads all rows into memory.
func (g Groups[Row]) Rows() ([]Row, error) {
	var all []Row
	for _, rowsOf := range g {
		rows, err := rowsOf()
		if err != nil {
			return nil, err
		}
		all = append(all, rows...)
	}
	return all, nil
}
