package main

import (
	"testing"

	"farstation/pipeline"
)

// What is cut off is told as a height and a part, but where that part is too small or too large for whole percent.
func TestObscuredWords(t *testing.T) {
	foot := 12.0
	tests := []struct {
		heightM *float64
		part    float64
		want    string
	}{
		{nil, 1, "nothing is cut off"},
		{&foot, 0, "all of it is cut off"},
		{&foot, 0.0049, "next to all of it is cut off"},
		{&foot, 0.0051, "all below 12 m is cut off, which leaves 1 % of its rise in view"},
		{&foot, 0.5, "all below 12 m is cut off, which leaves 50 % of its rise in view"},
		{&foot, 0.9949, "all below 12 m is cut off, which leaves 99 % of its rise in view"},
		{&foot, 0.9951, "next to nothing is cut off"},
	}
	for _, test := range tests {
		whole := 1.0
		line := pipeline.Sightline{Verdict: pipeline.Direct, ObscuredHeightM: test.heightM, PartInView: &test.part, PartInViewPlane: &whole}
		if got, want := obscuredWords(&line), "under the curve "+test.want+"; on the plane nothing is cut off"; got != want {
			t.Errorf("obscuredWords of part %v = %q, want %q", test.part, got, want)
		}
	}
}
