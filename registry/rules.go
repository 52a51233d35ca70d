package registry

// Rules are what Decide must know of machines in general. The catalog makes
// them; a pack may change them.
type Rules struct {
	// Components by id.
	Components map[string]ComponentRule
	// Aliases maps other names of a component to its id.
	Aliases map[string]string
	// Assemblies by id.
	Assemblies map[string]bool
	// Treatments by id.
	Treatments map[string]TreatmentRule
	// Signs maps each sign to the proposition that it speaks to.
	Signs map[string]Proposition
	// Gates in their order.
	Gates []GateRule
	// Cautions by id.
	Cautions map[string]bool
	// Observations of the symptom library by id; Causes and Tests with the
	// components in which they sit or on which they are made.
	Observations map[string]ObservationRule
	Causes       map[string][]string
	Tests        map[string][]string
	// Reveals names for each test the observation that it answers; a trial of a
	// cure has none.
	Reveals map[string]string
	// Registry is the name of the registry that records, as its key has it; ""
	// where nobody records.
	Registry string
}

// ObservationRule is what Decide must know of one observation: the unit and the
// usual range of its reading, if it has one.
type ObservationRule struct {
	Unit      string
	Low, High float64
}

// ComponentRule is what Decide must know of one component.
type ComponentRule struct {
	Name            string
	IdentityBearing bool // needs a second signature and pictures
	Consumable      bool // replaced freely; scores nothing
}

// TreatmentRule is what Decide must know of one rung of the ladder.
type TreatmentRule struct {
	Title      string
	Reversible bool
	// OwnApproval marks a rung that must have been offered and approved by name.
	OwnApproval bool
}

// GateRule is one step towards riding.
type GateRule struct {
	ID    string
	Title string
	// Seal needs the as-found survey to be sealed.
	Seal bool
	// Picture needs at least one photo.
	Picture bool
	// SecondName needs a second person.
	SecondName bool
	// Checks is how many passed checks must be named, at least, and Kinds which
	// checks are the gate's own.
	Checks int
	Kinds  []string
	// Sound lists components that must not be recorded as failing, unsafe or
	// untested when the gate is passed.
	Sound []string
	// Instead names a gate that ends the ladder in place of this one.
	Instead string
}

// Component finds a component by id or by another of its names.
func (r *Rules) Component(name string) (id string, rule ComponentRule, ok bool) {
	if id, ok := r.Aliases[name]; ok {
		name = id
	}
	rule, ok = r.Components[name]
	return name, rule, ok
}
