package registry

import (
	"slices"
	"strings"
)

// Search is one entry of the log of looking for something that is needed: one
// look, or a span of time in which somebody kept looking.
type Search struct {
	Common
	// What is needed, in the words of the option or opening that needs it.
	What      string `json:"what"`
	Component string `json:"component,omitempty"`
	Where     string `json:"where"`
	Found     bool   `json:"found"`
	// Asked is the price of what was found.
	Asked Money  `json:"asked,omitzero"`
	By    string `json:"by"`
}

func (*Search) Kind() Kind { return "search" }

func (s *Search) check(fs *faults) {
	fs.need("/what", strings.TrimSpace(s.What), "It is not said what was looked for", "The words of the option that needs it.")
	fs.need("/where", s.Where, "It is not said where it was looked for", "")
	fs.id("/component", s.Component, true)
	fs.id("/by", s.By, false)
	fs.money("/asked", s.Asked)
	if !s.Found && !s.Asked.IsZero() {
		fs.add("/asked", s.Asked.String(), "", "Nothing was found, yet a price was asked", "Say that it was found, or leave the price out.")
	}
}

// SameNeed says whether two texts name the same needed thing.
func SameNeed(a, b string) bool {
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

// StockPart is a part in hand that is not fitted yet, with what is known of
// where it came from.
type StockPart struct {
	Common
	// What it is, in the words of the option that needs it.
	What      string   `json:"what"`
	Number    string   `json:"number,omitempty"` // part number, as it stands on it or its box
	Component string   `json:"component,omitempty"`
	Origin    string   `json:"origin"`
	Stamp     string   `json:"stamp,omitempty"`
	Source    string   `json:"source"` // who let it go, and where
	Paid      Money    `json:"paid,omitzero"`
	Evidence  []string `json:"evidence,omitempty"`
	Photos    []string `json:"photos,omitempty"`
	By        string   `json:"by"`
}

func (*StockPart) Kind() Kind { return "stock-part" }

func (p *StockPart) check(fs *faults) {
	fs.need("/what", strings.TrimSpace(p.What), "It is not said what the part is", "The words of the option that needs it.")
	fs.id("/component", p.Component, true)
	checkTerm(fs, "/origin", p.Origin, Origins())
	fs.need("/source", p.Source, "It is not said where the part came from", "Who let it go, and where.")
	fs.money("/paid", p.Paid)
	fs.ids("/evidence", p.Evidence)
	fs.ids("/photos", p.Photos)
	fs.id("/by", p.By, false)
}

// PartNumber says what a part number means, what took its place, and what it
// fits.
type PartNumber struct {
	Common
	Number     string   `json:"number"`
	What       string   `json:"what"`
	ReplacedBy string   `json:"replaced_by,omitempty"` // the number that took its place
	Fits       []string `json:"fits,omitempty"`        // components
	Source     string   `json:"source"`
	By         string   `json:"by"`
}

func (*PartNumber) Kind() Kind { return "part-number" }

func (p *PartNumber) check(fs *faults) {
	fs.need("/number", strings.TrimSpace(p.Number), "The part number is missing", "As it stands in the list.")
	fs.need("/what", p.What, "It is not said what the number means", "")
	fs.need("/source", p.Source, "The number has no source", "The list, its edition and page.")
	if p.ReplacedBy != "" && SameNumber(p.Number, p.ReplacedBy) {
		fs.add("/replaced_by", p.ReplacedBy, "another number", "The number replaces itself", "")
	}
	fs.ids("/fits", p.Fits)
	fs.id("/by", p.By, false)
}

// SameNumber says whether two part numbers are one but for spaces, hyphens and
// capitals.
func SameNumber(a, b string) bool { return plainNumber(a) == plainNumber(b) }

func plainNumber(s string) string {
	return strings.ToUpper(strings.Map(func(r rune) rune {
		if r == ' ' || r == '-' || r == '.' || r == '/' {
			return -1
		}
		return r
	}, s))
}

// decidePartNumber: one meaning for each number, and no chain that comes back
// to where it began.
func decidePartNumber(d *Dossier, p *PartNumber) error {
	for _, other := range Live[*PartNumber](d) {
		if SameNumber(other.Record.Number, p.Number) && other.RecordID() != p.Supersedes {
			return Refuse(CodeConflict, "Correct that record by superseding it.", "The part number %s is on record already, as %q", p.Number, other.RecordID())
		}
	}
	chain := []string{p.Number}
	for next := p.ReplacedBy; next != ""; {
		if slices.ContainsFunc(chain, func(n string) bool { return SameNumber(n, next) }) {
			return invalid(p, "/replaced_by", p.ReplacedBy, "a number later in time", "The numbers replace each other in a circle: "+strings.Join(append(chain, next), ", "), "One of them is the last.")
		}
		chain = append(chain, next)
		n, ok := d.PartNumber(next)
		if !ok || n.RecordID() == p.Supersedes {
			break
		}
		next = n.Record.ReplacedBy
	}
	return nil
}

// PartNumber finds the record of a part number.
func (d *Dossier) PartNumber(number string) (Found[*PartNumber], bool) {
	for _, n := range Live[*PartNumber](d) {
		if SameNumber(n.Record.Number, number) {
			return n, true
		}
	}
	return Found[*PartNumber]{}, false
}

// InStock says whether something that is needed lies in stock, not yet fitted.
func (d *Dossier) InStock(what string) bool {
	return slices.ContainsFunc(d.Stock(), func(p Found[*StockPart]) bool { return SameNeed(p.Record.What, what) })
}

// Stock lists the parts in stock that have not been fitted.
func (d *Dossier) Stock() []Found[*StockPart] {
	var out []Found[*StockPart]
	for _, p := range Live[*StockPart](d) {
		if !slices.ContainsFunc(Live[*Work](d), func(w Found[*Work]) bool {
			return slices.ContainsFunc(w.Record.Fitted, func(f Fitted) bool { return d.current(f.Stock) == p.RecordID() })
		}) {
			out = append(out, p)
		}
	}
	return out
}

// unproven says what is missing before a part of a history of its own is
// fitted: its evidence.
func (d *Dossier) unproven(f Fitted) string {
	if f.Origin != "new-old-stock" && f.Origin != "donor" {
		return ""
	}
	if stock, ok := Get[*StockPart](d, f.Stock); ok && len(stock.Record.Evidence) > 0 || len(f.Evidence) > 0 {
		return ""
	}
	return f.Part + " comes with no evidence of where it is from"
}

// LaterNumbers lists the numbers that took the place of a part number, in order.
func (d *Dossier) LaterNumbers(number string) []string {
	out := []string{}
	for n, ok := d.PartNumber(number); ok && n.Record.ReplacedBy != "" && len(out) < 100; n, ok = d.PartNumber(n.Record.ReplacedBy) {
		out = append(out, n.Record.ReplacedBy)
	}
	return out
}
