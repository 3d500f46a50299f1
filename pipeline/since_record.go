package pipeline

import (
	"cmp"
	"reflect"
	"slices"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy/terrain"
)

// observerRecord is all that the tracing of one observer gave, before alignments and scores: what another run may take over. Lists are
// sorted by the target's id.
type observerRecord struct {
	// Lines are kept, Missing those that TraceMissing found.
	Lines, Missing []traceRecord
	// Others are the candidates that are neither kept nor simply blocked.
	Others []otherPair
	// Tried are the targets of all lines that TraceMissing looked at.
	Tried []triedTop
	// Blocked and NearBlocked count the candidates that are in none of the lists, listed and nearer ones: blocked, all terrain known.
	Blocked, NearBlocked int
	// Met is the missing terrain that these lines met.
	Met terrain.Met
}

// traceRecord is a Trace with those fields of its row that are not exported.
type traceRecord struct {
	Trace
	AngleCurvedRad, AnglePlaneRad, BackdropM float64
	// MetGaps tells whether the line met missing terrain.
	MetGaps bool
}

func newTraceRecord(t Trace, metGaps bool) traceRecord {
	return traceRecord{Trace: t, AngleCurvedRad: t.Row.angleCurvedRad, AnglePlaneRad: t.Row.anglePlaneRad, BackdropM: t.Row.backdropM, MetGaps: metGaps}
}

func (t *traceRecord) restore() {
	t.Row.angleCurvedRad, t.Row.anglePlaneRad, t.Row.backdropM = t.AngleCurvedRad, t.AnglePlaneRad, t.BackdropM
}

// otherPair is a candidate that was judged and not kept, or could not be judged (an empty verdict).
type otherPair struct {
	TargetID string
	Verdict  Verdict
	Listed   bool
	MetGaps  bool
}

type triedTop struct {
	TargetID string
	MetGaps  bool
}

func (t *traceRecord) id() string { return t.Row.TargetID }
func (o *otherPair) id() string   { return o.TargetID }
func (t *triedTop) id() string    { return t.TargetID }

// identified is an item of a record's lists.
type identified[T any] interface {
	*T
	id() string
}

func sortByID[T any, P identified[T]](list []T) {
	slices.SortFunc(list, func(a, b T) int { return cmp.Compare(P(&a).id(), P(&b).id()) })
}

// dropByID removes the items whose ids are in the set.
func dropByID[T any, P identified[T]](list []T, ids map[string]bool) []T {
	return slices.DeleteFunc(list, func(item T) bool { return ids[P(&item).id()] })
}

func (r *observerRecord) sort() {
	sortByID[traceRecord](r.Lines)
	sortByID[traceRecord](r.Missing)
	sortByID[otherPair](r.Others)
	sortByID[triedTop](r.Tried)
}

func (r *observerRecord) encode() []byte { return appendWire(nil, reflect.ValueOf(r).Elem()) }

func decodeObserver(b []byte) (*observerRecord, error) {
	r := &observerRecord{}
	if err := readWire(b, r); err != nil {
		return nil, err
	}
	for i := range r.Lines {
		r.Lines[i].restore()
	}
	for i := range r.Missing {
		r.Missing[i].restore()
	}
	return r, nil
}

// addCounts adds the observer's lines to counts.
func (r *observerRecord) addCounts(opts *Options, c *Counts) {
	add := func(verdict Verdict, listed bool, n int) {
		c.Traced += n
		switch {
		case verdict == "":
			c.TooClose += n
		case listed:
			c.Candidates += n
			c.Verdicts[verdict] += n
		default:
			c.NearCandidates += n
		}
	}
	for i := range r.Lines {
		row := &r.Lines[i].Row
		add(row.Verdict, opts.listed(row.DistanceM), 1)
	}
	for _, o := range r.Others {
		add(o.Verdict, o.Listed, 1)
	}
	if r.Blocked > 0 { // a verdict that no line has is not counted as 0
		add(Blocked, true, r.Blocked)
	}
	add(Blocked, false, r.NearBlocked)
	c.Traced += len(r.Tried)
}

// seen returns kept or missing lines with the features at their far ends.
func (w *World) seen(lines []traceRecord) []seen {
	out := make([]seen, len(lines))
	for i := range lines {
		out[i] = seen{trace: &lines[i].Trace, target: &w.Features[w.find(lines[i].Row.TargetID)]}
	}
	return out
}

// find returns the index of the feature with an id, −1 where there is none.
func (w *World) find(id string) int {
	at, found := slices.BinarySearchFunc(w.Features, id, func(f gazetteer.Feature, id string) int { return strings.Compare(f.ID, id) })
	if !found {
		return -1
	}
	return at
}
