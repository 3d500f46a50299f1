package reports

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"farstation/pipeline"
)

func weighPageOf(t *testing.T, w *pipeline.Weighing) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteWeighPage(&b, w); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestWeighPageShowsAll: the page of a full weighing holds each of its parts, and nothing of a name becomes markup.
func TestWeighPageShowsAll(t *testing.T) {
	w := drawnWeighing(t)
	page := weighPageOf(t, w)
	for _, want := range []string{
		"data:image/jpeg;base64,", "img-src data:", "where the plane has it", "arrows are drawn", "Where the points were set", ", 97.0\u00a0km away, stands 9.0′ above",
		"k = 1, at which", "Names found", "hidden behind ground at 41.0\u00a0km, near", "23 further tops", "over 10²¹ to 1 for the curved Earth", "The claim made before", "angle of Great Ansel over &lt;b&gt;Braven",
		"What would overturn it", "Not answered by this photograph",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, unwanted := range []string{"<script", "<b>", "<i>", "\u202e", "NaN", "http://", "https://", "%!"} {
		if strings.Contains(page, unwanted) {
			t.Errorf("the page holds %q", unwanted)
		}
	}
	if page != weighPageOf(t, w) {
		t.Error("the same weighing gives another page")
	}
}

// TestObjectionsAreThirty: every objection is either answered by a number or listed with what would answer it, however little a photograph holds.
func TestObjectionsAreThirty(t *testing.T) {
	for name, c := range map[string]struct {
		w        *pipeline.Weighing
		answered int
	}{"full": {drawnWeighing(t), 28}, "bare": {madeWeighing(), 11}} {
		crops := 0
		if name == "full" {
			crops = 7
		}
		answered, open := weighObjections(c.w, crops)
		if len(answered)+len(open) != 30 || len(answered) != c.answered {
			t.Errorf("%s: %d answered and %d not, want %d of 30", name, len(answered), len(open), c.answered)
		}
		seen := map[string]bool{}
		for _, o := range append(answered, open...) {
			if o.Answer == "" || seen[o.Objection] || strings.Contains(o.Answer, "%!") {
				t.Errorf("%s: %q twice, or its answer %q is none", name, o.Objection, o.Answer)
			}
			seen[o.Objection] = true
		}
	}
}

// TestNothingDecidedNothingOverturned: a photograph that cannot tell has no table of what would overturn it, and none of its objections speaks of that.
func TestNothingDecidedNothingOverturned(t *testing.T) {
	w := drawnWeighing(t)
	w.Decides, w.Outcome = false, pipeline.WeighedCannotTell
	page := weighPageOf(t, w)
	for _, unwanted := range []string{"What would overturn it", "would have to stand elsewhere", "this photograph gives"} {
		if strings.Contains(page, unwanted) {
			t.Errorf("nothing is decided, and the page holds %q", unwanted)
		}
	}
}

// TestFailedFitIsNoFinding: without a fit the page says that it failed, model by model, and draws no prediction.
func TestFailedFitIsNoFinding(t *testing.T) {
	w := &pipeline.Weighing{
		Outcome: pipeline.WeighedCannotTell, Sentences: []string{"This picture cannot tell."}, Images: []pipeline.Photograph{madePhotograph(t)},
		Models: []pipeline.ModelFit{{Name: pipeline.ModelFree, Problem: "2 points for 5 unknowns"}, {Name: pipeline.ModelPlane, Problem: "2 points for 5 unknowns"}},
	}
	page := weighPageOf(t, w)
	for _, want := range []string{"<h1>The fit failed", "“plane, straight light”: 2 points for 5 unknowns. That is a failure of the fit, not a finding about the model.", "No model has a fit"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, unwanted := range []string{"where the plane has it", "Objections", `class="arrow`} {
		if strings.Contains(page, unwanted) {
			t.Errorf("nothing was fitted, and the page holds %q", unwanted)
		}
	}
	// One model without a fit leaves the other's panel.
	w = drawnWeighing(t)
	w.Models[2] = pipeline.ModelFit{Name: pipeline.ModelPlane, Problem: "no way down"}
	for i := range w.Expected {
		w.Expected[i].PlaneXPx, w.Expected[i].PlaneYPx = nil, nil
	}
	page = weighPageOf(t, w)
	if !strings.Contains(page, "this model has no fit") || strings.Contains(page, "<h1>The fit failed") {
		t.Error("the plane has no fit, and its panel does not say so")
	}
}

func TestEvidenceWords(t *testing.T) {
	for log10, want := range map[float64]string{
		0.1: "1.3 to 1 for the curved Earth, which is little", -2: "100 to 1 for the plane", 5.9: "10⁵ to 1 for the curved Earth", 21.6: "10²¹ to 1 for the curved Earth",
		21.8: "over 10²¹ to 1 for the curved Earth", -900: "over 10²¹ to 1 for the plane",
	} {
		if got := evidenceWords(log10); got != want {
			t.Errorf("evidenceWords(%v) = %q, want %q", log10, got, want)
		}
	}
}

type weighSeen struct {
	Outside, Errors, Axe []string
	Overflow             []float64
	Pictures             int
	CropWidth            float64
}

// weighDriver opens the page named by its first argument at two widths, light, dark and as printed, and judges it by axe-core.
const weighDriver = `
const puppeteer = require('puppeteer-core'), fs = require('fs');
(async () => {
  const [file, executablePath, home, axePath] = process.argv.slice(-4);
  const browser = await (puppeteer.default || puppeteer).launch({executablePath, userDataDir: home, args: ['--no-sandbox', '--disable-gpu', '--disable-component-update', '--no-first-run']});
  const page = await browser.newPage(), seen = {outside: [], errors: [], axe: [], overflow: []};
  page.on('request', r => { if (!/^(file|data):/.test(r.url())) seen.outside.push(r.url()); });
  page.on('pageerror', e => seen.errors.push(String(e)));
  page.on('console', m => { if (m.type() === 'error') seen.errors.push(m.text()); });
  await page.setJavaScriptEnabled(true);
  for (const [width, scheme] of [[1440, 'light'], [390, 'dark'], [390, 'light'], [1440, 'dark']]) {
    await page.emulateMediaFeatures([{name: 'prefers-color-scheme', value: scheme}]);
    await page.setViewport({width, height: 900});
    await page.goto('file://' + file, {waitUntil: 'load'});
    seen.overflow.push(await page.evaluate(() => document.documentElement.scrollWidth - innerWidth));
    await page.evaluate(fs.readFileSync(axePath, 'utf8'));
    const found = await page.evaluate(() => axe.run(document, {resultTypes: ['violations']}));
    for (const v of found.violations) for (const n of v.nodes) seen.axe.push(width + ' ' + scheme + ' ' + v.impact + ' ' + v.id + ' ' + n.target.join(' '));
  }
  seen.pictures = await page.evaluate(async () => {
    let n = 0;
    for (const i of document.querySelectorAll('svg image')) { const p = new Image(); p.src = i.getAttribute('href'); await p.decode(); n += p.naturalWidth > 0; }
    return n;
  });
  seen.cropWidth = await page.$eval('.crop', c => c.getBoundingClientRect().width);
  await page.emulateMediaType('print');
  await page.setViewport({width: 688, height: 1000}); // 182 mm, A4 less its margins
  seen.overflow.push(await page.evaluate(() => document.documentElement.scrollWidth - innerWidth));
  await browser.close();
  console.log(JSON.stringify(seen));
})().catch(e => { console.error(e); process.exit(1); });
`

// TestWeighPageInBrowser: the page fits a telephone, a desk and a sheet of paper, shows its pictures under its own policy, asks for nothing outside, and
// axe-core finds nothing.
func TestWeighPageInBrowser(t *testing.T) {
	browser, dir := browserPath(t), t.TempDir()
	file := filepath.Join(dir, "weigh.html")
	if err := os.WriteFile(file, []byte(weighPageOf(t, drawnWeighing(t))), 0o600); err != nil {
		t.Fatal(err)
	}
	axe := strings.TrimSpace(runNode(t, "axe-core", "console.log(require.resolve('axe-core'))"))
	var seen weighSeen
	if out := runNode(t, "puppeteer-core", weighDriver, file, browser, filepath.Join(dir, "home"), axe); json.Unmarshal([]byte(out), &seen) != nil {
		t.Fatalf("%.500s", out)
	}
	if len(seen.Outside) > 0 || len(seen.Errors) > 0 || len(seen.Axe) > 0 {
		t.Errorf("asked for %q, said %q, axe-core: %q", seen.Outside, seen.Errors, seen.Axe)
	}
	if diff := cmp.Diff([]float64{0, 0, 0, 0, 0}, seen.Overflow); diff != "" {
		t.Errorf("too wide by (1440 light, 390 dark, 390 light, 1440 dark, paper):\n%s", diff)
	}
	if seen.Pictures != 8 || seen.CropWidth != cropWidth { // the photograph and seven crops
		t.Errorf("%d pictures shown, crops %v wide, want 8 and %d", seen.Pictures, seen.CropWidth, cropWidth)
	}
}
