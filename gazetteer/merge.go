package gazetteer

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"farstation/geodesy"
)

// MergeReport says what Merge did.
type MergeReport struct {
	// Records went in, Features came out; MergedRecords is the difference.
	Records, Features, MergedRecords int
	// Disagreements tells both values of the first 20 features whose records list different heights, in the order of ids; Disagreeing
	// counts all of them.
	Disagreements []string
	Disagreeing   int
}

// Limits of merging. Our judgement, no source; all in metres.
const (
	// mergeSummitM and mergeOtherM are how far apart two records of one thing lie at most, whatever their spreads.
	mergeSummitM, mergeOtherM = 1000, 300
	// mergeNearM is what two gazetteers differ by in placing one summit, however many decimals they give: two 3″ posts.
	mergeNearM = 186
	// Two records of one gazetteer are meant to be two things, unless they lie on one spot.
	mergeSameSpotM = 30
	// Two names for one summit: this near, heights this much alike, and nothing else of that kind around.
	mergeTwoNamesM, mergeTwoNamesHeightM, mergeAloneM = 100, 10, 300
	// mergeHeightM is what listed heights may differ by besides three spreads.
	mergeHeightM = 5
	// A name that has more pairs within reach than this for each of its records is a word for a kind, not a name.
	mergePairsEach = 50
)

// Merge makes one feature of all records of the same summit, structure, viewpoint or place. The input is left as it is; features come out
// sorted by id, and the order of the input changes nothing. Names are compared folded, other names counted.
//
// Two records are the same thing if their kinds go together (peak, hill and volcano; tower with mast, chimney, lighthouse or building; else
// equal kinds), if they share a name, and if they lie as near as three times both spreads of place explain, 300 m at most. For summits of
// different gazetteers that is 1 km at most and 186 m at least, and summits whose listed heights differ by more than 5 m and three spreads
// may be 186 m apart at most. Two records of one gazetteer (the part of the id before the colon) lie within 30 m, summits with like
// heights 186 m, or are two things.
//
// Summits of different gazetteers that share no name are one only within 100 m, with listed heights within 10 m, and where no third summit
// lies within 300 m of either. Other kinds of different names are never merged.
//
// All records of a feature are held against each other, so chains do not walk: pairs join nearest first, and only if everything fits.
//
// The record of the smallest spread of place, then the first id, gives id, name, kind and place; the smallest spread of a listed height
// gives that height, the one of ground and of structure each for itself. Records without a height give none. A feature stands no longer if
// one record says so, unless another of the same gazetteer has it standing: a gazetteer that has not heard of it is no witness.
func Merge(features []Feature) ([]Feature, MergeReport) {
	m := newMerger(features)
	m.joinNamesakes(m.sharedNames())
	m.joinTwoNames()
	return m.result()
}

// merger joins records into groups. Records stand by precedence, so the first member of a group is its best.
type merger struct {
	records []*Feature
	at      []geodesy.Vector
	names   [][]string // folded
	sources []string
	// root leads to the first member of a record's group, whose members stand in members where there are more than one.
	root    []int32
	members map[int32][]int32
}

// recordPair is two records within reach, the smaller index first.
type recordPair struct {
	apartM float64
	i, j   int32
}

func newMerger(features []Feature) *merger {
	n := len(features)
	m := &merger{
		records: make([]*Feature, n), at: make([]geodesy.Vector, n), names: make([][]string, n), sources: make([]string, n), root: make([]int32, n),
		members: map[int32][]int32{},
	}
	for i := range features {
		m.records[i] = &features[i]
	}
	slices.SortStableFunc(m.records, func(a, b *Feature) int {
		return cmp.Or(cmp.Compare(a.PositionSDM, b.PositionSDM), strings.Compare(a.ID, b.ID))
	})
	folder := newFolder()
	for i, f := range m.records {
		m.at[i], m.names[i], m.sources[i], m.root[i] = geodesy.WGS84.ToCartesian(f.Listed, 0), folder.names(f), sourceOf(f.ID), int32(i)
	}
	return m
}

// sourceOf is the gazetteer of an id, as its reader names it: "geonames" of "geonames:123". Files of one format count as one gazetteer.
func sourceOf(id string) string {
	source, _, _ := strings.Cut(id, ":")
	return source
}

// chordM is the straight distance, which within 1 km is the geodesic's to a micrometre.
func (m *merger) chordM(i, j int32) float64 {
	a, b := m.at[i], m.at[j]
	return math.Sqrt((a.X-b.X)*(a.X-b.X) + (a.Y-b.Y)*(a.Y-b.Y) + (a.Z-b.Z)*(a.Z-b.Z))
}

func (m *merger) shareName(i, j int32) bool {
	return slices.ContainsFunc(m.names[i], func(name string) bool { return slices.Contains(m.names[j], name) })
}

// fits tells whether two records may be of one feature.
func (m *merger) fits(i, j int32) bool {
	a, b := m.records[i], m.records[j]
	if !kindsGoTogether(a.Kind, b.Kind) {
		return false
	}
	apartM, reachM := m.chordM(i, j), 3*math.Hypot(a.PositionSDM, b.PositionSDM)
	shared, sameSource, agree := m.shareName(i, j), m.sources[i] == m.sources[j], listedGroundsAgree(a, b)
	switch summit := a.Kind.isSummit(); {
	case !shared && (sameSource || !summit || !agree):
		return false
	case sameSource && summit:
		return agree && apartM <= min(reachM, mergeNearM)
	case sameSource:
		return apartM <= mergeSameSpotM
	case summit && !agree:
		return apartM <= mergeNearM
	case summit:
		return apartM <= min(max(reachM, mergeNearM), mergeSummitM)
	default:
		return apartM <= min(reachM, mergeOtherM)
	}
}

// kindsGoTogether tells whether gazetteers may call one thing by both kinds.
func kindsGoTogether(a, b Kind) bool {
	beside := func(k Kind) bool { return k == Mast || k == Chimney || k == Lighthouse || k == Building }
	return a == b || a.isSummit() && b.isSummit() || a == Tower && beside(b) || b == Tower && beside(a)
}

// listedGroundsAgree tells whether two listed ground heights may be of one place; one that is not known agrees with all.
func listedGroundsAgree(a, b *Feature) bool {
	return !(math.Abs(a.ListedHeightM-b.ListedHeightM) > mergeHeightM+3*math.Hypot(a.GroundHeightSDM, b.GroundHeightSDM))
}

// joinNamesakes joins pairs, nearest first.
func (m *merger) joinNamesakes(pairs []recordPair) {
	slices.SortFunc(pairs, comparePairs)
	for _, p := range pairs {
		m.join(p.i, p.j)
	}
}

func comparePairs(a, b recordPair) int {
	return cmp.Or(cmp.Compare(a.apartM, b.apartM), cmp.Compare(a.i, b.i), cmp.Compare(a.j, b.j))
}

// join makes one group of the groups of two records if every record of the one fits every record of the other.
func (m *merger) join(i, j int32) {
	a, b := m.root[i], m.root[j]
	if a == b {
		return
	}
	left, right := m.group(a), m.group(b)
	for _, l := range left {
		for _, r := range right {
			if !m.fits(l, r) {
				return
			}
		}
	}
	all := slices.Concat(left, right)
	slices.Sort(all)
	delete(m.members, a)
	delete(m.members, b)
	m.members[all[0]] = all
	for _, member := range all {
		m.root[member] = all[0]
	}
}

func (m *merger) group(root int32) []int32 {
	if all, many := m.members[root]; many {
		return all
	}
	return []int32{root}
}

// sharedNames returns the pairs of records that share a name and fit.
func (m *merger) sharedNames() []recordPair {
	namesakes := map[string][]int32{}
	for i, names := range m.names {
		for _, name := range names {
			namesakes[name] = append(namesakes[name], int32(i))
		}
	}
	var pairs []recordPair
	for _, alike := range namesakes {
		before, left := len(pairs), mergePairsEach*len(alike)
		m.sweep(alike, mergeSummitM, func(i, j int32, apartM float64) bool {
			if m.fits(i, j) {
				pairs = append(pairs, recordPair{apartM, i, j})
			}
			left--
			return left > 0
		})
		if left == 0 {
			pairs = pairs[:before]
		}
	}
	return pairs
}

// alongAxis sorts records along the Earth's axis, so that poles and date line are like any place.
func (m *merger) alongAxis(records []int32) {
	slices.SortFunc(records, func(i, j int32) int { return cmp.Or(cmp.Compare(m.at[i].Z, m.at[j].Z), cmp.Compare(i, j)) })
}

// sweep calls near for every pair of records within reachM until it returns false. It sorts the records.
func (m *merger) sweep(records []int32, reachM float64, near func(i, j int32, apartM float64) bool) {
	if len(records) < 2 {
		return
	}
	m.alongAxis(records)
	for first, i := range records {
		for _, j := range records[first+1:] {
			if m.at[j].Z-m.at[i].Z > reachM {
				break
			}
			if math.Abs(m.at[j].X-m.at[i].X) > reachM {
				continue
			}
			if apartM := m.chordM(i, j); apartM <= reachM && !near(min(i, j), max(i, j), apartM) {
				return
			}
		}
	}
}

// joinTwoNames joins groups of summits that share no name but the spot, the height, and no third one beside them.
func (m *merger) joinTwoNames() {
	var summits []int32
	for i := range m.records {
		if m.root[i] == int32(i) && m.records[i].Kind.isSummit() {
			summits = append(summits, int32(i))
		}
	}
	for _, p := range m.lonePairs(summits) {
		if p.apartM <= mergeTwoNamesM && math.Abs(m.records[p.i].ListedHeightM-m.records[p.j].ListedHeightM) <= mergeTwoNamesHeightM {
			m.join(p.i, p.j)
		}
	}
}

// lonePairs returns the pairs of summits within mergeAloneM that have no third one within that of either. It sorts the summits.
func (m *merger) lonePairs(summits []int32) []recordPair {
	m.alongAxis(summits)
	n := len(summits)
	around, other := make([]int8, n), make([]int, n) // how many are near, up to 2, and the last of them
	// free leads from a summit to itself or to the next with fewer than two around it, so that a crowd on one spot costs no quadratic time.
	free := make([]int, n+1)
	for k := range free {
		free[k] = k
	}
	nextFree := func(k int) int {
		for free[k] != k {
			free[k] = free[free[k]]
			k = free[k]
		}
		return k
	}
	meet := func(k, with int) {
		if around[k] == 2 {
			return
		}
		around[k]++
		other[k] = with
		if around[k] == 2 {
			free[k] = k + 1
		}
	}
	for first := range n {
		for k := first + 1; k < n; k++ {
			if around[first] == 2 {
				if k = nextFree(k); k == n {
					break
				}
			}
			if m.at[summits[k]].Z-m.at[summits[first]].Z > mergeAloneM {
				break
			}
			if m.chordM(summits[first], summits[k]) <= mergeAloneM {
				meet(first, k)
				meet(k, first)
			}
		}
	}
	var pairs []recordPair
	for k, with := range other {
		if around[k] == 1 && around[with] == 1 && k < with {
			i, j := summits[k], summits[with]
			pairs = append(pairs, recordPair{m.chordM(i, j), i, j})
		}
	}
	return pairs
}
