package reports

import (
	"bytes"
	"encoding/json"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farstation/pipeline"
)

// measureDriver chooses the photograph, clicks on a red and on a blue block that it finds by their colours on the canvas, once after zooming in, drags,
// types, names, removes and saves.
const measureDriver = `
const puppeteer = require('puppeteer-core'), fs = require('fs'), path = require('path');
(async () => {
  const [file, photo, downloads, executablePath, home, axePath] = process.argv.slice(-6);
  const browser = await (puppeteer.default || puppeteer).launch({executablePath, userDataDir: home, args: ['--no-sandbox', '--disable-gpu', '--disable-component-update', '--no-first-run']});
  const page = await browser.newPage(), seen = {outside: [], errors: [], axe: []};
  page.on('request', r => { if (!/^(file|data|blob):/.test(r.url())) seen.outside.push(r.url()); });
  page.on('pageerror', e => seen.errors.push(String(e)));
  page.on('console', m => { if (m.type() === 'error') seen.errors.push(m.text()); });
  const session = await browser.target().createCDPSession();
  await session.send('Browser.setDownloadBehavior', {behavior: 'allow', downloadPath: downloads});
  await page.setViewport({width: 1200, height: 1000});
  await page.goto('file://' + file, {waitUntil: 'load'});
  await (await page.$('#file')).uploadFile(photo);
  await page.waitForFunction(() => document.getElementById('picture').naturalWidth > 0);
  await new Promise(r => setTimeout(r, 200));
  // middle returns where the canvas shows the middle of all that has a colour, in the window.
  const middle = colour => page.evaluate(([r, g, b]) => {
    const c = document.getElementById('canvas'), data = c.getContext('2d').getImageData(0, 0, c.width, c.height).data, box = c.getBoundingClientRect();
    let x = 0, y = 0, n = 0;
    for (let i = 0; i < data.length; i += 4) {
      if (Math.abs(data[i] - r) + Math.abs(data[i + 1] - g) + Math.abs(data[i + 2] - b) < 60) { x += i / 4 % c.width + .5; y += Math.floor(i / 4 / c.width) + .5; n++; }
    }
    return {x: box.left + c.clientLeft + x / n, y: box.top + c.clientTop + y / n, n};
  }, colour);
  const rows = () => page.$$eval('#rows tr', all => all.length);
  let at = await middle([230, 20, 20]);
  seen.red = at.n;
  await page.mouse.click(at.x, at.y);
  seen.afterClick = await rows();
  const blue = await middle([20, 20, 230]);
  await page.mouse.move(blue.x, blue.y);
  await page.mouse.wheel({deltaY: -900});
  await new Promise(r => setTimeout(r, 200));
  at = await middle([20, 20, 230]);
  seen.zoomed = at.n / blue.n;
  await page.mouse.move(at.x, at.y);
  await page.mouse.down();
  await page.mouse.move(at.x + 60, at.y + 40, {steps: 4});
  await page.mouse.up();
  seen.afterDrag = await rows();
  const moved = await middle([20, 20, 230]);
  seen.dragged = [moved.x - at.x, moved.y - at.y];
  await page.mouse.click(moved.x, moved.y);
  await page.mouse.click(moved.x + 80, moved.y);
  seen.afterMore = await rows();
  await page.click('#rows tr:nth-child(3) button');
  seen.afterRemove = await rows();
  await page.focus('#add');
  await page.keyboard.press('Enter');
  await page.keyboard.type('12.5');
  await page.keyboard.press('Tab');
  seen.typed = [await rows(), await page.$eval('#rows tr:nth-child(3) input', i => i.value)];
  await page.click('#rows tr:nth-child(3) button');
  seen.namesBefore = [await page.$$eval('#names option', all => all.length), await page.$$eval('#rows input[list=names]', all => all.length)];
  await page.click('#name');
  seen.namesAfter = await page.$$eval('#names option', all => all.map(o => o.value));
  const type = async (row, label, text) => {
    const input = await page.$('#rows tr:nth-child(' + row + ') input[aria-label^="' + label + '"]');
    await input.focus();
    await input.evaluate(i => i.select());
    await page.keyboard.type(text);
    await page.keyboard.press('Tab');
  };
  await type(1, 'name', 'Braven, "the old"');
  await type(2, 'part', 'base');
  await type(2, 'name', 'Ómbrivel');
  await type(2, 'spread', '0.7');
  if (axePath) {
    await page.evaluate(fs.readFileSync(axePath, 'utf8'));
    const found = await page.evaluate(() => axe.run(document, {resultTypes: ['violations']}));
    for (const v of found.violations) for (const n of v.nodes) seen.axe.push(v.impact + ' ' + v.id + ' ' + n.target.join(' ') + ' ' + n.failureSummary.replace(/\s+/g, ' ').slice(0, 160));
  }
  await page.click('#save');
  const saved = path.join(downloads, 'points.csv');
  for (let i = 0; i < 100 && !fs.existsSync(saved); i++) await new Promise(r => setTimeout(r, 100));
  seen.csv = fs.readFileSync(saved, 'utf8');
  await page.setViewport({width: 390, height: 844});
  seen.overflow = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  await browser.close();
  console.log(JSON.stringify(seen));
})().catch(e => { console.error(e); process.exit(1); });
`

type measureSeen struct {
	Outside, Errors, Axe                          []string
	Red                                           int
	AfterClick, AfterDrag, AfterMore, AfterRemove int
	Zoomed, Overflow                              float64
	Dragged                                       []float64
	Typed                                         []any
	NamesBefore                                   []int
	NamesAfter                                    []string
	CSV                                           string
}

// TestMeasuringPageDriven: points are clicked, at every zoom, where the picture shows them; the table that is saved is one that weigh reads.
func TestMeasuringPageDriven(t *testing.T) {
	browser, dir := browserPath(t), t.TempDir()
	picture := image.NewRGBA(image.Rect(0, 0, 900, 500))
	draw.Draw(picture, picture.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(picture, image.Rect(300, 200, 320, 216), image.NewUniform(color.RGBA{230, 20, 20, 255}), image.Point{}, draw.Src)
	draw.Draw(picture, image.Rect(640, 101, 648, 109), image.NewUniform(color.RGBA{20, 20, 230, 255}), image.Point{}, draw.Src)
	var photo, page bytes.Buffer
	if err := png.Encode(&photo, picture); err != nil {
		t.Fatal(err)
	}
	if err := WriteMeasuringPage(&page, []string{"Braven", "Ómbrivel"}); err != nil {
		t.Fatal(err)
	}
	path := func(name string) string { return filepath.Join(dir, name) }
	for name, text := range map[string][]byte{"photo.png": photo.Bytes(), "measure.html": page.Bytes()} {
		if err := os.WriteFile(path(name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	axe := strings.TrimSpace(runNode(t, "axe-core", "console.log(require.resolve('axe-core'))"))
	var seen measureSeen
	if out := runNode(t, "puppeteer-core", measureDriver, path("measure.html"), path("photo.png"), dir, browser, path("home"), axe); json.Unmarshal([]byte(out), &seen) != nil {
		t.Fatalf("%.500s", out)
	}
	if len(seen.Outside) > 0 || len(seen.Errors) > 0 || len(seen.Axe) > 0 || seen.Overflow > 0 {
		t.Errorf("asked for %q, said %q, axe-core: %q, %v pixels too wide", seen.Outside, seen.Errors, seen.Axe, seen.Overflow)
	}
	if seen.Red == 0 || seen.AfterClick != 1 || seen.AfterDrag != 1 || seen.AfterMore != 3 || seen.AfterRemove != 2 {
		t.Errorf("points after a click, a drag, two clicks, a removal: %d, %d, %d, %d, want 1, 1, 3, 2", seen.AfterClick, seen.AfterDrag, seen.AfterMore, seen.AfterRemove)
	}
	// exp(900/400)² = 90 times the area, but for the smoothed edges of a small block.
	if seen.Zoomed < 60 || seen.Zoomed > 140 || math.Abs(seen.Dragged[0]-60) > 1.5 || math.Abs(seen.Dragged[1]-40) > 1.5 {
		t.Errorf("the wheel enlarged the block %.0f times, the drag moved it by %v, want about 90 and 60, 40", seen.Zoomed, seen.Dragged)
	}
	if len(seen.Typed) != 2 || seen.Typed[0] != 3.0 || seen.Typed[1] != "12.5" {
		t.Errorf("with the keyboard alone: %v points and x, want 3, and 12.5 typed", seen.Typed)
	}
	if seen.NamesBefore[0] != 0 || seen.NamesBefore[1] != 0 || len(seen.NamesAfter) != 2 {
		t.Errorf("names before they are asked for: %v, after: %q, want none and two", seen.NamesBefore, seen.NamesAfter)
	}
	if !strings.HasPrefix(seen.CSV, "name_or_id,part,x_px,y_px,sd_px\n") {
		t.Errorf("the table begins %.60q", seen.CSV)
	}
	points, rejected, err := pipeline.ReadPoints(strings.NewReader(seen.CSV), 0, 1)
	if err != nil || len(rejected) > 0 || len(points) != 2 {
		t.Fatalf("weigh reads %d points, rejects %v, %v, from:\n%s", len(points), rejected, err, seen.CSV)
	}
	for i, want := range []pipeline.MeasuredPoint{
		{Name: `Braven, "the old"`, Part: pipeline.PartTop, XPx: 310, YPx: 208, SDPx: 1}, {Name: "Ómbrivel", Part: pipeline.PartBase, XPx: 644, YPx: 105, SDPx: 0.7},
	} {
		p, tolerance := points[i], []float64{0.6, 0.15}[i] // a pixel of the window, at the zoom of each click
		if p.Name != want.Name || p.Part != want.Part || p.SDPx != want.SDPx || math.Abs(p.XPx-want.XPx) > tolerance || math.Abs(p.YPx-want.YPx) > tolerance {
			t.Errorf("point %d is %+v, want %+v to %v px", i+1, p, want, tolerance)
		}
	}
}
