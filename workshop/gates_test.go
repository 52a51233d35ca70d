package workshop

import (
	"context"
	"fmt"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// Two people pass the same gate at the same time: one does, the other is told
// that the record has moved on or that it is passed already; it stands once.
func TestTwoPassOneGateAtOnce(t *testing.T) {
	b := sealed(t)
	b.do(&registry.Photo{Common: registry.Common{ID: "ph"}, Digest: "sha256:" + fmt.Sprintf("%064d", 7), MediaType: "image/jpeg", Bytes: 1, Shows: "general", By: "mechanic"})
	version := b.version()
	var wait sync.WaitGroup
	answers := make([]error, 2)
	for i := range answers {
		wait.Go(func() {
			seen := version
			_, answers[i] = b.Record(context.Background(), Request{Machine: drover, Actor: "mechanic", Expect: &seen},
				&registry.Gate{Common: registry.Common{ID: fmt.Sprintf("gate-%d", i)}, Gate: "arrived", Photos: []string{"ph"}, By: "mechanic"})
		})
	}
	wait.Wait()
	if answers[0] != nil {
		answers[0], answers[1] = answers[1], answers[0]
	}
	require.NoError(t, answers[0])
	refused(t, answers[1], registry.CodeConflict, "")
	require.Equal(t, version+1, b.version())

	// And no gate is jumped over.
	_, err := b.Record(context.Background(), request(), &registry.Gate{Common: registry.Common{ID: "jump"}, Gate: "hot-run", Photos: []string{"ph"}, By: "mechanic"})
	refused(t, err, registry.CodeRefused, "comes before")
}
