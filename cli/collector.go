package cli

import (
	"runtime/debug"
	"runtime/metrics"
	"time"
)

// collectEvery has garbage collected whenever about so many bytes of it have come
// up, however much is in use, until stop is called. The collector's own measure is
// a share of what is in use: while a large ledger is written that is much, nearly
// all of it in a few pieces that cost nothing to keep, and at other times little.
func collectEvery(bytes uint64) (stop func()) {
	inUse := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	before, set := debug.SetGCPercent(100), 100
	adjust := func() {
		metrics.Read(inUse)
		percent := shareOf(bytes, inUse[0].Value.Uint64())
		if percent < set*9/10 || percent > set*11/10 {
			debug.SetGCPercent(percent)
			set = percent
		}
	}
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(100 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				adjust()
			case <-done:
				debug.SetGCPercent(before)
				return
			}
		}
	}()
	return func() { close(done); <-ended }
}

// shareOf is how many per cent of what is in use so many bytes are, within what
// is sensible.
func shareOf(bytes, inUse uint64) int {
	return int(min(400, max(10, 100*bytes/max(1, inUse))))
}
