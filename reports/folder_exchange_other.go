//go:build !linux

package reports

import "errors"

// exchange is for systems that know it.
func exchange(_, _ string) error { return errors.ErrUnsupported }
