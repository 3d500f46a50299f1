package pipeline

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"reflect"
	"runtime"

	"github.com/klauspost/compress/zstd"

	"farstation/geodesy/terrain"
)

// fingerprint tells whether two things are the same: the first half of a SHA-256.
type fingerprint [16]byte

func fingerprintOf(b []byte) fingerprint {
	sum := sha256.Sum256(b)
	return fingerprint(sum[:16])
}

// recordsHead is what the records of a file depend on, and where each stands.
type recordsHead struct {
	// Form is recordsForm; Run the fingerprint of program, parameters and what the whole region decides.
	Form string
	Run  fingerprint
	// Cells are the terrain, sorted by corner; Features all features, sorted by id.
	Cells     []cellPrint
	Features  []featurePrint
	Observers []recordPlace
}

// recordsForm names the layout; another layout has another number.
const recordsForm = "farstation records 1"

// cellPrint is a cell of 1° by its south-west corner: the fingerprint of the files that serve it, or that of land without any.
type cellPrint struct {
	LatDeg, LonDeg int
	Print          fingerprint
}

// featurePrint is a settled feature. Target is false where it is of a kind that is not looked at; ReachM is that of its top.
type featurePrint struct {
	ID             string
	Print          fingerprint
	LatDeg, LonDeg float64
	Target         bool
	ReachM         float64
}

// recordPlace says where the record of an observer stands, counted from the end of the head.
type recordPlace struct {
	ID            string
	Offset, Bytes int
}

// Records are what tracing gave, observer by observer: enough to make the whole result again without a walk.
type Records struct {
	head   *recordsHead
	spill  *spill
	frames []blockAt // packed, in the order of head.Observers
}

// newHead describes the world that records are made in, still without observers.
func newHead(opts *Options, build string, world *World, plan *plan) (*recordsHead, error) {
	h := &recordsHead{Form: recordsForm}
	var err error
	if h.Run, err = runPrint(opts, build, plan); err != nil {
		return nil, err
	}
	if h.Cells, err = world.cellPrints(); err != nil {
		return nil, err
	}
	h.Features = make([]featurePrint, len(world.Features))
	for i := range world.Features {
		f := world.Features[i]
		f.Line = 0 // a row that moved within its file is the same
		h.Features[i] = featurePrint{ID: f.ID, Print: fingerprintOf(appendWire(nil, reflect.ValueOf(f))), LatDeg: f.At.LatDeg, LonDeg: f.At.LonDeg}
	}
	for c, i := range plan.targets {
		h.Features[i].Target, h.Features[i].ReachM = true, plan.tree.ends[c].ReachM
	}
	return h, nil
}

// runPrint is the fingerprint of the program and of all that every line depends on.
func runPrint(opts *Options, build string, plan *plan) (fingerprint, error) {
	o := *opts
	// These choose among features and lines or are stated feature by feature, cell by cell; no line depends on them.
	o.Features, o.FeatureTerms, o.Terrain, o.Area, o.ObserverKinds, o.TargetKinds = nil, nil, nil, nil, nil, nil
	o.Top, o.RankForPicture, o.Weights, o.ObserverPlace = 0, false, nil, ""
	text, err := json.Marshal(struct {
		Options
		Build, Layout     string
		LowestM, HighestM float64
	}{o, build, wireLayout(reflect.TypeFor[observerRecord]()), plan.lowestM, plan.highestM})
	return fingerprintOf(text), err
}

// Build names the program: version, processor family, and the beginning of the SHA-256 of its file, which no commit or number need tell. Rows of
// one build are the same to the bit; those of another may not be.
func Build() (string, error) {
	sum, err := terrain.ProgramSHA256()
	if err != nil {
		return "", fmt.Errorf("the program cannot read its own file (%w): let the user who runs it read it too", pathError(err))
	}
	return fmt.Sprintf("%s %s %s", Version, runtime.GOARCH, sum[:16]), nil
}

// The file is one of Zstandard's: a skippable frame (RFC 8878, section 3.1.2) that holds the length of the next, the packed head, and a frame
// for each observer.
const (
	skippableMagic = 0x184D2A50
	prefixBytes    = 4 + 4 + 8
)

// Write writes the records. The same records give the same bytes.
func (r *Records) Write(w io.Writer) error {
	packer, err := newPacker()
	if err != nil {
		return err
	}
	r.head.place(r.frames)
	head := packer.EncodeAll(appendWire(nil, reflect.ValueOf(r.head).Elem()), nil)
	prefix := binary.LittleEndian.AppendUint32(nil, skippableMagic)
	prefix = binary.LittleEndian.AppendUint32(prefix, 8)
	prefix = binary.LittleEndian.AppendUint64(prefix, uint64(len(head)))
	for _, part := range [][]byte{prefix, head} {
		if _, err := w.Write(part); err != nil {
			return err
		}
	}
	return r.spill.copyTo(w, r.frames)
}

// place sets where the frames stand.
func (h *recordsHead) place(frames []blockAt) {
	offset := 0
	for i, frame := range frames {
		h.Observers[i].Offset, h.Observers[i].Bytes = offset, frame.bytes
		offset += frame.bytes
	}
}

// newPacker returns what packs frames, each in the goroutine that asks, so that the bytes do not depend on the number of cores.
func newPacker() (*zstd.Encoder, error) { return zstd.NewWriter(nil) }

// RecordsFile is an open file of records. It is safe for concurrent use.
type RecordsFile struct {
	path     string
	file     *os.File
	unpacker *zstd.Decoder
	head     recordsHead
	base     int64
}

// ErrNoRecords marks records that cannot be used, though nothing but time is lost with them.
var ErrNoRecords = errors.New("no records to reuse")

// mostUnpacked bounds what one frame may unpack to.
const mostUnpacked = 4 << 30

// OpenRecords opens a file that Records.Write made. Whatever else it finds is ErrNoRecords.
func OpenRecords(path string) (_ *RecordsFile, err error) {
	fail := func(why any) (*RecordsFile, error) { return nil, fmt.Errorf("%w: %s: %v", ErrNoRecords, path, why) }
	file, err := OpenRegular(path)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNoRecords, err)
	}
	defer func() {
		if err != nil {
			file.Close()
		}
	}()
	prefix := make([]byte, prefixBytes)
	if _, err := io.ReadFull(file, prefix); err != nil || binary.LittleEndian.Uint32(prefix) != skippableMagic || binary.LittleEndian.Uint32(prefix[4:]) != 8 {
		return fail("not a file of records")
	}
	info, err := file.Stat()
	if err != nil {
		return fail(err)
	}
	length := binary.LittleEndian.Uint64(prefix[8:])
	if length > uint64(info.Size()) {
		return fail("cut short")
	}
	unpacker, err := zstd.NewReader(nil, zstd.WithDecoderMaxMemory(mostUnpacked))
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			unpacker.Close()
		}
	}()
	r := &RecordsFile{path: path, file: file, unpacker: unpacker, base: prefixBytes + int64(length)}
	head, err := r.unpack(prefixBytes, int(length))
	if err != nil {
		return fail(err)
	}
	if err := readWire(head, &r.head); err != nil || r.head.Form != recordsForm {
		return fail("of another layout")
	}
	return r, nil
}

// Close closes the file and lets go of what it told of features and observers.
func (r *RecordsFile) Close() error {
	r.head = recordsHead{}
	r.unpacker.Close()
	return r.file.Close()
}

func (r *RecordsFile) packed(offset int64, n int) ([]byte, error) {
	if n < 0 || offset < 0 {
		return nil, errWire
	}
	info, err := r.file.Stat()
	if err != nil {
		return nil, err
	}
	if offset+int64(n) > info.Size() {
		return nil, io.ErrUnexpectedEOF
	}
	frame := make([]byte, n)
	_, err = r.file.ReadAt(frame, offset)
	return frame, err
}

func (r *RecordsFile) unpack(offset int64, n int) ([]byte, error) {
	frame, err := r.packed(offset, n)
	if err != nil {
		return nil, err
	}
	return r.unpackFrame(frame)
}

// Records shrink to a fifth or so. A frame that grows beyond both of these bounds holds none.
const (
	alwaysUnpacked  = 16 << 20
	mostRecordsGrow = 200
)

// smallFrame is the length up to which a frame need not state how much it holds: blocks of four bytes unpack to 128 KiB at most.
const smallFrame = 512

// unpackFrame unpacks a frame.
func (r *RecordsFile) unpackFrame(frame []byte) ([]byte, error) {
	var head zstd.Header
	if err := head.Decode(frame); err != nil {
		return nil, err
	}
	most := uint64(max(alwaysUnpacked, mostRecordsGrow*len(frame)))
	if head.HasFCS && head.FrameContentSize > most || !head.HasFCS && len(frame) > smallFrame {
		return nil, fmt.Errorf("%d bytes are to unpack to more than %d", len(frame), most)
	}
	return r.unpacker.DecodeAll(frame, make([]byte, 0, head.FrameContentSize))
}

// observer returns the record of an observer, packed and not.
func (r *RecordsFile) observer(index int) (*observerRecord, []byte, error) {
	place := r.head.Observers[index]
	frame, err := r.packed(r.base+int64(place.Offset), place.Bytes)
	if err != nil {
		return nil, nil, err
	}
	text, err := r.unpackFrame(frame)
	if err != nil {
		return nil, nil, err
	}
	rec, err := decodeObserver(text)
	return rec, frame, err
}
