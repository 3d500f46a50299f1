package pipeline

import (
	"errors"
	"fmt"
	"io"
	"os"
)

// openRegular opens a file for reading. A pipe may have no end, or never begin, and a device may be anything.
func openRegular(path string) (*os.File, error) {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return nil, errors.New("is not a regular file: save it to disk first")
	}
	file, err := os.Open(path)
	return file, pathError(err)
}

// readRegular reads a file of at most so many bytes.
func readRegular(path string, most int64) ([]byte, error) {
	file, err := openRegular(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	content, err := io.ReadAll(io.LimitReader(file, most+1))
	if err != nil {
		return nil, pathError(err)
	}
	if int64(len(content)) > most {
		return nil, fmt.Errorf("more than %d bytes", most)
	}
	return content, nil
}
