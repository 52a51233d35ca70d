package workshop

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

func TestCompare(t *testing.T) {
	b := surveyed(t)
	b.on("tern", aMachine(), aPerson("mechanic", "mechanic", "Tamsin Orde"))
	for _, s := range registry.Live[*registry.Survey](dossierOf(t, b, drover)) {
		same := *s.Record
		same.Common = registry.Common{ID: s.RecordID()}
		same.Photos, same.Second = nil, ""
		if same.Component == "electrical.dynamo" {
			same.Origin, same.Signs = "reproduction", nil
		}
		if same.Component == "electrical.horn" {
			same.Condition = ptr(max(0, *same.Condition-1)) // one step is no difference
		}
		b.on("tern", &same)
	}
	a := b.report(ReportOptions{})
	other, err := b.Report(context.Background(), "tern", ReportOptions{})
	require.NoError(t, err)

	row := func(c *Comparison, id string) *ComponentPair {
		for _, g := range c.Groups {
			for i := range g.Rows {
				if g.Rows[i].ID == id {
					return &g.Rows[i]
				}
			}
		}
		return nil
	}
	c := Compare(a, other, false)
	require.Contains(t, row(c, "electrical.dynamo").Asked, "origin")
	require.Nil(t, row(c, "electrical.horn"))
	require.Positive(t, c.Same)
	shown := 0
	for _, g := range c.Groups {
		shown += len(g.Rows)
	}
	require.Equal(t, c.Different, shown)

	all := Compare(a, other, true)
	require.Equal(t, c.Different, all.Different)
	require.False(t, row(all, "electrical.horn").Different)
	require.Len(t, all.Gates, len(a.Gates))

	// Nothing differs from itself.
	self := Compare(a, a, false)
	require.Zero(t, self.Different)
}

func TestCompareWhatATypeNeverHad(t *testing.T) {
	b := surveyed(t)
	m := aMachine()
	m.NotFitted = []string{"electrical.dynamo"}
	b.on("tern", m, aPerson("mechanic", "mechanic", "Tamsin Orde"))
	other, err := b.Report(context.Background(), "tern", ReportOptions{})
	require.NoError(t, err)
	for _, g := range Compare(b.report(ReportOptions{}), other, false).Groups {
		for _, r := range g.Rows {
			if r.ID == "electrical.dynamo" {
				require.Nil(t, r.B)
				require.Equal(t, []string{"fitted"}, r.Asked)
				return
			}
		}
	}
	t.Fatal("the dynamo is not among the differences")
}

func dossierOf(t testingT, b *bench, machine string) *registry.Dossier {
	d, err := b.Load(context.Background(), machine, At{})
	require.NoError(t, err)
	return d
}
