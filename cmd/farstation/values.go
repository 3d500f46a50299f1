package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy/terrain"
	"farstation/pipeline"
)

// The types of this file are values of flags that are more than one number or word.

// terrainValue collects --terrain PATH[,datum=…][,surface=…].
type terrainValue struct{ sources *[]terrain.Source }

func (v terrainValue) String() string { return "" }
func (v terrainValue) Type() string   { return "path" }

func (v terrainValue) Set(text string) error {
	source := terrain.Source{Path: text, Datum: "egm96", Surface: "ground"}
	for {
		at := strings.LastIndexByte(source.Path, ',')
		name, value, _ := strings.Cut(source.Path[at+1:], "=")
		if at >= 0 && name == "datum" {
			source.Datum = value
		} else if at >= 0 && name == "surface" {
			source.Surface = value
		} else {
			break // a comma of the path itself, or none
		}
		source.Path = source.Path[:at]
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
