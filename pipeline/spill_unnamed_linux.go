package pipeline

import (
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// unnamedFile makes a file that has no name, so that nothing can be left of it. It fails where the file system cannot.
func unnamedFile(folder string) (*os.File, error) {
	fd, err := unix.Open(folder, unix.O_TMPFILE|unix.O_RDWR|unix.O_CLOEXEC, 0o600)
	if err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(fd), filepath.Join(folder, "(no name)")), nil
}
