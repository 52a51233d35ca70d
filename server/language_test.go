package server

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/language"
)

func TestEveryLanguageParses(t *testing.T) {
	for _, l := range language.All() {
		pages, err := parsePages(l)
		require.NoError(t, err, l.Name)
		for name, parsed := range pages {
			_, err := parsed()
			require.NoError(t, err, "%s, %s", l.Name, name)
		}
	}
}

func TestLanguageOf(t *testing.T) {
	for _, c := range []struct{ cookie, accept, want string }{
		{"", "", "en-GB"}, {"", "de-AT,de;q=0.9,en;q=0.5", "de"}, {"", "fr", "en-GB"}, {"", "en-US,de;q=0.3", "en-GB"}, {"", "rubbish;;;", "en-GB"},
		{"de", "en", "de"}, {"en-GB", "de", "en-GB"}, {"xx", "de", "de"},
	} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.Header.Set("Accept-Language", c.accept)
		if c.cookie != "" {
			r.AddCookie(&http.Cookie{Name: languageCookie, Value: c.cookie})
		}
		assert.Equal(t, c.want, languageOf(r).Tag, "%+v", c)
	}
}

func TestSayIn(t *testing.T) {
	five, none := 5, (*int)(nil)
	word := "clutch"
	for _, c := range []struct{ v, want any }{{&five, &five}, {none, ""}, {word, "clutch"}, {&word, "clutch"}, {0.5, "0.5"}, {7, 7}, {nil, nil}} {
		assert.Equal(t, c.want, sayIn(language.English, c.v))
	}
}

// TestFilledInComesBack: what a German form holds at first is read when it is
// sent as it stands.
func TestFilledInComesBack(t *testing.T) {
	for _, v := range []string{"1.125", "0.125", "12.5", "1234.567", "-3.250", "7"} {
		s, err := pointed(commaFilledIn(v), true)
		require.NoError(t, err, v)
		assert.Equal(t, v, s)
	}
}
