package gazetteer

import (
	"errors"
	"fmt"
	"strings"
)

// badRow is what is wrong with one row, after which reading can go on.
type badRow string

func (b badRow) Error() string { return string(b) }

// csvRows cuts lines into records: quoted fields may hold separators, doubled quotes and line ends. encoding/csv would do but
// for its memory, which a quote or a line without an end makes as large as the file.
type csvRows struct {
	lines     *lineReader
	separator byte
	// pending are lines read ahead in search of the end of a quote that was not found.
	pending []csvLine
	fields  []string
}

type csvLine struct {
	text string
	line int
	err  error
}

// line returns the next physical line and its number.
func (c *csvRows) line() (string, int, error) {
	if len(c.pending) > 0 {
		next := c.pending[0]
		c.pending = c.pending[1:]
		return next.text, next.line, next.err
	}
	text, err := c.lines.next()
	if errors.Is(err, errLineTooLong) {
		err = badRow(fmt.Sprintf("line is longer than %d bytes", c.lines.max))
	}
	return string(text), c.lines.line, err
}

// next returns the fields of the next record, valid until the call after, and the line it begins on. A badRow error concerns
// this record alone. A quote that is never closed costs its own line, not those after it.
func (c *csvRows) next() ([]string, int, error) {
	text, first, err := c.line()
	if err != nil {
		return nil, first, err
	}
	var ahead []csvLine
	for {
		fields, open, err := splitRecord(text, c.separator, c.fields[:0])
		c.fields = fields
		if err != nil {
			c.pending = append(ahead, c.pending...)
			return nil, first, err
		}
		if !open {
			return fields, first, nil
		}
		more, number, err := c.line()
		ahead = append(ahead, csvLine{more, number, err})
		if err != nil || len(ahead) >= maxRecordLines || len(text)+len(more) > c.lines.max {
			c.pending = append(ahead, c.pending...)
			return nil, first, badRow("a quote is opened and not closed")
		}
		text += "\n" + more
	}
}

// splitRecord appends the fields of a record to fields. open says that its last quote is not closed.
func splitRecord(text string, separator byte, fields []string) (all []string, open bool, err error) {
	for {
		field := text
		if !strings.HasPrefix(text, `"`) {
			end := strings.IndexByte(text, separator)
			if end < 0 {
				return append(fields, field), false, nil
			}
			fields, text = append(fields, text[:end]), text[end+1:]
			continue
		}
		end := 1
		for {
			quote := strings.IndexByte(text[end:], '"')
			if quote < 0 {
				return fields, true, nil
			}
			if end += quote + 1; end == len(text) || text[end] != '"' {
				break
			}
			end++
		}
		fields = append(fields, strings.ReplaceAll(text[1:end-1], `""`, `"`))
		switch {
		case end == len(text):
			return fields, false, nil
		case text[end] != separator:
			return fields, false, badRow(fmt.Sprintf("text follows a closing quote: %q", shorten(text[end:])))
		}
		text = text[end+1:]
	}
}
