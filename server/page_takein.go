package server

import (
	"net/http"
	"strconv"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// The people of a new record. Their ids say their role and nothing else, so
// that a public copy gives no name away.
const (
	ownerID     = "owner"
	custodianID = "custodian"
)

func takeInForm() Form {
	return Form{Action: "/take-in", Button: "Take this machine in", Key: newKey(), Parts: []FormPart{
		{Title: "The machine", Fields: []Field{
			{Name: "id", Label: "Short name for the record", Kind: "short", Hint: "Small letters, figures and lines, such as drover-1957. It cannot be changed later.", Pointers: []string{"/machine"}},
			{Name: "make", Label: "Make", Kind: "text", Hint: "“unknown” when nobody can tell.", Pointers: []string{"/make"}},
			{Name: "model", Label: "Model", Kind: "text", Pointers: []string{"/model"}},
			{Name: "year", Label: "Built", Kind: "short", Hint: "As precisely as is known: 1957, 1957-06, 195X, 1957~ for about.", Pointers: []string{"/year"}},
			{Name: "nickname", Label: "What people call it", Kind: "text", Hint: "May stay empty."},
			{Name: "frame", Label: "Frame number, exactly as read", Kind: "short", Hint: "Look, do not polish. Kept out of public copies.", Pointers: []string{"/numbers/0"}},
			{Name: "engine", Label: "Engine number, exactly as read", Kind: "short", Pointers: []string{"/numbers/1"}},
			{Name: "story", Label: "How it was found", Kind: "area", Pointers: []string{"/story"}},
			{Name: "invented", Label: "Demonstration", Kind: "checks", Choices: []Choice{{"yes", "This machine is invented; say so on every page", ""}}},
		}},
		{Title: "The people", Hint: "Names are kept apart from the record and out of every public copy.", Fields: []Field{
			{Name: "owner_name", Label: "Owner’s name", Kind: "text", Pointers: []string{"/owner_name"}},
			{Name: "owner_role", Label: "Decides as", Kind: "radios", Value: "owner", Choices: []Choice{{"owner", "Owner", ""}, {"executor", "Executor", "for an estate, with proof of authority"}}},
			{Name: "owner_contact", Label: "How to reach the owner", Kind: "text"},
			{Name: "custodian_name", Label: "Who takes it in", Kind: "text", Pointers: []string{"/custodian_name"}},
		}},
		{Title: "The agreement", Fields: []Field{
			{Name: "authority", Label: "Why the owner may decide", Kind: "text", Hint: "Name the paper: title, grant of probate, power.", Pointers: []string{"/authority"}},
			{Name: "purpose", Label: "What it is revived for", Kind: "radios", Choices: choices(registry.Purposes()), Pointers: []string{"/purpose"}},
			{Name: "ceiling", Label: "What may be spent without asking", Kind: "money", Hint: "May stay empty: then nothing.", Pointers: []string{"/ceiling"}},
			{Name: "care", Label: "What may be done without asking", Kind: "area", Hint: "One a line, such as “dust off”.", Pointers: []string{"/care"}},
			{Name: "stop", Label: "What must never be done", Kind: "area", Hint: "One a line.", Pointers: []string{"/stop"}},
			{Name: "inventory", Label: "What came with it", Kind: "area", Hint: "One a line: how many, and what. Such as “2 keys”. All of it must go back or be accounted for.", Pointers: []string{"/inventory"}},
		}},
	}}
}

func pageTakeInForm(s *Server, r *http.Request) (answer, error) {
	return s.plainForm("Take in a machine", takeInForm(), 0), nil
}

// plainForm shows a form on a page that belongs to no machine.
func (s *Server) plainForm(title string, form Form, status int) answer {
	page := FormPage{Base: Base{Title: title, Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}, Form: form}
	page.Wrong = len(form.Summary()) > 0
	return htmlAnswer{status: status, name: "form-page", page: page}
}

func pageTakeInPost(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	form := takeInForm()
	form.fill(t.Values)
	machine := &registry.Machine{Make: t.text("make"), Model: t.text("model"), Year: registry.Date(t.text("year")), Nickname: t.text("nickname"), Story: t.text("story"), Invented: t.text("invented") == "yes"}
	for _, where := range []string{"frame", "engine"} {
		if number := t.text(where); number != "" {
			machine.Numbers = append(machine.Numbers, registry.Number{Where: where, AsRead: registry.Private{Value: number}})
		}
	}
	owner := &registry.Person{Common: registry.Common{ID: ownerID}, Role: t.text("owner_role"), Name: registry.Private{Value: t.text("owner_name")}, Contact: registry.Private{Value: t.text("owner_contact")}}
	custodian := &registry.Person{Common: registry.Common{ID: custodianID}, Role: "mechanic", Name: registry.Private{Value: t.text("custodian_name")}}
	agreement := &registry.CustodyAgreement{Owner: ownerID, Custodian: custodianID, Authority: t.text("authority"), Purpose: t.text("purpose"),
		Care: t.lines("care"), Stop: t.lines("stop"), Ceiling: t.money("ceiling", "/ceiling"), Inventory: inventory(t.lines("inventory"))}
	if owner.Name.Value == "" {
		t.fault("/owner_name", "", "The owner’s name is missing", "It is kept out of every public copy.")
	}
	if custodian.Name.Value == "" {
		t.fault("/custodian_name", "", "The name of whoever takes it in is missing", "It is kept out of every public copy.")
	}
	id := t.text("id")
	if id == "" {
		t.fault("/machine", "", "The record needs a short name", "Choose one such as drover-1957.")
	}
	// Every body is looked at by itself first, so that all faults show at once.
	for i, b := range []registry.Body{machine, owner, custodian, agreement} {
		if registry.IDOf(b) == "" {
			registry.SetID(b, string(b.Kind()))
		}
		if err := registry.CheckBody(b); err != nil {
			for _, f := range fieldsOf(err) {
				// The owner's and the custodian's names have fields of their own.
				if i != 1 && i != 2 {
					t.faults = append(t.faults, f)
				}
			}
		}
	}
	if err = t.err(); err == nil {
		none := uint64(0)
		_, err = s.Workshop.Record(r.Context(), workshop.Request{Machine: id, Actor: custodianID, Expect: &none, Key: t.text("key")}, machine, owner, custodian, agreement)
		if codeOf(err) == registry.CodeConflict {
			err = &registry.Error{Code: registry.CodeConflict, Message: "The short name is taken", Fields: []registry.Field{{Pointer: "/machine", Found: quoted(id), Message: "A machine of that name is in the registry already", Fix: "Choose another short name."}}}
		}
	}
	if err != nil {
		if !mendable(err) {
			return nil, err
		}
		form.refuse(err)
		return s.plainForm("Take in a machine", form, rowOf(codeOf(err)).status), nil
	}
	return seeOther("/machines/" + id), nil
}

// inventory reads lines such as "2 keys".
func inventory(lines []string) []registry.InventoryItem {
	out := []registry.InventoryItem{}
	for i, line := range lines {
		item := registry.InventoryItem{ID: "item-" + itoa(i+1), What: line, Count: 1}
		if head, rest, found := strings.Cut(line, " "); found {
			if n, err := strconv.Atoi(strings.TrimRight(head, "x×")); err == nil && n >= 0 {
				item.Count, item.What = n, strings.TrimSpace(rest)
			}
		}
		out = append(out, item)
	}
	return out
}
