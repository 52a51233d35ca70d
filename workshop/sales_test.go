package workshop

import (
	"context"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// offering is the priced machine beside another one with two sales of its own.
func offering(t testingT) *bench {
	b := priced(t)
	b.on("vole", &registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Skerrow Engineering", Model: "Vole", Year: "1931", Invented: true},
		aPerson("owner", "owner", "Ansel Brandt"), aPerson("mechanic", "mechanic", "Tamsin Orde"),
		aSale("v-1", "2026-01-11", "9100", "GBP"), aSale("v-2", "2026-02-11", "7000", "GBP"))
	return b
}

func (b *bench) offered() []SharedSale {
	b.t.Helper()
	list, err := b.SharedSales(context.Background(), drover)
	require.NoError(b.t, err)
	return list
}

func TestSharedSales(t *testing.T) {
	b := offering(t)
	vole := Request{Machine: "vole", Actor: "mechanic"}
	require.Empty(t, b.offered(), "nothing is shared unless the owner permits it")
	q := asked()
	q.Shared = []string{"vole/v-1"}
	b.noValue(q, registry.CodeNotFound, "not offered")

	_, err := b.ShareSales(context.Background(), vole, "owner", "by word of mouth", false)
	require.NoError(t, err)
	require.Len(t, b.offered(), 2)
	require.Equal(t, "vole/v-2", b.offered()[0].ID, "the latest first")
	require.Nil(t, b.offered()[0].Price, "prices are another matter")
	b.noValue(q, registry.CodeRefused, "price of the sale vole/v-1 is withheld")

	_, err = b.ShareSales(context.Background(), vole, "owner", "by letter", true)
	require.NoError(t, err)
	require.Equal(t, "7000 GBP", b.offered()[0].Price.String())
	own, err := b.SharedSales(context.Background(), "vole")
	require.NoError(t, err)
	require.Empty(t, own, "a machine is not offered its own")
	without := b.value(asked())
	with := b.value(q)
	require.Equal(t, without.Result.Sales+1, with.Result.Sales)
	require.NotEqual(t, without.Result.Before, with.Result.Before)
	require.Contains(t, strings.Join(with.Assumptions, " "), "whose owners permit it: vole/v-1 (")
	q.Shared = append(q.Shared, "vole/v-1")
	b.noValue(q, registry.CodeInvalid, "named twice")
	q.Shared = []string{drover + "/sale-01"}
	b.noValue(q, registry.CodeNotFound, "not offered")

	// What an owner was shown stays; nothing new is made.
	q.Shared = []string{"vole/v-1"}
	p, err := b.Propose(context.Background(), request(), ProposeInput{ID: "shared-offer", Options: []string{"magneto-leave"}, Recommended: []string{"magneto-leave"}, Ceiling: pounds("100"),
		Expires: b.Now().AddDate(0, 0, 20), Value: &q})
	require.NoError(t, err)
	b.pass(1e9)
	_, err = b.StopSharing(context.Background(), vole, registry.ForSharingSales, "he wishes it")
	require.NoError(t, err)
	require.Empty(t, b.offered())
	b.noValue(q, registry.CodeNotFound, "taken back")
	d, err := b.Load(context.Background(), drover, At{})
	require.NoError(t, err)
	e, ok := d.Entry(p.ID)
	require.True(t, ok)
	list, err := b.Recalc(context.Background(), e.ID)
	require.NoError(t, err)
	kept := false
	for _, x := range list {
		require.True(t, x.Same, x.Of)
		kept = kept || x.Of == "value"
	}
	require.True(t, kept)
	offer, _, _, ok := d.OfferOf("shared-offer")
	require.True(t, ok)
	raw, err := json.Marshal(offer.Shown)
	require.NoError(t, err)
	says(t, string(raw), "vole/v-1")
	_, err = b.StopSharing(context.Background(), vole, registry.ForSharingSales, "again")
	refused(t, err, registry.CodeNotFound, "No permission stands")

	// A sale that is withdrawn is no longer offered, and a rebuild sees the same.
	_, err = b.ShareSales(context.Background(), vole, "owner", "by letter", true)
	require.NoError(t, err)
	b.on("vole", &registry.Withdrawal{Common: registry.Common{ID: "gone"}, Record: "v-1", Why: "it was another machine", By: "mechanic"})
	require.Len(t, b.offered(), 1)
	same := b.offered()
	require.NoError(t, b.Rebuild(context.Background(), nil))
	require.Equal(t, same, b.offered())
}

// A name in a sale is said by its role, and is not taken for a person of the
// machine that the sale is offered to, whose owner is another one.
func TestSharedSalesNameNobody(t *testing.T) {
	b := offering(t)
	named := aSale("v-3", "2026-03-01", "8000", "GBP")
	named.Source, named.Venue = "letter of Ansel Brandt", "the house of Ansel Brandt"
	b.on("vole", named)
	_, err := b.ShareSales(context.Background(), Request{Machine: "vole", Actor: "mechanic"}, "owner", "by letter", true)
	require.NoError(t, err)
	s := b.offered()[0]
	require.Equal(t, "vole/v-3", s.ID)
	require.Equal(t, []string{"letter of the owner", "the house of the owner"}, []string{s.Source, s.Venue})
	q := asked()
	q.Shared = []string{"vole/v-3"}
	says(t, strings.Join(b.value(q).Assumptions, " "), "vole/v-3 (letter of the owner)")
}
