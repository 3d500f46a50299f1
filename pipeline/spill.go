package pipeline

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"reflect"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// spill is a file of packed blocks for what need not stay in memory. Where the system allows it the file has no name, so that nothing is left
// of it however the program ends. It is safe for concurrent use.
type spill struct {
	file     *os.File
	packer   *zstd.Encoder
	unpacker *zstd.Decoder
	named    bool

	mu  sync.Mutex
	end int64
}

// blockAt says where a block of a spill stands.
type blockAt struct {
	offset int64
	bytes  int
}

// newSpill makes a spill in a folder, that for temporary files where it is empty.
func newSpill(folder string) (*spill, error) {
	s := &spill{}
	var err error
	if s.file, err = unnamedFile(cmp.Or(folder, os.TempDir())); err != nil {
		if s.file, err = os.CreateTemp(folder, ".farstation-spill-*"); err != nil {
			return nil, fmt.Errorf("temporary file: %w", pathError(err))
		}
		s.named = os.Remove(s.file.Name()) != nil
	}
	packer, errPack := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderCRC(true))
	unpacker, err := zstd.NewReader(nil, zstd.WithDecoderMaxMemory(mostUnpacked))
	if errPack != nil || err != nil {
		s.Close()
		return nil, fmt.Errorf("packing of temporary files: %v, %v", errPack, err)
	}
	s.packer, s.unpacker = packer, unpacker
	return s, nil
}

// Close gives up the file and what it holds.
func (s *spill) Close() error {
	if s.unpacker != nil {
		s.unpacker.Close()
	}
	err := s.file.Close()
	if s.named {
		err = os.Remove(s.file.Name())
	}
	return err
}

// add packs bytes and adds them.
func (s *spill) add(b []byte) (blockAt, error) { return s.addPacked(s.packer.EncodeAll(b, nil)) }

// addPacked adds bytes as they are.
func (s *spill) addPacked(b []byte) (blockAt, error) {
	s.mu.Lock()
	at := blockAt{s.end, len(b)}
	s.end += int64(len(b))
	s.mu.Unlock()
	if _, err := s.file.WriteAt(b, at.offset); err != nil {
		return at, fmt.Errorf("temporary file: %w: make room, or write the run to a disk that has more", pathError(err))
	}
	return at, nil
}

// packed returns a block as it was added by addPacked.
func (s *spill) packed(at blockAt) ([]byte, error) {
	b := make([]byte, at.bytes)
	if _, err := s.file.ReadAt(b, at.offset); err != nil {
		return nil, fmt.Errorf("temporary file: %w", err)
	}
	return b, nil
}

// read returns what add was given.
func (s *spill) read(at blockAt) ([]byte, error) {
	b, err := s.packed(at)
	if err != nil {
		return nil, err
	}
	if b, err = s.unpacker.DecodeAll(b, nil); err != nil {
		return nil, fmt.Errorf("temporary file: %w", err)
	}
	return b, nil
}

// copyTo writes blocks as they are, one after another.
func (s *spill) copyTo(w io.Writer, blocks []blockAt) error {
	for _, at := range blocks {
		if _, err := io.Copy(w, io.NewSectionReader(s.file, at.offset, int64(at.bytes))); err != nil {
			return err
		}
	}
	return nil
}

// addRows adds rows in their binary form.
func addRows[Row any](s *spill, rows []Row) (blockAt, error) {
	return s.add(appendWire(nil, reflect.ValueOf(rows)))
}

// readRows returns what addRows was given, but for fields that are not exported.
func readRows[Row any](s *spill, at blockAt) ([]Row, error) {
	b, err := s.read(at)
	if err != nil {
		return nil, err
	}
	var rows []Row
	if err := readWire(b, &rows); err != nil {
		return nil, fmt.Errorf("temporary file: %w", err)
	}
	return rows, nil
}
