package reports

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// sheetDriver opens a page at two widths in both colour schemes, and prints what axe-core finds, what is wider than the window, and what is asked for
// outside; then how it prints.
const sheetDriver = `
const fs = require('fs');
(async () => {
  const puppeteer = require('puppeteer-core');
  const [file, executablePath, home, axePath] = process.argv.slice(-4);
  const browser = await puppeteer.launch({executablePath, userDataDir: home, args: ['--no-sandbox', '--disable-gpu']});
  const page = await browser.newPage();
  await page.setBypassCSP(true);
  page.on('request', r => { if (!r.url().startsWith('file:') && !r.url().startsWith('data:')) console.log('asked for ' + r.url()); });
  for (const width of [390, 1440]) {
    for (const scheme of ['light', 'dark']) {
      await page.setViewport({width, height: 900});
      await page.emulateMediaFeatures([{name: 'prefers-color-scheme', value: scheme}]);
      await page.goto('file://' + file);
      const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
      if (over > 0) console.log(width + ' px: ' + over + ' px too wide');
      await page.evaluate(fs.readFileSync(axePath, 'utf8'));
      const found = await page.evaluate(() => axe.run(document, {resultTypes: ['violations']}));
      for (const v of found.violations) for (const n of v.nodes) console.log(width + ' px ' + scheme + ': ' + v.impact + ' ' + v.id + ' ' + n.target.join(' ') + ' ' + n.failureSummary.replace(/\s+/g, ' ').slice(0, 200));
    }
  }
  await page.emulateMediaFeatures([{name: 'prefers-color-scheme', value: 'dark'}]); // paper is white all the same
  const pdf = Buffer.from(await page.pdf({preferCSSPageSize: true})).toString('latin1');
  const sheets = (pdf.match(/\/Type\s*\/Page\b(?!s)/g) || []).length, size = (pdf.match(/\/MediaBox\s*\[[^\]]*\]/) || [''])[0];
  if (sheets < 2 || sheets > 3 || !/ 59[45][.\d]* 84[12]/.test(size)) console.log(sheets + ' sheets of ' + size);
  await page.emulateMediaType('print');
  await page.setViewport({width: 711, height: 1054}); // A4 less its margins
  const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  if (over > 0) console.log('paper: ' + over + ' px too wide');
  const ink = await page.evaluate(() => [getComputedStyle(document.body).color, getComputedStyle(document.body).backgroundColor, getComputedStyle(document.querySelector('.figure text')).fill].join(' '));
  if (ink !== 'rgb(0, 0, 0) rgb(255, 255, 255) rgb(28, 30, 34)') console.log('paper: ' + ink);
  console.log('done');
  await browser.close();
})().catch(e => { console.error(e); process.exit(1); });
`

// TestOutingPageInBrowser: a sheet fits a telephone and two or three sheets of A4, black on white, asks for nothing outside, and axe-core finds nothing.
func TestOutingPageInBrowser(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "outing.html")
	if err := os.WriteFile(file, []byte(sheetOf(t, madeOuting())), 0o644); err != nil {
		t.Fatal(err)
	}
	browser := browserPath(t)
	axe := strings.TrimSpace(runNode(t, "axe-core", "console.log(require.resolve('axe-core'))"))
	out := runNode(t, "puppeteer-core", sheetDriver, file, browser, filepath.Join(dir, "home"), axe)
	if strings.TrimSpace(out) != "done" {
		t.Errorf("%s", out)
	}
}
