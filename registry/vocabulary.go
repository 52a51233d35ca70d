package registry

import (
	"slices"
	"strings"
)

// Proposition is a question that is asked of a component. Each has its own
// list of states; they are kept apart because a part can be the right one and
// ruined, or flawless and foreign.
type Proposition string

// The propositions.
const (
	// PropositionOrigin: where did the fitted part come from?
	PropositionOrigin Proposition = "origin"
	// PropositionFinish: what surface does it wear?
	PropositionFinish Proposition = "finish"
	// PropositionSpecification: is it as the maker's catalogue says?
	PropositionSpecification Proposition = "specification"
	// PropositionAssembly: did the assembly as a whole come with this machine?
	// It is asked of an assembly, not of a component.
	PropositionAssembly Proposition = "assembly"
)

// StateOther is the catch-all that every estimate carries beside its listed
// states: something nobody has thought of.
const StateOther = "other"

// Term is one word of the vocabulary with its meaning. The lists of terms are
// made once; callers must not change them.
type Term struct {
	ID      string `json:"id"`
	Meaning string `json:"meaning"`
}

// Origins are the states of PropositionOrigin. "undetermined" is a finding (we
// looked and cannot say), never a probability.
func Origins() []Term { return origins }

var origins = []Term{
	{"original", "left the factory on this machine"},
	{"period-service", "the maker's own service part, fitted while the machine was in service"},
	{"new-old-stock", "the maker's part, made then, unused until fitted later"},
	{"donor", "right type and date, taken from another machine"},
	{"period-accessory", "sold by others in period and fitted in service"},
	{"reproduction", "made later to look like the original"},
	{"substitute", "a modern part that does not pretend"},
	{"missing", "nothing is fitted there"},
	{"undetermined", "looked at, and it cannot be told"},
}

// Finishes are the states of PropositionFinish.
func Finishes() []Term { return finishes }

var finishes = []Term{
	{"untouched", "the surface it left the factory with, hardly worn"},
	{"worn", "the surface it left the factory with, worn by use and age"},
	{"cleaned", "the old surface, cleaned; dirt and deposits are gone"},
	{"consolidated", "the old surface, secured with wax, consolidant or inhibitor"},
	{"touched-in", "the old surface, with stated areas painted in"},
	{"refinished-period", "painted, plated or covered anew while in service, in the old way"},
	{"refinished", "painted, plated or covered anew later"},
	{"bare", "the surface is gone"},
	{"undetermined", "looked at, and it cannot be told"},
}

// Specifications are the states of PropositionSpecification.
func Specifications() []Term { return specifications }

var specifications = []Term{
	{"to-catalogue", "as the maker's catalogue lists it"},
	{"catalogue-option", "an option that the maker's catalogue offered"},
	{"period-change", "a change made while in service, of its time"},
	{"off-specification", "not as the catalogue, and not of its time"},
	{"undetermined", "looked at, and it cannot be told"},
}

// AssemblyStates are the states of PropositionAssembly.
func AssemblyStates() []Term { return assemblyStates }

var assemblyStates = []Term{
	{"intact", "the assembly that this machine was built with"},
	{"swapped", "an assembly that came from elsewhere as a whole"},
}

// Functions say whether a component does its job.
func Functions() []Term { return functions }

var functions = []Term{
	{"works", "does its job"},
	{"within-limits", "does its job within stated limits"},
	{"not-tested", "not tried"},
	{"fails", "does not do its job"},
	{"unsafe", "could hurt someone if used"},
}

// Custodies say where a part is.
func Custodies() []Term { return custodies }

var custodies = []Term{
	{"fitted", "on the machine"},
	{"kept-with-machine", "off the machine, tagged and stored with it, so that it can go back"},
	{"evidence-only", "kept as evidence or pattern, not for use"},
	{"elsewhere", "kept by somebody, away from the machine"},
	{"lost", "nobody knows where it is"},
	{"destroyed", "it exists no more"},
}

// Witnesses say whether a joint has ever been apart.
func Witnesses() []Term { return witnesses }

var witnesses = []Term{
	{"undisturbed", "paint, dirt line, seal or sealer bridges the joint unbroken"},
	{"disturbed", "the joint has been apart"},
	{"cannot-tell", "no sign either way"},
}

// EvidenceKinds are the kinds of thing that can speak for or against a claim.
func EvidenceKinds() []Term { return evidenceKinds }

var evidenceKinds = []Term{
	{"date-stamp", "a date struck, cast or printed on the part"},
	{"part-number", "the maker's number on the part"},
	{"factory-record", "a record of the works or its agent"},
	{"public-record", "registration, tax or insurance"},
	{"period-photograph", "a picture taken while in service"},
	{"invoice", "a bill, receipt or job sheet"},
	{"physical-trait", "form, wear, fret marks, layers, tool marks"},
	{"joint-witness", "a joint that shows whether it has been apart"},
	{"measurement", "a reading with an instrument"},
	{"comparison", "set against a known example or a sheltered face of the same machine"},
	{"opinion", "somebody's judgement"},
	{"recollection", "what somebody remembers"},
}

// States lists the states of a proposition that can bear a probability, in
// their fixed order: all terms but "undetermined".
func States(p Proposition) []string {
	var terms []Term
	switch p {
	case PropositionOrigin:
		terms = Origins()
	case PropositionFinish:
		terms = Finishes()
	case PropositionSpecification:
		terms = Specifications()
	case PropositionAssembly:
		terms = AssemblyStates()
	}
	var ids []string
	for _, t := range terms {
		if t.ID != "undetermined" {
			ids = append(ids, t.ID)
		}
	}
	return ids
}

// TermIDs gives the identifiers of terms.
func TermIDs(terms []Term) []string {
	ids := make([]string, len(terms))
	for i, t := range terms {
		ids[i] = t.ID
	}
	return ids
}

// checkTerm adds a fault to fs unless id is one of terms.
func checkTerm(fs *faults, pointer, id string, terms []Term) {
	if !slices.ContainsFunc(terms, func(t Term) bool { return t.ID == id }) {
		fs.add(pointer, id, strings.Join(TermIDs(terms), ", "), "This word is not in the vocabulary", "Use one of the listed words.")
	}
}
