package terrain

import (
	"cmp"
	"slices"
)

// BackdropReachM is the farthest from an observer that Backdrop looks at ground, in metres.
const BackdropReachM = backdropFarM + backdropStepM

// Met is the missing terrain that walks had to fill high: void posts, and cells of land without a tile by their south-west corners; each
// once, sorted.
type Met struct {
	Voids []VoidPost
	Gaps  [][2]int
}

// VoidPost is a post without a height: its tile by the south-west corner, and its index there.
type VoidPost struct{ LatDeg, LonDeg, Index int }

// MetSet gathers missing terrain that was met. The zero value is ready.
type MetSet struct {
	voids map[VoidPost]bool
	gaps  map[[2]int]bool
}

// Add adds what a Met holds.
func (s *MetSet) Add(m Met) {
	for _, post := range m.Voids {
		s.addVoid(post)
	}
	for _, at := range m.Gaps {
		s.addGap(at)
	}
}

func (s *MetSet) addVoid(post VoidPost) {
	if s.voids == nil {
		s.voids = map[VoidPost]bool{}
	}
	s.voids[post] = true
}

func (s *MetSet) addGap(at [2]int) {
	if s.gaps == nil {
		s.gaps = map[[2]int]bool{}
	}
	s.gaps[at] = true
}

// Met returns what the set holds.
func (s *MetSet) Met() Met {
	var m Met
	for post := range s.voids {
		m.Voids = append(m.Voids, post)
	}
	for at := range s.gaps {
		m.Gaps = append(m.Gaps, at)
	}
	slices.SortFunc(m.Voids, func(a, b VoidPost) int {
		return cmp.Or(cmp.Compare(a.LatDeg, b.LatDeg), cmp.Compare(a.LonDeg, b.LonDeg), cmp.Compare(a.Index, b.Index))
	})
	slices.SortFunc(m.Gaps, func(a, b [2]int) int { return slices.Compare(a[:], b[:]) })
	return m
}

// Met tells what the walks over a store have had to fill so far.
func (s *Store) Met() Met {
	f := s.fills
	f.mu.Lock()
	defer f.mu.Unlock()
	var set MetSet
	for at, v := range f.voids {
		v.mu.Lock()
		for index := range v.heights {
			set.addVoid(VoidPost{at[0], at[1], index})
		}
		v.mu.Unlock()
	}
	for at := range f.gaps {
		set.addGap(at)
	}
	return set.Met()
}

// notes are what a walker that takes note has had to fill.
type notes struct {
	MetSet
	any bool // since MetAny was last called
}

// TakeNote makes the walker note from now on what it has to fill.
func (w *Walker) TakeNote() { w.notes = &notes{} }

// MetAny tells whether a walker that takes note has had to fill something since it was last asked.
func (w *Walker) MetAny() bool {
	met := w.notes.any
	w.notes.any = false
	return met
}

// TakeMet returns what a walker that takes note has had to fill since it was last called.
func (w *Walker) TakeMet() Met {
	met := w.notes.Met()
	w.TakeNote()
	return met
}

func (w *Walker) noteVoid(post VoidPost) {
	if w.notes != nil {
		w.notes.any = true
		w.notes.addVoid(post)
	}
}

func (w *Walker) noteGap(at [2]int) {
	if w.notes != nil {
		w.notes.any = true
		w.notes.addGap(at)
	}
}
