package registry

import (
	"encoding/json"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// FuzzDecide: the bytes choose the commands. Any row of acts, allowed or not,
// agrees with the model, or, with records of every kind and references to
// anything, is answered with a code; see model_test.go.
func FuzzDecide(f *testing.F) {
	for seed := range uint64(8) {
		bytes := make([]byte, 1<<(8+seed))
		_, _ = rand.NewChaCha8([32]byte{byte(seed)}).Read(bytes)
		f.Add(bytes)
	}
	f.Fuzz(rapid.MakeFuzz(func(t *rapid.T) {
		if rapid.Bool().Draw(t, "by the model") {
			againstTheModel(t)
		} else {
			anythingAtAll(t)
		}
	}))
}

// FuzzMoney: an amount that is read is written as it was read and read again as
// the same; what is no amount has a code. Sums do not depend on the order.
func FuzzMoney(f *testing.F) {
	for _, s := range []string{"110", "110.50", "-0.01", "1e3", "9999999999999999999", "0.0000000000000000001", "", ".", "+5", "1,5", "NaN"} {
		f.Add(s, "110.50", "GBP")
	}
	f.Fuzz(func(t *testing.T, amount, other, currency string) {
		m, err := ParseMoney(amount, currency)
		if err != nil {
			require.Equal(t, CodeInvalid, CodeOf(err))
			return
		}
		raw, err := json.Marshal(m)
		require.NoError(t, err)
		var again Money
		require.NoError(t, json.Unmarshal(raw, &again), "%s", raw)
		require.Equal(t, m.Amount, again.Amount)
		require.Equal(t, m.IsZero(), m.Currency == "" && !m.Exceeds(Money{}) && !(Money{}).Exceeds(m))
		require.False(t, m.Exceeds(m))
		o, err := ParseMoney(other, currency)
		if err != nil {
			return
		}
		one, err1 := m.Add(o)
		two, err2 := o.Add(m)
		require.Equal(t, CodeOf(err1), CodeOf(err2))
		if err1 != nil {
			require.Equal(t, CodeInvalid, CodeOf(err1))
			return
		}
		require.Zero(t, one.Amount.Cmp(two.Amount))
		require.False(t, m.Exceeds(o) && o.Exceeds(m))
	})
}
