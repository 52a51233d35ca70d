package registry

import (
	"fmt"
	"strings"
)

// reference is one record or component that another record names.
type reference struct {
	body    Body
	pointer string
	id      string
	kind    Kind // "component" for the catalog's, "subject" for a component or assembly
}

// references lists everything that a body names outside itself, but for what
// Decide looks up in its own way.
func references(b Body) (refs []reference) {
	add := func(pointer string, kind Kind, ids ...string) {
		for i, id := range ids {
			if id == "" {
				continue
			}
			p := pointer
			if len(ids) > 1 {
				p = at(pointer, i)
			}
			refs = append(refs, reference{b, p, id, kind})
		}
	}
	list := func(pointer string, kind Kind, ids []string) {
		for i, id := range ids {
			refs = append(refs, reference{b, at(pointer, i), id, kind})
		}
	}
	changes := func(cs []Change) {
		for i, c := range cs {
			add(at("/changes", i)+"/component", subjectKind(c.Proposition), c.Component)
		}
	}
	switch b := b.(type) {
	case *Machine:
		list("/not_fitted", "component", b.NotFitted)
	case *CustodyAgreement:
		add("/owner", "person", b.Owner)
		add("/custodian", "person", b.Custodian)
	case *Survey:
		add("/component", "component", b.Component)
		add("/by", "person", b.By)
		add("/second", "person", b.Second)
		list("/photos", "photo", b.Photos)
	case *SurveySeal:
		add("/by", "person", b.By)
		add("/gaps_signed_by", "person", b.GapsSignedBy)
		for i, g := range b.Gaps {
			add(at("/gaps", i)+"/component", "component", g.Component)
		}
	case *Joint:
		list("/components", "component", b.Components)
		add("/by", "person", b.By)
		list("/photos", "photo", b.Photos)
	case *Measurement:
		add("/component", "component", b.Component)
		add("/by", "person", b.By)
	case *Photo:
		list("/components", "component", b.Components)
		list("/openings", "opening", b.Openings)
		add("/by", "person", b.By)
	case *Fitting:
		add("/component", "component", b.Component)
		list("/evidence", "evidence", b.Evidence)
	case *Evidence:
		add("/by", "person", b.By)
		list("/photos", "photo", b.Photos)
	case *Claim:
		add("/component", subjectKind(b.Proposition), b.Component)
		add("/by", "person", b.By)
		list("/resolves", "record", b.Resolves)
	case *Fault:
		list("/components", "component", b.Components)
		add("/by", "person", b.By)
	case *Opening:
		list("/requires", "opening", b.Requires)
		list("/behind", "component", b.Behind)
	case *Opened:
		add("/opening", "opening", b.Opening)
		add("/by", "person", b.By)
	case *Option:
		add("/fault", "fault", b.Fault)
		add("/by", "person", b.By)
		list("/openings", "opening", b.Openings)
		changes(b.Changes)
	case *Leaving:
		add("/fault", "fault", b.Fault)
		add("/by", "person", b.By)
	case *Risk:
		add("/option", "option", b.Option)
		add("/by", "person", b.By)
	case *Search:
		add("/component", "component", b.Component)
		add("/by", "person", b.By)
	case *Finding:
		add("/fault", "fault", b.Fault)
		list("/photos", "photo", b.Photos)
		add("/by", "person", b.By)
	case *Acknowledgement:
		add("/by", "person", b.By)
	case *Erasure:
		add("/person", "person", b.Person)
		add("/by", "person", b.By)
	case *Step:
		add("/option", "option", b.Option)
		list("/photos", "photo", b.Photos)
		add("/by", "person", b.By)
	case *FastenerMap:
		add("/opening", "opening", b.Opening)
		add("/photo", "photo", b.Photo)
		add("/by", "person", b.By)
	case *Closed:
		add("/opening", "opening", b.Opening)
		add("/map", "fastener-map", b.Map)
		add("/by", "person", b.By)
	case *StockPart:
		add("/component", "component", b.Component)
		list("/evidence", "evidence", b.Evidence)
		list("/photos", "photo", b.Photos)
		add("/by", "person", b.By)
	case *PartNumber:
		list("/fits", "component", b.Fits)
		add("/by", "person", b.By)
	case *RecheckDue:
		list("/components", "component", b.Components)
		add("/by", "person", b.By)
	case *Usage:
		add("/by", "person", b.By)
	case *Weighing:
		list("/options", "option", b.Options)
		add("/by", "person", b.By)
	case *Proposal:
		add("/to", "person", b.To)
		add("/by", "person", b.By)
	case *ChangeRequest:
		add("/to", "person", b.To)
		add("/by", "person", b.By)
		add("/amends", "proposal", b.Amends)
	case *OwnerLink:
		add("/to", "person", b.To)
		add("/by", "person", b.By)
	case *Passkey:
		add("/person", "person", b.Person)
	case *SecondSignature:
		add("/on", "record", b.On)
		add("/by", "person", b.By)
	case *Reply:
		add("/question", "decision", b.Question)
		add("/by", "person", b.By)
	case *Decision:
		add("/person", "person", b.Person)
		add("/witness", "person", b.Witness)
	case *Work:
		add("/option", "option", b.Option)
		add("/by", "person", b.By)
		add("/second", "person", b.Second)
		list("/openings", "opening", b.Openings)
		list("/photos", "photo", b.Photos)
		changes(b.Changes)
		for i, f := range b.Fitted {
			add(at("/fitted", i)+"/component", "component", f.Component)
			list(at("/fitted", i)+"/evidence", "evidence", f.Evidence)
			add(at("/fitted", i)+"/stock", "stock-part", f.Stock)
		}
	case *RemovedPart:
		add("/component", "component", b.Component)
		add("/work", "work", b.Work)
		add("/by", "person", b.By)
		list("/photos", "photo", b.Photos)
	case *PartMove:
		add("/part", "removed-part", b.Part)
		add("/by", "person", b.By)
	case *Check:
		list("/components", "component", b.Components)
		add("/work", "work", b.Work)
		add("/recheck", "recheck", b.Recheck)
		add("/by", "person", b.By)
		add("/second", "person", b.Second)
		list("/photos", "photo", b.Photos)
	case *Gate:
		list("/checks", "check", b.Checks)
		list("/photos", "photo", b.Photos)
		add("/by", "person", b.By)
		add("/second", "person", b.Second)
	case *GateTakenBack:
		add("/by", "person", b.By)
	case *HandBack:
		add("/to", "person", b.To)
		add("/by", "person", b.By)
		list("/removed_parts", "removed-part", b.RemovedParts)
	case *Withdrawal:
		add("/by", "person", b.By)
		add("/record", "record", b.Record)
	case *Permission:
		add("/given_by", "person", b.GivenBy)
		add("/by", "person", b.By)
	case *SharedNumber:
		add("/by", "person", b.By)
	case *Transfer:
		add("/permission", "permission", b.Permission)
		add("/by", "person", b.By)
	}
	return refs
}

func subjectKind(p Proposition) Kind {
	if p == PropositionAssembly {
		return "assembly"
	}
	return "component"
}

func checkReference(d *Dossier, r *Rules, ref reference) error {
	switch ref.kind {
	case "component":
		if _, ok := r.Components[ref.id]; !ok {
			return unknownComponent(ref.body, ref.pointer, ref.id)
		}
		if _, isMachine := ref.body.(*Machine); !isMachine && d.NotFitted(ref.id) {
			return invalid(ref.body, ref.pointer, ref.id, "", "This type of machine never had that component", "Correct the machine record if it did.")
		}
		return nil
	case "assembly":
		if !r.Assemblies[ref.id] {
			return invalid(ref.body, ref.pointer, ref.id, "the assemblies of the catalog", "There is no such assembly", "")
		}
		return nil
	case "record":
		if e, ok := d.Entry(ref.id); ok && e.Live() {
			return nil
		}
		return invalid(ref.body, ref.pointer, ref.id, "a live record", "There is no such record in force", "")
	}
	e, ok := d.Entry(ref.id)
	for ok && e.SupersededBy != "" {
		e, ok = d.Entry(e.SupersededBy)
	}
	if !ok || e.Kind != ref.kind || !e.Live() {
		return invalid(ref.body, ref.pointer, ref.id, withArticle(string(ref.kind))+" on record", fmt.Sprintf("There is no %s of that name", ref.kind), "Record it first.")
	}
	return nil
}

// canonicalComponents replaces other names of components by their ids.
func canonicalComponents(r *Rules, b Body) {
	one := func(name *string) {
		if id, ok := r.Aliases[*name]; ok {
			*name = id
		}
	}
	list := func(names []string) {
		for i := range names {
			one(&names[i])
		}
	}
	changes := func(cs []Change) {
		for i := range cs {
			one(&cs[i].Component)
		}
	}
	switch b := b.(type) {
	case *Machine:
		list(b.NotFitted)
	case *Survey:
		one(&b.Component)
	case *SurveySeal:
		for i := range b.Gaps {
			one(&b.Gaps[i].Component)
		}
	case *Joint:
		list(b.Components)
	case *Measurement:
		one(&b.Component)
	case *Photo:
		list(b.Components)
	case *Fitting:
		one(&b.Component)
	case *Evidence:
		for i := range b.Bears {
			one(&b.Bears[i].Component)
		}
	case *Claim:
		one(&b.Component)
	case *Fault:
		list(b.Components)
	case *Opening:
		list(b.Behind)
	case *Option:
		changes(b.Changes)
	case *Work:
		changes(b.Changes)
		for i := range b.Fitted {
			one(&b.Fitted[i].Component)
		}
	case *RemovedPart:
		one(&b.Component)
	case *Search:
		one(&b.Component)
	case *StockPart:
		one(&b.Component)
	case *PartNumber:
		list(b.Fits)
	case *RecheckDue:
		list(b.Components)
	case *Check:
		list(b.Components)
	}
}

// Privates lists the withheld values of a body, so that they can be sealed on
// the way in and opened for those who may see them.
func Privates(b Body) []*Private {
	switch b := b.(type) {
	case *Machine:
		var out []*Private
		for i := range b.Numbers {
			out = append(out, &b.Numbers[i].AsRead)
		}
		return out
	case *Person:
		return []*Private{&b.Name, &b.Contact}
	case *CustodyAgreement:
		return []*Private{&b.Insurer, &b.Place}
	case *Evidence:
		return []*Private{&b.EstimateWithheld}
	case *Survey:
		return []*Private{&b.Read}
	case *RemovedPart:
		return []*Private{&b.Place}
	case *PartMove:
		return []*Private{&b.Place}
	case *SharedNumber:
		return []*Private{&b.Other}
	}
	return nil
}

// withArticle puts the article before a kind: "an opening", "a fault".
func withArticle(kind string) string {
	if strings.ContainsRune("aeiou", rune(kind[0])) && !strings.HasPrefix(kind, "usage") {
		return "an " + kind
	}
	return "a " + kind
}
