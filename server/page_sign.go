package server

import (
	"net/http"

	"example.org/asfound/access"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// mostToSign is how many records a page offers to sign; the others follow when
// these are signed.
const mostToSign = 20

// SignView is a record that waits for the signature of who looks at the page.
type SignView struct {
	workshop.ToSignReport
	Where string // address of what is signed
	Form  Form
}

// whereSigned is where a record that waits to be signed can be looked at.
func whereSigned(machine string, t workshop.ToSignReport) string {
	switch {
	case t.Component != "":
		return "/machines/" + machine + "/components/" + t.Component
	case t.Kind == "gate":
		return "/machines/" + machine + "/work#h-gates"
	}
	return "/machines/" + machine + "/work#" + t.Record
}

// toSign lists what a visitor may sign as the second person: nothing for whoever
// has no such role, or where there are no accounts.
func (s *Server) toSign(r *http.Request, report *workshop.Report) (out []SignView, more int) {
	who, machine := infoOf(r).who, report.Machine.ID
	if !who.Has(machine, access.Second) || who.Session == "" {
		return nil, 0
	}
	for _, t := range report.ToSign {
		switch {
		case !t.MayBeSignedBy(who.Account, who.Persons(machine)):
		case len(out) == mostToSign:
			more++
		default:
			out = append(out, SignView{t, whereSigned(machine, t), Form{Action: "/machines/" + machine + "/work/sign", Button: "Sign it as the second person", Key: newKey(), Hidden: []Hidden{{"record", t.Record}, {"hash", t.Hash}}}})
		}
	}
	return out, more
}

// pageSign signs a record as its second person.
func pageSign(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	who, machine := infoOf(r).who, report.Machine.ID
	if who == nil || who.Session == "" {
		return nil, registry.Refuse(registry.CodeRefused, "Name the second person in the record; with accounts they sign it themselves.", "In single-user mode nobody is signed in, so nobody signs by an account")
	}
	given, err := s.Workshop.SignSecond(r.Context(), workshop.SecondInput{Machine: machine, Record: t.text("record"), Hash: t.text("hash"), Account: who.Account, Persons: who.Persons(machine)})
	if err != nil {
		return nil, err
	}
	s.security(r, "second-signed")
	to := "/machines/" + machine + "/work"
	for _, x := range given.Records {
		to += "?recorded=" + x.ID
	}
	return seeOther(to), nil
}
