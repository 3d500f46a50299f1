package kept

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// Key stands for all that a file was made of, the way of making it aside.
type Key [sha256.Size]byte

// Folder is the part of a folder that one build of the program uses. It is safe for concurrent use.
type Folder struct{ dir string }

const (
	magic = "farstation kept\n"
	// The head is magic, key, length and sum of what follows.
	lengthAt = len(magic) + sha256.Size
	sumAt    = lengthAt + 8
	headSize = sumAt + 8

	suffix, partSuffix = ".kept", ".part"
	// A file in the making that is older than this is that of a program which was ended.
	partLife = 24 * time.Hour
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Open makes the folder where there is none.
func Open(dir string) (*Folder, error) {
	build, err := buildSum()
	if err != nil {
		return nil, fmt.Errorf("the program cannot read itself: %w", err)
	}
	return open(dir, build)
}

func open(dir, build string) (*Folder, error) {
	f := &Folder{filepath.Join(dir, build)}
	if err := os.MkdirAll(f.dir, 0o755); err != nil {
		return nil, err
	}
	entries, err := os.ReadDir(f.dir)
	if err != nil {
		return nil, err
	}
	for _, entry := range entries {
		if info, err := entry.Info(); err == nil && strings.HasSuffix(entry.Name(), partSuffix) && time.Since(info.ModTime()) > partLife {
			os.Remove(filepath.Join(f.dir, entry.Name()))
		}
	}
	return f, nil
}

// buildSum names the program by what it is: no number needs to be raised when it changes what it makes.
func buildSum() (string, error) {
	sum, err := ProgramSHA256()
	if err != nil {
		return "", err
	}
	return "build-" + sum[:16], nil
}

// ProgramSHA256 is the SHA-256 of the file of the program that runs, in hexadecimal digits.
func ProgramSHA256() (string, error) {
	sum, err := SHA256("/proc/self/exe") // Linux: still the program that runs when its file has been replaced
	if errors.Is(err, fs.ErrNotExist) {
		var path string
		if path, err = os.Executable(); err == nil {
			sum, err = SHA256(path)
		}
	}
	return sum, err
}

// SHA256 returns that of a file's content in hexadecimal digits.
func SHA256(path string) (string, error) {
	file, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer file.Close()
	h := sha256.New()
	if _, err := io.Copy(h, file); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func (f *Folder) path(key Key) string {
	return filepath.Join(f.dir, hex.EncodeToString(key[:])+suffix)
}

// openSized opens a file that may be a kept one.
func openSized(path string) (file *os.File, size int, err error) {
	if file, err = os.Open(path); err != nil {
		return nil, 0, err
	}
	info, err := file.Stat()
	if err == nil && (info.Size() < int64(headSize) || info.Size() != int64(int(info.Size())) || !info.Mode().IsRegular()) {
		err = errors.New("is no kept file")
	}
	if err != nil {
		return nil, 0, errors.Join(err, file.Close())
	}
	return file, int(info.Size()), nil
}

// Get returns the file of a key, nil where there is none or what there is does not hold as it was written.
func (f *Folder) Get(key Key) *File {
	file, err := openFile(f.path(key))
	if err != nil {
		return nil
	}
	data := file.data
	if len(data) < headSize || string(data[:len(magic)]) != magic || Key(data[len(magic):lengthAt]) != key ||
		binary.LittleEndian.Uint64(data[lengthAt:sumAt]) != uint64(len(data)-headSize) ||
		binary.LittleEndian.Uint64(data[sumAt:headSize]) != uint64(crc32.Checksum(data[headSize:], castagnoli)) {
		file.Close()
		return nil
	}
	return file
}

// Put writes the file of a key, in place of one that there may be.
func (f *Folder) Put(key Key, parts ...[]byte) (err error) {
	part, err := os.CreateTemp(f.dir, "*"+partSuffix)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			part.Close()
			os.Remove(part.Name())
		}
	}()
	length, sum := 0, uint32(0)
	for _, p := range parts {
		length += len(p)
		sum = crc32.Update(sum, castagnoli, p)
	}
	head := make([]byte, 0, headSize)
	head = append(append(head, magic...), key[:]...)
	head = binary.LittleEndian.AppendUint64(head, uint64(length))
	head = binary.LittleEndian.AppendUint64(head, uint64(sum))
	for _, p := range append([][]byte{head}, parts...) {
		if _, err := part.Write(p); err != nil {
			return err
		}
	}
	if err := part.Chmod(0o644); err != nil {
		return err
	}
	if err := part.Close(); err != nil {
		return err
	}
	return os.Rename(part.Name(), f.path(key))
}
