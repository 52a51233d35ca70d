package workshop

import (
	"context"
	"time"

	"example.org/asfound/registry"
)

// linkDays is how long a link works unless another end is asked for.
const linkDays = 14

// LinkInput asks for a link for a person.
type LinkInput struct {
	ID      string    // may be empty
	To, By  string    // person ids; the owner of the agreement and the actor when empty
	Expires time.Time // 14 days from now when zero
}

// GivenLink is a link as it was made. Token is shown once and kept nowhere.
type GivenLink struct {
	ID      string    `json:"id"`
	To      string    `json:"to"`
	Token   string    `json:"token,omitempty"` // "" for a link that was out before
	Expires time.Time `json:"expires"`
	Since   time.Time `json:"since"` // when it was first given
	// Ended names the links that this one takes the place of.
	Ended   []string `json:"ended,omitempty"`
	Receipt Receipt  `json:"receipt,omitzero"`
}

// GiveLink makes a link at which a person decides on a machine, and takes back
// those that the person had before: one at most works.
func (w *Workshop) GiveLink(ctx context.Context, req Request, in LinkInput) (GivenLink, error) {
	d, err := w.Load(ctx, req.Machine, At{})
	if err != nil {
		return GivenLink{}, err
	}
	if a, ok := d.Agreement(); ok && in.To == "" {
		in.To = a.Owner
	}
	if in.By == "" {
		in.By = req.Actor
	}
	if in.Expires.IsZero() {
		in.Expires = w.Now().AddDate(0, 0, linkDays)
	}
	body, given, err := w.newLink(in)
	if err != nil {
		return GivenLink{}, err
	}
	var bodies []registry.Body
	for _, l := range registry.Live[*registry.OwnerLink](d) {
		if l.Record.To == in.To {
			given.Ended = append(given.Ended, l.RecordID())
			bodies = append(bodies, &registry.Withdrawal{Record: l.RecordID(), Why: "another link took its place", By: in.By})
		}
	}
	given.Receipt, err = w.Record(ctx, req, append(bodies, body)...)
	return given, err
}

func (w *Workshop) newLink(in LinkInput) (*registry.OwnerLink, GivenLink, error) {
	token, hash, err := w.newToken()
	if err != nil {
		return nil, GivenLink{}, err
	}
	if in.ID == "" {
		in.ID = "link-" + w.NewID()
	}
	expires := in.Expires.UTC().Truncate(time.Second)
	return &registry.OwnerLink{Common: registry.Common{ID: in.ID}, To: in.To, By: in.By, Purpose: registry.PurposeDecide, Link: registry.Link{TokenHash: hash, Expires: expires}},
		GivenLink{ID: in.ID, To: in.To, Token: token, Expires: expires, Since: w.Now().UTC()}, nil
}

// standingLink finds the link of a person that works now.
func (w *Workshop) standingLink(d *registry.Dossier, to string) (registry.Found[*registry.OwnerLink], bool) {
	for _, l := range registry.Live[*registry.OwnerLink](d) {
		if l.Record.To == to && w.Now().Before(l.Record.Link.Expires) {
			return l, true
		}
	}
	return registry.Found[*registry.OwnerLink]{}, false
}

// linkFor sees to it that a person has a link for as long as a question stands:
// the one that is out, with its end moved where that is needed, or a new one.
// body is nil when nothing has to be recorded.
func (w *Workshop) linkFor(d *registry.Dossier, to, by string, until time.Time) (body registry.Body, given GivenLink, err error) {
	l, ok := w.standingLink(d, to)
	if !ok {
		return w.newLink(LinkInput{To: to, By: by, Expires: until})
	}
	given = GivenLink{ID: l.RecordID(), To: to, Expires: l.Record.Link.Expires, Since: firstGiven(d, l)}
	if !given.Expires.Before(until) {
		return nil, given, nil
	}
	longer := *l.Record
	longer.Common = registry.Common{ID: "link-" + w.NewID(), Supersedes: l.RecordID()}
	longer.By, longer.Link.Expires = by, until
	given.ID, given.Expires = longer.ID, until
	return &longer, given, nil
}

// firstGiven is when a link went out, whose end may have been moved since.
func firstGiven(d *registry.Dossier, l registry.Found[*registry.OwnerLink]) time.Time {
	at := l.Recorded
	for _, x := range registry.All[*registry.OwnerLink](d) {
		if x.Record.Link.TokenHash == l.Record.Link.TokenHash && x.Recorded.Before(at) {
			at = x.Recorded
		}
	}
	return at
}

// LinkReport is a link to decide with, as the workshop sees it: without its
// token, which nobody has but its holder.
type LinkReport struct {
	ID      string    `json:"id"`
	To      string    `json:"to"`
	By      string    `json:"by"`
	Since   time.Time `json:"since"`
	Expires time.Time `json:"expires"`
	// Ended says when and why it was taken back.
	Ended time.Time `json:"ended,omitzero"`
	Why   string    `json:"why,omitempty"`
}

// Works says whether the link opens at a moment.
func (l LinkReport) Works(at time.Time) bool { return l.Ended.IsZero() && at.Before(l.Expires) }

func (b *builder) ownerLinks() {
	for _, l := range registry.All[*registry.OwnerLink](b.d) {
		if l.SupersededBy != "" {
			continue
		}
		report := LinkReport{ID: l.RecordID(), To: b.person(l.Record.To), By: b.person(l.Record.By), Since: firstGiven(b.d, l), Expires: l.Record.Link.Expires}
		if e, ok := b.d.Entry(l.WithdrawnBy); ok {
			report.Ended, report.Why = e.Recorded, b.text(e.Body.(*registry.Withdrawal).Why)
		}
		b.r.Links = append(b.r.Links, report)
	}
}

// ReplyReport is what was replied to a question of the owner.
type ReplyReport struct {
	ID       string    `json:"id"`
	Says     string    `json:"says"`
	By       string    `json:"by"`
	Recorded time.Time `json:"recorded"`
}

func (b *builder) replies(question string) []ReplyReport {
	var out []ReplyReport
	for _, r := range registry.Live[*registry.Reply](b.d) {
		if r.Record.Question == question {
			out = append(out, ReplyReport{r.RecordID(), b.text(r.Record.Says), b.person(r.Record.By), r.Recorded})
		}
	}
	return out
}

// Unreplied are the owner's questions on the offer that nobody has replied to.
func (o OfferReport) Unreplied() []AnswerReport {
	var out []AnswerReport
	for _, a := range o.Answers {
		if a.Answer == "ask" && !a.TakenBack && len(a.Replies) == 0 {
			out = append(out, a)
		}
	}
	return out
}
