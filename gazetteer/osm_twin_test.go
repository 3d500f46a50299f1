package gazetteer

import (
	"math"
	"os"
	"testing"

	"github.com/paulmach/osm"
	"github.com/paulmach/osm/osmpbf"
)

// TestPBFAgainstPaulmach holds every node, way and relation that says what it is, with all its tags, and a node's place to a hundred-millionth of a
// degree, against those that github.com/paulmach/osm reads in the same file. That reader serves as a twin only: it ends the program on blocks that
// are damaged, and on nodes that are not dense.
func TestPBFAgainstPaulmach(t *testing.T) {
	file, err := os.Open(testdata("malta-latest.osm.pbf"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	type seen struct {
		tags     map[string]string
		lat, lon float64
	}
	want := map[osmType]map[int64]seen{osmNode: {}, osmWay: {}, osmRelation: {}}
	add := func(kind osmType, id int64, tags osm.Tags, lat, lon float64) {
		for _, tag := range tags {
			if osmSays(tag.Key) {
				want[kind][id] = seen{tags.Map(), lat, lon}
				return
			}
		}
	}
	scanner := osmpbf.New(t.Context(), file, 1)
	defer scanner.Close()
	for scanner.Scan() {
		switch o := scanner.Object().(type) {
		case *osm.Node:
			add(osmNode, int64(o.ID), o.Tags, o.Lat, o.Lon)
		case *osm.Way:
			add(osmWay, int64(o.ID), o.Tags, 0, 0)
		case *osm.Relation:
			add(osmRelation, int64(o.ID), o.Tags, 0, 0)
		}
	}
	if err := scanner.Err(); err != nil {
		t.Fatal(err)
	}
	if _, err := file.Seek(0, 0); err != nil {
		t.Fatal(err)
	}
	got := 0
	if err := scanOSMPBF(file, osmWanted{tagged: true}, func(o *osmObject) error {
		got++
		w, ok := want[o.kind][o.id]
		if !ok {
			t.Errorf("%s %d: read, but not by the twin", o.kind, o.id)
			return nil
		}
		for _, tag := range o.tags {
			if w.tags[tag.key] != tag.value {
				t.Errorf("%s %d: %s=%q, the twin has %q", o.kind, o.id, tag.key, tag.value, w.tags[tag.key])
			}
		}
		for key := range w.tags {
			if osmSays(key) && o.tag(key) == "" {
				t.Errorf("%s %d: %s is missing", o.kind, o.id, key)
			}
		}
		if o.kind != osmNode {
			return nil
		}
		lat, errLat := parseCoordinate(o.lat)
		lon, errLon := parseCoordinate(o.lon)
		if errLat != nil || errLon != nil || math.Abs(lat.deg-w.lat) > 1e-8 || math.Abs(lon.deg-w.lon) > 1e-8 {
			t.Errorf("node %d: %s, %s; the twin has %v, %v", o.id, o.lat, o.lon, w.lat, w.lon)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if total := len(want[osmNode]) + len(want[osmWay]) + len(want[osmRelation]); got != total || got < 1000 {
		t.Errorf("%d objects read, the twin has %d", got, total)
	}
}
