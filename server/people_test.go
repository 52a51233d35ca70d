package server

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/access"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// ofPeople says whether a route answers only where there are accounts.
func ofPeople(rt route) bool {
	for _, part := range []string{"/account", "/people", "/join/", "/r/", "/readers", "{id}/decide"} {
		if strings.Contains(rt.pattern, part) {
			return true
		}
	}
	return false
}

const goodPassword = "wooden mallet under a lamp"

// withPeople is the worked example with accounts, and a second machine.
func withPeople(t *testing.T) *bench {
	t.Helper()
	b := worked(t)
	b.s.People = &access.Book{Store: &access.Memory{}, Now: b.s.Now, Random: rand.Reader, Required: true}
	_, err := b.w.Record(context.Background(), workshop.Request{Machine: "heron-1931", Actor: "custodian"},
		&registry.Machine{Common: id("machine"), Make: "Invented", Model: "Heron", Year: "1931"})
	require.NoError(t, err)
	return b
}

// join makes an account and gives the cookie of its session.
func (b *bench) join(name string, grants ...string) *http.Cookie {
	b.t.Helper()
	var list []access.Grant
	for _, text := range grants {
		g, err := access.ParseGrant(text)
		require.NoError(b.t, err)
		list = append(list, g)
	}
	invite, err := b.s.People.Invite(name, list)
	require.NoError(b.t, err)
	secret, err := b.s.People.Join(context.Background(), invite, goodPassword, "test")
	require.NoError(b.t, err)
	return &http.Cookie{Name: "__Host-asfound", Value: secret}
}

func (b *bench) askAs(c *http.Cookie, method, path, contentType, body string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	if contentType != "" {
		r.Header.Set("Content-Type", contentType)
	}
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if c != nil {
		r.AddCookie(c)
	}
	return b.ask(r)
}

// TestEveryRouteHasARow walks the routes and the rows, both ways.
func TestEveryRouteHasARow(t *testing.T) {
	there := map[string]bool{}
	for _, rt := range routes() {
		key := rt.method + " " + rt.pattern
		there[key] = true
		row, ok := permissions[key]
		require.True(t, ok, "the route %s has no row in the table of permissions", key)
		require.Equal(t, strings.Contains(rt.pattern, "{id}"), row.reach == oneMachine, "the row of %s does not fit its address", key)
		require.Equal(t, row.reach == forAnybody || row.reach == forOneself, len(row.roles) == 0, key)
	}
	for key := range permissions {
		require.True(t, there[key], "the row %s is of no route", key)
	}
	require.Equal(t, unseen, permissionOf(route{method: "GET", pattern: "/new"}).judge(&access.Who{Grants: []access.Grant{{Role: access.Keeper}}}, ""))
}

// mayDo is what each role may do, told anew for the test: by the beginning of
// what it may not even read, and by its acts.
var mayDo = map[access.Role]func(method, pattern string) bool{
	access.Keeper: func(_, p string) bool { return !ownAct(p) },
	access.Mechanic: func(_, p string) bool {
		for _, whole := range []string{"/hand-over", "/take-back", "/register/confirm", "/handed-over.zip", "/receipt.json", "/take-over", "/transfer", "/transfer/bundle", "/transfer/end", "/transfer/receipt"} {
			if strings.HasSuffix(p, whole) {
				return false
			}
		}
		return !ownAct(p) && !strings.HasPrefix(p, "/people") && !strings.HasSuffix(strings.TrimSuffix(p, "/end"), "/readers")
	},
	access.Second: func(m, p string) bool {
		return m == "POST" && strings.HasSuffix(p, "/work/sign") || m == "POST" && (strings.HasSuffix(p, "/work/check") || strings.HasSuffix(p, "/work/gate")) ||
			m == "GET" && (strings.HasSuffix(p, "/work/check") || strings.HasSuffix(p, "/work/gate") || strings.Contains(p, "/work/card/")) && !isAPI(p) || mayRead(m, p)
	},
	access.Owner: mayDecide, access.CoOwner: mayDecide, access.Reader: mayRead,
}

// ownAct is what only the person concerned does: no keeper decides for an owner
// or signs for a second person.
func ownAct(p string) bool {
	return strings.Contains(p, "{id}/decide") || strings.HasSuffix(p, "/work/sign")
}

func mayDecide(method, p string) bool {
	return strings.Contains(p, "{id}/decide") || mayRead(method, p)
}

// mayRead is what everybody may who reads the private edition.
func mayRead(method, p string) bool {
	if method == "POST" { // computed, and nothing kept
		for _, end := range []string{"/bench/card", "/bench/{kind}", "/survivors", "/verify", "/cost", "/value", "/calc/{method}"} {
			if strings.HasSuffix(p, end) {
				return true
			}
		}
		return false
	}
	for _, form := range []string{"{id}/decide", "/take-in", "/import", "/survey", "/seal", "/leaving", "/risk", "/propose", "/links", "/readers", "/people", "/record", "/register", "/duplicates", "/handed-over.zip", "/receipt.json", "/take-over", "/transfer/", "/work/", "/keep.json", "/api/v1/photos"} {
		if strings.Contains(p, form) && !strings.Contains(p, "/work/fasteners/") && !strings.Contains(p, "/proposals/") || strings.HasSuffix(p, "{id}/photos") {
			return false
		}
	}
	return true
}

// TestEveryCell asks every route as every role: for the machine that the role
// is granted on, for another one, and as nobody.
func TestEveryCell(t *testing.T) {
	b := withPeople(t)
	keeper := b.join("The keeper", "keeper")
	cookies := map[access.Role]*http.Cookie{access.Keeper: keeper}
	for _, role := range access.Roles()[1:] {
		cookies[role] = b.join("One "+string(role), string(role)+"@drover-1957")
	}
	all := map[access.Role]*http.Cookie{access.Keeper: keeper}
	for _, role := range access.Roles()[1:] {
		all[role] = b.join("All "+string(role), string(role))
	}
	cells := 0
	for _, rt := range routes() {
		row := permissionOf(rt)
		if row.reach == forAnybody || row.reach == forOneself {
			continue
		}
		ask := func(c *http.Cookie, machine string) int {
			cells++
			body := ""
			if rt.takes == jsonType {
				body = "{"
			}
			path := strings.ReplaceAll(b.address(strings.ReplaceAll(rt.pattern, "{id}", "MACHINE")), "MACHINE", machine)
			return b.askAs(c, rt.method, path, rt.takes, body).Code
		}
		key := rt.method + " " + rt.pattern
		got := ask(nil, "drover-1957")
		switch {
		case isAPI(rt.pattern), rt.method == http.MethodPost:
			require.Equal(t, http.StatusUnauthorized, got, "%s as nobody", key)
		default:
			require.Equal(t, http.StatusSeeOther, got, "%s as nobody", key)
		}
		for _, role := range access.Roles() {
			want := mayDo[role](rt.method, rt.pattern)
			shut := func(code int) bool { return code == http.StatusForbidden || code == http.StatusUnauthorized }
			require.Equal(t, want, !shut(ask(all[role], "drover-1957")), "%s as %s of every machine", key, role)
			if role == access.Keeper {
				continue
			}
			code := ask(cookies[role], "drover-1957")
			if row.reach == everywhere {
				want = false
			}
			require.Equal(t, want, !shut(code), "%s as %s of this machine: %d", key, role, code)
			if row.reach == oneMachine {
				require.Equal(t, http.StatusNotFound, ask(cookies[role], "heron-1931"), "%s as %s of another machine", key, role)
			}
		}
	}
	require.Greater(t, cells, 1500)
}

// TestAnotherMachineIsNotThere compares what is hidden with what is missing, and
// looks for ways round by forms and queries.
func TestAnotherMachineIsNotThere(t *testing.T) {
	b := withPeople(t)
	b.join("The keeper", "keeper")
	owner := b.join("The owner", "owner@drover-1957=owner")
	mechanic := b.join("The mechanic", "mechanic@heron-1931")
	for _, path := range []string{"/machines/%s", "/machines/%s/story", "/api/v1/machines/%s"} {
		hidden := b.askAs(owner, "GET", fmt.Sprintf(path, "heron-1931"), "", "")
		missing := b.askAs(owner, "GET", fmt.Sprintf(path, "nobody-1931"), "", "")
		require.Equal(t, http.StatusNotFound, hidden.Code)
		plainOf := func(rec *httptest.ResponseRecorder, name string) string {
			return strings.ReplaceAll(strings.ReplaceAll(rec.Body.String(), name, "X"), rec.Header().Get("X-Request-Id"), "N")
		}
		require.Equal(t, plainOf(missing, "nobody-1931"), plainOf(hidden, "heron-1931"))
	}
	list := b.askAs(mechanic, "GET", "/", "", "").Body.String()
	require.Contains(t, list, "Heron")
	require.NotContains(t, list, "drover-1957")
	list = b.askAs(mechanic, "GET", "/api/v1/machines?limit=1", "", "").Body.String()
	require.Contains(t, list, "heron-1931")
	require.NotContains(t, list, "drover-1957")
	require.NotContains(t, b.askAs(mechanic, "GET", "/import", "", "").Body.String(), "drover-1957")
	at := b.end()
	sheet := "component,origin\nignition.magneto,original\n"
	body := "--x\r\nContent-Disposition: form-data; name=\"machine\"\r\n\r\ndrover-1957\r\n--x\r\nContent-Disposition: form-data; name=\"by\"\r\n\r\ntamsin\r\n--x\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.csv\"\r\nContent-Type: text/csv\r\n\r\n" + sheet + "\r\n--x--\r\n"
	rec := b.askAs(mechanic, "POST", "/import", "multipart/form-data; boundary=x", body)
	require.GreaterOrEqual(t, rec.Code, 400)
	rec = b.askAs(mechanic, "POST", "/bench/attach", formType, url.Values{"machine": {"drover-1957"}, "component": {"ignition.magneto"}, "method": {"thread"}, "input": {`{"major_mm":6.27,"pitch_tpi":26}`}, "by": {"tamsin"}}.Encode())
	require.GreaterOrEqual(t, rec.Code, 400)
	require.Equal(t, at, b.end())
}

func TestWhoActs(t *testing.T) {
	b := withPeople(t)
	keeper := b.join("K", "keeper")
	tamsin := b.join("T", "mechanic=tamsin")
	page := b.askAs(tamsin, "GET", "/machines/drover-1957/work/usage", "", "").Body.String()
	require.Contains(t, page, `<option value="tamsin" selected>`)
	require.NotContains(t, page, `<option value="reuben"`)
	require.Contains(t, b.askAs(keeper, "GET", "/machines/drover-1957/work/usage", "", "").Body.String(), `<option value="reuben"`)
	record := func(c *http.Cookie, header, name string) int {
		r := httptest.NewRequest("POST", "/api/v1/machines/drover-1957/records", strings.NewReader(fmt.Sprintf(`[{"record":"fault","id":%q,"complaint":"It drips.","components":["ignition.magneto"],"by":"tamsin"}]`, name)))
		r.Header.Set("Content-Type", jsonType)
		r.Header.Set("If-Match", b.tag())
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		if header != "" {
			r.Header.Set(actorHeader, header)
		}
		r.AddCookie(c)
		return b.ask(r).Code
	}
	require.Equal(t, http.StatusConflict, record(tamsin, "reuben", "drip-1"), "another's name")
	require.Equal(t, http.StatusCreated, record(tamsin, "", "drip-2"))
	require.Equal(t, http.StatusCreated, record(keeper, "tamsin", "drip-3"))
	d, err := b.w.Load(context.Background(), "drover-1957", workshop.At{})
	require.NoError(t, err)
	e, ok := d.Entry("drip-2")
	require.True(t, ok)
	require.Equal(t, "tamsin", e.Actor)
	e, _ = d.Entry("drip-3")
	require.True(t, strings.HasPrefix(e.Actor, "account-"), e.Actor)
}

func (b *bench) signIn(values url.Values, with ...*http.Cookie) *httptest.ResponseRecorder {
	r := httptest.NewRequest("POST", "/sign-in", strings.NewReader(values.Encode()))
	r.Header.Set("Content-Type", formType)
	for _, c := range with {
		r.AddCookie(c)
	}
	return b.ask(r)
}

func TestSessionsOfBrowsers(t *testing.T) {
	b := withPeople(t)
	b.join("The keeper", "keeper")
	old := b.join("Tamsin", "mechanic")
	rec := b.signIn(url.Values{"name": {"tamsin"}, "password": {goodPassword}, "to": {"/machines/drover-1957"}}, old)
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	require.Equal(t, "/machines/drover-1957", rec.Header().Get("Location"))
	set := rec.Header().Get("Set-Cookie")
	for _, part := range []string{"__Host-asfound=", "Path=/", "HttpOnly", "Secure", "SameSite=Lax"} {
		require.Contains(t, set, part)
	}
	require.NotContains(t, set, "Domain")
	fresh := rec.Result().Cookies()[0]
	require.NotEqual(t, old.Value, fresh.Value, "no fixation")
	require.Equal(t, http.StatusSeeOther, b.askAs(old, "GET", "/account", "", "").Code, "the session before is over")
	require.Equal(t, http.StatusOK, b.askAs(fresh, "GET", "/account", "", "").Code)
	// In a secure context the plain name, which others could plant, opens nothing.
	require.Equal(t, http.StatusSeeOther, b.askAs(&http.Cookie{Name: "asfound", Value: fresh.Value}, "GET", "/account", "", "").Code)
	// A day of not being used ends it.
	b.clock.Add(int64(access.SessionIdle / time.Second))
	require.Equal(t, http.StatusSeeOther, b.askAs(fresh, "GET", "/account", "", "").Code)

	rec = b.signIn(url.Values{"name": {"Tamsin"}, "password": {goodPassword}, "to": {"//evil.example"}})
	require.Equal(t, "/", rec.Header().Get("Location"), "nobody is sent away")
	fresh = rec.Result().Cookies()[0]
	rec = b.askAs(fresh, "POST", "/sign-out", formType, "")
	require.Equal(t, http.StatusSeeOther, rec.Code)
	require.Equal(t, `"cache"`, rec.Header().Get("Clear-Site-Data"))
	require.Equal(t, http.StatusSeeOther, b.askAs(fresh, "GET", "/account", "", "").Code, "dead on the server")

	// Without encryption, under a name of the network.
	b.s.host = "garage.test"
	r := httptest.NewRequest("POST", "http://garage.test/sign-in", strings.NewReader(url.Values{"name": {"Tamsin"}, "password": {goodPassword}}.Encode()))
	r.Header.Set("Content-Type", formType)
	rec = httptest.NewRecorder()
	b.handler.ServeHTTP(rec, r)
	require.Contains(t, rec.Header().Get("Set-Cookie"), "asfound=")
	require.NotContains(t, rec.Header().Get("Set-Cookie"), "Secure")
	require.NotContains(t, rec.Header().Get("Set-Cookie"), "__Host-")
}

func TestWrongPasswordsAreSlowedDown(t *testing.T) {
	b := withPeople(t)
	b.join("The keeper", "keeper")
	wrong := url.Values{"name": {"The keeper"}, "password": {"let me in here"}}
	for range 5 {
		rec := b.signIn(wrong)
		require.Equal(t, http.StatusUnauthorized, rec.Code)
		require.NotContains(t, rec.Body.String(), "let me in here")
		require.Contains(t, rec.Body.String(), `value="The keeper"`)
	}
	rec := b.signIn(wrong)
	require.Equal(t, http.StatusTooManyRequests, rec.Code)
	require.Equal(t, "2", rec.Header().Get("Retry-After"))
	log := b.log.String()
	require.Contains(t, log, `"event":"sign-in-failed"`)
	for _, secret := range []string{"let me in", "The keeper", "192.0.2"} {
		require.NotContains(t, log, secret)
	}
}

// TestWhatWasTypedSurvives sends a form after the session ended, signs in, and
// sends it on.
func TestWhatWasTypedSurvives(t *testing.T) {
	b := withPeople(t)
	b.join("The keeper", "keeper")
	mechanic := b.join("Tamsin", "mechanic=tamsin")
	b.clock.Add(int64(access.SessionIdle / time.Second))
	typed := url.Values{"record": {"fault"}, "complaint": {"It <drips>\nwhen \"warm\"."}, "many": {"a", "b"}, "password": {"no"}, "key": {"k1"}}
	at := b.end()
	rec := b.askAs(mechanic, "POST", "/machines/drover-1957/faults", formType, typed.Encode())
	require.Equal(t, http.StatusUnauthorized, rec.Code)
	page := readPage(t, rec.Body.String())
	values := url.Values{"name": {"Tamsin"}, "password": {goodPassword}}
	for _, in := range page.all("input", "type", "hidden") {
		if name := attr(in, "name"); strings.HasPrefix(name, keptPrefix) || name == "to" {
			values[name] = append(values[name], attr(in, "value"))
		}
	}
	require.Empty(t, values[keptPrefix+"password"])
	rec = b.signIn(values)
	require.Equal(t, http.StatusOK, rec.Code, rec.Body.String())
	page = readPage(t, rec.Body.String())
	forms := page.all("form", "method", "post")
	require.Equal(t, "/machines/drover-1957/faults", attr(forms[0], "action"))
	again := url.Values{}
	for _, in := range page.all("input", "type", "hidden") {
		again.Add(attr(in, "name"), attr(in, "value"))
	}
	typed.Del("password")
	require.Equal(t, typed, again)
	require.Equal(t, at, b.end(), "nothing is sent without a word")

	// Files are not kept, and the page says so.
	body := "--x\r\nContent-Disposition: form-data; name=\"caption\"\r\n\r\nThe tank\r\n--x\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.jpg\"\r\nContent-Type: image/jpeg\r\n\r\nJPEG\r\n--x--\r\n"
	rec = b.askAs(mechanic, "POST", "/machines/drover-1957/photos", "multipart/form-data; boundary=x", body)
	require.Equal(t, http.StatusUnauthorized, rec.Code)
	require.Contains(t, rec.Body.String(), "1 file that you chose cannot be kept")
	require.Contains(t, rec.Body.String(), `name="kept.caption" value="The tank"`)
}

func TestSetUpOnPages(t *testing.T) {
	b := worked(t)
	require.Equal(t, http.StatusOK, b.get("/machines/drover-1957").Code)
	require.Contains(t, b.get("/").Body.String(), "Single-user mode")
	b.s.People = &access.Book{Store: &access.Memory{}, Now: b.s.Now, Random: rand.Reader, Required: true}
	require.Equal(t, "/set-up", b.get("/").Header().Get("Location"))
	code, err := b.s.People.OpenSetUp()
	require.NoError(t, err)
	values := url.Values{"code": {"wrong"}, "name": {"Tamsin"}, "password": {goodPassword}}
	rec := b.post("/set-up", values.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.Contains(t, rec.Body.String(), "This is not the set-up code")
	require.Contains(t, rec.Body.String(), `value="Tamsin"`)
	values.Set("code", code)
	rec = b.post("/set-up", values.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	cookie := rec.Result().Cookies()[0]
	require.Contains(t, b.askAs(cookie, "GET", "/people", "", "").Body.String(), "Tamsin")
	require.Equal(t, "/sign-in", b.post("/set-up", values.Encode()).Header().Get("Location"))
	require.NotContains(t, b.log.String(), code)

	rec = b.askAs(cookie, "POST", "/people", formType, url.Values{"name": {"Ines"}, "role": {"owner"}}.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code, "every machine is not given by leaving a field empty")
	require.Contains(t, rec.Body.String(), "It is not said on which machine")
	// The keeper invites, the invited one joins, and GET uses nothing up.
	rec = b.askAs(cookie, "POST", "/people", formType, url.Values{"name": {"Ines"}, "role": {"owner"}, "machine": {"drover-1957"}, "person": {"owner"}}.Encode())
	require.Equal(t, http.StatusOK, rec.Code, rec.Body.String())
	link := attr(readPage(t, rec.Body.String()).all("input", "id", "made")[0], "value")
	u, err := url.Parse(link)
	require.NoError(t, err)
	for range 3 {
		require.Equal(t, http.StatusOK, b.get(u.Path).Code)
	}
	rec = b.post(u.Path, url.Values{"password": {"short"}}.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	rec = b.post(u.Path, url.Values{"password": {goodPassword + " 2"}}.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code)
	ines := rec.Result().Cookies()[0]
	require.Equal(t, http.StatusGone, b.get(u.Path).Code)
	require.Equal(t, http.StatusOK, b.askAs(ines, "GET", "/machines/drover-1957", "", "").Code)
	require.Equal(t, http.StatusForbidden, b.askAs(ines, "GET", "/people", "", "").Code)
	rec = b.askAs(cookie, "POST", "/people/change", formType, url.Values{"name": {"Ines"}, "act": {"revoke"}}.Encode())
	require.Equal(t, http.StatusOK, rec.Code)
	require.Equal(t, http.StatusSeeOther, b.askAs(ines, "GET", "/machines/drover-1957", "", "").Code, "at once")
}

// readingLink makes a reading link of the Drover, and opens it.
func (b *bench) readingLink(keeper *http.Cookie, edition string) (*http.Cookie, string) {
	b.t.Helper()
	rec := b.askAs(keeper, "POST", "/machines/drover-1957/readers", formType, url.Values{"about": {"a buyer"}, "edition": {edition}, "expires": {"2026-04-01"}}.Encode())
	require.Equal(b.t, http.StatusOK, rec.Code, rec.Body.String())
	u, err := url.Parse(attr(readPage(b.t, rec.Body.String()).all("input", "id", "made")[0], "value"))
	require.NoError(b.t, err)
	require.Equal(b.t, http.StatusOK, b.get(u.Path).Code)
	rec = b.post(u.Path, "")
	require.Equal(b.t, "/machines/drover-1957", rec.Header().Get("Location"))
	return rec.Result().Cookies()[0], u.Path
}

func TestReadingLinks(t *testing.T) {
	b := withPeople(t)
	keeper := b.join("The keeper", "keeper")
	public, path := b.readingLink(keeper, "public")
	private, _ := b.readingLink(keeper, "private")
	require.Contains(t, b.askAs(public, "GET", "/machines/drover-1957?public=0", "", "").Body.String(), "Public edition")
	require.NotContains(t, b.askAs(private, "GET", "/machines/drover-1957", "", "").Body.String(), "Public edition")
	require.Contains(t, b.askAs(public, "GET", "/machines/drover-1957/dossier.pdf?edition=private", "", "").Body.String(), "drover-1957 true")
	require.Contains(t, b.askAs(private, "GET", "/machines/drover-1957/dossier.pdf?edition=private", "", "").Body.String(), "drover-1957 false")
	require.Contains(t, b.askAs(public, "GET", "/machines/drover-1957/exchange/objectid-text?edition=private", "", "").Body.String(), "public edition")
	require.Contains(t, b.askAs(private, "GET", "/machines/drover-1957/exchange/objectid-text?edition=private", "", "").Body.String(), "private edition")
	require.Equal(t, http.StatusNotFound, b.askAs(public, "GET", "/machines/heron-1931", "", "").Code)
	// An owner's link shows the same with the cookie of a reading link as without.
	own := func(c *http.Cookie) string {
		return readPage(t, b.askAs(c, "GET", "/o/"+b.token, "", "").Body.String()).text()
	}
	require.Equal(t, own(nil), own(public))
	// It never allows an act, on any route.
	at := b.end()
	for _, rt := range routes() {
		row := permissionOf(rt)
		if rt.method == http.MethodPost && row.reach != forAnybody {
			require.Equal(t, http.StatusUnauthorized, b.askAs(private, rt.method, b.address(rt.pattern), rt.takes, "").Code, rt.pattern)
		}
	}
	require.Equal(t, at, b.end())
	state, err := b.s.People.Store.Read()
	require.NoError(t, err)
	rec := b.askAs(keeper, "POST", "/machines/drover-1957/readers/end", formType, url.Values{"link": {state.Links[0].ID}}.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code)
	require.Equal(t, http.StatusGone, b.get(path).Code)
	require.Equal(t, http.StatusSeeOther, b.askAs(public, "GET", "/machines/drover-1957", "", "").Code)
	require.Contains(t, b.log.String(), `"event":"reading-link-opened"`)
	b.clock.Add(40 * 24 * 3600)
	require.Equal(t, http.StatusSeeOther, b.askAs(private, "GET", "/machines/drover-1957", "", "").Code)
}

func TestTokensOfPrograms(t *testing.T) {
	b := withPeople(t)
	b.join("The keeper", "keeper")
	token, err := b.s.People.NewToken("bench", access.Grant{Role: access.Reader, Machine: "drover-1957"}, 0)
	require.NoError(t, err)
	ask := func(method, path, token string) int {
		r := httptest.NewRequest(method, path, strings.NewReader("{}"))
		r.Header.Set("Authorization", "Bearer "+token)
		r.Header.Set("Content-Type", jsonType)
		return b.ask(r).Code
	}
	require.Equal(t, http.StatusOK, ask("GET", "/api/v1/machines/drover-1957", token))
	require.Equal(t, http.StatusNotFound, ask("GET", "/api/v1/machines/heron-1931", token))
	require.Equal(t, http.StatusForbidden, ask("POST", "/api/v1/machines/drover-1957/records", token))
	require.Equal(t, http.StatusUnauthorized, ask("GET", "/api/v1/machines/drover-1957", token+"x"))
	require.Equal(t, http.StatusSeeOther, ask("GET", "/machines/drover-1957", token), "pages are for people")
	// A cookie acts on the interface for programs only when a browser says
	// where the request comes from.
	hand := b.join("Tamsin", "mechanic=tamsin")
	r := httptest.NewRequest("POST", "/api/v1/machines/drover-1957/records", strings.NewReader("[]"))
	r.Header.Set("Content-Type", jsonType)
	r.AddCookie(hand)
	require.Equal(t, http.StatusUnauthorized, b.ask(r).Code)
}
