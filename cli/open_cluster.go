package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/store"
	"example.org/asfound/store/jetstream"
	"example.org/asfound/store/node"
)

// join lets a cluster keep the ledger of an opened registry, when one is named;
// the folder is this node's copy then. When it cannot, it closes the folder.
func (c *call) join(o *opened) error {
	servers := c.line.Ledger
	if servers == "" && c.line.Blobs != "" {
		return errors.Join(registry.Refuse(registry.CodeInvalid, "Name the cluster with --ledger, or leave --blobs away.",
			"A folder for pictures apart from the ledger is for nodes of a cluster"), o.store.Close())
	}
	if servers == "" {
		if node.IsCopy(c.line.Dir) {
			return errors.Join(registry.Refuse(registry.CodeInvalid, "Name the cluster with --ledger, or choose another folder with --dir.",
				"The folder %s holds a copy of a registry that a cluster keeps; what is written into it would be lost", c.line.Dir), o.store.Close())
		}
		return nil
	}
	warn := func(m string) { fmt.Fprintf(c.Stderr, "asfound: cluster: %s\n", m) }
	cluster, err := jetstream.Attach(servers, jetstream.Options{Name: "asfound " + filepath.Base(c.line.Dir), Warn: warn})
	if err != nil {
		return errors.Join(err, o.store.Close())
	}
	remote := node.Remote{Ledger: cluster.Ledger(), Photos: cluster.Photos(), Private: cluster.Private(), Keys: cluster.Keys(),
		Check: func(ctx context.Context) error { _, err := cluster.Check(ctx); return err }}
	if c.line.Blobs != "" {
		remote.Photos, remote.Private, remote.Keys = nil, nil, nil
	}
	n, err := node.Open(c.ctx, o.store, remote, node.Options{Now: c.Now, Warn: warn})
	if err != nil {
		return err
	}
	o.node, o.Ledger, o.people = n, n, c.peopleIn("", servers)
	if c.line.Blobs == "" {
		o.photos, o.vault = n.Photos(), n.Private()
	} else if err := o.share(c.line.Blobs); err != nil {
		return errors.Join(err, n.Close())
	}
	c.noNewKey, err = c.keyOfOthers(n)
	if err != nil {
		return errors.Join(err, n.Close())
	}
	return nil
}

// keyOfOthers is why a node makes no signing key: other nodes have one already.
func (c *call) keyOfOthers(n *node.Node) (why, err error) {
	end, err := n.End(c.ctx)
	if err != nil || end == 0 {
		return nil, err
	}
	return registry.Refuse(registry.CodeNotFound, "Copy "+keyFile+" and "+publicKeyFile+" of another node, or of the folder that the registry came from.",
		"This node has no signing key in %s, and the registry, which goes up to position %d, was begun with one", filepath.Dir(c.keyPath(keyFile)), end), nil
}

// share keeps pictures and private values in a folder that other nodes see too.
func (o *opened) share(dir string) error {
	photos, private, err := openShared(dir)
	if err != nil {
		return err
	}
	values, keys, _ := private.Parts()
	_, _, scrub := o.store.Private().Parts() // the views lie in this node's folder
	o.photos, o.vault, o.shared = photos, store.NewVault(values, keys, scrub), []io.Closer{photos, private}
	return nil
}

// openShared opens a folder for pictures and private values that other nodes see
// too.
func openShared(dir string) (photos *store.Blobs, private *store.Vault, err error) {
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return nil, nil, registry.Refuse(registry.CodeInvalid, "Make it, or connect the disk that it lies on; nothing is made in its place.", "There is no folder %s for pictures", dir)
	}
	if photos, err = store.OpenBlobs(dir, "photos", store.Options{Shared: true}); err != nil {
		return nil, nil, err
	}
	if private, err = store.OpenVault(dir, store.Options{Shared: true}); err != nil {
		return nil, nil, errors.Join(err, photos.Close())
	}
	return photos, private, nil
}

// behind says, for the pages, since when they may be out of date; nil where they
// cannot be.
func (o *opened) behind() func() (time.Time, error) {
	if o.node == nil {
		return nil
	}
	return o.node.State
}

// auditCluster holds what the cluster keeps against this node's copy, byte for
// byte.
func (o *opened) auditCluster(ctx context.Context) ([]store.Finding, error) {
	if o.node == nil {
		return nil, nil
	}
	return o.node.Audit(ctx)
}

type ledgerCommand struct {
	Init  ledgerInitCommand  `cmd:"" help:"make, once, the stream and the object stores in a new cluster; needs an administrator"`
	Check ledgerCheckCommand `cmd:"" help:"say whether the cluster is set up so that nothing can be lost, who leads, and who is behind"`
}

type ledgerInitCommand struct {
	Replicas  int  `default:"3" help:"servers that keep a copy each: 3, or 5 where two may fail at once; 1 rehearses"`
	IfMissing bool `help:"do nothing where a registry is already"`
}

func (c *call) cluster() (string, error) {
	if c.line.Ledger == "" {
		return "", registry.Refuse(registry.CodeInvalid, "Say --ledger nats://HOST:4222, or set ASFOUND_LEDGER.", "It is not said which cluster is meant")
	}
	return c.line.Ledger, nil
}

// askClusterWithin bounds what the commands for a cluster wait for.
const askClusterWithin = 30 * time.Second

// Run makes what a ledger needs.
func (l *ledgerInitCommand) Run(c *call) error {
	servers, err := c.cluster()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(c.ctx, askClusterWithin)
	defer cancel()
	err = jetstream.Init(ctx, servers, l.Replicas)
	made := err == nil
	if l.IfMissing && registry.CodeOf(err) == registry.CodeConflict {
		err = nil
	}
	if err == nil {
		err = initPeople(ctx, servers, l.Replicas)
	}
	if err != nil {
		return err
	}
	text := fmt.Sprintf("The cluster can keep a registry now. Copies of everything: %d. Bring one there with \"asfound move\", or begin with \"asfound serve --ledger\".", l.Replicas)
	if !made {
		text = "The cluster holds a registry already; nothing was altered."
	}
	return c.print(map[string]bool{"made": made}, printer(text))
}

type ledgerCheckCommand struct {
	Monitor []string `sep:"," help:"monitoring addresses of the servers, such as http://nats1:8222, to ask whether each syncs every write"`
}

// Run looks at a cluster.
func (l *ledgerCheckCommand) Run(c *call) error {
	servers, err := c.cluster()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(c.ctx, askClusterWithin)
	defer cancel()
	health, err := jetstream.Check(ctx, servers)
	if err != nil {
		return err
	}
	for _, address := range l.Monitor {
		name, err := jetstream.CheckSync(ctx, address)
		if err != nil {
			return err
		}
		health.Synced = append(health.Synced, name)
	}
	return c.print(health, health.Write)
}
