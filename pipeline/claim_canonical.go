package pipeline

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"unicode/utf16"
	"unicode/utf8"
)

// parseObject reads one JSON object. A member that stands twice is an error, for programs disagree on which of the two counts; so is text that
// is not UTF-8.
func parseObject(text []byte) (map[string]any, error) {
	if !utf8.Valid(text) {
		return nil, errors.New("is not UTF-8")
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	value, err := parseValue(decoder)
	if err != nil {
		return nil, err
	}
	if _, err := decoder.Token(); err != io.EOF {
		return nil, errors.New("something stands after its JSON")
	}
	object, ok := value.(map[string]any)
	if !ok {
		return nil, errors.New("holds no JSON object")
	}
	return object, nil
}

func parseValue(decoder *json.Decoder) (any, error) {
	token, err := decoder.Token()
	if err != nil {
		return nil, err
	}
	switch token {
	case json.Delim('{'):
		object := map[string]any{}
		for decoder.More() {
			name, err := decoder.Token()
			if err != nil {
				return nil, err
			}
			key := name.(string) // the decoder lets nothing else stand there
			if _, twice := object[key]; twice {
				return nil, fmt.Errorf("member %q stands twice", key)
			}
			if object[key], err = parseValue(decoder); err != nil {
				return nil, err
			}
		}
		_, err = decoder.Token()
		return object, err
	case json.Delim('['):
		list := []any{}
		for decoder.More() {
			item, err := parseValue(decoder)
			if err != nil {
				return nil, err
			}
			list = append(list, item)
		}
		_, err = decoder.Token()
		return list, err
	}
	return token, nil
}

// hashWithout is the SHA-256 of an object without one of its members, in the canonical form of RFC 8785.
func hashWithout(object map[string]any, member string) (string, error) {
	rest := maps.Clone(object)
	delete(rest, member)
	text, err := appendCanonical(nil, rest)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:]), nil
}

// appendCanonical writes a value as RFC 8785 has it. Numbers are those of ECMAScript, which encoding/json writes too.
func appendCanonical(b []byte, value any) (_ []byte, err error) {
	switch v := value.(type) {
	case map[string]any:
		b = append(b, '{')
		names := slices.SortedFunc(maps.Keys(v), func(a, b string) int {
			return slices.Compare(utf16.Encode([]rune(a)), utf16.Encode([]rune(b)))
		})
		for i, name := range names {
			if i > 0 {
				b = append(b, ',')
			}
			b = append(appendCanonicalText(b, name), ':')
			if b, err = appendCanonical(b, v[name]); err != nil {
				return nil, err
			}
		}
		return append(b, '}'), nil
	case []any:
		b = append(b, '[')
		for i, item := range v {
			if i > 0 {
				b = append(b, ',')
			}
			if b, err = appendCanonical(b, item); err != nil {
				return nil, err
			}
		}
		return append(b, ']'), nil
	case string:
		return appendCanonicalText(b, v), nil
	case float64:
		if v == 0 { // minus zero too
			return append(b, '0'), nil
		}
	}
	text, err := json.Marshal(value)
	return append(b, text...), err
}

// appendCanonicalText writes a text with no more escapes than JSON demands.
func appendCanonicalText(b []byte, text string) []byte {
	b = append(b, '"')
	for _, r := range text {
		switch short := bytes.IndexRune([]byte("\b\t\n\f\r\"\\"), r); {
		case short >= 0:
			b = append(b, '\\', "btnfr\"\\"[short])
		case r < 0x20:
			b = fmt.Appendf(b, `\u%04x`, r)
		default:
			b = utf8.AppendRune(b, r)
		}
	}
	return append(b, '"')
}
