package light

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// quantity is what a column of a sounding gives.
type quantity int

const (
	height quantity = iota
	pressure
	temperature
	dewpoint
	humidity
	vapour
	quantities
)

var quantityNames = [quantities]string{"height", "pressure", "temperature", "dewpoint", "relative humidity", "vapour pressure"}

// spelling lists the names of a quantity, without unit, as soundings write them; other signs than letters and digits count as _.
type spelling struct {
	names []string
	what  quantity
	// geopotential heights are made geometric.
	geopotential bool
}

var spellings = [...]spelling{
	{names: []string{"height", "altitude", "elevation", "alt", "z"}, what: height},
	{names: []string{"geopotential_height", "geopotential", "hght", "gph", "gpm"}, what: height, geopotential: true},
	{names: []string{"pressure", "pres", "press", "p"}, what: pressure},
	{names: []string{"temperature", "temp", "air_temperature", "t"}, what: temperature},
	{names: []string{"dewpoint", "dew_point", "dewpoint_temperature", "dew_point_temperature", "dwpt", "td"}, what: dewpoint},
	{names: []string{"relative_humidity", "humidity", "relh", "rh"}, what: humidity},
	{names: []string{"vapour_pressure", "vapor_pressure"}, what: vapour},
}

// unit turns a value into metres, hPa, K, or a fraction: value·scale + offset.
type unit struct{ scale, offset float64 }

var (
	lengthUnits      = map[string]unit{"m": {1, 0}, "km": {1000, 0}, "ft": {0.3048, 0}}
	pressureUnits    = map[string]unit{"hpa": {1, 0}, "mb": {1, 0}, "mbar": {1, 0}, "pa": {0.01, 0}, "kpa": {10, 0}}
	temperatureUnits = map[string]unit{"c": {1, 273.15}, "degc": {1, 273.15}, "k": {1, 0}, "f": {5.0 / 9, 273.15 - 160.0/9}, "degf": {5.0 / 9, 273.15 - 160.0/9}}
	humidityUnits    = map[string]unit{"percent": {0.01, 0}, "pct": {0.01, 0}, "fraction": {1, 0}}
	unitsOf          = [quantities]map[string]unit{lengthUnits, pressureUnits, temperatureUnits, temperatureUnits, humidityUnits, pressureUnits}
)

// column is a column of the table that gives a quantity.
type column struct {
	title        string
	index        int
	geopotential bool
	unit         unit
	known        bool // the unit
}

type row struct {
	line   int
	values [quantities]float64 // NaN where missing
}

type table struct {
	columns [quantities]*column
	rows    []row
	notes   []string
}

func readTable(text []byte) (*table, error) {
	t := &table{}
	r := csv.NewReader(bytes.NewReader(text))
	r.Comma, r.Comment, r.FieldsPerRecord, r.LazyQuotes, r.TrimLeadingSpace = separator(text), '#', -1, true, true
	r.ReuseRecord = true
	header, err := r.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("empty: give a header and a row for every height")
	} else if err != nil {
		return nil, err
	}
	if err := t.readHeader(header); err != nil {
		return nil, err
	}
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			return t, nil
		} else if err != nil {
			return nil, err
		}
		line, _ := r.FieldPos(0)
		if len(t.rows) == maxSoundingLevels {
			return nil, fmt.Errorf("line %d: more than %d rows: thin them out", line, maxSoundingLevels)
		}
		next := row{line: line}
		for what, c := range t.columns {
			next.values[what] = math.NaN()
			if c == nil || c.index >= len(record) {
				continue
			}
			if next.values[what], err = number(record[c.index], r.Comma != ','); err != nil {
				return nil, fmt.Errorf("line %d: %s %w", line, c.title, err)
			}
		}
		t.rows = append(t.rows, next)
	}
}

// separator returns the one of comma, semicolon and tab that the first line which is no comment has most of.
func separator(text []byte) rune {
	for line := range bytes.Lines(text) {
		if len(bytes.TrimSpace(line)) == 0 || line[0] == '#' {
			continue
		}
		best := ','
		for _, s := range []rune{';', '\t'} {
			if bytes.Count(line, []byte(string(s))) > bytes.Count(line, []byte(string(best))) {
				best = s
			}
		}
		return best
	}
	return ','
}

func (t *table) readHeader(header []string) error {
	for i, title := range header {
		title = strings.TrimSpace(title)
		c, what, ok := recognise(title)
		if !ok {
			continue
		}
		if other := t.columns[what]; other != nil {
			return fmt.Errorf("columns %q and %q both give %s: leave one of them", other.title, title, quantityNames[what])
		}
		c.title, c.index = title, i
		t.columns[what] = &c
	}
	for _, what := range []quantity{height, temperature} {
		if t.columns[what] == nil {
			return fmt.Errorf("header %q: no column of %s: name it %s", strings.Join(header, ","), quantityNames[what], [...]string{height: "height_m", temperature: "temperature_c"}[what])
		}
	}
	return nil
}

// recognise tells what a column of the title gives: a spelling, or one with a unit after it.
func recognise(title string) (column, quantity, bool) {
	words := strings.FieldsFunc(strings.ReplaceAll(strings.ToLower(title), "%", " percent"), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	whole := strings.Join(words, "_")
	for _, s := range spellings {
		for _, name := range s.names {
			if whole == name {
				return column{geopotential: s.geopotential}, s.what, true
			}
			suffix, ok := strings.CutPrefix(whole, name+"_")
			if u, isUnit := unitsOf[s.what][suffix]; ok && isUnit {
				return column{geopotential: s.geopotential, unit: u, known: true}, s.what, true
			}
		}
	}
	return column{}, 0, false
}

// number reads a cell; NaN where it is empty or says that the value is missing.
func number(cell string, decimalComma bool) (float64, error) {
	cell = strings.TrimSpace(cell)
	switch strings.ToLower(cell) {
	case "", "-", "--", "/", "//", "///", "na", "n/a", "nan", "null", "none":
		return math.NaN(), nil
	}
	digits := cell
	if decimalComma && strings.Count(cell, ",") == 1 && !strings.Contains(cell, ".") {
		digits = strings.Replace(cell, ",", ".", 1)
	}
	value, err := strconv.ParseFloat(digits, 64)
	if err != nil || math.IsInf(value, 0) {
		return 0, fmt.Errorf("%.40q is not a number", cell)
	}
	switch value {
	case -999, -9999, -99999, -32768, 99999:
		return math.NaN(), nil
	}
	return value, nil
}

// chooseUnits tells the units that the header does not name from the range of the values.
func (t *table) chooseUnits() error {
	for what, c := range t.columns {
		if c == nil || c.known {
			continue
		}
		low, high, highLine := t.span(quantity(what))
		if high < low {
			continue // no value
		}
		name := ""
		switch what := quantity(what); {
		case what == height:
			name = "m"
		case what == humidity && high <= 1:
			name = "fraction"
		case what == humidity:
			name = "percent"
		case what == vapour && high < 100:
			name = "hpa"
		case what == pressure && high > 110 && high <= 1200:
			name = "hpa"
		case what == pressure && high >= 20000 && high <= 120000:
			name = "pa"
		case (what == temperature || what == dewpoint) && low >= -120 && high <= 60:
			name = "c"
		case (what == temperature || what == dewpoint) && low >= 140 && high <= 340:
			name = "k"
		default:
			return fmt.Errorf("line %d: %s %g: no unit is plain from values of %g to %g: name the column with its unit, as pressure_hpa, temperature_c, temperature_f", highLine, c.title, high, low, high)
		}
		c.unit = unitsOf[what][name]
		t.notes = append(t.notes, fmt.Sprintf("column %s names no unit: values of %g to %g taken as %s", c.title, low, high, name))
	}
	if t.columns[dewpoint] != nil && t.columns[humidity] != nil {
		t.notes = append(t.notes, fmt.Sprintf("column %s left alone where there is a dewpoint", t.columns[humidity].title))
	}
	return nil
}

func (t *table) span(what quantity) (low, high float64, highLine int) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, r := range t.rows {
		if v := r.values[what]; v > high {
			high, highLine = v, r.line
		}
		if v := r.values[what]; v < low {
			low = v
		}
	}
	return low, high, highLine
}

// get returns a value of the row in metres, hPa, K or a fraction; NaN where missing.
func (t *table) get(r row, what quantity) float64 {
	if t.columns[what] == nil {
		return math.NaN()
	}
	u := t.columns[what].unit
	return r.values[what]*u.scale + u.offset
}

// level turns a row into air; height or temperature is NaN where the row has none.
func (t *table) level(r row) (Level, error) {
	l := Level{HeightM: t.get(r, height), TemperatureK: t.get(r, temperature)}
	if t.columns[height].geopotential {
		l.HeightM = geometricM(l.HeightM)
	}
	_, weighing := StandardAir(l.HeightM) // near enough for the enhancement factor
	if p := t.get(r, pressure); !math.IsNaN(p) {
		if !(p > 0) {
			return l, fmt.Errorf("%s %g: must be over 0", t.columns[pressure].title, r.values[pressure])
		}
		l.PressureHPa, weighing = p, p
	}
	dew, relative, vapourHPa := t.get(r, dewpoint), t.get(r, humidity), t.get(r, vapour)
	switch {
	case !math.IsNaN(vapourHPa):
		l.VapourHPa = vapourHPa
	case !math.IsNaN(dew):
		if dew > l.TemperatureK+0.5 || dew < 100 {
			return l, fmt.Errorf("%s %g: %.2f K, and the air has %.2f K", t.columns[dewpoint].title, r.values[dewpoint], dew, l.TemperatureK)
		}
		l.VapourHPa = VapourHPa(dew, weighing, 1)
	case !math.IsNaN(relative) && !math.IsNaN(l.TemperatureK):
		if relative < 0 || relative > 1.1 {
			return l, fmt.Errorf("%s %g: must be 0 to 100 %%", t.columns[humidity].title, r.values[humidity])
		}
		l.VapourHPa = VapourHPa(l.TemperatureK, weighing, math.Min(relative, 1))
	}
	return l, nil
}
