package gazetteer

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// metresPerFoot is the international foot (1959), exact.
const metresPerFoot = 0.3048

// errUnreadable marks text that is not one height: a range, a guess, words, or a number that can be read in two ways.
var errUnreadable = errors.New("not a height that can be read without guessing")

// decimalMark is how a file writes decimals: '.', ',' or 0 where its coordinates do not tell.
type decimalMark byte

// decimalMarkOf tells the decimal mark of a row from its coordinates.
func decimalMarkOf(lat, lon string) decimalMark {
	switch {
	case strings.Contains(lat, ".") || strings.Contains(lon, "."):
		return '.'
	case strings.Contains(lat, ",") || strings.Contains(lon, ","):
		return ','
	}
	return 0
}

// parseLength reads a height in metres: a number alone or with a unit of metres or feet, or feet and inches as 7'4". Thousands
// may be grouped. It returns errUnreadable rather than guess; the value may be NaN or infinite where the text says so.
func parseLength(text string, mark decimalMark) (float64, error) {
	if plain, err := strconv.ParseUint(text, 10, 32); err == nil {
		return float64(plain), nil // nearly all of them
	}
	text = strings.TrimSpace(strings.NewReplacer("\u2212", "-", "\u00a0", " ", "\u202f", " ", "\u2009", " ", "\u2032", "'", "\u2019", "'",
		"\u2033", `"`, "\u201d", `"`, "''", `"`).Replace(text))
	switch strings.ToLower(strings.TrimLeft(text, "+-")) {
	case "nan", "inf", "infinity":
		if value, err := strconv.ParseFloat(text, 64); err == nil {
			return value, nil
		}
		return 0, errUnreadable // such as +NaN
	}
	number, unit := splitNumber(text)
	value, err := parseNumber(number, mark)
	if err != nil {
		return 0, err
	}
	switch strings.ToLower(strings.TrimSuffix(unit, ".")) {
	case "", "m", "metre", "metres", "meter", "meters":
		return value, nil
	case "'", "ft", "foot", "feet":
		return value * metresPerFoot, nil
	}
	for _, feet := range []string{"'", "ft", "feet"} {
		rest, ok := strings.CutPrefix(strings.ToLower(unit), feet)
		if !ok {
			continue
		}
		number, unit = splitNumber(strings.TrimSpace(rest))
		if unit != `"` && unit != "in" && unit != "in." {
			break
		}
		inches, err := parseNumber(number, mark)
		if err != nil || !(inches >= 0 && inches < 12) || value != math.Trunc(value) {
			break
		}
		return (value + math.Copysign(inches/12, value)) * metresPerFoot, nil
	}
	return 0, errUnreadable
}

// height reads a listed height in metres; NaN for an empty text. What cannot be read without guessing is NaN and puts the doubt on
// the record, or is an error where there is no doubt for it. NaN as a text is always an error: what names it may be rejected.
func (r *record) height(what, text string, mark decimalMark, doubt string) (float64, error) {
	if text == "" {
		return math.NaN(), nil
	}
	value, err := parseLength(text, mark)
	switch {
	case err == nil && !math.IsNaN(value):
		return value, nil
	case errors.Is(err, errUnreadable) && doubt != "":
		r.doubts = append(r.doubts, doubt)
		return math.NaN(), nil
	}
	return 0, fmt.Errorf("%s %q is not a number of metres", what, shorten(text))
}

// groundHeight reads a ground height that may be listed in metres, in feet or in both. Where the two contradict each other by more
// than 1 m beside rounding (half a unit each), neither is believed.
func (r *record) groundHeight(whatM, inMetres, whatFeet, inFeet string, mark decimalMark) error {
	var err error
	if r.groundM, err = r.height(whatM, inMetres, mark, DoubtHeightUnreadable); err != nil || inFeet == "" {
		return err
	}
	if number, unit := splitNumber(inFeet); unit == "" {
		inFeet = number + " ft"
	}
	feetM, err := r.height(whatFeet, inFeet, mark, DoubtHeightUnreadable)
	switch {
	case err != nil:
		return err
	case math.IsNaN(r.groundM):
		r.groundM = feetM
	case math.Abs(r.groundM-feetM) > 1+0.5+0.5*metresPerFoot:
		r.groundM = math.NaN()
		r.doubts = append(r.doubts, DoubtHeightUnreadable)
	}
	return nil
}

// splitNumber cuts text after its leading number, with its signs, marks, groups and exponent.
func splitNumber(text string) (number, unit string) {
	end := len(text) - len(strings.TrimLeft(text, "+-0123456789., "))
	if exponent := text[end:]; len(exponent) > 1 && (exponent[0] == 'e' || exponent[0] == 'E') {
		if digits := len(exponent) - 1 - len(strings.TrimLeft(exponent[1:], "+-0123456789")); digits > 0 {
			end += 1 + digits
		}
	}
	return strings.TrimSpace(text[:end]), strings.TrimSpace(text[end:])
}

// parseNumber reads a number with decimals behind mark and, in groups of three, thousands behind the other mark or a space.
// Without a known mark, 1.234 and 1,234 can be read in two ways and are not.
func parseNumber(text string, mark decimalMark) (float64, error) {
	sign, digits := "", text
	if digits != "" && (digits[0] == '-' || digits[0] == '+') {
		sign, digits = digits[:1], digits[1:]
	}
	comma, point := strings.LastIndexByte(digits, ','), strings.LastIndexByte(digits, '.')
	switch {
	case comma >= 0 && point >= 0: // the last of two different marks is the decimal mark
		mark = '.'
		if comma > point {
			mark = ','
		}
	case comma >= 0:
		single := strings.Count(digits, ",") == 1
		switch grouped := isGrouped(digits, ','); {
		case single && (mark == ',' || !grouped):
			mark = ','
		case single && mark == 0:
			return 0, errUnreadable
		default:
			mark = '.'
		}
	case point >= 0:
		single := strings.Count(digits, ".") == 1
		switch grouped := isGrouped(digits, '.'); {
		case single && (mark == '.' || !grouped):
			mark = '.'
		case single && mark == 0:
			return 0, errUnreadable
		default:
			mark = ','
		}
	}
	whole, decimals := digits, ""
	if at := strings.LastIndexByte(digits, byte(mark)); mark != 0 && at >= 0 {
		whole, decimals = digits[:at], "."+digits[at+1:]
	}
	for _, separator := range ",. " {
		if strings.ContainsRune(whole, separator) {
			if !isGrouped(whole, byte(separator)) {
				return 0, errUnreadable
			}
			whole = strings.ReplaceAll(whole, string(separator), "")
		}
	}
	value, err := strconv.ParseFloat(sign+whole+decimals, 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) {
		return 0, errUnreadable
	}
	return value, nil
}

// isGrouped tells digits grouped in thousands by separator: 1 to 3 of them that do not begin with 0, then groups of 3.
func isGrouped(text string, separator byte) bool {
	for i, group := range strings.Split(text, string(separator)) {
		if strings.Trim(group, "0123456789") != "" || group == "" {
			return false
		}
		if i == 0 && (len(group) > 3 || group[0] == '0') || i > 0 && len(group) != 3 {
			return false
		}
	}
	return true
}
