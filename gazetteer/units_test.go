package gazetteer

import (
	"errors"
	"math"
	"testing"
)

// The wrong forms that occur (a unit without a space, a decimal comma) and 7'4" are named by the OpenStreetMap wiki, Key:height and
// Map_Features/Units; the foot is 0.3048 m exactly (international foot, 1959). The rest is common practice, no source.
func TestParseLength(t *testing.T) {
	const unreadable = -12345
	tests := []struct {
		text  string
		mark  decimalMark
		wantM float64
	}{
		{"600", '.', 600},
		{"600.5", '.', 600.5},
		{"-415", '.', -415},
		{"\u2212415", '.', -415}, // minus sign
		{"+12", '.', 12},
		{" 712 ", '.', 712},
		{"300 m", '.', 300},
		{"300m", '.', 300},
		{"300 m.", '.', 300},
		{"300 Metres", '.', 300},
		{"1234'", '.', 1234 * 0.3048},
		{"1234 ft", '.', 1234 * 0.3048},
		{"1,234 ft", '.', 1234 * 0.3048},
		{"1,234 feet", '.', 1234 * 0.3048},
		{"-10 ft", '.', -3.048},
		{`7'4"`, '.', 88 * 0.0254},
		{"7\u20324\u2033", '.', 88 * 0.0254}, // prime and double prime
		{"7 ft 4 in", '.', 88 * 0.0254},
		{`7'14"`, '.', unreadable},
		{`7.5'4"`, '.', unreadable},
		{"1'234", '.', unreadable}, // Swiss thousands or feet
		{"0,8", '.', 0.8},
		{"0,8", ',', 0.8},
		{"12,5", '.', 12.5},
		{"12,5", 0, 12.5},
		{"1,234", '.', 1234},
		{"1,234", ',', 1.234},
		{"1,234", 0, unreadable},
		{"1.234", '.', 1.234},
		{"1.234", ',', 1234},
		{"1.234", 0, unreadable},
		{"0.234", 0, 0.234},
		{"0,234", 0, 0.234},
		{"1.234,5", '.', 1234.5},
		{"1.234,5", 0, 1234.5},
		{"1,234.5", ',', 1234.5},
		{"1,234,567", '.', 1234567},
		{"1 234 m", '.', 1234},
		{"1\u202f234,5", ',', 1234.5}, // narrow no-break space
		{"12 34", '.', unreadable},
		{"1,23,456", '.', unreadable},
		{"1.2.3", '.', unreadable},
		{"0.300,0", ',', unreadable}, // no grouping that anybody writes
		{"~300", '.', unreadable},
		{"about 600 m", '.', unreadable},
		{"300-320", '.', unreadable},
		{"300\u2013320", '.', unreadable},
		{"600;610", '.', unreadable},
		{"600/610", '.', unreadable},
		{"unknown", '.', unreadable},
		{"-", '.', unreadable},
		{"", '.', unreadable},
		{"m", '.', unreadable},
		{"1 km", '.', unreadable},
		{"0x10", '.', unreadable},
		{"1_000", '.', unreadable},
		{"--5", '.', unreadable},
		{"1e3", '.', 1000},
		{"1e308", '.', 1e308},
		{"1e999", '.', math.Inf(1)},
		{"-Inf", '.', math.Inf(-1)},
	}
	for _, tt := range tests {
		got, err := parseLength(tt.text, tt.mark)
		switch {
		case tt.wantM == unreadable && !errors.Is(err, errUnreadable):
			t.Errorf("parseLength(%q, %q) = %v, %v, want errUnreadable", tt.text, tt.mark, got, err)
		case tt.wantM != unreadable && (err != nil || got != tt.wantM && !(math.Abs(got-tt.wantM) <= 1e-12*math.Abs(tt.wantM))):
			t.Errorf("parseLength(%q, %q) = %v, %v, want %v", tt.text, tt.mark, got, err, tt.wantM)
		}
	}
	if got, err := parseLength("NaN", '.'); err != nil || !math.IsNaN(got) {
		t.Errorf(`parseLength("NaN") = %v, %v, want NaN`, got, err)
	}
}

func FuzzParseLength(f *testing.F) {
	for _, seed := range []string{"600", "1,234 ft", `7'4"`, "0,8", "1.234,5", "300-320", "1e308", "\u2212415 m", "1'234"} {
		f.Add(seed, byte('.'))
		f.Add(seed, byte(0))
	}
	f.Fuzz(func(t *testing.T, text string, mark byte) {
		if mark != 0 && mark != ',' {
			mark = '.'
		}
		value, err := parseLength(text, decimalMark(mark))
		if err != nil && !errors.Is(err, errUnreadable) {
			t.Errorf("parseLength(%q) fails with %v", text, err)
		}
		if again, errAgain := parseLength(" "+text+" ", decimalMark(mark)); err == nil && (errAgain != nil || again != value && !(math.IsNaN(again) && math.IsNaN(value))) {
			t.Errorf("parseLength(%q) = %v, with spaces around it %v, %v", text, value, again, errAgain)
		}
	})
}
