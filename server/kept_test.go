package server

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// TestKeptPagesFollowTheRecord: the same bytes to the next reader, other ones
// once something was recorded, in another language, or of another day.
func TestKeptPagesFollowTheRecord(t *testing.T) {
	b := drover(t)
	const page, document = "/machines/drover-1957", "/api/v1/machines/drover-1957"
	first := b.get(page)
	require.Equal(t, first.Body.String(), b.get(page).Body.String())
	require.Equal(t, first.Header().Get("Vary"), b.get(page).Header().Get("Vary"))
	require.Equal(t, first.Header().Get("ETag"), b.get(page).Header().Get("ETag"))
	require.Len(t, b.s.finished.by, 1)
	require.NotEqual(t, first.Body.String(), b.get(page+"?as_of=1957-01-01").Body.String())
	require.Equal(t, http.StatusUnprocessableEntity, b.get(page+"?as_of=soon").Code)
	require.Equal(t, http.StatusUnprocessableEntity, b.get(page+"?as_of=soon").Code, "a page with a fault is not kept")
	json := b.get(document)
	require.Equal(t, json.Body.String(), b.get(document).Body.String())
	b.record(&registry.Fault{Common: id("drips"), Complaint: "It drips on the stand.", Components: []string{"fuel.tank"}, By: "tamsin"})
	require.Contains(t, b.get(document).Body.String(), "It drips on the stand.")
	require.NotEqual(t, first.Body.String(), b.get(page).Body.String())
}
