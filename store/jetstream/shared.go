package jetstream

import "github.com/nats-io/nats.go/jetstream"

// JetStream gives the connection, for what a cluster holds besides the registry.
// It ends when the store is closed.
func (s *Store) JetStream() jetstream.JetStream { return s.js }
