package light

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
)

// Sounding is what a table of measured air holds, and what had to be assumed to read it.
type Sounding struct {
	// Levels rise in height. A pressure of 0 was not given; without humidity the air counts as dry.
	Levels []Level
	// SurfaceHPa is the pressure at the lowest level, to be set where Levels have none at all; 0 stands for that of the standard
	// atmosphere there, which is within 4 % and moves k by as much.
	SurfaceHPa float64
	// Notes say what was assumed: units told by range, rows left out, rows put in order.
	Notes []string
}

const (
	maxSoundingBytes  = 8 << 20
	maxSoundingLevels = 20000
)

// Profile returns the sounding's air for light of wavelengthUM (0.3 to 1.7 µm; 0 stands for GreenUM). Errors are those of NewProfile.
func (s Sounding) Profile(wavelengthUM float64) (*Profile, error) {
	levels := slices.Clone(s.Levels)
	if !slices.ContainsFunc(levels, func(l Level) bool { return l.PressureHPa > 0 }) && len(levels) > 0 {
		levels[0].PressureHPa = s.SurfaceHPa
		if s.SurfaceHPa == 0 {
			_, levels[0].PressureHPa = StandardAir(levels[0].HeightM)
		}
	}
	return NewProfile(levels, wavelengthUM)
}

// ReadSounding reads a sounding: a table with a header, separated by comma, semicolon (then with decimal points or commas) or tab, of height and
// temperature, with or without pressure and humidity (dewpoint, relative humidity or vapour pressure), other columns left alone. Units stand in
// the column's name (height_m, hght, pressure_hpa, temperature_c, …) or are told from the range of the values, with a note, where only one unit
// can be meant. A row without height or temperature is left out, with a note. It returns an error, with line and value, for what is no
// number or no air, for two rows at one height, for units that cannot be told, and for more than 8 MiB or 20,000 rows.
func ReadSounding(r io.Reader) (Sounding, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxSoundingBytes+1))
	if err != nil {
		return Sounding{}, fmt.Errorf("sounding: %w", err)
	}
	if len(text) > maxSoundingBytes {
		return Sounding{}, fmt.Errorf("sounding: longer than %d bytes: thin it out", maxSoundingBytes)
	}
	t, err := readTable(bytes.TrimPrefix(text, []byte("\ufeff")))
	if err == nil {
		err = t.chooseUnits()
	}
	if err != nil {
		return Sounding{}, fmt.Errorf("sounding: %w", err)
	}
	s := Sounding{Notes: t.notes}
	lines := map[float64]int{} // by height
	for _, row := range t.rows {
		level, err := t.level(row)
		if err != nil {
			return Sounding{}, fmt.Errorf("sounding: line %d: %w", row.line, err)
		}
		if math.IsNaN(level.HeightM) || math.IsNaN(level.TemperatureK) {
			s.Notes = append(s.Notes, fmt.Sprintf("line %d: left out, without height or temperature", row.line))
			continue
		}
		if err := level.check(); err != nil {
			return Sounding{}, fmt.Errorf("sounding: line %d: %w", row.line, err)
		}
		if first, twice := lines[level.HeightM]; twice {
			return Sounding{}, fmt.Errorf("sounding: line %d: height %.6g m stands in line %d, too: leave one of them", row.line, level.HeightM, first)
		}
		lines[level.HeightM] = row.line
		s.Levels = append(s.Levels, level)
	}
	if len(s.Levels) == 0 {
		return Sounding{}, errors.New("sounding: no row has both height and temperature")
	}
	byHeight := func(a, b Level) int { return cmp.Compare(a.HeightM, b.HeightM) }
	if !slices.IsSortedFunc(s.Levels, byHeight) {
		s.Notes = append(s.Notes, "rows put in order of height")
		slices.SortFunc(s.Levels, byHeight)
	}
	if _, err := s.Profile(0); err != nil { // units that fit each value alone and not together show here
		return Sounding{}, fmt.Errorf("sounding: %w", err)
	}
	return s, nil
}
