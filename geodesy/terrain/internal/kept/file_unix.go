//go:build unix

package kept

import "golang.org/x/sys/unix"

// File is the content of a kept file. It stays whole when the file is deleted or replaced; where it is cut short or the disk fails, looking at
// it is a fault of memory, as package debug's SetPanicOnFault has it.
type File struct{ data []byte }

func openFile(path string) (*File, error) {
	file, size, err := openSized(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := unix.Mmap(int(file.Fd()), 0, size, unix.PROT_READ, unix.MAP_SHARED)
	if err != nil {
		return nil, err
	}
	return &File{data}, nil
}

// Content is what was put in, to be read only. Its address is a multiple of 8.
func (f *File) Content() []byte { return f.data[headSize:] }

// Drop gives back the memory that the content takes. It tells whether the content may still be looked at, which reads it anew.
func (f *File) Drop() bool {
	// Where the system does not listen, it still gives back the memory when it is short of it.
	unix.Madvise(f.data, unix.MADV_DONTNEED)
	return true
}

// Close makes an end of the content: nothing may look at it any more.
func (f *File) Close() error { return unix.Munmap(f.data) }
