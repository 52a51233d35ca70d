package cli

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"example.org/asfound/access"
	"example.org/asfound/access/shared"
	"example.org/asfound/store/jetstream"
)

// clusterPeople are the accounts of a registry that a cluster keeps. It attaches
// at the first question, and is let go of with the command.
type clusterPeople struct {
	call    *call
	servers string

	mu      sync.Mutex
	cluster *jetstream.Store
	store   *shared.Store
}

// attached is the list in the cluster.
func (p *clusterPeople) attached() (*shared.Store, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.store != nil {
		return p.store, nil
	}
	cluster, err := jetstream.Attach(p.servers, jetstream.Options{Name: "asfound people", Warn: func(m string) { fmt.Fprintf(p.call.Stderr, "asfound: accounts: %s\n", m) }})
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(p.call.ctx, askClusterWithin)
	defer cancel()
	s, err := shared.Open(ctx, cluster.JetStream(), p.call.Now)
	if err != nil {
		return nil, errors.Join(err, cluster.Close())
	}
	p.cluster, p.store = cluster, s
	return s, nil
}

// Read implements access.Store.
func (p *clusterPeople) Read() (*access.State, error) {
	s, err := p.attached()
	if err != nil {
		return nil, err
	}
	return s.Read()
}

// Update implements access.Store.
func (p *clusterPeople) Update(fn func(*access.State) error) error {
	s, err := p.attached()
	if err != nil {
		return err
	}
	return s.Update(fn)
}

func (p *clusterPeople) close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.store == nil {
		return nil
	}
	err := errors.Join(p.store.Close(), p.cluster.Close())
	p.store = nil
	return err
}

// peopleIn are the accounts of a registry: beside the ledger in a folder, or in
// the cluster that keeps it.
func (c *call) peopleIn(folder, servers string) access.Store {
	if servers == "" {
		return &peopleStore{dir: folder}
	}
	p := &clusterPeople{call: c, servers: servers}
	c.atEnd = append(c.atEnd, p.close)
	return p
}

// initPeople makes the list in a cluster that ledger init has made.
func initPeople(ctx context.Context, servers string, replicas int) error {
	cluster, err := jetstream.Attach(servers, jetstream.Options{Name: "asfound ledger init"})
	if err != nil {
		return err
	}
	return errors.Join(shared.Init(ctx, cluster.JetStream(), replicas), cluster.Close())
}
