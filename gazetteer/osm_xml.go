package gazetteer

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
)

// fitsOSMXML tells OpenStreetMap's XML by its first element.
func fitsOSMXML(head []byte, _ bool) (bool, string) {
	start := bytes.TrimLeft(bytes.TrimPrefix(head, []byte(byteOrderMark)), " \t\r\n")
	if len(start) < 2 || start[0] != '<' || start[1] != '?' && start[1] != '!' && !isXMLName(start[1]) {
		return false, ""
	}
	root, err := newXMLScanner(bytes.NewReader(head), len(head)).next()
	switch {
	case err == io.EOF || err == io.ErrUnexpectedEOF:
		return false, ""
	case err != nil:
		return false, err.Error()
	case string(root.name) == "osm" && !root.closing:
		return true, ""
	}
	return false, fmt.Sprintf("XML of <%s>, where only OpenStreetMap's <osm> is read", shorten(string(root.name)))
}

// osmElements reads the elements of OpenStreetMap's XML.
type osmElements struct {
	xml  *xmlScanner
	want osmWanted
	each func(*osmObject) error
	// open is the object whose elements are being read; nil outside of objects.
	open *osmObject
	// says tells that the object has a tag that says what it is; bytes is how long its texts are.
	says, deleted bool
	bytes         int
	// last names the version of the object before.
	last struct {
		kind        osmType
		id, version string
	}
}

// scanOSMXML reads the elements of a document, line by line in no more memory than one of them takes.
func scanOSMXML(text io.Reader, want osmWanted, each func(*osmObject) error) error {
	e := &osmElements{xml: newXMLScanner(text, want.maxBytes), want: want, each: each}
	const root = "osm"
	inside := false
	for {
		tag, err := e.xml.next()
		switch {
		case err == io.EOF:
			return nil
		case err != nil:
			return err
		case !inside:
			if string(tag.name) != root || tag.closing {
				return e.xml.wrong("<%s> outside of <osm>", shorten(string(tag.name)))
			}
			inside = !tag.empty
		case e.open == nil && tag.closing && string(tag.name) == root:
			inside = false
		default:
			err = e.element(tag)
		}
		if err != nil {
			return err
		}
		e.xml.unfinished = inside
	}
}

func (e *osmElements) element(tag xmlTag) error {
	kind := osmType(tag.name)
	isObject := kind == osmNode || kind == osmWay || kind == osmRelation
	switch {
	case e.open == nil && (!isObject || tag.closing):
		return nil // bounds, notes, changesets
	case e.open == nil:
		if err := e.begin(kind, tag); err != nil || !tag.empty {
			return err
		}
		return e.finish()
	case isObject && tag.closing && kind == e.open.kind:
		return e.finish()
	case isObject:
		return e.xml.wrong("<%s> inside a %s", kind, e.open.kind)
	case tag.closing:
		return nil
	case tag.tooLong:
		e.tooLong()
		return nil
	}
	switch string(tag.name) {
	case "tag":
		return e.tag(tag)
	case "nd", "member", "center", "bounds":
		return e.part(tag)
	}
	return nil
}

// begin reads an object's own attributes: its id and place. Versions of one object stand one behind the other where a file has several.
func (e *osmElements) begin(kind osmType, tag xmlTag) error {
	o := &osmObject{kind: kind, number: e.xml.line}
	e.open, e.says, e.deleted, e.bytes = o, false, false, 0
	if tag.tooLong {
		e.tooLong()
		return nil
	}
	id, version := "", ""
	bare := tag.empty && e.want.tagged // has no tags: only its id counts, lest it be the end of the one before
	err := e.xml.attributes(tag, func(name, value string) bool {
		switch name {
		case "id":
			id = value
			return !bare || kind == e.last.kind && id == e.last.id
		case "version":
			version = value
		case "lat":
			o.lat = value
		case "lon":
			o.lon = value
		case "visible":
			e.deleted = e.deleted || value == "false"
		case "action": // of an editor's file that is not uploaded
			e.deleted = e.deleted || value == "delete"
		}
		return true
	})
	if err != nil {
		return err
	}
	if kind == e.last.kind && id == e.last.id && version != e.last.version {
		return fmt.Errorf("line %d: a second version of %s %s: the file %w", e.xml.line, kind, shorten(id), errOSMHistory)
	}
	e.last.kind, e.last.id, e.last.version = kind, id, version
	if o.id, err = strconv.ParseInt(id, 10, 64); err != nil {
		o.problem = fmt.Sprintf("id %q is not an integer", shorten(id))
	}
	return nil
}

func (e *osmElements) tooLong() {
	e.open.problem = fmt.Sprintf("is longer than %d bytes", e.xml.max)
}

// finish hands on the object that ends here, if the pass wants it.
func (e *osmElements) finish() error {
	o := e.open
	e.open = nil
	wanted := e.want.tagged && e.says
	switch o.kind {
	case osmNode:
		_, is := e.want.nodes[o.id]
		wanted = wanted || is
	case osmWay:
		_, is := e.want.ways[o.id]
		wanted = wanted || is
	}
	if !wanted || e.deleted {
		return nil
	}
	return e.each(o)
}

func (e *osmElements) tag(tag xmlTag) error {
	if !e.want.tagged {
		return nil
	}
	var key, value string
	err := e.xml.attributes(tag, func(name, text string) bool {
		switch name {
		case "k":
			key = text
		case "v":
			value = text
		}
		return true
	})
	var unknown unknownEntity
	if errors.As(err, &unknown) {
		e.open.problem = err.Error()
		return nil
	}
	if err != nil || !osmUses(key) {
		return err
	}
	e.says = e.says || osmSays(key)
	if e.bytes += len(key) + len(value); e.bytes > e.xml.max {
		e.tooLong()
		return nil
	}
	e.open.tags = append(e.open.tags, osmTag{key, value})
	return nil
}

// part reads what tells the place of a way or relation: nodes (with their places, if the file has them), member ways, a centre, a box.
func (e *osmElements) part(tag xmlTag) error {
	var kind, ref, lat, lon, south, west, north, east string
	into := map[string]*string{"type": &kind, "ref": &ref, "lat": &lat, "lon": &lon, "minlat": &south, "minlon": &west, "maxlat": &north, "maxlon": &east}
	err := e.xml.attributes(tag, func(name, value string) bool {
		if p := into[name]; p != nil {
			*p = value
		}
		return true
	})
	if err != nil {
		return err
	}
	corner := func(lat, lon string) {
		latitude, latErr := parseCoordinate(lat)
		longitude, lonErr := parseCoordinate(lon)
		if latErr == nil && lonErr == nil && len(e.open.corners.latsDeg) < maxOSMRefs {
			e.open.corners.add(latitude.deg, longitude.deg)
		}
	}
	name := string(tag.name)
	if name == "bounds" {
		corner(south, west)
		corner(north, east)
		return nil
	}
	corner(lat, lon)
	if name == "nd" || name == "member" && kind == "way" {
		id, err := strconv.ParseInt(ref, 10, 64)
		if err != nil {
			e.open.problem = fmt.Sprintf("ref %q is not an integer", shorten(ref))
			return nil
		}
		e.open.addRef(id)
	}
	return nil
}
