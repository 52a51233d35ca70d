package registry

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func anOwnerLink(id string, change ...func(*OwnerLink)) *OwnerLink {
	l := &OwnerLink{Common: Common{ID: id}, To: "imogen", By: "tamsin", Purpose: PurposeDecide,
		Link: Link{TokenHash: strings.Repeat("5f", 32), Expires: monday.AddDate(0, 0, 21)}}
	for _, c := range change {
		c(l)
	}
	return l
}

func TestDecideOwnerLinks(t *testing.T) {
	link := func(change ...func(*OwnerLink)) func(*bench) Body { return with(anOwnerLink("link"), change...) }
	out := bodies(anOwnerLink("first"))
	later := func(l *OwnerLink) { l.Supersedes, l.Link.Expires = "first", monday.AddDate(0, 0, 40) }
	runCases(t, []ruleCase{
		{name: "a link", stage: offered, act: link()},
		{name: "for a mechanic", stage: offered, act: link(func(l *OwnerLink) { l.To = "tamsin" }), code: CodeInvalid, word: "may not decide"},
		{name: "over before it begins", stage: offered, act: link(func(l *OwnerLink) { l.Link.Expires = monday }), code: CodeInvalid, word: "over before"},
		{name: "for anything else", stage: offered, act: link(func(l *OwnerLink) { l.Purpose = "read" }), code: CodeInvalid, word: "another purpose"},
		{name: "its end moves", stage: offered, more: out, act: link(later)},
		{name: "its token does not", stage: offered, more: out, act: link(later, func(l *OwnerLink) { l.Link.TokenHash = strings.Repeat("6e", 32) }), code: CodeRefused, word: "exchanged"},
		{name: "a reply to nothing", stage: offered, act: with(&Reply{Common: Common{ID: "r"}, Question: "none", Says: "x", By: "tamsin"}), code: CodeInvalid, word: "no decision"},
		{name: "a reply to a yes", stage: approved, act: with(&Reply{Common: Common{ID: "r"}, Question: "yes", Says: "x", By: "tamsin"}), code: CodeInvalid, word: "no question"},
	})
}

// ownerStory is an invented history with the records that the other frozen ones
// lack: a link, its end moved, a question and its reply, the link taken back, her name erased.
func ownerStory(b *bench) {
	offered(b)
	b.do(anOwnerLink("link"), anOwnerLink("link-longer", func(l *OwnerLink) { l.Supersedes, l.Link.Expires = "link", monday.AddDate(0, 0, 40) }))
	ask := b.answer("question", "offer", "ask")
	ask.Reason = "How loud is it?"
	again := b.answer("question-2", ask.On, "ask")
	again.Reason = "And when it is warm?"
	b.do(ask, again, &Reply{Common: Common{ID: "reply"}, Question: "question", Says: "About as loud as before.", By: "tamsin"},
		&Withdrawal{Common: Common{ID: "back"}, Record: "link-longer", Why: "it was passed on", By: "tamsin"},
		&Erasure{Common: Common{ID: "forgotten"}, Person: "imogen", Digests: PersonDigests(b.d, "imogen"), Why: "she asked for it", By: "tamsin"})
}

func TestDecideErasure(t *testing.T) {
	of := func(person, by string) func(*bench) Body {
		return func(b *bench) Body {
			return &Erasure{Common: Common{ID: "gone"}, Person: person, Digests: PersonDigests(b.d, by), Why: "asked for", By: "tamsin"}
		}
	}
	runCases(t, []ruleCase{
		{name: "of a person", stage: offered, act: of("imogen", "imogen")},
		{name: "of somebody else", stage: offered, act: with(&Erasure{Common: Common{ID: "gone"}, Person: "imogen", Digests: []string{"sha256:" + strings.Repeat("0f", 32)}, Why: "asked for", By: "tamsin"}), code: CodeInvalid, word: "somebody else"},
		{name: "of nobody", stage: offered, act: of("nobody", "imogen"), code: CodeInvalid, word: "no person"},
		{name: "of nothing", stage: offered, act: with(&Erasure{Common: Common{ID: "gone"}, Person: "imogen", Why: "asked for", By: "tamsin"}), code: CodeInvalid, word: "nothing to erase"},
		{name: "taken back", stage: offered, act: func(b *bench) Body {
			b.do(of("imogen", "imogen")(b))
			return &Withdrawal{Common: Common{ID: "w"}, Record: "gone", Why: "a slip", By: "tamsin"}
		}, code: CodeRefused, word: "cannot be brought back"},
	})
}

// TestFrozenOwnerLedger: that history replays, for ever, into what it said then.
func TestFrozenOwnerLedger(t *testing.T) {
	events := readLines(t, "v1-owner/events.jsonl")
	d, err := Replay("drover", events, time.Time{})
	require.NoError(t, err)
	version, last, _ := readHead(t, "v1-owner/head.txt")
	require.Equal(t, version, d.Version())
	require.Equal(t, last, d.Last())
	require.Empty(t, Live[*OwnerLink](d), "it was taken back")
	require.Equal(t, monday.AddDate(0, 0, 40), All[*OwnerLink](d)[1].Record.Link.Expires)
	standing, _ := d.Answer("offer")
	require.Equal(t, "And when it is warm?", standing.Record.Reason)
	reply, _ := Get[*Reply](d, "reply")
	require.Equal(t, "About as loud as before.", reply.Record.Says)
	require.Len(t, Erased(d), len(PersonDigests(d, "imogen")))
}

// TestWriteOwnerFixture made that history once; see TestWriteFixtures.
func TestWriteOwnerFixture(t *testing.T) {
	writeStory(t, "v1-owner", ownerStory)
}

// writeStory writes a history into a fixture that is not there yet.
func writeStory(t *testing.T, name string, story func(*bench)) {
	dir := filepath.Join(ledgers, name)
	if _, err := os.Stat(dir); err == nil || !writeFixtures {
		t.Skip("testdata/ledgers/" + name + " is there and frozen, or WRITE_FIXTURES=1 is not set")
	}
	b := newBench(t)
	story(b)
	h := History{}
	for _, e := range b.events {
		_, err := h.Add(e)
		require.NoError(t, err)
	}
	require.NoError(t, os.MkdirAll(dir, 0o755))
	for name, text := range map[string]string{
		"events.jsonl": string(bytes.Join(b.events, []byte("\n"))) + "\n", "head.txt": headText(&h),
	} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644))
	}
}
