package catalog

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/registry"
)

// sumTolerance is how far a distribution may miss 1.
const sumTolerance = 1e-9

// assurance finds the word that the program never says.
var assurance = regexp.MustCompile(`(?i)\bsafe(ly|r|st|ty)?\b`)

// check holds the whole, packs included, against itself: references resolve,
// distributions sum to 1, nothing is empty.
func (b *builder) check() {
	b.checkAnatomy()
	b.checkPriors()
	b.checkSigns()
	b.checkTreatments()
	b.checkCautions()
	b.checkStandpoints()
	b.checkGates()
	b.checkOpenings()
	b.checkRest()
	b.checkValue()
	b.checkSymptoms()
	b.checkMeasures()
	b.checkPublished()
	b.checkThreads()
	b.checkMarks()
}

// spot is one item while it is checked.
type spot struct {
	b  *builder
	at place
}

// spot finds where an item stands; the house's stand in "house".
func (b *builder) spot(section, key string) spot {
	if at, ok := b.places[section+"/"+key]; ok {
		return spot{b, at}
	}
	return spot{b, place{"house", "/" + section + "/" + escape(key)}}
}

func (s spot) add(pointer, found, allowed, message, fix string) {
	s.b.faults.add(s.at.to(pointer), found, allowed, message, fix)
}

func (s spot) id(pointer, id string) {
	if registry.CheckID("", id) != nil {
		s.add(pointer, quote(id), "1 to 64 of a–z, 0–9, '-', '.', '_', beginning with a letter or digit, no '..'", "The identifier cannot be used", "Choose a short name in small letters.")
	}
}

// text wants a sentence.
func (s spot) text(pointer, value string) {
	if strings.TrimSpace(value) == "" {
		s.add(pointer, quote(value), "a text", "The text is empty", "Write it.")
	}
}

// warning wants a sentence that promises nothing.
func (s spot) warning(pointer, value string) {
	s.text(pointer, value)
	if word := assurance.FindString(value); word != "" {
		s.add(pointer, quote(word), "any other word", "No text here may say that something is without danger", "Say what can hurt, and what is done against it.")
	}
}

func (s spot) oneOf(pointer, value string, allowed ...string) {
	if !slices.Contains(allowed, value) {
		s.add(pointer, quote(value), strings.Join(allowed, ", "), "This word is not one of the list", "Use one of the listed words.")
	}
}

func (s spot) term(pointer, value string, terms []registry.Term) {
	if !slices.ContainsFunc(terms, func(t registry.Term) bool { return t.ID == value }) {
		s.add(pointer, quote(value), known(terms), "This word is not in the vocabulary", "Use one of the listed words.")
	}
}

func (s spot) between(pointer string, v, low, high float64) {
	if !(v >= low && v <= high) {
		s.add(pointer, number(v), number(low)+" to "+number(high), "The number is out of range", "")
	}
}

// refers wants every id to lead somewhere.
func refers[T row[T]](s spot, pointer string, ids []string, t *table[T], what string) {
	for i, id := range ids {
		refer(s, pointer+"/"+strconv.Itoa(i), id, t, what)
	}
}

// refer wants an id to lead somewhere.
func refer[T row[T]](s spot, pointer, id string, t *table[T], what string) {
	if !t.has(id) {
		s.add(pointer, quote(id), "the ids of the "+what, "This leads nowhere", "Correct the id; second names do not count here.")
	}
}

// distribution wants known states and shares that sum to 1.
func (s spot) distribution(pointer string, p registry.Proposition, d map[string]float64) {
	states := registry.States(p)
	sum := 0.0
	for _, state := range sortedKeys(d) {
		if !slices.Contains(states, state) {
			s.add(pointer+"/"+escape(state), quote(state), strings.Join(states, ", "), "This state does not belong to the question", "")
		}
		s.between(pointer+"/"+escape(state), d[state], 0, 1)
		sum += d[state]
	}
	if !(math.Abs(sum-1) <= sumTolerance) {
		s.add(pointer, "a sum of "+number(sum), "a sum of 1", "The shares of the states must add up to 1", "Write every state; a distribution is replaced as a whole.")
	}
}

// full wants every state, each between 0 and 1.
func (s spot) full(pointer string, states []string, d map[string]float64) {
	for _, state := range sortedKeys(d) {
		if !slices.Contains(states, state) {
			s.add(pointer+"/"+escape(state), quote(state), strings.Join(states, ", "), "This state does not belong to the question", "")
		}
		s.between(pointer+"/"+escape(state), d[state], 0, 1)
	}
	for _, state := range states {
		if _, ok := d[state]; !ok {
			s.add(pointer+"/"+escape(state), "nothing", "0 to 1", "The number of this state is missing", "Write it.")
		}
	}
}

// rests wants a source or an assumption.
func (s spot) rests(b Basis) {
	if strings.TrimSpace(b.Source) == "" && strings.TrimSpace(b.Assumption) == "" {
		s.add("", "", "source, assumption", "It is not said on what this rests", "Name the published source, or write the assumption as a sentence.")
	}
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func (b *builder) checkAnatomy() {
	c := &b.c
	for _, g := range c.groups.rows {
		s := b.spot("groups", g.ID)
		s.id("/id", g.ID)
		s.text("/name", g.Name)
		s.rests(g.Basis)
	}
	codes, walk := map[string]string{}, map[int]string{}
	for _, x := range c.components.rows {
		s := b.spot("components", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.text("/name", x.Name)
		s.text("/first_check", x.FirstCheck)
		for i, h := range x.Hazards {
			s.warning("/hazards/"+strconv.Itoa(i), h)
		}
		if x.Code != "" {
			s.id("/code", x.Code)
			if other, taken := codes[x.Code]; taken || c.components.has(x.Code) {
				s.add("/code", quote(x.Code), "a name of its own", "The second name is taken by "+quote(other), "Choose another.")
			}
			codes[x.Code] = x.ID
		}
		refer(s, "/group", x.Group, &c.groups, "groups")
		refer(s, "/prior", x.Prior, &c.priors, "prior classes")
		refers(s, "/cautions", x.Cautions, &c.cautions, "cautions")
		s.oneOf("/marking", x.Marking, "none", "number", "date", "part", "cast")
		s.oneOf("/consumable", x.Consumable, "no", "wear", "consumable")
		if len(x.Sides) == 0 {
			s.add("/sides", "[]", "left, right, front, rear, above, below, inside", "It is not said from where it is seen", "")
		}
		for i, side := range x.Sides {
			s.oneOf("/sides/"+strconv.Itoa(i), side, "left", "right", "front", "rear", "above", "below", "inside")
		}
		s.oneOf("/station", x.Station, registry.TermIDs(Stations())...)
		if other, taken := walk[x.Walk]; taken || x.Walk < 1 {
			s.add("/walk", strconv.Itoa(x.Walk), "a whole number from 1 that no other component has", "The place in the walk is missing or taken by "+quote(other), "Choose a number above those of the house.")
		}
		walk[x.Walk] = x.ID
		b.checkWeights(s, x)
	}
	for _, a := range c.assemblies.rows {
		s := b.spot("assemblies", a.ID)
		s.id("/id", a.ID)
		s.text("/name", a.Name)
		s.rests(a.Basis)
		s.between("/intact", a.Intact, 0, 1)
		for _, p := range questions {
			if d, ok := a.IfSwapped[p]; ok || a.Intact < 1 {
				s.distribution("/if_swapped/"+string(p), p, d)
			}
		}
		for p := range a.IfSwapped {
			s.oneOf("/if_swapped", string(p), "origin", "finish", "specification")
		}
	}
}

// questions are those that are asked of a component.
var questions = [...]registry.Proposition{registry.PropositionOrigin, registry.PropositionFinish, registry.PropositionSpecification}

func (b *builder) checkWeights(s spot, x Component) {
	s.between("/points", x.Points, 0, 1e6)
	scores := false
	for _, index := range Indices() {
		w := x.Indices.Of(index)
		s.between("/indices/"+index, w, 0, 1e6)
		if w <= 0 {
			continue
		}
		scores = true
		if i, ok := b.c.priors.at[x.Prior]; ok && b.c.priors.rows[i].Shares[PropositionOf(index)] == nil {
			s.add("/prior", quote(x.Prior), "a class with a prior for "+string(PropositionOf(index)), "It counts in "+index+", but its class has no prior for that", "")
		}
	}
	switch {
	case x.Consumable == "consumable" && (x.Points != 0 || scores):
		s.add("/points", number(x.Points), "0", "A consumable scores nothing", "Set points and all indices to 0, or call it wear.")
	case x.SurfaceOnly && (x.Indices.Substance != 0 || x.Indices.Surface != x.Points):
		s.add("/indices", number(x.Indices.Substance)+" and "+number(x.Indices.Surface), "substance 0 and surface "+number(x.Points), "What is only a surface has its points there", "")
	case !x.SurfaceOnly && x.Indices.Substance != x.Points:
		s.add("/indices/substance", number(x.Indices.Substance), number(x.Points), "The substance of a component is its points", "Change points and indices together.")
	}
	if scores {
		refer(s, "/assembly", x.Assembly, &b.c.assemblies, "assemblies")
	} else if x.Assembly != "" {
		s.add("/assembly", quote(x.Assembly), "none", "What scores nothing belongs to no assembly", "Leave the field out.")
	}
}

func (b *builder) checkPriors() {
	for _, p := range b.c.priors.rows {
		s := b.spot("priors", p.ID)
		s.id("/id", p.ID)
		s.text("/name", p.Name)
		s.rests(p.Basis)
		s.between("/other", p.Other, 0, 0.5)
		for _, q := range questions {
			if d, ok := p.Shares[q]; ok {
				s.distribution("/shares/"+string(q), q, d)
			}
		}
		for q := range p.Shares {
			s.oneOf("/shares", string(q), "origin", "finish", "specification")
		}
	}
}

func (b *builder) checkSigns() {
	for _, x := range b.c.signs.rows {
		s := b.spot("signs", x.ID)
		s.id("/id", x.ID)
		s.id("/cluster", x.Cluster)
		s.rests(x.Basis)
		s.text("/sentence", x.Sentence)
		s.term("/evidence", x.Evidence, registry.EvidenceKinds())
		s.between("/reliability", x.Reliability, 0, 1)
		states := registry.States(x.Proposition)
		if states == nil {
			s.add("/proposition", quote(string(x.Proposition)), "origin, finish, specification, assembly", "There is no such question", "")
			continue
		}
		s.full("/likelihood", states, x.Likelihood)
		if !slices.ContainsFunc(states, func(st string) bool { return x.Likelihood[st] > 0 }) {
			s.add("/likelihood", "only zeros", "at least one above 0", "By these numbers the sign can never be found", "")
		}
	}
	for _, x := range b.c.survey.rows {
		s := b.spot("survey", x.key())
		s.rests(x.Basis)
		s.term("/evidence", x.Evidence, registry.EvidenceKinds())
		s.id("/cluster", x.Cluster)
		s.between("/reliability", x.Reliability, 0, 1)
		states := registry.States(x.Proposition)
		for i, f := range x.Facts {
			s.oneOf("/facts/"+strconv.Itoa(i), f, states...)
		}
		for _, state := range states {
			s.distribution("/given/"+state, x.Proposition, x.Given[state])
		}
		if len(x.Given) != len(states) {
			s.add("/given", strconv.Itoa(len(x.Given))+" states", strconv.Itoa(len(states))+" states", "The table needs a row for every state and no other", "")
		}
	}
}

func (b *builder) checkTreatments() {
	for _, x := range b.c.treatments.rows {
		s := b.spot("treatments", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		if x.Rung < 0 {
			s.add("/rung", strconv.Itoa(x.Rung), "0 or more", "The rung is out of range", "")
		}
		s.warning("/title", x.Title)
		s.warning("/sentence", x.Sentence)
		s.warning("/substance_kept", x.SubstanceKept)
		s.warning("/reversible_why", x.ReversibleWhy)
		s.warning("/when", x.When)
		s.warning("/undo", x.Undo)
		s.oneOf("/reversible", x.Reversible, "yes", "partly", "no")
		for i, t := range x.InHandFirst {
			s.warning("/in_hand_first/"+strconv.Itoa(i), t)
		}
		for i, a := range x.Acts {
			s.term("/acts/"+strconv.Itoa(i), a, Acts())
		}
		if len(x.After) == 0 && len(x.Keeps) == 0 {
			s.add("", "", "after, keeps", "It is not said what it does to the states or the credit", "")
		}
		for _, p := range questions {
			d, replaced := x.After[p]
			if replaced {
				s.distribution("/after/"+string(p), p, d)
			}
			keeps, kept := x.Keeps[p]
			if kept && (len(keeps) != 2 || !(0 <= keeps[0] && keeps[0] <= keeps[1] && keeps[1] <= 1)) {
				s.add("/keeps/"+string(p), show(keeps), "the lowest and the highest share, 0 to 1", "The range of what stays is not one", "")
			}
			if replaced && kept {
				s.add("/keeps/"+string(p), "", "after or keeps", "The states are replaced and the credit kept at once", "Keep one of them.")
			}
		}
		if x.Keep != nil {
			s.term("/keep/custody", x.Keep.Custody, registry.Custodies())
			s.between("/keep/loss_per_year", x.Keep.LossPerYear, 0, 1)
			s.between("/keep/years", x.Keep.Years, 0, 1000)
			s.between("/keep/refit_chance", x.Keep.RefitChance, 0, 1)
		}
		if x.ReplacesPart != (x.Keep != nil) {
			s.add("/keep", "", "one when a part comes off, none otherwise", "It is not said what becomes of the part that comes off", "")
		}
	}
}

func (b *builder) checkCautions() {
	c := &b.c
	for _, x := range c.cautions.rows {
		s := b.spot("cautions", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.warning("/title", x.Title)
		s.warning("/text", x.Text)
		s.text("/jurisdiction", x.Jurisdiction)
		s.text("/date", x.Date)
		s.oneOf("/level", x.Level, LevelNote, LevelAcknowledge, LevelStop)
		for i, t := range x.Also {
			s.warning("/also/"+strconv.Itoa(i), t)
		}
		if len(x.Triggers) == 0 {
			s.add("/triggers", "[]", "at least one", "The caution never appears", "Say when it does.")
		}
		for i, t := range x.Triggers {
			p := "/triggers/" + strconv.Itoa(i)
			refers(s, p+"/components", t.Components, &c.components, "components")
			refers(s, p+"/groups", t.Groups, &c.groups, "groups")
			refers(s, p+"/treatments", t.Treatments, &c.treatments, "treatments")
			refers(s, p+"/gates", t.Gates, &c.gates, "gates")
			for j, a := range t.Acts {
				s.term(p+"/acts/"+strconv.Itoa(j), a, Acts())
			}
			for j, m := range t.Materials {
				s.term(p+"/materials/"+strconv.Itoa(j), m, Materials())
			}
			if len(t.Components)+len(t.Groups)+len(t.Acts)+len(t.Treatments)+len(t.Gates)+len(t.Materials) == 0 {
				s.add(p, "{}", "at least one list", "This would show the caution at every step", "Say at which steps.")
			}
		}
	}
}

func (b *builder) checkStandpoints() {
	for _, x := range b.c.standpoints.rows {
		s := b.spot("standpoints", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.text("/title", x.Title)
		s.text("/sentence", x.Sentence)
		s.text("/version", x.Version)
		s.text("/limits", x.Limits)
		s.oneOf("/weights", x.Weights, "anatomy")
		s.between("/coverage", x.Coverage, 0.6, 1)
		for _, p := range questions {
			states := append(registry.States(p), registry.StateOther)
			s.full("/credits/"+string(p), states, x.Credits[p])
			for _, state := range states {
				if v := x.Credits[p][state] * 20; math.Abs(v-math.Round(v)) > 1e-9 {
					s.add("/credits/"+string(p)+"/"+state, number(x.Credits[p][state]), "steps of 0.05", "A credit is counted in twentieths, so that the index is exact", "Round it.")
				}
			}
		}
	}
	if !b.c.standpoints.has(DefaultStandpoint) {
		b.spot("standpoints", DefaultStandpoint).add("", "nothing", "", "The default standpoint is missing", "")
	}
}

func (b *builder) checkGates() {
	c := &b.c
	for _, x := range c.gates.rows {
		s := b.spot("gates", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.warning("/title", x.Title)
		s.warning("/sentence", x.Sentence)
		s.warning("/left_to_others", x.LeftToOthers)
		for i, t := range x.Also {
			s.warning("/also/"+strconv.Itoa(i), t)
		}
		seen := map[string]bool{}
		for i, k := range x.Checks {
			p := "/checks/" + strconv.Itoa(i)
			s.id(p+"/id", k.ID)
			s.warning(p+"/what", k.What)
			refers(s, p+"/components", k.Components, &c.components, "components")
			if seen[k.ID] {
				s.add(p+"/id", quote(k.ID), "each once", "The check stands twice", "")
			}
			seen[k.ID] = true
		}
		if x.LeastChecks < 0 || x.LeastChecks > len(x.Checks) {
			s.add("/least_checks", strconv.Itoa(x.LeastChecks), "0 to "+strconv.Itoa(len(x.Checks)), "More checks are asked for than are listed", "")
		}
		refers(s, "/sound", x.Sound, &c.components, "components")
		refers(s, "/cautions", x.Cautions, &c.cautions, "cautions")
		if x.Instead != "" {
			refer(s, "/instead", x.Instead, &c.gates, "gates")
		}
	}
}

func (b *builder) checkOpenings() {
	c := &b.c
	for _, x := range c.openings.rows {
		s := b.spot("openings", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.warning("/title", x.Title)
		s.between("/hours", x.Hours, 0, 1000)
		s.between("/lead_days", x.LeadDays, 0, 10000)
		s.between("/witness_points", x.WitnessPoints, 0, 1000)
		if x.Money.Amount.IsNeg() {
			s.add("/money/amount", x.Money.Amount.String(), "0 or more", "The amount cannot be negative", "")
		}
		for i, j := range x.Joints {
			s.id("/joints/"+strconv.Itoa(i), j)
		}
		refers(s, "/seen_at", x.SeenAt, &c.components, "components")
		refers(s, "/requires", x.Requires, &c.openings, "openings")
		refers(s, "/behind", x.Behind, &c.components, "components")
		refers(s, "/cautions", x.Cautions, &c.cautions, "cautions")
		for i, n := range x.Needs {
			s.text("/needs/"+strconv.Itoa(i)+"/what", n.What)
		}
		if c.leadsBack(x.ID, x.ID, map[string]bool{}) {
			s.add("/requires", strings.Join(x.Requires, ", "), "openings that do not need this one", "The openings require one another in a ring", "")
		}
	}
}

// leadsBack says whether what an opening requires leads to another in the end.
func (c *Catalog) leadsBack(from, to string, seen map[string]bool) bool {
	if seen[from] {
		return false
	}
	seen[from] = true
	i, ok := c.openings.at[from]
	return ok && slices.ContainsFunc(c.openings.rows[i].Requires, func(r string) bool { return r == to || c.leadsBack(r, to, seen) })
}

func (b *builder) checkRest() {
	c := &b.c
	for _, x := range c.conditions.rows {
		s := b.spot("conditions", x.key())
		s.rests(x.Basis)
		s.text("/title", x.Title)
		s.text("/sentence", x.Sentence)
		s.between("/step", float64(x.Step), 0, 5)
	}
	walk := map[int]string{}
	for _, x := range c.photos.rows {
		s := b.spot("photos", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.text("/title", x.Title)
		s.text("/must_show", x.MustShow)
		refers(s, "/components", x.Components, &c.components, "components")
		if other, taken := walk[x.Walk]; taken || x.Walk < 1 {
			s.add("/walk", strconv.Itoa(x.Walk), "a whole number from 1 that no other picture has", "The place in the walk is missing or taken by "+quote(other), "Choose a number above those of the house.")
		}
		walk[x.Walk] = x.ID
	}
	for _, x := range c.words.rows {
		s := b.spot("words", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.text("/word", x.Word)
		s.text("/explanation", x.Explanation)
	}
}
