package pipeline

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"farstation/gazetteer"
)

// The outcomes of a day at a line.
const (
	Seen        = "seen"
	NotSeen     = "not_seen"
	AirNotClear = "air_not_clear"
	NotTried    = "not_tried"
)

// Outcome is one row of a table of outcomes.
type Outcome struct {
	LineID  string // as LineID has it
	Date    string // 2006-01-02
	Outcome string
	// Line is that of the file, from 1.
	Line int
}

// ReadOutcomes reads a CSV of outcomes with a header: line_id, date, outcome (seen, not_seen, air_not_clear, not_tried; spaces or hyphens do
// as well), note. Other columns are passed over. Rows that say something else are rejected with a reason; a file without those columns is an
// error.
func ReadOutcomes(r io.Reader) ([]Outcome, []gazetteer.Rejected, error) {
	buffered := bufio.NewReader(r)
	if mark, err := buffered.Peek(3); err == nil && string(mark) == "\ufeff" {
		_, _ = buffered.Discard(3) // what was peeked at can be discarded
	}
	first, err := buffered.Peek(buffered.Size())
	if err != nil && err != io.EOF {
		return nil, nil, err
	}
	rows := csv.NewReader(buffered)
	rows.FieldsPerRecord = -1
	if header, _, _ := strings.Cut(string(first), "\n"); strings.Contains(header, ";") && !strings.Contains(header, ",") {
		rows.Comma = ';'
	}
	header, err := rows.Read()
	if err == io.EOF {
		return nil, nil, errors.New("the file is empty: its first row must be line_id,date,outcome,note")
	}
	if err != nil {
		return nil, nil, err
	}
	columns := map[string]int{}
	for i, name := range header {
		columns[strings.ToLower(strings.TrimSpace(name))] = i
	}
	for _, name := range []string{"line_id", "date", "outcome"} {
		if _, ok := columns[name]; !ok {
			return nil, nil, fmt.Errorf("no column %s: its first row must be line_id,date,outcome,note", name)
		}
	}
	var outcomes []Outcome
	var rejected []gazetteer.Rejected
	for {
		row, err := rows.Read()
		if err == io.EOF {
			return outcomes, rejected, nil
		}
		var wrong *csv.ParseError
		if errors.As(err, &wrong) {
			rejected = append(rejected, gazetteer.Rejected{Line: wrong.StartLine, Reason: wrong.Err.Error()})
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		line, _ := rows.FieldPos(0)
		o, err := newOutcome(row, columns)
		if err != nil {
			rejected = append(rejected, gazetteer.Rejected{Line: line, Reason: err.Error()})
			continue
		}
		o.Line = line
		outcomes = append(outcomes, o)
	}
}

func newOutcome(row []string, columns map[string]int) (Outcome, error) {
	field := func(name string) string {
		if i := columns[name]; i < len(row) {
			return strings.TrimSpace(row[i])
		}
		return ""
	}
	o := Outcome{LineID: field("line_id"), Date: field("date")}
	o.Outcome = strings.NewReplacer(" ", "_", "-", "_").Replace(strings.ToLower(field("outcome")))
	if o.LineID == "" {
		return o, errors.New("no line_id")
	}
	if _, err := time.Parse(time.DateOnly, o.Date); err != nil {
		return o, fmt.Errorf("date %q: want a day such as 2031-05-20", o.Date)
	}
	if !slices.Contains([]string{Seen, NotSeen, AirNotClear, NotTried}, o.Outcome) {
		return o, fmt.Errorf("outcome %q: want seen, not_seen, air_not_clear or not_tried", field("outcome"))
	}
	return o, nil
}

// OutcomeScore holds stated chances against outcomes. Only seen and not_seen count; scores are null where there is none.
type OutcomeScore struct {
	// Outcomes counts every outcome of a line of the run, Replaced the rows that a later one of the same line and day stands for.
	Outcomes map[string]int `json:"outcomes"`
	Replaced int            `json:"replaced"`
	// Counted is the number of outcomes that count, Lines that of the sightlines they are of, SeenCount how many were seen.
	Counted   int `json:"counted"`
	Lines     int `json:"lines"`
	SeenCount int `json:"seen"`
	// MeanChance is the mean stated chance; SeenLow and SeenHigh bound the share seen (Wilson, 95 %).
	MeanChance *float64     `json:"mean_stated_chance"`
	SeenLow    *float64     `json:"share_seen_low"`
	SeenHigh   *float64     `json:"share_seen_high"`
	Bins       []OutcomeBin `json:"bins"`
	// Brier is the mean of (chance − outcome)², 0 best (Brier 1950, Monthly Weather Review 78, 1; there twice that for two classes).
	// BrierAlways is what always stating the share seen would have got.
	Brier       *float64 `json:"brier"`
	BrierAlways *float64 `json:"brier_of_share_seen"`
	// LogScore is the mean of −ln of the chance stated of what happened, 0 best (Good 1952, J. R. Stat. Soc. B 14, 107). Chances are taken as
	// no surer than 0.001 and 0.999, or one surprise would be infinite.
	LogScore *float64 `json:"log_score"`
	// CalibrationError is the mean distance between stated chance and share seen over the bins, weighted by their counts.
	CalibrationError *float64             `json:"expected_calibration_error"`
	Conclusion       string               `json:"conclusion"`
	Rejected         []gazetteer.Rejected `json:"rejected"`
}

// OutcomeBin holds the outcomes of one range of stated chance, From included, To too for the last.
type OutcomeBin struct {
	From       float64  `json:"from"`
	To         float64  `json:"to"`
	Counted    int      `json:"counted"`
	SeenCount  int      `json:"seen"`
	MeanChance *float64 `json:"mean_stated_chance"`
	Share      *float64 `json:"share_seen"`
	Low        *float64 `json:"share_seen_low"`
	High       *float64 `json:"share_seen_high"`
}

const (
	outcomeBins = 10
	leastChance = 0.001
)

// ScoreOutcomes scores outcomes against the chance stated of each line. lines holds every line that the run has, nil where it states no chance.
// Of several rows of one line and day the last counts; days count each. rejected are the rows that were rejected before.
func ScoreOutcomes(outcomes []Outcome, rejected []gazetteer.Rejected, lines map[string]*float64) *OutcomeScore {
	s := &OutcomeScore{Outcomes: map[string]int{Seen: 0, NotSeen: 0, AirNotClear: 0, NotTried: 0}, Rejected: append([]gazetteer.Rejected{}, rejected...)}
	for i := range outcomeBins {
		s.Bins = append(s.Bins, OutcomeBin{From: float64(i) / outcomeBins, To: float64(i+1) / outcomeBins})
	}
	last := map[[2]string]int{}
	for i, o := range outcomes {
		if _, earlier := last[[2]string{o.LineID, o.Date}]; earlier {
			s.Replaced++
		}
		last[[2]string{o.LineID, o.Date}] = i
	}
	counted := map[string]bool{}
	var chances, brier, logs []float64
	sums := make([]float64, outcomeBins)
	for i, o := range outcomes {
		if last[[2]string{o.LineID, o.Date}] != i {
			continue
		}
		chance, known := lines[o.LineID]
		if !known {
			s.Rejected = append(s.Rejected, gazetteer.Rejected{Line: o.Line, Reason: fmt.Sprintf("the run has no sightline %s", o.LineID)})
			continue
		}
		judged := o.Outcome == Seen || o.Outcome == NotSeen
		if judged && chance == nil {
			s.Rejected = append(s.Rejected, gazetteer.Rejected{Line: o.Line, Reason: fmt.Sprintf("the run states no chance of sightline %s: it is undecided", o.LineID)})
			continue
		}
		s.Outcomes[o.Outcome]++
		if !judged {
			continue
		}
		counted[o.LineID] = true
		b := min(int(*chance*outcomeBins), outcomeBins-1)
		s.Bins[b].Counted++
		sums[b] += *chance
		happened, stated := 0.0, 1-*chance
		if o.Outcome == Seen {
			happened, stated = 1, *chance
			s.Bins[b].SeenCount++
			s.SeenCount++
		}
		chances = append(chances, *chance)
		brier = append(brier, square(*chance-happened))
		logs = append(logs, -math.Log(math.Min(math.Max(stated, leastChance), 1-leastChance)))
	}
	slices.SortStableFunc(s.Rejected, func(a, b gazetteer.Rejected) int { return a.Line - b.Line })
	s.Counted, s.Lines = len(chances), len(counted)
	s.Conclusion = conclusion(s.Counted, s.Lines)
	if s.Counted == 0 {
		return s
	}
	calibration := 0.0
	for i := range s.Bins {
		b := &s.Bins[i]
		if b.Counted == 0 {
			continue
		}
		b.MeanChance, b.Share = pointer(sums[i]/float64(b.Counted)), pointer(float64(b.SeenCount)/float64(b.Counted))
		low, high := Wilson(b.SeenCount, b.Counted)
		b.Low, b.High = &low, &high
		calibration += float64(b.Counted) / float64(s.Counted) * math.Abs(*b.MeanChance-*b.Share)
	}
	low, high := Wilson(s.SeenCount, s.Counted)
	share := float64(s.SeenCount) / float64(s.Counted)
	s.MeanChance, s.SeenLow, s.SeenHigh = pointer(mean(chances)), &low, &high
	s.Brier, s.BrierAlways = pointer(mean(brier)), pointer(share*(1-share))
	s.LogScore, s.CalibrationError = pointer(mean(logs)), &calibration
	return s
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// conclusion says how far a number of outcomes reaches. The limits are our judgement, no source: at 10 the interval of a share is about ±0.3
// wide, at 100 ±0.1.
func conclusion(counted, lines int) string {
	words := fmt.Sprintf("%d outcomes", counted)
	if counted == 1 {
		words = "1 outcome"
	}
	if lines < counted {
		words += fmt.Sprintf(" of %d sightlines, whose days share heights and terrain and so tell less than as many lines", lines)
	}
	switch {
	case counted == 0:
		return "No outcome counts: nothing can be concluded."
	case counted < 10:
		return words + ": nothing can be concluded."
	case counted < 100:
		return words + ": only a gross error of the stated chances would show; look at the intervals, not at the scores."
	}
	return words + ": the intervals say how well each range of chance is known."
}

// Wilson returns the 95 % score interval of a share of n trials without correction for continuity (Wilson 1927, J. Am. Stat. Assoc. 22,
// 209; method 3 of Newcombe 1998, Stat. Med. 17, 857). n must be above 0.
func Wilson(successes, n int) (low, high float64) {
	const z = 1.959963984540054 // of the normal distribution, 97.5 %
	x, m := float64(successes), float64(n)
	p := x / m
	middle := 2*m*p + z*z
	half := z * math.Sqrt(z*z+4*m*p*(1-p))
	return math.Max(0, (middle-half)/(2*(m+z*z))), math.Min(1, (middle+half)/(2*(m+z*z)))
}
