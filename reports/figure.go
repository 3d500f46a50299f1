package reports

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"farstation/pipeline"
)

// FigureOptions say how a figure is drawn.
type FigureOptions struct {
	// K is the refraction coefficient (below 1) and KSD its standard deviation; low and high k are K ∓ 2·KSD.
	K, KSD float64
	// ID begins every identifier inside the figure, so that several can stand in one page; "" is "figure". Letters, digits and
	// hyphens only.
	ID string
	// Inline leaves out what the page around it gives: the namespace and the style sheet.
	Inline bool
}

// figureWidth is the width of every figure in user units, about pixels; text is 12.5 units high, so that it stays legible on paper
// 18 cm wide.
const (
	figureWidth    = 760.0
	figureTextSize = 12.5
	figureLane     = 17.0
)

// canvas collects the elements of one SVG figure. Only its methods write text, and they escape it.
type canvas struct {
	bytes.Buffer
	id    string
	clips int
}

func (o FigureOptions) check(line *pipeline.Sightline) error {
	switch {
	case line == nil:
		return fmt.Errorf("figure: no sightline given")
	case !(line.DistanceM > 0) || math.IsInf(line.DistanceM, 0):
		return fmt.Errorf("figure %s to %s: distance %v m is not above 0", line.ObserverID, line.TargetID, line.DistanceM)
	case !(line.RadiusM > 0) || math.IsInf(line.RadiusM, 0):
		return fmt.Errorf("figure %s to %s: radius %v m is not above 0", line.ObserverID, line.TargetID, line.RadiusM)
	case !allFinite(line.EyeHeightM, line.TopHeightM, o.K, o.KSD):
		return fmt.Errorf("figure %s to %s: eye %v m, top %v m, k %v ± %v: all must be finite",
			line.ObserverID, line.TargetID, line.EyeHeightM, line.TopHeightM, o.K, o.KSD)
	}
	for _, r := range o.ID {
		if !(r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || r == '-') {
			return fmt.Errorf("figure: identifier %q may hold only letters, digits and hyphens", o.ID)
		}
	}
	return nil
}

// svg wraps what was drawn into a figure heightU user units high.
func (c *canvas) svg(o FigureOptions, heightU float64, title, desc string) ([]byte, error) {
	var out bytes.Buffer
	space := ` xmlns="http://www.w3.org/2000/svg"`
	if o.Inline {
		space = ""
	}
	fmt.Fprintf(&out, `<svg%s class="figure" role="img" viewBox="0 0 %s %s" aria-labelledby="%s-title %s-desc"><title id="%s-title">%s</title><desc id="%s-desc">%s</desc>`,
		space, coord(figureWidth), coord(heightU), c.id, c.id, c.id, xmlEscaped(title), c.id, xmlEscaped(desc))
	if !o.Inline {
		css, err := assets.ReadFile("html/figure.css")
		if err != nil {
			return nil, fmt.Errorf("figure: %w", err)
		}
		fmt.Fprintf(&out, `<style>%s</style><rect class="paper" width="%s" height="%s"/>`, xmlEscaped(string(css)), coord(figureWidth), coord(heightU))
	}
	fmt.Fprintf(&out, `<defs><pattern id="%s-hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="hatch" d="M0 0V6"/></pattern>`+
		`<pattern id="%s-cross" width="7" height="7" patternUnits="userSpaceOnUse"><path class="hatch" d="M0 0L7 7M7 0L0 7"/></pattern></defs>`, c.id, c.id)
	out.Write(c.Bytes())
	out.WriteString("</svg>\n")
	return out.Bytes(), nil
}

// text writes one line of text; anchor is start, middle or end. A full text longer than what is shown becomes its title.
func (c *canvas) text(x, y float64, class, anchor, shown, full string) {
	fmt.Fprintf(c, `<text x="%s" y="%s"`, coord(x), coord(y))
	if class != "" {
		fmt.Fprintf(c, ` class="%s"`, class)
	}
	if anchor != "start" {
		fmt.Fprintf(c, ` text-anchor="%s"`, anchor)
	}
	c.WriteString(">")
	if full != "" && full != shown {
		fmt.Fprintf(c, "<title>%s</title>", xmlEscaped(full))
	}
	c.WriteString(xmlEscaped(shown) + "</text>")
}

func (c *canvas) path(class, d string) {
	if d != "" {
		fmt.Fprintf(c, `<path class="%s" d="%s"/>`, class, d)
	}
}

func (c *canvas) rect(class string, x, y, w, h float64) {
	fmt.Fprintf(c, `<rect class="%s" x="%s" y="%s" width="%s" height="%s"/>`, class, coord(x), coord(y), coord(w), coord(h))
}

// hatched fills a box with the figure's hatching.
func (c *canvas) hatched(x, y, w, h float64) {
	fmt.Fprintf(c, `<rect class="edge" fill="url(#%s-hatch)" x="%s" y="%s" width="%s" height="%s"/>`, c.id, coord(x), coord(y), coord(w), coord(h))
}

// crossed fills a box with crossed hatching, which stands for what is not known.
func (c *canvas) crossed(x, y, w, h float64) {
	fmt.Fprintf(c, `<rect class="edge" fill="url(#%s-cross)" x="%s" y="%s" width="%s" height="%s"/>`, c.id, coord(x), coord(y), coord(w), coord(h))
}

// clip hides what is drawn outside a box until the closing tag that it returns is written.
func (c *canvas) clip(x, y, w, h float64) (closing string) {
	c.clips++
	fmt.Fprintf(c, `<clipPath id="%s-clip%d"><rect x="%s" y="%s" width="%s" height="%s"/></clipPath><g clip-path="url(#%s-clip%d)">`,
		c.id, c.clips, coord(x), coord(y), coord(w), coord(h), c.id, c.clips)
	return "</g>"
}

// The shapes of marks, one for each kind of point, so that none is known by colour alone.
const (
	markFront   = "front"
	markFoot    = "foot"
	markGrazing = "grazing"
	markHorizon = "horizon"
	markEnd     = "end"
	// On a photograph: what was measured, where a model has it, and what stands there unmeasured.
	markMeasured = "measured"
	markCurved   = "curved"
	markPlane    = "plane"
	markExpected = "expected"
)

func (c *canvas) mark(kind string, x, y float64) {
	c.path("mark "+kind, markShape(kind, x, y))
}

func markShape(kind string, x, y float64) string {
	switch kind {
	case markFront: // triangle
		return fmt.Sprintf("M%s %sl5 9h-10z", coord(x), coord(y-5))
	case markFoot: // square
		return fmt.Sprintf("M%s %sh8v8h-8z", coord(x-4), coord(y-4))
	case markHorizon, markPlane: // diamond
		return fmt.Sprintf("M%s %sl5 5l-5 5l-5-5z", coord(x), coord(y-5))
	case markGrazing, markCurved: // ring
		return fmt.Sprintf("M%s %sa5.5 5.5 0 1 0 11 0a5.5 5.5 0 1 0-11 0z", coord(x-5.5), coord(y))
	case markMeasured: // cross, open in the middle
		return fmt.Sprintf("M%s %sh7m6 0h7M%s %sv7m0 6v7", coord(x-10), coord(y), coord(x), coord(y-10))
	default: // dot
		return fmt.Sprintf("M%s %sa3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0-7 0z", coord(x-3.5), coord(y))
	}
}

// xmlEscaped returns s as XML character data; what XML forbids becomes U+FFFD.
func xmlEscaped(s string) string {
	var b strings.Builder
	// Writing into a strings.Builder cannot fail.
	_ = xml.EscapeText(&b, []byte(s))
	return b.String()
}

// coord writes a coordinate with one decimal at most.
func coord(v float64) string {
	s := strconv.FormatFloat(v, 'f', 1, 64)
	s = strings.TrimSuffix(s, ".0")
	if s == "-0" {
		return "0"
	}
	return s
}

func allFinite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// isolated sets a name between Unicode's first-strong isolate and its end, so that a right-to-left name does not turn round the
// numbers beside it (Unicode Standard Annex 9). Line breaks and other controls become spaces.
func isolated(name string) string {
	return "\u2068" + plainName(name) + "\u2069"
}

// plainName replaces control characters by spaces and drops the bidirectional controls that would reach beyond the name.
func plainName(name string) string {
	name = strings.Map(func(r rune) rune {
		switch {
		case r >= '\u202a' && r <= '\u202e', r >= '\u2066' && r <= '\u2069':
			return -1
		case unicode.IsControl(r), r == '\u2028', r == '\u2029':
			return ' '
		}
		return r
	}, name)
	if strings.TrimSpace(name) == "" {
		return "(no name)"
	}
	return name
}

// runeWidth estimates the width of r in ems of a common sans-serif font, rather too wide than too narrow.
func runeWidth(r rune) float64 {
	switch {
	case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
		return 0
	case r >= 0x1f000, r >= 0x1100 && unicode.In(r, unicode.Han, unicode.Hangul, unicode.Hiragana, unicode.Katakana):
		return 1.3
	case strings.ContainsRune(" .,:;|'′ilIj()!", r):
		return 0.38
	case r == 'm' || r == 'w' || r == 'M' || r == 'W' || r == '@' || r == '%':
		return 1
	case unicode.IsUpper(r):
		return 0.76
	}
	return 0.63
}

func textWidth(s string, size float64) float64 {
	w := 0.0
	for _, r := range s {
		w += runeWidth(r)
	}
	return w * size
}

// fitted shortens a name to widthU user units.
func fitted(name string, widthU, size float64) string {
	name = plainName(name)
	if textWidth(name, size) <= widthU {
		return name
	}
	w := size // of the ellipsis
	for i, r := range name {
		if w += runeWidth(r) * size; w > widthU {
			return trimmedEnd(name[:i]) + "…"
		}
	}
	return name
}

// trimmedEnd takes from a cut name what must not stand last: spaces, joiners, and marks whose letter may have more of them.
func trimmedEnd(s string) string {
	return strings.TrimRightFunc(s, func(r rune) bool {
		return unicode.IsSpace(r) || unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf)
	})
}
