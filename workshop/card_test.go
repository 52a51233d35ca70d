package workshop

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

func (b *bench) card(option string) *CardReport {
	b.t.Helper()
	c, err := b.Card(context.Background(), drover, option)
	require.NoError(b.t, err)
	return c
}

// coverJob is a job behind one cover that lies behind another, described but
// not asked about.
func coverJob(t testingT) *bench {
	b := drafted(t)
	b.do(&registry.Opening{Common: registry.Common{ID: "outer"}, Title: "outer cover off", Hours: 1},
		&registry.Opening{Common: registry.Common{ID: "inner"}, Title: "inner cover off", Hours: 1, Requires: []string{"outer"}, Needs: []registry.Need{{What: "inner gasket", LeadDays: 10}}},
		&registry.Fault{Common: registry.Common{ID: "rattle"}, Complaint: "It rattles.", Components: []string{"engine.timing-gears"}, By: "mechanic"},
		&registry.Option{Common: registry.Common{ID: "shim"}, Fault: "rattle", Treatment: "adjust", Title: "Take up the play", Hours: 1, Money: pounds("20"), Openings: []string{"inner"}, By: "mechanic"},
		&registry.Option{Common: registry.Common{ID: "let-rattle"}, Fault: "rattle", Treatment: "leave", Title: "Let it rattle", By: "mechanic"})
	return b
}

func TestTheCardSaysWhatIsAllowed(t *testing.T) {
	b := coverJob(t)
	_, err := b.Card(context.Background(), drover, "nothing")
	refused(t, err, registry.CodeNotFound, "no option")
	c := b.card("shim")
	require.Nil(t, c.Approval)
	require.Contains(t, c.Uncovered.Why, "has not been asked")
	require.NotEmpty(t, c.Uncovered.Fix)

	p := b.propose("ask-shim", "40", "shim", "let-rattle")
	require.Contains(t, b.card("shim").Uncovered.Why, "has not answered")
	b.approve(p, "shim")
	c = b.card("shim")
	require.Nil(t, c.Uncovered)
	require.Equal(t, "40 GBP", c.Approval.Ceiling)
	require.Equal(t, "", c.Approval.Spent)
	require.Contains(t, c.Approval.Covers, "opening: outer cover off", "what comes before is covered with it")
	require.Equal(t, "Imogen Aske", c.Approval.By)
	require.Equal(t, []string{"outer", "inner"}, []string{c.Openings[0].ID, c.Openings[1].ID}, "the outer comes first")
	require.Equal(t, []string{"inner cover off", "outer cover off"}, c.Closing, "and goes back last")

	// Its parts come in, and the option is corrected: the owner's word stands.
	b.do(&registry.Option{Common: registry.Common{ID: "shim-2", Supersedes: "shim"}, Fault: "rattle", Treatment: "adjust", Title: "Take up the play", Hours: 2, Money: pounds("20"), Openings: []string{"inner"}, By: "mechanic"})
	for _, id := range []string{"shim", "shim-2"} {
		require.NotNil(t, b.card(id).Approval, id)
		require.Equal(t, "shim-2", b.card(id).Option.ID)
	}
	b.do(&registry.Decision{On: "ask-shim", Digest: p.Digest, Answer: "refuse", Person: "owner", Channel: "in-person"})
	require.Nil(t, b.card("shim").Approval)
}

func TestWhatKeepsAnOpeningShut(t *testing.T) {
	b := coverJob(t)
	b.approve(b.propose("ask-shim", "40", "shim", "let-rattle"), "shim")
	inner := func() CardOpening { return b.card("shim").Openings[1] }
	why := func() (out []string) {
		for _, l := range inner().Lacks {
			require.NotEmpty(t, l.Fix)
			out = append(out, l.Why)
		}
		return out
	}
	require.Equal(t, []string{"there is no as-found picture of its joints", "inner gasket is not in hand", `"outer" has to be opened before it`}, why())
	require.False(t, b.card("shim").Needs[0].InHand)
	b.do(&registry.StockPart{What: "Inner gasket", Origin: "reproduction", Source: "a gasket cutter", By: "mechanic"})
	n := b.card("shim").Needs[0]
	require.True(t, n.InHand && n.InStock)
	require.Equal(t, "inner cover off", n.For)
	require.Equal(t, []string{"there is no as-found picture of its joints", `"outer" has to be opened before it`}, why())

	// It was opened all the same: the record takes it, and the card says so.
	b.do(&registry.Opened{Opening: "inner", By: "mechanic", AlreadyDone: true})
	require.Equal(t, "unapproved", inner().Mark)
	require.Empty(t, inner().Lacks)
}

func TestCautionsAreReadBeforeAnOpening(t *testing.T) {
	b := drafted(t)
	var option string
	for _, o := range registry.Live[*registry.Option](mustLoad(b)) {
		for _, c := range b.card(o.RecordID()).Cautions {
			if c.Level == "stop" && len(c.For) > 0 {
				option = o.RecordID()
			}
		}
	}
	require.NotEmpty(t, option, "an option of the demonstration has a stop at an opening")
	unread := func() (out []CardCaution) {
		for _, c := range b.card(option).Cautions {
			if c.Unread() {
				out = append(out, c)
			}
		}
		return out
	}
	first := unread()
	stopped := func() int {
		n := 0
		for _, o := range b.card(option).Openings {
			for _, l := range o.Lacks {
				if l.Fix == "Read it, and say so on the card." {
					n++
				}
			}
		}
		return n
	}
	require.Positive(t, stopped())
	for _, c := range first {
		b.do(&registry.Acknowledgement{Caution: c.ID, For: option, By: "mechanic"})
	}
	require.Empty(t, unread())
	require.Zero(t, stopped())
	require.Equal(t, "Tamsin Orde", b.card(option).Cautions[0].Read[0].By)
}

func mustLoad(b *bench) *registry.Dossier {
	d, err := b.Load(context.Background(), drover, At{})
	require.NoError(b.t, err)
	return d
}

func TestStepsCarryTheirTimeAndCanBeUndone(t *testing.T) {
	b := coverJob(t)
	r := b.do(&registry.Step{Option: "shim", Did: "[[owner]] was told", By: "mechanic"})
	at := b.Now()
	b.pass(time.Hour)
	b.do(&registry.Step{Option: "let-rattle", Did: "of another card", By: "mechanic"})
	steps := b.card("shim").Steps
	require.Len(t, steps, 1)
	require.Equal(t, at, steps[0].At)
	require.Equal(t, "Imogen Aske was told", steps[0].Did)
	b.do(&registry.Withdrawal{Record: r.Records[0].ID, Why: "never happened", By: "mechanic"})
	steps = b.card("shim").Steps
	require.Len(t, steps, 1, "it stays readable")
	require.True(t, steps[0].Undone)
	require.Equal(t, "never happened", steps[0].Why)
}

func TestTheMapSaysWhatToWatch(t *testing.T) {
	b := coverJob(t)
	b.approve(b.propose("ask-shim", "40", "shim", "let-rattle"), "shim")
	b.do(&registry.FastenerMap{Common: registry.Common{ID: "map"}, Opening: "outer", By: "mechanic", Fasteners: []registry.Fastener{
		{Hole: "a", Length: 40, Hand: "right", Felt: "normal"}, {Hole: "b", Length: 43, Hand: "left", Felt: "tight"}, {Hole: "c", Length: 40, Hand: "not-tried", Felt: "stripped"}, {Hole: "d", Hand: "right", Felt: "normal"}}})
	m := b.card("shim").Openings[0].Maps[0]
	require.Equal(t, "b", m.Longest)
	require.Equal(t, "a", m.Shortest)
	require.Equal(t, []string{"left-hand thread", "longest"}, m.Flags("b"))
	require.Equal(t, []string{"stripped", "not turned yet"}, m.Flags("c"))
	require.Equal(t, []string{"d"}, m.Unmeasured)
	require.Contains(t, m.Warnings, "Easily swapped, 3 mm (0.12 in) apart: the 43 mm (1.69 in) of hole b and the 40 mm (1.57 in) of holes a, c.")

	// A corrected map takes the place of the first.
	b.do(&registry.FastenerMap{Common: registry.Common{ID: "map-2", Supersedes: "map"}, Opening: "outer", By: "mechanic", Fasteners: []registry.Fastener{{Hole: "a", Hand: "right", Felt: "normal"}}})
	require.Len(t, b.card("shim").Openings[0].Maps, 1)
	found, record, err := b.FastenerMap(context.Background(), drover, "outer", "")
	require.NoError(t, err)
	require.Equal(t, "map-2", found.ID)
	require.Empty(t, found.Longest, "one alone is neither long nor short")
	require.Equal(t, []registry.FastenerBack{{Hole: "a", From: "a"}}, AllOwn(record))
	_, _, err = b.FastenerMap(context.Background(), drover, "inner", "")
	refused(t, err, registry.CodeNotFound, "no map")
}
