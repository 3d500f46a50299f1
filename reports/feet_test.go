package reports

import (
	"bytes"
	"strings"
	"testing"
)

// A foot is 0.3048 m exactly (international yard and pound agreement, 1959).
func TestWithFeet(t *testing.T) {
	for _, test := range []struct{ text, want string }{
		{"top at 712 m, ", "top at 712 m (2336 ft), "},
		{"the lower 0.3048 m", "the lower 0.3048 m (1 ft)"},
		{"−30.48 m below", "−30.48 m (−100 ft) below"},
		{"8849\u00a0m over", "8849\u00a0m (29\u202f032\u00a0ft) over"},
		{"3,048 m.", "3,048 m (10,000 ft)."},
		{"eye 714.0 ± 10.0 m over", "eye 714.0 ± 10.0 m (2343 ± 33 ft) over"},
		{"between 10 m and 20 m", "between 10 m (33 ft) and 20 m (66 ft)"},
		{"<td>5\u00a0m</td>", "<td>5\u00a0m (16\u00a0ft)</td>"},
		{"97.6 km, 0.17 K/m, 3 mm, 12 m², 5 m/s, ground_m 3, 4 months", "97.6 km, 0.17 K/m, 3 mm, 12 m², 5 m/s, ground_m 3, 4 months"},
	} {
		if got := WithFeet(test.text); got != test.want {
			t.Errorf("WithFeet(%q) = %q, want %q", test.text, got, test.want)
		}
	}
}

func TestReportWithFeet(t *testing.T) {
	result, opts := madeResult(), madeOptions()
	plain := string(written(t, func(b *bytes.Buffer) error { return WriteHTML(b, result, opts) }))
	opts.Feet = true
	page := string(written(t, func(b *bytes.Buffer) error { return WriteHTML(b, result, opts) }))
	if strings.Contains(plain, "\u00a0ft)") || strings.Count(page, "\u00a0ft)") < 10 {
		t.Errorf("feet stand %d times in the page that has none, %d in the other", strings.Count(plain, "\u00a0ft)"), strings.Count(page, "\u00a0ft)"))
	}
	script := func(text string) string {
		_, after, _ := strings.Cut(text, "<script")
		return after[:strings.LastIndex(after, "</script>")]
	}
	if script(plain) != script(page) {
		t.Error("the scripts differ")
	}
}
