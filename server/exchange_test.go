package server

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/exchange"
	"example.org/asfound/workshop"
)

// TestAMachineIsTakenAway asks for every format by page and by program: public
// unless somebody says otherwise.
func TestAMachineIsTakenAway(t *testing.T) {
	b := worked(t)
	private, err := b.w.Report(t.Context(), "drover-1957", workshop.ReportOptions{})
	require.NoError(t, err)
	name, number := private.People[0].Name, private.Machine.Numbers[0].Shown
	require.NotEmpty(t, name)
	for _, f := range exchange.Formats() {
		for _, from := range []string{"/machines/drover-1957/exchange/", machineAPI + "/exchange/"} {
			rec := b.get(from + f.Name)
			require.Equal(t, http.StatusOK, rec.Code, rec.Body.String())
			require.Equal(t, f.MediaType, rec.Header().Get("Content-Type"))
			require.Contains(t, rec.Header().Get("Content-Disposition"), "drover-1957-public"+f.Ending)
			require.NotContains(t, rec.Body.String(), name)
			require.NotContains(t, rec.Body.String(), number)
			require.Equal(t, http.StatusUnprocessableEntity, b.get(from+f.Name+"?edition=secret").Code)
		}
	}
	whole := b.get("/machines/drover-1957/exchange/objectid-text?edition=private")
	require.Contains(t, whole.Body.String(), number)
	require.Contains(t, whole.Header().Get("Content-Disposition"), "-private")
	require.Equal(t, http.StatusNotFound, b.get("/machines/drover-1957/exchange/xml").Code)
	require.Equal(t, http.StatusNotFound, b.get("/machines/nobody/exchange/prov").Code)
	page := b.get("/machines/drover-1957").Body.String()
	for _, f := range exchange.Formats() {
		require.True(t, strings.Contains(page, `href="/machines/drover-1957/exchange/`+f.Name+`"`), "the page offers no %s", f.Name)
	}
}
