package pipeline

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// ErrShares marks shares that do not make one survey.
var ErrShares = errors.New("these shares do not make one survey")

// OpenShare is a share with its records, and the folder that it was read from, for messages.
type OpenShare struct {
	Share
	Dir     string
	Records *RecordsFile
}

// CheckShares tells whether shares are the parts of one survey, each once. Its error wraps ErrShares, and joins all that is wrong.
func CheckShares(shares []OpenShare) error {
	if len(shares) == 0 {
		return fmt.Errorf("%w: there are none", ErrShares)
	}
	var wrong []error
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Errorf(format, args...)) }
	first := &shares[0]
	build, err := Build()
	if err != nil {
		return err
	}
	if first.Build != build {
		say("share %s was made by %q, which is not this program (%q): gather with the program that made the shares", first.Dir, first.Build, build)
	}
	where := map[int]string{}
	for i := range shares {
		s := &shares[i]
		if s.Share.Share < 1 || s.Of < 1 || s.Of > mostShares || s.Share.Share > s.Of {
			say("share %s: says that it is share %d of %d: make it again", s.Dir, s.Share.Share, s.Of)
			continue
		}
		for _, difference := range first.differences(&s.Share) {
			say("share %s: has other %s than %s: make all shares with the same flags, files and program", s.Dir, difference, first.Dir)
		}
		if other, twice := where[s.Share.Share]; twice {
			say("share %d of %d is there twice, in %s and %s: name one of them", s.Share.Share, s.Of, other, s.Dir)
		}
		where[s.Share.Share] = s.Dir
	}
	if len(wrong) == 0 {
		if missing := missingShares(where, first.Of); missing != "" {
			say("missing of %d shares: %s: make them with survey --share, and gather again", first.Of, missing)
		}
	}
	if len(wrong) == 0 {
		return nil
	}
	return errors.Join(append([]error{ErrShares}, wrong...)...)
}

// missingShares lists the numbers up to of that are not there, ranges in short; empty for none.
func missingShares(there map[int]string, of int) string {
	var words []string
	for i := 1; i <= of; i++ {
		if there[i] != "" {
			continue
		}
		from := i
		for i < of && there[i+1] == "" {
			i++
		}
		switch i {
		case from:
			words = append(words, fmt.Sprint(i))
		default:
			words = append(words, fmt.Sprintf("%d to %d", from, i))
		}
	}
	return strings.Join(words, ", ")
}

// differences says in what two shares differ that those of one survey may not differ in.
func (s *Share) differences(other *Share) []string {
	var found []string
	if s.Build != other.Build {
		found = append(found, "build")
	}
	if s.Of != other.Of {
		found = append(found, "number of shares")
	}
	if s.Chunks != other.Chunks {
		found = append(found, "number of chunks")
	}
	a, errA := json.Marshal(s.Options)
	b, errB := json.Marshal(other.Options)
	if errA != nil || errB != nil || string(a) != string(b) || s.Feet != other.Feet {
		found = append(found, "parameters")
	}
	if names := changedInputs(s.Inputs, other.Inputs); len(names) > 0 {
		found = append(found, "inputs ("+strings.Join(names, ", ")+")")
	}
	return found
}

// changedInputs names the files that only one list has, or that have other content in the other.
func changedInputs(a, b []Input) []string {
	sums := map[string]string{}
	for i := range a {
		sums[a[i].Path] = a[i].SHA256
	}
	var names []string
	for i := range b {
		if sum, there := sums[b[i].Path]; !there || sum != b[i].SHA256 {
			names = append(names, b[i].Path)
		}
		delete(sums, b[i].Path)
	}
	for path := range sums {
		names = append(names, path)
	}
	slices.Sort(names)
	return names
}

// GatherOptions are those of Options of the same names, which shares do not hold.
type GatherOptions struct {
	Workers     int
	MemoryBytes int64
	CacheFolder string
	SpillFolder string
}

// Gather makes of the shares of a survey the result that Survey makes of the whole at once. It reads features and terrain again, which must be
// what they were, from the paths that the shares name.
func Gather(ctx context.Context, shares []OpenShare, run GatherOptions, progress *Progress) (_ *Result, err error) {
	if err := CheckShares(shares); err != nil {
		return nil, err
	}
	opts := shares[0].Options
	opts.Workers, opts.MemoryBytes, opts.CacheFolder, opts.SpillFolder = run.Workers, run.MemoryBytes, run.CacheFolder, run.SpillFolder
	j, err := begin(ctx, opts, progress)
	if err != nil {
		return nil, fmt.Errorf("gather reads again what the shares were made of, by the paths that they were given: %w", err)
	}
	defer func() {
		if err != nil {
			j.spill.Close()
		}
	}()
	inputs, err := j.inputs()
	if err != nil {
		return nil, err
	}
	if names := changedInputs(shares[0].Inputs, inputs); len(names) > 0 {
		return nil, fmt.Errorf("%w: %s changed since share %s was made: make all shares again", ErrShares, strings.Join(names, ", "), shares[0].Dir)
	}
	var files []*RecordsFile
	for i := range shares {
		files = append(files, shares[i].Records)
	}
	e, err := newEarlier(j.opts, j.head, j.plan, files)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrShares, err)
	}
	if err := e.complete(j); err != nil {
		return nil, err
	}
	return j.finish(ctx, e, nil, progress)
}

// complete tells whether every observer's record is there and holds as it is.
func (e *earlier) complete(j *job) error {
	for _, file := range e.files {
		if !slices.Equal(file.head.Cells, j.head.Cells) || !slices.Equal(file.head.Features, j.head.Features) {
			return fmt.Errorf("%w: %s was made of other features or terrain: make all shares again", ErrShares, file.path)
		}
	}
	for _, chunk := range j.plan.chunks {
		for _, at := range chunk {
			if id := j.world.Features[at].ID; !e.has(id) {
				return fmt.Errorf("%w: none of them holds observer %s: make all shares again", ErrShares, id)
			}
		}
	}
	return nil
}

func (e *earlier) has(observerID string) bool {
	_, ok := e.places[observerID]
	return ok
}
