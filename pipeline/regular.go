package pipeline

import (
	"errors"
	"fmt"
	"io"
	"os"
)

// OpenRegular opens a file for reading. A pipe may have no end, or never begin, and a device may be anything.
func OpenRegular(path string) (*os.File, error) {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return nil, errors.New("is not a regular file: save it to disk first")
	}
	file, err := os.Open(path)
	return file, pathError(err)
}

// ReadRegular reads a file of at most so many bytes, and no pipe or device.
func ReadRegular(path string, most int64) ([]byte, error) {
	file, err := OpenRegular(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return nil, pathError(err)
	}
	var content []byte
	if info.Size() <= most {
		if content, err = io.ReadAll(io.LimitReader(file, most+1)); err != nil { // it may have grown
			return nil, pathError(err)
		}
	}
	if max(info.Size(), int64(len(content))) > most {
		return nil, fmt.Errorf("more than %d bytes", most)
	}
	return content, nil
}
