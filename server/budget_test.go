package server

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// limited is the worked example with small budgets, asked from elsewhere.
func limited(t *testing.T) *bench {
	t.Helper()
	b := worked(t)
	var err error
	b.s.budgets, err = newBudgets(Limits{Writes: Limit{2, 60}, Costly: Limit{2, 6}, Guesses: Limit{3, 60}}, b.s.Now)
	require.NoError(t, err)
	return b
}

// from asks as somebody at an address.
func (b *bench) from(address, method, path, contentType, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.RemoteAddr = address
	if contentType != "" {
		r.Header.Set("Content-Type", contentType)
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	return b.ask(r)
}

// TestBudgetOfWrites: what is used up comes again with time, for each address by
// itself, and what was typed is kept.
func TestBudgetOfWrites(t *testing.T) {
	b := limited(t)
	record := func(address, key string) *httptest.ResponseRecorder {
		return b.from(address, http.MethodPost, "/machines/drover-1957/faults", formType, "complaint=It+drips.&components=fuel.tank&key="+key)
	}
	for i := range 2 {
		require.NotEqual(t, http.StatusTooManyRequests, record("192.0.2.7:1234", itoa(i)).Code)
	}
	end := b.end()
	refused := record("192.0.2.7:9", "k3")
	require.Equal(t, http.StatusTooManyRequests, refused.Code)
	require.Equal(t, "1", refused.Header().Get("Retry-After"), "60 a minute are one a second")
	require.Contains(t, refused.Body.String(), `name="complaint" value="It drips."`)
	require.Contains(t, refused.Body.String(), `action="/machines/drover-1957/faults"`)
	require.Equal(t, end, b.end())
	require.NotEqual(t, http.StatusTooManyRequests, record("192.0.2.8:1", "k4").Code, "another address has its own")
	api := b.from("192.0.2.7:1", http.MethodPost, "/api/v1/machines", jsonType, exampleTakeIn)
	require.Equal(t, http.StatusTooManyRequests, api.Code)
	require.Equal(t, "application/problem+json", api.Header().Get("Content-Type"))
	require.Equal(t, "1", api.Header().Get("Retry-After"))
	require.Contains(t, api.Body.String(), `"type":"`+problemBase+`too-often"`)
	courier := b.from("192.0.2.7:1", http.MethodPost, "/machines/drover-1957/faults", formType, "complaint=x", keyHeader, "k", "Accept", jsonType)
	require.Equal(t, http.StatusTooManyRequests, courier.Code)
	require.Equal(t, http.StatusOK, b.from("192.0.2.7:1", http.MethodGet, "/machines/drover-1957", "", "").Code, "reading goes on")
	b.clock.Add(1)
	require.NotEqual(t, http.StatusTooManyRequests, record("192.0.2.7:1", "k5").Code)
	require.Equal(t, http.StatusTooManyRequests, record("192.0.2.7:1", "k6").Code)
}

// TestBudgetOfAnIPv6Subscriber is that of the whole /64 (RFC 6177 gives a site
// at least that).
func TestBudgetOfAnIPv6Subscriber(t *testing.T) {
	b := limited(t)
	pdf := func(address string) int {
		return b.from(address, http.MethodGet, "/machines/drover-1957/dossier.pdf", "", "").Code
	}
	require.Equal(t, http.StatusOK, pdf("[2001:db8:0:1::1]:1"))
	require.Equal(t, http.StatusOK, pdf("[2001:db8:0:1::2]:1"))
	require.Equal(t, http.StatusTooManyRequests, pdf("[2001:db8:0:1:ffff::3]:1"))
	require.Equal(t, http.StatusOK, pdf("[2001:db8:0:2::1]:1"))
}

// TestWhoIsForwarded is believed from a trusted proxy alone.
func TestWhoIsForwarded(t *testing.T) {
	b := limited(t)
	pdf := func(peer, forwarded string) int {
		return b.from(peer, http.MethodGet, "/machines/drover-1957/dossier.pdf", "", "", "X-Forwarded-For", forwarded).Code
	}
	for i := range 2 {
		require.Equal(t, http.StatusOK, pdf("192.0.2.9:1", fmt.Sprint("198.51.100.", i)))
	}
	require.Equal(t, http.StatusTooManyRequests, pdf("192.0.2.9:1", "198.51.100.9"), "nobody becomes another by saying so")
	b.s.Proxies = []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")}
	for range 2 {
		require.Equal(t, http.StatusOK, pdf("127.0.0.1:1", "198.51.100.1"))
	}
	require.Equal(t, http.StatusTooManyRequests, pdf("127.0.0.1:1", "198.51.100.1"))
	require.Equal(t, http.StatusOK, pdf("127.0.0.1:1", "198.51.100.2"))
	for range 2 {
		require.Equal(t, http.StatusOK, pdf("127.0.0.1:1", ""))
	}
	require.Equal(t, http.StatusTooManyRequests, pdf("127.0.0.1:1", ""), "a proxy that says nothing is not somebody at this computer")
}

// TestBudgetOfGuesses: links that do not exist use it up; one that does, uses
// nothing.
func TestBudgetOfGuesses(t *testing.T) {
	b := limited(t)
	open := func(token string) int { return b.from("192.0.2.7:1", http.MethodGet, "/o/"+token, "", "").Code }
	for range 5 {
		require.Equal(t, http.StatusOK, open(b.token))
	}
	for i := range 3 {
		require.Equal(t, http.StatusNotFound, open(fmt.Sprint("guess", i)))
	}
	require.Equal(t, http.StatusTooManyRequests, open("guess4"))
	require.Equal(t, http.StatusTooManyRequests, open(b.token), "or a guess that is right would be told by its answer")
	b.clock.Add(1)
	require.Equal(t, http.StatusOK, open(b.token))
	require.NotContains(t, b.log.String(), "192.0.2.7")
	require.NotContains(t, b.log.String(), b.token)
}

// TestAnAccountHasOneBudget wherever it comes from, and at this computer nobody
// has one while there are no accounts.
func TestAnAccountHasOneBudget(t *testing.T) {
	b := withPeople(t)
	var err error
	b.s.budgets, err = newBudgets(Limits{Costly: Limit{2, 6}}, b.s.Now)
	require.NoError(t, err)
	keeper := b.join("Tamsin", "keeper")
	pdf := func(address string) int {
		return b.from(address, http.MethodGet, "/machines/drover-1957/dossier.pdf", "", "", "Cookie", keeper.String()).Code
	}
	require.Equal(t, http.StatusOK, pdf("192.0.2.1:1"))
	require.Equal(t, http.StatusOK, pdf("192.0.2.2:1"))
	require.Equal(t, http.StatusTooManyRequests, pdf("127.0.0.1:1"))
	for path, method := range map[string]string{"/machines/drover-1957/handed-over.zip": http.MethodGet, "/take-over": http.MethodPost} {
		require.Equal(t, http.StatusTooManyRequests, b.from("127.0.0.1:1", method, path, "", "", "Cookie", keeper.String()).Code, path)
	}
	require.Equal(t, http.StatusOK, b.from("127.0.0.1:1", http.MethodGet, "/take-over", "", "", "Cookie", keeper.String()).Code, "the form alone")
	alone := limited(t)
	for range 5 {
		require.Equal(t, http.StatusOK, alone.from("127.0.0.1:1", http.MethodGet, "/machines/drover-1957/dossier.pdf", "", "").Code)
	}
}

// TestBudgetsForget: an attacker with many addresses fills no memory, and whoever
// is above their budget is not the first to be forgotten.
func TestBudgetsForget(t *testing.T) {
	now := begin
	b := &budgets{}
	var err error
	*b, err = newBudgets(Limits{}, func() time.Time { return now })
	require.NoError(t, err)
	for i := range 3 * maxVisitors {
		b.writes.wait(fmt.Sprint("address ", i), true)
		require.LessOrEqual(t, len(b.writes.by), maxVisitors)
	}
	now = now.Add(time.Hour)
	for range DefaultLimits.Writes.AtOnce {
		b.writes.wait("greedy", true)
	}
	for i := range maxVisitors {
		b.writes.wait(fmt.Sprint("later ", i), false)
	}
	require.Positive(t, b.writes.wait("greedy", true))
	off, err := newBudgets(Limits{Writes: Limit{-1, 0}}, b.writes.now)
	require.NoError(t, err)
	for range 5000 {
		require.Zero(t, off.writes.wait("anybody", true))
	}
	_, err = newBudgets(Limits{Writes: Limit{10, 0}}, b.writes.now)
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
}
