package registry

import (
	"encoding/hex"
	"time"
)

// OwnerLink is a way in for one person to decide on one machine: whatever waits
// for that person appears at it, later change requests too. It is taken back by
// a withdrawal; superseding it moves nothing but its end.
type OwnerLink struct {
	Common
	To      string `json:"to"` // person id of who may decide with it
	By      string `json:"by"`
	Purpose string `json:"purpose"` // what it may be used for
	Link    Link   `json:"link"`
}

// PurposeDecide is the purpose of a link at which a person reads what waits for
// an answer, asks, and answers. It opens nothing else of the registry.
const PurposeDecide = "decide"

func (*OwnerLink) Kind() Kind { return "owner-link" }

func (l *OwnerLink) check(fs *faults) {
	fs.id("/to", l.To, false)
	fs.id("/by", l.By, false)
	if l.Purpose != PurposeDecide {
		fs.add("/purpose", l.Purpose, PurposeDecide, "A link of an owner has another purpose", "")
	}
	if raw, err := hex.DecodeString(l.Link.TokenHash); err != nil || len(raw) != 32 {
		fs.add("/link/token_hash", l.Link.TokenHash, "64 hex figures", "The hash of the token is malformed", "Let the program make the link.")
	}
}

// decideOwnerLink: only who may decide gets a way to do so, and a link that is
// out stays that person's.
func decideOwnerLink(d *Dossier, at time.Time, l *OwnerLink) error {
	if !d.MayDecide(l.To) {
		return invalid(l, "/to", l.To, "an owner or executor on record", "This person may not decide for this machine", "Ask the owner of record.")
	}
	if !l.Link.Expires.After(at) {
		return invalid(l, "/link/expires", l.Link.Expires.Format(time.RFC3339), "a time to come", "The link would be over before it is given", "")
	}
	if l.Supersedes == "" {
		return nil
	}
	old, _ := d.Entry(l.Supersedes)
	before := old.Body.(*OwnerLink)
	if before.To != l.To || before.Link.TokenHash != l.Link.TokenHash {
		return Refuse(CodeRefused, "Withdraw it and make a new one.", "A link cannot be made that of another person, or be exchanged")
	}
	if !before.Link.Expires.After(at) {
		return Refuse(CodeExpired, "Make a new link.", "The link ran out on %s", before.Link.Expires.UTC().Format("2 January 2006"))
	}
	return nil
}

// Reply answers a question that the owner asked on an offer. The decision stays
// the owner's, and stays open.
type Reply struct {
	Common
	Question string `json:"question"` // the owner's "ask", by identifier
	Says     string `json:"says"`
	By       string `json:"by"`
}

func (*Reply) Kind() Kind { return "reply" }

func (r *Reply) check(fs *faults) {
	fs.id("/question", r.Question, false)
	fs.id("/by", r.By, false)
	fs.need("/says", r.Says, "The reply is missing", "One sentence or more.")
}

func decideReply(d *Dossier, r *Reply) error {
	q, ok := Get[*Decision](d, r.Question)
	if !ok || q.Record.Answer != "ask" {
		return invalid(r, "/question", r.Question, "an answer \"ask\" of the owner", "There is no question of that name", "Show the machine to see what the owner asked.")
	}
	return nil
}
