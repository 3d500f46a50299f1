package gazetteer

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// xmlScanner cuts XML into its tags in memory bounded by the longest one that is kept. It is for data whose texts stand in attributes: what
// stands between tags is passed over. encoding/xml would do but for its memory, which one attribute without an end makes as large as the
// file, and for its refusing a whole file over one name that is not UTF-8. Document types are refused, so no entity can be declared.
type xmlScanner struct {
	text *bufio.Reader
	max  int // bytes of a tag that is kept
	// line is where the tag at hand begins, newlines how many line ends have been read.
	line, newlines int
	buf            []byte
	// unfinished says that the document cannot end here.
	unfinished bool
}

// xmlTag is a start or end tag, valid until the next one is read. Of one that is too long only the name is right.
type xmlTag struct {
	name, attributes        []byte
	closing, empty, tooLong bool
}

func newXMLScanner(text io.Reader, maxBytes int) *xmlScanner {
	s := &xmlScanner{text: bufio.NewReaderSize(text, headBytes), max: maxBytes}
	if mark, _ := s.text.Peek(len(byteOrderMark)); string(mark) == byteOrderMark { // an error comes again at the first read
		_, _ = s.text.Discard(len(byteOrderMark)) // already in the buffer
	}
	return s
}

// wrong is the error of text that is no XML of OpenStreetMap at this place.
func (s *xmlScanner) wrong(format string, args ...any) error {
	return fmt.Errorf("line %d: %s: export the file again", s.line, fmt.Sprintf(format, args...))
}

// next returns the next start or end tag. io.EOF comes at the end of a document that may end there.
func (s *xmlScanner) next() (xmlTag, error) {
	for {
		if err := s.skipPast('<'); err == io.EOF && !s.unfinished {
			return xmlTag{}, io.EOF
		} else if err != nil {
			return xmlTag{}, cutShort(err)
		}
		s.line = 1 + s.newlines
		first, err := s.text.Peek(1)
		if err != nil {
			return xmlTag{}, cutShort(err)
		}
		switch first[0] {
		case '?':
			if err := s.instruction(); err != nil {
				return xmlTag{}, err
			}
		case '!':
			if err := s.declaration(); err != nil {
				return xmlTag{}, err
			}
		default:
			return s.tag()
		}
	}
}

// skipPast reads up to a byte.
func (s *xmlScanner) skipPast(end byte) error {
	for {
		part, err := s.text.ReadSlice(end)
		s.newlines += bytes.Count(part, []byte{'\n'})
		if err != bufio.ErrBufferFull {
			return err
		}
	}
}

// skipBehind reads up to the end of a comment or the like, which closes with '>'. It returns its first bytes.
func (s *xmlScanner) skipBehind(end string) (head []byte, err error) {
	var last []byte
	for {
		part, err := s.text.ReadSlice('>')
		s.newlines += bytes.Count(part, []byte{'\n'})
		if room := 200 - len(head); room > 0 {
			head = append(head, part[:min(room, len(part))]...)
		}
		last = append(last, part[max(0, len(part)-len(end)):]...)
		last = last[max(0, len(last)-len(end)):]
		switch {
		case err == nil && string(last) == end:
			return head, nil
		case err != nil && err != bufio.ErrBufferFull:
			return nil, cutShort(err)
		}
	}
}

func (s *xmlScanner) instruction() error {
	head, err := s.skipBehind("?>")
	if err != nil {
		return err
	}
	_, encoding, found := strings.Cut(strings.ToLower(string(head)), "encoding=")
	if !found || !bytes.HasPrefix(head, []byte("?xml ")) || len(encoding) < 2 {
		return nil
	}
	encoding, _, _ = strings.Cut(encoding[1:], encoding[:1])
	if encoding != "utf-8" && encoding != "utf8" && encoding != "us-ascii" {
		return s.wrong("the encoding %q is not read: convert the file to UTF-8", shorten(encoding))
	}
	return nil
}

func (s *xmlScanner) declaration() error {
	head, err := s.text.Peek(len("![CDATA["))
	end := ""
	switch {
	case bytes.HasPrefix(head, []byte("!--")):
		end = "-->"
	case bytes.HasPrefix(head, []byte("![CDATA[")):
		end = "]]>"
	case err != nil:
		return cutShort(err)
	default:
		return s.wrong("<!…> declares a document type, which OpenStreetMap's XML has not")
	}
	_, err = s.skipBehind(end)
	return err
}

// tag reads a tag up to the '>' that is not in quotes.
func (s *xmlScanner) tag() (xmlTag, error) {
	s.buf = s.buf[:0]
	const nameBytes = 64 // kept of a tag that is too long
	var quote byte
	tooLong := false
	var whole []byte
	for {
		part, err := s.text.ReadSlice('>')
		if err != nil && err != bufio.ErrBufferFull {
			return xmlTag{}, cutShort(err)
		}
		for rest := part; ; {
			at := 0
			if quote == 0 {
				at = bytes.IndexAny(rest, `"'`)
			} else {
				at = bytes.IndexByte(rest, quote)
			}
			if at < 0 {
				break
			}
			if quote == 0 {
				quote = rest[at]
			} else {
				quote = 0
			}
			rest = rest[at+1:]
		}
		s.newlines += bytes.Count(part, []byte{'\n'})
		ended := err == nil && quote == 0
		if ended && len(s.buf) == 0 && !tooLong && len(part) <= s.max {
			whole = part
			break
		}
		if s.buf = append(s.buf, part...); len(s.buf) > s.max || tooLong {
			tooLong = true
			s.buf = s.buf[:min(nameBytes, len(s.buf))]
		}
		if ended {
			whole = s.buf
			break
		}
	}
	t := xmlTag{tooLong: tooLong}
	if tooLong {
		whole = append(whole, '>') // whole is s.buf
	}
	inner := whole[:len(whole)-1]
	if t.closing = len(inner) > 0 && inner[0] == '/'; t.closing {
		inner = inner[1:]
	} else if t.empty = len(inner) > 0 && inner[len(inner)-1] == '/'; t.empty {
		inner = inner[:len(inner)-1]
	}
	end := 0
	for end < len(inner) && isXMLName(inner[end]) {
		end++
	}
	if t.name, t.attributes = inner[:end], inner[end:]; end == 0 {
		return t, s.wrong("a < that begins no tag")
	}
	return t, nil
}

// isXMLName tells bytes of names, loosely.
func isXMLName(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == ':' || c == '_' || c == '-' || c == '.' || c >= 0x80
}

// unknownEntity is a reference to an entity that XML does not have by itself.
type unknownEntity string

func (u unknownEntity) Error() string {
	return fmt.Sprintf("&%s; is none of the entities of XML", shorten(string(u)))
}

// attributes hands every attribute of a tag to each until it returns false. An unknownEntity comes after all of them.
func (s *xmlScanner) attributes(t xmlTag, each func(name, value string) bool) error {
	rest := t.attributes
	var unknown error
	for {
		if rest = bytes.TrimLeft(rest, " \t\r\n"); len(rest) == 0 {
			return unknown
		}
		end := 0
		for end < len(rest) && isXMLName(rest[end]) {
			end++
		}
		name, value := rest[:end], bytes.TrimLeft(rest[end:], " \t\r\n")
		if end == 0 || len(value) == 0 || value[0] != '=' {
			return s.wrong("an attribute of <%s> is not name=\"value\"", shorten(string(t.name)))
		}
		value = bytes.TrimLeft(value[1:], " \t\r\n")
		closing := -1
		if len(value) > 0 && (value[0] == '"' || value[0] == '\'') {
			closing = bytes.IndexByte(value[1:], value[0])
		}
		if closing < 0 {
			return s.wrong("attribute %s of <%s> is not in quotes", shorten(string(name)), shorten(string(t.name)))
		}
		text, err := unescapeXML(value[1 : 1+closing])
		if err != nil {
			unknown = err
		}
		if !each(string(name), text) {
			return nil
		}
		rest = value[closing+2:]
	}
}

// unescapeXML replaces references to characters and XML's five entities. Others are left as they are, and are an unknownEntity.
func unescapeXML(raw []byte) (string, error) {
	text := string(raw)
	if !strings.Contains(text, "&") {
		return text, nil
	}
	var out strings.Builder
	var unknown error
	for {
		before, after, found := strings.Cut(text, "&")
		out.WriteString(before)
		if !found {
			return out.String(), unknown
		}
		name, rest, closed := strings.Cut(after, ";")
		char, err := entity(name)
		if !closed || err != nil {
			unknown = unknownEntity(name)
			out.WriteByte('&')
			text = after
			continue
		}
		out.WriteRune(char)
		text = rest
	}
}

func entity(name string) (rune, error) {
	switch name {
	case "lt":
		return '<', nil
	case "gt":
		return '>', nil
	case "amp":
		return '&', nil
	case "quot":
		return '"', nil
	case "apos":
		return '\'', nil
	}
	digits, isNumber := strings.CutPrefix(name, "#")
	if !isNumber {
		return 0, errors.New("a name")
	}
	base := 10
	if hex, isHex := strings.CutPrefix(digits, "x"); isHex {
		digits, base = hex, 16
	}
	char, err := strconv.ParseUint(digits, base, 21)
	return rune(char), err
}
