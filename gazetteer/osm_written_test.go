package gazetteer

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// xmlEscaper writes a text as the value of an attribute. It leaves bytes that are not UTF-8, as careless writers do.
var xmlEscaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;", "\n", "&#10;")

// osmText writes rows as nodes, one a line.
func osmText(rows []sampleRow) string { return osmTextWith("")(rows) }

// osmTextWith writes nodes with more elements in each and around it.
func osmTextWith(more string) func(rows []sampleRow) string {
	return func(rows []sampleRow) string {
		var text strings.Builder
		text.WriteString("<?xml version='1.0' encoding='UTF-8'?>\n<osm version=\"0.6\" generator=\"test\">\n" + more)
		for _, r := range rows {
			fmt.Fprintf(&text, `<node id="%d" lat="%s" lon="%s" version="1" visible="true">`, r.number, xmlEscaper.Replace(r.latDeg), xmlEscaper.Replace(r.lonDeg))
			text.WriteString(osmTags(osmTagsOf(r)...) + more + "</node>\n")
		}
		text.WriteString("</osm>\n")
		return text.String()
	}
}

// osmTagsOf gives the tags of a row, each "key=value".
func osmTagsOf(r sampleRow) []string {
	kinds := map[Kind]string{Peak: "natural=peak", Hill: "natural=hill", Volcano: "natural=volcano", Tower: "man_made=tower", Lighthouse: "man_made=lighthouse", Viewpoint: "tourism=viewpoint", "city": "natural=tree"}
	tags := []string{kinds[r.kind]}
	for _, tag := range []string{"name=" + r.name, "alt_name=" + strings.ReplaceAll(r.others, "|", ";"), "ele=" + r.listM} {
		if !strings.HasSuffix(tag, "=") {
			tags = append(tags, tag)
		}
	}
	return tags
}

// osmPBFText writes rows as dense nodes, a hundred a block, with more tags (keys and values by turns).
func osmPBFText(more ...string) func(rows []sampleRow) string {
	return func(rows []sampleRow) string {
		file := pbfHeader()
		for some := range slices.Chunk(rows, 100) {
			file = append(file, pbfBlob(osmDataBlob, pbfRows(some, more), false)...)
		}
		return string(file)
	}
}

func pbfRows(rows []sampleRow, more []string) []byte {
	units := func(text string) int64 {
		deg, err := strconv.ParseFloat(text, 64)
		if err != nil {
			panic("no case for the PBF: " + text)
		}
		return int64(math.Round(deg * 1e7))
	}
	var texts []string
	var ids, lats, lons []int64
	var tags []uint64
	for _, r := range rows {
		ids, lats, lons = append(ids, int64(r.number)), append(lats, units(r.latDeg)), append(lons, units(r.lonDeg))
		pairs := slices.Clone(more)
		for _, tag := range osmTagsOf(r) {
			key, value, _ := strings.Cut(tag, "=")
			pairs = append(pairs, key, value)
		}
		for _, text := range pairs {
			texts = append(texts, text)
			tags = append(tags, uint64(len(texts)))
		}
		tags = append(tags, 0)
	}
	return pbfMessage(1, pbfTable(texts...), 2, pbfMessage(2, pbfMessage(1, pbfDeltas(ids...), 8, pbfDeltas(lats...), 9, pbfDeltas(lons...), 10, pbfNumbers(tags...))))
}

// joined puts parts one behind the other.
func joined(parts ...[]byte) []byte { return bytes.Join(parts, nil) }
