package workshop

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry/ledgertest"
)

// hoarding is a private store that has not been told of a removal yet.
type hoarding struct{ *ledgertest.MemoryBlobs }

func (hoarding) Remove(context.Context, string) error { return nil }

// TestErasedThroughAnotherProcess has two processes serve one registry. The one
// that did not erase holds the name in memory, and in its copy of the private
// values still; from the moment that the erasure is on record it shows it no
// more, nor finds it.
func TestErasedThroughAnotherProcess(t *testing.T) {
	b := takenIn(t)
	b.Private = hoarding{b.Private.(*ledgertest.MemoryBlobs)}
	other := b.restarted()
	other.Views = ledgertest.NewMemoryViews()
	require.Contains(t, asJSON(t, other.report(ReportOptions{})), "Imogen Aske")
	found, err := other.Find(context.Background(), FindQuestion{Text: "Imogen"})
	require.NoError(t, err)
	require.NotEmpty(t, found.Hits)

	_, err = b.Erase(context.Background(), request(), "owner", "at her wish")
	require.NoError(t, err)

	silent(t, asJSON(t, other.report(ReportOptions{})), "Imogen")
	found, err = other.Find(context.Background(), FindQuestion{Text: "Imogen"})
	require.NoError(t, err)
	require.Empty(t, found.Hits)
}
