package workshop

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
)

// found asks and gives the ids of the machines that were found.
func (b *bench) found(q FindQuestion) []string {
	b.t.Helper()
	r, err := b.Find(context.Background(), q)
	require.NoError(b.t, err)
	ids := []string{}
	for _, h := range r.Hits {
		ids = append(ids, h.Machine.ID)
	}
	return ids
}

func (b *bench) finds(text string) []string { b.t.Helper(); return b.found(FindQuestion{Text: text}) }

// on records bodies on any machine.
func (b *bench) on(machine string, bodies ...registry.Body) {
	b.t.Helper()
	_, err := b.Record(context.Background(), Request{Machine: machine, Actor: "mechanic"}, bodies...)
	require.NoError(b.t, err)
}

// shed is three machines that differ.
func shed(t testingT) *bench {
	b := newBench(t)
	drover350 := aMachine()
	drover350.Numbers = []registry.Number{{Where: "frame", AsRead: registry.Private{Value: "D350-2217"}, Doubtful: []registry.DoubtfulCharacter{{Place: 6, Readings: []string{"7", "1"}}}}}
	drover350.Story = "Stood under a tarpaulin in the dairy. Imogen Aske found it."
	b.on(drover, drover350, aPerson("owner", "executor", "Imogen Aske"), aPerson("mechanic", "mechanic", "Tamsin Orde"))
	vole := &registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Élan & Brüder", Model: "Vole", Year: "193X", Invented: true}
	b.on("vole", vole, aPerson("owner", "owner", "Ansel Brandt"), aPerson("mechanic", "mechanic", "Tamsin Orde"))
	b.on("tern", &registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Skerrow Engineering", Model: "Tern", Year: "1962", Invented: true, Story: "A drover would have been better."},
		aPerson("mechanic", "mechanic", "Tamsin Orde"))
	return b
}

func TestFindWords(t *testing.T) {
	b := shed(t)
	for text, want := range map[string][]string{
		"drover":                 {drover, "tern"}, // in the name before in a story
		"skerrow":                {drover, "tern"},
		"SKERROW drover 350":     {drover},
		"skerrow AND tern":       {"tern"},
		"elan bruder":            {"vole"},
		"Élan":                   {"vole"},
		`"dairy in"`:             {},
		`"in the dairy"`:         {drover},
		"dro*":                   {drover, "tern"},
		"tarp* vole":             {},
		"d3502217":               {drover},
		"D350-2217":              {drover},
		"D350-22*":               {drover},
		"2217":                   {drover},
		"imogen":                 {drover},
		`"Imogen Aske found it"`: {drover},
		"orde":                   {drover, "vole", "tern"},
		"":                       {drover, "vole", "tern"},
		"executor":               {},
	} {
		require.Equal(t, want, b.finds(text), "%q", text)
	}
	_, err := b.Find(context.Background(), FindQuestion{Text: `"open`})
	refused(t, err, registry.CodeInvalid, "not closed")
	_, err = b.Find(context.Background(), FindQuestion{After: "nonsense"})
	refused(t, err, registry.CodeInvalid, "continue from")
}

// What is withheld is found and shown in the private edition alone, and what
// stands in its place in the public one is found there.
func TestFindInThePublicEdition(t *testing.T) {
	b := shed(t)
	for _, text := range []string{"imogen", "aske", "2217", "d3502217", "orde", `"imogen aske"`, "imo*"} {
		require.NotEmpty(t, b.finds(text), text)
		require.Empty(t, b.found(FindQuestion{Text: text, Public: true}), text)
	}
	require.Equal(t, []string{drover}, b.found(FindQuestion{Text: "executor", Public: true}))
	require.Equal(t, []string{drover}, b.found(FindQuestion{Filters: FindFilters{Number: "d350 2217"}}))
	require.Empty(t, b.found(FindQuestion{Filters: FindFilters{Number: "d350 2217"}, Public: true}))
	r, err := b.Find(context.Background(), FindQuestion{Text: "dairy", Public: true})
	require.NoError(t, err)
	silent(t, asJSON(t, r), "Imogen")
	says(t, asJSON(t, r), "the executor found it")

	// Nothing that the public edition reads holds a name or a number.
	require.NoError(t, b.Views.Scan(context.Background(), "find/", "", 0, func(key string, value []byte) error {
		if strings.HasPrefix(key, findSecret) || strings.HasPrefix(key, findList+inPrivate) || strings.HasPrefix(key, findList+ofNumbers) {
			return nil
		}
		text := key
		if strings.HasPrefix(key, findText) {
			var f findable
			require.NoError(t, unpack(value, &f))
			text += asJSON(t, f)
		}
		for _, word := range []string{"imogen", "aske", "orde", "2217", "brandt"} {
			silent(t, strings.ToLower(text), word)
		}
		return nil
	}))
}

func TestFindNumbersReadInSeveralWays(t *testing.T) {
	b := shed(t)
	for number, want := range map[string][]string{"D350-2217": {drover}, "d350 7217": {drover}, "D3501217": {drover}, "D350-9217": {}, "2217": {}} {
		require.Equal(t, want, b.found(FindQuestion{Filters: FindFilters{Number: number}}), number)
	}
}

// The score is the sum of the highest weights of the words, whole words before
// beginnings; the places are listed and marked.
func TestFindRanks(t *testing.T) {
	b := shed(t)
	b.on("vole", &registry.Fault{Common: registry.Common{ID: "f", Note: "Not the drover's."}, Complaint: "The dynamo's drum rubs.", Components: []string{"electrical.dynamo"}, By: "mechanic"})
	r, err := b.Find(context.Background(), FindQuestion{Text: "drover"})
	require.NoError(t, err)
	require.Len(t, r.Hits, 3)
	got := []string{}
	for _, h := range r.Hits {
		got = append(got, fmt.Sprintf("%s %g %s", h.Machine.ID, h.Score, h.Places[0].Kind))
	}
	// 8 for a name, 3 for a story, 1 for a note: placeWeights.
	require.Equal(t, []string{"drover 8 machine", "tern 3 story", "vole 1 note"}, got)
	require.Equal(t, []Piece{{Text: "Not the "}, {"drover", true}, {Text: "'s."}}, r.Hits[2].Places[0].Text)
	require.Equal(t, "f", r.Hits[2].Places[0].Record)

	r, err = b.Find(context.Background(), FindQuestion{Text: "dyn* rubs"})
	require.NoError(t, err)
	// 5 for a whole word of a complaint, half of that for a beginning.
	require.Equal(t, 7.5, r.Hits[0].Score)
	require.Equal(t, []Piece{{Text: "The "}, {"dynamo", true}, {Text: "'s drum "}, {"rubs", true}, {Text: "."}}, r.Hits[0].Places[0].Text)
}

func TestFindShowsAPartOfALongText(t *testing.T) {
	b := shed(t)
	b.on("tern", &registry.Fault{Common: registry.Common{ID: "f"}, Complaint: strings.Repeat("words before ", 40) + "the needle " + strings.Repeat("words after ", 40), Components: []string{"electrical.dynamo"}, By: "mechanic"})
	r, err := b.Find(context.Background(), FindQuestion{Text: "needle"})
	require.NoError(t, err)
	text := ""
	for _, p := range r.Hits[0].Places[0].Text {
		text += p.Text
	}
	require.Regexp(t, `^… (words|before).* the needle words after.* …$`, text)
	require.Less(t, len(text), snippetBytes+40)
}

// Each filter finds the machine that has the thing, and leaves out that which
// has not.
func TestFindFilters(t *testing.T) {
	b := drafted(t)
	b.on("vole", &registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Brüder", Model: "Vole", Year: "1921/1923", Invented: true},
		aPerson("owner", "owner", "Ansel Brandt"), aPerson("mechanic", "mechanic", "Tamsin Orde"))
	low, ok := 0.0, 1.0
	d := b.report(ReportOptions{})
	median := d.Indices.Substance.AsFound.Median
	under, over := median-0.02, median+0.02
	both, none := []string{drover, "vole"}, []string{}
	var worst, surveyedAs int
	worst = 9
	component := ""
	origin, finish := "", ""
	for _, g := range d.Groups {
		for _, c := range g.Components {
			if c.Condition != nil && *c.Condition < worst {
				worst = *c.Condition
			}
		}
	}
	dossier, err := b.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	for _, s := range registry.Live[*registry.Survey](dossier) {
		if s.Record.Condition != nil && *s.Record.Condition > worst && s.Record.Origin != "original" && s.Record.Origin != "" && s.Record.Finish != "" {
			component, surveyedAs, origin, finish = s.Record.Component, *s.Record.Condition, s.Record.Origin, s.Record.Finish
		}
	}
	require.NotEmpty(t, component)
	for name, row := range map[string]struct {
		filters FindFilters
		want    []string
	}{
		"none":                     {FindFilters{}, both},
		"make":                     {FindFilters{Make: "BRUDER"}, []string{"vole"}},
		"make, all words":          {FindFilters{Make: "skerrow engineering"}, []string{drover}},
		"make, a word too many":    {FindFilters{Make: "skerrow brüder"}, none},
		"model":                    {FindFilters{Model: "vole"}, []string{"vole"}},
		"year from":                {FindFilters{YearFrom: 1923}, both},
		"year from, later":         {FindFilters{YearFrom: 1924}, []string{drover}},
		"year to":                  {FindFilters{YearTo: 1921}, []string{"vole"}},
		"years between":            {FindFilters{YearFrom: 1924, YearTo: 1950}, none},
		"phase":                    {FindFilters{Phase: "taken in"}, []string{"vole"}},
		"origin of any":            {FindFilters{Origin: origin}, []string{drover}},
		"origin of one":            {FindFilters{Origin: origin, Component: component}, []string{drover}},
		"another origin of one":    {FindFilters{Origin: "missing", Component: component}, none},
		"finish of one":            {FindFilters{Finish: finish, Component: component}, []string{drover}},
		"condition at most":        {FindFilters{ConditionMost: &worst}, []string{drover}},
		"worst condition at least": {FindFilters{ConditionLeast: ptr(worst + 1)}, none},
		"condition of one":         {FindFilters{ConditionLeast: &surveyedAs, Component: component}, []string{drover}},
		"condition of one, worse":  {FindFilters{ConditionMost: ptr(surveyedAs - 1), Component: component}, none},
		"open fault":               {FindFilters{OpenFault: true}, []string{drover}},
		"unapproved":               {FindFilters{Unapproved: true}, none},
		"waiting":                  {FindFilters{Waiting: true}, none},
		"not surveyed":             {FindFilters{Survey: "none"}, []string{"vole"}},
		"not sealed":               {FindFilters{Survey: "unsealed"}, []string{"vole"}},
		"sealed":                   {FindFilters{Survey: "sealed"}, []string{drover}},
		"gate not passed":          {FindFilters{GateOpen: b.gates()[0].ID}, both},
		"index":                    {FindFilters{Index: "substance"}, []string{drover}},
		"index in range":           {FindFilters{Index: "substance", IndexLow: &under, IndexHigh: &over}, []string{drover}},
		"index under":              {FindFilters{Index: "substance", IndexLow: &low, IndexHigh: &under}, none},
		"index over":               {FindFilters{Index: "substance", IndexLow: &over, IndexHigh: &ok}, none},
	} {
		require.Equal(t, row.want, b.found(FindQuestion{Filters: row.filters}), name)
	}

	// What changes is found as it now is.
	p := b.propose("proposal-1", "100", "condenser-outside")
	require.Equal(t, []string{drover}, b.found(FindQuestion{Filters: FindFilters{Waiting: true}}))
	b.approve(p)
	require.Empty(t, b.found(FindQuestion{Filters: FindFilters{Waiting: true}}))
	b.do(&registry.Opened{Opening: "points-cap", By: "mechanic", AlreadyDone: true})
	require.Equal(t, []string{drover}, b.found(FindQuestion{Filters: FindFilters{Unapproved: true}}))

	_, err = b.Find(context.Background(), FindQuestion{Filters: FindFilters{Origin: "martian", Component: "nowhere", IndexLow: &over, ConditionMost: ptr(7)}})
	refused(t, err, registry.CodeInvalid, "cannot be read")
	var e *registry.Error
	require.ErrorAs(t, err, &e)
	require.Len(t, e.Fields, 4)
}

func TestFindInPages(t *testing.T) {
	b := newBench(t)
	for i := range 9 {
		m := aMachine()
		m.Model = []string{"Drover", "Tern drover", "Vole"}[i%3]
		if i%3 == 2 {
			m.Story = "Not a drover, it is said: a big drover."
		}
		b.on(fmt.Sprintf("m-%d", i), m, aPerson("mechanic", "mechanic", "Tamsin Orde"))
	}
	for _, text := range []string{"drover", `"a drover"`, `"big drover"`, `"said a"`} {
		whole := b.finds(text)
		var seen []string
		q := FindQuestion{Text: text, Limit: 2}
		for {
			r, err := b.Find(context.Background(), q)
			require.NoError(t, err)
			for _, h := range r.Hits {
				seen = append(seen, h.Machine.ID)
			}
			if q.After = r.Next; r.Next == "" {
				break
			}
		}
		require.Equal(t, whole, seen, text)
		require.NotEmpty(t, whole)
	}
}

// entries is everything that the views hold.
func entries(t testingT, v Views) map[string]string {
	out := map[string]string{}
	require.NoError(t, v.Scan(context.Background(), "", "", 0, func(key string, value []byte) error {
		out[key] = string(value)
		return nil
	}))
	return out
}

// smallViews take few entries at once, and may fail on the way.
type smallViews struct {
	Views
	most   int
	failAt int // the how manyth update fails, 0 for none
	n      int
	before func()
}

func (s *smallViews) Update(ctx context.Context, at registry.Position, fn func(tx ViewTx) error) error {
	if s.n++; s.n == s.failAt {
		return registry.Refuse(registry.CodeBusy, "", "The disk is full")
	}
	if f := s.before; f != nil {
		s.before = nil
		f()
	}
	return s.Views.Update(ctx, at, func(tx ViewTx) error {
		counted := newCountedTx(tx)
		if err := fn(counted); err != nil {
			return err
		}
		if err := counted.settle(); err != nil {
			return err
		}
		if len(counted.sizes) > s.most {
			return registry.Refuse(registry.CodeTooLarge, "", "too many entries")
		}
		return nil
	})
}

// randomJob is a history of a few machines, told step by step.
func randomJob(t *rapid.T, b *bench, afterEach func()) {
	words := []string{"rust", "dust", "Imogen Aske", "dynamo", "D350-2217", "paint bridge"}
	text := rapid.Custom(func(t *rapid.T) string {
		return strings.Join(rapid.SliceOfN(rapid.SampledFrom(words), 1, 4).Draw(t, "words"), " ")
	})
	taken := map[string][]string{}
	for i := range rapid.IntRange(1, 12).Draw(t, "steps") {
		machine := rapid.SampledFrom([]string{"a", "b", "c"}).Draw(t, "machine")
		id := fmt.Sprintf("r-%d", i)
		switch {
		case taken[machine] == nil:
			m := aMachine()
			m.Story = text.Draw(t, "story")
			m.Numbers = []registry.Number{{Where: "frame", AsRead: registry.Private{Value: "D350-2217"}}}
			b.on(machine, m, aPerson("owner", "owner", "Imogen Aske"), aPerson("mechanic", "mechanic", "Tamsin Orde"))
			taken[machine] = []string{}
		case len(taken[machine]) > 0 && rapid.Bool().Draw(t, "mend"):
			last := taken[machine][len(taken[machine])-1]
			if rapid.Bool().Draw(t, "withdraw") {
				b.on(machine, &registry.Withdrawal{Common: registry.Common{ID: id}, Record: last, Why: text.Draw(t, "why"), By: "mechanic"})
				taken[machine] = taken[machine][:len(taken[machine])-1]
				break
			}
			b.on(machine, &registry.Fault{Common: registry.Common{ID: id, Supersedes: last}, Complaint: text.Draw(t, "complaint"), Components: []string{"electrical.dynamo"}, By: "mechanic"})
			taken[machine][len(taken[machine])-1] = id
		default:
			b.on(machine, &registry.Fault{Common: registry.Common{ID: id}, Complaint: text.Draw(t, "complaint"), Components: []string{"electrical.dynamo"}, By: "mechanic"})
			taken[machine] = append(taken[machine], id)
		}
		afterEach()
	}
}

// An index that was kept up step by step, through stops, in small parts and
// with others in between, is that which a rebuild makes.
func TestFindIndexKeptUpIsFindIndexRebuilt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t)
		whole := b.Views
		small := &smallViews{Views: whole}
		b.Views = small
		randomJob(t, b, func() {
			// The update after each append may have been refused or cut off.
			small.most, small.n = rapid.IntRange(9, 60).Draw(t, "most"), 0
			small.failAt = rapid.IntRange(0, 6).Draw(t, "fail")
		})
		small.failAt, small.most = 0, 1<<20
		require.NoError(t, b.refresh(context.Background()))
		kept := entries(t, whole)
		require.NoError(t, b.Rebuild(context.Background(), nil))
		require.Equal(t, entries(t, whole), kept)
	})
}

// Somebody else brings the index up to date while a large machine is half way.
func TestFindIndexInPartsIsOvertaken(t *testing.T) {
	for at := range 8 {
		b := shed(t)
		whole := b.Views
		other := b.restarted()
		b.Views = brokenViews{whole}
		b.on("tern", &registry.Fault{Common: registry.Common{ID: "f"}, Complaint: "alpha beta gamma delta", Components: []string{"electrical.dynamo"}, By: "mechanic"})
		small := &smallViews{Views: whole, most: 8}
		n := 0
		var later func()
		later = func() {
			if n++; n <= at {
				small.before = later
				return
			}
			_, err := other.Record(context.Background(), Request{Machine: "tern", Actor: "mechanic"},
				&registry.Fault{Common: registry.Common{ID: "g", Supersedes: "f"}, Complaint: "alpha epsilon", Components: []string{"electrical.dynamo"}, By: "mechanic"})
			require.NoError(t, err)
		}
		small.before = later
		b.Views = small
		require.NoError(t, b.refresh(context.Background()))
		require.NoError(t, b.refresh(context.Background()))
		if at < 4 {
			require.Greater(t, n, at, "the other never came")
		}
		if n > at {
			require.Empty(t, b.finds("gamma"), at)
			require.Equal(t, []string{"tern"}, b.finds("epsilon"), at)
		}
		small.most, small.before = 1<<20, nil
		kept := entries(t, whole)
		require.NoError(t, b.Rebuild(context.Background(), nil))
		require.Equal(t, entries(t, whole), kept, at)
	}
}

func TestFindWhileOthersAppend(t *testing.T) {
	b := newBench(t)
	var wait sync.WaitGroup
	for i := range 4 {
		wait.Go(func() {
			for j := range 5 {
				m := aMachine()
				m.Story = fmt.Sprintf("needle number %d", j)
				_, err := b.Record(context.Background(), Request{Machine: fmt.Sprintf("m-%d-%d", i, j), Actor: "mechanic"}, m, aPerson("mechanic", "mechanic", "Tamsin Orde"))
				require.NoError(t, err)
				r, err := b.Find(context.Background(), FindQuestion{Text: "needle", Limit: MaxHits})
				require.NoError(t, err)
				own := 0
				for _, h := range r.Hits { // whoever wrote finds what was written
					if strings.HasPrefix(h.Machine.ID, fmt.Sprintf("m-%d-", i)) {
						own++
					}
				}
				require.Equal(t, j+1, own)
			}
		})
	}
	wait.Wait()
	require.Len(t, b.found(FindQuestion{Text: "needle", Limit: MaxHits}), 20)
}

func TestFindSaysWhenTheIndexIsDamaged(t *testing.T) {
	b := shed(t)
	require.NoError(t, b.Views.Update(context.Background(), 1<<20, func(tx ViewTx) error { tx.Put(findText+drover, []byte("{}")); return nil }))
	_, err := b.Find(context.Background(), FindQuestion{Text: "drover"})
	refused(t, err, registry.CodeTampered, "index")
	require.NoError(t, b.Rebuild(context.Background(), nil))
	require.NotEmpty(t, b.finds("drover"))
}

func TestPackedReadsBack(t *testing.T) {
	raw, err := pack(findable{Number: 7, Places: []place{{Kind: "note", Text: "a"}}})
	require.NoError(t, err)
	var f findable
	require.NoError(t, unpack(raw, &f))
	require.Equal(t, uint32(7), f.Number)
	var again bytes.Buffer
	require.NoError(t, json.NewEncoder(&again).Encode(f))
}
