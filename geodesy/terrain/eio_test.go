package terrain

import (
	"bytes"
	"compress/gzip"
	"io"
	"os"
	"strings"
	"syscall"
	"testing"

	"farstation/geodesy/terrain/geotiff"
)

// failingFrom reads a content up to a place, from which on the disk fails.
type failingFrom struct {
	content []byte
	from    int64
}

func (f failingFrom) ReadAt(p []byte, offset int64) (int, error) {
	n, err := bytes.NewReader(f.content).ReadAt(p, offset)
	if offset+int64(n) <= f.from {
		return n, err
	}
	n = int(max(f.from-offset, 0))
	return n, &os.PathError{Op: "read", Path: "somewhere", Err: syscall.EIO}
}

// TestInputErrorInATile has the disk fail at the head, in the middle and near the end of tiles of every packing.
func TestInputErrorInATile(t *testing.T) {
	zipped, err := os.ReadFile("../../testdata/N55W003.hgt.zip")
	if err != nil {
		t.Fatal(err)
	}
	plain := make([]byte, 2*1201*1201)
	for i := range plain {
		plain[i] = byte(i * i >> 9 & 3)
	}
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	if _, err := w.Write(plain); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string][]byte{"N55W003.hgt": plain, "N55W003.hgt.zip": zipped, "N55W003.hgt.gz": packed.Bytes()} {
		size := int64(len(content))
		if _, err := decode(name, bytes.NewReader(content), size); err != nil {
			t.Fatal(err)
		}
		for _, from := range []int64{0, 2, size / 2, size - 10} {
			_, err := decode(name, failingFrom{content, from}, size)
			if want := "terrain " + name + ": cannot be read (input/output error): check the disk"; err == nil || err.Error() != want {
				t.Errorf("%s, the disk fails from byte %d: error %v, want %s", name, from, err, want)
			}
		}
	}
}

// TestInputErrorInAGeoTIFF has the disk fail within the strips of a file, and within its directory.
func TestInputErrorInAGeoTIFF(t *testing.T) {
	packed, err := os.Open("../../testdata/N46E008.tif.gz")
	if err != nil {
		t.Fatal(err)
	}
	defer packed.Close()
	unpacked, err := gzip.NewReader(packed)
	if err != nil {
		t.Fatal(err)
	}
	content, err := io.ReadAll(unpacked)
	if err != nil {
		t.Fatal(err)
	}
	size := int64(len(content))
	whole, err := geotiff.Open(bytes.NewReader(content), size)
	if err != nil {
		t.Fatal(err)
	}
	info := whole.Info()
	heights := make([]float64, info.Cols*info.Rows)
	for _, from := range []int64{0, 6, size / 3, size / 2, size - 1} {
		file, err := geotiff.Open(failingFrom{content, from}, size)
		if err == nil {
			err = file.ReadWindow(0, 0, info.Cols, info.Rows, heights)
		}
		if err == nil || !strings.Contains(err.Error(), "input/output error") || !strings.Contains(err.Error(), "cannot be read") {
			t.Errorf("the disk fails from byte %d: error %v, want one with \"cannot be read\" and the system's reason", from, err)
		}
	}
}
