package node

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/store"
)

// Remote is the cluster's registry.
type Remote struct {
	Ledger registry.Ledger // closed with the node
	// Photos, Private and Keys are nil where the cluster keeps the ledger alone.
	Photos  Files
	Private PrivateFiles
	Keys    Keys
	// Check says whether the cluster is what it must be. It is called before
	// the first use, and again after each time the cluster could not be reached.
	Check func(ctx context.Context) error
}

// Options are the choices at opening. The zero Options are right for use.
type Options struct {
	// Every is how often the cluster is asked without a cause; 0 means
	// DefaultEvery.
	Every time.Duration
	// Patience is how long after the cluster was lost an append still waits for
	// it to come back, as it does when another server takes the lead, and how long
	// an empty copy waits at opening; 0 means DefaultPatience. Later appends are
	// refused at once.
	Patience time.Duration
	// Now is the clock; nil means the machine's.
	Now func() time.Time
	// Warn gets a note when the cluster is lost and when it is back.
	Warn func(message string)
}

// DefaultEvery is how often a node looks for what other nodes wrote.
const DefaultEvery = 500 * time.Millisecond

// DefaultPatience is longer than the servers take to choose another leader.
const DefaultPatience = 10 * time.Second

// answerWithin is how long the cluster may take to say how far its ledger goes.
const answerWithin = 1500 * time.Millisecond

// Node is a registry.Ledger that reads from its copy. All methods may be used
// by several goroutines at once.
type Node struct {
	*store.Store // the copy; what it answers is as new as the last round
	remote       Remote
	o            Options
	photos       photos
	vault        *store.Vault

	poke    chan struct{} // asks for a round now
	stop    context.CancelFunc
	stopped chan struct{}

	mu      sync.Mutex // guards what follows
	waiting []chan struct{}
	current time.Time // when the copy last held everything
	down    error     // why the cluster is not used just now
	lost    time.Time // since when not
	broken  error     // why it is never used again by this process

	// The round's own.
	sure bool // the cluster was checked and compared since it was last lost
	// Places in the changes of the private values and of their keys.
	place, keyPlace uint64
	seen            time.Time
}

var _ registry.Ledger = (*Node)(nil)

// markName stands in the folder of a copy, so that nobody takes it for a
// registry of its own and writes into it.
const markName = "copy-of-a-cluster"

// IsCopy says whether a folder holds a node's copy.
func IsCopy(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, markName))
	return err == nil
}

// Open makes a node of a copy, which may be empty, and brings it up to the
// cluster. Without an answer from the cluster it opens all the same if the copy
// holds anything, and else waits for one as long as Patience. Codes: CodeBusy
// when the cluster does not answer and there is nothing to serve, CodeTampered
// when copy and cluster do not agree. The node closes the copy and the remote
// ledger, also when it does not open.
func Open(ctx context.Context, held *store.Store, remote Remote, o Options) (_ *Node, err error) {
	if o.Every == 0 {
		o.Every = DefaultEvery
	}
	if o.Patience == 0 {
		o.Patience = DefaultPatience
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Warn == nil {
		o.Warn = func(string) {}
	}
	n := &Node{Store: held, remote: remote, o: o, poke: make(chan struct{}, 1), stopped: make(chan struct{})}
	n.photos = photos{remote.Photos, n}
	if remote.Private != nil {
		values, keysHeld, scrub := held.Private().Parts()
		n.vault = store.NewVault(sealed{remote.Private, values, n}, keys{remote.Keys, keysHeld, n}, scrub)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, remote.Ledger.Close(), held.Close())
		}
	}()
	at, err := held.End(ctx)
	if err != nil {
		return nil, err
	}
	if at > 0 && !IsCopy(held.Dir()) {
		return nil, registry.Refuse(registry.CodeInvalid, "Choose another folder with --dir for this node's copy; \"asfound move\" brings a registry into a cluster.",
			"The folder %s holds a registry of its own", held.Dir())
	}
	if err := os.WriteFile(filepath.Join(held.Dir(), markName), []byte("This folder holds a node's copy of a registry that a cluster keeps. It may be thrown away.\n"), 0o600); err != nil {
		return nil, err
	}
	err = n.round(ctx, true)
	patient, cancel := context.WithTimeout(ctx, o.Patience)
	defer cancel()
	for at == 0 && registry.CodeOf(err) == registry.CodeBusy && patient.Err() == nil {
		n.rest(patient, false)
		err = n.round(ctx, true)
	}
	if registry.CodeOf(err) == registry.CodeTampered || at == 0 && err != nil {
		return nil, err
	}
	n.note(err)
	run, stop := context.WithCancel(context.WithoutCancel(ctx))
	n.stop = stop
	go n.run(run)
	return n, nil
}

// State says when the copy last held everything that the cluster held, and why
// the cluster is not used now, nil when it is.
func (n *Node) State() (current time.Time, behind error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.current, n.down
}

// run makes rounds until the node is closed.
func (n *Node) run(ctx context.Context) {
	defer close(n.stopped)
	for idle := true; ; {
		n.mu.Lock()
		waiting := n.waiting
		n.waiting = nil
		n.mu.Unlock()
		err := n.round(ctx, idle)
		if ctx.Err() == nil {
			n.note(err)
		}
		for _, w := range waiting {
			close(w)
		}
		idle = n.rest(ctx, err == nil)
		if ctx.Err() != nil {
			return
		}
	}
}

// rest waits for the next round, and says whether nobody asked for it. Nobody
// can after one that failed.
func (n *Node) rest(ctx context.Context, went bool) bool {
	timer := time.NewTimer(n.o.Every)
	defer timer.Stop()
	poke := n.poke
	if !went {
		poke = nil
	}
	select {
	case <-poke:
		return false
	case <-timer.C:
		return true
	case <-ctx.Done():
		return true
	}
}

// note keeps how a round ended.
func (n *Node) note(err error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	switch was := n.down; {
	case err == nil:
		n.current = n.seen
		if n.down = n.broken; was != nil && n.down == nil {
			n.o.Warn("the cluster is in use again")
		}
	default:
		if registry.CodeOf(err) == registry.CodeTampered {
			n.broken = err
		}
		if n.down, n.sure = err, false; was == nil {
			n.lost = n.o.Now()
			n.o.Warn("the cluster cannot be used, so the copy in " + n.Dir() + " is served as it stands: " + err.Error())
		}
	}
}

// round copies what is new in the cluster. In an idle one it looks after the
// private values too.
func (n *Node) round(ctx context.Context, idle bool) error {
	asked := n.o.Now()
	at, err := n.Store.End(ctx)
	if err != nil {
		return err
	}
	if !n.sure {
		if err := n.compare(ctx, at); err != nil {
			return err
		}
	}
	quick, cancel := context.WithTimeout(ctx, answerWithin)
	end, err := n.remote.Ledger.End(quick)
	cancel()
	if err != nil {
		return plain(err)
	}
	if end < at {
		return endsBefore(end, at)
	}
	if end > at {
		if err := n.copyAfter(ctx, at); err != nil {
			return err
		}
	}
	if n.remote.Private != nil && (idle || end > at || !n.sure) {
		if err := n.copyPrivate(ctx); err != nil {
			return plain(err)
		}
	}
	n.sure, n.seen = true, asked
	return nil
}

// compare checks the cluster, and that it holds what the copy ends with.
func (n *Node) compare(ctx context.Context, at registry.Position) error {
	quick, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	if err := n.remote.Check(quick); err != nil {
		return plain(err)
	}
	if at == 0 {
		return nil
	}
	end, err := n.remote.Ledger.End(quick)
	if err != nil {
		return plain(err)
	}
	if end < at {
		return endsBefore(end, at)
	}
	mine, err := first(ctx, n.Store, at-1)
	if err != nil {
		return err
	}
	theirs, err := first(quick, n.remote.Ledger, at-1)
	if err != nil {
		return plain(err)
	}
	if theirs.ID != mine.ID || theirs.Machine != mine.Machine || theirs.Position != mine.Position {
		return differs(at)
	}
	return nil
}

var errEnough = errors.New("enough")

// first gives the first commit after a position.
func first(ctx context.Context, l registry.Ledger, after registry.Position) (out registry.Record, err error) {
	err = l.ReadAll(ctx, after, func(r registry.Record) error {
		out = r
		return errEnough
	})
	if errors.Is(err, errEnough) {
		err = nil
	}
	return out, err
}

// copied at a time, in commits and bytes.
const (
	stepCommits = 256
	stepBytes   = 4 << 20
)

// copyAfter copies what stands in the cluster after a position.
func (n *Node) copyAfter(ctx context.Context, at registry.Position) error {
	var step []registry.Commit
	size := 0
	flush := func() error {
		receipts, err := n.AppendInOrder(ctx, step)
		if err != nil && registry.CodeOf(err) != registry.CodeConflict {
			return err
		}
		for _, r := range receipts {
			if at++; r.Head.Position != at {
				return differs(at)
			}
		}
		if err != nil {
			return differs(at + 1)
		}
		step, size = nil, 0
		return nil
	}
	if err := n.remote.Ledger.ReadAll(ctx, at, func(r registry.Record) error {
		step = append(step, registry.Commit{ID: r.ID, Machine: r.Machine, Expect: r.First - 1, Events: r.Events})
		for _, e := range r.Events {
			size += len(e)
		}
		if len(step) < stepCommits && size < stepBytes {
			return nil
		}
		return flush()
	}); err != nil {
		return plain(err)
	}
	return flush()
}

// next waits for a round that begins after this call.
func (n *Node) next(ctx context.Context) error {
	done := make(chan struct{})
	n.mu.Lock()
	n.waiting = append(n.waiting, done)
	n.mu.Unlock()
	select {
	case n.poke <- struct{}{}:
	default:
	}
	select {
	case <-done:
		return nil
	case <-n.stopped:
		return errClosed
	case <-ctx.Done():
		return ctx.Err()
	}
}

// fresh brings the copy up to what the cluster holds now, or, when the cluster
// does not answer, leaves it as it is.
func (n *Node) fresh(ctx context.Context) error {
	if _, down := n.State(); down != nil || registry.ReadsAsItStands(ctx) {
		return ctx.Err()
	}
	return n.next(ctx)
}

// Append implements registry.Ledger. The commit goes to the cluster; its writer
// sees it in this node's copy afterwards.
func (n *Node) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	if err := c.Check(); err != nil {
		return registry.Receipt{}, err
	}
	if err := n.ready(ctx); err != nil {
		return registry.Receipt{}, err
	}
	// What the copy can answer need not be asked of the cluster, which knows the
	// IDs of a machine for ever, but those of all machines only for a while. The
	// head comes first: a commit that moved it is found by its ID then.
	head, err := n.Store.Head(ctx, c.Machine)
	if err != nil {
		return registry.Receipt{}, err
	}
	if stored, ok, err := n.Stored(ctx, c.ID); ok || err != nil {
		return registry.Receipt{Head: stored, Duplicate: ok}, err
	}
	if head.Version > c.Expect {
		return registry.Receipt{}, store.MovedOn(c, head.Version)
	}
	r, err := n.remote.Ledger.Append(ctx, c)
	if err != nil {
		return r, err
	}
	// It is stored, whatever becomes of the copy now.
	_ = n.next(context.WithoutCancel(ctx))
	return r, nil
}

// ready waits until the cluster can be written to, if it was lost only now.
func (n *Node) ready(ctx context.Context) error {
	for {
		if err := n.next(ctx); err != nil {
			return err
		}
		n.mu.Lock()
		down, over := n.down, n.o.Now().Sub(n.lost) > n.o.Patience
		n.mu.Unlock()
		if down == nil {
			return nil
		}
		if over || registry.CodeOf(down) == registry.CodeTampered {
			return cannotWrite(down)
		}
	}
}

// Head implements registry.Ledger.
func (n *Node) Head(ctx context.Context, machine string) (registry.Head, error) {
	if err := n.fresh(ctx); err != nil {
		return registry.Head{}, err
	}
	return n.Store.Head(ctx, machine)
}

// End implements registry.Ledger.
func (n *Node) End(ctx context.Context) (registry.Position, error) {
	if err := n.fresh(ctx); err != nil {
		return 0, err
	}
	return n.Store.End(ctx)
}

// Read implements registry.Ledger.
func (n *Node) Read(ctx context.Context, machine string, after uint64, fn func(registry.Record) error) error {
	if err := n.fresh(ctx); err != nil {
		return err
	}
	return n.Store.Read(ctx, machine, after, fn)
}

// ReadAll implements registry.Ledger.
func (n *Node) ReadAll(ctx context.Context, after registry.Position, fn func(registry.Record) error) error {
	if err := n.fresh(ctx); err != nil {
		return err
	}
	return n.Store.ReadAll(ctx, after, fn)
}

// Mentions tells whose record grew, as the copy's own does.
func (n *Node) Mentions(ctx context.Context, after registry.Position, fn func(registry.Position, string) error) error {
	if err := n.fresh(ctx); err != nil {
		return err
	}
	return n.Store.Mentions(ctx, after, fn)
}

// Ledger gives the ledger. Closing it closes the node.
func (n *Node) Ledger() registry.Ledger { return n }

// Close ends the node and closes its copy and its way to the cluster.
func (n *Node) Close() error {
	n.stop()
	<-n.stopped
	return errors.Join(n.remote.Ledger.Close(), n.Store.Close())
}
