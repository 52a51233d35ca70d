package server

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestSurvivorsByThisRegisterOnAPage(t *testing.T) {
	b := drover(t)
	at := b.end()
	page := readPage(t, b.get("/survivors").Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "Skerrow Engineering Drover 350, 1 machine")
	require.Contains(t, b.get("/").Body.String(), `href="/survivors"`)

	q := url.Values{"model": {modelKey("Skerrow Engineering", "Drover 350")}, "where": {"frame"}, "first": {"1"}, "known_by": {"visits"}, "list_name": {"sales"}, "list_from": {"catalogues"}, "list": {"SK6138\r\nSK6139"}}
	rec := b.post("/survivors", q.Encode())
	require.Equal(t, http.StatusOK, rec.Code)
	text := readPage(t, rec.Body.String()).text()
	require.Contains(t, text, "How many were built: Fewer than four numbers leave the count open.")
	require.Contains(t, text, "How many survive: Fewer than seven machines stand in both lists")
	q.Set("first", "one")
	rec = b.post("/survivors", q.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.Contains(t, rec.Body.String(), "SK6139", "nothing typed is lost")
	require.Contains(t, readPage(t, rec.Body.String()).text(), "This is not a number")
	require.Equal(t, at, b.end())

	rec = b.get("/survivors?" + q.Encode())
	require.NotContains(t, rec.Body.String(), "SK6139", "a number never stands in an address")
}
