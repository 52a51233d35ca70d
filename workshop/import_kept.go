package workshop

import (
	"bufio"
	"bytes"
	"context"
	"crypto/aes"
	"crypto/cipher"
	"encoding/binary"
	"encoding/gob"
	"fmt"
	"io"
	"slices"

	"example.org/asfound/registry"
)

// Scratch is room for an import that ends with it: written once from the
// beginning, then read. Nothing of it is left when it is closed, nor when the
// program ends without closing it.
type Scratch = interface {
	io.ReadWriteSeeker
	io.Closer
}

// plan is what the rows of one machine were decided to be, ready to be appended
// as long as the machine's record stands where it stood.
type plan struct {
	Machine string
	Expect  uint64 // the version that they were decided on
	Already int    // rows that stand there
	Commits []planned
}

// planned is one commit to come.
type planned struct {
	Row     int // index in the source of the first of them
	Rows    int
	Events  [][]byte
	Private []document
}

// mostPlanned is up to how large a plan is kept, in bytes: some are in memory at
// once, as a whole. The rows of a larger one are decided again. It is a variable
// for the tests.
var mostPlanned = 4 << 20

func (p plan) bytes() (n int) {
	for _, c := range p.Commits {
		for _, e := range c.Events {
			n += len(e)
		}
		for _, d := range c.Private {
			n += len(d.Bytes)
		}
	}
	return n
}

// planOf spreads decided rows over as few commits as they fit.
func planOf(machine string, expect uint64, already int, good []decided) plan {
	out := plan{Machine: machine, Expect: expect, Already: already}
	size := 0
	for _, g := range good {
		if n := len(out.Commits); n == 0 || size+g.size > commitBytes {
			out.Commits, size = append(out.Commits, planned{Row: g.index}), 0
		}
		c := &out.Commits[len(out.Commits)-1]
		c.Rows++
		c.Events = append(c.Events, g.events...)
		c.Private = append(c.Private, g.private...)
		size += g.size
	}
	return out
}

// append records what was planned. begun says that some of it is recorded.
func (p *importPass) append(ctx context.Context, plan plan) (begun bool, err error) {
	// What is withheld is stored before its record; of a plan that does not hold
	// any more, nothing is.
	head, err := p.w.Ledger.Head(ctx, plan.Machine)
	if err != nil {
		return false, err
	}
	if head.Version != plan.Expect {
		return false, errMoved
	}
	expect := plan.Expect
	for _, c := range plan.Commits {
		req := Request{Machine: plan.Machine, Actor: p.req.Actor, Key: fmt.Sprintf("import %s row %d", p.req.Digest, c.Row), later: true}
		receipt, err := p.w.appendBatch(ctx, req, expect, batch{events: c.Events, private: c.Private})
		if err != nil {
			return begun, err
		}
		expect, begun = receipt.Version, true
		if receipt.Repeated {
			p.report.Already += c.Rows
		} else {
			p.report.Recorded += c.Rows
		}
	}
	return begun, nil
}

// keptPlans holds plans from the reading that checks a file until all of it is
// known to be good, so that nothing is decided twice. They lie in the scratch,
// sealed with a key that is nowhere but here: withheld values are among them. A
// machine whose plan could not be kept, or does not hold any more, is decided
// again from the source.
type keptPlans struct {
	keeps   bool // otherwise everything is decided again
	scratch Scratch
	boxes   cipher.AEAD
	out     *gob.Encoder
	kept    int
	already int // rows that stand there, of machines that get nothing
	again   map[string]bool
}

// keepPlans begins to keep plans.
func (w *Workshop) keepPlans(req ImportRequest) (*keptPlans, error) {
	k := &keptPlans{again: map[string]bool{}}
	if w.Scratch == nil || req.Twice || req.DryRun {
		return k, nil
	}
	key := make([]byte, 32)
	if _, err := io.ReadFull(w.Random, key); err != nil {
		return nil, fmt.Errorf("make a key: %w", err)
	}
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, err
	}
	if k.boxes, err = cipher.NewGCM(block); err != nil {
		return nil, err
	}
	if k.scratch, err = w.Scratch(); err != nil {
		return k, nil // it costs time, and nothing else
	}
	k.keeps = true
	k.out = gob.NewEncoder(&boxWriter{to: k.scratch, boxes: boxes{aead: k.boxes}})
	return k, nil
}

// put keeps a plan, if it can.
func (k *keptPlans) put(p plan) error {
	if !k.keeps {
		return nil
	}
	if len(p.Commits) == 0 {
		k.already += p.Already
		return nil
	}
	if k.out != nil && p.bytes() <= mostPlanned {
		if err := k.out.Encode(p); err == nil {
			k.kept++
			return nil
		}
		k.out = nil // what follows half a box cannot be read
	}
	k.again[p.Machine] = true
	return nil
}

// each gives back what was kept, in its order.
func (k *keptPlans) each(fn func(plan) error) error {
	k.out = nil // with the room that it grew into
	if k.kept == 0 {
		return nil
	}
	if _, err := k.scratch.Seek(0, io.SeekStart); err != nil {
		return err
	}
	in := gob.NewDecoder(&boxReader{from: bufio.NewReader(k.scratch), boxes: boxes{aead: k.boxes}})
	for range k.kept {
		var p plan
		if err := in.Decode(&p); err != nil {
			return registry.Refuse(registry.CodeBusy, "Import the file again; what is recorded already is left alone.",
				"What was decided about the rows of the file cannot be read back: %v", err)
		}
		if err := fn(p); err != nil {
			return err
		}
	}
	return nil
}

func (k *keptPlans) close() error {
	if k.scratch == nil {
		return nil
	}
	return k.scratch.Close()
}

// boxes numbers the pieces of a file, each under a seal of its own (AES-256-GCM,
// NIST SP 800-38D), so that none can be changed, missing or out of place. Their
// key is used for one file alone, and the number is the nonce.
type boxes struct {
	aead   cipher.AEAD
	number uint64
}

func (b *boxes) next() (nonce []byte) {
	b.number++
	return binary.BigEndian.AppendUint64(make([]byte, 4, 12), b.number)
}

// boxWriter seals each piece that is written to it.
type boxWriter struct {
	boxes
	to  io.Writer
	buf []byte
}

func (w *boxWriter) Write(p []byte) (int, error) {
	head := binary.BigEndian.AppendUint32(w.buf[:0], uint32(len(p)+w.aead.Overhead()))
	w.buf = w.aead.Seal(head, w.next(), p, nil)
	if _, err := w.to.Write(w.buf); err != nil {
		return 0, err
	}
	return len(p), nil
}

// boxReader opens them again, one after another.
type boxReader struct {
	boxes
	from io.Reader
	open bytes.Reader
	buf  []byte
}

func (r *boxReader) Read(p []byte) (int, error) {
	if r.open.Len() == 0 {
		var head [4]byte
		if _, err := io.ReadFull(r.from, head[:]); err != nil {
			return 0, err
		}
		r.buf = slices.Grow(r.buf[:0], int(binary.BigEndian.Uint32(head[:])))[:binary.BigEndian.Uint32(head[:])]
		if _, err := io.ReadFull(r.from, r.buf); err != nil {
			return 0, err
		}
		plain, err := r.aead.Open(r.buf[:0], r.next(), r.buf, nil)
		if err != nil {
			return 0, err
		}
		r.open.Reset(plain)
	}
	return r.open.Read(p)
}
