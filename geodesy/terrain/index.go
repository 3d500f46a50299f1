package terrain

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// FileRef is an elevation file that was found.
type FileRef struct {
	Path   string
	Bytes  int64 // of the file as it lies there, packed or not
	Format string
	// Source is the one that named it, with what the file itself says and the defaults filled in.
	Source Source
	// SDM is the standard deviation of its heights on flat ground, in metres; 0 is that of SRTM.
	SDM float64
	// Note says in words what was done to its heights, empty where they were taken as they are.
	Note string

	modified time.Time
	lat, lon span // of the posts; empty for .hgt
	// shift is added to heights to have them over EGM96; nil for 0.
	shift func(latDeg, lonDeg float64) float64
}

// CellRef is a cell of 1° × 1° that has terrain, by its south-west corner in whole degrees (−90…89, −180…179).
type CellRef struct {
	LatDeg, LonDeg int
	// Files are the indexes of those files that overlap it, the first to be asked first.
	Files []int
}

// TileRef is the first file of a cell.
type TileRef struct {
	Path           string
	Bytes          int64
	LatDeg, LonDeg int
	Source         Source
}

// Index knows which cell has which files. It is not changed after Discover, but for the sums that it keeps.
type Index struct {
	files []FileRef
	cells []CellRef
	at    map[cell]int // into cells
	sums  sums
}

// cell is a square of 1° × 1° by its south-west corner, the longitude within −180…179.
type cell struct{ latDeg, lonDeg int16 }

func cellOf(latDeg, lonDeg int) cell {
	if lonDeg < -180 || lonDeg > 179 {
		lonDeg = ((lonDeg+180)%360+360)%360 - 180
	}
	return cell{int16(latDeg), int16(lonDeg)}
}

// Discover finds the elevation files of every source: the file itself, or all files of a folder and the folders in it whose names are those
// of elevation files (*.hgt, *.tif, *.tiff, *.dt0, *.dt1, *.dt2, each also with .gz or .zip, and *.gz, *.zip with a position in the name;
// masks that sets lay beside their heights are passed over), in sorted order. Links to files are followed, links to folders are not, files
// whose name begins with a dot are passed over. A cell is served by all files that overlap it, in the order of the sources, then of paths.
//
// Names and sizes are enough for .hgt files found in a folder, so a packed one may still prove unreadable later; a .hgt that is named itself
// is decoded once, and of other files the head is read. The error joins all that is wrong, one line each: a path that does not exist, a
// folder without a file, a file that is no elevation, a plain tile of a wrong size, a datum or surface that is not known, a datum that
// is not the file's own.
func Discover(sources []Source) (*Index, error) {
	index := &Index{at: make(map[cell]int)}
	var problems []error
	seen := map[string]bool{}
	datums := datums{}
	for _, source := range sources {
		found, err := discover(source)
		if err != nil {
			problems = append(problems, err)
			continue
		}
		for _, f := range found {
			if seen[f.Path] {
				continue
			}
			seen[f.Path] = true
			if err := datums.settle(&f.FileRef); err != nil {
				if !slices.ContainsFunc(problems, func(e error) bool { return e.Error() == err.Error() }) { // one grid for many files
					problems = append(problems, err)
				}
				continue
			}
			index.files = append(index.files, f.FileRef)
			for _, at := range f.cells {
				i, known := index.at[at]
				if !known {
					i = len(index.cells)
					index.at[at] = i
					index.cells = append(index.cells, CellRef{LatDeg: int(at.latDeg), LonDeg: int(at.lonDeg)})
				}
				index.cells[i].Files = append(index.cells[i].Files, len(index.files)-1)
			}
		}
	}
	if len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	slices.SortFunc(index.cells, func(a, b CellRef) int {
		return cmp.Or(cmp.Compare(a.LatDeg, b.LatDeg), cmp.Compare(a.LonDeg, b.LonDeg))
	})
	for i, c := range index.cells {
		index.at[cellOf(c.LatDeg, c.LonDeg)] = i
	}
	return index, nil
}

// Has reports whether a cell has terrain. Any longitude is understood.
func (x *Index) Has(latDeg, lonDeg int) bool {
	_, ok := x.at[cellOf(latDeg, lonDeg)]
	return ok
}

// Files returns all files, in order of priority.
func (x *Index) Files() []FileRef { return slices.Clone(x.files) }

// Cells returns all cells with terrain, sorted by latitude, then longitude.
func (x *Index) Cells() []CellRef { return slices.Clone(x.cells) }

// Notes says in words what was done to the heights of the files, and which way those of tree tops and roofs err, each with the number of
// files that it holds for; none for heights over EGM96 that show the ground.
func (x *Index) Notes() []string {
	files := map[string]int{}
	for i := range x.files {
		if note := x.files[i].Note; note != "" {
			files[note]++
		}
		if x.files[i].Source.Surface == SurfaceTop {
			files["heights of tree tops and roofs: in woods and towns they cut off more than the ground does, never less"]++
		}
	}
	var notes []string
	for _, note := range slices.Sorted(maps.Keys(files)) {
		word := "files"
		if files[note] == 1 {
			word = "file"
		}
		notes = append(notes, fmt.Sprintf("%d %s: %s", files[note], word, note))
	}
	return notes
}

// Tiles returns the first file of every cell, sorted by latitude, then longitude.
func (x *Index) Tiles() []TileRef {
	refs := make([]TileRef, len(x.cells))
	for i, c := range x.cells {
		f := &x.files[c.Files[0]]
		refs[i] = TileRef{f.Path, f.Bytes, c.LatDeg, c.LonDeg, f.Source}
	}
	return refs
}

// Len is the number of cells with terrain.
func (x *Index) Len() int { return len(x.cells) }

// foundFile is a file with the cells that it overlaps.
type foundFile struct {
	FileRef
	cells []cell
}

func discover(source Source) ([]foundFile, error) {
	if !slices.Contains([]string{"", DatumEGM96, DatumEGM2008, DatumEllipsoid}, source.Datum) {
		return nil, fmt.Errorf("terrain %s: datum %q is not known: give %s, %s or %s", source.Path, source.Datum, DatumEGM96, DatumEGM2008, DatumEllipsoid)
	}
	if !slices.Contains([]string{"", SurfaceGround, SurfaceTop}, source.Surface) {
		return nil, fmt.Errorf("terrain %s: surface %q is not known: give %s or %s", source.Path, source.Surface, SurfaceGround, SurfaceTop)
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
	if !info.Mode().IsRegular() { // a pipe may have no end, or never begin
		return nil, fmt.Errorf("terrain %s: is not a regular file: save it to disk first", source.Path)
	}
	ref, err := refByContent(source.Path, info, source)
	if err != nil {
		return nil, err
	}
	return []foundFile{ref}, nil
}

func discoverFolder(source Source) ([]foundFile, error) {
	var refs []foundFile
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
		return nil, fmt.Errorf("terrain %s: no tile in this folder (links to other folders are not followed): name the folder that holds files such as N55W003.hgt or .tif", source.Path)
	}
	return refs, nil
}

func looksLikeTile(name string) bool {
	if strings.HasPrefix(name, ".") {
		return false
	}
	if namedHGT(name) || namedRaster(name) {
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
func refByName(path string, source Source) (ref foundFile, ok bool, err error) {
	info, err := os.Stat(path)
	if err != nil {
		return foundFile{}, false, fmt.Errorf("terrain %s: cannot be read (%w): check the file", path, cause(err))
	}
	if !info.Mode().IsRegular() {
		return foundFile{}, false, nil
	}
	latDeg, lonDeg, placed := parsePosition(path)
	_, sized := postsOf(info.Size())
	switch {
	case !placed || namedRaster(path):
		ref, err = refByContent(path, info, source)
		return ref, err == nil, err
	case hasExtension(path, ".hgt") && !sized, !namedHGT(path) && hasExtension(path, ".zip"):
		ok, err = holdsTile(path, info.Size())
		if err != nil || !ok {
			return foundFile{}, false, err
		}
	}
	return foundHGT(path, info, source, latDeg, lonDeg), true, nil
}

// holdsTile looks into a .hgt of an odd size, which may be packed under a plain name, and into a .zip that may hold other
// things of the same place, such as water masks.
func holdsTile(path string, size int64) (bool, error) {
	file, err := os.Open(path)
	if err != nil {
		return false, fmt.Errorf("terrain %s: cannot be opened (%w): check its permissions", path, cause(err))
	}
	defer file.Close()
	packing, err := packingOf(file)
	if err != nil {
		return true, nil // the store will say so
	}
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

func foundHGT(path string, info fs.FileInfo, source Source, latDeg, lonDeg int) foundFile {
	return foundFile{FileRef{Path: path, Bytes: info.Size(), Format: FormatHGT, Source: source, modified: info.ModTime()}, []cell{cellOf(latDeg, lonDeg)}}
}

// CheckUnchanged returns an error where the file is no longer of the size and the time of change that it was found with: what was read of it
// may then be of two files. The error is ErrGone where it is not there any more.
func (f *FileRef) CheckUnchanged() error {
	info, err := os.Stat(f.Path)
	if err != nil {
		return fmt.Errorf("terrain %s: %w (%w): start again", f.Path, ErrGone, cause(err))
	}
	if info.Size() != f.Bytes || !info.ModTime().Equal(f.modified) {
		return changed(f.Path)
	}
	return nil
}

// ErrGone marks a file that was found and cannot be found again.
var ErrGone = errors.New("is gone since it was found")

func refByContent(path string, info fs.FileInfo, source Source) (foundFile, error) {
	r, err := openRaster(path)
	if err != nil {
		return foundFile{}, err
	}
	defer r.close()
	if t, ok := r.reader.(tileReader); ok {
		return foundHGT(path, info, source, t.LatDeg, t.LonDeg), nil
	}
	f := foundFile{FileRef: FileRef{Path: path, Bytes: info.Size(), Format: r.format, Source: source, modified: info.ModTime(), lat: r.lat, lon: r.lon}, cells: r.cells()}
	if len(f.cells) == 0 {
		return foundFile{}, fmt.Errorf("terrain %s: too small, no post lies inside a cell of 1°: leave it out", path)
	}
	if err := f.stated(r.verticalEPSG); err != nil {
		return foundFile{}, err
	}
	return f, nil
}

// cells returns the cells of 1° inside of which the raster has posts.
func (r *raster) cells() []cell {
	var cells []cell
	degrees := func(s span) (first, last int) {
		return int(math.Floor(s.deg(0))), int(math.Ceil(s.deg(float64(s.n - 1))))
	}
	south, southLast := degrees(r.lat)
	west, westLast := degrees(r.lon)
	seen := map[cell]bool{}
	for d := south; d <= southLast; d++ {
		if _, n := r.lat.inside(d); n == 0 || d < -90 || d > 89 {
			continue
		}
		for lon := west; lon <= westLast; lon++ {
			if _, n := r.lon.inside(lon); n == 0 {
				continue
			}
			if at := cellOf(-d-1, lon); !seen[at] {
				seen[at] = true
				cells = append(cells, at)
			}
		}
	}
	return cells
}
