package main

import (
	"bytes"
	"encoding/json"
	"image"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farstation/pipeline"
)

// blankJPEG is a picture of the size that the points of testdata/weigh were made for. They were projected by formulas that share nothing with the
// program's, for a lens at -32.4,-123.7, 640 m over the sea, with k = 0.143 on the Earth or on a plane, pixel noise 0.5 and k of each ray 0.02.
func blankJPEG(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "made.jpg")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	if err := jpeg.Encode(file, image.NewGray(image.Rect(0, 0, 6000, 1600)), nil); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestWeighCommand: from a JPEG and two tables to the verdict in one command, for a photograph of either model.
func TestWeighCommand(t *testing.T) {
	photo := blankJPEG(t)
	for _, test := range []struct {
		points, title string
		curvature     float64
		words         string
	}{
		{"curved.csv", "This photograph fits a curved Earth, not a plane", 1 - 0.143, "where a curved Earth with bending light has them"},
		{"plane.csv", "This photograph fits a plane, not a curved Earth", 0, "where a plane with straight light has them"},
	} {
		out := filepath.Join(t.TempDir(), "case")
		var printed, failed bytes.Buffer
		args := []string{"weigh", "--photo", photo, "--points", "testdata/weigh/" + test.points, "--features", "testdata/weigh/features.csv", "--camera", "-32.4,-123.7,640", "--as-listed", "--out", out}
		if status := run(args, &stdio{&printed, &failed}); status != statusDone {
			t.Fatalf("farstation %q ended with %d: %s", args, status, failed.String())
		}
		if !strings.Contains(printed.String(), test.words) {
			t.Errorf("%s: printed %q, want %q in it", test.points, printed.String(), test.words)
		}
		content, err := os.ReadFile(filepath.Join(out, "weigh.json"))
		if err != nil {
			t.Fatal(err)
		}
		var w pipeline.Weighing
		var keys map[string]any
		if err := json.Unmarshal(content, &keys); err != nil {
			t.Fatal(err)
		}
		for _, key := range []string{"models", "apparent_curvature_per_m", "apparent_curvature_sd_per_m", "k", "k_sd", "plane_sd", "decides", "overturned_by", "camera", "image_sha256"} {
			if keys[key] == nil {
				t.Errorf("%s: weigh.json has no %s", test.points, key)
			}
		}
		if err := json.Unmarshal(content, &w); err != nil {
			t.Fatal(err)
		}
		if got := 1 - *w.K; !w.Decides || math.Abs(got-test.curvature) > 3**w.KSD {
			t.Errorf("%s: decides %v, curvature %.3f ± %.3f of the Earth's, want %.3f", test.points, w.Decides, got, *w.KSD, test.curvature)
		}
		page, err := os.ReadFile(filepath.Join(out, "weigh.html"))
		if err != nil {
			t.Fatal(err)
		}
		if text := string(page); !strings.Contains(text, "<h1>"+test.title+"</h1>") || !strings.Contains(text, "<svg") || !strings.Contains(text, "Never look at or near the sun") {
			t.Errorf("%s: weigh.html lacks its title, its figure or its caution", test.points)
		}
		if status := run(args, &stdio{&printed, &failed}); status != statusWrongInput {
			t.Errorf("a second run into %s ended with %d, want %d", out, status, statusWrongInput)
		}
	}
}

// TestResectCommand: the place that the made points were projected from comes back.
func TestResectCommand(t *testing.T) {
	var printed, failed bytes.Buffer
	args := []string{"resect", "--photo", blankJPEG(t), "--points", "testdata/weigh/curved.csv", "--features", "testdata/weigh/features.csv", "--as-listed", "--json"}
	if status := run(args, &stdio{&printed, &failed}); status != statusDone {
		t.Fatalf("farstation %q ended with %d: %s", args, status, failed.String())
	}
	var r pipeline.Resected
	if err := json.Unmarshal(printed.Bytes(), &r); err != nil {
		t.Fatal(err)
	}
	const metresPerDeg = 111_000
	p := r.Places[0]
	offM := math.Hypot(p.LatitudeDeg+32.4, (p.LongitudeDeg+123.7)*math.Cos(32.4*math.Pi/180)) * metresPerDeg
	if offM > 3*p.SemiMajorM || p.SemiMajorM > 1000 || p.SemiMinorM > 20 {
		t.Errorf("place %.6f,%.6f is %.0f m off, ellipse %.0f × %.0f m; want it within three times an ellipse below 1000 × 20 m", p.LatitudeDeg, p.LongitudeDeg, offM, p.SemiMajorM, p.SemiMinorM)
	}
}
