package importers

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
)

// batchRows is how many rows a worker takes at once.
const batchRows = 64

// inOrder reads rows, works on them with some workers, and gives the results in
// the order of the rows. At most a few batches are held at any time. It ends at
// the first error of read or give.
func inOrder[R, S any](workers int, read func(func(R) error) error, work func(R) S, give func(S) error) error {
	if workers == 0 {
		workers = 2
	}
	if workers == 1 {
		return read(func(r R) error { return give(work(r)) })
	}
	type batch struct {
		rows    []R
		results chan []S
	}
	todo := make(chan *batch)
	queue := make(chan *batch, workers+1)
	stop := make(chan struct{})
	var wait sync.WaitGroup
	// What panics side by side panics here, where whoever asked can catch it.
	var panicked atomic.Value
	note := func() {
		if p := recover(); p != nil {
			panicked.CompareAndSwap(nil, fmt.Sprint(p))
		}
	}
	for range workers {
		wait.Go(func() {
			for b := range todo {
				out := make([]S, len(b.rows))
				func() {
					defer note()
					for i, r := range b.rows {
						out[i] = work(r)
					}
				}()
				b.results <- out
			}
		})
	}
	var readErr error
	wait.Go(func() {
		defer close(queue)
		defer close(todo)
		defer note()
		var rows []R
		send := func() error {
			b := &batch{rows: rows, results: make(chan []S, 1)}
			rows = nil
			select {
			case queue <- b:
			case <-stop:
				return errEnough
			}
			// The batch is queued, so somebody waits for its results.
			todo <- b
			return nil
		}
		readErr = read(func(r R) error {
			if rows = append(rows, r); len(rows) == batchRows {
				return send()
			}
			return nil
		})
		if len(rows) > 0 && !errors.Is(readErr, errEnough) {
			if err := send(); err != nil {
				readErr = err
			}
		}
	})
	var giveErr error
	for b := range queue {
		results := <-b.results
		for _, r := range results {
			if giveErr != nil || panicked.Load() != nil {
				break
			}
			if giveErr = give(r); giveErr != nil {
				close(stop)
			}
		}
	}
	wait.Wait()
	if p := panicked.Load(); p != nil {
		panic(p)
	}
	if giveErr != nil {
		return giveErr
	}
	if errors.Is(readErr, errEnough) {
		return nil
	}
	return readErr
}
