//go:build !unix

package kept

import "io"

// File is the content of a kept file, read as a whole.
type File struct{ data []byte }

func openFile(path string) (*File, error) {
	file, size, err := openSized(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data := make([]byte, size)
	if _, err := io.ReadFull(file, data); err != nil {
		return nil, err
	}
	return &File{data}, nil
}

// Content is what was put in, to be read only. Its address is a multiple of 8.
func (f *File) Content() []byte { return f.data[headSize:] }

// Drop gives back the memory that the content takes. It tells whether the content may still be looked at: here its memory goes when nothing
// refers to it any more.
func (f *File) Drop() bool { return false }

// Close makes an end of the content: nothing may look at it any more.
func (f *File) Close() error { return nil }
