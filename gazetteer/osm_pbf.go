package gazetteer

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"
	"sync"

	"github.com/klauspost/compress/zlib"
)

// Limits of the PBF format (wiki of OpenStreetMap, PBF Format: a BlobHeader is less than 64 KiB, a Blob at most 32 MiB).
const (
	maxBlobHeaderBytes = 64 << 10
	maxBlobBytes       = 32 << 20
	// maxDeflateRatio is how far DEFLATE can shrink: 258 bytes in 2 bits (RFC 1951).
	maxDeflateRatio = 1032
	osmHeaderBlob   = "OSMHeader"
	osmDataBlob     = "OSMData"
)

var errPBFDamaged = errors.New("is damaged: download the file again")

// fitsOSMPBF tells a PBF by its first blob: four bytes of length, then a header whose first field is the type OSMHeader.
func fitsOSMPBF(head []byte, _ bool) (bool, string) {
	if len(head) < 4 || binary.BigEndian.Uint32(head) >= maxBlobHeaderBytes {
		return false, ""
	}
	return bytes.HasPrefix(head[4:], []byte("\x0a\x09"+osmHeaderBlob)), ""
}

// osmBlock is a blob on its way from the file through a decoder to its turn.
type osmBlock struct {
	blob    []byte
	done    chan struct{}
	objects []osmObject
	count   int
	err     error
	// panicked is the panic of its decoder.
	panicked string
}

// carried is what do panics with, and below it the stack, for another goroutine to panic with; "" where it returns.
func carried(do func()) (panicked string) {
	defer func() {
		if recovered := recover(); recovered != nil {
			panicked = fmt.Sprintf("%v\n%s", recovered, debug.Stack())
		}
	}()
	do()
	return ""
}

// scanOSMPBF reads blobs one after the other, decodes several at a time, and hands on their objects in the order of the file. A panic in any
// of its goroutines becomes one of the caller's, who may tell what was being read.
func scanOSMPBF(text io.Reader, want osmWanted, each func(*osmObject) error) error {
	return scanBlobs(text, func() blobDecoder {
		decoder := osmDecoder{want: want}
		return decoder.decode
	}, each)
}

// blobDecoder decodes a blob of data to the objects that are wanted and the number of all. It keeps memory, and serves one goroutine.
type blobDecoder func(blob []byte) (objects []osmObject, count int, err error)

// scanBlobs is scanOSMPBF with decoders of the caller's.
func scanBlobs(text io.Reader, newDecoder func() blobDecoder, each func(*osmObject) error) error {
	decoders := runtime.GOMAXPROCS(0)
	queue, work := make(chan *osmBlock, 2*decoders), make(chan *osmBlock)
	stop := make(chan struct{})
	var running sync.WaitGroup
	defer running.Wait()
	defer close(stop)
	next := func(blob []byte) bool {
		block := &osmBlock{blob: blob, done: make(chan struct{})}
		for _, to := range []chan<- *osmBlock{queue, work} {
			select {
			case to <- block:
			case <-stop:
				return false
			}
		}
		return true
	}
	var readErr error // these are written before queue is closed, read after
	var readPanicked string
	running.Go(func() {
		defer close(queue)
		defer close(work)
		readPanicked = carried(func() { readErr = readBlobs(text, next) })
	})
	for range decoders {
		running.Go(func() {
			decode := newDecoder()
			for block := range work {
				block.panicked = carried(func() { block.objects, block.count, block.err = decode(block.blob) })
				block.blob = nil
				close(block.done)
			}
		})
	}
	number, blocks := 0, 0
	for block := range queue {
		<-block.done
		blocks++
		if block.panicked != "" {
			panic(block.panicked)
		}
		if block.err != nil {
			return fmt.Errorf("block %d of data: %w", blocks, block.err)
		}
		for i := range block.objects {
			block.objects[i].number += number
			if err := each(&block.objects[i]); err != nil {
				return err
			}
		}
		number += block.count
	}
	if readPanicked != "" {
		panic(readPanicked)
	}
	return readErr
}

// readBlobs checks the header of a PBF and hands every blob of data to next until it returns false. Nothing marks the end of a PBF: one that
// is cut between two blobs looks whole.
func readBlobs(text io.Reader, next func(blob []byte) bool) error {
	for first := true; ; first = false {
		kind, blob, err := readBlob(text)
		switch {
		case err == io.EOF && !first:
			return nil
		case err != nil:
			return cutShort(err)
		case kind == osmHeaderBlob:
			if err := checkOSMHeader(blob); err != nil {
				return err
			}
		case first:
			return fmt.Errorf("begins with a blob of type %q, where a PBF has %s: download it again", shorten(kind), osmHeaderBlob)
		case kind == osmDataBlob: // readers are to skip others
			if !next(blob) {
				return nil
			}
		}
	}
}

// readBlob reads one blob as it lies in the file. io.EOF comes only at the end of the one before.
func readBlob(text io.Reader) (kind string, blob []byte, err error) {
	var length [4]byte
	if _, err := io.ReadFull(text, length[:]); err != nil {
		return "", nil, err
	}
	headerBytes := binary.BigEndian.Uint32(length[:])
	if headerBytes >= maxBlobHeaderBytes {
		return "", nil, fmt.Errorf("a blob's header claims %d bytes, where less than %d are allowed: it %w", headerBytes, maxBlobHeaderBytes, errPBFDamaged)
	}
	header := make([]byte, headerBytes)
	if _, err := io.ReadFull(text, header); err != nil {
		return "", nil, cutShort(err)
	}
	dataBytes := int64(-1)
	w := wire{rest: header}
	for w.next() {
		switch w.field {
		case 1:
			kind = string(w.bytes)
		case 3:
			dataBytes = int64(w.value)
		}
	}
	if w.bad || dataBytes < 0 || dataBytes > maxBlobBytes {
		return "", nil, fmt.Errorf("a blob claims %d bytes, where 0…%d are allowed: it %w", dataBytes, maxBlobBytes, errPBFDamaged)
	}
	blob = make([]byte, dataBytes)
	if _, err := io.ReadFull(text, blob); err != nil {
		return "", nil, cutShort(err)
	}
	return kind, blob, nil
}

// checkOSMHeader refuses files that need more of their reader than is done here.
func checkOSMHeader(blob []byte) error {
	var u blobUnpacker
	data, err := u.unpack(blob)
	if err != nil {
		return fmt.Errorf("header: %w", err)
	}
	w := wire{rest: data}
	for w.next() {
		if w.field != 4 {
			continue
		}
		switch feature := string(w.bytes); feature {
		case "OsmSchema-V0.6", "DenseNodes":
		case "HistoricalInformation":
			return errOSMHistory
		default:
			return fmt.Errorf("needs %q of its reader, which farstation has not: write it anew (osmium cat)", shorten(feature))
		}
	}
	if w.bad {
		return fmt.Errorf("header: %w", errPBFDamaged)
	}
	return nil
}

// blobUnpacker unpacks blobs into memory that it uses again.
type blobUnpacker struct {
	zlib io.ReadCloser
	data []byte
}

// unpack returns what a blob holds, valid until the next call.
func (u *blobUnpacker) unpack(blob []byte) ([]byte, error) {
	const raw, rawSize, zlibData = 1, 2, 3 // fields
	var packed []byte
	size, packing := int64(-1), uint64(0)
	w := wire{rest: blob}
	for w.next() {
		switch w.field {
		case rawSize:
			size = int64(w.value)
		default:
			packed, packing = w.bytes, w.field
		}
	}
	switch {
	case w.bad || packing == 0:
		return nil, errPBFDamaged
	case packing == raw:
		return packed, nil
	case packing != zlibData:
		return nil, errors.New("is packed by other means than zlib: write the file anew (osmium cat -f pbf,pbf_compression=zlib)")
	case size < 0 || size > maxBlobBytes || size > maxDeflateRatio*int64(len(packed)):
		return nil, fmt.Errorf("claims to unpack to %d bytes: it %w", size, errPBFDamaged)
	}
	if err := u.reset(packed); err != nil {
		return nil, fmt.Errorf("%w: %w", errPBFDamaged, err)
	}
	if int64(cap(u.data)) < size {
		u.data = make([]byte, size)
	}
	u.data = u.data[:size]
	if _, err := io.ReadFull(u.zlib, u.data); err != nil {
		return nil, fmt.Errorf("%w: %w", errPBFDamaged, cutShort(err))
	}
	if n, err := u.zlib.Read(make([]byte, 1)); n != 0 || err != io.EOF {
		return nil, fmt.Errorf("unpacks to more than the %d bytes that it claims: it %w", size, errPBFDamaged)
	}
	return u.data, nil
}

func (u *blobUnpacker) reset(packed []byte) (err error) {
	if again, ok := u.zlib.(zlib.Resetter); ok {
		return again.Reset(bytes.NewReader(packed), nil)
	}
	u.zlib, err = zlib.NewReader(bytes.NewReader(packed))
	return err
}

// wire reads the fields of a message of Protocol Buffers (Encoding, protobuf.dev). Nothing in it is trusted.
type wire struct {
	rest []byte
	// field is the number of the field that next has read; its value or its bytes are what it holds.
	field, value uint64
	bytes        []byte
	bad          bool
}

// next reads a field. It is false at the end, and where the message is damaged, which sets bad.
func (w *wire) next() bool {
	if len(w.rest) == 0 || w.bad {
		return false
	}
	tag := w.varint()
	w.field, w.value, w.bytes = tag>>3, 0, nil
	switch tag & 7 {
	case 0:
		w.value = w.varint()
	case 1:
		w.take(8)
	case 2:
		w.bytes = w.take(w.varint())
	case 5:
		w.take(4)
	default:
		w.bad = true
	}
	return !w.bad
}

// varint reads a number; where there is none it is 0, and the message bad.
func (w *wire) varint() uint64 {
	if len(w.rest) > 0 && w.rest[0] < 0x80 { // most of them
		value := w.rest[0]
		w.rest = w.rest[1:]
		return uint64(value)
	}
	value, n := binary.Uvarint(w.rest)
	if n <= 0 {
		w.bad, w.rest = true, nil
		return 0
	}
	w.rest = w.rest[n:]
	return value
}

// signed reads a number in zigzag form.
func (w *wire) signed() int64 { return zigzag(w.varint()) }

func zigzag(value uint64) int64 { return int64(value>>1) ^ -int64(value&1) }

func (w *wire) take(n uint64) []byte {
	if w.bad || n > uint64(len(w.rest)) {
		w.bad, w.rest = true, nil
		return nil
	}
	taken := w.rest[:n]
	w.rest = w.rest[n:]
	return taken
}
