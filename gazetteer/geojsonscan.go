package gazetteer

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
)

// jsonScanner cuts JSON into its values in memory bounded by the longest value that is kept. It only follows quotes and brackets,
// so a value that is not JSON inside (a bare NaN) is still cut out whole. encoding/json would do but for its memory, which one string
// without an end makes as large as the file.
type jsonScanner struct {
	text *bufio.Reader
	max  int // bytes of a value that is kept
	line int
	buf  []byte
}

// maxJSONDepth is how deep brackets may nest: ten suffice for any GeoJSON.
const maxJSONDepth = 1000

var errValueTooLong = errors.New("value too long")

func newJSONScanner(text io.Reader, maxBytes int) *jsonScanner {
	s := &jsonScanner{text: bufio.NewReaderSize(text, headBytes), max: maxBytes, line: 1}
	if mark, _ := s.text.Peek(len(byteOrderMark)); string(mark) == byteOrderMark { // an error comes again at the first read
		_, _ = s.text.Discard(len(byteOrderMark)) // already in the buffer
	}
	return s
}

// wrong is the error of text that is no JSON at this place.
func (s *jsonScanner) wrong(got byte, want string) error {
	return fmt.Errorf("line %d: %q where JSON has %s: export the file again", s.line, got, want)
}

// peek returns the next byte that is no white space, and leaves it. Record separators (RFC 8142) count as white space.
func (s *jsonScanner) peek() (byte, error) {
	for {
		c, err := s.text.ReadByte()
		switch {
		case err != nil:
			return 0, err
		case c == '\n':
			s.line++
		case c != ' ' && c != '\t' && c != '\r' && c != '\x1e':
			return c, s.text.UnreadByte()
		}
	}
}

// take reads the next byte that is no white space if it is one of those wanted.
func (s *jsonScanner) take(wanted string) (byte, error) {
	c, err := s.peek()
	if err != nil {
		return 0, cutShort(err)
	}
	for i := range len(wanted) {
		if wanted[i] == c {
			_, err = s.text.ReadByte()
			return c, err
		}
	}
	return 0, s.wrong(c, strconv.Quote(wanted))
}

// members reads an object. It hands each key to member, which reads the value.
func (s *jsonScanner) members(member func(key string) error) error {
	if _, err := s.take("{"); err != nil {
		return err
	}
	return s.list('}', func() error {
		key, err := s.value(true)
		if err != nil && !errors.Is(err, errValueTooLong) {
			return err
		}
		name, notString := strconv.Unquote(string(key))
		if err == nil && (len(key) == 0 || key[0] != '"') {
			return s.wrong(key[0], "a key in quotes")
		}
		if notString != nil {
			name = "" // an escape of JSON alone, or too long: no key that is looked for
		}
		if _, err := s.take(":"); err != nil {
			return err
		}
		return member(name)
	})
}

// elements reads an array, each element by element.
func (s *jsonScanner) elements(element func() error) error {
	if _, err := s.take("["); err != nil {
		return err
	}
	return s.list(']', element)
}

// list reads items between commas up to the closing bracket.
func (s *jsonScanner) list(closing byte, item func() error) error {
	if c, err := s.peek(); err != nil {
		return cutShort(err)
	} else if c == closing {
		_, err = s.text.ReadByte()
		return err
	}
	for {
		if err := item(); err != nil {
			return err
		}
		if c, err := s.take("," + string(rune(closing))); err != nil || c == closing {
			return err
		}
	}
}

// value reads any value. If keep is set it returns its bytes, valid until the next call, or errValueTooLong, after which reading can
// go on.
func (s *jsonScanner) value(keep bool) ([]byte, error) {
	first, err := s.peek()
	if err != nil {
		return nil, cutShort(err)
	}
	s.buf = s.buf[:0]
	tooLong, depth, quoted, escaped := false, 0, false, false
	for {
		c, err := s.text.ReadByte()
		if err == io.EOF && depth == 0 && !quoted && len(s.buf) > 0 {
			break // a number or word at the end of the text
		}
		if err != nil {
			return nil, cutShort(err)
		}
		end := false
		switch {
		case c == '\n':
			s.line++
			escaped = false
		case escaped:
			escaped = false
		case quoted:
			escaped = c == '\\'
			if c == '"' {
				quoted, end = false, depth == 0
			}
		case c == '"':
			quoted = true
		case c == '{' || c == '[':
			if depth++; depth > maxJSONDepth {
				return nil, fmt.Errorf("line %d: brackets nested more than %d deep: this is no GeoJSON", s.line, maxJSONDepth)
			}
		case (c == '}' || c == ']') && depth > 0:
			depth--
			end = depth == 0
		}
		if depth == 0 && !quoted && !end && isJSONEnd(c) {
			if c == '\n' {
				s.line--
			}
			if err := s.text.UnreadByte(); err != nil {
				return nil, err
			}
			if c == first && len(s.buf) == 0 && !tooLong {
				return nil, s.wrong(c, "a value")
			}
			break
		}
		if keep && !tooLong {
			if s.buf = append(s.buf, c); len(s.buf) > s.max {
				tooLong, s.buf = true, s.buf[:1] // not empty
			}
		} else if len(s.buf) == 0 {
			s.buf = append(s.buf, c)
		}
		if end {
			break
		}
	}
	if tooLong {
		return nil, errValueTooLong
	}
	return s.buf, nil
}

// isJSONEnd tells what stands behind a number or word.
func isJSONEnd(c byte) bool {
	switch c {
	case ',', '}', ']', ':', ' ', '\t', '\r', '\n', '\x1e':
		return true
	}
	return false
}

// cutShort is what the end of the text means inside a value.
func cutShort(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}
