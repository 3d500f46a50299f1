package gazetteer

import (
	"math"
	"slices"
	"strings"
)

// osmKindKeys are the keys of the tags that say what a thing is.
var osmKindKeys = [...]string{"natural", "man_made", "power", "tourism"}

// osmLifecycle are the prefixes of keys that say that a thing stands no longer or not yet (wiki of OpenStreetMap, Lifecycle prefix; from
// memory).
var osmLifecycle = [...]string{"disused:", "abandoned:", "ruins:", "removed:", "demolished:", "destroyed:", "dismantled:", "razed:", "was:", "proposed:", "planned:", "construction:"}

// osmOtherKeys are all other keys that are read, but for names.
var osmOtherKeys = [...]string{
	"diameter", "ele", "end_date", "est_height", "generator:method", "generator:source", "height", "seamark:light:1:height", "seamark:light:height", "start_date",
	"tower:height", "type", "width",
}

// osmNameKeys are the keys of names, the best first.
var osmNameKeys = [...]string{"name", "alt_name", "official_name", "int_name", "loc_name", "short_name", "old_name"}

// kindOfTags gives the kind by tags of OpenStreetMap, and the tag that says it; gone where that tag has a lifecycle prefix. tagged is false
// where no tag says what a thing is. A ridge counts as a hill if it has a height, which is that of its top.
func kindOfTags(tag func(key string) string) (kind Kind, word string, gone, ok, tagged bool) {
	try := func(prefix string) bool {
		for _, key := range osmKindKeys {
			value := tag(prefix + key)
			if value == "" {
				continue
			}
			if kind, ok = kindOfTag(key, value, tag); ok || !tagged {
				word = prefix + key + "=" + value
			}
			if tagged = true; ok {
				return true
			}
		}
		return false
	}
	if try("") {
		return kind, word, false, true, true
	}
	for _, prefix := range osmLifecycle {
		if try(prefix) {
			return kind, word, true, true, true
		}
	}
	return "", word, false, false, tagged
}

func kindOfTag(key, value string, tag func(key string) string) (kind Kind, ok bool) {
	switch key + "=" + value {
	case "natural=peak":
		return Peak, true
	case "natural=hill":
		return Hill, true
	case "natural=ridge":
		return Hill, tag("ele") != ""
	case "natural=volcano":
		return Volcano, true
	case "man_made=tower", "man_made=communications_tower", "man_made=water_tower":
		return Tower, true
	case "man_made=mast":
		return Mast, true
	case "man_made=chimney":
		return Chimney, true
	case "man_made=lighthouse":
		return Lighthouse, true
	case "tourism=viewpoint":
		return Viewpoint, true
	case "power=generator":
		return Turbine, tag("generator:source") == "wind" || tag("generator:method") == "wind_turbine"
	}
	return "", false
}

// osmSays tells the keys that make an object a row.
func osmSays(key string) bool {
	return slices.Contains(osmKindKeys[:], key) || slices.ContainsFunc(osmLifecycle[:], func(prefix string) bool {
		rest, ok := strings.CutPrefix(key, prefix)
		return ok && slices.Contains(osmKindKeys[:], rest)
	})
}

// osmUses tells the keys that are read at all.
func osmUses(key string) bool {
	_, isName := osmNameRank(key)
	return isName || slices.Contains(osmOtherKeys[:], key) || osmSays(key)
}

// osmNameRank orders keys of names, the best first. Those in a language come behind the one without, English first.
func osmNameRank(key string) (rank int, ok bool) {
	base, language, inLanguage := strings.Cut(key, ":")
	at := slices.Index(osmNameKeys[:], base)
	switch {
	case at < 0 || inLanguage && !isLanguage(language):
		return 0, false
	case !inLanguage:
		return 3 * at, true
	case language == "en":
		return 3*at + 1, true
	}
	return 3*at + 2, true
}

// isLanguage tells a code of a language (two or three letters, then what narrows it) from the other things that follow "name:", such as
// etymology and pronunciation.
func isLanguage(code string) bool {
	end := strings.IndexAny(code, "-_")
	if end < 0 {
		end = len(code)
	}
	return (end == 2 || end == 3) && strings.Trim(code[:end], "abcdefghijklmnopqrstuvwxyz") == ""
}

// osmNames returns the names of an object, the best first. Several names in one tag stand between semicolons.
func osmNames(tags []osmTag) []string {
	type ranked struct {
		osmTag
		rank int
	}
	var named []ranked
	for _, tag := range tags {
		if rank, ok := osmNameRank(tag.key); ok {
			named = append(named, ranked{tag, rank})
		}
	}
	slices.SortStableFunc(named, func(a, b ranked) int {
		if a.rank != b.rank {
			return a.rank - b.rank
		}
		return strings.Compare(a.key, b.key)
	})
	var names []string
	for _, tag := range named {
		for name := range strings.SplitSeq(tag.value, ";") {
			if name = strings.TrimSpace(name); name != "" {
				names = append(names, name)
			}
		}
	}
	return names
}

// estimatedSpread is the spread of an estimated structure height as a part of it. Our judgement, no source.
const estimatedSpread = 0.25

// osmHeights reads heights, widths and dates. ele is taken as the ground's: tags do not tell it from a structure's top. Where height is
// not listed or cannot be read, tower:height is used, and then est_height. A light's height over high water is neither.
func osmHeights(r *record, tag func(key string) string) error {
	var err error
	if r.groundM, err = r.height("ele", tag("ele"), '.', DoubtHeightUnreadable); err != nil {
		return err
	}
	r.startDate, r.endDate = tag("start_date"), tag("end_date")
	if _, _, structure := r.kind.assumedStructure(); !structure {
		return nil
	}
	if r.endDate != "" {
		r.doubts = append(r.doubts, DoubtNotStanding)
	}
	const estimated = "est_height"
	key := firstReadable(tag, "height", "tower:height", estimated)
	if r.structureM, err = r.height(key, tag(key), '.', DoubtStructureHeightUnreadable); err != nil {
		return err
	}
	if key == estimated && r.structureM > 0 {
		r.doubts = append(r.doubts, DoubtStructureHeightEstimated)
		r.structureSDM = math.Max(listedStructureSDM, estimatedSpread*r.structureM)
	}
	r.widthM = positiveLength(tag(firstReadable(tag, "width", "diameter")))
	if r.lightM = positiveLength(tag(firstReadable(tag, "seamark:light:height", "seamark:light:1:height"))); r.lightM > 0 {
		r.doubts = append(r.doubts, DoubtLightOverHighWater)
	}
	return nil
}

// firstReadable returns the first of the keys whose value can be read as a length, else the first that has any.
func firstReadable(tag func(key string) string, keys ...string) string {
	first := ""
	for _, key := range keys {
		text := tag(key)
		if text == "" {
			continue
		}
		if _, err := parseLength(text, '.'); err == nil {
			return key
		}
		if first == "" {
			first = key
		}
	}
	return first
}

// positiveLength reads a length in metres that no verdict hangs on; 0 where it cannot be read.
func positiveLength(text string) float64 {
	if m, err := parseLength(text, '.'); err == nil && m > 0 && m <= tallestM {
		return m
	}
	return 0
}

// withoutZeros cuts the zeros that some writers put behind all degrees and others do not, so that both give a place the same accuracy.
func withoutZeros(deg string) string {
	if !strings.Contains(deg, ".") || strings.ContainsAny(deg, "eE") {
		return deg
	}
	return strings.TrimSuffix(strings.TrimRight(deg, "0"), ".")
}
