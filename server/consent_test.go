package server

import (
	"encoding/base64"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/access"
	"example.org/asfound/access/passkeytest"
	"example.org/asfound/registry"
)

// atLocalhost sends a request under a name that passkeys work for.
func (b *bench) atLocalhost(c *http.Cookie, method, path string, form url.Values) *httptest.ResponseRecorder {
	b.t.Helper()
	r := httptest.NewRequest(method, path, strings.NewReader(form.Encode()))
	if method == http.MethodPost {
		r.Header.Set("Content-Type", formType)
	}
	if c != nil {
		r.AddCookie(c)
	}
	r.Host = "localhost:8350"
	rec := httptest.NewRecorder()
	b.handler.ServeHTTP(rec, r)
	return rec
}

// checked goes to the page that checks an answer, under a name.
func (b *bench) checked(c *http.Cookie, desk, answer string, more ...string) parsed {
	b.t.Helper()
	page := readPage(b.t, b.atLocalhost(c, "GET", desk+"/q/ask-magneto", nil).Body.String())
	v := url.Values{"answer": {answer}, "on": {"ask-magneto"}, "digest": {attr(page.all("input", "name", "digest")[0], "value")}}
	for i := 0; i+1 < len(more); i += 2 {
		v.Set(more[i], more[i+1])
	}
	rec := b.atLocalhost(c, "POST", desk+"/check", v)
	require.Equal(b.t, http.StatusOK, rec.Code, rec.Body.String())
	out := readPage(b.t, rec.Body.String())
	out.landmarks()
	return out
}

// challengeOf is what the page wants a device to do.
func challengeOf(t *testing.T, page parsed, what string) []byte {
	t.Helper()
	var options struct {
		Challenge        string
		UserVerification string
		AllowCredentials []struct{ ID string }
		RP               struct{ ID string }
	}
	text := attr(page.one("section", "id", "confirm"), "data-"+what)
	require.NotEmpty(t, text)
	require.NoError(t, json.Unmarshal([]byte(text), &options))
	raw, err := base64.RawURLEncoding.DecodeString(options.Challenge)
	require.NoError(t, err)
	return raw
}

// bindAt makes a passkey at a desk and gives the page that asks to confirm.
func (b *bench) bindAt(c *http.Cookie, desk string, page parsed, d *passkeytest.Device) parsed {
	b.t.Helper()
	form := resend(page)
	form.Set("made", d.Make(challengeOf(b.t.(*testing.T), page, "make")))
	rec := b.atLocalhost(c, "POST", desk+"/passkey", form)
	require.Equal(b.t, http.StatusOK, rec.Code, rec.Body.String())
	return readPage(b.t, rec.Body.String())
}

// TestAPasskeyConfirmsAtALink: who holds a link makes a passkey there, and it
// signs what stands on the page and nothing else.
func TestAPasskeyConfirmsAtALink(t *testing.T) {
	b := drover(t)
	desk := "/o/" + b.token
	device := passkeytest.New("localhost", "http://localhost:8350", registry.AlgorithmES256)
	other := passkeytest.New("localhost", "http://localhost:8350", registry.AlgorithmES256)

	// Under an address of figures there is no word of passkeys.
	plain := b.post(desk+"/check", b.decision("approve").Encode())
	require.NotContains(t, plain.Body.String(), "passkey")

	page := b.checked(nil, desk, "approve", "reason", "Imogen Aske says so", "until", "2026-04-30")
	require.Contains(t, page.text(), "nobody asks further")
	require.Contains(t, page.text(), "30 April 2026")
	// A device that did not verify its person makes no key here; what was typed stays.
	device.Flags = 0x01
	form := resend(page)
	form.Set("made", device.Make(challengeOf(t, page, "make")))
	rec := b.atLocalhost(nil, "POST", desk+"/passkey", form)
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.Contains(t, rec.Body.String(), "There is a problem")
	require.Equal(t, "Imogen Aske says so", attr(readPage(t, rec.Body.String()).one("input", "name", "reason"), "value"))
	device.Flags = 0x05

	at := b.load().Version()
	page = b.bindAt(nil, desk, page, device)
	require.Contains(t, page.text(), "Your answer is not recorded yet")
	require.Equal(t, at+1, b.load().Version())
	key := registry.Live[*registry.Passkey](b.load())[0]
	require.Equal(t, []string{"imogen", "link", "localhost", device.PublicKey()}, []string{key.Record.Person, key.Record.Means, key.Record.Host, key.Record.PublicKey})

	send := func(change func(url.Values)) *httptest.ResponseRecorder {
		form := resend(page)
		form.Set("assertion", device.Confirm(challengeOf(t, page, "confirm")))
		change(form)
		return b.atLocalhost(nil, "POST", desk+"/answer", form)
	}
	for name, x := range map[string]struct {
		change func(url.Values)
		says   string
	}{
		"another reason":    {func(f url.Values) { f.Set("reason", "never mind") }, "something else"},
		"another way":       {func(f url.Values) { f.Set("option-magneto", "rewind") }, "something else"},
		"a later end":       {func(f url.Values) { f.Set("until", "2027-04-30") }, "something else"},
		"another device":    {func(f url.Values) { f.Set("assertion", other.Confirm(challengeOf(t, page, "confirm"))) }, "not bound to you"},
		"no such signature": {func(f url.Values) { f.Set("assertion", "{}") }, "cannot be read"},
		"a made-up nonce":   {func(f url.Values) { f.Set("nonce", strings.Repeat("A", 54)) }, "took too long"},
		"another page": {func(f url.Values) {
			elsewhere := *device
			elsewhere.Origin = "http://localhost:9999"
			f.Set("assertion", elsewhere.Confirm(challengeOf(t, page, "confirm")))
		}, "on another page"},
		"another key under its name": {func(f url.Values) {
			forger := *other
			forger.Credential = device.Credential
			f.Set("assertion", forger.Confirm(challengeOf(t, page, "confirm")))
		}, "not made by the key"},
	} {
		rec := send(x.change)
		require.Equal(t, http.StatusUnprocessableEntity, rec.Code, name)
		require.Contains(t, readPage(t, rec.Body.String()).text(), x.says, name)
	}
	b.clock.Add(301)
	require.Contains(t, send(func(url.Values) {}).Body.String(), "The passkey took too long")
	require.Equal(t, at+1, b.load().Version(), "nothing was recorded")

	page = b.checked(nil, desk, "approve", "reason", "Imogen Aske says so", "until", "2026-04-30")
	rec = send(func(url.Values) {})
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	receipt := readPage(t, b.get(rec.Header().Get("Location")).Body.String())
	receipt.landmarks()
	for _, s := range []string{"confirmed with a passkey", "signed exactly this answer", "whoever held the link then bound the passkey", "Counts until"} {
		require.Contains(t, receipt.text(), s)
	}
	answer, _ := b.load().Answer("ask-magneto")
	require.NotNil(t, answer.Record.Assertion)
	require.NotContains(t, answer.Record.Reason, "Imogen Aske", "names stand apart, and the signature holds all the same")
	require.Equal(t, "2026-05-01T00:00:00Z", answer.Record.Until.Format("2006-01-02T15:04:05Z07:00"), "to the end of that day")

	// It is taken back, signed as well; then answered without the passkey, which is told.
	back := url.Values{"answer": {"take-back"}, "on": {"ask-magneto"}, "digest": {answer.Record.Digest}, "takes_back": {answer.RecordID()}}
	b.clock.Add(60)
	rec = b.atLocalhost(nil, "POST", desk+"/check", back)
	page = readPage(t, rec.Body.String())
	require.Contains(t, page.text(), "An earlier answer no longer stands")
	require.Equal(t, http.StatusSeeOther, send(func(url.Values) {}).Code)
	_, stands := b.load().Answer("ask-magneto")
	require.False(t, stands)
	require.Contains(t, readPage(t, b.get(desk).Body.String()).text(), "You took your answer back on")
	b.clock.Add(60)
	require.Equal(t, http.StatusSeeOther, b.post(desk+"/answer", b.ownerForm(desk, "refuse")).Code)
	require.Contains(t, readPage(t, b.get(desk).Body.String()).text(), "was on record then, and was not used")

	// A second passkey at the link needs the first withdrawn, on the page of links.
	links := "/machines/drover-1957/links"
	require.Contains(t, readPage(t, b.get(links).Body.String()).text(), "Passkeys of owners")
	end := hidden(readPage(t, b.get(links).Body.String()), url.Values{"link": {key.RecordID()}, "why": {"the telephone is lost"}})
	require.Equal(t, http.StatusSeeOther, b.post(links+"/end", end.Encode()).Code)
	require.Contains(t, readPage(t, b.get(links).Body.String()).text(), "the telephone is lost")
	require.Empty(t, b.load().PasskeysOf("imogen"))
}

// TestAnOwnerDecidesByAccount: the account that stands for the owner decides
// without a link, on its own machine alone; what it was not given, it may not.
func TestAnOwnerDecidesByAccount(t *testing.T) {
	b := drover(t)
	b.s.People = &access.Book{Store: &access.Memory{}, Now: b.s.Now, Random: strings.NewReader(strings.Repeat("some bytes that nobody guesses ", 4000)), Required: true}
	desk := "/machines/drover-1957/decide"
	require.Contains(t, b.copy(t).get(desk).Body.String(), "In single-user mode nobody is signed in")
	keeper := b.join("The keeper", "keeper")
	owner := b.join("The owner", "owner@drover-1957=imogen")
	b.record(&registry.Person{Common: id("cora"), Role: "owner", Name: registry.Private{Value: "Cora Aske"}})
	co := b.join("The co-owner", "co-owner@drover-1957=cora")
	for name, x := range map[string]struct {
		cookie *http.Cookie
		code   int
		says   string
	}{
		"a keeper":                 {keeper, http.StatusForbidden, "was not given"},
		"an owner of no person":    {b.join("Nobody", "owner@drover-1957"), http.StatusConflict, "stands for nobody"},
		"an owner who is none":     {b.join("False", "owner@drover-1957=tamsin"), http.StatusConflict, "may not decide"},
		"a mechanic as the owner":  {b.join("Sly", "mechanic=imogen"), http.StatusForbidden, "was not given"},
		"the owner of another one": {b.join("Other", "owner@heron-1931=imogen"), http.StatusNotFound, "no machine"},
	} {
		rec := b.atLocalhost(x.cookie, "GET", desk, nil)
		require.Equal(t, x.code, rec.Code, name)
		require.Contains(t, readPage(t, rec.Body.String()).text(), x.says, name)
	}
	require.Contains(t, b.atLocalhost(owner, "GET", "/machines/drover-1957", nil).Body.String(), desk)

	b.clock.Add(60)
	page := b.checked(owner, desk, "approve")
	require.NotContains(t, page.text(), "whoever holds its link")
	require.Contains(t, page.text(), "You are signed in as The owner")
	rec := b.atLocalhost(owner, "POST", desk+"/answer", resend(page))
	require.Equal(t, desk+"/q/ask-magneto", rec.Header().Get("Location"), rec.Body.String())
	answer, _ := b.load().Answer("ask-magneto")
	require.Equal(t, []string{"account", "imogen", "imogen"}, []string{answer.Record.Channel, answer.Record.Person, answer.Actor})
	require.Regexp(t, "^account-", answer.Record.Account)
	receipt := readPage(t, b.atLocalhost(owner, "GET", desk, nil).Body.String())
	receipt.landmarks()
	require.Contains(t, receipt.text(), "signed in to the owner’s own account")
	require.NotContains(t, receipt.text(), "same link")
	require.Equal(t, "application/pdf", b.atLocalhost(owner, "GET", desk+"/q/ask-magneto/receipt.pdf", nil).Header().Get("Content-Type"))

	// The co-owner's word counts as the owner's does: she takes it back and refuses, signed with
	// a passkey that her account binds.
	device := passkeytest.New("localhost", "http://localhost:8350", registry.AlgorithmES256)
	back := url.Values{"answer": {"take-back"}, "on": {"ask-magneto"}, "digest": {answer.Record.Digest}, "takes_back": {answer.RecordID()}}
	page = readPage(t, b.atLocalhost(co, "POST", desk+"/check", back).Body.String())
	page = b.bindAt(co, desk, page, device)
	form := resend(page)
	form.Set("assertion", device.Confirm(challengeOf(t, page, "confirm")))
	require.Equal(t, http.StatusSeeOther, b.atLocalhost(co, "POST", desk+"/answer", form).Code)
	b.clock.Add(60)
	page = b.checked(co, desk, "refuse")
	form = resend(page)
	form.Set("assertion", device.Confirm(challengeOf(t, page, "confirm")))
	require.Equal(t, http.StatusSeeOther, b.atLocalhost(co, "POST", desk+"/answer", form).Code)
	answer, _ = b.load().Answer("ask-magneto")
	require.Equal(t, "cora", answer.Record.Person)
	require.Contains(t, readPage(t, b.atLocalhost(co, "GET", desk, nil).Body.String()).text(), "own account then bound the passkey")

	// Nobody records such things for another.
	mechanic := b.join("The mechanic", "mechanic=tamsin")
	for name, body := range map[string]string{
		"an answer by account": `{"record": "decision", "on": "ask-magneto", "digest": "` + answer.Record.Digest + `", "answer": "defer", "person": "imogen", "channel": "account", "account": "account-1"}`,
		"a passkey":            `{"record": "passkey", "person": "imogen", "host": "localhost", "credential": "AAAA", "public_key": "` + passkeytest.New("localhost", "http://localhost", -7).PublicKey() + `", "algorithm": -7, "means": "link"}`,
		"a second signature":   `{"record": "second-signature", "on": "survey-fuel.tank", "hash": "` + strings.Repeat("0", 64) + `", "by": "reuben", "account": "account-1"}`,
	} {
		r := httptest.NewRequest("POST", "/api/v1/machines/drover-1957/records", strings.NewReader(body))
		r.Header.Set("Content-Type", jsonType)
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("If-Match", b.tag())
		r.AddCookie(mechanic)
		rec := b.ask(r)
		require.Equal(t, http.StatusConflict, rec.Code, "%s: %s", name, rec.Body.String())
		require.Contains(t, rec.Body.String(), "nly ", name)
	}
}

// TestTakingBackEndsWhereWorkBegins asks on the page itself.
func TestTakingBackEndsWhereWorkBegins(t *testing.T) {
	b := drover(t)
	b.approve()
	desk := "/o/" + b.token
	page := readPage(t, b.get(desk).Body.String())
	require.Contains(t, page.text(), "Take this answer back")
	forms := page.all("form", "action", desk+"/check")
	require.Len(t, forms, 1)
	back := resend(page)
	b.record(&registry.Opened{Common: id("opened-magneto"), Opening: "magneto-off", By: "tamsin"})
	b.clock.Add(60)
	rec := b.post(desk+"/answer", back.Encode())
	require.Equal(t, http.StatusConflict, rec.Code)
	require.Contains(t, readPage(t, rec.Body.String()).text(), "Work under this approval has begun")
	text := readPage(t, b.get(desk).Body.String()).text()
	require.NotContains(t, text, "Take this answer back")
	require.Contains(t, text, "so that it cannot be taken back. To stop what is not done yet, tell Tamsin Orde")
}

// TestTheSecondPersonSigns: what the first recorded waits on the page of who is
// named as the second, and of nobody else.
func TestTheSecondPersonSigns(t *testing.T) {
	b := worked(t)
	const work = "/machines/drover-1957/work"
	require.NotContains(t, b.get(work).Body.String(), "To be signed by you", "single-user mode stays as it is")
	require.Contains(t, readPage(t, b.get(work).Body.String()).text(), "the name was typed by whoever recorded this")
	require.Equal(t, http.StatusConflict, b.post(work+"/sign", "record=spark-warm").Code)

	b = withPeople(t)
	keeper := b.join("The keeper", "keeper")
	second := b.join("Reuben", "second-signature@drover-1957=reuben")
	both := b.join("Both", "second-signature@drover-1957=reuben", "mechanic=tamsin")
	stranger := b.join("Another", "second-signature@drover-1957=imogen")
	waits := func(c *http.Cookie) bool {
		return strings.Contains(b.askAs(c, "GET", work, "", "").Body.String(), "To be signed by you")
	}
	require.Equal(t, []bool{true, false, false, false}, []bool{waits(second), waits(both), waits(stranger), waits(keeper)})
	page := readPage(t, b.askAs(second, "GET", work, "", "").Body.String())
	page.landmarks()
	form := url.Values{"record": {"spark-warm"}, "hash": {attr(page.one("input", "name", "hash"), "value")}}
	sign := func(c *http.Cookie, change ...string) *httptest.ResponseRecorder {
		f := url.Values{"key": {newKey()}}
		for k, v := range form {
			f[k] = v
		}
		for i := 0; i+1 < len(change); i += 2 {
			f.Set(change[i], change[i+1])
		}
		return b.askAs(c, "POST", work+"/sign", formType, f.Encode())
	}
	require.Len(t, page.all("a", "href", work+"#spark-warm"), 1)
	require.Contains(t, sign(both).Body.String(), "The same person cannot be both")
	require.Contains(t, sign(stranger).Body.String(), "does not stand for the second person")
	require.Equal(t, http.StatusForbidden, sign(keeper).Code)
	require.Contains(t, sign(second, "hash", strings.Repeat("0", 64)).Body.String(), "is not the one that was shown")
	require.Contains(t, sign(second, "record", "nothing").Body.String(), "There is no record")
	require.Equal(t, http.StatusSeeOther, sign(second).Code)
	require.Contains(t, sign(second).Body.String(), "was signed already")
	text := readPage(t, b.askAs(second, "GET", work, "", "").Body.String()).text()
	require.NotContains(t, text, "To be signed by you")
	require.Contains(t, text, "signed by their own account on")
	s, ok := b.load().SecondSigned("spark-warm")
	require.True(t, ok)
	require.Equal(t, []string{"reuben", "reuben"}, []string{s.Record.By, s.Actor})
}
