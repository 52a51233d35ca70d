package access

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/argon2"

	"example.org/asfound/registry"
)

var ctx = context.Background()

const good = "wooden mallet under a lamp"

type clock struct{ at time.Time }

func (c *clock) now() time.Time       { return c.at }
func (c *clock) pass(d time.Duration) { c.at = c.at.Add(d) }
func refused(t *testing.T, err error, code registry.Code) {
	t.Helper()
	require.Equal(t, code, registry.CodeOf(err), "%v", err)
}

func newBook(t *testing.T) (*Book, *clock) {
	t.Helper()
	c := &clock{time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)}
	return &Book{Store: &Memory{}, Now: c.now, Random: rand.Reader, Required: true}, c
}

// kept is a book with a keeper of the name "Keeper of keys".
func kept(t *testing.T) (*Book, *clock) {
	t.Helper()
	b, c := newBook(t)
	code, err := b.OpenSetUp()
	require.NoError(t, err)
	_, err = b.SetUp(ctx, code, "Keeper of keys", good, "a browser")
	require.NoError(t, err)
	return b, c
}

// TestArgon2 holds the library against a value computed independently: the
// command line tool of the reference implementation (argon2, version 1.3,
// "-id") for password "password", salt "somesalt", t=2, m=2^16 KiB, p=1, as
// printed in that implementation's own test.c. (The vector of RFC 9106, section
// 5.3, has a secret and associated data, which the library does not take.)
func TestArgon2(t *testing.T) {
	got := argon2.IDKey([]byte("password"), []byte("somesalt"), 2, 65536, 1, 32)
	require.Equal(t, "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7", hex.EncodeToString(got))
}

func TestPasswordsAreStoredAsPHC(t *testing.T) {
	text, err := hashPassword(ctx, rand.Reader, good)
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(text, "$argon2id$v=19$m=19456,t=2,p=1$"), text)
	for password, want := range map[string]bool{good: true, good + " ": false, "": false, strings.ToUpper(good): false} {
		ok, err := matches(ctx, text, password)
		require.NoError(t, err)
		require.Equal(t, want, ok, password)
	}
	for _, bad := range []string{"", "x", strings.Replace(text, "19456", "19455", 1), strings.Replace(text, "19456", "99999999", 1), strings.Replace(text, "argon2id", "argon2i", 1), strings.Replace(text, "v=19", "v=16", 1), text + "$"} {
		_, err := parsePHC(bad)
		require.Error(t, err, bad)
		ok, err := matches(ctx, bad, good)
		require.NoError(t, err)
		require.False(t, ok)
	}
	// The same letters, composed and not (Unicode NFC): one person, two keyboards.
	text, err = hashPassword(ctx, rand.Reader, "sch\u00f6ne gro\u00dfe werkbank")
	require.NoError(t, err)
	ok, err := matches(ctx, text, "scho\u0308ne gro\u00dfe werkbank")
	require.NoError(t, err)
	require.True(t, ok)
}

func TestWhichPasswordsAreTaken(t *testing.T) {
	for password, ok := range map[string]bool{
		good: true, strings.Repeat("ab c", 64): false, strings.Repeat("x y-z!q7", 8) + "w": true, "kurz": false, "1234567": false, "passwort": false,
		"password2024!": false, "Sunshine1": false, "aaaaaaaaaaaa": false, "abcdefghij": false, "98765432": false, "xyxyxyxyxy": false, "Tamsin Vale 1": false,
		"qr7!kd9w": true, "öäüßöäü1": true, strings.Repeat("langer satz ", 25): false} {
		err := checkPassword(password, "Tamsin Vale")
		require.Equal(t, ok, err == nil, "%q: %v", password, err)
	}
}

func TestSetUpWorksOnce(t *testing.T) {
	b, _ := newBook(t)
	require.True(t, b.NeedsSetUp())
	first, err := b.OpenSetUp()
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(plain(first))*5, 112, "bits")
	code, err := b.OpenSetUp() // a new start ends the code before
	require.NoError(t, err)
	for _, wrong := range []string{"", first, code[1:]} {
		_, err = b.SetUp(ctx, wrong, "Keeper", good, "")
		refused(t, err, registry.CodeInvalid)
	}
	_, err = b.SetUp(ctx, strings.ToUpper(strings.ReplaceAll(code, "-", " ")), "Keeper", good, "")
	require.NoError(t, err, "as people type it")
	_, err = b.SetUp(ctx, code, "Second", good, "")
	require.Error(t, err)
	require.False(t, b.NeedsSetUp())
	none, err := b.OpenSetUp()
	require.NoError(t, err)
	require.Empty(t, none)
}

func TestOffUntilThereIsAnAccount(t *testing.T) {
	b, _ := newBook(t)
	b.Required = false
	on, err := b.On()
	require.NoError(t, err)
	require.False(t, on)
	early, err := b.Invite("Early", []Grant{{Role: Mechanic}})
	require.NoError(t, err)
	_, err = b.Join(ctx, early, good, "")
	refused(t, err, registry.CodeRefused) // nobody could let anybody else in
	secret, err := b.Invite("Tamsin", []Grant{{Role: Keeper}})
	require.NoError(t, err)
	_, err = b.Join(ctx, secret, good, "")
	require.NoError(t, err)
	on, err = b.On()
	require.NoError(t, err)
	require.True(t, on)
	_, err = b.Join(ctx, early, good, "")
	require.NoError(t, err)
}

func TestSessionsEnd(t *testing.T) {
	b, c := kept(t)
	sign := func() string {
		secret, err := b.SignIn(ctx, "keeper OF keys", good, "192.0.2.7", "b")
		require.NoError(t, err)
		return secret
	}
	alive := func(secret string) bool {
		who, err := b.Recognise(secret)
		require.NoError(t, err)
		return who != nil
	}
	a, other := sign(), sign()
	require.NotEqual(t, a, other)
	require.True(t, alive(a))
	require.False(t, alive("guessed"))
	// Used every hour, it lasts; the idle limit is 24 h and the absolute one 30 days.
	for range 29*24 + 23 {
		c.pass(time.Hour)
		require.True(t, alive(a))
	}
	require.False(t, alive(other), "idle")
	c.pass(time.Hour)
	require.False(t, alive(a), "30 days")

	a, other = sign(), sign()
	who, err := b.Recognise(a)
	require.NoError(t, err)
	c.pass(SessionIdle - time.Second)
	require.True(t, alive(a))
	require.True(t, alive(other))
	require.NoError(t, b.EndSession("account-of-another", who.Session))
	require.True(t, alive(a), "only one's own")
	require.NoError(t, b.EndSession(who.Account, who.Session))
	require.False(t, alive(a))
	list, err := b.SessionsOf(who.Account)
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.NoError(t, b.ChangePassword(ctx, &Who{Account: who.Account, Name: who.Name, Session: list[0].ID}, good, good+" again", "x"))
	require.True(t, alive(other), "the one that it was changed from")
}

func TestNothingSecretIsStored(t *testing.T) {
	b, c := kept(t)
	session, err := b.SignIn(ctx, "Keeper of keys", good, "x", "")
	require.NoError(t, err)
	who, err := b.Recognise(session)
	require.NoError(t, err)
	codes, err := b.NewRecoveryCodes(ctx, who, good, "x")
	require.NoError(t, err)
	require.Len(t, codes, RecoveryCodes)
	invite, err := b.Invite("Tamsin", []Grant{{Role: Mechanic}})
	require.NoError(t, err)
	token, err := b.NewToken("bench", Grant{Role: Reader}, 0)
	require.NoError(t, err)
	link, err := b.NewLink("drover", "a buyer", true, c.at.Add(time.Hour))
	require.NoError(t, err)
	s, err := b.Store.Read()
	require.NoError(t, err)
	raw, err := Encode(s)
	require.NoError(t, err)
	for _, secret := range []string{good, session, plain(codes[0]), invite, token, link} {
		require.NotContains(t, string(raw), secret)
	}
	again, err := Decode(raw)
	require.NoError(t, err)
	require.Equal(t, s, again)
	// Every single damaged byte that changes a digest's shape or a name is told
	// or harmless; a cut file is always told.
	for n := range len(raw) - 2 {
		_, err := Decode(raw[:n])
		refused(t, err, registry.CodeTampered)
	}
	_, err = Decode(bytes.Replace(raw, []byte(`"keeper"`), []byte(`"emperor"`), 1))
	refused(t, err, registry.CodeTampered)
	_, err = Decode(bytes.Replace(raw, []byte(`"format"`), []byte(`"extra": 1, "format"`), 1))
	refused(t, err, registry.CodeTampered)
}

func TestRecoveryCodesWorkOnce(t *testing.T) {
	b, _ := kept(t)
	s, err := b.SignIn(ctx, "Keeper of keys", good, "x", "")
	require.NoError(t, err)
	who, err := b.Recognise(s)
	require.NoError(t, err)
	_, err = b.NewRecoveryCodes(ctx, who, "wrong", "x")
	refused(t, err, registry.CodeInvalid)
	codes, err := b.NewRecoveryCodes(ctx, who, good, "x")
	require.NoError(t, err)
	_, err = b.SignIn(ctx, "Keeper of keys", " "+strings.ToUpper(codes[3])+" ", "x", "")
	require.NoError(t, err)
	_, err = b.SignIn(ctx, "Keeper of keys", codes[3], "x", "")
	refused(t, err, CodeWrong)
	_, err = b.SignIn(ctx, "Keeper of keys", codes[4], "x", "")
	require.NoError(t, err)
}

func TestTheSameAnswerForUnknownNames(t *testing.T) {
	b, _ := kept(t)
	_, wrong := b.SignIn(ctx, "Keeper of keys", "not it at all", "1", "")
	_, unknown := b.SignIn(ctx, "Somebody else", "not it at all", "2", "")
	refused(t, wrong, CodeWrong)
	require.Equal(t, wrong, unknown)
	// Both hash once: what is checked for nobody costs what a password costs.
	stored, err := hashPassword(ctx, rand.Reader, good)
	require.NoError(t, err)
	p, err := parsePHC(stored)
	require.NoError(t, err)
	require.Equal(t, [3]uint32{nobody.memory, nobody.time, uint32(nobody.lanes)}, [3]uint32{p.memory, p.time, uint32(p.lanes)})
}

func TestThrottle(t *testing.T) {
	b, c := kept(t)
	try := func(name, password, from string) error {
		_, err := b.SignIn(ctx, name, password, from, "")
		return err
	}
	require.NoError(t, try("Keeper of keys", good, "home"))
	for range freePair {
		refused(t, try("Keeper of keys", "wrong", "attic"), CodeWrong)
	}
	err := try("Keeper of keys", good, "attic")
	refused(t, err, CodeTooMany)
	var wait *TooMany
	require.ErrorAs(t, err, &wait)
	require.Equal(t, 2, wait.Seconds())
	require.NoError(t, try("Keeper of keys", good, "home"), "nobody is locked out by another's guesses")
	c.pass(2 * time.Second)
	refused(t, try("Keeper of keys", "wrong", "attic"), CodeWrong)
	refused(t, try("Keeper of keys", good, "attic"), CodeTooMany)
	c.pass(4 * time.Second) // twice as long each time
	require.NoError(t, try("Keeper of keys", good, "attic"))
	require.NoError(t, try("Keeper of keys", good, "attic"))
	require.Equal(t, longestWait, waitAfter(40))
	// Many names from one address; one name from many addresses.
	for i := range freeAddress {
		b.throttle.begin(fmt.Sprint("name", i), "cellar", c.at)
	}
	refused(t, b.throttle.begin("another", "cellar", c.at), CodeTooMany)
	require.NoError(t, b.throttle.begin("tamsin", "home", c.at))
	b.throttle.success("tamsin", "home", c.at)
	for i := range freeName {
		require.NoError(t, b.throttle.begin("tamsin", fmt.Sprint("bot", i), c.at))
	}
	refused(t, b.throttle.begin("tamsin", "bot x", c.at), CodeTooMany)
	require.NoError(t, b.throttle.begin("tamsin", "home", c.at))
}

func TestInvitations(t *testing.T) {
	b, c := kept(t)
	_, err := b.Invite("KEEPER OF KEYS", []Grant{{Role: Reader}})
	refused(t, err, registry.CodeInvalid)
	_, err = b.Invite("Tamsin", nil)
	refused(t, err, registry.CodeInvalid)
	first, err := b.Invite("Tamsin", []Grant{{Role: Mechanic, Person: "tamsin"}})
	require.NoError(t, err)
	secret, err := b.Invite("Tamsin", []Grant{{Role: Mechanic, Machine: "drover", Person: "tamsin"}})
	require.NoError(t, err)
	_, err = b.Join(ctx, first, good, "")
	refused(t, err, registry.CodeExpired)
	_, err = b.Join(ctx, secret, "password", "")
	refused(t, err, registry.CodeInvalid)
	_, err = b.Invited(secret)
	require.NoError(t, err, "looking, and a mistake, use nothing up")
	session, err := b.Join(ctx, secret, good, "")
	require.NoError(t, err)
	_, err = b.Join(ctx, secret, good, "")
	refused(t, err, registry.CodeExpired)
	who, err := b.Recognise(session)
	require.NoError(t, err)
	require.True(t, who.Has("drover", Mechanic))
	require.False(t, who.Has("other", Mechanic))
	require.False(t, who.Has("", Mechanic))
	require.True(t, who.HasAnywhere(Mechanic))
	require.Equal(t, []string{"tamsin"}, who.Persons("drover"))
	require.Empty(t, who.Persons("other"))

	late, err := b.Invite("Late", []Grant{{Role: Reader}})
	require.NoError(t, err)
	c.pass(InviteFor)
	_, err = b.Join(ctx, late, good, "")
	refused(t, err, registry.CodeExpired)

	again, err := b.Reset("tamsin")
	require.NoError(t, err)
	session, err = b.SignIn(ctx, "Tamsin", good, "x", "")
	require.NoError(t, err)
	_, err = b.Join(ctx, again, good+" too", "")
	require.NoError(t, err)
	who, err = b.Recognise(session)
	require.NoError(t, err)
	require.Nil(t, who, "a reset ends the sessions")

	require.NoError(t, b.Revoke("Tamsin"))
	_, err = b.SignIn(ctx, "Tamsin", good+" too", "x", "")
	refused(t, err, CodeWrong)
	_, err = b.Invite("Tamsin", []Grant{{Role: Reader}})
	refused(t, err, registry.CodeInvalid)
	refused(t, b.Revoke("Keeper of keys"), registry.CodeRefused)
	refused(t, b.Regrant("Keeper of keys", []Grant{{Role: Reader}}), registry.CodeRefused)
}

func TestTokensAndLinks(t *testing.T) {
	b, c := kept(t)
	token, err := b.NewToken("bench", Grant{Role: Mechanic, Machine: "drover"}, time.Hour)
	require.NoError(t, err)
	link, err := b.NewLink("drover", "a buyer", true, c.at.Add(time.Hour))
	require.NoError(t, err)
	who, err := b.RecogniseToken(token)
	require.NoError(t, err)
	require.True(t, who.Has("drover", Mechanic))
	reader, l, err := b.RecogniseLink(link)
	require.NoError(t, err)
	require.True(t, reader.Has("drover", PublicReader))
	require.False(t, reader.HasAnywhere(Roles()...))
	for _, crossed := range []func() (*Who, error){func() (*Who, error) { return b.RecogniseToken(link) }, func() (*Who, error) { return b.Recognise(token) },
		func() (*Who, error) { w, _, err := b.RecogniseLink(token); return w, err }} {
		who, err := crossed()
		require.NoError(t, err)
		require.Nil(t, who)
	}
	require.NoError(t, b.Withdraw(l.ID))
	reader, _, err = b.RecogniseLink(link)
	require.NoError(t, err)
	require.Nil(t, reader)
	refused(t, b.Withdraw(l.ID), registry.CodeNotFound)
	c.pass(time.Hour)
	who, err = b.RecogniseToken(token)
	require.NoError(t, err)
	require.Nil(t, who)
	_, err = b.NewLink("drover", "late", true, c.at)
	refused(t, err, registry.CodeInvalid)
}

func TestGrantsAreReadAsWritten(t *testing.T) {
	for _, text := range []string{"keeper", "mechanic", "mechanic=tamsin", "owner@drover-1957=owner", "reader@drover-1957"} {
		g, err := ParseGrant(text)
		require.NoError(t, err, text)
		require.Equal(t, text, g.String())
	}
	for _, text := range []string{"", "king", "keeper@drover", "owner@", "owner=", "public-reader@drover", "owner@../x", "owner@a=B c"} {
		_, err := ParseGrant(text)
		refused(t, err, registry.CodeInvalid)
	}
}

// TestCaseOfANameDoesNotCount, by every case pair of the Unicode standard as the
// standard library has them (but for the dotless i, which is another letter).
func TestCaseOfANameDoesNotCount(t *testing.T) {
	for r := range unicode.MaxRune {
		if alike := unicode.SimpleFold(r); r != 'ı' && r != 'İ' && alike != r {
			require.Equal(t, fold(string(r)), fold(string(alike)), "%U and %U", r, alike)
		}
	}
	require.Equal(t, fold("Strasse"), fold("STRAẞE"))
}
