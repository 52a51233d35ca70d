package registry

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
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

// FuzzEvent: what the quick way reads of an event with a body that can be read,
// the slow way reads as the same. Stored events of every fixture are the seeds,
// and all of them go the quick way.
func FuzzEvent(f *testing.F) {
	files, err := filepath.Glob(filepath.Join(ledgers, "v1*", "events.jsonl"))
	require.NoError(f, err)
	require.NotEmpty(f, files)
	for _, name := range files {
		data, err := os.ReadFile(name)
		require.NoError(f, err)
		for event := range bytes.Lines(data) {
			event = bytes.TrimSuffix(event, []byte("\n"))
			_, ok := quickEnvelope(event)
			require.True(f, ok, "%s", event)
			f.Add(event)
		}
	}
	f.Add([]byte(`{"actor":"a","body":{"id":"x"},"x":{},"format":1,"id":"e","kind":"person","machine":"m","previous":"","recorded":"2026-03-09T09:00:00Z","schema":1,"version":1}`))
	for _, id := range []string{`e"`, `e\u0041"`, `é"`} {
		f.Add([]byte(`{"actor":"a","body":{},"format":1,"id":"` + id + `,"kind":"person","machine":"m","previous":"","recorded":"2026-03-09T09:00:00Z","schema":1,"version":1}`))
	}
	f.Add([]byte(`{"actor":"a","body":{},"format":1,"id":"e","kind":"person","machine":"m","previous":"","recorded":"2026-03-09T09:00:00Z","schema":01,"version":1}`))
	f.Fuzz(func(t *testing.T, event []byte) {
		quick, ok := quickEnvelope(event)
		if !ok {
			return
		}
		body, err := DecodeBody(quick.Kind, quick.Schema, quick.Body)
		if err != nil {
			return
		}
		slow, err := DecodeEvent(event)
		require.NoError(t, err)
		require.Equal(t, slow, quick)
		again, err := DecodeBody(slow.Kind, slow.Schema, slow.Body)
		require.NoError(t, err)
		require.Equal(t, again, body)
	})
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
