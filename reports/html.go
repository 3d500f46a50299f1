package reports

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strconv"

	"farstation/pipeline"
)

// assets are the report's template, style sheets and script.
//
//go:embed html
var assets embed.FS

// HTMLOptions say how the report is written.
type HTMLOptions struct {
	// Title heads the page; "" is a title of its own.
	Title string
	// K, KSD and GuardM are those of the survey: refraction coefficient (below 1), its standard deviation, and the distance in
	// metres from either end within which ground does not obstruct.
	K, KSD, GuardM float64
	// RankForPicture says that the ranking is by the picture score, not the test score.
	RankForPicture bool
	// Weights are those of the ranking; nil are its defaults.
	Weights map[string]float64
	// Top is the number of sightlines drawn, best first; 0 draws every profile of the result.
	Top int
	// TableRows is the number of rows that a table shows at most; 0 is 1000. The tables of the run hold all.
	TableRows int
	// Doubts explains the codes of the doubts columns; codes that are not in it stand as they are.
	Doubts []Doubt
}

const defaultTableRows = 1000

// WriteHTML writes the report of a run: one page that needs no network, no fonts and no script. It holds no date and no duration,
// so the same result gives the same bytes. An error names the sightline whose figure could not be drawn.
func WriteHTML(w io.Writer, result *pipeline.Result, opts HTMLOptions) error {
	if result == nil {
		return fmt.Errorf("report: no result given")
	}
	if !allFinite(opts.K, opts.KSD, opts.GuardM) || opts.K >= 1 || opts.KSD < 0 {
		return fmt.Errorf("report: k %v ± %v, guard %v m: k must be below 1 and the spread 0 or more", opts.K, opts.KSD, opts.GuardM)
	}
	if opts.Title == "" {
		opts.Title = "Sightlines worth a photograph"
	}
	if opts.TableRows <= 0 {
		opts.TableRows = defaultTableRows
	}
	page, err := newHTMLPage(result, opts)
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	pages, err := template.ParseFS(assets, "html/*.tmpl")
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	var buf bytes.Buffer
	if err := pages.ExecuteTemplate(&buf, "report.tmpl", page); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	if _, err := buf.WriteTo(w); err != nil {
		return fmt.Errorf("report: write: %w", err)
	}
	return nil
}

// htmlPage is what the template shows; every text in it is ready to be read.
type htmlPage struct {
	Title  string
	CSS    template.CSS
	Script template.JS
	// Policy forbids the page everything but its own style and its one script, in case a name should ever get past the escaping.
	Policy     string
	Summary    htmlSummary
	Alignments htmlTable
	Sightlines htmlTable
	Undecided  htmlTable
	Lines      []htmlLine
	Doubts     []Doubt
	Method     htmlMethod
	Manifest   htmlManifest
}

// htmlTable is one table of the report.
type htmlTable struct {
	Caption string
	Columns []htmlColumn
	Rows    [][]htmlTableCell
	// Cut says how many rows there are where not all are shown.
	Cut string
}

type htmlColumn struct {
	Head, Title string
	Numeric     bool
}

// htmlTableCell is a value, or HTML in its place.
type htmlTableCell struct {
	htmlCell
	HTML    template.HTML
	Numeric bool
	RowHead bool
	Link    string
}

func newHTMLPage(result *pipeline.Result, opts HTMLOptions) (*htmlPage, error) {
	page := &htmlPage{Title: opts.Title, Doubts: opts.Doubts, Method: newHTMLMethod(opts), Manifest: newHTMLManifest(&result.Manifest)}
	var css bytes.Buffer
	for _, name := range []string{"html/report.css", "html/figure.css"} {
		text, err := assets.ReadFile(name)
		if err != nil {
			return nil, err
		}
		css.Write(text)
	}
	script, err := assets.ReadFile("html/sort.js")
	if err != nil {
		return nil, err
	}
	page.CSS, page.Script = template.CSS(css.String()), template.JS(script)
	sum := sha256.Sum256(script)
	page.Policy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; script-src 'sha256-" +
		base64.StdEncoding.EncodeToString(sum[:]) + "'"

	anchors := map[int]string{} // of drawn sightlines, by index
	for i := range result.Profiles {
		if opts.Top > 0 && i >= opts.Top {
			break
		}
		index := result.Profiles[i].Line
		if index < 0 || index >= len(result.Sightlines) {
			return nil, fmt.Errorf("profile %d belongs to sightline %d, of which there are %d", i, index, len(result.Sightlines))
		}
		id := "line-" + strconv.Itoa(i+1)
		anchors[index] = id
		drawn, err := newHTMLLine(result, &result.Sightlines[index], &result.Profiles[i], id, opts)
		if err != nil {
			return nil, err
		}
		page.Lines = append(page.Lines, drawn)
	}
	page.Alignments = alignmentTable(result, opts)
	page.Sightlines = sightlineTable(result, anchors, opts)
	page.Undecided = undecidedTable(result, anchors, opts)
	page.Summary = newHTMLSummary(result, opts)
	return page, nil
}
