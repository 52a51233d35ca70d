package registry

import (
	"fmt"
	"slices"
	"strings"
)

// Permission is the leave of an owner for something that goes beyond the care
// of the machine. It is taken back by a withdrawal, and then nothing new may
// rest on it; what was done under it stays.
type Permission struct {
	Common
	For     string `json:"for"`      // of PermissionPurposes
	GivenBy string `json:"given_by"` // person who may decide for the machine
	How     string `json:"how"`      // how it was given, and where that can be looked up
	// Prices says that prices may be seen and used too, where sales are shared.
	Prices bool   `json:"prices,omitempty"`
	By     string `json:"by"`
}

// What a permission may be for.
const (
	ForSharingSales = "share-sales"
	ForTransfer     = "transfer"
)

// PermissionPurposes lists them.
func PermissionPurposes() []Term {
	return []Term{{ForSharingSales, "the comparable sales on this record may be used for other machines of the registry"},
		{ForTransfer, "the record may be handed over to another registry"}}
}

// Kind implements Body.
func (*Permission) Kind() Kind { return "permission" }

func (p *Permission) check(fs *faults) {
	checkTerm(fs, "/for", p.For, PermissionPurposes())
	fs.id("/given_by", p.GivenBy, false)
	fs.need("/how", p.How, "It is not said how the permission was given", "Write \"by letter of 3 March\", or who heard it.")
	fs.id("/by", p.By, false)
	if p.Prices && p.For != ForSharingSales {
		fs.add("/prices", "true", "only with "+ForSharingSales, "Prices belong to the sharing of sales", "Leave it out.")
	}
}

func decidePermission(d *Dossier, p *Permission) error {
	if !d.MayDecide(p.GivenBy) {
		return invalid(p, "/given_by", p.GivenBy, "an owner or executor on record", "This person may not decide for this machine", "Ask the owner of record.")
	}
	return nil
}

// Permitted gives the last permission for a purpose that was not taken back.
func (d *Dossier) Permitted(purpose string) (Found[*Permission], bool) {
	all := Live[*Permission](d)
	for _, p := range slices.Backward(all) {
		if p.Record.For == purpose {
			return p, true
		}
	}
	return Found[*Permission]{}, false
}

// SharedNumber says what is to be thought of a number that another machine of
// the registry has too. The last statement in force counts.
type SharedNumber struct {
	Common
	Where string `json:"where"` // frame, engine, …, as the machines' records have it
	// Other is the other machine's name in this registry; withheld, since who
	// sees this machine need not know of that one.
	Other Private `json:"other"`
	Says  string  `json:"says"` // of SharedNumberAnswers
	Why   string  `json:"why"`
	By    string  `json:"by"`
}

// SharedNumberAnswers are what may be said of it.
func SharedNumberAnswers() []Term {
	return []Term{{"same-machine", "one machine stands in the registry twice"},
		{"different-machines", "two machines truly bear this number"},
		{"one-is-wrong", "one of the two readings, or one of the stampings, is wrong"}}
}

// Kind implements Body.
func (*SharedNumber) Kind() Kind { return "shared-number" }

func (s *SharedNumber) check(fs *faults) {
	fs.need("/where", s.Where, "It is not said where the number stands", "Write frame, engine, gearbox or another place.")
	if s.Other.IsZero() {
		fs.add("/other", "", "", "The other machine is missing", "Name it as the registry does.")
	}
	checkTerm(fs, "/says", s.Says, SharedNumberAnswers())
	fs.need("/why", s.Why, "It is not said why", "Write what was looked at, and by whom.")
	fs.id("/by", s.By, false)
}

// Transfer says that a machine's record went from one registry to another. The
// giving one records it as "out"; its history up to there is taken over as the
// same bytes by the receiving one, which goes on with "in".
type Transfer struct {
	Common
	Direction string `json:"direction"` // TransferOut or TransferIn
	// Registry is the name of the registry that records this.
	Registry string `json:"registry"`
	// Permission names the owner's permission under which it went out; Because
	// says why it went without one.
	Permission string `json:"permission,omitempty"`
	Because    string `json:"because,omitempty"`
	By         string `json:"by,omitempty"`
	// From is what the giving registry signed; only with "in".
	From *Handover `json:"from,omitempty"`
	// Lacks are the catalogs of recorded figures that the receiving registry
	// does not have in this version: the figures stand, and are not made anew.
	Lacks []string `json:"lacks,omitempty"`
}

// The directions of a transfer.
const (
	TransferOut = "out"
	TransferIn  = "in"
)

// Handover is the signed end of a history in the registry that it came from.
type Handover struct {
	Origin      string `json:"origin"`          // registry and machine, as in its checkpoint
	Key         string `json:"key"`             // the public key line that the checkpoint was checked with
	Fingerprint string `json:"key_fingerprint"` // of that line
	Size        uint64 `json:"size"`            // number of events
	Root        string `json:"root"`            // of those events, base64
	Checkpoint  string `json:"checkpoint"`      // the signed note, whole
}

// Kind implements Body.
func (*Transfer) Kind() Kind { return "transfer" }

func (t *Transfer) check(fs *faults) {
	checkTerm(fs, "/direction", t.Direction, []Term{{TransferOut, "handed over"}, {TransferIn, "taken over"}})
	fs.need("/registry", t.Registry, "It is not said which registry records this", "Let the program do it.")
	fs.id("/permission", t.Permission, true)
	// Whoever takes a record over need not be a person of it yet.
	fs.id("/by", t.By, t.Direction == TransferIn)
	switch t.Direction {
	case TransferOut:
		if t.Permission == "" && strings.TrimSpace(t.Because) == "" {
			fs.add("/because", "", "", "It is handed over without the owner's permission, and no reason is given", "Record the permission first, or say why it goes without one.")
		}
		if t.From != nil {
			fs.add("/from", "", "only with in", "A record that goes out comes from nowhere", "Leave it out.")
		}
	case TransferIn:
		if t.From == nil {
			fs.add("/from", "", "", "What the giving registry signed is missing", "Let the program take the record over from a bundle.")
			return
		}
		fs.need("/from/origin", t.From.Origin, "The origin is missing", "")
		fs.need("/from/key", t.From.Key, "The key is missing", "")
		fs.need("/from/key_fingerprint", t.From.Fingerprint, "The fingerprint is missing", "")
		fs.need("/from/root", t.From.Root, "The root is missing", "")
		fs.need("/from/checkpoint", t.From.Checkpoint, "The signed checkpoint is missing", "")
		if t.From.Size == 0 {
			fs.add("/from/size", "0", "1 or more", "The history that was handed over is empty", "")
		}
	}
}

// MovedTo says that a record is kept on elsewhere than in the registry of this
// name: it was handed over, or another registry has taken it over since. A
// registry that took another name since it took the record over still has it.
func (d *Dossier) MovedTo(registry string) (Found[*Transfer], bool) {
	all := Live[*Transfer](d)
	if len(all) == 0 {
		return Found[*Transfer]{}, false
	}
	last := all[len(all)-1]
	if last.Record.Direction == TransferOut {
		return last, true
	}
	ours := func(t Found[*Transfer]) bool {
		return t.Record.Direction == TransferOut && t.Record.Registry == registry
	}
	return last, last.Record.Registry != registry && slices.ContainsFunc(all, ours)
}

// checkMoved refuses new records on a copy whose record is kept on elsewhere,
// but for taking the handing over back, for the other registry's taking over,
// and for erasing what is withheld of a person.
func checkMoved(d *Dossier, r *Rules, b Body) error {
	last, moved := d.MovedTo(r.Registry)
	if !moved {
		return nil
	}
	switch b := b.(type) {
	case *Erasure:
		return nil
	case *Transfer:
		if b.Direction == TransferIn && last.Record.Direction == TransferOut {
			return nil
		}
	case *Withdrawal:
		if b.Record == last.RecordID() && last.Record.Direction == TransferOut && last.Record.Registry == r.Registry {
			return nil
		}
	}
	return Refuse(CodeRefused, "Record it in the registry that has the machine now. If nobody has taken it over, take the handing over back first.",
		"The record of this machine was handed over on %s, and is kept on elsewhere", last.Recorded.UTC().Format("2 January 2006"))
}

func decideTransfer(d *Dossier, r *Rules, t *Transfer) error {
	last, moved := d.MovedTo(r.Registry)
	if t.Registry != r.Registry {
		return invalid(t, "/registry", t.Registry, r.Registry, "Another registry is named than the one that records this", "Let the program do it.")
	}
	if t.Direction == TransferOut {
		if t.Permission == "" {
			return nil
		}
		if p, ok := Get[*Permission](d, t.Permission); !ok || p.Record.For != ForTransfer {
			return invalid(t, "/permission", t.Permission, "a permission for a transfer", "This is no permission to hand the record over", "Record the owner's permission first.")
		}
		return nil
	}
	if !moved || last.Record.Direction != TransferOut {
		return Refuse(CodeRefused, "Ask the registry that has the machine to hand it over.", "The record was not handed over: nothing says that its registry has let it go")
	}
	if t.From.Size != d.Version() {
		return invalid(t, "/from/size", fmt.Sprint(t.From.Size), fmt.Sprint(d.Version()), "The checkpoint is not over the history that was taken over", "Let the program take the record over from a bundle.")
	}
	return nil
}
