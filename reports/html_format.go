package reports

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// none stands for a value that does not exist.
const none = "–"

// decimals writes v with n decimals (none below 0), a true minus sign, and narrow spaces between thousands from 10 000 on.
func decimals(v float64, n int) string {
	if !allFinite(v) {
		return none
	}
	s := strconv.FormatFloat(math.Abs(v), 'f', max(n, 0), 64)
	whole, part, found := strings.Cut(s, ".")
	if len(whole) > 4 {
		for i := len(whole) - 3; i > 0; i -= 3 {
			whole = whole[:i] + "\u202f" + whole[i:]
		}
	}
	if found {
		whole += "." + part
	}
	if v < 0 && strings.ContainsAny(s, "123456789") {
		return "−" + whole
	}
	return whole
}

func metres(v float64) string     { return decimals(v, 0) + "\u00a0m" }
func kilometres(m float64) string { return decimals(m/1000, 1) + "\u00a0km" }
func arcmin(v float64) string     { return decimals(v, 1) + "′" }

// Write numbers that have a spread.
func plusMinus(v, sd float64, n int) string { return decimals(v, n) + " ± " + decimals(sd, n) }

// chanceWords writes a probability, never rounded to a certainty.
func chanceWords(p float64) string {
	switch {
	case !allFinite(p):
		return none
	case p < 0.005:
		return "below 0.01"
	case p > 0.995:
		return "above 0.99"
	}
	return decimals(p, 2)
}

// htmlName is a name as HTML: escaped, isolated from the direction of the text around it, and cut to about most letters with the
// whole as its title.
func htmlName(name string, most int) template.HTML {
	whole := plainName(name)
	shown := whole
	if utf8.RuneCountInString(whole) > most {
		runes := []rune(whole)
		shown = trimmedEnd(string(runes[:most-1])) + "…"
	}
	title := ""
	if shown != whole {
		title = ` title="` + template.HTMLEscapeString(whole) + `"`
	}
	return template.HTML("<bdi" + title + ">" + template.HTMLEscapeString(shown) + "</bdi>")
}

// htmlf formats a sentence; every argument that is not template.HTML already is escaped, so a name cannot become markup.
func htmlf(format string, args ...any) template.HTML {
	safe := make([]any, len(args))
	for i, a := range args {
		switch a := a.(type) {
		case template.HTML:
			safe[i] = a
		case string:
			safe[i] = template.HTMLEscapeString(a)
		case int, int32, int64:
			safe[i] = a
		default:
			safe[i] = template.HTMLEscapeString(fmt.Sprint(a))
		}
	}
	return template.HTML(fmt.Sprintf(format, safe...))
}

// plural writes a count with its word.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return decimals(float64(n), 0) + " " + many
}

// htmlCell is one cell of a table: what is shown, what it sorts by, and why a missing value is missing.
type htmlCell struct {
	Text, Sort, Why string
}

func valueCell(text string, sortBy float64) htmlCell {
	if text == none {
		return htmlCell{Text: none, Why: "not a finite number"}
	}
	return htmlCell{Text: text, Sort: strconv.FormatFloat(sortBy, 'g', -1, 64)}
}

// optional is the cell of a value that may be null, with the reason of a null.
func optional(v *float64, write func(float64) string, why string) htmlCell {
	if v == nil {
		return htmlCell{Text: none, Why: why}
	}
	return valueCell(write(*v), *v)
}

// atDecimals returns a writer for optional.
func atDecimals(n int) func(float64) string {
	return func(v float64) string { return decimals(v, n) }
}
