package reports

import (
	"fmt"
	"sync"

	"farstation/pipeline"
)

// inOrder makes n things side by side, at most as many at once as there are workers, and takes them in their order on the calling goroutine.
// It ends with the first error, once none of its goroutines is left.
func inOrder[T any](workers, n int, make1 func(i int) (T, error), take func(T) error) error {
	type made struct {
		thing T
		err   error
	}
	queue := make(chan chan made, max(workers, 1)-1)
	quit := make(chan struct{})
	var all sync.WaitGroup
	all.Go(func() {
		defer close(queue)
		for i := range n {
			one := make(chan made, 1)
			select {
			case <-quit:
				return
			default:
			}
			select {
			case queue <- one:
			case <-quit:
				return
			}
			all.Go(func() {
				var m made
				m.err = pipeline.Guard(func() string { return fmt.Sprintf("row group %d", i) }, func() (err error) {
					m.thing, err = make1(i)
					return err
				})
				one <- m
			})
		}
	})
	defer all.Wait()
	defer close(quit)
	for one := range queue {
		m := <-one
		if m.err != nil {
			return m.err
		}
		if err := take(m.thing); err != nil {
			return err
		}
	}
	return nil
}
