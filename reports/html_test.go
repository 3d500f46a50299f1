package reports

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/xml"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"farstation/geodesy"
	"farstation/pipeline"
)

func madePage(t *testing.T, result *pipeline.Result, opts HTMLOptions) string {
	t.Helper()
	recount(&result.Shown)
	var b bytes.Buffer
	if err := WriteHTML(&b, result, opts); err != nil {
		t.Fatalf("WriteHTML: %v", err)
	}
	return b.String()
}

// withoutScripts empties the page's script elements, whose text is no markup.
func withoutScripts(page string) string {
	return regexp.MustCompile(`(?s)(<script[^>]*>).*?</script>`).ReplaceAllString(page, "$1</script>")
}

// elements reads the page's tags with their attributes and fails where they do not nest.
func elements(t *testing.T, page string) []xml.StartElement {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(withoutScripts(page)))
	d.Strict = false // HTML: meta has no end, entities are not declared
	var open []string
	var all []xml.StartElement
	for {
		token, err := d.RawToken()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("the page does not parse: %v", err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			all = append(all, e.Copy())
			if e.Name.Local != "meta" && e.Name.Local != "input" {
				open = append(open, e.Name.Local)
			}
		case xml.EndElement:
			if len(open) == 0 || open[len(open)-1] != e.Name.Local {
				t.Fatalf("line %d: </%s> closes %v", strings.Count(page[:d.InputOffset()], "\n")+1, e.Name.Local, open)
			}
			open = open[:len(open)-1]
		}
	}
	if len(open) > 0 {
		t.Fatalf("not closed: %v", open)
	}
	return all
}

func attribute(e xml.StartElement, name string) (string, bool) {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value, true
		}
	}
	return "", false
}

func TestHTMLIsSoundAndSelfContained(t *testing.T) {
	page := madePage(t, madeResult(), madeOptions())
	ids, links, level, scripts, figures := map[string]bool{}, []string{}, 0, 0, 0
	for _, e := range elements(t, page) {
		for _, a := range e.Attr {
			if strings.HasPrefix(a.Name.Local, "on") || strings.Contains(a.Value, "javascript:") {
				t.Errorf("<%s %s=%q> runs script", e.Name.Local, a.Name.Local, a.Value)
			}
			if relief := e.Name.Local == "image" && strings.HasPrefix(a.Value, "data:image/png;base64,"); a.Name.Local == "src" ||
				a.Name.Local == "href" && !strings.HasPrefix(a.Value, "#") && !relief {
				t.Errorf("<%s %s=%q> leaves the page", e.Name.Local, a.Name.Local, a.Value)
			}
		}
		if id, ok := attribute(e, "id"); ok {
			if ids[id] {
				t.Errorf("id %q stands twice", id)
			}
			ids[id] = true
		}
		if href, ok := attribute(e, "href"); ok {
			links = append(links, strings.TrimPrefix(href, "#"))
		}
		for _, name := range []string{"aria-labelledby"} {
			if v, ok := attribute(e, name); ok {
				links = append(links, strings.Fields(v)...)
			}
		}
		switch n := e.Name.Local; n {
		case "h1", "h2", "h3", "h4":
			if h := int(n[1] - '0'); h > level+1 {
				t.Errorf("<%s> follows a heading of level %d", n, level)
			} else {
				level = h
			}
		case "th":
			if scope, _ := attribute(e, "scope"); scope != "col" && scope != "row" {
				t.Errorf("a table header has scope %q", scope)
			}
		case "script":
			if kind, _ := attribute(e, "type"); kind != "application/json" {
				scripts++
			}
		case "svg":
			if hidden, _ := attribute(e, "aria-hidden"); hidden == "true" {
				continue
			}
			figures++
			if role, _ := attribute(e, "role"); role != "img" {
				t.Errorf("a figure has role %q", role)
			}
		case "link", "img", "iframe", "object", "embed", "base", "form":
			t.Errorf("<%s> has no place in the page", n)
		}
	}
	for _, id := range links {
		if !ids[id] {
			t.Errorf("a reference leads to #%s, which is not there", id)
		}
	}
	if want := 2*len(madeResult().Profiles) + 1; scripts != 1 || figures != want {
		t.Errorf("%d scripts and %d figures, want 1 and %d", scripts, figures, want)
	}
	for _, outside := range []string{"@import", "url(http", "url(//", "url(images", "@font-face", "sourceMappingURL"} {
		if strings.Contains(page, outside) {
			t.Errorf("the page holds %q", outside)
		}
	}
}

func TestHTMLPolicyAllowsTheOneScript(t *testing.T) {
	page := madePage(t, madeResult(), madeOptions())
	_, rest, _ := strings.Cut(page, "<script>")
	script, _, found := strings.Cut(rest, "</script>")
	sum := sha256.Sum256([]byte(script))
	hash := base64.StdEncoding.EncodeToString(sum[:])
	// html/template writes + of an attribute as a character reference.
	if want := strings.ReplaceAll(hash, "+", "&#43;"); !found || !strings.Contains(page, "sha256-"+want) {
		t.Errorf("the policy does not name sha256-%s, the hash of the script as written", hash)
	}
}

func TestHTMLNamesAreInert(t *testing.T) {
	page := madePage(t, madeResult(), madeOptions())
	page, script, _ := strings.Cut(page, "<script>")
	if !strings.HasSuffix(strings.TrimSpace(script), "</script>\n</body>\n</html>") || strings.Count(script, "</script>") != 1 {
		t.Error("the script is not the last of the page")
	}
	for _, raw := range []string{"<script>alert", "<b>", "\x00", "\u202e", "<!--"} {
		if strings.Contains(page, raw) {
			t.Errorf("the page holds %q as it came from a name", raw)
		}
	}
	for _, shown := range []string{"<bdi>&lt;script&gt;alert(1)&lt;/script&gt;</bdi>", "<bdi>" + arabicName + "</bdi>", "\u2068" + arabicName + "\u2069",
		`title="` + longName + `"`} {
		if !strings.Contains(page, shown) {
			t.Errorf("the page lacks %q", shown)
		}
	}
}

func TestHTMLBytesDependOnTheResultAlone(t *testing.T) {
	first := madePage(t, madeResult(), madeOptions())
	other := madeResult()
	other.Manifest.Started, other.Manifest.Finished = time.Unix(1, 0), time.Unix(2, 0)
	other.Manifest.PeakMemory = 12345
	other.Manifest.Stages = []pipeline.Stage{{Name: "trace", Seconds: 987.25, Items: 3}}
	other.Manifest.Parameters["workers"], other.Manifest.Parameters["memory_bytes"] = 1, 5
	if second := madePage(t, other, madeOptions()); second != first {
		t.Error("time, memory or the number of workers changed the report")
	}
	other.Shown.Sightlines[0].DistanceM += 1000
	if third := madePage(t, other, madeOptions()); third == first {
		t.Error("a longer line did not change the report")
	}
}

func TestHTMLSaysWhatIsMissing(t *testing.T) {
	page := madePage(t, madeResult(), madeOptions())
	for _, want := range []string{
		`<span class="none" title="undecided: terrain is missing">–</span>`,
		`<span class="none" title="nothing of the target is cut off">–</span>`,
		"Terrain is missing 83.0\u00a0km from the observer",
		"N50E012, N51E012",
		"latitude 91.2 is above 90",
		strings.Repeat("0123456789abcdef", 4),
		"CC0-1.0",
		"<code>own_ground</code>: the verdict is decided within 1 km of an end",
		"the sun", "weather", "tides", "permission", "Drones", "not for navigation, aviation, radio licensing or construction", "Local codes",
		"−0.174\u00a0K/m", // 503·(p/T²)·(0.0343+dT/dz) = k−1 at 1013.25 hPa, 288.15 K, k = 0.143 (Hirt et al. 2010)
		"5.1 times",
	} {
		if !strings.Contains(page, want) && !strings.Contains(page, strings.ReplaceAll(want, "\u00a0", " ")) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, verdict := range []pipeline.Verdict{pipeline.Direct, pipeline.Refracted, pipeline.Looming, pipeline.Blocked, pipeline.Undecided} {
		strong := "<strong>" + strings.ToUpper(string(verdict[:1])) + string(verdict[1:]) + ".</strong>"
		if !strings.Contains(page, strong) {
			t.Errorf("no line of the page is explained as %s", verdict)
		}
	}
	elements(t, madePage(t, &pipeline.Result{}, HTMLOptions{K: 0.143}))
}

func TestHTMLTablesAreCut(t *testing.T) {
	opts := madeOptions()
	opts.TableRows, opts.Top = 2, 1
	page := madePage(t, madeResult(), opts)
	if !strings.Contains(page, "The best 2 of 7 are shown; all stand in sightlines.parquet.") {
		t.Error("a table cut to 2 of 7 rows does not say so")
	}
	if n := strings.Count(page, "<article"); n != 1 {
		t.Errorf("%d lines are drawn, want 1", n)
	}
}

func TestWriteHTMLRefuses(t *testing.T) {
	bad := func(change func(*pipeline.Result)) *pipeline.Result {
		r := madeResult()
		change(r)
		return r
	}
	for _, c := range []struct {
		name   string
		result *pipeline.Result
		k      float64
		want   string
	}{
		{"no result", nil, 0.143, "no result"},
		{"k of 1", madeResult(), 1, "below 1"},
		{"k not a number", madeResult(), math.NaN(), "below 1"},
		{"profile of no line", bad(func(r *pipeline.Result) { r.Profiles[1].Line = 99 }), 0.143, "sightline 99"},
		{"empty profile", bad(func(r *pipeline.Result) { r.Profiles[1].Samples = nil }), 0.143, "fewer than two samples"},
		{"short profile", bad(func(r *pipeline.Result) { r.Profiles[1].Samples = r.Profiles[1].Samples[:99] }), 0.143, "must cover"},
		{"ground not a number", bad(func(r *pipeline.Result) { r.Profiles[1].Samples[5].GroundM = math.NaN() }), 0.143, "sample 5"},
		{"no radius", bad(func(r *pipeline.Result) { r.Shown.Sightlines[0].RadiusM = 0 }), 0.143, "radius"},
	} {
		err := WriteHTML(io.Discard, c.result, HTMLOptions{K: c.k})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: WriteHTML gave %v, want an error with %q", c.name, err, c.want)
		}
	}
}

// The angle over the front on the plane, which the report takes from the difference between the models, against the plane's own
// straight lines to front and top.
func TestOverFrontAgreesWithStraightLines(t *testing.T) {
	result, tested := madeResult(), 0
	for i := range result.Shown.Sightlines {
		l := &result.Shown.Sightlines[i]
		v, ok := pipeline.NewFrontAngle(l, madeOptions().K)
		if !ok {
			continue
		}
		tested++
		ground := 0.0
		for _, s := range result.Profiles[i].Samples {
			if s.DistanceM <= *l.FrontDistanceM {
				ground = s.GroundM
			}
		}
		want := arcminPerRad * (geodesy.PlaneElevationRad(l.EyeHeightM, l.TopHeightM, l.DistanceM) - geodesy.PlaneElevationRad(l.EyeHeightM, ground, *l.FrontDistanceM))
		if math.Abs(v.PlaneArcmin-want) > 0.15 { // half a sample of the made profile is up to 0.1′ at the foot
			t.Errorf("from %s the top of %s stands %.2f′ over the front on the plane, straight lines give %.2f′", l.ObserverID, l.TargetID, v.PlaneArcmin, want)
		}
	}
	if tested < 3 {
		t.Errorf("only %d made lines have a front", tested)
	}
}

func TestDecimals(t *testing.T) {
	for _, c := range []struct {
		v    float64
		n    int
		want string
	}{
		{0, 1, "0.0"}, {-0.04, 1, "0.0"}, {-2.14, 1, "−2.1"}, {1234.5, 0, "1234"}, {51234, 0, "51\u202f234"}, {-1234567.25, 2, "−1\u202f234\u202f567.25"},
		{math.Inf(1), 1, none}, {math.NaN(), 1, none}, {19.6, -1, "20"},
	} {
		if got := decimals(c.v, c.n); got != c.want {
			t.Errorf("decimals(%v, %d) = %q, want %q", c.v, c.n, got, c.want)
		}
	}
}
