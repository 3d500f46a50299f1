package reports

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"regexp"
	"strings"

	"farstation/pipeline"
)

// assets are the report's template, style sheets and script.
//
//go:embed html
var assets embed.FS

// What files of others refer to and the page has no need of.
var (
	pictureLink = regexp.MustCompile(`url\([^)]*\)`)
	cssComment  = regexp.MustCompile(`(?s)/\*.*?\*/`)
	sourceMap   = regexp.MustCompile(`//# sourceMappingURL=\S+`)
)

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
	// TableRows is the number of rows that a table shows at most; 0 is 10,000. The tables of the run hold all.
	TableRows int
	// Doubts explains the codes of the doubts columns; codes that are not in it stand as they are.
	Doubts []Doubt
	// Feet adds feet to every number of metres in the text; figures and tables keep metres.
	Feet bool
}

const defaultTableRows = 10_000

// WriteHTML writes the report of a run: one page that needs no network and no fonts. Without scripts it shows all but the interactive map and
// the rows past the first of long tables. It holds no date and no duration,
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
	text := buf.String()
	if opts.Feet {
		text = pageWithFeet(text)
	}
	if _, err := io.WriteString(w, text); err != nil {
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
	Policy string
	// Data is the JSON that the script works with.
	Data       template.JS
	Map        *htmlMap
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
	ID, Caption string
	Columns     []htmlColumn
	Rows        [][]htmlTableCell
	// All is the number of rows that the script shows, those in Rows first.
	All int
	// Cut says how many rows there are where not all are shown.
	Cut string
	// Static says how many rows stand in the page itself where the others need its script.
	Static string
	data   tableData
}

type htmlColumn struct {
	Head, Title string
	Role        string
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

// pageScripts are run in this order, as one script.
var pageScripts = [...]string{"assets/leaflet.js", "html/rows.js", "html/tables.js", "html/map.js"}

func newHTMLPage(result *pipeline.Result, opts HTMLOptions) (*htmlPage, error) {
	page := &htmlPage{Title: opts.Title, Doubts: opts.Doubts, Method: newHTMLMethod(opts), Manifest: newHTMLManifest(&result.Manifest)}
	if err := page.setCode(); err != nil {
		return nil, err
	}
	sections := map[int]int{} // of drawn sightlines, by index
	for i := range result.Profiles {
		if opts.Top > 0 && i >= opts.Top {
			break
		}
		index := result.Profiles[i].Line
		if index < 0 || index >= len(result.Shown.Sightlines) {
			return nil, fmt.Errorf("profile %d belongs to sightline %d, of which there are %d", i, index, len(result.Shown.Sightlines))
		}
		sections[index] = i + 1
		drawn, err := newHTMLLine(result, &result.Shown.Sightlines[index], &result.Profiles[i], lineID(i+1), opts)
		if err != nil {
			return nil, err
		}
		page.Lines = append(page.Lines, drawn)
	}
	m, err := newDataMaker(result)
	if err != nil {
		return nil, fmt.Errorf("features: %w", err)
	}
	page.Alignments = alignmentTable(result, m, opts)
	page.Sightlines = sightlineTable(result, m, sections, opts)
	page.Undecided = undecidedTable(result, m, sections, opts)
	page.Summary = newHTMLSummary(result, opts)
	data := pageData{Features: notNil(m.features), NameLetters: tableNameLetters, Tables: []tableData{}}
	for _, t := range []*htmlTable{&page.Alignments, &page.Sightlines, &page.Undecided} {
		if len(t.Rows) > 0 {
			data.Tables = append(data.Tables, t.data)
		}
	}
	if page.Map, err = newHTMLMap(result, opts); err != nil {
		return nil, err
	}
	if page.Map != nil {
		data.Box = []float64{page.Map.West, page.Map.South, page.Map.East, page.Map.North}
	}
	page.Data, err = data.script()
	return page, err
}

// setCode fills in style sheets, the script, and the policy that allows nothing but these.
func (page *htmlPage) setCode() error {
	var css bytes.Buffer
	for _, name := range []string{"assets/leaflet.css", "html/report.css", "html/figure.css", "html/map.css"} {
		text, err := readAsset(name)
		if err != nil {
			return err
		}
		css.Write(text)
	}
	licence, err := readAsset("assets/leaflet-LICENSE.txt")
	if err != nil {
		return err
	}
	var script bytes.Buffer
	fmt.Fprintf(&script, "/* Leaflet, from here to the end of its part of this script:\n%s*/\n", licence)
	for _, name := range pageScripts {
		text, err := readAsset(name)
		if err != nil {
			return err
		}
		script.Write(text)
		script.WriteByte('\n')
	}
	page.CSS, page.Script = template.CSS(css.String()), template.JS(script.String())
	sum := sha256.Sum256(script.Bytes())
	page.Policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; script-src 'sha256-" +
		base64.StdEncoding.EncodeToString(sum[:]) + "'"
	return nil
}

// readAsset reads a file of ours, or one of others without its comments on styles and what in it would lead out of the page.
func readAsset(name string) ([]byte, error) {
	if !strings.HasPrefix(name, "assets/") {
		return assets.ReadFile(name)
	}
	text, err := others.ReadFile(name)
	text = bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n")) // as a browser reads it, for the hash
	if strings.HasSuffix(name, ".css") {
		text = cssComment.ReplaceAll(pictureLink.ReplaceAll(text, []byte("none")), nil)
	}
	return sourceMap.ReplaceAll(text, nil), err
}
