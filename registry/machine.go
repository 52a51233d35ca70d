package registry

import "strings"

// Machine is one motorcycle under care.
type Machine struct {
	Common
	Make  string `json:"make"`
	Model string `json:"model"`
	// Year is when it was built, as precisely as is known.
	Year     Date   `json:"year"`
	Nickname string `json:"nickname,omitempty"`
	// Numbers are the stamped numbers as read. Look, do not polish.
	Numbers []Number `json:"numbers,omitempty"`
	// NotFitted lists components that this type never had; they count nowhere.
	NotFitted []string `json:"not_fitted,omitempty"`
	// Story is how it was found, in the finder's words.
	Story string `json:"story,omitempty"`
	// Invented marks demonstration data; every page and export says so.
	Invented bool `json:"invented,omitempty"`
}

// Number is a stamped number.
type Number struct {
	Where  string  `json:"where"` // frame, engine, gearbox, registration, …
	AsRead Private `json:"as_read"`
	// Masked is what the public edition shows; it is made on the way in.
	Masked string `json:"masked,omitempty"`
	// Doubtful lists characters that can be read in more than one way.
	Doubtful []DoubtfulCharacter `json:"doubtful,omitempty"`
	Note     string              `json:"note,omitempty"`
}

// DoubtfulCharacter is a character that can be read in more than one way.
type DoubtfulCharacter struct {
	Place    int      `json:"place"` // counted from 1
	Readings []string `json:"readings"`
}

func (*Machine) Kind() Kind { return "machine" }

func (m *Machine) check(fs *faults) {
	fs.need("/make", m.Make, "The make is missing", "Write \"unknown\" when nobody can tell.")
	fs.need("/model", m.Model, "The model is missing", "Write \"unknown\" when nobody can tell.")
	fs.need("/year", string(m.Year), "The year is missing", "Write a decade such as 195X when nobody can tell.")
	fs.date("/year", m.Year)
	for i, n := range m.Numbers {
		p := at("/numbers", i)
		fs.need(p+"/where", n.Where, "It is not said where the number stands", "Write frame, engine, gearbox or another place.")
		if n.AsRead.IsZero() {
			fs.add(p+"/as_read", "", "", "The number is missing", "Write it exactly as read, doubtful characters listed beside it.")
		}
	}
}

// Name is how a page calls the machine: nickname, or make, model and year.
func (m *Machine) Name() string {
	if m.Nickname != "" {
		return m.Nickname
	}
	return strings.TrimSpace(m.Make + " " + m.Model + " " + string(m.Year))
}

// Person is somebody who owns, works, checks or reads. The record names them
// by id and role; the name itself is withheld from the public edition.
type Person struct {
	Common
	Role    string  `json:"role"`
	Name    Private `json:"name"`
	Contact Private `json:"contact,omitzero"`
}

// Roles are what a person can be to a machine.
func Roles() []Term {
	return []Term{
		{"owner", "decides"},
		{"executor", "decides for an estate, with proof of authority"},
		{"mechanic", "surveys, proposes, works"},
		{"second-signature", "checks what needs a second pair of eyes"},
		{"previous-owner", "owned or used it before"},
		{"reader", "reads"},
	}
}

func (*Person) Kind() Kind { return "person" }

func (p *Person) check(fs *faults) {
	checkTerm(fs, "/role", p.Role, Roles())
	if p.Name.IsZero() {
		fs.add("/name", "", "", "The name is missing", "It is withheld from every public copy.")
	}
}

// CustodyAgreement is what owner and workshop settle before the van is
// unloaded. Its inventory must balance at the hand-back.
type CustodyAgreement struct {
	Common
	Owner     string `json:"owner"`     // person id
	Custodian string `json:"custodian"` // person id
	// Authority is the proof that the owner may decide: title, grant, power.
	Authority string `json:"authority"`
	Purpose   string `json:"purpose"` // static, occasional or road
	// Care lists what may be done without asking.
	Care []string `json:"care,omitempty"`
	// Stop lists what must never be done.
	Stop []string `json:"stop,omitempty"`
	// Ceiling is what may be spent without asking.
	Ceiling           Money   `json:"ceiling,omitzero"`
	Insurer           Private `json:"insurer,omitzero"`
	AgreedValue       Money   `json:"agreed_value,omitzero"`
	Place             Private `json:"place,omitzero"`
	From              Date    `json:"from,omitempty"`
	Until             Date    `json:"until,omitempty"`
	DataOwner         string  `json:"data_owner,omitempty"`
	RemovedPartsOwner string  `json:"removed_parts_owner,omitempty"`
	// Inventory counts everything that arrived besides the machine itself.
	Inventory []InventoryItem `json:"inventory"`
}

// InventoryItem is something that arrived with the machine.
type InventoryItem struct {
	ID    string `json:"id"`
	What  string `json:"what"`
	Count int    `json:"count"`
	Photo string `json:"photo,omitempty"`
}

// Purposes are what a machine is revived for.
func Purposes() []Term {
	return []Term{{"static", "to be looked at"}, {"occasional", "to run or ride now and then"}, {"road", "to be used on the road"}}
}

func (*CustodyAgreement) Kind() Kind { return "custody-agreement" }

func (c *CustodyAgreement) check(fs *faults) {
	fs.id("/owner", c.Owner, false)
	fs.id("/custodian", c.Custodian, false)
	fs.need("/authority", c.Authority, "It is not said why this person may decide", "Name the paper that shows it.")
	checkTerm(fs, "/purpose", c.Purpose, Purposes())
	fs.money("/ceiling", c.Ceiling)
	fs.money("/agreed_value", c.AgreedValue)
	fs.date("/from", c.From)
	fs.date("/until", c.Until)
	checkInventory(fs, "/inventory", c.Inventory)
}

func checkInventory(fs *faults, pointer string, items []InventoryItem) {
	seen := map[string]bool{}
	for i, item := range items {
		p := at(pointer, i)
		fs.id(p+"/id", item.ID, false)
		if seen[item.ID] {
			fs.add(p+"/id", item.ID, "", "Two items of the inventory have the same identifier", "")
		}
		seen[item.ID] = true
		fs.need(p+"/what", item.What, "It is not said what the item is", "")
		if item.Count < 0 || item.Count > 1_000_000 {
			fs.add(p+"/count", itoa(item.Count), "0 to 1,000,000", "The count cannot be right", "")
		}
	}
}
