package main

import (
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy/terrain"
	"farstation/pipeline"
)

// The types of this file are values of flags that are more than one number or word.

// featuresValue collects --features FILE[,licence=TEXT][,attribution=TEXT]. Texts may hold commas. A path that exists as it is typed is one.
type featuresValue struct{ options *pipeline.Options }

func (v featuresValue) String() string { return "" }
func (v featuresValue) Type() string   { return "file" }

func (v featuresValue) Set(text string) error {
	path, terms := text, pipeline.Terms{}
	into := map[string]*string{",licence=": &terms.Licence, ",attribution=": &terms.Attribution}
	for len(into) > 0 {
		if _, err := os.Lstat(path); err == nil {
			break
		}
		// The last suffix first, for its text goes to the end.
		at, suffix := -1, ""
		for name := range into {
			if i := strings.LastIndex(path, name); i > at {
				at, suffix = i, name
			}
		}
		if at < 0 {
			break
		}
		stated := strings.TrimSpace(path[at+len(suffix):])
		if stated == "" {
			return fmt.Errorf("nothing behind %s", suffix[1:])
		}
		*into[suffix], path = stated, path[:at]
		delete(into, suffix)
	}
	if path == "" {
		return errors.New("no path: name a gazetteer extract")
	}
	v.options.Features = append(v.options.Features, path)
	if terms != (pipeline.Terms{}) {
		if v.options.FeatureTerms == nil {
			v.options.FeatureTerms = map[string]pipeline.Terms{}
		}
		v.options.FeatureTerms[path] = terms
	}
	return nil
}

// terrainValue collects --terrain PATH[,datum=…][,surface=…].
type terrainValue struct{ sources *[]terrain.Source }

func (v terrainValue) String() string { return "" }
func (v terrainValue) Type() string   { return "path" }

func (v terrainValue) Set(text string) error {
	source := terrain.Source{}
	fields := map[string]*string{
		"datum": &source.Datum, "surface": &source.Surface, "geoid": &source.Geoid, "licence": &source.Licence, "attribution": &source.Attribution,
	}
	// What follows a comma and is no name of a field belongs to what stands before it: paths and attributions may hold commas.
	value := &source.Path
	for i, part := range strings.Split(text, ",") {
		name, rest, _ := strings.Cut(part, "=")
		switch field, known := fields[name]; {
		case i == 0:
			*value = part
		case known:
			value = field
			*value = rest
		default:
			*value += "," + part
		}
	}
	if source.Path == "" {
		return errors.New("no path: name an elevation tile or a folder of them")
	}
	*v.sources = append(*v.sources, source)
	return nil
}

// areaValue is --area W,S,E,N.
type areaValue struct{ area **pipeline.Area }

func (v areaValue) String() string { return "" }
func (v areaValue) Type() string   { return "w,s,e,n" }

func (v areaValue) Set(text string) error {
	numbers, err := parseNumbers(text)
	if err != nil || len(numbers) != 4 {
		return errors.New("want four numbers W,S,E,N in degrees, such as -125,-34,-121,-31")
	}
	*v.area = &pipeline.Area{West: numbers[0], South: numbers[1], East: numbers[2], North: numbers[3]}
	return nil
}

// parseNumbers reads a comma list of finite numbers.
func parseNumbers(list string) ([]float64, error) {
	var numbers []float64
	for text := range strings.SplitSeq(list, ",") {
		number, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
		if err != nil || math.IsNaN(number) || math.IsInf(number, 0) {
			return nil, fmt.Errorf("%q is not a number", text)
		}
		numbers = append(numbers, number)
	}
	return numbers, nil
}

// kindsValue is a comma list of kinds, or all.
type kindsValue struct {
	kinds *[]gazetteer.Kind
	// all is what the word all stands for: nil where an empty list keeps every kind.
	all []gazetteer.Kind
}

func (v kindsValue) String() string {
	if v.kinds == nil || len(*v.kinds) == len(v.all) {
		return "all"
	}
	words := make([]string, len(*v.kinds))
	for i, kind := range *v.kinds {
		words[i] = string(kind)
	}
	return strings.Join(words, ",")
}

func (v kindsValue) Type() string { return "kinds" }

func (v kindsValue) Set(text string) error {
	if strings.EqualFold(strings.TrimSpace(text), "all") {
		*v.kinds = v.all
		return nil
	}
	kinds, err := gazetteer.ParseKinds(text)
	if err != nil {
		return err
	}
	if len(kinds) == 0 {
		return errors.New("no kinds: name at least one, or all")
	}
	*v.kinds = kinds
	return nil
}

// choiceValue is one word of a few.
type choiceValue struct {
	word    *string
	choices []string
}

func (v choiceValue) String() string {
	if v.word == nil {
		return ""
	}
	return *v.word
}

func (v choiceValue) Type() string { return strings.Join(v.choices, "|") }

func (v choiceValue) Set(text string) error {
	if !slices.Contains(v.choices, text) {
		return fmt.Errorf("want %s", strings.Join(v.choices, " or "))
	}
	*v.word = text
	return nil
}

// bytesValue is an amount of memory, such as 2GiB.
type bytesValue struct{ bytes *int64 }

// byteUnits are tried in this order, so that the longer of two that end alike comes first.
var byteUnits = [...]struct {
	name  string
	bytes float64
}{{"KiB", 1 << 10}, {"MiB", 1 << 20}, {"GiB", 1 << 30}, {"TiB", 1 << 40}, {"kB", 1e3}, {"MB", 1e6}, {"GB", 1e9}, {"TB", 1e12}, {"B", 1}}

func (v bytesValue) String() string {
	if v.bytes == nil {
		return ""
	}
	for _, unit := range []int{2, 1, 0} {
		if whole := int64(byteUnits[unit].bytes); *v.bytes >= whole && *v.bytes%whole == 0 {
			return fmt.Sprintf("%d%s", *v.bytes/whole, byteUnits[unit].name)
		}
	}
	return fmt.Sprintf("%dB", *v.bytes)
}

func (v bytesValue) Type() string { return "size" }

func (v bytesValue) Set(text string) error {
	for _, unit := range byteUnits {
		number, found := strings.CutSuffix(text, unit.name)
		if !found {
			continue
		}
		amount, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || !(amount*unit.bytes >= 1) || amount*unit.bytes > 1<<60 {
			break
		}
		*v.bytes = int64(amount * unit.bytes)
		return nil
	}
	return errors.New("want a number and a unit, such as 2GiB or 512MiB")
}

// shareValue is --share I/N.
type shareValue struct{ part *pipeline.Part }

func (v shareValue) String() string { return "" }
func (v shareValue) Type() string   { return "share" }

func (v shareValue) Set(text string) (err error) {
	*v.part, err = pipeline.ParsePart(text)
	return err
}
