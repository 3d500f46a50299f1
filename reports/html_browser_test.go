package reports

import (
	"bytes"
	"context"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A browser must draw the page, run its one script under the page's own policy, and nothing else.
func TestHTMLInBrowser(t *testing.T) {
	browser := browserPath(t)
	dir := t.TempDir()
	file := filepath.Join(dir, "report.html")
	if err := os.WriteFile(file, []byte(madePage(t, madeResult(), madeOptions())), 0o600); err != nil {
		t.Fatal(err)
	}
	run := func(name string, flags ...string) []byte {
		ctx, cancel := context.WithTimeout(t.Context(), 90*time.Second)
		defer cancel()
		flags = append(flags, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
			"--disable-component-update", "--disable-sync", "--user-data-dir="+filepath.Join(dir, name), "--window-size=390,2000", "file://"+file)
		cmd := exec.CommandContext(ctx, browser, flags...)
		var errs bytes.Buffer
		cmd.Stderr = &errs
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%s %s: %v\n%s", browser, name, err, errs.String())
		}
		return out
	}
	dom := string(run("dom", "--dump-dom"))
	if n := strings.Count(dom, `<button type="button">`); n < 12 {
		t.Errorf("the script put %d sort buttons into the page, want one in each column", n)
	}
	if strings.Contains(dom, "<script>alert") {
		t.Error("a name became a script")
	}

	shot := filepath.Join(dir, "page.png")
	run("shot", "--screenshot="+shot)
	f, err := os.Open(shot)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	picture, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	inked, b := 0, picture.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y += 2 {
		for x := b.Min.X; x < b.Max.X; x += 2 {
			if r, _, _, _ := picture.At(x, y).RGBA(); r < 0x8000 {
				inked++
			}
		}
	}
	if share := float64(inked) / float64(b.Dx()*b.Dy()/4); share < 0.005 || share > 0.5 {
		t.Errorf("%.1f %% of the picture is dark, want some text on paper", 100*share)
	}
}
