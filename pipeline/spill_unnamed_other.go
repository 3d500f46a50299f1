//go:build !linux

package pipeline

import (
	"errors"
	"os"
)

// unnamedFile is for systems that know it.
func unnamedFile(string) (*os.File, error) { return nil, errors.ErrUnsupported }
