package shared_test

import (
	"crypto/rand"
	"encoding/base32"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"example.org/asfound/access"
	"example.org/asfound/access/shared"
	"example.org/asfound/registry"
	"example.org/asfound/store/jetstream/clustertest"
)

func TestMain(m *testing.M) {
	clustertest.Main()
	os.Exit(m.Run())
}

func newCluster(t *testing.T, nodes int) *clustertest.Cluster {
	c, err := clustertest.Start(t.TempDir(), nodes)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, c.Close()) })
	return c
}

func connect(t *testing.T, url string) jetstream.JetStream {
	nc, err := nats.Connect(url, nats.MaxReconnects(-1), nats.ReconnectWait(50*time.Millisecond), nats.PingInterval(time.Second), nats.MaxPingsOutstanding(2))
	require.NoError(t, err)
	t.Cleanup(nc.Close)
	js, err := jetstream.New(nc)
	require.NoError(t, err)
	return js
}

// clock is the time of a node, which a test turns on.
type clock struct{ ahead atomic.Int64 }

func (c *clock) now() time.Time { return time.Now().Add(time.Duration(c.ahead.Load())) }

// node is a node's people, over its own connection.
type node struct {
	*access.Book
	clock
	js jetstream.JetStream
}

func newNode(t *testing.T, url string) *node {
	n := &node{js: connect(t, url)}
	s, err := shared.Open(t.Context(), n.js, n.now)
	// A server that began again is heard before it has heard who leads the list.
	for late := time.Now().Add(60 * time.Second); registry.CodeOf(err) == registry.CodeBusy && time.Now().Before(late); {
		s, err = shared.Open(t.Context(), n.js, n.now)
	}
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	n.Book = &access.Book{Store: s, Now: n.now, Random: rand.Reader, Required: true}
	return n
}

// soon waits until something is so, and far less than the time after which a
// node asks by itself.
func soon(t *testing.T, is func() bool) {
	t.Helper()
	require.Eventually(t, is, 3*time.Second, 2*time.Millisecond)
}

const password = "a long spanner in the drawer"

// keeper makes the first keeper at a node and gives their session's secret.
func keeper(t *testing.T, n *node) string {
	code, err := n.OpenSetUp()
	require.NoError(t, err)
	secret, err := n.SetUp(t.Context(), code, "Tamsin Orde", password, "a browser")
	require.NoError(t, err)
	return secret
}

func knows(t *testing.T, n *node, secret string) bool {
	who, err := n.Recognise(secret)
	require.NoError(t, err)
	return who != nil
}

// TestTwoNodes lets a person in at one node, and finds them signed in at the
// other; what is taken from them at one is taken at both.
func TestTwoNodes(t *testing.T) {
	c := newCluster(t, 1)
	js := connect(t, c.URL())
	_, err := shared.Open(t.Context(), js, time.Now)
	require.Equal(t, registry.CodeNotFound, registry.CodeOf(err), "nothing is made unasked")
	require.NoError(t, shared.Init(t.Context(), js, 1))
	require.NoError(t, shared.Init(t.Context(), js, 1), "doing it again alters nothing")

	a, b := newNode(t, c.URL()), newNode(t, c.URL())
	require.True(t, b.NeedsSetUp())
	session := keeper(t, a)
	soon(t, func() bool { return knows(t, b, session) })
	soon(t, func() bool { return !b.NeedsSetUp() })

	// Invited at one, joined at the other, signed in at the first.
	invitation, err := b.Invite("Imogen Aske", []access.Grant{{Role: access.Owner, Machine: "drover"}})
	require.NoError(t, err)
	soon(t, func() bool { _, err := a.Invited(invitation); return err == nil })
	joined, err := a.Join(t.Context(), invitation, password, "a phone")
	require.NoError(t, err)
	soon(t, func() bool { return knows(t, b, joined) })
	again, err := b.SignIn(t.Context(), "Imogen Aske", password, "192.0.2.1", "a phone")
	require.NoError(t, err)
	soon(t, func() bool { return knows(t, a, again) })

	token, err := a.NewToken("bench computer", access.Grant{Role: access.Reader}, 0)
	require.NoError(t, err)
	soon(t, func() bool { who, err := b.RecogniseToken(token); return err == nil && who != nil })

	// Revocation reaches both.
	require.NoError(t, b.Revoke("Imogen Aske"))
	require.False(t, knows(t, b, joined))
	soon(t, func() bool { return !knows(t, a, joined) && !knows(t, a, again) })
	_, err = a.SignIn(t.Context(), "Imogen Aske", password, "192.0.2.1", "a phone")
	require.Equal(t, access.CodeWrong, registry.CodeOf(err))
	require.True(t, knows(t, a, session))

	// A node that begins now knows the same.
	late := newNode(t, c.URL())
	require.True(t, knows(t, late, session))
	require.False(t, knows(t, late, joined))

	// Without the cluster it goes on for a while, and no longer.
	require.NoError(t, c.KillNode(0))
	require.True(t, knows(t, late, session))
	late.ahead.Store(int64(shared.StaleLimit) + int64(time.Minute))
	_, err = late.Recognise(session)
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err))
}

// TestNobodyIsLost lets four nodes invite people at once.
func TestNobodyIsLost(t *testing.T) {
	c := newCluster(t, 1)
	require.NoError(t, shared.Init(t.Context(), connect(t, c.URL()), 1))
	var wg sync.WaitGroup
	for p := range 4 {
		n := newNode(t, c.URL())
		wg.Go(func() {
			for i := range 5 {
				_, err := n.Invite(fmt.Sprint("Person ", p, i), []access.Grant{{Role: access.Reader}})
				require.NoError(t, err)
			}
		})
	}
	wg.Wait()
	s, err := newNode(t, c.URL()).Store.Read()
	require.NoError(t, err)
	require.Len(t, s.Invites, 20)

	// What fails changes nothing.
	n := newNode(t, c.URL())
	require.Error(t, n.Store.Update(func(s *access.State) error { s.Invites = nil; return errors.New("stopped") }))
	s, err = newNode(t, c.URL()).Store.Read()
	require.NoError(t, err)
	require.Len(t, s.Invites, 20)
}

// TestDamagedList lets nobody in while the list in the cluster is damaged or was
// taken away, and does not take it for an empty one.
func TestDamagedList(t *testing.T) {
	c := newCluster(t, 1)
	admin := connect(t, c.URL())
	require.NoError(t, shared.Init(t.Context(), admin, 1))
	a := newNode(t, c.URL())
	keeper(t, a)
	kv, err := admin.KeyValue(t.Context(), shared.Bucket)
	require.NoError(t, err)
	sound, err := kv.Get(t.Context(), "people")
	require.NoError(t, err)
	for name, hurt := range map[string]func() error{
		"half of it": func() error { _, err := kv.Put(t.Context(), "people", sound.Value()[:100]); return err },
		"taken away": func() error { return kv.Delete(t.Context(), "people") },
	} {
		require.NoError(t, hurt(), name)
		_, err := shared.Open(t.Context(), admin, time.Now)
		require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "%s: %v", name, err)
		require.Equal(t, registry.CodeTampered, registry.CodeOf(a.Store.Update(func(*access.State) error { return nil })), name)
		on, err := a.On()
		require.True(t, on)
		require.Equal(t, registry.CodeTampered, registry.CodeOf(err), name)
		// Put back from a copy, it is good again.
		_, err = kv.Put(t.Context(), "people", sound.Value())
		require.NoError(t, err)
		soon(t, func() bool { _, err := a.Store.Read(); return err == nil })
	}
}

// TestTooManyPeople keeps 20,000 sessions, and says so when the list outgrew a
// message.
func TestTooManyPeople(t *testing.T) {
	c := newCluster(t, 1)
	require.NoError(t, shared.Init(t.Context(), connect(t, c.URL()), 1))
	a := newNode(t, c.URL())
	session := keeper(t, a)
	err := a.Store.Update(sessions(t, 20_000))
	require.NoError(t, err)
	err = a.Store.Update(sessions(t, 60_000))
	require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err), "%v", err)
	require.True(t, knows(t, a, session))
}

// sessions gives the keeper so many more sessions.
func sessions(t *testing.T, n int) func(*access.State) error {
	return func(s *access.State) error {
		for range n {
			x := s.Sessions[0]
			b := random(t)
			x.ID, x.Digest = "session-"+strings.ToLower(base32.StdEncoding.EncodeToString(b[:10])), fmt.Sprintf("%x", b)
			s.Sessions = append(s.Sessions, x)
		}
		return nil
	}
}

func random(t *testing.T) []byte {
	b := make([]byte, 32)
	_, err := rand.Read(b)
	require.NoError(t, err)
	return b
}

// TestThreeServers kills the server that leads while people are invited at two
// nodes, and then cuts a node off: its people still come in for a while, nothing
// is changed there, and after StaleLimit nobody comes in.
func TestThreeServers(t *testing.T) {
	if testing.Short() {
		t.Skip("three servers take half a minute")
	}
	c := newCluster(t, 3)
	require.NoError(t, shared.Init(t.Context(), connect(t, c.URL()), 3))
	a, b := newNode(t, c.URL()), newNode(t, c.URL())
	session := keeper(t, a)
	soon(t, func() bool { return knows(t, b, session) })

	leader, err := c.Leader("KV_PEOPLE")
	require.NoError(t, err)
	var wg sync.WaitGroup
	var mu sync.Mutex
	sure := map[string]bool{} // invited, by the answer
	begun := make(chan bool, 2)
	for p, n := range []*node{a, b} {
		wg.Go(func() {
			for i := range 8 {
				name := fmt.Sprint("Person ", p, i)
				_, err := n.Invite(name, []access.Grant{{Role: access.Reader}})
				for registry.CodeOf(err) == registry.CodeBusy { // surely not made
					_, err = n.Invite(name, []access.Grant{{Role: access.Reader}})
				}
				if registry.CodeOf(err) != registry.CodeUnknown { // perhaps made, and that was said
					require.NoError(t, err, name)
					mu.Lock()
					sure[name] = true
					mu.Unlock()
				}
				if i == 2 {
					begun <- true
				}
			}
		})
	}
	<-begun
	require.NoError(t, c.KillNode(leader))
	wg.Wait()
	require.NoError(t, c.StartNode(leader))
	require.NoError(t, c.Settled())
	names := map[string]bool{}
	s, err := newNode(t, c.URL()).Store.Read()
	require.NoError(t, err)
	for _, i := range s.Invites {
		require.False(t, names[i.Name], "%s was invited twice", i.Name)
		names[i.Name] = true
	}
	for name := range sure {
		require.True(t, names[name], "%s was invited, and is lost", name)
	}
	require.Greater(t, len(sure), 10)

	before := len(s.Invites)

	// A node that reaches only a server that is cut off from the other two.
	away := newNode(t, c.NodeURL(0))
	require.True(t, knows(t, away, session))
	c.Cut(0)
	require.True(t, knows(t, away, session), "who was known still comes in")
	_, err = away.Invite("Nobody", []access.Grant{{Role: access.Reader}})
	require.Contains(t, []registry.Code{registry.CodeBusy, registry.CodeUnknown}, registry.CodeOf(err), "%v", err)
	away.ahead.Store(int64(access.SeenEvery) + int64(time.Second))
	_, err = away.Recognise(session)
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err), "nothing was heard for too long: %v", err)

	// With the line mended it catches up, and knows what happened meanwhile.
	away.ahead.Store(0)
	c.Mend(0)
	require.NoError(t, c.Settled())
	whole := newNode(t, c.NodeURL(1)+","+c.NodeURL(2))
	_, err = whole.Invite("Somebody", []access.Grant{{Role: access.Reader}})
	require.NoError(t, err)
	require.Eventually(t, func() bool {
		s, err := away.Store.Read()
		return err == nil && len(s.Invites) == before+1
	}, 40*time.Second, 20*time.Millisecond)
}

// TestSeenIsNoReason recognises somebody although it cannot be noted when.
func TestSeenIsNoReason(t *testing.T) {
	m := &access.Memory{}
	c := &clock{}
	book := &access.Book{Store: m, Now: c.now, Random: rand.Reader, Required: true}
	n := &node{Book: book}
	session := keeper(t, n)
	n.Store = readOnly{m}
	c.ahead.Store(int64(access.SeenEvery) + 1e9)
	require.True(t, knows(t, n, session))
}

// readOnly is a list of people that cannot be changed for now.
type readOnly struct{ *access.Memory }

func (readOnly) Update(func(*access.State) error) error {
	return registry.Refuse(registry.CodeBusy, "", "nobody leads")
}
