package gazetteer

import (
	"fmt"
	"strconv"
	"strings"
)

// maxBlockStrings bounds the strings of one block and the tags that are kept of it. Blocks hold 8,000 objects by custom.
const maxBlockStrings = 1 << 20

// osmDecoder decodes blobs of data, one after the other. What it returns holds no part of the blob.
type osmDecoder struct {
	blobUnpacker
	want osmWanted

	// The block's strings: as they lie in it, as text once they are needed, and which are keys that say what an object is or are used.
	table      [][]byte
	texts      []string
	says, uses []bool

	granularity, latOffset, lonOffset int64
	objects                           []osmObject
	count, tagsKept                   int
	pairs                             []uint64 // keys and values of the node at hand
}

// decode returns the wanted objects of a blob, each with its number in it, and how many objects it holds in all.
func (d *osmDecoder) decode(blob []byte) ([]osmObject, int, error) {
	data, err := d.unpack(blob)
	if err != nil {
		return nil, 0, err
	}
	d.table, d.objects, d.count, d.tagsKept = d.table[:0], nil, 0, 0
	d.granularity, d.latOffset, d.lonOffset = 100, 0, 0
	var groups [][]byte
	w := wire{rest: data}
	for w.next() {
		switch w.field {
		case 1:
			table := wire{rest: w.bytes}
			for table.next() {
				if table.field == 1 && len(d.table) <= maxBlockStrings {
					d.table = append(d.table, table.bytes)
				}
			}
			w.bad = w.bad || table.bad || len(d.table) > maxBlockStrings
		case 2:
			groups = append(groups, w.bytes)
		case 17:
			d.granularity = int64(w.value)
		case 19:
			d.latOffset = int64(w.value)
		case 20:
			d.lonOffset = int64(w.value)
		}
	}
	if w.bad {
		return nil, 0, errPBFDamaged
	}
	d.sortStrings()
	for _, group := range groups {
		if err := d.group(group); err != nil {
			return nil, 0, err
		}
	}
	return d.objects, d.count, nil
}

func (d *osmDecoder) sortStrings() {
	d.texts = make([]string, len(d.table))
	d.says, d.uses = append(d.says[:0], make([]bool, len(d.table))...), append(d.uses[:0], make([]bool, len(d.table))...)
	if !d.want.tagged {
		return
	}
	const longestKey = 255 // of the database (wiki of OpenStreetMap, Tags)
	for i, text := range d.table {
		if len(text) <= longestKey {
			d.says[i], d.uses[i] = osmSays(string(text)), osmUses(string(text))
		}
	}
}

func (d *osmDecoder) group(group []byte) error {
	w := wire{rest: group}
	for w.next() {
		var err error
		switch w.field {
		case 1:
			err = d.object(osmNode, w.bytes)
		case 2:
			err = d.dense(w.bytes)
		case 3:
			err = d.object(osmWay, w.bytes)
		case 4:
			err = d.object(osmRelation, w.bytes)
		}
		if err != nil {
			return err
		}
	}
	if w.bad {
		return errPBFDamaged
	}
	return nil
}

// dense decodes nodes that are stored column by column.
func (d *osmDecoder) dense(message []byte) error {
	var ids, lats, lons, pairs wire
	w := wire{rest: message}
	for w.next() {
		switch w.field {
		case 1:
			ids.rest = w.bytes
		case 8:
			lats.rest = w.bytes
		case 9:
			lons.rest = w.bytes
		case 10:
			pairs.rest = w.bytes
		}
	}
	if w.bad {
		return errPBFDamaged
	}
	saying := false
	for _, says := range d.says {
		saying = saying || says
	}
	if d.want.ways != nil || d.want.tagged && (!saying || len(pairs.rest) == 0) {
		for _, b := range ids.rest { // the last byte of each number
			if b < 0x80 {
				d.count++
			}
		}
		return nil
	}
	var id, lat, lon int64
	tagged := len(pairs.rest) > 0
	d.pairs = d.pairs[:0]
	for len(ids.rest) > 0 {
		id, lat, lon = id+ids.signed(), lat+lats.signed(), lon+lons.signed()
		d.count++
		wanted := false
		if d.want.nodes != nil {
			_, wanted = d.want.nodes[id]
		} else if tagged {
			d.pairs = d.pairs[:0]
			for {
				key := pairs.varint()
				if key == 0 {
					break
				}
				d.pairs = append(d.pairs, key, pairs.varint())
				wanted = wanted || key < uint64(len(d.says)) && d.says[key]
			}
		}
		if ids.bad || lats.bad || lons.bad || pairs.bad {
			return errPBFDamaged
		}
		if !wanted {
			continue
		}
		node := osmObject{kind: osmNode, id: id, lat: d.degrees(d.latOffset, lat), lon: d.degrees(d.lonOffset, lon)}
		if err := d.keep(node, d.pairs); err != nil {
			return err
		}
	}
	return nil
}

// object decodes a node, way or relation that is stored by itself.
func (d *osmDecoder) object(kind osmType, message []byte) error {
	d.count++
	if d.want.nodes != nil && kind != osmNode || d.want.ways != nil && kind != osmWay {
		return nil
	}
	var fields [11][]byte
	var id, lat, lon uint64
	w := wire{rest: message}
	for w.next() {
		switch {
		case w.field == 1:
			id = w.value
		case kind == osmNode && w.field == 8:
			lat = w.value
		case kind == osmNode && w.field == 9:
			lon = w.value
		case w.field < uint64(len(fields)):
			fields[w.field] = w.bytes
		}
	}
	if w.bad {
		return errPBFDamaged
	}
	o := osmObject{kind: kind, id: int64(id)}
	wanted := false
	d.pairs = d.pairs[:0]
	switch {
	case kind == osmNode:
		o.id, o.lat, o.lon = zigzag(id), d.degrees(d.latOffset, zigzag(lat)), d.degrees(d.lonOffset, zigzag(lon))
		_, wanted = d.want.nodes[o.id]
	case kind == osmWay:
		_, wanted = d.want.ways[o.id]
	}
	if d.want.tagged {
		keys, values := wire{rest: fields[2]}, wire{rest: fields[3]}
		for len(keys.rest) > 0 {
			key := keys.varint()
			d.pairs = append(d.pairs, key, values.varint())
			wanted = wanted || key < uint64(len(d.says)) && d.says[key]
		}
		if keys.bad || values.bad {
			return errPBFDamaged
		}
	}
	if !wanted {
		return nil
	}
	var err error
	switch kind {
	case osmWay:
		err = d.way(&o, fields[8], fields[9], fields[10])
	case osmRelation:
		err = d.members(&o, fields[9], fields[10])
	}
	if err != nil {
		return err
	}
	return d.keep(o, d.pairs)
}

// way reads the nodes of a way, and their places where the file has them beside (the feature LocationsOnWays).
func (d *osmDecoder) way(o *osmObject, refs, lats, lons []byte) error {
	nodes, latitudes, longitudes := wire{rest: refs}, wire{rest: lats}, wire{rest: lons}
	var id, lat, lon int64
	for len(nodes.rest) > 0 {
		id += nodes.signed()
		o.addRef(id)
		if len(lats) > 0 && o.problem == "" {
			lat, lon = lat+latitudes.signed(), lon+longitudes.signed()
			o.corners.add(float64(d.latOffset+d.granularity*lat)/1e9, float64(d.lonOffset+d.granularity*lon)/1e9)
		}
	}
	if nodes.bad || latitudes.bad || longitudes.bad {
		return errPBFDamaged
	}
	return nil
}

// members reads the ways among the members of a relation.
func (d *osmDecoder) members(o *osmObject, refs, types []byte) error {
	const way = 1 // of the types of members
	members, kinds := wire{rest: refs}, wire{rest: types}
	var id int64
	for len(members.rest) > 0 {
		id += members.signed()
		if kinds.varint() == way {
			o.addRef(id)
		}
	}
	if members.bad || kinds.bad {
		return errPBFDamaged
	}
	return nil
}

// keep adds an object with those of its tags that are used.
func (d *osmDecoder) keep(o osmObject, pairs []uint64) error {
	o.number = d.count
	for i := 0; i < len(pairs); i += 2 {
		key, value := pairs[i], pairs[i+1]
		if key >= uint64(len(d.table)) || value >= uint64(len(d.table)) {
			return fmt.Errorf("a tag of %s %d is not in its table: it %w", o.kind, o.id, errPBFDamaged)
		}
		if d.uses[key] {
			if d.tagsKept++; d.tagsKept > maxBlockStrings {
				return fmt.Errorf("holds more than %d tags: it %w", maxBlockStrings, errPBFDamaged)
			}
			o.tags = append(o.tags, osmTag{d.text(key), d.text(value)})
		}
	}
	d.objects = append(d.objects, o)
	return nil
}

// text copies a string of the block, once for all that use it.
func (d *osmDecoder) text(i uint64) string {
	if d.texts[i] == "" {
		d.texts[i] = string(d.table[i])
	}
	return d.texts[i]
}

// degrees writes a place as decimal degrees, of which it holds nine decimals.
func (d *osmDecoder) degrees(offset, units int64) string {
	nano := offset + d.granularity*units
	sign := ""
	if nano < 0 {
		sign, nano = "-", -nano
	}
	whole, decimals := strconv.FormatInt(nano/1e9, 10), strconv.FormatInt(nano%1e9, 10)
	return sign + whole + "." + strings.Repeat("0", max(0, 9-len(decimals))) + decimals
}
