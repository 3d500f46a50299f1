package reports

import (
	"regexp"
	"strconv"
	"strings"
)

// metresPerFoot is the international foot (1959), exact.
const metresPerFoot = 0.3048

// WithFeet adds feet to every number of metres in a text, as "712 m (2,336 ft)". Kilometres, rates per metre and names of columns are left.
func WithFeet(text string) string {
	const number = "[−-]?[0-9][0-9,\u202f]*(?:\\.[0-9]+)?"
	amount := regexp.MustCompile("(?:(" + number + ")( ± ))?(" + number + ")([ \u00a0])m($|[^A-Za-z0-9_·/²³<(]|<)")
	return amount.ReplaceAllStringFunc(text, func(found string) string {
		parts := amount.FindStringSubmatch(found)
		feet := func(metres string) string {
			m, err := strconv.ParseFloat(strings.NewReplacer(",", "", "\u202f", "", "−", "-").Replace(metres), 64)
			if err != nil {
				return "" // none: the group did not take part
			}
			text := decimals(m/metresPerFoot, 0)
			if parts[4] == " " { // plain text groups by commas
				text = strings.ReplaceAll(text, "\u202f", ",")
			}
			return text
		}
		return strings.TrimSuffix(found, parts[5]) + " (" + feet(parts[1]) + parts[2] + feet(parts[3]) + parts[4] + "ft)" + parts[5]
	})
}

// pageWithFeet does so in a page, outside its scripts, styles and figures.
func pageWithFeet(page string) string {
	apart := regexp.MustCompile(`(?s)<(script|style|svg)\b.*?</(script|style|svg)>`)
	var out strings.Builder
	last := 0
	for _, span := range apart.FindAllStringIndex(page, -1) {
		out.WriteString(WithFeet(page[last:span[0]]))
		out.WriteString(page[span[0]:span[1]])
		last = span[1]
	}
	out.WriteString(WithFeet(page[last:]))
	return out.String()
}
