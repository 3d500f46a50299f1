package kept

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"sync"
	"testing"
	"time"
)

func opened(t *testing.T, dir string) *Folder {
	t.Helper()
	f, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func put(t *testing.T, f *Folder, key Key, content string) {
	t.Helper()
	if err := f.Put(key, []byte(content[:len(content)/2]), []byte(content[len(content)/2:])); err != nil {
		t.Fatal(err)
	}
}

// want asks for a content, "" for none.
func want(t *testing.T, f *Folder, key Key, content string) {
	t.Helper()
	file := f.Get(key)
	switch {
	case file == nil && content != "":
		t.Fatalf("no file of %x", key[:2])
	case file != nil && content == "":
		t.Fatalf("a file of %x: %q", key[:2], file.Content())
	case file != nil && string(file.Content()) != content:
		t.Fatalf("%q instead of %q", file.Content(), content)
	}
}

func TestFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a", "b")
	f := opened(t, dir)
	one, two := Key{1}, Key{2}
	want(t, f, one, "")
	put(t, f, one, "some content")
	put(t, f, two, "")
	want(t, f, one, "some content")
	put(t, f, one, "other")
	want(t, f, one, "other")
	want(t, opened(t, dir), one, "other")

	other, err := open(dir, "build-of-another")
	if err != nil {
		t.Fatal(err)
	}
	want(t, other, one, "")

	if f.Get(two) == nil {
		t.Error("no empty file")
	}
	path := f.path(one)
	if err := os.Rename(path, f.path(two)); err != nil {
		t.Fatal(err)
	}
	want(t, f, two, "") // of another key
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	want(t, f, one, "")
	if err := f.Put(one, []byte("x")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the folder is gone, and Put says %v", err)
	}
}

// Every bit of a file counts, and every byte of its length.
func TestSpoiltFile(t *testing.T) {
	f := opened(t, t.TempDir())
	key := Key{3}
	put(t, f, key, "0123456789")
	whole, err := os.ReadFile(f.path(key))
	if err != nil {
		t.Fatal(err)
	}
	spoil := func(content []byte) {
		t.Helper()
		// A new file, since the content of one that is looked at may not change.
		if err := errors.Join(os.Remove(f.path(key)), os.WriteFile(f.path(key), content, 0o644)); err != nil {
			t.Fatal(err)
		}
		want(t, f, key, "")
	}
	for i := range whole {
		for bit := range 8 {
			wrong := bytes.Clone(whole)
			wrong[i] ^= 1 << bit
			spoil(wrong)
		}
		spoil(whole[:i])
	}
	spoil(append(bytes.Clone(whole), 0))
	put(t, f, key, "0123456789")
	want(t, f, key, "0123456789")
}

// What is looked at stays whole when its file is replaced or deleted, and when its memory is given back.
func TestDrop(t *testing.T) {
	f := opened(t, t.TempDir())
	key := Key{4}
	content := string(bytes.Repeat([]byte("farther "), 100_000))
	put(t, f, key, content)
	file := f.Get(key)
	if err := os.Remove(f.path(key)); err != nil {
		t.Fatal(err)
	}
	put(t, f, key, "other")
	var readers sync.WaitGroup
	for range 4 {
		readers.Go(func() {
			for range 20 {
				if string(file.Content()) != content {
					t.Error("the content is another")
				}
			}
		})
	}
	for range 50 {
		if !file.Drop() {
			break
		}
	}
	readers.Wait()
	if err := file.Close(); err != nil {
		t.Fatal(err)
	}
}

// A file that is cut while it is looked at is a fault of memory that can be caught, and no end of the program.
func TestCutFile(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("skipped: what a file that is cut does is known of Linux")
	}
	f := opened(t, t.TempDir())
	key := Key{5}
	put(t, f, key, string(make([]byte, 100_000)))
	file := f.Get(key)
	if err := os.Truncate(f.path(key), 10_000); err != nil {
		t.Fatal(err)
	}
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if err, ok := recover().(interface {
			runtime.Error
			Addr() uintptr
		}); !ok {
			t.Errorf("no fault of memory but %v", err)
		}
	}()
	t.Errorf("the content ends with %d", file.Content()[99_999])
}

// Parts of files that a program left long ago go, those of one that may be at work stay.
func TestLeftOvers(t *testing.T) {
	dir := t.TempDir()
	f := opened(t, dir)
	old, recent := filepath.Join(f.dir, "1"+partSuffix), filepath.Join(f.dir, "2"+partSuffix)
	for _, path := range []string{old, recent} {
		if err := os.WriteFile(path, nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	then := time.Now().Add(-2 * partLife)
	if err := os.Chtimes(old, then, then); err != nil {
		t.Fatal(err)
	}
	put(t, f, Key{6}, "x")
	opened(t, dir)
	if _, err := os.Stat(old); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the old part stays: %v", err)
	}
	if _, err := os.Stat(recent); err != nil {
		t.Error(err)
	}
	want(t, f, Key{6}, "x")
}

// Many that write and read one file at once see one of the contents, whole.
func TestAtOnce(t *testing.T) {
	dir := t.TempDir()
	key := Key{7}
	var workers sync.WaitGroup
	for i := range 8 {
		workers.Go(func() {
			f, err := Open(dir)
			if err != nil {
				t.Error(err)
				return
			}
			content := bytes.Repeat([]byte{byte('a' + i)}, 50_000+i)
			for range 30 {
				if err := f.Put(key, content); err != nil {
					t.Error(err)
				}
				file := f.Get(key)
				if file == nil {
					t.Error("no file")
					continue
				}
				if c := file.Content(); len(c) != 50_000+int(c[0]-'a') || bytes.Count(c, c[:1]) != len(c) {
					t.Errorf("%d bytes that begin with %q", len(c), c[0])
				}
				file.Close()
			}
		})
	}
	workers.Wait()
	entries, err := os.ReadDir(opened(t, dir).dir)
	if err != nil || len(entries) != 1 {
		t.Errorf("%v, %v", entries, err)
	}
}
