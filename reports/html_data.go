package reports

import (
	"encoding/json"
	"fmt"
	"html/template"
	"math"

	"farstation/pipeline"
)

// staticRows is how many rows of a table stand in the page itself; the others, which need its script, are data.
const staticRows = 60

// pageData is what the page's script works with, as JSON.
type pageData struct {
	Features []featureData `json:"features"`
	Tables   []tableData   `json:"tables"`
	// Box is that of the map, west, south, east, north; null where the page has none.
	Box []float64 `json:"box"`
	// NameLetters is how much of a name a table shows.
	NameLetters int `json:"nameLetters"`
}

type featureData struct {
	Name   string  `json:"n"`
	Kind   string  `json:"k"`
	LatDeg float64 `json:"y"`
	LonDeg float64 `json:"x"`
}

// tableData is a table by columns, best row first. From, To and Near are indices of features, or −1; Near is empty for sightlines.
type tableData struct {
	ID      string       `json:"id"`
	Columns []columnData `json:"columns"`
	From    []int        `json:"from"`
	To      []int        `json:"to"`
	Near    []int        `json:"near"`
	// Lines are the numbers of the sections that draw the rows, 0 for those that none does; zeros at the end are left out.
	Lines []int `json:"lines"`
}

// columnData holds each distinct cell once, as its text or as text and reason of a missing value.
type columnData struct {
	Role  string `json:"role"`
	Cells []any  `json:"cells"`
	At    []int  `json:"at"`
}

// dataMaker collects the features that rows name.
type dataMaker struct {
	rows     map[string]pipeline.FeatureRow
	index    map[string]int
	features []featureData
}

// newDataMaker looks up the features of the alignments that are shown, whose rows do not tell all of them.
func newDataMaker(result *pipeline.Result) (*dataMaker, error) {
	m := &dataMaker{rows: map[string]pipeline.FeatureRow{}, index: map[string]int{}}
	named := map[string]bool{}
	for i := range result.Shown.Alignments {
		a := &result.Shown.Alignments[i]
		named[a.ObserverID], named[a.NearID], named[a.FarID] = true, true, true
	}
	for f, err := range result.Features.All() {
		if err != nil {
			return nil, err
		}
		if named[f.FeatureID] {
			m.rows[f.FeatureID] = *f
		}
	}
	return m, nil
}

// feature returns the index of a feature that a row places.
func (m *dataMaker) feature(id, name, kind string, latDeg, lonDeg float64) int {
	if i, ok := m.index[id]; ok {
		return i
	}
	round := func(deg float64) float64 { return math.Round(deg*1e5) / 1e5 }
	m.index[id] = len(m.features)
	m.features = append(m.features, featureData{plainName(name), kind, round(latDeg), round(lonDeg)})
	return m.index[id]
}

// listed returns the index of a feature that only the table of features places; −1 where that has it not.
func (m *dataMaker) listed(id string) int {
	f, ok := m.rows[id]
	if !ok {
		return -1
	}
	return m.feature(id, f.Name, f.Kind, f.LatitudeDeg, f.LongitudeDeg)
}

func (m *dataMaker) kind(id string) string {
	return m.rows[id].Kind // none for a feature that the table has not
}

// line adds the ends of a sightline to a row of the table, and the section that draws it.
func (t *htmlTable) line(m *dataMaker, l *pipeline.Sightline, section int) {
	t.data.From = append(t.data.From, m.feature(l.ObserverID, l.ObserverName, l.ObserverKind, l.ObserverLatDeg, l.ObserverLonDeg))
	t.data.To = append(t.data.To, m.feature(l.TargetID, l.TargetName, l.TargetKind, l.TargetLatDeg, l.TargetLonDeg))
	t.data.Lines = append(t.data.Lines, section)
}

func (t *htmlTable) alignment(m *dataMaker, a *pipeline.Alignment) {
	t.data.From = append(t.data.From, m.feature(a.ObserverID, a.ObserverName, m.kind(a.ObserverID), a.ObserverLatDeg, a.ObserverLonDeg))
	t.data.To = append(t.data.To, m.feature(a.FarID, a.FarName, m.kind(a.FarID), a.FarLatDeg, a.FarLonDeg))
	t.data.Near = append(t.data.Near, m.listed(a.NearID))
}

// finish turns all rows into data and leaves the first in the page.
func (t *htmlTable) finish() {
	for c, column := range t.Columns {
		data := columnData{Role: column.Role, Cells: []any{}}
		index := map[[2]string]int{}
		for _, row := range t.Rows {
			cell := row[c]
			key := [2]string{cell.Text, cell.Why}
			if cell.HTML != "" {
				key[0] = cell.Sort // the plain name
			}
			at, ok := index[key]
			if !ok {
				at = len(data.Cells)
				index[key] = at
				if key[1] == "" {
					data.Cells = append(data.Cells, key[0])
				} else {
					data.Cells = append(data.Cells, key)
				}
			}
			data.At = append(data.At, at)
		}
		t.data.Columns = append(t.data.Columns, data)
	}
	lines := t.data.Lines
	for len(lines) > 0 && lines[len(lines)-1] == 0 {
		lines = lines[:len(lines)-1]
	}
	t.data.ID, t.data.Lines, t.data.Near, t.All = t.ID, notNil(lines), notNil(t.data.Near), len(t.Rows)
	if t.All > staticRows {
		t.Rows = t.Rows[:staticRows]
		t.Static = fmt.Sprintf("The first %d of %s rows stand here; the others need a browser that runs the page’s script.", staticRows, decimals(float64(t.All), 0))
	}
}

// script is the data as the content of a script element; JSON as Go writes it holds no <, > or &, so no name can end the element.
func (d *pageData) script() (template.JS, error) {
	text, err := json.Marshal(d)
	if err != nil {
		return "", fmt.Errorf("data of the page: %w", err)
	}
	return template.JS(text), nil
}
