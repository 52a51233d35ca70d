package registry

// SecondSignature says that the second person whom a record names looked at it
// and agreed, by an account of their own. Without one, the second name stands
// there because the first person typed it.
type SecondSignature struct {
	Common
	On      string `json:"on"`   // the record that is signed
	Hash    string `json:"hash"` // the leaf hash of its event: what was signed, to the letter
	By      string `json:"by"`
	Account string `json:"account"` // whose sign-in it was
}

func (*SecondSignature) Kind() Kind { return "second-signature" }

func (s *SecondSignature) check(fs *faults) {
	fs.id("/on", s.On, false)
	if !CheckDigest("sha256:" + s.Hash) {
		fs.add("/hash", s.Hash, "64 hex figures", "The hash of what is signed is missing", "Take it from the record that is shown.")
	}
	fs.id("/by", s.By, false)
	fs.id("/account", s.Account, false)
}

// TwoNames gives the two people of a record that may name a second one.
func TwoNames(b Body) (first, second string) {
	switch b := b.(type) {
	case *Check:
		return b.By, b.Second
	case *Gate:
		return b.By, b.Second
	case *Work:
		return b.By, b.Second
	case *Survey:
		return b.By, b.Second
	}
	return "", ""
}

// SecondSigned finds the signature of the second person under a record.
func (d *Dossier) SecondSigned(record string) (Found[*SecondSignature], bool) {
	for _, s := range Live[*SecondSignature](d) {
		if s.Record.On == record {
			return s, true
		}
	}
	return Found[*SecondSignature]{}, false
}

// ToSign lists what waits for the signature of its second person, in the order
// of recording. Gates that were taken back wait for nobody.
func (d *Dossier) ToSign(r *Rules) []*Entry {
	stands := map[string]bool{}
	for _, g := range d.GatesPassed(r) {
		stands[g.RecordID()] = true
	}
	var out []*Entry
	for _, e := range d.entries {
		first, second := TwoNames(e.Body)
		if !e.Live() || second == "" || second == first || e.Kind == "gate" && !stands[e.RecordID()] {
			continue
		}
		if _, signed := d.SecondSigned(e.RecordID()); !signed {
			out = append(out, e)
		}
	}
	return out
}

// CheckSecond says why a second signature does not hold on the dossier as it
// stood before it; nil when it holds. CodeRefused or CodeConflict otherwise.
func (d *Dossier) CheckSecond(s *SecondSignature) error {
	e, ok := d.Entry(s.On)
	if !ok || !e.Live() {
		return Refuse(CodeConflict, "Look at what waits to be signed now.", "The record %q is not in force any more", s.On)
	}
	first, second := TwoNames(e.Body)
	switch {
	case second == "":
		return Refuse(CodeRefused, "Let whoever recorded it name the second person.", "The record %q names no second person", s.On)
	case s.By == first || s.By == e.Actor || s.Account == e.Actor:
		return Refuse(CodeRefused, "Let the second person sign in and look at it.", "The same person cannot be both: %q recorded it", s.By)
	case s.By != second:
		return Refuse(CodeRefused, "Let that person sign, or correct the record.", "The record %q names %q as the second person", s.On, second)
	case s.Hash != e.Hash:
		return Refuse(CodeConflict, "Look at it again and sign what stands there.", "The record %q is not the one that was shown", s.On)
	}
	if signed, ok := d.SecondSigned(s.On); ok {
		return Refuse(CodeConflict, "", "The record %q was signed already, on %s", s.On, signed.Recorded.UTC().Format("2 January 2006"))
	}
	return nil
}
