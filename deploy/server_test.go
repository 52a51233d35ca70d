package deploy_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	upstream "github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"example.org/asfound/access"
	"example.org/asfound/access/shared"
	"example.org/asfound/loopback"
	"example.org/asfound/registry"
	"example.org/asfound/store"
	"example.org/asfound/store/jetstream"
)

// environment is what a service gets, as it is written; "" for what comes from
// outside.
func environment(t *testing.T, name string) map[string]string {
	out := map[string]string{}
	given, ok := readCompose(t).Services[name].Environment.(map[string]any)
	require.True(t, ok, name)
	for key, value := range given {
		if out[key] = ""; value != nil {
			out[key] = fmt.Sprint(value)
		}
	}
	return out
}

// configured reads nats.conf as the server itself does.
func configured(t *testing.T) *server.Options {
	t.Setenv("NODE", "nats1")
	t.Setenv("NATS_ROUTE", "proute")
	t.Setenv("ROUTES", strings.ReplaceAll(environment(t, "nats1")["ROUTES"], "${NATS_ROUTE:-}", "proute"))
	t.Setenv("NATS_ADMIN", "padmin")
	t.Setenv("NATS_APP", "papp")
	o, err := server.ProcessConfigFile("nats.conf")
	require.NoError(t, err)
	return o
}

// TestServerConfiguration holds nats.conf against what the ledger rests on, and
// against the services that use it.
func TestServerConfiguration(t *testing.T) {
	o := configured(t)
	require.True(t, o.SyncAlways, "an answer must mean that it is on the disk")
	require.GreaterOrEqual(t, o.MaxPayload, int32(registry.MaxCommitBytes+1<<17))
	require.Equal(t, "/data", o.StoreDir)
	require.Equal(t, "asfound", o.Cluster.Name)
	require.NotEmpty(t, o.Cluster.Password)
	c := readCompose(t)
	var routes []string
	for _, r := range o.Routes {
		host := r.Hostname()
		routes = append(routes, host)
		require.Contains(t, c.Services, host)
		require.Equal(t, "6222", r.Port())
	}
	require.ElementsMatch(t, []string{"nats1", "nats2", "nats3"}, routes)
	for _, name := range routes {
		e := environment(t, name)
		require.Equal(t, name, e["NODE"])
		for _, outside := range []string{"NATS_ROUTE", "NATS_ADMIN", "NATS_APP"} {
			value, ok := e[outside]
			require.True(t, ok && value == "", outside)
		}
	}
	require.Empty(t, o.Username, "nobody comes in without a user")
	require.Empty(t, o.NoAuthUser)

	// A server whose password was forgotten does not start with an empty one.
	for _, name := range []string{"NATS_ROUTE", "NATS_ADMIN", "NATS_APP", "NODE", "ROUTES"} {
		t.Run(name, func(t *testing.T) {
			configured(t)
			require.NoError(t, os.Unsetenv(name)) // put back by configured
			_, err := server.ProcessConfigFile("nats.conf")
			require.ErrorContains(t, err, name)
		})
	}
}

// running starts one server with the users of nats.conf, on loopback and a
// folder of the test's own.
func running(t *testing.T) (admin, app string) {
	o := configured(t)
	o.Host, o.Port, o.HTTPPort, o.StoreDir, o.NoSigs, o.NoLog = "127.0.0.1", -1, 0, t.TempDir(), true, true
	o.Cluster, o.Routes = server.ClusterOpts{}, nil
	s, err := server.NewServer(o)
	require.NoError(t, err)
	go s.Start()
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	require.True(t, s.ReadyForConnections(10*time.Second))
	at := s.Addr().String()
	return "nats://admin:padmin@" + at, "nats://app:papp@" + at
}

// TestServersFindEachOther starts three servers by the file, which let each other
// in by the password in their routes and choose a leader; a fourth with another
// password stays out.
func TestServersFindEachOther(t *testing.T) {
	o := configured(t)
	var addresses []string
	for range 3 {
		address, err := loopback.Address()
		require.NoError(t, err)
		addresses = append(addresses, address)
	}
	var routes []string
	for i, r := range o.Routes {
		routes = append(routes, fmt.Sprintf("%q", strings.Replace(r.String(), r.Host, addresses[i], 1)))
	}
	t.Setenv("ROUTES", "["+strings.Join(routes, ", ")+"]")
	start := func(name, cluster string) *server.Server {
		t.Setenv("NODE", name)
		o, err := server.ProcessConfigFile("nats.conf")
		require.NoError(t, err)
		host, port, err := net.SplitHostPort(cluster)
		require.NoError(t, err)
		o.Cluster.Host = host
		o.Cluster.Port, err = strconv.Atoi(port)
		require.NoError(t, err)
		o.Host, o.Port, o.HTTPPort, o.StoreDir, o.NoSigs, o.NoLog = "127.0.0.1", -1, 0, t.TempDir(), true, true
		s, err := server.NewServer(o)
		require.NoError(t, err)
		go s.Start()
		t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
		return s
	}
	var all []*server.Server
	for i, address := range addresses {
		all = append(all, start(fmt.Sprint("nats", i+1), address))
	}
	require.Eventually(t, func() bool {
		leaders := 0
		for _, s := range all {
			if s.JetStreamIsLeader() {
				leaders++
			}
		}
		return leaders == 1
	}, 30*time.Second, 20*time.Millisecond)
	// The leader learns of the others one by one. An answer that came too late is
	// followed by the word that it was made.
	require.Eventually(t, func() bool {
		err := jetstream.Init(t.Context(), "nats://admin:padmin@"+all[1].Addr().String(), 3)
		return err == nil || registry.CodeOf(err) == registry.CodeConflict
	}, 30*time.Second, 100*time.Millisecond)

	t.Setenv("ROUTES", strings.ReplaceAll(os.Getenv("ROUTES"), "proute", "guessed"))
	stranger := start("nats4", "127.0.0.1:-1")
	require.True(t, stranger.ReadyForConnections(10*time.Second))
	require.Never(t, func() bool { return stranger.NumRoutes() > 0 }, time.Second, 50*time.Millisecond)
}

// TestTheProgramsUser does all that the program does as the user of nats.conf
// who may do no more, and then tries what that user must not: to delete, purge,
// alter or make anything.
func TestTheProgramsUser(t *testing.T) {
	admin, app := running(t)
	ctx := t.Context()
	require.Error(t, jetstream.Init(ctx, app, 1), "the program makes nothing")
	require.NoError(t, jetstream.Init(ctx, admin, 1))
	boss, err := jetstream.Open(ctx, admin, jetstream.Options{})
	require.NoError(t, err)
	defer boss.Close()
	require.NoError(t, shared.Init(ctx, boss.JetStream(), 1))

	s, err := jetstream.Open(ctx, app, jetstream.Options{Warn: func(m string) { t.Log(m) }})
	require.NoError(t, err)
	defer s.Close()
	use(t, s)
	require.NoError(t, useFiles(ctx, s))
	usePeople(t, s.JetStream())

	var end registry.Position
	end, err = s.Ledger().End(ctx)
	require.NoError(t, err)
	js := s.JetStream()
	short := func() (context.Context, context.CancelFunc) { return context.WithTimeout(ctx, 300*time.Millisecond) }
	for what, try := range map[string]func(context.Context) error{
		"delete the ledger":   func(ctx context.Context) error { return js.DeleteStream(ctx, "REG") },
		"delete the pictures": func(ctx context.Context) error { return js.DeleteObjectStore(ctx, "PHOTOS") },
		"delete the people":   func(ctx context.Context) error { return js.DeleteKeyValue(ctx, "PEOPLE") },
		"make a stream": func(ctx context.Context) error {
			_, err := js.CreateStream(ctx, upstream.StreamConfig{Name: "OTHER", Subjects: []string{"other"}})
			return err
		},
		"let the ledger be short":  func(ctx context.Context) error { return cut(ctx, boss.JetStream(), js) },
		"purge the ledger":         func(ctx context.Context) error { return request(ctx, js, "$JS.API.STREAM.PURGE.REG", `{}`) },
		"purge the pictures":       func(ctx context.Context) error { return request(ctx, js, "$JS.API.STREAM.PURGE.OBJ_PHOTOS", `{}`) },
		"purge the people":         func(ctx context.Context) error { return request(ctx, js, "$JS.API.STREAM.PURGE.KV_PEOPLE", `{}`) },
		"delete the keys":          func(ctx context.Context) error { return js.DeleteKeyValue(ctx, "KEYS") },
		"purge the keys":           func(ctx context.Context) error { return request(ctx, js, "$JS.API.STREAM.PURGE.KV_KEYS", `{}`) },
		"delete one commit":        func(ctx context.Context) error { return request(ctx, js, "$JS.API.STREAM.MSG.DELETE.REG", `{"seq":1}`) },
		"bring an old ledger back": func(ctx context.Context) error { return request(ctx, js, "$JS.API.STREAM.RESTORE.REG", `{}`) },
		"write another subject":    func(ctx context.Context) error { return request(ctx, js, "reg.other", `{}`) },
		"listen to everything":     func(ctx context.Context) error { return listen(ctx, js) },
	} {
		ctx, cancel := short()
		require.Error(t, try(ctx), what)
		cancel()
	}
	// Nothing of that was done.
	now, err := s.Ledger().End(ctx)
	require.NoError(t, err)
	require.Equal(t, end, now)
	_, err = jetstream.Check(ctx, app)
	require.NoError(t, err)
	require.NoError(t, useFiles(ctx, s))

	// Nobody comes in with another password, or none.
	for _, url := range []string{strings.Replace(app, "papp", "wrong", 1), strings.Replace(app, "app:papp@", "", 1)} {
		_, err := jetstream.Open(ctx, url, jetstream.Options{})
		require.Error(t, err)
		require.NotContains(t, err.Error(), "wrong")
	}
}

// TestTheProgramAsThatUser takes a machine in, moves a registry, erases a person
// and audits, each as a command with no more rights than nats.conf gives.
func TestTheProgramAsThatUser(t *testing.T) {
	admin, app := running(t)
	boss := &container{t: t, settings: map[string]string{"ASFOUND_LEDGER": admin, "ASFOUND_DIR": t.TempDir()}}
	boss.do("ledger", "init", "--replicas", "1")
	folder := &container{t: t, settings: map[string]string{"ASFOUND_DIR": t.TempDir()}}
	takeIn := func(c *container, machine string) {
		c.do("take-in", machine, "--invented", "--make", "Skerrow Engineering", "--model", "Drover 350", "--year", "1957", "--owner", "Imogen Aske", "--custodian", "Tamsin Orde", "--authority", "registration")
	}
	takeIn(folder, "drover")
	picture, err := os.ReadFile("../server/static/icon-192.png")
	require.NoError(t, err)
	pictures := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(pictures, "fuel.tank.png"), picture, 0o600))
	folder.do("import", pictures, "--machine", "drover")
	folder.do("people", "add", "Tamsin Orde", "--role", "keeper")

	node := &container{t: t, settings: map[string]string{"ASFOUND_LEDGER": app, "ASFOUND_DIR": filepath.Join(t.TempDir(), "node")}}
	folder.do("move", "--from", folder.settings["ASFOUND_DIR"], "--to", app, "--node", node.settings["ASFOUND_DIR"])
	takeIn(node, "fellside")
	node.do("people", "add", "Imogen Aske", "--role", "owner@drover")
	node.do("person", "erase", "drover", "owner", "--why", "at her wish", "--yes")
	require.Contains(t, node.do("audit"), "all agree")
	require.Contains(t, node.do("ledger", "check"), "goes up to position")
	node.do("move", "--from", app, "--to", filepath.Join(t.TempDir(), "home"), "--node", node.settings["ASFOUND_DIR"])
}

// TestWhatAnAdministratorCanUndo cuts the ledger with an administrator's rights:
// nothing hinders it, and the program does not take what is left for a ledger.
func TestWhatAnAdministratorCanUndo(t *testing.T) {
	admin, app := running(t)
	ctx := t.Context()
	require.NoError(t, jetstream.Init(ctx, admin, 1))
	boss, err := jetstream.Open(ctx, admin, jetstream.Options{})
	require.NoError(t, err)
	defer boss.Close()
	s, err := jetstream.Open(ctx, app, jetstream.Options{})
	require.NoError(t, err)
	use(t, s)
	require.NoError(t, s.Close())
	require.NoError(t, cut(ctx, boss.JetStream(), boss.JetStream()))
	_, err = jetstream.Open(ctx, app, jetstream.Options{})
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "%v", err)
	require.NoError(t, boss.JetStream().DeleteStream(ctx, "REG"))
	_, err = jetstream.Open(ctx, app, jetstream.Options{})
	require.Equal(t, registry.CodeNotFound, registry.CodeOf(err), "%v", err)
}

// use appends and reads in every way that there is.
func use(t *testing.T, s *jetstream.Store) {
	l := s.Ledger()
	c := registry.Commit{ID: "commit-1", Machine: "drover", Events: [][]byte{[]byte("one"), []byte("two")}}
	receipt, err := l.Append(t.Context(), c)
	require.NoError(t, err)
	require.Equal(t, uint64(2), receipt.Head.Version)
	again, err := l.Append(t.Context(), c)
	require.NoError(t, err)
	require.True(t, again.Duplicate)
	_, err = l.Append(t.Context(), registry.Commit{ID: "commit-2", Machine: "drover", Events: [][]byte{[]byte("late")}})
	require.Equal(t, registry.CodeConflict, registry.CodeOf(err))
	_, err = l.Append(t.Context(), registry.Commit{ID: "commit-3", Machine: "drover", Expect: 2, Events: [][]byte{[]byte("three")}})
	require.NoError(t, err)
	n := 0
	count := func(registry.Record) error { n++; return nil }
	require.NoError(t, l.Read(t.Context(), "drover", 0, count))
	require.NoError(t, l.ReadAll(t.Context(), 0, count))
	stop := errors.New("stop")
	require.ErrorIs(t, l.Follow(t.Context(), 0, func(registry.Record) error { n++; return stop }), stop)
	require.Equal(t, 5, n)
}

// useFiles stores a picture and a private value, reads both, and forgets the
// private one.
func useFiles(ctx context.Context, s *jetstream.Store) error {
	const text = "a picture, or a name"
	digest, _, err := s.Photos().Put(ctx, strings.NewReader(text), 100)
	if err != nil {
		return err
	}
	r, _, err := s.Photos().Get(ctx, digest)
	if err != nil {
		return err
	}
	got, err := io.ReadAll(r)
	if err = errors.Join(err, r.Close()); err != nil || string(got) != text {
		return errors.Join(err, errors.New("another text"))
	}
	if _, _, err := s.Private().Put(ctx, strings.NewReader(text), 100); err != nil {
		return err
	}
	if err := s.Private().Remove(ctx, digest); err != nil {
		return err
	}
	if _, _, err := s.Private().Get(ctx, digest); registry.CodeOf(err) != registry.CodeNotFound {
		return errors.Join(err, errors.New("it is still there"))
	}
	vault := store.NewVault(s.Private(), s.Keys(), nil)
	if digest, _, err = vault.PutFor(ctx, "drover/owner", strings.NewReader(text), 100); err != nil {
		return err
	}
	if err := errors.Join(vault.Erasing("drover", true), vault.Destroy(ctx, []string{digest}), vault.Erasing("drover", false)); err != nil {
		return err
	}
	if state, _, err := vault.Look(ctx, digest); err != nil || state != store.NotStored {
		return errors.Join(err, errors.New("it is still there"))
	}
	return s.Photos().Each(ctx, func(string, int64) error { return nil })
}

func usePeople(t *testing.T, js upstream.JetStream) {
	one, err := shared.Open(t.Context(), js, time.Now)
	require.NoError(t, err)
	defer one.Close()
	two, err := shared.Open(t.Context(), js, time.Now)
	require.NoError(t, err)
	defer two.Close()
	require.NoError(t, one.Update(func(s *access.State) error {
		s.Accounts = append(s.Accounts, access.Account{ID: "account-abcdefgh23456789", Name: "Tamsin Orde", Made: time.Unix(1_700_000_000, 0).UTC(), Grants: []access.Grant{{Role: access.Keeper}}})
		return nil
	}))
	// It is told, well before it would ask.
	require.Eventually(t, func() bool { s, err := two.Read(); return err == nil && len(s.Accounts) == 1 }, 3*time.Second, 2*time.Millisecond)
}

// cut lets the ledger keep one commit and drop the rest, as js's user.
func cut(ctx context.Context, knows, js upstream.JetStream) error {
	stream, err := knows.Stream(ctx, "REG")
	if err != nil {
		return nil // then the test fails: it was to be refused
	}
	c := stream.CachedInfo().Config
	c.MaxMsgs, c.Discard = 1, upstream.DiscardOld
	_, err = js.UpdateStream(ctx, c)
	return err
}

// request sends one past the library. A server does not answer what a user
// may not ask, so silence is a refusal.
func request(ctx context.Context, js upstream.JetStream, subject, body string) error {
	m, err := js.Conn().RequestWithContext(ctx, subject, []byte(body))
	if err != nil {
		return err
	}
	if strings.Contains(string(m.Data), `"error"`) {
		return errors.New(string(m.Data))
	}
	return nil
}

// listen tries to hear what others are told.
func listen(ctx context.Context, js upstream.JetStream) error {
	sub, err := js.Conn().SubscribeSync(">")
	if err != nil {
		return err
	}
	defer func() { _ = sub.Unsubscribe() }()
	if err := js.Conn().FlushWithContext(ctx); err != nil {
		return err
	}
	if err := js.Conn().LastError(); !errors.Is(err, nats.ErrPermissionViolation) {
		return nil
	}
	return nats.ErrPermissionViolation
}
