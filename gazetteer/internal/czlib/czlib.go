// Package czlib stands in for the cgo module of this name, which paulmach/osm asks for wherever cgo is on: farstation is built
// without C. It holds the one function that paulmach/osm calls, and may hold no more.
package czlib

import (
	"io"

	"github.com/klauspost/compress/zlib"
)

// NewReader returns a reader of the zlib stream r. An error says that the stream's header is none.
func NewReader(r io.Reader) (io.ReadCloser, error) { return zlib.NewReader(r) }
