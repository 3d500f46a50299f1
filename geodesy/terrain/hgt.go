package terrain

import (
	"archive/zip"
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"

	"farstation/geodesy/terrain/archive"
)

// maxTileBytes is the size of the largest tile, 1″: nothing larger is expanded or read.
const maxTileBytes = 3601 * 3601 * 2

// minTilePosts keeps a stray file of a few bytes from passing as a tile. Tiles coarser than 3″ are of use in tests and demos.
const minTilePosts = 61

// tilePosition matches the corner in a tile's name: N55W003.hgt, n55w003.SRTMGL1.hgt, NASADEM_HGT_n55w003.zip.
var tilePosition = regexp.MustCompile(`(?i)(?:^|[^0-9a-z])([NS])(\d\d)([EW])(\d\d\d)(?:[^0-9a-z]|$)`)

// errTooLarge is wrapped by the message that names the file.
var errTooLarge = fmt.Errorf("holds more than the %d bytes of the largest tile (1″)", maxTileBytes)

// No land lies outside these heights in metres.
const lowestPostM, highestPostM = -500, 9000

// DecodeHGT decodes a tile in the SRTM layout (NASA/USGS, SRTM Topography documentation, sections 2.1 and 3): N × N big-endian
// int16 heights in metres over the EGM96 geoid, north to south and west to east, edges included, N = 1201 (3″) or 3601 (1″).
// Any other N of at least 61 whose posts are a whole number of arc seconds apart is read too.
//
// The data may be plain, gzip or zip with one .hgt member, which is told by content. The name gives the south-west corner
// (N55W003.hgt, upper or lower case, folders ignored); a zip member's own name may give it as well, and must then agree.
// Heights below −500 m or above 9,000 m, which no land has, become Void: sets mark voids by −32768, −32767 or −9999. Land below the sea is
// real and stays.
// Every error names the file, what is wrong with it and what to do.
func DecodeHGT(name string, data []byte) (*Tile, error) {
	return decode(name, bytes.NewReader(data), int64(len(data)))
}

// readHGT decodes the tile in a file.
func readHGT(path string) (*Tile, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("terrain %s: cannot be opened (%w): check the path and its permissions", path, cause(err))
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return nil, cannotRead(path, err)
	}
	return decode(path, file, info.Size())
}

func decode(name string, r io.ReaderAt, size int64) (*Tile, error) {
	packing, err := packingOf(r)
	switch {
	case err != nil:
		return nil, cannotRead(name, err)
	case packing == zipped:
		return decodeZip(name, r, size)
	case packing == gzipped:
		return decodeGzip(name, r, size)
	}
	latDeg, lonDeg, err := onePosition(name, "")
	if err != nil {
		return nil, err
	}
	if _, ok := postsOf(size); !ok {
		return nil, wrongSize(name, "", size)
	}
	data, err := readBounded(io.NewSectionReader(r, 0, size), size)
	if err != nil {
		return nil, cannotRead(name, err)
	}
	return newTile(name, "", latDeg, lonDeg, data)
}

func decodeZip(name string, r io.ReaderAt, size int64) (*Tile, error) {
	member, err := zipMember(name, r, size)
	if err != nil {
		return nil, err
	}
	latDeg, lonDeg, err := onePosition(name, member.Name)
	if err != nil {
		return nil, err
	}
	if member.UncompressedSize64 > maxTileBytes+1 {
		return nil, fmt.Errorf("terrain %s: %s %w: it is no tile, leave it out", name, member.Name, errTooLarge)
	}
	content, err := member.Open()
	if err != nil {
		return nil, cannotExpand(name, err)
	}
	defer content.Close()
	data, err := readBounded(content, int64(member.UncompressedSize64))
	if err != nil {
		return nil, cannotExpand(name, err)
	}
	return newTile(name, member.Name, latDeg, lonDeg, data)
}

func decodeGzip(name string, r io.ReaderAt, size int64) (*Tile, error) {
	content, err := gzip.NewReader(bufio.NewReader(io.NewSectionReader(r, 0, size)))
	if err != nil {
		return nil, cannotExpand(name, err)
	}
	latDeg, lonDeg, err := onePosition(name, content.Name)
	if err != nil {
		return nil, err
	}
	// The last four bytes give the expanded size (RFC 1952, section 2.3.1).
	var trailer [4]byte
	r.ReadAt(trailer[:], max(size-4, 0))
	data, err := readBounded(content, int64(binary.LittleEndian.Uint32(trailer[:])))
	if err != nil {
		return nil, cannotExpand(name, err)
	}
	return newTile(name, "", latDeg, lonDeg, data)
}

// newTile makes a tile of its bytes; member is the name inside an archive, where there is one.
func newTile(name, member string, latDeg, lonDeg int, data []byte) (*Tile, error) {
	n, ok := postsOf(int64(len(data)))
	if !ok {
		return nil, wrongSize(name, member, int64(len(data)))
	}
	posts := make([]int16, n*n)
	refused := 0
	for i := range posts {
		if posts[i] = int16(binary.BigEndian.Uint16(data[2*i:])); posts[i] < lowestPostM || posts[i] > highestPostM {
			if !voidMark(float64(posts[i])) {
				refused++
			}
			posts[i] = Void
		}
	}
	lattice := evenLattice(n)
	return &Tile{
		Name: filepath.Base(name), LatDeg: latDeg, LonDeg: lonDeg, Rows: lattice, Cols: lattice, Posts: posts, Surface: SurfaceGround, Refused: refused,
	}, nil
}

// voidMark tells whether a height that no land has is one by which sets commonly mark voids.
func voidMark(heightM float64) bool {
	return heightM == -32768 || heightM == -32767 || heightM == -9999
}

type packing int

const (
	plain packing = iota
	zipped
	gzipped
)

// packingOf tells by the first bytes. Read as heights they would be 20,555 m, or 8,075 m one post beside at most 2,303 m.
func packingOf(r io.ReaderAt) (packing, error) {
	var head [3]byte
	n, err := r.ReadAt(head[:], 0)
	switch {
	case err != nil && err != io.EOF:
		return plain, err
	case n >= 2 && head[0] == 'P' && head[1] == 'K':
		return zipped, nil
	case n == 3 && head == [3]byte{0x1f, 0x8b, 8}:
		return gzipped, nil
	}
	return plain, nil
}

// zipMember finds the one .hgt member. Nothing is ever written under a member's name, but one that leads out of the archive
// shows that the file is not what it seems.
func zipMember(name string, r io.ReaderAt, size int64) (*zip.File, error) {
	members, err := archive.Open(r, size)
	if err != nil {
		return nil, cannotExpand(name, err)
	}
	var found *zip.File
	for _, member := range members.File {
		base := path.Base(member.Name)
		// Archives made on a Mac carry a shadow "._" of every file.
		if !hasExtension(base, ".hgt") || strings.HasPrefix(base, "._") {
			continue
		}
		if !filepath.IsLocal(member.Name) || strings.Contains(member.Name, `\`) {
			return nil, fmt.Errorf("terrain %s: member %q leads out of the archive: download the tile from its publisher", name, member.Name)
		}
		if found != nil {
			return nil, fmt.Errorf("terrain %s: holds several tiles (%s, %s): unpack it into a folder", name, found.Name, member.Name)
		}
		found = member
	}
	if found == nil {
		return nil, fmt.Errorf("terrain %s: holds no .hgt file: %w", name, errNoTile)
	}
	return found, nil
}

// errNoTile marks an archive of something else.
var errNoTile = errors.New("it is no tile, leave it out")

// onePosition returns the corner that the file's name and its inner name (which may be empty) agree on.
func onePosition(name, inner string) (latDeg, lonDeg int, err error) {
	latDeg, lonDeg, ok := parsePosition(name)
	innerLatDeg, innerLonDeg, innerOK := parsePosition(inner)
	switch {
	case ok && innerOK && (latDeg != innerLatDeg || lonDeg != innerLonDeg):
		return 0, 0, fmt.Errorf("terrain %s: holds %s, another place: rename the file", name, inner)
	case ok:
		return latDeg, lonDeg, nil
	case innerOK:
		return innerLatDeg, innerLonDeg, nil
	}
	return 0, 0, fmt.Errorf("terrain %s: the name holds no position such as N55W003: rename the file after its south-west corner", name)
}

// parsePosition reads the south-west corner from a base name. S00 and W000 would be ambiguous and are refused.
func parsePosition(name string) (latDeg, lonDeg int, ok bool) {
	match := tilePosition.FindStringSubmatch(path.Base(filepath.ToSlash(name)))
	if match == nil {
		return 0, 0, false
	}
	latDeg, _ = strconv.Atoi(match[2])
	lonDeg, _ = strconv.Atoi(match[4])
	if strings.EqualFold(match[1], "S") {
		ok = latDeg >= 1 && latDeg <= 90
		latDeg = -latDeg
	} else {
		ok = latDeg <= 89
	}
	if strings.EqualFold(match[3], "W") {
		ok = ok && lonDeg >= 1 && lonDeg <= 180
		lonDeg = -lonDeg
	} else {
		ok = ok && lonDeg <= 179
	}
	return latDeg, lonDeg, ok
}

// postsOf returns the posts a side of a tile of so many bytes.
func postsOf(size int64) (n int, ok bool) {
	if size < 2*minTilePosts*minTilePosts || size > maxTileBytes {
		return 0, false
	}
	for n = minTilePosts; 2*int64(n)*int64(n) < size; n++ {
	}
	return n, 2*int64(n)*int64(n) == size && 3600%(n-1) == 0
}

// readBounded reads all of r, at most one tile. The hint is what it claims to hold, which only saves memory when true.
func readBounded(r io.Reader, hint int64) ([]byte, error) {
	var buffer bytes.Buffer
	buffer.Grow(int(min(hint, maxTileBytes)) + bytes.MinRead)
	n, err := buffer.ReadFrom(io.LimitReader(r, maxTileBytes+2))
	if err != nil {
		return nil, err
	}
	if n > maxTileBytes+1 {
		return nil, errTooLarge
	}
	return buffer.Bytes(), nil
}

func wrongSize(name, member string, size int64) error {
	if member != "" {
		name += ": " + member
	}
	return fmt.Errorf("terrain %s: %d bytes, want %d (3″) or %d (1″): download the tile again", name, size, 1201*1201*2, maxTileBytes)
}

func cannotRead(name string, err error) error {
	return fmt.Errorf("terrain %s: cannot be read (%w): check the disk", name, cause(err))
}

func cannotExpand(name string, err error) error {
	var system syscall.Errno
	if errors.As(err, &system) {
		return cannotRead(name, err)
	}
	if errors.Is(err, errTooLarge) {
		return fmt.Errorf("terrain %s: %w: it is no tile, leave it out", name, err)
	}
	return fmt.Errorf("terrain %s: cannot be expanded (%w): download the tile again", name, err)
}

// cause strips operation and path from an error of package os, which our messages name themselves.
func cause(err error) error {
	var pathError *os.PathError
	if errors.As(err, &pathError) {
		return pathError.Err
	}
	return err
}

func hasExtension(name, extension string) bool {
	return len(name) >= len(extension) && strings.EqualFold(name[len(name)-len(extension):], extension)
}
