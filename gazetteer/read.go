package gazetteer

import (
	"archive/zip"
	"bufio"
	"bytes"
	"compress/bzip2"
	"compress/flate"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"farstation/geodesy/terrain/archive"
)

const (
	// headBytes is how much of a file its format is told from.
	headBytes = 64 << 10
	// maxNesting is how many packings may lie around a text: a .gz inside a .zip is 2.
	maxNesting        = 2
	maxRejectedListed = 20
	maxKindsListed    = 1000
	// A gazetteer shrinks to a tenth or so. A file that grows beyond both of these bounds is not one.
	alwaysUnpackedBytes = 64 << 20
	maxExpansion        = 200
)

// ReadOptions bound what a file may ask of the machine. Zero values are the defaults.
type ReadOptions struct {
	// MaxLineBytes is the longest line, or quoted record of several lines, that is read; longer ones are rejected rows.
	// Default 1 MiB.
	MaxLineBytes int
	// AsListed believes a summit that is listed at exactly 0 m, which otherwise counts as a height that is not known.
	AsListed bool
}

// Report says what ReadFile found. Every row is used, passed over or rejected.
type Report struct {
	// Format is the name of the format: "osm.pbf", "osm", "geonames", "gnis", "dof", "geojson" or "csv".
	Format, Licence, Attribution string
	// Rows counts the rows of data: no header, no empty lines.
	Rows, Used, PassedOver, RejectedRows int
	// PassedOverKinds counts the rows passed over by what the file calls their kind.
	PassedOverKinds map[string]int
	// Rejected lists the first 20 rejected rows.
	Rejected []Rejected
	// MembersPassedOver names the members of an archive that are no gazetteer, such as a readme.
	MembersPassedOver []string
	// Bytes and SHA256 (lower-case hexadecimal) are those of the file as it lies on disk.
	Bytes  int64
	SHA256 string
}

// ReadFile hands the features of a gazetteer extract to emit, in the order of the file. The format is told by content, not by
// name; the text may be packed as zip, gzip or bzip2. It is streamed: memory holds one line and the ids of the features used.
// Rows that cannot be used are counted and reported. A file that cannot be, or none of whose rows can, is an error that says what
// to do; features already emitted are then to be thrown away. An error of emit ends the reading and is wrapped.
func ReadFile(ctx context.Context, path string, opts ReadOptions, emit func(Feature) error) (Report, error) {
	if opts.MaxLineBytes <= 0 {
		opts.MaxLineBytes = 1 << 20
	}
	report := Report{PassedOverKinds: map[string]int{}}
	out := &sink{emit: emit, report: &report, options: opts, ids: map[string]int{}}
	if err := readFile(ctx, path, out); err != nil {
		return report, fmt.Errorf("features %s: %w", path, explain(err))
	}
	return report, nil
}

func readFile(ctx context.Context, path string, out *sink) error {
	info, err := os.Stat(path) // before it is opened, which a pipe may keep waiting
	switch {
	case err != nil:
		return cannotOpen(err)
	case info.IsDir():
		return errors.New("is a folder: name the file inside it")
	case !info.Mode().IsRegular():
		return errors.New("is not a regular file: save it to disk first")
	}
	file, err := os.Open(path)
	if err != nil {
		return cannotOpen(err)
	}
	defer file.Close()
	info, err = file.Stat()
	switch {
	case err != nil:
		return err
	case info.Size() == 0:
		return errors.New("is empty: download or export it again")
	}
	out.report.Bytes = info.Size()
	sum := sha256.New()
	if _, err := io.Copy(sum, contextReader{ctx, file}); err != nil {
		return err
	}
	out.report.SHA256 = hex.EncodeToString(sum.Sum(nil))
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return err
	}
	u := &unpacker{ctx: ctx, out: out, budget: max(alwaysUnpackedBytes, maxExpansion*info.Size())}
	var magic [4]byte
	if n, err := file.ReadAt(magic[:], 0); err != nil && err != io.EOF {
		return err
	} else if isZip(magic[:n]) {
		if err := u.readZip(file, info.Size()); err != nil {
			return err
		}
	} else if err := u.read(func() (io.ReadCloser, error) {
		return io.NopCloser(io.NewSectionReader(file, 0, info.Size())), nil
	}, 0); err != nil {
		return err
	}
	after, err := file.Stat()
	if err != nil {
		return err
	}
	if after.Size() != info.Size() || !after.ModTime().Equal(info.ModTime()) {
		return errors.New("was changed while it was read: wait until it is complete and run again")
	}
	if r := out.report; r.Rows > 0 && r.RejectedRows == r.Rows {
		return fmt.Errorf("none of its %d rows can be used; line %d: %s", r.Rows, r.Rejected[0].Line, r.Rejected[0].Reason)
	}
	return nil
}

// cannotOpen leaves out the path, which is already named.
func cannotOpen(err error) error {
	var failed *os.PathError
	if errors.As(err, &failed) {
		err = failed.Err
	}
	return fmt.Errorf("cannot be opened: %w: check the path", err)
}

// unpacker finds the text inside a file and its format.
type unpacker struct {
	ctx context.Context
	out *sink
	// budget is how many more bytes may come out of packings.
	budget int64
}

var (
	errExpands = fmt.Errorf("unpacks to more than %d times its size: this is no gazetteer", maxExpansion)
	errNotOurs = errors.New("not a format that farstation reads (OpenStreetMap .osm.pbf or .osm; GeoNames dump; GNIS; FAA Digital Obstacle File, .dat; GeoJSON; CSV with a header)")
)

// read reads a text that open gives as often as it is asked. The text may be packed, and is inside depth packings already.
func (u *unpacker) read(open func() (io.ReadCloser, error), depth int) error {
	again := *u // each pass may unpack as much as the first
	raw, err := open()
	if err != nil {
		return err
	}
	defer raw.Close()
	text, head, cut, err := u.unpack(raw, depth)
	if err != nil {
		return err
	}
	return u.readText(text, head, cut, func() (io.ReadCloser, error) {
		pass := again
		raw, err := open()
		if err != nil {
			return nil, err
		}
		text, _, _, err := pass.unpack(raw, depth)
		if err != nil {
			_ = raw.Close() // only read from
			return nil, err
		}
		return struct {
			io.Reader
			io.Closer
		}{text, raw}, nil
	})
}

// unpack takes the packings off a text that is inside depth packings already. It returns the first bytes too; cut says that more follow.
func (u *unpacker) unpack(raw io.Reader, depth int) (text *bufio.Reader, head []byte, cut bool, err error) {
	if depth > 0 {
		raw = boundedReader{raw, &u.budget}
	}
	for ; ; depth++ {
		text = bufio.NewReaderSize(contextReader{u.ctx, raw}, headBytes)
		head, err = text.Peek(headBytes)
		if err != nil && err != io.EOF {
			return nil, nil, false, err
		}
		cut = err == nil
		var unpacked io.Reader
		switch {
		case bytes.HasPrefix(head, []byte("\x1f\x8b")):
			if unpacked, err = gzip.NewReader(text); err != nil {
				return nil, nil, false, err
			}
		case bytes.HasPrefix(head, []byte("BZh")) && len(head) > 3 && head[3] >= '1' && head[3] <= '9':
			unpacked = bzip2.NewReader(text)
		case isZip(head):
			return nil, nil, false, errors.New("holds a zip inside another archive: unpack the outer one first")
		default:
			return text, head, cut, nil
		}
		if depth == maxNesting {
			return nil, nil, false, fmt.Errorf("is packed more than %d times over: unpack it first", maxNesting)
		}
		raw = boundedReader{unpacked, &u.budget}
	}
}

func (u *unpacker) readText(text io.Reader, head []byte, cut bool, again func() (io.ReadCloser, error)) error {
	if bytes.HasPrefix(head, []byte("\xff\xfe")) || bytes.HasPrefix(head, []byte("\xfe\xff")) {
		return errors.New("is UTF-16: save it as UTF-8")
	}
	if len(bytes.TrimSpace(head)) == 0 && !cut {
		return fmt.Errorf("%w: it holds no text", errNotOurs)
	}
	var near []string
	for _, format := range formats() {
		ok, why := format.fits(head, cut)
		if why != "" {
			near = append(near, why)
		}
		if !ok {
			continue
		}
		report := u.out.report
		if report.Format != "" && report.Format != format.name {
			return fmt.Errorf("holds both %s and %s: unpack it and name its members one by one", report.Format, format.name)
		}
		report.Format, report.Licence, report.Attribution = format.name, format.licence, format.attribution
		if format.readAgain != nil {
			return format.readAgain(again, u.out)
		}
		return format.read(text, u.out)
	}
	if cut { // a character may be cut too
		for !utf8.RuneStart(head[len(head)-1]) && len(head) > 1 {
			head = head[:len(head)-1]
		}
		head = head[:len(head)-1]
	}
	if bytes.IndexByte(head, 0) >= 0 || !utf8.Valid(head) {
		return fmt.Errorf("%w: it is not text", errNotOurs)
	}
	if len(near) == 0 {
		return errNotOurs
	}
	return fmt.Errorf("%w: %s", errNotOurs, strings.Join(near, "; "))
}

// readZip reads every member that is a gazetteer. Those that are not are named in the report; if all are not, that is an error.
func (u *unpacker) readZip(file io.ReaderAt, size int64) error {
	members, err := archive.Open(file, size)
	if err != nil {
		return err
	}
	var refused error
	read := 0
	for _, member := range members.File {
		base := member.Name[strings.LastIndexByte(member.Name, '/')+1:]
		if member.FileInfo().IsDir() || strings.HasPrefix(base, ".") || strings.HasPrefix(member.Name, "__MACOSX/") {
			continue
		}
		// Nothing is unpacked to disk, but whoever made such a name meant harm.
		if !filepath.IsLocal(strings.ReplaceAll(member.Name, `\`, "/")) {
			return fmt.Errorf("member %s leads out of the archive: download it from its publisher", member.Name)
		}
		if member.Flags&1 != 0 {
			return fmt.Errorf("member %s is encrypted: unpack it first", member.Name)
		}
		u.out.member = member.Name
		err := u.read(member.Open, 1)
		switch {
		case errors.Is(err, errNotOurs):
			u.out.report.MembersPassedOver = append(u.out.report.MembersPassedOver, member.Name)
			if refused == nil {
				refused = fmt.Errorf("member %s: %w", member.Name, err)
			}
		case err != nil:
			return fmt.Errorf("member %s: %w", member.Name, err)
		default:
			read++
		}
	}
	switch {
	case read > 0:
		return nil
	case refused != nil:
		return refused
	}
	return errors.New("is an archive without members: download it again")
}

func isZip(head []byte) bool {
	return bytes.HasPrefix(head, []byte("PK\x03\x04")) || bytes.HasPrefix(head, []byte("PK\x05\x06"))
}

// explain adds to errors of packings what to do about them.
func explain(err error) error {
	var corrupt flate.CorruptInputError
	var structural bzip2.StructuralError
	switch {
	case errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("is cut short: download it again: %w", err)
	case errors.Is(err, zip.ErrFormat), errors.Is(err, zip.ErrChecksum), errors.Is(err, gzip.ErrChecksum), errors.Is(err, gzip.ErrHeader),
		errors.As(err, &corrupt), errors.As(err, &structural):
		return fmt.Errorf("is cut short or damaged: download it again: %w", err)
	case errors.Is(err, zip.ErrAlgorithm):
		return fmt.Errorf("is packed in a way that cannot be read: unpack it first: %w", err)
	}
	return err
}

// contextReader ends reading when the context does.
type contextReader struct {
	ctx context.Context
	r   io.Reader
}

func (c contextReader) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.r.Read(p)
}

// boundedReader takes what it reads from a budget that all packings of a file share.
type boundedReader struct {
	r      io.Reader
	budget *int64
}

func (b boundedReader) Read(p []byte) (int, error) {
	n, err := b.r.Read(p)
	if *b.budget -= int64(n); *b.budget < 0 {
		return 0, errExpands
	}
	return n, err
}
