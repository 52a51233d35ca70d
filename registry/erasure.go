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
	// Means says how; records of before there were keys leave it out.
	Means string `json:"means,omitempty"`
	Why   string `json:"why"`
	By    string `json:"by"`
}

// MeansKey is the means of an erasure that destroyed the key which seals the
// documents, and the documents with it: no sealed copy can be opened any more.
const MeansKey = "key"

// Kind implements Body.
func (*Erasure) Kind() Kind { return "erasure" }

func (e *Erasure) check(fs *faults) {
	fs.id("/person", e.Person, false)
	fs.need("/why", e.Why, "It is not said why it was erased", "Write at whose wish, or by which rule.")
	fs.id("/by", e.By, false)
	if e.Means != "" && e.Means != MeansKey {
		fs.add("/means", e.Means, MeansKey, "This means of erasing is not known", "Leave it out; it is filled in.")
	}
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
	first := firstOf(d, person)
	var out []string
	for _, e := range d.Entries() {
		if p, ok := e.Body.(*Person); ok && firstOf(d, p.ID) == first {
			for _, v := range Privates(p) {
				if v.Digest != "" && !slices.Contains(out, v.Digest) {
					out = append(out, v.Digest)
				}
			}
		}
	}
	return out
}

// firstOf follows a person's record to the first of those that it corrects.
func firstOf(d *Dossier, id string) string {
	for range d.Entries() {
		e, ok := d.Entry(id)
		if !ok {
			break
		}
		p, ok := e.Body.(*Person)
		if !ok || p.Supersedes == "" {
			break
		}
		id = p.Supersedes
	}
	return id
}

// HolderOf is whose key seals what a body withholds: "MACHINE/PERSON" for a
// person's record, by the id of that person's first record, and "MACHINE" for
// every other. So what is the machine's outlives whoever asks to be forgotten.
// The body need not be in the dossier yet.
func HolderOf(d *Dossier, machine string, b Body) string {
	p, ok := b.(*Person)
	if !ok {
		return machine
	}
	first := p.ID
	if p.Supersedes != "" {
		first = firstOf(d, p.Supersedes)
	}
	return machine + "/" + first
}

// Holders says of every withheld value of a machine's record, by digest, whose
// key seals it.
func Holders(d *Dossier, machine string) map[string]string {
	out := map[string]string{}
	for _, e := range d.Entries() {
		for _, p := range Privates(e.Body) {
			if p.Digest != "" {
				out[p.Digest] = HolderOf(d, machine, e.Body)
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
