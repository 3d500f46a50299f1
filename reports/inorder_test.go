package reports

import (
	"errors"
	"fmt"
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// Things are taken in their order, no more of them are made at once than there are workers, and after an error nothing goes on.
func TestInOrder(t *testing.T) {
	for _, workers := range []int{1, 2, 3, 8} {
		for _, n := range []int{0, 1, 2, 7, 100} {
			synctest.Test(t, func(t *testing.T) {
				var taken []int
				var atOnce, most atomic.Int32
				err := inOrder(workers, n, func(i int) (int, error) {
					if now := atOnce.Add(1); now > most.Load() {
						most.Store(now)
					}
					defer atOnce.Add(-1)
					time.Sleep(time.Millisecond)
					return i, nil
				}, func(i int) error {
					taken = append(taken, i)
					return nil
				})
				if err != nil || len(taken) != n || !slices.IsSorted(taken) || int(most.Load()) > workers {
					t.Errorf("%d workers, %d things: took %v, %d at once, error %v", workers, n, taken, most.Load(), err)
				}
			})
		}
	}
	broken := errors.New("broken")
	for _, at := range []int{0, 5, 99} {
		var taken []int
		take := func(i int) error { taken = append(taken, i); return nil }
		err := inOrder(3, 100, func(i int) (int, error) {
			if i == at {
				return 0, fmt.Errorf("thing %d: %w", i, broken)
			}
			return i, nil
		}, take)
		if !errors.Is(err, broken) || len(taken) != at {
			t.Errorf("thing %d cannot be made: took %d, error %v", at, len(taken), err)
		}
		taken = nil
		err = inOrder(3, 100, func(i int) (int, error) { return i, nil }, func(i int) error {
			if i == at {
				return broken
			}
			return take(i)
		})
		if !errors.Is(err, broken) || len(taken) != at {
			t.Errorf("thing %d cannot be taken: took %d, error %v", at, len(taken), err)
		}
	}
}
