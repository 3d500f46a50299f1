package pipeline

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"farstation/gazetteer"
)

// MeasuredPart is what a point measured on a photograph shows.
type MeasuredPart string

// The parts that a table of points may name.
const (
	PartTop        MeasuredPart = "top"
	PartBase       MeasuredPart = "base"
	PartHeight     MeasuredPart = "height"
	PartCut        MeasuredPart = "cut"
	PartSeaHorizon MeasuredPart = "sea_horizon"
	PartLevel      MeasuredPart = "level"
	PartPlumb      MeasuredPart = "plumb"
	PartAbsent     MeasuredPart = "absent"
	PartSun        MeasuredPart = "sun"
	PartMoon       MeasuredPart = "moon"
)

// MeasuredPoint is one row of a table of points.
type MeasuredPoint struct {
	// Name is the name or id of a feature; "" or "?" for a top whose name is to be found; of a plumb line, what its two ends share.
	Name string
	Part MeasuredPart
	// HeightM is the height over the feature's ground, for PartHeight.
	HeightM float64
	// At is the second of the exposure in UTC, for PartSun and PartMoon.
	At time.Time
	// XPx, YPx count from the picture's corner, x to the right and y downwards, of the picture as it is stored; SDPx is the standard deviation
	// each way. An absent thing may have none.
	XPx, YPx, SDPx float64
	// Frame is the photograph, from 0.
	Frame int
	// File and Line are where the row stands, for messages.
	File string
	Line int
}

// onTarget tells the parts that the fit takes as a point of a feature at a known height.
func (p *MeasuredPoint) onTarget() bool {
	return p.Part == PartTop || p.Part == PartBase || p.Part == PartHeight
}

// Limits of a table of points. Every point brings unknowns of its own, and a fit takes their cube.
const (
	mostPointBytes = 1 << 20
	mostPoints     = 300
	// leastPointSDPx is better than anything on a photograph is measured, and as good as a fit can hold beside unknowns in metres.
	leastPointSDPx = 0.001
)

// ReadPointsFile reads the table of points of one photograph. Rows that cannot be used come back as rejected.
func ReadPointsFile(path string, frame, frames int) ([]MeasuredPoint, []gazetteer.Rejected, error) {
	file, err := OpenRegular(path)
	if err != nil {
		return nil, nil, fmt.Errorf("points %s: %w", path, err)
	}
	defer file.Close()
	points, rejected, err := ReadPoints(file, frame, frames)
	if err != nil {
		return nil, nil, fmt.Errorf("points %s: %w", path, err)
	}
	for i := range points {
		points[i].File = path
	}
	return points, rejected, nil
}

// ReadPoints reads a table of points with the columns name_or_id, part, x_px, y_px, sd_px and, if need be, frame: the number of the photograph
// from 1, in place of frame, which counts from 0; there are frames of them. Columns may be separated by semicolons, and numbers then have
// decimal commas. Rows that cannot be used come back as rejected, with their reason; the error is that of a table without its columns.
func ReadPoints(r io.Reader, frame, frames int) (points []MeasuredPoint, rejected []gazetteer.Rejected, err error) {
	content, err := io.ReadAll(io.LimitReader(r, mostPointBytes+1))
	if err != nil {
		return nil, nil, err
	}
	if len(content) > mostPointBytes {
		return nil, nil, fmt.Errorf("more than %d bytes: is this a table of points?", mostPointBytes)
	}
	content = bytes.TrimPrefix(content, []byte("\ufeff"))
	rows := csv.NewReader(bytes.NewReader(content))
	rows.FieldsPerRecord, rows.TrimLeadingSpace = -1, true
	head, _, _ := bytes.Cut(content, []byte("\n"))
	if semicolons := bytes.Contains(head, []byte(";")); semicolons {
		rows.Comma = ';'
	}
	header, err := rows.Read()
	if err != nil {
		return nil, nil, fmt.Errorf("no header: want name_or_id,part,x_px,y_px,sd_px: %w", err)
	}
	table, err := newPointTable(header, rows.Comma == ';')
	if err != nil {
		return nil, nil, err
	}
	for {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var broken *csv.ParseError
		if errors.As(err, &broken) {
			rejected = append(rejected, gazetteer.Rejected{Line: broken.StartLine, Reason: broken.Err.Error()})
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		line, _ := rows.FieldPos(0)
		point, err := table.point(row, frame, frames)
		if err != nil {
			rejected = append(rejected, gazetteer.Rejected{Line: line, Reason: err.Error()})
			continue
		}
		if point.Line = line; len(points) == mostPoints {
			return nil, nil, fmt.Errorf("more than %d points: leave out what is measured twice", mostPoints)
		}
		points = append(points, point)
	}
	return points, rejected, nil
}

// pointTable knows where the columns of a table of points stand.
type pointTable struct {
	columns       map[string]int
	decimalCommas bool
}

func newPointTable(header []string, decimalCommas bool) (pointTable, error) {
	t := pointTable{map[string]int{}, decimalCommas}
	for i, name := range header {
		name = strings.ToLower(strings.TrimSpace(name))
		if _, twice := t.columns[name]; twice {
			return t, fmt.Errorf("column %s stands twice", name)
		}
		t.columns[name] = i
	}
	var missing []string
	for _, name := range []string{"name_or_id", "part", "x_px", "y_px", "sd_px"} {
		if _, found := t.columns[name]; !found {
			missing = append(missing, name)
		}
	}
	if len(missing) > 0 {
		return t, fmt.Errorf("no column %s: want name_or_id,part,x_px,y_px,sd_px", strings.Join(missing, ", "))
	}
	return t, nil
}

func (t *pointTable) text(row []string, column string) string {
	if i, found := t.columns[column]; found && i < len(row) {
		return strings.TrimSpace(row[i])
	}
	return ""
}

func (t *pointTable) number(row []string, column string) (float64, error) {
	text := t.text(row, column)
	plain := text
	if t.decimalCommas {
		plain = strings.Replace(text, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(plain, 64)
	if err != nil || math.IsNaN(v) || math.Abs(v) > 1e6 {
		return 0, fmt.Errorf("%s %q: want a number of pixels", column, text)
	}
	return v, nil
}

// heldParts are all but height, which has a number behind it.
var heldParts = [...]MeasuredPart{PartTop, PartBase, PartCut, PartSeaHorizon, PartLevel, PartPlumb, PartAbsent}

func (t *pointTable) point(row []string, frame, frames int) (p MeasuredPoint, err error) {
	p = MeasuredPoint{Name: t.text(row, "name_or_id"), Frame: frame}
	word, behind, stated := strings.Cut(t.text(row, "part"), ":")
	switch p.Part = MeasuredPart(word); {
	case p.Part == PartSun || p.Part == PartMoon:
		if p.At, err = time.Parse(time.RFC3339, behind); err != nil {
			return p, fmt.Errorf("part %q: want %s:UTC with the second of the exposure, such as %s:2031-05-20T18:04:31Z", t.text(row, "part"), word, word)
		}
		if year := p.At.UTC().Year(); year < 1900 || year > 2099 {
			return p, fmt.Errorf("part %q: the almanac holds 1900…2099", t.text(row, "part"))
		}
	case p.Part == PartHeight:
		if p.HeightM, err = strconv.ParseFloat(behind, 64); err != nil || !(p.HeightM >= 0 && p.HeightM <= 1500) {
			return p, fmt.Errorf("part %q: want height:M with M metres over the ground, 0…1500", t.text(row, "part"))
		}
	case stated || !slices.Contains(heldParts[:], p.Part):
		return p, fmt.Errorf("part %q: want top, base, height:M, cut, sea_horizon, level, plumb, sun:UTC, moon:UTC or absent", t.text(row, "part"))
	}
	if p.Name == "" && !slices.Contains([]MeasuredPart{PartTop, PartSeaHorizon, PartLevel, PartSun, PartMoon}, p.Part) {
		return p, fmt.Errorf("part %s without a name", p.Part)
	}
	if text := t.text(row, "frame"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > frames {
			return p, fmt.Errorf("frame %q: want the number of a photograph, 1…%d", text, frames)
		}
		p.Frame = n - 1
	}
	if p.Part == PartAbsent {
		return p, nil
	}
	var wrongX, wrongY, wrongSD error
	p.XPx, wrongX = t.number(row, "x_px")
	p.YPx, wrongY = t.number(row, "y_px")
	p.SDPx, wrongSD = t.number(row, "sd_px")
	if wrongSD == nil && !(p.SDPx >= leastPointSDPx) {
		wrongSD = fmt.Errorf("sd_px %v: must be above 0, and %v or more: by how much do repeated measurements differ?", p.SDPx, leastPointSDPx)
	}
	for _, err := range []error{wrongX, wrongY, wrongSD} {
		if err != nil {
			return p, err
		}
	}
	return p, nil
}
