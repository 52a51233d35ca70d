package schema_test

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"
	"time"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// pattern gives the pattern and greatest length of a shared definition.
func pattern(t testing.TB, name string) func(string) bool {
	t.Helper()
	definition := document(t, "common.v1.schema.json")["$defs"].(map[string]any)[name].(map[string]any)
	re := regexp.MustCompile(definition["pattern"].(string))
	limit := int64(1 << 30)
	if n, ok := definition["maxLength"].(json.Number); ok {
		limit, _ = n.Int64()
	}
	return func(s string) bool { return re.MatchString(s) && int64(len([]rune(s))) <= limit }
}

// Ensure that the schema takes the identifiers that the registry takes.
func TestIdentifiersAgree(t *testing.T) {
	matches := pattern(t, "id")
	for _, id := range []string{"a", "a.", "a..b", ".a", "-a", "a-", "a_.b", "a.-b", "A", "", "ä", "a b", strings.Repeat("a", 64), strings.Repeat("a", 65), "a\n"} {
		require.Equal(t, registry.CheckID("", id) == nil, matches(id), "%q", id)
	}
	rapid.Check(t, func(t *rapid.T) {
		id := rapid.StringMatching(`[ab0._A-]{0,8}`).Draw(t, "id")
		if (registry.CheckID("", id) == nil) != matches(id) {
			t.Fatalf("%q: the registry and the schema disagree", id)
		}
	})
}

// Ensure that the schema takes every date that the registry takes, and refuses
// what it refuses but for what needs a calendar: the leap day and spans that
// end before they begin.
func TestDatesAgree(t *testing.T) {
	matches := pattern(t, "date")
	agree := func(t interface{ Fatalf(string, ...any) }, d string) {
		_, err := registry.Date(d).Span()
		needsCalendar := err != nil && (err.Error() == "The span ends before it begins" || strings.Contains(d, "02-29"))
		if (err == nil) != matches(d) && !needsCalendar {
			t.Fatalf("%q: the registry says %v, the schema %v", d, err, matches(d))
		}
	}
	for _, d := range []string{"1957", "1957-06", "1957-06-14", "195X", "19XX", "1XXX", "XXXX", "X957", "19X7", "1957~", "1957?", "1957%", "1957~?", "1957-06/1957-09", "1988/..", "../1988",
		"../..", "", "/", "1957/", "/1957", "0000", "0001", "000X", "1957-13", "1957-00", "1957-6", "1957-06-31", "1957-02-30", "1956-02-29", "1957-02-29", "195X-06", "1957-06-14T10:00", "57", "1957/1958/1959", "1957~/1959?", "19570614", "1957-06-00", "..", "../", " 1957", "1957\n"} {
		agree(t, d)
	}
	rapid.Check(t, func(t *rapid.T) {
		agree(t, rapid.StringMatching(`(19|0|X|5|-|06|1|02|30|~|\?|/|\.\.){0,9}`).Draw(t, "d"))
	})
	rapid.Check(t, func(t *rapid.T) {
		point := `([0-9]{4}|[0-9]{1,3}X{1,3})(-[01][0-9](-[0-3][0-9])?)?[~?%]?`
		agree(t, rapid.StringMatching(point+`(/(`+point+`|\.\.))?`).Draw(t, "d"))
	})
}

// Ensure that every moment that Go writes passes, and what passes Go reads,
// but for the leap day.
func TestMomentsAgree(t *testing.T) {
	matches, inUTC := pattern(t, "timestamp"), pattern(t, "utcTimestamp")
	rapid.Check(t, func(t *rapid.T) {
		at := time.Unix(rapid.Int64Range(-62135596800, 253402300799).Draw(t, "seconds"), rapid.Int64Range(0, 999999999).Draw(t, "ns"))
		zone := time.FixedZone("", 60*rapid.IntRange(-12*60, 12*60).Draw(t, "minutes"))
		utc := at.UTC().Format(time.RFC3339Nano)
		if local := at.In(zone); local.Year() > 0 && local.Year() < 10000 && !matches(local.Format(time.RFC3339Nano)) || !inUTC(utc) {
			t.Fatalf("%s is refused", local.Format(time.RFC3339Nano))
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`20[0-9]{2}-[01][0-9]-[0-3][0-9]T[0-2][0-9]:[0-6][0-9]:[0-6][0-9](\.[0-9]{0,9})?(Z|[+-][0-2][0-9]:[0-6][0-9])?`).Draw(t, "s")
		if !matches(s) {
			return
		}
		raw, _ := json.Marshal(s)
		var at time.Time
		if err := json.Unmarshal(raw, &at); err != nil && !strings.Contains(s, "02-29") {
			t.Fatalf("%s: %v", s, err)
		}
	})
}

// Ensure that digests are those of the registry.
func TestDigestsAgree(t *testing.T) {
	matches := pattern(t, "digest")
	good := "sha256:" + strings.Repeat("0f", 32)
	for _, d := range []string{good, good[:70], good + "0", strings.ToUpper(good), "sha512" + good[6:], "", good[:70] + "g", good + "\n"} {
		require.Equal(t, registry.CheckDigest(d), matches(d), "%q", d)
	}
}

// Ensure that an amount that passes is read, keeps its value, and passes again
// as it is stored.
func TestAmountsSurvive(t *testing.T) {
	matches, s := pattern(t, "amount"), set(t)
	sale := func(amount string) []byte {
		return []byte(`{"valid":"1999","source":"a list","price_kind":"hammer","make":"a","model":"b","price":{"currency":"GBP","amount":` + amount + `}}`)
	}
	rapid.Check(t, func(t *rapid.T) {
		amount := rapid.StringMatching(`[0-9]{0,17}(\.[0-9]{0,6}0{0,20})?(e-?[0-9]{1,2})?`).Draw(t, "amount")
		if matches(amount) {
			if _, err := registry.ParseMoney(amount, "GBP"); err != nil {
				t.Fatalf("%q: %v", amount, err)
			}
		}
		for _, given := range []string{amount, `"` + amount + `"`} {
			if s.Validate("comparable-sale", 1, sale(given)) != nil {
				continue
			}
			body, err := registry.DecodeBody("comparable-sale", 1, sale(given))
			if err != nil {
				t.Fatalf("%s: %v", given, err)
			}
			registry.SetID(body, "sale-1")
			stored, err := registry.CanonicalJSON(body)
			if err != nil {
				t.Fatalf("%s: %v", given, err)
			}
			if err := s.Validate("comparable-sale", 1, stored); err != nil {
				t.Fatalf("%s is stored as %s: %v", given, stored, err)
			}
		}
	})
	for _, refused := range []string{"-1", "1e400", "0.00001", `"1e3"`, `"1 000"`, `" 1"`, `"+1"`, "1000000000000000", `"` + strings.Repeat("1", 16) + `"`, "true", "null"} {
		require.Error(t, s.Validate("comparable-sale", 1, sale(refused)), refused)
	}
}
