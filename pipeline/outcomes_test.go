package pipeline

import (
	"math"
	"strings"
	"testing"

	"farstation/gazetteer"
)

// Newcombe 1998, Stat. Med. 17, 857, table I, method 3 (values from memory; the formula of Wilson 1927 gives them).
func TestWilson(t *testing.T) {
	tests := []struct {
		successes, n int
		low, high    float64
	}{
		{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718}, {20, 20, 1 - 0.1611, 1},
	}
	for _, test := range tests {
		low, high := Wilson(test.successes, test.n)
		if math.Abs(low-test.low) > 5e-5 || math.Abs(high-test.high) > 5e-5 {
			t.Errorf("Wilson(%d, %d) = %.4f, %.4f; want %.4f, %.4f", test.successes, test.n, low, high, test.low, test.high)
		}
	}
}

const outcomesText = `Line_ID,date,outcome,note
a>b,2031-05-20,seen,"clear, cold"
a>c,2031-05-20,Not seen,
a>c,2031-05-21,not-seen
a>d,2031-05-20,seen,
a>d,2031-05-20,air not clear,replaces the row before
a>e,2031-05-20,not tried,
a>f,2031-05-20,seen,
a>g,2031-05-20,seen,
a>b,20.5.2031,seen,
a>b,2031-05-22,perhaps,
,2031-05-22,seen,
`

// Worked by hand (no outside source): chances 0.9 seen, 0.2 not seen, twice.
func TestScoreOutcomes(t *testing.T) {
	outcomes, rejected, err := ReadOutcomes(strings.NewReader("\ufeff" + outcomesText))
	if err != nil {
		t.Fatal(err)
	}
	s := ScoreOutcomes(outcomes, rejected, map[string]*float64{"a>b": pointer(0.9), "a>c": pointer(0.2), "a>d": pointer(0.5), "a>e": pointer(0.5), "a>f": nil})
	if s.Counted != 3 || s.SeenCount != 1 || s.Lines != 2 || s.Replaced != 1 {
		t.Errorf("counted %d, seen %d, lines %d, replaced %d; want 3, 1, 2, 1", s.Counted, s.SeenCount, s.Lines, s.Replaced)
	}
	if s.Outcomes[AirNotClear] != 1 || s.Outcomes[NotTried] != 1 || s.Outcomes[NotSeen] != 2 {
		t.Errorf("outcomes %v, want 1 air not clear, 1 not tried, 2 not seen", s.Outcomes)
	}
	for _, v := range []struct {
		name      string
		got, want float64
	}{
		{"Brier score", *s.Brier, (0.01 + 0.04 + 0.04) / 3},
		{"Brier score of the share seen", *s.BrierAlways, 2.0 / 9},
		{"logarithmic score", *s.LogScore, -(math.Log(0.9) + 2*math.Log(0.8)) / 3},
		{"calibration error", *s.CalibrationError, 0.1/3 + 0.2*2/3},
		{"mean chance", *s.MeanChance, 1.3 / 3},
		{"bin of 0.2", float64(s.Bins[2].Counted), 2},
		{"bin of 0.9", *s.Bins[9].Share, 1},
	} {
		if math.Abs(v.got-v.want) > 1e-12 {
			t.Errorf("%s is %v, want %v", v.name, v.got, v.want)
		}
	}
	var reasons []string
	for _, r := range s.Rejected {
		reasons = append(reasons, r.Reason)
	}
	want := []int{8, 9, 10, 11, 12} // a>f is undecided, a>g unknown, then date, outcome, id
	if len(s.Rejected) != len(want) {
		t.Fatalf("rejected %q, want %d rows", reasons, len(want))
	}
	for i, line := range want {
		if s.Rejected[i].Line != line {
			t.Errorf("rejected row %d is line %d (%s), want line %d", i, s.Rejected[i].Line, s.Rejected[i].Reason, line)
		}
	}
	if !strings.HasPrefix(s.Conclusion, "3 outcomes of 2 sightlines") || !strings.HasSuffix(s.Conclusion, "nothing can be concluded.") {
		t.Errorf("conclusion %q", s.Conclusion)
	}
}

// A stated certainty that fails is bounded, and chances of 0 and 1 have bins.
func TestScoreOutcomesSurprise(t *testing.T) {
	rows := []Outcome{{LineID: "a>b", Date: "2031-05-20", Outcome: NotSeen}, {LineID: "a>c", Date: "2031-05-20", Outcome: Seen}}
	s := ScoreOutcomes(rows, nil, map[string]*float64{"a>b": pointer(1.0), "a>c": pointer(0.0)})
	if math.Abs(*s.LogScore-math.Log(1000)) > 1e-12 || *s.Brier != 1 || s.Bins[0].Counted != 1 || s.Bins[9].Counted != 1 {
		t.Errorf("log score %v, Brier %v, bins %d and %d; want ln 1000, 1, 1, 1", *s.LogScore, *s.Brier, s.Bins[0].Counted, s.Bins[9].Counted)
	}
	if s := ScoreOutcomes(nil, nil, nil); s.Brier != nil || s.Conclusion != "No outcome counts: nothing can be concluded." || s.Rejected == nil {
		t.Errorf("no outcomes give %+v", s)
	}
}

func TestReadOutcomesFiles(t *testing.T) {
	for name, text := range map[string]string{"empty": "", "no outcome": "line_id,date\na>b,2031-05-20\n", "no header": "a>b,2031-05-20,seen\n"} {
		if _, _, err := ReadOutcomes(strings.NewReader(text)); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	outcomes, rejected, err := ReadOutcomes(strings.NewReader("line_id;date;outcome;note\r\na>b;2031-05-20;seen;12 \" lens\r\na>b;2031-05-21;seen;\r\n"))
	if err != nil || len(outcomes) != 1 || outcomes[0].Date != "2031-05-21" || len(rejected) != 1 || rejected[0] != (gazetteer.Rejected{Line: 2, Reason: `bare " in non-quoted-field`}) {
		t.Errorf("semicolons: %v, %v, %v; want the second row, the first rejected for its quote", outcomes, rejected, err)
	}
}
