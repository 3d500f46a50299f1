package gazetteer

import (
	"fmt"
	"slices"
	"strings"
)

// Kinds returns every kind, in the order in which documentation lists them.
func Kinds() []Kind {
	return []Kind{Peak, Hill, Volcano, Tower, Mast, Chimney, Lighthouse, Turbine, Building, Viewpoint, Place}
}

// ParseKinds reads a comma list of kinds, as flags have it. Spaces, upper case and repetitions do not matter; an empty list
// gives no kinds. The error names the word that is not a kind and those that are.
func ParseKinds(list string) ([]Kind, error) {
	if strings.TrimSpace(list) == "" {
		return nil, nil
	}
	var kinds []Kind
	for word := range strings.SplitSeq(list, ",") {
		kind, ok := kindOf(word)
		if !ok {
			return nil, fmt.Errorf("kind %q is not known: use %s", strings.TrimSpace(word), joinKinds(Kinds()))
		}
		if !slices.Contains(kinds, kind) {
			kinds = append(kinds, kind)
		}
	}
	return kinds, nil
}

func kindOf(word string) (Kind, bool) {
	kind := Kind(strings.ToLower(strings.TrimSpace(word)))
	return kind, slices.Contains(Kinds(), kind)
}

func joinKinds(kinds []Kind) string {
	words := make([]string, len(kinds))
	for i, kind := range kinds {
		words[i] = string(kind)
	}
	return strings.Join(words, ", ")
}

// isSummit tells the kinds whose place is the highest ground around.
func (k Kind) isSummit() bool { return k == Peak || k == Hill || k == Volcano }

// assumedStructure returns the height of a structure whose listing gives none, with a wide spread, both in metres. Our
// judgement, no source. It is false for kinds that are bare ground.
func (k Kind) assumedStructure() (heightM, sdM float64, ok bool) {
	switch k {
	case Tower:
		return 30, 20, true
	case Mast:
		return 60, 40, true
	case Chimney:
		return 60, 40, true
	case Lighthouse:
		return 20, 12, true
	case Turbine:
		return 100, 40, true
	case Building:
		return 20, 15, true
	}
	return 0, 0, false
}

// Stands is false for what its record says stands no longer, or not yet.
func (f *Feature) Stands() bool { return !slices.Contains(f.Doubts, DoubtNotStanding) }
