package registry

import (
	"fmt"
	"slices"
)

// Erasure says that what was withheld of a person was destroyed, at that
// person's wish or by the law: name and address can never be read again. The
// events keep their digests, so the record still verifies, and a value that is
// missing for another reason is told apart from one that was erased.
type Erasure struct {
	Common
	Person string `json:"person"`
	// Digests are those of the destroyed documents; filled in.
	Digests []string `json:"digests"`
	Why     string   `json:"why"`
	By      string   `json:"by"`
}

// Kind implements Body.
func (*Erasure) Kind() Kind { return "erasure" }

func (e *Erasure) check(fs *faults) {
	fs.id("/person", e.Person, false)
	fs.need("/why", e.Why, "It is not said why it was erased", "Write at whose wish, or by which rule.")
	fs.id("/by", e.By, false)
	if len(e.Digests) == 0 {
		fs.add("/digests", "", "at least one digest", "There is nothing to erase", "")
	}
	for i, d := range e.Digests {
		if !CheckDigest(d) {
			fs.add(fmt.Sprintf("/digests/%d", i), d, `"sha256:" and 64 figures`, "This is not a digest", "")
		}
	}
}

func decideErasure(d *Dossier, e *Erasure) error {
	held := PersonDigests(d, e.Person)
	for i, digest := range e.Digests {
		if !slices.Contains(held, digest) {
			return invalid(e, fmt.Sprintf("/digests/%d", i), digest, "the digests of that person's records", "This is withheld of somebody else", "")
		}
	}
	return nil
}

// PersonDigests are the digests of all that is withheld of a person, in every
// version of the person's record.
func PersonDigests(d *Dossier, person string) []string {
	same := map[string]bool{person: true}
	for changed := true; changed; {
		changed = false
		for _, e := range d.Entries() {
			p, ok := e.Body.(*Person)
			if !ok || p.Supersedes == "" || same[p.ID] == same[p.Supersedes] {
				continue
			}
			same[p.ID], same[p.Supersedes], changed = true, true, true
		}
	}
	var out []string
	for _, e := range d.Entries() {
		if p, ok := e.Body.(*Person); ok && same[p.ID] {
			for _, v := range Privates(p) {
				if v.Digest != "" && !slices.Contains(out, v.Digest) {
					out = append(out, v.Digest)
				}
			}
		}
	}
	return out
}

// NamesPerson says whether a body names a person by id, or is that person's
// record.
func NamesPerson(b Body, person string) bool {
	if p, ok := b.(*Person); ok && p.ID == person {
		return true
	}
	return slices.ContainsFunc(references(b), func(r reference) bool { return r.kind == "person" && r.id == person })
}

// Erased are the digests of all that was erased from a machine's record.
func Erased(d *Dossier) map[string]bool {
	out := map[string]bool{}
	for _, e := range d.Entries() {
		if x, ok := e.Body.(*Erasure); ok {
			for _, digest := range x.Digests {
				out[digest] = true
			}
		}
	}
	return out
}
