package reports

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
)

// measurePage is what the template of the measuring page shows.
type measurePage struct {
	CSS    template.CSS
	Script template.JS
	Policy string
	Names  []string
}

// WriteMeasuringPage writes a page on which points of a photograph are clicked and saved as a table for weigh: one file, no server, no network. The
// names are offered only once the points stand.
func WriteMeasuringPage(out io.Writer, names []string) error {
	css, err := assets.ReadFile("html/report.css")
	if err != nil {
		return err
	}
	script, err := assets.ReadFile("html/measure.js")
	if err != nil {
		return err
	}
	sum := sha256.Sum256(script)
	page := measurePage{CSS: template.CSS(css), Script: template.JS(script), Names: notNil(names),
		Policy: "default-src 'none'; style-src 'unsafe-inline'; img-src blob:; base-uri 'none'; form-action 'none'; script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"}
	pages, err := template.ParseFS(assets, "html/measure.tmpl")
	if err != nil {
		return fmt.Errorf("measuring page: %w", err)
	}
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, "measure.tmpl", page); err != nil {
		return fmt.Errorf("measuring page: %w", err)
	}
	_, err = b.WriteTo(out)
	return err
}
