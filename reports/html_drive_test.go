package reports

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"farstation/pipeline"
)

// browserPath is where Chromium is; a test that needs it ends where there is none.
func browserPath(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	missing(t, "no chromium found: install it, the page must be seen to work")
	return ""
}

// driver opens the page named by its first argument in the browser named by the second, runs one step after another, and prints what it saw.
const driver = `
const puppeteer = require('puppeteer-core'), fs = require('fs');
(async () => {
  const [file, executablePath, home, axePath] = process.argv.slice(-4);
  const browser = await (puppeteer.default || puppeteer).launch({executablePath, userDataDir: home, args: ['--no-sandbox', '--disable-gpu', '--disable-component-update', '--no-first-run']});
  const page = await browser.newPage(), seen = {outside: [], errors: []};
  await page.setViewport({width: 1440, height: 900});
  page.on('request', r => { if (!/^(file|data):/.test(r.url())) seen.outside.push(r.url()); });
  page.on('pageerror', e => seen.errors.push(String(e)));
  page.on('console', m => { if (m.type() === 'error') seen.errors.push(m.text()); });
  page.on('dialog', d => { seen.errors.push('dialog ' + d.message()); d.dismiss(); });
  await page.goto('file://' + file, {waitUntil: 'load'});
  const rows = id => page.$$eval('table[data-table="' + id + '"] tbody tr', all => all.length);
  const first = id => page.$eval('table[data-table="' + id + '"] tbody tr', tr => tr.textContent);
  const count = selector => page.$$eval(selector, all => all.length);
  seen.load = await page.evaluate(() => performance.getEntriesByType('navigation')[0].loadEventEnd);
  seen.rows = await rows('sightlines');
  seen.lines = await count('#map-view .map-hit');
  seen.map = await page.$eval('#map-view .map-ground', g => g.getBoundingClientRect().width);

  const button = await page.$('table[data-table="sightlines"] tbody tr:nth-child(2) .show');
  await button.focus();
  await page.keyboard.press('Enter');
  seen.chosenRow = await page.$eval('tr.chosen', tr => Number(tr.dataset.row));
  seen.chosenLines = await count('#map-view .map-chosen');
  seen.chosenWords = await page.$eval('#chosen', p => p.textContent);

  await page.hover('table[data-table="sightlines"] tbody tr:nth-child(3) td:nth-child(2)');
  seen.pointed = await count('#map-view .map-pointed');
  // A click on the map chooses a row in turn.
  await page.$eval('#map-view .map-hit', p => p.dispatchEvent(new MouseEvent('click', {bubbles: true})));
  seen.clickedRow = await page.$eval('tr.chosen', tr => Number(tr.dataset.row));

  const head = (await page.$$('table[data-table="sightlines"] thead button'))[3];
  await head.click();
  const distances = () => page.$$eval('table[data-table="sightlines"] tbody td:nth-child(4)', all => all.map(td => parseFloat(td.textContent)));
  seen.up = await distances();
  await head.click();
  seen.down = await distances();
  seen.sorted = await page.$eval('table[data-table="sightlines"] th:nth-child(4)', th => th.getAttribute('aria-sort'));

  await page.type('[data-filter="from"]', '100');
  seen.farther = await distances();
  await page.select('[data-filter="verdict"]', 'direct');
  seen.direct = await page.$$eval('table[data-table="sightlines"] tbody td:nth-child(6)', all => all.map(td => td.textContent));
  await page.click('#unfilter');
  await page.type('[data-filter="text"]', 'great ANSEL');
  seen.named = await page.$$eval('table[data-table="sightlines"] tbody th', all => all.map(th => th.textContent));
  seen.namedLines = await count('#map-view .map-hit');
  seen.filtered = await page.$eval('#filtered', p => p.textContent);
  await page.click('#unfilter');
  await page.click('[data-filter="view"]');
  seen.inView = await rows('sightlines');
  await page.click('#unfilter');

  await page.evaluate(() => { location.hash = '#line-3'; });
  await new Promise(r => setTimeout(r, 300));
  seen.byAddress = await page.$eval('tr.chosen a', a => a.getAttribute('href'));

  await page.setViewport({width: 390, height: 844});
  seen.overflow = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  if (axePath) {
    seen.axe = [];
    await page.addStyleTag({content: '.line{content-visibility:visible!important}'}); // all of it is to be judged
    for (const scheme of ['light', 'dark']) {
      await page.emulateMediaFeatures([{name: 'prefers-color-scheme', value: scheme}]);
      await page.setViewport({width: scheme === 'light' ? 1440 : 390, height: 900});
      // Under the page's policy no script but its own may stand in it; this one is run from outside.
      await page.evaluate(fs.readFileSync(axePath, 'utf8'));
      const found = await page.evaluate(() => axe.run(document, {resultTypes: ['violations']}));
      for (const v of found.violations) {
        for (const n of v.nodes) seen.axe.push(scheme + ' ' + v.impact + ' ' + v.id + ' ' + n.target.join(' ') + ' ' + n.failureSummary.replace(/\s+/g, ' ').slice(0, 200));
      }
    }
  }
  await browser.close();
  console.log(JSON.stringify(seen));
})().catch(e => { console.error(e); process.exit(1); });
`

type pageSeen struct {
	Outside, Errors        []string
	Load                   float64
	Rows, Lines            int
	Map                    float64
	ChosenRow, ChosenLines int
	ChosenWords            string
	Pointed, ClickedRow    int
	Up, Down, Farther      []float64
	Sorted                 string
	Direct, Named          []string
	NamedLines, InView     int
	Filtered, ByAddress    string
	Overflow               float64
	Axe                    []string
}

func drivePage(t *testing.T, result *pipeline.Result, opts HTMLOptions) pageSeen {
	t.Helper()
	browser := browserPath(t)
	dir := t.TempDir()
	file := filepath.Join(dir, "report.html")
	if err := os.WriteFile(file, []byte(madePage(t, result, opts)), 0o600); err != nil {
		t.Fatal(err)
	}
	axe := strings.TrimSpace(runNode(t, "axe-core", "console.log(require.resolve('axe-core'))"))
	out := runNode(t, "puppeteer-core", driver, file, browser, filepath.Join(dir, "home"), axe)
	var seen pageSeen
	if err := json.Unmarshal([]byte(out), &seen); err != nil {
		t.Fatalf("%v: %.500s", err, out)
	}
	return seen
}

// A reader sorts, filters, points and clicks; map and tables follow one another, nothing leaves the page, and axe-core finds nothing serious.
func TestHTMLDriven(t *testing.T) {
	seen := drivePage(t, madeResult(), madeOptions())
	if len(seen.Outside) > 0 || len(seen.Errors) > 0 {
		t.Errorf("the page asked for %q and said %q, want neither", seen.Outside, seen.Errors)
	}
	if seen.Rows != 7 || seen.Lines != 7 || seen.Map < 100 {
		t.Errorf("%d rows and %d lines on a map %.0f pixels wide, want 7 and 7", seen.Rows, seen.Lines, seen.Map)
	}
	if seen.ChosenRow != 1 || seen.ChosenLines != 1 || !strings.Contains(seen.ChosenWords, "Great Ansel") {
		t.Errorf("Enter on the second row chose row %d, %d lines of the map, and said %q", seen.ChosenRow, seen.ChosenLines, seen.ChosenWords)
	}
	if seen.Pointed != 1 || seen.ClickedRow != 6 {
		t.Errorf("pointing at a row marked %d lines; a click on the lowest line of the map chose row %d, want 1 and 6", seen.Pointed, seen.ClickedRow)
	}
	for i := 1; i < len(seen.Up); i++ {
		if seen.Up[i] < seen.Up[i-1] || seen.Down[i] > seen.Down[i-1] {
			t.Errorf("sorted by distance: %v, then %v", seen.Up, seen.Down)
			break
		}
	}
	if seen.Sorted != "descending" || len(seen.Up) != 7 {
		t.Errorf("%d rows sorted, marked %q", len(seen.Up), seen.Sorted)
	}
	for _, km := range seen.Farther {
		if km < 100 {
			t.Errorf("from 100 km on the table shows %v", seen.Farther)
		}
	}
	if len(seen.Farther) != 3 {
		t.Errorf("%d rows from 100 km on, want 3", len(seen.Farther))
	}
	for _, verdict := range seen.Direct {
		if verdict != "direct" {
			t.Errorf("the filter for direct lines shows %q", seen.Direct)
		}
	}
	if len(seen.Named) != 1 || seen.Named[0] != "Great Ansel" || seen.NamedLines != 1 || !strings.Contains(seen.Filtered, "1 of 7 sightlines") {
		t.Errorf("filtered by a name the table shows %q, the map %d lines: %s", seen.Named, seen.NamedLines, seen.Filtered)
	}
	if seen.InView < 1 || seen.ByAddress != "#line-3" {
		t.Errorf("%d rows in view of the map; the address #line-3 chose %q", seen.InView, seen.ByAddress)
	}
	if seen.Overflow > 0 {
		t.Errorf("at 390 pixels the page is %v pixels too wide", seen.Overflow)
	}
	for _, found := range seen.Axe {
		if strings.Contains(found, " serious ") || strings.Contains(found, " critical ") {
			t.Errorf("axe-core: %s", found)
		} else {
			t.Logf("axe-core: %s", found)
		}
	}
}

// With 10,000 pairs and 60 lines the page opens in less than 2 s; measured on two cores it took a third of that.
func TestHTMLOpensFast(t *testing.T) {
	if testing.Short() {
		t.Skip("a page of 10,000 rows is not opened in short tests")
	}
	result := madeResult()
	for len(result.Profiles) < 60 {
		p := result.Profiles[len(result.Profiles)%7]
		l := result.Shown.Sightlines[p.Line]
		rank := int32(len(result.Shown.Sightlines) + 1)
		l.Rank, p.Line = &rank, len(result.Shown.Sightlines)
		result.Shown.Sightlines, result.Profiles = append(result.Shown.Sightlines, l), append(result.Profiles, p)
	}
	for i := len(result.Shown.Sightlines); i < 10_000; i++ {
		l := result.Shown.Sightlines[i%7]
		rank := int32(i + 1)
		l.Rank, l.DistanceM, l.AzimuthDeg, l.CriticalK = &rank, 30_000+float64(i*7919%270_000), float64(i*104729%3600)/10, float64(i*31%1000)/3000
		result.Shown.Sightlines = append(result.Shown.Sightlines, l)
	}
	started := time.Now()
	page := madePage(t, result, madeOptions())
	t.Logf("%d bytes, written in %.2f s", len(page), time.Since(started).Seconds())
	seen := drivePageOpened(t, page)
	t.Logf("loaded in %.0f ms", seen)
	if seen > 2000 {
		t.Errorf("the page of 10,000 rows and 60 lines loads in %.0f ms, want less than 2000", seen)
	}
}

// drivePageOpened returns the milliseconds from the start of navigation to the end of the load event, the best of three.
func drivePageOpened(t *testing.T, page string) float64 {
	t.Helper()
	browser, dir := browserPath(t), t.TempDir()
	file := filepath.Join(dir, "report.html")
	if err := os.WriteFile(file, []byte(page), 0o600); err != nil {
		t.Fatal(err)
	}
	out := runNode(t, "puppeteer-core", `
const puppeteer = require('puppeteer-core');
(async () => {
  const [file, executablePath, home] = process.argv.slice(-3);
  const browser = await (puppeteer.default || puppeteer).launch({executablePath, userDataDir: home, args: ['--no-sandbox', '--disable-gpu', '--disable-component-update', '--no-first-run']});
  let best = Infinity;
  for (let i = 0; i < 3; i++) {
    const page = await browser.newPage();
    await page.goto('file://' + file, {waitUntil: 'load'});
    best = Math.min(best, await page.evaluate(() => performance.getEntriesByType('navigation')[0].loadEventEnd));
    await page.close();
  }
  await browser.close();
  console.log(best);
})().catch(e => { console.error(e); process.exit(1); });
`, file, browser, filepath.Join(dir, "home"))
	var ms float64
	if err := json.Unmarshal([]byte(out), &ms); err != nil {
		t.Fatalf("%v: %.200s", err, out)
	}
	return ms
}
