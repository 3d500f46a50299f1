package reports

import (
	"encoding/json"
	"io"
)

// The files of the folder of a case that say what was found.
const (
	weighJSONFile = "weigh.json"
	weighPageFile = "weigh.html"
)

// WriteJSON writes a value as indented JSON, names as they are.
func WriteJSON(w io.Writer, value any) error {
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(value)
}
