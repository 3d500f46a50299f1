package reports

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"unicode"

	"farstation/pipeline"
)

// ReadChances returns the stated chance of every sightline of a run among those wanted, by pipeline.LineID; nil where it is undecided.
func ReadChances(dir string, wanted map[string]bool) (map[string]*float64, error) {
	if _, err := readRun(dir); err != nil {
		return nil, err
	}
	chances := map[string]*float64{}
	for line, err := range tablesOf(dir).Sightlines {
		if err != nil {
			return nil, fmt.Errorf("run folder %s: %w", dir, err)
		}
		id := pipeline.LineID(line)
		if !wanted[id] {
			continue
		}
		chances[id] = nil
		if line.Chance != nil {
			chance := *line.Chance
			chances[id] = &chance
		}
	}
	return chances, nil
}

// outcomePage is what outcomes.tmpl shows.
type outcomePage struct {
	*pipeline.OutcomeScore
	Run, RunSHA256, File string
	CSS                  template.CSS
	Policy               string
	Figure               template.HTML
	Rows                 []outcomeRow
	Scores               []htmlPair
	Counts               []htmlPair
}

type outcomeRow struct{ Range, Counted, Mean, Share, Interval string }

// WriteOutcomesHTML writes the page of stated chances against outcomes. run and file are names to be shown, runSHA256 is that of run.json.
func WriteOutcomesHTML(w io.Writer, score *pipeline.OutcomeScore, run, runSHA256, file string) error {
	css, err := pageCSS()
	if err != nil {
		return fmt.Errorf("outcomes: %w", err)
	}
	figure, err := calibrationFigure(score)
	if err != nil {
		return fmt.Errorf("outcomes: %w", err)
	}
	page := &outcomePage{
		OutcomeScore: score, Run: plainName(run), RunSHA256: runSHA256, File: plainName(file), CSS: css, Policy: printedPolicy,
		Figure: template.HTML(figure), // holds numbers only
	}
	for _, b := range score.Bins {
		row := outcomeRow{Range: decimals(b.From, 1) + "–" + decimals(b.To, 1), Counted: decimals(float64(b.Counted), 0), Mean: none, Share: none, Interval: none}
		if b.Counted > 0 {
			row.Mean, row.Share, row.Interval = decimals(*b.MeanChance, 3), decimals(*b.Share, 3), decimals(*b.Low, 3)+" to "+decimals(*b.High, 3)
		}
		page.Rows = append(page.Rows, row)
	}
	for _, s := range []struct {
		name  string
		value *float64
	}{
		{"mean stated chance", score.MeanChance}, {"share seen, 95 % interval from", score.SeenLow}, {"to", score.SeenHigh}, {"Brier score", score.Brier},
		{"Brier score of always stating the share seen", score.BrierAlways}, {"logarithmic score", score.LogScore}, {"expected calibration error", score.CalibrationError},
	} {
		if s.value != nil {
			page.Scores = append(page.Scores, htmlPair{s.name, decimals(*s.value, 3)})
		}
	}
	for _, name := range []string{pipeline.Seen, pipeline.NotSeen, pipeline.AirNotClear, pipeline.NotTried} {
		page.Counts = append(page.Counts, htmlPair{name, decimals(float64(score.Outcomes[name]), 0)})
	}
	return writePage(w, "outcomes.tmpl", page)
}

// calibrationFigure draws the share seen against the mean stated chance of every bin, with its interval and count; the dashed diagonal is
// where chances that are right stand on average.
func calibrationFigure(score *pipeline.OutcomeScore) ([]byte, error) {
	const left, top, side = 190.0, 30.0, 380.0
	x := func(v float64) float64 { return left + side*v }
	y := func(v float64) float64 { return top + side*(1-v) }
	c := &canvas{id: "outcomes"}
	for i := 0; i <= 10; i += 2 {
		v := float64(i) / 10
		c.path("grid", fmt.Sprintf("M%s %sV%sM%s %sH%s", coord(x(v)), coord(y(0)), coord(y(1)), coord(x(0)), coord(y(v)), coord(x(1))))
		c.text(x(v), y(0)+18, "axis", "middle", decimals(v, 1), "")
		c.text(x(0)-8, y(v)+4, "axis", "end", decimals(v, 1), "")
	}
	c.path("frame", fmt.Sprintf("M%s %sV%sH%s", coord(x(0)), coord(y(1)), coord(y(0)), coord(x(1))))
	c.path("level", fmt.Sprintf("M%s %sL%s %s", coord(x(0)), coord(y(0)), coord(x(1)), coord(y(1))))
	for _, b := range score.Bins {
		if b.Counted == 0 {
			continue
		}
		at := x(*b.MeanChance)
		c.path("whisker", fmt.Sprintf("M%s %sh8m-4 0V%sm-4 0h8", coord(at-4), coord(y(*b.High)), coord(y(*b.Low))))
		c.mark(markEnd, at, y(*b.Share))
		c.text(x((b.From+b.To)/2), top-8, "note", "middle", decimals(float64(b.Counted), 0), "")
	}
	c.text(x(0)-8, top-8, "note", "end", "outcomes", "")
	c.text(x(0.5), y(0)+38, "axis", "middle", "stated chance", "")
	c.text(x(0)-44, y(0.5), "axis", "end", "share seen", "")
	next := c.legend([]legendItem{{line: "level", words: "where chances that are right stand on average"}, {line: "whisker", words: "95 % interval of the share seen (Wilson)"}}, 0, figureWidth, y(0)+62)
	return c.svg(FigureOptions{Inline: true}, next+6, "Stated chances against outcomes",
		fmt.Sprintf("%d outcomes that count, %d seen; the table holds the same numbers.", score.Counted, score.SeenCount))
}

// writePage fills one of the page templates that stand alone.
func writePage(w io.Writer, name string, page any) error {
	pages, err := template.ParseFS(assets, "html/"+name)
	if err != nil {
		return fmt.Errorf("page %s: %w", name, err)
	}
	var buf bytes.Buffer
	if err := pages.ExecuteTemplate(&buf, name, page); err != nil {
		return fmt.Errorf("page %s: %w", name, err)
	}
	// Control characters of names have no place in HTML, escaped or not.
	text := bytes.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\t' {
			return ' '
		}
		return r
	}, buf.Bytes())
	_, err = w.Write(text)
	return err
}
