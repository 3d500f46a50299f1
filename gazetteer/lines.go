package gazetteer

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"iter"
)

// lineReader cuts text into physical lines, counted from 1, in memory bounded by the longest line allowed.
type lineReader struct {
	text *bufio.Reader
	max  int
	// end closes a line: '\n', with or without '\r' before it, or a lone '\r' in files that have no '\n'.
	end  byte
	line int
	buf  []byte
}

// newLineReader skips a byte order mark and finds out how lines end.
func newLineReader(text io.Reader, maxLineBytes int) *lineReader {
	l := &lineReader{text: bufio.NewReaderSize(text, headBytes), max: maxLineBytes, end: '\n'}
	head, _ := l.text.Peek(headBytes) // an error comes again at the first read
	if bytes.HasPrefix(head, []byte(byteOrderMark)) {
		_, _ = l.text.Discard(len(byteOrderMark)) // already in the buffer
	}
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		l.end = '\r'
	}
	return l
}

const byteOrderMark = "\xef\xbb\xbf"

var errLineTooLong = errors.New("line too long")

// next returns the next line without its end; it is valid until the call after. A line over the limit is read to its end but
// not kept: errLineTooLong, and reading may go on. io.EOF comes after the last line.
func (l *lineReader) next() ([]byte, error) {
	l.buf = l.buf[:0]
	tooLong := false
	for {
		part, err := l.text.ReadSlice(l.end)
		if err == nil && len(l.buf) == 0 && !tooLong && len(part) <= l.max {
			l.line++
			return l.trim(part), nil
		}
		if tooLong = tooLong || len(l.buf)+len(part) > l.max; tooLong {
			l.buf = l.buf[:0]
		} else {
			l.buf = append(l.buf, part...)
		}
		switch {
		case err == bufio.ErrBufferFull:
			continue
		case err != nil && (err != io.EOF || len(l.buf) == 0 && !tooLong):
			return nil, err
		}
		l.line++
		if tooLong {
			return nil, errLineTooLong
		}
		return l.trim(l.buf), nil
	}
}

func (l *lineReader) trim(line []byte) []byte {
	line = bytes.TrimSuffix(line, []byte{l.end})
	return bytes.TrimSuffix(line, []byte{'\r'})
}

// eachLine hands every line that is not empty to row, which counts it; a line over the limit is a rejected row. The line is valid
// until row returns, whose error ends the reading.
func (s *sink) eachLine(lines *lineReader, row func(line []byte) error) error {
	for {
		line, err := lines.next()
		switch {
		case err == io.EOF:
			return nil
		case errors.Is(err, errLineTooLong):
			s.row()
			s.reject(lines.line, "line is longer than %d bytes", lines.max)
			continue
		case err != nil:
			return err
		case len(bytes.TrimSpace(line)) == 0:
			continue
		}
		if err := row(line); err != nil {
			return err
		}
	}
}

// headLines yields the whole lines of a file's first bytes, as lineReader would; of a head that is cut, all but the last.
func headLines(head []byte, cut bool) iter.Seq[[]byte] {
	return func(yield func([]byte) bool) {
		lines := newLineReader(bytes.NewReader(head), len(head))
		if cut {
			whole := bytes.LastIndexByte(head, lines.end) + 1
			lines = newLineReader(bytes.NewReader(head[:whole]), len(head))
		}
		for {
			line, err := lines.next()
			if err != nil || !yield(line) {
				return
			}
		}
	}
}
