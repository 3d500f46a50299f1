package gazetteer

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// maxDisagreements is how many features are told whose records list different heights.
const maxDisagreements = 20

// result makes one feature of each group.
func (m *merger) result() ([]Feature, MergeReport) {
	out := make([]Feature, 0, len(m.records)-len(m.members))
	disagree := map[string]string{}
	for i := range m.records {
		if m.root[i] != int32(i) {
			continue
		}
		group := m.group(int32(i))
		records, words := make([]*Feature, len(group)), make([]string, len(group))
		for k, member := range group {
			records[k] = m.records[member]
		}
		f := combine(records)
		if len(records) > 1 && slices.Contains(f.Doubts, DoubtSourcesDisagree) {
			for k, r := range records {
				words[k] = heightWords(r)
			}
			disagree[f.ID] = f.Name + ": " + strings.Join(words, "; ")
		}
		out = append(out, f)
	}
	slices.SortStableFunc(out, func(a, b Feature) int { return strings.Compare(a.ID, b.ID) })
	report := MergeReport{Records: len(m.records), Features: len(out), MergedRecords: len(m.records) - len(out), Disagreeing: len(disagree)}
	for _, id := range slices.Sorted(maps.Keys(disagree)) {
		if len(report.Disagreements) == maxDisagreements {
			break
		}
		report.Disagreements = append(report.Disagreements, disagree[id])
	}
	return out, report
}

func heightWords(f *Feature) string {
	ground := "no ground height"
	if !math.IsNaN(f.ListedHeightM) {
		ground = fmt.Sprintf("ground %.1f m", f.ListedHeightM)
	}
	if f.StructureHeightM > 0 && !slices.Contains(f.Doubts, DoubtStructureHeightAssumed) {
		ground += fmt.Sprintf(", structure %.1f m", f.StructureHeightM)
	}
	return f.ID + " " + ground
}

// combine makes one feature of the records of one thing, the best record first.
func combine(records []*Feature) Feature {
	// Of what stands again, what stands no longer gives names and sources alone.
	standing := slices.DeleteFunc(slices.Clone(records), func(r *Feature) bool { return !r.Stands() })
	if n := len(standing); n > 0 && n < len(records) && !noLongerStands(records) {
		f := combine(standing)
		f.OtherNames, f.Sources = slices.Clone(f.OtherNames), nil
		f.combineNames(records)
		return f
	}
	f := *records[0]
	if len(records) == 1 {
		return f
	}
	f.OtherNames, f.Sources, f.Doubts = nil, nil, nil
	f.combineNames(records)
	f.combineGround(records)
	f.combineStructure(records)
	f.combineRest(records)
	f.combineDoubts(records)
	return f
}

func (f *Feature) combineNames(records []*Feature) {
	for _, r := range records {
		for _, name := range slices.Concat([]string{r.Name}, r.OtherNames) {
			if name != f.Name && !slices.Contains(f.OtherNames, name) {
				f.OtherNames = append(f.OtherNames, name)
			}
		}
		f.Sources = append(f.Sources, r.Sources...)
	}
	slices.Sort(f.Sources)
	f.Sources = slices.Compact(f.Sources)
}

// combineGround takes the listed height of the smallest spread.
func (f *Feature) combineGround(records []*Feature) {
	for _, r := range records {
		if !math.IsNaN(r.ListedHeightM) && (math.IsNaN(f.ListedHeightM) || r.GroundHeightSDM < f.GroundHeightSDM) {
			f.GroundHeightM, f.ListedHeightM, f.GroundHeightSDM = r.ListedHeightM, r.ListedHeightM, r.GroundHeightSDM
		}
		for _, other := range records {
			if !listedGroundsAgree(r, other) {
				f.doubt(DoubtSourcesDisagree)
			}
		}
	}
}

// combineStructure takes the listed structure height of the smallest spread, and an assumed one only where none is listed.
func (f *Feature) combineStructure(records []*Feature) {
	var best *Feature
	var listed []*Feature
	for _, r := range records {
		if r.StructureHeightM > 0 && !slices.Contains(r.Doubts, DoubtStructureHeightAssumed) {
			listed = append(listed, r)
			if best == nil || r.StructureHeightSDM < best.StructureHeightSDM {
				best = r
			}
		}
	}
	if best == nil {
		return // what the best record's kind makes usual
	}
	f.StructureHeightM, f.StructureHeightSDM = best.StructureHeightM, best.StructureHeightSDM
	for _, r := range listed {
		if math.Abs(r.StructureHeightM-best.StructureHeightM) > mergeHeightM+3*math.Hypot(r.StructureHeightSDM, best.StructureHeightSDM) {
			f.doubt(DoubtSourcesDisagree)
		}
	}
}

// combineRest fills what the best record does not say with what the next one does.
func (f *Feature) combineRest(records []*Feature) {
	for _, r := range records {
		f.StartDate, f.EndDate = cmp.Or(f.StartDate, r.StartDate), cmp.Or(f.EndDate, r.EndDate)
		f.WidthM, f.LightHeightM = cmp.Or(f.WidthM, r.WidthM), cmp.Or(f.LightHeightM, r.LightHeightM)
	}
}

// combineDoubts keeps the doubts that still hold: those of the place are the best record's, those of a missing height hold while it is
// missing, a record that is not verified is confirmed by one that is, and others hold for all.
func (f *Feature) combineDoubts(records []*Feature) {
	gone := noLongerStands(records)
	for k, r := range records {
		for _, code := range r.Doubts {
			holds := true
			switch code {
			case DoubtPlaceToTheMinute, DoubtPlaceRough:
				holds = k == 0
			case DoubtHeightUnreadable, DoubtHeightZero:
				holds = math.IsNaN(f.ListedHeightM)
			case DoubtStructureHeightAssumed, DoubtStructureHeightUnreadable:
				holds = !slices.ContainsFunc(records, func(r *Feature) bool {
					return r.StructureHeightM > 0 && !slices.Contains(r.Doubts, DoubtStructureHeightAssumed)
				})
			case DoubtUnverified:
				holds = !slices.ContainsFunc(records, func(r *Feature) bool { return !slices.Contains(r.Doubts, DoubtUnverified) })
			case DoubtNotStanding:
				holds = gone
			}
			if holds {
				f.doubt(code)
			}
		}
	}
}

// noLongerStands tells whether a record says so of something that no other record of the same gazetteer has standing. A gazetteer that has
// not heard of a mast's end is no witness for it; one that lists both has seen it built again.
func noLongerStands(records []*Feature) bool {
	stands := map[string]bool{}
	for _, r := range records {
		source := sourceOf(r.ID)
		stands[source] = stands[source] || r.Stands()
	}
	return slices.ContainsFunc(records, func(r *Feature) bool { return !r.Stands() && !stands[sourceOf(r.ID)] })
}
