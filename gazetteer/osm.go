package gazetteer

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

const (
	osmLicence     = "ODbL 1.0"
	osmAttribution = "© OpenStreetMap contributors, ODbL 1.0"
	// osmListedSDM is the spread of an ele of OpenStreetMap, in metres. Our judgement, no source.
	osmListedSDM = 10
	// maxOSMRefs bounds the nodes of a way and the members of a relation that are kept; the database allows 2,000 and 32,000 (from
	// memory).
	maxOSMRefs = 1 << 17
)

// osmPBF and osmXML are extracts of OpenStreetMap. Nodes stand where they are; ways, and relations of type multipolygon or boundary, at the
// middle of the bounding box of their nodes, which takes further passes over the file. Memory holds only the ways and relations that are
// wanted and their nodes. Of an object that stands in the file twice the first counts and the second is a rejected row; files with the
// history of objects are refused.
func osmPBF() format {
	return format{name: "osm.pbf", licence: osmLicence, attribution: osmAttribution, fits: fitsOSMPBF, readAgain: osmReading(scanOSMPBF)}
}

func osmXML() format {
	return format{name: "osm", licence: osmLicence, attribution: osmAttribution, fits: fitsOSMXML, readAgain: osmReading(scanOSMXML)}
}

type osmType string

const (
	osmNode     osmType = "node"
	osmWay      osmType = "way"
	osmRelation osmType = "relation"
)

// osmObject is an object of a file, as far as a pass wants it.
type osmObject struct {
	kind osmType
	id   int64
	// number is the line where it begins, or in a PBF, which has no lines, its number among all objects, from 1.
	number int
	// lat and lon are a node's place in decimal degrees, as text.
	lat, lon string
	tags     []osmTag
	// refs are the nodes of a way or the member ways of a relation.
	refs []int64
	// corners are places on its outline that the file gives with a way or relation.
	corners osmPlaces
	// problem says why it cannot be used, if it cannot.
	problem string
}

type osmTag struct{ key, value string }

type osmPlaces struct{ latsDeg, lonsDeg []float64 }

func (p *osmPlaces) add(latDeg, lonDeg float64) {
	p.latsDeg, p.lonsDeg = append(p.latsDeg, latDeg), append(p.lonsDeg, lonDeg)
}

func (o *osmObject) tag(key string) string {
	for i := range o.tags {
		if o.tags[i].key == key {
			return strings.TrimSpace(o.tags[i].value)
		}
	}
	return ""
}

// addRef keeps a node or member, unless there are too many.
func (o *osmObject) addRef(id int64) {
	if len(o.refs) == maxOSMRefs {
		o.problem = fmt.Sprintf("more than %d nodes or members", maxOSMRefs)
		return
	}
	o.refs = append(o.refs, id)
}

// osmWanted is what a pass looks for: objects with a tag that says what they are, or the ways or nodes of these ids.
type osmWanted struct {
	tagged      bool
	ways, nodes osmIDs
	// maxBytes bounds one element of XML.
	maxBytes int
}

// osmIDs gives each id its place in a list.
type osmIDs map[int64]int32

func (ids osmIDs) add(more []int64) {
	for _, id := range more {
		if _, known := ids[id]; !known {
			ids[id] = int32(len(ids))
		}
	}
}

// osmScan reads a file once and hands every wanted object to each, in the order of the file.
type osmScan func(text io.Reader, want osmWanted, each func(*osmObject) error) error

// osmReader reads a file in passes.
type osmReader struct {
	scan osmScan
	open func() (io.ReadCloser, error)
	out  *sink
}

// osmArea is a way or relation that is wanted, until its place is known.
type osmArea struct {
	record  record
	refs    []int64
	isWay   bool
	corners osmPlaces
}

func osmReading(scan osmScan) func(func() (io.ReadCloser, error), *sink) error {
	return func(open func() (io.ReadCloser, error), out *sink) error {
		out.groundSDM, out.rejectByID = osmListedSDM, true
		return (&osmReader{scan, open, out}).read()
	}
}

var (
	// errEnough ends a pass that has found all that it looks for.
	errEnough = errors.New("enough")
	// errOSMHistory refuses files that hold objects as they were at several times.
	errOSMHistory = errors.New("holds the history of objects: make an extract of one moment of it (osmium time-filter)")
)

func (o *osmReader) pass(want osmWanted, each func(*osmObject) error) error {
	text, err := o.open()
	if err != nil {
		return err
	}
	want.maxBytes = o.out.options.MaxLineBytes
	err = o.scan(text, want, each)
	_ = text.Close() // only read from
	if errors.Is(err, errEnough) {
		return nil
	}
	return err
}

func (o *osmReader) read() error {
	var areas []*osmArea
	err := o.pass(osmWanted{tagged: true}, func(object *osmObject) error {
		area, err := o.object(object)
		if area != nil {
			areas = append(areas, area)
		}
		return err
	})
	if err != nil || len(areas) == 0 {
		return err
	}
	ways, err := o.memberWays(areas)
	if err != nil {
		return err
	}
	node, err := o.nodes(areas, ways)
	if err != nil {
		return err
	}
	for _, area := range areas {
		if err := o.place(area, ways, node); err != nil {
			return err
		}
	}
	return nil
}

// object counts an object that carries one of the keys, emits it if it is a node, and returns it if its place is to be found.
func (o *osmReader) object(object *osmObject) (*osmArea, error) {
	o.out.row()
	kind, word, gone, ok, _ := kindOfTags(object.tag)
	id := "osm:" + string(object.kind) + "/" + strconv.FormatInt(object.id, 10)
	names, textBytes := osmNames(object.tags), 0
	for _, tag := range object.tags {
		textBytes += len(tag.key) + len(tag.value)
	}
	switch relation := object.tag("type"); {
	case object.problem != "":
		o.out.reject(object.number, "%s: %s", id, object.problem)
		return nil, nil
	case textBytes > o.out.options.MaxLineBytes:
		o.out.reject(object.number, "%s is longer than %d bytes", id, o.out.options.MaxLineBytes)
		return nil, nil
	case !ok:
		o.out.passOver(word)
		return nil, nil
	case len(names) == 0:
		o.out.passOver("no name")
		return nil, nil
	case object.kind == osmRelation && relation != "multipolygon" && relation != "boundary":
		o.out.passOver("relation of type=" + relation)
		return nil, nil
	}
	r := newRecord(object.number, id, kind)
	r.name, r.otherNames = names[0], names[1:]
	r.lat, r.lon = withoutZeros(object.lat), withoutZeros(object.lon)
	if gone {
		r.doubts = append(r.doubts, DoubtNotStanding)
	}
	if err := osmHeights(&r, object.tag); err != nil {
		o.out.reject(object.number, "%s: %v", id, err)
		return nil, nil
	}
	if object.kind == osmNode {
		return nil, o.out.add(r)
	}
	return &osmArea{r, object.refs, object.kind == osmWay, object.corners}, nil
}

// memberWays finds the ways of all relations among areas.
func (o *osmReader) memberWays(areas []*osmArea) (map[int64]*osmObject, error) {
	wanted := osmIDs{}
	for _, area := range areas {
		if !area.isWay && len(area.corners.latsDeg) == 0 {
			wanted.add(area.refs)
		}
	}
	found := make(map[int64]*osmObject, len(wanted))
	if len(wanted) == 0 {
		return found, nil
	}
	err := o.pass(osmWanted{ways: wanted}, func(way *osmObject) error {
		if found[way.id] == nil {
			found[way.id] = way
		}
		if len(found) == len(wanted) {
			return errEnough
		}
		return nil
	})
	return found, err
}

// osmPlace is a node's place in degrees.
type osmPlace struct {
	latDeg, lonDeg float64
	known          bool
}

// nodes finds the places of all nodes of areas and of their ways.
func (o *osmReader) nodes(areas []*osmArea, ways map[int64]*osmObject) (func(id int64) osmPlace, error) {
	wanted := osmIDs{}
	for _, area := range areas {
		if area.isWay && len(area.corners.latsDeg) == 0 {
			wanted.add(area.refs)
		}
	}
	for _, way := range ways {
		if len(way.corners.latsDeg) == 0 {
			wanted.add(way.refs)
		}
	}
	places, left := make([]osmPlace, len(wanted)), len(wanted)
	at := func(id int64) osmPlace {
		if i, ok := wanted[id]; ok {
			return places[i]
		}
		return osmPlace{}
	}
	if left == 0 {
		return at, nil
	}
	err := o.pass(osmWanted{nodes: wanted}, func(node *osmObject) error {
		lat, latErr := parseCoordinate(node.lat)
		lon, lonErr := parseCoordinate(node.lon)
		place := &places[wanted[node.id]]
		if latErr != nil || lonErr != nil || place.known {
			return nil // one without a place counts as missing
		}
		*place = osmPlace{lat.deg, lon.deg, true}
		if left--; left == 0 {
			return errEnough
		}
		return nil
	})
	return at, err
}

// place puts an area at the middle of its nodes and emits it. Part of an outline would put it elsewhere, so all of it is wanted.
func (o *osmReader) place(area *osmArea, ways map[int64]*osmObject, node func(id int64) osmPlace) error {
	corners, missing := area.corners, 0
	fill := func(refs []int64) {
		for _, id := range refs {
			if at := node(id); at.known {
				corners.add(at.latDeg, at.lonDeg)
			} else {
				missing++
			}
		}
	}
	switch {
	case len(corners.latsDeg) > 0:
	case area.isWay:
		fill(area.refs)
	default:
		for _, id := range area.refs {
			switch way := ways[id]; {
			case way == nil || way.problem != "":
				missing++
			case len(way.corners.latsDeg) > 0:
				corners.latsDeg = append(corners.latsDeg, way.corners.latsDeg...)
				corners.lonsDeg = append(corners.lonsDeg, way.corners.lonsDeg...)
			default:
				fill(way.refs)
			}
		}
	}
	r := area.record
	switch {
	case missing > 0:
		o.out.reject(r.line, "%s: %d of its nodes or ways are not in the file: take an extract with whole ways", r.id, missing)
		return nil
	case len(corners.latsDeg) == 0:
		o.out.reject(r.line, "%s has no nodes", r.id)
		return nil
	case slices.ContainsFunc(corners.latsDeg, func(deg float64) bool { return !(math.Abs(deg) <= 90) }) ||
		slices.ContainsFunc(corners.lonsDeg, func(deg float64) bool { return !(math.Abs(deg) <= 180) }):
		o.out.reject(r.line, "%s: a node of it lies outside -90…90 or -180…180", r.id)
		return nil
	}
	latDeg, lonDeg, halfM := boxMiddle(corners.latsDeg, corners.lonsDeg)
	r.lat, r.lon = strconv.FormatFloat(latDeg, 'f', 7, 64), strconv.FormatFloat(lonDeg, 'f', 7, 64)
	r.placeSDM = boxSpreadM(halfM)
	return o.out.add(r)
}
