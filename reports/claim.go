package reports

import (
	"fmt"
	"html/template"
	"io"
	"strings"
	"unicode"

	"farstation/pipeline"
)

// claimPage is what claim.tmpl shows.
type claimPage struct {
	*pipeline.Claim
	// Sentence shadows the claim's, with its names isolated from the direction of the text around them.
	Sentence     string
	CSS          template.CSS
	Policy       string
	Figure       template.HTML
	FigureWords  string
	ModelRows    []claimModelRow
	BreakEvens   []claimPair
	Terms        []claimTermRow
	Chance       string
	NearChance   string
	ShowsChance  string
	Ends         []claimEnd
	ParameterSet []htmlPair
	// AllSD is the break-even of all heights and places at once.
	AllSD string
}

type claimModelRow struct {
	Name                               string
	K, Angle, Order, Margin, Cut, Part htmlCell
}

type claimPair struct{ Name, Value, SD string }

type claimTermRow struct{ Name, Curved, Plane string }

type claimEnd struct {
	Role, Name, ID, Kind, Place, Ground, Structure, Source string
}

// WriteClaimHTML writes a claim as one page to be printed. The frame is drawn from the line and its profile where both are given; else from
// the angles of the claim.
func WriteClaimHTML(w io.Writer, claim *pipeline.Claim, line *pipeline.Sightline, profile *pipeline.Profile) error {
	css, err := pageCSS()
	if err != nil {
		return fmt.Errorf("claim %s: %w", claim.ID, err)
	}
	page := &claimPage{Claim: claim, CSS: css, Policy: printedPolicy}
	var svg []byte
	switch {
	case line != nil && profile != nil:
		svg, err = FrameFigure(line, profile, FigureOptions{K: claim.Air.K, KSD: claim.Air.KSD, ID: "claim-frame", Inline: true})
		page.FigureWords = "What the lens should see under each model: same frame, same scale."
	case claim.Model(pipeline.ModelCurved).AngleArcmin != nil:
		svg, err = separationFigure(claim)
		page.FigureWords = "The angle of the claim under each model: same frame, same scale. Whiskers are two standard deviations."
	}
	if err != nil {
		return fmt.Errorf("claim %s: %w", claim.ID, err)
	}
	page.Figure = template.HTML(svg) // the figures escape every text themselves
	page.fill()
	return writePage(w, "claim.tmpl", page)
}

// printedPolicy forbids a page without scripts everything but its own style.
const printedPolicy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"

// pageCSS is the style of the report, for pages that stand alone.
func pageCSS() (template.CSS, error) {
	var css strings.Builder
	for _, name := range []string{"html/report.css", "html/figure.css"} {
		text, err := assets.ReadFile(name)
		if err != nil {
			return "", err
		}
		css.Write(text)
	}
	return template.CSS(css.String()), nil
}

// modelWords names the models of a claim.
func modelWords(model string) string {
	switch model {
	case pipeline.ModelCurved:
		return "curved, nominal k"
	case pipeline.ModelCurvedLowK:
		return "curved, low k"
	case pipeline.ModelCurvedHighK:
		return "curved, high k"
	case pipeline.ModelCurvedK0:
		return "curved, straight light"
	case pipeline.ModelPlane:
		return "plane, straight light"
	case pipeline.ModelPlaneSameAir:
		return "plane, in the same air"
	}
	return model
}

// fromRight tells whether a letter is written from right to left.
func fromRight(r rune) bool {
	return unicode.In(r, unicode.Hebrew, unicode.Arabic, unicode.Syriac, unicode.Thaana, unicode.Nko)
}

func (p *claimPage) fill() {
	for _, m := range p.Models {
		row := claimModelRow{
			Name: modelWords(m.Model), K: valueCell(decimals(m.K, 3), m.K), Angle: optional(m.AngleArcmin, arcmin, "nothing to measure"),
			Margin: optional(m.MarginArcmin, arcmin, "not stated for this model"), Cut: optional(m.ObscuredHeightM, metres, "nothing is cut off, or not stated"),
			Part: optional(m.PartInView, atDecimals(2), "not stated for this model"), Order: htmlCell{Text: none, Why: "one top alone"},
		}
		if m.AngleArcmin != nil && m.AngleSDArcmin != nil {
			row.Angle = valueCell(plusMinus(*m.AngleArcmin, *m.AngleSDArcmin, 2)+"′", *m.AngleArcmin)
		}
		if m.FarAboveChance != nil {
			row.Order = htmlCell{Text: strings.ReplaceAll(m.Order, "_", " ") + " (far above: " + chanceWords(*m.FarAboveChance) + ")"}
		}
		p.ModelRows = append(p.ModelRows, row)
	}
	for _, b := range p.Claim.BreakEvens {
		n := 1
		if b.Unit == "" {
			n = 3
		}
		unit := strings.TrimRight("\u00a0"+b.Unit, "\u00a0")
		p.BreakEvens = append(p.BreakEvens, claimPair{b.Input, decimals(b.Amount, n) + unit, decimals(b.SD, n) + unit})
	}
	for _, t := range p.Claim.Terms {
		p.Terms = append(p.Terms, claimTermRow{t.Input, decimals(t.CurvedArcmin, 3) + "′", decimals(t.PlaneArcmin, 3) + "′"})
	}
	if all := p.BreakEvenAllSD; all != nil {
		p.AllSD = decimals(*all, 1)
	}
	c := p.Claim.Chance
	p.Chance = chanceWords(c.TopLow)
	if c.TopLow != c.TopHigh {
		p.Chance += " with gaps in the terrain filled high, " + chanceWords(c.TopHigh) + " with gaps as sea"
	}
	if c.Near != nil && c.Shows != nil {
		p.NearChance, p.ShowsChance = chanceWords(*c.Near), chanceWords(*c.Shows)
	}
	end := func(role string, f *pipeline.ClaimFeature) {
		if f == nil {
			return
		}
		structure := none
		if f.StructureHeightM > 0 {
			structure = plusMinus(f.StructureHeightM, f.StructureHeightSDM, 1) + "\u00a0m"
		}
		p.Ends = append(p.Ends, claimEnd{
			role, plainName(f.Name), f.ID, f.Kind, decimals(f.LatitudeDeg, 5) + "°, " + decimals(f.LongitudeDeg, 5) + "° ± " + metres(f.PositionSDM),
			plusMinus(f.GroundHeightM, f.GroundHeightSDM, 1) + "\u00a0m, " + f.HeightSource, structure, f.Sources,
		})
	}
	end("observer", &p.Observer)
	end("near top", p.Near)
	end("target", &p.Target)
	p.Sentence = plainName(p.Claim.Sentence)
	for _, e := range p.Ends {
		if strings.ContainsFunc(e.Name, fromRight) {
			p.Sentence = strings.ReplaceAll(p.Sentence, e.Name, isolated(e.Name))
		}
	}
	p.ParameterSet = newHTMLManifest(&pipeline.Manifest{Parameters: p.Parameters}).Parameters
}
