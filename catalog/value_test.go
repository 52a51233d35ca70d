package catalog_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
)

// The prior of the worked example of docs/value.md.
func TestValueAssumptions(t *testing.T) {
	c := load(t)
	for id, want := range map[string][2]float64{
		"originality": {.90, .45}, "condition": {.16, .08}, "distance": {-.06, .06}, "tier": {.30, .20}, "originality-condition": {.15, .20},
		"residual": {.22, 0}, "residual-shape": {3, 0}, "make-spread": {.25, 0}, "level-gbp": {4500, .50},
	} {
		v, ok := c.ValueAssumption(id)
		require.True(t, ok, id)
		assert.Equal(t, want, [2]float64{v.Value, v.SD}, id)
		assert.NotEmpty(t, v.Sentence())
	}
	assert.Equal(t, []string{"GBP"}, c.PriceCurrencies())
	_, ok := c.PriceLevel("EUR")
	assert.False(t, ok)
}

func TestPackOfPrices(t *testing.T) {
	c := load(t, pack("prices.json", rows("value", `{"id":"originality","value":1.1,"source":"Sales of the register, 2026"},
		{"id":"level-eur","title":"a single","currency":"EUR","value":5200,"sd":0.4,"unit":"EUR"}`)))
	v, ok := c.ValueAssumption(catalog.ValueOriginality)
	require.True(t, ok)
	assert.Equal(t, 1.1, v.Value)
	assert.Equal(t, .45, v.SD, "what is not given stays")
	assert.Equal(t, "By Sales of the register, 2026: what originality does to the price.", v.Sentence())
	v, ok = c.PriceLevel("EUR")
	require.True(t, ok)
	assert.Equal(t, 5200.0, v.Value)
	for _, bad := range []string{
		`{"id":"colour","title":"red sells","value":1,"unit":"1"}`,
		`{"id":"level-eur","title":"a single","currency":"USD","value":1,"sd":1,"unit":"1"}`,
		`{"id":"level-eur","title":"a single","currency":"EUR","value":-1,"sd":1,"unit":"1"}`,
		`{"id":"originality","sd":0}`, `{"id":"residual","sd":0.1}`, `{"id":"surface-share","value":1.5}`, `{"id":"tier","currency":"GBP"}`,
		`{"id":"tier","value":"much"}`, `{"id":"tier","sd":-1}`,
	} {
		_, err := catalog.Load(pack("prices.json", rows("value", bad)))
		require.Error(t, err, bad)
	}
}
