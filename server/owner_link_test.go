package server

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// change asks the owner for more, while the first question is under way.
func (b *bench) change(id string) workshop.Proposed {
	b.t.Helper()
	b.clock.Add(60)
	made, err := b.w.Propose(context.Background(), workshop.Request{Machine: "drover-1957", Actor: "tamsin"}, workshop.ProposeInput{ID: id, To: "imogen", By: "tamsin",
		Options: []string{"hooter-clean", "hooter-leave"}, Recommended: []string{"hooter-clean"}, Amends: "ask-magneto", Found: "the horn croaks", Expires: b.w.Now().AddDate(0, 0, 20)})
	require.NoError(b.t, err)
	require.Empty(b.t, made.Token)
	return made
}

// ownerForm fills the form of a question's page.
func (b *bench) ownerForm(path, answer string, more ...string) string {
	page := readPage(b.t, b.get(path).Body.String())
	v := url.Values{"answer": {answer}}
	for _, name := range []string{"on", "digest"} {
		v.Set(name, attr(page.one("input", "name", name), "value"))
	}
	for i := 0; i+1 < len(more); i += 2 {
		v.Set(more[i], more[i+1])
	}
	return v.Encode()
}

// TestTheWholeWayAtOneLink goes from the link to both receipts, without a
// script: a question and its reply, an approval, a change request, a refusal.
func TestTheWholeWayAtOneLink(t *testing.T) {
	b := drover(t)
	link := "/o/" + b.token
	q := link + "/q/ask-magneto"

	b.clock.Add(60)
	asked := b.post(link+"/answer", b.ownerForm(link, "ask", "reason", "How loud is it?"))
	require.Equal(t, q, asked.Header().Get("Location"), asked.Body.String())
	page := readPage(t, b.get(link).Body.String())
	require.Contains(t, page.text(), "There is no reply yet.")
	require.NotEmpty(t, page.all("input", "id", "answer-approve"), "the decision is open")

	// The workshop sees it on the machine's page, and replies where it was asked.
	machine := readPage(t, b.get("/machines/drover-1957").Body.String())
	require.Contains(t, machine.text(), "“How loud is it?”")
	proposal := readPage(t, b.get("/machines/drover-1957/proposals/ask-magneto").Body.String())
	proposal.landmarks()
	send := hidden(proposal, url.Values{"question": {attr(proposal.one("input", "name", "question"), "value")}, "by": {"tamsin"}})
	empty := b.post("/machines/drover-1957/proposals/ask-magneto/reply", send.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, empty.Code)
	require.Contains(t, empty.Body.String(), "The reply is missing")
	send.Set("says", "No louder than the one before.")
	b.clock.Add(60)
	require.Equal(t, http.StatusSeeOther, b.post("/machines/drover-1957/proposals/ask-magneto/reply", send.Encode()).Code)
	page = readPage(t, b.get(link).Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "No louder than the one before.")
	require.NotContains(t, page.text(), "There is no reply yet")

	// Approve: check, then record.
	check := readPage(t, b.post(link+"/check", b.ownerForm(link, "approve")).Body.String())
	b.clock.Add(60)
	require.Equal(t, q, b.post(link+"/answer", resend(check).Encode()).Header().Get("Location"))
	receipt := readPage(t, b.get(q).Body.String())
	receipt.landmarks()
	r, err := b.w.Receipt(context.Background(), "drover-1957", "ask-magneto")
	require.NoError(t, err)
	for _, s := range append([]string{r.Says, r.Who, r.By, r.Means, r.Digest, r.Answer.ID, r.Event, fmt.Sprint("version ", r.Version), r.Ceiling, whenWords(r.Answer.Recorded)}, r.Next...) {
		require.Contains(t, receipt.text(), s)
	}
	pdf := b.get(q + "/receipt.pdf")
	require.Equal(t, "application/pdf", pdf.Header().Get("Content-Type"))
	require.Equal(t, "%PDF approve "+r.Digest, pdf.Body.String())
	require.Equal(t, "no-store", pdf.Header().Get("Cache-Control"))

	// What comes later comes to the same link, beside what was answered.
	made := b.change("change-horn")
	page = readPage(t, b.get(link).Body.String())
	page.landmarks()
	for _, s := range []string{"What was found", "the horn croaks", "Clean the horn’s points", "Also at this link", "you answered: Go ahead"} {
		require.Contains(t, strings.ReplaceAll(page.text(), "'", "’"), s)
	}
	require.Equal(t, made.Digest, attr(page.one("input", "name", "digest"), "value"))
	b.clock.Add(60)
	require.Equal(t, http.StatusSeeOther, b.post(link+"/answer", b.ownerForm(link, "refuse")).Code, "a reason may be left out")
	desk := readPage(t, b.get(link).Body.String())
	desk.landmarks()
	for _, s := range []string{"Nothing waits for your answer", "The horn croaks", "you answered: Do not do it", "you answered: Go ahead"} {
		require.Contains(t, desk.text(), s)
	}
	require.Len(t, desk.all("a", "href", q), 1, "the first receipt is still there")
}

// TestAQuestionIsDecidedOnce: twenty who approve and twenty who refuse at once
// leave one answer, and all are told which.
func TestAQuestionIsDecidedOnce(t *testing.T) {
	b := drover(t)
	before := b.load().Version()
	forms := []string{b.decision("approve").Encode(), b.decision("refuse").Encode()}
	b.clock.Add(60)
	var wait sync.WaitGroup
	codes := make([]int, 40)
	for i := range codes {
		wait.Go(func() {
			r := httptest.NewRequest(http.MethodPost, "/o/"+b.token+"/answer", strings.NewReader(forms[i%2]))
			r.Header.Set("Content-Type", formType)
			r.Host = "localhost"
			rec := httptest.NewRecorder()
			b.handler.ServeHTTP(rec, r)
			codes[i] = rec.Code
		})
	}
	wait.Wait()
	require.Equal(t, before+1, b.load().Version())
	answer, _ := b.load().Answer("ask-magneto")
	for i, code := range codes {
		if forms[i%2] == forms[0] == (answer.Record.Answer == "approve") {
			require.Equal(t, http.StatusSeeOther, code, "the same answer gets its receipt")
		} else {
			require.Equal(t, http.StatusConflict, code, "the other one is told that it came late")
		}
	}
	other := forms[0]
	if answer.Record.Answer == "approve" {
		other = forms[1]
	}
	late := readPage(t, b.post("/o/"+b.token+"/answer", other).Body.String())
	late.landmarks()
	require.Contains(t, late.text(), "You have answered this already")
	require.NotEmpty(t, late.all("a", "href", "/o/"+b.token))
	require.Equal(t, http.StatusSeeOther, b.post("/o/"+b.token+"/check", other).Code, "to the receipt")
}

// TestChangeLinksKeepWhatWasTyped goes from the check back, and to it again.
func TestChangeLinksKeepWhatWasTyped(t *testing.T) {
	b := drover(t)
	at := b.end()
	link := "/o/" + b.token
	first := readPage(t, b.post(link+"/check", b.decision("approve-with-conditions", "conditions", "keep <the> old one\nshow me", "reason", "it is hers", "option-magneto", "rewind").Encode()).Body.String())
	changes := first.all("button", "class", "change")
	require.Len(t, changes, 4, "answer, way, conditions, words")
	for _, c := range changes {
		require.Contains(t, textOf(c), "Change ", "each says what it changes")
		to, _, _ := strings.Cut(attr(c, "formaction"), "#")
		require.Equal(t, link+"/choose", to)
		again := readPage(t, b.post(to, resend(first).Encode()).Body.String())
		again.landmarks()
		require.Equal(t, "keep <the> old one\nshow me", textNode(again.one("textarea", "name", "conditions")))
		require.Equal(t, "it is hers", textNode(again.one("textarea", "name", "reason")))
		for _, id := range []string{"answer-conditions", "o-magneto-2"} {
			n := again.one("input", "id", id)
			require.True(t, hasAttr(n, "checked"), id)
		}
		_, anchor, _ := strings.Cut(attr(c, "formaction"), "#")
		require.NotNil(t, again.withID(anchor), anchor)
	}
	require.Equal(t, at, b.end())
}

// TestHowLinksEnd: each way has a page of its own with the next step.
func TestHowLinksEnd(t *testing.T) {
	told := func(b *bench, path string, code int, says ...string) {
		t.Helper()
		rec := b.get(path)
		require.Equal(t, code, rec.Code)
		page := readPage(t, rec.Body.String())
		page.landmarks()
		for _, s := range append(says, "What to do:") {
			require.Contains(t, page.text(), s)
		}
		require.Equal(t, "no-store", rec.Header().Get("Cache-Control"))
		require.NotContains(t, rec.Body.String(), "Skerrow", "who has no way in learns nothing of the machine")
	}
	b := drover(t)
	link := "/o/" + b.token
	told(b, "/o/nonsense", http.StatusNotFound, "This link leads nowhere", "ask the workshop for a new one")

	b.clock.Add(60)
	_, err := b.w.Propose(context.Background(), workshop.Request{Machine: "drover-1957", Actor: "tamsin"}, workshop.ProposeInput{ID: "ask-again", To: "imogen", By: "tamsin",
		Options: []string{"leave-it", "external-condenser"}, Recommended: []string{"external-condenser"}, Ceiling: gbp(t, "90"), Expires: b.w.Now().AddDate(0, 0, 3), Supersedes: "ask-magneto"})
	require.NoError(t, err)
	told(b, link+"/q/ask-magneto", http.StatusGone, "This question was replaced", "Open your link")
	require.Equal(t, http.StatusOK, b.get(link).Code, "the new one waits at the same link")

	b.clock.Add(4 * 24 * 3600)
	told(b, link+"/q/ask-again", http.StatusGone, "The time for this question is over", "nothing was decided")
	require.Contains(t, b.get(link).Body.String(), "Nothing waits for your answer")
	require.Contains(t, b.get(link).Body.String(), "without an answer")

	// A new link takes the place of the old one; its address is shown once.
	links := "/machines/drover-1957/links"
	page := readPage(t, b.get(links).Body.String())
	page.landmarks()
	forms := page.all("form", "action", links)
	require.Len(t, forms, 1)
	bad := b.post(links, hidden(page, url.Values{"to": {"imogen"}, "by": {"tamsin"}, "expires": {"soon"}}).Encode())
	require.Equal(t, http.StatusUnprocessableEntity, bad.Code)
	require.Contains(t, bad.Body.String(), "This is not a day")
	made := readPage(t, b.post(links, hidden(page, url.Values{"to": {"imogen"}, "by": {"tamsin"}, "expires": {"2026-04-01"}}).Encode()).Body.String())
	made.landmarks()
	address := attr(made.one("input", "id", "owner-link"), "value")
	require.Regexp(t, `^http://127\.0\.0\.1:8350/o/[a-z2-7]{32}$`, address)
	told(b, link, http.StatusGone, "This link was taken back")
	u, err := url.Parse(address)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, b.get(u.Path).Code)
	require.NotContains(t, b.get(links).Body.String(), u.Path)

	// Ended by hand.
	given := b.load()
	id := registry.Live[*registry.OwnerLink](given)[0].RecordID()
	end := hidden(readPage(t, b.get(links).Body.String()), url.Values{"link": {id}, "why": {"it was passed on"}})
	require.Equal(t, http.StatusSeeOther, b.post(links+"/end", end.Encode()).Code)
	told(b, u.Path, http.StatusGone, "This link was taken back")
	require.Contains(t, readPage(t, b.get(links).Body.String()).text(), "it was passed on")

	expired := drover(t)
	expired.clock.Add(15 * 24 * 3600)
	told(expired, "/o/"+expired.token, http.StatusGone, "This link has run out", "The workshop can make a new link.")
}

// TestALinkOfOneProposal: ledgers hold links that lead to one offer, and to no
// other for ever.
func TestALinkOfOneProposal(t *testing.T) {
	b := drover(t)
	offer, _, _, _ := b.load().OfferOf("ask-magneto")
	sum := sha256.Sum256([]byte("of-old"))
	b.record(&registry.Proposal{Common: id("old"), To: "imogen", By: "tamsin", Offer: offer, Link: &registry.Link{TokenHash: hex.EncodeToString(sum[:]), Expires: offer.Expires}})
	page := readPage(t, b.get("/o/of-old").Body.String())
	page.landmarks()
	require.NotContains(t, page.text(), "Also at this link")
	require.Equal(t, http.StatusNotFound, b.get("/o/of-old/q/ask-magneto").Code)
	b.clock.Add(60)
	require.Equal(t, "/o/of-old/q/old", b.post("/o/of-old/answer", b.ownerForm("/o/of-old", "refuse")).Header().Get("Location"))
	receipt := readPage(t, b.get("/o/of-old").Body.String())
	require.Contains(t, receipt.text(), "Your answer is recorded")
	require.NotContains(t, receipt.text(), "Also at this link")
}

// TestEveryFigureHasItsSum: each input that the page offers, run by the method
// that it names, gives the recorded result to the last digit.
func TestEveryFigureHasItsSum(t *testing.T) {
	b := drover(t)
	page := readPage(t, b.get("/o/"+b.token).Body.String())
	offer, _, _, _ := b.load().OfferOf("ask-magneto")
	sums := page.all("details", "class", "sum")
	require.Len(t, sums, len(offer.Shown))
	text := page.text()
	for i, e := range offer.Shown {
		address := "/o/" + b.token + "/q/ask-magneto/sums/" + itoa(i) + ".json"
		require.Len(t, page.all("a", "href", address), 1)
		require.Contains(t, text, "asfound calc "+e.Method+" < "+ownerSumFile("drover-1957", "ask-magneto", i))
		file := b.get(address)
		require.Contains(t, file.Header().Get("Content-Disposition"), ownerSumFile("drover-1957", "ask-magneto", i))
		again, err := scoring.Run(e.Method, file.Body.Bytes())
		require.NoError(t, err, e.Of)
		a, err := registry.CanonicalJSON(json.RawMessage(again))
		require.NoError(t, err)
		r, err := registry.CanonicalJSON(e.Result)
		require.NoError(t, err)
		require.True(t, bytes.Equal(a, r), e.Of)
		require.NotEmpty(t, assumed[e.Method], "it is said what %s rests on", e.Method)
	}
	for _, n := range []string{"-1", "999", "x"} {
		require.Equal(t, http.StatusNotFound, b.get("/o/"+b.token+"/q/ask-magneto/sums/"+n+".json").Code)
	}
}

func TestWordsExplainThemselves(t *testing.T) {
	b := drover(t)
	body := b.get("/o/" + b.token).Body.String()
	page := readPage(t, body)
	terms := page.all("button", "class", "term")
	require.NotEmpty(t, terms)
	for _, term := range page.all("button") {
		if to := attr(term, "popovertarget"); to != "" {
			meaning := page.withID(to)
			require.NotNil(t, meaning, "%q leads to %q", textOf(term), to)
			require.True(t, hasAttr(meaning, "popover"))
			require.Greater(t, len(textOf(meaning)), 30)
		}
	}
	require.Contains(t, page.text(), "A small electrical store beside the contact points.")
	require.Less(t, len(body), 100<<10)
}

func TestGlossary(t *testing.T) {
	g := newGlossary(map[string]string{"lining": "a line", "brake lining": "a layer", "seize": "to stick", "machine": "of itself", "valve": "a gate"})
	said := func(section, text string) string {
		var out strings.Builder
		for _, r := range g.In(section, text) {
			if r.Word != nil {
				fmt.Fprintf(&out, "[%s=%s]", r.Text, r.Word.Word)
			} else {
				out.WriteString(r.Text)
			}
		}
		return out.String()
	}
	// The longest word wins, endings count, parts of words do not.
	require.Equal(t, "[Brake linings=brake lining], a [lining=lining] and a relining; it [seized=seize].", said("a", "Brake linings, a lining and a relining; it seized."))
	require.Equal(t, "The lining of the machine", said("a", "The lining of the machine"), "once a section")
	require.Equal(t, "The [lining=lining]’s édge", said("b", "The lining’s édge"))
	require.Equal(t, "valvetrain, half-valve", said("b", "valvetrain, half-valve"))
	require.Empty(t, g.In("b", ""))
	var used []string
	for _, w := range g.Used() {
		used = append(used, w.Word)
	}
	require.Equal(t, []string{"brake lining", "lining", "seize"}, used)

	words := 0
	knowledge, err := loadCatalog()
	require.NoError(t, err)
	for _, w := range knowledge.Words() {
		words++
		require.Regexp(t, `[.?]$`, w.Explanation, w.ID)
	}
	require.GreaterOrEqual(t, words, 60)
}

// textNode is the text of an element as it stands.
func textNode(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return b.String()
}

// withID finds an element by its id, nil when there is none.
func (p parsed) withID(id string) *html.Node {
	for n := range p.root.Descendants() {
		if n.Type == html.ElementNode && attr(n, "id") == id {
			return n
		}
	}
	return nil
}
