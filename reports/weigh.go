package reports

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"farstation/pipeline"
)

// The files of the folder of a weighed photograph.
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

// WriteWeighing writes a new folder with weigh.json and the page weigh.html. It is complete or absent: written beside its place and renamed. A
// folder that exists is an error.
func WriteWeighing(ctx context.Context, dir string, w *pipeline.Weighing) (err error) {
	if err := CheckOut(dir, false); err != nil {
		return err
	}
	place, err := placeOf(dir)
	if err != nil {
		return err
	}
	fail := func(err error) error { return fmt.Errorf("folder %s: %w", dir, reason(err)) }
	if err := os.MkdirAll(place.parent, 0o777); err != nil {
		return fail(err)
	}
	part, err := place.makeBeside(partWord)
	if err != nil {
		return fail(err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(part))
		}
	}()
	for _, file := range []File{
		{weighJSONFile, func(out io.Writer) error { return WriteJSON(out, w) }},
		{weighPageFile, func(out io.Writer) error { return WriteWeighPage(out, w) }},
	} {
		if _, err := writeFile(ctx, part, file); err != nil {
			return fail(err)
		}
	}
	if err := errors.Join(syncFolder(part), ctx.Err()); err != nil {
		return fail(err)
	}
	if err := place.commit(part, false); err != nil {
		return fail(err)
	}
	return nil
}
