package reports

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"

	"farstation/pipeline"
)

// The files of a share.
const (
	shareFile = "share.json"
	rowsFile  = "rows.zst"
)

// shareManifest is share.json: the share, and the file that was written.
type shareManifest struct {
	pipeline.Share
	Files []Written `json:"files"`
}

// WriteShare writes the folder of a share as WriteRun writes that of a run: complete, or not at all.
func WriteShare(ctx context.Context, dir string, replace bool, share *pipeline.Share) error {
	manifest := shareManifest{Share: *share}
	files := []File{{rowsFile, share.Records.Write}}
	last := []File{{shareFile, func(w io.Writer) error { return WriteJSON(w, manifest) }}}
	return shareKind().write(ctx, dir, replace, files, last, &manifest.Files)
}

// ReadShare reads the manifest of a share and opens its rows, which must be those that the manifest states. The caller closes the rows.
func ReadShare(ctx context.Context, dir string) (*pipeline.OpenShare, error) {
	text, err := pipeline.ReadRegular(filepath.Join(dir, shareFile), mostManifestBytes)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("share folder %s: holds no %s: name a folder that survey --share wrote, or make it again", dir, shareFile)
	}
	if err != nil {
		return nil, fmt.Errorf("share folder %s: %w", dir, reason(err))
	}
	var manifest shareManifest
	if err := json.Unmarshal(text, &manifest); err != nil || manifest.Version == "" {
		return nil, fmt.Errorf("share folder %s: its %s is not that of a share (no farstation_version): make it again", dir, shareFile)
	}
	records, err := openRecords(ctx, dir, rowsFile, manifest.Files)
	if err != nil {
		return nil, fmt.Errorf("share folder %s: %w: make it again", dir, err)
	}
	return &pipeline.OpenShare{Share: manifest.Share, Dir: dir, Records: records}, nil
}

// OpenReuse opens what a run folder keeps for a later run to take over. Where that is gone or damaged it returns pipeline.ErrNoRecords, and for
// what is no run folder another error.
func OpenReuse(ctx context.Context, dir string) (*pipeline.RecordsFile, error) {
	run, err := readRun(dir)
	if err != nil {
		return nil, err
	}
	records, err := openRecords(ctx, dir, reuseFile, run.Files)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil && !errors.Is(err, pipeline.ErrNoRecords) {
		err = fmt.Errorf("%w: %w", pipeline.ErrNoRecords, err)
	}
	return records, err
}

// openRecords opens a file of records in a folder, after its size and hash are held against what the folder's manifest says.
func openRecords(ctx context.Context, dir, name string, files []Written) (*pipeline.RecordsFile, error) {
	at := slices.IndexFunc(files, func(f Written) bool { return f.Name == name })
	if at < 0 {
		return nil, fmt.Errorf("%s is not listed among its files", name)
	}
	is, err := readWritten(ctx, dir, name)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, reason(err))
	}
	if is != files[at] {
		return nil, fmt.Errorf("%s is not as it was written", name)
	}
	return pipeline.OpenRecords(filepath.Join(dir, name))
}

// published are the files of a run that others have a use for.
func published(files []Written) []Written {
	return slices.DeleteFunc(slices.Clone(files), func(f Written) bool { return f.Name == reuseFile })
}
