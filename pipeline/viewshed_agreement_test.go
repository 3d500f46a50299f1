package pipeline

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"farstation/gazetteer"
)

// agreement counts what we and an engine say of the lines of some observers.
type agreement struct {
	engine                             string
	cellM, observers, lines            int
	open, hidden, engineOnly, oursOnly int
	causes                             map[string]*parted
	// plain lines are those on which both must agree but for the engine's own approximation: far from a graze, whatever the own ground
	// of the ends, and with the same heights of both ends.
	plain, plainApart int
	// sampledApart are the lines on which samples of the engine's own raster differ from the engine, walkedApart those on which they
	// differ from our walk.
	sampledApart, walkedApart int
}

// parted counts the lines of one cause, and what is remarkable of them.
type parted struct{ lines, engineOnly, grazes, ownGround int }

func newAgreement(engine string, cellM int) *agreement {
	return &agreement{engine: engine, cellM: cellM, causes: map[string]*parted{}}
}

// sameSummitM is how far a listed height and the raster's may differ for the two to count as the same; plainK is how far from a graze a line
// must be to be plain.
const (
	sameSummitM = 5
	plainK      = 0.1
)

// plainLine tells whether a line is one on which both must agree.
func (o *outlook) plainLine(t testing.TB, target *gazetteer.Feature, ours sight) bool {
	t.Helper()
	sameHeight := func(f *gazetteer.Feature) bool {
		return o.raised || math.Abs(f.GroundHeightM-o.ground.at(o.places[f.ID])) <= sameSummitM
	}
	unguarded := o.ours(t, target, o.ground.size)
	far := func(s sight) bool { return math.Abs(s.k-engineK) > plainK }
	return sameHeight(o.observer) && sameHeight(target) && far(ours) && far(unguarded) && ours.open() == unguarded.open()
}

// add holds one line against the engine's answer.
func (a *agreement) add(t testing.TB, o *outlook, target *gazetteer.Feature, engineOpen bool) {
	t.Helper()
	ours := o.ours(t, target, DefaultOptions().GuardM)
	steps := o.towards(t, target)
	walked, resampled, sampled := steps[len(steps)-3], steps[len(steps)-2], steps[len(steps)-1]
	plain := o.plainLine(t, target, ours)
	apart := ours.open() != engineOpen
	a.lines++
	count(&a.open, ours.open() && engineOpen)
	count(&a.hidden, !ours.open() && !engineOpen)
	count(&a.engineOnly, apart && engineOpen)
	count(&a.oursOnly, apart && !engineOpen)
	count(&a.plain, plain)
	count(&a.plainApart, plain && apart)
	count(&a.sampledApart, sampled.open() != engineOpen)
	count(&a.walkedApart, walked.open() != resampled.open())
	if !apart {
		return
	}
	name, blocks := cause(ours, steps, engineOpen)
	c := a.causes[name]
	if c == nil {
		c = &parted{}
		a.causes[name] = c
	}
	c.lines++
	count(&c.engineOnly, engineOpen)
	count(&c.grazes, math.Abs(ours.k-engineK) < grazeK)
	count(&c.ownGround, blocks.nearEnd())
}

func count(n *int, yes bool) {
	if yes {
		*n++
	}
}

func (a *agreement) apart() int { return a.engineOnly + a.oursOnly }

func (a *agreement) of(n int) float64 { return 100 * float64(n) / float64(a.lines) }

func (a *agreement) String() string {
	var out strings.Builder
	fmt.Fprintf(&out, "%s, %d m, observers %d, lines %d: both open %d, both hidden %d, engine only %d, ours only %d; alike %.2f %%, of our open tops the engine misses %.1f %%\n",
		a.engine, a.cellM, a.observers, a.lines, a.open, a.hidden, a.engineOnly, a.oursOnly, 100-a.of(a.apart()), 100*float64(a.oursOnly)/float64(a.open+a.oursOnly))
	fmt.Fprintf(&out, "plain lines %d, apart %d; samples of the raster differ from the engine on %.2f %% of lines, from our walk on %.2f %%\n",
		a.plain, a.plainApart, a.of(a.sampledApart), a.of(a.walkedApart))
	for _, name := range viewshedCauses {
		if c := a.causes[name]; c != nil {
			fmt.Fprintf(&out, "    %-40s %5d, engine only %4d, within 0.02 of 1/7 %3d, grazing within 1 km of an end %4d\n", name, c.lines, c.engineOnly, c.grazes, c.ownGround)
		}
	}
	return out.String()
}

// bounds are the percentages that an agreement may not pass. Beside them stand those measured with GDAL 3.6.2 and GRASS 8.2.1 for Broad Law alone
// and for 20 observers.
type bounds struct {
	apart      float64 // answers that differ, of all lines
	plainApart float64 // of plain lines
	sampled    float64 // samples of the engine's own raster against the engine
	walked     float64 // and against our walk, from the same heights of both ends
	unlike     float64 // differences that come from resampled ground or the map, of all lines
}

var viewshedBounds = map[string]bounds{
	// apart, plain, sampled, walked, unlike: 13.7, 7.3; 11.2, 4.8; 8.6, 3.4; 4.4, 3.7; 0.07, 0.03
	"gdal_viewshed 90": {apart: 15, plainApart: 13, sampled: 10, walked: 5, unlike: 0.2},
	// 6.3, 4.0; 4.2, 2.7; 1.4, 0.9; 3.2, 1.7; 0.13, 0.07
	"gdal_viewshed 30": {apart: 7.5, plainApart: 5.5, sampled: 2, walked: 4, unlike: 0.3},
	// 4.0, 2.4; 2.9, 1.8; 3.2, 1.8; 1.2, 0.8; 0.47, 0.29
	"gdal_viewshed, listed heights 90": {apart: 5, plainApart: 4, sampled: 4, walked: 1.8, unlike: 0.8},
	// 2.9, 2.1; 0.6, 0.7; 1.0, 0.9; 0.4, 0.3; 0, 0.08
	"gdal_viewshed, listed heights 30": {apart: 3.5, plainApart: 1.2, sampled: 1.5, walked: 0.7, unlike: 0.3},
	// 5.4, 4.5; 1.3, 1.4; 0.6, 0.5; 4.4, 3.7; 0.07, 0.05
	"r.viewshed 90": {apart: 6.5, plainApart: 2, sampled: 1, walked: 5, unlike: 0.2},
	// for 20 observers: 3.7; 2.4; 0.15; 1.7; 0.08
	"r.viewshed 30": {apart: 6.5, plainApart: 4, sampled: 0.5, walked: 4, unlike: 0.3},
}

// check holds the shares against their bounds.
func (a *agreement) check(t *testing.T) {
	t.Helper()
	name := fmt.Sprintf("%s %d", a.engine, a.cellM)
	most, known := viewshedBounds[name]
	if !known {
		t.Fatalf("no bounds for %s", name)
	}
	unlike := 0
	for _, cause := range []string{causeRaster, causeMap} {
		if c := a.causes[cause]; c != nil {
			unlike += c.lines
		}
	}
	for _, share := range []struct {
		what        string
		n, of       int
		mostPercent float64
	}{
		{"lines on which the answers differ", a.apart(), a.lines, most.apart},
		{"plain lines on which the answers differ", a.plainApart, a.plain, most.plainApart},
		{"lines on which samples of the raster differ from the engine", a.sampledApart, a.lines, most.sampled},
		{"lines on which our walk differs from samples of the raster", a.walkedApart, a.lines, most.walked},
		{"differences from resampled ground or the map", unlike, a.lines, most.unlike},
	} {
		if share.of < 400 {
			t.Errorf("%s: %s: only %d lines to judge by", name, share.what, share.of)
		}
		if percent := 100 * float64(share.n) / float64(share.of); percent > share.mostPercent {
			t.Errorf("%s: %s: %d of %d, %.2f %%, want at most %v %%", name, share.what, share.n, share.of, percent, share.mostPercent)
		}
	}
}
