package access

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"

	"example.org/asfound/registry"
)

// Role is what a person may do where it is granted.
type Role string

// The roles. What each may do is the server's table, and nowhere else.
const (
	Keeper   Role = "keeper"           // of the registry: people, links, everything
	Mechanic Role = "mechanic"         // records surveys, work and checks, asks the owner
	Second   Role = "second-signature" // reads, and signs checks and gates
	Owner    Role = "owner"            // reads; decides by links of their own
	CoOwner  Role = "co-owner"         // as an owner
	Reader   Role = "reader"           // reads the private edition
	// PublicReader reads the public edition alone. It is the role of a link and
	// is granted to no account.
	PublicReader Role = "public-reader"
)

// Roles are the roles that an account or a token may be granted.
func Roles() []Role { return []Role{Keeper, Mechanic, Second, Owner, CoOwner, Reader} }

// Grant gives a role on one machine, or on all.
type Grant struct {
	Role    Role   `json:"role"`
	Machine string `json:"machine,omitempty"` // "" for all
	// Person is whom the account stands for in the records of the machine, by
	// that person's id there; "" for nobody in particular.
	Person string `json:"person,omitempty"`
}

func (g Grant) covers(machine string) bool { return g.Machine == "" || g.Machine == machine }

// String writes a grant as the command line takes it: mechanic, owner@drover,
// mechanic@drover=tamsin.
func (g Grant) String() string {
	out := string(g.Role)
	if g.Machine != "" {
		out += "@" + g.Machine
	}
	if g.Person != "" {
		out += "=" + g.Person
	}
	return out
}

// ParseGrant reads what String writes. CodeInvalid when it cannot be read.
func ParseGrant(text string) (Grant, error) {
	rest, person, named := strings.Cut(text, "=")
	role, machine, one := strings.Cut(rest, "@")
	g := Grant{Role: Role(role), Machine: machine, Person: person}
	if one && machine == "" || named && person == "" {
		return g, badGrant(text)
	}
	return g, g.check()
}

func (g Grant) check() error {
	if !slices.Contains(Roles(), g.Role) || g.Role == Keeper && g.Machine != "" ||
		g.Machine != "" && registry.CheckID("/machine", g.Machine) != nil || g.Person != "" && registry.CheckID("/person", g.Person) != nil {
		return badGrant(g.String())
	}
	return nil
}

func badGrant(text string) error {
	return &registry.Error{Code: registry.CodeInvalid, Message: "The role cannot be granted so", Fix: "Write a role, then @ and a machine, then = and a person of its record, such as owner@drover=owner. A keeper is one of the whole registry.",
		Fields: []registry.Field{{Pointer: "/role", Found: fmt.Sprintf("%.80q", text), Allowed: strings.Join(roleNames(), ", "), Message: "The role cannot be granted so"}}}
}

func roleNames() []string {
	var out []string
	for _, r := range Roles() {
		out = append(out, string(r))
	}
	return out
}

// State is everything that is stored of people. Its JSON is checked by the
// schema people.v1.
type State struct {
	Format   int       `json:"format"` // 1
	Accounts []Account `json:"accounts"`
	Sessions []Session `json:"sessions,omitempty"`
	Invites  []Invite  `json:"invites,omitempty"`
	Tokens   []Token   `json:"tokens,omitempty"`
	Links    []Link    `json:"links,omitempty"`
}

// StateFormat is the version of the stored form.
const StateFormat = 1

// Account is a person who may sign in. A revoked one stays, so that what it did
// can be told and its name is not given away.
type Account struct {
	ID       string    `json:"id"`
	Name     string    `json:"name"` // to sign in with
	Made     time.Time `json:"made"`
	Revoked  time.Time `json:"revoked,omitzero"`
	Password string    `json:"password,omitempty"` // PHC string, "" for none
	Passkeys []Passkey `json:"passkeys,omitempty"`
	Recovery []string  `json:"recovery,omitempty"` // digests of unused codes
	Grants   []Grant   `json:"grants"`
}

// Passkey is a public key of an account. It works under one host name alone.
type Passkey struct {
	ID         string          `json:"id"`
	Label      string          `json:"label"`
	Host       string          `json:"host"`
	Made       time.Time       `json:"made"`
	Used       time.Time       `json:"used,omitzero"`
	Credential json.RawMessage `json:"credential"`
}

// Session is one browser that is signed in.
type Session struct {
	ID      string    `json:"id"`
	Digest  string    `json:"digest"`
	Account string    `json:"account"`
	Made    time.Time `json:"made"`
	Seen    time.Time `json:"seen"` // to within SeenEvery
	Browser string    `json:"browser,omitempty"`
}

// Invite lets somebody make an account, or give theirs a new password, once.
type Invite struct {
	ID      string    `json:"id"`
	Digest  string    `json:"digest"`
	Name    string    `json:"name"`
	Grants  []Grant   `json:"grants,omitempty"`
	Account string    `json:"account,omitempty"` // whose password is made anew
	Made    time.Time `json:"made"`
	Expires time.Time `json:"expires"`
}

// Token lets a program act within one grant.
type Token struct {
	ID      string    `json:"id"`
	Digest  string    `json:"digest"`
	About   string    `json:"about"`
	Grant   Grant     `json:"grant"`
	Made    time.Time `json:"made"`
	Expires time.Time `json:"expires,omitzero"` // zero for never
	Revoked time.Time `json:"revoked,omitzero"`
}

// Link lets whoever holds it read one machine.
type Link struct {
	ID      string    `json:"id"`
	Digest  string    `json:"digest"`
	Machine string    `json:"machine"`
	Public  bool      `json:"public"` // the public edition alone
	About   string    `json:"about"`
	Made    time.Time `json:"made"`
	Expires time.Time `json:"expires"`
	Revoked time.Time `json:"revoked,omitzero"`
}

// Check says what the schema cannot: names and ids are unique, and what is
// pointed at is there. CodeTampered otherwise.
func (s *State) Check() error {
	names, ids := map[string]bool{}, map[string]bool{}
	for _, a := range s.Accounts {
		if names[fold(a.Name)] || ids[a.ID] {
			return registry.Refuse(registry.CodeTampered, "", "Two accounts bear the same name or id")
		}
		names[fold(a.Name)], ids[a.ID] = true, true
		for _, g := range a.Grants {
			if err := g.check(); err != nil {
				return registry.Refuse(registry.CodeTampered, "", "An account is granted what cannot be granted: %s", g.String())
			}
		}
		if a.Password != "" {
			if _, err := parsePHC(a.Password); err != nil {
				return registry.Refuse(registry.CodeTampered, "", "The password of an account is not stored as it must be")
			}
		}
	}
	for _, x := range s.Sessions {
		if !ids[x.Account] {
			return registry.Refuse(registry.CodeTampered, "", "A session is of no account")
		}
	}
	return nil
}

func (s *State) clone() *State {
	raw, err := json.Marshal(s)
	out := &State{}
	if err == nil {
		err = json.Unmarshal(raw, out)
	}
	if err != nil {
		panic("access: the people cannot be copied: " + err.Error())
	}
	return out
}

func (s *State) byID(id string) *Account {
	i := slices.IndexFunc(s.Accounts, func(a Account) bool { return a.ID == id })
	if i < 0 {
		return nil
	}
	return &s.Accounts[i]
}

// Named finds an account by its name, or gives nil. Case does not count.
func (s *State) Named(name string) *Account {
	name = fold(name)
	i := slices.IndexFunc(s.Accounts, func(a Account) bool { return fold(a.Name) == name })
	if i < 0 {
		return nil
	}
	return &s.Accounts[i]
}

// fold makes names alike that look alike.
func fold(name string) string {
	// Some characters are taken apart into a space and a mark: only then is it seen.
	// The letters of Cherokee are folded to capitals, and those to small letters.
	return strings.TrimSpace(norm.NFKC.String(strings.ToLower(cases.Fold().String(norm.NFKC.String(name)))))
}

// maxName is how many characters a name may have.
const maxName = 60

func checkName(name string) (string, error) {
	name = norm.NFC.String(strings.Join(strings.Fields(name), " "))
	n := len([]rune(name))
	if n == 0 || n > maxName || !utf8.ValidString(name) || strings.ContainsFunc(name, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		return "", field("/name", fmt.Sprintf("%.20q", name), "The name cannot be used", "Give one of 1 to 60 characters.")
	}
	return name, nil
}

func field(pointer, found, message, fix string) error {
	return &registry.Error{Code: registry.CodeInvalid, Message: message, Fix: fix, Fields: []registry.Field{{Pointer: pointer, Found: found, Message: message, Fix: fix}}}
}

// Store keeps the people. Read gives what stands, which must not be changed.
// Update runs fn on a copy and stores it, all or nothing, one at a time.
type Store interface {
	Read() (*State, error)
	Update(fn func(*State) error) error
}

// Edit runs fn on a copy of a state and checks what comes out: what a Store's
// Update does between reading and writing.
func Edit(old *State, fn func(*State) error) (*State, error) {
	next := old.clone()
	next.Format = StateFormat
	if next.Accounts == nil {
		next.Accounts = []Account{}
	}
	if err := fn(next); err != nil {
		return nil, err
	}
	return next, next.Check()
}
