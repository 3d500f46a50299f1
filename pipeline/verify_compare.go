package pipeline

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"
)

// Difference is one value that differs between two rows.
type Difference struct {
	Row    string `json:"row"`
	Column string `json:"column"`
	Is     string `json:"is"`
	Other  string `json:"other"`
}

// compareColumns lists the columns of two rows that differ by more than tolerance, relative to numbers above 1, but those passed over.
func compareColumns[Row any](a, b *Row, tolerance float64, passOver func(column string) bool) []Difference {
	var differences []Difference
	x, y := reflect.ValueOf(a).Elem(), reflect.ValueOf(b).Elem()
	for field, value := range x.Fields() {
		column, _, _ := strings.Cut(field.Tag.Get("parquet"), ",")
		if column == "" || column == "-" || passOver(column) {
			continue
		}
		other := y.FieldByIndex(field.Index)
		if !sameValue(value, other, tolerance) {
			differences = append(differences, Difference{Column: column, Is: valueText(value), Other: valueText(other)})
		}
	}
	return differences
}

func sameValue(a, b reflect.Value, tolerance float64) bool {
	if a.Kind() == reflect.Pointer {
		if a.IsNil() || b.IsNil() {
			return a.IsNil() == b.IsNil()
		}
		a, b = a.Elem(), b.Elem()
	}
	if a.Kind() == reflect.Float64 {
		return math.Abs(a.Float()-b.Float()) <= tolerance*math.Max(1, math.Abs(a.Float()))
	}
	return a.Equal(b)
}

func valueText(v reflect.Value) string {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return "null"
		}
		v = v.Elem()
	}
	return fmt.Sprint(v.Interface())
}

// CompareRuns holds the parameters, sightlines and alignments of two runs against each other, row by row: sightlines by observer and target,
// alignments by observer, near top, far top and case. Numbers differ when more than rounding parts them. It returns the first most of the
// differences. Of the second run one table at a time is held in memory.
func CompareRuns(ctx context.Context, m, other *Manifest, a, b *Tables, most int) ([]Finding, []Difference, error) {
	findings := []Finding{NewFinding("both runs have the same parameters", "", sameParameters(m, other))}
	c := comparison{most: most}
	for _, table := range []struct {
		title   string
		compare func() (rows int, err error)
	}{
		{"both runs have the same sightlines", func() (int, error) {
			return compareRows(ctx, &c, a.Sightlines, b.Sightlines, func(s *Sightline) string { return s.ObserverID + " → " + s.TargetID })
		}},
		{"both runs have the same alignments", func() (int, error) {
			return compareRows(ctx, &c, a.Alignments, b.Alignments, func(a *Alignment) string {
				return fmt.Sprintf("%s → %s, %s (%s)", a.ObserverID, a.NearID, a.FarID, a.Case)
			})
		}},
	} {
		before := c.count
		rows, err := table.compare()
		if ctx.Err() != nil {
			return nil, nil, ctx.Err()
		}
		if n := c.count - before; err == nil && n > 0 {
			err = fmt.Errorf("%d values or rows differ", n)
		}
		findings = append(findings, NewFinding(table.title, fmt.Sprintf("%d rows", rows), err))
	}
	return findings, c.first, nil
}

func sameParameters(m, other *Manifest) error {
	names := maps.Clone(m.Parameters)
	maps.Copy(names, other.Parameters)
	var off []string
	for _, name := range slices.Sorted(maps.Keys(names)) {
		if x, y := m.Parameters[name], other.Parameters[name]; !reflect.DeepEqual(x, y) {
			off = append(off, fmt.Sprintf("%s is %v and %v", name, x, y))
		}
	}
	if m.Version != other.Version {
		off = append(off, fmt.Sprintf("farstation_version is %s and %s", m.Version, other.Version))
	}
	if len(off) > 0 {
		return errors.New(strings.Join(off, "; "))
	}
	return nil
}

// comparison gathers differences, the first most of them.
type comparison struct {
	most, count int
	first       []Difference
}

func (c *comparison) add(row string, found ...Difference) {
	for _, d := range found {
		if c.count++; len(c.first) < c.most {
			d.Row = row
			c.first = append(c.first, d)
		}
	}
}

// compareRows compares two tables whose rows are found by name, and returns how many rows the first has.
func compareRows[Row any](ctx context.Context, c *comparison, a, b iter.Seq2[*Row, error], name func(*Row) string) (rows int, err error) {
	others := map[string]Row{}
	for row, err := range b {
		if err = errors.Join(err, ctx.Err()); err != nil {
			return 0, err
		}
		others[name(row)] = *row
	}
	const row, here, missing = "row", "is there", "is not there"
	for r, err := range a {
		if err = errors.Join(err, ctx.Err()); err != nil {
			return 0, err
		}
		rows++
		other, there := others[name(r)]
		if !there {
			c.add(name(r), Difference{Column: row, Is: here, Other: missing})
			continue
		}
		delete(others, name(r))
		c.add(name(r), compareColumns(r, &other, exactly, func(string) bool { return false })...)
	}
	for _, left := range slices.Sorted(maps.Keys(others)) {
		c.add(left, Difference{Column: row, Is: missing, Other: here})
	}
	return rows, nil
}
