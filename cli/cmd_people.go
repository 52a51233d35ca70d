package cli

import (
	"fmt"
	"io"
	"strings"
	"time"

	"example.org/asfound/access"
	"example.org/asfound/registry"
)

type peopleCommand struct {
	List   peopleListCommand   `cmd:"" default:"1" help:"list the accounts, invitations, tokens and reading links"`
	Add    peopleAddCommand    `cmd:"" help:"invite a person; prints a link that works once"`
	Roles  peopleRolesCommand  `cmd:"" help:"give a person other roles"`
	Revoke peopleRevokeCommand `cmd:"" help:"take everything from a person at once; or withdraw a token or a reading link by its id"`
	Reset  peopleResetCommand  `cmd:"" help:"give a person a new way in; prints a link that works once"`
	Token  peopleTokenCommand  `cmd:"" help:"make a token for a program, within one role"`
}

type peopleListCommand struct{}

// peopleList is what may be told of the accounts: no digest is in it.
type peopleList struct {
	Accounts []personLine `json:"accounts"`
	Invites  []inviteLine `json:"invites,omitempty"`
	Others   []otherLine  `json:"others,omitempty"` // tokens and reading links
}

type personLine struct {
	ID       string    `json:"id"`
	Name     string    `json:"name"`
	Roles    []string  `json:"roles"`
	Password bool      `json:"password"`
	Passkeys int       `json:"passkeys"`
	Made     time.Time `json:"made"`
	Revoked  time.Time `json:"revoked,omitzero"`
}

type inviteLine struct {
	Name    string    `json:"name"`
	Expires time.Time `json:"expires"`
}

type otherLine struct {
	ID      string    `json:"id"`
	About   string    `json:"about"`
	For     string    `json:"for"`
	Expires time.Time `json:"expires,omitzero"`
	Revoked time.Time `json:"revoked,omitzero"`
}

func rolesOf(grants []access.Grant) []string {
	out := []string{}
	for _, g := range grants {
		out = append(out, g.String())
	}
	return out
}

// Run lists the people.
func (peopleListCommand) Run(c *call) error {
	s, err := c.people().Store.Read()
	if err != nil {
		return err
	}
	list := peopleList{Accounts: []personLine{}}
	for _, a := range s.Accounts {
		list.Accounts = append(list.Accounts, personLine{a.ID, a.Name, rolesOf(a.Grants), a.Password != "", len(a.Passkeys), a.Made, a.Revoked})
	}
	for _, i := range s.Invites {
		list.Invites = append(list.Invites, inviteLine{i.Name, i.Expires})
	}
	for _, t := range s.Tokens {
		list.Others = append(list.Others, otherLine{t.ID, t.About, t.Grant.String(), t.Expires, t.Revoked})
	}
	for _, l := range s.Links {
		what := "private edition of " + l.Machine
		if l.Public {
			what = "public edition of " + l.Machine
		}
		list.Others = append(list.Others, otherLine{l.ID, l.About, what, l.Expires, l.Revoked})
	}
	return c.print(list, list.write)
}

func (l peopleList) write(w io.Writer) {
	if len(l.Accounts) == 0 && len(l.Invites) == 0 {
		fmt.Fprintln(w, "There are no accounts: the registry runs in single-user mode.")
	}
	for _, a := range l.Accounts {
		state := strings.Join(a.Roles, ", ")
		if !a.Revoked.IsZero() {
			state = "revoked " + a.Revoked.Format("2 January 2006")
		}
		fmt.Fprintf(w, "%-20s %s\n", a.Name, orDash(state))
	}
	for _, i := range l.Invites {
		fmt.Fprintf(w, "%-20s invited, until %s\n", i.Name, i.Expires.Format("2 January 2006 15:04 UTC"))
	}
	for _, o := range l.Others {
		end := ""
		switch {
		case !o.Revoked.IsZero():
			end = ", withdrawn"
		case !o.Expires.IsZero():
			end = ", until " + o.Expires.Format("2 January 2006 15:04 UTC")
		}
		fmt.Fprintf(w, "%-20s %s (%s%s)\n", o.About, o.For, o.ID, end)
	}
}

func parseGrants(texts []string) ([]access.Grant, error) {
	var out []access.Grant
	for _, text := range texts {
		g, err := access.ParseGrant(text)
		if err != nil {
			return nil, err
		}
		out = append(out, g)
	}
	return out, nil
}

// baseFlag is where links lead that a command prints.
type baseFlag struct {
	BaseURL string `help:"${base_url_help}" default:"${base_url}"`
}

func (b baseFlag) link(path string) string {
	base := b.BaseURL
	if base == "" {
		base = "http://localhost:8350"
	}
	return strings.TrimSuffix(base, "/") + path
}

type madeLink struct {
	Name string `json:"name"`
	Link string `json:"link"` // told once
}

type peopleAddCommand struct {
	Name string   `arg:"" help:"name to sign in with"`
	Role []string `required:"" sep:"none" help:"a role: keeper, mechanic, second-signature, owner, co-owner or reader; then @ and a machine, or every machine; then = and a person of its record. May be repeated"`
	baseFlag
}

// Run invites a person.
func (p *peopleAddCommand) Run(c *call) error {
	grants, err := parseGrants(p.Role)
	if err != nil {
		return err
	}
	book := c.people()
	secret, err := book.Invite(p.Name, grants)
	if err != nil {
		return err
	}
	on, err := book.On()
	if err != nil {
		return err
	}
	return c.print(madeLink{p.Name, p.link("/join/" + secret)}, func(w io.Writer) {
		fmt.Fprintf(w, "Invited %s. This link works once, for 7 days, and is not shown again:\n    %s\n", p.Name, p.link("/join/"+secret))
		if !on {
			fmt.Fprintln(w, "There is no account yet, so nobody is asked to sign in. Serve with --accounts, and make the keeper first.")
		}
	})
}

type peopleRolesCommand struct {
	Name string   `arg:"" help:"name of the person"`
	Role []string `required:"" sep:"none" help:"as with add; these take the place of all the roles before"`
}

// Run gives other roles.
func (p *peopleRolesCommand) Run(c *call) error {
	grants, err := parseGrants(p.Role)
	if err != nil {
		return err
	}
	if err := c.people().Regrant(p.Name, grants); err != nil {
		return err
	}
	return c.print(map[string]any{"name": p.Name, "roles": p.Role}, printer(p.Name+": "+strings.Join(p.Role, ", ")))
}

type peopleRevokeCommand struct {
	Name string `arg:"" help:"name of the person, or id of a token or a reading link"`
}

// Run revokes an account, or withdraws a token or a link.
func (p *peopleRevokeCommand) Run(c *call) error {
	book := c.people()
	err := book.Withdraw(p.Name)
	if registry.CodeOf(err) == registry.CodeNotFound {
		err = book.Revoke(p.Name)
	}
	if err != nil {
		return err
	}
	return c.print(map[string]string{"revoked": p.Name}, printer("Revoked: "+p.Name+". It works nowhere any more."))
}

type peopleResetCommand struct {
	Name string `arg:"" help:"name of the person"`
	baseFlag
}

// Run gives a person a new way in.
func (p *peopleResetCommand) Run(c *call) error {
	secret, err := c.people().Reset(p.Name)
	if err != nil {
		return err
	}
	return c.print(madeLink{p.Name, p.link("/join/" + secret)}, func(w io.Writer) {
		fmt.Fprintf(w, "%s sets a new password or passkey at this link. It works once, for 24 hours, and is not shown again:\n    %s\n", p.Name, p.link("/join/"+secret))
	})
}

type peopleTokenCommand struct {
	About string `arg:"" help:"what the token is for, such as \"bench computer\""`
	Role  string `required:"" help:"what it may do, as with add"`
	Days  int    `default:"365" help:"days until it runs out; 0 for never"`
}

// Run makes a token for a program.
func (p *peopleTokenCommand) Run(c *call) error {
	g, err := access.ParseGrant(p.Role)
	if err != nil {
		return err
	}
	if p.Days < 0 {
		return badFlag("--days", fmt.Sprint(p.Days), "365")
	}
	secret, err := c.people().NewToken(p.About, g, time.Duration(p.Days)*24*time.Hour)
	if err != nil {
		return err
	}
	return c.print(map[string]string{"about": p.About, "token": secret}, func(w io.Writer) {
		fmt.Fprintf(w, "The token is not shown again. A program sends it as \"Authorization: Bearer …\":\n    %s\n", secret)
	})
}
