package server

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// TestTurns: as many work as there are turns, as many wait as there is room for,
// up to a time, and the rest are told at once.
func TestTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		turns := newTurns(1, 1, time.Minute)
		leave, err := turns.take(t.Context())
		require.NoError(t, err)
		began := time.Now()
		waited := make(chan error, 1)
		go func() {
			_, err := turns.take(t.Context())
			waited <- err
		}()
		synctest.Wait()
		_, err = turns.take(t.Context())
		require.Equal(t, codeCrowded, codeOf(err))
		require.Zero(t, time.Since(began))
		require.Equal(t, codeCrowded, codeOf(<-waited), "whoever waits too long is told")
		require.Equal(t, time.Minute, time.Since(began))
		gone, cancel := context.WithCancel(t.Context())
		cancel()
		_, err = turns.take(gone)
		require.ErrorIs(t, err, context.Canceled)
		leave()
		v, err := inTurn(t.Context(), turns, func() (int, error) { return 7, errors.New("as it came") })
		require.Equal(t, 7, v)
		require.EqualError(t, err, "as it came")
		leave, err = turns.take(t.Context())
		require.NoError(t, err, "a turn that ended is free")
		leave()
	})
}

// another machine than the one of the example.
var exampleTakeIn2 = strings.Replace(exampleTakeIn, "drover-1957", "drover-1958", 1)

// TestACrowdIsRefused with the time to wait, as a page and as a problem; what is
// kept is given all the same.
func TestACrowdIsRefused(t *testing.T) {
	b := worked(t)
	require.Equal(t, http.StatusOK, b.get("/machines/drover-1957").Code)
	for _, turns := range []**turns{&b.s.reading, &b.s.building} {
		*turns = newTurns(1, 0, 0)
		_, err := (*turns).take(t.Context())
		require.NoError(t, err)
	}
	for _, path := range []string{"/", "/find?q=tank", "/api/v1/machines", "/machines/drover-1957/dossier.pdf"} {
		refused := b.get(path)
		require.Equal(t, http.StatusServiceUnavailable, refused.Code, path)
		require.Equal(t, "3", refused.Header().Get("Retry-After"), path)
	}
	for _, path := range []string{"/machines/drover-1957", "/healthz", "/machines/drover-1957/photos/" + b.photo} {
		require.Equal(t, http.StatusOK, b.get(path).Code, path)
	}
	require.Equal(t, http.StatusCreated, b.send("/api/v1/machines", exampleTakeIn2, keyHeader, "k").Code, "who records does not wait for readers")
}

// TestTheRoutesThatAreNamed are routes.
func TestTheRoutesThatAreNamed(t *testing.T) {
	there := map[string]bool{}
	for _, rt := range routes() {
		there[rt.pattern] = true
	}
	for _, list := range [][]string{keptPages, keptOfAll, turnless, costly, formsOfCostly} {
		for _, pattern := range list {
			require.True(t, there[pattern], "%s is no route", pattern)
		}
	}
}
