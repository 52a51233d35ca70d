package workshop

import (
	"context"
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
)

// What must not stand in the record of the demonstration.
var secretWords = []string{"Imogen", "Winifred", "Tamsin", "Reuben", "Aske", "Orde", "Quill", "SD57-1138", "G59-S-0417", "Post box 7", "lock-up", "policy 88-1"}

func TestTheLedgerHoldsNoNameAndNoWholeNumber(t *testing.T) {
	b := drafted(t)
	b.do(&registry.Fault{Common: registry.Common{ID: "rattle"}, Complaint: "It rattles, says Tamsin Orde; SD57-1138 is struck on the case.", Cause: "Imogen Aske heard it too.",
		Components: []string{"engine.timing-cover"}, By: "mechanic"})
	b.propose("proposal-1", "100", "condenser-outside")
	all := b.events()
	for _, word := range secretWords {
		silent(t, all, word)
	}
	// And the public edition of the page, whose other words it has.
	public := asJSON(t, b.report(ReportOptions{Public: true}))
	for _, word := range secretWords {
		silent(t, public, word)
	}
	silent(t, public, "[[")
	says(t, public, "It rattles, says the mechanic; SD•••••38 is struck on the case.")
	says(t, public, "the executor heard it too.")

	private := asJSON(t, b.report(ReportOptions{}))
	silent(t, private, "[[")
	says(t, private, "It rattles, says Tamsin Orde; SD57-1138 is struck on the case.")
	says(t, private, "Post box 7, Aldmouth")
}

func TestNamesAreWithheldWhateverTheOrderOfTheTakeIn(t *testing.T) {
	// The machine's own story comes before the people whom it names.
	m := aMachine()
	m.Story = "Winifred Aske rode it until 1971; now it is Imogen Aske's."
	b := newBench(t)
	b.do(m, aPerson("owner", "executor", "Imogen Aske"), aPerson("first-owner", "previous-owner", "Winifred Aske"))
	silent(t, b.events(), "Aske")
	require.Equal(t, "Winifred Aske rode it until 1971; now it is Imogen Aske's.", b.report(ReportOptions{}).Machine.Story)
	require.Equal(t, "the previous owner rode it until 1971; now it is the executor's.", b.report(ReportOptions{Public: true}).Machine.Story)

	// And when the take-in is read from a file, row by row.
	c := newBench(t)
	_, err := c.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: "x"}, sourceOf(Draft{Row: 1, Body: m},
		Draft{Row: 2, Body: aPerson("owner", "executor", "Imogen Aske")}, Draft{Row: 3, Body: aPerson("first-owner", "previous-owner", "Winifred Aske")}))
	require.NoError(t, err)
	silent(t, c.events(), "Aske")
}

// A name within another name: the longer one is taken first, and nothing of it
// is left.
func TestANameWithinAName(t *testing.T) {
	b := newBench(t)
	b.do(aMachine(), aPerson("firm", "reader", "Aske"), aPerson("owner", "executor", "Imogen Aske"), aPerson("heir", "reader", "Imogen Aske-Quill"), aPerson("mechanic", "mechanic", "Tamsin Orde"))
	s := aSurvey("fuel.tank")
	s.Note = "Imogen Aske-Quill, Imogen Aske and old Aske saw it."
	b.do(s)
	silent(t, b.events(), "Imogen")
	_, c, err := b.Component(context.Background(), drover, "fuel.tank", ReportOptions{})
	require.NoError(t, err)
	require.Equal(t, s.Note, c.Note)
}

func TestANameThatIsAlsoAWordOfTheRecord(t *testing.T) {
	b := newBench(t)
	m := aMachine()
	m.Numbers = []registry.Number{{Where: "engine", AsRead: registry.Private{Value: "1957"}}}
	m.Story = "The engine says 1957."
	b.do(m, aPerson("owner", "owner", "mechanic"), aPerson("mechanic", "mechanic", "original"))
	s := aSurvey("fuel.tank")
	s.Note = "The original of the mechanic."
	b.do(s)
	r := b.report(ReportOptions{Public: true})
	require.EqualValues(t, "1957", r.Machine.Year)
	require.Equal(t, "The engine says 1•••.", r.Machine.Story)
	_, c, err := b.Component(context.Background(), drover, "fuel.tank", ReportOptions{Public: true})
	require.NoError(t, err)
	require.Equal(t, "The the mechanic of the the owner.", c.Note) // clumsy, and gives nothing away
	d, err := b.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	recorded, _ := d.SurveyOf("fuel.tank")
	require.Equal(t, "original", recorded.Record.Origin)
	require.Equal(t, "mechanic", recorded.Record.By)
}

var name = rapid.StringMatching(`[A-Z][a-z]{3,9}( [A-Z][a-z'-]{2,9}){0,2}`)

func TestPrivateValuesNeverReachTheLedger(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t)
		owner, mechanic := name.Draw(t, "owner"), name.Draw(t, "mechanic")
		number := rapid.StringMatching(`[A-Z]{1,3}[0-9]{2,3}[-/ ][0-9]{3,5}`).Draw(t, "number")
		around := rapid.StringMatching(`[a-z ,.]{0,12}`)
		text := around.Draw(t, "before") + rapid.SampledFrom([]string{owner, mechanic, number, owner + mechanic}).Draw(t, "told") + around.Draw(t, "after")
		m := aMachine()
		m.Numbers = []registry.Number{{Where: "frame", AsRead: registry.Private{Value: number}}}
		bodies := []registry.Body{m, aPerson("owner", "owner", owner), aPerson("mechanic", "mechanic", mechanic)}
		if rapid.Bool().Draw(t, "story") {
			m.Story = text
		}
		b.do(bodies...)
		s := aSurvey("fuel.tank")
		s.Note = text
		b.do(s, &registry.Joint{Joint: "tank-bolt", Components: []string{"fuel.tank"}, Witness: "undisturbed", Sign: "x " + text, By: "mechanic"})
		// Base64, digests and the ids of records hold letters too, but no such
		// word as drawn: every one has four letters and a capital, or a mark.
		for _, secret := range []string{owner, mechanic, number} {
			silent(t, b.events(), secret)
		}
		// For those who may see them, the words come back as they were.
		d, err := b.Load(context.Background(), drover, At{})
		require.NoError(t, err)
		require.Equal(t, "x "+text, NewReader(d, false).Text(registry.Live[*registry.Joint](d)[0].Record.Sign))
	})
}

func TestErasedValuesStayWithheld(t *testing.T) {
	ctx := context.Background()
	b := takenIn(t)
	digests := regexp.MustCompile(`"withheld":"(sha256:[0-9a-f]{64})"`).FindAllStringSubmatch(b.events(), -1)
	require.NotEmpty(t, digests)
	for _, d := range digests {
		require.NoError(t, b.private.Remove(ctx, d[1]))
	}
	r, err := b.restarted().Report(ctx, drover, ReportOptions{})
	require.NoError(t, err)
	require.Equal(t, "SD•••••38", r.Machine.Numbers[0].Shown)
	require.Equal(t, "withheld", r.Agreement.Insurer)
	require.Equal(t, "withheld", r.Agreement.Place)
	for _, p := range r.People {
		require.Equal(t, "the "+strings.ReplaceAll(p.Role, "-", " "), p.Name)
	}
	silent(t, asJSON(t, r), "Aske")
	// The history itself still holds together.
	events, err := b.Events(ctx, drover)
	require.NoError(t, err)
	_, err = registry.Replay(drover, events, monday.AddDate(1, 0, 0))
	require.NoError(t, err)
}

func TestADamagedPrivateValueIsNotPassedOn(t *testing.T) {
	b := takenIn(t)
	digest := regexp.MustCompile(`"withheld":"(sha256:[0-9a-f]{64})"`).FindStringSubmatch(b.events())[1]
	b.private.Damage(digest)
	_, err := b.restarted().Report(context.Background(), drover, ReportOptions{})
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
}

func TestSealedValuesAreSalted(t *testing.T) {
	b := newBench(t)
	b.do(aMachine(), aPerson("a", "owner", "Imogen Aske"), aPerson("b", "reader", "Imogen Aske"))
	found := regexp.MustCompile(`sha256:[0-9a-f]{64}`).FindAllString(b.events(), -1)
	require.Len(t, found, 2)
	require.NotEqual(t, found[0], found[1], "the same name has the same digest, so it can be guessed")
	require.NoError(t, b.private.Each(context.Background(), func(digest string, _ int64) error {
		r, _, err := b.private.Get(context.Background(), digest)
		require.NoError(t, err)
		defer r.Close()
		var doc registry.PrivateDocument
		require.NoError(t, json.NewDecoder(r).Decode(&doc))
		require.Len(t, doc.Salt, 32) // 128 bits in hex
		return nil
	}))
}

func TestAnOverlongPrivateValueIsRefused(t *testing.T) {
	b := newBench(t)
	_, err := b.Record(context.Background(), request(), aMachine(), aPerson("owner", "owner", strings.Repeat("long ", 10_000)))
	refused(t, err, registry.CodeTooLarge, "32 kB")
	require.Zero(t, b.version())
}

func TestPhotosAreKeptUnderTheirDigest(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	b.do(people()...)
	p := &registry.Photo{Common: registry.Common{ID: "ph-1"}, MediaType: "image/jpeg", Shows: "as-found", Withhold: true, Caption: "beside the number", By: "mechanic"}
	_, err := b.AddPhoto(ctx, request(), p, strings.NewReader("picture"), []byte("small"))
	require.NoError(t, err)
	shown := b.report(ReportOptions{}).Photos[0]
	require.Equal(t, "beside the number", shown.Caption)
	kept, err := b.Photos.Has(ctx, shown.Digest)
	require.NoError(t, err)
	require.True(t, kept)

	public := b.report(ReportOptions{Public: true})
	require.Equal(t, PhotoReport{ID: "ph-1", Digest: shown.Digest, MediaType: "image/jpeg", Shows: "as-found", Withheld: true}, public.Photos[0])
	silent(t, asJSON(t, public), "beside the number")

	before := b.version()
	_, err = b.AddPhoto(ctx, request(), &registry.Photo{Digest: shown.Digest, MediaType: "image/jpeg", Shows: "work", By: "mechanic"}, strings.NewReader("another"), nil)
	refused(t, err, registry.CodeTampered, "other bytes")
	require.Equal(t, before, b.version())
}

// TestADigestOpensNothingOfOthers: digests of withheld values stand in public
// editions, and naming one is no way to read what it stands for, on another
// machine or under another holder, nor to have its key destroyed.
func TestADigestOpensNothingOfOthers(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	m := aMachine()
	m.Numbers = []registry.Number{{Where: "frame", AsRead: registry.Private{Value: "D350-2217"}}}
	b.do(m, aPerson("owner", "owner", "Imogen Aske"))
	holders := registry.Holders(loaded(t, b), drover)
	require.Len(t, holders, 2)
	before := b.version()
	for digest, holder := range holders {
		given := aPerson("reader", "reader", "")
		given.Name = registry.Private{Digest: digest}
		_, err := b.Record(ctx, request(), given)
		refused(t, err, registry.CodeRefused, "does not belong to what is to be recorded")
		other := request()
		other.Machine = "kestrel"
		elsewhere := aMachine()
		elsewhere.ID = "kestrel"
		_, err = b.Record(ctx, other, elsewhere, given)
		refused(t, err, registry.CodeRefused, "does not belong")
		if holder == drover {
			continue
		}
		// Who corrects a record may leave what is withheld of it as it was.
		again := aPerson("owner-2", "owner", "")
		again.Name, again.Supersedes = registry.Private{Digest: digest}, "owner"
		b.do(again)
		before++
	}
	require.Equal(t, before, b.version())
	require.Equal(t, "Imogen Aske", PersonName(loaded(t, b), "owner-2", false))
}
