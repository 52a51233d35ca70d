package access

import (
	"encoding/base64"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// FuzzPeople: a list of people that is read is written and read as the same,
// and every grant and password in it can be used; anything else is tampered
// with, and the refusal shows nothing of it.
func FuzzPeople(f *testing.F) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	id := func(kind string) string { return kind + "-" + strings.Repeat("a", 16) }
	digest := strings.Repeat("0", 64)
	whole := &State{Format: StateFormat, Accounts: []Account{{ID: id("account"), Name: "Tamsin", Made: at, Password: nobody.String(), Recovery: []string{digest},
		Grants: []Grant{{Role: Keeper}, {Role: Mechanic, Machine: "drover", Person: "tamsin"}}}},
		Sessions: []Session{{ID: id("session"), Digest: digest, Account: id("account"), Made: at, Seen: at}},
		Invites:  []Invite{{ID: id("invite"), Digest: digest, Name: "Imogen", Made: at, Expires: at}},
		Tokens:   []Token{{ID: id("token"), Digest: digest, About: "calendar", Grant: Grant{Role: Reader}, Made: at}},
		Links:    []Link{{ID: id("link"), Digest: digest, Machine: "drover", Public: true, About: "a buyer", Made: at, Expires: at}}}
	raw, err := Encode(whole)
	require.NoError(f, err)
	f.Add(raw)
	f.Add([]byte(strings.Replace(string(raw), `"name"`, `"NAME"`, 1)))
	f.Add([]byte(strings.Replace(string(raw), "m=19456", "m=99999999999", 1)))
	f.Add([]byte(`{"format":1,"accounts":[]}`))
	f.Add([]byte(`{"format":1,"accounts":null}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := Decode(data)
		if err != nil {
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
			return
		}
		for _, a := range s.Accounts {
			require.NotNil(t, s.Named(a.Name))
			for _, g := range a.Grants {
				again, err := ParseGrant(g.String())
				require.NoError(t, err)
				require.Equal(t, g, again)
			}
		}
		raw, err := Encode(s)
		require.NoError(t, err)
		again, err := Decode(raw)
		require.NoError(t, err)
		rewritten, err := Encode(again)
		require.NoError(t, err)
		require.Equal(t, string(raw), string(rewritten))
	})
}

// FuzzTyped: a grant is written as it was read; a stored password that is read
// costs no less than a new one and no more than a machine bears.
func FuzzTyped(f *testing.F) {
	for _, s := range []string{"keeper", "owner@drover=owner", "mechanic@drover", "keeper@drover", "mechanic@=x", "=", "", nobody.String(),
		"$argon2id$v=19$m=19456,t=2,p=1$" + base64.RawStdEncoding.EncodeToString(make([]byte, 16)) + "$AA", "$argon2id$v=19$m=-1,t=2,p=1$$", strings.Replace(nobody.String(), "m=19456", "m=8", 1), strings.Replace(nobody.String(), "m=19456", "m=2000000", 1), fmt.Sprintf("Zoë  %c", 0), "\u13d8", "\uaba8", "\xf2\u03f2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if g, err := ParseGrant(text); err == nil {
			require.Equal(t, text, g.String())
			require.Contains(t, Roles(), g.Role)
		} else {
			require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
		}
		if p, err := parsePHC(text); err == nil {
			require.GreaterOrEqual(t, p.memory, uint32(argonMemory))
			require.LessOrEqual(t, p.memory, uint32(1<<20))
			again, err := parsePHC(p.String())
			require.NoError(t, err)
			require.Equal(t, p, again)
		}
		if name, err := checkName(text); err == nil {
			again, err := checkName(name)
			require.NoError(t, err)
			require.Equal(t, name, again)
			require.Equal(t, fold(name), fold(fold(name)), "what is folded stays as it is")
		} else {
			require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
		}
	})
}
