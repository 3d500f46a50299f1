package pipeline

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
)

// Terms are the licence of a file and the words with which it wants to be named.
type Terms struct {
	Licence     string `json:"licence,omitempty"`
	Attribution string `json:"attribution,omitempty"`
}

// LicenceUnknown is the licence of a file whose format tells none and for which none was stated.
const LicenceUnknown = "unknown"

// or fills what is not stated. A licence that is stated is not the format's publisher's, so his attribution does not go with it.
func (t Terms) or(usual Terms) Terms {
	switch {
	case t.Licence == "" && t.Attribution == "":
		return usual
	case t.Licence == "":
		t.Licence = usual.Licence
	case t.Attribution == "":
		t.Attribution = LicenceUnknown
		if t.Licence == usual.Licence {
			t.Attribution = usual.Attribution
		}
	}
	return t
}

// IsODbL tells the Open Database License by its short or long name, in any version.
func IsODbL(licence string) bool {
	licence = strings.ToLower(licence)
	return strings.Contains(licence, "odbl") || strings.Contains(licence, "open database licen")
}

// licenceNote says what the licences of the inputs ask of whoever passes the result on: a part under ODbL binds the whole (ODbL 1.0, sections
// 4.2 to 4.4), and a licence that was not stated is to be asked for. Files go by their base names. It is empty where nothing is asked.
func licenceNote(inputs []Input) string {
	var binding, unknown []string
	for i := range inputs {
		in := &inputs[i]
		switch {
		case IsODbL(in.Licence):
			name := in.Attribution
			if name == "" || name == LicenceUnknown {
				name = "the makers of " + filepath.Base(in.Path)
			}
			if !slices.Contains(binding, name) {
				binding = append(binding, name)
			}
		case in.Licence == LicenceUnknown || in.Licence == "":
			unknown = append(unknown, filepath.Base(in.Path))
		}
	}
	var notes []string
	if len(binding) > 0 {
		notes = append(notes, fmt.Sprintf("A part under ODbL binds the whole: the derived data set may be passed on only under ODbL 1.0, naming %s.", strings.Join(binding, "; ")))
	}
	if len(unknown) > 0 {
		notes = append(notes, fmt.Sprintf("The licence of %s was not stated: ask for it before passing the result on.", strings.Join(unknown, ", ")))
	}
	return strings.Join(notes, " ")
}
