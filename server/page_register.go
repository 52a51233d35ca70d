package server

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// sharedField offers the sales of other machines to a valuation; none when there
// are none whose price may be used.
func sharedField(list []workshop.SharedSale) []Field {
	f := Field{Name: "shared", Label: "Sales that other machines of this registry offer", Kind: "checks", Hint: "Their owners permit it. What is chosen is named beside the figures.", Pointers: []string{"/shared"}}
	for _, s := range list {
		if s.Price != nil {
			f.Choices = append(f.Choices, Choice{s.ID, strings.TrimSpace(s.Make+" "+s.Model) + ", " + string(s.Date) + ", " + s.Price.String(), s.Source})
		}
	}
	if len(f.Choices) == 0 {
		return nil
	}
	return []Field{f}
}

// offeredTag changes when what others offer or share does.
func offeredTag[T any](list []T) string {
	h := fnv.New64a()
	_ = json.NewEncoder(h).Encode(list) // a hash takes everything, and these are plain values
	return fmt.Sprintf("%x", h.Sum64())
}

// sharedNumbers counts a machine's numbers that another has too and of which
// nothing is said, for those who survey and keep it as it stands; 0 for anybody
// else.
func (s *Server) sharedNumbers(r *http.Request, machine string, o workshop.ReportOptions) (int, error) {
	if o.Public || !o.At.IsZero() || s.accounts() && !infoOf(r).who.Has(machine, hands...) {
		return 0, nil
	}
	list, err := s.Workshop.DuplicatesOf(r.Context(), machine)
	if err != nil {
		return 0, err
	}
	return list.Open, nil
}

// DuplicatesPage lists the numbers that two machines have.
type DuplicatesPage struct {
	Base
	List *workshop.DuplicatesList
	Next string
}

func pageDuplicates(s *Server, r *http.Request) (answer, error) {
	list, err := s.Workshop.Duplicates(r.Context(), r.URL.Query().Get("after"))
	if err != nil {
		return nil, err
	}
	page := DuplicatesPage{Base: Base{Title: "The same number on two machines", Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}, List: list}
	if list.Next != "" {
		page.Next = "/duplicates?" + url.Values{"after": {list.Next}}.Encode()
	}
	return htmlAnswer{name: "duplicates", page: page}, nil
}

// RegisterPage is what concerns a machine and the register as a whole: numbers
// that others have too, what its owner permits, and where its record is kept.
type RegisterPage struct {
	Base
	Report *workshop.Report
	// Ladder holds the numbers against those that a pack knows of the maker;
	// NoLadder is why that cannot be worked out. Both are empty where no pack does.
	Ladder      *workshop.BenchWords
	NoLadder    string
	List        *workshop.DuplicatesList
	Number      Form
	Permissions []PermissionView
	Permit      Form
	// Out hands the record over; Back takes that back, and Confirm records the
	// other registry's receipt, while nobody has answered. They are nil where
	// that cannot be done.
	Out, Back, Confirm *Form
	// Came says that the record was taken over by this registry.
	Came bool
	// Fingerprint is of this registry's key, which the other one must be told.
	Fingerprint string
}

// PermissionView is a permission that stands, with the form that takes it back.
type PermissionView struct {
	What, How, By string
	On            time.Time
	Stop          Form
}

// permissionWords say what a permission is for.
func permissionWords(p *registry.Permission) string {
	switch {
	case p.For == registry.ForTransfer:
		return "The record may be handed over to another registry."
	case p.Prices:
		return "The sales on this record may be used for other machines, with their prices."
	}
	return "The sales on this record may be named to other machines, without their prices."
}

func (s *Server) numberForm(report *workshop.Report, list *workshop.DuplicatesList) Form {
	f := Form{Action: "/machines/" + report.Machine.ID + "/register/number", Button: "Record what it is", Key: newKey(), Version: itoa(report.Version)}
	by := byField(report, "Who says so")
	by.Of = "number"
	shared := Field{Name: "shared", Label: "Which number, and with which machine", Kind: "radios", Pointers: []string{"/other", "/where"}}
	for _, d := range list.Duplicates {
		for _, m := range d.Machines {
			if m.Machine != "" && m.Machine != report.Machine.ID {
				shared.Choices = append(shared.Choices, Choice{d.Where + " " + m.Machine, d.Where + ", " + m.Machine, ""})
			}
		}
	}
	if len(shared.Choices) == 1 {
		shared.Value = shared.Choices[0].Value
	}
	f.Parts = []FormPart{{Fields: []Field{shared,
		{Name: "says", Label: "What it is", Kind: "radios", Choices: choices(registry.SharedNumberAnswers()), Pointers: []string{"/says"}},
		{Name: "why", Label: "Why", Kind: "area", Hint: "What was looked at, and by whom.", Pointers: []string{"/why"}}, by}}}
	return f
}

func (s *Server) permitForm(report *workshop.Report) Form {
	owners := personChoices(report, "owner", "executor")
	given := Field{Name: "given_by", Label: "Who permits it", Kind: "select", Choices: owners, Pointers: []string{"/given_by"}}
	if len(owners) == 1 {
		given.Value = owners[0].Value
	}
	return Form{Action: "/machines/" + report.Machine.ID + "/register/permit", Button: "Record the permission", Key: newKey(), Version: itoa(report.Version),
		Parts: []FormPart{{Fields: []Field{
			{Name: "for", Label: "What is permitted", Kind: "radios", Choices: choices(registry.PermissionPurposes()), Pointers: []string{"/for"}},
			yes("prices", "Prices too", "Without them a sale is named, and no figure is made of it."),
			given,
			{Name: "how", Label: "How it was given", Kind: "area", Hint: "And where that can be looked up, such as a letter and its date.", Pointers: []string{"/how"}}, byField(report, "Who records it")}}}}
}

func pageRegister(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	list, err := s.Workshop.DuplicatesOf(r.Context(), report.Machine.ID)
	if err != nil {
		return nil, err
	}
	d, err := s.Workshop.Load(r.Context(), report.Machine.ID, workshop.At{})
	if err != nil {
		return nil, err
	}
	page := RegisterPage{Base: s.basis(report, "", "This machine in the register"), Report: report, List: list, Number: s.numberForm(report, list), Permit: s.permitForm(report), Fingerprint: s.KeyFingerprint}
	page.Notice = noticeOf(r)
	switch words, known, err := s.Workshop.NumberLadder(report); {
	case !known && err != nil:
		return nil, err
	case err != nil:
		page.NoLadder = sentence(messageOf(err))
	case known:
		page.Ladder = &words
	}
	if !s.accounts() || infoOf(r).who.Has(report.Machine.ID, keepers...) {
		last, moved := d.MovedTo(s.Workshop.Registry)
		out, back, confirm := handOverForm(report), takeBackForm(report), confirmForm(report)
		switch {
		case !moved:
			page.Out, page.Came = &out, last.Entry != nil && last.Record.Direction == registry.TransferIn
		case last.Record.Direction == registry.TransferOut:
			page.Back, page.Confirm = &back, &confirm
		}
	}
	for _, p := range registry.Live[*registry.Permission](d) {
		stop := Form{Action: "/machines/" + report.Machine.ID + "/register/stop", Button: "Take it back", Key: newKey(), Version: itoa(report.Version), Hidden: []Hidden{{"permission", p.RecordID()}},
			Parts: []FormPart{{Fields: []Field{{Name: "why", Of: p.RecordID(), Label: "At whose wish it is taken back"}}}}}
		page.Permissions = append(page.Permissions, PermissionView{permissionWords(p.Record), p.Record.How, workshop.PersonName(d, p.Record.GivenBy, false), p.Recorded, stop})
	}
	return htmlAnswer{name: "register", page: page}, nil
}

func registerAt(report *workshop.Report) string {
	return "/machines/" + report.Machine.ID + "/register"
}

// pageRegisterNumber records what is to be thought of a shared number.
func pageRegisterNumber(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	list, err := s.Workshop.DuplicatesOf(r.Context(), report.Machine.ID)
	if err != nil {
		return nil, err
	}
	form := s.numberForm(report, list)
	where, other, _ := strings.Cut(t.text("shared"), " ")
	if !slices.ContainsFunc(form.Parts[0].Fields[0].Choices, func(c Choice) bool { return c.Value == t.text("shared") }) {
		t.fault("/other", t.text("shared"), "It is not said which number is meant", "Choose one of those that another machine has too.")
	}
	return s.recordForm(r, report, t, "", "The same number on two machines", form, registerAt(report),
		&registry.SharedNumber{Where: where, Other: registry.Private{Value: other}, Says: t.text("says"), Why: t.text("why"), By: t.text("by")})
}

// pageRegisterPermit records a permission of the owner.
func pageRegisterPermit(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	return s.recordForm(r, report, t, "", "A permission of the owner", s.permitForm(report), registerAt(report),
		&registry.Permission{For: t.text("for"), GivenBy: t.text("given_by"), How: t.text("how"), Prices: t.text("prices") == "yes" && t.text("for") == registry.ForSharingSales, By: t.text("by")})
}

// pageRegisterStop takes a permission back.
func pageRegisterStop(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	id := t.text("permission")
	d, err := s.Workshop.Load(r.Context(), report.Machine.ID, workshop.At{})
	if err != nil {
		return nil, err
	}
	if p, ok := registry.Get[*registry.Permission](d, id); !ok || p.RecordID() != id {
		return nil, registry.Refuse(registry.CodeNotFound, "Choose one of the list.", "There is no such permission")
	}
	form := Form{Action: registerAt(report) + "/stop", Button: "Take it back", Key: newKey(), Version: itoa(report.Version), Hidden: []Hidden{{"permission", id}},
		Parts: []FormPart{{Fields: []Field{{Name: "why", Label: "At whose wish it is taken back", Pointers: []string{"/why"}}}}}}
	return s.recordForm(r, report, t, "", "A permission is taken back", form, registerAt(report), &registry.Withdrawal{Record: id, Why: t.text("why"), By: byField(report, "").Value})
}

func apiDuplicates(s *Server, r *http.Request) (answer, error) {
	list, err := s.Workshop.Duplicates(r.Context(), r.URL.Query().Get("after"))
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: list}, nil
}

func apiDuplicatesOf(s *Server, r *http.Request) (answer, error) {
	id, _, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	list, err := s.Workshop.DuplicatesOf(r.Context(), id)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: list}, nil
}

// SharedSaleList are the sales that other machines offer.
type SharedSaleList struct {
	Sales []workshop.SharedSale `json:"sales"`
}

func apiSharedSales(s *Server, r *http.Request) (answer, error) {
	id, _, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	list, err := s.Workshop.SharedSales(r.Context(), id)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: SharedSaleList{list}}, nil
}
