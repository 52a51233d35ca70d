package picture

import "sync"

// largePixels is the size above which a picture is decoded alone.
const largePixels = 16_000_000

// places limits how many pictures are in memory at once, in the whole process:
// one decoded picture of 50 million pixels may take 400 MB.
type places struct {
	entry sync.Mutex
	free  chan struct{}
}

// slots is shared by all callers, because memory is.
var slots = &places{free: make(chan struct{}, 2)}

// acquire waits for room and gives the function that frees it again.
func (p *places) acquire(pixels int64) (release func()) {
	need := 1
	if pixels > largePixels {
		need = cap(p.free)
	}
	// One waiter at a time, so that two large pictures cannot hold half each.
	p.entry.Lock()
	for range need {
		p.free <- struct{}{}
	}
	p.entry.Unlock()
	return func() {
		for range need {
			<-p.free
		}
	}
}
