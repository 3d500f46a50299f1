package terrain

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// TileRef is a tile that was found but not read.
type TileRef struct {
	Path  string
	Bytes int64 // of the file as it lies there, packed or not
	// LatDeg and LonDeg are the tile's south-west corner in whole degrees (−90…89, −180…179).
	LatDeg, LonDeg int
	// Source is the one that named it, with its defaults filled in.
	Source Source
}

// Index knows which cell has which tile. It is not changed after Discover.
type Index struct {
	tiles []TileRef
	at    map[cell]int // into tiles
}

// cell is a square of 1° × 1° by its south-west corner, the longitude within −180…179.
type cell struct{ latDeg, lonDeg int16 }

func cellOf(latDeg, lonDeg int) cell {
	if lonDeg < -180 || lonDeg > 179 {
		lonDeg = ((lonDeg+180)%360+360)%360 - 180
	}
	return cell{int16(latDeg), int16(lonDeg)}
}

// Discover finds the tiles of every source: the file itself, or all files of a folder and the folders in it whose names are
// those of tiles (*.hgt, *.hgt.gz, *.hgt.zip, and *.gz, *.zip with a position in the name), in sorted order. Links to files are
// followed, links to folders are not, files whose name begins with a dot are passed over. Where two tiles overlap the first counts.
//
// Names and sizes are enough for files found in a folder, so a packed one may still prove unreadable later; a file that is
// named itself is decoded once. The error joins all that is wrong, one line each: a path that does not exist, a folder without
// a tile, a file that is no tile, a plain tile of a wrong size, a datum or surface that is not supported.
func Discover(sources []Source) (*Index, error) {
	index := &Index{at: make(map[cell]int)}
	var problems []error
	for _, source := range sources {
		source.Datum = cmp.Or(source.Datum, "egm96")
		source.Surface = cmp.Or(source.Surface, "ground")
		refs, err := discover(source)
		if err != nil {
			problems = append(problems, err)
			continue
		}
		for _, ref := range refs {
			at := cellOf(ref.LatDeg, ref.LonDeg)
			if _, taken := index.at[at]; !taken {
				index.at[at] = len(index.tiles)
				index.tiles = append(index.tiles, ref)
			}
		}
	}
	if len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	sortRefs(index.tiles)
	for i, ref := range index.tiles {
		index.at[cellOf(ref.LatDeg, ref.LonDeg)] = i
	}
	return index, nil
}

// Has reports whether a cell has a tile. Any longitude is understood.
func (x *Index) Has(latDeg, lonDeg int) bool {
	_, ok := x.at[cellOf(latDeg, lonDeg)]
	return ok
}

// Tiles returns all tiles, sorted by latitude, then longitude of their corners.
func (x *Index) Tiles() []TileRef { return slices.Clone(x.tiles) }

// Len is the number of tiles.
func (x *Index) Len() int { return len(x.tiles) }

func sortRefs(refs []TileRef) {
	slices.SortFunc(refs, func(a, b TileRef) int {
		return cmp.Or(cmp.Compare(a.LatDeg, b.LatDeg), cmp.Compare(a.LonDeg, b.LonDeg))
	})
}

func discover(source Source) ([]TileRef, error) {
	if source.Datum != "egm96" {
		return nil, fmt.Errorf("terrain %s: datum %q is not supported: give heights over egm96", source.Path, source.Datum)
	}
	if source.Surface != "ground" && source.Surface != "top" {
		return nil, fmt.Errorf("terrain %s: surface %q is not known: give ground or top", source.Path, source.Surface)
	}
	info, err := os.Stat(source.Path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("terrain %s: no such file or folder: check the path", source.Path)
	}
	if err != nil {
		return nil, fmt.Errorf("terrain %s: cannot be read (%w): check the path and its permissions", source.Path, cause(err))
	}
	if info.IsDir() {
		return discoverFolder(source)
	}
	ref, err := refByContent(source.Path, info.Size(), source)
	if err != nil {
		return nil, err
	}
	return []TileRef{ref}, nil
}

func discoverFolder(source Source) ([]TileRef, error) {
	var refs []TileRef
	var problems []error
	fs.WalkDir(os.DirFS(source.Path), ".", func(inner string, entry fs.DirEntry, err error) error {
		path := filepath.Join(source.Path, filepath.FromSlash(inner))
		if err != nil {
			problems = append(problems, fmt.Errorf("terrain %s: cannot be searched (%w): check its permissions", path, cause(err)))
			return nil
		}
		if entry.IsDir() || !looksLikeTile(entry.Name()) {
			return nil
		}
		ref, ok, err := refByName(path, source)
		if err != nil {
			problems = append(problems, err)
		} else if ok {
			refs = append(refs, ref)
		}
		return nil
	})
	if len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	if len(refs) == 0 {
		return nil, fmt.Errorf("terrain %s: no tile in this folder (links to other folders are not followed): name the folder that holds files such as N55W003.hgt", source.Path)
	}
	return refs, nil
}

func looksLikeTile(name string) bool {
	if strings.HasPrefix(name, ".") {
		return false
	}
	if namedHGT(name) {
		return true
	}
	_, _, placed := parsePosition(name)
	if hasExtension(name, ".gz") {
		// The position must stand last: N55W003.tif.gz is something else.
		stem := name[:len(name)-len(".gz")]
		return placed && len(stem) >= len("N55W003") && tilePosition.MatchString(stem[len(stem)-len("N55W003"):])
	}
	return placed && hasExtension(name, ".zip")
}

func namedHGT(name string) bool {
	return hasExtension(name, ".hgt") || hasExtension(name, ".hgt.gz") || hasExtension(name, ".hgt.zip")
}

// refByName makes the reference of a file in a folder, looking inside only where name and size leave a doubt; false where the
// file is something else after all.
func refByName(path string, source Source) (ref TileRef, ok bool, err error) {
	info, err := os.Stat(path)
	if err != nil {
		return TileRef{}, false, fmt.Errorf("terrain %s: cannot be read (%w): check the file", path, cause(err))
	}
	if !info.Mode().IsRegular() {
		return TileRef{}, false, nil
	}
	latDeg, lonDeg, placed := parsePosition(path)
	_, sized := postsOf(info.Size())
	switch {
	case !placed:
		ref, err = refByContent(path, info.Size(), source)
		return ref, err == nil, err
	case hasExtension(path, ".hgt") && !sized, !namedHGT(path) && hasExtension(path, ".zip"):
		ok, err = holdsTile(path, info.Size())
		if err != nil || !ok {
			return TileRef{}, false, err
		}
	}
	return TileRef{path, info.Size(), latDeg, lonDeg, source}, true, nil
}

// holdsTile looks into a .hgt of an odd size, which may be packed under a plain name, and into a .zip that may hold other
// things of the same place, such as water masks.
func holdsTile(path string, size int64) (bool, error) {
	file, err := os.Open(path)
	if err != nil {
		return false, fmt.Errorf("terrain %s: cannot be opened (%w): check its permissions", path, cause(err))
	}
	defer file.Close()
	packing := packingOf(file)
	if hasExtension(path, ".hgt") {
		if packing == plain {
			return false, wrongSize(path, "", size)
		}
		return true, nil
	}
	if packing != zipped {
		return true, nil // cut or damaged: the store will say so
	}
	_, err = zipMember(path, file, size)
	return !errors.Is(err, errNoTile), nil
}

func refByContent(path string, size int64, source Source) (TileRef, error) {
	tile, err := readHGT(path)
	if err != nil {
		return TileRef{}, err
	}
	return TileRef{path, size, tile.LatDeg, tile.LonDeg, source}, nil
}
