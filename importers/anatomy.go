package importers

import (
	"slices"
	"strings"

	"example.org/asfound/registry"
)

// Anatomy is what the importers must know of machines in general. Make it once
// with NewAnatomy; it does not change and may be shared.
type Anatomy struct {
	components []Component
	assemblies []string
	signs      map[string]registry.Proposition
	signIDs    []string
	byName     map[string][]string // folded id, code or name → ids
	spellings  []string
}

// Component is one position of the anatomy.
type Component struct {
	ID    string
	Code  string // a short second name, such as "fuel-033"
	Name  string
	Group string
}

// NewAnatomy takes components in the order in which a surveyor walks round
// them, the assemblies, and the signs with the question each speaks to. Without
// signs, every sign is taken as it is written.
func NewAnatomy(components []Component, assemblies []string, signs map[string]registry.Proposition) *Anatomy {
	a := &Anatomy{components: components, assemblies: assemblies, signs: signs, byName: map[string][]string{}}
	for _, c := range components {
		for _, n := range []string{c.ID, c.Code, c.Name} {
			if key := foldName(n); key != "" && !slices.Contains(a.byName[key], c.ID) {
				a.byName[key] = append(a.byName[key], c.ID)
				a.spellings = append(a.spellings, n)
			}
		}
	}
	for id := range signs {
		a.signIDs = append(a.signIDs, id)
	}
	slices.Sort(a.signIDs)
	return a
}

// AnatomyOf makes an Anatomy of the rules that records are decided by, in the
// order of the components' ids. Every alias is understood.
func AnatomyOf(r *registry.Rules) *Anatomy {
	var components []Component
	codes := map[string]string{}
	for alias, id := range r.Aliases {
		if codes[id] == "" || alias < codes[id] {
			codes[id] = alias
		}
	}
	for id, c := range r.Components {
		components = append(components, Component{ID: id, Code: codes[id], Name: c.Name})
	}
	slices.SortFunc(components, func(x, y Component) int { return strings.Compare(x.ID, y.ID) })
	var assemblies []string
	for id := range r.Assemblies {
		assemblies = append(assemblies, id)
	}
	slices.Sort(assemblies)
	a := NewAnatomy(components, assemblies, r.Signs)
	for alias, id := range r.Aliases {
		if key := foldName(alias); key != "" && !slices.Contains(a.byName[key], id) {
			a.byName[key] = append(a.byName[key], id)
		}
	}
	return a
}

// Components lists the positions in their order. The caller must not change
// the slice.
func (a *Anatomy) Components() []Component { return a.components }

// find gives the ids that a text can mean.
func (a *Anatomy) find(text string) []string { return a.byName[foldName(text)] }

// assembly says whether a text names an assembly.
func (a *Anatomy) assembly(text string) (string, bool) {
	for _, id := range a.assemblies {
		if foldName(id) == foldName(text) {
			return id, true
		}
	}
	return "", false
}

// sign finds a sign; ok is false when it is not known. Without any signs, all
// are taken.
func (a *Anatomy) sign(text string) (string, registry.Proposition, bool) {
	id := foldTerm(text)
	p, ok := a.signs[id]
	if !ok {
		p, ok = a.signs[text]
		if ok {
			id = text
		}
	}
	if len(a.signs) == 0 {
		return id, "", !strings.ContainsAny(id, " \t")
	}
	return id, p, ok
}

// foldName makes spellings of a name alike: small letters, one space.
func foldName(s string) string {
	if isID(s) {
		return s
	}
	return strings.Join(strings.Fields(strings.ToLower(s)), " ")
}

// isID says whether a text holds nothing but what an identifier may hold.
func isID(s string) bool {
	for i := range len(s) {
		if c := s[i]; !(c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '-' || c == '_' || c == '.') {
			return false
		}
	}
	return true
}
