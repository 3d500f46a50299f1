package pipeline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// shareOf traces a share and opens it as gather would.
func shareOf(t *testing.T, opts Options, part Part) OpenShare {
	t.Helper()
	share, err := TraceShare(t.Context(), opts, part, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return OpenShare{Share: *share, Dir: fmt.Sprint("share ", part), Records: keep(t, &held{Result: &Result{Records: share.Records}})}
}

// However many shares a survey is made in, gathered in whatever order, the result is that of one run, void posts met and all.
func TestGather(t *testing.T) {
	world := newIsles(t, 7, 100)
	opts := world.options(t)
	want := mustSurvey(t, opts, nil)
	if want.Manifest.Terrain.VoidSamplesMet == 0 || len(want.Profiles) == 0 {
		t.Fatalf("%+v: too little to tell runs apart", want.Manifest.Terrain)
	}
	for _, n := range []int{1, 2, 3, 40} {
		var shares []OpenShare
		for i := range n {
			opts.Workers = 1 + i%2
			shares = append(shares, shareOf(t, opts, Part{i + 1, n}))
		}
		slices.Reverse(shares)
		for range 2 { // it can be repeated
			got, err := Gather(t.Context(), shares, GatherOptions{Workers: 2, MemoryBytes: opts.MemoryBytes}, nil)
			if err != nil {
				t.Fatal(err)
			}
			checkSince(t, mustHold(t, got), want)
		}
	}
}

// A share that was interrupted leaves nothing but the need to make it again.
func TestShareInterrupted(t *testing.T) {
	opts := newIsles(t, 8, 60).options(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if share, err := TraceShare(ctx, opts, Part{2, 2}, nil, nil); !errors.Is(err, context.Canceled) || share != nil {
		t.Errorf("a share without time gave %v, %v", share, err)
	}
	got, err := Gather(t.Context(), []OpenShare{shareOf(t, opts, Part{1, 2}), shareOf(t, opts, Part{2, 2})}, GatherOptions{Workers: 1, MemoryBytes: 1 << 20}, nil)
	if err != nil {
		t.Fatal(err)
	}
	checkSince(t, mustHold(t, got), mustSurvey(t, opts, nil))
}

// Parts are contiguous, cover all chunks once, and differ by one chunk at most.
func TestPartChunks(t *testing.T) {
	for _, n := range []int{0, 1, 7, 16, 1000} {
		for _, of := range []int{1, 2, 3, 16, 999} {
			next := 0
			for i := range of {
				first, end := Part{i + 1, of}.chunks(n)
				if size := end - first; first != next || size < n/of || size > n/of+1 {
					t.Fatalf("share %d/%d of %d chunks is %d to %d after %d", i+1, of, n, first, end, next)
				}
				next = end
			}
			if next != n {
				t.Errorf("%d shares hold %d of %d chunks", of, next, n)
			}
		}
	}
}

func TestParsePart(t *testing.T) {
	for text, want := range map[string]Part{"1/1": {1, 1}, "3/16": {3, 16}, "0/4": {}, "5/4": {}, "1": {}, "1/": {}, "a/b": {}, "-1/2": {}, "1/2/3": {}, "1/99999999": {}} {
		got, err := ParsePart(text)
		if got != want || (err == nil) != (want != Part{}) {
			t.Errorf("ParsePart(%q) = %v, %v; want %v", text, got, err, want)
		}
		if err == nil && got.String() != text {
			t.Errorf("%v is written %s", got, got)
		}
	}
}

func TestMissingShares(t *testing.T) {
	if got, want := missingShares(map[int]string{2: "a", 6: "b"}, 8), "1, 3 to 5, 7 to 8"; got != want {
		t.Errorf("missing are %q, want %q", got, want)
	}
}

// What is no file of records, or not whole, is of no use and says so.
func TestOpenRecords(t *testing.T) {
	opts := newIsles(t, 9, 40).options(t)
	whole, err := os.ReadFile(keep(t, mustSurvey(t, opts, nil)).path)
	if err != nil {
		t.Fatal(err)
	}
	head := slices.Clone(whole)
	head[prefixBytes+20] ^= 0xff
	length := slices.Clone(whole)
	length[15] = 0xff
	for name, content := range map[string][]byte{"empty": nil, "a text": []byte(strings.Repeat("text ", 9)), "cut in its head": whole[:200], "damaged in its head": head, "of a wrong length": length} {
		path := filepath.Join(t.TempDir(), "records")
		if err := os.WriteFile(path, content, 0o644); err != nil {
			t.Fatal(err)
		}
		if file, err := OpenRecords(path); !errors.Is(err, ErrNoRecords) || file != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := OpenRecords(filepath.Join(t.TempDir(), "none")); !errors.Is(err, ErrNoRecords) {
		t.Errorf("no file: %v", err)
	}
}
