package jetstream

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"example.org/asfound/registry"
	"example.org/asfound/store"
)

// What a cluster holds of one registry.
const (
	Stream        = "REG"
	PhotosBucket  = "PHOTOS"
	PrivateBucket = "PRIVATE"

	subjectPrefix = "reg.m." // and the machine's token
)

// Options are the choices at opening. The zero Options are right for use.
type Options struct {
	// Patience is how long an append or a read goes on trying while no server
	// leads; 0 means DefaultPatience.
	Patience time.Duration
	// Name is what the servers call this connection in their logs.
	Name string
	// Warn gets notes about the connection; nil drops them.
	Warn func(message string)
}

// DefaultPatience is longer than the servers take to choose another leader,
// which is 4 to 9 seconds.
const DefaultPatience = 12 * time.Second

// Store is a connection to a cluster. All methods may be used by several
// goroutines at once.
type Store struct {
	nc       *nats.Conn
	js       jetstream.JetStream
	ledger   *ledger
	photos   *Blobs
	private  *PrivateBlobs
	keys     *Keys
	patience time.Duration

	closing sync.Once
	gone    chan struct{} // closed when closing begins
}

// Open attaches to the registry that the cluster holds. The URL may name
// several servers, separated by commas. It makes nothing: codes CodeNotFound
// when the cluster holds no registry, CodeTampered when the stream was cut or
// is set up in a way that could lose events, CodeBusy when no server answers,
// CodeUnsupported when a server takes too small messages. The caller closes the
// Store.
func Open(ctx context.Context, url string, o Options) (*Store, error) {
	s, err := connect(url, o)
	if err != nil {
		return nil, err
	}
	if _, err := s.Check(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// Attach is Open for a program that must go on while no server answers: it
// comes back at once, and the caller calls Check before it relies on anything.
func Attach(url string, o Options) (*Store, error) {
	return connect(url, o, nats.RetryOnFailedConnect(true))
}

func connect(servers string, o Options, more ...nats.Option) (*Store, error) {
	if err := checkURL(servers); err != nil {
		return nil, err
	}
	if o.Patience == 0 {
		o.Patience = DefaultPatience
	}
	if o.Name == "" {
		o.Name = "asfound"
	}
	if o.Warn == nil {
		o.Warn = func(string) {}
	}
	nc, err := nats.Connect(servers, append(more, nats.Name(o.Name),
		nats.PingInterval(5*time.Second), nats.MaxPingsOutstanding(2), // a server that hangs is left after 10 s
		nats.MaxReconnects(-1), nats.ReconnectWait(200*time.Millisecond), nats.Timeout(3*time.Second),
		nats.ReconnectBufSize(-1), // what cannot be sent now is never sent behind the caller's back
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil {
				o.Warn("the connection to the cluster was lost: " + err.Error())
			}
		}),
		nats.ReconnectHandler(func(nc *nats.Conn) { o.Warn("the cluster is reached again, at " + nc.ConnectedServerName()) }),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { o.Warn("the cluster says: " + err.Error()) }))...)
	if err != nil {
		return nil, registry.Refuse(registry.CodeBusy, "Start the cluster, or check the address and the network.",
			"No server of the cluster answers at %s: %v", HideSecrets(servers), err)
	}
	js, err := jetstream.New(nc)
	if err != nil {
		nc.Close()
		return nil, err
	}
	s := &Store{nc: nc, js: js, patience: o.Patience, gone: make(chan struct{})}
	s.ledger = &ledger{s: s, stream: &stream{s: s, name: Stream}}
	s.photos = newBlobs(s, PhotosBucket)
	s.private = &PrivateBlobs{newBlobs(s, PrivateBucket)}
	s.keys = &Keys{s, &stream{s: s, name: "KV_" + KeysBucket}}
	return s, nil
}

func checkURL(servers string) error {
	for one := range strings.SplitSeq(servers, ",") {
		u, err := url.Parse(strings.TrimSpace(one))
		if err != nil || !slices.Contains([]string{"nats", "tls"}, u.Scheme) || u.Host == "" {
			return registry.Refuse(registry.CodeInvalid, "Write nats://HOST:4222, or tls:// for an encrypted connection; several servers are separated by commas.",
				"%q is not the address of a cluster", HideSecrets(one))
		}
	}
	return nil
}

// HideSecrets leaves names and passwords out of a list of addresses.
func HideSecrets(servers string) string {
	var out []string
	for one := range strings.SplitSeq(servers, ",") {
		if i := strings.LastIndexByte(one, '@'); i >= 0 {
			scheme, _, _ := strings.Cut(one, "://")
			one = scheme + "://" + one[i+1:]
		}
		out = append(out, strings.TrimSpace(one))
	}
	return strings.Join(out, ", ")
}

// Ledger gives the ledger. Closing it closes the store.
func (s *Store) Ledger() registry.Ledger { return s.ledger }

// Photos gives the store of photographs and documents.
func (s *Store) Photos() *Blobs { return s.photos }

// Private gives the store of private values, which may be removed.
func (s *Store) Private() *PrivateBlobs { return s.private }

// Keys gives the keys of the private values.
func (s *Store) Keys() *Keys { return s.keys }

// Close lets go of the cluster. Calls under way end with an error.
func (s *Store) Close() error {
	s.closing.Do(func() {
		close(s.gone)
		s.nc.Close()
	})
	return nil
}

var errClosed = registry.Refuse(registry.CodeBusy, "Open it again.", "The connection to the cluster is closed")

// alive refuses a call whose context has ended or whose store is closed.
func (s *Store) alive(ctx context.Context) error {
	select {
	case <-s.gone:
		return errClosed
	default:
		return ctx.Err()
	}
}

// pause waits before another try, or says why there will be none.
func (s *Store) pause(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return s.alive(ctx)
	case <-s.gone:
		return errClosed
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Init makes, once, the stream and the object stores of a registry, each on so
// many servers. It needs the rights of an administrator, and never alters what
// is there: CodeConflict when the cluster holds a registry already.
func Init(ctx context.Context, url string, replicas int) error {
	s, err := connect(url, Options{Name: "asfound ledger init"})
	if err != nil {
		return err
	}
	defer s.Close()
	if replicas < 1 || replicas > 5 || replicas%2 == 0 {
		return registry.Refuse(registry.CodeInvalid, "Use 3, or 5 where two servers may fail at once, or 1 to rehearse.", "%d copies cannot be kept: a majority needs an odd number from 1 to 5", replicas)
	}
	if err := s.checkPayload(); err != nil {
		return err
	}
	_, err = s.ledger.stream.info(ctx)
	if err == nil {
		return alreadyThere()
	}
	if registry.CodeOf(err) != registry.CodeNotFound {
		return err
	}
	// The stream comes last: where it is, everything is.
	for _, bucket := range []string{PhotosBucket, PrivateBucket} {
		_, err := s.js.CreateObjectStore(ctx, bucketConfig(bucket, replicas))
		if errors.Is(err, jetstream.ErrBucketExists) {
			return alreadyThere()
		}
		if err != nil {
			return cannotMake("the object store "+bucket, err)
		}
	}
	if _, err = s.js.CreateStream(ctx, keysConfig(replicas)); errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) {
		return alreadyThere()
	} else if err != nil {
		return cannotMake("the bucket "+KeysBucket, err)
	}
	if _, err = s.js.CreateStream(ctx, streamConfig(replicas)); err != nil {
		return cannotMake("the ledger's stream", err)
	}
	return nil
}

func alreadyThere() error {
	return registry.Refuse(registry.CodeConflict, "Use it with --ledger; nothing was altered. To begin anew, an administrator takes the old one away by hand.", "The cluster holds a registry already")
}

func cannotMake(what string, err error) error {
	return registry.Refuse(registry.CodeBusy, "See that as many servers run as copies are wanted, and that the address names an administrator.", "In the cluster, %s cannot be made: %v", what, err)
}

// streamConfig is how the ledger's stream must be set up: on files, nothing ever
// dropped to make room, nothing deleted.
func streamConfig(replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{Name: Stream, Description: "asfound ledger: append only, never altered", Subjects: []string{subjectPrefix + "*"},
		Storage: jetstream.FileStorage, Replicas: replicas, Retention: jetstream.LimitsPolicy, Discard: jetstream.DiscardNew,
		MaxMsgs: -1, MaxBytes: -1, MaxMsgsPerSubject: -1, MaxMsgSize: -1, DenyDelete: true, DenyPurge: true, AllowDirect: true}
}

func bucketConfig(bucket string, replicas int) jetstream.ObjectStoreConfig {
	return jetstream.ObjectStoreConfig{Bucket: bucket, Description: "asfound files, named by their SHA-256", Storage: jetstream.FileStorage, Replicas: replicas}
}

// Check attaches to the registry and says whether everything is as it must be.
func Check(ctx context.Context, url string) (Health, error) {
	s, err := connect(url, Options{Name: "asfound ledger check"})
	if err != nil {
		return Health{}, err
	}
	defer s.Close()
	return s.Check(ctx)
}

// Health is what a check found of a cluster.
type Health struct {
	Position registry.Position `json:"position"` // of the last commit
	Bytes    uint64            `json:"bytes"`    // of the stream, on each server
	Leader   string            `json:"leader"`   // server that takes writes now
	Copies   int               `json:"copies"`   // servers that are meant to hold it
	// Behind names servers that are off or not up to date.
	Behind []string `json:"behind"`
	// Synced names servers that were asked how they write, and sync every time.
	Synced []string `json:"synced,omitempty"`
}

// Write says it in words.
func (h Health) Write(w io.Writer) {
	fmt.Fprintf(w, "The ledger goes up to position %d and takes %d bytes on each server that holds a copy; copies: %d. Nothing in its settings can drop or change what was acknowledged.\n", h.Position, h.Bytes, h.Copies)
	if h.Leader != "" {
		fmt.Fprintf(w, "%s takes the writes now.\n", h.Leader)
	}
	for _, name := range h.Behind {
		fmt.Fprintf(w, "BEHIND  %s is off, or not up to date.\n", name)
	}
	for _, name := range h.Synced {
		fmt.Fprintf(w, "%s brings every write to its disk before it acknowledges it.\n", name)
	}
	if len(h.Synced) < h.Copies {
		fmt.Fprintln(w, "Whether every server brings each write to its disk at once was not asked of all: name their monitoring addresses with --monitor, or see that sync_interval: always stands in each configuration.")
	}
}

// largestMessage is what a server must take: the largest commit with the
// headers that go with it, in bytes.
const largestMessage = store.MaxEncodedBytes + 1<<10

func (s *Store) checkPayload() error {
	if !s.nc.IsConnected() {
		return noMajority(nats.ErrDisconnected)
	}
	if got := s.nc.MaxPayload(); got < largestMessage {
		return registry.Refuse(registry.CodeUnsupported, "Write max_payload: 2MB into the configuration of every server.",
			"The servers of the cluster take messages of %d bytes; the largest commit needs %d", got, largestMessage)
	}
	return nil
}

// Check says whether the cluster holds a registry and everything is as it must
// be; see Open for the codes.
func (s *Store) Check(ctx context.Context) (Health, error) {
	if err := s.checkPayload(); err != nil {
		return Health{}, err
	}
	info, err := s.ledger.stream.info(ctx)
	if err != nil {
		return Health{}, err
	}
	if err := checkConfig(info.Config); err != nil {
		return Health{}, err
	}
	if info.State.FirstSeq > 1 || info.State.NumDeleted > 0 || info.State.Msgs != info.State.LastSeq {
		return Health{}, registry.Refuse(registry.CodeTampered, "Write nothing more; bring the registry back from a backup or from a node's folder.",
			"The ledger in the cluster was cut: it ends at position %d and holds %d commits from position %d", info.State.LastSeq, info.State.Msgs, info.State.FirstSeq)
	}
	h := Health{Position: registry.Position(info.State.LastSeq), Bytes: info.State.Bytes, Copies: info.Config.Replicas, Behind: []string{}}
	if info.Cluster != nil {
		h.Leader = info.Cluster.Leader
		for _, r := range info.Cluster.Replicas {
			if r.Offline || !r.Current {
				h.Behind = append(h.Behind, r.Name)
			}
		}
	}
	for _, b := range []*stream{s.photos.stream, s.private.stream, s.keys.stream} {
		if _, err := b.info(ctx); err != nil {
			return h, err
		}
	}
	return h, nil
}

// checkConfig refuses a stream that could drop or change what was acknowledged.
func checkConfig(c jetstream.StreamConfig) error {
	want := streamConfig(c.Replicas)
	var wrong []string
	for what, differs := range map[string]bool{
		"its subjects are not " + subjectPrefix + "*":              !slices.Equal(c.Subjects, want.Subjects),
		"it is not kept on files":                                  c.Storage != want.Storage,
		"it drops what was read":                                   c.Retention != want.Retention,
		"it drops old commits to make room":                        c.Discard != want.Discard,
		"it has a largest age, number or size":                     c.MaxAge != 0 || c.MaxMsgs != -1 || c.MaxBytes != -1 || c.MaxMsgsPerSubject != -1,
		"commits can be deleted":                                   !c.DenyDelete || !c.DenyPurge || c.AllowRollup,
		"it is a copy of another stream":                           c.Mirror != nil || len(c.Sources) > 0,
		"its copies cannot be read directly":                       !c.AllowDirect,
		fmt.Sprintf("it takes messages of %d bytes", c.MaxMsgSize): c.MaxMsgSize != -1 && c.MaxMsgSize < largestMessage,
	} {
		if differs {
			wrong = append(wrong, what)
		}
	}
	if len(wrong) == 0 {
		return nil
	}
	slices.Sort(wrong)
	return registry.Refuse(registry.CodeTampered, "Let \"asfound ledger init\" make the stream in an empty cluster, and move the registry there.",
		"The stream %s in the cluster is no ledger: %s", Stream, strings.Join(wrong, "; "))
}
