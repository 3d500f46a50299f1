// Package archive opens zip archives in bounded memory.
package archive

import (
	"archive/zip"
	"fmt"
	"io"
)

// Limits of an archive. Those of elevation and gazetteers hold a few files; each member costs memory of its own before any is read.
const (
	maxMembers        = 10_000
	maxDirectoryBytes = 4 << 20
)

var errTooMany = fmt.Errorf("holds more than %d members: unpack it and name the file that is wanted", maxMembers)

// Open reads the directory of a zip archive of size bytes. The error names no file; that of a directory with more than 10,000 members, or of
// more than 4 MiB, says what to do. r is read from as long as members are.
func Open(r io.ReaderAt, size int64) (*zip.Reader, error) {
	directory := &bounded{ReaderAt: r, left: maxDirectoryBytes, counts: true}
	reader, err := zip.NewReader(directory, size)
	if directory.left < 0 || err == nil && len(reader.File) > maxMembers {
		return nil, errTooMany
	}
	directory.counts = false
	return reader, err
}

// bounded ends reading after so many bytes while it counts.
type bounded struct {
	io.ReaderAt
	left   int64
	counts bool
}

func (b *bounded) ReadAt(p []byte, offset int64) (int, error) {
	if b.counts {
		if b.left -= int64(len(p)); b.left < 0 {
			return 0, errTooMany
		}
	}
	return b.ReaderAt.ReadAt(p, offset)
}
