package reports

import (
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"syscall"

	"farstation/pipeline"
)

// The words in the names of folders beside a run folder: one being written, an earlier run moved aside.
const (
	partWord  = "part"
	asideWord = "old"
)

// runPlace is where a run folder stands, links resolved, and what kind of folder may be replaced there.
type runPlace struct {
	parent, name string
	kind         folderKind
}

func (p runPlace) path() string { return filepath.Join(p.parent, p.name) }

func placeOf(dir string) (runPlace, error) {
	path, err := filepath.Abs(dir)
	if err != nil {
		return runPlace{}, fmt.Errorf("folder %s: %w", dir, err)
	}
	if _, err := os.Lstat(path); err == nil {
		// A link stays and its folder is replaced, not the link.
		if path, err = filepath.EvalSymlinks(path); err != nil {
			return runPlace{}, fmt.Errorf("folder %s: %w", dir, err)
		}
	}
	return runPlace{filepath.Dir(path), filepath.Base(path), runKind()}, nil
}

// folderKind is a kind of folder that is written as a whole: the file that describes it, and the word for it.
type folderKind struct{ manifest, word string }

func runKind() folderKind   { return folderKind{manifestFile, "run"} }
func shareKind() folderKind { return folderKind{shareFile, "share"} }

// CheckOut tells before the long work whether WriteRun will be able to write dir: it must not exist, or hold an earlier run and
// nothing else, and replace be set; the folder above it must be writable. It also clears the folders beside dir that runs which
// are dead left behind; a run that died between moving an earlier one aside and taking its place gets the earlier one back.
func CheckOut(dir string, replace bool) error { return runKind().checkOut(dir, replace) }

func (k folderKind) place(dir string) (runPlace, error) {
	place, err := placeOf(dir)
	place.kind = k
	return place, err
}

// CheckShareOut is CheckOut for WriteShare.
func CheckShareOut(dir string, replace bool) error { return shareKind().checkOut(dir, replace) }

func (k folderKind) checkOut(dir string, replace bool) error {
	p, err := k.place(dir)
	if err != nil {
		return err
	}
	if err := p.nearest().clearDead(); err != nil {
		return fmt.Errorf("%s folder %s: the folder above it cannot be read: %w: choose another place", k.word, dir, reason(err))
	}
	status, err := os.Stat(p.path())
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return fmt.Errorf("%s folder %s: %w", k.word, dir, err)
	case !status.IsDir():
		return fmt.Errorf("%s folder %s: is a file: name a folder that does not exist", k.word, dir)
	case !replace:
		return fmt.Errorf("%s folder %s: exists: name another, or replace the %s that it holds with --replace", k.word, dir, k.word)
	default:
		if err := p.holdsKind(); err != nil {
			return fmt.Errorf("%s folder %s: %w", k.word, dir, err)
		}
	}
	if err := p.checkWritable(); err != nil {
		return fmt.Errorf("%s folder %s: cannot be written: %w: choose another place", k.word, dir, err)
	}
	return nil
}

// reason is an error without the path that the system names, which is not the one that the user gave.
func reason(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}

// FolderFor is the nearest folder above a run folder that exists: a run's temporary file lies there, on the disk that is to hold the run.
func FolderFor(dir string) string {
	p, err := placeOf(dir)
	if err != nil {
		return ""
	}
	return p.nearest().parent
}

// nearest is the place in the nearest folder above that exists.
func (p runPlace) nearest() runPlace {
	for {
		if _, err := os.Stat(p.parent); !errors.Is(err, fs.ErrNotExist) || filepath.Dir(p.parent) == p.parent {
			return p
		}
		p.parent = filepath.Dir(p.parent)
	}
}

// checkWritable makes and removes a folder in the nearest folder above that exists.
func (p runPlace) checkWritable() error {
	p = p.nearest()
	status, err := os.Stat(p.parent)
	if err == nil && !status.IsDir() {
		return fmt.Errorf("%s above it is a file, not a folder", filepath.Base(p.parent))
	}
	if err != nil {
		return reason(err)
	}
	probe, err := p.makeBeside(partWord)
	if err != nil {
		return reason(err)
	}
	return os.Remove(probe)
}

// holdsKind returns nil when the folder holds one of its kind and nothing else: replacing removes all of it, so a file that no run wrote must be
// moved away by its owner first.
func (p runPlace) holdsKind() error {
	k := p.kind
	text, err := pipeline.ReadRegular(filepath.Join(p.path(), k.manifest), mostManifestBytes)
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("holds no %s, so it is not an earlier %s: name another folder", k.manifest, k.word)
	}
	if err != nil {
		return err
	}
	var earlier runFile
	if err := json.Unmarshal(text, &earlier); err != nil || earlier.Version == "" {
		return fmt.Errorf("its %s is not that of an earlier %s (no farstation_version): name another folder", k.manifest, k.word)
	}
	entries, err := os.ReadDir(p.path())
	if err != nil {
		return err
	}
	for _, entry := range entries {
		name := entry.Name()
		if name != k.manifest && !slices.ContainsFunc(earlier.Files, func(f Written) bool { return f.Name == name }) {
			return fmt.Errorf("holds %s, which is not part of the %s: move it elsewhere, since replacing removes the folder", name, k.word)
		}
	}
	return nil
}

// commit renames the part folder to its place. An earlier run changes places with it and is removed last. Where the system cannot exchange
// folders, the earlier one is moved aside first; it comes back when the rename fails.
func (p runPlace) commit(part string, replace bool) error {
	if _, err := os.Lstat(p.path()); errors.Is(err, fs.ErrNotExist) {
		if err := os.Rename(part, p.path()); err != nil {
			return err
		}
		return syncFolder(p.parent)
	} else if err != nil {
		return err
	}
	if !replace {
		return errors.New("has come to exist while it was written: name another")
	}
	if err := p.holdsKind(); err != nil {
		return err
	}
	aside := part
	if exchange(part, p.path()) != nil {
		aside = p.besideName(asideWord)
		if err := os.Rename(p.path(), aside); err != nil {
			return err
		}
		if err := os.Rename(part, p.path()); err != nil {
			return errors.Join(err, os.Rename(aside, p.path()))
		}
	}
	if err := syncFolder(p.parent); err != nil {
		return err
	}
	// The run is complete; an earlier one that cannot be removed is cleared at the next start.
	_ = os.RemoveAll(aside)
	return nil
}

// besideName returns a new name for a folder beside the run folder. It carries host and process, so that a later run can tell
// whether its owner is dead.
func (p runPlace) besideName(word string) string {
	random := make([]byte, 4)
	rand.Read(random) // never fails (crypto/rand)
	return filepath.Join(p.parent, fmt.Sprintf(".%s.farstation-%s-%s-%d-%s", p.name, word, hostWord(), os.Getpid(), hex.EncodeToString(random)))
}

func (p runPlace) makeBeside(word string) (string, error) {
	path := p.besideName(word)
	return path, os.Mkdir(path, 0o777)
}

// hostWord is the host's name as it stands in folder names.
func hostWord() string {
	name, err := os.Hostname()
	if err != nil {
		name = ""
	}
	return regexp.MustCompile(`[^A-Za-z0-9.]`).ReplaceAllString(name, "_")
}

// clearDead removes the folders beside the run folder whose process on this host is gone, and brings an earlier run back that
// was moved aside and not replaced. Folders of other hosts are left alone: whether their owner lives cannot be told from here.
func (p runPlace) clearDead() error {
	entries, err := os.ReadDir(p.parent)
	if err != nil {
		return err
	}
	ours := regexp.MustCompile(`^\.` + regexp.QuoteMeta(p.name) + `\.farstation-(part|old)-` + regexp.QuoteMeta(hostWord()) + `-([0-9]+)-[0-9a-f]{8}$`)
	for _, entry := range entries {
		match := ours.FindStringSubmatch(entry.Name())
		if match == nil || !entry.IsDir() || processAlive(match[2]) {
			continue
		}
		path := filepath.Join(p.parent, entry.Name())
		if match[1] == asideWord {
			if _, err := os.Lstat(p.path()); errors.Is(err, fs.ErrNotExist) {
				if err := os.Rename(path, p.path()); err != nil {
					return err
				}
				continue
			}
		}
		if err := os.RemoveAll(path); err != nil {
			return err
		}
	}
	return nil
}

// processAlive tells whether a process of this host lives. It says so when it cannot tell.
func processAlive(pid string) bool {
	number, err := strconv.Atoi(pid)
	if err != nil {
		return true
	}
	process, err := os.FindProcess(number)
	if err != nil {
		return false
	}
	defer process.Release()
	return !errors.Is(process.Signal(syscall.Signal(0)), os.ErrProcessDone)
}

// syncFolder brings a folder's entries to disk, where the file system knows how.
func syncFolder(path string) error {
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	defer folder.Close()
	if err := folder.Sync(); err != nil && !errors.Is(err, errors.ErrUnsupported) && !errors.Is(err, syscall.EINVAL) {
		return err
	}
	return nil
}
