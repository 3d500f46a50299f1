package gazetteer

import (
	"slices"
	"strings"
	"testing"
)

func TestParseKinds(t *testing.T) {
	tests := []struct {
		list string
		want []Kind
		err  string
	}{
		{"peak,hill", []Kind{Peak, Hill}, ""},
		{" Hill , PEAK,hill", []Kind{Hill, Peak}, ""},
		{"", nil, ""},
		{"peak,hills", nil, `kind "hills" is not known: use peak, hill, volcano, tower, mast, chimney, lighthouse, turbine, building, viewpoint, place`},
		{"peak,", nil, `kind "" is not known`},
	}
	for _, tt := range tests {
		got, err := ParseKinds(tt.list)
		if !slices.Equal(got, tt.want) || (err == nil) != (tt.err == "") || err != nil && !strings.Contains(err.Error(), tt.err) {
			t.Errorf("ParseKinds(%q) = %v, %v, want %v, %q", tt.list, got, err, tt.want, tt.err)
		}
	}
	all := joinKinds(Kinds())
	if got, err := ParseKinds(all); err != nil || !slices.Equal(got, Kinds()) || len(got) != 11 {
		t.Errorf("ParseKinds(%q) = %v, %v, want all 11 kinds", all, got, err)
	}
}

func TestDoubtsAreSorted(t *testing.T) {
	doubts := Doubts()
	for i, d := range doubts {
		if d.Meaning == "" || strings.Contains(d.Code, ",") || i > 0 && doubts[i-1].Code >= d.Code {
			t.Errorf("Doubts()[%d] = %+v: want a meaning, no comma in the code, codes in order", i, d)
		}
	}
	f := Feature{Doubts: []string{"b"}}
	for _, code := range []string{"c", "a", "b", "c"} {
		f.doubt(code)
	}
	if !slices.Equal(f.Doubts, []string{"a", "b", "c"}) {
		t.Errorf("doubts %v, want each once and sorted", f.Doubts)
	}
}
