package pipeline_test

import (
	"errors"
	"slices"
	"testing"

	"farstation/pipeline"
)

func TestGroups(t *testing.T) {
	want := make([]int, 40_000)
	for i := range want {
		want[i] = i
	}
	groups := pipeline.GroupsOf(want)
	if len(groups) != 3 {
		t.Errorf("%d rows are %d groups, want 3", len(want), len(groups))
	}
	got, err := groups.Rows()
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("Rows: %d rows, error %v", len(got), err)
	}
	got = nil
	for row, err := range groups.All() {
		if err != nil {
			t.Fatal(err)
		}
		if got = append(got, *row); len(got) == 20_000 {
			break
		}
	}
	if !slices.Equal(got, want[:20_000]) {
		t.Errorf("All, left after 20,000: %d rows", len(got))
	}

	broken := errors.New("broken")
	groups = append(groups[:1:1], func() ([]int, error) { return nil, broken })
	seen := 0
	for _, err := range groups.All() {
		if err != nil {
			if !errors.Is(err, broken) {
				t.Errorf("error %v", err)
			}
			break
		}
		seen++
	}
	if _, err := groups.Rows(); seen != 16<<10 || !errors.Is(err, broken) {
		t.Errorf("a broken second group: %d rows, error %v", seen, err)
	}
}
